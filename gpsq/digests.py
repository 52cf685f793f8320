"""What things are known by: the version of gpsq, a digest of its code, of a file's bytes, and of values of any make."""

from __future__ import annotations

import dataclasses
import hashlib
import sys
from functools import cache
from importlib.metadata import version as version_of
from pathlib import Path
from typing import TYPE_CHECKING, Any
from weakref import WeakKeyDictionary

import numpy as np

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator


@cache
def version() -> str:
    """Return the version of gpsq, as it was installed."""
    return version_of("gpsq")


def file_sha256(path: Path) -> str:
    """Return the SHA-256 of a file's bytes (FIPS 180-4) in hexadecimal.

    Raises
    ------
    OSError
        Where the file cannot be read.
    """
    with path.open("rb") as file:
        return hashlib.file_digest(file, "sha256").hexdigest()


#: Ends of the names of gpsq's own source: modules, templates, style sheets, scripts.
SOURCE = (".py", ".j2", ".css", ".js")


@cache
def code() -> str:
    """Return a digest of what computes and draws: gpsq's own source, and the versions of Python and its numerical libraries."""
    digest = hashlib.sha256(sys.version.encode())
    for name in ("numpy", "numba", "scipy", "pyproj"):
        digest.update(f"{name} {version_of(name)};".encode())
    package = Path(__file__).parent
    for file in sorted(file for end in SOURCE for file in package.rglob(f"*{end}")):
        digest.update(f"{file.relative_to(package).as_posix()}\0".encode())
        digest.update(bytes.fromhex(file_sha256(file)))
    return digest.hexdigest()


def digest(*things: Any) -> str:
    """Return a digest of values of any make: numbers, texts, arrays, and dataclasses, mappings and sequences of them.

    Equal values give equal digests in every run; types count, so 1 and 1.0 and True differ.

    Raises
    ------
    TypeError
        For a value of a kind that it cannot see through.

    Examples
    --------
    >>> digest((1, np.zeros(2))) == digest((1, np.zeros(2))), digest(1) == digest(1.0)
    (True, False)
    """
    found = hashlib.blake2b(digest_size=32)
    for thing in things:
        _feed(thing, found.update)
    return found.hexdigest()


_kept: WeakKeyDictionary[Any, str] = WeakKeyDictionary()


def lasting(thing: Any) -> str:
    """Return the digest of what never changes and is known by itself (a trace); it is worked out once as long as that lives."""
    if thing not in _kept:
        _kept[thing] = digest(thing)
    return _kept[thing]


#: What a text tells in full.
PLAIN = (str, int, float, bool, type(None), np.generic, Path)


def _feed(thing: Any, update: Callable[[bytes], None]) -> None:
    update(type(thing).__qualname__.encode() + b"\0")
    if isinstance(thing, PLAIN):
        text = str(thing).encode("utf-8", "surrogateescape")
        update(len(text).to_bytes(8, "big") + text)
    elif isinstance(thing, bytes):
        update(len(thing).to_bytes(8, "big") + thing)
    elif isinstance(thing, np.ndarray) and thing.dtype != object:
        update(f"{thing.dtype.str}{thing.shape}\0".encode())
        update(np.ascontiguousarray(thing).tobytes())
    else:
        parts = list(_parts(thing))
        update(len(parts).to_bytes(8, "big"))
        for part in parts:
            _feed(part, update)


def _parts(thing: Any) -> Iterator[Any]:
    if dataclasses.is_dataclass(thing):
        for f in dataclasses.fields(thing):
            yield f.name
            yield getattr(thing, f.name)
    elif hasattr(thing, "items"):
        yield from sorted(thing.items(), key=lambda item: str(item[0]))
    elif isinstance(thing, set | frozenset):
        yield from sorted(digest(part) for part in thing)
    elif isinstance(thing, list | tuple):
        yield from thing
    else:
        raise TypeError(f"no digest of a {type(thing).__qualname__}")

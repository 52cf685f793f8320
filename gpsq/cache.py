"""Answers kept in a folder beside the recordings, each under a digest of all that it depends on.

A digest holds the content asked about, the settings, and the source code of gpsq itself, so an answer is never stale.
Answers are pickles, which could run anything, so each carries a mark that only this user can make (a keyed BLAKE2b,
RFC 7693); others are passed over. The folder may be deleted at any time; where it cannot be written there is no cache.
"""

from __future__ import annotations

import contextlib
import dataclasses
import hashlib
import hmac
import os
import pickle  # only what carries the user's own mark is ever loaded
import re
import secrets
import sys
import tempfile
from functools import cache
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator

FOLDER = ".gpsq-cache"
#: The tag by which backups know a folder that can be made again (Cache Directory Tagging Specification).
TAG_NAME, TAG = "CACHEDIR.TAG", "Signature: 8a477f597d28d172789f06886806bc55\n# Made by gpsq; may be deleted.\n"
_MARK_BYTES = 32
_NAME = re.compile(r"[0-9a-f]{64}\.answer")


class Cache:
    """Answers by digest; `forget_unused` deletes those that were neither found nor kept since the cache was opened."""

    def __init__(self, folder: Path, secret: bytes) -> None:
        self.folder, self._secret = folder, secret
        self.used: set[str] = set()

    def get(self, key: str) -> Any:
        """Return the answer kept under a digest, or None."""
        try:
            data = self._path(key).read_bytes()
        except OSError:
            return None
        mark, content = data[:_MARK_BYTES], data[_MARK_BYTES:]
        if not hmac.compare_digest(mark, self._mark(key, content)):
            return None
        self.used.add(self._path(key).name)
        return pickle.loads(content)  # noqa: S301 - marked by this user for this very digest

    def put(self, key: str, answer: Any) -> None:
        """Keep an answer; a disk that is full or read-only keeps none."""
        content = pickle.dumps(answer, protocol=5)
        with contextlib.suppress(OSError):
            self._prepare()
            handle, aside = tempfile.mkstemp(prefix="aside-", dir=self.folder)
            try:
                with os.fdopen(handle, "wb") as file:
                    file.write(self._mark(key, content))
                    file.write(content)
                Path(aside).replace(self._path(key))
            except OSError:
                Path(aside).unlink(missing_ok=True)
                raise
            self.used.add(self._path(key).name)

    def forget_unused(self) -> None:
        """Delete the answers that nobody asked for, so that the folder holds one run's worth."""
        with contextlib.suppress(OSError):
            for path in self.folder.iterdir():
                if _NAME.fullmatch(path.name) and path.name not in self.used:
                    path.unlink()

    def _path(self, key: str) -> Path:
        return self.folder / f"{key}.answer"

    def _mark(self, key: str, content: bytes) -> bytes:
        mark = hashlib.blake2b(key.encode(), key=self._secret, digest_size=_MARK_BYTES)
        mark.update(content)
        return mark.digest()

    def _prepare(self) -> None:
        if not self.folder.is_dir():
            self.folder.mkdir()
            (self.folder / TAG_NAME).write_text(TAG, encoding="ascii")
            (self.folder / ".gitignore").write_text("*\n", encoding="ascii")


def beside(folder: Path) -> Cache | None:
    """Return the cache of the campaign in a folder, or None where there can be none: then all is worked out anew."""
    place = folder / FOLDER
    secret = _secret()
    if secret is None or place.is_symlink() or not os.access(place if place.is_dir() else folder, os.W_OK):
        return None
    return Cache(place, secret)


def _secret() -> bytes | None:
    """Return what marks this user's answers, made at the first use; None where it cannot be kept."""
    try:
        path = _user_folder() / "mark"
        if not path.is_file():
            path.parent.mkdir(parents=True, exist_ok=True)
            with tempfile.NamedTemporaryFile(dir=path.parent, delete=False) as aside:  # readable by the user alone
                aside.write(secrets.token_bytes(_MARK_BYTES))
            # of two first runs at a time one comes first, and both read its mark
            with contextlib.suppress(FileExistsError):
                os.link(aside.name, path)
            Path(aside.name).unlink()
        secret = path.read_bytes()
    except (OSError, RuntimeError):  # RuntimeError: the user has no home
        return None
    return secret if len(secret) == _MARK_BYTES else None


def _user_folder() -> Path:
    given = os.environ.get("LOCALAPPDATA" if sys.platform == "win32" else "XDG_CACHE_HOME", "")
    return (Path(given) if Path(given).is_absolute() else Path.home() / ".cache") / "gpsq"


@cache
def code() -> str:
    """Return a digest of what computes: gpsq's own source, and the versions of Python and its numerical libraries."""
    from importlib.metadata import version

    digest = hashlib.sha256(sys.version.encode())
    for name in ("numpy", "numba", "scipy", "pyproj"):
        digest.update(f"{name} {version(name)};".encode())
    package = Path(__file__).parent
    for file in sorted(package.rglob("*.py")):
        digest.update(f"{file.relative_to(package).as_posix()}\0".encode())
        digest.update(hashlib.sha256(file.read_bytes()).digest())
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


def _feed(thing: Any, update: Callable[[bytes], None]) -> None:
    update(type(thing).__qualname__.encode() + b"\0")
    if thing is None or isinstance(thing, bool | int | float | str | np.generic | Path):
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

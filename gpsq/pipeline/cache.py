"""Answers kept in the user's own cache folder, each under a digest of all that it depends on.

A digest holds the content asked about, the settings, and the source code of gpsq itself, so an answer is never stale.
Answers are pickles, and a pickle can run anything when it is read. So they lie where one user alone can write (a folder
of mode 0700, files of mode 0600), and what is another user's, or could have been written by one, is not read. Each begins
with a digest of its key and content: what was cut off or damaged, or stands under another's name, is not read either.

There is a folder for each campaign. All may be deleted at any time; where none can be made there is no cache.
"""

from __future__ import annotations

import contextlib
import hashlib
import io
import os
import pickle  # only what this user alone could have written is ever loaded
import re
import stat
import sys
import tempfile
import time
from pathlib import Path
from typing import TYPE_CHECKING, Any

from gpsq import digests

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

#: An answer that nobody asked for in so many days is deleted.
LONGEST_DAYS = 90
#: Beyond so many megabytes in all, those that were asked for longest ago are deleted.
MOST_MB = 2_000
#: A file that was begun longer ago than this was left by a run that was killed.
LEFT_BEHIND_S = 3_600
_CHECK_BYTES = 32
_ANSWER, _BEGUN = ".answer", "begun-"
#: Where earlier versions kept answers, in the campaign's folder, and the tag by which backups knew that folder.
_FORMER, _FORMER_TAG = ".gpsq-cache", b"Signature: 8a477f597d28d172789f06886806bc55\n# Made by gpsq; may be deleted.\n"
_FORMER_NAMES = re.compile(r"[0-9a-f]{64}\.answer|aside-\w+|\.gitignore|CACHEDIR\.TAG")


class Cache:
    """Answers by digest, in a folder of this user's own."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        self.has_grown = False

    def __contains__(self, key: str) -> bool:
        """Whether an answer stands under a digest; `get` may yet find that it is not fit to be read."""
        return self._path(key).is_file()

    def get(self, key: str, given: Sequence[Any] = ()) -> Any:
        """Return the answer kept under a digest, or None; `given` as it was when the answer was kept."""
        try:
            check, content = _read_own(self._path(key))
        except OSError:
            return None
        if check != _check(key, content):
            return None
        return _Unpickler(io.BytesIO(content), given).load()

    def put(self, key: str, answer: Any, given: Sequence[Any] = ()) -> None:
        """Keep an answer; a disk that is full or read-only keeps none.

        What is `given` whenever the answer is asked for, and stands in the answer, is not kept a second time.
        """
        content = io.BytesIO()
        _Pickler(content, given).dump(answer)
        with contextlib.suppress(OSError):
            self.folder.mkdir(mode=0o700, exist_ok=True)
            handle, begun = tempfile.mkstemp(prefix=_BEGUN, dir=self.folder)  # readable by this user alone
            try:
                with os.fdopen(handle, "wb") as file:
                    file.write(_check(key, content.getbuffer()))
                    file.write(content.getbuffer())
                Path(begun).replace(self._path(key))
            except OSError:
                Path(begun).unlink(missing_ok=True)
                raise
            self.has_grown = True

    def _path(self, key: str) -> Path:
        return self.folder / f"{key}{_ANSWER}"


class _Pickler(pickle.Pickler):
    def __init__(self, file: io.BytesIO, given: Sequence[Any]) -> None:
        super().__init__(file, protocol=5)
        self.numbers = {id(thing): number for number, thing in enumerate(given)}

    def persistent_id(self, thing: Any) -> int | None:
        return self.numbers.get(id(thing))


class _Unpickler(pickle.Unpickler):
    def __init__(self, file: io.BytesIO, given: Sequence[Any]) -> None:
        super().__init__(file)
        self.given = given

    def persistent_load(self, number: int) -> Any:
        return self.given[number]


@contextlib.contextmanager
def opened(campaign: Path) -> Iterator[Cache | None]:
    """Give the cache of the campaign in a folder, or None where there can be none: then all is worked out anew.

    At the end, where answers were added, the user's cache folder is swept.
    """
    root = _own_root()
    if root is None:
        yield None
        return
    _remove_former(campaign)
    cache = Cache(root / digests.digest(campaign.resolve()))
    if os.path.lexists(cache.folder) and not _is_own(cache.folder.lstat(), stat.S_ISDIR):
        yield None
        return
    try:
        yield cache
    finally:
        if cache.has_grown:
            sweep(root)


def sweep(root: Path, now_s: float | None = None) -> None:
    """Delete what runs that were killed left below `root`, answers that are old, and the oldest beyond the bound."""
    now_s = time.time() if now_s is None else now_s
    answers: list[tuple[float, int, Path]] = []
    for path in root.glob("*/*"):
        with contextlib.suppress(OSError):
            status = path.lstat()
            age_s = now_s - status.st_mtime
            if path.name.startswith(_BEGUN) and age_s > LEFT_BEHIND_S:
                path.unlink()
            elif path.suffix == _ANSWER:
                answers.append((age_s, status.st_size, path))
    kept = 0
    for age_s, size, path in sorted(answers):
        kept += size
        if age_s > LONGEST_DAYS * 86_400 or kept > MOST_MB * 1_000_000:
            with contextlib.suppress(OSError):
                path.unlink()
    for folder in root.iterdir():
        with contextlib.suppress(OSError):  # one that is not empty, and a file
            folder.rmdir()


def _own_root() -> Path | None:
    """Return the folder of all caches of this user, made at the first use; None where there can be none."""
    from platformdirs import user_cache_path

    try:
        root = user_cache_path("gpsq", appauthor=False)
        root.mkdir(mode=0o700, parents=True, exist_ok=True)
        if not _is_own(root.lstat(), stat.S_ISDIR):
            return None
        root.chmod(0o700)
        (root / "mark").unlink(missing_ok=True)  # with which earlier versions marked their answers
    except (OSError, RuntimeError):  # RuntimeError: the user has no home
        return None
    return root if os.access(root, os.W_OK) else None


def _is_own(status: os.stat_result, kind: Any) -> bool:
    """Whether this user alone can have written a file or folder of that kind; Windows gives each user a folder."""
    if sys.platform == "win32":
        return bool(kind(status.st_mode))
    return bool(kind(status.st_mode)) and status.st_uid == os.geteuid() and not status.st_mode & 0o022


def _read_own(path: Path) -> tuple[bytes, bytes]:
    """Return the check and the content of a file of this user's own, and note that it was asked for.

    Raises
    ------
    OSError
        Where there is none, or another user could have written it.
    """
    handle = os.open(path, os.O_RDONLY | getattr(os, "O_NOFOLLOW", 0) | getattr(os, "O_BINARY", 0))
    with os.fdopen(handle, "rb") as file:
        if not _is_own(os.fstat(handle), stat.S_ISREG):
            raise PermissionError(path)
        with contextlib.suppress(OSError):
            os.utime(path)
        return file.read(_CHECK_BYTES), file.read()


def _check(key: str, content: bytes | memoryview) -> bytes:
    check = hashlib.blake2b(key.encode(), digest_size=_CHECK_BYTES)
    check.update(content)
    return check.digest()


def _remove_former(campaign: Path) -> None:
    """Remove what earlier versions kept in a campaign's folder; anything else that stands there is left."""
    folder = campaign / _FORMER
    with contextlib.suppress(OSError):
        if folder.is_symlink() or (folder / "CACHEDIR.TAG").read_bytes() != _FORMER_TAG:
            return
        # the tag at last: were this run killed, the next one would go on
        for path in sorted(folder.iterdir(), key=lambda path: path.name == "CACHEDIR.TAG"):
            if _FORMER_NAMES.fullmatch(path.name):
                path.unlink()
        folder.rmdir()

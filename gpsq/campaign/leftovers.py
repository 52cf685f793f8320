"""What killed runs left beside the recordings: parts of dropped files, and small files that were never renamed.

A writer that lives holds a lock, on its part or on the campaign; the system lets go of it when the writer is killed. So
whatever can be locked has no writer any more.
"""

from __future__ import annotations

import contextlib
import os
import tempfile
import time
from pathlib import Path
from typing import TYPE_CHECKING

from gpsq.campaign import campaign_file, flags, safe_files, start_log

if TYPE_CHECKING:
    from collections.abc import Iterator

#: How a dropped file is called while it comes in, and where the names are kept that dropped files came with.
PART, NAMES = ".gpsq-part-", ".gpsq-names.csv"
#: Files that are written aside and then renamed, under the campaign's lock.
ZONES = ".gpsq-private.toml"
_WRITTEN = (start_log.FILE, campaign_file.FILE, flags.FILE_NAME, NAMES, ZONES)
#: Where the system has no such locks, a part this old was left by a server that was killed.
_STALE_S = 24 * 3600.0


def sweep(folder: Path) -> None:
    """Delete what killed writers left in a campaign's folder; what cannot be deleted stays, and nothing is said."""
    with contextlib.suppress(OSError):
        for part in folder.glob(f"{PART}*"):
            _delete(part, part)
        for name in _WRITTEN:
            for aside in folder.glob(f".{name}.*"):
                _delete(aside, folder / safe_files.LOCK_NAME)


def _delete(left: Path, locked_by: Path) -> None:
    with contextlib.suppress(OSError), _nobodys(locked_by, left) as is_left:
        if is_left:
            left.unlink()


@contextlib.contextmanager
def _nobodys(path: Path, left: Path) -> Iterator[bool]:
    """Tell whether nobody holds the lock on a file, and hold it meanwhile."""
    if os.name != "posix":  # pragma: no cover - another system's way
        yield left.stat().st_mtime < time.time() - _STALE_S
        return
    import fcntl

    number = os.open(path, os.O_RDWR)
    try:
        try:
            fcntl.flock(number, fcntl.LOCK_EX | fcntl.LOCK_NB)
        except BlockingIOError:
            yield False
        else:
            yield True
    finally:
        os.close(number)


def locked_part(folder: Path) -> tuple[int, Path]:
    """Return a new part, open to be written and locked; one that a sweep took before it was locked is made anew."""
    while True:
        number, name = tempfile.mkstemp(prefix=PART, dir=folder)
        if os.name != "posix":  # pragma: no cover - another system's way
            return number, Path(name)
        import fcntl

        fcntl.flock(number, fcntl.LOCK_EX)
        if os.fstat(number).st_nlink:
            return number, Path(name)
        os.close(number)


@contextlib.contextmanager
def held(number: int) -> Iterator[None]:
    """Hold the lock on an open part until it has its name, though its file is closed before."""
    if os.name != "posix":  # pragma: no cover - an open file cannot be renamed there
        yield
        return
    second = os.dup(number)
    try:
        yield
    finally:
        os.close(second)

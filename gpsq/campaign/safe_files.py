"""Small files that survive a crash: written aside, synced and renamed, under a lock that all of gpsq shares."""

from __future__ import annotations

import contextlib
import os
import tempfile
from pathlib import Path
from typing import TYPE_CHECKING

from gpsq.exceptions import OutputError

if TYPE_CHECKING:
    from collections.abc import Iterator

LOCK_NAME = ".gpsq-lock"


def write_text(path: Path, text: str, *, mode: int = 0o644) -> None:
    """Replace a file in one step: a reader, or a crash at any moment, sees the old text or the new one, whole.

    `mode` says who may read it.

    Raises
    ------
    OutputError
        When the folder cannot be written to or the disk is full.
    """
    try:
        handle, aside = tempfile.mkstemp(prefix=f".{path.name}.", dir=path.parent)
        try:
            with os.fdopen(handle, "w", encoding="utf-8", newline="") as file:
                file.write(text)
                file.flush()
                os.fsync(file.fileno())
            Path(aside).chmod(mode)
            Path(aside).replace(path)
        except BaseException:
            Path(aside).unlink(missing_ok=True)
            raise
        sync_folder(path.parent)
    except OSError as error:
        raise OutputError(f"{path}: cannot be written: {error.strerror or error}") from error


def sync_folder(folder: Path) -> None:
    """Make a rename in `folder` last through a crash, where the system can."""
    if os.name != "posix":
        return
    number = os.open(folder, os.O_RDONLY)
    try:
        os.fsync(number)
    finally:
        os.close(number)


@contextlib.contextmanager
def locked(folder: Path) -> Iterator[None]:
    """Hold the campaign's lock: two writers of the same small files wait for each other.

    Raises
    ------
    OutputError
        When the folder cannot be written to.
    """
    try:
        number = os.open(folder / LOCK_NAME, os.O_RDWR | os.O_CREAT, 0o644)
    except OSError as error:
        raise OutputError(f"{folder}: cannot be written: {error.strerror or error}") from error
    try:
        _take(number)
        yield
    finally:
        os.close(number)  # closing gives the lock back, also when the process is killed


def _take(number: int) -> None:
    if os.name == "posix":
        import fcntl

        fcntl.flock(number, fcntl.LOCK_EX)
    else:  # pragma: no cover - another system's way to the same lock
        import msvcrt

        msvcrt.locking(number, msvcrt.LK_LOCK, 1)  # type: ignore[attr-defined]  # absent from the stubs on posix

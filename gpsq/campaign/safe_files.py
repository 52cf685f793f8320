"""Small files that survive a crash: written aside, synced and renamed, under a lock that all of gpsq shares.

And files of any size, read only where they are as small as they should be.
"""

from __future__ import annotations

import contextlib
import errno
import os
import tempfile
import tomllib
from pathlib import Path
from typing import TYPE_CHECKING, Any

from gpsq.exceptions import CampaignError, OutputError

if TYPE_CHECKING:
    from collections.abc import Iterator

LOCK_NAME = ".gpsq-lock"
#: A table or a text that a person keeps beside the recordings is never as large as this.
MOST_COMPANION_BYTES = 16 * 2**20
_BLOCK_BYTES = 2**20


def read_bytes(path: Path, most_bytes: int = MOST_COMPANION_BYTES, *, pipes: bool = False) -> bytes:
    """Return what a file holds; of one that is too large the size is asked for and nothing is read.

    With `pipes`, what a person named may be a pipe; in a folder one would be waited for, perhaps for ever.

    Raises
    ------
    OSError
        When it cannot be read; with the number ``EFBIG`` where it holds more than `most_bytes`.
    """
    if not pipes and path.is_fifo():
        raise OSError(errno.EINVAL, "it is a pipe", str(path))
    with path.open("rb") as file:
        size = os.fstat(file.fileno()).st_size
        if size > most_bytes:
            raise _too_large(path, size, most_bytes)
        blocks, left = [], most_bytes
        while block := file.read(min(max(size, _BLOCK_BYTES), left) + 1):  # pipes and devices do not tell their size
            blocks.append(block)
            left -= len(block)
            if left < 0:
                raise _too_large(path, most_bytes - left, most_bytes)
    return b"".join(blocks)


def kept_text(path: Path, otherwise: str) -> str:
    """Return the text of a small file, `otherwise` where there is none.

    Raises
    ------
    CampaignError
        Where it is not UTF-8, is too large, or cannot be read.
    """
    try:
        return read_bytes(path).decode("utf-8")
    except FileNotFoundError:
        return otherwise
    except UnicodeDecodeError as error:
        raise CampaignError(path.name, "text that is not UTF-8", "UTF-8; it was left as it is") from error
    except OSError as error:
        raise CampaignError(path.name, f"a file that cannot be read ({error.strerror})", "a readable file") from error


def toml_table(text: str, name: str) -> dict[str, Any]:
    """Return what a file in TOML says.

    Raises
    ------
    CampaignError
        Where it is not TOML, is nested without end, or holds a number of thousands of digits.
    """
    try:
        return tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        raise CampaignError(name, str(error), "TOML") from error
    except ValueError as error:
        raise CampaignError(name, "a number of thousands of digits", "TOML") from error
    except RecursionError as error:
        raise CampaignError(name, "brackets nested without end", "TOML") from error


def is_file(path: Path) -> bool:
    """Whether there is such a file; no system has one of a name that it cannot hold."""
    try:
        return path.is_file()
    except OSError:
        return False


def _too_large(path: Path, size: int, most_bytes: int) -> OSError:
    why = f"{size / 2**20:,.0f} MiB, which is more than {most_bytes / 2**20:,.0f} MiB"
    return OSError(errno.EFBIG, why, str(path))


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

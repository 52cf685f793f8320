"""A folder that is replaced in one step: a run that is killed leaves the earlier contents whole, or the new ones."""

from __future__ import annotations

import ctypes
import json
import os
import re
import shutil
import sys
from contextlib import contextmanager
from typing import TYPE_CHECKING

from gpsq.exceptions import OutputError
from gpsq.output.run_file import NAME

if TYPE_CHECKING:
    from collections.abc import Iterator
    from pathlib import Path

#: From linux/fs.h and sys/stdio.h: exchange two names in one step.
EXCHANGE = 2
AT_FDCWD = -100
#: A folder that was to take the place of another, or made room for one, with the number of the process.
_LEFT = re.compile(r"\.(.+)\.(?:new|old)-\d+")


@contextmanager
def replaced(out: Path) -> Iterator[Path]:
    """Give an empty folder to write into; at the end it takes the place of `out`, after an error it is thrown away.

    Raises
    ------
    OutputError
        When `out` is a folder that gpsq did not write, or when anything cannot be written.
    """
    try:
        out = out.resolve()
        _refuse_foreign(out)
        out.parent.mkdir(parents=True, exist_ok=True)
        with _one_writer(out.parent):
            _clear_leftovers(out)
            aside = out.with_name(f".{out.name}.new-{os.getpid()}")
            aside.mkdir()
            try:
                yield aside
                _to_disk(aside)
                _swap(aside, out)
            finally:
                if aside.exists():
                    _discard(aside, out)
    except OSError as failed:
        raise OutputError(f"{failed.filename or out}: cannot be written: {failed.strerror or failed}") from failed


def clear(parent: Path) -> None:
    """Put right what killed runs left in a folder that holds results, of whatever name; a run that lives is left alone."""
    if sys.platform == "win32":
        return
    import fcntl

    try:
        names = (_LEFT.fullmatch(path.name) for path in parent.iterdir() if path.is_dir())
        left = {name[1] for name in names if name}
        handle = os.open(parent, os.O_RDONLY) if left else -1
    except OSError:
        return
    try:
        if left:
            fcntl.flock(handle, fcntl.LOCK_EX | fcntl.LOCK_NB)
        for name in left:
            _clear_leftovers(parent / name)
    except OSError:  # somebody writes, or nobody may delete: told when results are written
        return
    finally:
        if left:
            os.close(handle)


def written_names(folder: Path) -> set[str] | None:
    """Return the names of the files that gpsq wrote into a folder, None where it is no results folder."""
    try:
        said = json.loads((folder / NAME).read_text("utf-8"))
    except (FileNotFoundError, NotADirectoryError, ValueError):
        return None
    if not isinstance(said, dict) or "gpsq" not in said:
        return None
    names = said.get("files", [])
    return {NAME, *(name for name in names if isinstance(name, str))}


def _refuse_foreign(out: Path) -> None:
    if not out.exists():
        return
    if not out.is_dir():
        raise OutputError(f"{out}: found a file; expected a folder for the results")
    if any(out.iterdir()) and written_names(out) is None:
        raise OutputError(f"{out}: found files that gpsq did not write; expected an empty folder or earlier results")


@contextmanager
def _one_writer(parent: Path) -> Iterator[None]:
    """Let one run at a time replace a folder in `parent`; the system lets go when a run is killed."""
    if sys.platform == "win32":
        yield
        return
    import fcntl

    handle = os.open(parent, os.O_RDONLY)
    try:
        fcntl.flock(handle, fcntl.LOCK_EX)
        yield
    finally:
        os.close(handle)


def _clear_leftovers(out: Path) -> None:
    """Put right what a killed run left: bring back results that were moved away, delete what was half written."""
    for away in sorted(out.parent.glob(f".{_literal(out.name)}.old-*")):
        if out.exists():
            _discard(away, out)
        else:
            away.rename(out)
    for aside in sorted(out.parent.glob(f".{_literal(out.name)}.new-*")):
        _discard(aside, out)


def _literal(name: str) -> str:
    return "".join(f"[{sign}]" if sign in "*?[" else sign for sign in name)


def _discard(folder: Path, out: Path) -> None:
    """Delete a folder of ours; a file in it that a person put there moves on to `out`."""
    ours = written_names(folder)
    if ours is not None and out.is_dir():
        for path in sorted(path for path in folder.rglob("*") if not path.is_dir()):
            name = path.relative_to(folder)
            if name.as_posix() not in ours and not (out / name).exists():
                (out / name).parent.mkdir(parents=True, exist_ok=True)
                path.rename(out / name)
    shutil.rmtree(folder)


def _to_disk(folder: Path) -> None:
    """See to it that everything in a folder has reached the disk before it gets its name."""
    for path in [*folder.rglob("*"), folder]:
        if path.is_dir() and os.name == "nt":
            continue
        handle = os.open(path, os.O_RDONLY if os.name != "nt" else os.O_RDWR)
        try:
            os.fsync(handle)
        finally:
            os.close(handle)


def _swap(aside: Path, out: Path) -> None:
    """Give the new folder the name of the old one, in one step where the system can; the old one is then discarded."""
    if not out.exists():
        aside.rename(out)
    elif not _exchange(aside, out):
        away = out.with_name(f".{out.name}.old-{os.getpid()}")
        out.rename(away)
        aside.rename(out)
        _discard(away, out)


def _exchange(one: Path, other: Path) -> bool:
    """Exchange the names of two folders in one step; False where the system or its file system cannot."""
    if os.name == "nt":
        return False
    system = ctypes.CDLL(None, use_errno=True)
    names = os.fsencode(one), os.fsencode(other)
    if hasattr(system, "renameat2"):
        return bool(system.renameat2(AT_FDCWD, names[0], AT_FDCWD, names[1], EXCHANGE) == 0)
    if hasattr(system, "renamex_np"):
        return bool(system.renamex_np(*names, EXCHANGE) == 0)
    return False

"""Dropped files into the campaign's folder: as they are, under a safe name, never over another file."""

from __future__ import annotations

import contextlib
import csv
import hashlib
import io
import os
import re
import unicodedata
from dataclasses import dataclass
from pathlib import Path
from typing import IO, TYPE_CHECKING

from gpsq import digests
from gpsq.campaign import campaign_file, flags, safe_files, start_log
from gpsq.campaign.device_names import is_date
from gpsq.campaign.leftovers import NAMES, held, locked_part
from gpsq.exceptions import OutputError
from gpsq.reading.archives import MOST_BYTES
from gpsq.reading.listing import is_no_recording, readable
from gpsq.settings import RESULTS

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

#: A campaign of more files than this is no hand-made one, and its page could not be read by anyone.
MOST_FILES = 5_000
#: Names longer than this do not fit every file system (255 bytes) once a number is put behind them.
MOST_SIGNS, MOST_NAME_BYTES = 100, 200
PUBLISHED = "gpsq-published"
BESIDE = (start_log.FILE, campaign_file.FILE, flags.FILE_NAME)
_RESERVED = re.compile(r"(?i)(con|prn|aux|nul|com\d|lpt\d)(\..*)?")


@dataclass(frozen=True)
class Stored:
    """What became of one dropped file: its own name, where it lies below the folder ("" if not stored), and a line."""

    given: str
    file: str
    said: str
    is_new: bool = False


def safe_part(name: str) -> str:
    r"""Return one part of a path as every file system can hold it, "" where nothing is left.

    Examples
    --------
    >>> [safe_part(n) for n in ("mon.gpx", "..", ".hidden", "a:b?.gpx", "CON.gpx", "x\0y\n.gpx")]
    ['mon.gpx', '', 'hidden', 'a_b_.gpx', '_CON.gpx', 'x_y_.gpx']
    """
    text = unicodedata.normalize("NFC", name.encode("utf-8", "replace").decode())
    text = "".join("_" if c in '<>:"/\\|?*' or not c.isprintable() else c for c in text).strip(" .")
    text = _shortened(text)
    if _RESERVED.fullmatch(text) or text.lower() in (RESULTS, PUBLISHED):
        return f"_{text}"
    return text


def _shortened(text: str) -> str:
    stem, dot, kind = text.rpartition(".")
    if not dot or len(kind) > 10:
        stem, dot, kind = text, "", ""
    while len(stem) > MOST_SIGNS or len(f"{stem}.{kind}".encode()) > MOST_NAME_BYTES:
        stem = stem[:-1]
    return f"{stem}{dot}{kind}".strip(" .")


def safe_place(given: str) -> tuple[str, str]:
    r"""Return (sub-folder or "", file name) for a dropped path: the sub-folder next to the file that is no date.

    Examples
    --------
    >>> safe_place("week/bar-unit/2024-05-14/mon.gpx")
    ('bar-unit', 'mon.gpx')
    >>> safe_place("..\\..\\etc/passwd")
    ('etc', 'passwd')
    """
    *folders, name = [safe_part(part) for part in _parts(given)] or [""]
    devices = [folder for folder in folders if folder and not is_date(folder)]
    return (devices[-1] if devices else ""), name


def _parts(given: str) -> list[str]:
    return [part for part in re.split(r"[/\\]", given) if part not in {"", ".", ".."}]


def store(folder: Path, given: str, content: IO[bytes]) -> Stored:
    """Put one dropped file into the campaign's folder.

    Parameters
    ----------
    folder : Path
        Of the campaign.
    given : str
        Name, perhaps with folders before it, as the browser tells it; only ever a label.
    content : binary file
        Read from its place on.

    Raises
    ------
    OutputError
        When the folder cannot be written to or the disk is full.
    """
    sub, name = safe_place(given)
    if not name:
        return Stored(given, "", "has no usable name and was left out.")
    if name not in BESIDE and (is_no_recording(name) or is_no_recording("/".join(_parts(given)))):
        return Stored(given, "", "is no recording by its name and was left out.")
    try:
        return _stored(folder, given, "" if name in BESIDE else sub, name, content)
    except OSError as error:
        raise OutputError(f"{name}: cannot be stored: {error.strerror or error}") from error


def _stored(folder: Path, given: str, sub: str, name: str, content: IO[bytes]) -> Stored:
    with _aside(folder, content) as (part, digest, size):
        if size > MOST_BYTES:
            return Stored(given, "", f"is larger than {MOST_BYTES // 2**20} MiB, which no ride is; it was left out.")
        with safe_files.locked(folder):
            files = list(_files(folder))
            if twin := _twin(folder, files, digest, size):
                return Stored(given, twin, f"is the same as {twin}, which is here already.")
            if name in BESIDE and (folder / name).exists():
                return Stored(given, "", f"was left out: this campaign has a {name} already, and it is never replaced.")
            if len(files) >= MOST_FILES:
                return Stored(given, "", f"was left out: this campaign holds {MOST_FILES} files, which is the most.")
            target = _free(_sub_folder(folder, sub), name)
            part.rename(target)
            safe_files.sync_folder(target.parent)
            file = target.relative_to(folder).as_posix()
            _note(folder, file, given, digest)
    said = "stored." if file == given else f"stored as {file}."
    return Stored(given, file, said, is_new=True)


@contextlib.contextmanager
def _aside(folder: Path, content: IO[bytes]) -> Iterator[tuple[Path, str, int]]:
    """Give the content in a hidden file, on the disk, with its hash and size; it is gone afterwards if not renamed."""
    handle, part = locked_part(folder)
    digest, size = hashlib.sha256(), 0
    try:
        with held(handle):
            with os.fdopen(handle, "wb") as file:
                while (block := content.read(2**20)) and size <= MOST_BYTES:
                    digest.update(block)
                    size += file.write(block)
                file.flush()
                os.fsync(file.fileno())
            part.chmod(0o644)
            yield part, digest.hexdigest(), size
    finally:
        part.unlink(missing_ok=True)


def _files(folder: Path) -> Iterator[Path]:
    for here, folders, names in os.walk(folder):
        folders[:] = [f for f in folders if not f.startswith(".") and f not in (RESULTS, PUBLISHED)]
        yield from (Path(here, name) for name in names if not name.startswith("."))


def _twin(folder: Path, files: Sequence[Path], digest: str, size: int) -> str:
    """Return the file that has this content, "" where none has."""
    for path in files:
        with contextlib.suppress(OSError):  # one that cannot be read, or is deleted meanwhile, is no twin
            if path.is_file() and path.stat().st_size == size and digests.file_sha256(path) == digest:
                return path.relative_to(folder).as_posix()
    return ""


def _sub_folder(folder: Path, sub: str) -> Path:
    """Return the sub-folder, made if need be; a link or a file of that name is gone round."""
    for name in _numbered(sub):
        place = folder / name if sub else folder
        if not sub or (place.is_dir() and not place.is_symlink()):
            return place
        if not place.exists() and not place.is_symlink():
            place.mkdir()
            return place
    raise AssertionError("there is always a next number")  # pragma: no cover


def _free(place: Path, name: str) -> Path:
    return next(place / n for n in _numbered(name) if not os.path.lexists(place / n))


def _numbered(name: str) -> Iterator[str]:
    yield name
    stem, dot, kind = name.partition(".")
    number = 2
    while True:
        yield f"{stem}-{number}{dot}{kind}"
        number += 1


def _note(folder: Path, file: str, given: str, digest: str) -> None:
    """Keep the name that the file came with; the caller holds the lock."""
    path = folder / NAMES
    text = path.read_text("utf-8", "replace") if path.is_file() else "file,original_name,sha256\n"
    row = io.StringIO()
    csv.writer(row, lineterminator="\n").writerow([file, readable(given.encode("utf-8", "replace").decode()), digest])
    safe_files.write_text(path, text + row.getvalue())


def original_names(folder: Path) -> dict[str, str]:
    """Return file → the name it came with, for files that came through the page; {} where that cannot be read."""
    try:
        text = (folder / NAMES).read_text("utf-8")
        return {row["file"]: row["original_name"] for row in csv.DictReader(io.StringIO(text, newline=""))}
    except (OSError, UnicodeDecodeError, csv.Error, KeyError):
        return {}

"""Which files below a folder may be recordings."""

from __future__ import annotations

import os
import stat
import unicodedata
from dataclasses import dataclass
from pathlib import Path, PurePosixPath
from typing import TYPE_CHECKING

from gpsq.exceptions import UnreadableFile
from gpsq.model import Unreadable
from gpsq.settings import RESULTS

if TYPE_CHECKING:
    from collections.abc import Iterator

#: Files that belong to a campaign and are no recordings; gpsq's own and the usual company.
_OWN_FILES = frozenset({"rides.csv", "campaign.toml", "flags.csv", "run.json"})
_OTHER_KINDS = (
    ".md .toml .json .geojson .gpkg .html .htm .pdf .png .jpg .jpeg .gif .svg .webp .heic .tif .tiff .mp4 .mov "
    ".avi .mp3 .wav .py .sh .bat .r .ipynb .js .css .doc .docx .odt .xls .xlsx .ods .ppt .pptx .ini .cfg .yml "
    ".yaml .lock .db .sqlite .bak .tmp .part .sha256 .asc"
)
_WORDS = ("readme", "license", "licence", "copying", "notice", "changelog", "authors")
#: Kinds that are always meant as recordings, so that a bad one is named and not passed over.
_MEANT = (".gpx", ".nmea", ".gpx.gz", ".nmea.gz", ".csv.gz", ".zip")
#: Reasons of files that were perhaps never meant as recordings.
_STRANGE = frozenset({"unknown_format", "not_gpx", "html_page", "empty_file", "no_coordinate_columns"})


@dataclass(frozen=True)
class Found:
    """A file and its name below the folder, ``/`` between parts; `linked` where a link leads to it."""

    path: Path
    name: str
    linked: bool = False


@dataclass(frozen=True)
class Listing:
    """Files that may be recordings, those that cannot be opened, and the names that lead to a file already listed."""

    files: list[Found]
    unreadable: list[Unreadable]
    links: dict[str, str]

    @property
    def notes(self) -> tuple[str, ...]:
        """A line for each name that is another's link."""
        return tuple(f"{link} is the same file as {file} and counts once." for link, file in self.links.items())


def is_no_recording(name: str) -> bool:
    """Whether a file's name tells that it is no recording.

    Examples
    --------
    >>> [is_no_recording(n) for n in ("mon/SOURCE.md", ".hidden.gpx", "LICENSE", "ride.gpx", "track.csv")]
    [True, True, True, False, False]
    """
    parts = name.split("/")
    last = parts[-1].lower()
    if any(part.startswith(".") or part == "__MACOSX" for part in parts) or last in _OWN_FILES:
        return True
    return PurePosixPath(last).suffix in _OTHER_KINDS.split() or last.startswith(_WORDS)


def may_be_something_else(result: Unreadable) -> bool:
    """Whether a file that gave nothing was perhaps never meant as a recording."""
    return result.reason in _STRANGE and not result.file.lower().endswith(_MEANT)


def find_files(folder: Path, not_recordings: frozenset[str] = frozenset()) -> Listing:
    """List the files below `folder` that may be recordings, each once, real files before links to them.

    Parameters
    ----------
    folder : Path
        Searched in depth; a loop of links is entered once, earlier results not at all.
    not_recordings : frozenset of str
        Names below the folder that are known to be something else, such as reference lines.
    """
    unreadable: list[Unreadable] = []
    entries = sorted(_all_files(folder, unreadable), key=lambda e: (e.linked, e.name))
    files: list[Found] = []
    links: dict[str, str] = {}
    seen: dict[tuple[int, int], str] = {}
    for entry in entries:
        if is_no_recording(entry.name) or entry.name in not_recordings:
            continue
        try:
            status = entry.path.stat()
        except OSError as error:
            unreadable.append(cannot_open(entry.name, error))
            continue
        if not stat.S_ISREG(status.st_mode):
            continue
        first = seen.setdefault((status.st_dev, status.st_ino), entry.name)
        if first == entry.name:
            files.append(entry)
        else:
            links[entry.name] = first
    return Listing(sorted(files, key=lambda f: f.name), unreadable, links)


def cannot_open(name: str, error: OSError) -> Unreadable:
    """Return the line for a file that the system does not hand out."""
    kinds = {
        PermissionError: ("permission_denied", "permission denied"),
        FileNotFoundError: ("link_to_nothing", "a link to nothing"),
    }
    reason, found = kinds.get(type(error), ("cannot_open", error.strerror or "an error of the file system"))
    return Unreadable(name, 0, reason, str(UnreadableFile(name, found, "a readable file", reason)))


def _all_files(folder: Path, unreadable: list[Unreadable]) -> Iterator[Found]:
    """Yield every file; real folders first, then linked ones that were not yet entered."""
    seen: set[tuple[int, int]] = set()
    waiting = [Found(folder, "")]
    links: list[Found] = []
    while waiting or links:
        here = waiting.pop() if waiting else links.pop(0)
        try:
            status = here.path.stat()
            entries = sorted(os.scandir(here.path), key=lambda e: e.name)
        except OSError as error:
            unreadable.append(cannot_open(here.name or ".", error))
            continue
        if (status.st_dev, status.st_ino) in seen or _is_results(here, {e.name for e in entries}):
            continue
        seen.add((status.st_dev, status.st_ino))
        for entry in entries:
            name = readable(entry.name) if not here.name else f"{here.name}/{readable(entry.name)}"
            found = Found(Path(entry.path), name, here.linked or entry.is_symlink())
            if not entry.is_dir():
                yield found
            elif not entry.name.startswith("."):
                (links if found.linked else waiting).append(found)


def _is_results(folder: Found, names: set[str]) -> bool:
    """Earlier results stand in a folder of that name, or wherever the tables and ``run.json`` stand together."""
    return bool(folder.name) and (folder.path.name == RESULTS or {"run.json", "tracks.csv"} <= names)


def readable(name: str) -> str:
    r"""Return a file's name without bytes that are no text and without control characters, told apart all the same.

    Examples
    --------
    >>> readable("mon\nday.gpx")
    'mon\\nday.gpx'
    """
    text = os.fsencode(name).decode("utf-8", "backslashreplace")
    return "".join(c.encode("unicode_escape").decode() if unicodedata.category(c) == "Cc" else c for c in text)

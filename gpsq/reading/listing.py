"""Which files below a folder may be recordings."""

from __future__ import annotations

import errno
import os
import stat
import unicodedata
from collections import Counter
from dataclasses import dataclass
from pathlib import Path, PurePosixPath
from typing import TYPE_CHECKING

from gpsq.exceptions import UnreadableFile
from gpsq.model import Unreadable
from gpsq.settings import RESULTS

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator

#: Files that belong to a campaign and are no recordings; gpsq's own and the usual company.
_COMPANIONS = ("rides.csv", "campaign.toml", "flags.csv")
_OWN_FILES = frozenset({*_COMPANIONS, "run.json"})
#: So many files are named in one line.
MOST_NAMED = 6
_OTHER_KINDS = (
    ".md .toml .json .geojson .gpkg .html .htm .pdf .mp4 .mov "
    ".avi .mp3 .wav .py .sh .bat .r .ipynb .js .css .doc .docx .odt .xls .xlsx .ods .ppt .pptx .ini .cfg .yml "
    ".yaml .lock .db .sqlite .bak .tmp .part .sha256 .asc"
)
_PICTURES = (".png", ".jpg", ".jpeg", ".gif", ".svg", ".webp", ".heic", ".tif", ".tiff")
_WORDS = ("readme", "license", "licence", "copying", "notice", "changelog", "authors")
#: Kinds that are always meant as recordings, so that a bad one is named and not passed over.
_MEANT = (".gpx", ".nmea", ".gpx.gz", ".nmea.gz", ".csv.gz", ".zip")
#: Reasons of files that were perhaps never meant as recordings.
_STRANGE = frozenset({"unknown_format", "not_gpx", "html_page", "empty_file", "no_coordinate_columns"})
_FILE = "a readable file"


@dataclass(frozen=True)
class Found:
    """A file and its name below the folder, ``/`` between parts; `linked` where a link leads to it."""

    path: Path
    name: str
    linked: bool = False


@dataclass(frozen=True)
class Listing:
    """Files that may be recordings, those that cannot be opened, and the names that lead to a file already listed.

    `not_entered` are links to folders that hold the one that is searched; `others` are files that are no recordings by
    their names, but for those that gpsq writes or reads beside them. `unread` are files named as those are read, but in
    another folder, or with other capitals.
    """

    files: list[Found]
    unreadable: list[Unreadable]
    links: dict[str, str]
    not_entered: tuple[str, ...] = ()
    others: tuple[str, ...] = ()
    unread: tuple[str, ...] = ()

    @property
    def notes(self) -> tuple[str, ...]:
        """A line for each name that is another's link, or leads up and out."""
        same = [f"{link} is the same file as {file} and counts once." for link, file in self.links.items()]
        up = [f"{link} leads to a folder that holds this folder, and was not followed." for link in self.not_entered]
        return (*same, *up, *self._unread_lines())

    def _unread_lines(self) -> Iterator[str]:
        if self.unread:
            more = f" and {len(self.unread) - MOST_NAMED} more" if len(self.unread) > MOST_NAMED else ""
            names = f"{', '.join(self.unread[:MOST_NAMED])}{more}"
            known = f"{', '.join(_COMPANIONS[:-1])} and {_COMPANIONS[-1]}"
            yield f"Not read: {names}. {known} are read in the folder that is analysed, under just these names."


def is_no_recording(name: str) -> bool:
    """Whether a file's name tells that it is no recording.

    Examples
    --------
    >>> [is_no_recording(n) for n in ("mon/SOURCE.md", ".hidden.gpx", "LICENSE", "ride.gpx", "track.csv")]
    [True, True, True, False, False]
    """
    last = PurePosixPath(name.lower()).name
    if is_hidden(name) or last in _OWN_FILES:
        return True
    return PurePosixPath(last).suffix in (*_OTHER_KINDS.split(), *_PICTURES) or last.startswith(_WORDS)


def is_hidden(name: str) -> bool:
    """Whether a file or a folder that holds it is hidden, or made by a system for itself."""
    return any(part.startswith(".") or part == "__MACOSX" for part in name.split("/"))


def kinds(names: Iterable[str]) -> str:
    """Return how many files there are of each kind, as their names tell it.

    Examples
    --------
    >>> kinds(["a.jpg", "b.PNG", "ride.xyz", "ride2.xyz", "notes"])
    '2 pictures, 2 named .xyz, 1 without an ending'
    """
    found: Counter[str] = Counter()
    for name in names:
        ending = PurePosixPath(name.lower()).suffix
        found["picture" if ending in _PICTURES else f"named {ending}" if ending else "without an ending"] += 1
    plural = {kind: "pictures" if kind == "picture" and count > 1 else kind for kind, count in found.items()}
    return ", ".join(f"{count} {plural[kind]}" for kind, count in found.most_common())


def may_be_something_else(result: Unreadable) -> bool:
    """Whether a file that gave nothing was perhaps never meant as a recording."""
    return result.reason in _STRANGE and not result.file.lower().endswith(_MEANT)


def find_files(folder: Path, not_recordings: frozenset[str] = frozenset()) -> Listing:
    """List the files below `folder` that may be recordings, each once, real files before links to them.

    Parameters
    ----------
    folder : Path
        Searched in depth; a loop of links is entered once, earlier results and what holds `folder` not at all.
    not_recordings : frozenset of str
        Names below the folder that are known to be something else, such as reference lines.
    """
    search = _Search(folder)
    entries = sorted(search.files(), key=lambda e: (e.linked, e.name))
    unreadable = search.unreadable
    files: list[Found] = []
    links: dict[str, str] = {}
    seen: dict[tuple[int, int], str] = {}
    others: list[str] = []
    unread: list[str] = []
    for entry in entries:
        if is_no_recording(entry.name) or entry.name in not_recordings:
            unread += [entry.name] if _is_companion_elsewhere(entry, folder) else []
            others += [] if is_hidden(entry.name) or entry.path.name.lower() in _OWN_FILES else [entry.name]
            continue
        try:
            status = entry.path.stat()
        except OSError as error:
            unreadable.append(cannot_open(entry.name, error))
            continue
        if not stat.S_ISREG(status.st_mode):
            if entry.name.lower().endswith(_MEANT):
                unreadable.append(_unreadable(entry.name, "no_file", "no file but a pipe, a socket or a device", _FILE))
            continue
        first = seen.setdefault((status.st_dev, status.st_ino), entry.name)
        if first == entry.name:
            files.append(entry)
        else:
            links[entry.name] = first
    files.sort(key=lambda f: f.name)
    return Listing(files, unreadable, links, tuple(search.not_entered), tuple(others), tuple(unread))


def _is_companion_elsewhere(entry: Found, folder: Path) -> bool:
    """Whether a file bears the name of one that is read, but where, or so written that, none is looked for."""
    name = entry.path.name.lower()
    if name not in _COMPANIONS or is_hidden(entry.name):
        return False
    return "/" in entry.name or not (folder / name).exists()


def cannot_open(name: str, error: OSError) -> Unreadable:
    """Return the line for a file that the system does not hand out."""
    if error.errno == errno.EFBIG:
        found, _, most = str(error.strerror).partition(", which is more than ")
        return _unreadable(name, "too_large", found, f"at most {most}")
    kinds = {
        errno.EACCES: ("permission_denied", "permission denied"),
        errno.ENOENT: _gone(error),
        errno.ELOOP: ("link_in_a_circle", "a link that leads to itself"),
    }
    reason, found = kinds.get(error.errno or 0, ("cannot_open", error.strerror or "an error of the file system"))
    return _unreadable(name, reason, found, _FILE)


def _gone(error: OSError) -> tuple[str, str]:
    """Return why there is nothing of a name that was listed."""
    if error.filename and not os.path.lexists(error.filename):
        return "vanished", "nothing any more, though it was there when the folder was listed"
    return "link_to_nothing", "a link to nothing"


def _unreadable(name: str, reason: str, found: str, expected: str) -> Unreadable:
    return Unreadable(name, 0, reason, str(UnreadableFile(name, found, expected, reason)))


class _Search:
    """A walk through a folder and what it leads to; `unreadable` and `not_entered` fill while it goes on."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        self.unreadable: list[Unreadable] = []
        self.not_entered: list[str] = []

    def files(self) -> Iterator[Found]:
        """Yield every file; real folders first, then linked ones that were not yet entered."""
        seen: set[tuple[int, int]] = set()
        above = set(self._identities(self.folder.resolve().parents))
        waiting = [Found(self.folder, "")]
        links: list[Found] = []
        while waiting or links:
            here = waiting.pop() if waiting else links.pop(0)
            try:
                (which,) = self._identities([here.path])
                entries = sorted(os.scandir(here.path), key=lambda e: e.name)
            except OSError as error:
                self.unreadable.append(cannot_open(here.name or ".", error))
                continue
            if which in above:
                self.not_entered.append(here.name)
            elif which not in seen and not _is_results(here, {e.name for e in entries}):
                for found, is_folder in (_entry(entry, here) for entry in entries):
                    if not is_folder:
                        yield found
                    elif not found.path.name.startswith("."):
                        (links if found.linked else waiting).append(found)
            seen.add(which)

    @staticmethod
    def _identities(paths: Iterable[Path]) -> list[tuple[int, int]]:
        return [(status.st_dev, status.st_ino) for status in (path.stat() for path in paths)]


def _entry(entry: os.DirEntry[str], here: Found) -> tuple[Found, bool]:
    """Return an entry of a folder, and whether it is one itself or leads to one."""
    name = readable(entry.name) if not here.name else f"{here.name}/{readable(entry.name)}"
    try:
        is_folder = entry.is_dir()
    except OSError:  # a link in a circle, or to where nobody may look: told when it is opened
        is_folder = False
    return Found(Path(entry.path), name, here.linked or entry.is_symlink()), is_folder


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

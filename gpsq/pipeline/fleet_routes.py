"""Which recordings of a fleet are on which route, looked at one by one: their shapes pass through memory, few stay."""

from __future__ import annotations

from dataclasses import dataclass, field
from functools import partial
from typing import TYPE_CHECKING

from gpsq.exceptions import InputError
from gpsq.model import Trace, Unreadable
from gpsq.reading import read_file
from gpsq.reading.listing import may_be_something_else
from gpsq.reading.parquet import SUFFIX, read_parquet
from gpsq.rides import passes
from gpsq.rides.routes import STANDS_M, Groups, Shape

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator, Mapping, Sequence
    from concurrent.futures import Executor
    from pathlib import Path

    from gpsq.campaign.campaign_file import Campaign

#: Files read between two looks at what they hold, which bounds what is in memory.
BATCH = 128
#: The part of recordings that are on no route: they have no length.
NO_ROUTE = 0

#: Where a recording is found again: the file it stands in, its name, and its track.
Place = tuple[str, str, int]


@dataclass
class Sorted:
    """The recordings of each route, by number from 1 (`NO_ROUTE` for those on none), and what cannot be read."""

    parts: dict[int, list[Place]] = field(default_factory=dict)
    unreadable: list[tuple[str, int, str]] = field(default_factory=list)

    @property
    def recordings(self) -> int:
        """Number of recordings that gave a trace."""
        return sum(len(places) for places in self.parts.values())


def traces_in(path: Path, name: str, campaign: Campaign) -> list[Trace | Unreadable]:
    """Read one file; whenever it is read it gives the same tracks."""
    if path.suffix == SUFFIX:
        return read_parquet(path, name, settings=campaign.settings)
    read = read_file(path, name, settings=campaign.settings, time_zone=campaign.time_zone)
    traces, _, _ = passes.cut([r for r in read if isinstance(r, Trace)], campaign.settings, asked=campaign.cut_passes)
    return [*traces, *(r for r in read if isinstance(r, Unreadable) and not may_be_something_else(r))]


def sort_out(
    files: Mapping[str, Path], campaign: Campaign, executor: Executor, tell: Callable[[int, int], None]
) -> Sorted:
    """Return which recordings of the files belong to one route, and which file each stands in.

    Parameters
    ----------
    files : by the name that results call them. tell : told (files done, files in all).
    """
    found, sorter = Sorted(), _Sorter(campaign)
    stands: dict[tuple[str, int], str] = {}
    for done, (name, batch) in enumerate(_read(files, campaign, executor), start=1):
        for file, track, shape in batch:
            first = stands.setdefault((file, track), name)
            if isinstance(shape, str):
                found.unreadable.append((file, track, shape))
            elif first != name:
                twice = InputError(name, f"recording {file}, which {first} has too", "each whole in one file")
                found.unreadable.append((file, track, str(twice)))
            else:
                sorter.add((name, file, track), shape)
        tell(done, len(files))
    found.parts = sorter.parts()
    return found


def _read(
    files: Mapping[str, Path], campaign: Campaign, executor: Executor
) -> Iterator[tuple[str, list[tuple[str, int, Shape | str | None]]]]:
    names = list(files)
    for first in range(0, len(names), BATCH):
        some = names[first : first + BATCH]
        shapes = executor.map(partial(_shapes_in, campaign=campaign), [files[name] for name in some], some)
        yield from zip(some, shapes, strict=True)


def _shapes_in(path: Path, name: str, campaign: Campaign) -> list[tuple[str, int, Shape | str | None]]:
    """Return (recording, track, its shape) of all in a file; why it cannot be read, or None where it goes no way."""
    found: list[tuple[str, int, Shape | str | None]] = []
    for read in traces_in(path, name, campaign):
        if isinstance(read, Unreadable):
            found.append((read.file, read.track, read.message))
            continue
        shape = Shape(read, campaign.settings) if read.accepted >= 2 else None
        found.append((read.file, read.track, shape if shape is not None and shape.extent_m > STANDS_M else None))
    return found


class _Sorter:
    """Groups that keep the shapes of those members alone that stand for them."""

    def __init__(self, campaign: Campaign) -> None:
        self.shapes: dict[int, Shape] = {}
        self.groups = Groups(self.shapes, campaign.settings)
        self.places: list[Place] = []
        self.nowhere: list[Place] = []

    def add(self, place: Place, shape: Shape | None) -> None:
        if shape is None:
            self.nowhere.append(place)
            return
        number = len(self.places)
        self.places.append(place)
        self.shapes[number] = shape
        self.groups.add(number)
        if number not in self.groups.cells:
            del self.shapes[number]

    def parts(self) -> dict[int, list[Place]]:
        members: Sequence[list[int]] = sorted((sorted(m) for m in self.groups.members.values()), key=lambda m: m[0])
        parts = {k: [self.places[i] for i in own] for k, own in enumerate(members, start=1)}
        return parts | ({NO_ROUTE: self.nowhere} if self.nowhere else {})

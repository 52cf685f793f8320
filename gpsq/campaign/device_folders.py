"""Which device made each recording, as folders, files and times tell it, before a start log or renaming has a say.

A folder whose sub-folders were recorded in at the same time is a site, and those are its devices. Recordings that name no
device are one device's only if they can be: not at the same time, not by receivers that speak differently, not far apart.
"""

from __future__ import annotations

from collections import defaultdict
from dataclasses import dataclass, field
from typing import TYPE_CHECKING

import numpy as np

from gpsq.arrays import norms
from gpsq.campaign.device_names import UNKNOWN_DEVICE, folders_of, is_date
from gpsq.plane import to_earth_centred

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator, Mapping, Sequence

    from gpsq.model import FloatArray, IntArray, Trace

Folder = tuple[str, ...]
#: Recordings run at the same time when they share this much of the shorter.
TOGETHER = 0.5
#: Two recordings are copies of one where they lie nearer than this at all of so many instants.
COPY_M, INSTANTS = 0.5, 7
#: A folder's name stands for no one device where this share of its recordings run beside another of them.
MOST = 0.5
#: Recordings that name no device and lie further apart than this are not taken for one device's.
FAR_M = 200_000.0
#: Sentences of a kind that are rarer than this, against the most frequent, do not tell how a receiver speaks.
RARE = 0.1


@dataclass(frozen=True)
class FoundDevices:
    """Names of devices by (file, track), the folders that are sites, and sentences on what cannot be one device."""

    names: Mapping[tuple[str, int], str] = field(default_factory=dict)
    sites: frozenset[Folder] = frozenset()
    notes: tuple[str, ...] = ()

    def of_file(self, file: str) -> str:
        """Return the device of a file of which nothing could be read: its folder's, else unknown."""
        return _by_folder(file, self.sites) or UNKNOWN_DEVICE


def found_devices(traces: Sequence[Trace]) -> FoundDevices:
    """Return the device of each recording by its folder, else as its file says, else unknown.

    Parameters
    ----------
    traces : sequence of Trace
        All of a campaign.
    """
    beside = Beside(traces)
    sites = _sites(traces, beside)
    folders = [_by_folder(trace.file, sites) for trace in traces]
    shared = _shared_by_several(folders, beside)
    told = [
        ("" if folder in shared else folder) or trace.creator for folder, trace in zip(folders, traces, strict=True)
    ]
    apart = _apart([k for k, name in enumerate(told) if not name], folders, traces, beside)
    names = {(t.file, t.track): told[k] or apart.get(k, UNKNOWN_DEVICE) for k, t in enumerate(traces)}
    return FoundDevices(names, sites, tuple(_notes(shared, apart)))


def by_folder_or_file(traces: Iterable[Trace]) -> FoundDevices:
    """Return the device of each recording by itself: of a fleet not all are at hand to be compared."""
    names = {(t.file, t.track): _by_folder(t.file, frozenset()) or t.creator or UNKNOWN_DEVICE for t in traces}
    return FoundDevices(names)


def _notes(shared: Iterable[str], apart: Mapping[int, str]) -> Iterator[str]:
    for folder in sorted(shared):
        yield f"The recordings in {folder} were made at the same time, so {folder} is not taken for one device."
    count = len(set(apart.values()))
    if count > 1:
        example = next(iter(apart.values())).removeprefix(f"{UNKNOWN_DEVICE} (").removesuffix(")")
        yield (
            f"{len(apart)} recordings name no device and cannot be taken for one (made at the same time, far apart, or by "
            f"receivers that write other sentences), so they count as {count}. To name them, put the files of each device "
            f'into a folder of its own, or write under [devices] in campaign.toml: "{example}" = "a name"'
        )


# --- folders --------------------------------------------------------------------------------------------------------


def _by_folder(file: str, sites: frozenset[Folder]) -> str:
    """Return the name of the folder that stands for the device, "" where there is none."""
    folders = folders_of(file)
    depth = 0
    while depth + 1 < len(folders) and folders[: depth + 1] in sites:
        depth += 1
    if not folders or folders[: depth + 1] in sites or is_date(folders[depth]):
        return ""
    return folders[depth]


def _sites(traces: Sequence[Trace], beside: Beside) -> frozenset[Folder]:
    """Return the folders below which recordings made at the same time lie in different sub-folders.

    Where one is known, its neighbours are sites too whose sub-folders bear names of its devices.
    """
    below: dict[Folder, dict[str, list[int]]] = defaultdict(lambda: defaultdict(list))
    for k, trace in enumerate(traces):
        folders = folders_of(trace.file)
        for depth in range(1, len(folders)):
            below[folders[:depth]][folders[depth]].append(k)
    sites = {folder for folder, parts in below.items() if beside.between(_undated(parts))}
    devices = {name for site in sites for name in below[site]}
    depths = {len(site) for site in sites}
    return frozenset(sites | {f for f, parts in below.items() if parts.keys() & devices and len(f) in depths})


def _undated(parts: Mapping[str, list[int]]) -> dict[str, list[int]]:
    return {name: numbers for name, numbers in parts.items() if not is_date(name)}


def _shared_by_several(folders: Sequence[str], beside: Beside) -> set[str]:
    """Return the names of folders most of whose recordings run beside another one in it."""
    inside: dict[str, list[int]] = defaultdict(list)
    for k, name in enumerate(folders):
        inside[name].append(k)
    return {name for name, own in inside.items() if name and len(beside.of(own)) >= MOST * len(own)}


# --- recordings that name no device -----------------------------------------------------------------------------------


def _apart(nameless: Sequence[int], folders: Sequence[str], traces: Sequence[Trace], beside: Beside) -> dict[int, str]:
    """Return names for recordings without one, as few as may be: one for those that may be of one device; {} for one in all."""
    groups: dict[object, list[int]] = defaultdict(list)
    for k in nameless:
        groups[folders[k], _speech(traces[k])].append(k)
    parts = [part for own in groups.values() for part in _regions(own, traces)]
    single = []
    for part in parts:
        single += [[k] for k in part] if len(beside.of(part)) >= MOST * len(part) else [part]
    if len(single) < 2:
        return {}
    return {k: f"{UNKNOWN_DEVICE} ({_of(part, traces)})" for part in sorted(single) for k in part}


def _of(part: Sequence[int], traces: Sequence[Trace]) -> str:
    return min(traces[k].label for k in part)


def _speech(trace: Trace) -> frozenset[str]:
    """Return the kinds of sentence that a receiver writes, with their talkers; nothing for files of other formats."""
    counts = {name: n for name, n in trace.counts.items() if name.startswith("sentences_")}
    return frozenset(name for name, n in counts.items() if n >= RARE * max(counts.values()))


def _regions(numbers: Sequence[int], traces: Sequence[Trace]) -> list[list[int]]:
    """Return recordings by regions: each lies within reach of another of its region. Those without a place go with the first."""
    placed = np.array([k for k in numbers if traces[k].accepted], dtype=np.int64)
    first = np.array([(traces[k].lon_deg[0], traces[k].lat_deg[0]) for k in placed]).reshape(-1, 2)
    regions = sorted(placed[own].tolist() for own in _within_reach(to_earth_centred(*first.T))) or [[]]
    regions[0] = sorted([*regions[0], *(k for k in numbers if not traces[k].accepted)])
    return regions if regions[0] else []


def _within_reach(xyz_m: FloatArray) -> Iterator[IntArray]:
    """Yield the numbers of (n, 3) places by regions, each grown from a place by all that its newest places reach."""
    from scipy.spatial import cKDTree

    left = np.arange(len(xyz_m))
    while len(left):
        region, left = left[:1], left[1:]
        newest = region
        while len(newest) and len(left):
            # a chord is eight metres shorter than the way along the ground
            reached = cKDTree(xyz_m[newest]).query(xyz_m[left])[0] <= FAR_M
            newest, left = left[reached], left[~reached]
            region = np.concatenate([region, newest])
        yield np.sort(region)


# --- who runs beside whom ----------------------------------------------------------------------------------------------
# Nobody asks for the pairs, of which thousands of recordings of one time have millions: only who runs beside anybody.


@dataclass(frozen=True, eq=False)
class _Course:
    """What recordings of the very same times and places share; `contents` are their files' hashes, with the track."""

    time_ms: IntArray
    lon_deg: FloatArray
    lat_deg: FloatArray
    span_ms: tuple[int, int]
    contents: set[tuple[str, int]]


class Beside:
    """The recordings of a campaign, asked who runs beside whom. Recordings without times or dates run beside nobody.

    Parameters
    ----------
    traces : sequence of Trace
        All of a campaign; recordings are named by their number in it.
    """

    def __init__(self, traces: Sequence[Trace]) -> None:
        alike: dict[tuple[bytes, ...], _Course] = {}
        self._course: dict[int, _Course] = {}
        for k, trace in enumerate(traces):
            if trace.timed and trace.date_known and trace.accepted > 1:
                time_ms = trace.time.astype("datetime64[ms]").astype(np.int64)
                arrays = (time_ms, trace.lon_deg, trace.lat_deg)
                course = alike.setdefault(
                    tuple(a.tobytes() for a in arrays), _Course(*arrays, (int(time_ms[0]), int(time_ms[-1])), set())
                )
                course.contents.add((trace.sha256, trace.track))
                self._course[k] = course

    def of(self, numbers: Iterable[int]) -> set[int]:
        """Return those of the recordings that run beside another of them."""
        members: dict[_Course, list[int]] = defaultdict(list)
        for k in numbers:
            if k in self._course:
                members[self._course[k]].append(k)
        alone, accompanied, found = _Running(), _Running(), set[_Course]()
        for course in sorted(members, key=lambda c: c.span_ms):
            met = [other for other in alone.at(course) if _run_beside(other, course)]
            found.update(met)
            alone.courses = [other for other in alone.courses if other not in found] if met else alone.courses
            accompanied.courses += met
            if met or any(_run_beside(other, course) for other in accompanied.at(course)):
                found.add(course)
            (accompanied if course in found else alone).courses.append(course)
        return {k for course in found for k in members[course]}

    def between(self, parts: Mapping[str, Iterable[int]]) -> bool:
        """Whether a recording of one part runs beside one of another part."""
        courses = {(self._course[k], part) for part, numbers in parts.items() for k in numbers if k in self._course}
        before: dict[str, _Running] = defaultdict(_Running)
        for course, part in sorted(courses, key=lambda entry: entry[0].span_ms):
            others = (other for name, running in before.items() if name != part for other in running.at(course))
            if any(_run_beside(other, course) for other in others):
                return True
            before[part].courses.append(course)
        return False


@dataclass(eq=False)
class _Running:
    """Recordings in order of their beginning; those that ended are dropped when they may be half of all."""

    courses: list[_Course] = field(default_factory=list)
    kept: int = 0

    def at(self, course: _Course) -> list[_Course]:
        """Return those that may still run when `course` begins."""
        if len(self.courses) > 2 * self.kept:
            self.courses = [other for other in self.courses if other.span_ms[1] > course.span_ms[0]]
            self.kept = len(self.courses)
        return self.courses


def _run_beside(a: _Course, b: _Course) -> bool:
    """Whether two run at the same time for half of the shorter, and are not of one device exported twice."""
    if a is b:
        return False
    (first_ms, last_ms), (begun_ms, ended_ms) = a.span_ms, b.span_ms
    shared_ms = min(last_ms, ended_ms) - max(first_ms, begun_ms)
    together = shared_ms >= TOGETHER * min(last_ms - first_ms, ended_ms - begun_ms) > 0
    return together and not (len(a.contents | b.contents) == 1 or _are_copies(a, b))


def _are_copies(a: _Course, b: _Course) -> bool:
    """Whether two lie at the same places at the same instants."""
    low, high = max(a.span_ms[0], b.span_ms[0]), min(a.span_ms[1], b.span_ms[1])
    at_ms = np.linspace(low, high, INSTANTS)
    return bool(norms(_places(a, at_ms) - _places(b, at_ms)).max() < COPY_M)


def _places(course: _Course, at_ms: FloatArray) -> FloatArray:
    lon, lat = (np.interp(at_ms, course.time_ms, degrees) for degrees in (course.lon_deg, course.lat_deg))
    return to_earth_centred(lon, lat)

"""Which device made each recording, as folders, files and times tell it, before a start log or renaming has a say.

A folder whose sub-folders were recorded in at the same time is a site, and those are its devices. Recordings that name no
device are one device's only if they can be: not at the same time, not by receivers that speak differently, not far apart.
"""

from __future__ import annotations

from collections import defaultdict
from dataclasses import dataclass, field
from typing import TYPE_CHECKING

import numpy as np

from gpsq.campaign.device_names import UNKNOWN_DEVICE, folders_of, is_date
from gpsq.plane import geodesic_inverse_m

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator, Mapping, Sequence

    from gpsq.model import FloatArray, Trace

Folder = tuple[str, ...]
#: Recordings run at the same time when they share this much of the shorter.
TOGETHER = 0.5
#: A folder's name stands for no one device where this share of its recordings run beside another of them.
MOST = 0.5
#: Recordings that name no device and lie further apart than this are not taken for one device's.
FAR_M = 200_000.0
#: Two recordings are copies of one where they lie nearer than this at all of so many instants.
COPY_M, INSTANTS = 0.5, 7
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
    pairs = [(a, b) for a, b in _at_the_same_time(traces) if not _are_copies(traces[a], traces[b])]
    sites = _sites(traces, pairs)
    folders = [_by_folder(trace.file, sites) for trace in traces]
    shared = _shared_by_several(folders, pairs)
    told = [
        ("" if folder in shared else folder) or trace.creator for folder, trace in zip(folders, traces, strict=True)
    ]
    apart = _apart([k for k, name in enumerate(told) if not name], folders, traces, pairs)
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


def _sites(traces: Sequence[Trace], pairs: Sequence[tuple[int, int]]) -> frozenset[Folder]:
    """Return the folders below which recordings made at the same time lie in different sub-folders.

    Where one is known, its neighbours are sites too whose sub-folders bear names of its devices.
    """
    folders = [folders_of(trace.file) for trace in traces]
    sites = set()
    for a, b in pairs:
        depth = next((k for k, (x, y) in enumerate(zip(folders[a], folders[b], strict=False)) if x != y), 0)
        if depth and not is_date(folders[a][depth]):
            sites.add(folders[a][:depth])
    below: dict[Folder, set[str]] = defaultdict(set)
    for found in folders:
        for depth in range(1, len(found)):
            below[found[:depth]].add(found[depth])
    devices = {name for site in sites for name in below[site]}
    alike = {f for f, names in below.items() if names & devices and len(f) in {len(site) for site in sites}}
    return frozenset(sites | alike)


def _shared_by_several(folders: Sequence[str], pairs: Sequence[tuple[int, int]]) -> set[str]:
    """Return the names of folders most of whose recordings run beside another one in it."""
    beside: dict[str, set[int]] = defaultdict(set)
    for a, b in pairs:
        if folders[a] and folders[a] == folders[b]:
            beside[folders[a]] |= {a, b}
    return {name for name, found in beside.items() if len(found) >= MOST * folders.count(name)}


# --- recordings that name no device -----------------------------------------------------------------------------------


def _apart(
    nameless: Sequence[int], folders: Sequence[str], traces: Sequence[Trace], pairs: Sequence[tuple[int, int]]
) -> dict[int, str]:
    """Return names for recordings without one, as few as may be: one for those that may be of one device; {} for one in all."""
    groups: dict[object, list[int]] = defaultdict(list)
    for k in nameless:
        groups[folders[k], _speech(traces[k])].append(k)
    parts = [part for own in groups.values() for part in _regions(own, traces)]
    clashing = {frozenset(pair) for pair in pairs}
    single = []
    for part in parts:
        beside = {k for pair in clashing if pair <= set(part) for k in pair}
        single += [[k] for k in part] if len(beside) >= MOST * len(part) else [part]
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
    regions: list[list[int]] = []
    for k in (k for k in numbers if traces[k].accepted):
        joined = [k]
        for region in [region for region in regions if _nearest_m(k, region, traces) <= FAR_M]:
            regions.remove(region)
            joined += region
        regions.append(joined)
    regions = sorted(map(sorted, regions)) or [[]]
    regions[0] = sorted([*regions[0], *(k for k in numbers if not traces[k].accepted)])
    return regions if regions[0] else []


def _nearest_m(k: int, region: Sequence[int], traces: Sequence[Trace]) -> float:
    first = np.array([(traces[i].lon_deg[0], traces[i].lat_deg[0]) for i in region])
    own = np.broadcast_to((traces[k].lon_deg[0], traces[k].lat_deg[0]), first.shape)
    return float(geodesic_inverse_m(own[:, 0], own[:, 1], first[:, 0], first[:, 1]).min())


# --- at the same time -------------------------------------------------------------------------------------------------


def _at_the_same_time(traces: Sequence[Trace]) -> Iterator[tuple[int, int]]:
    """Yield the pairs of recordings that run beside each other for half of the shorter."""
    timed = [k for k, t in enumerate(traces) if t.timed and t.date_known and t.accepted > 1]
    spans = {k: (_ms(traces[k], 0), _ms(traces[k], -1)) for k in timed}
    timed.sort(key=lambda k: spans[k])
    running: list[int] = []
    for k in timed:
        first, last = spans[k]
        running = [other for other in running if spans[other][1] > first]
        for other in running:
            begun, ended = spans[other]
            if min(last, ended) - first >= TOGETHER * min(last - first, ended - begun) > 0:
                yield other, k
        running.append(k)


def _ms(trace: Trace, at: int) -> int:
    return int(trace.time[at].astype("datetime64[ms]").astype(np.int64))


def _are_copies(a: Trace, b: Trace) -> bool:
    """Whether two recordings are of one device, exported twice: at the same instants they lie at the same places."""
    if a.sha256 == b.sha256 and a.track == b.track:
        return True
    at_ms = np.linspace(max(_ms(a, 0), _ms(b, 0)), min(_ms(a, -1), _ms(b, -1)), INSTANTS)
    return bool(geodesic_inverse_m(*_places(a, at_ms), *_places(b, at_ms)).max() < COPY_M)


def _places(trace: Trace, at_ms: FloatArray) -> tuple[FloatArray, FloatArray]:
    time_ms = trace.time.astype("datetime64[ms]").astype(np.int64)
    return np.interp(at_ms, time_ms, trace.lon_deg), np.interp(at_ms, time_ms, trace.lat_deg)

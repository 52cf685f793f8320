"""What recordings tell of one another: the same one twice, dates 1,024 weeks off, latitude and longitude exchanged."""

from __future__ import annotations

from collections import Counter, defaultdict
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from gpsq.arrays import norms
from gpsq.geometry.polyline import along_m
from gpsq.plane import geodesic_inverse_m, to_earth_centred
from gpsq.rides.places import places_m
from gpsq.rides.week_rollover import ROLLOVER_S

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping, Sequence

    from gpsq.model import FloatArray, Trace

#: Two exports of one recording differ by rounding only.
_SAME_M = 1.0
#: And in a few points that one of them leaves out.
_SAME_SHARE = 0.9
#: Seconds of a trace that are looked at, in cells so large, and how many must agree before it is compared in full:
#: two exports of one recording fall into one cell mostly, two devices of one rider mostly not.
_MARKS, _CELL_M, _LEAST_MET = 24, 4.0, 3
#: Copies that are named in a sentence; the others are counted.
_NAMED = 5
#: Of recordings at the same time but for weeks, so many of the nearest are compared.
_MOST_NEAR = 20
#: Two devices of one rider are within this of one another at the same instant.
_TOGETHER_M = 100.0
#: Far apart as written, near once exchanged: no error of a receiver does that.
_FAR_M = 100_000.0


@dataclass(frozen=True)
class Companion:
    """A finding about trace `trace` in the light of trace `other` (numbers in the sequence).

    `kind` is same_recording, week_rollover or swapped_lat_lon; `metres` how far apart the two are once that is known;
    `ahead_s` how far the clock of `trace` is ahead of the other's.
    """

    kind: str
    trace: int
    other: int
    metres: float
    note: str
    ahead_s: float = 0.0


def compare(traces: Sequence[Trace]) -> tuple[Companion, ...]:
    """Compare `traces` with one another; nothing is changed, only said.

    Parameters
    ----------
    traces : sequence of Trace
        Of one campaign, or the files of one check.
    """
    usable = np.array([i for i, trace in enumerate(traces) if trace.accepted > 1], dtype=np.int64)
    ends = _Ends.of([traces[i] for i in usable])
    rolled = [found for k, j in ends.weeks_apart() for found in _rolled_over(traces, int(usable[k]), int(usable[j]))]
    crossed = [(int(usable[k]), int(usable[j])) for k, j in ends.crossed()]
    groups = [*same_recordings(traces, usable.tolist()), *_same_bytes(traces, usable.tolist())]
    same = [found for group in groups for found in _group(traces, group)]
    return (*same, *rolled, *_swapped(traces, crossed))


@dataclass(frozen=True)
class _Ends:
    """First and last time (seconds, nan without times) and first place of every trace: which pairs deserve a look."""

    begin_s: FloatArray
    end_s: FloatArray
    lon_deg: FloatArray
    lat_deg: FloatArray

    @classmethod
    def of(cls, traces: Sequence[Trace]) -> _Ends:
        zero = np.datetime64(0, "ms")
        clock = [(t.time[[0, -1]] - zero) / np.timedelta64(1, "s") if t.timed else (np.nan, np.nan) for t in traces]
        begin_s, end_s = np.array(clock, dtype=float).reshape(-1, 2).T
        places = np.array([(t.lon_deg[0], t.lat_deg[0]) for t in traces], dtype=float).reshape(-1, 2).T
        return cls(begin_s, end_s, *places)

    def weeks_apart(self) -> Iterator[tuple[int, int]]:
        """Yield pairs that ran at the same time but for a multiple of 1,024 weeks, each with its nearest few."""
        if not np.isfinite(self.begin_s).any() or np.nanmax(self.begin_s) - np.nanmin(self.begin_s) < ROLLOVER_S / 2:
            return
        for k in range(len(self.begin_s)):
            turns = np.round((self.begin_s[k + 1 :] - self.begin_s[k]) / ROLLOVER_S)
            begin_s, end_s = self.begin_s[k + 1 :] - turns * ROLLOVER_S, self.end_s[k + 1 :] - turns * ROLLOVER_S
            at = k + 1 + np.flatnonzero((turns != 0) & (begin_s <= self.end_s[k]) & (end_s >= self.begin_s[k]))
            far_deg = np.hypot(self.lon_deg[at] - self.lon_deg[k], self.lat_deg[at] - self.lat_deg[k])
            yield from ((k, j) for j in np.sort(at[np.argsort(far_deg, kind="stable")[:_MOST_NEAR]]).tolist())

    def crossed(self) -> Iterator[tuple[int, int]]:
        """Yield pairs that lie near one another once the coordinates of one are exchanged, but not as written."""
        cells = {(int(x), int(y)) for x, y in zip(np.floor(self.lon_deg), np.floor(self.lat_deg), strict=True)}
        around = [(a, b) for a in (-1, 0, 1) for b in (-1, 0, 1)]
        likely = [(x, y) for x, y in cells if any((y + a, x + b) in cells for a, b in around)]
        if not likely:
            return
        some = np.flatnonzero(
            np.isin(np.floor(self.lon_deg) * 1000 + np.floor(self.lat_deg), [x * 1000 + y for x, y in likely])
        )
        for n, k in enumerate(some):
            lon, lat = self.lon_deg[some[n + 1 :]], self.lat_deg[some[n + 1 :]]
            near = (np.abs(lon - self.lat_deg[k]) < 1) & (np.abs(lat - self.lon_deg[k]) < 1)
            far = (np.abs(lon - self.lon_deg[k]) > 1) | (np.abs(lat - self.lat_deg[k]) > 1)
            yield from ((int(k), j) for j in some[n + 1 :][near & far].tolist())


def same_recordings(traces: Sequence[Trace], usable: Sequence[int]) -> list[dict[int, float]]:
    """Return the groups of traces that are one recording by their times and places, each with how far apart it lies.

    A group is led by its first trace. A trace is compared with those that lead a group only, and only where both were at
    one place at some of the same seconds: all copies of one recording choose the same seconds to look at.
    """
    groups: dict[int, dict[int, float]] = {}
    leading: dict[tuple[int, ...], list[int]] = defaultdict(list)
    for i in (i for i in usable if traces[i].timed):
        marks = _marks(traces[i])
        met = Counter(j for mark in marks for j in leading[mark])
        likely = sorted(j for j, count in met.items() if count >= min(_LEAST_MET, len(marks)))
        found = next(((j, apart_m) for j in likely if (apart_m := _apart_if_same(traces, j, i)) is not None), None)
        if found is not None:
            groups.setdefault(found[0], {found[0]: 0.0})[i] = found[1]
        else:
            for mark in marks:
                leading[mark].append(i)
    return list(groups.values())


def _marks(trace: Trace) -> list[tuple[int, ...]]:
    """Return (second, cell of space) of a few fixes: at the seconds whose scrambled numbers are the smallest."""
    seconds, first = np.unique(_whole(trace).astype(np.int64), return_index=True)
    scrambled = (seconds.astype(np.uint64) * np.uint64(0x9E3779B97F4A7C15)) >> np.uint64(20)
    chosen = np.argsort(scrambled, kind="stable")[:_MARKS]
    places = to_earth_centred(trace.lon_deg[first[chosen]], trace.lat_deg[first[chosen]])
    cells = np.floor(places / _CELL_M).astype(np.int64)
    return [(second, *cell) for second, cell in zip(seconds[chosen].tolist(), cells.tolist(), strict=True)]


def _apart_if_same(traces: Sequence[Trace], i: int, j: int) -> float | None:
    """Return how far two traces lie apart where they are one recording, None where they are not."""
    first, second = traces[i], traces[j]
    shared, at_first, at_second = np.intersect1d(_whole(first), _whole(second), return_indices=True)
    if len(shared) < _SAME_SHARE * max(first.accepted, second.accepted):
        return None
    apart_m = float(norms(places_m(first)[at_first] - places_m(second)[at_second]).max())
    return apart_m if apart_m <= _SAME_M else None


def _same_bytes(traces: Sequence[Trace], usable: Sequence[int]) -> list[dict[int, float]]:
    """Return the groups of traces of the same content whose times cannot show it."""
    groups: dict[tuple[str, int], dict[int, float]] = defaultdict(dict)
    for i in (i for i in usable if not traces[i].timed):
        groups[traces[i].key][i] = np.nan
    return [group for group in groups.values() if len(group) > 1]


def _group(traces: Sequence[Trace], group: Mapping[int, float]) -> list[Companion]:
    """Return a finding for each copy in a group, all with the group's one sentence."""
    first, *others = group
    apart_m = max(group[i] for i in others)
    names = [traces[i].label for i in others]
    said = names[0] if len(names) == 1 else ", ".join(names[:_NAMED])
    if len(names) > _NAMED:
        said += f" and {len(names) - _NAMED:,} more"
    how = "the same content, byte by byte" if np.isnan(apart_m) else f"same times, positions within {apart_m:.2f} m"
    are = "is the same recording as" if len(names) == 1 else "are the same recording as"
    note = f"{said} {are} {traces[first].label} ({how}): one ride, counted once, by {traces[first].label}."
    return [Companion("same_recording", i, first, 0.0 if np.isnan(apart_m) else group[i], note) for i in others]


def _rolled_over(traces: Sequence[Trace], i: int, j: int) -> list[Companion]:
    early, late = (i, j) if traces[i].time[0] < traces[j].time[0] else (j, i)
    old, new = traces[early], traces[late]
    turns = round(float((new.time[0] - old.time[0]) / np.timedelta64(1, "s")) / ROLLOVER_S)
    shift = np.timedelta64(round(turns * ROLLOVER_S), "s")
    apart_m = _apart_m(old, new, shift)
    if not len(apart_m) or np.median(apart_m) > _TOGETHER_M:
        return []
    note = (
        f"The dates of {old.label} lie {turns * 7168} days ({turns * 1024} weeks) before those of {new.label}, which "
        "was at the same places at the same time of day: the week number of GPS has rolled over. Shifted, it would "
        f"begin at {old.time[0] + shift}Z; its times are left as written."
    )
    return [Companion("week_rollover", early, late, float(np.median(apart_m)), note, -turns * ROLLOVER_S)]


def _swapped(traces: Sequence[Trace], pairs: list[tuple[int, int]]) -> list[Companion]:
    """Name the trace that matches the most others once its coordinates are exchanged; of two, either may be wrong."""
    matches: dict[int, dict[int, float]] = {}
    for i, j in pairs:
        for wrong, right in ((i, j), (j, i)):
            metres = _exchanged_m(traces[wrong], traces[right])
            if metres <= _TOGETHER_M:
                matches.setdefault(wrong, {})[right] = metres
    found = []
    for wrong, others in matches.items():
        rivals = [right for right in others if len(matches.get(right, {})) >= len(others)]
        if any(len(matches[right]) > len(others) for right in rivals):
            continue
        right = min(others, key=lambda other: others[other])
        note = _swap_note(traces[wrong], traces[right], others[right], bool(rivals))
        found.append(Companion("swapped_lat_lon", wrong, right, others[right], note))
    return found


def _swap_note(wrong: Trace, right: Trace, metres: float, open_which: bool) -> str:
    apart_m = geodesic_inverse_m(wrong.lon_deg[:1], wrong.lat_deg[:1], right.lon_deg[:1], right.lat_deg[:1])[0]
    which = f"{wrong.label}, or else of {right.label}," if open_which else wrong.label
    return (
        f"Latitude and longitude of {which} are probably exchanged: as written the two lie {apart_m / 1000:,.0f} km "
        f"apart, exchanged {wrong.label} is within {metres:.1f} m of {right.label}. Nothing was changed."
    )


def _exchanged_m(wrong: Trace, right: Trace) -> float:
    """Return the largest distance of `wrong`, its coordinates exchanged, from `right`; inf where they are no match."""
    ends = (wrong.lon_deg[:1], wrong.lat_deg[:1]), (right.lon_deg[:1], right.lat_deg[:1])
    (lon, lat), (other_lon, other_lat) = ends
    if np.abs(wrong.lon_deg).max() > 90 or geodesic_inverse_m(lon, lat, other_lon, other_lat)[0] < _FAR_M:
        return np.inf
    if geodesic_inverse_m(lat, lon, other_lon, other_lat)[0] > _FAR_M:
        return np.inf
    from scipy.spatial import cKDTree

    away_m, _ = cKDTree(_densified(places_m(right))).query(to_earth_centred(wrong.lat_deg, wrong.lon_deg))
    return float(np.max(away_m))


def _densified(xyz: FloatArray, step_m: float = 1.0) -> FloatArray:
    """Put points a metre apart along a line, at most a hundred thousand."""
    along = along_m(xyz)
    stations = np.linspace(0.0, along[-1], min(int(along[-1] / step_m) + 2, 100_000))
    return np.column_stack([np.interp(stations, along, xyz[:, k]) for k in range(3)])


def _apart_m(first: Trace, second: Trace, shift: np.timedelta64) -> FloatArray:
    """Return how far apart two traces are at the times of the first, its clock put on by `shift`, where both run."""
    when = (first.time + shift).astype(np.int64).astype(float)
    line = second.time.astype(np.int64).astype(float)
    both = (when >= line[0]) & (when <= line[-1])
    other = places_m(second)
    at = np.column_stack([np.interp(when[both], line, other[:, k]) for k in range(3)])
    return norms(places_m(first)[both] - at)


def _whole(trace: Trace) -> FloatArray:
    return trace.time.astype("datetime64[s]").astype(np.int64).astype(float)

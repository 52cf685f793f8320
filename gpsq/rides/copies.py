"""What recordings tell of one another: the same one twice, dates 1,024 weeks off, latitude and longitude exchanged."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from gpsq.arrays import norms
from gpsq.geometry.polyline import along_m
from gpsq.plane import geodesic_inverse_m, to_earth_centred
from gpsq.rides.week_rollover import ROLLOVER_S

if TYPE_CHECKING:
    from collections.abc import Sequence

    from gpsq.model import BoolArray, FloatArray, Trace

#: Two exports of one recording differ by rounding only.
_SAME_M = 1.0
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
    """Compare every two of `traces`; nothing is changed, only said.

    Parameters
    ----------
    traces : sequence of Trace
        Of one campaign, or the files of one check.
    """
    usable = np.array([i for i, trace in enumerate(traces) if trace.accepted > 1], dtype=np.int64)
    ends = _Ends.of([traces[i] for i in usable])
    found: list[Companion] = []
    for k, i in enumerate(usable.tolist()):
        for j in usable[k + 1 :][ends.overlap(k)].tolist():
            found += _same(traces, i, j)
        for j in usable[k + 1 :][ends.overlap_weeks_apart(k)].tolist():
            found += _rolled_over(traces, i, j)
    pairs = [(int(usable[k]), int(j)) for k in range(len(usable)) for j in usable[k + 1 :][ends.crossed(k)]]
    return (*found, *_copies(traces, usable.tolist()), *_swapped(traces, pairs))


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

    def overlap(self, k: int) -> BoolArray:
        """Mark the traces after `k` that ran at the same time."""
        return np.asarray((self.begin_s[k + 1 :] <= self.end_s[k]) & (self.end_s[k + 1 :] >= self.begin_s[k]))

    def overlap_weeks_apart(self, k: int) -> BoolArray:
        """Mark the traces after `k` that ran at the same time but for a multiple of 1,024 weeks."""
        turns = np.round((self.begin_s[k + 1 :] - self.begin_s[k]) / ROLLOVER_S)
        begin_s, end_s = self.begin_s[k + 1 :] - turns * ROLLOVER_S, self.end_s[k + 1 :] - turns * ROLLOVER_S
        return np.asarray((turns != 0) & (begin_s <= self.end_s[k]) & (end_s >= self.begin_s[k]))

    def crossed(self, k: int) -> BoolArray:
        """Mark the traces after `k` that lie near it once the coordinates of one are exchanged, but not as written."""
        lon, lat = self.lon_deg[k + 1 :], self.lat_deg[k + 1 :]
        near = (np.abs(lon - self.lat_deg[k]) < 1) & (np.abs(lat - self.lon_deg[k]) < 1)
        return np.asarray(near & ((np.abs(lon - self.lon_deg[k]) > 1) | (np.abs(lat - self.lat_deg[k]) > 1)))


def _same(traces: Sequence[Trace], i: int, j: int) -> list[Companion]:
    first, second = traces[i], traces[j]
    shared, at_first, at_second = np.intersect1d(_whole(first), _whole(second), return_indices=True)
    if len(shared) < 2 or len(shared) < 0.9 * max(first.accepted, second.accepted):
        return []
    apart_m = norms(_xyz(first)[at_first] - _xyz(second)[at_second])
    if apart_m.max() > _SAME_M:
        return []
    note = (
        f"{second.label} is the same recording as {first.label} (same times, positions within "
        f"{apart_m.max():.2f} m): one ride, counted once, by {first.label}."
    )
    return [Companion("same_recording", j, i, float(apart_m.max()), note)]


def _copies(traces: Sequence[Trace], usable: Sequence[int]) -> list[Companion]:
    """Name files of the same content whose times cannot show it."""
    first: dict[tuple[str, int], int] = {}
    found = []
    for i in usable:
        other = first.setdefault(traces[i].key, i)
        if other != i and not traces[i].timed:
            note = (
                f"{traces[i].label} is the same recording as {traces[other].label} (the same content, byte by byte): "
                f"one ride, counted once, by {traces[other].label}."
            )
            found.append(Companion("same_recording", i, other, 0.0, note))
    return found


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

    away_m, _ = cKDTree(_densified(_xyz(right))).query(to_earth_centred(wrong.lat_deg, wrong.lon_deg))
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
    other = _xyz(second)
    at = np.column_stack([np.interp(when[both], line, other[:, k]) for k in range(3)])
    return norms(_xyz(first)[both] - at)


def _whole(trace: Trace) -> FloatArray:
    return trace.time.astype("datetime64[s]").astype(np.int64).astype(float)


def _xyz(trace: Trace) -> FloatArray:
    return to_earth_centred(trace.lon_deg, trace.lat_deg)

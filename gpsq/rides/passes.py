"""Continuous recordings that hold many passes: where the direction turns, or the route begins again.

A pass ends on arrival at the place of turning; standing there belongs to the pass that follows. Out and back are told
from laps by whether the way before a turn is the way after it. Cutting is asked for by a person; `suggest` proposes it.
"""

from __future__ import annotations

import dataclasses
from dataclasses import dataclass
from itertools import pairwise
from typing import TYPE_CHECKING

import numpy as np

from gpsq.arrays import norms, stretches
from gpsq.geometry.polyline import along_m
from gpsq.model import NAT, SetAside
from gpsq.rides.places import places_m

if TYPE_CHECKING:
    from collections.abc import Sequence

    from gpsq.model import BoolArray, FloatArray, Trace
    from gpsq.settings import Settings

#: A turn is a change of direction over at least this share of the recording's extent.
_TURN_SHARE = 0.45
#: Positions are averaged over this time, so that noise turns nothing.
_SMOOTH_S = 10.0
#: Arrival: this near the usual place of turning.
_ARRIVAL_M = 2.0
#: The way back is the way out when it lies this near it, as a share of the extent (never over `pair_near_m`).
_RETRACE_SHARE = 0.25
#: A lap begins again within this share of the extent from the place where it began, and at least this near.
_AGAIN_SHARE = 0.1
_AGAIN_M = 25.0
#: Laps of one circuit differ in length by less than this share.
_LAP_SHARE = 0.15
#: Places tried as the beginning of a lap.
_BEGINNINGS = 60
#: The first and the last stretch are an approach and a departure, no passes, when they are this much shorter or
#: longer than the median of the others, of which there must be some.
_USUAL = (0.6, 1.6)
_USUAL_FROM = 4


@dataclass(frozen=True)
class Pass:
    """One pass: `first_point` to `last_point` are places in the trace's arrays, both included.

    `direction` is 1 as the first pass went, 2 for the opposite one. Times are NaT where the trace has none.
    """

    first_point: int
    last_point: int
    from_time: np.datetime64
    to_time: np.datetime64
    direction: int


def find_passes(trace: Trace, settings: Settings) -> tuple[Pass, ...]:
    """Return the passes of a recording in order; a recording of one pass gives that one.

    Parameters
    ----------
    trace : any recording; one without fixes gives no pass. settings : `deviation_min_m`, `pair_near_m`.

    Turns and laps are those on the scale of the whole recording: laps of a small circuit at the end of a long approach
    are one place of turning.
    """
    if trace.accepted == 0:
        return ()
    window = _window(trace)
    xyz_m = _smoothed(trace, window)
    from_end_m = norms(xyz_m - _far_end(xyz_m))
    extent_m = float(np.ptp(from_end_m))
    turns = _turns(from_end_m, max(_TURN_SHARE * extent_m, settings.deviation_min_m))
    near_m = min(_RETRACE_SHARE * extent_m, settings.pair_near_m)
    if len(turns) > 2 and _retraces(xyz_m, from_end_m, turns) < near_m:
        return _as_passes(trace, _out_and_back(xyz_m, from_end_m, turns, window), alternate=True)
    return _as_passes(trace, _laps(xyz_m, extent_m, window, settings), alternate=False)


def suggest(trace: Trace, settings: Settings) -> str | None:
    """Return a sentence that proposes to cut the recording, None where it holds one pass."""
    count = len(find_passes(trace, settings))
    return _proposal(trace, count) if count > 1 else None


def _proposal(trace: Trace, count: int) -> str:
    return (
        f"{trace.label} seems to hold {count} passes; gpsq analyse --cut-passes, or cut_passes = true in "
        "campaign.toml, cuts it where the direction turns or the way begins again."
    )


def cut(
    traces: Sequence[Trace], settings: Settings, *, asked: bool, found: Sequence[tuple[Pass, ...]] | None = None
) -> tuple[tuple[Trace, ...], tuple[str, ...], frozenset[int]]:
    """Return the traces, cut into passes where that was `asked` for, a sentence for each that holds many, and which stay whole.

    Parts of a file with several recordings are numbered on from its last one, so every number names one recording.
    `found` are the passes of each where they are known.
    """
    passes = [find_passes(trace, settings) for trace in traces] if found is None else found
    if not asked:
        many = frozenset(i for i, found in enumerate(passes) if len(found) > 1)
        return tuple(traces), tuple(_proposal(traces[i], len(passes[i])) for i in sorted(many)), many
    last: dict[str, int] = {}
    for trace in traces:
        last[trace.file] = max(last.get(trace.file, 0), trace.track)
    parts: list[Trace] = []
    told_of: list[str] = []
    for trace, own in zip(traces, passes, strict=True):
        if len(own) < 2:
            parts.append(trace)
            continue
        first = 1 if last[trace.file] == 1 else last[trace.file] + 1
        last[trace.file] = first + len(own) - 1
        parts += split(trace, own, first)
        told_of.append(f"{trace.label} was cut into {len(own)} passes, its tracks {first} to {last[trace.file]}.")
    return tuple(sorted(parts, key=lambda t: (t.file, t.track))), tuple(told_of), frozenset()


def split(trace: Trace, passes: Sequence[Pass], first_track: int | None = None) -> tuple[Trace, ...]:
    """Return one trace for each pass.

    Tracks are numbered on from `first_track` (the trace's own number unless given; give one beyond the file's last
    number where the file holds more recordings). Only a pass that begins with the recording keeps what is known of its
    start, and a ride that the log names is many rides once it is cut. Fixes in no pass are set aside as
    ``outside_passes`` with the nearest pass, so points add up over all parts.
    """
    start = trace.track if first_track is None else first_track
    lows = [trace.point[p.first_point] for p in passes]
    shares: list[list[SetAside]] = [[] for _ in passes]
    for aside in (*trace.set_aside, *_outside(trace, passes)):
        shares[max(int(np.searchsorted(lows, aside.first_point, side="right")) - 1, 0)].append(aside)
    label = trace.ride_label if len(passes) == 1 else ""
    return tuple(_part(trace, p, start + n, shares[n], label) for n, p in enumerate(passes))


def _outside(trace: Trace, passes: Sequence[Pass]) -> list[SetAside]:
    covered = np.zeros(trace.accepted, bool)
    for p in passes:
        covered[p.first_point : p.last_point + 1] = True
    return [SetAside("outside_passes", high - low, int(trace.point[low])) for low, high in stretches(~covered)]


def _part(trace: Trace, p: Pass, track: int, set_aside: list[SetAside], label: str) -> Trace:
    rows = slice(p.first_point, p.last_point + 1)
    names = ("time", "lon_deg", "lat_deg", "ele_m", "hdop", "sat", "speed_mps", "segment", "point")
    arrays = {name: getattr(trace, name)[rows].copy() for name in names}
    points = p.last_point + 1 - p.first_point + sum(s.points for s in set_aside)
    part = dataclasses.replace(
        trace,
        **arrays,
        track=track,
        points=points,
        set_aside=tuple(set_aside),
        ride_label=label,
        spikes=tuple(s for s in trace.spikes if s.after_point in arrays["point"]),
    )
    if p.first_point == 0:
        return dataclasses.replace(part, last_record=p.to_time)
    return dataclasses.replace(
        part, first_record=p.from_time, last_record=p.to_time, records_before_fix=0, clock_jumps_at_fix=False,
        file_time=NAT, started=NAT, start_basis="none", start_lat_deg=float("nan"), start_lon_deg=float("nan"),
        start_state="unknown", log_note="",  # it is no start of the device
    )  # fmt: skip


def _window(trace: Trace) -> int:
    """Return the number of points in the time of smoothing, 0 where they come slower or without times."""
    if not trace.timed or trace.accepted < 2:
        return 0
    step_s = float(np.median(np.diff(trace.time) / np.timedelta64(1, "s")))
    # a wide mean of few points would pull the ends in
    return min(int(_SMOOTH_S / max(step_s, 0.1)), trace.accepted // 10)


def _smoothed(trace: Trace, window: int) -> FloatArray:
    """Return earth-centred positions, each the mean of the `window` points around it."""
    xyz_m = places_m(trace)
    half = window // 2
    origin_m = xyz_m[0].copy()
    padded = np.concatenate([np.repeat(xyz_m[:1], half, axis=0), xyz_m, np.repeat(xyz_m[-1:], half, axis=0)]) - origin_m
    total = np.cumsum(np.concatenate([np.zeros((1, 3)), padded]), axis=0)
    mean_m = (total[2 * half + 1 :] - total[: -2 * half - 1]) / (2 * half + 1)
    return np.asarray(mean_m + origin_m)


def _distances_m(xyz_m: FloatArray, places: FloatArray) -> FloatArray:
    """Return the (k, n) distances of n points from each of k places.

    >>> _distances_m(np.array([[3.0, 4.0, 0.0], [0.0, 0.0, 2.0]]), np.zeros((1, 3))).tolist()
    [[5.0, 2.0]]
    """
    squares = np.zeros((len(places), len(xyz_m)))
    for own, place in zip(xyz_m.T.copy(), places.T, strict=True):
        apart_m = own - place[:, None]
        squares += np.square(apart_m, out=apart_m)
    return np.asarray(np.sqrt(squares, out=squares))


def _far_end(xyz_m: FloatArray) -> FloatArray:
    """Return the place of the recording that lies farthest from its middle: an end of the way, if it has ends."""
    return np.asarray(xyz_m[np.argmax(norms(xyz_m - np.median(xyz_m, axis=0)))])


def _turns(signal: FloatArray, least: float) -> list[int]:
    """Return the places of alternating extremes that differ by at least `least`, the first and last ones included.

    Examples
    --------
    >>> _turns(np.array([0.0, 5, 4, 9, 1, 8, 8]), 3.0)
    [0, 3, 4, 5]
    """
    low = high = 0
    found: list[int] = []
    rising: bool | None = None
    for place in _extremes(signal):
        value = signal[place]
        low, high = (place if value < signal[low] else low), (place if value > signal[high] else high)
        if rising is not False and signal[high] - value >= least:
            found, rising, low = [*found, high], False, place
        elif rising is not True and value - signal[low] >= least:
            found, rising, high = [*found, low], True, place
    if rising is not None:
        found.append(high if rising else low)
    return found


def _extremes(signal: FloatArray) -> list[int]:
    """Return all places that can be a turn: local extremes, the ends of flat stretches, and both ends of all."""
    steps = np.sign(np.diff(signal))
    return [0, *(1 + np.flatnonzero(steps[1:] != steps[:-1])).tolist(), len(signal) - 1]


def _retraces(xyz_m: FloatArray, from_end_m: FloatArray, turns: list[int]) -> float:
    """Return how far the way after a turn lies from the way before it: the median over all turns, in metres."""
    apart = []
    for before, turn, after in zip(turns, turns[1:], turns[2:], strict=False):
        out, back = xyz_m[before : turn + 1], xyz_m[turn : after + 1]
        levels = np.linspace(*_common(from_end_m, before, turn, after), 12)[2:-2]
        pairs = _at_levels(out, from_end_m[before : turn + 1], levels) - _at_levels(
            back, from_end_m[turn : after + 1], levels
        )
        apart.append(float(np.median(norms(pairs))))
    return float(np.median(apart))


def _common(signal: FloatArray, before: int, turn: int, after: int) -> tuple[float, float]:
    ends = signal[[before, after]]
    return (
        (float(ends.max()), float(signal[turn]))
        if signal[turn] > ends.max()
        else (float(signal[turn]), float(ends.min()))
    )


def _at_levels(xyz_m: FloatArray, signal: FloatArray, levels: FloatArray) -> FloatArray:
    """Return the place where each level is first passed, in order of travel."""
    rising = signal[-1] >= signal[0]
    passed = signal[None, :] >= levels[:, None] if rising else signal[None, :] <= levels[:, None]
    return np.asarray(xyz_m[np.argmax(passed, axis=1)])


def _out_and_back(xyz_m: FloatArray, from_end_m: FloatArray, turns: list[int], window: int) -> list[tuple[int, int]]:
    """Return first and last point of each pass between places of turning, approach and departure left out."""
    bounds = _arrivals(from_end_m, turns, window)
    legs = list(pairwise(bounds))
    legs[0] = (0, legs[0][1])
    if len(legs) < _USUAL_FROM:
        return legs
    lengths_m = np.array([float(along_m(xyz_m[low : high + 1])[-1]) for low, high in legs])
    usual_m = float(np.median(lengths_m))
    odd = (lengths_m < _USUAL[0] * usual_m) | (lengths_m > _USUAL[1] * usual_m)
    if odd[-1]:
        legs.pop()
    if odd[0]:
        legs[:2] = [(_departure(from_end_m, turns[1], turns[2]), legs[1][1])]
    return legs


def _arrivals(signal: FloatArray, turns: list[int], window: int) -> list[int]:
    """Return when each place of turning is reached: the usual one, or as far as this turn goes where it stops short.

    The middle of the stay is taken; of a stay longer than the smoothing can blur, its beginning.
    """
    heights = signal[turns]
    rises = (np.diff(heights) > 0).tolist()
    ups = [not rises[0], *rises]
    arrivals = [turns[0]]
    for place, (before, turn) in enumerate(pairwise(turns), start=1):
        usual = float(np.median(heights[np.array(ups) == ups[place]]))
        level = min(usual, signal[turn]) - _ARRIVAL_M if ups[place] else max(usual, signal[turn]) + _ARRIVAL_M
        after = turns[place + 1] if place + 1 < len(turns) else turn
        there = before + np.flatnonzero((signal[before : after + 1] - level) * (1 if ups[place] else -1) >= 0)
        arrivals.append(int(there[0]) + min(int(there[-1] - there[0]) // 2, window))
    return arrivals


def _departure(signal: FloatArray, turn: int, following: int) -> int:
    """Return when a place of turning is left for good."""
    stretch = signal[turn : following + 1]
    return turn + int(np.flatnonzero(np.abs(stretch - stretch[0]) <= _ARRIVAL_M)[-1])


def _laps(xyz_m: FloatArray, extent_m: float, window: int, settings: Settings) -> list[tuple[int, int]]:
    """Return first and last point of each lap, from the first of the places that give most laps of one length."""
    near_m = max(_AGAIN_SHARE * extent_m, _AGAIN_M)
    away_m = max(_TURN_SHARE * extent_m, settings.deviation_min_m)
    tried = np.unique(np.linspace(0, len(xyz_m) - 1, _BEGINNINGS).astype(int))
    travelled_m = along_m(xyz_m)
    # smoothed places lie close: to choose among beginnings every few of them will do
    some = np.arange(0, len(xyz_m), max(1, window // 4))
    away = _distances_m(xyz_m[some], xyz_m[tried])
    if _most_stays(away <= near_m) < 3:
        return [(0, len(xyz_m) - 1)]
    rough = [_visits(row, near_m, away_m) for row in away]
    alike = [_alike(np.diff(travelled_m[some[passed]])) for passed in rough]
    best = _visits(norms(xyz_m - xyz_m[tried[int(np.argmax(alike))]]), near_m, away_m)
    if len(best) < 3:
        return [(0, len(xyz_m) - 1)]
    return list(pairwise(best))


def _most_stays(near: BoolArray) -> int:
    """Return the largest number of times that any of the places, one a row, is come to."""
    return int((near[:, 0] + (near[:, 1:] & ~near[:, :-1]).sum(axis=1)).max())


def _alike(lengths_m: FloatArray) -> int:
    """Return how many laps are about as long as the middle one: a place beside the circuit gives uneven ones."""
    if len(lengths_m) == 0:
        return 0
    return int((np.abs(lengths_m - np.median(lengths_m)) <= _LAP_SHARE * np.median(lengths_m)).sum())


def _visits(away: FloatArray, near_m: float, away_m: float) -> list[int]:
    """Return when a place is passed: the nearest point of each stay near it, with a journey away in between."""
    return [turn for turn in _turns(away, away_m - near_m) if away[turn] <= near_m]


def _as_passes(trace: Trace, legs: list[tuple[int, int]], *, alternate: bool) -> tuple[Pass, ...]:
    return tuple(
        Pass(low, high if n + 1 == len(legs) else high - 1, trace.time[low], trace.time[high], 1 + (n % 2) * alternate)
        for n, (low, high) in enumerate(legs)
    )

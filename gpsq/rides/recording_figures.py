"""What a recording shows of itself: length, duration, sampling, gaps, and where it stood still."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from gpsq.arrays import norms
from gpsq.model import Gap
from gpsq.plane import geodesic_legs_m
from gpsq.rides.places import places_m
from gpsq.rides.unbroken import breaks_after

if TYPE_CHECKING:
    from gpsq.model import BoolArray, FloatArray, Trace
    from gpsq.settings import Settings

#: An outage inside a recording is worth telling when it lasts this many usual intervals.
_OUTAGE_INTERVALS = 5.0
#: A receiver that stays within this of one place for this long stands still (common practice).
_STANDING_M = 10.0
_STANDING_S = 30.0


@dataclass(frozen=True)
class Recorded:
    """Figures of one recording; nan where unknown.

    Attributes
    ----------
    distance_m : geodesic length between consecutive fixes, across neither segment breaks nor silences.
    distance_without_gaps_m : the same without any listed gap, short outages of the receiver included.
    distance_with_gaps_m : the same with every gap bridged by a straight line: a lower bound of the way.
    duration_s : last minus first fix. elapsed_s : last minus first record, good or bad.
    recorded_s : sum of the intervals that are neither breaks nor silences.
    interval_s : median time between fixes. speed_mean_mps : distance_m / recorded_s. speed_max_mps : of one interval.
    standing_points, standing_s, wander_m : fixes made standing still, for how long, and how much length their
        scatter adds.
    spikes : how often fixes went off and came back within seconds, kept or set aside; None without times.
    largest_spike_m : how far off at most.
    """

    distance_m: float
    distance_without_gaps_m: float
    distance_with_gaps_m: float
    duration_s: float
    elapsed_s: float
    recorded_s: float
    interval_s: float
    speed_mean_mps: float
    speed_max_mps: float
    gaps: tuple[Gap, ...]
    standing_points: int
    standing_s: float
    wander_m: float
    spikes: int | None
    largest_spike_m: float


def measure(trace: Trace, settings: Settings) -> Recorded:
    """Measure `trace` by itself.

    Parameters
    ----------
    trace : Trace
        Its accepted fixes count.
    settings : Settings
        ``gap_s``: a longer silence is no data.
    """
    legs_m = geodesic_legs_m(trace.lon_deg, trace.lat_deg) if trace.accepted > 1 else np.empty(0)
    seconds = np.diff(trace.time) / np.timedelta64(1, "s")
    broken = np.zeros(len(seconds), dtype=np.bool_)
    broken[breaks_after(trace, settings.gap_s)] = True
    listed = broken | _outages(trace, seconds)
    known = ~np.isnan(seconds) & ~broken
    measured = trace.accepted > 1
    recorded_s = float(seconds[known].sum()) if known.any() else np.nan
    distance_m = float(legs_m[~broken].sum()) if measured else np.nan
    standing = _standing(trace)
    still = standing[:-1] & standing[1:] & ~broken
    return Recorded(
        distance_m=distance_m,
        distance_without_gaps_m=float(legs_m[~listed].sum()) if measured else np.nan,
        distance_with_gaps_m=float(legs_m.sum()) if measured else np.nan,
        duration_s=_span_s(trace) if measured else np.nan,
        elapsed_s=float((trace.last_record - trace.first_record) / np.timedelta64(1, "s")),
        recorded_s=recorded_s,
        interval_s=float(np.median(seconds[seconds > 0])) if (seconds > 0).any() else np.nan,
        speed_mean_mps=distance_m / recorded_s if trace.timed and recorded_s > 0 else np.nan,
        speed_max_mps=_speed_max_mps(trace, broken, legs_m),
        gaps=tuple(Gap(int(i), float(seconds[i]), float(legs_m[i])) for i in np.flatnonzero(listed)),
        standing_points=int(standing.sum()),
        standing_s=float(seconds[still].sum()),
        wander_m=float(legs_m[still].sum()),
        spikes=len(trace.spikes) if trace.timed else None,
        largest_spike_m=max((spike.metres for spike in trace.spikes), default=np.nan),
    )


def _span_s(trace: Trace) -> float:
    known = trace.time[~np.isnat(trace.time)]
    return float((known.max() - known.min()) / np.timedelta64(1, "s")) if len(known) > 1 else np.nan


def _outages(trace: Trace, seconds: FloatArray) -> BoolArray:
    """Mark legs over records that were set aside, where they took long: the receiver had lost its fix."""
    lost = np.diff(trace.point) > 1
    if not lost.any() or (np.diff(trace.point) < 0).any():
        return np.zeros_like(lost)
    usual = seconds[~lost & (seconds > 0)]
    return lost & (seconds > _OUTAGE_INTERVALS * np.median(usual)) if len(usual) else np.zeros_like(lost)


def _speed_max_mps(trace: Trace, broken: BoolArray, legs_m: FloatArray) -> float:
    """Return the largest speed between distinct times: points that share a second give one position."""
    if not trace.timed or trace.accepted < 2:
        return np.nan
    part = np.concatenate([[0], np.cumsum(broken)])
    first = np.flatnonzero(np.concatenate([[True], (np.diff(trace.time) > np.timedelta64(0, "ms")) | broken]))
    if len(first) < trace.accepted:
        legs_m = geodesic_legs_m(trace.lon_deg[first], trace.lat_deg[first])
    seconds = np.diff(trace.time[first]) / np.timedelta64(1, "s")
    usable = (np.diff(part[first]) == 0) & (seconds > 0)
    return float((legs_m[usable] / seconds[usable]).max()) if usable.any() else np.nan


def _standing(trace: Trace) -> BoolArray:
    """Mark the fixes of stretches that stay in one place for long."""
    standing = np.zeros(trace.accepted, dtype=np.bool_)
    if not trace.timed:
        return standing
    xyz = places_m(trace)
    second = (trace.time - trace.time[0]) / np.timedelta64(1, "s")
    later = np.minimum(np.searchsorted(second, second + _STANDING_S), trace.accepted - 1)
    stays = norms(xyz[later] - xyz) <= _STANDING_M
    looked_at = 0
    for start in np.flatnonzero(stays).tolist():  # half a minute later still there, as at few points of a ride
        if start < looked_at:
            continue
        stop = _leaves(xyz, start)
        if second[stop - 1] - second[start] >= _STANDING_S:
            looked_at = start + max(_near_middle(xyz[start:stop]), 1)
            standing[start:looked_at] = True
    return standing


def _leaves(xyz: FloatArray, start: int) -> int:
    """Return the first point after `start` that is further from it than one place goes."""
    size = 8
    while True:
        away = norms(xyz[start + 1 : start + size] - xyz[start]) > _STANDING_M
        if away.any():
            return start + 1 + int(away.argmax())
        if start + size >= len(xyz):
            return len(xyz)
        size *= 2


def _near_middle(xyz: FloatArray) -> int:
    """Return how many points belong to the standing cloud; those already leaving it come last and do not."""
    away_m = norms(xyz - np.median(xyz, axis=0))
    inside = away_m <= max(3.0, 3.0 * float(np.median(away_m)))
    return int(np.flatnonzero(inside)[-1]) + 1

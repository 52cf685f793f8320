"""Stretches where a trace stays away from its line: where, how far, and what speaks for a road or for a fault.

A rider who chose another road moves smoothly at normal speed, leaves and rejoins, and every device on the ride agrees.
A receiver's fault jumps, wanders, or is shared by no other device. gpsq suggests and says why; the person decides.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from gpsq.arrays import norms
from gpsq.geometry import polyline
from gpsq.model import Deviation, FloatArray, Trace, deviation_id

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from gpsq.geometry.alignment import Abreast
    from gpsq.model import BoolArray, Centreline
    from gpsq.settings import Settings

#: Stretches closer together than this are one.
MERGE_M = 50.0
#: A stretch reaches out to where the trace is back within this share of the band.
RETURN_SHARE = 0.5
#: Two devices agree on a stretch when they run this near each other, or within this share of the stretch's peak.
AGREE_M, AGREE_SHARE = 20.0, 0.35
#: … compared where the trace is at least this share of the peak away.
INNER_SHARE = 0.5
#: A companion speaks only where it covers this share of the stretch.
COVER_SHARE = 0.5
#: A track this much longer than its own outline wanders (common practice; an ordinary 1 s track has 1.02 to 1.1).
WANDER_RATIO = 1.3
#: A leg this many times faster than the trace's own fast riding is a jump.
JUMP_FACTOR = 2.0
#: A trace much noisier than its device's usual ride is allowed up to this much more: a bad day is no road.
OWN_SPREADS = 2.0
#: What is usual among rides is judged by this quantile of their absolute offsets, …
LOW_QUANTILE = 0.25
#: … which for normal noise lies at this many standard deviations; a ride is elsewhere beyond so many.
HALF_NORMAL_LOW, RIDE_SPREADS = 0.319, 3.0
#: hdop above this is poor; 1 to 2 is excellent to good (common practice).
POOR_HDOP = 5.0


@dataclass(frozen=True, eq=False)
class Course:
    """A trace abreast of its line: `place` with excursions, `offset_m` (m,), `xy_m` (n, 2) its fixes."""

    number: int
    trace: Trace
    xy_m: FloatArray
    place: Abreast
    offset_m: FloatArray


@dataclass(frozen=True, eq=False)
class RideCourse:
    """Where a ride's devices together run.

    `offset_m` (m,) median over at least two of them, `band_m` (m,) what is usual, `of_trace_m` the offsets (m,) of each
    trace, by its number, that the median was taken of.
    """

    offset_m: FloatArray
    band_m: FloatArray
    of_trace_m: Mapping[int, FloatArray]


def ride_courses(rides: Mapping[str, Sequence[Course]], settings: Settings) -> dict[str, tuple[RideCourse, ...]]:
    """Return the common course of each ride of a route that at least two devices recorded.

    The errors of receivers part them, the rider's road does not: what they agree on is believed sooner than one trace.
    What is usual comes from the other rides at the same place, from a low quantile, since up to half of them may be on
    roads of their own. Each ride is looked at twice: with offsets as they are, and less each device's own usual offset.
    """
    everyone = [c for courses in rides.values() for c in courses]
    found: dict[str, tuple[RideCourse, ...]] = {}
    for offsets in ({c.number: c.offset_m for c in everyone}, _residuals(everyone)):
        common = {ride: _common_offset([offsets[c.number] for c in courses]) for ride, courses in rides.items()}
        for ride, offset_m in common.items():
            others = np.array([o for name, o in common.items() if name != ride])
            if len(others) >= 2 and not np.isnan(offset_m).all():
                band = _ride_band_m(others, len(rides[ride]), settings)
                own = RideCourse(offset_m, band, {c.number: offsets[c.number] for c in rides[ride]})
                found[ride] = (*found.get(ride, ()), own)
    return found


def _ride_band_m(others_m: FloatArray, devices: int, settings: Settings) -> FloatArray:
    usual = np.nan_to_num(_low_quantile(np.abs(others_m)) / HALF_NORMAL_LOW, nan=np.inf)
    # a median over more devices is steadier; the setting is meant for three
    floor = settings.ride_band_m * np.sqrt(3.0 / devices)
    return np.asarray(np.maximum(floor, RIDE_SPREADS * _running_median(usual)))


def _residuals(courses: Sequence[Course]) -> dict[int, FloatArray]:
    """Return each trace's offset less the median of its device over all rides at the same place: a device's own bias."""
    residual: dict[int, FloatArray] = {}
    for device in {c.trace.device for c in courses}:
        own = [c for c in courses if c.trace.device == device]
        rows = np.array([c.offset_m for c in own])
        known = (~np.isnan(rows)).any(axis=0)
        usual = np.zeros(rows.shape[1])
        usual[known] = np.nanmedian(rows[:, known], axis=0)
        residual |= {c.number: c.offset_m - usual for c in own}
    return residual


def _common_offset(offsets_m: Sequence[FloatArray]) -> FloatArray:
    rows = np.array(offsets_m)
    several = (~np.isnan(rows)).sum(axis=0) >= 2
    middle = np.full(rows.shape[1], np.nan)
    middle[several] = np.nanmedian(rows[:, several], axis=0)
    return middle


def _low_quantile(rows: FloatArray) -> FloatArray:
    """Return the low quantile of each column, nan where fewer than two rows have a value."""
    ordered = np.sort(rows, axis=0)  # nan last
    there = (~np.isnan(rows)).sum(axis=0)
    at = np.round(LOW_QUANTILE * np.maximum(there - 1, 0)).astype(int)
    return np.where(there >= 2, ordered[at, np.arange(rows.shape[1])], np.nan)


def find(
    course: Course,
    line: Centreline,
    route: str,
    companions: Sequence[Course],
    together: Sequence[RideCourse],
    device_spread_m: float,
    settings: Settings,
) -> tuple[Deviation, ...]:
    """Return the stretches where a trace, or its whole ride, stays outside the band for at least `deviation_min_m`.

    Parameters
    ----------
    course : the trace. line : the centreline without its ride. companions : the other traces of the same ride.
    together : the common course of the ride, where several devices recorded it.
    device_spread_m : the usual spread of the device on this route; a noisy one is given a wider band.
    """
    size = np.nan_to_num(np.abs(course.offset_m))
    own_spread_m = min(robust_spread(course.offset_m), OWN_SPREADS * device_spread_m)
    band = band_m(line, max(device_spread_m, own_spread_m), settings)
    outside, away = size > band, size > RETURN_SHARE * band
    for ride in together:
        offset = np.nan_to_num(np.abs(ride.offset_m))
        apart = np.abs(np.nan_to_num(ride.of_trace_m.get(course.number, course.offset_m) - ride.offset_m, nan=np.inf))
        agrees = apart <= np.maximum(AGREE_M / 2, offset / 2)
        outside |= agrees & (offset > ride.band_m)
        away |= agrees & (offset > RETURN_SHARE * ride.band_m)
    found = stretches(outside, away, line.along_m, settings)
    return tuple(_described(course, line, route, low, high, companions) for low, high in found)


def band_m(line: Centreline, device_spread_m: float, settings: Settings) -> FloatArray:
    """Return (m,) how far a trace may be off: the floor, or a multiple of the route's or the device's usual spread."""
    everyone = _running_median(np.nan_to_num(line.spread_m))
    widest = np.maximum(everyone, device_spread_m if np.isfinite(device_spread_m) else 0.0)
    return np.maximum(settings.deviation_band_m, settings.deviation_spread_factor * widest)


def robust_spread(offset_m: FloatArray) -> float:
    """Return 1.4826 times the median absolute offset, nan of nothing."""
    size = np.abs(offset_m[~np.isnan(offset_m)])
    return 1.4826 * float(np.median(size)) if len(size) else float("nan")


def _running_median(values: FloatArray, reach: int = 5) -> FloatArray:
    padded = np.pad(values, reach, mode="edge")
    return np.asarray(np.median(np.lib.stride_tricks.sliding_window_view(padded, 2 * reach + 1), axis=1))


def stretches(outside: BoolArray, away: BoolArray, along_m: FloatArray, settings: Settings) -> list[tuple[int, int]]:
    """Return (first, last) stations of each stretch outside the band, reaching out to where it is left and rejoined.

    Parameters
    ----------
    outside : (m,) beyond the band. away : (m,) beyond the part of it that counts as not yet back.

    Examples
    --------
    >>> from gpsq.settings import Settings
    >>> along = np.arange(0.0, 200.0, 5.0)
    >>> far = (along >= 50) & (along <= 150)
    >>> stretches(far, far, along, Settings())
    [(10, 30)]
    """
    merged: list[tuple[int, int]] = []
    for low, high in _runs(away):
        if not outside[low : high + 1].any():
            continue
        if merged and along_m[low] - along_m[merged[-1][1]] < MERGE_M:
            merged[-1] = (merged[-1][0], high)
        else:
            merged.append((low, high))
    step_m = float(along_m[1] - along_m[0]) if len(along_m) > 1 else 0.0
    least = settings.deviation_min_m
    return [(low, high) for low, high in merged if step_m * outside[low : high + 1].sum() >= least]


def _runs(there: BoolArray) -> list[tuple[int, int]]:
    edges = np.flatnonzero(np.diff(np.concatenate([[False], there, [False]]).astype(int)))
    return [(int(low), int(high) - 1) for low, high in zip(edges[::2], edges[1::2], strict=True)]


def _described(
    course: Course, line: Centreline, route: str, low: int, high: int, companions: Sequence[Course]
) -> Deviation:
    first, last = fixes_between(course.place, low, high)
    trace = course.trace
    peak = low + int(np.nanargmax(np.abs(course.offset_m[low : high + 1])))
    suggestion, evidence = _suggestion(course, low, high, first, last, companions)
    way_m = float(polyline.along_m(course.xy_m[first : last + 1])[-1])
    return Deviation(
        id=deviation_id(trace.key, int(trace.point[first]), int(trace.point[last])),
        trace=course.number,
        route=route,
        from_m=float(line.along_m[low]),
        to_m=float(line.along_m[high]),
        from_time=trace.time[first],
        to_time=trace.time[last],
        from_point=int(trace.point[first]),
        to_point=int(trace.point[last]),
        peak_m=float(abs(course.offset_m[peak])),
        side="left" if course.offset_m[peak] > 0 else "right",
        extra_m=way_m - float(line.along_m[high] - line.along_m[low]),
        suggestion=suggestion,
        evidence=evidence,
    )


def fixes_between(place: Abreast, low: int, high: int) -> tuple[int, int]:
    """Return the first and last fix of a trace from the station before `low` to the one after `high`.

    The way out and the way back lie abreast of those two: an excursion leaves the line at one station and rejoins it at
    another.
    """
    vertex = place.vertex[max(low - 1, 0) : high + 2]
    vertex = vertex[~np.isnan(vertex)]
    return int(np.floor(vertex.min())), int(np.ceil(vertex.max()))


def _suggestion(
    course: Course, low: int, high: int, first: int, last: int, companions: Sequence[Course]
) -> tuple[str, str]:
    agree, disagree = _votes(course, low, high, companions)
    faults = _faults(course, first, last)
    said = [f"{len(agree)} of {len(agree) + len(disagree)} other devices on the ride run the same way"] * bool(
        agree or disagree
    )
    rejoins = low > 0 and high < len(course.offset_m) - 1
    said += faults or ["it moves smoothly at its normal speed"]
    said.append("it leaves the line and rejoins it" if rejoins else "it reaches an end of the line")
    if len(agree) > len(disagree):
        return "route choice", "; ".join(said)
    if len(disagree) > len(agree):
        return "receiver error", "; ".join(said)
    if agree or disagree:
        return "unclear", "; ".join(said)
    said.insert(0, "no other device on the ride covers this stretch")
    return ("receiver error" if faults else "route choice" if rejoins else "unclear"), "; ".join(said)


def _votes(course: Course, low: int, high: int, companions: Sequence[Course]) -> tuple[list[str], list[str]]:
    """Return the devices that ran the same way there, and those that did not."""
    agree: list[str] = []
    disagree: list[str] = []
    size = np.nan_to_num(np.abs(course.offset_m[low : high + 1]))
    peak_m = float(size.max())
    # the ends of a stretch lie near the line, where everybody agrees
    inner = low + np.flatnonzero(size >= INNER_SHARE * peak_m)
    for other in companions:
        apart = norms(other.place.xy_m[inner] - course.place.xy_m[inner])
        there = ~np.isnan(apart)
        if there.mean() < COVER_SHARE:
            continue
        near = float(np.median(apart[there])) <= max(AGREE_M, AGREE_SHARE * peak_m)
        (agree if near else disagree).append(other.trace.device)
    return agree, disagree


def _faults(course: Course, first: int, last: int) -> list[str]:
    """Return what speaks for a fault of the receiver, in words."""
    said = []
    xy = course.xy_m[first : last + 1]
    outline = np.vstack([xy[:: _outline_step(xy)], xy[-1:]])
    ratio = polyline.along_m(xy)[-1] / max(polyline.along_m(outline)[-1], 1.0)
    if ratio > WANDER_RATIO:
        said.append(f"it wanders, {ratio:.1f} times as long as its outline")
    fastest, usual = _speeds(course.trace, course.xy_m, first, last)
    if fastest > JUMP_FACTOR * usual:
        said.append(f"it jumps, {fastest:.0f} m/s where its fast riding is {usual:.0f} m/s")
    hdop = course.trace.hdop[first : last + 1]
    if np.isfinite(hdop).any() and np.nanmedian(hdop) > POOR_HDOP:
        said.append(f"its hdop is poor there, {np.nanmedian(hdop):.1f}")
    return said


def _outline_step(xy_m: FloatArray) -> int:
    leg_m = np.median(norms(np.diff(xy_m, axis=0))) if len(xy_m) > 1 else 1.0
    return max(2, int(np.ceil(30.0 / max(float(leg_m), 1.0))))


def _speeds(trace: Trace, xy_m: FloatArray, first: int, last: int) -> tuple[float, float]:
    """Return the fastest leg of a stretch and the trace's own fast riding (95th percentile), in m/s; nan untimed."""
    seconds = np.diff(trace.time).astype("timedelta64[ms]").astype(float) / 1000.0
    metres = norms(np.diff(xy_m, axis=0))
    speed = np.where(seconds > 0, metres / np.where(seconds > 0, seconds, 1.0), np.nan)
    inside = speed[first:last]
    if not trace.timed or not np.isfinite(inside).any():
        return float("nan"), float("nan")
    return float(np.nanmax(inside)), float(np.nanpercentile(speed, 95))

"""Stretches where a trace stays away from its line: where, how far, and what speaks for a road or for a fault.

A rider who chose another road moves smoothly at normal speed, leaves and rejoins, and every device on the ride agrees.
A receiver's fault jumps, wanders, or is shared by no other device. gpsq suggests and says why; the person decides.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from gpsq import polyline
from gpsq.model import Deviation, FloatArray, Trace, deviation_id

if TYPE_CHECKING:
    from collections.abc import Sequence

    from gpsq.align import Abreast
    from gpsq.model import BoolArray, Centreline
    from gpsq.settings import Settings

#: Stretches closer together than this are one.
MERGE_M = 50.0
#: A stretch reaches out to where the trace is back within this share of the band.
RETURN_SHARE = 0.5
#: Two devices agree on a stretch when they run this near each other, or within this share of the stretch's peak.
AGREE_M, AGREE_SHARE = 20.0, 0.35
#: A companion speaks only where it covers this share of the stretch.
COVER_SHARE = 0.5
#: A track this much longer than its own outline wanders (common practice; an ordinary 1 s track has 1.02 to 1.1).
WANDER_RATIO = 1.3
#: A leg this many times faster than the trace's own fast riding is a jump.
JUMP_FACTOR = 2.0
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


def find(
    course: Course, line: Centreline, route: str, companions: Sequence[Course], settings: Settings
) -> tuple[Deviation, ...]:
    """Return the stretches where a trace stays outside the band for at least `deviation_min_m`.

    Parameters
    ----------
    course : the trace. line : the centreline without its ride. companions : the other traces of the same ride.
    """
    band = band_m(course.offset_m, line, settings)
    found = stretches(course.offset_m, band, line.along_m, settings)
    return tuple(_described(course, line, route, low, high, companions) for low, high in found)


def band_m(offset_m: FloatArray, line: Centreline, settings: Settings) -> FloatArray:
    """Return (m,) how far the trace may be off: the floor, or a multiple of the route's or the trace's own spread."""
    own = _robust_spread(offset_m)
    everyone = np.where(np.isnan(line.spread_m), 0.0, line.spread_m)
    widest = np.maximum(_running_median(everyone), own if np.isfinite(own) else 0.0)
    return np.maximum(settings.deviation_band_m, settings.deviation_spread_factor * widest)


def _robust_spread(offset_m: FloatArray) -> float:
    size = np.abs(offset_m[~np.isnan(offset_m)])
    return 1.4826 * float(np.median(size)) if len(size) else float("nan")


def _running_median(values: FloatArray, reach: int = 5) -> FloatArray:
    padded = np.pad(values, reach, mode="edge")
    return np.median(np.lib.stride_tricks.sliding_window_view(padded, 2 * reach + 1), axis=1)


def stretches(
    offset_m: FloatArray, band: FloatArray, along_m: FloatArray, settings: Settings
) -> list[tuple[int, int]]:
    """Return (first, last) stations of each stretch outside the band, reaching out to where it is left and rejoined.

    Examples
    --------
    >>> from gpsq.settings import Settings
    >>> along = np.arange(0.0, 200.0, 5.0)
    >>> offset = np.where((along >= 50) & (along <= 150), 80.0, 1.0)
    >>> stretches(offset, np.full(40, 30.0), along, Settings())
    [(10, 30)]
    """
    size = np.where(np.isnan(offset_m), 0.0, np.abs(offset_m))
    outside = size > band
    away = size > RETURN_SHARE * band
    merged: list[tuple[int, int]] = []
    for low, high in _runs(away):
        if not outside[low : high + 1].any():
            continue
        if merged and along_m[low] - along_m[merged[-1][1]] < MERGE_M:
            merged[-1] = (merged[-1][0], high)
        else:
            merged.append((low, high))
    step_m = float(along_m[1] - along_m[0]) if len(along_m) > 1 else 0.0
    return [
        (low, high)
        for low, high in merged
        if step_m * outside[low : high + 1].sum() >= settings.deviation_min_m
    ]


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
    rejoins = 0 < low and high < len(course.offset_m) - 1
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
    peak_m = float(np.nanmax(np.abs(course.offset_m[low : high + 1])))
    for other in companions:
        apart = np.sqrt(((other.place.xy_m[low : high + 1] - course.place.xy_m[low : high + 1]) ** 2).sum(axis=1))
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
    leg_m = np.median(np.sqrt((np.diff(xy_m, axis=0) ** 2).sum(axis=1))) if len(xy_m) > 1 else 1.0
    return max(2, int(np.ceil(30.0 / max(float(leg_m), 1.0))))


def _speeds(trace: Trace, xy_m: FloatArray, first: int, last: int) -> tuple[float, float]:
    """Return the fastest leg of a stretch and the trace's own fast riding (95th percentile), in m/s; nan untimed."""
    seconds = np.diff(trace.time).astype("timedelta64[ms]").astype(float) / 1000.0
    metres = np.sqrt((np.diff(xy_m, axis=0) ** 2).sum(axis=1))
    speed = np.where(seconds > 0, metres / np.where(seconds > 0, seconds, 1.0), np.nan)
    inside = speed[first:last]
    if not trace.timed or not np.isfinite(inside).any():
        return float("nan"), float("nan")
    return float(np.nanmax(inside)), float(np.nanpercentile(speed, 95))

"""Stretches where a trace stays away from its line: where they are, how far off, and which name each has."""

from __future__ import annotations

import dataclasses
import hashlib
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from gpsq.campaign.stretches import ridden_between
from gpsq.geometry import polyline
from gpsq.measures.evidence import Stretch, judged
from gpsq.model import Deviation

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from gpsq.geometry.alignment import Abreast
    from gpsq.measures.usual_spread import Course, Together, Usual
    from gpsq.model import BoolArray, Centreline, FloatArray
    from gpsq.settings import Settings

#: Stretches closer together than this are one.
MERGE_M = 50.0
#: A stretch reaches out to where the trace is back within this share of the band.
RETURN_SHARE = 0.5
#: A trace goes with its ride where it is this near to what the ride's devices together show, or within this share of it.
WITH_RIDE_M, WITH_RIDE_SHARE = 10.0, 0.5
#: A deviation is named after the part of its recording that its middle lies in: parts are so many metres long.
PART_M = 250.0


@dataclass(frozen=True, eq=False)
class Beside:
    """What a trace is judged beside: the courses of all rides of its route, and how far off is usual there."""

    route: str
    rides: Mapping[str, Sequence[Course]]
    usual: Usual
    settings: Settings


def find(course: Course, ride: str, line: Centreline, beside: Beside) -> tuple[Deviation, ...]:
    """Return the stretches where a trace, or its whole ride, stays outside the band for at least `deviation_min_m`.

    Parameters
    ----------
    course : the trace, on `ride`. line : the centreline without its ride. beside : what it is judged beside.
    """
    doubt_m = beside.usual.doubt_m(line)
    own = _alone(course, doubt_m, beside)
    joint = [_with_ride(course, together, doubt_m, beside) for together in beside.usual.together.get(ride, ())]
    outside, away = (np.logical_or.reduce(masks) for masks in zip(own, *joint, strict=True))
    companions = [c for c in beside.rides.get(ride, ()) if c is not course]
    others = {name: courses for name, courses in beside.rides.items() if name != ride}
    found = []
    for low, high in stretches(outside, away, line.along_m, beside.settings):
        by_itself = bool(stretches(own[0][low : high + 1], away[low : high + 1], line.along_m, beside.settings))
        stretch = _stretch(course, low, high, doubt_m, beside, by_itself=by_itself)
        found.append(_described(stretch, line, beside.route, judged(stretch, companions, others)))
    return named(found, course)


def _alone(course: Course, doubt_m: FloatArray, beside: Beside) -> tuple[BoolArray, BoolArray]:
    """Return (m,) where a trace is outside its own band, and where it is not yet back well inside it."""
    factor, usual = beside.settings.deviation_spread_factor, beside.usual
    own_m = factor * np.maximum(usual.of_trace_m[course.number] * usual.rough, doubt_m)
    return _beyond(course.offset_m, np.maximum(beside.settings.deviation_band_m, own_m))


def _with_ride(course: Course, together: Together, doubt_m: FloatArray, beside: Beside) -> tuple[BoolArray, BoolArray]:
    """Return the same of a trace that goes with its ride, where the ride's devices together are outside their band.

    It must be off itself: else the error of one device would be charged to all.
    """
    settings = beside.settings
    floor_m = settings.deviation_band_m
    if together.well_known:
        floor_m = min(floor_m, settings.ride_band_m * np.sqrt(3.0 / len(together.of_trace_m)))
    doubtful_m = settings.deviation_spread_factor * doubt_m
    band_m = np.maximum(floor_m, np.maximum(together.most_m * beside.usual.rough, doubtful_m))
    far, away = _beyond(together.offset_m, band_m)
    apart = np.abs(np.nan_to_num(together.of_trace_m[course.number] - together.offset_m, nan=np.inf))
    near = apart <= np.maximum(WITH_RIDE_M, WITH_RIDE_SHARE * np.nan_to_num(np.abs(together.offset_m)))
    return near & far & _beyond(course.offset_m, band_m)[1], near & away


def _beyond(offset_m: FloatArray, band_m: FloatArray) -> tuple[BoolArray, BoolArray]:
    size = np.nan_to_num(np.abs(offset_m))
    return size > band_m, size > RETURN_SHARE * band_m


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


def _stretch(course: Course, low: int, high: int, doubt_m: FloatArray, beside: Beside, *, by_itself: bool) -> Stretch:
    first, last = fixes_between(course.place, low, high)
    spread_m = beside.usual.of_trace_m[course.number] * float(beside.usual.rough[low : high + 1].max())
    return Stretch(course, low, high, first, last, spread_m, doubt_m, beside.settings.deviation_band_m, by_itself)


def _described(stretch: Stretch, line: Centreline, route: str, said: tuple[str, str]) -> Deviation:
    course, low, high, first, last = stretch.course, stretch.low, stretch.high, stretch.first, stretch.last
    trace = course.trace
    peak = low + int(np.nanargmax(np.abs(course.offset_m[low : high + 1])))
    way_m = float(polyline.along_m(course.xy_m[first : last + 1])[-1])
    return Deviation(
        id="",
        trace=course.number,
        route=route,
        from_m=float(line.along_m[low]),
        to_m=float(line.along_m[high]),
        from_time=trace.time[first],
        to_time=trace.time[last],
        from_point=int(trace.point[first]),
        to_point=int(trace.point[last]),
        peak_m=float(abs(course.offset_m[peak])),
        side="left" if _left_m(stretch, line, peak) > 0 else "right",
        extra_m=way_m - float(line.along_m[high] - line.along_m[low]),
        suggestion=said[0],
        evidence=said[1],
    )


def _left_m(stretch: Stretch, line: Centreline, peak: int) -> float:
    """Return something positive where a stretch lies to the left of the line: at its peak, or as a whole on an excursion.

    An excursion may run beside another part of the line than the one it is nearest to, so it is left of the line where
    the way out along the line and back along the trace goes round to the left.
    """
    course, low, high = stretch.course, stretch.low, stretch.high
    if course.place.matched[peak]:
        return float(course.offset_m[peak])
    ring = np.vstack([line.xy_m[low : high + 1], course.place.xy_m[low : high + 1][::-1]])
    x, y = ring[~np.isnan(ring).any(axis=1)].T
    return float((x * np.roll(y, -1) - np.roll(x, -1) * y).sum())


def fixes_between(place: Abreast, low: int, high: int) -> tuple[int, int]:
    """Return the first and last fix of a trace from the station before `low` to the one after `high`.

    The way out and the way back lie abreast of those two: an excursion leaves the line at one station and rejoins it at
    another.
    """
    vertex = place.vertex[max(low - 1, 0) : high + 2]
    vertex = vertex[~np.isnan(vertex)]
    return int(np.floor(vertex.min())), int(np.ceil(vertex.max()))


def named(found: Sequence[Deviation], course: Course) -> tuple[Deviation, ...]:
    """Return the deviations of a trace with their names, each after the part of the recording its middle lies in.

    Ends move by a few fixes as rides are added; the part hardly ever changes with them.
    """
    along = polyline.along_m(course.xy_m)
    taken, done = set[int](), []
    for deviation in found:
        ends = along[np.flatnonzero(ridden_between(course.trace, deviation.from_point, deviation.to_point))[[0, -1]]]
        part = int(ends.mean() / PART_M)
        while part in taken:
            part += 1
        taken.add(part)
        done.append(dataclasses.replace(deviation, id=deviation_id(course.trace.key, part)))
    return tuple(done)


def deviation_id(key: tuple[str, int], part: int) -> str:
    """Return a short name for a part of a recording, from its content and the number of the part alone.

    >>> len(deviation_id(("ab", 1), 3)), deviation_id(("ab", 1), 3) == deviation_id(("ab", 1), 4)
    (6, False)
    """
    return hashlib.sha256(f"{key[0]} {key[1]} {part}".encode()).hexdigest()[:6]

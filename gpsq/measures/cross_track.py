"""Errors of one trace against the line made without its own ride."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from gpsq.arrays import norms, stretches
from gpsq.geometry import curve_distances, polyline
from gpsq.model import BoolArray, Centreline, CrossTrack, CurveDistances, FloatArray, IntArray

if TYPE_CHECKING:
    from gpsq.geometry.alignment import Abreast

NAN = float("nan")
#: An excursion is measured from the line it passes by and this many stations on either side.
MARGIN_STATIONS = 5
#: Percentiles of the size of the error that are told: one and two standard deviations' worth of a normal one.
P68, P95 = 68.27, 95.0


def offsets(place: Abreast, line: Centreline) -> FloatArray:
    """Return (m,) signed distance of a trace from a line at its stations, + to the left of travel, nan where not covered.

    While the trace follows the line, the distance is taken across it; on an excursion beyond the alignment's cap it is
    the distance to the nearest part of the line that the excursion passes by.
    """
    known = ~np.isnan(line.xy_m[:, 0])
    road = _bridged(line.xy_m, known)
    across = ((place.xy_m - line.xy_m) * polyline.left_normals(road)).sum(axis=1)
    for low, high in _excursions(place):
        first, last = max(0, low - MARGIN_STATIONS), min(len(road), high + MARGIN_STATIONS + 1)
        window = np.zeros(high - low + 1, dtype=np.int64), np.full(high - low + 1, last - first - 2)
        across[low : high + 1] = polyline.nearest_on_line(place.xy_m[low : high + 1], road[first:last], *window)[1]
    return np.where(known, across, np.nan)


def _excursions(place: Abreast) -> list[tuple[int, int]]:
    return [(low, high - 1) for low, high in stretches(~place.matched & ~np.isnan(place.vertex))]


def _bridged(xy_m: FloatArray, known: BoolArray) -> FloatArray:
    if known.all() or not known.any():
        return xy_m
    at = np.arange(len(xy_m))
    return np.column_stack([np.interp(at, at[known], xy_m[known, axis]) for axis in (0, 1)])


def measure(offset_m: FloatArray, along_m: FloatArray, scored: BoolArray, settled: BoolArray) -> CrossTrack:
    """Return the errors of a trace, each metre of road counting once.

    Parameters
    ----------
    offset_m : (m,) signed offsets at stations `along_m`, nan where not covered.
    scored : (m,) stations that may count at all (no choice of another road, decided or suggested).
    settled : (m,) stations passed after the trace had settled.

    Returns
    -------
    Figures over stations that are covered, may count and were passed after settling; ``nan`` where there are none.
    `before_settling_rms_m` is the same root mean square over the stations before.

    Examples
    --------
    >>> along = np.arange(4.0) * 5
    >>> errors = measure(np.array([3.0, -4.0, np.nan, 50.0]), along, np.array([1, 1, 1, 0], bool), np.ones(4, bool))
    >>> round(errors.rms_m, 3), errors.within_5m, errors.scored_m
    (3.536, 1.0, 10.0)
    """
    covered = ~np.isnan(offset_m)
    counted = covered & scored & settled
    size = np.abs(offset_m[counted])
    step_m = float(along_m[1] - along_m[0]) if len(along_m) > 1 else 0.0
    before = offset_m[covered & scored & ~settled]
    return CrossTrack(
        along_m=along_m.copy(),
        offset_m=offset_m,
        scored=counted,
        bias_m=float(np.median(offset_m[counted])) if len(size) else NAN,
        rms_m=rms(size),
        median_m=float(np.median(size)) if len(size) else NAN,
        p95_m=float(np.percentile(size, P95)) if len(size) else NAN,
        within_5m=float((size <= 5.0).mean()) if len(size) else NAN,
        within_10m=float((size <= 10.0).mean()) if len(size) else NAN,
        scored_m=step_m * len(size),
        before_settling_rms_m=rms(before),
        p68_m=float(np.percentile(size, P68)) if len(size) else NAN,
    )


def rms(values: FloatArray) -> float:
    """Return the root mean square, nan of nothing.

    >>> round(rms(np.array([3.0, 4.0])), 4)
    3.5355
    """
    return float(np.sqrt(np.mean(values**2))) if len(values) else NAN


def distances(
    xy_m: FloatArray, place: Abreast, line: Centreline, counted: BoolArray, breaks: IntArray
) -> CurveDistances:
    """Return Hausdorff and Fréchet distances over the stretches that trace and line share and that count.

    Parameters
    ----------
    xy_m : (n, 2) fixes of the trace. place : where it runs abreast of the line's stations.
    counted : (m,) stations that count. breaks : (b,) fixes after which the trace is broken.

    Returns
    -------
    The largest over the stretches; of recorded and line length the sums.
    """
    shared = [_stretch(xy_m, place, line, low, high) for low, high in _stretches(place, counted, breaks)]
    shared = [(trace, road, along) for trace, road, along in shared if len(trace) >= 2 and len(road) >= 2]
    coverage = float(place.matched.mean())
    if not shared:
        return CurveDistances(NAN, NAN, NAN, NAN, NAN, NAN, coverage, NAN)
    from_trace = [curve_distances.directed_hausdorff(trace, road) for trace, road, _ in shared]
    from_line = [curve_distances.directed_hausdorff(road, trace) for trace, road, _ in shared]
    recorded_m = sum(polyline.along_m(trace)[-1] for trace, _, _ in shared)
    road_m = sum(polyline.along_m(road)[-1] for _, road, _ in shared)
    furthest = max(
        ((distance, where, k) for found in (from_trace, from_line) for k, (distance, where) in enumerate(found)),
        key=lambda f: f[0],
    )
    return CurveDistances(
        hausdorff_m=furthest[0],
        from_trace_m=max(d for d, _ in from_trace),
        from_line_m=max(d for d, _ in from_line),
        at_m=_station_of(furthest[1], shared[furthest[2]]),
        frechet_m=max(curve_distances.frechet_m(trace, road) for trace, road, _ in shared),
        frechet_discrete_m=max(curve_distances.discrete_frechet_m(trace, road) for trace, road, _ in shared),
        coverage=coverage,
        length_ratio=recorded_m / road_m if road_m > 0 else NAN,
    )


def _stretches(place: Abreast, counted: BoolArray, breaks: IntArray) -> list[tuple[int, int]]:
    """Return (first, last) stations of each unbroken stretch that counts."""
    there = np.flatnonzero(counted & ~np.isnan(place.vertex))
    if not len(there):
        return []
    run = np.searchsorted(breaks + 0.5, place.vertex[there])
    ends = np.flatnonzero((np.diff(there) > 1) | (np.diff(run) != 0))
    return [
        (int(there[low]), int(there[high - 1])) for low, high in polyline.pieces(ends, len(there)) if high - low > 1
    ]


def _stretch(
    xy_m: FloatArray, place: Abreast, line: Centreline, low: int, high: int
) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Return the trace, the line and its stations between two stations, ends cut abreast of each other."""
    first, last = place.vertex[low], place.vertex[high]
    inner = xy_m[int(np.floor(first)) + 1 : int(np.ceil(last))]
    trace = np.vstack([place.xy_m[low], inner, place.xy_m[high]])
    return trace, line.xy_m[low : high + 1], line.along_m[low : high + 1]


def _station_of(where: FloatArray, stretch: tuple[FloatArray, FloatArray, FloatArray]) -> float:
    _, road, along = stretch
    return float(along[np.argmin(norms(road - where))])

"""Offsets of a device that every ride has: parts that go with the rider, and parts that go with the ground.

What lies to the left of a rider on the way out lies to his right on the way back. So an offset of the ground (a shift of all
positions to the east, say) changes its sign with the way, one of the body (the left wrist) does not; pooled over both ways
the first would cancel and say nothing.
"""

from __future__ import annotations

from itertools import combinations
from typing import TYPE_CHECKING

import numpy as np

from gpsq.geometry import polyline
from gpsq.plane import to_earth_centred
from gpsq.statistics import intervals
from gpsq.statistics.rank_correlation import rank_correlation
from gpsq.summary_types import Interval, OffsetBetween

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping, Sequence

    from gpsq.model import Centreline, FloatArray
    from gpsq.results import RouteResult, TraceResult
    from gpsq.summaries.station_table import StationTable

#: A road is the way back of another where so much of it lies this near, run the other way.
NEAR_M, NEAR_SHARE = 40.0, 0.6
#: A road must turn: on one that runs straight only the part across it can be told.
LEAST_TURN = 0.05
FEWEST_RIDES = 3
NONE = Interval(float("nan"), method="none: no road was ridden both ways")


def both_ways(routes: Sequence[RouteResult]) -> dict[str, str]:
    """Return the way back of each route that has one, by name, each pair once."""
    names = [r.route.name for r in routes if r.centreline is not None]
    lines = [to_earth_centred(*r.route.plane.to_degrees(r.centreline.xy_m)) for r in routes if r.centreline is not None]
    found: dict[int, int] = {}
    for first, second in _meeting(lines):
        taken = found.keys() | found.values()
        if first not in taken and second not in taken and _is_way_back(lines[first], lines[second]):
            found[first] = second
    return {names[first]: names[second] for first, second in found.items()}


def _meeting(lines: Sequence[FloatArray]) -> Iterator[tuple[int, int]]:
    """Give the pairs of lines, each with those after it, whose boxes come within `NEAR_M`."""
    if not lines:
        return
    low, high = (np.array([edge(line, axis=0) for line in lines]) for edge in (np.min, np.max))
    for first in range(len(lines)):
        apart_m = np.maximum(low[first] - high[first + 1 :], low[first + 1 :] - high[first]).max(axis=1)
        for second in np.flatnonzero(apart_m <= NEAR_M):
            yield first, first + 1 + int(second)


def _is_way_back(first: FloatArray, second: FloatArray) -> bool:
    from scipy.spatial import cKDTree

    short, long = sorted((first, second), key=len)
    distance, nearest = cKDTree(long).query(short, distance_upper_bound=NEAR_M)
    near = np.isfinite(distance)
    if near.mean() < NEAR_SHARE or near.sum() < 3:
        return False
    return rank_correlation(np.arange(len(short))[near], np.asarray(nearest)[near]) < 0


def of_body_and_ground(
    results: Sequence[TraceResult], pairs: Mapping[str, str], confidence: float
) -> dict[str, Interval]:
    """Return the body-fixed and the ground-fixed offset of one device, in metres.

    With b the median offset of a ride, + to the left of travel: half the sum of the two ways' means, + to the rider's left,
    and half their difference, + to the left of the way that is named first.
    """
    ways = [(_biases(results, first), _biases(results, second)) for first, second in pairs.items()]
    ways = [(a, b) for a, b in ways if len(a) and len(b)]
    if not ways:
        return {"offset_body_m": NONE, "offset_ground_m": NONE}
    # the road with most rides leads: offsets of the ground on roads of other directions cannot be pooled
    first, second = max(ways, key=lambda way: min(len(way[0]), len(way[1])))
    return {
        "offset_body_m": _half(first, second, confidence),
        "offset_ground_m": _half(first, -second, confidence),
    }


def _biases(results: Sequence[TraceResult], route: str) -> FloatArray:
    return np.array([r.crosstrack.bias_m for r in results if r.route == route and r.crosstrack], dtype=float)


def _half(first: FloatArray, second: FloatArray, confidence: float) -> Interval:
    """Return half the sum of two means, with Welch's interval."""
    found = intervals.welch_difference(first, -second, confidence)
    return Interval(found.value / 2, found.low / 2, found.high / 2, found.method)


def between_devices(tables: Sequence[tuple[StationTable, Centreline]], confidence: float) -> tuple[OffsetBetween, ...]:
    """Return how far east and north the first of two devices lies of the second, the mean over their common rides.

    On each ride the shift that best explains the differences of the two across the road (least squares), which a road
    shows in full only where it turns.
    """
    shifts: dict[tuple[str, str], list[FloatArray]] = {}
    for table, line in tables:
        normals = polyline.left_normals(line.xy_m)
        rows = {(d, r): row for d, r, row in zip(table.device, table.ride, table.offset_m, strict=True)}
        for first, second in combinations(sorted(set(table.device)), 2):
            for ride in dict.fromkeys(table.ride):
                if (first, ride) in rows and (second, ride) in rows:
                    shift = _shift(rows[first, ride] - rows[second, ride], normals)
                    shifts.setdefault((first, second), []).extend([shift] if shift is not None else [])
    return tuple(
        OffsetBetween(*pair, len(own), *(intervals.mean(np.array(own)[:, axis], confidence) for axis in (0, 1)))
        for pair, own in sorted(shifts.items())
        if len(own) >= FEWEST_RIDES
    )


def _shift(difference_m: FloatArray, normals: FloatArray) -> FloatArray | None:
    known = np.isfinite(difference_m)
    if known.sum() < 10:
        return None
    square = normals[known].T @ normals[known]
    smaller, larger = np.linalg.eigvalsh(square)
    if smaller < LEAST_TURN * larger:
        return None
    return np.asarray(np.linalg.solve(square, normals[known].T @ difference_m[known]), dtype=float)

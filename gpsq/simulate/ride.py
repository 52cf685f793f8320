"""How a rider moves along a line: cruising, slowing for corners, waiting at lights, a little to either side."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from gpsq.simulate.road import arc_length, left_normals

if TYPE_CHECKING:
    from gpsq.model import FloatArray

#: Easy cycling, common practice: speeding up, braking, and leaning into a corner, all in m/s².
GAIN_MPS2, BRAKE_MPS2, LEAN_MPS2 = 0.7, 1.1, 2.2


@dataclass(frozen=True, eq=False)
class Way:
    """The line one rider took on one ride.

    `line_m` (n, 2) a point about every metre, `station_m` (n,) where that is along the route's road (a detour counts
    evenly from where it leaves to where it joins), `detour_m` the stations between which the rider was on another
    road, or None.
    """

    line_m: FloatArray
    station_m: FloatArray
    detour_m: tuple[float, float] | None = None


@dataclass(frozen=True, eq=False)
class Motion:
    """Where the rider was each second: `xy_m` (t, 2), `station_m` (t,) along the road, `along_m` (t,) along the way."""

    way: Way
    xy_m: FloatArray
    station_m: FloatArray
    along_m: FloatArray


def way_on(road_m: FloatArray, line_m: FloatArray | None = None) -> Way:
    """Return the way along a road, or along a line that leaves the road once and joins it again."""
    road_s = arc_length(road_m)
    if line_m is None:
        return Way(road_m, road_s)
    length_m, short = arc_length(line_m), min(len(road_m), len(line_m))
    from_start = np.hypot(*(road_m[:short] - line_m[:short]).T)
    from_end = np.hypot(*(road_m[::-1][:short] - line_m[::-1][:short]).T)
    leave, join = int(np.argmax(from_start > 1.0)), int(np.argmax(from_end > 1.0))
    knots = [0.0, length_m[leave], length_m[-1 - join], length_m[-1]]
    stations = [0.0, road_s[leave], road_s[-1 - join], road_s[-1]]
    return Way(line_m, np.interp(length_m, knots, stations), (float(stations[1]), float(stations[2])))


def speed_limits(line_m: FloatArray, cruise_mps: float, stops_m: FloatArray) -> FloatArray:
    """Return (n,) speeds along a line: cruising, slower in corners and towards stops, within gain and braking."""
    s = arc_length(line_m)
    heading = np.unwrap(np.arctan2(*np.gradient(line_m, axis=0).T[::-1]))
    curvature = np.abs(np.gradient(heading, s))
    square = np.minimum(cruise_mps**2, LEAN_MPS2 / np.maximum(curvature, 1e-6))
    halts = np.concatenate([[0.0, s[-1]], stops_m])
    square[np.clip(np.searchsorted(s, halts), 0, len(s) - 1)] = 0.0
    gained = np.minimum.accumulate(square - 2 * GAIN_MPS2 * s) + 2 * GAIN_MPS2 * s
    braked = np.minimum.accumulate((gained + 2 * BRAKE_MPS2 * s)[::-1])[::-1] - 2 * BRAKE_MPS2 * s
    return np.asarray(np.sqrt(np.maximum(braked, 0.0)))


def move(
    rng: np.random.Generator,
    way: Way,
    cruise_mps: float,
    stops: list[tuple[float, float]],
    wait_s: float,
    stay_s: float,
    lateral_m: float,
) -> Motion:
    """Return where the rider is, second by second, from `wait_s` before leaving to `stay_s` after arriving.

    `stops` are pairs of (m along the way, s of waiting).
    """
    s = arc_length(way.line_m)
    speed = speed_limits(way.line_m, cruise_mps, np.array([m for m, _ in stops]))
    pace = 1.0 / np.maximum((speed[1:] + speed[:-1]) / 2, 0.5)
    clock = wait_s + np.concatenate([[0.0], np.cumsum(np.diff(s) * pace)])
    knots, times = list(s), list(clock)
    for at_m, seconds in sorted(stops, reverse=True):
        k = int(np.searchsorted(s, at_m))
        times[k:] = [t + seconds for t in times[k:]]
        knots.insert(k, s[k] - 1e-6)
        times.insert(k, times[k] - seconds)
    seconds_grid = np.arange(int(np.ceil(times[-1] + stay_s)) + 1, dtype=float)
    along = np.interp(seconds_grid, times, knots)
    line = way.line_m + _wander(rng, s, lateral_m)[:, None] * left_normals(way.line_m)
    xy = np.column_stack([np.interp(along, s, line[:, k]) for k in (0, 1)])
    return Motion(way, xy, np.interp(along, s, way.station_m), along)


def _wander(rng: np.random.Generator, s: FloatArray, lateral_m: float) -> FloatArray:
    """Return (n,) the rider's offset to the left: half of its variance lasts the ride, half changes on the way."""
    knots = np.arange(0.0, s[-1] + 300.0, 150.0)
    slow = np.interp(s, knots, rng.standard_normal(len(knots)))
    # Values between two knots vary less (2/3 on average), so 0.75 gives half of the variance.
    return np.asarray(lateral_m * (np.sqrt(0.5) * rng.standard_normal() + np.sqrt(0.75) * slow))

"""Where a trace runs abreast of the stations of a line, compiled."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from gpsq.geometry._compiled import compiled

if TYPE_CHECKING:
    from gpsq.model import FloatArray, IntArray

#: Stations passed over between neighbouring places of a trace are filled in up to this many: a corner cut by sampling.
FILL_STATIONS = 4


@compiled
def within(path: IntArray, xy: FloatArray, line: FloatArray, cap_m: float) -> IntArray:  # pragma: no cover - compiled
    """Return the path with −1 where a place is further from its station than the cap."""
    stations = path.copy()
    for i in range(len(path)):
        away2 = 0.0
        for axis in range(xy.shape[1]):
            away2 += (xy[i, axis] - line[path[i], axis]) ** 2
        if np.sqrt(away2) > cap_m:
            stations[i] = -1
    return stations


@compiled
def within_ends(xy: FloatArray, stations: IntArray, line: FloatArray) -> IntArray:  # pragma: no cover - compiled
    """Unmatch places that lie beyond the ends of the line, so that a longer trace does not pile up at them."""
    inside, end = stations.copy(), len(line) - 1
    if end < 1:
        return inside
    step_m = np.sqrt((line[1, 0] - line[0, 0]) ** 2 + (line[1, 1] - line[0, 1]) ** 2)
    for i in range(len(stations)):
        if stations[i] == 0 or stations[i] == end:
            at, inner = (0, 1) if stations[i] == 0 else (end, end - 1)
            x, y = line[at, 0] - line[inner, 0], line[at, 1] - line[inner, 1]
            beyond = (xy[i, 0] - line[at, 0]) * x + (xy[i, 1] - line[at, 1]) * y
            if beyond / max(np.sqrt(x * x + y * y), 1e-9) > step_m:
                inside[i] = -1
    return inside


@compiled
def at_stations(
    xy: FloatArray, vertex: FloatArray, piece: IntArray, inside: IntArray, count: int, middle: bool
) -> tuple[FloatArray, FloatArray]:  # pragma: no cover - compiled
    """Return (m, 2) the mean of the places at each of `count` stations, and (m,) that of their vertices, nan where none is.

    With `middle` the middle one in order of travel instead. Stations passed over within a few steps are filled in between.
    """
    place, at, number, seen = np.zeros((count, 2)), np.zeros(count), np.zeros(count), np.zeros(count)
    for j in inside:
        if j >= 0:
            number[j] += 1.0
    for i in range(len(inside)):
        j = inside[i]
        if j < 0:
            continue
        if not middle:
            place[j, 0] += xy[i, 0]
            place[j, 1] += xy[i, 1]
            at[j] += vertex[i]
        elif seen[j] == number[j] // 2:
            place[j, 0], place[j, 1], at[j] = xy[i, 0], xy[i, 1], vertex[i]
        seen[j] += 1.0
    for j in range(count):
        if number[j] == 0.0:
            place[j, 0], place[j, 1], at[j] = np.nan, np.nan, np.nan
        elif not middle:
            place[j, 0], place[j, 1], at[j] = place[j, 0] / number[j], place[j, 1] / number[j], at[j] / number[j]
    _fill_in(place, at, piece, inside)
    return place, at


@compiled
def _fill_in(
    place: FloatArray, at: FloatArray, piece: IntArray, inside: IntArray
) -> None:  # pragma: no cover - compiled
    """Fill in the stations that a trace passes over between neighbouring places of one piece, if they are few."""
    for i in range(1, len(inside)):
        low, high = inside[i - 1], inside[i]
        if low >= 0 and piece[i] == piece[i - 1] and low + 1 < high <= low + FILL_STATIONS:
            for j in range(low + 1, high):
                share = (j - low) / (high - low)
                for axis in range(2):
                    place[j, axis] = place[low, axis] + share * (place[high, axis] - place[low, axis])
                at[j] = at[low] + share * (at[high] - at[low])

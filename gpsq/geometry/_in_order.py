"""The best in-order path of a trace along a line, compiled: coarsely first, then in bands around the path before."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from gpsq.geometry._compiled import compiled

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from gpsq.model import FloatArray, IntArray

#: How the best path came to a station: from the same one, from the one before, or over the one before.
STAY, NEXT, OVER = 0, 1, 2
#: Stations are counted without a sign: numba then spares the look whether a number counts from the end, and takes several at once.
ONE = np.uint64(1)


@compiled
def _gains(
    place: FloatArray, line: FloatArray, first: np.uint64, end: np.uint64, cap2: float, gain: FloatArray
) -> None:  # pragma: no cover - compiled
    """Fill `gain` from the first station up to the end with the worth of matching a place to each."""
    if len(place) == 2:
        for j in range(first, end):
            distance2 = (place[0] - line[j, 0]) ** 2 + (place[1] - line[j, 1]) ** 2
            gain[j] = 1.0 - distance2 / cap2 if distance2 < cap2 else 0.0
    else:
        for j in range(first, end):
            distance2 = (place[0] - line[j, 0]) ** 2 + (place[1] - line[j, 1]) ** 2 + (place[2] - line[j, 2]) ** 2
            gain[j] = 1.0 - distance2 / cap2 if distance2 < cap2 else 0.0


@compiled
def _reach(
    value: FloatArray,
    gain: FloatArray,
    entered: FloatArray,
    move: NDArray[np.uint8],
    first: np.uint64,
    end: np.uint64,
    begin: np.uint64,
    cost: float,
) -> None:  # pragma: no cover - compiled
    """Take one more place: renew what the best path is worth at each station, and fill `move` with how it came there.

    First what needs no other station of the same place, for several at once; then who came over the one before.
    """
    entered[first] = value[first]
    move[begin] = NEXT if value[first] == -np.inf else STAY
    for k in range(ONE, end - first):
        stay, before = value[first + k], value[first + k - ONE]
        entered[first + k] = before if before >= stay else stay
        move[begin + k] = NEXT if before >= stay else STAY
    best = -np.inf
    for j in range(first, end):
        over = best - cost
        best = entered[j]
        if over > best:
            best = over
            move[begin + j - first] = OVER
        value[j] = best + gain[j]


@compiled
def best_path(
    xy: FloatArray, piece: IntArray, line: FloatArray, low: IntArray, high: IntArray, cap2: float, passing: float
) -> IntArray:  # pragma: no cover - compiled
    """Return the station at which the best in-order path stands at each place of the trace."""
    n = len(xy)
    start = np.empty(n + 1, dtype=np.int64)
    start[0] = 0
    for i in range(n):
        first = low[max(i - 1, 0)]
        start[i + 1] = start[i] + high[i] - first + 1
    move = np.zeros(start[n], dtype=np.uint8)
    value, gain, entered = np.full(len(line), -np.inf), np.empty(len(line)), np.empty(len(line))
    _gains(xy[0], line, np.uint64(low[0]), np.uint64(high[0] + 1), cap2, gain)
    for j in range(low[0], high[0] + 1):
        value[j] = gain[j]
    for i in range(1, n):
        first, end = np.uint64(low[i - 1]), np.uint64(high[i] + 1)
        cost = 0.0 if piece[i] != piece[i - 1] else passing
        _gains(xy[i], line, first, end, cap2, gain)
        for j in range(high[i - 1] + 1, high[i] + 1):
            value[j] = -np.inf
        _reach(value, gain, entered, move, first, end, np.uint64(start[i]), cost)
        for j in range(low[i - 1], low[i]):
            value[j] = -np.inf
    return _traced_back(value, move, start, low, high)


@compiled
def _traced_back(
    value: FloatArray, move: NDArray[np.uint8], start: IntArray, low: IntArray, high: IntArray
) -> IntArray:  # pragma: no cover - compiled
    """Return the path that leads to the best of the last stations."""
    n = len(low)
    path, j = np.empty(n, dtype=np.int64), low[n - 1]
    for k in range(low[n - 1], high[n - 1] + 1):
        if value[k] > value[j]:
            j = k
    for i in range(n - 1, -1, -1):
        path[i] = j
        first = low[max(i - 1, 0)]
        while move[start[i] + j - first] == OVER:
            j -= 1
        if move[start[i] + j - first] == NEXT:
            j -= 1
    return path


@compiled
def _band(
    states: IntArray, ratio: int, margin: int, last: int, low: IntArray, high: IntArray
) -> None:  # pragma: no cover - compiled
    """Fill `low` and `high` with the first and last station allowed for each place, around a path `ratio` times coarser."""
    for i in range(len(low)):
        before = ratio * states[max(i // ratio - 1, 0)]
        after = ratio * states[min(i // ratio + 2, len(states) - 1)]
        # a path along a longer line may lead beyond the end of this one
        low[i] = min(max(before - margin, 0), last)
        high[i] = min(max(after + margin, 0), last)


@compiled
def path_in_passes(
    xy: FloatArray,
    piece: IntArray,
    line: FloatArray,
    near: IntArray,
    strides: IntArray,
    step_m: float,
    cap_m: float,
    passing: float,
) -> IntArray:  # pragma: no cover - compiled
    """Return the best path, looked for with every so many places and stations of `strides`, from coarse to fine.

    Each pass looks in a band around the one before, the first one around `near`, or everywhere where that is empty.
    """
    states, coarser, reach_m = near.copy(), min(len(near), 1), cap_m
    for every in strides:
        places, pieces, stations = xy[::every].copy(), piece[::every].copy(), line[::every].copy()
        low, high = np.zeros(len(places), dtype=np.int64), np.full(len(places), len(stations) - 1, dtype=np.int64)
        if coarser > 0:
            ratio = coarser // every
            margin = int(np.ceil(reach_m / (every * step_m))) + ratio
            _band(states, ratio, margin, len(stations) - 1, low, high)
        coarser, reach_m = every, cap_m if every == 1 else max(cap_m, 2.0 * every * step_m)
        states = best_path(places, pieces, stations, low, high, reach_m**2, passing)
    return states

"""The best in-order path of a trace along a line, compiled: coarsely first, then in bands around the path before."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from gpsq.geometry._compiled import compiled

if TYPE_CHECKING:
    from gpsq.model import FloatArray, IntArray

#: How the best path came to a station: from the same one, from the one before, or over the one before.
STAY, NEXT, OVER = 0, 1, 2


@compiled
def _gains(
    place: FloatArray, line: FloatArray, first: int, last: int, cap2: float, gain: FloatArray
) -> None:  # pragma: no cover - compiled
    """Fill `gain` from the first to the last station with the worth of matching a place to each."""
    if len(place) == 2:
        for j in range(first, last + 1):
            distance2 = (place[0] - line[j, 0]) ** 2 + (place[1] - line[j, 1]) ** 2
            gain[j] = 1.0 - distance2 / cap2 if distance2 < cap2 else 0.0
    else:
        for j in range(first, last + 1):
            distance2 = (place[0] - line[j, 0]) ** 2 + (place[1] - line[j, 1]) ** 2 + (place[2] - line[j, 2]) ** 2
            gain[j] = 1.0 - distance2 / cap2 if distance2 < cap2 else 0.0


@compiled
def best_path(  # noqa: C901 - one compiled loop: splitting it would cost a call for every cell
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
    value, gain = np.full(len(line), -np.inf), np.empty(len(line))
    for j in range(low[0], high[0] + 1):
        value[j] = 0.0
    reached = high[0]
    for i in range(n):
        first, last = low[max(i - 1, 0)], high[i]
        cost = 0.0 if i > 0 and piece[i] != piece[i - 1] else passing
        _gains(xy[i], line, first, last, cap2, gain)
        for j in range(reached + 1, last + 1):
            value[j] = -np.inf
        best, before = -np.inf, -np.inf
        for j in range(first, last + 1):
            stay, over = value[j], best - cost
            best, how = stay, STAY
            if i > 0 and before >= best:
                best, how = before, NEXT
            if i > 0 and over > best:
                best, how = over, OVER
            move[start[i] + j - first] = how
            before = stay
            value[j] = best + gain[j]
        for j in range(first, low[i]):
            value[j] = -np.inf
        reached = last
    path = np.empty(n, dtype=np.int64)
    j = low[n - 1]
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

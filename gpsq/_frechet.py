"""Kernel of the continuous Fréchet distance: a way through the free space (Alt & Godau 1995, IJCGA 5:75-91).

A cell is one segment of `a` against one of `b`. Only cells that can be reached are visited, row by row, and of a row
only the reachable part of each upper side is kept. Cells are taken in square tiles: a tile whose two pieces lie wholly
within (or wholly beyond) the leash of each other is crossed at once, so that large free areas cost little.

A side is held as its free interval (low, high) in 0 to 1; low > high stands for none.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from gpsq._compiled import compiled

if TYPE_CHECKING:
    from gpsq.model import FloatArray, IntArray

TILE = 32  # cells along a tile's side


def discs(line: FloatArray, vertices: int) -> FloatArray:
    """Return (tiles, 3): centre and radius of a disc around each run of `vertices` vertices, `TILE` from run to run."""
    starts = np.arange(0, len(line) - (vertices - TILE), TILE)
    run = line[np.minimum(np.arange(vertices)[:, None] + starts, len(line) - 1)]
    centre = 0.5 * (run.min(axis=0) + run.max(axis=0))
    away2 = (run - centre) ** 2
    radius = np.sqrt((away2[:, :, 0] + away2[:, :, 1]).max(axis=0))
    return np.column_stack((centre, radius))


@compiled
def d2(a: FloatArray, i: int, b: FloatArray, j: int) -> float:
    """Return the squared distance of vertex `i` of `a` from vertex `j` of `b`."""
    dx: float = a[i, 0] - b[j, 0]
    dy: float = a[i, 1] - b[j, 1]
    return dx * dx + dy * dy


@compiled
def _free(
    p: FloatArray, i: int, q: FloatArray, j: int, d2_from: float, d2_to: float, leash2: float
) -> tuple[float, float]:
    """Part of segment `j` of `q` within the leash of vertex `i` of `p`; its ends' squared distances are given."""
    from_in, to_in = d2_from <= leash2, d2_to <= leash2
    if from_in and to_in:
        return 0.0, 1.0
    dx, dy = q[j + 1, 0] - q[j, 0], q[j + 1, 1] - q[j, 1]
    wx, wy = p[i, 0] - q[j, 0], p[i, 1] - q[j, 1]
    length2 = dx * dx + dy * dy
    if length2 == 0.0:
        return 1.0, 0.0
    along, across = (wx * dx + wy * dy) / length2, wx * dy - wy * dx
    half2 = (leash2 - across * across / length2) / length2
    half = np.sqrt(max(half2, 0.0))
    if from_in:
        return 0.0, min(max(along + half, 0.0), 1.0)
    if to_in:
        return min(max(along - half, 0.0), 1.0), 1.0
    if half2 < 0.0 or along < half or along + half > 1.0:
        return 1.0, 0.0
    return along - half, along + half


@compiled
def _sweep_row(
    a: FloatArray, b: FloatArray, i: int, start: int, stop: int, first: int, last: int,
    left_low: float, left_high: float, low: FloatArray, high: FloatArray, leash2: float,
) -> tuple[int, int, float, float]:  # fmt: skip
    """Cross the cells start..stop-1 of row `i`: lower sides first..last become upper sides, in place.

    Returns the new first and last reachable column, and the reachable part of the right side of the row's last cell.
    """
    new_first, new_last = stop, -1
    j = start if left_low <= left_high else min(first, stop)
    d2_top = d2(a, i + 1, b, j)
    while j < stop and (j <= last or left_low <= left_high):
        below = low[j] if first <= j <= last and low[j] <= high[j] else 2.0  # 2: nothing reachable from below
        d2_corner = d2(a, i + 1, b, j + 1)
        if below > 1.0 and left_low > left_high:
            low[j], high[j] = 1.0, 0.0
        else:
            top_low, top_high = _free(a, i + 1, b, j, d2_top, d2_corner, leash2)
            right_low, right_high = _free(b, j + 1, a, i, d2(a, i, b, j + 1), d2_corner, leash2)
            if left_low > left_high:  # from below alone: no way back along b
                top_low = max(top_low, below)
            if below > 1.0:  # from the left alone: no way back along a
                right_low = max(right_low, left_low)
            left_low, left_high = right_low, right_high
            low[j], high[j] = top_low, top_high
            if top_low <= top_high:
                new_first, new_last = min(new_first, j), j
        d2_top = d2_corner
        j += 1
    if j < stop:
        left_low, left_high = 1.0, 0.0
    return new_first, new_last, left_low, left_high


@compiled
def _fill(low: FloatArray, high: FloatArray, start: int, stop: int, to_low: float, to_high: float) -> None:
    for k in range(start, stop):
        low[k], high[k] = to_low, to_high


@compiled
def _open(low: FloatArray, high: FloatArray, first: int, last: int, stop: int) -> int:
    """Open all after the first reachable side in first..last, up to stop - 1; return where that is, or `stop`."""
    k = first
    while k <= last and low[k] > high[k]:
        k += 1
    if k > last:
        return stop
    high[k] = 1.0
    _fill(low, high, k + 1, stop, 0.0, 1.0)
    return k


@compiled
def _cross_free_tile(
    start: int, stop: int, first: int, last: int, low: FloatArray, high: FloatArray,
    left_low: FloatArray, left_high: FloatArray,
) -> tuple[int, int]:  # fmt: skip
    """Cross a tile in which every point is free: all that lies ahead of an entry in both directions is reachable."""
    height = len(left_low)
    from_below = _open(low, high, first, last, stop)
    from_left = _open(left_low, left_high, 0, height - 1, height)
    if from_below < stop:
        _fill(left_low, left_high, 0, height, 0.0, 1.0)
    if from_left < height:
        _fill(low, high, start, stop, 0.0, 1.0)
        from_below = start
    return from_below, stop - 1 if from_below < stop else -1


@compiled
def _cross_tile(
    a: FloatArray, b: FloatArray, i0: int, start: int, stop: int, first: int, last: int,
    low: FloatArray, high: FloatArray, left_low: FloatArray, left_high: FloatArray,
    gap: float, reach: float, leash: float,
) -> tuple[int, int]:  # fmt: skip
    """Cross one tile; `gap` and `reach` bound the distances in it from below and above."""
    if gap > leash:
        _fill(left_low, left_high, 0, len(left_low), 1.0, 0.0)
        return stop, -1
    if reach <= leash:
        return _cross_free_tile(start, stop, first, last, low, high, left_low, left_high)
    for k in range(len(left_low)):
        first, last, left_low[k], left_high[k] = _sweep_row(
            a, b, i0 + k, start, stop, first, last, left_low[k], left_high[k], low, high, leash * leash
        )
    return first, last


@compiled
def _any(low: FloatArray, high: FloatArray) -> bool:
    for k in range(len(low)):  # noqa: SIM110  # a generator cannot be compiled
        if low[k] <= high[k]:
            return True
    return False


@compiled
def _cross_tile_row(
    a: FloatArray, b: FloatArray, disc_a: FloatArray, disc_b: FloatArray, row: int, from_tile: int, to_tile: int,
    first: IntArray, last: IntArray, low: FloatArray, high: FloatArray, leash: float,
) -> tuple[int, int]:  # fmt: skip
    """Cross a row of tiles of which from_tile..to_tile can be entered from below; return the same for the next row."""
    height = min(TILE, len(a) - 1 - row * TILE)
    left_low, left_high = np.empty(height), np.empty(height)
    _fill(left_low, left_high, 0, height, 1.0, 0.0)
    entered = False
    new_from, new_to = len(disc_b), -1
    tile = from_tile
    while tile < len(disc_b) and (tile <= to_tile or entered):
        if entered or first[tile] <= last[tile]:
            apart = np.sqrt(d2(disc_a, row, disc_b, tile))
            spread = disc_a[row, 2] + disc_b[tile, 2]
            first[tile], last[tile] = _cross_tile(
                a, b, row * TILE, tile * TILE, min(tile * TILE + TILE, len(b) - 1), first[tile], last[tile],
                low, high, left_low, left_high, apart - spread, apart + spread, leash,
            )  # fmt: skip
            entered = _any(left_low, left_high)
            if first[tile] <= last[tile]:
                new_from, new_to = min(new_from, tile), tile
        tile += 1
    return new_from, new_to


@compiled
def within(a: FloatArray, b: FloatArray, disc_a: FloatArray, disc_b: FloatArray, leash: float) -> bool:
    """Whether the continuous Fréchet distance of `a` and `b` is at most `leash`. At least 2 vertices each."""
    leash2 = leash * leash
    if d2(a, 0, b, 0) > leash2 or d2(a, len(a) - 1, b, len(b) - 1) > leash2:
        return False
    low, high = np.empty(len(b) - 1), np.empty(len(b) - 1)
    first, last = np.empty(len(disc_b), np.int64), np.empty(len(disc_b), np.int64)
    for tile in range(len(disc_b)):
        first[tile], last[tile] = len(b), -1
    first[0] = last[0] = 0  # only the common start
    low[0] = high[0] = 0.0
    from_tile, to_tile = 0, 0
    for row in range(len(disc_a)):
        from_tile, to_tile = _cross_tile_row(
            a, b, disc_a, disc_b, row, from_tile, to_tile, first, last, low, high, leash
        )
        if to_tile < 0:
            return False
    return bool(last[len(disc_b) - 1] == len(b) - 2 and high[len(b) - 2] >= 1.0)


@compiled
def greedy(a: FloatArray, b: FloatArray) -> float:
    """Return an upper bound of the discrete, and so of the continuous, distance: the shortest step each time."""
    i, j = 0, 0
    worst2 = d2(a, 0, b, 0)
    while i < len(a) - 1 or j < len(b) - 1:
        step_a = d2(a, i + 1, b, j) if i < len(a) - 1 else np.inf
        step_b = d2(a, i, b, j + 1) if j < len(b) - 1 else np.inf
        both = d2(a, i + 1, b, j + 1) if i < len(a) - 1 and j < len(b) - 1 else np.inf
        best2 = min(step_a, step_b, both)
        worst2 = max(worst2, best2)
        if both == best2:
            i, j = i + 1, j + 1
        elif step_a == best2:
            i += 1
        else:
            j += 1
    return float(np.sqrt(worst2))


@compiled
def bracket(
    a: FloatArray, b: FloatArray, disc_a: FloatArray, disc_b: FloatArray, low: float, high: float, tolerance: float
) -> float:
    """Return a value that is at most the distance, known to lie in low..high, and less by no more than `tolerance`."""
    step = tolerance
    while high - low > tolerance * (1.0 + 1e-9):  # for the rounding of low + tolerance
        leash = low + step
        if step == 0.0 or leash >= high:
            leash = 0.5 * (low + high)
        if leash <= low or leash >= high:  # no number between
            break
        if within(a, b, disc_a, disc_b, leash):
            high = leash
            step = 0.0  # bracketed: halve from here on
        else:
            low = leash
            step *= 4.0
    return low

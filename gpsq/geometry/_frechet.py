"""Kernel of the continuous Fréchet distance: a way through the free space (Alt & Godau 1995, IJCGA 5:75-91).

A cell is one segment of `a` against one of `b`. Only cells that can be reached are visited, row by row, and of a row
only the reachable part of each upper side is kept. Cells are taken in blocks, split until they are tiles: a block whose
two pieces lie wholly within (or wholly beyond) the leash of each other is crossed at once, so large areas cost little.

A side of a cell is held as its reachable interval (low, high) in 0 to 1; low > high stands for none. `low` and `high`
hold the lower sides of the next cells of every column, in columns first..last of each tile; `left_low` and `left_high`
the left sides of the next cells of every row, in the tiles that are `entered`. They are handed on one by one: in a named
tuple, however it is cut, they cost the kernel a tenth to a quarter of its speed.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from gpsq.geometry._boxes import box_distances
from gpsq.geometry._compiled import NOUGHT, compiled

if TYPE_CHECKING:
    from gpsq.model import BoolArray, FloatArray, IntArray

TILE = 32  # cells along a tile's side
WAITING = 256  # blocks: three more a halving


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
    return new_first, new_last, left_low, left_high


@compiled
def _fill(low: FloatArray, high: FloatArray, start: int, stop: int, to_low: float, to_high: float) -> None:
    for k in range(start, stop):
        low[k], high[k] = to_low, to_high


@compiled
def _cross_tile(
    a: FloatArray, b: FloatArray, row: int, column: int, low: FloatArray, high: FloatArray,
    first: IntArray, last: IntArray, left_low: FloatArray, left_high: FloatArray, entered: BoolArray, leash: float,
) -> None:  # fmt: skip
    """Cross the cells of one tile, row by row."""
    start, stop = column * TILE, min(column * TILE + TILE, len(b) - 1)
    bottom, top = row * TILE, min(row * TILE + TILE, len(a) - 1)
    if not entered[row]:
        _fill(left_low, left_high, bottom, top, 1.0, 0.0)
    entered[row] = False
    f, t = first[column], last[column]
    for i in range(bottom, top):
        f, t, left_low[i], left_high[i] = _sweep_row(
            a, b, i, start, stop, f, t, left_low[i], left_high[i], low, high, leash * leash
        )
        entered[row] |= left_low[i] <= left_high[i]
    first[column], last[column] = f, t


@compiled
def _first_open(low: FloatArray, high: FloatArray, start: int, stop: int) -> int:
    k = start
    while k < stop and low[k] > high[k]:
        k += 1
    return k


@compiled
def _open_after(low: FloatArray, high: FloatArray, k: int, stop: int) -> None:
    """Make all reachable from within side `k`, on which only the part from `low` on is, to `stop` - 1."""
    high[k] = 1.0
    _fill(low, high, k + 1, stop, 0.0, 1.0)


@compiled
def _mark_columns(first: IntArray, last: IntArray, c0: int, c1: int, start: int, stop: int) -> None:
    for c in range(c0, c1):
        first[c], last[c] = max(start, c * TILE), min(stop, c * TILE + TILE) - 1


@compiled
def _cross_free(
    rows: tuple[int, int], columns: tuple[int, int], low: FloatArray, high: FloatArray, first: IntArray, last: IntArray,
    left_low: FloatArray, left_high: FloatArray, entered: BoolArray,
) -> None:  # fmt: skip
    """Cross a block in which every point is free: all that lies ahead of an entry in both directions is reachable."""
    stop, top = min(columns[1] * TILE, len(low)), min(rows[1] * TILE, len(left_low))
    from_below, from_left = stop, top
    for c in range(columns[0], columns[1]):
        if first[c] <= last[c]:
            from_below = _first_open(low, high, first[c], stop)
            break
    for r in range(rows[0], rows[1]):
        if entered[r]:
            from_left = _first_open(left_low, left_high, r * TILE, top)
            break
    if from_left < top:
        _fill(low, high, columns[0] * TILE, stop, 0.0, 1.0)
        _mark_columns(first, last, columns[0], columns[1], columns[0] * TILE, stop)
    else:
        _open_after(low, high, from_below, stop)
        _mark_columns(first, last, columns[0], columns[1], from_below, stop)
    if from_below < stop:
        _fill(left_low, left_high, rows[0] * TILE, top, 0.0, 1.0)
    else:
        _open_after(left_low, left_high, from_left, top)
    for r in range(rows[0], rows[1]):
        entered[r] = from_below < stop or r >= from_left // TILE


@compiled
def _is_entered(
    rows: tuple[int, int], columns: tuple[int, int], first: IntArray, last: IntArray, entered: BoolArray
) -> bool:
    if rows[0] >= rows[1] or columns[0] >= columns[1]:  # beyond the lines' ends: nothing to be left there
        return False
    for c in range(columns[0], columns[1]):
        if first[c] <= last[c]:
            return True
    for r in range(rows[0], rows[1]):  # noqa: SIM110  # a generator cannot be compiled
        if entered[r]:
            return True
    return False


@compiled
def _close(
    rows: tuple[int, int], columns: tuple[int, int], first: IntArray, last: IntArray, entered: BoolArray
) -> None:
    """Leave a block in which no point is free."""
    for c in range(columns[0], columns[1]):
        first[c], last[c] = c * TILE, -1
    for r in range(rows[0], rows[1]):
        entered[r] = False


@compiled
def _split(waiting: IntArray, count: int) -> int:
    """Replace the last block by its quarters, or halves where it is longer one way, the first to be crossed last."""
    node_a, height_a, node_b, height_b = waiting[count - 1]
    of_a, of_b = int(height_a >= height_b), int(height_b >= height_a)
    count -= 1
    for up in range(of_a, -1, -1):
        for right in range(of_b, -1, -1):
            waiting[count, 0] = (node_a << of_a) + up
            waiting[count, 1] = height_a - of_a
            waiting[count, 2] = (node_b << of_b) + right
            waiting[count, 3] = height_b - of_b
            count += 1
    return count


@compiled
def _height(leaves: int) -> int:
    height = 0
    while leaves > 1:
        leaves //= 2
        height += 1
    return height


@compiled
def within(a: FloatArray, b: FloatArray, boxes_a: FloatArray, boxes_b: FloatArray, leash: float) -> bool:
    """Whether the continuous Fréchet distance of `a` and `b` is at most `leash`.

    At least 2 vertices each; the boxes are trees with leaves of `TILE`.
    """
    start = int(NOUGHT)
    if d2(a, start, b, start) > leash * leash or d2(a, len(a) - 1, b, len(b) - 1) > leash * leash:
        return False
    leaves_a, leaves_b = len(boxes_a) // 2, len(boxes_b) // 2
    tiles_a, tiles_b = (len(a) - 2) // TILE + 1, (len(b) - 2) // TILE + 1
    low, high = np.empty(len(b) - 1), np.empty(len(b) - 1)
    left_low, left_high = np.empty(len(a) - 1), np.empty(len(a) - 1)
    first, last, entered = np.empty(tiles_b, np.int64), np.empty(tiles_b, np.int64), np.empty(tiles_a, np.bool_)
    _close((start, tiles_a), (start, tiles_b), first, last, entered)
    first[0] = last[0] = 0  # only the common start
    low[0] = high[0] = 0.0
    waiting = np.empty((WAITING, 4), np.int64)
    waiting[0, 0] = waiting[0, 2] = 1
    waiting[0, 1], waiting[0, 3] = _height(leaves_a), _height(leaves_b)
    count = start + 1
    while count > 0:
        node_a, height_a, node_b, height_b = waiting[count - 1]
        rows = ((node_a << height_a) - leaves_a, min(((node_a + 1) << height_a) - leaves_a, tiles_a))
        columns = ((node_b << height_b) - leaves_b, min(((node_b + 1) << height_b) - leaves_b, tiles_b))
        if not _is_entered(rows, columns, first, last, entered):
            count -= 1
            continue
        gap, reach = box_distances(boxes_a, node_a, boxes_b, node_b)
        if gap <= leash < reach and height_a + height_b > 0:
            count = _split(waiting, count)
            continue
        count -= 1
        if gap > leash:
            _close(rows, columns, first, last, entered)
        elif reach <= leash:
            _cross_free(rows, columns, low, high, first, last, left_low, left_high, entered)
        else:
            _cross_tile(a, b, rows[0], columns[0], low, high, first, last, left_low, left_high, entered, leash)
    return bool(last[tiles_b - 1] == len(b) - 2 and high[len(b) - 2] >= 1.0)


@compiled
def greedy(a: FloatArray, b: FloatArray) -> float:
    """Return an upper bound of the discrete, and so of the continuous, distance: the shortest step each time."""
    i = j = int(NOUGHT)
    worst2 = d2(a, i, b, j)
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


def bracket(
    a: FloatArray, b: FloatArray, boxes_a: FloatArray, boxes_b: FloatArray, low: float, high: float, tolerance: float
) -> float:
    """Return a value that is at most the distance, known to lie in low..high, and less by no more than `tolerance`."""
    step = tolerance
    while high - low > tolerance * (1.0 + 1e-9):  # for the rounding of low + tolerance
        leash = low + step
        if step == 0.0 or leash >= high:
            leash = 0.5 * (low + high)
        if leash <= low or leash >= high:  # no number between
            break
        if within(a, b, boxes_a, boxes_b, leash):
            high = leash
            step = 0.0  # bracketed: halve from here on
        else:
            low = leash
            step *= 4.0
    return low

"""Kernel of the discrete Fréchet distance (Eiter & Mannila 1994): least over all walks of the greatest distance met.

The dynamic programme keeps, per pair of vertices, the greatest distance on the best walk to it. Pairs farther apart
than a known upper bound cannot be on the best walk and are never visited; distances below a known lower bound make no
difference, so a square tile of pairs that all lie below it is crossed at once. One row is kept. The values are squared
distances; inf stands for not reached.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from gpsq.geometry._boxes import box_distances
from gpsq.geometry._compiled import NOUGHT, compiled
from gpsq.geometry._frechet import TILE, d2

if TYPE_CHECKING:
    from gpsq.model import FloatArray, IntArray


@compiled
def _row(
    a: FloatArray, b: FloatArray, i: int, start: int, stop: int, first: int, last: int,
    left: float, corner: float, row: FloatArray, low2: float, high2: float,
) -> tuple[int, int, float]:  # fmt: skip
    """Take row `i` through columns start..stop-1, of which first..last are reached from below.

    `left` is the value left of the row, `corner` the one left below. Returns the new first and last, and the value at
    the right end.
    """
    new_first, new_last = stop, -1
    j = start if min(left, corner) < np.inf else min(first, stop)
    while j < stop and (j <= last or min(left, corner) < np.inf):
        below = row[j] if first <= j <= last else np.inf
        value = min(below, left, corner)
        if value < np.inf:
            value = max(value, low2, d2(a, i, b, j))
            if value > high2:
                value = np.inf
            else:
                new_first, new_last = min(new_first, j), j
        row[j] = value
        left, corner = value, below
        j += 1
    return new_first, new_last, left


@compiled
def _least(values: FloatArray) -> float:
    least = np.inf
    for value in values:
        least = min(least, value)
    return least


@compiled
def _unreach(values: FloatArray) -> None:
    for k in range(len(values)):
        values[k] = np.inf


@compiled
def _cross_near_tile(
    start: int, stop: int, first: int, last: int, corner: float, row: FloatArray, left: FloatArray
) -> tuple[int, int]:
    """Cross a tile in which every distance lies below the lower bound: a value spreads to all that lies ahead of it."""
    best_left, best_below = _least(left), np.inf
    new_first, new_last = stop, -1
    for j in range(start, stop):
        if first <= j <= last:
            best_below = min(best_below, row[j])
        row[j] = min(best_below, best_left, corner)
        if row[j] < np.inf:
            new_first, new_last = min(new_first, j), j
    ahead = min(best_below, corner)
    for k in range(len(left)):
        ahead = min(ahead, left[k])
        left[k] = ahead
    return new_first, new_last


@compiled
def _cross_tile(
    a: FloatArray, b: FloatArray, i0: int, start: int, stop: int, first: int, last: int, corner: float,
    row: FloatArray, left: FloatArray, low2: float, high2: float,
) -> tuple[int, int]:  # fmt: skip
    """Cross one tile row by row; `left` holds the values left of it, and then its rightmost ones."""
    for k in range(len(left)):
        left_below = left[k]
        first, last, left[k] = _row(a, b, i0 + k, start, stop, first, last, left_below, corner, row, low2, high2)
        corner = left_below
    return first, last


@compiled
def _cross_tile_row(
    a: FloatArray, b: FloatArray, boxes_a: FloatArray, boxes_b: FloatArray, i_tile: int, from_tile: int, to_tile: int,
    first: IntArray, last: IntArray, row: FloatArray, low: float, high: float,
) -> tuple[int, int]:  # fmt: skip
    """Cross a row of tiles of which from_tile..to_tile can be entered from below; return the same for the next row."""
    left = np.empty(min(TILE, len(a) - i_tile * TILE))
    _unreach(left)
    corner = low * low if i_tile == 0 else np.inf
    new_from, new_to = len(first), -1
    tile = from_tile
    while tile < len(first) and (tile <= to_tile or min(_least(left), corner) < np.inf):
        start, stop = tile * TILE, min(tile * TILE + TILE, len(b))
        gap, reach = box_distances(boxes_a, len(boxes_a) // 2 + i_tile, boxes_b, len(boxes_b) // 2 + tile)
        next_corner = row[stop - 1] if last[tile] == stop - 1 else np.inf
        if gap > high:
            first[tile], last[tile] = stop, -1
            _unreach(left)
        elif reach <= low:
            first[tile], last[tile] = _cross_near_tile(start, stop, first[tile], last[tile], corner, row, left)
        else:
            first[tile], last[tile] = _cross_tile(
                a, b, i_tile * TILE, start, stop, first[tile], last[tile], corner, row, left, low * low, high * high
            )
        corner = next_corner
        if first[tile] <= last[tile]:
            new_from, new_to = min(new_from, tile), tile
        tile += 1
    return new_from, new_to


@compiled
def _programme(
    a: FloatArray, b: FloatArray, boxes_a: FloatArray, boxes_b: FloatArray, low: float, high: float
) -> float:
    """Return the distance where it lies in low..high; `low` where it is less, inf where it is more."""
    row = np.empty(len(b))
    tiles_a, tiles_b = (len(a) - 1) // TILE + 1, (len(b) - 1) // TILE + 1
    first, last = np.empty(tiles_b, np.int64), np.empty(tiles_b, np.int64)
    for tile in range(tiles_b):
        first[tile], last[tile] = len(b), -1
    from_tile = to_tile = int(NOUGHT)
    for i_tile in range(tiles_a):
        from_tile, to_tile = _cross_tile_row(
            a, b, boxes_a, boxes_b, i_tile, from_tile, to_tile, first, last, row, low, high
        )
        if to_tile < 0:
            return float(np.inf)
    if last[tiles_b - 1] < len(b) - 1:
        return float(np.inf)
    return float(np.sqrt(row[len(b) - 1]))


def discrete_kernel(
    a: FloatArray, b: FloatArray, boxes_a: FloatArray, boxes_b: FloatArray, low: float, high: float
) -> float:
    """Return the discrete Fréchet distance, known to lie in low..high: few programmes, each with twice the reach."""
    step = (high - low) / 64.0
    while step > 0.0 and low + step < high:
        found = _programme(a, b, boxes_a, boxes_b, low, low + step)
        if found < np.inf:
            return found
        low += step
        step *= 2.0
    return _programme(a, b, boxes_a, boxes_b, low, high * (1.0 + 1e-12))

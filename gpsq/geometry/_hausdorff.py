"""Kernel of the directed Hausdorff distance of two polylines, every point of every segment counted.

Branch and bound: a piece of `a` is done as soon as one segment of `b` lies near its whole length, because the distance
to a segment is convex and so greatest at an end of the piece. A piece that passes from one nearest segment to another
is split where the two are equally far. Nearest segments come from a tree of boxes over runs of `b`.

A piece is held as (x, y, nearest segment, distance) of its one end and the same of its other end.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from gpsq.geometry._boxes import point_box_d2
from gpsq.geometry._compiled import NOUGHT, compiled

if TYPE_CHECKING:
    from gpsq.model import FloatArray

LEAF = 8  # segments in a leaf of the tree
DEPTH = 256  # pieces waiting: a piece shrinks by a quarter at least, and ends below 1e-6 m
CROSSING_STEPS = 48  # halvings to find where two segments are equally far
SLACK_M = 1e-6  # a piece that could raise the maximum by less is done


@compiled
def _segment_d2(px: float, py: float, b: FloatArray, s: int) -> float:
    """Squared distance of a point from segment `s` of `b`."""
    dx: float = b[s + 1, 0] - b[s, 0]
    dy: float = b[s + 1, 1] - b[s, 1]
    wx: float = px - b[s, 0]
    wy: float = py - b[s, 1]
    length2 = dx * dx + dy * dy
    if length2 > 0.0:
        t = min(max((wx * dx + wy * dy) / length2, 0.0), 1.0)
        wx -= t * dx
        wy -= t * dy
    return wx * wx + wy * wy


@compiled
def _nearest(px: float, py: float, b: FloatArray, boxes: FloatArray, hint: int) -> tuple[float, int]:
    """Squared distance to, and number of, the nearest segment of `b`; `hint` is a guess that saves work."""
    best2, best = _segment_d2(px, py, b, hint), hint
    leaves = len(boxes) // 2
    waiting = np.empty(64, np.int64)
    waiting[0] = 1
    count = 1
    while count > 0:
        count -= 1
        k = waiting[count]
        if point_box_d2(px, py, boxes, k) >= best2:
            continue
        if k >= leaves:
            first = (k - leaves) * LEAF
            for s in range(first, min(first + LEAF, len(b) - 1)):
                d2 = _segment_d2(px, py, b, s)
                if d2 < best2:
                    best2, best = d2, s
            continue
        near, far = 2 * k, 2 * k + 1
        if point_box_d2(px, py, boxes, far) < point_box_d2(px, py, boxes, near):
            near, far = far, near
        waiting[count] = far
        waiting[count + 1] = near
        count += 2
    return best2, best


@compiled
def _covering(px: float, py: float, qx: float, qy: float, b: FloatArray, hint: int, best2: float) -> int:
    """Find a segment of `b` just after `hint` that lies within the best distance of the whole piece p-q, or -1."""
    for s in range(max(hint - 1, 0), min(hint + 4, len(b) - 1)):
        if _segment_d2(px, py, b, s) <= best2 and _segment_d2(qx, qy, b, s) <= best2:
            return s
    return -1


@compiled
def _crossing(
    px: float, py: float, qx: float, qy: float, b: FloatArray, s: int, r: int
) -> tuple[float, float]:  # fmt: skip
    """Where on p-q (0 to 1) segment `s`, nearer at p, and `r`, nearer at q, are equally far, and how far."""
    low, high = 0.0, 1.0
    for _ in range(CROSSING_STEPS):
        t = 0.5 * (low + high)
        x, y = px + t * (qx - px), py + t * (qy - py)
        if _segment_d2(x, y, b, s) <= _segment_d2(x, y, b, r):
            low = t
        else:
            high = t
    x, y = px + low * (qx - px), py + low * (qy - py)
    return low, np.sqrt(max(_segment_d2(x, y, b, s), _segment_d2(x, y, b, r)))


@compiled
def _bound(piece: FloatArray, b: FloatArray, done: float) -> tuple[float, float]:
    """Upper bound of the distance anywhere on a piece, and where to split it (0 to 1).

    The crossing is looked for only where the cheap bound (the distance grows no faster than the way) exceeds `done`.
    """
    px, py, dp, qx, qy, dq = piece[0], piece[1], piece[3], piece[4], piece[5], piece[7]
    ends = max(dp, dq)
    if piece[2] == piece[6]:
        return ends, 0.5
    cheap = max(ends, 0.5 * (dp + dq + np.sqrt((qx - px) ** 2 + (qy - py) ** 2)))
    if cheap <= done:
        return cheap, 0.5
    t, crossing = _crossing(px, py, qx, qy, b, int(piece[2]), int(piece[6]))
    return min(cheap, max(ends, crossing)), min(max(t, 0.25), 0.75)


@compiled
def _measure(end: FloatArray, b: FloatArray, boxes: FloatArray, hint: int, best: FloatArray) -> int:
    """Set nearest segment and distance of a piece's end; raise `best` (distance, x, y) where this is farther."""
    d2, s = _nearest(end[0], end[1], b, boxes, hint)
    end[2], end[3] = s, np.sqrt(d2)
    if end[3] > best[0]:
        best[0], best[1], best[2] = end[3], end[0], end[1]
    return s


@compiled
def _search_piece(waiting: FloatArray, b: FloatArray, boxes: FloatArray, best: FloatArray) -> None:
    """Raise `best` to the greatest distance on the piece in the first row of `waiting`."""
    count = 1
    while count > 0:
        piece = waiting[count - 1]
        bound, t = _bound(piece, b, best[0] + SLACK_M)
        if bound <= best[0] + SLACK_M or count == DEPTH:
            count -= 1
            continue
        second = waiting[count]
        for k in range(4):
            second[4 + k] = piece[4 + k]
        piece[4] = second[0] = piece[0] + t * (piece[4] - piece[0])
        piece[5] = second[1] = piece[1] + t * (piece[5] - piece[1])
        _measure(second, b, boxes, int(piece[2]), best)
        piece[6], piece[7] = second[2], second[3]
        count += 1


@compiled
def directed_hausdorff_kernel(a: FloatArray, b: FloatArray, boxes: FloatArray) -> FloatArray:
    """Return (distance, x, y): the greatest distance of a point on `a` from `b`, and that point.

    At least 2 vertices each; `boxes` is the tree of `b`, leaves of `LEAF`.
    """
    best = np.zeros(3)
    best[0] = -1.0
    waiting = np.empty((DEPTH, 8))
    piece = waiting[0]
    hint = int(NOUGHT)
    for i in range(0, len(a), max(len(a) // 64, 1)):  # a good first bound makes the rest cheap
        piece[0], piece[1] = a[i, 0], a[i, 1]
        hint = _measure(piece, b, boxes, hint, best)
    hint = int(NOUGHT)
    for i in range(len(a) - 1):
        found = _covering(a[i, 0], a[i, 1], a[i + 1, 0], a[i + 1, 1], b, hint, best[0] * best[0])
        if found >= 0:
            hint = found
            continue
        piece[0], piece[1], piece[4], piece[5] = a[i, 0], a[i, 1], a[i + 1, 0], a[i + 1, 1]
        hint = _measure(piece, b, boxes, hint, best)
        hint = _measure(piece[4:], b, boxes, hint, best)
        _search_piece(waiting, b, boxes, best)
    return best

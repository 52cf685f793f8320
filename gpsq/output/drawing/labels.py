"""Where labels go, so that none lies over another: flags on masts of different height, and labels beside their places.

Lengths are inches on the sheet. What finds no room is left out, and the caller says how many.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from gpsq.output.drawing.sheet import Box

if TYPE_CHECKING:
    from collections.abc import Sequence

    from gpsq.model import BoolArray, FloatArray, IntArray

#: Air between two labels.
AIR_IN = 0.03
DIRECTIONS = 16
LEADER_PLACES = 14
REACHES_IN = (0.16, 0.26, 0.38, 0.55, 0.75, 1.0, 1.3, 1.7, 2.2)


def overlap(one: Box, other: Box) -> bool:
    """Return whether two boxes share any area.

    Examples
    --------
    >>> overlap(Box(0, 0, 1, 1), Box(0.5, 0.5, 2, 2)), overlap(Box(0, 0, 1, 1), Box(1, 0, 2, 1))
    (True, False)
    """
    return one.left < other.right and other.left < one.right and one.bottom < other.top and other.bottom < one.top


def mast_levels(x_in: FloatArray, width_in: FloatArray, most: int) -> IntArray:
    """Return on which level each flag flies, from 0 up, -1 for one that would need more than `most` levels.

    Flags fly to the right of their masts. A flag whose cloth reaches over the foot of another mast flies higher than
    that mast's flag, so no mast crosses a cloth: flags further left are higher, like stairs.

    Parameters
    ----------
    x_in, width_in : (n,) array
        Feet of the masts and widths of the flags.

    Examples
    --------
    >>> mast_levels(np.array([0.0, 0.2, 3.0]), np.array([1.0, 1.0, 1.0]), 5).tolist()
    [1, 0, 0]
    """
    feet, ends = x_in.tolist(), (x_in + width_in + AIR_IN).tolist()
    level = [-1] * len(feet)
    flying: list[int] = []
    for i in np.argsort(x_in, kind="stable")[::-1].tolist():
        wanted = 1 + max((level[j] for j in flying if feet[j] < ends[i]), default=-1)
        if wanted < most:
            level[i] = wanted
            flying.append(i)
    return np.array(level, dtype=np.int64)


def two_stairs(
    x_in: FloatArray, width_in: FloatArray, most: int, inside_in: tuple[float, float] = (-np.inf, np.inf)
) -> tuple[IntArray, BoolArray]:
    """Return levels as `mast_levels`, and which flags fly to the left: those left of the split that needs least height.

    A flag that would leave `inside_in` is at level -1.

    Examples
    --------
    >>> levels, left = two_stairs(np.array([0.0, 0.1, 0.2, 0.3]), np.ones(4), 9)
    >>> levels.tolist(), left.tolist()
    ([0, 1, 1, 0], [True, True, False, False])
    """
    order = np.lexsort((np.arange(len(x_in)), x_in))
    found = []
    for split in range(0, len(x_in) + 1, 1 + len(x_in) // 9):
        left = np.zeros(len(x_in), dtype=bool)
        left[order[:split]] = True
        level = np.empty(len(x_in), dtype=np.int64)
        level[left] = mast_levels(-x_in[left], width_in[left], most)
        level[~left] = mast_levels(x_in[~left], width_in[~left], most)
        ends = np.where(left, x_in - width_in, x_in), np.where(left, x_in, x_in + width_in)
        level[(ends[0] < inside_in[0]) | (ends[1] > inside_in[1])] = -1
        found.append(((int((level < 0).sum()), int(level.max(initial=0)), split), level, left))
    _, levels, to_left = min(found, key=lambda stairs: stairs[0])
    return levels, to_left


def beside(
    anchor_in: FloatArray, size_in: tuple[float, float], inside: Box, taken: Sequence[Box], lines_in: FloatArray
) -> Box | None:
    """Return where a label goes near a place, None where there is no room for it.

    Parameters
    ----------
    anchor_in : (2,) array
        What the label names.
    inside : Box
        Where it may stand.
    taken : sequence of Box
        What neither it nor its leader may touch.
    lines_in : (n, 2) array
        Places of lines that it may not cover.
    """
    half = np.array(size_in) / 2
    angle = np.arange(DIRECTIONS) * 2 * np.pi / DIRECTIONS
    way = np.column_stack([np.cos(angle), np.sin(angle)])
    middle = np.vstack([anchor_in + way * (reach + half) for reach in REACHES_IN])
    boxes = np.hstack([middle - half, middle + half])
    return _nearest_free(boxes, _leaders(anchor_in, boxes), inside, taken, lines_in)


def on_mast(
    foot_in: FloatArray, size_in: tuple[float, float], inside: Box, taken: Sequence[Box], lines_in: FloatArray
) -> Box | None:
    """Return where a flag flies on an upright mast from its foot, up or down, left or right; otherwise as `beside`."""
    x, y = foot_in
    wide, high = size_in
    bottoms = np.array([y + reach for reach in REACHES_IN] + [y - reach - high for reach in REACHES_IN])
    boxes = np.vstack([
        np.column_stack([np.full(len(bottoms), left), bottoms, np.full(len(bottoms), left + wide), bottoms + high])
        for left in (x, x - wide)
    ])  # fmt: skip
    return _nearest_free(boxes, _leaders(foot_in, boxes), inside, taken, lines_in)


def _nearest_free(
    boxes: FloatArray, leaders: FloatArray, inside: Box, taken: Sequence[Box], lines_in: FloatArray
) -> Box | None:
    """Return the first of (n, 4) boxes with the shortest leader that touches nothing."""
    free = (boxes[:, 0] >= inside.left) & (boxes[:, 1] >= inside.bottom)
    free &= (boxes[:, 2] <= inside.right) & (boxes[:, 3] <= inside.top)
    x, y = leaders[..., 0], leaders[..., 1]
    for box in taken:
        wide = box.grown(AIR_IN)
        touches = (boxes[:, 0] < wide.right) & (boxes[:, 2] > wide.left)
        free &= ~(touches & (boxes[:, 1] < wide.top) & (boxes[:, 3] > wide.bottom))
        free &= ~((x > box.left) & (x < box.right) & (y > box.bottom) & (y < box.top)).any(axis=1)
    length = np.hypot(*(leaders[:, -1] - leaders[:, 0]).T)
    for i in np.argsort(length, kind="stable"):
        if free[i] and not _covers(boxes[i], lines_in):
            return Box(*(float(edge) for edge in boxes[i]))
    return None


def _leaders(anchor_in: FloatArray, boxes: FloatArray) -> FloatArray:
    """Return places along the leader from a place to each of (n, 4) boxes, (n, k, 2)."""
    ends = np.clip(anchor_in, boxes[:, :2], boxes[:, 2:])
    share = np.linspace(0.0, 1.0, LEADER_PLACES)[None, :, None]
    return np.asarray(anchor_in + share * (ends[:, None, :] - anchor_in))


def along_leader(anchor_in: FloatArray, box: Box) -> list[Box]:
    """Return small boxes along the leader to a label, which other labels must not touch either."""
    (places,) = _leaders(anchor_in, np.array([box]))
    return [Box(x - 0.01, y - 0.01, x + 0.01, y + 0.01) for x, y in places.tolist()]


def _covers(box: FloatArray, lines_in: FloatArray) -> bool:
    x, y = lines_in[:, 0], lines_in[:, 1]
    return bool(((x > box[0]) & (x < box[2]) & (y > box[1]) & (y < box[3])).any())

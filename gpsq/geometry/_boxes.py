"""A tree of boxes over the runs of a line, and how near and how far the places in two boxes can be.

A box is (x low, y low, -x high, -y high), so that the box around two is the least of each number. Node 1 of a tree is
its root, node k has the children 2k and 2k + 1, and the second half of the nodes are leaves.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from gpsq.geometry._compiled import compiled

if TYPE_CHECKING:
    from gpsq.model import FloatArray


def box_tree(line: FloatArray, leaf: int) -> FloatArray:
    """Return the boxes of a tree whose leaves hold runs of `leaf` segments; empty boxes are infinite."""
    segments = len(line) - 1
    runs = -(-segments // leaf)
    leaves = 1 << (runs - 1).bit_length()
    run = line[np.minimum(np.arange(leaf + 1)[:, None] + np.arange(runs) * leaf, segments)]
    boxes = np.full((2 * leaves, 4), np.inf)
    boxes[leaves : leaves + runs, :2] = run.min(axis=0)
    boxes[leaves : leaves + runs, 2:] = -run.max(axis=0)
    while leaves > 1:
        np.minimum(boxes[leaves : 2 * leaves : 2], boxes[leaves + 1 : 2 * leaves : 2], out=boxes[leaves // 2 : leaves])
        leaves //= 2
    return boxes


@compiled
def point_box_d2(px: float, py: float, boxes: FloatArray, k: int) -> float:
    """Return the squared distance of a point from box `k`; 0 inside."""
    dx: float = max(boxes[k, 0] - px, px + boxes[k, 2], 0.0)
    dy: float = max(boxes[k, 1] - py, py + boxes[k, 3], 0.0)
    return dx * dx + dy * dy


@compiled
def box_distances(p: FloatArray, i: int, q: FloatArray, j: int) -> tuple[float, float]:
    """Return the least and the greatest distance that a place in box `i` of `p` and one in box `j` of `q` can have."""
    x_past, x_before = p[i, 0] + q[j, 2], q[j, 0] + p[i, 2]
    y_past, y_before = p[i, 1] + q[j, 3], q[j, 1] + p[i, 3]
    x_gap, y_gap = max(x_past, x_before, 0.0), max(y_past, y_before, 0.0)
    x_reach, y_reach = max(-x_past, -x_before), max(-y_past, -y_before)
    return np.sqrt(x_gap * x_gap + y_gap * y_gap), np.sqrt(x_reach * x_reach + y_reach * y_reach)

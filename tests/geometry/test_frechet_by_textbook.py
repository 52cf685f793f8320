"""The compiled parts of both Fréchet distances on lines of a few tiles, against the textbook's programmes and shapely.

Alt & Godau 1995, IJCGA 5:75-91, for the continuous distance; Eiter & Mannila 1994, CD-TR 94/64, for the discrete one,
which shapely has too. Each programme here visits every cell, as it stands in the paper.
"""

from __future__ import annotations

import functools
import math

import numpy as np
import pytest
import shapely

from gpsq.geometry import _discrete_frechet, _frechet
from gpsq.geometry._boxes import box_tree
from gpsq.geometry.curve_distances import discrete_frechet_m

TILE = _frechet.TILE


def free(place, start, end, leash):
    """Return the part of a segment within the leash of a place, as shares of it, or None."""
    (sx, sy), (ex, ey), (px, py) = start, end, place
    a, c = (ex - sx) ** 2 + (ey - sy) ** 2, (sx - px) ** 2 + (sy - py) ** 2 - leash**2
    b = (sx - px) * (ex - sx) + (sy - py) * (ey - sy)
    if b * b < a * c:
        return None
    root = math.sqrt(b * b - a * c)
    low, high = max((-b - root) / a, 0.0), min((-b + root) / a, 1.0)
    return (low, high) if low <= high else None


def onwards(side, entered, before):
    """Return what of a free side can be reached: all where the cell is entered from its other side, else not back."""
    if side is None or entered:
        return side
    return None if before is None or before[0] > side[1] else (max(side[0], before[0]), side[1])


def textbook_within(p, q, leash):
    """Whether the continuous distance is at most the leash, cell by cell."""
    p, q = p.tolist(), q.tolist()
    if math.dist(p[0], q[0]) > leash or math.dist(p[-1], q[-1]) > leash:
        return False
    below, whole = [], True  # of the lower side of each cell of the row
    for j in range(len(q) - 1):
        part = free(p[0], q[j], q[j + 1], leash)
        whole = whole and part is not None and part[0] <= 0.0
        below.append(part if whole else None)
        whole = whole and part[1] >= 1.0
    starts = True
    for i in range(len(p) - 1):
        left = free(q[0], p[i], p[i + 1], leash)
        starts = starts and left is not None and left[0] <= 0.0
        left = left if starts else None
        starts = starts and left[1] >= 1.0
        for j in range(len(q) - 1):
            if left is None and below[j] is None:
                continue
            right = onwards(free(q[j + 1], p[i], p[i + 1], leash), below[j] is not None, left)
            below[j] = onwards(free(p[i + 1], q[j], q[j + 1], leash), left is not None, below[j])
            left = right
    return below[-1] is not None and below[-1][1] >= 1.0 - 1e-12


def walk(seed, count, step_m=5.0, noise_m=0.0):
    """Return a rider's line, and with noise another record of it."""
    rng = np.random.default_rng(seed)
    heading = rng.normal(0, 0.4, count).cumsum()
    line = (step_m * np.column_stack([np.cos(heading), np.sin(heading)])).cumsum(axis=0)
    return line + np.random.default_rng(seed + 99).normal(0, noise_m, line.shape)


def with_stop(line, at, count, seed):
    """Return a line with a stop of so many places, two metres about it: a tile of which all may lie within the leash."""
    stop = line[at] + np.random.default_rng(seed).normal(0, 2.0, (count, 2))
    return np.vstack([line[:at], stop, line[at:]])


def pairs():
    same, other = walk(1, 70, noise_m=0.1), walk(1, 70, noise_m=6.0)
    yield "same road", same, other
    yield "sampled otherwise", same, other[::2]
    yield "both stop", with_stop(same, 20, 50, 1), with_stop(other, 20, 40, 2)
    yield "one stops", same[:40], with_stop(other[:40], 30, 45, 3)
    yield "turned back", same[:34], np.vstack([other[:24], other[13:23][::-1], other[14:34]])
    yield "detour", same[:66], np.vstack([other[:30], other[30:40] + 40.0, other[40:66]])
    yield "ends at a tile's edge", same[: TILE + 1], other[: 2 * TILE + 1][::2]
    yield "one more than a tile", same[: TILE + 2], other[: TILE + 2]
    yield "tiles full of places", same[:TILE], other[: 2 * TILE]
    yield "two places", same[[0, 69]], other
    yield "other roads", walk(2, 20), walk(3, 40)


PAIRS = {name: (a, b) for name, a, b in pairs()}


@functools.cache
def leashes(name):
    """Return two leashes a centimetre apart, of which by the textbook the second is just long enough."""
    a, b = PAIRS[name]
    low, high = 0.0, _frechet.greedy(a, b) + 1.0
    while high - low > 0.01:
        middle = (low + high) / 2
        low, high = (low, middle) if textbook_within(a, b, middle) else (middle, high)
    return low, high


@pytest.mark.parametrize("name", PAIRS)
def test_a_leash_is_long_enough_where_the_textbook_says_so(name):
    a, b = PAIRS[name]
    boxes = box_tree(a, TILE), box_tree(b, TILE)
    shorter, longer = leashes(name)
    for leash, enough in (
        (shorter, False),
        (0.8 * shorter, False),
        (longer, True),
        (1.3 * longer + 1, True),
        (1e4, True),
    ):
        assert _frechet.within(a, b, *boxes, leash) is enough, leash
        assert _frechet.within(b, a, *boxes[::-1], leash) is enough, leash


@pytest.mark.parametrize("name", PAIRS)
def test_the_bracket_ends_just_below_the_distance(name):
    a, b = PAIRS[name]
    boxes = box_tree(a, TILE), box_tree(b, TILE)
    shorter, longer = leashes(name)
    for tolerance_m in (0.01, 2.0):
        found = _frechet.bracket(a, b, *boxes, 0.0, 2.0 * longer, tolerance_m)
        assert longer - tolerance_m - 0.01 <= found <= longer
    assert _frechet.bracket(a, b, *boxes, shorter, shorter, 0.01) == shorter


@pytest.mark.parametrize("name", PAIRS)
def test_the_discrete_distance_is_shapelys(name):
    a, b = PAIRS[name]
    exact = shapely.frechet_distance(shapely.LineString(a), shapely.LineString(b))
    assert discrete_frechet_m(a, b) == discrete_frechet_m(b, a) == pytest.approx(exact, abs=1e-9)
    boxes = [box_tree(np.vstack((line, line[-1:])), TILE) for line in (a, b)]
    # between bounds that hold it: itself; where it is less than the lower, the lower; more than the upper, inf
    for low, high, expected in (
        (0.0, 2.0 * exact, exact), (0.9 * exact, 1.01 * exact, exact), (1.2 * exact, 2.0 * exact, 1.2 * exact),
        (3.0 * exact, 4.0 * exact, 3.0 * exact), (0.0, 0.99 * exact, math.inf),
    ):  # fmt: skip
        assert _discrete_frechet._programme(a, b, *boxes, low, high) == pytest.approx(expected, abs=1e-9)
        if expected < math.inf:
            assert _discrete_frechet.discrete_kernel(a, b, *boxes, low, high) == pytest.approx(expected, abs=1e-9)

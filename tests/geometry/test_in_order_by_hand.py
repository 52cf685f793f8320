"""The best in-order path in bands, on lines of a few stations: against a programme that tries every step, and by hand."""

from __future__ import annotations

import numpy as np
import pytest

from gpsq.geometry import _in_order, _nearest

CAP_M, PASSING = 6.0, 0.3


def worth(xy, line, i, j):
    return max(0.0, 1.0 - ((xy[i] - line[j]) ** 2).sum() / CAP_M**2)


def value_of(path, xy, piece, line):
    """Return what a path is worth: its places' gains, less what it costs to pass stations over, which is free at a break."""
    total = sum(worth(xy, line, i, j) for i, j in enumerate(path))
    for i in range(1, len(path)):
        passed = max(0, path[i] - path[i - 1] - 1)
        total -= passed * (PASSING if piece[i] == piece[i - 1] else 0.0)
    return total


def best_of_all(xy, piece, line, low, high):
    """Return the greatest worth of any path in order and in its bands."""
    best = {j: worth(xy, line, 0, j) for j in range(low[0], high[0] + 1)}
    for i in range(1, len(xy)):
        cost = PASSING if piece[i] == piece[i - 1] else 0.0
        best = {
            j: worth(xy, line, i, j) + max(v - cost * max(0, j - k - 1) for k, v in best.items() if k <= j)
            for j in range(low[i], high[i] + 1)
            if any(k <= j for k in best)
        }
    return max(best.values())


@pytest.mark.parametrize("axes", [2, 3])
@pytest.mark.parametrize("seed", range(25))
def test_the_path_is_the_best_of_all_in_its_bands(seed, axes):
    """Of places in a plane and of those in space, as courses of the earth are."""
    rng = np.random.default_rng(seed)
    n, m = rng.integers(2, 9), rng.integers(2, 12)
    xy, line = rng.normal(0, 4, (n, axes)), rng.normal(0, 4, (m, axes))
    piece = np.sort(rng.integers(0, 3, n))
    low, high = np.sort(rng.integers(0, m, n)), np.sort(rng.integers(0, m, n))
    low = np.minimum(low, high)
    if seed % 2:
        low[:], high[:] = 0, m - 1
    path = _in_order.best_path(xy, piece, line, low, high, CAP_M**2, PASSING)
    assert (np.diff(path) >= 0).all()
    assert ((path >= low) & (path <= high)).all()
    assert value_of(path.tolist(), xy, piece, line) == pytest.approx(best_of_all(xy, piece, line, low, high))


def test_a_band_lies_around_the_coarser_path_and_on_the_line():
    """From one coarse place before to two after, three stations wider, within 0 to 14."""
    low, high = np.zeros(8, dtype=np.int64), np.zeros(8, dtype=np.int64)
    _in_order._band(np.array([0, 2, 3, 9]), 2, 3, 14, low, high)
    assert low.tolist() == [0, 0, 0, 0, 1, 1, 3, 3]
    assert high.tolist() == [9, 9, 14, 14, 14, 14, 14, 14]
    _in_order._band(np.array([8]), 2, 3, 14, low[:2], high[:2])
    assert (low[:2].tolist(), high[:2].tolist()) == ([13, 13], [14, 14])


def straight(count):
    return np.column_stack([5.0 * np.arange(count), np.zeros(count)])


def test_a_path_near_an_earlier_one_stays_in_its_band():
    """A cap of 60 m is twelve stations of 5 m, and one more for a ratio of one."""
    line, xy = straight(100), straight(21)
    piece, none = np.zeros(21, dtype=np.int64), np.empty(0, dtype=np.int64)
    everywhere = _in_order.path_in_passes(xy, piece, line, none, np.array([1]), 5.0, 60.0, 0.1)
    assert everywhere.tolist() == list(range(21))
    near = np.full(21, 60)
    found = _in_order.path_in_passes(xy, piece, line, near, np.array([1]), 5.0, 60.0, 0.1)
    assert (found.min(), found.max() <= 73) == (47, True)


def test_passes_from_coarse_to_fine_follow_a_long_line():
    line = straight(400)
    xy = line[30:330] + np.array([0.0, 8.0])
    none, piece = np.empty(0, dtype=np.int64), np.zeros(300, dtype=np.int64)
    found = _in_order.path_in_passes(xy, piece, line, none, np.array([16, 4, 1]), 5.0, 60.0, 0.1)
    assert found.tolist() == list(range(30, 330))
    found = _in_order.path_in_passes(line[100:], piece, line, none, np.array([16, 4, 1]), 5.0, 60.0, 0.1)
    assert found.tolist() == list(range(100, 400))  # to the line's last station, and no further


# ---- the nearest place ----
@pytest.mark.parametrize(
    ("place", "low", "high", "along", "offset"),
    [
        ((4.0, 0.5), 0, 2, 4.0, 0.5), ((4.0, -0.5), 0, 2, 4.0, -0.5), ((-3.0, 4.0), 0, 2, 0.0, 5.0),
        ((9.5, 9.0), 0, 2, 19.0, 0.5), ((4.0, 0.5), 2, 2, 20.0, np.hypot(6.0, 9.5)), ((10.4, 3.0), 0, 2, 13.0, -0.4),
        ((10.0, 13.0), 1, 2, 20.0, 3.0), ((10.0, 0.0), 0, 2, 10.0, 0.0),
    ],
)  # fmt: skip
def test_the_nearest_place_is_on_the_left_or_right_of_its_leg(place, low, high, along, offset):
    """A line east and then north, whose last leg has no length: it is a place."""
    line = np.array([[0.0, 0.0], [10.0, 0.0], [10.0, 10.0], [10.0, 10.0]])
    along_m = np.array([0.0, 10.0, 20.0, 20.0])
    found = _nearest.nearest(np.array([place]), line, along_m, np.array([low]), np.array([high]))
    assert (found[0][0], found[1][0]) == (pytest.approx(along), pytest.approx(offset))

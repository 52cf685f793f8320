"""The compiled parts of the curve distances and of the alignment, each alone: against shapely, and worked by hand."""

from __future__ import annotations

import math

import numpy as np
import pytest
import shapely

from gpsq.geometry import _abreast, _boxes, _frechet, _hausdorff

SEEDS = range(5)
NAN = float("nan")


# ---- boxes ----
def boxes_of(rng, count):
    low = rng.uniform(-50, 50, (count, 2))
    high = low + rng.uniform(0, 40, (count, 2))
    return np.column_stack([low, -high]), [shapely.box(*a, *b) for a, b in zip(low, high, strict=True)]


@pytest.mark.parametrize("seed", SEEDS)
def test_least_and_greatest_distances_of_boxes_are_shapelys(seed):
    """The greatest lies between two corners."""
    rng = np.random.default_rng(seed)
    (p, ours), (q, others) = boxes_of(rng, 4), boxes_of(rng, 4)
    for i, one in enumerate(ours):
        for j, other in enumerate(others):
            gap, reach = _boxes.box_distances(p, i, q, j)
            assert gap == pytest.approx(shapely.distance(one, other))
            ends, starts = (shapely.get_coordinates(box)[:4] for box in (one, other))
            assert reach == pytest.approx(max(math.dist(a, b) for a in ends for b in starts))


@pytest.mark.parametrize("seed", SEEDS)
def test_the_distance_of_a_point_from_a_box_is_shapelys(seed):
    rng = np.random.default_rng(seed)
    boxes, shapes = boxes_of(rng, 6)
    for k, shape in enumerate(shapes):
        x, y = rng.uniform(-80, 80, 2)
        assert _boxes.point_box_d2(x, y, boxes, k) == pytest.approx(shapely.distance(shape, shapely.Point(x, y)) ** 2)


# ---- the nearest segment ----
def walk(seed, count):
    return np.random.default_rng(seed).normal(0, 10, (count, 2)).cumsum(axis=0)


def tree_of(line, leaf):
    """Return the tree of boxes of a line's segments, so many of them in a leaf, by the definition of a box."""
    leaves = 1
    while leaves * leaf < len(line) - 1:
        leaves *= 2
    tree = np.full((2 * leaves, 4), np.inf)
    for k in range(leaves):
        own = line[k * leaf : k * leaf + leaf + 1]
        if len(own) > 1:
            tree[leaves + k] = [*own.min(axis=0), *-own.max(axis=0)]
    for k in range(leaves - 1, 0, -1):
        tree[k] = np.minimum(tree[2 * k], tree[2 * k + 1])
    return tree


@pytest.mark.parametrize("count", [2, 3, 9, 10, 33, 40])
@pytest.mark.parametrize("leaf", [1, 8])
def test_a_tree_holds_the_box_of_each_run_and_above_them_those_of_both(count, leaf):
    line = walk(1, count)
    assert _boxes.box_tree(line, leaf)[1:] == pytest.approx(tree_of(line, leaf)[1:])


@pytest.mark.parametrize("count", [2, 9, 10, 40])
@pytest.mark.parametrize("seed", SEEDS)
def test_the_nearest_segment_is_shapelys(seed, count):
    line, rng = walk(seed, count), np.random.default_rng(seed)
    segments = [shapely.LineString(line[s : s + 2]) for s in range(count - 1)]
    boxes = tree_of(line, _hausdorff.LEAF)
    for x, y in rng.normal(0, 40, (6, 2)) + line.mean(axis=0):
        away = shapely.distance(segments, shapely.Point(x, y))
        for hint in (0, count - 2):
            found2, number = _hausdorff._nearest(x, y, line, boxes, hint)
            assert math.sqrt(found2) == pytest.approx(away.min())
            assert away[number] == pytest.approx(away.min())


@pytest.mark.parametrize(
    ("place", "away"),
    [((5.0, 3.0), 3.0), ((-4.0, 3.0), 5.0), ((13.0, -4.0), 5.0), ((10.0, 0.0), 0.0), ((0.0, -7.0), 7.0)],
)
def test_the_distance_from_a_segment_is_to_its_foot_or_its_end(place, away):
    line = np.array([[0.0, 0.0], [10.0, 0.0], [10.0, 0.0]])
    assert math.sqrt(_hausdorff._segment_d2(*place, line, 0)) == pytest.approx(away)
    assert math.sqrt(_hausdorff._segment_d2(*place, line, 1)) == pytest.approx(math.dist(place, (10.0, 0.0)))


def test_where_two_segments_are_equally_far():
    """Between lines at y = 0 and y = 10 a piece from y = 1 to 9 is as far from both at its middle, 5 m."""
    lines = np.array([[-100.0, 0.0], [100.0, 0.0], [100.0, 10.0], [-100.0, 10.0]])
    at, away = _hausdorff._crossing(0.0, 1.0, 0.0, 9.0, lines, 0, 2)
    assert (at, away) == (pytest.approx(0.5), pytest.approx(5.0))
    at, away = _hausdorff._crossing(3.0, 4.0, 3.0, 8.0, lines, 0, 2)
    assert (at, away) == (pytest.approx(0.25), pytest.approx(5.0))


def test_a_segment_covers_a_piece_both_ends_of_which_it_lies_near():
    line = np.column_stack([10.0 * np.arange(8), np.zeros(8)])
    assert _hausdorff._covering(21.0, 3.0, 29.0, 3.0, line, 2, 9.0) == 2
    assert _hausdorff._covering(21.0, 3.0, 29.0, 3.1, line, 2, 9.0) == -1
    assert _hausdorff._covering(21.0, 3.1, 29.0, 3.0, line, 2, 9.0) == -1
    assert _hausdorff._covering(51.0, 0.0, 59.0, 0.0, line, 2, 0.0) == 5  # up to three further on
    assert _hausdorff._covering(61.0, 0.0, 69.0, 0.0, line, 2, 0.0) == -1
    assert _hausdorff._covering(11.0, 0.0, 19.0, 0.0, line, 2, 0.0) == 1  # and one before
    assert _hausdorff._covering(1.0, 0.0, 9.0, 0.0, line, 2, 0.0) == -1


# ---- what is within the leash ----
@pytest.mark.parametrize("seed", range(40))
def test_the_part_of_a_segment_within_the_leash_is_shapelys(seed):
    """The part of a segment in a disc is one piece; a disc of 256 corners a quarter errs by 2·10⁻⁵ of its radius."""
    rng = np.random.default_rng(seed)
    p, q, leash = rng.uniform(-20, 20, (1, 2)), rng.uniform(-20, 20, (2, 2)), rng.uniform(2, 30)
    ends2 = ((q - p) ** 2).sum(axis=1)
    low, high = _frechet._free(p, 0, q, 0, ends2[0], ends2[1], leash * leash)
    segment = shapely.LineString(q)
    part = shapely.intersection(segment, shapely.Point(*p[0]).buffer(leash, quad_segs=256))
    if part.is_empty:
        assert low > high or (high - low) * segment.length < 0.3
    else:
        places = sorted(segment.project(shapely.Point(c), normalized=True) for c in part.coords)
        assert (low, high) == pytest.approx((places[0], places[-1]), abs=2e-3)


def test_the_part_within_the_leash_by_hand():
    """From a point 3 m beside a segment of 20 m, 10 m along it: a leash of 5 m reaches 4 m either way, 3 m one place."""
    p, q = np.array([[10.0, 3.0]]), np.array([[0.0, 0.0], [20.0, 0.0]])

    def free(leash, p=p, q=q):
        d2 = ((q - p) ** 2).sum(axis=1)
        return _frechet._free(p, 0, q, 0, d2[0], d2[1], leash**2)

    assert free(5.0) == pytest.approx((0.3, 0.7))
    assert free(3.0) == pytest.approx((0.5, 0.5))
    assert free(2.9) == (1.0, 0.0)
    assert free(11.0) == (0.0, 1.0)
    assert free(5.0, np.array([[2.0, 3.0]])) == pytest.approx((0.0, 0.3))
    assert free(5.0, np.array([[18.0, 3.0]])) == pytest.approx((0.7, 1.0))
    assert free(5.0, np.array([[27.0, 3.0]])) == (1.0, 0.0)
    assert free(5.0, np.array([[-7.0, 3.0]])) == (1.0, 0.0)
    assert free(5.0, q=np.array([[0.0, 0.0], [0.0, 0.0]])) == (1.0, 0.0)


def test_the_greedy_walk_takes_the_shortest_step_each_time():
    """Both step on together along two lines 3 m apart; before a spike of 40 m the other walks on to its end, 20 m past it."""
    a = np.column_stack([10.0 * np.arange(6), np.zeros(6)])
    assert _frechet.greedy(a, a + np.array([0.0, 3.0])) == 3.0
    spiked = a.copy()
    spiked[3, 1] = 40.0
    assert _frechet.greedy(a, spiked) == pytest.approx(math.hypot(20.0, 40.0))
    assert _frechet.greedy(a, a[[0, 5]]) == 20.0
    assert _frechet.greedy(a[[0, 5]], a) == 20.0
    assert _frechet.greedy(a[:1], a) == 50.0


# ---- abreast of stations ----
LINE = np.column_stack([5.0 * np.arange(9.0), np.zeros(9)])


def test_places_beyond_the_cap_are_at_no_station():
    xy = np.array([[0.0, 60.0], [5.0, 60.1], [13.0, 4.0], [48.0, 64.0]])
    assert _abreast.within(np.array([0, 1, 2, 0]), xy, LINE, 60.0).tolist() == [0, -1, 2, -1]
    assert _abreast.within(np.array([0, 1, 2, 0]), xy, LINE, 80.0).tolist() == [0, 1, 2, 0]


@pytest.mark.parametrize("turn_deg", [0.0, 53.0, 90.0, 250.0])
def test_places_more_than_a_step_beyond_an_end_are_at_no_station(turn_deg):
    turn = np.deg2rad(turn_deg)
    turned = np.array([[np.cos(turn), np.sin(turn)], [-np.sin(turn), np.cos(turn)]])
    xy = np.array([[-5.1, 3.0], [-4.9, 3.0], [0.0, 9.0], [44.9, -2.0], [45.1, -2.0], [99.0, 0.0]]) @ turned
    stations = np.array([0, 0, 0, 8, 8, 7])
    assert _abreast.within_ends(xy, stations, LINE @ turned).tolist() == [-1, 0, 0, 8, -1, 7]
    assert _abreast.within_ends(xy, stations, LINE[:1]).tolist() == stations.tolist()


def at_stations(inside, piece=None, middle=False):
    xy = np.column_stack([10.0 * np.arange(len(inside)), 3.0 * np.arange(len(inside)) ** 2])
    pieces = np.zeros(len(inside), dtype=np.int64) if piece is None else np.array(piece)
    place, vertex = _abreast.at_stations(
        xy, np.arange(float(len(inside))) / 2.0, pieces, np.array(inside, dtype=np.int64), 8, middle
    )
    assert np.isnan(place[:, 0]).tolist() == np.isnan(vertex).tolist()
    return place, vertex


def test_of_places_at_one_station_the_mean_is_taken_or_the_middle_one():
    place, vertex = at_stations([0, 0, 1, 1, 1, 2])
    assert place[:3].tolist() == [[5.0, 1.5], [30.0, 29.0], [50.0, 75.0]]
    assert vertex.tolist()[:3] == [0.25, 1.5, 2.5]
    assert np.isnan(vertex[3:]).all()
    place, vertex = at_stations([0, 0, 1, 1, 1, 2], middle=True)
    assert place[:3].tolist() == [[10.0, 3.0], [30.0, 27.0], [50.0, 75.0]]
    assert vertex.tolist()[:3] == [0.5, 1.5, 2.5]


def test_up_to_three_stations_passed_over_are_filled_in():
    place, vertex = at_stations([0, 4])
    assert place[:5] == pytest.approx(np.column_stack([[0.0, 2.5, 5.0, 7.5, 10.0], [0.0, 0.75, 1.5, 2.25, 3.0]]))
    assert vertex[:5] == pytest.approx([0.0, 0.125, 0.25, 0.375, 0.5])
    assert np.isnan(at_stations([0, 5])[1][1:5]).all()
    assert np.isnan(at_stations([0, 4], [0, 1])[1][1:4]).all()
    assert np.isnan(at_stations([0, -1, 2])[1][1])
    assert at_stations([3, 1])[1][:4] == pytest.approx([NAN, 0.5, NAN, 0.0], nan_ok=True)
    assert np.isnan(at_stations([-1, 2])[1][:2]).all()

"""What is compiled, on small arrays, against numpy's own medians, means and quantiles, and against what turning changes."""

from __future__ import annotations

import numpy as np
import pytest

from gpsq.centreline import group_medians, near_means, robust_middle, weights
from gpsq.centreline.scatter import LARGEST_SCATTER, _about_own_line
from gpsq.centreline.slow_sampling import between_fixes
from gpsq.centreline.strands import Strand, passed_by, strand
from gpsq.geometry.alignment import Abreast
from gpsq.geometry.polyline import Steps
from gpsq.settings import Settings

SEEDS = range(6)
NAN = float("nan")


# ---- medians, means and quantiles ----
@pytest.mark.parametrize("seed", SEEDS)
def test_medians_of_groups_are_numpys(seed):
    rng = np.random.default_rng(seed)
    places, there = rng.normal(0, 9, (7, 9, 2)).round(1), rng.random((7, 9)) < 0.7
    group = rng.integers(0, 3, 9)
    median, number = group_medians.medians_of_groups(places, there, group, 4)
    for j in range(7):
        for g in range(4):
            own = places[j, there[j] & (group == g)]
            assert number[j, g] == len(own)
            expected = np.median(own, axis=0) if len(own) else np.full(2, NAN)
            assert median[j, g] == pytest.approx(expected, nan_ok=True)


@pytest.mark.parametrize("share", [0.0, 0.35, 0.5, 0.8, 1.0])
@pytest.mark.parametrize("count", [1, 2, 3, 8])
def test_a_quantile_is_numpys(share, count):
    values = np.sort(np.random.default_rng(count).normal(size=count))
    assert near_means._quantile(values, share) == pytest.approx(np.quantile(values, share))


@pytest.mark.parametrize("seed", SEEDS)
def test_distances_are_put_in_order_from_any_order_before(seed):
    rng = np.random.default_rng(seed)
    near, rank, column = rng.integers(0, 5, 8).astype(float), rng.permutation(8), np.empty(8)
    near[rng.integers(0, 8)] = np.inf
    group_medians.put_in_order(near, rank, column)
    assert column.tolist() == np.sort(near).tolist()
    assert near[rank].tolist() == column.tolist()


@pytest.mark.parametrize("first", [sorted, lambda near: sorted(near)[::-1], list], ids=["in order", "turned", "mixed"])
def test_many_distances_are_put_in_order_whatever_their_order_was(first):
    near, column = np.array(first(np.random.default_rng(3).normal(size=300).tolist())), np.full(400, -1.0)
    rank = np.arange(300)
    for _ in range(2):
        group_medians.put_in_order(near, rank, column)
        assert column[:300].tolist() == np.sort(near).tolist()
        assert column[300:].tolist() == [-1.0] * 100
        assert sorted(rank.tolist()) == list(range(300))


@pytest.mark.parametrize("seed", SEEDS)
def test_a_mean_distance_is_that_of_ten_stations_either_side(seed):
    """Stations where a trace neither is nor passes by do not count; without a place of its own a station has none."""
    rng = np.random.default_rng(seed)
    there = rng.random((45, 3)) < 0.6
    passed = ~there & (rng.random((45, 3)) < 0.5)
    away, near = np.where(there | passed, rng.uniform(0, 90, (45, 3)), 0.0), np.empty((45, 3))
    near_means._mean_distances(away, there, near_means._numbers_around(there, passed), near)
    for j in range(45):
        for t in range(3):
            around = slice(max(j - 10, 0), j + 11)
            counts = (there | passed)[around, t]
            expected = away[around, t][counts].mean() if there[j, t] else np.inf
            assert near[j, t] == pytest.approx(expected)


@pytest.mark.parametrize(
    ("near", "cut", "middle"),
    [
        ([1.0, 2.0, np.inf], np.inf, np.inf),  # of two nobody is elsewhere
        ([4.0, 1.0, 2.0], 12.0, NAN),  # 4.5 times the 35 % quantile, 1.7 m, is 7.65 m: less than the least of 12 m
        ([40.0, 10.0, 20.0, np.inf], 4.5 * 17.0, NAN),
        ([40.0, 10.0, 20.0, 30.0], 4.5 * 20.5, NAN),
    ],
)
def test_a_cut_off_is_a_multiple_of_a_low_quantile(near, cut, middle):
    """The median distance is found where it is asked for; of two there is none."""
    found = np.empty(1), np.empty(1)
    near_means._cut_offs(np.array([near]), 12.0, *found)
    assert (found[0][0], found[1][0]) == (pytest.approx(cut), pytest.approx(middle, nan_ok=True))


@pytest.mark.parametrize("seed", range(40))
def test_where_many_are_near_the_cut_off_is_the_same_as_of_all_in_order(seed):
    """Distances about as large as decide whether the least cut-off holds: 12 m of 4.5 times the 35 % quantile, 2.67 m."""
    rng = np.random.default_rng(seed)
    near = rng.choice([1.0, 2.6, 12.0 / 4.5, 2.7, 9.0, np.inf], (60, rng.integers(3, 9)))
    found = np.empty(60), np.empty(60)
    near_means._cut_offs(near, 12.0, *found)
    for distances, cut in zip(near, found[0], strict=True):
        known = distances[np.isfinite(distances)]
        expected = max(12.0, 4.5 * np.quantile(known, 0.35)) if len(known) >= 3 else np.inf
        assert cut == pytest.approx(expected)


def spread(away, elsewhere, middle=5.0, there=None, near=None):
    found = np.array(elsewhere, dtype=bool)[:, None]
    here = np.ones((len(away), 1), dtype=bool) if there is None else np.array(there, dtype=bool)[:, None]
    around = np.empty((len(away), 1)) if near is None else np.tile(np.array(near), (len(away), 1))
    middles = np.full(len(away), middle)
    near_means._spread_outward(np.array(away)[:, None], here, around, middles, found, found[:, 0].copy())
    return found[:, 0].astype(int).tolist()


def test_the_median_distance_is_found_where_it_is_asked_for():
    """Of 3, 5 and 9 m, and one that is nowhere, it is 5 m: who is 6 m off is further than that, at 5 m no more."""
    near = [9.0, 3.0, np.inf, 5.0]
    assert spread([40.0, 6.0, 5.0, 4.0], [1, 0, 0, 0], NAN, near=near) == [1, 1, 0, 0]
    assert spread([4.0, 5.0, 6.0, 40.0], [0, 0, 0, 1], NAN, near=near) == [0, 0, 1, 1]


def test_who_is_elsewhere_stays_so_while_it_comes_nearer():
    assert spread([40.0, 30.0, 20.0, 6.0, 5.0, 4.0], [1, 0, 0, 0, 0, 0]) == [1, 1, 1, 1, 0, 0]
    assert spread([4.0, 5.0, 6.0, 20.0, 30.0, 40.0], [0, 0, 0, 0, 0, 1]) == [0, 0, 1, 1, 1, 1]
    assert spread([20.0, 30.0, 40.0], [0, 0, 1]) == spread([40.0, 30.0, 20.0], [1, 0, 0]) == [1, 1, 1]  # to either end
    assert spread([40.0, 30.0, 31.0, 20.0], [1, 0, 0, 0]) == [1, 1, 0, 0]  # it goes off again: that is another matter
    assert spread([40.0, 30.0, 20.0], [1, 0, 0], there=[1, 0, 1]) == [1, 0, 0]
    assert spread([40.0, 40.0, 20.0], [1, 0, 0]) == [1, 0, 0]
    assert spread([9.0, 8.0, 20.0, 8.0, 9.0], [0, 0, 1, 0, 0]) == [0, 1, 1, 1, 0]  # on both sides, one step each


def moved(near, elsewhere, cut, at=(0.0, 0.0), weight=(1.0, 1.0, 2.0)):
    place = np.array(at)
    places = np.array([[2.0, 10.0], [4.0, 20.0], [6.0, 40.0]])
    of_one = (places, np.array(weight), np.array(near), np.array(elsewhere, dtype=bool), np.float64(cut), place)
    by = near_means._moved_to_means(*(np.array(values)[None] for values in of_one[:-1]), line := place[None].copy())
    return by, line[0].tolist()


def test_the_farthest_move_of_all_stations_is_told():
    places = np.array([[[7.0, 19.0], [9.0, 21.0]]] * 3)
    line = np.array([[3.0, 20.0], [8.0, 27.0], [8.0, 20.0]])
    ones, nobody = np.ones((3, 2)), np.zeros((3, 2), dtype=bool)
    assert near_means._moved_to_means(places, ones, ones, nobody, np.full(3, 10.0), line) == pytest.approx(7.0)
    assert line.tolist() == [[8.0, 20.0]] * 3


def test_a_place_moves_to_the_weighted_mean_of_who_is_near():
    """Within half the cut-off all count in full; at three quarters by (1 − 0.5²)² = 0.5625; at the cut-off not at all."""
    assert moved([1.0, 2.0, 5.0], [0, 0, 0], 10.0) == (pytest.approx(32.0), pytest.approx([4.5, 27.5]))
    assert moved([1.0, 2.0, 5.0], [0, 0, 1], 10.0) == (pytest.approx(18.0), pytest.approx([3.0, 15.0]))
    w = 2.0 * 0.5625
    expected = [(2.0 + 4.0 + 6.0 * w) / (2.0 + w), (10.0 + 20.0 + 40.0 * w) / (2.0 + w)]
    assert moved([1.0, 2.0, 7.5], [0, 0, 0], 10.0, (1.0, 1.0))[1] == pytest.approx(expected)
    assert moved([1.0, 2.0, 10.0], [0, 0, 0], 10.0) == (pytest.approx(18.0), pytest.approx([3.0, 15.0]))
    assert moved([1.0, 2.0, 5.0], [0, 0, 0], np.inf, (7.0, 8.0)) == (0.0, [7.0, 8.0])
    assert moved([1.0, 2.0, 5.0], [1, 1, 1], 10.0, (7.0, 8.0)) == (0.0, [7.0, 8.0])


def test_passing_by_counts_as_sixty_metres_and_being_nowhere_as_nothing():
    away = np.zeros((2, 3))
    there = np.array([[True, False, False], [True, True, False]])
    passed = np.array([[False, True, False], [False, False, False]])
    places = np.array([[[3.0, 4.0], [NAN, NAN], [NAN, NAN]], [[1.0, 1.0], [7.0, 9.0], [NAN, NAN]]])
    near_means._distances(places, there, passed, np.array([[0.0, 0.0], [1.0, 1.0]]), away)
    assert away.tolist() == [[5.0, 60.0, 0.0], [0.0, 10.0, 0.0]]


# ---- scatter about an own line ----
def test_scatter_is_half_the_mean_square_distance_from_the_own_line():
    """Three of a group: distances 3, 4 and 5 m, each times √(3/2) as a median of three is off by a share of each."""
    places = np.array([[[3.0, 0.0], [9.0, 9.0]], [[0.0, 4.0], [9.0, 9.0]], [[3.0, -4.0], [9.0, 9.0]]])
    there = np.ones((3, 2), dtype=bool)
    number = np.array([[3.0, 1.0]] * 3)
    found = _about_own_line(places, np.zeros((3, 2, 2)), number, there, np.array([0, 1]))
    assert found[0] == pytest.approx((9.0 + 16.0 + 25.0) * 1.5 / 3.0 / 2.0)
    assert np.isnan(found[1])
    one = np.array([[True, True], [False, True], [False, True]])
    assert _about_own_line(places, np.zeros((3, 2, 2)), number, one, np.array([0, 1]))[0] == pytest.approx(
        9.0 * 1.5 / 2.0
    )


def test_a_distance_counts_for_four_median_ones_at_most():
    """Distances of 1, 1, 1 and 30 m from the line of a pair, each times √2: the last counts as 4 √2."""
    assert LARGEST_SCATTER == 4.0
    places = np.array([[[1.0, 0.0]], [[0.0, 1.0]], [[-1.0, 0.0]], [[30.0, 0.0]]])
    found = _about_own_line(
        places, np.zeros((4, 1, 2)), np.full((4, 1), 2.0), np.ones((4, 1), dtype=bool), np.array([0])
    )
    assert found[0] == pytest.approx((3 * 2.0 + 32.0) / 4.0 / 2.0)


# ---- what a trace passes by ----
def passing(vertex, pieces=None, counts=None):
    """Return the stations passed by of a trace with a step at each whole vertex."""
    at = np.array(vertex)
    count = int(np.nanmax(at, initial=0.0)) + 1
    piece = np.zeros(count, dtype=np.int64) if pieces is None else np.array(pieces)
    fit = np.ones(count, dtype=bool) if counts is None else np.array(counts, dtype=bool)
    steps = Steps(np.zeros((count, 2)), np.arange(float(count)), piece)
    one = Strand(steps, "R", "a", fit, np.zeros((count, 2)), np.zeros(count), slow=False)
    place = Abreast(np.zeros((len(at), 2)), at, ~np.isnan(at))
    return np.flatnonzero(passed_by(one, place)).tolist()


@pytest.mark.parametrize(
    ("vertex", "by"),
    [
        ([0.0, 1.0, 2.0], []),
        ([0.0, NAN, 2.0, 3.0], [1]),  # a single station, after the first
        ([0.0, 1.0, NAN, 3.0], [2]),
        ([NAN, NAN, 0.0, 1.0, NAN], []),  # neither before it comes nor after it is gone
        ([0.0, NAN, 1.0, NAN, NAN, 2.0], [1, 3, 4]),
        ([NAN, 0.0, NAN, NAN, 1.0], [2, 3]),
        ([NAN, NAN], []),
        ([0.0, NAN, np.nextafter(2.0, 3.0)], [1]),  # a mean of the last fix alone may round to beyond it
    ],
)
def test_between_two_stations_that_a_trace_is_abreast_of_it_passes_by(vertex, by):
    assert passing(vertex) == by


def test_a_break_or_what_may_not_count_in_between_passes_nothing_by():
    vertex = [0.0, NAN, 2.0, NAN, 4.0]
    assert passing(vertex, [0, 0, 0, 1, 1]) == [1]
    assert passing(vertex, [0, 1, 1, 1, 1]) == [3]
    assert passing(vertex, [0, 0, 0, 0, 1]) == [1]
    assert passing(vertex, counts=[1, 0, 1, 1, 1]) == [3]
    assert passing(vertex, counts=[1, 1, 1, 0, 1]) == [1]
    assert passing(vertex, counts=[1, 1, 1, 1, 0]) == [1, 3]  # the last one is its own matter
    assert passing(vertex, counts=[0, 1, 1, 1, 1]) == [3]


# ---- chords bent along the line, any way round ----
def bent(line, fixes, known, runs=None):
    """Return a slow trace's places at the stations of a line, its chords bent along it."""
    vertex = np.where(np.isin(np.arange(len(line)), known), np.arange(len(line)) / 6.0, NAN)
    xy = np.where(np.isnan(vertex)[:, None], NAN, line)
    s = strand(fixes, runs or [(0, len(fixes))], "R", np.ones(len(fixes), dtype=bool), Settings(step_m=5.0))
    return between_fixes(s, Abreast(xy, vertex, ~np.isnan(vertex)), line, 60.0)


@pytest.mark.parametrize("turn_deg", [0.0, 37.0, 90.0, 200.0])
def test_chords_are_bent_alike_whichever_way_the_line_runs(turn_deg):
    """A line that swings, fixes each six stations 1 to 6 m beside it: at each station the offset between its two fixes."""
    along = 5.0 * np.arange(31)
    line, offset = np.column_stack([along, 6.0 * np.sin(along / 20.0)]), np.array([1.0, 6.0, 2.0, 4.0, 3.0, 5.0])
    fixes = line[::6] + np.column_stack([0.5 * offset, offset])
    turn = np.deg2rad(turn_deg)
    turned = np.array([[np.cos(turn), np.sin(turn)], [-np.sin(turn), np.cos(turn)]])
    away = np.array([300.0, -70.0])
    found = bent(line @ turned + away, fixes @ turned + away, [*range(0, 31, 6), 1, 7, 13])
    at = np.interp(np.arange(31), np.arange(0, 31, 6), offset)
    expected = line[:-1] + np.column_stack([0.5 * at, at])[:-1]
    assert found.xy_m[:-1] == pytest.approx(expected @ turned + away)
    assert found.vertex[:-1] == pytest.approx(np.arange(30) / 6.0)


def test_a_fix_beyond_the_cap_bends_nothing():
    line = np.column_stack([5.0 * np.arange(31), np.zeros(31)])
    fixes = line[::6] + np.array([0.0, 1.0])
    far = fixes.copy()
    far[2] += (40.0, 46.0)  # 61 m off
    assert np.isfinite(bent(line, fixes, range(0, 31, 6)).xy_m).all()
    assert bent(line, fixes, range(0, 31, 6)).xy_m[7:11, 1] == pytest.approx(1.0)
    assert bent(line, far, range(0, 31, 6)).xy_m[7:11, 1] == pytest.approx(
        1.0
    )  # led past it, from the first to the third


# ---- places of all traces ----
def test_places_of_traces_stand_side_by_side():
    line = np.column_stack([5.0 * np.arange(5), np.zeros(5)])
    strands = [
        strand(line + np.array([0.0, y]), [(0, 5)], f"R{k}", np.ones(5, dtype=bool), Settings(step_m=5.0), device=name)
        for k, (y, name) in enumerate([(1.0, "b"), (2.0, "a"), (3.0, "b")])
    ]
    gaps = np.array([0.0, 1.0, NAN, 3.0, 4.0])
    found = weights.gathered(
        strands, [Abreast(line + np.array([0.0, 1.0 + k]), gaps, ~np.isnan(gaps)) for k in range(3)]
    )
    assert found.xy_m.shape == (5, 3, 2)
    assert found.xy_m[1].tolist() == [[5.0, 1.0], [5.0, 2.0], [5.0, 3.0]]
    assert found.passed.tolist() == [[False] * 3, [False] * 3, [True] * 3, [False] * 3, [False] * 3]
    assert (found.device.tolist(), found.ride.tolist()) == ([1, 0, 1], [0, 1, 2])


def round_a_bend(depth_m, turn_deg):
    """Return how far the places of a trace lie from a line of three legs, 40 m from its beginning to its end.

    Two fixes, at either end of it; the trace is known abreast of these two stations alone.
    """
    legs = np.array([[0.0, 0.0], [depth_m, 0.0], [depth_m, 40.0], [0.0, 40.0]])
    corners_m = np.array([0.0, depth_m, depth_m + 40.0, 2 * depth_m + 40.0])
    along = np.arange(0.0, corners_m[-1] + 0.1, 5.0)
    line = np.column_stack([np.interp(along, corners_m, legs[:, k]) for k in (0, 1)])
    turn = np.deg2rad(turn_deg)
    line = line @ np.array([[np.cos(turn), np.sin(turn)], [-np.sin(turn), np.cos(turn)]]) + np.array([70.0, -900.0])
    fixes = line[[0, -1]]
    vertex = np.full(len(line), NAN)
    vertex[0], vertex[-1] = 0.0, 1.0
    s = strand(fixes, [(0, 2)], "R", np.ones(2, dtype=bool), Settings(step_m=5.0))
    found = between_fixes(
        s, Abreast(np.where(np.isnan(vertex)[:, None], NAN, line), vertex, ~np.isnan(vertex)), line, 60.0
    )
    return np.hypot(*(found.xy_m - line).T)[1:-1]


@pytest.mark.parametrize("turn_deg", [0.0, 60.0, 145.0])
def test_a_chord_is_bent_round_half_as_far_again_and_four_steps(turn_deg):
    """Of a chord of 40 m that is 80 m: a bend of 75 m is followed, one of 90 m may be another way."""
    assert round_a_bend(17.5, turn_deg) == pytest.approx(0.0, abs=1e-6)
    assert np.isnan(round_a_bend(25.0, turn_deg)).all()


def test_each_fix_is_placed_between_the_stations_known_on_either_side_of_it():
    """Stations 0, 7, 12, 20 and 30 are known, at 0, 1, 2.5, 3 and 5 fixes: fix 2 lies at station 7 + 5/1.5, fix 4 at 25."""
    line = np.column_stack([5.0 * np.arange(31), np.zeros(31)])
    vertex = np.full(31, NAN)
    vertex[[0, 7, 12, 20, 30]] = (0.0, 1.0, 2.5, 3.0, 5.0)
    at = np.array([0.0, 7.0, 7.0 + 5.0 / 1.5, 20.0, 25.0, 30.0])
    offset = np.array(
        [1.0, 2.0, 60.0, 4.0, 60.0, 6.0]
    )  # those further than a station and a half from one known are left out
    s = strand(np.column_stack([5.0 * at, offset]), [(0, 6)], "R", np.ones(6, dtype=bool), Settings(step_m=5.0))
    found = between_fixes(
        s, Abreast(np.where(np.isnan(vertex)[:, None], NAN, line), vertex, ~np.isnan(vertex)), line, 70.0
    )
    kept = np.array([0, 1, 3, 5])
    assert found.xy_m[:-1, 1] == pytest.approx(np.interp(np.arange(30), at[kept], offset[kept]))
    assert found.vertex[:-1] == pytest.approx(np.interp(np.arange(30), at[kept], kept))


def test_over_a_break_nothing_is_bent_and_after_it_all_is():
    """Six fixes 30 m apart, broken between the third and the fourth: stations 13 to 17 stay unknown."""
    line = np.column_stack([5.0 * np.arange(31), np.zeros(31)])
    found = bent(line, line[::6] + np.array([0.0, 1.0]), range(0, 31, 6), [(0, 3), (3, 6)])
    assert np.flatnonzero(np.isnan(found.vertex)).tolist() == [13, 14, 15, 16, 17]
    assert found.xy_m[[*range(12), *range(18, 30)], 1] == pytest.approx(1.0)


def test_a_station_without_places_keeps_no_later_one_from_its_median():
    """Of (0, 0), (0, 1) and (0, 50) it is the middle one; before them is a station where nobody is."""
    places = np.array([[[NAN, NAN]] * 3, [[0.0, 0.0], [0.0, 1.0], [0.0, 50.0]]])
    found = robust_middle.geometric_median(places, np.ones((2, 3)), np.array([[3.0, 4.0], [0.0, 17.0]]))
    assert found[0].tolist() == [3.0, 4.0]
    assert found[1] == pytest.approx([0.0, 1.0], abs=0.05)

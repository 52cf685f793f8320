"""The robust middle of places, moves and smoothing, against closed forms."""

from __future__ import annotations

import numpy as np
import pytest

from gpsq.centreline.near_means import _moved_to_means
from gpsq.centreline.robust_middle import robust_middle, smooth, steadied

COUNT = 80


def middle(offsets_m, weight=None, passed=None, step_m=5.0, start_m=0.0):
    """Return (m,) how far left the middle lies of traces so far left of a straight line; nan where one has no place."""
    offsets = np.array([np.broadcast_to(o, COUNT) for o in offsets_m], dtype=float).T
    x = step_m * np.arange(COUNT)
    places = np.stack([np.where(np.isnan(offsets), np.nan, x[:, None]), offsets], axis=2)
    each = np.ones(offsets.shape) if weight is None else np.broadcast_to(np.asarray(weight, float), offsets.shape)
    by = np.zeros(offsets.shape, dtype=bool) if passed is None else passed
    start = np.column_stack([x, np.full(COUNT, start_m)])
    return robust_middle(places, np.where(np.isnan(offsets), 0.0, each), start, by, step_m)[:, 1]


def test_of_two_the_middle_is_the_weighted_mean():
    assert middle([0.0, 4.0], [1.0, 3.0]) == pytest.approx(3.0)


def test_of_two_roads_the_middle_is_neither():
    """Two places 40 m apart: the line stays where it began; 25 m apart are two receivers on one road."""
    assert middle([0.0, 40.0], start_m=1.0) == pytest.approx(1.0, abs=0.01)
    assert middle([0.0, 25.0], start_m=1.0) == pytest.approx(12.5)


def test_near_each_other_the_middle_is_the_weighted_mean():
    assert middle([0.0, 1.0, 2.0, 5.0], [1.0, 1.0, 1.0, 3.0]) == pytest.approx(18.0 / 6.0, abs=0.01)


def test_in_a_street_canyon_one_of_five_counts_though_far_off():
    """Four at −14 m, one at 14 m: all count in full within half of 40 m, the fifth by Hampel's weight beyond it.

    With w of the fifth and its distance d from the middle at −14 + 28 w / (4 + w): d = 28 · 4 / (4 + w).
    """
    found = middle([-14.0, -14.0, -14.0, -14.0, 14.0])
    w = 1.0
    for _ in range(100):
        w = (1.0 - max(0.0, 2.0 * (28.0 * 4.0 / (4.0 + w)) / 40.0 - 1.0) ** 2) ** 2
    assert found == pytest.approx(-14.0 + 28.0 * w / (4.0 + w), abs=0.05)
    assert found[0] > -10.0


def test_on_a_short_route_eight_stations_are_far():
    assert middle([-14.0, -14.0, -14.0, -14.0, 14.0], step_m=2.0) == pytest.approx(-14.0, abs=0.05)


@pytest.mark.parametrize(("off_m", "moves"), [(34.0, True), (80.0, False)])
def test_beyond_the_cut_off_nothing_counts(off_m, moves):
    found = middle([0.0, 0.0, 0.0, 0.0, off_m])
    assert (np.abs(found) > 0.5).all() == moves
    assert (np.abs(found) < 0.01).all() != moves


def test_the_cut_off_grows_with_the_noise():
    """4.5 times the 35 % quantile of the distances, by hand about a middle at 1.87 m.

    2, 12, 13, 16, 17, 18, 44 m: the quantile is 13.3 m, the cut-off 60 m, the last one's weight (1 − 0.47²)² = 0.61.
    """
    spread = np.array([-44.0, -22.0, -14.0, -8.0, 8.0, 14.0, 22.0, 44.0])
    assert middle(spread + 3.0) == pytest.approx(3.0, abs=0.1)
    assert middle([-16.0, -15.0, -14.0, 0.0, 14.0, 15.0, 46.0]) == pytest.approx((-16.0 + 0.61 * 46.0) / 6.61, abs=0.15)


def test_up_to_half_may_be_on_roads_of_their_own():
    """Of seven traces three lie on three other roads: the median distance would be theirs."""
    assert middle([-1.0, 0.0, 1.0, 0.0, 90.0, -95.0, 140.0]) == pytest.approx(0.0, abs=0.01)


def test_a_trace_is_near_or_far_over_a_hundred_metres():
    """One trace beside two, 30 m off at every third station alone: it counts everywhere or nowhere."""
    third = np.where(np.arange(COUNT) % 3 == 0, 75.0, 0.0)
    found = middle([0.0, 0.0, 0.0, third])
    weight = 1.0 - max(0.0, 2.0 * 24.0 / 40.0 - 1.0) ** 2
    assert found[21:60:3] == pytest.approx(75.0 * weight**2 / (3.0 + weight**2), rel=0.1)


def test_passing_by_counts_as_far():
    """A trace that passes by before it joins 20 m aside: as 60 m off over half the stations it is far at the edge."""
    beside = np.where(np.arange(COUNT) < 40, np.nan, 20.0)
    by = np.zeros((COUNT, 4), dtype=bool)
    by[:40, 3] = True
    joined = middle([0.0, 0.0, 0.0, beside], passed=by)
    plain = middle([0.0, 0.0, 0.0, beside])
    assert plain[40:44] == pytest.approx(5.0, abs=0.1)
    assert joined[40:44] == pytest.approx(0.0, abs=0.1)
    assert joined[60:] == pytest.approx(5.0, abs=0.1)


def test_where_a_trace_leaves_it_is_elsewhere_from_its_first_step_aside():
    """It goes aside by 6 m a station: its last places near the others do not draw the line after it."""
    leaving = np.clip(6.0 * (np.arange(COUNT) - 40.0), 0.0, 200.0)
    found = middle([0.0, 0.0, 1.0, -1.0, leaving])
    assert np.abs(found).max() < 0.3
    assert middle([leaving, 0.0, 0.0, 1.0, -1.0]) == pytest.approx(found, abs=1e-9)  # whichever of the traces it is


def test_a_lone_station_moves_with_its_neighbours():
    """A move of 20 m at one station of a tenth of the weight, beside unmoved ones: the weighted mean, by a third."""
    moved, weight = np.zeros((41, 2)), np.ones(41)
    moved[20, 1], weight[20] = 20.0, 0.1
    kernel = np.exp(-0.5 * (np.arange(-12, 13) / 4.0) ** 2)
    mean = 20.0 * 0.1 / (kernel.sum() - 0.9)
    trust = 0.1 / 0.3
    found = steadied(moved, weight)
    assert found[20, 1] == pytest.approx(trust * 20.0 + (1.0 - trust) * mean, rel=1e-6)
    assert found[19, 1] == 0.0


def test_smoothing_keeps_the_ends_of_a_bent_line():
    bent = np.column_stack([70.0 + np.arange(30.0), np.arange(30.0) ** 2 / 10.0 - 40.0])
    found = smooth(bent, 2.0)
    assert found[[0, -1]] == pytest.approx(bent[[0, -1]])
    # a Gaussian over 2 steps lifts a parabola y = x²/10 by 2²/10, but for the truncation at three of them
    assert found[10:20, 1] - bent[10:20, 1] == pytest.approx(0.4, abs=0.03)


@pytest.mark.parametrize(("apart_m", "expected"), [(29.9, 14.95), (30.1, 1.0)])
def test_two_are_on_one_road_up_to_thirty_metres(apart_m, expected):
    assert middle([0.0, apart_m], start_m=1.0) == pytest.approx(expected, abs=0.01)


def test_a_lone_station_moves_with_its_neighbours_along_as_across():
    moved, weight = np.zeros((41, 2)), np.ones(41)
    moved[20], weight[20] = (30.0, 20.0), 0.1
    found = steadied(moved, weight)[20]
    assert found[0] == pytest.approx(1.5 * found[1])
    assert 6.0 < found[1] < 8.0


def test_where_nobody_runs_for_long_nothing_moves():
    """Fifty stations of no weight: the middle ones have no neighbour within twelve, and stay where they are."""
    weight = np.where((np.arange(90) >= 20) & (np.arange(90) < 70), 0.0, 1.0)
    found = steadied(np.where(weight[:, None] > 0, 8.0, 0.0) * np.ones(2), weight)
    assert found[[5, 85]] == pytest.approx(8.0)
    assert found[22] == pytest.approx(8.0)
    assert found[45].tolist() == [0.0, 0.0]


def test_stations_where_nobody_is_keep_no_others_from_moving():
    """Nobody is at the first ten stations, nor at the thirtieth: there the line stays, elsewhere it moves to the middle."""
    there = np.where((np.arange(COUNT) < 10) | (np.arange(COUNT) == 30), np.nan, 0.0)
    found = middle([there + 1.0, there + 2.0, there + 3.0], start_m=7.0)
    assert found[np.isnan(there)] == pytest.approx(7.0)
    assert found[~np.isnan(there)] == pytest.approx(2.0, abs=0.01)


def test_a_place_moves_until_it_stays():
    """By the difference in either direction: what it moved by is told, north as east."""
    for at, moved in (((3.0, 20.0), 5.0), ((8.0, 20.0), 0.0), ((8.0, 27.0), 7.0)):
        place, near = np.array(at), np.ones(2)
        places, nobody, line = np.array([[[7.0, 19.0], [9.0, 21.0]]]), np.zeros((1, 2), dtype=bool), place[None].copy()
        by = _moved_to_means(places, np.ones((1, 2)), near[None], nobody, np.full(1, 10.0), line)
        assert by == pytest.approx(moved)
        assert line.tolist() == [[8.0, 20.0]]

"""How sure a line is, and where and how far its traces scatter, each figure worked by hand."""

from __future__ import annotations

import numpy as np
import pytest
from courses import COUNT, STEP_M, course

from gpsq.measures import usual_spread
from gpsq.measures.usual_spread import line_sd_m, robust_spread_m, running_median
from gpsq.model import Centreline


def line(spread_m, rides, left_out=""):
    xy = np.column_stack([STEP_M * np.arange(float(len(rides))), np.zeros(len(rides))])
    spread = np.broadcast_to(np.asarray(spread_m, float), len(rides)).copy()
    rides = np.array(rides)
    return Centreline(xy, xy[:, 0].copy(), rides, rides, spread, np.full(len(rides), np.nan), left_out=left_out)


def beside(y_m, count=3):
    return np.column_stack([STEP_M * np.arange(float(count)), np.broadcast_to(np.asarray(y_m, float), count)])


#: A line of spread nought, so that only what its rides disagree by counts.
SURE = line(0.0, [4, 4, 4])


@pytest.mark.parametrize(
    ("away_m", "middle_m"),
    [([6.0], 6.0), ([6.0, 10.0], 8.0), ([6.0, 10.0, 30.0], 10.0), ([6.0, 30.0, 10.0, 14.0], 12.0)],
)
def test_a_line_is_in_doubt_by_the_median_distance_of_its_rides(away_m, middle_m):
    """The median distance in the plane is √(2 ln 2) = 1.1774 standard deviations; of n rides the mean is known √n better."""
    assert np.sqrt(2.0 * np.log(2.0)) == pytest.approx(usual_spread.RAYLEIGH_MEDIAN, abs=1e-4)
    found = line_sd_m(SURE, [beside(y) for y in away_m])
    assert found == pytest.approx(middle_m / 1.1774 / np.sqrt(len(away_m)))


def test_only_rides_that_are_there_count_and_nobody_there_says_nothing():
    """At the first station all three run, at the second the outer two, at the third none."""
    nan = np.nan
    rides = [beside([6.0, 6.0, nan]), beside([-10.0, nan, nan]), beside([30.0, 10.0, nan])]
    expected = [10.0 / 1.1774 / np.sqrt(3.0), 8.0 / 1.1774 / np.sqrt(2.0), 0.0]
    assert line_sd_m(SURE, rides) == pytest.approx(expected)
    assert line_sd_m(SURE, rides[:1]) == pytest.approx([6.0 / 1.1774, 6.0 / 1.1774, 0.0])


def test_a_station_that_no_ride_covers_is_as_sure_as_one_with_one():
    assert line_sd_m(line(6.0, [0, 1, 4])).tolist() == [6.0, 6.0, 3.0]


def test_of_a_line_without_a_spread_none_is_told():
    assert line_sd_m(line(np.nan, [2, 2])).tolist() == [0.0, 0.0]


def test_a_spread_is_never_below_the_usual_and_holds_for_five_stations_either_way():
    """A step from 2 to 8 m, the usual 2 m: the median of eleven takes the value of the six of them that agree."""
    spread = np.array([2.0] * 20 + [8.0] * 10)
    assert line_sd_m(line(spread, [1] * 30)).tolist() == spread.tolist()
    spread[5] = 100.0
    assert line_sd_m(line(spread, [1] * 30))[5] == 2.0
    spread[:4] = 0.0
    assert line_sd_m(line(spread, [1] * 30))[0] == 2.0


def test_the_ride_that_a_line_leaves_out_does_not_put_it_in_doubt():
    """Rides 0 and 10 m off: with both the median is 5 m, without the first 10 m, without the second nought."""
    rides = {name: [course(np.full(COUNT, y), k)] for k, (name, y) in enumerate((("a", 0.0), ("b", 10.0)))}
    usual = usual_spread.usual(rides, STEP_M)
    for left_out, expected in (("", 5.0 / np.sqrt(2.0)), ("a", 10.0), ("b", 0.0)):
        found = usual.doubt_m(line(0.0, [2] * COUNT, left_out))
        assert found == pytest.approx(expected / 1.1774)


@pytest.mark.parametrize(("days", "kept"), [(8, True), (9, False)])
def test_where_rides_run_is_kept_of_up_to_eight(days, kept):
    found = usual_spread.usual({str(k): [course(np.zeros(COUNT), k)] for k in range(days)}, STEP_M)
    assert list(found.ride_xy_m) == ([str(k) for k in range(days)] if kept else [])


def test_a_ride_runs_at_the_mean_of_its_devices_that_are_there():
    half, all_of_it = np.arange(COUNT) < 100, np.ones(COUNT, bool)
    all_of_it[-1] = half[-1] = False
    courses = [course(np.full(COUNT, 4.0), 0, half), course(np.full(COUNT, 10.0), 1, all_of_it)]
    found = usual_spread.usual({"a": courses}, STEP_M).ride_xy_m["a"]
    assert found[[0, 99, 100, 399], 1].tolist() == [7.0, 7.0, 10.0, 10.0]
    assert np.isnan(found[-1]).all()


def test_a_spread_is_a_factor_times_the_median_size_of_what_is_known():
    """1.4826 = 1 / Φ⁻¹(3/4), as in any table of the normal distribution."""
    assert robust_spread_m(np.array([-3.0, 1.0, np.nan, 2.0])) == pytest.approx(1.4826 * 2.0)
    assert np.isnan(robust_spread_m(np.array([np.nan])))


def test_what_is_near_is_within_three_first_guesses():
    """A quarter of 3.19 m guesses at 10 m: 30 m is near, and the median of the near is 20 m; 30.1 m is not."""
    near = [3.19, 3.19, 3.19, 20.0, 20.0]
    assert usual_spread.near_spread_m(np.array([*near, 30.0, 30.0, 30.0])) == pytest.approx(1.4826 * 20.0)
    assert usual_spread.near_spread_m(np.array([*near, 30.1, 30.1, 30.1])) == pytest.approx(1.4826 * 3.19)


def test_the_median_around_repeats_the_ends():
    assert running_median(np.array([5.0, 1.0, 2.0, 9.0]), 1).tolist() == [5.0, 2.0, 2.0, 9.0]
    assert running_median(np.array([5.0, 1.0, 2.0, 9.0]), 2).tolist() == [5.0, 5.0, 5.0, 9.0]


def rough(rows, step_m):
    return usual_spread._rough([np.array(row, float) for row in rows], step_m)


def test_how_rough_a_place_is_comes_from_the_two_fifths_of_its_traces():
    """Of six the third, which lies at 0.524 standard deviations: between 1 and 4 times the usual; of fewer than two, 1."""
    six = [[k] * 3 for k in (0.0, 9.0, 1.048, 9.0, 0.0, 9.0)]
    assert rough(six, STEP_M) == pytest.approx(2.0)
    assert rough([[9.0] * 3] * 2, STEP_M).tolist() == [4.0] * 3
    assert rough([[0.1] * 3] * 2, STEP_M).tolist() == [1.0] * 3
    assert rough([[1.5] * 3], STEP_M).tolist() == [1.0] * 3
    assert rough([[1.5] * 3, [np.nan] * 3], STEP_M).tolist() == [1.0] * 3
    assert rough([[1.048] * 3, [np.nan] * 3, [1.048] * 3], STEP_M) == pytest.approx(2.0)


@pytest.mark.parametrize(("step_m", "reach"), [(10.0, 10), (50.0, 2), (100.0, 1), (300.0, 1), (0.0, 1)])
def test_a_place_is_as_rough_as_the_way_for_200_m_around_it(step_m, reach):
    """A rough stretch counts once it is more than half of the stations `reach` before to `reach` after: reach + 1 of them."""
    for width, seen in ((reach + 1, True), (reach, False)):
        size = np.zeros(61)
        size[30 : 30 + width] = 1.048
        assert (rough([size, size], step_m).max() > 1.0) == seen

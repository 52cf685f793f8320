"""What is known of a line at each station where not every trace is there, worked by hand."""

from __future__ import annotations

from types import SimpleNamespace

import numpy as np
import pytest

from gpsq.centreline import spread
from gpsq.centreline.spread import described

NAN = np.nan


def sizes(*rows):
    return spread._spread(np.array(rows, float))


def test_the_spread_is_the_median_size_of_what_is_there():
    """Of 1, 2, 6 the middle, 2; of 1, 2, 6, 7 the mean of 2 and 6; of two the mean; of one and of none nothing is known."""
    found = sizes([1, 1, -1, 1, NAN], [-6, 6, NAN, NAN, NAN], [2, -2, 4, NAN, NAN], [NAN, 7, NAN, NAN, NAN])
    assert found == pytest.approx(1.4826 * np.array([2.0, 4.0, 2.5, NAN, NAN]), nan_ok=True)
    assert sizes([3.0], [-5.0]) == pytest.approx(1.4826 * 4.0)
    assert np.isnan(sizes([3.0])).all()


def test_a_mean_is_over_those_that_are_there():
    found = spread._mean_over(np.array([[1.0, 1.0, NAN], [4.0, NAN, NAN]]))
    assert found == pytest.approx([2.5, 1.0, NAN], nan_ok=True)


def test_quantiles_are_of_what_is_known():
    """The 1st and the 39th of 0 to 40 are 0.025 and 0.975 of the way; of 0 to 20, that is rounded to 0 (0.5) and 20 (19.5)."""
    means = np.column_stack([np.arange(41.0), np.r_[np.arange(21.0), np.full(20, NAN)], np.full(41, NAN)])[::-1]
    low, high = spread._quantiles(means)
    assert low == pytest.approx([1.0, 0.0, NAN], nan_ok=True)
    assert high == pytest.approx([39.0, 20.0, NAN], nan_ok=True)


def test_the_band_is_nothing_where_rides_agree_and_unknown_where_fewer_than_three_are():
    rows = np.array([[5.0, 5.0, 5.0], [5.0, 5.0, NAN], [5.0, NAN, NAN], [5.0, 5.0, 5.0]])
    assert spread._band(rows) == pytest.approx([0.0, 0.0, NAN], nan_ok=True)
    assert np.isnan(spread._band(rows[:2])).all()


def test_the_band_of_three_rides_is_from_one_end_to_the_other():
    """All of three drawings of one ride: 1 in 27 at either end, more than 1 in 40; half of 6 m, times √(3 / 2)."""
    assert spread._band(np.array([[-3.0], [0.0], [3.0]])) == pytest.approx(3.0 * np.sqrt(1.5))


#: A line to the north-east, and places beside it.
LINE = np.array([[0.0, 0.0], [3.0, 4.0], [6.0, 8.0], [9.0, 12.0]])
LEFT = np.array([-0.8, 0.6])


def places(left_m, on_m=0.0):
    offset = np.asarray(left_m, float)[:, None] * LEFT + on_m * np.array([0.6, 0.8])
    return SimpleNamespace(xy_m=LINE + offset)


def known(rows, rides, keep=None, left_out=""):
    kept = np.ones(len(rows), bool) if keep is None else np.array(keep)
    own = [SimpleNamespace(ride=ride) for ride in rides]
    return described(LINE, np.arange(4.0), [places(row, on_m=2.0) for row in rows], own, kept, left_out)


def test_what_is_known_of_a_line_is_across_it_and_of_those_kept():
    """Places 2 m further on along the line: that is no offset. The third trace is not kept."""
    rows = [[1.0, 1.0, 1.0, NAN], [3.0, -3.0, NAN, NAN], [90.0] * 4, [5.0, 5.0, NAN, NAN]]
    found = known(rows, ["a", "b", "c", "b"], [True, True, False, True])
    assert found.support.tolist() == [3, 3, 1, 0]
    assert found.rides.tolist() == [2, 2, 1, 0]
    assert found.spread_m == pytest.approx([1.4826 * 3.0, 1.4826 * 3.0, NAN, NAN], nan_ok=True)
    assert np.isnan(found.band_m).all()


def test_there_is_no_band_of_a_line_without_a_ride():
    rows = [[1.0] * 4, [1.0] * 4, [1.0] * 4]
    assert known(rows, "abc").band_m == pytest.approx(0.0, abs=1e-12)
    without = known(rows, "abc", left_out="d")
    assert np.isnan(without.band_m).all()
    assert without.left_out == "d"
    assert known(rows, "abc").left_out == ""


def test_of_a_blank_line_only_its_stations_are_known():
    full = known([[1.0] * 4] * 3, "abc")
    found = spread.blank(full, "a")
    assert found.along_m.tolist() == full.along_m.tolist()
    assert np.isnan(found.xy_m).all()
    assert np.isnan([found.spread_m, found.band_m]).all()
    assert found.support.tolist() == found.rides.tolist() == [0, 0, 0, 0]
    assert (found.left_out, found.xy_m.shape) == ("a", (4, 2))

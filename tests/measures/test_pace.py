"""The pace of other rides on a stretch, each ride laid out second by second: 5 m/s along the x axis."""

from __future__ import annotations

import numpy as np
import pytest

from gpsq.measures.pace import own_pace_s_per_m, passing_s

#: From the place of the start 100 m to the first fix.
WAY_M = np.column_stack([np.arange(0.0, 101.0, 10.0), np.zeros(11)])


def ride(x_m, y_m=0.0, seconds=None):
    """Return times and places, a second apart."""
    x_m = np.asarray(x_m, float)
    time_s = np.arange(len(x_m)) if seconds is None else np.asarray(seconds)
    time = np.datetime64("2026-05-04T07:00:00", "ms") + (time_s * 1000).astype("timedelta64[ms]")
    return time, np.column_stack([x_m, np.broadcast_to(y_m, len(x_m))])


def test_neither_standing_nor_the_first_metres_count():
    """Five seconds at 0 m, then 5 m/s: at 15 m it is under way (20 m are not under 20), 85 m before the end, 17 s of it."""
    x_m = np.concatenate([np.zeros(5), np.arange(5.0, 151.0, 5.0)])
    assert passing_s(*ride(x_m), WAY_M, towards_start=False) == pytest.approx((17.0, 85.0))
    # standing on the way counts: ten seconds at a light 50 m on
    light = np.insert(x_m, 14, [50.0] * 10)
    assert passing_s(*ride(light), WAY_M, towards_start=False) == pytest.approx((27.0, 85.0))
    # the way back, the other way round: it ends standing
    assert passing_s(*ride(x_m[::-1]), WAY_M, towards_start=True) == pytest.approx((17.0, 85.0))
    slower = np.cumsum(np.append(0.0, np.where(np.arange(len(x_m) - 1) < 20, 1.0, 3.0)))
    assert passing_s(*ride(x_m[::-1], seconds=slower), WAY_M, towards_start=True) == pytest.approx((10 + 3 * 7.0, 85.0))


@pytest.mark.parametrize(("first_m", "has_m"), [(0.0, 75.0), (15.0, 60.0), (16.0, None), (60.0, None)])
def test_six_tenths_of_the_way_are_needed(first_m, has_m):
    """Without standing the first five fixes lie about the third, 10 m on; what is under 20 m from it is not yet under way."""
    found = passing_s(*ride(np.arange(first_m, 151.0, 5.0)), WAY_M, towards_start=False)
    assert found is None if has_m is None else found == pytest.approx((has_m / 5, has_m))


@pytest.mark.parametrize(
    ("aside_m", "at", "told"), [(59.0, 10, True), (61.0, 10, False), (61.0, 21, True), (-61.0, 20, False)]
)
def test_who_was_elsewhere_before_the_end_of_the_way_tells_nothing(aside_m, at, told):
    y_m = np.where(np.arange(31) == at, aside_m, 0.0)
    x_m = np.arange(0.0, 151.0, 5.0)
    assert (passing_s(*ride(x_m, y_m), WAY_M, towards_start=False) is not None) == told
    assert (passing_s(*ride(x_m[::-1], y_m[::-1]), WAY_M, towards_start=True) is not None) == told


def test_who_never_comes_to_the_end_or_begins_there_tells_nothing():
    assert passing_s(*ride(np.arange(0.0, 96.0, 5.0)), WAY_M, towards_start=False) is None
    assert passing_s(*ride(np.arange(0.0, 101.0, 5.0)), WAY_M, towards_start=False) == pytest.approx((15.0, 75.0))
    assert passing_s(*ride(np.arange(100.0, 151.0, 5.0)), WAY_M, towards_start=False) is None
    for last_m, told in ((99.5, False), (100.0, True)):
        found = passing_s(*ride([*np.arange(0.0, 96.0, 5.0), last_m]), WAY_M, towards_start=False)
        assert (found is not None) == told
    back = ride(np.arange(0.0, 151.0, 5.0), seconds=np.arange(31)[::-1])
    assert passing_s(*back, WAY_M, towards_start=False) is None
    still = ride(np.arange(0.0, 151.0, 5.0), seconds=np.zeros(31))
    assert passing_s(*still, WAY_M, towards_start=False) is None


def test_the_own_pace_is_that_of_riding_in_the_first_two_minutes():
    """Sixty seconds standing, sixty at 5 m/s, then faster: 0.2 s a metre. Under half a metre a second is standing."""
    x_m = np.cumsum(np.concatenate([[0.0], np.zeros(60), np.full(60, 5.0), np.full(60, 10.0)]))
    assert own_pace_s_per_m(*ride(x_m)) == pytest.approx(0.2)
    assert own_pace_s_per_m(*ride(np.cumsum(np.full(50, 0.51)))) == pytest.approx(1 / 0.51)
    assert np.isnan(own_pace_s_per_m(*ride(np.cumsum(np.full(50, 0.5)))))
    assert own_pace_s_per_m(*ride(np.arange(0.0, 60.0, 20.0), seconds=[0.0, 4.0, 8.0])) == pytest.approx(0.2)
    late = ride(
        [0.0, 100.0, 120.0], seconds=[0.0, 119.0, 121.0]
    )  # the last leg begins within two minutes and ends after
    assert own_pace_s_per_m(*late) == pytest.approx(1.19)
    assert np.isnan(own_pace_s_per_m(*ride(np.arange(0.0, 60.0, 20.0), seconds=np.zeros(3))))  # all at one moment


@pytest.mark.parametrize("stands", [100, 140, 500])
def test_who_stands_long_at_the_start_is_looked_at_until_he_has_left_the_way(stands):
    """Twenty seconds of riding after minutes of standing; the first 150 fixes are on the way, or hold the end of it just so."""
    x_m = np.concatenate([np.zeros(stands), np.arange(0.0, 151.0, 5.0)])
    expected = passing_s(*ride(np.concatenate([np.zeros(10), np.arange(0.0, 151.0, 5.0)])), WAY_M, towards_start=False)
    assert expected is not None
    assert passing_s(*ride(x_m), WAY_M, towards_start=False) == pytest.approx(expected)
    assert passing_s(*ride(x_m[::-1]), WAY_M, towards_start=True) == pytest.approx(expected)

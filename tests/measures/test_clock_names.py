"""Clocks in the names of files, and what they say of starts: written in many ways, read back; zones found, or refused."""

from __future__ import annotations

import datetime as dt

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from gpsq.measures.clock_names import Clock, clock_in, waits_s

WAYS = (
    "%Y-%m-%d_%H-%M-%S", "%Y-%m-%d %H.%M.%S", "%Y%m%dT%H%M%S", "%Y%m%d-%H%M%S", "%Y_%m_%d %H_%M_%S", "%d.%m.%Y %H.%M.%S",
    "ride %Y-%m-%dT%H:%M:%S home", "%d-%m-%Y-%H-%M-%S (2)",
)  # fmt: skip
DAYS = np.array(["2026-05-04", "2026-05-05", "2026-05-06", "2026-05-07"], dtype="datetime64[D]").astype("datetime64[s]")


@given(time=st.datetimes(dt.datetime(1970, 1, 1), dt.datetime(2099, 12, 31)), way=st.sampled_from(WAYS))
def test_a_clock_is_read_back_as_it_was_written(time, way):
    time = time.replace(microsecond=0)
    found = clock_in(f"folder 2011-01-01_11-11/{time.strftime(way)}.gpx")
    assert found == Clock(np.datetime64(time, "s"), 0.0)
    minute = clock_in(time.strftime("%Y-%m-%d_%H-%M") + ".gpx")
    assert minute == Clock(np.datetime64(time.replace(second=0), "s"), 59.0)


@given(st.text())
def test_no_name_is_too_odd(name):
    found = clock_in(name)
    assert found is None or not np.isnat(found.time)


@pytest.mark.parametrize(
    "name", ["2026-05-04 morning.gpx", "20260504.gpx", "2026-13-04_07-41.gpx", "12345678901234.gpx", "07-41.gpx"]
)
def test_a_name_without_a_day_and_a_time_has_no_clock(name):
    assert clock_in(name) is None


def named(local, ahead_h, waited_s):
    """Return clocks to the minute and first fixes, `waited_s` after starts at so many seconds of the local day."""
    start = DAYS[: len(local)] + np.array(local, dtype="timedelta64[s]")
    clocks = [Clock(time.astype("datetime64[m]").astype("datetime64[s]"), 59.0) for time in start]
    return clocks, start - np.timedelta64(int(ahead_h * 3600), "s") + np.array(waited_s, dtype="timedelta64[s]")


@pytest.mark.parametrize("ahead_h", [-9.5, -3.0, 0.0, 2.0, 5.75, 13.0])
def test_the_zone_is_found_and_the_bounds_hold_the_wait(ahead_h):
    waited_s = [25, 61, 4, 130]
    clocks, fixed = named([27_675, 27_712, 58_000, 27_659], ahead_h, waited_s)
    found = waits_s(clocks, fixed, 1800.0)
    assert ((found[:, 0] <= waited_s) & (waited_s <= found[:, 1])).all()
    assert (found[:, 1] - found[:, 0] <= 59.0).all()


def test_names_that_may_be_given_by_the_first_fix_say_nothing():
    clocks, fixed = named([27_660, 27_720, 58_020, 27_660], 2.0, [5, 20, 40, 59])
    assert waits_s(clocks, fixed, 1800.0) is None
    assert waits_s(clocks, fixed + np.array([0, 0, 0, 1], dtype="timedelta64[s]"), 1800.0) is not None


def test_names_of_the_end_of_the_ride_or_of_no_common_zone_are_not_used():
    clocks, fixed = named([27_675, 27_712, 58_000, 27_659], 2.0, [25, 61, 4, 130])
    ended = [Clock(c.time + np.timedelta64(60 * k, "s"), 59.0) for c, k in zip(clocks, (11, 17, 25, 40), strict=True)]
    assert waits_s(ended, fixed, 600.0) is None
    moved = fixed + np.array([0, 3600, 0, 0], dtype="timedelta64[s]")
    assert waits_s(clocks, moved, 1800.0) is None
    assert waits_s(clocks[:2], fixed[:2], 1800.0) is None


@pytest.mark.parametrize(("ahead_h", "told"), [(-12.25, False), (-12.0, True), (14.0, True), (14.25, False)])
def test_zones_are_those_of_the_world(ahead_h, told):
    """From UTC−12:00 to UTC+14:00; a name of exactly the first fix's second is within it, one of a second later is not."""
    starts = DAYS[:3] + np.array([27_675, 27_712, 58_000], dtype="timedelta64[s]")
    clocks = [Clock(time, 0.0) for time in starts]
    utc = starts - np.timedelta64(int(ahead_h * 3600), "s")
    fixed = utc + np.array([0, 61, 130], dtype="timedelta64[s]")
    found = waits_s(clocks, fixed, 600.0)
    assert (found is not None) == told
    assert not told or found.tolist() == [[0.0, 0.0], [61.0, 61.0], [130.0, 130.0]]
    assert waits_s(clocks, utc + np.array([-1, 61, 130], dtype="timedelta64[s]"), 600.0) is None
    assert waits_s(clocks, utc + np.array([0, 61, 600], dtype="timedelta64[s]"), 600.0) is None

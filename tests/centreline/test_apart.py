"""Devices whose usual lines lie apart by more than their own scatters: closed forms, and who is never told of."""

from __future__ import annotations

import numpy as np
import pytest

from gpsq.centreline.apart import devices_apart
from gpsq.centreline.weights import Places

COUNT = 60


def places(offsets_m, device, ride, there=None):
    """Return places of traces that lie so far left of a straight line at every station."""
    xy = np.zeros((COUNT, len(offsets_m), 2))
    xy[:, :, 0], xy[:, :, 1] = 5.0 * np.arange(COUNT)[:, None], offsets_m
    if there is not None:
        xy[~there] = np.nan
    nothing = np.zeros(xy.shape[:2])
    return Places(xy, nothing.astype(bool), nothing, np.array(device), np.array(ride))


def told(apart_m, sd_m, rides=2, there=None):
    """Return what is told of a first and a second device, carried on so many rides, with these standard deviations."""
    offsets = [0.0] * rides + [apart_m] * rides
    variance = np.repeat(np.square(sd_m), rides)
    return devices_apart(
        places(offsets, [0] * rides + [1] * rides, list(range(rides)) * 2, there), variance, ("watch", "phone")
    )


def test_two_that_lie_apart_are_told_with_their_own_scatters():
    (found,) = told(14.0, (2.0, 3.0))
    assert (found.first, found.second) == ("watch", "phone")
    assert found.apart_m == pytest.approx(14.0)
    assert (found.first_scatter_m, found.second_scatter_m) == (2.0, 3.0)


@pytest.mark.parametrize(("apart_m", "count"), [(4.9, 0), (5.1, 1)])
def test_less_than_both_scatters_together_is_not_apart(apart_m, count):
    """Twenty rides: chance would be 2.5 √(1.3 (4 + 9) / 20) = 2.3 m, so the scatters, 2 m and 3 m, decide."""
    assert len(told(apart_m, (2.0, 3.0), rides=20)) == count


@pytest.mark.parametrize(("apart_m", "count"), [(10.8, 0), (10.95, 1)])
def test_less_than_chance_makes_of_medians_is_not_apart(apart_m, count):
    """Two rides of 2 m and 5 m each: 7 m of scatter, and chance makes 2.5 √(1.3 (4 + 25) / 2) = 10.85 m."""
    assert len(told(apart_m, (2.0, 5.0), rides=2)) == count


@pytest.mark.parametrize(("stations", "count"), [(19, 0), (20, 1)])
def test_devices_that_share_a_hundred_metres_only_are_not_set_against_each_other(stations, count):
    there = np.ones((COUNT, 4), dtype=bool)
    there[stations:, 2:] = False
    assert len(told(30.0, (2.0, 2.0), there=there)) == count


def test_where_one_ride_of_a_device_runs_alone_nothing_is_said():
    """Of the second device one ride covers everything, the other nothing: a single ride says nothing of a device."""
    there = np.ones((COUNT, 4), dtype=bool)
    there[:, 3] = False
    assert told(30.0, (2.0, 2.0), there=there) == ()


def test_a_device_carried_once_is_never_told_of():
    found = devices_apart(places([0.0, 0.0, 40.0], [0, 0, 1], [0, 1, 0]), np.full(3, 4.0), ("watch", "phone"))
    assert found == ()


def test_the_difference_is_that_over_the_stations_around():
    """A device that is 12 m left and right by turns, from station to station, lies on the other one's line."""
    xy = places([0.0, 0.0, 0.0, 0.0], [0, 0, 1, 1], [0, 1, 0, 1])
    xy.xy_m[:, 2:, 1] = np.where(np.arange(COUNT) % 2 == 0, 12.0, -12.0)[:, None]
    assert devices_apart(xy, np.full(4, 1.0), ("watch", "phone")) == ()


def test_where_either_is_not_there_nothing_is_known_of_the_difference():
    """The second device has no place at every other station: where it has one it lies 14 m off, and so it is told."""
    there = np.ones((COUNT, 4), dtype=bool)
    there[::2, 2:] = False
    (found,) = told(14.0, (2.0, 3.0), there=there)
    assert found.apart_m == pytest.approx(14.0)


def test_a_pair_that_shares_little_does_not_keep_the_others_from_being_told():
    """Devices 0 and 1 share ten stations only, 0 and 2 all of them, 30 m apart, 1 and 2 ten again."""
    there = np.ones((COUNT, 6), dtype=bool)
    there[10:, 2:4] = False
    found = devices_apart(
        places([0.0, 0.0, 3.0, 3.0, 30.0, 30.0], [0, 0, 1, 1, 2, 2], [0, 1] * 3, there), np.full(6, 1.0), tuple("abc")
    )
    assert [(two.first, two.second) for two in found] == [("a", "c")]

"""Offsets of many traces at the stations of one route: which column, whose row, one common line, and how many places they are."""

from __future__ import annotations

import gc
import weakref
from dataclasses import replace

import numpy as np
import pytest
from offset_campaigns import STEP_M, campaign, crosstrack

from gpsq.model import NAT, Deviation
from gpsq.summaries.station_table import by_ride, effective_stations, on_common_line, sd_over_rides, station_table

NAN = np.nan


def test_offsets_stand_at_the_nearest_station_and_in_their_own_row():
    """The second trace's line begins at 9 m and has stations of its own at 9, 13 and 21 m; those of the route are each 5 m."""
    traces, results, routes = campaign(np.array([[[1.0, 2.0, 3.0, 4.0, 5.0, 6.0]]]).repeat(2, axis=0))
    own = crosstrack(np.array([7.0, 8.0, 9.0]), along_m=np.array([9.0, 13.0, 21.0]))
    table = station_table(routes[0], traces, (results[0], replace(results[1], crosstrack=own)))
    assert table is not None
    assert (table.route, table.trace, table.ride) == ("A", (0, 1), ("ride A1", "ride A1"))
    assert table.device == ("device 1", "device 2")
    np.testing.assert_equal(table.offset_m, [[1, 2, 3, 4, 5, 6], [NAN, NAN, 7, 8, 9, NAN]])
    np.testing.assert_equal(table.along_m, np.arange(6) * STEP_M)
    assert table.of("device 2").tolist() == [False, True]


def test_a_deviation_reaches_from_its_first_station_to_its_last():
    traces, results, routes = campaign(np.ones((1, 2, 9)))
    two = tuple(
        Deviation("d", 1, "A", low, high, NAT, NAT, 0, 1, 9.0, "left", 0.0, "receiver error", "")
        for low, high in ((5.0, 10.0), (30.0, 30.0))
    )
    table = station_table(routes[0], traces, (results[0], replace(results[1], deviations=two)))
    assert table is not None
    assert np.flatnonzero(table.deviating[1]).tolist() == [1, 2, 6]
    assert not table.deviating[0].any()


def test_there_is_no_table_of_a_route_without_line_or_scored_recording():
    traces, results, routes = campaign(np.ones((1, 2, 9)))
    assert station_table(replace(routes[0], centreline=None), traces, results) is None
    unscored = (replace(results[0], crosstrack=None), replace(results[1], duplicate_of="x"))
    assert station_table(routes[0], traces, unscored) is None
    one = station_table(routes[0], traces, (unscored[0], results[1]))
    assert one is not None
    assert one.trace == (1,)


def test_recordings_of_one_ride_are_joined_to_their_mean():
    traces, results, routes = campaign(np.array([[[1.0, 2.0, 3.0], [5.0, 8.0, 9.0], [7.0, 7.0, 7.0]]]))
    results = (replace(results[0], crosstrack=crosstrack(np.array([1.0, NAN, 3.0]))), *results[1:])
    results = (*results[:1], replace(results[1], ride="ride A1"), results[2])
    table = station_table(routes[0], traces, results)
    assert table is not None
    rides, rows = by_ride(table, table.offset_m, np.array([True, True, True]))
    assert rides == ("ride A1", "ride A3")
    np.testing.assert_equal(rows, [[3, 8, 6], [7, 7, 7]])
    rides, rows = by_ride(table, table.offset_m, np.array([False, True, False]))
    assert (rides, rows.tolist()) == (("ride A1",), [[5.0, 8.0, 9.0]])


def test_devices_count_in_a_ride_by_the_inverse_of_their_usual_square():
    """Two rides of devices ±1 m and ±3 m off: the ride's mean is (1/1 · 1 + 1/9 · 3) / (1/1 + 1/9) = 1.2, half of it is taken off.

    At the last station the second device was scored on the second ride only: there the first ride's mean is 1 m; and at the
    one before it nobody was on the first ride: the second's −1.2 m alone are the line.
    """
    offsets = np.array([[[1.0] * 4, [-1.0] * 4], [[3.0] * 4, [-3.0] * 4]])
    traces, results, routes = campaign(offsets)
    rows = [np.array(r.crosstrack.offset_m) for r in results]
    rows[2][3] = rows[0][2] = rows[2][2] = NAN
    results = tuple(replace(r, crosstrack=crosstrack(row)) for r, row in zip(results, rows, strict=True))
    found = on_common_line(station_table(routes[0], traces, results))
    expected = np.array([[0.4, 0.4, NAN, 0.5], [-0.4, -0.4, 0.2, -0.4], [2.4, 2.4, NAN, NAN], [-2.4, -2.4, -1.8, -2.4]])
    assert found == pytest.approx(expected, nan_ok=True)


def test_a_device_without_error_does_not_count_beyond_all_others():
    """0.01 m² is the least usual square: weights 100 and 1/4 for devices 0 and 2 m off."""
    traces, results, routes = campaign(np.array([[[0.0] * 3, [0.0] * 3], [[2.0] * 3, [-2.0] * 3]]))
    mean = (2.0 / 4.0) / (100.0 + 1.0 / 4.0)
    found = on_common_line(station_table(routes[0], traces, results))
    assert found[:, 0] == pytest.approx([-mean / 2, mean / 2, 2 - mean / 2, -2 + mean / 2])


@pytest.mark.parametrize(
    ("rows", "places"),
    [
        # lag 0: (1 + 4)/2, lag 1: 2, so r = 0.8: 4 pairs over 2 + 2 · 0.64
        ([[1.0, 2.0]], 4 / 3.28),
        ([[1.0, NAN, 2.0]], 4 / 3.28),  # no pair at lag 1
        ([[1.0, 2.0], [1.0, -2.0]], 2.0),  # r = 0: 8 pairs over 4
        ([[5.0, 0.0, 0.0, -5.0]], 16 / 6),  # lag 3 alone gives −25 over 12.5, cut at −1: 16 pairs over 4 + 2
        ([[2.0]], 1.0),
        ([[0.0, 0.0, 0.0]], 1.0),
        ([[NAN, NAN]], 1.0),
        # r at lags 1 to 4: −1, 1, −1, 1: no place beyond one
        ([[1.0, -1.0, 1.0, -1.0, 1.0]], 1.0),
    ],
)
def test_places_by_the_correlation_along_the_route(rows, places):
    """All pairs of stations over the sum of their squared correlations (Bayley & Hammersley 1946), by hand."""
    assert effective_stations(np.array(rows)) == pytest.approx(places)


def test_spread_is_pooled_over_stations_by_its_degrees():
    """Station by station: 1, 3 (square 2, one degree), 2, 4, 9 (26, two), 5 alone (none): √(28/3)."""
    rows = np.array([[1.0, 2.0, NAN], [3.0, 4.0, NAN], [NAN, 9.0, 5.0]])
    assert sd_over_rides(rows) == pytest.approx(np.sqrt(28 / 3))
    assert np.isnan(sd_over_rides(rows[2:]))


def test_a_table_is_kept_for_the_same_recordings_and_no_longer_than_its_route():
    traces, results, routes = campaign(np.ones((1, 2, 9)))
    table = station_table(routes[0], traces, results)
    assert table is not None
    assert station_table(routes[0], traces, results) is table
    less = (results[0], replace(results[1], crosstrack=None))
    other = station_table(routes[0], traces, less)
    assert other is not None
    assert (len(table.trace), len(other.trace)) == (2, 1)
    named = station_table(routes[0], tuple(replace(trace, device="x") for trace in traces), results)
    assert named is not None
    assert named.device == ("x", "x")
    watched = weakref.ref(table)
    del table, other, named, routes
    gc.collect()
    assert watched() is None

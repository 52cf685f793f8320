"""The way ridden before the first fix, by hand: a line of 100 m along x with stations 10 m apart."""

from __future__ import annotations

from types import SimpleNamespace

import numpy as np
import pytest

from gpsq.measures.lead import not_recorded_m
from gpsq.results import Lead

LINE = np.column_stack([10.0 * np.arange(11.0), np.zeros(11)])
NOWHERE = SimpleNamespace(centreline=None)
ROUTE = SimpleNamespace(centreline=SimpleNamespace(xy_m=LINE, along_m=LINE[:, 0]))
#: From a door 30 m before the line to its head.
LEAD = Lead(np.array([[-30.0, 0.0], [0.0, 0.0]]))


def way(missed_m, station_m, lead=None, route=ROUTE):
    fix = SimpleNamespace(missed_m=missed_m, station_m=station_m)
    return not_recorded_m(SimpleNamespace(first_fix=fix, lead=lead), route).tolist()


@pytest.mark.parametrize("missed_m", [0.0, -5.0, np.nan])
def test_nothing_missed_is_no_way(missed_m):
    assert way(missed_m, 40.0, LEAD) == []
    assert np.shape(
        not_recorded_m(SimpleNamespace(first_fix=SimpleNamespace(missed_m=missed_m, station_m=4.0)), ROUTE)
    ) == (0, 2)


def test_without_a_line_there_is_none():
    assert way(40.0, 40.0, LEAD, NOWHERE) == []


def test_along_the_line_it_leads_from_the_start_to_the_first_fix():
    assert way(25.0, 45.0) == [[20.0, 0.0], [30.0, 0.0], [40.0, 0.0], [45.0, 0.0]]
    assert way(15.0, 100.0) == [[85.0, 0.0], [90.0, 0.0], [100.0, 0.0]]


def test_from_a_door_before_the_line_it_leads_to_its_head_first():
    """Missed 45 m: the 30 m from the door and 15 m of the line."""
    assert way(45.0, 15.0, LEAD) == [[-30.0, 0.0], [0.0, 0.0], [0.0, 0.0], [10.0, 0.0], [15.0, 0.0]]


def test_who_was_fixed_before_the_line_begins_missed_part_of_the_way_to_it():
    assert way(20.0, -10.0, LEAD) == [[-30.0, 0.0], [-10.0, 0.0]]
    assert way(30.0, 0.0, LEAD) == [[-30.0, 0.0], [0.0, 0.0]]


def test_of_a_copy_without_a_station_what_was_missed_is_counted_from_the_head():
    assert way(15.0, np.nan) == [[0.0, 0.0], [10.0, 0.0], [15.0, 0.0]]


def test_a_line_whose_stations_begin_elsewhere_is_read_at_its_own():
    """Its head stands at station 100; what would lie before it or beyond its end is left out."""
    shifted = SimpleNamespace(centreline=SimpleNamespace(xy_m=LINE, along_m=LINE[:, 0] + 100.0))
    assert way(15.0, np.nan, route=shifted) == [[0.0, 0.0], [10.0, 0.0], [15.0, 0.0]]
    assert way(15.0, 110.0, route=shifted) == [[0.0, 0.0], [10.0, 0.0]]
    assert way(15.0, 203.0, route=shifted) == [[88.0, 0.0], [90.0, 0.0], [100.0, 0.0]]
    assert way(20.0, 130.0, route=shifted) == [[10.0, 0.0], [20.0, 0.0], [30.0, 0.0]]


def test_nor_is_there_a_way_where_what_was_missed_has_no_bound():
    assert way(np.inf, 40.0, LEAD) == []


def test_half_a_metre_missed_is_a_way():
    assert way(0.5, 30.5) == [[30.0, 0.0], [30.5, 0.0]]

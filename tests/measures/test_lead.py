"""The way from the place of a start to the centreline, on roads laid out by hand."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from gpsq.geometry.polyline import along_m
from gpsq.measures.lead import reached

LINE = np.column_stack([np.arange(200.0, 1000.0, 5.0), np.zeros(160)])
#: The way back, turned round: from the door at (0, 150) down to the road and along it, 4 m beside the line.
BACK = np.array([[0.0, 150.0], [0.0, 4.0], [1000.0, 4.0]])
DOOR = np.array([0.0, 150.0])


def test_the_road_before_the_head_is_that_of_the_way_back():
    at = reached(DOOR, LINE, 300.0, [BACK])
    assert at.station_m == pytest.approx(-346.0, abs=4.0)
    assert not at.is_bound
    assert at.lead.xy_m[[0, -1]].tolist() == [[0.0, 150.0], [200.0, 0.0]]
    assert along_m(at.lead.xy_m)[-1] == pytest.approx(-at.station_m)


def test_without_it_the_way_is_straight_and_a_bound():
    at = reached(DOOR, LINE, 300.0, [BACK + np.array([0.0, 300.0])])
    assert at.station_m == pytest.approx(-250.0)
    assert at.is_bound
    assert at.lead.xy_m.tolist() == [[0.0, 150.0], [200.0, 0.0]]


def test_a_place_beside_the_line_lies_on_it_unless_the_ride_is_not_there_yet():
    assert reached(np.array([400.0, 30.0]), LINE, 300.0, []).station_m == pytest.approx(200.0)
    assert reached(np.array([400.0, 30.0]), LINE, 300.0, []).lead is None
    # fixed at station 50: it cannot have begun 150 m further on
    early = reached(np.array([400.0, 30.0]), LINE, 50.0, [])
    assert early.station_m < 50.0
    assert early.is_bound


def test_a_few_metres_before_the_head_are_no_bound():
    at = reached(np.array([180.0, 0.0]), LINE, 300.0, [])
    assert (at.station_m, at.is_bound) == (pytest.approx(-20.0), False)


@settings(max_examples=60)
@given(x=st.floats(-900, 1400), y=st.floats(-600, 600), until_m=st.floats(0, 790))
def test_no_way_is_shorter_than_the_straight_line(x, y, until_m):
    place = np.array([x, y])
    at = reached(place, LINE, until_m, [BACK])
    if at.lead is None:
        assert 0 < at.station_m <= until_m + 5.0
        assert np.hypot(x - 200.0 - at.station_m, y) <= 40.0
    else:
        way = along_m(at.lead.xy_m)[-1]
        assert way >= np.hypot(*(at.lead.xy_m[-1] - place)) - 1e-6
        assert at.station_m == pytest.approx(at.lead.xy_m[-1, 0] - 200.0 - way)

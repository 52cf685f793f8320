"""The road from a place to a line: each bound met just so and missed by half a metre, each way laid out by hand."""

from __future__ import annotations

import numpy as np
import pytest

from gpsq.measures.lead import _along, beginning_of, reached

#: Stations 0 to 100 m, every 5 m, along the x axis.
LINE = np.column_stack([5.0 * np.arange(21.0), np.zeros(21)])
HEAD = LINE[0]


def at(x_m, y_m, until_m=100.0, *ways):
    return reached(np.array([x_m, y_m]), LINE, until_m, [np.array(way, float) for way in ways])


def on_the_line(x_m, y_m, until_m=100.0):
    return at(x_m, y_m, until_m).lead is None


def test_up_to_40_m_beside_the_line_is_on_it():
    assert on_the_line(50.0, 40.0)
    assert on_the_line(50.0, -39.5)
    assert not on_the_line(50.0, 40.5)


def test_abreast_of_the_head_or_before_it_is_not_on_it():
    assert on_the_line(0.5, 10.0)
    assert not on_the_line(0.0, 10.0)
    assert not on_the_line(-5.0, 0.0)


@pytest.mark.parametrize(
    ("until_m", "last_m"),
    [(50.0, 50.0), (51.0, 55.0), (1.0, 5.0), (0.0, 5.0), (-30.0, 5.0), (500.0, 100.0)],
)
def test_only_the_line_up_to_the_first_fix_is_looked_at(until_m, last_m):
    """To the next whole step, and one step at least: a place at the end of the line lies on from that last place."""
    found = at(100.0, 30.0, until_m)
    if last_m == 100.0:
        assert found.station_m == pytest.approx(100.0)
    else:
        assert found.station_m == pytest.approx(last_m - np.hypot(100.0 - last_m, 30.0))
        assert found.lead.xy_m.tolist() == [[100.0, 30.0], [pytest.approx(last_m), 0.0]]


def test_a_straight_way_of_25_m_is_no_bound():
    assert not at(-15.0, 20.0).is_bound
    assert at(-15.0, 20.0).station_m == pytest.approx(-25.0)
    assert at(-15.0, 20.5).is_bound


#: From 100 m west of the head to it, 20 m to the south, with a corner half way.
WAY = [[-100.0, -20.0], [-50.0, -20.0], [0.0, -20.0], [60.0, -20.0]]


def test_a_way_is_set_over_onto_the_door_and_the_head():
    """The door lies 10 m to its left, the head 20 m: the corner, half way between them, is moved by 15 m."""
    found = at(-100.0, -10.0, 100.0, WAY)
    assert found.lead.xy_m == pytest.approx(np.array([[-100.0, -10.0], [-50.0, -5.0], [0.0, 0.0]]))
    assert found.station_m == pytest.approx(-2.0 * np.hypot(50.0, 5.0))
    assert not found.is_bound


def test_the_shortest_of_two_ways_is_taken():
    round_about = [[-100.0, 0.0], [-100.0, 300.0], [0.0, 300.0], [0.0, 0.0]]
    for ways in ([WAY, round_about], [round_about, WAY]):
        assert at(-100.0, -20.0, 100.0, *ways).station_m == pytest.approx(-np.hypot(50.0, 10.0) * 2.0)
    assert at(-100.0, 0.0, 100.0, round_about).station_m == pytest.approx(-700.0)


def leads(door, way, head=HEAD):
    return _along(np.array(door, float), head, np.array(way, float)) is not None


def test_a_way_leads_there_that_passes_both_within_40_m():
    assert leads([-100.0, 20.0], WAY)
    assert not leads([-100.0, 20.5], WAY)
    assert leads([-100.0, -20.0], np.array(WAY) - [0.0, 20.0])
    assert not leads([-100.0, -40.5], np.array(WAY) - [0.0, 20.5])


def test_a_way_leads_there_that_comes_to_the_door_first_by_at_most_2_km():
    assert leads([-2000.0, 0.0], [[-2000.0, 0.0], [0.0, 0.0]])
    assert not leads([-2000.5, 0.0], [[-2000.5, 0.0], [0.0, 0.0]])
    assert leads([-0.5, 0.0], [[-50.0, 0.0], [50.0, 0.0]])
    assert not leads([0.0, 5.0], [[-50.0, 0.0], [50.0, 0.0]])
    assert not leads([-30.0, 0.0], [[50.0, 0.0], [-50.0, 0.0]])


def test_a_way_begins_at_the_door_not_where_it_began_itself():
    """What of it lies before the door or beyond the head is no part; a corner at the door is not told twice."""
    way = np.array([[-90.0, 0.0], [-60.0, 0.0], [-30.0, 0.0], [0.0, 0.0], [40.0, 0.0]])
    assert _along(np.array([-60.0, 0.0]), HEAD, way).lead.xy_m.tolist() == [[-60.0, 0.0], [-30.0, 0.0], [0.0, 0.0]]


@pytest.mark.parametrize(
    ("length_m", "last"), [(10.0, [[10.0, 0.0]]), (4.0, [[4.0, 0.0]]), (99.0, [[10.0, 0.0], [10.0, 10.0]])]
)
def test_the_beginning_of_a_way_ends_with_it(length_m, last):
    way = np.array([[0.0, 0.0], [10.0, 0.0], [10.0, 10.0]])
    found = beginning_of(way, length_m).tolist()
    assert [p for k, p in enumerate(found) if k == 0 or p != found[k - 1]] == [[0.0, 0.0], *last]

"""The head of a line led by the end of the opposite way: closed forms, and streets that are two."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from gpsq.centreline.head import begun_at, from_usual_end, led_by

X = np.arange(0.0, 600.0, 5.0)


def way(y, x=X):
    return np.column_stack([x, np.broadcast_to(y, len(x))])


def unsettled(off_m, apart_m=4.0):
    """Return a line that begins `off_m` off its road, which lies `apart_m` left of the opposite way."""
    return way(apart_m + off_m * np.exp(-X / 25.0))


@given(st.floats(-15.0, 15.0), st.floats(-12.0, 12.0))
def test_the_head_comes_to_lie_beside_the_opposite_way(off_m, apart_m):
    led = led_by(unsettled(off_m, apart_m), way(0.0))
    assert np.abs(led[:30, 1] - apart_m).max() < 0.6
    assert np.array_equal(led[53:], unsettled(off_m, apart_m)[53:])


def test_it_leads_on_a_bent_road_too():
    turn = np.cumsum(np.full(len(X), 0.01))
    road = np.column_stack([np.cumsum(np.cos(turn)), np.cumsum(np.sin(turn))]) * 5.0
    left = np.column_stack([-np.sin(turn), np.cos(turn)])
    line = road + left * (3.0 + 9.0 * np.exp(-X / 25.0))[:, None]
    led = led_by(line, road)
    beside = np.hypot(*(led - road).T)
    assert np.abs(beside[:30] - 3.0).max() < 0.7


@pytest.mark.parametrize(
    "opposite",
    [
        pytest.param(way(-45.0), id="a one-way street 45 m aside"),
        pytest.param(way(0.35 * X - 40.0), id="a one-way street that comes in at an angle"),
        pytest.param(way(0.15 * X - 5.0), id="a street that leads away from the beginning"),
        pytest.param(np.column_stack([np.full(60, 20.0), np.arange(-150.0, 150.0, 5.0)]), id="a way across"),
        pytest.param(way(0.0)[:10], id="too short an end"),
        pytest.param(way(np.maximum(0.0, X - 60.0)), id="one-way streets that part after 60 m"),
    ],
)
def test_two_streets_are_left_alone(opposite):
    line = np.vstack([[[-8.0, 10.0]], unsettled(6.0)])
    assert np.array_equal(led_by(line, opposite), line)
    assert np.array_equal(begun_at(line, opposite), line)


@pytest.mark.parametrize("part_m", [130.0, 160.0, 190.0])
@pytest.mark.parametrize("turn", ["square", "fork"])
def test_a_street_that_the_two_ways_share_only_at_its_beginning_leads_there(part_m, turn):
    """One-way streets: the way back comes in by another one, turned out of `part_m` from where both begin."""
    before = X[part_m > X]
    after = np.arange(5.0, 300.0, 5.0)
    aside = np.column_stack([part_m + (0.0 if turn == "square" else 1.0) * after, -after])
    opposite = np.vstack([way(0.0, before), [[part_m, 0.0]], aside])
    line = np.vstack([[[-8.0, 10.0]], unsettled(8.0)])
    led = led_by(line, opposite)
    assert np.abs(led[1:7, 1] - 4.0).max() < 1.0
    assert np.array_equal(led[line[:, 0] > part_m], line[line[:, 0] > part_m])
    assert begun_at(led, opposite)[0] == pytest.approx([0.0, 4.0], abs=1.0)


def test_without_an_opposite_way_nothing_moves():
    line = unsettled(6.0)
    assert led_by(line, None) is line
    assert begun_at(line, None) is line


def test_unknown_stations_stay_unknown():
    line = unsettled(8.0)
    line[3:6] = np.nan
    led = led_by(line, way(0.0))
    assert np.flatnonzero(np.isnan(led[:, 0])).tolist() == [3, 4, 5]
    assert led[0, 1] == pytest.approx(4.0, abs=0.5)


def test_a_line_begins_where_the_opposite_rides_end():
    line = way(0.0, np.arange(-12.0, 600.0, 5.0))
    assert begun_at(line, way(0.0))[0] == pytest.approx([0.0, 0.0], abs=1e-9)
    later = way(0.0, np.arange(8.0, 600.0, 5.0))
    assert np.array_equal(begun_at(later, way(0.0)), later)
    much_earlier = way(0.0, np.arange(-60.0, 600.0, 5.0))
    assert np.array_equal(begun_at(much_earlier, way(0.0)), much_earlier)
    earlier = way(0.0, np.arange(-22.0, 600.0, 5.0))
    assert np.array_equal(begun_at(earlier, way(0.0)), earlier)


@pytest.mark.parametrize("end_m", [-11.0, -1.0, 0.0, 3.0, 14.0])
def test_the_opposite_way_begins_where_its_rides_usually_end(end_m):
    """The median of the ends, whatever the steps of the line; who stops more than 30 m before the furthest stops early."""
    ends = np.array([[end_m - 6.0, 3.0], [end_m - 1.0, -2.0], [end_m, 0.0], [end_m + 2.0, 5.0], [end_m + 9.0, 1.0]])
    early = np.array([[end_m + 40.0, 0.0], [end_m + 300.0, 2.0]])
    found = from_usual_end(way(0.0), np.vstack([ends, early]))
    assert found[0] == pytest.approx([end_m, 0.0])
    assert np.array_equal(found[-60:], way(0.0)[-60:])
    assert (np.diff(found[:, 0]) > 0).all()

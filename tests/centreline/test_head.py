"""The head of a line led by the end of the opposite way: closed forms, and streets that are two."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from gpsq.centreline.head import begun_at, led_by

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
    assert np.array_equal(led[40:], unsettled(off_m, apart_m)[40:])


def test_it_leads_on_a_bent_road_too():
    turn = np.cumsum(np.full(len(X), 0.01))
    road = np.column_stack([np.cumsum(np.cos(turn)), np.cumsum(np.sin(turn))]) * 5.0
    left = np.column_stack([-np.sin(turn), np.cos(turn)])
    line = road + left * (3.0 + 9.0 * np.exp(-X / 25.0))[:, None]
    led = led_by(line, road)
    beside = np.hypot(*(led - road).T)
    assert np.abs(beside[:30] - 3.0).max() < 0.7


@pytest.mark.parametrize(
    ("what", "opposite"),
    [
        ("a one-way street 45 m aside", way(-45.0)),
        ("a one-way street that comes in at an angle", way(0.35 * X - 40.0)),
        ("a street that joins after the head", way(np.where(X < 90.0, 28.0 - 0.3 * X, 0.0))),
        ("a way across", np.column_stack([np.full(60, 20.0), np.arange(-150.0, 150.0, 5.0)])),
        ("too short an end", way(0.0)[:10]),
    ],
)
def test_two_streets_are_left_alone(what, opposite):
    line = unsettled(6.0)
    joined = what.startswith("a street that joins")
    led = led_by(line, opposite)
    # where the other street runs apart at the head only, it leads there to where it runs: the condition is 30 m
    assert np.array_equal(led, line) or (joined and np.abs(led - line).max() <= 30.0)
    if not joined:
        assert np.array_equal(begun_at(line, opposite), line)


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

"""Arc length, equal steps, nearest places: against closed forms and shapely."""

from __future__ import annotations

import numpy as np
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st

from gpsq.exceptions import GeometryError
from gpsq.geometry import polyline

places = st.lists(st.tuples(st.integers(-4000, 4000), st.integers(-4000, 4000)), min_size=2, max_size=12).map(
    lambda points: [(x / 4, y / 4) for x, y in points]
)


@given(places)
@settings(max_examples=100, deadline=None)
def test_length_is_shapelys(points):
    xy = np.array(points)
    assert polyline.along_m(xy)[-1] == pytest.approx(shapely.LineString(xy).length, abs=1e-6)


def test_a_fifth_of_the_way():
    """PostGIS manual, ST_LineInterpolatePoint: the point at 20 % of LINESTRING(25 50, 100 125, 150 190)."""
    xy = np.array([[25.0, 50.0], [100.0, 125.0], [150.0, 190.0]])
    along = polyline.along_m(xy)
    found = polyline.at_along(xy, along, np.array([0.2 * along[-1]]))[0]
    assert found == pytest.approx((51.5974135047432, 76.5974135047432), abs=1e-12)


def test_the_nearest_place():
    """PostGIS manual, ST_LineLocatePoint: on LINESTRING(1 2, 4 5, 6 7) the point nearest to (4 3) is (3 4)."""
    line = np.array([[1.0, 2.0], [4.0, 5.0], [6.0, 7.0]])
    along, offset = polyline.nearest_on_line(np.array([[4.0, 3.0]]), line, np.array([0]), np.array([1]))
    assert along[0] == pytest.approx(np.hypot(2, 2))
    assert offset[0] == pytest.approx(-np.hypot(1, 1))  # to the right of travel


@given(places, st.tuples(st.floats(-1000, 1000), st.floats(-1000, 1000)))
@settings(max_examples=100, deadline=None)
def test_the_nearest_distance_is_shapelys(points, place):
    line = np.array(points)
    last = np.array([len(line) - 2])
    _, offset = polyline.nearest_on_line(np.array([place]), line, np.zeros_like(last), last)
    assert abs(offset[0]) == pytest.approx(shapely.LineString(line).distance(shapely.Point(place)), abs=1e-6)


@given(places, st.floats(0.5, 50))
@settings(max_examples=100, deadline=None)
def test_resampling_keeps_the_ends_and_never_lengthens(points, step_m):
    xy = np.array(points)
    if polyline.along_m(xy)[-1] <= 0:
        with pytest.raises(GeometryError):
            polyline.resample(xy, step_m)
        return
    even = polyline.resample(xy, step_m)
    assert even[0] == pytest.approx(xy[0])
    assert even[-1] == pytest.approx(xy[-1], abs=1e-6)
    assert polyline.along_m(even)[-1] <= polyline.along_m(xy)[-1] + 1e-6


@given(places, st.floats(0.5, 50))
@settings(max_examples=100, deadline=None)
def test_equal_steps_lie_on_the_trace(points, step_m):
    xy = np.array(points)
    steps = polyline.equal_steps(xy, [(0, len(xy))], step_m)
    assert (np.diff(steps.vertex) >= 0).all()
    assert steps.vertex.min() >= 0
    assert steps.vertex.max() <= len(xy) - 1
    assert np.allclose(steps.xy_m, polyline.at_vertex(xy, steps.vertex))
    gaps = np.abs(np.diff(polyline.along_m(xy)[np.round(steps.vertex).astype(int)]))
    assert gaps.size == 0 or np.isfinite(gaps).all()


def test_repeated_fixes_do_not_hide_where_the_trace_goes_on():
    xy = np.array([[0.0, 0.0]] * 5 + [[10.0, 0.0]])
    steps = polyline.equal_steps(xy, [(0, 6)], 5.0)
    assert steps.vertex.tolist() == pytest.approx([4.0, 4.5, 5.0])


def test_pieces_cover_everything_once():
    assert polyline.pieces(np.array([], dtype=int), 4) == [(0, 4)]
    assert polyline.pieces(np.array([0, 2]), 4) == [(0, 1), (1, 3), (3, 4)]


@pytest.mark.parametrize(("usual_m", "leg_m", "far"), [
    (8.0, 10_000.0, False), (8.0, 10_000.1, True), (200.0, 20_000.0, False), (200.0, 20_001.0, True),
])  # fmt: skip
def test_a_leg_is_far_over_ten_kilometres_and_a_hundred_usual_legs(usual_m, leg_m, far):
    assert polyline.far_legs(np.array([usual_m] * 10 + [leg_m])).tolist() == [False] * 10 + [far]
    assert not polyline.far_legs(np.array([usual_m] * 9 + [leg_m])).any()  # ten legs say nothing of what is usual


def test_steps_are_as_near_to_the_wanted_as_the_length_allows():
    line = np.array([[0.0, 0.0], [10.0, 0.0]])
    for step_m, count in ((4.0, 2), (3.9, 3), (25.0, 1), (10.0, 1)):
        even = polyline.resample(line, step_m)
        assert np.diff(even[:, 0]) == pytest.approx(np.full(count, 10.0 / count))
        assert len(polyline.equal_steps(line, [(0, 2)], step_m)) == count + 1
    with pytest.raises(GeometryError, match="a line to be resampled needs a length"):
        polyline.resample(line[[0, 0]], 1.0)


def test_steps_of_a_broken_trace_stay_in_their_pieces():
    """Two metres, a break, standing three fixes long, and a corner: 3 + 4 m."""
    xy = np.array(
        [[0.0, 0.0], [2.0, 0.0], [50.0, 0.0], [50.0, 0.0], [50.0, 0.0], [90.0, 0.0], [93.0, 0.0], [93.0, 4.0]]
    )
    steps = polyline.equal_steps(xy, [(0, 2), (2, 5), (5, 8)], 1.0)
    assert steps.piece.tolist() == [0] * 3 + [1] + [2] * 8
    assert steps.vertex[:4].tolist() == [0.0, 0.5, 1.0, 2.0]
    assert steps.vertex[4:] == pytest.approx([5, 5 + 1 / 3, 5 + 2 / 3, 6, 6.25, 6.5, 6.75, 7])
    assert steps.xy_m[-3].tolist() == [93.0, 2.0]
    nothing = polyline.equal_steps(xy, [], 1.0)
    assert (len(nothing), nothing.xy_m.shape, nothing.piece.dtype) == (0, (0, 2), np.int64)


def test_the_left_of_travel_at_a_corner_is_between_both_legs():
    """East, then north: at the corner the left is north-west; a place where the line turns back on itself has none."""
    half = np.sqrt(0.5)
    found = polyline.left_normals(np.array([[0.0, 0.0], [4.0, 0.0], [4.0, 4.0]]))
    assert found == pytest.approx(np.array([[0.0, 1.0], [-half, half], [-1.0, 0.0]]))
    back = polyline.left_normals(np.array([[0.0, 0.0], [4.0, 0.0], [0.0, 0.0]]))
    assert back == pytest.approx(np.array([[0.0, 1.0], [0.0, 0.0], [0.0, -1.0]]))
    two = polyline.left_normals(np.array([[0.0, 0.0], [0.0, -9.0]]))
    assert two == pytest.approx(np.array([[1.0, 0.0], [1.0, 0.0]]))


def test_values_between_fixes():
    values = np.array([[0.0, 10.0], [4.0, 20.0], [8.0, 0.0]])
    assert polyline.at_vertex(values, np.array([0.0, 0.25, 1.5, 2.0])).tolist() == [[0, 10], [1, 12.5], [6, 10], [8, 0]]
    assert polyline.at_vertex(values[:, 0], np.array([1.75])).tolist() == [7.0]


def test_only_the_segments_named_are_looked_at():
    """There and back on one road: the first three segments, or the last three, give the place on the way out or back."""
    there = np.array([[0.0, 0.0], [10.0, 0.0], [20.0, 0.0], [30.0, 0.0], [20.0, 0.0], [10.0, 0.0], [0.0, 0.0]])
    place = np.array([[15.0, 1.0]] * 3)
    along, offset = polyline.nearest_on_line(place, there, np.array([0, 3, 2]), np.array([2, 5, 2]))
    assert along.tolist() == [15.0, 45.0, 20.0]
    assert offset == pytest.approx([1.0, -1.0, np.hypot(5.0, 1.0)])

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

"""Planes at the edges of what they are for, and the continuous distance where it is more than Hausdorff's."""

from __future__ import annotations

import numpy as np
import pytest

from gpsq.exceptions import GeometryError
from gpsq.geometry.curve_distances import frechet_m, hausdorff_m
from gpsq.plane import Plane, geodesic_inverse_m


@pytest.mark.parametrize("lon_deg", [-180.0, -179.5, -90.0, -0.5, 0.0, 12.25, 90.0, 179.5])
def test_longitudes_come_back_between_minus_180_and_180(lon_deg):
    """Ten kilometres east and west of a place at 40 degrees north, 0.117 degrees of longitude each."""
    plane = Plane(lon_deg, 40.0)
    lon, lat = plane.to_degrees(np.array([[-10_000.0, 0.0], [0.0, 0.0], [10_000.0, 0.0]]))
    expected = (lon_deg + 0.1171 * np.array([-1.0, 0.0, 1.0]) + 180.0) % 360.0 - 180.0
    assert lon == pytest.approx(expected, abs=2e-4)
    assert lat == pytest.approx(40.0, abs=1e-3)
    assert ((lon >= -180.0) & (lon < 180.0)).all()


def test_a_plane_of_nothing_is_refused_and_no_distances_are_none():
    nothing = np.empty(0)
    with pytest.raises(GeometryError, match="at least one position"):
        Plane.centred_on(nothing, nothing)
    assert geodesic_inverse_m(nothing, nothing, nothing, nothing).shape == (0,)


@pytest.mark.parametrize(("reach_m", "projection"), [(24_900.0, "tmerc"), (25_100.0, "aeqd")])
def test_over_25_km_from_the_middle_the_plane_is_azimuthal(reach_m, projection):
    lon, lat = Plane(10.0, 50.0, "aeqd").to_degrees(np.array([[-reach_m, 0.0], [reach_m, 0.0]]))
    plane = Plane.centred_on(lon, lat)
    assert plane.projection == projection
    assert plane.to_metres(lon, lat) == pytest.approx(np.array([[-reach_m, 0.0], [reach_m, 0.0]]), abs=reach_m * 1e-4)


def test_one_who_turns_back_holds_the_leash_of_half_the_way_back():
    """Along a straight of 100 m one walks to 70 m, back to 30 m and on: the other waits at 50 m; both lie on one line."""
    straight, turned = [(0.0, 0.0), (100.0, 0.0)], [(0.0, 0.0), (70.0, 0.0), (30.0, 0.0), (100.0, 0.0)]
    assert hausdorff_m(straight, turned) == pytest.approx(0.0, abs=1e-9)
    assert 19.99 - 1e-9 <= frechet_m(straight, turned) <= 20.0 + 1e-9
    assert 19.0 <= frechet_m(straight, turned, tolerance_m=1.0) <= 20.0 + 1e-9
    assert frechet_m(straight, turned, at_most_m=19.9) == np.inf
    assert 19.99 - 1e-9 <= frechet_m(straight, turned, at_most_m=20.1) <= 20.0 + 1e-9

"""Surveyed lines in GeoJSON: positions are longitude, latitude, in degrees within ±180 and ±90 (RFC 7946, 3.1.1 and 4)."""

from __future__ import annotations

import pytest

from gpsq.exceptions import UnreadableFile
from gpsq.reading.reference_line import parse_geojson


def line(*positions: tuple[float, float]) -> bytes:
    return f'{{"type": "LineString", "coordinates": {[list(p) for p in positions]}}}'.encode()


@pytest.mark.parametrize("far", [(151.2, -33.8), (-180.0, 0.0), (180.0, 90.0), (0.0, -90.0)])
def test_a_line_anywhere_on_the_earth_is_read(far: tuple[float, float]) -> None:
    lon, lat = parse_geojson(line((100.0, 1.0), far), "road.geojson")
    assert (lon.tolist(), lat.tolist()) == ([100.0, far[0]], [1.0, far[1]])


@pytest.mark.parametrize("off", [(180.1, 0.0), (-180.1, 0.0), (0.0, 90.1), (0.0, -90.1), (10.0, 120.0)])
def test_a_position_that_is_not_on_it_is_refused(off: tuple[float, float]) -> None:
    with pytest.raises(UnreadableFile, match="positions out of range"):
        parse_geojson(line((100.0, 1.0), off), "road.geojson")

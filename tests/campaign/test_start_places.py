"""Places in the start log: every one on earth is taken, none off it."""

from __future__ import annotations

import numpy as np
import pytest

from gpsq.campaign import start_log

HEADING = "file,device,started,start_lat,start_lon"


def parse(lat: float, lon: float) -> start_log.StartLog:
    return start_log.parse(f"{HEADING}\na.gpx,W,2024-05-14T07:00:00Z,{lat},{lon}\n".encode())


@pytest.mark.parametrize(("lat", "lon"), [(-33.86, 151.21), (90.0, 180.0), (-90.0, -180.0)])
def test_every_place_on_earth_is_taken(lat: float, lon: float) -> None:
    """Sydney lies at 151° east; WGS 84 runs to 180° either way."""
    log = parse(lat, lon)
    assert log.problems == ()
    (entry,) = log.entries.values()
    assert (entry.start_lat_deg, entry.start_lon_deg) == (lat, lon)


@pytest.mark.parametrize(("lat", "lon"), [(90.1, 0.0), (0.0, 180.1), (0.0, -180.1)])
def test_a_place_off_the_earth_is_refused(lat: float, lon: float) -> None:
    log = parse(lat, lon)
    assert any("expected degrees between" in str(line) for line in log.problems)
    (entry,) = log.entries.values()
    assert np.isnan([entry.start_lat_deg, entry.start_lon_deg]).all()

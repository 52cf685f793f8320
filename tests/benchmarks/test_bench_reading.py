"""How fast GPX is read, beside gpxpy in the same run.

Skipped in a normal test run; measure with ``pytest tests/benchmarks -o addopts= --benchmark-only``.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import gpxpy
import numpy as np
import pytest

from gpsq.reading import read_folder
from gpsq.reading.gpx import reader

if TYPE_CHECKING:
    from pathlib import Path

    from pytest_benchmark.fixture import BenchmarkFixture


def ride(points: int, seed: int = 1) -> bytes:
    """Return a ride with one fix a second, heights and times, as most devices write it."""
    rng = np.random.default_rng(seed)
    lat, lon = 51 + rng.normal(3e-5, 1e-5, points).cumsum(), -3 + rng.normal(3e-5, 1e-5, points).cumsum()
    time = np.datetime64("2024-05-14T07:00:00") + seed * 86_400 + np.arange(points)
    rows = "".join(
        f'<trkpt lat="{a:.7f}" lon="{b:.7f}"><ele>12.3</ele><time>{t}Z</time></trkpt>\n'
        for a, b, t in zip(lat, lon, time, strict=True)
    )
    return f'<gpx version="1.1" creator="bench"><trk><trkseg>{rows}</trkseg></trk></gpx>'.encode()


@pytest.mark.parametrize("points", [1_800, 30_000])
def test_read(benchmark: BenchmarkFixture, points: int) -> None:
    data = ride(points)
    (recording,) = benchmark(reader.read, data, "ride.gpx")
    assert recording.points == points


@pytest.mark.parametrize("points", [1_800, 30_000])
def test_read_with_gpxpy(benchmark: BenchmarkFixture, points: int) -> None:
    data = ride(points)
    parsed = benchmark.pedantic(gpxpy.parse, args=(data,), rounds=3)
    assert parsed.get_points_no() == points


def test_read_a_week_of_rides(benchmark: BenchmarkFixture, tmp_path: Path) -> None:
    """Thirty rides of half an hour each: the aim is half a second."""
    for number in range(30):
        (tmp_path / f"{number}.gpx").write_bytes(ride(1_800, number + 1))
    readings = benchmark(read_folder, tmp_path)
    assert sum(t.accepted for t in readings.traces) == 54_000

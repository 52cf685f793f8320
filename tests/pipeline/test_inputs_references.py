"""The shared cases that come with a true way; their case.toml holds the figures."""

from __future__ import annotations

import tomllib
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np
import pytest

from gpsq.geometry import polyline
from gpsq.geometry.alignment import Abreast, abreast, align
from gpsq.geometry.curve_distances import frechet_m, hausdorff_m
from gpsq.measures.first_fix import fix_offsets
from gpsq.model import FloatArray, Trace
from gpsq.plane import Plane, geodesic_inverse_m
from gpsq.reading import read_file
from gpsq.reading.reference_line import read_line
from gpsq.rides.unbroken import runs_of
from gpsq.settings import Settings

if TYPE_CHECKING:
    from pathlib import Path

pytestmark = pytest.mark.open_data

DEFAULT = Settings()


@dataclass(frozen=True)
class Beside:
    """A recording beside its reference: fixes, line and resampled line in metres, and where each fix lies on it."""

    trace: Trace
    xy_m: FloatArray
    reference_m: FloatArray
    line_m: FloatArray
    place: Abreast
    along_m: FloatArray
    offset_m: FloatArray


def beside(folder: Path, name: str) -> Beside:
    (trace,) = read_file(folder / name, name, settings=DEFAULT)
    assert isinstance(trace, Trace)
    lon, lat = read_line(folder / "reference.gpx")
    plane = Plane.centred_on(lon, lat)
    xy, reference = plane.to_metres(trace.lon_deg, trace.lat_deg), plane.to_metres(lon, lat)
    line = polyline.resample(reference, DEFAULT.step_m)
    steps = polyline.equal_steps(xy, runs_of(trace, DEFAULT.gap_s), DEFAULT.step_m)
    stations = align(steps.xy_m, steps.piece, line, step_m=DEFAULT.step_m, cap_m=DEFAULT.align_cap_m)
    place = abreast(steps, stations, line, with_excursions=True)
    step_m = float(polyline.along_m(line)[-1]) / (len(line) - 1)
    along, offset = fix_offsets(xy, place, line)
    assert step_m == pytest.approx(DEFAULT.step_m, rel=0.01)
    return Beside(trace, xy, reference, line, place, along, offset)


def expected(folder: Path, name: str) -> dict[str, Any]:
    case = tomllib.loads((folder / "case.toml").read_text(encoding="utf-8"))
    (found,) = (e for e in case["expect"] if e["file"] == name)
    return dict(found)


def assert_within(found: float, limit: dict[str, float]) -> None:
    assert found == pytest.approx(limit["value"], abs=limit["tol"])


@pytest.mark.parametrize(
    ("case", "name"), [("16-zero-zero-before-fix", "device.gpx"), ("22-frozen-last-known", "frozen.gpx")]
)
def test_distance_before_the_fix_along_the_reference(shared: Path, case: str, name: str) -> None:
    """Cases 16 and 22: the device searched for 42 and 55 s while the rider went 218 and 312 m of the way."""
    folder = shared / "inputs" / case
    assert_within(float(beside(folder, name).along_m[0]), expected(folder, name)["distance_before_fix_m"])


def test_the_jump_from_a_remembered_place(shared: Path) -> None:
    """Case 22: how far the remembered place lies from the first fix and from the start of the way, as geodesics."""
    folder = shared / "inputs/22-frozen-last-known"
    limits = expected(folder, "frozen.gpx")
    (trace,) = read_file(folder / "frozen.gpx", "frozen.gpx", settings=DEFAULT)
    assert isinstance(trace, Trace)
    lon, lat = read_line(folder / "frozen.gpx")  # every point as written, the remembered ones too
    start_lon, start_lat = (a[:1] for a in read_line(folder / "reference.gpx"))
    jump = geodesic_inverse_m(lon[:1], lat[:1], trace.lon_deg[:1], trace.lat_deg[:1])
    from_start = geodesic_inverse_m(lon[:1], lat[:1], start_lon, start_lat)
    assert_within(float(jump[0]), limits["jump_m"])
    assert_within(float(from_start[0]), limits["cached_position_from_start_m"])


def test_out_and_back_is_followed_in_order(shared: Path) -> None:
    """Case 29: 3 m beside the street both ways; along the way there is no jump to the other leg."""
    folder = shared / "inputs/29-out-and-back"
    limits, found = expected(folder, "both.gpx"), beside(folder, "both.gpx")
    size = np.abs(found.offset_m)
    assert_within(float(size.mean()), limits["mean_abs_cross_track_m"])
    assert_within(float(size.max()), limits["max_abs_cross_track_m"])
    assert_within(float(found.along_m[-1]), limits["along_track_end_m"])
    assert bool((np.diff(found.along_m) > 0).all()) is limits["along_track_monotonic"]
    assert_within(float(found.place.matched.mean()), limits["coverage"])
    assert_within(hausdorff_m(found.xy_m, found.reference_m), limits["hausdorff_m"])
    assert_within(frechet_m(found.xy_m, found.reference_m), limits["frechet_m"])


def test_half_a_ride_is_no_match_though_every_point_is_near(shared: Path) -> None:
    """Case 29: Hausdorff is 3 m as for the whole ride; Fréchet and coverage tell that the way back is missing."""
    folder = shared / "inputs/29-out-and-back"
    limits, found = expected(folder, "out-only.gpx"), beside(folder, "out-only.gpx")
    assert_within(float(np.abs(found.offset_m).mean()), limits["mean_abs_cross_track_m"])
    assert_within(float(found.place.matched.mean()), limits["coverage"])
    assert_within(hausdorff_m(found.xy_m, found.reference_m), limits["hausdorff_m"])
    assert_within(frechet_m(found.xy_m, found.reference_m), limits["frechet_m"])


def test_two_rides_across_the_antimeridian(shared: Path) -> None:
    """Case 20: the two rides run 2 m apart over 3.2 km, so the Hausdorff distance is 2 m, not a way round the world."""
    folder = shared / "inputs/20-antimeridian"
    traces = [t for n in ("day1.gpx", "day2.gpx") for t in read_file(folder / n, n, settings=DEFAULT)]
    one, other = (t for t in traces if isinstance(t, Trace))
    limits = expected(folder, "*")
    plane = Plane.centred_on(one.lon_deg, one.lat_deg)
    lines = [plane.to_metres(t.lon_deg, t.lat_deg) for t in (one, other)]
    assert_within(hausdorff_m(*lines), limits["hausdorff_m"])
    steps = polyline.equal_steps(lines[0], [(0, len(lines[0]))], DEFAULT.step_m)
    line = polyline.resample(lines[1], DEFAULT.step_m)
    place = abreast(
        steps, align(steps.xy_m, steps.piece, line, step_m=DEFAULT.step_m, cap_m=20.0), line, with_excursions=True
    )
    across = np.abs(fix_offsets(lines[0], place, line)[1])
    assert_within(float(across.mean()), limits["mean_abs_cross_track_between_rides_m"])

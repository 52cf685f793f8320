"""Starts on a straight line: a fill by the device is found to the point, a rider is believed."""

from __future__ import annotations

import tracemalloc
from typing import TYPE_CHECKING

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.signal import lfilter

from gpsq.model import FloatArray, Trace
from gpsq.plane import Plane
from gpsq.reading import beginning, read_file
from gpsq.reading.outliers import no_fixes
from gpsq.settings import Settings

if TYPE_CHECKING:
    from pathlib import Path

START = np.datetime64("2024-05-14T07:00:00", "ms")


def drifting(rng: np.random.Generator, n: int, sigma: float, keep: float) -> FloatArray:
    """Return (n,) noise of a first-order process: what is left of one second's error in the next is `keep`."""
    white = rng.normal(0.0, sigma * np.sqrt(1.0 - keep**2), n)
    white[0] = rng.normal(0.0, sigma)
    return np.asarray(lfilter([1.0], [1.0, -keep], white))


def ride_m(
    rng: np.random.Generator, straight_s: int, speed_mps: float, noise_m: float, varies: float = 0.06
) -> FloatArray:
    """Return (n, 2) fixes, one a second: `straight_s` on a straight road, then winding roads; invented.

    A rider's speed varies by some per cent within seconds (common practice: it is never held to a centimetre).
    """
    n = straight_s + 400
    speed = speed_mps * (1.0 + drifting(rng, n, varies, 0.9))
    along = np.cumsum(speed)
    bend = np.where(along > speed_mps * straight_s, np.sin((along - speed_mps * straight_s) / 40.0), 0.0)
    heading = rng.uniform(0, 2 * np.pi) + bend
    xy = np.cumsum(speed[:, None] * np.column_stack([np.cos(heading), np.sin(heading)]), axis=0)
    return np.asarray(xy + np.column_stack([drifting(rng, n, noise_m, 0.97) for _ in range(2)]))


def marked(xy_m: FloatArray, decimals: int, at_deg: tuple[float, float] = (3.0, 51.0)) -> int:
    """Return how many points are marked as filled in; no other reason may appear."""
    lon, lat = (a.round(decimals) for a in Plane.centred_on([at_deg[0]], [at_deg[1]]).to_degrees(xy_m))
    reason = no_fixes(START + np.arange(len(lon)) * np.timedelta64(1, "s"), lon, lat, Settings())
    assert set(reason) <= {"", "straight_backfill"}
    count = int((reason != "").sum())
    assert (reason[:count] != "").all()
    return count


@settings(max_examples=150, deadline=None)
@given(
    seed=st.integers(0, 2**32),
    straight_s=st.integers(20, 400),
    speed_mps=st.floats(3.0, 30.0),
    noise_m=st.floats(0.3, 8.0),
    decimals=st.integers(5, 8),
)
def test_an_honest_start_on_a_straight_road_is_believed(
    seed: int, straight_s: int, speed_mps: float, noise_m: float, decimals: int
) -> None:
    rng = np.random.default_rng(seed)
    assert marked(ride_m(rng, straight_s, speed_mps, noise_m), decimals) == 0


@settings(max_examples=100, deadline=None)
@given(
    seed=st.integers(0, 2**32),
    filled=st.integers(30, 400),
    noise_m=st.floats(1.0, 6.0),
    step_m=st.floats(1.0, 20.0),
    decimals=st.integers(6, 8),
)
def test_a_fill_before_a_quiet_ride_is_found_to_the_point(
    seed: int, filled: int, noise_m: float, step_m: float, decimals: int
) -> None:
    """One fix more may lie on the line by chance: the time to first fix is right within one interval."""
    rng = np.random.default_rng(seed)
    xy = ride_m(rng, 0, 5.0, noise_m)
    away = rng.uniform(0, 2 * np.pi)
    back = step_m * np.arange(filled, 0, -1)[:, None] * np.array([np.cos(away), np.sin(away)])
    assert filled <= marked(np.vstack([xy[0] + back, xy]), decimals) <= filled + 1


@pytest.mark.parametrize("lat_deg", [0.0, 69.6, -45.0])
@pytest.mark.parametrize("side", [1.0, -1.0])
def test_a_fill_that_crosses_the_180th_meridian_is_found_to_the_point(side: float, lat_deg: float) -> None:
    """On its way there and on the ride that follows: the meridian lies in the middle of the fill, and of what is behind."""
    xy = ride_m(np.random.default_rng(3), 0, 5.0, 4.0)
    back = np.arange(60, 0, -1)[:, None] * np.array([-3.0 * side, 1.0])
    for east_m in (-side * 90.0, xy[200, 0] - xy[0, 0]):
        way = np.vstack([xy[0] + back, xy]) - [xy[0, 0] + east_m, xy[0, 1]]
        assert marked(way, 7, (180.0, lat_deg)) in (60, 61)


def test_a_fill_behind_a_repeated_position_far_off_is_found_too() -> None:
    """Five times the place of yesterday, 5 km away, then sixty points straight to the first fix."""
    xy = ride_m(np.random.default_rng(3), 0, 5.0, 4.0)
    back = xy[0] + np.arange(60, 0, -1)[:, None] * np.array([3.0, 1.0])
    lon, lat = Plane.centred_on([3.0], [51.0]).to_degrees(
        np.vstack([np.repeat(back[:1] + 5000.0, 5, axis=0), back, xy])
    )
    reason = no_fixes(
        START + np.arange(len(lon)) * np.timedelta64(1, "s"), lon.round(7), lat.round(7), Settings()
    ).tolist()
    assert reason[:66] in ([*["frozen_before_fix"] * 5, *["straight_backfill"] * n, *[""] * (61 - n)] for n in (60, 61))


@pytest.mark.parametrize(("filled", "found"), [(4, 0), (6, 0), (7, 7), (12, 12)])
def test_up_to_six_points_in_line_prove_nothing(filled: int, found: int) -> None:
    """Two fixes always go evenly, and more than three times as many it must be."""
    xy = ride_m(np.random.default_rng(3), 0, 5.0, 4.0)
    back = np.arange(filled, 0, -1)[:, None] * np.array([3.0, 4.0])
    assert marked(np.vstack([xy[0] + back, xy]), 7) == found


@pytest.mark.parametrize(("behind", "found"), [(10, 0), (11, 7)])
def test_of_few_points_nothing_is_said(behind: int, found: int) -> None:
    xy = ride_m(np.random.default_rng(3), 0, 5.0, 4.0)[:behind]
    back = np.arange(7, 0, -1)[:, None] * np.array([3.0, 4.0])
    assert marked(np.vstack([xy[0] + back, xy]), 7) == found


def test_fixes_that_go_evenly_for_a_third_as_long_excuse_the_start() -> None:
    """Twenty even steps mean nothing where the same device rides ten even steps later on; noise fills the rest."""
    xy = ride_m(np.random.default_rng(5), 0, 5.0, 4.0)
    xy[200:210] = xy[200] + np.arange(10)[:, None] * np.array([3.0, 4.0])
    back = np.arange(20, 0, -1)[:, None] * np.array([3.0, 4.0])
    assert marked(np.vstack([xy[0] + back, xy]), 7) == 0
    xy[200:210] = ride_m(np.random.default_rng(5), 0, 5.0, 4.0)[200:210]
    assert marked(np.vstack([xy[0] + back, xy]), 7) == 20


@pytest.mark.parametrize(("even", "found"), [(9, 0), (4, 60)])
def test_fixes_that_mostly_go_evenly_excuse_the_start(even: int, found: int) -> None:
    """Nine of each ten fixes in even steps, now here, now there: never a third as long as sixty, and yet mostly."""
    xy, rng = ride_m(np.random.default_rng(5), 0, 5.0, 4.0), np.random.default_rng(1)
    back = np.arange(60, 0, -1)[:, None] * np.array([3.0, 4.0])
    for first in range(10, len(xy) - 10, 10):
        steps = np.arange(even)[:, None] * np.array([3.0, 4.0])
        xy[first : first + even] = xy[first] + steps + rng.normal(0, 6, 2)
    assert marked(np.vstack([xy[0] + back, xy]), 7) == found


def test_steps_as_short_as_rounding_prove_nothing() -> None:
    """Four units of the fifth decimal: a walker's pace, even because nothing else can be written."""
    xy = ride_m(np.random.default_rng(5), 0, 12.0, 8.0)
    back = np.arange(40, 0, -1)[:, None] * np.array([0.0, 4e-5 * 111_200])
    assert marked(np.vstack([xy[0] + back, xy]), 5) == 0


@pytest.mark.parametrize("seed", range(16))
def test_a_long_fill_is_found_where_the_last_decimal_is_a_metre(seed: int) -> None:
    """Steps of three to six units: too short to prove anything by themselves, but there are many."""
    rng = np.random.default_rng(seed)
    xy, filled, bearing = ride_m(rng, 0, 5.0, 8.0), int(rng.integers(60, 400)), rng.uniform(0.0, 2 * np.pi)
    step = rng.uniform(3.4, 4.0) * np.array([np.cos(bearing), np.sin(bearing)])
    back = np.arange(filled, 0, -1)[:, None] * step
    assert marked(np.vstack([xy[0] + back, xy]), 5) in range(filled, filled + 3)


@pytest.mark.parametrize(("even", "found"), [(14, 60), (16, 0)])
def test_fixes_that_go_evenly_for_a_quarter_as_long_excuse_a_long_start_in_the_fifth_decimal(
    even: int, found: int
) -> None:
    """Sixty steps of 3 m east and 2 m north, four units and two, and fifteen of them somewhere behind, or not."""
    xy = ride_m(np.random.default_rng(5), 0, 5.0, 8.0)
    xy[200 : 200 + even] = xy[200] + np.arange(even)[:, None] * np.array([3.0, 2.0])
    back = np.arange(60, 0, -1)[:, None] * np.array([3.0, 2.0])
    assert marked(np.vstack([xy[0] + back, xy]), 5) == found


@settings(max_examples=60, deadline=None)
@given(
    seed=st.integers(0, 2**32),
    straight_s=st.integers(50, 400),
    speed_mps=st.floats(1.0, 12.0),
    noise_m=st.floats(0.3, 8.0),
    steadiness=st.floats(0.01, 0.1),
)
def test_an_honest_long_start_in_the_fifth_decimal_is_believed(
    seed: int, straight_s: int, speed_mps: float, noise_m: float, steadiness: float
) -> None:
    """Whether a speed varies by ten per cent or by one, and on however long a straight road, with a road behind that winds."""
    rng = np.random.default_rng(seed)
    assert marked(ride_m(rng, straight_s, speed_mps, noise_m, steadiness), 5) == 0


def test_a_drawn_course_of_straight_legs_is_believed() -> None:
    """Even steps all over the file are the way that it was made; a long first leg is not filled in."""
    legs = [np.array([5.0, 0.0])] * 90 + [np.array([0.0, 5.0])] * 20 + [np.array([-5.0, 0.0])] * 20
    assert marked(np.cumsum(legs, axis=0), 7) == 0


@pytest.mark.open_data
def test_no_recording_of_the_samples_is_taken_for_filled_in(shared: Path) -> None:
    """Some of them begin on straight roads, one with five even steps; no sample is known to be filled in."""
    paths = [p for p in sorted((shared / "data").rglob("*")) if p.suffix in {".gpx", ".nmea", ".csv"}]
    traces = [t for p in paths for t in read_file(p, p.name, settings=Settings()) if isinstance(t, Trace)]
    assert len(traces) > 150
    assert not [t.file for t in traces if any(s.reason == "straight_backfill" for s in t.set_aside)]


def test_a_beginning_of_many_thousands_of_points_takes_little_memory():
    """40,000 points written in even steps of 4 units before 100,000 that were measured: the windows would be gigabytes."""
    rng = np.random.default_rng(3)
    filled = np.arange(40_000)[:, None] * [4e-5, 4e-5]
    measured = filled[-1] + np.cumsum(rng.normal(4e-5, 2e-5, (100_000, 2)), axis=0)
    lon, lat = np.round(np.vstack([filled, measured]), 5).T
    tracemalloc.start()
    found = beginning._filled_in(lon, lat, 1e-5)
    peak = tracemalloc.get_traced_memory()[1]
    tracemalloc.stop()
    assert found == pytest.approx(39_999, abs=2)
    assert peak < 100e6


@pytest.mark.parametrize(("places", "long", "evenly"), [(12, 10, True), (10, 10, True), (11, 10, True), (40, 10, True)])
def test_an_even_stretch_is_found_wherever_it_lies(places, long, evenly):
    """In steps of 0.00003°, before and after it steps that differ by a few units each."""
    steps = np.where(np.arange(places) % 2, 9e-5, -2e-5)
    steps[places - long :] = 3e-5
    line = np.cumsum(steps)
    xy = np.column_stack([line, np.zeros(places)])
    assert beginning._goes_evenly(xy, long - 1, 1e-5) is evenly
    assert beginning._goes_evenly(xy[::-1], long - 1, 1e-5) is evenly
    bent = xy.copy()
    bent[places - long // 2] += 4e-5
    assert beginning._goes_evenly(bent, long - 1, 1e-5) is (places <= long - 1)


@pytest.mark.parametrize(("off_units", "evenly"), [(0.0, True), (2.05, True), (2.15, False)])
def test_an_even_stretch_may_be_off_by_two_units_of_rounding(off_units: float, evenly: bool) -> None:
    """What is even within 1.05 units as a whole is so within twice that in its parts."""
    xy = np.arange(12)[:, None] * np.array([4e-5, 4e-5])
    xy[5] += off_units * 1e-5
    xy[11] += 7e-5
    assert beginning._goes_evenly(xy, 10, 1e-5) is evenly

"""Small files that reach far: a few points over thousands of kilometres, a damaged digit. Stations are bounded."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import pytest
from small_rides import gpx, write
from trace_maker import HARBOUR, road, trace_on

from gpsq.centreline.consensus_line import MOST_STATIONS, step_for
from gpsq.pipeline.stages import analyse_traces
from gpsq.reading import read_folder
from gpsq.rides import routes, unbroken
from gpsq.settings import Settings

if TYPE_CHECKING:
    from pathlib import Path

    from gpsq.arrays import FloatArray
    from gpsq.model import Trace

SETTINGS = Settings()
MOST_HERE = 300


def across(km: float, points: int = 40) -> list[Trace]:
    """Return four untimed traces of a few points each along one line of some length."""
    lines = [np.column_stack([np.linspace(0.0, km * 1000.0, points), np.full(points, 2.0 * k)]) for k in range(4)]
    return [trace_on(line, day=k, time=np.full(points, np.datetime64("NaT", "ms"))) for k, line in enumerate(lines)]


@pytest.mark.parametrize(("km", "step_m"), [(100.0, 5.0), (300.0, 10.0), (1500.0, 50.0)])
def test_the_step_grows_with_the_length(km: float, step_m: float) -> None:
    line = np.column_stack([np.linspace(0.0, km * 1000.0, 40), np.zeros(40)])
    assert step_for([line] * 4, SETTINGS) == pytest.approx(step_m)


def test_one_recording_that_leads_far_does_not_coarsen_the_line_of_the_others() -> None:
    far = np.array([[0.0, 0.0], [2e6, 0.0]])
    assert step_for([road(), road(), far], SETTINGS) == 5.0


def test_a_line_that_starts_from_the_longest_of_unlike_recordings_is_bounded_too(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """Few points on one straight, each recording farther than the one before; the middle one is no measure of the line."""
    monkeypatch.setattr("gpsq.centreline.consensus_line.MOST_STATIONS", MOST_HERE)
    lines = [
        np.column_stack([np.linspace(0.0, km * 1000.0, 12), np.full(12, k)]) for k, km in enumerate([1, 1.2, 1.4, 12])
    ]
    traces = [trace_on(line, day=k, interval_s=300.0) for k, line in enumerate(lines)]
    for found in analyse_traces(traces, SETTINGS).routes:
        assert found.centreline is None or len(found.centreline.along_m) <= MOST_HERE + 1
    longest = lines[-1:] * 2 + lines[:1] * 2
    (found,) = analyse_traces([trace_on(x, day=k, interval_s=300.0) for k, x in enumerate(longest)], SETTINGS).routes
    assert found.centreline is not None
    assert found.centreline.length_m == pytest.approx(12_000.0, rel=0.01)
    assert len(found.centreline.along_m) <= MOST_HERE + 1


def test_stations_and_steps_are_bounded(monkeypatch: pytest.MonkeyPatch) -> None:
    """At the bound of the programme this takes seconds, so the same is tried at a hundredth of it."""
    monkeypatch.setattr("gpsq.centreline.consensus_line.MOST_STATIONS", MOST_HERE)
    monkeypatch.setattr(routes, "MOST_STEPS", MOST_HERE)
    (found,) = analyse_traces(across(15.0), SETTINGS).routes
    assert found.centreline is not None
    assert len(found.centreline.along_m) == MOST_HERE + 1
    assert found.centreline.length_m == pytest.approx(15_000.0, rel=1e-3)
    assert len(routes.Shape(across(15.0)[0], SETTINGS).steps(50.0)) <= MOST_HERE + 1


def test_what_leads_over_thousands_of_kilometres_is_grouped_and_not_measured() -> None:
    analysis = analyse_traces(across(8000.0), SETTINGS)
    assert analysis.routes[0].centreline is None
    assert analysis.routes[0].reason == "it leads over 3,000 km, which no ride does"
    assert {r.reason for r in analysis.results} == {analysis.routes[0].reason}
    assert MOST_STATIONS == 30_000


def untimed(xs: FloatArray, lat: float = 51.2) -> str:
    points = "".join(f'<trkpt lat="{lat}" lon="{x:.6f}"></trkpt>' for x in xs)
    return f'<gpx version="1.1" creator="maker"><trk><trkseg>{points}</trkseg></trk></gpx>'


@pytest.mark.parametrize("at", [0, 1, 20, 38, 39])
@pytest.mark.parametrize("lon", [3.6, -63.6, 76.0])
def test_a_damaged_digit_is_set_aside_where_no_time_proves_it(tmp_path: Path, at: int, lon: float) -> None:
    xs = -3.6 + np.arange(40) * 7e-5
    xs[at] = lon
    write(tmp_path, **{"a.gpx": untimed(xs)})
    (trace,) = read_folder(tmp_path).traces
    assert [(s.reason, s.points, s.first_point) for s in trace.set_aside] == [("outlier_jump", 1, at)]


def test_a_few_points_over_hundreds_of_kilometres_are_kept(tmp_path: Path) -> None:
    write(tmp_path, **{"a.gpx": untimed(np.linspace(-3.6, 6.0, 40)), "b.gpx": untimed(np.array([-3.6, -3.5, 80.0]))})
    assert [t.accepted for t in read_folder(tmp_path).traces] == [40, 3]


def test_a_journey_that_times_allow_is_kept(tmp_path: Path) -> None:
    """Two rides in one recording, a day of travel between them."""
    first, second = gpx(n=30), gpx("2024-05-15T07:00:30", n=3, lat=55.2)
    points = second[second.index("<trkpt") : second.index("</trkseg>")]
    write(tmp_path, **{"a.gpx": first.replace("</trkseg>", points + "</trkseg>")})
    (trace,) = read_folder(tmp_path).traces
    assert trace.accepted == 33


def test_nothing_is_known_of_a_far_leg() -> None:
    line = np.vstack([road(), np.add(road(), [900_000.0, 0.0])])
    trace = trace_on(line, time=np.full(len(line), np.datetime64("NaT", "ms")), plane=HARBOUR)
    half = len(road())
    assert unbroken.runs_of(trace, SETTINGS.gap_s) == [(0, half), (half, 2 * half)]

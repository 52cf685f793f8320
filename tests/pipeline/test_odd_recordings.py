"""Recordings with excursions, slow sampling and other days, through a whole analysis: figures and what is said of them."""

from __future__ import annotations

import csv
from typing import TYPE_CHECKING

import numpy as np
import pytest
import shapely

from gpsq.campaign import flags
from gpsq.output.results_folder import write_results
from gpsq.output.tables import layers
from gpsq.pipeline.analysis import analyse
from gpsq.plane import Plane
from gpsq.privacy import publication

if TYPE_CHECKING:
    from pathlib import Path

    from gpsq.model import FloatArray

PLANE = Plane(-28.0, 40.0)  # open sea, so that nobody's street is shown
SPEED_MPS = 6.0


def road_m(seconds: FloatArray, rng: np.random.Generator) -> FloatArray:
    """Return (n, 2) fixes at these seconds of a ride along an invented road, errors of 1.5 m that drift."""
    along = SPEED_MPS * seconds
    drift = np.cumsum(rng.normal(0, 0.15, (len(seconds), 2)), axis=0)
    return np.column_stack([along, 120.0 * np.sin(along / 250.0)]) + drift - drift.mean(axis=0)


def write_ride(path: Path, start: str, seconds: FloatArray, xy_m: FloatArray, file_time: str = "") -> None:
    lon, lat = PLANE.to_degrees(xy_m)
    first = np.datetime64(start, "s")
    points = "".join(
        f'<trkpt lat="{b:.7f}" lon="{a:.7f}"><time>{first + int(s)}Z</time></trkpt>'
        for a, b, s in zip(lon, lat, seconds, strict=True)
    )
    meta = f"<metadata><time>{file_time}Z</time></metadata>" if file_time else ""
    path.parent.mkdir(parents=True, exist_ok=True)
    path.write_text(
        f'<gpx version="1.1" creator="x" xmlns="http://www.topografix.com/GPX/1/1">{meta}'
        f"<trk><trkseg>{points}</trkseg></trk></gpx>"
    )


def rows(path: Path) -> list[dict[str, str]]:
    with path.open(newline="", encoding="utf-8") as file:
        return list(csv.DictReader(file))


@pytest.fixture(scope="module")
def spiked(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Five rides of one device; the third has three single fixes 250 m off, the fourth one of 80 m that is kept."""
    folder = tmp_path_factory.mktemp("spiked")
    rng = np.random.default_rng(5)
    for day in range(5):
        seconds = np.arange(400.0)
        xy = road_m(seconds, rng)
        if day == 2:
            xy[[100, 200, 300]] += [[0.0, 250.0], [0.0, -250.0], [150.0, 200.0]]
        if day == 3:
            xy[150] += [0.0, 80.0]
        write_ride(folder / "unit" / f"day{day}.gpx", f"2024-05-1{day}T07:00:00", seconds, xy)
    write_results(analyse(folder), folder / "gpsq-results")
    return folder / "gpsq-results"


def test_spikes_are_counted_per_recording_and_per_device(spiked: Path) -> None:
    tracks = {r["file"]: r for r in rows(spiked / "tracks.csv")}
    assert [tracks[f"unit/day{d}.gpx"]["spikes"] for d in range(5)] == ["0", "0", "3", "1", "0"]
    assert float(tracks["unit/day2.gpx"]["largest_spike_m"]) == pytest.approx(250, abs=5)
    assert float(tracks["unit/day3.gpx"]["largest_spike_m"]) == pytest.approx(80, abs=5)
    assert tracks["unit/day0.gpx"]["largest_spike_m"] == ""
    assert (tracks["unit/day2.gpx"]["set_aside"], tracks["unit/day3.gpx"]["set_aside"]) == ("3", "0")
    assert {r["spikes"] for r in rows(spiked / "devices.csv")} == {"4"}


def test_spikes_are_said_in_the_report(spiked: Path) -> None:
    page = (spiked / "report.html").read_text(encoding="utf-8")
    assert "spikes, off and back within seconds" in page
    assert "3 spikes, the largest 250\N{NO-BREAK SPACE}m off" in page
    assert "Off and back within seconds 4 times, in 2 of 5 recordings, the largest 250\N{NO-BREAK SPACE}m" in page


def test_a_recording_without_times_tells_of_no_spikes(tmp_path: Path) -> None:
    rng = np.random.default_rng(5)
    for day in range(3):
        seconds = np.arange(200.0)
        write_ride(tmp_path / "unit" / f"{day}.gpx", f"2024-05-1{day}T07:00:00", seconds, road_m(seconds, rng))
    text = (tmp_path / "unit" / "0.gpx").read_text()
    stripped = "".join(part.split("</time>")[-1] for part in text.split("<time>"))
    (tmp_path / "unit" / "0.gpx").write_text(stripped)
    found = analyse(tmp_path)
    assert [r.spikes for r in found.results] == [None, 0, 0]
    (device,) = [s for s in found.summaries.devices if not s.route]
    assert (device.figures["spikes"].value, device.figures["spikes"].method) == (0.0, "in 0 of 2 recordings")


def test_an_excursion_in_mid_ride_changes_neither_first_fix_nor_road_missed(tmp_path: Path) -> None:
    """At fix 200 the receiver is 600 m off and comes back over two fixes; the file says the wait was 5 s."""
    rng = np.random.default_rng(9)
    for day in range(4):
        seconds = np.arange(5.0, 405.0)
        xy = road_m(seconds, rng)
        if day == 1:
            xy[200:203, 1] += [600.0, 350.0, 150.0]
        if day == 2:
            xy[150:190, 1] += np.concatenate([np.full(20, 900.0), np.linspace(900, 0, 20)])
        write_ride(
            tmp_path / "unit" / f"{day}.gpx", f"2024-05-1{day}T07:00:00", seconds, xy, f"2024-05-1{day}T07:00:00"
        )
    found = analyse(tmp_path)
    assert [r.first_fix.seconds for r in found.results] == [5.0] * 4
    assert all(r.first_fix.missed_m < 40.0 for r in found.results)


@pytest.mark.parametrize("interval_s", [61, 90, 150, 300])
def test_a_recording_that_is_sampled_slowly_is_ridden_and_not_all_gaps(tmp_path: Path, interval_s: int) -> None:
    rng = np.random.default_rng(1)
    for day in range(3):
        seconds = interval_s * np.arange(12.0)
        seconds[9:] += 4 * interval_s  # one silence, long against the recording's own interval
        write_ride(tmp_path / "unit" / f"{day}.gpx", f"2024-05-1{day}T07:00:00", seconds, road_m(seconds, rng))
    found = analyse(tmp_path)
    straight = road_m(interval_s * np.arange(12.0), np.random.default_rng(1))
    legs = np.hypot(*np.diff(straight, axis=0).T)
    for result in found.results:
        assert [(g.after_point, g.seconds) for g in result.gaps] == [(8, 5.0 * interval_s)]
        assert result.length_m == pytest.approx(legs.sum() * 10 / 11, rel=0.01)


def test_two_people_on_other_days_are_not_one_ride(tmp_path: Path) -> None:
    rng = np.random.default_rng(2)
    for day in range(3):
        seconds = np.arange(400.0)
        write_ride(tmp_path / "ann" / f"{day}.gpx", f"2024-05-1{day}T07:00:00", seconds, road_m(seconds, rng))
        write_ride(tmp_path / "ben" / f"{day}.gpx", f"2024-08-2{day + 3}T09:22:23", seconds, road_m(seconds, rng))
    found = analyse(tmp_path)
    assert len({r.ride for r in found.results}) == 6
    assert not [note for note in found.notes if "clock" in note]


def test_a_recording_that_is_written_backwards_leaves_the_road_where_it_did(tmp_path: Path) -> None:
    """Its points stand last first; in order of time again it is the same ride, with the same deviation everywhere."""
    rng = np.random.default_rng(4)
    seconds = np.arange(500.0)
    roads = [road_m(seconds, rng) for _ in range(4)]
    roads[3][200:301, 1] += 150.0 * np.sin(np.pi * np.arange(101) / 100)
    found = []
    for way in ("forwards", "backwards"):
        for day, road in enumerate(roads):
            write_ride(tmp_path / way / "unit" / f"{day}.gpx", f"2024-05-1{day}T07:00:00", seconds, road)
        if way == "backwards":
            path = tmp_path / way / "unit" / "3.gpx"
            head, *points = path.read_text().split("<trkpt")
            last, end = points[-1].split("</trkseg>")
            path.write_text("<trkpt".join([head, last, *points[-2::-1]]) + "</trkseg>" + end)
        found.append(analyse(tmp_path / way))
    forwards, backwards = found
    assert (np.diff(backwards.traces[3].point) == -1).all()
    (here,), (there,) = forwards.deviations, backwards.deviations
    assert (here.from_point, here.to_point) == (499 - there.from_point, 499 - there.to_point)
    assert (here.from_m, here.to_m, here.from_time, here.peak_m) == (
        there.from_m,
        there.to_m,
        there.from_time,
        there.peak_m,
    )
    drawn = [layers.deviations(analysis).geometry.iloc[0] for analysis in found]
    assert drawn[0].equals(drawn[1])
    assert len(shapely.get_coordinates(drawn[1])) == here.to_point - here.from_point + 1
    decided = flags.decided((), backwards.deviations, backwards.traces, "error", "")
    assert flags.marked(there, backwards.traces[3], decided).flag == "error"
    counted = flags.counting(backwards.traces[3], decided)
    assert np.flatnonzero(~counted).tolist() == list(range(here.from_point, here.to_point + 1))
    (shown,) = publication(backwards, ()).analysis.deviations
    assert (shown.from_point, shown.to_point) == (here.from_point, here.to_point)


@pytest.mark.parametrize(
    ("first", "zone"),
    [("0001-01-01T00:00:00", ""), ("0001-01-01T00:00:00", "Etc/GMT+12"), ("9999-12-31T23:50:00", "Pacific/Kiritimati")],
    ids=["year 1", "year 1, west", "year 9999, east"],
)
def test_impossible_times_of_one_recording_stop_nobody(tmp_path: Path, first: str, zone: str) -> None:
    """By the sun, or a zone, the first day of the calendar begins before it and the last ends after it."""
    rng, seconds = np.random.default_rng(5), np.arange(150.0)
    (tmp_path / "campaign.toml").write_text(f'time_zone = "{zone}"\n[settings]\nresamples = 100\n')
    for day in range(4):
        road = road_m(seconds, rng)[day * 5 :]
        write_ride(tmp_path / f"{day}.gpx", f"2024-05-1{day}T07:00:00", seconds[day * 5 :], road)
    write_ride(tmp_path / "odd.gpx", first, seconds, road_m(seconds, rng))
    found = analyse(tmp_path)
    assert [trace.accepted for trace in found.traces] == [150, 145, 140, 135, 150]
    assert found.routes[0].centreline is not None

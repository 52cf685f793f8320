"""The shared cases whose expectations concern several files: folders, duplicates, exchanged coordinates, rollover."""

from __future__ import annotations

import os
import shutil
from typing import TYPE_CHECKING

import numpy as np
import pytest

from gpsq.model import Trace
from gpsq.pipeline.check import inspect_paths
from gpsq.plane import geodesic_inverse_m
from gpsq.reading import read_file, read_folder
from gpsq.rides.copies import compare
from gpsq.settings import Settings

if TYPE_CHECKING:
    from pathlib import Path


def traces_of(folder: Path, *names: str) -> list[Trace]:
    read = [r for name in names for r in read_file(folder / name, name, settings=Settings())]
    assert all(isinstance(r, Trace) for r in read)
    return [r for r in read if isinstance(r, Trace)]


@pytest.mark.open_data
def test_week_rollover_is_named_and_nothing_is_shifted(shared: Path) -> None:
    """Case 14; the week number has ten bits, so it repeats after 1,024 weeks (IS-GPS-200, 20.3.3.3.1.1)."""
    traces = traces_of(shared / "inputs/14-week-rollover", "new-device.gpx", "old-device.gpx")
    (finding,) = compare(traces)
    assert (finding.kind, finding.trace, finding.other) == ("week_rollover", 1, 0)
    assert "7168 days" in finding.note
    assert "2024-05-16T06:55:00" in finding.note
    assert traces[1].time[0] == np.datetime64("2004-09-30T06:55:00")
    assert (traces[1].time[0] - traces[0].time[0]) / np.timedelta64(1, "s") == -619_315_200


@pytest.mark.open_data
def test_exchanged_coordinates_are_named_and_left_alone(shared: Path) -> None:
    """Case 19: c lies 8,015 km from a as written; the largest distance once exchanged is 5.5 m."""
    traces = traces_of(shared / "inputs/19-swapped-lat-lon", "a.gpx", "b.gpx", "c.gpx")
    (finding,) = compare(traces)
    assert (finding.kind, finding.trace) == ("swapped_lat_lon", 2)
    assert finding.metres < 10.0
    a, _, c = traces
    (pair,) = compare([a, c])[:1]
    assert pair.metres == pytest.approx(5.497901, abs=0.5)
    apart_m = geodesic_inverse_m(a.lon_deg, a.lat_deg, c.lon_deg, c.lat_deg)
    assert apart_m.max() > 7_000_000
    assert c.lat_deg[0] == -3.7599937


@pytest.mark.open_data
def test_of_two_either_may_be_exchanged(shared: Path) -> None:
    traces = traces_of(shared / "inputs/19-swapped-lat-lon", "a.gpx", "c.gpx")
    assert [f.kind for f in compare(traces)] == ["swapped_lat_lon"] * 2
    assert all("or else of" in f.note for f in compare(traces))


@pytest.mark.open_data
def test_one_ride_exported_twice_is_one_recording(shared: Path) -> None:
    """Case 28: the two exports differ by at most 0.06224 m; the next day is another ride."""
    traces = traces_of(shared / "inputs/28-same-ride-twice", "export-a.gpx", "export-b.gpx", "next-day.gpx")
    (finding,) = compare(traces)
    assert (finding.kind, finding.other, finding.trace) == ("same_recording", 0, 1)
    assert finding.metres == pytest.approx(0.06224, abs=0.005)


@pytest.mark.open_data
def test_devices_riding_together_are_not_one_recording(shared: Path) -> None:
    """Twelve drives by three trips of four receivers that differ by metres (highway_loop, SOURCE.md)."""
    readings = read_folder(shared / "data/highway_loop")
    assert len(readings.traces) == 12
    assert compare(readings.traces) == ()


@pytest.mark.open_data
def test_a_ride_across_the_antimeridian_is_short(shared: Path) -> None:
    """Case 20: 0.03 degrees of longitude about 180, 3.2 km."""
    for trace in traces_of(shared / "inputs/20-antimeridian", "day1.gpx", "day2.gpx"):
        east = np.where(trace.lon_deg < 0, trace.lon_deg + 360, trace.lon_deg)
        assert np.ptp(east) == pytest.approx(0.03, abs=1e-4)
        assert (east.max() + east.min()) / 2 == pytest.approx(180.0, abs=1e-3)
        assert trace.set_aside == ()


@pytest.fixture
def tree(shared: Path, tmp_path: Path) -> Path:
    """Case 32 with its links (its setup.sh makes them; a copy may not carry them)."""
    tree = tmp_path / "tree"
    shutil.copytree(shared / "inputs/32-names-and-folders/tree", tree)
    for path in (tree, *tree.rglob("*")):
        path.chmod(0o755 if path.is_dir() else 0o644)
    (tree / "link.gpx").symlink_to("mon/ride.gpx")
    (tree / "loop").symlink_to(".")
    (tree / "dangling.gpx").symlink_to("nowhere.gpx")
    shutil.copy(tree / "mon/ride.gpx", tree / "secret.gpx")
    (tree / "secret.gpx").chmod(0o000)
    return tree


@pytest.mark.open_data
def test_a_folder_with_links_and_unreadable_files_is_read(tree: Path) -> None:
    """Case 32: five readable files with eight recordings, one line for every other file; the loop does not hang."""
    readings = read_folder(tree)
    files = {t.file for t in readings.traces} - {"secret.gpx"}
    assert len(files) == 5
    assert sum(t.file != "secret.gpx" for t in readings.traces) == 8
    assert {t.file for t in readings.traces if t.file.startswith("wed/")} == {
        "wed/Caf\u00e9 \U0001f6b2.gpx",
        "wed/Cafe\u0301 \U0001f6b2.gpx",
    }
    messages = {u.file: u.message for u in readings.unreadable}
    assert "not complete XML" in messages["thu/broken.gpx"]
    assert "a link to nothing" in messages["dangling.gpx"]
    if os.geteuid() != 0:  # root may read everything
        assert "permission denied" in messages["secret.gpx"]
    assert readings.notes == ("link.gpx is the same file as mon/ride.gpx and counts once.",)


@pytest.mark.open_data
def test_check_tells_the_same_of_a_folder(tree: Path) -> None:
    records = inspect_paths([tree], Settings())
    by_file = {record["file"].removeprefix(f"{tree}/"): record for record in records}
    assert by_file["mon/ride.gpx"]["outcome"] == "ok-warn"
    assert by_file["mon/ride.gpx"]["suspected"] == ["same_file"]
    assert by_file["thu/broken.gpx"]["outcome"] == "error"
    assert by_file["dangling.gpx"]["outcome"] == "error"


def test_a_very_large_file_keeps_every_point(tmp_path: Path) -> None:
    """Case 27 with a tenth of its points: same arithmetic, 30,000 points; length by its own geometry."""
    path = tmp_path / "big.gpx"
    write_zigzag(path, 30_000)
    (record,) = inspect_paths([path], Settings())
    assert (record["points"], record["accepted"], record["outcome"]) == (30_000, 30_000, "ok")
    assert record["duration_s"] == 29_999
    east_m = geodesic_inverse_m(
        np.full(10, -3.9),
        51.2 + 0.001 * np.arange(10),
        np.full(10, -3.9 + 2999 * 0.00005),
        51.2 + 0.001 * np.arange(10),
    )
    north_m = geodesic_inverse_m(
        np.full(9, -3.9), 51.2 + 0.001 * np.arange(9), np.full(9, -3.9), 51.201 + 0.001 * np.arange(9)
    )
    assert record["distance_m"] == pytest.approx(east_m.sum() + north_m.sum(), rel=1e-4)
    assert record["ele_mean_m"] == pytest.approx(13.0, abs=0.001)


def write_zigzag(path: Path, count: int) -> None:
    """Write what the case's own generator writes: rows of 3,000 points, back and forth, one a second."""
    start, second = np.datetime64("2024-07-01T00:00:00"), np.timedelta64(1, "s")
    with path.open("w", encoding="utf-8") as file:
        file.write('<?xml version="1.0"?><gpx version="1.1" xmlns="http://www.topografix.com/GPX/1/1"><trk><trkseg>\n')
        for i in range(count):
            row, j = divmod(i, 3000)
            step = j if row % 2 == 0 else 2999 - j
            lat, lon, ele = 51.2 + row * 0.001, -3.9 + step * 0.00005, 10 + i % 7
            file.write(
                f'<trkpt lat="{lat:.7f}" lon="{lon:.7f}"><ele>{ele}.0</ele><time>{start + i * second}Z</time></trkpt>\n'
            )
        file.write("</trkseg></trk></gpx>\n")

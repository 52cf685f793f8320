"""The shared cases of several files, driven through the whole analysis: rides, repeats, notes, passes."""

from __future__ import annotations

import csv
import os
import shutil
from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np
import pytest

from gpsq.pipeline.analysis import analyse
from gpsq.reading import read_folder
from gpsq.rides.passes import cut

if TYPE_CHECKING:
    from collections.abc import Callable

    from gpsq.results import Analysis, TraceResult

pytestmark = pytest.mark.open_data


def by_file(analysis: Analysis) -> dict[str, TraceResult]:
    return {analysis.traces[r.trace].label: r for r in analysis.results}


@pytest.fixture
def case(shared: Path) -> Callable[[str], Analysis]:
    def run(name: str) -> Analysis:
        return analyse(shared / "inputs" / name)

    return run


def test_week_rollover_pairs_the_two_recordings(case: Callable[[str], Analysis]) -> None:
    """Case 14: one ride by two devices, though neither folder nor creator tells the devices apart; dates stay."""
    analysis = case("14-week-rollover")
    results = by_file(analysis)
    assert {r.ride for r in results.values()} == {"R01"}
    assert {r.route for r in results.values()} == {"A"}
    (note,) = analysis.notes
    assert "7168 days (1024 weeks)" in note
    assert "2024-05-16T06:55:00" in note
    old = next(t for t in analysis.traces if t.file == "old-device.gpx")
    assert old.time[0] == np.datetime64("2004-09-30T06:55:00")


def test_the_same_commute_on_another_day_is_no_wrong_clock(shared: Path, tmp_path: Path) -> None:
    """Case 14 with 1,023 weeks between the two, and with two hours: other rides, and no offset is claimed."""
    for days, hours in ((7161, 0), (7168, 2), (1, 0), (1, 1)):
        folder = tmp_path / f"{days}-{hours}"
        shutil.copytree(shared / "inputs/14-week-rollover", folder, copy_function=shutil.copy)
        new = (folder / "new-device.gpx").read_text(encoding="utf-8")
        for path in folder.iterdir():
            path.chmod(0o644)
        folder.chmod(0o755)
        shifted = new
        for text in sorted({t.split("<")[0] for t in new.split("<time>")[1:]}):
            moved = np.datetime64(text.removesuffix("Z")) - np.timedelta64(days * 24 + hours, "h")
            shifted = shifted.replace(f"<time>{text}", f"<time>{moved}Z")
        (folder / "old-device.gpx").write_text(shifted, encoding="utf-8")
        analysis = analyse(folder)
        assert {r.ride for r in analysis.results} == {"R01", "R02"}
        assert not analysis.notes


def test_exchanged_coordinates_stay_out_of_the_line(case: Callable[[str], Analysis]) -> None:
    """Case 19: a and b give the line; c is named, lies on a road of its own, and is changed in nothing."""
    analysis = case("19-swapped-lat-lon")
    results = by_file(analysis)
    assert results["a.gpx"].route == results["b.gpx"].route != results["c.gpx"].route
    (note,) = analysis.notes
    assert note.startswith("Latitude and longitude of c.gpx are probably exchanged")
    line = analysis.route_named(results["a.gpx"].route)
    assert line is not None
    assert line.centreline is not None
    assert line.centreline.length_m == pytest.approx(415, abs=10)
    assert results["c.gpx"].status == "not scored"
    assert "nothing to compare" in results["c.gpx"].reason


def test_a_ride_exported_twice_counts_once(case: Callable[[str], Analysis], shared: Path, tmp_path: Path) -> None:
    """Case 28: two rides of three files; the line is that of export-a and the next day, and that is said."""
    analysis = case("28-same-ride-twice")
    results = by_file(analysis)
    assert results["export-a.gpx"].ride == results["export-b.gpx"].ride != results["next-day.gpx"].ride
    assert {f: r.duplicate_of for f, r in results.items() if r.duplicate_of} == {"export-b.gpx": "export-a.gpx"}
    assert any("one ride, counted once, by export-a.gpx" in note for note in analysis.notes)
    (route,) = analysis.routes
    assert len(route.rides) == 2
    assert route.centreline is not None
    for name in ("export-a.gpx", "next-day.gpx"):
        shutil.copy(shared / "inputs/28-same-ride-twice" / name, tmp_path / name)
    (without,) = analyse(tmp_path).routes
    assert without.centreline is not None
    assert route.centreline.length_m == pytest.approx(without.centreline.length_m, abs=0.5)
    assert int(route.centreline.support.max()) == 2


def test_a_copied_file_without_times_counts_once(shared: Path, tmp_path: Path) -> None:
    """The same bytes twice are one recording, also where no time can tell."""
    for name in ("mon.gpx", "mon-copy.gpx"):
        shutil.copy(shared / "inputs/10-route-waypoints-notime/track-no-time.gpx", tmp_path / name)
    results = by_file(analyse(tmp_path))
    assert {f: r.duplicate_of for f, r in results.items()} == {"mon-copy.gpx": "", "mon.gpx": "mon-copy.gpx"}
    assert len({r.ride for r in results.values()}) == 1


@pytest.mark.parametrize(
    ("name", "file", "waited_s", "missed_m"),
    [("16-zero-zero-before-fix", "device.gpx", 42.0, 218.4), ("22-frozen-last-known", "frozen.gpx", 55.0, 312.0)],
)
def test_what_was_missed_before_the_fix_shows_beside_a_whole_recording(
    case: Callable[[str], Analysis], name: str, file: str, waited_s: float, missed_m: float
) -> None:
    """Cases 16 and 22: reference.gpx is a recording among the others here, and begins where the ride began."""
    found = by_file(case(name))[file].first_fix
    assert found.seconds == waited_s
    assert found.missed_m == pytest.approx(missed_m, abs=1.0)


@pytest.mark.parametrize("name", ["16-zero-zero-before-fix", "22-frozen-last-known", "29-out-and-back"])
def test_a_reference_named_in_the_campaign_is_no_recording(shared: Path, tmp_path: Path, name: str) -> None:
    for path in (shared / "inputs" / name).glob("*.gpx"):
        shutil.copyfile(path, tmp_path / path.name)
    (tmp_path / "campaign.toml").write_text('[reference]\nA = "reference.gpx"\n', encoding="utf-8")
    analysis = analyse(tmp_path)
    assert "reference.gpx" not in by_file(analysis)
    assert len(analysis.results) == len(list(tmp_path.glob("*.gpx"))) - 1


def test_a_ride_across_the_antimeridian_has_one_short_line(case: Callable[[str], Analysis]) -> None:
    """Case 20: the line of the two rides runs 3.2 km and 1 m from each, on the right side of the globe."""
    (route,) = case("20-antimeridian").routes
    assert route.centreline is not None
    assert route.centreline.length_m == pytest.approx(3197.9, abs=5.0)
    lon, _ = route.route.plane.to_degrees(route.centreline.xy_m)
    assert (np.abs(np.abs(lon) - 180.0) < 0.02).all()
    for xy in route.route.xy_m:  # the rides run due east, 2 m apart
        away = np.abs(np.interp(route.centreline.xy_m[:, 0], *xy[np.argsort(xy[:, 0])].T) - route.centreline.xy_m[:, 1])
        assert away.max() == pytest.approx(1.0, abs=0.1)


def test_half_a_ride_shares_the_route_and_keeps_its_own_length(case: Callable[[str], Analysis]) -> None:
    """Case 29: the recording that only goes out is never taken for the whole way."""
    results = by_file(case("29-out-and-back"))
    assert results["out-only.gpx"].length_m == pytest.approx(600.0, abs=0.6)
    assert results["both.gpx"].length_m == pytest.approx(1200.0, abs=1.2)
    assert not any(r.duplicate_of for r in results.values())


def test_links_and_broken_files_are_told_in_the_analysis(shared: Path, tmp_path: Path) -> None:
    """Case 32: eight recordings in five files; a line for each file that cannot be read."""
    tree = tmp_path / "tree"
    shutil.copytree(shared / "inputs/32-names-and-folders/tree", tree, copy_function=shutil.copyfile)
    for folder, _, _ in os.walk(tree):
        Path(folder).chmod(0o755)
    (tree / "link.gpx").symlink_to("mon/ride.gpx")
    analysis = analyse(tree)
    assert len(analysis.results) == 8
    assert "link.gpx is the same file as mon/ride.gpx and counts once." in analysis.notes
    assert "thu/broken.gpx" in {u.file for u in analysis.unreadable}


# ---------------------------------------------------------------- continuous recordings


@pytest.fixture(scope="module")
def continuous(shared: Path, tmp_path_factory: pytest.TempPathFactory) -> Analysis:
    folder = tmp_path_factory.mktemp("continuous")
    for path in (shared / "data/park_passes/continuous").glob("watch-*.gpx"):
        (folder / path.stem).mkdir()
        shutil.copyfile(path, folder / path.stem / path.name)
    (folder / "campaign.toml").write_text("cut_passes = true\n", encoding="utf-8")
    return analyse(folder)


def test_a_recording_of_many_passes_is_cut_when_asked(continuous: Analysis, shared: Path) -> None:
    """park_passes/continuous, with passes.csv noted by hand: two routes, twenty rides, by two watches."""
    assert [len(r.rides) for r in continuous.routes] == [10, 10]
    assert len({t.key for t in continuous.traces}) == len(continuous.traces) == 40
    assert all(r.status == "scored" for r in continuous.results)
    with (shared / "data/park_passes/continuous/passes.csv").open(newline="") as table:
        noted = [datetime.fromisoformat(row["ended"]).timestamp() for row in csv.DictReader(table)]
    for device in ("watch-1", "watch-2"):
        own = sorted((t for t in continuous.traces if t.device == device), key=lambda t: t.track)
        begun = np.array([t.time[0].astype("int64") / 1000.0 for t in own])
        assert len(own) == 20
        # the end of the last pass was noted on the full minute, long after the walker stood still
        assert np.abs(begun[1:] - noted[:-1]).max() <= 20.0


def test_cutting_is_told_and_loses_no_point(continuous: Analysis) -> None:
    assert sum("was cut into 20 passes, its tracks 1 to 20" in note for note in continuous.notes) == 2
    for device, points in (("watch-1", 6870), ("watch-2", 5975)):
        own = [t for t in continuous.traces if t.device == device]
        assert sum(t.points for t in own) == points
        outside = sum(s.points for t in own for s in t.set_aside if s.reason == "outside_passes")
        assert sum(t.accepted for t in own) + outside == points


def test_uncut_recordings_are_left_whole_and_the_cut_is_proposed(shared: Path) -> None:
    analysis = analyse(shared / "data/park_passes/continuous")
    assert len(analysis.traces) == 3
    assert sum("cut_passes = true" in note for note in analysis.notes) == 3


def test_commutes_and_recordings_cut_already_are_not_proposed_for_cutting(shared: Path) -> None:
    for folder in ("highway_loop", "park_passes/FC", "park_passes/MC"):
        readings = read_folder(shared / "data" / folder)
        assert len(readings.traces) >= 12
        assert cut(readings.traces, readings.campaign.settings, asked=False) == (readings.traces, (), frozenset())


def test_the_analysis_agrees_with_the_option(shared: Path, tmp_path: Path) -> None:
    """The option of the call does what the key in campaign.toml does; flags know the parts by content and track."""
    shutil.copyfile(shared / "inputs/29-out-and-back/both.gpx", tmp_path / "both.gpx")
    analysis = analyse(tmp_path, cut_passes=True)
    one, other = analysis.traces
    assert (one.track, other.track) == (1, 2)
    assert one.sha256 == other.sha256
    assert {r.route for r in analysis.results} == {"A", "B"}

"""When a recording was started: the log, records before the fix, the file's own time, or unknown."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import pytest
from small_rides import gpx, write, zipped

from gpsq.reading import read_folder

if TYPE_CHECKING:
    from pathlib import Path

    from gpsq.reading import Readings


def wait_s(readings: Readings, file: str) -> float:
    (trace,) = (t for t in readings.traces if t.file == file)
    return float((trace.time[0] - trace.started) / np.timedelta64(1, "s"))


def basis(readings: Readings) -> dict[str, str]:
    return {t.file: t.start_basis for t in readings.traces}


def test_a_file_time_before_the_first_fix_is_the_start_within_the_bound(tmp_path: Path) -> None:
    write(
        tmp_path,
        **{
            "near.gpx": gpx(file_time="2024-05-14T07:00:00"),
            "far.gpx": gpx(file_time="2024-05-14T06:30:29"),
            "after.gpx": gpx(file_time="2024-05-14T07:00:31"),
        },
    )
    readings = read_folder(tmp_path)
    assert basis(readings) == {"near.gpx": "file time", "far.gpx": "none", "after.gpx": "none"}
    assert wait_s(readings, "near.gpx") == 30.0
    assert np.isnan(wait_s(readings, "far.gpx"))


def test_a_file_time_equal_to_the_first_fix_is_a_zero_only_for_a_device_that_writes_earlier_ones(
    tmp_path: Path,
) -> None:
    same = "2024-05-14T07:00:30"
    write(
        tmp_path,
        **{
            "honest/mon.gpx": gpx(file_time="2024-05-14T07:00:00"),
            "honest/tue.gpx": gpx(file_time=same),
            "mute/mon.gpx": gpx(file_time=same),
            "mute/tue.gpx": gpx(file_time=same),
        },
    )
    readings = read_folder(tmp_path)
    assert wait_s(readings, "honest/tue.gpx") == 0.0
    assert basis(readings)["mute/mon.gpx"] == "none"


def test_the_log_comes_before_every_other_evidence(tmp_path: Path) -> None:
    log = (
        "file,device,started,start_lat,start_lon,start_state,ride,note\n"
        "mon.gpx,W,2024-05-14T09:00:10+02:00,51.2,-3.61,Cold,R7,rain\n"
    )
    write(tmp_path, **{"mon.gpx": gpx(file_time="2024-05-14T07:00:00"), "rides.csv": log})
    (trace,) = read_folder(tmp_path).traces
    assert (trace.start_basis, str(trace.started)) == ("log", "2024-05-14T07:00:10.000")
    assert (trace.start_lat_deg, trace.start_lon_deg, trace.start_state) == (51.2, -3.61, "cold")
    assert (trace.ride_label, trace.log_note, trace.device) == ("R7", "rain", "W")


def test_a_log_start_after_the_first_fix_is_said_and_never_negative(tmp_path: Path) -> None:
    write(tmp_path, **{"mon.gpx": gpx(), "rides.csv": "file,device,started\nmon.gpx,W,2024-05-14T07:00:35Z\n"})
    readings = read_folder(tmp_path)
    assert basis(readings) == {"mon.gpx": "none"}
    assert "5 s after the first fix" in " ".join(readings.traces[0].notes)


def test_a_log_start_of_another_day_is_not_taken(tmp_path: Path) -> None:
    write(tmp_path, **{"mon.gpx": gpx(), "rides.csv": "file,device,started\nmon.gpx,W,2024-05-13T07:00:00Z\n"})
    readings = read_folder(tmp_path)
    assert basis(readings) == {"mon.gpx": "none"}
    assert "another ride" in " ".join(readings.traces[0].notes)


def test_in_a_file_of_two_tracks_the_log_means_the_next_one(tmp_path: Path) -> None:
    two = gpx().replace("</gpx>", "") + gpx("2024-05-14T17:00:30").split(">", 1)[1]
    write(tmp_path, **{"day.gpx": two, "rides.csv": "file,device,started\nday.gpx,W,2024-05-14T17:00:00Z\n"})
    assert [t.start_basis for t in read_folder(tmp_path).traces] == ["none", "log"]


def test_records_before_the_fix_come_before_the_file_time(tmp_path: Path) -> None:
    text = gpx(file_time="2024-05-14T07:00:00").replace(
        "<trkseg>", '<trkseg><trkpt lat="0" lon="0"><time>2024-05-14T07:00:20Z</time></trkpt>'
    )
    write(tmp_path, **{"mon.gpx": text})
    readings = read_folder(tmp_path)
    assert basis(readings) == {"mon.gpx": "points before fix"}
    assert wait_s(readings, "mon.gpx") == 10.0


def test_the_log_comes_before_records_before_the_fix(tmp_path: Path) -> None:
    """A device that writes before it fixes may begin to write after start was pressed."""
    text = gpx().replace("<trkseg>", '<trkseg><trkpt lat="0" lon="0"><time>2024-05-14T07:00:20Z</time></trkpt>')
    write(tmp_path, **{"mon.gpx": text, "rides.csv": "file,started\nmon.gpx,2024-05-14T07:00:05Z\n"})
    readings = read_folder(tmp_path)
    assert basis(readings) == {"mon.gpx": "log"}
    assert wait_s(readings, "mon.gpx") == 25.0


@pytest.mark.parametrize(("bound_s", "known"), [(1200, "log"), (1199, "none"), (3600, "log")])
def test_how_long_before_its_recording_a_start_may_lie_is_set_in_the_campaign(
    tmp_path: Path, bound_s: int, known: str
) -> None:
    """A row that names no file, twenty minutes before the only recording."""
    told = f"[settings]\nstart_bound_s = {bound_s}\n"
    write(tmp_path, **{"mon.gpx": gpx(), "rides.csv": "started\n2024-05-14T06:40:30Z\n", "campaign.toml": told})
    readings = read_folder(tmp_path)
    assert basis(readings) == {"mon.gpx": known}
    assert len(readings.problems) == (known == "none")


def test_a_file_time_says_nothing_where_the_clock_was_set_by_the_fix(tmp_path: Path) -> None:
    early = "".join(f'<trkpt lat="0" lon="0"><time>1980-01-06T00:00:0{i}Z</time></trkpt>' for i in range(3))
    text = gpx(file_time="2024-05-14T07:00:00").replace("<trkseg>", f"<trkseg>{early}")
    write(tmp_path, **{"mon.gpx": text})
    (trace,) = read_folder(tmp_path).traces
    assert (trace.start_basis, trace.records_before_fix, trace.clock_jumps_at_fix) == ("none", 3, True)


def test_a_folder_of_archives_is_read_like_the_folder_itself(tmp_path: Path) -> None:
    (tmp_path / "week.zip").write_bytes(zipped(**{"watch/mon.gpx": gpx().encode()}))
    write(tmp_path, **{"rides.csv": "file,device,started\nmon.gpx,Logged,2024-05-14T07:00:00Z\n"})
    readings = read_folder(tmp_path)
    assert [(t.file, t.device, t.start_basis) for t in readings.traces] == [("week.zip/watch/mon.gpx", "Logged", "log")]
    assert readings.problems == ()


def test_a_log_in_words_without_files_gives_every_start_of_a_flat_folder(tmp_path: Path) -> None:
    """One device, files by date that begin at the fix: local times of a zone, day first, on a table with semicolons."""
    rows = "Date;Pressed start;Note\n14.5.2024;08:00:05;\n14.5.2024;18:00:20;rain\n\n15.5.2024;08:00:23;\n"
    write(
        tmp_path,
        **{
            "2024-05-14-out.gpx": gpx("2024-05-14T07:00:30"),
            "2024-05-14-back.gpx": gpx("2024-05-14T17:00:30"),
            "2024-05-15-out.gpx": gpx("2024-05-15T07:00:30"),
            "rides.csv": rows,
            "campaign.toml": 'time_zone = "Europe/London"\n',
        },
    )
    readings = read_folder(tmp_path)
    assert set(basis(readings).values()) == {"log"}
    waits = [wait_s(readings, f"2024-05-{name}.gpx") for name in ("14-out", "14-back", "15-out")]
    assert waits == [25.0, 10.0, 7.0]
    assert readings.problems == ()


def test_a_row_that_no_recording_follows_is_told_of(tmp_path: Path) -> None:
    write(tmp_path, **{"mon.gpx": gpx(), "rides.csv": "started\n2024-05-14 09:00:05 +01:00\n"})
    (problem,) = read_folder(tmp_path).problems
    assert "mon.gpx, begins 59.6 min earlier" in problem

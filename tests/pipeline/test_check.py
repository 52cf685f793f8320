"""`gpsq check`: the shape of its records, and figures of recordings whose answer is known."""

from __future__ import annotations

import csv
import json
from typing import TYPE_CHECKING

import numpy as np
import pytest

from gpsq.pipeline.check import FIELDS, REASONS, describe, inspect_paths
from gpsq.settings import Settings

if TYPE_CHECKING:
    from pathlib import Path

SHAPE = {
    "file": str, "track": int, "name": str, "outcome": str, "message": str, "points": int, "accepted": int,
    "rejected": int, "reasons": dict, "timed": int, "started": (str, type(None)), "start_basis": str,
    "first_fix": (str, type(None)), "ttff_s": (float, type(None)), "ttff_at_least_s": (float, type(None)),
    "distance_m": (float, type(None)), "duration_s": (float, type(None)), "recorded_s": (float, type(None)),
    "interval_s": (float, type(None)), "gaps": list, "speed_mean_mps": (float, type(None)), "notes": list,
}  # fmt: skip


def ride(*points: tuple[float, float, str], fix: str = "") -> str:
    rows = "".join(
        f'<trkpt lat="{lat}" lon="{lon}"><time>2024-05-14T{time}Z</time>{fix}</trkpt>' for lat, lon, time in points
    )
    return f"<gpx><trk><name>Ride</name><trkseg>{rows}</trkseg></trk></gpx>"


def record_of(tmp_path: Path, text: str) -> dict[str, object]:
    path = tmp_path / "ride.gpx"
    path.write_text(text, encoding="utf-8")
    (record,) = inspect_paths([path], Settings())
    return record


@pytest.mark.parametrize(
    "text",
    [ride((0.5, 0, "07:00:00"), (0.5, 1, "08:00:00")), ride((0, 0, "07:00:00")), "<gpx/>", ""],
    ids=["ride", "never", "none", "empty"],
)
def test_the_shape_is_the_contract(tmp_path: Path, text: str) -> None:
    record = record_of(tmp_path, text)
    assert tuple(SHAPE) == FIELDS == tuple(record)[: len(FIELDS)]
    for name, kind in SHAPE.items():
        if not (record["outcome"] == "error" and record[name] is None):
            assert isinstance(record[name], kind), name
    assert record["outcome"] in {"ok", "ok-warn", "error"}
    assert set(record["reasons"]) <= set(REASONS)  # type: ignore[call-overload]  # a dict
    assert json.loads(json.dumps(record, allow_nan=False)) == record


def test_the_time_of_the_file_is_a_start(tmp_path: Path) -> None:
    """Begun at 06:59:30 by the file's own heading (GPX 1.1, metadata/time), fixed at 07:00:00."""
    text = ride((0.0, 3.0, "07:00:00"), (0.0, 3.0001, "07:00:05"), (0.0, 3.0002, "07:00:10"))
    record = record_of(tmp_path, text.replace("<trk>", "<metadata><time>2024-05-14T06:59:30Z</time></metadata><trk>"))
    assert (record["started"], record["start_basis"]) == ("2024-05-14T06:59:30Z", "file time")
    assert record_of(tmp_path, text)["start_basis"] == "none"


def test_length_is_that_of_geodesics_on_wgs_84(tmp_path: Path) -> None:
    """One degree of longitude on the equator is 111,319.491 m (a · pi / 180, a = 6,378,137 m, NIMA TR8350.2)."""
    record = record_of(tmp_path, ride((0.0, 3.0, "07:00:00"), (0.0, 3.5, "07:00:50"), (0.0, 4.0, "07:01:40")))
    # half a degree in 50 s is no ride, but nothing says which of the three points would be the wrong one
    assert record["distance_m"] == pytest.approx(111_319.491, abs=0.001)
    assert record["duration_s"] == 100.0
    assert record["speed_mean_mps"] == pytest.approx(1113.19491, abs=1e-4)


def test_a_gap_is_told_and_not_ridden(tmp_path: Path) -> None:
    """A degree of latitude at the equator is 110,574 m (Snyder, USGS PP 1395, table 3); 0.001 of it 110.57 m."""
    record = record_of(
        tmp_path,
        ride((0.0, 3.0, "07:00:00"), (0.001, 3.0, "07:00:20"), (0.003, 3.0, "07:02:20"), (0.004, 3.0, "07:02:40")),
    )
    assert record["gaps"] == [{"after_point": 1, "seconds": 120.0, "metres": pytest.approx(221.15, abs=0.01)}]
    assert record["distance_m"] == pytest.approx(221.15, abs=0.01)
    assert record["distance_with_gaps_m"] == pytest.approx(442.30, abs=0.02)
    assert (record["duration_s"], record["recorded_s"]) == (160.0, 40.0)
    assert record["speed_mean_mps"] == pytest.approx(221.15 / 40, abs=0.001)
    assert record["outcome"] == "ok"


def test_a_device_that_never_fixed_has_a_lower_bound_and_no_zero(tmp_path: Path) -> None:
    record = record_of(tmp_path, ride((0, 0, "07:00:00"), (0, 0, "07:00:30"), (0, 0, "07:01:30")))
    assert (record["accepted"], record["ttff_s"], record["ttff_at_least_s"]) == (0, None, 90.0)
    assert (record["distance_m"], record["first_fix"]) == (None, None)
    assert "never had a fix" in " ".join(record["notes"])  # type: ignore[call-overload]  # a list


def test_standing_still_is_told_apart_from_riding(tmp_path: Path) -> None:
    """A minute at lights within a metre or two, between two stretches at 5 m/s."""
    rng = np.random.default_rng(3)
    east_m = np.concatenate([np.arange(0, 300, 5.0), 300 + rng.normal(0, 1, 60), np.arange(300, 600, 5.0)])
    points = [(51.2, -3.6 + float(x) / 69_900, f"07:{i // 60:02d}:{i % 60:02d}") for i, x in enumerate(east_m)]
    record = record_of(tmp_path, ride(*points))
    assert record["standing_s"] == pytest.approx(60, abs=4)
    moving = record["distance_m"] - record["wander_m"]  # type: ignore[operator]  # numbers
    assert moving == pytest.approx(600, abs=12)


def test_words_say_what_the_record_says(tmp_path: Path) -> None:
    record = record_of(tmp_path, ride((0, 0, "07:00:00"), (51.2, -3.6, "07:00:30"), (51.2, -3.601, "07:00:40")))
    text = describe([record])
    assert "first fix after 30 s (points before fix)" in text
    assert "1 of 3 points stand at 0,0" in text
    assert describe([record_of(tmp_path, "")]).endswith("found an empty file; expected a recording")


def test_a_missing_file_gets_one_line(tmp_path: Path) -> None:
    (record,) = inspect_paths([tmp_path / "gone.gpx"], Settings())
    assert record["outcome"] == "error"
    assert "\n" not in record["message"]


@pytest.mark.open_data
def test_the_first_fix_seconds_of_real_logs_are_measured(shared: Path) -> None:
    """nmea_logs/first_fix.csv gives the seconds that each log holds evidence for, or why there are none."""
    with (shared / "data/nmea_logs/first_fix.csv").open(encoding="utf-8") as file:
        rows = list(csv.DictReader(file))
    assert len(rows) >= 10
    for row in rows:
        (record,) = inspect_paths([shared / "data/nmea_logs" / row["file"]], Settings())
        if row["usable_as_ttff"] == "yes":
            assert record["ttff_s"] == pytest.approx(float(row["seconds"]), abs=1.0), row["file"]
        else:
            assert record["ttff_s"] is None, row["file"]
            assert record["records_before_fix"] > 0

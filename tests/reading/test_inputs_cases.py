"""Every expectation of the shared cases of odd input (their TERMS.md defines the words), by `gpsq check`."""

from __future__ import annotations

import tomllib
from collections import Counter
from typing import TYPE_CHECKING, Any

import numpy as np
import pytest
from open_data import open_cases

from gpsq.pipeline.check import inspect_paths
from gpsq.settings import Settings

if TYPE_CHECKING:
    from pathlib import Path

pytestmark = pytest.mark.open_data

#: Where a case's expectation stands in a record of ``check --json``.
SAME_NAME = {"timed", "elapsed_s", "recorded_s", "ele_known", "ele_min_m", "ele_max_m", "ttff_3d_s", "truncated"}
FIGURES = {
    "distance_m": "distance_m",
    "duration_s": "duration_s",
    "ttff_s": "ttff_s",
    "mean_speed_mps": "speed_mean_mps",
    "mean_speed": "speed_mean_mps",
    "computed_speed_mean_mps": "speed_mean_mps",
    "recorded_speed_mean_mps": "recorded_speed_mean_mps",
    "max_speed_mps": "speed_max_mps",
    "ele_mean_m": "ele_mean_m",
    "hdop_mean": "hdop_mean",
    "interval_median_s": "interval_s",
    "recorded_distance_m": "distance_without_gaps_m",
    "recorded_distance_without_gap_m": "distance_without_gaps_m",
    "distance_with_straight_gaps_m": "distance_with_gaps_m",
    "raw_distance_m": "distance_m",
    "stationary_points": "standing_points",
    "stationary_s": "standing_s",
    "wander_m": "wander_m",
} | {name: name for name in SAME_NAME}
TIMES = {
    "first_time_utc": "first_time",
    "last_time_utc": "last_time",
    "first_record_utc": "first_record",
    "first_fix_utc": "first_fix",
    "first_time_recorded": "first_time",
}
EXTRAS = {"hr_mean": "hr", "accuracy_mean_m": "accuracy"}
COUNTS = {"zone_assumed_utc", "bad_checksum_sentences", "fragments", "garbage_lines", "epochs_lost"}
#: Said of the case, or tested in a place of its own below or with the stage that computes it.
ELSEWHERE = {
    "file", "outcome", "acceptable", "note", "with_option", "distance_tol_m", "recordings", "names", "name", "points",
    "accepted", "rejected", "reasons", "reason", "gaps", "times_utc",
    "gap_between_documents_counted", "max_seconds", "max_rss_mb", "forbidden_text", "route_points", "waypoints",
    "segments_with_points", "order_preserved", "same_second_points", "out_of_order", "order", "not_distance_m",
    "suspected_shift_days", "first_time_if_shifted", "clock_offset_to_new_device_s", "suspected", "in_consensus",
    "distance_to_a_as_is_km", "max_distance_to_a_if_exchanged_m", "lon_span_deg", "centre_lon_abs_deg",
    "distance_before_fix_m", "distance_before_fix_needs", "quantisation_deg", "grid_north_m", "grid_east_m",
    "distance_inflation", "max_rounding_error_m", "rms_rounding_error_m", "repeated_neighbour_positions", "jump_m",
    "cached_position_from_start_m", "moving_distance_m", "ele_unknown", "not_mean_speed_mps", "interval_max_s",
    "reference", "mean_abs_cross_track_m", "max_abs_cross_track_m", "along_track_end_m", "along_track_monotonic",
    "hausdorff_m", "frechet_m", "coverage", "first_lat", "first_lon", "window_PWNED", "scripts_parse",
    "forbidden_in_output", "max_leg_m", "date", "separator", "decimal", "candidates", "step_back_s", "step_back_row",
}  # fmt: skip


def expectations() -> list[Any]:
    """Return (folder, expectation) for every expectation about one file."""
    found = []
    for folder in open_cases():
        case = tomllib.loads((folder / "case.toml").read_text(encoding="utf-8"))
        for number, expect in enumerate(case["expect"]):
            target = folder / expect["file"]
            if target.is_file() and target.suffix != ".py":
                found.append(pytest.param(folder, expect, id=f"{folder.name}/{expect['file']}-{number}"))
    return found


#: Cases whose files say something only of one another.
TOGETHER = ("14-week-rollover", "19-swapped-lat-lon")


def inspect(path: Path, expect: dict[str, Any]) -> list[dict[str, Any]]:
    option = expect.get("with_option", "none")
    zone = option.removeprefix("zone ") if option.startswith("zone ") else None
    paths = sorted(path.parent.glob("*.gpx")) if path.parent.name in TOGETHER else [path]
    records = inspect_paths(paths, Settings(), time_zone=zone)
    return [record for record in records if record["file"] == str(path)]


def assert_near(found: float | None, expected: Any, default_tol: float) -> None:
    if expected == "unknown":
        assert found is None
        return
    value, tol = (expected["value"], expected["tol"]) if isinstance(expected, dict) else (expected, default_tol)
    assert found is not None
    assert found == pytest.approx(value, abs=tol)


@pytest.mark.parametrize(("folder", "expect"), expectations() or [pytest.param(None, None, id="absent")])
def test_a_case_gives_what_it_must(shared: Path, folder: Path, expect: dict[str, Any]) -> None:
    assert folder.parent == shared / "inputs"
    records = inspect(folder / expect["file"], expect)
    outcomes = {record["outcome"] for record in records}
    if expect["outcome"] == "error" and outcomes != {"error"}:
        assert str(expect.get("acceptable", "")).startswith("ok-warn")
        assert records[0]["truncated"]
        return
    worst = max(outcomes, key=["ok", "ok-warn", "error"].index)
    allowed = {expect["outcome"]} | ({"ok"} if str(expect.get("acceptable", "")).startswith("ok without") else set())
    if "reference" not in expect:  # whether a ride covers its reference is no question for one file
        assert worst in allowed
    assert sum(r["points"] for r in records) == expect.get("points", sum(r["points"] for r in records))
    if expect["outcome"] == "error":
        (record,) = records
        assert record["reason"] == expect["reason"]
        assert record["message"].startswith(str(folder / expect["file"]))
        assert "\n" not in record["message"]
        return
    assert sum(r["accepted"] for r in records) == expect.get("accepted", expect["points"])
    assert sum(r["rejected"] for r in records) == expect.get(
        "rejected", expect["points"] - expect.get("accepted", expect["points"])
    )
    assert sum((Counter(r["reasons"]) for r in records), Counter()) == expect.get("reasons", {})
    assert len(records) == expect.get("recordings", 1)
    assert [r["name"] for r in records] == expect.get("names", [r["name"] for r in records])
    assert records[0]["name"] == expect.get("name", records[0]["name"])
    assert_figures(records, expect)
    unknown = set(expect) - ELSEWHERE - set(FIGURES) - set(TIMES) - set(EXTRAS) - COUNTS
    assert not unknown, f"expectations that no test looks at: {unknown}"


def assert_figures(records: list[dict[str, Any]], expect: dict[str, Any]) -> None:
    for name, expected in expect.items():
        if name in FIGURES:
            listed = expected if isinstance(expected, list) else [expected]
            tol = expect.get("distance_tol_m", 0.5) if name.endswith("_m") else 1e-6
            for record, value in zip(records, listed, strict=True):
                assert_near(record[FIGURES[name]], value, tol)
        elif name in TIMES:
            assert records[0][TIMES[name]] == expected
        elif name in EXTRAS:
            assert records[0]["extras"][EXTRAS[name]] == pytest.approx(expected)
        elif name in COUNTS:
            assert records[0]["counts"][name] == expected
    if "gaps" in expect:
        gaps = records[0]["gaps"]
        assert [(g["after_point"], g["seconds"]) for g in gaps] == [
            (g["after_point"], g["seconds"]) for g in expect["gaps"]
        ]
        assert [g["metres"] for g in gaps] == pytest.approx([g["straight_m"] for g in expect["gaps"]], abs=1.0)


def test_nothing_unknown_is_shown_as_a_number(shared: Path) -> None:
    """TERMS.md: unknown is never 0, NaN or 1970."""
    import json

    paths = sorted(p for p in (shared / "inputs").glob("*/*.gpx") if p.is_file())
    text = json.dumps(inspect_paths(paths, Settings()), allow_nan=False)
    assert "1970" not in text
    assert "NaT" not in text


def test_unknown_expectations_do_not_creep_in(shared: Path) -> None:
    """Every file named by a case is looked at: as a file above, or together with others in test_inputs_together."""
    named = {p.id.rsplit("-", 1)[0] for p in expectations()}
    for path in (shared / "inputs").glob("*/case.toml"):
        for expect in tomllib.loads(path.read_text(encoding="utf-8"))["expect"]:
            assert f"{path.parent.name}/{expect['file']}" in named or expect["file"] in {"*", "tree", "make_big.py"}


def test_speed_is_finite_where_points_share_a_second(shared: Path) -> None:
    (record,) = inspect_paths([shared / "inputs/13-time-order/repeated.gpx"], Settings())
    assert np.isfinite(record["speed_max_mps"])
    assert "12 of 15 points repeat the time" in " ".join(record["notes"])

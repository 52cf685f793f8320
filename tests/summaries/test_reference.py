"""Routes against reference lines, through files: a planted bias, and lines that cannot be used."""

from __future__ import annotations

import dataclasses
import json

import numpy as np
import pytest

from gpsq.output.results_folder import write_results
from gpsq.output.tables.tables import reference
from gpsq.pipeline.analysis import analyse
from gpsq.reading.reference_line import load
from gpsq.simulate import make_campaign, standard_spec, write
from gpsq.simulate.truth import device_rms_m
from gpsq.summaries.fair_test import shortfalls
from gpsq.summaries.reference import measure

BIAS_M = 3.0
SPEC = dataclasses.replace(standard_spec(3), common_bias_m=BIAS_M, length_m=3800.0, tunnel=False, spur=False, detours=1)
NO_REFERENCE = "no reference line"


@pytest.fixture(scope="module")
def week(tmp_path_factory):
    """A campaign whose every fix lies 3 m to the left, with the true roads as reference lines."""
    folder = tmp_path_factory.mktemp("week")
    write(make_campaign(SPEC, 3), folder, reference=True)
    return folder, analyse(folder)


@pytest.fixture(scope="module")
def line(week):
    """The file of the way out, and a recording on it."""
    _, found = week
    return next(row.file for row in found.summaries.reference if row.route == "A")


def figures(found, references, folder):
    lines, problems = load(folder, references)
    rows, notes = measure(found, lines)
    return {(row.route, row.device): row for row in rows}, (*problems, *notes)


def test_a_common_bias_is_found_with_the_reference(week):
    _, found = week
    rows = {(row.route, row.device): row for row in found.summaries.reference}
    assert {route for route, _ in rows} == {"", "A", "B"}
    assert rows["", ""].rides == len({r.ride for r in found.results if r.route})
    for route in ("A", "B"):
        assert rows[route, ""].found.bias_m.value == pytest.approx(BIAS_M, abs=0.5)
        assert rows[route, ""].found.systematic_m == pytest.approx(BIAS_M, abs=0.5)
        assert rows[route, ""].found.bias_m.low < BIAS_M < rows[route, ""].found.bias_m.high
        assert rows[route, ""].found.bias_m.low > 0
    # A device's own median rests on five rides each way, and errors are correlated along the road.
    for device in {t.device for t in found.traces}:
        own = rows["", device].found.bias_m
        assert own.value == pytest.approx(BIAS_M, abs=1.0)
        assert own.low < BIAS_M < own.high


def test_it_is_invisible_without(week):
    _, found = week
    for summary in found.summaries.devices:
        own = summary.figures["bias_m" if summary.route else "offset_body_m"]
        assert abs(own.value) < (1.0 if summary.route else 0.5)
        if not summary.route:
            assert own.high < BIAS_M / 2


def test_accuracy_holds_both_trueness_and_repeatability(week):
    for row in week[1].summaries.reference:
        if row.device:
            mean_square = row.found.systematic_m**2 + row.found.precision_m**2
            assert row.found.accuracy_m**2 == pytest.approx(mean_square, rel=0.06)


def test_a_route_by_its_name_and_a_line_that_runs_the_other_way(week, line):
    folder, found = week
    by_name, notes = figures(found, {"A": line}, folder)
    assert notes == ()
    there = json.loads((folder / line).read_text("utf-8"))
    there["coordinates"].reverse()
    (folder / "turned.geojson").write_text(json.dumps(there), encoding="utf-8")
    turned, _ = figures(found, {"A": "turned.geojson"}, folder)
    assert turned["A", ""].found.bias_m.value == pytest.approx(by_name["A", ""].found.bias_m.value, abs=0.05)


def test_a_part_of_the_road_is_enough(week, line):
    folder, found = week
    part = json.loads((folder / line).read_text("utf-8"))
    part["coordinates"] = part["coordinates"][len(part["coordinates"]) // 2 :]
    (folder / "part.geojson").write_text(json.dumps(part), encoding="utf-8")
    rows, notes = figures(found, {"A": "part.geojson"}, folder)
    whole, _ = figures(found, {"A": line}, folder)
    assert notes == ()
    assert rows["A", ""].shared_m / whole["A", ""].shared_m == pytest.approx(0.5, abs=0.02)
    assert rows["A", ""].found.bias_m.value == pytest.approx(BIAS_M, abs=0.5)


@pytest.mark.parametrize(
    ("key", "text", "said"),
    [
        ("Z", None, "campaign.toml: found the reference of 'Z', which names no route"),
        ("nowhere.gpx", None, "which names no route and no recording on one; expected one of A, B, or a file"),
        ("A", "no line at all", "odd.geojson: found text that is no GeoJSON line"),
        ("A", '{"type": "LineString", "coordinates": [[1, 1], [1, 1]]}', "odd.geojson: found a line without length"),
        ("A", '{"type": "LineString", "coordinates": [[1, 1], [1.1, 1]]}', "odd.geojson: found a line that runs along"),
    ],
)
def test_what_cannot_be_used_is_one_plain_line(week, line, key, text, said):
    folder, found = week
    if text is not None:
        (folder / "odd.geojson").write_text(text, encoding="utf-8")
    rows, notes = figures(found, {key: line if text is None else "odd.geojson"}, folder)
    assert rows == {}
    assert len(notes) == 1
    assert said in notes[0]
    assert "\n" not in notes[0]


def test_a_second_reference_of_one_route_is_said(week, line):
    folder, found = week
    on_a = found.traces[next(r.trace for r in found.results if r.route == "A")].file
    rows, notes = figures(found, {"A": line, on_a: line}, folder)
    assert ("A", "") in rows
    assert len(notes) == 1
    assert "a second reference of route A" in notes[0]


def test_the_table_and_the_report_show_it(week, tmp_path):
    _, found = week
    table = reference(found).set_index(["route", "device"])
    assert table.loc[("A", ""), "trueness_m"] == pytest.approx(BIAS_M, abs=0.5)
    assert {"trueness_rms_m", "repeatability_m", "accuracy_m", "nssda_95_m", "assumption"} <= set(table.columns)
    write_results(found, tmp_path / "results")
    assert (tmp_path / "results" / "reference.csv").read_text("utf-8").startswith("route,device,reference,")
    page = (tmp_path / "results" / "report.html").read_text("utf-8")
    assert "Against the reference line" in page
    assert not any(NO_REFERENCE in sentence for sentence in shortfalls(found))


def test_without_a_reference_no_table_is_written(week, tmp_path):
    _, found = week
    without = dataclasses.replace(found, summaries=dataclasses.replace(found.summaries, reference=()))
    write_results(without, tmp_path / "results")
    assert not (tmp_path / "results" / "reference.csv").exists()
    assert any(NO_REFERENCE in sentence for sentence in shortfalls(without))
    assert "Against the reference line" not in (tmp_path / "results" / "report.html").read_text("utf-8")


def test_what_lies_before_settling_does_not_count(week, line):
    folder, found = week
    never = tuple(
        dataclasses.replace(r, first_fix=dataclasses.replace(r.first_fix, settle_s=1e6)) for r in found.results
    )
    rows, _ = figures(dataclasses.replace(found, results=never), {"A": line}, folder)
    assert set(rows) == {("A", "")}  # the centreline alone is left


def test_a_detour_that_waits_does_not_count(week):
    """What a device is off by is its planted error and the bias of 3 m; a detour of a hundred metres would give 15 m or more."""
    _, found = week
    campaign = make_campaign(SPEC, 3)
    assert any(d.suggestion == "route choice" and not d.flag for d in found.deviations)
    faulty = {(d.route, found.traces[d.trace].device) for d in found.deviations if d.suggestion == "receiver error"}
    clean = [
        row for row in found.summaries.reference if row.device and row.route and (row.route, row.device) not in faulty
    ]
    assert len(clean) >= 4
    for row in clean:
        device = next(d for d in SPEC.devices if d.name == row.device)
        direction = {"A": "out", "B": "back"}[row.route]
        planted_m = np.hypot(BIAS_M, device_rms_m(SPEC, device, campaign.town, direction))
        assert row.found.accuracy_m == pytest.approx(planted_m, rel=0.25)

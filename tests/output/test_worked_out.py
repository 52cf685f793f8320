"""What is worked out, bounded or stopped early is said so wherever it stands: tables, sentences, terminal, map, pictures."""

from __future__ import annotations

import dataclasses

import numpy as np
import pytest
from there_and_back import both_ways, summed

from gpsq.geometry.polyline import along_m
from gpsq.measures.lead import not_recorded_m
from gpsq.output import terminal, wording
from gpsq.output.charts import all_charts
from gpsq.output.map.data import map_data
from gpsq.output.report import page, sentences
from gpsq.output.tables import tables
from gpsq.privacy import figures

CUTS, STOPS_M = (60, 66, 74, 82), (2500.0, 2496.0, 1500.0, 2500.0)


@pytest.fixture(scope="module")
def lone():
    """One device, no start known; rides back end at the door, but for one that stopped a kilometre before."""
    return summed(both_ways(CUTS, STOPS_M))


@pytest.fixture(scope="module")
def bound():
    """The same, where rides back end anywhere, so that nobody knows where rides out begin."""
    return summed(both_ways(CUTS, (2500.0, 2440.0, 2380.0, 2500.0)))


def said(analysis):
    return sentences.of_device(analysis.summaries.devices[0], analysis).replace(wording.GAP, " ")


def test_measured_columns_stay_blank_where_times_are_worked_out(lone):
    tracks, devices = tables.tracks(lone), tables.devices(lone)
    assert tracks["ttff_s"].isna().all()
    assert tracks["ttff_estimate_s"].notna().sum() >= 4
    assert devices["ttff_median_s"].isna().all()
    out = devices[devices["route"] == _out(lone)].iloc[0]
    assert 60 < out["ttff_estimate_median_s"] < 90
    assert out["ttff_estimate_low_s"] != out["ttff_estimate_low_s"], "four rides have no 95 % interval of a median"
    assert (devices["ttff_known"] == 0).all()


def test_a_time_worked_out_is_said_with_its_bounds_and_its_source(lone):
    assert "In the median" not in said(lone)
    assert "in the median, worked out from the road missed" in said(lone)
    assert "start pressed is not recorded." in said(lone)
    html = page.report_page(lone, ()).replace(wording.GAP, " ")
    assert html.count("worked out from the road missed; start pressed is not recorded") >= 5
    assert "fixed after about" in html
    assert "start unknown" not in html


def test_measured_and_worked_out_times_are_not_mixed_in_the_measured_median(lone):
    """With one start known, the measured median is that one; with those worked out it is another."""
    traces = both_ways(CUTS, STOPS_M)
    first = next(i for i, t in enumerate(traces) if t.file == "out3.gpx")
    start = {"started": traces[first].time[0] - np.timedelta64(200, "s"), "start_basis": "log"}
    traces[first] = dataclasses.replace(traces[first], **start)
    row = tables.devices(summed(traces)).iloc[0]
    assert (row["ttff_known"], row["ttff_median_s"]) == (1, 200.0)
    assert row["ttff_estimate_median_s"] < 120.0


def test_a_bound_is_shown_as_one_and_has_no_interval(bound):
    over_all = next(s for s in bound.summaries.devices if not s.route)
    missed = over_all.figures["missed_median_m"]
    assert missed.at_least
    assert np.isnan([missed.low, missed.high]).all()
    table = "\n".join(terminal.lines(bound))
    assert f"≥ {wording.metres(missed.value)}".replace(wording.GAP, " ") in table
    assert f"at least {wording.metres(missed.value)} of road were missed in the median".replace(
        wording.GAP, " "
    ) in said(bound)
    chart = next(d for d in all_charts.drawings(bound) if d.name == "missed")
    assert "at least" in chart.title
    assert "at least" in chart.finding
    out = next(s for s in bound.summaries.devices if s.route == _out(bound))
    assert np.isnan(out.figures["ttff_estimate_median_s"].value)


def test_no_bound_stands_where_none_is(lone):
    assert not any(r.first_fix.missed_is_minimum for r in lone.results if r.route == _out(lone))
    assert "≥" not in "\n".join(terminal.lines(lone)).split("Errors")[0]


def _out(analysis):
    return next(r.route for t, r in zip(analysis.traces, analysis.results, strict=True) if t.file == "out0.gpx")


def test_one_that_stopped_early_is_told_of_everywhere(lone):
    assert "1 of 8 recordings stopped 1.00 km before the end" in said(lone)
    assert any("1 of 8 recordings stopped 1.00 km before the end" in line for line in terminal.lines(lone))
    assert "stopped 1.00 km before the others of its way end" in page.report_page(lone, ()).replace(wording.GAP, " ")
    recordings = map_data(lone)["recordings"]
    marked = [r for r in recordings if r["stopped"]]
    assert [r["file"] for r in marked] == ["back2.gpx"]
    trace = next(t for t in lone.traces if t.file == "back2.gpx")
    assert np.array(marked[0]["last"]) / 1e6 == pytest.approx([trace.lat_deg[-1], trace.lon_deg[-1]], abs=1e-6)
    assert tables.tracks(lone)["ended_early_m"].notna().sum() == 1


def test_the_way_that_was_not_recorded_is_drawn_from_the_door_to_the_fix(lone):
    for trace, result in zip(lone.traces, lone.results, strict=True):
        if not trace.file.startswith("out"):
            continue
        route = lone.route_named(result.route)
        way = not_recorded_m(result, route)
        assert along_m(way)[-1] == pytest.approx(result.first_fix.missed_m, rel=0.02)
        fix = route.route.plane.to_metres(trace.lon_deg[:1], trace.lat_deg[:1])[0]
        assert way[-1] == pytest.approx(fix, abs=15.0)
        assert way[0] == pytest.approx(result.lead.xy_m[0])


def test_a_published_first_fix_keeps_what_is_worked_out_and_nothing_of_the_place(lone):
    fix = next(r.first_fix for r in lone.results if np.isfinite(r.first_fix.estimate_s))
    shown = figures.first_fix(fix)
    assert (shown.estimate_s, shown.estimate_basis) == (fix.estimate_s, "road")
    assert (shown.missed_low_m, shown.missed_high_m) == (fix.missed_low_m, fix.missed_high_m)
    assert np.isnan(shown.station_m)
    assert np.isnan(shown.stood_s)
    assert figures.only(lone.results[0], ("trace", "ride", "route", "status", "reason", "first_fix")).lead is None

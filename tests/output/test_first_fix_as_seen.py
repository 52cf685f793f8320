"""The picture of times to first fix as a reader sees it, and what holds for both pictures of the start."""

from __future__ import annotations

import dataclasses
import re
from itertools import combinations, pairwise

import numpy as np
import pytest
from by_hand import by_hand
from output_sample import sample
from seen import (
    CAMPAIGNS,
    CHARTS,
    MIDDLE,
    SIZES,
    all_can_be_seen,
    bars,
    box,
    device_of,
    drawn,
    lines,
    marks,
    middle,
    middle_of,
)

from gpsq.model import FirstFix
from gpsq.output.charts.first_fix import Row, _draw_marks, _said
from gpsq.output.drawing.labels import overlap
from gpsq.output.drawing.looks import device_looks, look
from gpsq.output.drawing.plot import Plot
from gpsq.output.drawing.sheet import INK, LEAF, RULE, Box, Sheet
from gpsq.summary_types import DeviceSummary, Interval


@pytest.mark.parametrize("shape", SIZES)
@pytest.mark.parametrize("campaign", CAMPAIGNS)
@pytest.mark.parametrize("chart", CHARTS)
def test_all_that_is_drawn_lies_on_the_sheet_and_can_be_seen(chart, campaign, shape):
    all_can_be_seen(drawn(chart, CAMPAIGNS[campaign](), shape))


@pytest.mark.parametrize("shape", SIZES)
@pytest.mark.parametrize("chart", CHARTS)
def test_a_heading_a_key_below_it_and_names_stand_out(chart, shape):
    """The heading is the largest; it, and the names of devices or routes, are bold, and nothing else; all begins at one edge."""
    sheet = drawn(chart, by_hand(), shape)
    heading = [t for t in sheet.texts if t.size_pt > 12.0]
    said = CHARTS[chart](by_hand()).title.replace("\N{NO-BREAK SPACE}", " ")
    assert " ".join(t.text for t in heading).replace("\N{NO-BREAK SPACE}", " ") == said
    begin = {"first fix": ("Amber", "Basalt"), "missed": ("Route ",)}[chart]
    bold = [t for t in sheet.texts if t.bold and t not in heading]
    assert all(t.text.startswith(begin) for t in bold)
    assert len(bold) == {("first fix", "wide"): 4}.get((chart, shape), 2)
    assert all(t.bold for t in heading)
    at = sheet.texts.index(heading[-1])
    key = [t for t in sheet.texts[at + 1 : at + 4] if t.size_pt == 9.0 and t.x_in < 0.25 and t.y_in > bold[0].y_in]
    assert key
    assert {t.x_in for t in heading + key} == {heading[0].x_in}
    gaps = -np.diff([t.y_in for t in heading + key])
    assert (gaps > 0.1).all(), "from the top down"
    assert (gaps < 0.3).all(), "one line below the other"


# --- the axis of times --------------------------------------------------------------------------------------------------
def in_seconds(said):
    number, unit = said.replace("\N{NO-BREAK SPACE}", " ").removeprefix("≤ ").split(" ")
    return float(number) * {"s": 1.0, "min": 60.0, "h": 3600.0}[unit]


@pytest.mark.parametrize("shape", SIZES)
@pytest.mark.parametrize("campaign", ["by hand", "hours"])
def test_times_stand_where_a_logarithmic_axis_has_them_and_are_round(campaign, shape):
    sheet = drawn("first fix", CAMPAIGNS[campaign](), shape)
    ticks = [t for t in sheet.texts if t.anchor == "middle"]
    times = [in_seconds(t.text) for t in ticks]
    assert (times[0], [t.text.startswith("≤") for t in ticks]) == (1.0, [True] + [False] * (len(ticks) - 1))
    assert times[-1] == {"by hand": 600.0, "hours": 3600.0}[campaign]
    assert all(1.5 <= b / a <= 6.0 for a, b in pairwise(times)), "neither crowded nor bare"
    assert {re.sub(r"[^0-9]", "", t.text)[0] for t in ticks} <= set("12356"), "round in seconds, minutes or hours"
    place = np.polyfit(np.log(times), [t.x_in for t in ticks], 1)
    assert [t.x_in for t in ticks] == pytest.approx(np.polyval(place, np.log(times)), abs=1e-6)
    assert ticks[-1].x_in - ticks[0].x_in > 0.8 * sheet.width_in, "the plot is as wide as the sheet"


# --- strips of devices --------------------------------------------------------------------------------------------------
@pytest.mark.parametrize("shape", SIZES)
@pytest.mark.parametrize("campaign", ["by hand", "week", "hours", "worked out"])
def test_each_ride_has_its_mark_in_the_strip_of_its_device(campaign, shape):
    """A strip is what lies between a device's name and the rule below it."""
    analysis = CAMPAIGNS[campaign]()
    sheet, looks = drawn("first fix", analysis, shape), device_looks(analysis)
    names = [t for t in sheet.texts if t.bold and t.size_pt < 12.0]
    feet = sorted((middle(r)[1] for r in lines(sheet, colour=RULE, width_pt=0.8)), reverse=True)
    assert len(names) == len(feet)
    assert all(name.y_in > foot for name, foot in zip(names, feet, strict=True))
    assert all(foot >= name.box.top - 0.01 for foot, name in zip(feet, names[1:], strict=False))
    found, expected = {}, {}
    for name, foot in zip(names, feet, strict=True):
        device = device_of(name, looks)
        look = looks[device]
        for line in (*marks(sheet, look.mark, look.colour), *bars(sheet, look.colour, 0.35)):
            if foot < middle(line)[1] < name.y_in:
                assert foot - 0.02 <= box(line)[1]
                assert box(line)[3] <= name.y_in + 0.02
                found[device] = found.get(device, 0) + 1
    for trace, result in zip(analysis.traces, analysis.results, strict=True):
        fix = result.first_fix
        if np.isfinite([fix.seconds, fix.at_least_s, fix.estimate_s]).any():
            expected[trace.device] = expected.get(trace.device, 0) + 1
    assert found == expected
    leaves = [line for line in lines(sheet, fill=LEAF, colour="") if len(line.xy_in) == 4]
    assert len(leaves) == len(names)
    for leaf, name in zip(leaves, names, strict=True):  # nothing behind a name makes it hard to read
        assert box(leaf)[1] <= name.y_in
        assert box(leaf)[3] >= name.y_in + 2 * MIDDLE * name.size_pt
        assert np.ptp(leaf.xy_in[:, 0]) == pytest.approx(sheet.width_in - 0.6)


@pytest.mark.parametrize("campaign", ["by hand", "week", "hours"])
def test_a_known_time_is_a_full_mark_and_a_bound_a_hollow_one_with_a_line(campaign):
    analysis = CAMPAIGNS[campaign]()
    sheet, looks = drawn("first fix", analysis, "wide"), device_looks(analysis)
    full = [m for look in looks.values() for m in marks(sheet, look.mark, look.colour) if m.fill == look.colour]
    hollow = [m for look in looks.values() for m in marks(sheet, look.mark, look.colour) if m.fill == LEAF]
    fixes = [result.first_fix for result in analysis.results]
    bounds = [fix for fix in fixes if np.isfinite(fix.at_least_s) and not np.isfinite(fix.seconds)]
    assert (len(full), len(hollow)) == (sum(np.isfinite(fix.seconds) for fix in fixes), len(bounds))
    assert all(m.colour == LEAF for m in full), "an edge in the sheet's colour sets a mark off from what it lies on"
    dotted = [line for line in lines(sheet) if line.dashes_pt]
    assert len(dotted) == len(hollow)
    for mark, line in zip(hollow, dotted, strict=True):
        assert line.colour == mark.colour
        assert line.xy_in[0] == pytest.approx(middle(mark), abs=0.01)
        assert line.xy_in[1, 0] == pytest.approx(sheet.width_in - 0.3)


def test_a_flag_is_tied_to_its_mark_and_holds_its_words():
    sheet = drawn("first fix", by_hand(), "wide")
    cloths = [line for line in lines(sheet, fill=LEAF) if len(line.xy_in) == 5]
    assert len(cloths) == 3
    for cloth in cloths:
        left, low, right, high = box(cloth)
        (said,) = [
            t for t in sheet.texts if left < (t.box.left + t.box.right) / 2 < right and low < middle_of(t) < high
        ]
        assert left < said.box.left < said.box.right < right
        assert middle_of(said) == pytest.approx((low + high) / 2, abs=0.01)
        (mast,) = [
            m
            for m in lines(sheet, colour=cloth.colour, fill="")
            if np.ptp(m.xy_in[:, 0]) == 0 and left <= m.xy_in[0, 0] <= right
        ]
        assert mast.xy_in[0, 0] in (left, right)
        assert mast.xy_in[:, 1].max() == pytest.approx(high)
        (mark,) = [
            m
            for kind in ("disc", "triangle")
            for m in marks(sheet, kind, cloth.colour)
            if abs(middle(m)[0] - mast.xy_in[0, 0]) < 0.01
        ]
        assert box(mark)[1] <= mast.xy_in[:, 1].min() <= box(mark)[3]


@pytest.mark.parametrize("shape", SIZES)
def test_times_that_are_worked_out_lie_in_lanes_with_a_notch_and_their_words_beside(shape):
    """Rides from the top down, evenly; the bar from the least to the most, a notch across it, and the words at its end."""
    analysis = CAMPAIGNS["worked out"]()
    sheet, (look,) = drawn("first fix", analysis, shape), device_looks(analysis).values()
    found = bars(sheet, look.colour, 0.35)
    notches = sorted(lines(sheet, colour=look.colour, fill="", width_pt=2.0), key=lambda line: -middle(line)[1])
    assert len(found) == len(notches) == 10
    ticks = [t for t in sheet.texts if t.anchor == "middle"]
    place = np.polyfit([np.log(in_seconds(t.text)) for t in ticks], [t.x_in for t in ticks], 1)
    groups = {"wide": ("out", "back"), "square": ("out", "back")}[shape]
    results = sorted(analysis.results, key=lambda r: sorted(groups).index(r.route))
    lanes = np.array([middle(bar)[1] for bar in found])
    assert np.ptp(np.diff(lanes)[[0, 1, 2, 3]]) < 1e-6
    assert np.ptp(np.diff(lanes)[[5, 6, 7, 8]]) < 1e-6
    for bar, notch, result in zip(found, notches, results, strict=True):
        fix, lane = result.first_fix, -np.diff(lanes)[0]
        assert notch.xy_in[0, 0] == pytest.approx(np.polyval(place, np.log(fix.estimate_s)), abs=0.01)
        assert box(bar)[0] == pytest.approx(np.polyval(place, np.log(fix.estimate_low_s)), abs=0.01)
        if np.isfinite(fix.estimate_high_s):
            assert box(bar)[2] == pytest.approx(np.polyval(place, np.log(fix.estimate_high_s)), abs=0.01)
        assert middle(notch)[1] == pytest.approx(middle(bar)[1])
        thick, tall = np.ptp(bar.xy_in[:, 1]), np.ptp(notch.xy_in[:, 1])
        assert 0.02 < thick < tall < lane
        beside = [t for t in sheet.texts if "≈" in t.text and abs(middle_of(t) - middle(bar)[1]) < lane / 2]
        if beside or lane > 0.2:
            (said,) = beside
            assert middle_of(said) == pytest.approx(middle(bar)[1], abs=0.01)
            gaps = (said.box.left - box(bar)[2], box(bar)[0] - said.box.right)
            assert 0.03 < max(gaps) < 0.15


def test_medians_and_their_intervals_are_as_high_as_the_strip():
    sheet = drawn("first fix", by_hand(), "wide")
    (grey,) = [line for line in lines(sheet, fill=INK) if line.alpha < 0.3]
    medians = lines(sheet, colour=INK, width_pt=2.2)
    assert len(medians) == 2
    inside = [m for m in medians if box(grey)[0] < m.xy_in[0, 0] < box(grey)[2]]
    assert [box(m)[1::2] for m in inside] == [box(grey)[1::2]]
    rules = [
        line.width_pt
        for line in lines(sheet)
        if line.colour in (RULE, *(look.colour for look in device_looks(by_hand()).values()))
    ]
    assert max(rules) < 2.2, "nothing drawn is thicker than a median"


def test_an_interval_from_nought_or_without_an_end_reaches_the_edge_of_the_plot():
    analysis = by_hand()
    devices = []
    for summary in analysis.summaries.devices:
        figures = dict(summary.figures)
        if np.isfinite(figures["ttff_median_s"].low):
            figures["ttff_median_s"] = dataclasses.replace(figures["ttff_median_s"], low=0.0, high=np.inf)
        devices.append(dataclasses.replace(summary, figures=figures))
    endless = dataclasses.replace(analysis, summaries=dataclasses.replace(analysis.summaries, devices=tuple(devices)))
    sheet = drawn("first fix", endless, "wide")
    (grey,) = [line for line in lines(sheet, fill=INK) if line.alpha < 0.3]
    assert box(grey)[0::2] == pytest.approx((0.3, sheet.width_in - 0.3))


@pytest.mark.parametrize(("shape", "rows"), [("wide", 10), ("square", 7)])
def test_more_rows_than_can_be_read_are_counted(shape, rows):
    """A row for each device and way, and for its recordings that are on none, where any time is known."""
    analysis = CAMPAIGNS["many"]()
    every = {
        (t.device, r.route) for t, r in zip(analysis.traces, analysis.results, strict=True)
        if np.isfinite([r.first_fix.seconds, r.first_fix.at_least_s]).any()
    }  # fmt: skip
    said = " ".join(t.text for t in drawn("first fix", analysis, shape).texts)
    assert len(every) >= 24
    assert f"{len(every) - rows} more rows in the table." in said
    assert "more rows" not in " ".join(t.text for t in drawn("first fix", by_hand(), shape).texts)


def test_names_and_figures_never_meet_however_long_they_are():
    """A figure that is long stands alone; beside a short one a name is cut to what is left of its strip."""
    names = ("The long name of a device " * 2, "B" * 60)
    for shape in SIZES:
        sheet = drawn("first fix", sample(devices=names), shape)
        for one, other in combinations(sheet.texts, 2):
            assert not overlap(one.box, other.box), (one.text, other.text)
        assert all("\N{HORIZONTAL ELLIPSIS}" in t.text for t in sheet.texts if t.bold and t.size_pt < 12.0)


@pytest.mark.parametrize("shape", SIZES)
@pytest.mark.parametrize("campaign", ["by hand", "week", "worked out"])
def test_the_key_speaks_of_what_is_drawn_and_of_nothing_else(campaign, shape):
    analysis = CAMPAIGNS[campaign]()
    sheet = drawn("first fix", analysis, shape)
    said = " ".join(t.text for t in sheet.texts)
    (looked,) = {look.colour for look in device_looks(analysis).values() if bars(sheet, look.colour, 0.35)} or {""}
    grey = [line for line in lines(sheet, fill=INK) if line.alpha < 0.3]
    assert ("Bar: worked out" in said, "Grey: its interval" in said) == (bool(looked), bool(grey))


@pytest.mark.parametrize(("count", "flags"), [(12, 12), (13, 0)])
def test_a_dozen_flags_fly_and_of_more_there_are_marks_alone(count, flags):
    """In a row of five inches, where there would be room for all of them."""
    seconds = np.geomspace(2.0, 200.0, count)
    fixes = tuple(FirstFix("log", seconds=float(s)) for s in seconds)
    plot = Plot(Sheet(10.0, 6.0), Box(0.3, 0.5, 9.7, 5.8), (0.9, 700.0), log=True)
    row = Row("Amber", "out", ("Mon",) * count, fixes, None)
    _draw_marks(plot, row, Box(0.3, 0.5, 9.7, 5.5), look(0))
    assert len(plot.sheet.texts) == flags
    shown = marks(plot.sheet, "disc", look(0).colour)
    assert sorted(middle(mark)[0] for mark in shown) == pytest.approx(plot.x_in(seconds).tolist())


def test_a_copy_of_a_recording_is_not_drawn_a_second_time():
    found = by_hand()
    copied = dataclasses.replace(found.results[0], duplicate_of="amber/mon.gpx")
    for own, rows in ((found.results, 4), ((copied, *found.results[1:]), 3)):
        sheet = drawn("first fix", dataclasses.replace(found, results=own), "wide")
        assert sum(t.bold and t.size_pt == 11.0 for t in sheet.texts) == rows
        assert any(t.text.startswith("Amber, out") for t in sheet.texts) is (rows == 4)


KNOWN, WORKED_OUT = Interval(40.0, 30.0, 50.0), Interval(55.0, 45.0, 75.0)


@pytest.mark.parametrize(
    ("figures", "said"),
    [
        ({"ttff_median_s": KNOWN, "ttff_estimate_median_s": WORKED_OUT}, "median 40 s (30 s to 50 s)"),
        ({"ttff_median_s": Interval(40.0)}, "median 40 s"),
        ({"ttff_estimate_median_s": WORKED_OUT}, "median about 55 s (45 s to 75 s), worked out; no start is recorded"),
        ({"ttff_estimate_median_s": Interval(55.0)}, "median about 55 s, worked out; no start is recorded"),
        ({}, "median unknown"),
    ],
)
def test_a_median_is_said_with_its_own_bounds(figures, said):
    assert _said(DeviceSummary("a", "", 3, figures), []).replace("\u202f", " ").replace("\xa0", " ") == said

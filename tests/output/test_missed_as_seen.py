"""The picture of the road missed as a reader sees it: each figure at its bar, each bar as long as it says."""

from __future__ import annotations

import dataclasses
from itertools import combinations

import numpy as np
import pytest
from by_hand import by_hand
from output_sample import sample
from seen import CAMPAIGNS, SIZES, bars, box, device_of, drawn, lines, marks, middle, middle_of, with_fixes

from gpsq.output.charts.missed import Miss, _draw_devices
from gpsq.output.drawing.looks import device_looks, look
from gpsq.output.drawing.plot import Plot
from gpsq.output.drawing.sheet import INK, LEAF, Box, Sheet


# --- the road missed -----------------------------------------------------------------------------------------------------
def metres_of(sheet, left, right):
    """What turns a place into metres, by the ticks between two edges of the sheet."""
    ticks = [t for t in sheet.texts if t.anchor == "middle" and left <= t.x_in <= right]
    values = [0.0 if t.text == "start" else float(t.text) for t in ticks]
    assert values[0] == 0.0
    assert len(ticks) >= 3
    slope, shift = np.polyfit([t.x_in for t in ticks], values, 1)
    return lambda x: slope * x + shift


@pytest.mark.parametrize("campaign", ["lone", "by hand", "week"])
def test_each_recordings_bar_has_its_day_before_it_and_its_metres_after_it(campaign):
    analysis = CAMPAIGNS[campaign]()
    sheet, looks = drawn("missed", analysis, "wide"), device_looks(analysis)
    found = [(name, bar) for name, look in looks.items() for bar in bars(sheet, look.colour, 1.0)]
    known = [r for r in analysis.results if np.isfinite(r.first_fix.missed_m) and r.route]
    assert len(found) == len([r for r in known if r.first_fix.missed_m > 0])
    for name, bar in found:
        left, low, right, high = box(bar)
        lane = [t for t in sheet.texts if abs(middle_of(t) - (low + high) / 2) < 0.05]
        days = [t for t in lane if t.box.right < left and left - t.box.left < 1.2]
        metres = [t for t in lane if 0.0 < t.box.left - right < 0.5]
        assert (len(days), len(metres)) == (1, 1), lane
        assert metres[0].text.endswith("m")
        assert all(middle_of(t) == pytest.approx((low + high) / 2, abs=0.01) for t in (*days, *metres))
        thin = [
            t
            for t in lines(sheet, colour=INK, width_pt=1.0)
            if abs(middle(t)[1] - (low + high) / 2) < 0.01 and t.xy_in[0, 0] < right + 0.01 and t.xy_in[1, 0] > left
        ]
        end = max([right, *(t.xy_in[:, 0].max() for t in thin)])
        assert metres[0].box.left - end == pytest.approx(0.07, abs=0.03)
        signs = [
            m
            for m in marks(sheet, looks[name].mark, looks[name].colour)
            if abs(middle(m)[1] - (low + high) / 2) < 0.03 and 0 < days[0].box.left - middle(m)[0] < 0.2
        ]
        assert len(signs) == (len(looks) > 1), "a lone device needs no mark"
    for one, other in combinations([bar for _, bar in found], 2):
        assert (
            abs(middle(one)[1] - middle(other)[1]) > np.ptp(one.xy_in[:, 1])
            or box(one)[2] < box(other)[0]
            or box(other)[2] < box(one)[0]
        )


def lone_missed(*metres_missed):
    found = sample(devices=("Amber",), rides=(len(metres_missed), 1))
    many = len(found.results)
    return with_fixes(
        found, missed_m=[*metres_missed, np.nan], missed_low_m=[np.nan] * many, missed_high_m=[np.nan] * many
    )


@pytest.mark.parametrize("shape", SIZES)
@pytest.mark.parametrize(("longest_m", "cut"), [(38.0, False), (45.0, True)])
def test_a_miss_of_four_times_the_usual_is_shown_whole_and_a_longer_one_cut(shape, longest_m, cut):
    """The axis reaches to four times the median (docs/report.md); what runs out of it is cut by a slanting stroke of paper."""
    sheet = drawn("missed", lone_missed(10.0, 10.0, longest_m), shape)
    (look,) = device_looks(lone_missed(1.0)).values()
    found = bars(sheet, look.colour, 1.0)
    metres = metres_of(sheet, 0.0, sheet.width_in)
    assert [metres(box(bar)[0]) for bar in found] == pytest.approx([0.0] * 3, abs=0.1)
    assert [metres(box(bar)[2]) for bar in found[:2]] == pytest.approx([10.0] * 2, abs=0.1)
    strokes = [line for line in lines(sheet, fill=LEAF, colour="") if len(line.xy_in) == 4]
    assert len(strokes) == cut
    if not cut:
        assert metres(box(found[2])[2]) == pytest.approx(longest_m, abs=0.1)
        return
    (stroke,), (left, low, right, high) = strokes, box(found[2])
    assert left < box(stroke)[0] < box(stroke)[2] < right
    assert right - box(stroke)[2] < 0.2, "near the end that is not the end"
    assert box(stroke)[1] < low < high < box(stroke)[3]
    top, foot = (stroke.xy_in[np.argsort(sign * stroke.xy_in[:, 1])[:2], 0] for sign in (-1, 1))
    assert np.ptp(top) == pytest.approx(np.ptp(foot), abs=1e-9)
    assert np.ptp(stroke.xy_in[:2, 1]) == np.ptp(stroke.xy_in[2:, 1]) == 0.0, "along the foot and back along the top"
    assert 0.02 < top.mean() - foot.mean() < 0.1, "and it leans the way that is ridden"
    assert 0.02 < np.ptp(top) < 0.15


def test_short_misses_have_an_axis_of_twenty_metres():
    sheet = drawn("missed", lone_missed(0.5, 1.0, 1.5), "wide")
    assert [t.text for t in sheet.texts if t.anchor == "middle"] == ["start", "5", "10", "15", "20"]


@pytest.mark.parametrize("campaign", ["week", "many", "by hand"])
def test_on_a_square_sheet_each_device_has_a_row_of_strokes_and_its_median(campaign):
    analysis = CAMPAIGNS[campaign]()
    sheet, looks = drawn("missed", analysis, "square"), device_looks(analysis)
    heads = [t for t in sheet.texts if t.bold and t.size_pt < 12.0]
    floors = lines(sheet, width_pt=0.9)
    medians = lines(sheet, colour=INK, width_pt=2.2)
    assert len(heads) == len(floors) == 2
    for head, floor in zip(heads, floors, strict=True):
        low, high = middle(floor)[1], head.y_in
        rows = [t for t in sheet.texts if device_of(t, looks) and t.x_in < 0.25 and low < t.y_in < high]
        own = [m for m in medians if low < middle(m)[1] < high]
        if not own:  # one device has bars
            continue
        assert len(rows) == len(own)
        route = head.text.removeprefix("Route ").partition(",")[0]
        metres = metres_of_rows(sheet, floor)
        assert np.ptp(floor.xy_in[:, 0]) > 0.45 * sheet.width_in, "most of the sheet is for the figures"
        for name, median in zip(rows, own, strict=True):
            both = zip(analysis.traces, analysis.results, strict=True)
            own_m = [r.first_fix.missed_m for t, r in both if (t.device, r.route) == (device_of(name, looks), route)]
            missing = [m for m in own_m if np.isfinite(m)]
            assert middle_of(name) == pytest.approx(middle(median)[1], abs=0.01)
            longest = metres(box(floor)[2])
            assert metres(median.xy_in[0, 0]) == pytest.approx(min(np.median(missing), longest), abs=0.01 * longest)
            strokes = [
                s
                for s in lines(sheet, colour=looks[device_of(name, looks)].colour, fill="")
                if middle(s)[1] == pytest.approx(middle(median)[1], abs=0.02)
            ]
            assert sorted(metres(s.xy_in[0, 0]) for s in strokes) == pytest.approx(
                np.minimum(sorted(missing), longest).tolist(), abs=0.01 * longest
            )
            for stroke in strokes:
                assert middle(stroke)[1] == pytest.approx(middle(median)[1], abs=1e-6)
                assert 0.5 * np.ptp(median.xy_in[:, 1]) < np.ptp(stroke.xy_in[:, 1]) < np.ptp(median.xy_in[:, 1])
                assert 1.0 <= stroke.width_pt < median.width_pt
            (said,) = [
                t for t in sheet.texts if t.x_in > box(floor)[2] and abs(middle_of(t) - middle(median)[1]) < 0.03
            ]
            assert ("≥" in said.text) == any_bound(analysis, device_of(name, looks), route, np.median(missing))
        pitch = -np.diff([middle(m)[1] for m in own])
        assert np.ptp(pitch) < 1e-6
        assert all(np.ptp(m.xy_in[:, 1]) < pitch[0] for m in own)
        more = [t for t in sheet.texts if t.text.endswith("more in the table") and low < t.y_in < high]
        assert [t.text for t in more] == ([f"{12 - len(rows)} more in the table"] if campaign == "many" else [])
        assert [own[-1].xy_in[:, 1].mean() - middle_of(t) for t in more] == pytest.approx(
            [pitch[0]] * len(more), abs=0.01
        )


def metres_of_rows(sheet, floor):
    """What turns a place into metres, by the ticks below the floor of a plot."""
    left, low = box(floor)[:2]
    ticks = [t for t in sheet.texts if t.anchor == "middle" and 0.0 < low - t.y_in < 0.25]
    values = [0.0 if t.text == "start" else float(t.text) for t in ticks]
    slope, shift = np.polyfit([t.x_in for t in ticks], values, 1)
    assert slope * left + shift == pytest.approx(0.0, abs=1e-6)
    return lambda x: slope * x + shift


def any_bound(analysis, device, route, median):
    """A median is a bound where a lower bound lies at or below it (interval censoring: it may move up)."""
    return any(
        r.first_fix.missed_is_minimum and r.first_fix.missed_m <= median + 1e-9
        for t, r in zip(analysis.traces, analysis.results, strict=True)
        if t.device == device and r.route == route
    )


@pytest.mark.parametrize(("shape", "shown"), [("wide", 4), ("square", 2)])
def test_ways_that_find_no_room_are_counted(shape, shown):
    week = sample()
    for ways in (2, 5):
        names = ["out", "back", *"abc"][:ways]
        routes = tuple(
            dataclasses.replace(r, route=dataclasses.replace(r.route, name=name))
            for r, name in zip(week.routes * 3, names, strict=False)
        )
        doubled = [dataclasses.replace(r, route=name) for name in names for r in week.results if r.route == "out"]
        traces = [t for _ in names for t, r in zip(week.traces, week.results, strict=True) if r.route == "out"]
        analysis = dataclasses.replace(week, routes=routes, traces=tuple(traces), results=tuple(doubled))
        sheet = drawn("missed", analysis, shape)
        assert [t.text.partition(",")[0] for t in sheet.texts if t.bold and t.size_pt < 12.0] == [
            f"Route {name}" for name in names[:shown]
        ]
        said = " ".join(t.text for t in sheet.texts)
        assert ("more ways in the table" in said) == (ways > shown)
        assert (f"{ways - shown} more ways in the table." in said) == (ways > shown)


def test_a_copy_is_not_drawn_and_neither_is_another_ways_ride():
    analysis = by_hand()
    results = [
        dataclasses.replace(r, duplicate_of="amber/mon.gpx") if i == 1 else r for i, r in enumerate(analysis.results)
    ]
    for found, many in ((analysis, 3), (dataclasses.replace(analysis, results=tuple(results)), 2)):
        sheet = drawn("missed", found, "wide")
        assert sum(len(bars(sheet, look.colour, 1.0)) for look in device_looks(found).values()) == many


def test_a_row_of_strokes_says_at_least_only_where_the_median_is_a_bound():
    """Of 10, 20 and 30 m the median is 20 m: a bound where that or a shorter one is one, none where the longest alone is."""
    own = [
        Miss(name, "Mon", metres, metres == bound, True)
        for name, bound in (("Amber", 30.0), ("Basalt", 20.0), ("Cobalt", 0.0))
        for metres in (20.0, 10.0, 30.0)
    ]
    plot = Plot(Sheet(4.5, 4.5), Box(1.4, 1.0, 3.6, 4.0), (0.0, 40.0))
    _draw_devices(
        plot, own, {name: look(k) for k, name in enumerate(("Amber", "Basalt", "Cobalt"))}, Box(0.2, 1.0, 4.3, 4.0)
    )
    said = [text.text.replace("\N{NO-BREAK SPACE}", " ") for text in plot.sheet.texts]
    assert said == ["Amber", "20 m", "Basalt", "≥ 20 m", "Cobalt", "20 m"]


@pytest.mark.parametrize(
    ("at_least", "fixed", "said"), [(False, True, "61 m"), (True, True, "≥ 61 m"), (True, False, "never fixed")]
)
def test_what_stands_behind_a_bar(at_least, fixed, said):
    assert Miss("Amber", "Mon", 61.3, at_least, fixed).said.replace("\N{NO-BREAK SPACE}", " ") == said

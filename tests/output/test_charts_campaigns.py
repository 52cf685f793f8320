"""The figure of a comparison of campaigns, and the finding it says."""

from __future__ import annotations

import re
from dataclasses import replace

import numpy as np
import pytest

from gpsq.output.charts.campaigns import NOBODY, _rows, against_carried, campaign_marks, compare_chart, finding
from gpsq.output.drawing.looks import look
from gpsq.output.drawing.sheet import Box, Line, Sheet
from gpsq.summaries.across.bridge_verdicts import Bridge
from gpsq.summaries.across.campaigns import Compared, Entry
from gpsq.summary_types import Interval


def entry(device):
    return Entry("course 1", "Week 1", "A", device, "10 hot", {"rides": "10"})


def bridge(first, second, *figures, measure="xte_p68_m", via="ref", why=""):
    return Bridge(first, second, measure, "", via, "", Interval(*figures, method=why), 9, 9, "said")


FOUND = Compared(
    (entry("quick & <b>"), entry("ref"), entry("rough"), entry("steady"), entry("slow"), entry("stranger")),
    (
        bridge("quick & <b>", "ref", 0.5, 0.4, 0.625),
        bridge("ref", "rough", 0.5, 0.4, 0.8),
        bridge("ref", "steady", 1.0, 0.8, 1.25),
        bridge("ref", "stranger", np.nan, via="", why="none: no device was carried along"),
        bridge("ref", "slow", np.nan, via="", why="none: ref records every 1 s, slow every 20 s"),
        bridge("ref", "steady", 5.0, 2.0, 9.0, measure="ttff_s"),
    ),
    "ref",
)


def test_ratios_stand_against_the_device_carried_along_either_way_round():
    ratios = against_carried(FOUND)
    assert list(ratios) == ["quick & <b>", "steady", "rough"]
    assert (ratios["rough"].value, ratios["rough"].low, ratios["rough"].high) == (2.0, 1.25, 2.5)


def test_the_finding_is_of_all_devices_of_the_table():
    assert finding(FOUND) == (
        "Cross-track error against ref: quick & <b> 0.50 times as large (0.40 to 0.62); steady cannot be told apart, "
        "ratio 1.00 (0.80 to 1.25); rough 2.00 times as large (1.25 to 2.50); slow: not comparable, ref records every 1 s, "
        "slow every 20 s; stranger: not comparable, no device was carried along."
    )
    chart = compare_chart(FOUND)
    assert chart is not None
    assert chart.finding == finding(FOUND)
    assert chart.title == "Against ref: 1 errs less, 1 errs more, 1 cannot be told apart from it"
    assert "ref is 1; further left is better" in chart.wide_svg
    assert "<b>" not in chart.wide_svg
    assert chart.wide_png.startswith(b"\x89PNG")


def test_without_a_device_carried_along_there_is_no_figure_and_no_best():
    apart = Compared((entry("a"), entry("b")), (bridge("a", "b", np.nan, via=""),), "")
    assert compare_chart(apart) is None
    assert finding(apart) == NOBODY


def test_a_ratio_without_an_interval_says_so():
    few = Compared((entry("a"), entry("ref")), (bridge("a", "ref", 1.5),), "ref")
    assert "cannot be told apart, ratio 1.50 (too few rides for an interval)" in finding(few)
    assert compare_chart(few) is not None


def of_ratios(*bounds):
    """Return a comparison of devices d0, d1 … with these ratios to the one carried along, and their bounds."""
    names = [f"d{k:02}" for k in range(len(bounds))]
    bridges = tuple(bridge(name, "ref", *found) for name, found in zip(names, bounds, strict=True))
    return Compared((*(entry(name) for name in names), entry("ref")), bridges, "ref")


@pytest.mark.parametrize(("bounds", "title"), [
    ([(1.5, 1.2, 1.9)], "Cross-track error against ref: d00 1.50 times"),
    ([(1.5, 1.0, 1.9)], "Cross-track error against ref: d00 not told apart (1.50 times)"),
    ([(0.5, 0.4, 1.0), (0.7,)], "Cross-track error against ref: d00 not told apart (0.50 times), d01 not told apart (0.70 times)"),
    ([(0.5, 0.4, 0.9), (0.6, 0.5, 0.9), (2.0, 1.0, 3.0)], "Against ref: 2 err less, 1 cannot be told apart from it"),
    ([(0.5, 0.4, 1.0), (1.6, 1.5, 1.9), (2.0, 1.1, 3.0)], "Against ref: 2 err more, 1 cannot be told apart from it"),
    ([(0.5, 0.4, 0.9), (1.6, 1.5, 1.9), (0.4, 0.3, 0.6)], "Against ref: 2 err less, 1 errs more"),
])  # fmt: skip
def test_titles_tell_how_many_err_less_and_more(bounds, title):
    assert compare_chart(of_ratios(*bounds)).title == title


@pytest.mark.parametrize(("count", "hidden_wide", "hidden_square"), [(8, 0, 0), (9, 0, 1), (12, 0, 4), (13, 1, 5)])
def test_a_sheet_shows_as_many_as_it_has_room_for(count, hidden_wide, hidden_square):
    """Twelve on the wide sheet, eight on the square one, each on a row of its own within it, the least ratio at the top."""
    chart = compare_chart(of_ratios(*((1.0 + k / 10, 0.9 + k / 10, 1.2 + k / 10) for k in range(count))))
    for svg, hidden in ((chart.wide_svg, hidden_wide), (chart.square_svg, hidden_square)):
        rows = [(float(y), int(name)) for y, name in re.findall(r'<text[^>]* y="([0-9.]+)"[^>]*>d(\d\d)<', svg)]
        assert [number for _, number in sorted(rows)] == list(range(count - hidden))
        assert min(np.diff([y for y, _ in sorted(rows)])) > 9.0
        assert (f"{hidden} more in the table." in " ".join(re.findall(r">([^<]*)</text>", svg))) == bool(hidden)


def test_a_course_of_several_campaigns_or_routes_numbers_them():
    ridden = (("a", "W1", "A"), ("b", "W1", "A"), ("c", "W1", "B"))
    one, two, three = (replace(entry(name), campaign=campaign, route=route) for name, campaign, route in ridden)
    assert campaign_marks([one, two]) == {("W1", "A"): ""}
    assert campaign_marks([one, three, two]) == {("W1", "A"): "(1)", ("W1", "B"): "(2)"}
    assert campaign_marks([]) == {}


@pytest.mark.parametrize("size", [(10.0, 5.625), (4.5, 4.5)])
@pytest.mark.parametrize(
    ("bounds", "ticks"),
    [
        (((0.8, 0.6, 1.1), (1.4, 1.2, 1.6)), ["0.7", "1", "1.5"]),
        (((0.05, 0.02, 0.1), (3.0, 1.2, 9.0)), ["0.03", "0.1", "0.3", "1", "3", "10"]),
    ],
)
def test_each_ratio_has_its_row_and_one_its_line(size, bounds, ticks):
    """Name, bar from bound to bound, mark and number in the device's look; an axis over decades has few ticks, 1 among them."""
    sheet, looks = Sheet(*size), {"Amber": look(0), "Basalt": look(1)}
    box = Box(1.5, 1.0, size[0] - 0.3, 4.0)
    _rows(sheet, box, {name: Interval(*own) for name, own in zip(looks, bounds, strict=True)}, looks)
    said = [(t.text, t.anchor, t.bold) for t in sheet.texts]
    assert [text for text, *_ in said[: len(ticks)]] == ticks
    assert said[len(ticks) :] == [
        ("ratio of cross-track errors", "start", False),
        *(
            row for name, (value, *_) in zip(looks, bounds, strict=True)
            for row in ((name, "end", False), (f"{value:.2f}", "middle", True))
        ),
    ]  # fmt: skip
    x_of = {t.text: t.x_in for t in sheet.texts if t.text in ticks}
    a, b = ticks[0], ticks[-1]
    scale = (x_of[b] - x_of[a]) / np.log(float(b) / float(a))

    def at(value):
        return x_of[a] + scale * np.log(value / float(a))

    lines = [item for item in sheet.items if isinstance(item, Line)]
    (one,) = [line for line in lines if line.width_pt == 1.2]
    assert one.xy_in.tolist() == [[pytest.approx(at(1.0)), 1.0], [pytest.approx(at(1.0)), 4.0]]
    bars = [line for line in lines if line.width_pt == 2.0]
    marks = [line for line in lines if line.closed]
    heights = [3.25, 1.75]  # two rows of 1.5 in
    for own, bar, mark, name, y in zip(bounds, bars, marks, looks, heights, strict=True):
        assert bar.xy_in == pytest.approx(np.array([[at(own[1]), y], [at(own[2]), y]]), abs=1e-6)
        assert (mark.xy_in.min(axis=0) + mark.xy_in.max(axis=0))[0] / 2 == pytest.approx(at(own[0]), abs=1e-6)
        assert (bar.colour, mark.fill) == (looks[name].colour,) * 2
    numbers = [t for t in sheet.texts if t.bold]
    assert [(t.x_in, t.y_in) for t in numbers] == [
        (pytest.approx(at(own[0])), pytest.approx(y + 0.12)) for own, y in zip(bounds, heights, strict=True)
    ]

"""The finer findings of the report, in sentences: what is said, and that nothing is said where nothing is known."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from output_sample import sample

from gpsq.output.report import findings, page
from gpsq.output.wording import GAP
from gpsq.summaries.accuracy import against_reference
from gpsq.summary_types import (
    DevicePlace,
    DistanceBias,
    ErrorVariance,
    HotSpotSearch,
    Interval,
    OffsetBetween,
    QualityClass,
    QualityTrend,
    ReferenceFigures,
    RouteRatio,
)

ROWS = [[2.9, 3.2, 3.1], [3.4, 2.6, 2.8]]


def with_summaries(**more):
    found = sample()
    return replace(found, summaries=replace(found.summaries, **more))


def reference(device="", route="A"):
    return ReferenceFigures(route, device, "line <b>.geojson", 2, 15.0, against_reference(np.array(ROWS)))


def test_nothing_is_said_where_nothing_was_found():
    said = findings.sections(sample())
    assert not any(said[name] for name in ("ranks", "ratios", "quality", "lengths"))
    assert said["reference"]["said"] == []
    text = page.report_page(sample(), ())
    for head in ("Which device repeats best", "Distance recorded", "Against the reference", "said of itself"):
        assert head not in text


def test_places_say_how_sure_they_are():
    places = (
        DevicePlace("A", "quick <b>", 5, 2.0, 1, 0.78, 1, 2),
        DevicePlace("A", "slow", 5, 4.0, 2, 0.22, 1, 2),
        DevicePlace("B", "slow", 5, 4.0, 1, 1.0, 1, 1),
    )
    ratio = RouteRatio("slow", "A", "B", Interval(1.0), "slow: A and B cannot be told apart, ratio 1.0")
    first, second = findings.sections(with_summaries(ranks=places, route_ratios=(ratio,)))["ranks"]
    assert "quick <b> is the best of them with a probability of 78" in first
    assert first.endswith("quick <b> 1 (1 to 2), slow 2 (1 to 2); 5 rides.")
    assert second.endswith("slow 1; 5 rides.")
    text = page.report_page(with_summaries(ranks=places, route_ratios=(ratio,)), ())
    assert "Which device repeats best" in text
    assert "quick &lt;b&gt; is the best of them" in text
    assert "A and B cannot be told apart" in text


def test_a_place_that_looks_sure_by_chance_says_so():
    def said(share, worst):
        places = (DevicePlace("", "a", 9, 2.0, 1, share, 1, worst), DevicePlace("", "b", 9, 4.0, 2, 1 - share, 1, 2))
        (text,) = findings.sections(with_summaries(ranks=places))["ranks"]
        return text

    chance = "Of two devices that are alike, one looks as sure in about one campaign of ten."
    assert chance in said(0.97, 2)
    assert chance not in said(0.97, 1)  # shown to be the first by the intervals of all pairs
    assert chance not in said(0.9, 2)


@pytest.mark.parametrize(
    ("variance", "note", "said"),
    [
        (Interval(4.0, 1.0, 9.0), "", "standard deviation 2.0 m (1.0 m to 3.0 m); 9 rides"),
        (Interval(4.0, -1.0, 9.0), "", "cannot be told from none, at most 3.0 m; 9 rides"),
        (Interval(-1.0, -9.0, 4.0), "its variance", "cannot be told from none, at most 2.0 m; 9 rides"),
        (Interval(-5.0, -9.0, -1.0), "its variance comes out negative", "its variance comes out negative; 9 rides"),
        (Interval(-5.0), "its variance comes out negative", "its variance comes out negative; 9 rides"),
        (Interval(4.0), "", "standard deviation 2.0 m, too few for an interval; 9 rides"),
        (Interval(4.0, 0.0, 9.0), "", "cannot be told from none, at most 3.0 m; 9 rides"),
    ],
)
def test_each_devices_own_error_stands_with_its_interval(variance, note, said):
    sd = float(np.sqrt(variance.value)) if variance.value >= 0 else float("nan")
    rows = (ErrorVariance("Amber", "", 9, variance, sd, note), ErrorVariance("Amber", "A", 5, variance, sd, note))
    found = with_summaries(error_variances=rows)
    assert [(d, s.replace(GAP, " ")) for d, s in findings.own_errors(found)] == [("Amber", said)]
    assert said.split(" (")[0] in page.report_page(found, ()).replace(GAP, " ")


@pytest.mark.parametrize(
    ("correlation", "said"),
    [
        (Interval(0.4, 0.1, 0.6), "grows with hdop (rank correlation 0.40, 0.10 to 0.60, median of 5 recordings)"),
        (Interval(-0.4, -0.6, -0.1), "falls with hdop"),
        (Interval(0.05, 0.01, 0.2), "hardly goes with hdop"),
        (Interval(0.11, 0.01, 0.2), "grows with hdop"),
        (Interval(-0.11, -0.2, -0.01), "falls with hdop"),
        (Interval(0.4, -0.1, 0.6), "cannot be told to go with hdop"),
        (Interval(0.4), "cannot be told to go with hdop (rank correlation 0.40, too few for an interval"),
    ],
)
def test_error_and_signal_quality(correlation, said):
    classes = (
        QualityClass("Amber", "hdop", 0.0, 1.0, 500, 5, 2.0),
        QualityClass("Amber", "hdop", 10.0, float("inf"), 50, 5, 12.0),
        QualityClass("other", "hdop", 0.0, 1.0, 500, 5, 99.0),
    )
    trends = (QualityTrend("Amber", "hdop", 5, correlation),)
    ((device, text),) = findings.sections(with_summaries(quality_classes=classes, quality_trends=trends))["quality"]
    assert device == "Amber"
    assert said in text.replace("\N{MINUS SIGN}", "-").replace(GAP, " ")
    assert text.replace(GAP, " ").endswith("RMS 2.0 m at hdop up to 1, 12 m at hdop over 10")
    assert "-" not in text


def test_distance_recorded():
    biases = (DistanceBias("Amber", Interval(1.02), 0.01, "recorded +2.0%, which is all of it"),)
    text = page.report_page(with_summaries(distance_biases=biases), ())
    assert "Distance recorded" in text
    assert f"recorded +2.0{GAP}%, which is all of it" in text


def test_the_reference_in_words_and_in_the_table():
    found = with_summaries(reference=(reference(), reference("Amber")))
    said = findings.sections(found)["reference"]
    assert (
        said["said"][0]
        .replace(GAP, " ")
        .startswith("Route A: its centreline lies 3.0 m to the left of the reference in the median")
    )
    ((device, rides, cells),) = said["rows"]
    assert (device, rides) == ("Amber", 2)
    assert cells[0][0].replace(GAP, " ") == "3.0 m"
    text = page.report_page(found, ())
    assert "line &lt;b&gt;.geojson" in text
    assert "the standard asks for 20" in text
    assert "cannot be seen without a surveyed line" not in text


def test_of_several_routes_devices_stand_over_all_of_them():
    """Of one route the devices' rows are that route's; of several those over all, each line's sentence by its route."""
    rows = (reference("Amber", ""), reference(), reference("Amber"), reference(route="B"), reference("Basalt", "B"))
    found = findings.sections(with_summaries(reference=rows))["reference"]
    assert [row[0] for row in found["rows"]] == [name for name, _ in found["doubts"]] == ["Amber"]
    assert [text[:8] for text in found["said"]] == ["Route A:", "Route B:"]
    one = findings.sections(with_summaries(reference=(reference(), reference("Amber"), reference("Basalt"))))[
        "reference"
    ]
    bounds = rows[0].found.bias_m
    assert one["rows"][0][2][0][1] == [f"{bounds.low:.1f}{GAP}m to {bounds.high:.1f}{GAP}m"]
    assert [row[0] for row in one["rows"]] == [name for name, _ in one["doubts"]] == ["Amber", "Basalt"]


@pytest.mark.parametrize(("shift", "said"), [
    (Interval(0.5, 0.2, 0.8), "0.5 m east (0.2 m to 0.8 m)"), (Interval(-0.5, -0.8, -0.2), "0.5 m west (0.2 m to 0.8 m)"),
    (Interval(0.0, -0.8, 0.2), "0.0 m east (−0.8 m to 0.2 m)"),
])  # fmt: skip
def test_a_shift_is_counted_to_the_side_it_lies_on(shift, said):
    assert findings._to_a_side(shift, "east", "west").replace(GAP, " ") == said


def test_the_report_tells_how_many_deviations_wait():
    found = sample()
    waiting = sum(not d.flag for d in found.deviations)
    assert waiting == 1
    assert f'{waiting} <a href="#deviations">deviation</a> waits for your decision' in page.report_page(found, ())
    decided = replace(found, deviations=tuple(replace(d, flag="error") for d in found.deviations))
    assert "wait for your decision." not in page.report_page(decided, ())


def test_notes_of_the_analysis_are_in_the_report():
    assert "A plain note about &lt;this&gt; campaign." in page.report_page(sample(), ())


def test_where_no_place_stands_out_it_is_said_what_would_have_been_seen():
    found = with_summaries(hot_spot_searches=(HotSpotSearch("A", 5, 0, 200.0), HotSpotSearch("B", 3, 0, float("inf"))))
    first, second = (said.replace(GAP, " ") for said in findings.hot_spot_searches(found))
    assert first == (
        "Route A: no place stands out by more than chance in 5 rides; a stretch of 200 m with three times the error would "
        "most likely have been seen."
    )
    assert second.endswith("but so few rides would hardly show one.")
    assert "no place stands out by more than chance" in page.report_page(found, ())
    assert (
        list(findings.hot_spot_searches(with_summaries(hot_spot_searches=(HotSpotSearch("A", 5, 1, float("nan")),))))
        == []
    )


def test_how_devices_lie_to_one_another():
    shift = OffsetBetween("Amber", "Basalt", 5, Interval(-2.0, -3.0, -1.0), Interval(1.0, 0.5, 1.5))
    text = page.report_page(with_summaries(offsets_between=(shift,)), ()).replace(GAP, " ")
    assert "Amber lies 2.0 m west (1.0 m to 3.0 m) and 1.0 m north (0.5 m to 1.5 m) of Basalt, 5 rides." in text
    none = OffsetBetween("Amber", "Basalt", 5, Interval(2.0, -1.0, 5.0), Interval(-1.0, -4.0, 2.0))
    (said,) = findings.sections(with_summaries(offsets_between=(none,)))["between"]
    assert said.replace(GAP, " ") == (
        "Amber and Basalt: no shift can be told from none: 2.0 m east (\N{MINUS SIGN}1.0 m to 5.0 m) and 1.0 m south "
        "(\N{MINUS SIGN}2.0 m to 4.0 m), 5 rides."
    )
    north = OffsetBetween("Amber", "Basalt", 5, Interval(0.5, -1.0, 2.0), Interval(3.0, 2.0, 4.0))
    (said,) = findings.sections(with_summaries(offsets_between=(north,)))["between"]
    assert said.startswith("Amber lies "), "a shift to the north alone is one"

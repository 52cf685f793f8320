"""The finer findings of the report, in sentences: what is said, and that nothing is said where nothing is known."""

from __future__ import annotations

from dataclasses import replace

import pytest
from output_sample import sample

from gpsq.output.report import findings, page
from gpsq.output.wording import GAP
from gpsq.summaries.accuracy import against_reference
from gpsq.summary_types import (
    DevicePlace,
    DistanceBias,
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
    import numpy as np

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


@pytest.mark.parametrize(
    ("correlation", "said"), [(0.4, "grows with hdop"), (-0.4, "falls with hdop"), (0.05, "hardly goes with hdop")]
)
def test_error_and_signal_quality(correlation, said):
    classes = (
        QualityClass("Amber", "hdop", 0.0, 1.0, 500, 5, 2.0),
        QualityClass("Amber", "hdop", 10.0, float("inf"), 50, 5, 12.0),
        QualityClass("other", "hdop", 0.0, 1.0, 500, 5, 99.0),
    )
    trends = (QualityTrend("Amber", "hdop", 5, Interval(correlation)),)
    ((device, text),) = findings.sections(with_summaries(quality_classes=classes, quality_trends=trends))["quality"]
    assert device == "Amber"
    assert said in text
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
    assert (
        "Amber lies 2.0 m west (\N{MINUS SIGN}3.0 m to \N{MINUS SIGN}1.0 m) and 1.0 m north (0.5 m to 1.5 m) of Basalt"
        in text
    )

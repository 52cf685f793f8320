"""The finer findings of the report, in sentences: what is said, and that nothing is said where nothing is known."""

from __future__ import annotations

from dataclasses import replace

import pytest
from output_sample import sample

from gpsq.output import terminal
from gpsq.output.report import findings, page
from gpsq.output.wording import GAP
from gpsq.summaries.accuracy import against_reference
from gpsq.summary_types import (
    DevicePlace,
    DistanceBias,
    Interval,
    QualityClass,
    QualityTrend,
    ReferenceFigures,
    RouteRatio,
)

ROWS = [[2.9, 3.2, 3.1], [3.4, 2.6, 2.8]]


def with_summaries(**more):
    found = sample()
    return replace(found, summaries=replace(found.summaries, **more))


def with_open_deviations():
    found = sample()
    more = {"xte_rms_plain_m": Interval(0.4), "open_deviations": Interval(3.0)}
    devices = tuple(replace(s, figures={**s.figures, **more}) for s in found.summaries.devices)
    return replace(found, summaries=replace(found.summaries, devices=devices))


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
    ratio = RouteRatio("slow", "A", "B", Interval(1.0), "slow: no difference shown between A and B, ratio 1.0")
    first, second = findings.sections(with_summaries(ranks=places, route_ratios=(ratio,)))["ranks"]
    assert "quick <b> comes first in 78" in first
    assert first.endswith("quick <b> 1 (1 to 2), slow 2 (1 to 2).")
    assert second.endswith("slow 1.")
    text = page.report_page(with_summaries(ranks=places, route_ratios=(ratio,)), ())
    assert "Which device repeats best" in text
    assert "quick &lt;b&gt; comes first" in text
    assert "no difference shown between A and B" in text


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


def test_open_deviations_are_said_beside_the_figure_everywhere():
    found = with_open_deviations()
    text = page.report_page(found, ()).replace(GAP, " ")
    assert "without 3 open: 0.4 m" in text
    lines = "\n".join(terminal.lines(found))
    assert "Amber: cross-track RMS" in lines
    assert "; without 3 open deviations 0.4 m" in lines
    assert "open deviation" not in "\n".join(terminal.lines(sample()))


def test_the_report_tells_how_many_deviations_wait():
    found = sample()
    waiting = sum(not d.flag for d in found.deviations)
    assert waiting == 1
    assert f'{waiting} <a href="#deviations">deviation</a> waits for your decision' in page.report_page(found, ())
    decided = replace(found, deviations=tuple(replace(d, flag="error") for d in found.deviations))
    assert "your decision. Until then" not in page.report_page(decided, ())


def test_notes_of_the_analysis_are_in_the_report():
    assert "A plain note about &lt;this&gt; campaign." in page.report_page(sample(), ())

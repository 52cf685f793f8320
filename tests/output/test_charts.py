"""Charts and sentences: they say what the figures say, in any names, and no more than the rides allow."""

from __future__ import annotations

import io
from typing import TYPE_CHECKING

import numpy as np
import pytest
from lxml import etree
from output_sample import HOSTILE, charts, sample
from PIL import Image

from gpsq.output import wording
from gpsq.output.charts import all_charts
from gpsq.output.charts.error import _binned_median
from gpsq.output.drawing import looks
from gpsq.output.drawing.views import left_to_right

if TYPE_CHECKING:
    from gpsq.output.drawing.rendering import Chart
    from gpsq.results import Analysis

SVG = "{http://www.w3.org/2000/svg}"


@pytest.fixture(scope="module")
def analysis() -> Analysis:
    return sample()


@pytest.fixture(scope="module")
def drawn() -> dict[str, Chart]:
    return {chart.name: chart for chart in charts()}


def test_every_chart_is_there_in_both_shapes_and_formats(drawn: dict[str, Chart]) -> None:
    assert list(drawn) == [
        "overlay-out",
        "overlay-back",
        "first-fix",
        "missed",
        "error-along-route",
        "error-distribution",
    ]
    files = all_charts.files(tuple(drawn.values()))
    for name in drawn:
        for suffix, size in (("", (1920, 1080)), ("-square", (1080, 1080))):
            png = files[f"figures/{name}{suffix}.png"]
            assert isinstance(png, bytes)
            assert Image.open(io.BytesIO(png)).size == size
            root = etree.fromstring(str(files[f"figures/{name}{suffix}.svg"]).encode())
            assert root.tag == f"{SVG}svg"


def words(svg: str) -> list[str]:
    """Every text of a picture, spelled as a reader sees it."""
    return ["".join(node.itertext()) for node in etree.fromstring(svg.encode()).iter(f"{SVG}text")]


def test_names_stand_in_charts_as_written(drawn: dict[str, Chart]) -> None:
    """A dollar sign starts no formula and an underscore hides no label; text stays text, to be found and read."""
    for chart in drawn.values():
        for svg in (chart.wide_svg, chart.square_svg):
            assert any("Amber" in text for text in words(svg)), chart.name
    assert {"Basalt $x_1$ <b>", "Cobalt {{7*7}}"} <= set(words(drawn["error-distribution"].wide_svg))


def test_any_names_at_all_can_be_drawn() -> None:
    """Hostile names of devices: formulas, templates, markup, hidden labels, signs that the font lacks."""
    named = (HOSTILE[8], "_hidden " + HOSTILE[11], HOSTILE[4])
    made = {chart.name: chart for chart in all_charts.figures(sample(devices=named, rides=(3, 2)))}
    for name in ("first-fix", "missed", "error-distribution"):
        assert all(wording.short(device) in made[name].finding for device in named)


@pytest.mark.parametrize("name", ["first-fix", "missed", "error-along-route", "error-distribution"])
def test_findings_name_every_device_or_route(drawn: dict[str, Chart], name: str) -> None:
    wanted = ("Route out",) if name == "error-along-route" else ("Amber", "Basalt $x_1$ <b>", "Cobalt {{7*7}}")
    assert all(word in drawn[name].finding for word in wanted)


def test_what_is_unknown_or_never_fixed_is_said(drawn: dict[str, Chart]) -> None:
    assert "1 never fixed" in drawn["first-fix"].finding
    assert "2 with unknown start" in drawn["first-fix"].finding


def test_inlined_charts_follow_the_page(drawn: dict[str, Chart]) -> None:
    text = drawn["first-fix"].inline(wide=True)
    assert "var(--ink)" in text
    assert "#1c2428" not in text
    assert "<style" not in text
    assert "<metadata" not in text
    assert "#0072b2" in text.lower()


def test_the_first_36_devices_look_different() -> None:
    seen = {(look.colour, look.dashes) for look in map(looks.look, range(36))}
    assert len(seen) == 36


def test_medians_in_stretches() -> None:
    along = np.array([0.0, 1.0, 2.0, 10.0, 11.0, 20.0])
    value = np.array([1.0, 3.0, np.nan, 5.0, 9.0, -4.0])
    found = _binned_median(along, value, np.array([0.0, 5.0, 9.0, 15.0, 20.0]))
    assert found.tolist()[0::2] == [2.0, 7.0]
    assert np.isnan(found[1])
    assert found[3] == -4.0


def test_turning_keeps_lengths_and_runs_left_to_right() -> None:
    line = np.array([[0.0, 0.0], [3.0, 40.0], [-2.0, 90.0]])
    for whole in (line, line[::-1]):
        turn = left_to_right(whole)
        turned = whole @ turn.T
        assert turned[-1, 0] > turned[0, 0]
        assert np.hypot(*np.diff(turned, axis=0).T) == pytest.approx(np.hypot(*np.diff(whole, axis=0).T))
        assert np.linalg.det(turn) == pytest.approx(1.0), "turned, not mirrored: left stays left"

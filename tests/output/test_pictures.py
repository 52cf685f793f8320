"""Pictures for an audience: each says its finding, how many, when and whence; no text lies over another."""

from __future__ import annotations

import dataclasses
import io
import re
from itertools import combinations
from typing import TYPE_CHECKING, Any

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from lxml import etree
from output_sample import charts, sample
from PIL import Image
from starts_of_sample import unknown_starts, worked_out

from gpsq.digests import version
from gpsq.output.charts import all_charts, missed
from gpsq.output.drawing import labels, margin
from gpsq.output.drawing.rendering import SQUARE, WIDE, drawn_sheet, svg_text
from gpsq.output.drawing.sheet import Box
from gpsq.output.overlay.picture import near_flags
from gpsq.output.overlay.rides import overlays
from gpsq.output.ride_days import long_names, short_names

if TYPE_CHECKING:
    from gpsq.output.drawing.rendering import Drawing
    from gpsq.results import Analysis

SVG = "{http://www.w3.org/2000/svg}"
KINDS = ("week", "lone", "no start", "worked out", "many devices", "published")


@pytest.fixture(scope="session")
def campaigns() -> dict[str, Analysis]:
    """One of each kind: three devices, one device, no start known, five devices, and a copy whose ends are cut."""
    week = sample(rides=(5, 5))
    lone = sample(devices=("Amber",), rides=(5, 5))
    many = sample(devices=tuple(f"Device {n}" for n in range(5)), rides=(3, 2))
    return {
        "week": week,
        "lone": lone,
        "no start": unknown_starts(lone),
        "worked out": worked_out(unknown_starts(lone)),
        "many devices": many,
        "published": dataclasses.replace(week, published=True),
    }


@dataclasses.dataclass(frozen=True)
class Drawn:
    """A picture in both shapes, without the pixels, which take longest."""

    name: str
    title: str
    wide_svg: str
    square_svg: str


def drawn(drawing: Drawing) -> Drawn:
    wide, square = (
        svg_text(drawn_sheet(drawing, width_in, height_in), f"{drawing.name}-{width_in:g}", drawing.title)
        for width_in, height_in, _ in (WIDE, SQUARE)
    )
    return Drawn(drawing.name, drawing.title, wide, square)


@pytest.fixture(scope="session")
def pictures(campaigns: dict[str, Analysis]) -> dict[str, tuple[Drawn, ...]]:
    return {kind: tuple(map(drawn, all_charts.drawings(analysis))) for kind, analysis in campaigns.items()}


def words(svg: str) -> list[str]:
    return ["".join(node.itertext()) for node in etree.fromstring(svg.encode()).iter(f"{SVG}text")]


@pytest.mark.parametrize("kind", KINDS)
def test_every_picture_holds_finding_campaign_counts_days_and_source(
    pictures: dict[str, tuple[Drawn, ...]], campaigns: dict[str, Analysis], kind: str
) -> None:
    rides = len({r.ride for r in campaigns[kind].results if r.ride})
    for chart in pictures[kind]:
        assert re.search(r"\d|no place", chart.title, re.IGNORECASE), f"{chart.name}: a finding has its number"
        for svg in (chart.wide_svg, chart.square_svg):
            said = " ".join(words(svg)).replace("\N{NO-BREAK SPACE}", " ")
            for word in chart.title.replace("\N{NO-BREAK SPACE}", " ").split():
                assert word in said, (chart.name, word)
            assert "Weir <Lane> {{7*7}}" in said
            assert "May 2026" in said
            assert f"measured by gpsq {version()}" in said
            assert re.search(r"\d+ rides?", said)
            assert (margin.CUT in said) == (kind == "published")
        if not chart.name.startswith("overlay"):
            assert f"{rides} rides" in " ".join(words(chart.wide_svg))


def test_pictures_have_the_size_of_a_slide_and_of_a_square() -> None:
    for chart in charts():
        assert Image.open(io.BytesIO(chart.wide_png)).size == (1920, 1080)
        assert Image.open(io.BytesIO(chart.square_png)).size == (1080, 1080)
        white = np.asarray(Image.open(io.BytesIO(chart.wide_png)).convert("L")) > 245
        assert 0.3 < white.mean() < 0.995, f"{chart.name}: something is drawn, and not over everything"


@pytest.mark.parametrize("kind", KINDS)
def test_no_text_lies_over_another_or_leaves_the_sheet(campaigns: dict[str, Analysis], kind: str) -> None:
    """By the widths that the font itself gives (DejaVu Sans)."""
    for drawing in all_charts.drawings(campaigns[kind]):
        for width_in, height_in, _ in (WIDE, SQUARE):
            sheet = drawn_sheet(drawing, width_in, height_in)
            for text in sheet.texts:
                box = text.box
                assert min(box.left, box.bottom) > 0, (drawing.name, text.text)
                assert box.right < width_in, (drawing.name, text.text)
                assert box.top < height_in, (drawing.name, text.text)
            for one, other in combinations(sheet.texts, 2):
                assert not labels.overlap(one.box, other.box), (drawing.name, one.text, other.text)


@pytest.mark.parametrize("devices", [1, 3, 5])
def test_the_road_missed_on_four_ways_has_an_axis_for_each(devices: int) -> None:
    """Two beside each other, however many devices; nothing is cut short but names."""
    week = sample(devices=tuple(f"unit {k}" for k in range(devices)))
    more = {"out": "there", "back": "home"}
    routes = [dataclasses.replace(r, route=dataclasses.replace(r.route, name=more[r.route.name])) for r in week.routes]
    results = [dataclasses.replace(r, route=more.get(r.route, "")) for r in week.results]
    both = dataclasses.replace(
        week,
        routes=(*week.routes, *routes),
        traces=week.traces * 2,
        results=(*week.results, *(dataclasses.replace(r, trace=r.trace + len(week.traces)) for r in results)),
    )
    drawing = missed.missed(both)
    assert drawing is not None
    sheet = drawn_sheet(drawing, *WIDE[:2])
    axes = [text.box for text in sheet.texts if text.text == "metres along the road"]
    assert len({box.left for box in axes}) == len({box.top for box in axes}) == 2
    assert len(axes) == 4
    numbers = [text.text for text in sheet.texts if re.fullmatch(r"\d+", text.text)]
    assert len(numbers) >= 8, "two ticks at least on each axis"
    for one, other in combinations(sheet.texts, 2):
        assert not labels.overlap(one.box, other.box), (one.text, other.text)


def test_a_browser_draws_no_text_over_another(
    open_page: Any, pictures: dict[str, tuple[Drawn, ...]], tmp_path_factory: pytest.TempPathFactory
) -> None:
    """Every SVG on one page, each text's box as the browser measures it; nothing is asked for from elsewhere.

    Those of the week are those that are published, which say more in their margin.
    """
    named = [
        (f"{kind} {chart.name} {shape}", svg) for kind in KINDS if kind != "week" for chart in pictures[kind]
        for shape, svg in (("wide", chart.wide_svg), ("square", chart.square_svg))
    ]  # fmt: skip
    bodies = [f'<figure title="{i}">{svg[svg.index("<svg") :]}</figure>' for i, (_, svg) in enumerate(named)]
    path = tmp_path_factory.mktemp("svg") / "all.html"
    path.write_text("<!DOCTYPE html><meta charset=utf-8><body>" + "".join(bodies), "utf-8")
    shown = open_page(path)
    boxes = shown.page.evaluate(
        """() => [...document.querySelectorAll('figure')].map((figure) => {
          const sheet = figure.querySelector('svg').getBoundingClientRect();
          return [...figure.querySelectorAll('text')].map((text) => {
            const b = text.getBoundingClientRect();
            return [text.textContent, b.left - sheet.left, b.top - sheet.top, b.right - sheet.left, b.bottom - sheet.top,
              sheet.width, sheet.height];
          });
        })"""
    )
    assert shown.requests == [path.as_uri()]
    assert len(boxes) == len(named)
    for (name, _), own in zip(named, boxes, strict=True):
        assert own, name
        for text, left, top, right, bottom, width, height in own:
            assert left >= 0, (name, text)
            assert top >= 0, (name, text)
            assert right <= width, (name, text)
            assert bottom <= height, (name, text)
        for one, other in combinations(own, 2):
            apart = one[1] >= other[3] or other[1] >= one[3] or one[2] >= other[4] - 1.0 or other[2] >= one[4] - 1.0
            assert apart, (name, one[0], other[0])


def test_the_overlay_of_a_lone_week_answers_alone(
    campaigns: dict[str, Analysis], pictures: dict[str, tuple[Drawn, ...]]
) -> None:
    """How many rides, after how long each was fixed, and which one left the road."""
    analysis = campaigns["lone"]
    out = next(chart for chart in pictures["lone"] if chart.name == "overlay-out")
    said = [text.replace("\N{NO-BREAK SPACE}", " ") for text in words(out.wide_svg)]
    assert any("5 rides" in text for text in said)
    for result, day in zip(analysis.results[:5], ("Mon", "Tue", "Wed", "Thu", "Fri"), strict=True):
        seconds = result.first_fix.seconds
        shown = f"{seconds:.1f}".removesuffix(".0") if seconds < 9.95 else f"{seconds:.0f}"
        assert f"{day} {shown} s" in said
    assert "Fri left the usual road" in out.title
    assert any(text.startswith("Fri: ") and text.endswith(" off") for text in said)
    assert {"start", "finish", "N"} <= set(said)


def test_unknown_seconds_are_said_and_never_nought(pictures: dict[str, tuple[Drawn, ...]]) -> None:
    charts = {chart.name: chart for chart in pictures["no start"]}
    assert "first-fix" not in charts
    said = " ".join(words(charts["overlay-out"].wide_svg)).replace("\N{NO-BREAK SPACE}", " ")
    assert "no start is known, so no seconds" in said
    assert not re.search(r"\b\d+ s\b", said)
    assert re.search(r"Mon \d+ m", said)


def test_many_devices_have_a_picture_each(pictures: dict[str, tuple[Drawn, ...]]) -> None:
    names = [chart.name for chart in pictures["many devices"] if chart.name.startswith("overlay")]
    assert len(names) == len({name.lower() for name in names}) == 10
    assert names[0] == "overlay-out-Device-0"


def test_rides_that_never_fixed_are_named(pictures: dict[str, tuple[Drawn, ...]]) -> None:
    back = next(chart for chart in pictures["week"] if chart.name == "overlay-back")
    assert any("never fixed" in text for text in words(back.wide_svg)) == any(
        ride.never_fixed for ride in overlays(sample(rides=(5, 5))) if ride.name == "back"
    )


def test_a_thousand_rides_are_thinned_and_it_is_said() -> None:
    crowd = sample(devices=("Amber",), rides=(300, 2))
    out = next(overlay for overlay in overlays(crowd) if overlay.name == "out")
    assert len(out.drawn) == 100
    drawing = next(d for d in all_charts.drawings(crowd) if d.name == "overlay-out")
    said = [text.text for text in drawn_sheet(drawing, *WIDE[:2]).texts]
    assert any("100 of 300 recordings drawn" in text for text in said)
    square = [text.text for text in drawn_sheet(drawing, *SQUARE[:2]).texts]
    told = " ".join(text for text in square if "recordings drawn" in text or "more fixed" in text)
    assert "more fixed within" in told
    assert "\N{HORIZONTAL ELLIPSIS}" not in told, "what is left out is said in full, on two lines"


def test_first_fixes_nearer_the_start_than_receivers_scatter_are_not_enlarged(campaigns: dict[str, Analysis]) -> None:
    out = next(overlay for overlay in overlays(campaigns["lone"]) if overlay.name == "out")
    for gone_m, enlarged in ((5.0, False), (60.0, True)):
        rides = tuple(dataclasses.replace(ride, station_m=out.along_m[0] + gone_m) for ride in out.rides)
        assert bool(near_flags(dataclasses.replace(out, rides=rides))) == enlarged


@given(
    st.lists(st.tuples(st.floats(0.0, 8.0), st.floats(0.3, 1.5)), min_size=1, max_size=25),
    st.integers(1, 12),
)
def test_flags_never_touch_and_no_mast_crosses_a_cloth(flags: list[tuple[float, float]], most: int) -> None:
    x, wide = np.array(flags).T
    levels, left = labels.two_stairs(x, wide, most)
    cloths = {i: Box(x[i] - wide[i] if left[i] else x[i], levels[i], x[i] if left[i] else x[i] + wide[i], levels[i] + 0.9)
              for i in range(len(x)) if levels[i] >= 0}  # fmt: skip
    assert all(level < most for level in levels)
    for i, j in combinations(cloths, 2):
        assert not labels.overlap(cloths[i], cloths[j])
    for i, cloth in cloths.items():
        for j in cloths:
            crosses = cloth.left < x[j] < cloth.right and levels[j] > levels[i]
            assert i == j or not crosses, "a mast goes through another's cloth"
    if most >= len(flags):
        assert (levels >= 0).all()


def test_days_tell_rides_apart_as_shortly_as_they_can(campaigns: dict[str, Analysis]) -> None:
    """4 May 2026 was a Monday (ISO 8601 calendar, by datetime)."""
    analysis = campaigns["lone"]
    assert list(short_names(analysis, ["out 1", "out 2"]).values()) == ["Mon", "Tue"]
    assert list(short_names(analysis, ["out 1", "back 1"]).values()) == ["07:10", "17:10"]
    assert list(short_names(analysis, ["out 1", "out 2", "back 1"]).values()) == ["Mon 07:10", "Tue 07:10", "Mon 17:10"]
    assert long_names(analysis)["back 2"] == "Tue 5 May 17:10"
    there = dataclasses.replace(analysis, time_zone="Europe/Paris")
    assert long_names(there)["back 2"] == "Tue 5 May 19:10"

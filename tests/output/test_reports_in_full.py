"""Report and comparison in full: all that stands there, each word, label, link and heading, in its order.

What is expected was written out line by line in ``in_full``, from what the campaigns by hand hold and what a reader is to be
told; a change of a page is a change there, to be read before it is kept. Cells of figures are compared one by one elsewhere.
"""

from __future__ import annotations

import re
from dataclasses import replace
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import pytest
from by_hand import by_hand, one_recording
from lxml import html
from outline import heads_and_heads_said, outline, swatches
from two_weeks import two_weeks

from gpsq.output import campaigns_page
from gpsq.output.charts.campaigns import compare_looks
from gpsq.output.drawing.looks import device_looks
from gpsq.output.report.page import report_page
from gpsq.output.report.sketches import MARKS
from gpsq.output.templating import policy_of, template_text
from gpsq.results import Way
from gpsq.settings import Settings
from gpsq.summaries.across.campaigns import Compared, compare_campaigns

HERE = Path(__file__).parent / "in_full"
CHARTS = ("overlay-out", "first-fix", "missed", "error-along-route", "error-distribution", "no place for it")


def chart(name: str) -> Any:
    """Return what stands for a chart of that name."""
    return SimpleNamespace(
        name=name,
        finding=f"Finding of {name}.",
        inline=lambda wide: f"<b>{name}, {'wide' if wide else 'square'}</b>",
    )


def told(page: str) -> list[str]:
    """Return the lines of a page; versions and the policy, which are others in each release, by a word."""
    page = re.sub(r"\b\d+\.\d+\.\d+\b", "VERSION", page.replace("\N{NO-BREAK SPACE}", " "))
    policy = policy_of(template_text("copy.js"))
    return [line.replace(policy, "POLICY") for line in outline(html.fromstring(page))]


def expected(name: str) -> list[str]:
    return (HERE / f"{name}.txt").read_text("utf-8").splitlines()


def without_method(lines: list[str]) -> list[str]:
    """Leave out what is the same in every report, from how it was measured to the cautions."""
    begin, end = (k for k, line in enumerate(lines) if line.startswith(("   section#method", "   section#again")))
    return lines[:begin] + lines[end:]


@pytest.fixture(scope="module")
def compared(tmp_path_factory: pytest.TempPathFactory) -> Compared:
    return compare_campaigns(two_weeks(tmp_path_factory.mktemp("weeks")), Settings())


def page_of(compared: Compared, drawn: Any = None) -> str:
    return campaigns_page._page(compared, drawn)


def test_a_report_of_everything() -> None:
    earlier = (SimpleNamespace(verdict="Amber errs less than in spring: ratio 0.80"),)
    whole = by_hand()
    assert told(report_page(replace(whole, summaries=replace(whole.summaries, earlier=earlier)), ())) == expected(
        "report_whole"
    )


def test_a_published_report_of_one_recording_with_its_charts() -> None:
    alone = one_recording(title="", time_zone="Europe/Paris", published=True, folder="")
    page = report_page(alone, tuple(map(chart, CHARTS)))
    assert without_method(told(page)) == expected("report_least")


def test_a_report_of_nothing_says_so() -> None:
    nothing = one_recording(traces=(), results=(), deviations=(), routes=(), summaries=type(by_hand().summaries)())
    lines = told(report_page(nothing, ()))
    assert "     li No device gave figures that can be summed up; the table of recordings says why." in lines
    assert "    p None was found: no recording stays off its centreline by more than 30 m for 60 m or more." in lines


def test_what_is_said_of_several_and_what_is_not_shown_is_counted() -> None:
    whole = by_hand(notes=(), unreadable=())
    results = tuple(replace(r, reason="too short") for r in whole.results)
    sixty_one = tuple(replace(whole.deviations[0], id=f"d{k}", event=f"E{k}") for k in range(61))
    page = html.fromstring(report_page(replace(whole, results=results, deviations=sixty_one), ()))
    lines = outline(page.get_element_by_id("recordings"))
    assert lines[-8:-6] == [" ul.prose", "  li 4 recordings: too short"]
    assert lines[-9] == " h3 Said of several recordings"
    (more,) = [line for line in outline(page.get_element_by_id("deviations")) if "events are shown" in line]
    assert more == " p The first 60 of 61 events are shown; deviations.csv has all."


def test_rides_and_routes_are_counted_apart_and_a_way_is_called_by_its_name() -> None:
    whole = by_hand(ways={"out": Way("to work", "out"), "home": Way("home, evenings", "home")})
    first = [line for line in told(report_page(whole, ())) if "p Route" in line]
    assert first == ["    p Route home (home, evenings): only 1 ride on this route: cross-track error needs 3"]
    lines = told(report_page(by_hand(routes=whole.routes[:1], time_zone="Europe/Paris"), ()))
    (counts,) = [line for line in lines if "p.counts" in line]
    assert counts == (
        "   p.counts 5 recordings by 2 devices on 3 rides over 1 route, 4–6 May 2026 (Europe/Paris); 1 could not be read."
    )


def test_settings_and_files_row_by_row() -> None:
    page = html.fromstring(report_page(by_hand(), ()))
    tables = {table.findtext("caption"): table for table in page.iter("table")}
    settings = [[" ".join(c.text_content().split()) for c in row] for row in tables["Settings"].iterfind("tbody/tr")]
    assert [row[:3] for row in settings if row[0] in {"deviation_band_m", "confidence", "settle_hold_s"}] == [
        ["settle_hold_s", "30", "s"], ["deviation_band_m", "30", "m"], ["confidence", "0.95", "1"],
    ]  # fmt: skip
    assert all(why for *_, why in settings)
    files = [[c.text_content() for c in row] for row in tables["Files read"].iterfind("tbody/tr")]
    assert files == [
        ["amber/mon.gpx", "a1" * 32], ["amber/tue.gpx", "c3" * 32], ["basalt/mon.gpx", "b2" * 32],
        ["basalt/wed.gpx", "d4" * 32],
    ]  # fmt: skip
    assert {c.get("class") for row in tables["Files read"].iterfind("tbody/tr") for c in row[1:]} == {"words hash full"}


def test_every_cell_says_what_it_is_and_each_device_stands_beside_its_own_mark(compared: Compared) -> None:
    """On a narrow screen a heading is not seen: each cell bears its own."""
    report, comparison = html.fromstring(report_page(by_hand(), ())), html.fromstring(page_of(compared))
    for page, looks, keys in ((report, device_looks(by_hand()), 21), (comparison, compare_looks(compared), 5)):
        for heads, said in heads_and_heads_said(page):
            assert said == heads
        found = list(swatches(page))
        assert len(found) == keys
        for name, colour, dashes, mark, fill in found:
            look = looks[name.partition(" (")[0]]
            assert (mark, fill) == (MARKS[look.mark], look.colour)
            if page is report:
                assert (colour, dashes or "") == (look.colour, " ".join(map(str, look.dashes)))
    heads = [s.find("path").get("stroke") for s in report.cssselect(".answer li svg")]
    assert heads == [device_looks(by_hand())[name].colour for name in ("Amber", "Basalt")]


def test_columns_of_words_are_set_as_words(compared: Compared) -> None:
    """Words stand left, figures right, in heading and cell alike."""
    for page in (report_page(by_hand(), ()), page_of(compared)):
        for table in html.fromstring(page).iter("table"):
            heads = ["words" in (h.get("class") or "") for h in table.iterfind("thead/tr/th")]
            for row in table.iterfind("tbody/tr"):
                assert ["words" in (c.get("class") or "") or c.tag == "th" for c in row] == heads


def test_a_comparison_of_everything(compared: Compared) -> None:
    drawn = chart("compare")
    odd = replace(compared, problems=("spring: found no devices.csv",))
    assert told(page_of(odd, drawn)) == expected("compare_whole")


def test_a_comparison_of_one_campaign_alone(compared: Compared) -> None:
    alone = Compared(tuple(e for e in compared.entries if e.campaign == "Weir")[:1])
    lines = [line for line in told(page_of(alone)) if re.match(" *(p.counts|p.lead|section|figure)", line)]
    assert lines == [
        "   p.counts 1 device in 1 campaign on 1 course.",
        "    p.lead data-finding No device was carried along, so figures of one campaign say nothing of those of another.",
        "   section aria-label='course 1: Weir, route away'",
        "   section aria-labelledby=h-read",
    ]

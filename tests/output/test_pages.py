"""Map and report as a browser sees them with the network off: all drawn, nothing asked for, no text taken for code."""

from __future__ import annotations

import dataclasses
import json
import re
import shutil
import subprocess
from html.parser import HTMLParser
from itertools import combinations, pairwise
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np
import pytest
from browser import Opened, missing
from output_sample import HOSTILE, charts, sample

from gpsq.exceptions import OutputError
from gpsq.output.charts import all_charts
from gpsq.output.map.data import map_data, script_json
from gpsq.output.map.page import START, map_page, start_script
from gpsq.output.report.page import report_page
from gpsq.output.templating import template_text
from gpsq.summary_types import Interval, StateSummary, Summaries

if TYPE_CHECKING:
    from gpsq.results import Analysis

WIDTHS = (390, 1280)
#: From the shared case on hostile names: none of these may stand in a page as markup or as the result of a template.
FORBIDDEN = (
    "<script>window.PWNED",
    "<img src=x onerror",
    "${window.PWNED",
    "`+(",
    "{{",
    "{%",
    "A49B",
    "Cobalt 49",
    "<Lane>",
    "<b>",
)


@pytest.fixture(scope="module")
def analysis() -> Analysis:
    return sample()


@pytest.fixture(scope="module")
def pages(analysis: Analysis, tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("pages")
    (folder / "map.html").write_text(map_page(analysis), "utf-8")
    (folder / "report.html").write_text(report_page(analysis, charts()), "utf-8")
    across = sample(lon_deg=180.0)
    (folder / "across.html").write_text(map_page(across), "utf-8")
    return folder


def fetched(shown: Opened) -> list[str]:
    """What was asked for beyond the page itself and the pictures inside it."""
    return [url for url in shown.requests[1:] if not url.startswith("data:")]


@pytest.mark.parametrize("name", ["map.html", "report.html"])
@pytest.mark.parametrize("width", WIDTHS)
def test_pages_open_without_a_network(open_page: Any, pages: Path, name: str, width: int) -> None:
    """Case 40: no request, no complaint; and nothing wider than a phone."""
    shown = open_page(pages / name, width)
    assert (fetched(shown), shown.complaints) == ([], [])
    assert shown.page.evaluate("document.documentElement.scrollWidth") <= width
    assert shown.page.evaluate("typeof window.PWNED") == "undefined"


def test_map_draws_every_recording_with_a_line(open_page: Any, pages: Path, analysis: Analysis) -> None:
    shown = open_page(pages / "map.html").page
    out = len(analysis.routes[0].route.members)
    assert shown.evaluate("Number(document.body.dataset.recordings)") == out, "it opens on the way of most rides"
    for box in shown.locator("#routes input").all():
        box.check()
    drawn = sum(trace.accepted > 1 for trace in analysis.traces)
    assert shown.evaluate("Number(document.body.dataset.recordings)") == drawn
    assert shown.locator(".leaflet-control-scale-line").inner_text().endswith(" m")
    assert "background tiles need a network" in shown.locator("footer").inner_text()
    points = f"{sum(t.accepted for t in analysis.traces):,}".replace(",", "\u00a0")
    assert f"{points} points, " in shown.locator("#drawn").inner_text()


def test_map_paints_each_device_in_its_colour(open_page: Any, pages: Path) -> None:
    """The canvas itself is read: the Okabe–Ito blue, vermilion and green of the three devices are on it."""
    shown = open_page(pages / "map.html").page
    pixels = shown.evaluate(
        """() => {
          const canvas = document.querySelector('canvas'), seen = {};
          const data = canvas.getContext('2d').getImageData(0, 0, canvas.width, canvas.height).data;
          for (let i = 0; i < data.length; i += 4) {
            const colour = [data[i], data[i + 1], data[i + 2]].join();
            if (data[i + 3] === 255) seen[colour] = (seen[colour] || 0) + 1;
          }
          return seen;
        }"""
    )
    for colour in ("0,114,178", "213,94,0", "0,158,115"):
        assert pixels.get(colour, 0) > 20, colour


@pytest.mark.parametrize("width", WIDTHS)
def test_flags_fly_inside_the_map_and_over_no_other(open_page: Any, pages: Path, width: int) -> None:
    """Every label's box as the browser draws it, for all rides, for one ride, and close up."""
    shown = open_page(pages / "map.html", width).page
    for change in (
        "1",
        "document.getElementById('after').click()",
        "gpsq_map.setZoom(gpsq_map.getZoom() + 2, {animate: false})",
    ):
        shown.evaluate(change)
        boxes = shown.evaluate(
            """() => [...document.querySelectorAll('[data-label]')].map((text) => {
              const b = text.getBoundingClientRect();
              return [text.textContent, b.left, b.top, b.right, b.bottom];
            })"""
        )
        assert boxes or "setZoom" in change
        frame = shown.evaluate(
            "(() => { const b = gpsq_map.getContainer().getBoundingClientRect(); return [b.left, b.top, b.right, b.bottom]; })()"
        )
        for text, left, top, right, bottom in boxes:
            assert left >= frame[0], text
            assert top >= frame[1], text
            assert right <= frame[2], text
            assert bottom <= frame[3], text
        for one, other in combinations(boxes, 2):
            apart = one[1] >= other[3] or other[1] >= one[3] or one[2] >= other[4] or other[2] >= one[4]
            assert apart, (one[0], other[0])


def test_a_ride_is_played_by_keyboard(open_page: Any, pages: Path, analysis: Analysis) -> None:
    """Before its first fix a device waits; after it the seconds are said. The last frame is the end of the ride."""
    shown = open_page(pages / "map.html").page
    assert shown.locator("#play").is_hidden()
    shown.locator("#ride").select_option(index=3)
    slider = shown.locator("#play-slider")
    slider.focus()
    shown.keyboard.press("ArrowRight")
    said = shown.locator("#play-said").inner_text()
    assert "Cobalt {{7*7}}: no fix yet" in said
    shown.keyboard.press("End")
    said = shown.locator("#play-said").inner_text().replace("\u00a0", " ")
    ride = [
        r
        for r, t in zip(analysis.results, analysis.traces, strict=True)
        if r.ride == "out 2" and t.device == "Cobalt {{7*7}}"
    ]
    assert ride[0].first_fix.missed_is_minimum
    assert f"fixed after {ride[0].first_fix.seconds:.0f} s, at least {ride[0].first_fix.missed_m:.0f} m missed" in said
    shown.locator("#play-button").click()
    assert shown.locator("#play-button").inner_text() == "Stop"
    slider.focus()
    shown.keyboard.press("ArrowRight")
    assert shown.locator("#play-button").inner_text() == "Play", "moving the slider stops it"


def test_a_published_map_says_that_ends_are_cut(open_page: Any, analysis: Analysis, tmp_path: Path) -> None:
    (tmp_path / "map.html").write_text(map_page(dataclasses.replace(analysis, published=True)), "utf-8")
    assert (
        "ends cut, first fixes moved along the road"
        in open_page(tmp_path / "map.html", 390).page.locator("#plate").inner_text()
    )


def test_map_steps_through_rides(open_page: Any, pages: Path) -> None:
    shown = open_page(pages / "map.html").page
    assert shown.locator("#ride option").count() == 6
    shown.locator("#after").click()
    assert shown.locator("#ride").input_value() == "0"
    assert shown.locator("#chosen dt").count() == 3
    assert "start unknown" in shown.locator("#chosen").inner_text()
    assert shown.locator("#ride option:checked").inner_text().startswith("Mon 4 May 07:10, out, ")
    shown.locator("#before").click()
    assert shown.locator("#ride").input_value() == "-1"
    shown.locator("#ride").select_option(index=4)
    assert "never fixed" in shown.locator("#chosen").inner_text()
    assert shown.locator("#ride option:checked").inner_text().startswith("Tue 5 May 17:10, back, ")
    assert shown.evaluate("[...document.querySelectorAll('#routes input')].map((box) => box.checked)") == [
        False,
        True,
        False,
    ]


def test_map_hides_devices_and_routes(open_page: Any, pages: Path) -> None:
    shown = open_page(pages / "map.html").page
    shown.locator("#routes input").nth(1).check()
    shown.locator("#devices input").nth(0).uncheck()
    assert shown.evaluate("Number(document.body.dataset.recordings)") == 9
    shown.locator("#routes input").nth(1).uncheck()
    assert shown.evaluate("Number(document.body.dataset.recordings)") == 6


def test_map_names_the_ride_under_the_pointer(open_page: Any, pages: Path) -> None:
    """The pointer goes to the middle of the first recording, where it must say whose line that is."""
    shown = open_page(pages / "map.html").page
    shown.evaluate("gpsq_map.setZoom(gpsq_map.getZoom() + 3, {animate: false})")
    x, y = shown.evaluate(
        """() => {
          const part = JSON.parse(document.getElementById('gpsq-data').textContent).recordings[0].parts[0];
          let lat = 0, lon = 0;
          for (let i = 0; i < part.length / 2; i += 2) { lat += part[i]; lon += part[i + 1]; }
          const place = [lat / 1e6, lon / 1e6];
          gpsq_map.panTo(place, {animate: false});
          const at = gpsq_map.latLngToContainerPoint(place), box = gpsq_map.getContainer().getBoundingClientRect();
          return [box.x + at.x, box.y + at.y];
        }"""
    )
    for step in range(
        600
    ):  # Leaflet looks what lies under the pointer at most thirty times a second, if it comes to it
        shown.mouse.move(x + step % 2, y)
        shown.wait_for_timeout(50)
        if shown.locator(".leaflet-tooltip").count():
            break
    assert re.search(
        r"Mon 4 May 07:10 · Amber|Route out|off the road", shown.locator(".leaflet-tooltip").first.inner_text()
    )


def test_a_link_opens_the_ride_of_a_deviation(open_page: Any, pages: Path, analysis: Analysis) -> None:
    deviation = analysis.deviations[0]
    shown = open_page(pages / "map.html", fragment=f"#d-{deviation.id}").page
    recordings = "JSON.parse(document.getElementById('gpsq-data').textContent).recordings"
    number = shown.evaluate(f"{recordings}[{deviation.trace}].ride")
    assert shown.locator("#ride").input_value() == str(number)
    assert analysis.results[deviation.trace].ride == "out 3"
    assert shown.locator("#ride option:checked").inner_text().startswith("Wed 6 May 07:10, out")


def test_hostile_names_show_as_text(open_page: Any, pages: Path, analysis: Analysis) -> None:
    """Case 31: every name stands in the page exactly as written, as text."""
    report = open_page(pages / "report.html").page
    said, titled = report.evaluate("document.body.textContent"), report.title()
    shown = open_page(pages / "map.html")
    seen = ""
    for _ in range(5):
        shown.page.locator("#after").click()
        seen += shown.page.evaluate("document.body.textContent")
    for name in [t.name for t in analysis.traces]:
        written = name.replace("\u2028", " ").replace("\u202e", " ")  # neither may break or turn a line
        assert written in said, name
        assert written in seen, name
    assert analysis.title in titled
    assert shown.page.locator("#title").inner_text() == analysis.title
    assert (shown.complaints, shown.page.evaluate("typeof window.PWNED")) == ([], "undefined")
    names = [box.inner_text() for box in shown.page.locator("#devices label").all()]
    assert names == sorted({t.device for t in analysis.traces})


def test_a_ride_over_the_antimeridian_is_one_short_line(open_page: Any, pages: Path) -> None:
    """Case 20: one short line, none round the world."""
    shown = open_page(pages / "across.html").page
    west, east = shown.evaluate("[gpsq_map.getBounds().getWest(), gpsq_map.getBounds().getEast()]")
    assert east - west < 0.1
    assert abs(abs((west + east) / 2) - 180.0) < 0.05


def test_the_map_follows_dark_mode(open_page: Any, pages: Path) -> None:
    grounds = [
        open_page(pages / name, scheme=scheme).page.evaluate("getComputedStyle(document.body).backgroundColor")
        for name in ("map.html", "report.html")
        for scheme in ("light", "dark")
    ]
    assert grounds[0] == grounds[2] != grounds[1] == grounds[3]


def test_the_report_fits_a_sheet_of_paper(open_page: Any, pages: Path) -> None:
    """A4 without its margins of 14 mm is 182 mm wide, 688 px of CSS; in the dark look it is black on white all the same."""
    shown = open_page(pages / "report.html", 688, scheme="dark").page
    shown.emulate_media(media="print")
    assert shown.evaluate("document.documentElement.scrollWidth") <= 688
    assert shown.evaluate("getComputedStyle(document.body).backgroundColor") == "rgb(255, 255, 255)"
    assert shown.locator(".copy").first.is_hidden()


# ---- what holds without a browser ----


class Elements(HTMLParser):
    """Elements with their attributes, ids, and headings in order."""

    def __init__(self, text: str) -> None:
        super().__init__()
        self.found: list[tuple[str, dict[str, str | None]]] = []
        self.feed(text)

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.found.append((tag, dict(attrs)))

    def of(self, tag: str) -> list[dict[str, str | None]]:
        return [attributes for name, attributes in self.found if name == tag]


@pytest.mark.parametrize("name", ["map.html", "report.html"])
def test_nothing_is_fetched_from_elsewhere(pages: Path, name: str) -> None:
    """Case 40: the count of src and href on http(s) for script, link, img and style elements is 0."""
    text = (pages / name).read_text("utf-8")
    elements = Elements(text)
    for tag in ("script", "link", "img", "iframe", "source", "image", "use"):
        assert not [a for a in elements.of(tag) if a.get("src") or a.get("href")], tag
    assert not re.search(r"url\((?!data:|#)", text)
    assert "@import" not in text
    policy = next(a["content"] for a in elements.of("meta") if a.get("http-equiv") == "Content-Security-Policy")
    assert policy is not None
    assert policy.startswith("default-src 'none'")
    assert "http" not in policy


@pytest.mark.parametrize("name", ["map.html", "report.html"])
def test_no_name_is_markup_or_a_template(pages: Path, name: str) -> None:
    text = (pages / name).read_text("utf-8")
    assert [bad for bad in FORBIDDEN if bad in text] == []


def test_the_reports_one_script_only_copies(pages: Path) -> None:
    """The policy lets it run by its hash; it fetches nothing, and no element has a handler of its own."""
    text = (pages / "report.html").read_text("utf-8")
    elements = Elements(text)
    (script,) = re.findall(r"<script>(.*?)</script>", text, re.DOTALL)
    assert script == template_text("copy.js")
    assert not re.search(r"fetch|XMLHttpRequest|import|eval|innerHTML", script)
    assert not [name for _, attributes in elements.found for name in attributes if name.startswith("on")]


def test_findings_and_tables_can_be_copied(open_page: Any, pages: Path) -> None:
    """What is copied is caught on its way: a sentence, and a table in three forms with all of its rows."""
    shown = open_page(pages / "report.html").page
    shown.evaluate(
        "window.copied = []; navigator.clipboard.writeText = async (text) => { window.copied.push(text); }; 1"
    )
    shown.locator(".answer .copy").first.click()
    for name in ("Markdown", "HTML", "CSV"):
        shown.locator("#fix .copies").first.get_by_text(name, exact=True).click()
    sentence, markdown, html, csv = shown.evaluate("window.copied")
    assert sentence.endswith(".")
    assert sentence in shown.locator(".answer [data-finding]").first.inner_text().replace("\u00a0", " ")
    rows = markdown.split("\n")
    heads = [
        " ".join(text.split()) for text in shown.locator("#fix table").first.locator("thead th").all_text_contents()
    ]
    assert " ".join(rows[0].split()) == "| " + " | ".join(heads) + " |"
    assert set(rows[1]) == set("| -")
    assert [row.split(" | ")[0] for row in rows[2:]] == ["| Amber", "| Basalt $x_1$ <b>", "| Cobalt {{7*7}}"]
    assert "<td>Basalt $x_1$ &lt;b&gt;</td>" in html
    assert len(csv.split("\n")) == 4
    assert csv.split("\n")[1].startswith('"Amber","')


@pytest.mark.parametrize("name", ["report.html", "map.html"])
def test_nothing_is_wider_than_a_phone(open_page: Any, pages: Path, name: str) -> None:
    """At 390 px no element reaches beyond the screen, and every figure of the first table is seen without scrolling."""
    shown = open_page(pages / name, 390).page
    wide = shown.evaluate(
        """() => [...document.body.querySelectorAll('*')].filter((node) => {
          const box = node.getBoundingClientRect();
          return box.width && !node.closest('svg, .leaflet-pane, .unseen, .skip, thead') && (box.right > 390.5 || box.left < -0.5);
        }).map((node) => node.outerHTML.slice(0, 80))"""
    )
    assert wide == []
    if name == "report.html":
        table = shown.locator("#fix table").first
        for cell in table.locator("tbody td").all():
            box = cell.bounding_box()
            assert box["x"] >= 0
            assert box["x"] + box["width"] <= 390
            assert cell.get_attribute("data-head")
        assert table.evaluate("(node) => node.parentElement.scrollWidth <= node.parentElement.clientWidth")


def test_every_script_of_the_map_parses(pages: Path, tmp_path: Path) -> None:
    node = shutil.which("node")
    if node is None:
        missing("node")
    scripts = re.findall(r"<script>(.*?)</script>", (pages / "map.html").read_text("utf-8"), re.DOTALL)
    assert len(scripts) == 3
    for i, script in enumerate(scripts):
        (tmp_path / f"{i}.js").write_text(script, "utf-8")
        subprocess.run([str(node), "--check", str(tmp_path / f"{i}.js")], check=True)


def test_ids_in_the_report_are_unique_and_links_lead_somewhere(pages: Path) -> None:
    elements = Elements((pages / "report.html").read_text("utf-8"))
    ids = [attributes["id"] for _, attributes in elements.found if attributes.get("id")]
    assert len(ids) == len(set(ids))
    inner = [a["href"] for a in elements.of("a") if (a.get("href") or "").startswith("#")]
    assert {str(href)[1:] for href in inner} <= set(ids)


def test_the_report_is_fit_for_a_screen_reader(pages: Path) -> None:
    """WCAG 2.2: 1.1.1 (text for pictures), 1.3.1 (headings, captions, scopes), 2.4.2 (title), 3.1.1 (language)."""
    elements = Elements((pages / "report.html").read_text("utf-8"))
    assert elements.of("html")[0]["lang"] == "en"
    assert len(elements.of("h1")) == len(elements.of("main")) == len(elements.of("title")) == 1
    levels = [int(tag[1]) for tag, _ in elements.found if re.fullmatch("h[1-6]", tag)]
    assert all(after - before <= 1 for before, after in pairwise(levels))
    assert len(elements.of("caption")) == len(elements.of("table"))
    assert all(head.get("scope") for head in elements.of("th"))
    pictures = [a for _, a in elements.found if a.get("role") == "img"]
    assert pictures
    assert all(len(a.get("aria-label") or "") > 15 for a in pictures)
    assert all(a.get("role") == "img" or a.get("aria-hidden") == "true" for a in elements.of("svg"))


def test_the_report_answers_first(pages: Path, analysis: Analysis) -> None:
    text = re.sub(r"<[^>]+>|\s+", " ", (pages / "report.html").read_text("utf-8").split("<main>")[1])
    first = text.index("in the median")
    assert first < text.index("Time to first fix and what it lost")
    for device in ("Amber", "Basalt", "Cobalt"):
        assert text.index(device) < text.index("Contents" if "Contents" in text else "Every recording")
    for decision in ("intentional", "error"):
        assert f"gpsq flag sample {analysis.deviations[0].event} {decision}" in text


def test_script_json_gives_back_what_it_was_given() -> None:
    said = {"names": list(HOSTILE)}
    text = script_json(said)
    assert json.loads(text) == said
    assert not set(text) & set("<>&\u2028\u2029")


def test_the_map_without_tiles_begins_as_folium_makes_it() -> None:
    """Another folium may make another script: then `start_script(None)` gives the text for the file."""
    assert template_text(START) == start_script(None)


def test_tiles_are_named_with_their_source_and_what_they_reveal(analysis: Analysis) -> None:
    """The provider's own attribution must show (its terms); names and addresses are those of xyzservices."""
    import xyzservices.providers

    known = xyzservices.providers.query_name("OpenStreetMap.Mapnik")
    text = map_page(analysis, tiles="OpenStreetMap.Mapnik")
    policy = next(a["content"] for a in Elements(text).of("meta") if a.get("http-equiv") == "Content-Security-Policy")
    assert "img-src data: https://tile.openstreetmap.org;" in str(policy)
    assert "tile.openstreetmap.org: that server learns which places are looked at" in text
    assert known["url"] in text
    shown, _ = json.JSONDecoder().raw_decode(text, text.index('"attribution": ') + len('"attribution": '))
    assert shown == known.html_attribution


def test_unknown_tiles_are_refused(analysis: Analysis) -> None:
    with pytest.raises(OutputError, match="no provider named"):
        map_page(analysis, tiles="nowhere at all")
    with pytest.raises(OutputError, match="wants a key"):
        map_page(analysis, tiles="Thunderforest.OpenCycleMap")


def test_positions_on_the_map_are_right_to_a_decimetre(analysis: Analysis) -> None:
    """A tenth of the thinning: millionths of a degree are 11 cm at most."""
    data = map_data(analysis)
    for trace, recording in zip(analysis.traces, data["recordings"], strict=True):
        if not trace.accepted:
            assert recording["at"] == recording["parts"] == []
            continue
        lat, lon = np.array(recording["at"]) / 1e6
        assert lat == pytest.approx(trace.lat_deg[0], abs=5.1e-7)
        assert lon == pytest.approx(trace.lon_deg[0], abs=5.1e-7)


def test_the_missed_head_runs_from_the_start_to_the_first_fix(analysis: Analysis) -> None:
    data = map_data(analysis)
    for result, recording in zip(analysis.results, data["recordings"], strict=True):
        steps = np.cumsum(np.array(recording["head"]).reshape(-1, 2), axis=0) / 1e6
        if not np.isfinite(result.first_fix.missed_m):
            assert len(steps) == 0
            continue
        metres = np.diff(steps, axis=0) * [111_320.0, 111_320.0 * np.cos(np.radians(47.0))]
        # The sphere of 111 320 m a degree is up to 0.5 % off the ellipsoid.
        assert np.hypot(*metres.T).sum() == pytest.approx(result.first_fix.missed_m, rel=0.01, abs=0.5)


def test_a_bare_analysis_still_gives_pages(analysis: Analysis) -> None:
    bare = dataclasses.replace(
        analysis,
        traces=(),
        results=(),
        routes=(),
        deviations=(),
        unreadable=(),
        flags=(),
        summaries=Summaries(),
        notes=(),
    )
    drawn = all_charts.figures(bare)
    assert drawn == ()
    assert "No device gave figures" in report_page(bare, drawn)
    assert '"recordings":[]' in map_page(bare)


def test_a_table_of_start_states_without_a_figure_is_left_out(analysis: Analysis) -> None:
    shown = "Time to first fix by the state of the receiver"
    device = analysis.summaries.devices[0].device
    for figures, there in (({"ttff_median_s": Interval(12.0)}, True), ({}, False)):
        own = tuple(StateSummary(device, state, 3, figures) for state in ("hot", "cold"))
        whole = dataclasses.replace(analysis, summaries=dataclasses.replace(analysis.summaries, start_states=own))
        assert (shown in report_page(whole, ())) == there


@pytest.mark.parametrize(
    ("title", "folder", "shown"),
    [
        ("Weir", "x/y", "Weir"),
        ("", "x/May rides/", "May rides"),
        ("", "x\\May", "May"),
        ("", ".", Path.cwd().name),
        ("", "/", "Repeated rides"),
        ("", "", "Repeated rides"),
    ],
)
def test_pages_always_have_a_title(analysis: Analysis, title: str, folder: str, shown: str) -> None:
    named = dataclasses.replace(analysis, title=title, folder=folder)
    assert map_data(named)["title"] == shown
    assert f"<h1><bdi>{shown}</bdi></h1>" in report_page(named, ())

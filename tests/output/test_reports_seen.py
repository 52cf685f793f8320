"""Report and comparison as a browser shows and copies them: what is seen on which screen, and what is taken to a table."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import pytest
from browser import Window
from by_hand import by_hand
from looks import colours, contrast, unlike, words_can_be_read
from test_reports_in_full import chart

from gpsq.output.report.page import report_page
from gpsq.output.templating import template_text

if TYPE_CHECKING:
    from collections.abc import Iterator
    from pathlib import Path

COLOURS = ("paper", "leaf", "ink", "soft", "accent", "note", "rule", "street")
#: Two rows with all that a table can hold: notes below a figure, small forms and drawings, signs that other forms take.
TABLE = """
<p data-finding>A  finding, <b>bold</b>\n of 5.0&nbsp;m.</p>
<div id="outer"><div class="wide"><table><caption>Of  all, "quoted" &amp; &lt;odd&gt;</caption>
<thead><tr><th>device</th><th>a|b</th></tr></thead><tbody>
<tr><th>-Amber<svg><text>drawn</text></svg></th><td>7 m<span class="bounds">5 m to 9 m</span>
<span class="before">before: 8 m</span></td></tr>
<tr><th>=1 "and" &lt;b&gt; &amp;</th><td><form><button>Save</button></form>x, y</td></tr>
<tr><th>@c</th><td><span class="bounds"></span>+3</td></tr></tbody></table></div></div>
<table id="bare"><caption>Bare</caption><tr><th>only</th></tr></table>
"""


@pytest.fixture(scope="module")
def window(chromium: Any) -> Iterator[Window]:
    opened = Window(chromium, offline=True, bypass_csp=True)
    yield opened
    opened.context.close()


@pytest.fixture(scope="module")
def report(window: Window, tmp_path_factory: pytest.TempPathFactory) -> Any:
    path: Path = tmp_path_factory.mktemp("seen") / "report.html"
    path.write_text(report_page(by_hand(), (chart("first-fix"),)), "utf-8")
    return window.show(path).page


def test_a_report_on_a_wide_screen(report: Any) -> None:
    own = colours(report, *COLOURS)
    figure = "#fix .stacked td:nth-child(3)"
    assert unlike(report, {
        "body": {"backgroundColor": own["paper"], "color": own["ink"], "fontVariantNumeric": "tabular-nums"},
        "body > header": {"maxWidth": "1152px"}, "h2": {"fontWeight": "600"}, ".small": {"color": own["soft"]},
        ".chart .full": {"display": "block"}, ".chart .square": {"display": "none"},
        figure: {"textAlign": "right"}, f"{figure} .bounds": {"display": "block", "color": own["soft"]},
        "#fix .stacked .why": {"whiteSpace": "normal"}, "#fix .many td": {"fontSize": "12.48px"},
        "#fix .stacked th[scope=row]": {"textAlign": "left"}, ".records td.words": {"textAlign": "left", "fontWeight": "400"},
        ".wide": {"overflowX": "auto"}, "#fix thead": {"position": "static"},
        "#fix caption": {"position": "sticky", "textAlign": "left", "fontWeight": "600"},
        ".card.unflagged": {"borderLeftStyle": "solid", "borderLeftColor": own["accent"], "borderLeftWidth": "5px"},
        ".card.error": {"borderLeftStyle": "dotted", "borderLeftWidth": "5px"}, ".card .state": {"fontWeight": "600"},
        ".ground .line": {"strokeWidth": "1.2px", "stroke": own["ink"], "fill": "none"},
        ".ground .track": {"strokeWidth": "1.7px", "strokeOpacity": "0.8"},
        ".ground .off": {"strokeWidth": "9px", "strokeOpacity": "0.33"}, ".ground .off.error": {"strokeDasharray": "3px, 5px"},
        ".ground .bar": {"strokeWidth": "2.5px"}, "svg.ground": {"display": "block"},
        "pre": {"whiteSpace": "pre-wrap", "backgroundColor": own["note"]}, ".glossary": {"display": "grid"},
        ".hash": {"overflowWrap": "anywhere"}, ".contents": {"listStyleType": "none", "display": "flex"},
        ".answer ul": {"listStyleType": "none"}, ".answer": {"borderTopStyle": "double", "borderBottomStyle": "double"},
        ".key": {"display": "inline-flex"}, "a": {"color": own["accent"]},
    }) == {}  # fmt: skip
    report.evaluate("document.body.append(Object.assign(document.createElement('iframe'), { className: 'map' }))")
    box = report.locator(".map").bounding_box()  # in a page that is sent whole
    assert (box["width"] > 1000.0, box["height"] > 500.0) == (True, True)
    report.evaluate("document.querySelector('.map').remove()")
    skip = report.locator(".skip")
    assert skip.bounding_box()["x"] < -500.0
    skip.focus()
    assert 0.0 <= skip.bounding_box()["x"] <= 40.0
    assert (
        unlike(report, {".skip": {"outlineStyle": "solid", "outlineWidth": "3px", "outlineColor": own["accent"]}}) == {}
    )
    assert report.locator(".copies .copy").first.bounding_box()["height"] >= 24, "WCAG 2.2, 2.5.8"


@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_every_colour_of_words_can_be_read(report: Any, scheme: str) -> None:
    """WCAG 2.2, 1.4.3: 4.5 to 1, on each ground."""
    report.emulate_media(media="screen", color_scheme=scheme)
    own = colours(report, *COLOURS)
    words_can_be_read(report, own, scheme)
    assert contrast(report, own["rule"], own["paper"]) > 1.2
    report.emulate_media(media="screen", color_scheme="light")


def test_a_report_on_a_phone_has_square_pictures_and_a_card_for_each_row(report: Any) -> None:
    report.set_viewport_size({"width": 390, "height": 800})
    clipped = {"position": "absolute", "width": "1px", "height": "1px", "overflow": "hidden", "clipPath": "inset(50%)"}
    assert unlike(report, {
        ".chart .full": {"display": "none"}, ".chart .square": {"display": "block"}, "#fix .stacked thead": clipped,
        "#fix .stacked": {"display": "block"}, "#fix .stacked tbody": {"display": "grid"},
        "#fix .stacked tr": {"display": "flex", "flexDirection": "column"},
        "#fix .stacked td": {"display": "grid", "textAlign": "right"},
        "#fix .stacked td::before": {"content": '"rides"', "textAlign": "left"},
        "#fix .stacked th[scope=row]": {"order": "-1", "textAlign": "left"},
        "#method td.full": {"textAlign": "left"},
    }) == {}  # fmt: skip
    report.set_viewport_size({"width": 1280, "height": 800})


def test_a_report_on_paper_is_whole_and_has_nothing_to_press(report: Any) -> None:
    report.emulate_media(media="print")
    own = colours(report, *COLOURS)
    assert (own["paper"], own["ink"]) == ("rgb(255, 255, 255)", "rgb(0, 0, 0)")
    assert unlike(report, {
        ".contents": {"display": "none"}, ".skip": {"display": "none"}, ".copies": {"display": "none"},
        ".copy": {"display": "none"},
        ".chart .full": {"display": "block"}, ".chart .square": {"display": "none"}, ".wide": {"overflowX": "visible"},
        "#method details::details-content": {"contentVisibility": "visible"}, "figure": {"breakInside": "avoid"},
        "tr": {"breakInside": "avoid"}, "h2": {"breakAfter": "avoid"}, "#fix thead": {"position": "static"},
    }) == {}  # fmt: skip
    report.emulate_media(media="screen")


@pytest.fixture
def table(window: Window, tmp_path: Path) -> Any:
    (tmp_path / "table.html").write_text(
        f"<!DOCTYPE html><body>{TABLE}<script>{template_text('copy.js')}</script>", "utf-8"
    )
    page = window.show(tmp_path / "table.html").page
    page.evaluate(
        "() => { window.copied = []; navigator.clipboard.writeText = async (text) => window.copied.push(text); }"
    )
    return page


def test_a_table_is_copied_word_for_word_in_each_form(table: Any) -> None:
    """CSV as in RFC 4180, with what a spreadsheet takes for a formula marked; Markdown and HTML with their own signs spelled."""
    table.locator("p[data-finding] button").click()
    for form in ("Markdown", "HTML", "CSV"):
        table.locator("#outer + .copies button, #outer .copies button").filter(has_text=form).first.click()
    assert table.evaluate("window.copied") == [
        "A finding, bold of 5.0 m.",
        '| device | a\\|b |\n| --- | --- |\n| -Amber | 7 m (5 m to 9 m; before: 8 m) |\n| =1 "and" <b> & | x, y |\n| @c | +3 |',
        "<table>\n<caption>Of all, \"quoted\" &amp; &lt;odd&gt;</caption>\n<tr><th>device</th><th>a|b</th></tr>\n"
        "<tr><td>-Amber</td><td>7 m (5 m to 9 m; before: 8 m)</td></tr>\n"
        '<tr><td>=1 "and" &lt;b&gt; &amp;</td><td>x, y</td></tr>\n<tr><td>@c</td><td>+3</td></tr>\n</table>',
        "\"device\",\"a|b\"\n\"'-Amber\",\"7 m (5 m to 9 m; before: 8 m)\"\n\"'=1 \"\"and\"\" <b> &\",\"x, y\"\n\"'@c\",\"'+3\"",
    ]  # fmt: skip


def test_each_finding_and_table_offers_its_copies_once_and_by_name(table: Any) -> None:
    offered = "[...document.querySelectorAll('button.copy')].map((b) => [b.textContent, b.getAttribute('aria-label'), b.type])"
    once = [
        ["copy", "Copy this sentence", "button"],
        *(
            [form, f'Copy the table as {form}: Of all, "quoted" & <odd>', "button"]
            for form in ("Markdown", "HTML", "CSV")
        ),
        *([form, f"Copy the table as {form}: Bare", "button"] for form in ("Markdown", "HTML", "CSV")),
    ]
    assert table.evaluate(offered) == once
    assert table.locator(".copies").first.inner_text().startswith("Copy as Markdown")
    assert table.evaluate("document.querySelector('.wide').nextElementSibling.className") == "copies"
    assert table.evaluate("document.querySelector('#bare').nextElementSibling.className") == "copies"
    table.evaluate("document.dispatchEvent(new Event('gpsq:renewed'))")
    assert table.evaluate(offered) == once
    table.evaluate("document.body.insertAdjacentHTML('beforeend', '<p data-finding>New.</p>')")
    table.evaluate("document.dispatchEvent(new Event('gpsq:renewed'))")
    assert len(table.evaluate(offered)) == len(once) + 1


def test_it_says_that_it_copied_and_copies_where_the_browser_keeps_its_clipboard(table: Any) -> None:
    table.evaluate("""() => {
      window.later = [];
      window.setTimeout = (what, ms) => { window.later.push([what, ms]); };
      navigator.clipboard.writeText = async () => { throw new Error("no"); };
      document.execCommand = (what) => {
        const box = document.activeElement;
        window.copied.push([what, box.value.slice(box.selectionStart, box.selectionEnd), box.getAttribute("aria-hidden")]);
      };
    }""")
    button = table.locator("p[data-finding] button")
    button.click()
    table.wait_for_selector("p[data-finding] button:text-is('copied')")
    assert table.evaluate("window.copied") == [["copy", "A finding, bold of 5.0 m.", "true"]]
    assert (table.locator("textarea").count(), table.evaluate("document.activeElement.textContent")) == (0, "copied")
    table.evaluate("window.later.forEach(([what]) => what())")
    assert (button.inner_text(), table.evaluate("window.later[0][1]")) == ("copy", 1500)

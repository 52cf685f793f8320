"""How the page looks where a look says something: what is hidden, pressed, refused, changed, decided, kept, done and printed."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING, Any

import pytest
from by_hand import by_hand
from hand_desk import hand_desk
from looks import colours, unlike, words_can_be_read
from page_window import PageWindow, Server

from gpsq.campaign.campaign_file import PrivatePlace
from gpsq.web import page_data
from gpsq.web.jobs import Progress
from gpsq.web.pasted_log import Line, Pasted
from gpsq.web.received import Received
from gpsq.web.session import Results

if TYPE_CHECKING:
    from collections.abc import Iterator

COLOURS = ("paper", "leaf", "ink", "soft", "accent", "note")
#: States that last a moment: refused, busy, and hidden where its place says how it is shown.
PUT = """() => {
  document.getElementById("title").ariaInvalid = "true";
  document.getElementById("again").ariaBusy = "true";
  document.querySelector(".work").prepend(Object.assign(document.createElement("p"), { hidden: true }));
}"""
OUTCOMES = ("read", "unread", "left out", "known", "being read")


def everything(folder: Any, patch: pytest.MonkeyPatch) -> Any:
    """Return a desk with something of everything that has a look of its own."""
    drawings = [type("Drawn", (), {"name": "overlay-a", "title": "A"})]
    patch.setattr(page_data.all_charts, "drawings", lambda analysis: drawings)
    desk = hand_desk(folder, patch)
    found = list(by_hand().deviations)
    found[0], found[1] = replace(found[0], event="E76", flag="intentional"), replace(found[1], event="E77")
    whole = by_hand(deviations=tuple(found))
    now = page_data.figures(whole)
    before = now | dict.fromkeys([key for key in now if key[0] == "Amber"], "2.9 m")
    desk.results = Results(3, whole, "map", page_data.of_analysis(whole, before))
    desk.received = [Received(f"{k}.gpx", "was stored.", outcome, "30 fixes") for k, outcome in enumerate(OUTCOMES)]
    desk.pasted = Pasted("8 o'clock", (Line("8 o'clock", "", "found no date"),), problems=("It has no heading.",))
    desk.places = lambda: ([PrivatePlace(47.0004, 12.004, 200.0)], "")
    desk.analyst.progress, desk.problem = Progress("reading", 2, 7), "no rides"
    return desk


@pytest.fixture(scope="module")
def page(chromium: Any, tmp_path_factory: pytest.TempPathFactory) -> Iterator[Any]:
    with pytest.MonkeyPatch.context() as patch:
        window = PageWindow(chromium)
        opened = window.open(Server(everything(tmp_path_factory.mktemp("looks"), patch)))
        opened.evaluate(PUT)
        yield opened
        window.context.close()


@pytest.fixture
def wide(page: Any) -> Any:
    page.emulate_media(media="screen", color_scheme="light", reduced_motion="reduce")
    page.set_viewport_size({"width": 1280, "height": 800})
    return page


def test_what_is_there_for_eyes_or_ears_alone(wide: Any) -> None:
    small = "(node) => { const box = node.getBoundingClientRect(); return Math.max(box.width, box.height); }"
    assert max(node.evaluate(small) for node in wide.locator(".unseen").all()) <= 1.0
    assert unlike(wide, {
        "#sending": {"display": "none"}, ".work > p[hidden]": {"display": "none"},
        "#next": {"display": "none"}, "#noticed": {"display": "none"},
        ".unseen": {"position": "absolute", "overflow": "hidden", "clipPath": "inset(50%)", "whiteSpace": "nowrap"},
    }) == {}  # fmt: skip
    skip = wide.locator(".skip")
    assert skip.bounding_box()["x"] < -500.0
    skip.focus()
    box = skip.bounding_box()
    assert (0.0 <= box["x"] <= 40.0, 0.0 <= box["y"] <= 40.0) == (True, True)
    assert unlike(wide, {".skip": {"zIndex": "9", "backgroundColor": colours(wide, "leaf")["leaf"], "outlineStyle": "solid",
                                   "outlineWidth": "3px"}}) == {}  # fmt: skip


def test_states_look_apart(wide: Any) -> None:
    own = colours(wide, *COLOURS)
    assert unlike(wide, {
        "button[aria-pressed=true]": {"backgroundColor": own["ink"], "color": own["paper"]},
        "button[aria-pressed=false]": {"backgroundColor": own["leaf"], "color": own["ink"], "cursor": "pointer"},
        "#again": {"cursor": "progress", "opacity": "0.55"},
        "#title": {"borderTopWidth": "2px", "borderTopColor": own["accent"]},
        "#zone": {"borderTopWidth": "1px", "borderTopColor": own["soft"]},
        ".card.unflagged": {"borderLeftStyle": "solid", "borderLeftWidth": "5px", "borderLeftColor": own["accent"]},
        ".card.intentional": {"borderLeftStyle": "dashed", "borderLeftWidth": "5px"},
        ".card.error": {"borderLeftStyle": "dotted", "borderLeftWidth": "5px"},
        ".card .state": {"fontWeight": "600"},
        ".received .read": {"borderLeftStyle": "solid", "borderLeftColor": own["ink"]},
        ".received .unread": {"borderLeftStyle": "double", "borderLeftColor": own["accent"]},
        ".received .left-out": {"borderLeftStyle": "dotted"}, ".received .known": {"borderLeftStyle": "dotted"},
        ".received .being-read": {"borderLeftStyle": "solid", "borderLeftColor": f"!{own['ink']}"},
        ".received .seen": {"display": "block"},
        ".notice": {"display": "block", "backgroundColor": own["note"], "borderLeftWidth": "4px"},
        ".beside": {"display": "block", "backgroundColor": own["note"], "borderLeftStyle": "double", "flexBasis": "100%"},
        ".unfit td": {"fontWeight": "600", "color": own["accent"]},
        ".changed": {"backgroundColor": own["note"], "animationName": "none"},
        ".before": {"display": "block", "color": own["accent"], "fontWeight": "600"},
        ".drop": {"borderTopStyle": "dashed"},
        ".work": {"position": "sticky", "top": "0px", "zIndex": "5", "backgroundColor": own["note"]},
        ".work > form": {"display": "block"},
    }) == {}  # fmt: skip
    wide.evaluate("document.getElementById('drop').classList.add('over'); location.hash = '#e-E77'")
    assert unlike(wide, {
        ".drop": {"borderTopStyle": "solid", "borderTopColor": own["accent"], "backgroundColor": own["note"]},
        "#e-E77": {"outlineStyle": "solid", "outlineWidth": "2px", "outlineColor": own["accent"]},
        "#e-E88": {"outlineStyle": "none"},
    }) == {}  # fmt: skip
    wide.evaluate("document.getElementById('drop').classList.remove('over'); history.replaceState(null, '', '/')")
    wide.emulate_media(media="screen", color_scheme="light", reduced_motion="no-preference")
    assert unlike(wide, {".changed": {"animationName": "told", "animationDuration": "1.2s"}}) == {}


def test_drawings_of_events_and_places_are_seen(wide: Any) -> None:
    own = colours(wide, *COLOURS)
    assert unlike(wide, {
        ".ground .line": {"stroke": own["ink"], "strokeWidth": "1.2px", "fill": "none"},
        ".ground .track": {"strokeWidth": "1.7px", "strokeOpacity": "0.8", "stroke": "!none"},
        ".ground .off": {"stroke": own["ink"], "strokeWidth": "9px", "strokeOpacity": "0.33", "strokeDasharray": "12px, 6px"},
        ".ground .off.error": {"strokeDasharray": "3px, 5px"},
        ".ground .bar": {"stroke": own["ink"], "strokeWidth": "2.5px", "fill": "none"},
        ".ground path": {"vectorEffect": "non-scaling-stroke"},
        ".route-line": {"stroke": own["ink"]}, ".circle-kept": {"stroke": own["accent"], "fill": own["accent"]},
        ".leaflet-control-scale-line": {"color": own["ink"], "backgroundColor": own["leaf"], "textShadow": "none"},
        ".leaflet-bar a": {"backgroundColor": own["leaf"], "color": own["ink"]},
    }) == {}  # fmt: skip
    for name, share in (("svg.ground", 0.9), (".picture img", 0.99), ("#map-page", 0.99)):
        node = wide.locator(name).first
        wider = node.evaluate("(node) => node.clientWidth / node.closest('figure, .card, #map-frame').clientWidth")
        assert wider > share, name
    heights = [wide.locator(name).bounding_box()["height"] for name in ("#map-page", "#ground")]
    assert (heights[0] > 500.0, heights[1] > 300.0) == (True, True)


def test_words_stand_left_and_figures_right_with_what_is_below_them(wide: Any) -> None:
    own = colours(wide, *COLOURS)
    figure, why = "#fix .stacked td:nth-child(3)", "#fix .stacked .why"
    assert unlike(wide, {
        figure: {"textAlign": "right"}, "#fix .stacked th[scope=row]": {"textAlign": "left"},
        "#fix .stacked thead th": {"textAlign": "left"}, "#fix .stacked thead th:nth-child(2)": {"textAlign": "right"},
        ".stack td.words": {"textAlign": "left", "fontWeight": "400"},
        f"{figure} .bounds": {"display": "block", "color": own["soft"], "fontWeight": "400"},
        why: {"whiteSpace": "normal"},
        "#fix .many td": {"fontSize": "12.48px"}, "#fix .wide": {"overflowX": "auto"},
        "#fix caption": {"position": "sticky", "textAlign": "left", "left": "0px"},
        "code": {"fontFamily": '!' + wide.evaluate("getComputedStyle(document.body).fontFamily")},
        ".received": {"overflowY": "auto", "maxHeight": "272px"},
        ".strong": {"fontWeight": "700"}, ".contents": {"listStyleType": "none", "display": "flex"},
        ".decide": {"display": "grid"}, ".decide .buttons": {"display": "flex", "gridColumnStart": "1", "gridColumnEnd": "-1"},
    }) == {}  # fmt: skip
    to_press = wide.locator("main :is(button:not(.copy), input:not([type=hidden])):not(.stack *):visible")
    heights = to_press.evaluate_all("(nodes) => nodes.map((node) => node.offsetHeight)")
    assert (len(heights) > 10, min(heights) >= 44) == (True, True), "a finger meets it (WCAG 2.2, 2.5.5)"


@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_every_pair_of_colours_can_be_read(page: Any, scheme: str) -> None:
    """WCAG 2.2, 1.4.3: 4.5 to 1; and the looks differ."""
    page.emulate_media(media="screen", color_scheme=scheme)
    own = colours(page, *COLOURS)
    words_can_be_read(page, own, scheme)


def test_on_a_phone_rows_are_cards_of_their_own(page: Any) -> None:
    page.emulate_media(media="screen", color_scheme="light")
    page.set_viewport_size({"width": 390, "height": 800})
    clipped = {"position": "absolute", "width": "1px", "overflow": "hidden", "clipPath": "inset(50%)"}
    assert unlike(page, {
        ".stack": {"display": "block"}, ".stack tr": {"display": "grid"}, ".stack tbody td": {"display": "block"},
        ".stack thead": clipped, "#fix .stacked thead": clipped,
        "#fix .stacked td": {"display": "grid", "textAlign": "right"},
        "#fix .stacked td::before": {"content": '"rides"', "textAlign": "left"},
        "#fix .stacked td:nth-child(3)::before": {"content": '"fixed within 10\N{NO-BREAK SPACE}s"'},
        "#fix .stacked th[scope=row]": {"order": "-1"}, "#private > .one": {"display": "grid"},
        ".stack .one input:not([type=hidden])": {"flexGrow": "1", "flexBasis": "128px"},
    }) == {}  # fmt: skip
    assert page.locator("#map-page").bounding_box()["height"] > 900.0, "the map has its key below it there"
    assert page.evaluate("document.documentElement.scrollWidth") <= 390


def test_on_paper_there_is_nothing_to_press(page: Any) -> None:
    page.set_viewport_size({"width": 1280, "height": 800})
    page.emulate_media(media="print")
    nowhere = ("#drop", "#work", ".decide", "main button", "#places", "#devices", ".copies", ".copy")
    assert unlike(page, {name: {"display": "none"} for name in nowhere}) == {}
    assert unlike(page, {"#fix table": {"display": "table"}, "#fix .wide": {"display": "block"}}) == {}
    own = colours(page, "paper", "ink")
    assert own == {"paper": "rgb(255, 255, 255)", "ink": "rgb(0, 0, 0)"}

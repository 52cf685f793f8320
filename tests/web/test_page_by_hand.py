"""What the page is given to show, value by value, of the analysis in which every figure is another number."""

from __future__ import annotations

from dataclasses import replace

import jinja2
import numpy as np
import pytest
from by_hand import PLACES, by_hand
from hand_desk import hand_desk

from gpsq.model import Unreadable
from gpsq.results import Way
from gpsq.web import campaign_edits, page_data, pages, pasted_log
from gpsq.web.jobs import Progress
from gpsq.web.page_data import Cell
from gpsq.web.received import Received


@pytest.fixture
def desk(tmp_path, monkeypatch):
    return hand_desk(tmp_path, monkeypatch)


# ---- the page ----
class Template:
    """In place of the environment and its template: it returns what it is given."""

    def get_template(self, name):
        assert name == "page.html.j2"
        return self

    def render(self, **given):
        return given


def test_everything_on_the_desk_reaches_the_page(desk, monkeypatch):
    monkeypatch.setattr(pages, "_environment", Template)
    campaign_edits.add_place(desk.folder, 51.5, -3.5, 300.0)
    (desk.folder / "a.gpx").write_text("x")
    desk.published, desk.preview, desk.pasted = ("p",), ("v",), pasted_log.Pasted("text")
    about = pages.About("start a.gpx", "7:00")
    given = pages.page(desk, "no such start", about)
    (place,) = given.pop("places")
    assert (place.lat_deg, place.lon_deg, place.radius_m) == (51.5, -3.5, 300.0)
    assert given.pop("words").__name__ == "gpsq.output.wording"
    assert given == {
        "token": desk.token, "folder": str(desk.folder), "state": pages.status(desk), "refusal": "no such start",
        "about": about, "number": 3, "title": "Quay and weir", "shown": desk.results.shown, "places_problem": "",
        "ground_lines": "[1]", "ground_places": "[[51.5, -3.5, 300.0]]", "published": ("p",), "preview": ("v",),
        "pasted": desk.pasted, "published_folder": "gpsq-published", "originals": {}, "downloads": pages.DOWNLOADS,
        "most_files": 5000,
    }  # fmt: skip
    desk.results = None
    given = pages.page(desk)
    assert [given[name] for name in ("number", "title", "shown", "ground_lines", "refusal", "about")] == [
        0, "", None, "[]", "", pages.About("", ""),
    ]  # fmt: skip


def test_how_far_things_are(desk):
    line = Received("a\x07.gpx", "was stored.", "read", "30 fixes", ["It is odd."])
    desk.received, desk.problem = [line], "no rides"
    desk.analyst.progress, desk.analyst.waiting, desk.analyst.busy = Progress("reading", 2, 7), 4, True
    told = pages.status(desk)
    (received,), noticed = told.pop("received"), told.pop("noticed")
    assert told == {
        "number": 3, "what": "reading", "done": 2, "of": 7, "waiting": 4, "problem": "no rides", "published": False,
    }  # fmt: skip
    assert "\x07" not in received.pop("given")
    assert received == {"said": "was stored.", "outcome": "read", "seen": "30 fixes"}
    assert len(noticed) == 1
    assert noticed[0].endswith("It is odd.")
    desk.analyst.progress, desk.results, desk.published = Progress(), None, ()
    told = pages.status(desk)
    assert (told["what"], told["number"], told["published"]) == ("waiting", 0, True)
    desk.analyst.busy = False
    assert pages.status(desk)["what"] == ""


def test_text_is_never_markup_and_what_is_not_there_is_a_mistake():
    made = pages._environment().from_string("{{ a }}|{% if b %}\nx\n{% endif %}\n  {% if b %}\ny\n{% endif %}\n")
    assert made.render(a="<b>\x1b", b=True).startswith("&lt;b&gt;")
    assert "\x1b" not in made.render(a="\x1b", b=True)
    assert made.render(a=3, b=True) == "3|x\ny\n"
    with pytest.raises(jinja2.UndefinedError):
        made.render(a="")


def test_the_style_begins_with_the_look_of_report_and_map(monkeypatch):
    monkeypatch.setattr(pages, "template_text", lambda name: f"look from {name};")
    pages.static.cache_clear()
    try:
        assert pages.static("copy.js") == "look from copy.js;"
        assert pages.static("page.css").startswith("look from look.css;")
        assert len(pages.static("page.css")) > 100
        assert "look from" not in pages.static("page.js")
    finally:
        pages.static.cache_clear()


def test_the_first_link_of_the_map_leads_out_of_its_frame():
    link = '<a href="report.html">'
    assert pages.framed_map(f"{link}{link}") == f'<a href="report.html" target="_top">{link}'


# ---- what it shows of an analysis ----
@pytest.fixture
def bare(monkeypatch):
    """Without drawings, which take their time."""
    titles = [("overlay-a", "A"), ("overlay-b", "B"), ("overlay-c", "C"), ("first-fix", "F")]
    drawings = [type("Drawn", (), {"name": name, "title": title}) for name, title in titles]
    monkeypatch.setattr(page_data.all_charts, "drawings", lambda analysis: drawings)
    return titles


def test_what_is_shown_is_what_was_found(bare):
    lost = Unreadable("c/1.gpx", 1, "torn", "c/1.gpx: found \x07", device="Carbon")
    analysis = by_hand(
        time_zone="+02:00", ways={"home": Way("home, evenings")}, unreadable=(*by_hand().unreadable, lost)
    )
    shown = page_data.of_analysis(analysis, {}, unmoved=True)
    assert (shown["title"], shown["zone"], shown["clocks"]) == ("Quay and weir", "", "UTC+02:00")
    assert (shown["pictures"], shown["overlays"], shown["unmoved"]) == (bare, 2, True)
    assert (shown["events"], len(shown["cards"]), shown["deviations"], shown["undecided"]) == (2, 2, 3, 2)
    assert shown["devices"] == ["Amber", "Basalt", "Carbon"]
    assert shown["ways"] == [("out", ""), ("home", "home, evenings")]
    assert shown["notes"] == ["Two clocks were set by hand."]
    assert shown["unreadable"][0] == "amber/thu.gpx: found a web page"
    assert "\x07" not in shown["unreadable"][1]
    assert [name for name, _ in shown["said"]] == [name for name, *_ in shown["fix"]["rows"]]
    assert shown["fix"]["heads"] != shown["errors"]["heads"]


def test_the_clocks_are_those_of_the_zone_that_is_named(bare):
    shown = page_data.of_analysis(by_hand(time_zone="Europe/Paris"), {})
    assert (shown["zone"], shown["clocks"], shown["unmoved"]) == ("Europe/Paris", "Europe/Paris", False)
    assert page_data.of_analysis(by_hand(time_zone="-03:30"), {})["zone"] == ""
    shown = page_data.of_analysis(by_hand(time_zone=""), {})
    assert (shown["zone"], shown["clocks"]) == ("", "Z: UTC")


def test_many_cards_and_overlays_are_cut_and_counted(bare, monkeypatch):
    monkeypatch.setattr(page_data, "MOST_CARDS", 1)
    monkeypatch.setattr(page_data, "MOST_OVERLAYS", 9)
    shown = page_data.of_analysis(by_hand(), {})
    assert (len(shown["cards"]), shown["events"], shown["overlays"]) == (1, 2, 3)


def test_two_hundred_events_have_a_card(bare, monkeypatch):
    event = page_data.by_event(by_hand())[0]
    monkeypatch.setattr(page_data, "card", lambda analysis, event: event)
    for count, cards in ((200, 200), (201, 200)):
        monkeypatch.setattr(page_data, "by_event", lambda analysis, count=count: [event] * count)
        shown = page_data.of_analysis(by_hand(), {})
        assert (len(shown["cards"]), shown["events"]) == (cards, count)


def test_a_recording_of_no_ride_says_so(bare):
    results = tuple(replace(r, ride="") for r in by_hand().results)
    assert {r["ride"] for r in page_data.of_analysis(by_hand(results=results), {})["recordings"]} == {"no ride"}


def test_a_line_is_shown_in_degrees_in_the_order_of_travel():
    out = by_hand().routes[0]
    shown = page_data._line(out)
    assert shown["name"] == "out"
    assert np.allclose(shown["line"], [(lat, lon) for lon, lat in PLACES["out"]], atol=2e-6)


@pytest.mark.parametrize(("stations", "shown"), [(599, 599), (600, 300), (899, 450), (900, 300)])
def test_a_long_line_is_thinned_to_a_few_hundred_places(stations, shown):
    x = np.arange(float(stations))
    line = type("L", (), {"xy_m": np.column_stack([x, x])})
    found = type("F", (), {"centreline": line, "route": by_hand().routes[0].route})
    drawn = page_data._line(found)["line"]
    assert len(drawn) == shown
    lon, lat = by_hand().routes[0].route.plane.to_degrees(np.array([[1.0, 1.0]]) * (stations // 300))
    assert drawn[1] == [round(float(lat[0]), 6), round(float(lon[0]), 6)], "to a decimetre"


def test_a_route_without_a_line_is_not_on_the_ground(bare):
    out, home = by_hand().routes
    shown = page_data.of_analysis(by_hand(routes=(replace(out, centreline=None), home)), {})
    assert [line["name"] for line in shown["lines"]] == ["home"]
    assert [name for name, _ in shown["ways"]] == ["out", "home"]


def test_a_figure_is_set_against_what_it_was_where_it_was_another(monkeypatch):
    """Before the last change, and at first: each only where it is another figure than those that stand beside it."""
    monkeypatch.setattr(page_data, "figure", lambda summary, source: None)
    monkeypatch.setattr(page_data, "said", lambda column, found: "5 m")
    monkeypatch.setattr(page_data, "bounds", lambda column, found, figures: "4 to 6")
    summary = type("S", (), {"device": "A", "figures": {}})
    column = type("C", (), {"name": "f", "source": "f"})
    key = ("A", "f")
    for before, first, shown in (
        ({}, {}, ("", "")),
        ({key: "5 m"}, {key: "5 m"}, ("", "")),
        ({key: "7 m"}, {key: "7 m"}, ("7 m", "")),
        ({key: "7 m"}, {key: "9 m"}, ("7 m", "9 m")),
        ({key: "7 m"}, {key: "5 m"}, ("7 m", "")),
        ({("B", "f"): "7 m"}, {("A", "g"): "9 m"}, ("", "")),
    ):
        assert page_data._cell(summary, column, before, first) == Cell("5 m", "4 to 6", *shown)


def test_figures_are_known_again_by_device_and_name():
    """Two devices; a figure that one of them lacks is among them as what it is shown as."""
    figures = page_data.figures(by_hand())
    assert {device for device, _ in figures} == {"Amber", "Basalt"}
    assert len(figures) == 2 * len({name for _, name in figures})
    analysis = by_hand()
    (amber,) = [
        row for row in page_data._table(analysis, page_data.columns.shown("fix"), {}, {})["rows"] if row[0] == "Amber"
    ]
    assert set(figures.values()) >= {cell.value for cell in amber[2]}


def test_each_recording_is_shown_with_its_ride_its_start_and_what_is_to_be_known(bare):
    analysis = by_hand(time_zone="+02:00")
    first, second, never, last = page_data.of_analysis(analysis, {})["recordings"]
    assert [r["trace"].file for r in (first, second, never, last)] == [t.file for t in analysis.traces]
    assert first["result"] is analysis.results[0]
    assert "09:00:30" in first["fixed_at"]
    assert "09:00:07" in first["logged"]
    assert (second["logged"], never["fixed_at"], last["logged"]) == ("", "", "")
    assert first["remarks"] == ["worn on the left"]
    assert second["remarks"] == ["stopped 219\N{NO-BREAK SPACE}m before the others of its way end"]
    assert never["remarks"] == ["it never found a position"]
    times = analysis.traces[0].time.copy()
    times[0] = np.datetime64("NaT")
    unknown = page_data._recording(replace(analysis.traces[0], time=times), analysis.results[0], "")
    assert unknown["fixed_at"] == ""
    odd = replace(analysis.traces[3], notes=("It is odd.",))
    shown = page_data._recording(odd, analysis.results[3], "")
    assert shown["remarks"] == ["only 1 ride on this route: cross-track error needs 3", "It is odd."]
    assert len({first["first_fix"], second["first_fix"], never["first_fix"], last["first_fix"]}) == 4
    assert (first["ride"] != never["ride"], "" in {first["ride"], never["ride"]}) == (True, False)

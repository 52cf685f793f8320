"""What the page's own scripts send and show in a browser; the server is a table of answers, and no process computes."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING, Any

import pytest
from page_window import NOTED, SCROLLED, Server, drop, sent, show

from gpsq.campaign.campaign_file import PrivatePlace

if TYPE_CHECKING:
    from pathlib import Path


def test_the_last_of_several_files_asks_for_the_figures(page: Any, tmp_path: Path) -> None:
    """All the others say that more is coming, or each would be worked out anew."""
    page.evaluate(NOTED, [])
    drop(page, tmp_path, "a.gpx", "b.gpx", "c.gpx")
    assert sent(page) == [
        ("/recordings", [["path", "a.gpx"], ["more", "1"], ["files", "a.gpx"]]),
        ("/recordings", [["path", "b.gpx"], ["more", "1"], ["files", "b.gpx"]]),
        ("/recordings", [["path", "c.gpx"], ["files", "c.gpx"]]),
    ]


def test_where_the_last_is_refused_the_others_are_worked_out_all_the_same(page: Any, tmp_path: Path) -> None:
    page.evaluate(NOTED, ["b.gpx"])
    drop(page, tmp_path, "a.gpx", "b.gpx")
    assert [url for url, _ in sent(page)] == ["/recordings", "/recordings", "/analyse"]
    assert "b.gpx: too large" in page.locator("#refusal").inner_text()


def test_where_the_server_is_lost_the_rest_does_not_come_later(page: Any, tmp_path: Path) -> None:
    """A browser tells of a server that does not answer by a TypeError."""
    page.evaluate("() => { window.there ??= window.fetch; window.fetch = async () => { throw new TypeError('no'); }; }")
    for name in ("a.gpx", "b.gpx"):
        (tmp_path / name).write_text(name)
    page.set_input_files("#files", [tmp_path / "a.gpx", tmp_path / "b.gpx"])
    page.wait_for_function("document.getElementById('refusal').textContent.includes('cannot reach gpsq serve')")
    page.wait_for_function("document.getElementById('sending').hidden")
    page.evaluate("() => { window.fetch = window.there; }")
    page.evaluate(NOTED, [])
    drop(page, tmp_path, "c.gpx")
    assert [fields[0][1] for _, fields in sent(page)] == ["c.gpx"]


def test_files_keep_the_folders_that_they_were_given_in(page: Any, tmp_path: Path) -> None:
    """The folder is the device: chosen with its folder, or dropped with folders in folders."""
    page.evaluate(NOTED, [])
    (tmp_path / "week" / "Amber").mkdir(parents=True)
    (tmp_path / "week" / "Amber" / "a.gpx").write_text("a")
    page.set_input_files("#tree", tmp_path / "week")
    page.wait_for_function("window.sent.length === 1")
    page.evaluate(
        """() => {
          const file = (name) => ({ isFile: true, name, file: (done) => done(new File(["x"], name)) });
          const folder = (name, inside) => ({ name, createReader: () => {
            let left = [inside, []];
            return { readEntries: (done) => done(left.shift()) }; } });
          const dropped = new Event("drop");
          const entries = [folder("tour", [folder("Basalt", [file("b.gpx")]), file("log.csv")]), file("c.gpx")];
          dropped.dataTransfer = { files: [], items: entries.map((entry) => ({ webkitGetAsEntry: () => entry })) };
          dispatchEvent(dropped);
        }"""
    )
    page.wait_for_function("window.sent.length === 4")
    assert [fields[0][1] for _, fields in sent(page)] == [
        "week/Amber/a.gpx", "tour/Basalt/b.gpx", "tour/log.csv", "c.gpx",
    ]  # fmt: skip


def test_what_is_being_done_is_told_with_its_numbers(page: Any, server: Server) -> None:
    server.told = {"what": "reading", "done": 3, "of": 7, "waiting": 2}
    page.wait_for_selector("#work-words:text-is('reading, 3 of 7; 2 more waiting')")
    assert page.evaluate("[document.getElementById('work-bar').value, document.getElementById('work-bar').max]") == [
        3,
        7,
    ]
    server.told = {"what": "drawing", "of": 0}
    page.wait_for_selector("#work-words:text-is('drawing')")


def test_a_refusal_stands_beside_its_field_until_something_else_is_typed(page: Any, server: Server) -> None:
    page.evaluate(NOTED, ["25:00"])
    start = page.locator("#start-3")
    start.fill("25:00")
    start.press("Enter")
    page.wait_for_selector("#beside-start-3:text-is('too large')")
    show(server.desk, 4, title="Another title")
    page.wait_for_selector("h1:has-text('Another title')")
    assert page.locator(".beside").all_inner_texts() == ["too large"]
    assert (start.input_value(), start.get_attribute("aria-invalid")) == ("25:00", "true")
    start.fill("7:03")
    assert page.locator(".beside").count() == 0
    show(server.desk, 5, title="A third title")
    page.wait_for_selector("h1:has-text('A third title')")
    assert (page.locator(".beside").count(), start.get_attribute("aria-invalid")) == (0, None)


def test_what_was_sent_is_typed_no_more(page: Any, server: Server) -> None:
    """The server's own form of it takes its place; what was unfolded stays so."""
    page.evaluate(NOTED, [])
    page.locator("#d-d0a summary").click()
    page.locator("#title").fill("  by  hand ")
    page.locator("#title").press("Enter")
    page.wait_for_function("window.sent.length > 0")
    show(server.desk, 4, title="by hand")
    page.wait_for_selector("h1:has-text('by hand')")
    assert page.locator("#title").input_value() == "by hand"
    assert page.locator("#d-d0a details").get_attribute("open") is not None


def test_it_asks_how_far_things_are_once_at_a_time(page: Any) -> None:
    """A second answer while the first is under way would make the page anew twice."""
    page.evaluate(NOTED, [])
    page.evaluate("""() => {
      const inner = window.fetch;
      window.asked = 0;
      window.fetch = (url, told) => (url === "/status" ? ((window.asked += 1), new Promise(() => {})) : inner(url, told));
    }""")
    page.wait_for_function("window.asked === 1")
    page.locator("#zone-button").click()
    page.wait_for_function("window.sent.length === 1")
    page.wait_for_timeout(100)
    assert page.evaluate("window.asked") == 1


def test_a_problem_is_shown_as_it_comes_and_goes(page: Any, server: Server) -> None:
    server.desk.problem = "campaign.toml: found no table"
    page.wait_for_selector("#problem .notice:text-is('campaign.toml: found no table')")
    server.desk.problem = ""
    page.wait_for_selector("#problem .notice", state="detached")


def test_all_parts_appear_with_the_first_figures(page: Any, server: Server) -> None:
    hidden = "[...document.querySelectorAll('section, nav')].filter((part) => part.hidden).map((part) => part.id)"
    server.desk.results = None
    page.reload()
    parts = ["contents", "fix", "map", "deviations", "starts", "devices", "places", "take"]
    assert sorted(page.evaluate(hidden)) == sorted(parts)
    show(server.desk, 1)
    page.wait_for_selector("#map-page")
    assert page.evaluate(hidden) == ["next"]


def test_a_link_to_the_map_brings_it_into_sight_and_under_the_keys(page: Any) -> None:
    page.evaluate(SCROLLED)
    page.locator("[data-show=d-d1c]").click()
    assert page.url.endswith("/"), "the page itself stays"
    assert page.evaluate("window.shown") == [["map", "start"]]
    assert page.evaluate("document.activeElement.id") == "map-page"
    assert page.locator("#map-frame iframe").count() == 1
    assert page.locator("#map-page").get_attribute("src").endswith("#d-d1c")


def test_private_places_are_drawn_where_they_are_and_as_wide(page: Any, server: Server) -> None:
    """Kept ones, and that which is typed; a click gives its place to a decimetre."""
    server.desk.places = lambda: ([PrivatePlace(47.0003, 12.0021, 123.0)], "")
    page.reload()
    page.evaluate(
        "() => { window.made = []; const real = L.circle; "
        "L.circle = (at, told) => { window.made.push([at, told.radius, told.className]); return real(at, told); }; "
        "document.dispatchEvent(new Event('gpsq:renewed')); }"
    )
    for name, value in (("lat", "47.00041"), ("lon", "12.00052"), ("radius", "77")):
        page.locator(f"#{name}").fill(value)
    made = page.evaluate("window.made")
    assert made[0] == [[47.0003, 12.0021], 123, "circle-kept"]
    assert made[-1] == [[47.00041, 12.00052], 77, "circle-new"]
    page.locator("#ground").click()
    at = [page.locator(f"#{name}").input_value() for name in ("lat", "lon")]
    assert all(len(text.partition(".")[2]) == 6 for text in at)
    assert page.evaluate("window.made.at(-1)[0]") == [float(text) for text in at]


def test_a_decision_on_one_recording_leaves_its_event_undecided_at_once(page: Any) -> None:
    page.evaluate(NOTED, [])
    page.locator("#d-d0a summary").click()
    page.locator("#d-d0a").get_by_role("button", name="intentional", exact=True).click()
    page.wait_for_selector("#d-d0a[data-state=intentional]")
    assert sent(page)[0] == ("/flag", [["token", page.evaluate("document.body.dataset.token")], ["id", "d0a"],
                                       ["note", ""], ["decision", "intentional"]])  # fmt: skip
    card = page.locator("#e-E77")
    assert card.get_attribute("class") == "card unflagged"
    assert card.locator("> [data-said]").inner_text() == "No decision yet"
    assert page.locator("#d-d0a [data-said]").inner_text() == "intentional"
    assert page.locator("#d-d1b [data-said]").inner_text() == "no decision yet"
    page.locator("#d-d1b summary").click()
    page.locator("#d-d1b").get_by_role("button", name="intentional", exact=True).click()
    page.wait_for_selector("#e-E77.intentional")
    assert card.locator("> [data-said]").inner_text() == "Intentional"


def test_what_is_being_typed_stays_when_the_figures_come(page: Any, server: Server) -> None:
    page.locator("#title").fill("half a ti")
    page.locator("#note-E77").fill("the bak")
    page.locator("#note-E77").focus()
    show(server.desk, 4, title="Another title")
    page.wait_for_selector("h1:has-text('Another title')")
    assert page.locator("#title").input_value() == "half a ti"
    assert page.locator("#note-E77").input_value() == "the bak"
    assert page.evaluate("document.activeElement.id") == "note-E77"
    assert page.locator("#map-page").get_attribute("src") == "/gpsq-results/map.html?n=4"


def test_a_place_beyond_the_date_line_is_one_on_the_globe(page: Any, server: Server) -> None:
    """The road ends at 179.999° east; the map is moved on over the line, and its middle is taken."""
    shown = server.desk.results.shown | {"lines": [{"name": "A", "line": [[47.0, 179.99], [47.0, 179.999]]}]}
    server.desk.results = replace(server.desk.results, shown=shown)
    page.reload()
    page.locator("#ground").focus()
    for _ in range(4):
        page.keyboard.press("Shift+ArrowRight")  # three steps at once
        page.wait_for_timeout(300)  # it glides
    page.keyboard.press("Enter")
    lon_deg = float(page.locator("#lon").input_value())
    assert -180.0 <= lon_deg < -179.9
    assert abs(float(page.locator("#lat").input_value()) - 47.0) < 0.01


def test_the_form_that_is_sent_is_the_one_that_was_filled_in(page: Any) -> None:
    """A start goes with the zone that stands above it, where none is kept."""
    page.evaluate(NOTED, [])
    page.locator("#zone").fill("Europe/Paris")
    page.locator("#start-3").fill("7:03")
    page.locator("#start-3").press("Enter")
    page.wait_for_function("window.sent.length > 0")
    ((url, fields),) = sent(page)
    assert (url, [pair for pair in fields if pair[0] != "token"]) == (
        "/start", [["file", "amber/tue.gpx"], ["started", "7:03"], ["zone", "Europe/Paris"]],
    )  # fmt: skip


def test_places_are_set_on_a_map_by_mouse_and_by_key(page: Any, server: Server) -> None:
    ground = page.locator("#ground")
    assert (ground.is_visible(), ground.get_attribute("role"), ground.get_attribute("aria-label")) == (
        True, "application",
        "Map of the centrelines: a click, or Enter for its middle, sets a private place; arrow keys move it",
    )  # fmt: skip
    assert page.locator("#ground .route-line").count() == 2
    boxes = [line.bounding_box() for line in page.locator("#ground .route-line").all()]
    whole = ground.bounding_box()
    assert all(whole["x"] + 20 < b["x"] and b["x"] + b["width"] < whole["x"] + whole["width"] - 20 for b in boxes)
    assert max(b["width"] for b in boxes) > 0.3 * whole["width"], "the roads fill it"
    assert page.locator(".leaflet-control-scale-line").all_inner_texts()[0].endswith(" m")
    assert page.locator(".leaflet-control-scale-line").count() == 1
    page.locator("#ground .leaflet-control-zoom-in").focus()
    page.keyboard.press("Enter")
    assert page.locator("#lat").input_value() == "", "a button of the map is no place"
    page.evaluate("document.querySelector('#ground .leaflet-control-zoom-out').click()")
    ground.focus()
    page.keyboard.press("Enter")
    lat, lon = (float(page.locator(f"#{name}").input_value()) for name in ("lat", "lon"))
    assert (lat, lon) == pytest.approx((47.0004, 12.004), abs=2e-4), "the middle of both roads"
    assert page.locator(".circle-new").count() == 1
    for radius, drawn in (("0", 0), ("-5", 0), ("200", 1), ("", 0), ("300", 1)):
        page.locator("#radius").fill(radius)
        assert page.locator(".circle-new").count() == drawn
    page.locator("#lat").fill("")
    assert page.locator(".circle-new").count() == 0


def test_kept_places_are_drawn_once_and_do_not_stand_in_the_way(page: Any, server: Server) -> None:
    page.evaluate("() => { window.kept = document.querySelector('#ground .route-line'); }")
    for count in (1, 2):
        server.desk.places = lambda count=count: ([PrivatePlace(47.0004, 12.004, 200.0)] * count, "")
        show(server.desk, 3 + count, title=f"Title {count}")
        page.wait_for_selector(f"h1:has-text('Title {count}')")
        assert page.locator(".circle-kept").count() == count
    assert page.evaluate("window.kept === document.querySelector('#ground .route-line')"), "the roads are the same"
    page.locator("#ground").click()
    assert page.locator("#lat").input_value() != "", "a click within a circle sets one too"
    assert page.evaluate("""() => {
      const wrong = [];
      addEventListener("error", (event) => wrong.push(event.message));
      window.L = undefined;
      document.dispatchEvent(new Event("gpsq:renewed"));
      return wrong;
    }""") == [], "without the library of maps the page does all else"  # fmt: skip

"""What the page's own scripts send and show in a browser; the server is a table of answers, and no process computes."""

from __future__ import annotations

import json
from dataclasses import replace
from typing import TYPE_CHECKING, Any

import pytest
from by_hand import by_hand
from hand_desk import hand_desk

from gpsq.output.map.page import leaflet
from gpsq.web import page_data, pages
from gpsq.web.session import Results

if TYPE_CHECKING:
    from collections.abc import Iterator
    from pathlib import Path

ADDRESS = "http://127.0.0.1:4780"
#: What is sent is noted instead: where to, and its fields; a file by its name.
NOTED = """(refused) => {
  window.sent = [];
  const real = window.fetch;
  window.fetch = async (url, told) => {
    if (told?.method !== "POST") return real(url, told);
    window.sent.push([url.replace(location.origin, ""), [...told.body].map(([name, value]) => [name, value.name ?? value])]);
    const no = refused.includes(told.body.get("path"));
    return new Response(JSON.stringify(no ? { problem: "too large" } : { ok: true }), { status: no ? 413 : 200 });
  };
}"""


class Server:
    """What stands at each address; `desk` may change meanwhile."""

    def __init__(self, desk: Any) -> None:
        self.desk = desk

    def answer(self, route: Any) -> None:
        name = route.request.url.removeprefix(ADDRESS).partition("?")[0]
        if name == "/":
            route.fulfill(content_type="text/html", body=pages.page(self.desk))
        elif name == "/status":
            route.fulfill(content_type="application/json", body=json.dumps(pages.status(self.desk)))
        elif name.startswith("/static/"):
            own = name.removeprefix("/static/")
            kind = "text/css" if own.endswith(".css") else "text/javascript"
            route.fulfill(content_type=kind, body=leaflet(own) if own.startswith("leaflet") else pages.static(own))
        else:
            route.fulfill(content_type="text/html", body="")


@pytest.fixture
def server(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Server:
    monkeypatch.setattr(page_data.all_charts, "drawings", lambda analysis: [])
    desk = hand_desk(tmp_path, monkeypatch)
    _show(desk)
    return Server(desk)


def _show(desk: Any, number: int = 3, **more: Any) -> None:
    analysis = by_hand(**more)
    desk.results = Results(number, analysis, "map", page_data.of_analysis(analysis, {}))


@pytest.fixture
def page(chromium: Any, server: Server) -> Iterator[Any]:
    context = chromium.new_context()
    context.set_default_timeout(180_000)
    context.route("**/*", server.answer)
    page = context.new_page()
    page.goto(f"{ADDRESS}/")
    page.wait_for_selector(".copies")
    yield page
    context.close()


def sent(page: Any) -> list[tuple[str, list[list[str]]]]:
    return [(url, fields) for url, fields in page.evaluate("window.sent")]


def drop(page: Any, folder: Path, *names: str) -> None:
    for name in names:
        (folder / name).write_text(name)
    page.set_input_files("#files", [folder / name for name in names])
    page.wait_for_function("document.getElementById('sending').hidden && window.sent.length > 0")


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
    _show(server.desk, 4, title="Another title")
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
    for _ in range(12):
        page.keyboard.press("ArrowRight")
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

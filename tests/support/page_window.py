"""The page in one window of a browser, before a table of answers: no server, and no process that computes.

What a page waits for comes at once: the script's pauses are cut short, and those that it asked for are noted.
"""

from __future__ import annotations

import json
from typing import TYPE_CHECKING, Any

from by_hand import by_hand

from gpsq.output.map.page import leaflet
from gpsq.web import page_data, pages
from gpsq.web.session import Results

if TYPE_CHECKING:
    from pathlib import Path

ADDRESS = "http://127.0.0.1:4780"
#: No pause is longer than this, and each that was asked for is kept.
SHORT_MS = 60
PAUSES_CUT = f"""
  window.pauses = [];
  const wait = window.setTimeout;
  window.setTimeout = (what, ms, ...more) => {{ window.pauses.push(ms); return wait(what, Math.min(ms, {SHORT_MS}), ...more); }};
"""
#: What is sent is noted instead: where to, and its fields; a file by its name. What is in `refused` is not taken.
NOTED = """(refused) => {
  window.sent = [];
  window.heads = [];
  const real = window.there ??= window.fetch;
  window.fetch = async (url, told) => {
    if (told?.method !== "POST") return real(url, told);
    window.sent.push([url.replace(location.origin, ""), [...told.body].map(([name, value]) => [name, value.name ?? value])]);
    window.heads.push(told.headers);
    const no = refused.includes(told.body.get("path") ?? told.body.get("started"));
    return new Response(JSON.stringify(no ? { problem: "too large" } : { ok: true }), { status: no ? 413 : 200 });
  };
}"""

#: What is brought into sight is noted instead.
SCROLLED = """() => {
  window.shown = [];
  Element.prototype.scrollIntoView = function (how) { window.shown.push([this.id, how.block]); };
}"""


class Server:
    """What stands at each address; `desk` may change meanwhile, what is being done is `told`, and what was asked is kept."""

    def __init__(self, desk: Any) -> None:
        self.desk = desk
        self.told: dict[str, Any] = {}
        self.asked: list[str] = []

    def answer(self, route: Any) -> None:
        name = route.request.url.removeprefix(ADDRESS).partition("?")[0]
        self.asked.append(name)
        if name == "/":
            route.fulfill(content_type="text/html", body=pages.page(self.desk))
        elif name == "/status":
            route.fulfill(content_type="application/json", body=json.dumps(pages.status(self.desk) | self.told))
        elif name.startswith("/static/"):
            own = name.removeprefix("/static/")
            kind = "text/css" if own.endswith(".css") else "text/javascript"
            route.fulfill(content_type=kind, body=leaflet(own) if own.startswith("leaflet") else pages.static(own))
        else:
            route.fulfill(content_type="text/html", body="")


class PageWindow:
    """One window for a module: each context more is a process that the browser has to begin."""

    def __init__(self, chromium: Any) -> None:
        self.context = chromium.new_context(timezone_id="Europe/Vienna")
        self.context.set_default_timeout(180_000)
        self.context.add_init_script(PAUSES_CUT)
        self.server: Server | None = None
        self.context.route("**/*", self._answer)
        self.page = self.context.new_page()

    def _answer(self, route: Any) -> None:
        if self.server is None:
            route.abort()
        else:
            self.server.answer(route)

    def open(self, server: Server) -> Any:
        """Show the page of a server; nothing of what was shown before is left."""
        self.server = server
        self.page.goto(f"{ADDRESS}/")
        self.page.wait_for_function("window.pauses.length > 0 && document.querySelector('.copies, #fix[hidden]')")
        return self.page


def show(desk: Any, number: int = 3, **more: Any) -> None:
    """Put the analysis by hand on a desk, with other fields."""
    analysis = by_hand(**more)
    desk.results = Results(number, analysis, "map", page_data.of_analysis(analysis, {}))


def sent(page: Any) -> list[tuple[str, list[list[str]]]]:
    return [(url, fields) for url, fields in page.evaluate("window.sent")]


def drop(page: Any, folder: Path, *names: str) -> None:
    """Choose files of that name and content, and wait until they are sent."""
    for name in names:
        (folder / name).write_text(name)
    page.set_input_files("#files", [folder / name for name in names])
    page.wait_for_function("document.getElementById('sending').hidden && window.sent.length > 0")

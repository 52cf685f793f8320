"""A desk with results for the tests of the page, and requests as the page itself sends them."""

from __future__ import annotations

import asyncio
import shutil
from functools import cache
from pathlib import Path
from typing import TYPE_CHECKING, Any

import httpx

from gpsq.output.map.page import map_page
from gpsq.pipeline.analysis import analyse
from gpsq.web import page_data
from gpsq.web.app import make_app
from gpsq.web.session import Desk, Results

if TYPE_CHECKING:
    from gpsq.results import Analysis

PORT = 4780
HERE = f"http://127.0.0.1:{PORT}"
DEMO = Path(__file__).resolve().parents[2] / "demo_routes"


@cache
def demo_results() -> tuple[Analysis, str]:
    """The demo's analysis and map, made once."""
    analysis = analyse(DEMO)
    return analysis, map_page(analysis)


@cache
def demo_shown() -> dict[str, Any]:
    """What the page shows of the demo, made once: it finds a title for each picture."""
    return page_data.of_analysis(demo_results()[0], {})


class StillDesk(Desk):
    """A desk that stores and writes, but computes nothing: what it would compute is counted."""

    asked = 0

    def open(self) -> None:
        pass

    def refresh(self) -> None:
        pass

    def analyse(self) -> Any:
        from concurrent.futures import Future

        self.asked += 1
        done: Future[Any] = Future()
        done.set_result(None)
        return done


def desk_with_results(folder: Path) -> StillDesk:
    shutil.copytree(DEMO, folder, dirs_exist_ok=True, copy_function=shutil.copyfile)
    desk = StillDesk(folder)
    analysis, drawn = demo_results()
    desk.results = Results(1, analysis, drawn, dict(demo_shown()))
    return desk


class Client:
    """A client that speaks as the page does; `headers` replace its own. An error that is no answer is raised."""

    def __init__(self, desk: Desk, **headers: str) -> None:
        self.app = make_app(desk, PORT)
        self.headers = {"origin": HERE, "x-gpsq-token": desk.token, "accept": "application/json", **headers}

    def request(self, method: str, url: str, **more: Any) -> httpx.Response:
        return asyncio.run(self._answer(method, url, more))

    async def _answer(self, method: str, url: str, more: dict[str, Any]) -> httpx.Response:
        headers = {**self.headers, **more.pop("headers", {})}
        known = {name: value for name, value in headers.items() if value is not None}
        async with httpx.AsyncClient(transport=httpx.ASGITransport(self.app), base_url=HERE) as client:
            return await client.request(method, url, headers=known, **more)

    def get(self, url: str, **more: Any) -> httpx.Response:
        return self.request("GET", url, **more)

    def post(self, url: str, **more: Any) -> httpx.Response:
        return self.request("POST", url, **more)

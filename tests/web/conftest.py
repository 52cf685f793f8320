"""What the tests of the page's own scripts share: the page in one window of a module, before a table of answers."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import pytest
from hand_desk import hand_desk
from page_window import PageWindow, Server, show

from gpsq.web import page_data

if TYPE_CHECKING:
    from collections.abc import Iterator
    from pathlib import Path


@pytest.fixture(scope="module")
def window(chromium: Any) -> Iterator[PageWindow]:
    opened = PageWindow(chromium)
    yield opened
    opened.context.close()


@pytest.fixture
def server(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Server:
    monkeypatch.setattr(page_data.all_charts, "drawings", lambda analysis: [])
    desk = hand_desk(tmp_path, monkeypatch)
    show(desk)
    return Server(desk)


@pytest.fixture
def page(window: PageWindow, server: Server) -> Any:
    return window.open(server)

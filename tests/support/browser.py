"""What tests that open pages need, and what they do where it is missing."""

from __future__ import annotations

import os
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, NoReturn

import pytest

if TYPE_CHECKING:
    from pathlib import Path


def missing(what: str) -> NoReturn:
    """Skip where a developer's machine lacks something; the automatic check must have it."""
    if os.environ.get("CI"):
        pytest.fail(f"{what} is missing")
    pytest.skip(f"{what} is missing, and pages cannot be opened without it")


@dataclass
class Opened:
    """A page and all that it asked for or complained about."""

    page: Any
    requests: list[str]
    complaints: list[str]


class Window:
    """One window that shows one file after the other: each window more is a process that the browser has to begin.

    What was shown before is gone with all that it had set; a test has done with one file before it opens the next.
    """

    def __init__(self, chromium: Any, **more: Any) -> None:
        self.context = chromium.new_context(**more)
        self.context.set_default_timeout(180_000)  # on whatever machine
        self.page = self.context.new_page()
        self.shown = Opened(self.page, [], [])
        self.page.on("request", lambda request: self.shown.requests.append(request.url))
        self.page.on("console", lambda message: self.shown.complaints.append(message.text))
        self.page.on("pageerror", lambda error: self.shown.complaints.append(str(error)))

    def show(self, path: Path, width: int = 1280, scheme: str = "light", fragment: str = "") -> Opened:
        """Load a file, anew if it is the one that stands there."""
        self.page.set_viewport_size({"width": width, "height": 800})
        self.page.emulate_media(media="screen", color_scheme=scheme)
        self.page.mouse.move(0, 0)
        if fragment:  # or the browser would only move about in what it shows
            self.page.goto("about:blank")
        self.shown = Opened(self.page, [], [])
        self.page.goto(path.as_uri() + fragment)
        return self.shown

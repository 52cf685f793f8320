"""A desk with results by hand and no computing process: what it asks for is noted, and answered when a test says so."""

from __future__ import annotations

from concurrent.futures import Future
from typing import TYPE_CHECKING, Any

from by_hand import by_hand

from gpsq.web import session
from gpsq.web.jobs import Progress
from gpsq.web.session import Desk, Results

if TYPE_CHECKING:
    from pathlib import Path

    import pytest


class Noted:
    """In place of a line of jobs."""

    def __init__(self) -> None:
        self.jobs: list[tuple[Any, ...]] = []
        self.answers: list[Future[Any]] = []
        self.progress, self.busy, self.waiting = Progress(), False, 0
        self.is_closed, self.cancelled = False, 0

    def put(self, kind: str, *arguments: Any, once: bool = False) -> Future[Any]:
        self.jobs.append((kind, *arguments, once))
        self.answers.append(Future())
        return self.answers[-1]

    def close(self) -> None:
        self.is_closed = True

    def cancel(self) -> None:
        self.cancelled += 1


def hand_desk(folder: Path, monkeypatch: pytest.MonkeyPatch) -> Any:
    """Return a desk that shows the analysis by hand as its third; what is shown of it is left out."""
    monkeypatch.setattr(session, "Line", Noted)
    desk = Desk(folder)
    desk.results = Results(3, by_hand(), '<a href="report.html">report</a> map', {"lines": [1], "marks": {}})
    return desk

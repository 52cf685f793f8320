"""Report and tables of one analysis are written once, however many of their pictures the page asks for at once."""

from __future__ import annotations

from concurrent.futures import Future
from typing import TYPE_CHECKING, Any

import pytest
from web_session import StillDesk, desk_with_results

from gpsq.web.session import RESULTS, Results

if TYPE_CHECKING:
    from pathlib import Path


class Asked:
    """In place of the line of jobs: it notes what is asked for, and does it when told to."""

    def __init__(self) -> None:
        self.jobs: list[tuple[tuple[str, ...], Future[Any]]] = []

    def put(self, *job: str, once: bool = False) -> Future[Any]:
        assert once
        self.jobs.append((job, Future()))
        return self.jobs[-1][1]


@pytest.fixture
def desk(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> StillDesk:
    desk = desk_with_results(tmp_path)
    monkeypatch.setattr(desk, "analyst", Asked())
    return desk


def found_anew(desk: StillDesk) -> None:
    old = desk.results
    assert old is not None
    desk.results = Results(old.number + 1, old.analysis, old.map_page, old.shown)


def test_who_asks_while_it_is_being_written_waits_for_the_same(desk: StillDesk) -> None:
    first, second = desk.write(), desk.write()
    ((job, answer),) = desk.analyst.jobs
    assert job == ("write", str(desk.folder), str(desk.folder / RESULTS))
    assert (first, second) == (answer, answer)
    (desk.folder / RESULTS).mkdir()
    answer.set_result(None)
    assert desk.write().result() is None
    assert len(desk.analyst.jobs) == 1


def test_the_results_of_a_later_analysis_are_written_again(desk: StillDesk) -> None:
    earlier = desk.write()
    found_anew(desk)
    assert desk.write() is not earlier
    (desk.folder / RESULTS).mkdir()
    for _, answer in list(desk.analyst.jobs):
        answer.set_result(None)
    desk.write()
    assert len(desk.analyst.jobs) == 2
    found_anew(desk)
    assert not desk.write().done()


def test_what_was_not_written_or_is_gone_is_written_when_it_is_asked_for_again(desk: StillDesk) -> None:
    desk.write()
    desk.analyst.jobs[0][1].set_exception(OSError("no space"))
    assert not desk.write().done()
    desk.analyst.jobs[1][1].set_result(None)
    desk.write()  # it is said to be written, and its folder is not there
    assert len(desk.analyst.jobs) == 3

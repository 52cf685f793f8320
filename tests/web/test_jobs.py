"""Computing beside the page: the same results as by the command, waiting, cancelling, dying."""

from __future__ import annotations

import os
import shutil
import signal
import time
from types import SimpleNamespace

import copies
import pytest
from web_session import DEMO

from gpsq.output.tables import tables
from gpsq.pipeline.analysis import analyse
from gpsq.pipeline.publish import preview
from gpsq.web.jobs import JobError, Line

PATIENCE_S = 120


@pytest.fixture
def campaign(tmp_path):
    """Nine recordings of one way: three devices on three rides."""
    for file in DEMO.glob("*/*-out.gpx"):
        if file.name < "2025-09-11":
            (tmp_path / file.parent.name).mkdir(exist_ok=True)
            shutil.copy(file, tmp_path / file.parent.name)
    return tmp_path


@pytest.fixture
def line(monkeypatch):
    monkeypatch.setattr("gpsq.web.jobs.multiprocessing", SimpleNamespace(get_context=lambda _: copies.CONTEXT))
    made = Line()
    yield made
    made.close()


@pytest.fixture
def begun_line():
    """With its process begun as gpsq begins it."""
    made = Line()
    yield made
    made.close()


def told(analysis):
    """All tables of an analysis as text."""
    made = (tables.tracks, tables.deviations, tables.devices, tables.set_aside)
    return [tables.csv_text(table(analysis)) for table in made]


def test_a_job_gives_its_answer_and_a_second_one_waits(begun_line, campaign):
    line = begun_line
    first = line.put("analyse", str(campaign))
    second = line.put("analyse", str(campaign), once=True)
    third = line.put("analyse", str(campaign), once=True)
    assert second is third
    analysis, page = first.result(PATIENCE_S)
    assert told(analysis) == told(analyse(campaign))
    assert page.startswith("<!DOCTYPE html>")
    assert told(second.result(PATIENCE_S)[0]) == told(analysis)


def test_a_refusal_is_one_plain_line_and_the_next_job_is_done(line, tmp_path, campaign):
    (tmp_path / "empty").mkdir()
    with pytest.raises(JobError, match="found no recording; expected recordings of rides"):
        line.put("analyse", str(tmp_path / "empty")).result(PATIENCE_S)
    with pytest.raises(JobError, match="no folder of that name"):
        line.put("analyse", str(tmp_path / "gone")).result(PATIENCE_S)
    (campaign / "campaign.toml").write_text("nonsense = 1\n")
    with pytest.raises(JobError, match="the key 'nonsense'"):
        line.put("analyse", str(campaign)).result(PATIENCE_S)
    (campaign / "campaign.toml").unlink()
    assert line.put("read", str(campaign), next(campaign.rglob("*.gpx")).relative_to(campaign).as_posix()).result(
        PATIENCE_S
    )


def until(true, seconds=PATIENCE_S):
    end = time.monotonic() + seconds
    while not true():
        assert time.monotonic() < end
        time.sleep(0.005)


def test_a_job_at_work_can_be_cancelled_and_those_that_wait_go_on(line, campaign):
    for file in list(campaign.rglob("*.gpx")):  # so many that reading lasts longer than it takes to see it
        for number in range(20):
            file.with_name(f"{number}-{file.name}").write_bytes(file.read_bytes() + b"\n" * number)
    line.put("read", str(campaign), "none").exception(PATIENCE_S)  # the process is up
    first = line.put("analyse", str(campaign))
    second = line.put("read", str(campaign), "none")
    until(lambda: line.progress.what == "reading" and line.progress.of)
    line.cancel()
    with pytest.raises(JobError, match="Cancelled; the earlier results stay"):
        first.result(PATIENCE_S)
    assert second.exception(PATIENCE_S) is None
    assert line.progress.what == ""


def test_cancelling_nothing_spoils_no_later_job(line, campaign):
    line.cancel()
    name = next(campaign.rglob("*.gpx")).relative_to(campaign).as_posix()
    assert line.put("read", str(campaign), name).result(PATIENCE_S)
    line.cancel()
    assert line.put("read", str(campaign), name).result(PATIENCE_S)


def test_a_job_that_does_not_listen_is_ended(line, campaign, monkeypatch):
    monkeypatch.setattr("gpsq.web.jobs.PATIENCE_S", 0.2)
    line.put("read", str(campaign), "none").exception(PATIENCE_S)
    os.kill(line._process.pid, signal.SIGSTOP)
    first = line.put("analyse", str(campaign))
    until(lambda: line.progress.what)
    line.cancel()
    with pytest.raises(JobError, match="Cancelled"):
        first.result(PATIENCE_S)
    assert line.put("read", str(campaign), next(campaign.rglob("*.gpx")).relative_to(campaign).as_posix()).result(
        PATIENCE_S
    )


def test_a_process_that_is_killed_is_started_anew(line, campaign):
    first = line.put("analyse", str(campaign))
    until(lambda: line.progress.of)
    os.kill(line._process.pid, signal.SIGKILL)
    with pytest.raises(JobError, match="ended from outside"):
        first.result(PATIENCE_S)
    found = line.put("preview", str(campaign)).result(PATIENCE_S)  # analyses again, as its memory is gone
    assert found == list(preview(analyse(campaign), campaign))
    assert len(found) > 1

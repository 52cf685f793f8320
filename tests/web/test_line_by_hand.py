"""The line of jobs with a process by hand, which is a thread: waiting, progress, cancelling and dying."""

from __future__ import annotations

import os
import threading
from multiprocessing import Pipe
from multiprocessing.connection import Connection
from types import SimpleNamespace

import pytest

from gpsq.web import jobs

PATIENCE_S = 20


class Process:
    """In place of a process: it does what `does` says of (number, kind, arguments) in a thread, until it is ended."""

    begun: list = []  # noqa: RUF012
    does = staticmethod(lambda pipe, job: pipe.send(("done", job, "")))
    ends_with = -9

    def __init__(self, target, args, daemon):
        assert (target, daemon) == (jobs.serve_jobs, True)
        self.pipe, self.cancelling = (connection_again(end) for end in args)
        self.alive, self.exitcode = True, None
        Process.begun.append(self)

    def start(self):
        self.thread = threading.Thread(target=self._serve, daemon=True)
        self.thread.start()

    def _serve(self):
        try:
            while self.alive:
                job = self.pipe.recv()
                Process.does(self.pipe, job)
        except (EOFError, OSError):
            pass

    def is_alive(self):
        return self.alive

    def kill(self):
        self.alive = False
        self.pipe.close()

    def join(self, timeout=None):
        assert timeout == jobs.PATIENCE_S
        self.exitcode = Process.ends_with  # not known before it was waited for


def connection_again(end):
    """A process has ends of its own: the line closes those it gave away."""
    return Connection(os.dup(end.fileno()), readable=end.readable, writable=end.writable)


@pytest.fixture
def line(monkeypatch):
    monkeypatch.setattr(Process, "begun", [])
    monkeypatch.setattr(
        jobs.multiprocessing,
        "get_context",
        lambda how: SimpleNamespace(Pipe=Pipe, Process=Process) if how == "spawn" else None,
    )
    made = jobs.Line()
    yield made
    made.close()


def idle(line):
    until = threading.Event()
    for _ in range(2000):
        if not line.busy:
            return True
        until.wait(0.01)
    return False


def test_jobs_are_numbered_and_done_in_turn_by_one_process(line):
    answers = [line.put("read", "folder", "a"), line.put("write", "folder")]
    assert [a.result(PATIENCE_S) for a in answers] == [(1, "read", ("folder", "a")), (2, "write", ("folder",))]
    assert idle(line)
    assert (line.waiting, line.progress, len(Process.begun)) == (0, jobs.Progress(), 1)
    line.cancel()
    assert not Process.begun[0].cancelling.poll(), "nothing is at work, and nothing is taken back"


def held(monkeypatch):
    """Jobs that wait until they are let go, and those that have begun."""
    go, begun = threading.Event(), threading.Semaphore(0)

    def does(pipe, job):
        pipe.send(("progress", f"doing {job[1]}", 3, 7))
        begun.release()
        go.wait(PATIENCE_S)
        pipe.send(("done", None, "It cannot be.") if job[1] == "publish" else ("done", job[1], ""))

    monkeypatch.setattr(Process, "does", staticmethod(does))
    return go, begun


def test_one_that_waits_stands_for_the_next_and_how_far_it_is_is_told(line, monkeypatch):
    go, begun = held(monkeypatch)
    first = line.put("analyse", once=True)
    begun.acquire(timeout=PATIENCE_S)
    for _ in range(2000):
        if line.progress.of:
            break
        threading.Event().wait(0.01)
    assert line.progress == jobs.Progress("doing analyse", 3, 7)
    second = line.put("analyse", once=True)
    assert second is not first, "one at work has perhaps not seen the last change"
    assert line.put("analyse", once=True) is second
    assert line.put("analyse") is not second
    refused = line.put("publish")
    assert (line.busy, line.waiting) == (True, 3)
    go.set()
    assert (first.result(PATIENCE_S), second.result(PATIENCE_S)) == ("analyse", "analyse")
    with pytest.raises(jobs.JobError, match="It cannot be"):
        refused.result(PATIENCE_S)
    assert idle(line)
    assert (line.busy, line.waiting) == (False, 0)


def test_one_that_is_done_is_counted_once(line, monkeypatch):
    line.put("read").result(PATIENCE_S)
    assert idle(line)
    go, begun = held(monkeypatch)
    line.put("analyse")
    begun.acquire(timeout=PATIENCE_S)
    assert (line.busy, line.waiting) == (True, 0)
    last = line.put("write")
    assert (line.busy, line.waiting) == (True, 1)
    go.set()
    last.result(PATIENCE_S)


def test_every_kind_of_job_has_its_words_before_it_tells_its_own(line, monkeypatch):
    seen = {}
    monkeypatch.setattr(
        Process,
        "does",
        staticmethod(lambda pipe, job: (seen.update({job[1]: line.progress}), pipe.send(("done", 0, "")))),
    )
    for kind in ("wake", "read", "analyse", "write", "publish", "preview"):
        line.put(kind).result(PATIENCE_S)
    assert {kind: progress.what for kind, progress in seen.items()} == {
        "wake": "getting ready", "read": "looking into the files", "analyse": "reading",
        "write": "writing report and tables", "publish": "cutting what is private", "preview": "looking what is private",
    }  # fmt: skip
    assert {(progress.done, progress.of) for progress in seen.values()} == {(0, 0)}


FROM_OUTSIDE = "ended from outside, perhaps for want of memory"


@pytest.mark.parametrize(("code", "said"), [(-9, FROM_OUTSIDE), (1, "by a fault of gpsq itself"), (None, FROM_OUTSIDE)])
def test_a_process_that_is_lost_is_told_apart_from_one_that_failed_and_begun_anew(line, monkeypatch, code, said):
    monkeypatch.setattr(Process, "ends_with", code)
    monkeypatch.setattr(Process, "does", staticmethod(lambda pipe, job: Process.begun[-1].kill()))
    lost = line.put("read")
    with pytest.raises(jobs.JobError, match=said):
        lost.result(PATIENCE_S)
    monkeypatch.setattr(Process, "does", staticmethod(lambda pipe, job: pipe.send(("done", "well", ""))))
    assert line.put("read").result(PATIENCE_S) == "well"
    assert len(Process.begun) == 2


@pytest.fixture
def timers(monkeypatch):
    """Timers that never run by themselves: seconds, what is called, and with what."""
    made = []
    monkeypatch.setattr(
        jobs.threading,
        "Timer",
        lambda *how: made.append(how) or SimpleNamespace(start=lambda: None),
    )
    return made


def fire(timer):
    _, called, arguments = timer
    called(*arguments)


def test_a_job_that_is_taken_back_is_told_its_number_and_its_process_ended_where_it_is_deaf(line, monkeypatch, timers):
    line.cancel()
    assert timers == [], "nothing is at work"
    go, begun = held(monkeypatch)
    taken, waiting = line.put("analyse"), line.put("write")
    begun.acquire(timeout=PATIENCE_S)
    line.cancel()
    ((seconds, _, numbers),) = timers
    assert (seconds, numbers) == (jobs.PATIENCE_S, [1])
    fire(timers[0])
    with pytest.raises(jobs.JobError, match="Cancelled; the earlier results stay"):
        taken.result(PATIENCE_S)
    assert Process.begun[0].cancelling.recv() == 1
    go.set()
    assert waiting.result(PATIENCE_S) == "write"
    assert len(Process.begun) == 2


def test_one_that_ends_in_time_keeps_its_process_and_the_next_is_not_ended_for_it(line, monkeypatch, timers):
    go = {"analyse": threading.Event(), "write": threading.Event()}
    begun = threading.Semaphore(0)

    def does(pipe, job):
        begun.release()
        go[job[1]].wait(PATIENCE_S)
        pipe.send(("done", job[1], ""))

    monkeypatch.setattr(Process, "does", staticmethod(does))
    taken, after = line.put("analyse"), line.put("write")
    begun.acquire(timeout=PATIENCE_S)
    line.cancel()
    go["analyse"].set()
    assert taken.result(PATIENCE_S) == "analyse"
    begun.acquire(timeout=PATIENCE_S)
    fire(timers[0])
    go["write"].set()
    assert after.result(PATIENCE_S) == "write"
    assert idle(line)
    fire(timers[0])
    assert Process.begun[0].alive
    assert len(Process.begun) == 1

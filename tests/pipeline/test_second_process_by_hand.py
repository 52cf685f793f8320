"""The second process with a pipe by hand: when it begins, what it is sent, and what is done here instead."""

from __future__ import annotations

from types import SimpleNamespace

import pytest
from second_by_hand import Cores, Second, named

from gpsq.output import templating
from gpsq.pipeline import second_process


@pytest.mark.parametrize(
    ("platform", "threads", "cores", "begins"),
    [("linux", 1, 2, True), ("linux", 1, 1, False), ("linux", 2, 2, False), ("darwin", 1, 2, False)],
)
def test_it_begins_only_where_it_is_cheap_and_safe(monkeypatch, platform, threads, cores, begins):
    begun = []
    end = SimpleNamespace(close=lambda: begun.append("closed"))
    own = SimpleNamespace(send=lambda what: None)
    process = lambda **how: begun.append(how) or SimpleNamespace(start=lambda: begun.append("begun"))  # noqa: E731
    monkeypatch.setattr(second_process.sys, "platform", platform)
    monkeypatch.setattr(second_process.threading, "active_count", lambda: threads)
    monkeypatch.setattr(second_process.executors, "cores", lambda: cores)
    monkeypatch.setattr(second_process.multiprocessing, "Pipe", lambda: (own, end))
    monkeypatch.setattr(
        second_process.multiprocessing,
        "get_context",
        lambda how: SimpleNamespace(Process=process) if how == "fork" else None,
    )
    second = second_process.SecondProcess()
    assert not second.is_there
    waits = second.begin(str, 3)
    assert second.is_there == begins
    if begins:
        first = {"target": second_process._serve, "args": (end, own, (str, (3,))), "daemon": True}
        assert begun == [first, "begun", "closed"]
    else:
        assert (begun, waits()) == ([], "3")


class Pipe:
    """In place of a pipe: answers that are given, then the end; it takes work or it does not."""

    def __init__(self, *answers, takes=True):
        self.answers, self.takes, self.sent = list(answers), takes, []

    def recv(self):
        if not self.answers:
            raise EOFError
        return self.answers.pop(0)

    def send(self, what):
        if not self.takes:
            raise OSError
        self.sent.append(what)


def begun_with(pipe):
    second = second_process.SecondProcess()
    second._pipe, second._is_begun = pipe, True
    return second


def test_answers_are_those_of_their_questions_and_what_failed_or_is_lost_is_done_here():
    pipe = Pipe((True, "one there"), (False, None))
    second = begun_with(pipe)
    waits = [second.begin(str, k) for k in (1, 2, 3)]
    assert pipe.sent == [(str, (1,)), (str, (2,)), (str, (3,))]
    assert [wait() for wait in waits] == ["one there", "2", "3"]
    assert not second.is_there, "its end was seen"
    assert waits[0]() == "one there"
    assert second.begin(str, 4)() == "4"


def test_a_process_that_takes_no_more_work_leaves_it_here():
    second = begun_with(Pipe(takes=False))
    assert second.begin(str, 1)() == "1"
    assert not second.is_there


def test_few_files_are_read_aside_and_what_comes_next_is_loaded_meanwhile(monkeypatch):
    noted = []
    monkeypatch.setattr(second_process.sys, "platform", "linux")
    monkeypatch.setattr(second_process, "load_what_draws", named("load_what_draws"))
    cores = Cores(noted, is_much=False)
    reads = second_process.ReadsWhileLoading(Second(noted, is_there=True), cores, lambda: noted.append(("loaded",)))
    assert list(reads.map(str, [1, 2])) == ["1", "2"]
    assert noted == [("_all", str, [(1,), (2,)]), ("load_what_draws",), ("loaded",)]
    cores._is_much, cores.map = True, lambda fn, *columns: noted.append(columns) or map(fn, *columns)
    noted.clear()
    answers = reads.map(str, [1, 2])
    assert (next(answers), noted) == ("1", [((1, 2),), ("loaded",)]), "copies that read do not wait for what is loaded"
    noted.clear()
    assert (next(answers), noted) == ("2", [("cores end",)]), "the next ones have it with them"
    monkeypatch.setattr(second_process.sys, "platform", "darwin")
    noted.clear()
    assert (list(reads.map(str, [1, 2])), noted) == (["1", "2"], [((1, 2),), ("loaded",)]), (
        "where none is copied they stay"
    )


def test_what_is_served_is_answered_and_what_fails_is_told(monkeypatch):
    """In this process: questions come until the pipe ends."""
    monkeypatch.setattr(second_process.signal, "signal", lambda *how: None)
    closed, sent = [], Pipe((int, ("x",)), (str, (5,)))
    pipe = SimpleNamespace(recv=sent.recv, send=sent.send)
    second_process._serve(pipe, SimpleNamespace(close=lambda: closed.append(1)), (str, (4,)))
    for _ in range(2000):
        if len(sent.sent) == 3:
            break
        second_process.threading.Event().wait(0.01)
    assert sent.sent == [(True, "4"), (False, None), (True, "5")]
    assert closed == [1]


def test_an_answer_that_cannot_be_sent_is_told_as_not_done():
    answers, sent = second_process.queue.SimpleQueue(), []

    class Once:
        @staticmethod
        def send(answer):
            if answer == (True, "no pickle"):
                raise TypeError
            if answer == (True, "last"):
                raise OSError
            sent.append(answer)

    for answer in ("a", "no pickle", "b", "last"):
        answers.put((True, answer))
    second_process._send(Once, answers)
    assert sent == [(True, "a"), (False, None), (True, "b")]


def test_what_is_loaded_is_what_each_needs(monkeypatch):
    loaded = []
    monkeypatch.setattr(second_process, "_load", lambda *what: loaded.append(what))
    second_process.load_what_draws()
    second_process.load_what_writes()
    assert loaded == [(second_process.DRAWS, "report.html.j2"), (second_process.WRITES, "map.html.j2")]
    monkeypatch.undo()
    monkeypatch.setattr(templating, "loaded", loaded.append)
    monkeypatch.setattr(second_process, "import_module", loaded.append)
    second_process._load(["a", "b"], "t")
    assert loaded[2:] == ["a", "b", "t"]

"""Where work is done, with a pool and a cluster by hand: what they are given, what is said of them, what is done without them."""

from __future__ import annotations

import os
import sys
from concurrent.futures import CancelledError, Future
from concurrent.futures.process import BrokenProcessPool
from pathlib import Path
from types import SimpleNamespace

import numpy as np
import pytest
from by_hand import by_hand

from gpsq import digests
from gpsq.exceptions import GpsqError, InputError
from gpsq.pipeline import executors

HAND = by_hand()


# ---- how much it is ----
def test_a_fix_on_a_route_counts_five_times_and_one_in_a_file_takes_a_hundred_bytes(tmp_path):
    (tmp_path / "a").write_bytes(b"x" * 1_250)
    route, trace = HAND.routes[0].route, HAND.traces[0]  # of 6 and 5 fixes, and of 6
    assert executors.fixes_in(route) == 55
    assert executors.fixes_in(trace) == 6
    assert executors.fixes_in([route, [trace, trace]]) == 67
    assert executors.fixes_in(tmp_path / "a") == 12
    assert (executors.fixes_in(tmp_path / "gone"), executors.fixes_in("text")) == (0, 0)


def test_it_is_much_from_the_bound_on():
    jobs = [(HAND.traces[0], HAND.traces[1]), (HAND.routes[0].route,)]  # 6 + 5 + 55
    assert executors.Local(2, worth_a_pool=66).is_much(jobs)
    assert not executors.Local(2, worth_a_pool=67).is_much(jobs)


def test_a_copy_of_this_process_is_made_only_where_it_is_safe(monkeypatch):
    asked = []
    monkeypatch.setattr(executors.multiprocessing, "get_context", asked.append)
    for platform, threads in (("linux", 1), ("linux", 2), ("darwin", 1), ("win32", 1)):
        monkeypatch.setattr(executors.sys, "platform", platform)
        monkeypatch.setattr(executors.threading, "active_count", lambda threads=threads: threads)
        executors._processes()
    assert asked == ["fork", "spawn", "spawn", "spawn"]


def test_as_many_processes_as_this_one_may_keep_busy(monkeypatch):
    monkeypatch.setattr(os, "sched_getaffinity", lambda who: {1, 4, 5} if who == 0 else None, raising=False)
    assert executors.cores() == 3
    assert executors.Local().processes == 3
    monkeypatch.delattr(os, "sched_getaffinity")
    for known, meant in ((6, 6), (None, 1)):
        monkeypatch.setattr(os, "cpu_count", lambda known=known: known)
        assert executors.cores() == meant


# ---- this machine ----
class Pool:
    """In place of a pool of processes: it does at once what is submitted, unless it is broken."""

    begun: list = []  # noqa: RUF012
    fails_on: dict = {}  # noqa: RUF012

    def __init__(self, processes, mp_context):
        self.processes, self.submitted, self.ended = processes, [], []
        Pool.begun.append(self)

    def submit(self, fn, *job):
        self.submitted.append(job)
        if "submit" in Pool.fails_on:
            raise Pool.fails_on["submit"]
        future = Future()
        error = Pool.fails_on.get(job[0])
        future.set_exception(error) if error else future.set_result(("there", fn(*job)))
        return future

    def shutdown(self, wait, *, cancel_futures):
        self.ended.append((wait, cancel_futures))


@pytest.fixture
def pool(monkeypatch):
    monkeypatch.setattr(executors, "ProcessPoolExecutor", Pool)
    monkeypatch.setattr(Pool, "begun", [])
    monkeypatch.setattr(Pool, "fails_on", {})
    monkeypatch.setattr(executors, "fixes_in", lambda argument: argument if isinstance(argument, int) else 0)
    return Pool


def test_heavy_work_is_submitted_first_and_answers_keep_their_order(pool):
    with executors.Local(2, worth_a_pool=6) as local:
        assert list(local.map(str, [1, 2])) == ["1", "2"], "so little is done here"
        assert list(local.map(str, [9])) == ["9"], "and so is what cannot be shared out"
        assert pool.begun == []
        assert list(local.map(str, [1, 3, 2])) == [("there", "1"), ("there", "3"), ("there", "2")]
        assert list(local.map(str, [1, 1])) == [("there", "1")] * 2, "once it is there it is used"
        (made,) = pool.begun
        assert made.processes == 2
        assert made.submitted == [(3,), (2,), (1,), (1,), (1,)]
        local.shutdown(wait=False)
        local.shutdown()
        assert made.ended == [(False, True)], "and nothing that waits is begun any more"
        list(local.map(str, [3, 3]))
    assert [len(own.ended) for own in pool.begun] == [1, 1]
    assert list(executors.Local(1, worth_a_pool=0).map(str, [1, 2])) == ["1", "2"]
    assert len(pool.begun) == 2


@pytest.mark.parametrize("error", [OSError("no processes"), BrokenProcessPool("lost")])
def test_what_cannot_be_begun_is_done_here(pool, error):
    pool.fails_on["submit"] = error
    loaded = []
    local = executors.Local(2, worth_a_pool=0, meanwhile=lambda: loaded.append(1))
    assert list(local.map(str, [1, 2])) == ["1", "2"]
    assert loaded == [1]


def test_what_is_left_when_a_pool_is_lost_is_done_here_and_so_is_all_that_follows(pool):
    pool.fails_on[2] = BrokenProcessPool("lost")
    local = executors.Local(2, worth_a_pool=0)
    assert list(local.map(str, [1, 2, 3])) == [("there", "1"), "2", "3"]
    assert list(local.map(str, [1, 3])) == ["1", "3"]
    pool.fails_on[2] = ValueError("its own")
    with pytest.raises(ValueError, match="its own"):
        list(executors.Local(2, worth_a_pool=0).map(str, [1, 2]))


def test_what_comes_next_is_loaded_once_and_for_it_even_one_piece_is_given_away(pool):
    loaded = []
    local = executors.Local(2, worth_a_pool=5, meanwhile=lambda: loaded.append(len(pool.begun[0].submitted)))
    assert list(local.map(str, [4])) == ["4"]
    assert list(local.map(str, [5])) == [("there", "5")]
    assert list(local.map(str, [5])) == ["5"]
    assert loaded == [1], "after the work was given away"


def test_who_was_given_is_used_and_not_ended(monkeypatch):
    ended = []
    given = SimpleNamespace(shutdown=lambda: ended.append(1))
    with executors.given_or_local(given) as engine:
        assert engine is given
    assert ended == []
    with executors.given_or_local(None) as engine:
        assert isinstance(engine, executors.Local)


# ---- a cluster ----
class KilledWorker(Exception):
    """As distributed calls it."""


@pytest.fixture
def cluster(monkeypatch):
    """A package distributed by hand: `codes` are what workers answer, `fails` what it raises at which step."""
    own = SimpleNamespace(codes={"w": digests.code()}, fails={}, noted=[], cores={"w": 1})

    def step(name, answer=None):
        def asked(*given, **how):
            own.noted.append((name, *given, *sorted(how.items())))
            if name in own.fails:
                raise own.fails[name]
            return answer() if answer else None

        return asked

    def submit(fn, *job):
        own.noted.append(("submit", job))
        future = Future()
        try:
            future.set_result(fn(*job))
        except Exception as error:
            future.set_exception(error)
        return future

    client = SimpleNamespace(
        get_executor=step("executor", lambda: SimpleNamespace(submit=submit)), wait_for_workers=step("wait"),
        run=step("run", lambda: own.codes), close=step("close"), ncores=lambda: own.cores,
    )  # fmt: skip
    configured = SimpleNamespace(__exit__=step("configured"))
    monkeypatch.setitem(
        sys.modules, "distributed", SimpleNamespace(Client=step("client", lambda: client), KilledWorker=KilledWorker)
    )
    monkeypatch.setitem(
        sys.modules, "dask", SimpleNamespace(config=SimpleNamespace(set=step("config", lambda: configured)))
    )
    return own


def test_a_cluster_is_asked_for_its_workers_and_their_code(cluster):
    engine = executors.Cluster("here:1")
    assert [step for step in cluster.noted if step[0] != "config"] == [
        ("client", "here:1", ("set_as_default", False), ("timeout", 20.0)), ("executor", ("pure", False), ("retries", 3)),
        ("wait", 1, ("timeout", 20.0)), ("run", digests.code),
    ]  # fmt: skip
    cluster.noted.clear()
    engine.shutdown()
    assert [name for name, *_ in cluster.noted] == ["close", "configured"]


@pytest.mark.parametrize(
    ("step", "error", "said"),
    [
        ("client", OSError(), "--cluster: found no answer from here:1; expected the address of a Dask scheduler"),
        ("client", ValueError(), "--cluster: found no answer from here:1; expected the address of a Dask scheduler"),
        ("wait", TimeoutError(), "--cluster here:1: found no worker with gpsq; expected workers with this gpsq"),
        ("run", ImportError(), "--cluster here:1: found no worker with gpsq; expected workers with this gpsq"),
        ("run", AttributeError(), "--cluster here:1: found no worker with gpsq; expected workers with this gpsq"),
    ],
)
def test_a_cluster_that_cannot_be_used_is_one_line_and_let_go(cluster, step, error, said):
    cluster.fails[step] = error
    with pytest.raises(InputError) as refused:
        executors.Cluster("here:1")
    assert str(refused.value) == said
    assert ("close" in [name for name, *_ in cluster.noted]) == (step != "client")


@pytest.mark.parametrize("codes", [{"a": "other"}, {"a": digests.code(), "b": "other"}])
def test_workers_with_another_code_are_refused(cluster, codes):
    cluster.codes = codes
    with pytest.raises(
        InputError, match="--cluster here:1: found workers with another gpsq; expected the same versions"
    ):
        executors.Cluster("here:1")
    assert ("close",) in cluster.noted


def test_tasks_are_done_in_order_and_paths_are_whole(cluster, monkeypatch, tmp_path):
    monkeypatch.chdir(tmp_path)
    engine = executors.Cluster("here:1")
    answers = engine.map(lambda *job: job, [Path("a"), Path("b")], ["x", "y"])
    assert list(answers) == [(tmp_path / "a", "x"), (tmp_path / "b", "y")]
    monkeypatch.setattr(executors, "_code_here", lambda: "another")
    with pytest.raises(InputError, match="workers with another gpsq"):
        list(engine.map(str, [1]))


@pytest.mark.parametrize("error", [KilledWorker(), CancelledError(), OSError()])
def test_a_cluster_that_loses_its_workers_is_one_line(cluster, error):
    def fails(job):
        raise error

    with pytest.raises(GpsqError, match="The cluster at here:1 lost its workers; nothing was written"):
        list(executors.Cluster("here:1").map(fails, [1]))


def test_without_a_worker_it_is_said_after_a_while_and_again_after_a_longer_one(cluster, monkeypatch):
    """Looks each second, with a worker until the third: then 20 s alone, and 60 s more; one that comes begins it anew."""
    clock, said = [0.0], []

    def looked(futures, timeout):
        clock[0] += timeout
        cluster.cores = {} if 3.0 < clock[0] < 150.0 or clock[0] > 160.0 else {"w": 1}
        return SimpleNamespace(done=clock[0] >= 190.0)

    engine = executors.Cluster("here:1", say=lambda line: said.append((clock[0], line)))
    monkeypatch.setattr(executors, "wait", looked)
    monkeypatch.setattr(executors.time, "monotonic", lambda: clock[0])
    engine._wait(Future(), "2 of 5 tasks are done")
    line = "The cluster at here:1 has no worker left: waiting for one to join; 2 of 5 tasks are done."
    assert said == [(23.0, line), (83.0, line), (143.0, line), (180.0, line)]
    executors.Cluster("here:1")._say("nobody hears it")


def test_how_far_it_is_is_said_by_the_tasks_that_are_done(cluster, monkeypatch):
    engine, told = executors.Cluster("here:1"), []
    monkeypatch.setattr(engine, "_wait", lambda future, how_far: told.append(how_far))
    list(engine.map(str, [1, 2]))
    assert told == ["0 of 2 tasks are done", "1 of 2 tasks are done"]


def test_without_the_package_it_is_said_how_to_get_it(monkeypatch):
    monkeypatch.setitem(sys.modules, "dask", None)
    with pytest.raises(InputError, match=r"--cluster: found no package dask; expected Python with .* \(pip install"):
        executors.Cluster("here:1")


def test_an_array_is_no_work_of_its_own():
    assert executors.fixes_in(np.zeros(5)) == 0

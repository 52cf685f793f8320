"""The same results, byte for byte, in one process, on a pool of processes, and on a cluster that loses a worker."""

from __future__ import annotations

import multiprocessing
import os
import signal
import sys
import threading
import time
from concurrent.futures import ProcessPoolExecutor, ThreadPoolExecutor
from multiprocessing import parent_process
from typing import TYPE_CHECKING, Any

import pytest
import three_days

from gpsq import cli, digests
from gpsq.exceptions import InputError
from gpsq.output.tables import tables
from gpsq.pipeline import cache, executors
from gpsq.pipeline.analysis import analyse
from gpsq.pipeline.executors import Cluster, Local
from gpsq.pipeline.second_process import ReadsWhileLoading, SecondProcess

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator
    from pathlib import Path

    from gpsq.results import Analysis

#: What is waited for comes at once, but on a busy machine.
PATIENCE_S = 180.0

#: distributed leaves sockets and loops to the collector, which is its own affair.
pytestmark = pytest.mark.filterwarnings("ignore")


@pytest.fixture(scope="module")
def campaign(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("demo")
    three_days.put(folder)
    return folder


@pytest.fixture(scope="module")
def alone(campaign: Path) -> Analysis:
    return analyse(campaign, executor=Local(processes=1))


def same(one: Analysis, other: Analysis) -> bool:
    kinds = (tables.tracks, tables.deviations, tables.devices, tables.set_aside)
    return digests.digest(one) == digests.digest(other) and all(
        tables.csv_text(kind(one)) == tables.csv_text(kind(other)) for kind in kinds
    )


@pytest.mark.parametrize("make", [lambda: Local(2, worth_a_pool=0), lambda: ThreadPoolExecutor(2)])
def test_the_same_on_any_executor(campaign: Path, alone: Analysis, make: Any) -> None:
    with make() as executor:
        assert same(analyse(campaign, executor=executor), alone)


def here(_: Any = None) -> int:
    return os.getpid()


LOADED: list[str] = []


def here_with(_: Any) -> tuple[int, int]:
    return os.getpid(), len(LOADED)


def test_little_is_done_here_and_much_on_the_cores(tmp_path: Path) -> None:
    small, large = tmp_path / "small", tmp_path / "large"
    small.write_bytes(b"?" * executors.BYTES_PER_FIX)
    large.write_bytes(b"?" * executors.BYTES_PER_FIX * 1000)
    with Local(2, worth_a_pool=1000) as local:
        assert set(local.map(here, [small, small])) == {os.getpid()}
        assert os.getpid() not in set(local.map(here, [small, large]))
        assert os.getpid() not in set(local.map(here, [small, small])), "once it is there, the pool is used"
    with Local(1, worth_a_pool=0) as local:
        assert set(local.map(here, [small, large])) == {os.getpid()}


def test_heavy_work_begins_first_and_answers_keep_their_order(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    files = []
    for number in (1, 3, 2):
        files.append(tmp_path / f"{number}")
        files[-1].write_bytes(b"?" * executors.BYTES_PER_FIX * number)
    begun = []
    submit = ProcessPoolExecutor.submit
    monkeypatch.setattr(
        ProcessPoolExecutor, "submit", lambda own, fn, *a: begun.append(a[0].name) or submit(own, fn, *a)
    )
    with Local(2, worth_a_pool=0) as local:
        assert list(local.map(os.path.basename, files)) == ["1", "3", "2"]
    assert begun == ["3", "2", "1"]


def test_light_work_is_begun_in_its_order(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Sixteen of a size or so for each process: the answer that is waited for first is not the last to come."""
    files = []
    for number in range(32):
        files.append(tmp_path / f"{number:02d}")
        files[-1].write_bytes(b"?" * executors.BYTES_PER_FIX * (1000 if number == 20 else 100 + number % 3))
    begun = []
    submit = ProcessPoolExecutor.submit
    monkeypatch.setattr(
        ProcessPoolExecutor, "submit", lambda own, fn, *a: begun.append(a[0].name) or submit(own, fn, *a)
    )
    with Local(2, worth_a_pool=0) as local:
        list(local.map(os.path.basename, files))
    assert begun == ["20", *(f"{number:02d}" for number in range(32) if number != 20)]


def test_what_comes_next_is_loaded_once_while_others_are_at_work(tmp_path: Path) -> None:
    large = tmp_path / "large"
    large.write_bytes(b"?" * executors.BYTES_PER_FIX * 1000)
    loaded: list[int] = []
    with Local(2, worth_a_pool=1000, meanwhile=lambda: loaded.append(os.getpid())) as local:
        assert list(local.map(here, [tmp_path])) == [os.getpid()]
        assert loaded == []
        assert os.getpid() not in set(local.map(here, [large])), "even one piece of work is done elsewhere meanwhile"
        assert loaded == [os.getpid()]
        assert list(local.map(here, [large])) == [os.getpid()]
        assert os.getpid() not in set(local.map(here, [large, large]))
    assert loaded == [os.getpid()]


def test_work_is_begun_when_it_is_given_not_when_it_is_asked_for(tmp_path: Path) -> None:
    files = [tmp_path / "a", tmp_path / "b"]
    with Local(2, worth_a_pool=0) as local:
        local.map(touch, files)
        until = time.monotonic() + PATIENCE_S
        while not all(file.exists() for file in files):
            assert time.monotonic() < until, "nothing was begun"
            time.sleep(0.02)


def dies_in_a_pool(number: int) -> int:
    if parent_process() is not None:
        os.kill(os.getpid(), signal.SIGKILL)
    return number * number


def test_a_pool_that_is_lost_is_done_without() -> None:
    with Local(2, worth_a_pool=0) as local:
        assert list(local.map(dies_in_a_pool, range(5))) == [0, 1, 4, 9, 16]
        assert list(local.map(dies_in_a_pool, range(3))) == [0, 1, 4]


def raises(number: int) -> int:
    if number == 1:
        raise InputError("ride.gpx", "nothing", "something")
    return number


def test_what_is_raised_arrives() -> None:
    with Local(2, worth_a_pool=0) as local, pytest.raises(InputError, match="found nothing"):
        list(local.map(raises, range(3)))


# --- a cluster ----------------------------------------------------------------------------------------------------


def copies_are_made() -> bool:
    return "forkserver" in multiprocessing.get_all_start_methods()


@pytest.fixture(scope="module")
def dask() -> Iterator[Any]:
    """Two workers on this computer's own address, out of reach of any other."""
    if not os.environ.get("CI"):
        pytest.importorskip("distributed", reason="the extra `cluster` is not installed")
    import dask
    from distributed import LocalCluster
    from distributed.utils import get_mp_context

    # workers are copies of one process that has the libraries; each would take seconds to load them
    copied = dask.config.set({"distributed.worker.multiprocessing-method": "forkserver"} if copies_are_made() else {})
    with copied:
        get_mp_context().set_forkserver_preload(["distributed", "gpsq.pipeline.stages"])
        with LocalCluster(
            n_workers=2, threads_per_worker=1, host="127.0.0.1", dashboard_address=None, silence_logs=50
        ) as cluster:
            yield cluster


def test_the_same_on_a_cluster(campaign: Path, alone: Analysis, dask: Any) -> None:
    told = []
    with Cluster(dask.scheduler_address) as cluster:
        found = analyse(campaign, executor=cluster, on_progress=lambda *what: told.append(what))
    assert same(found, alone)
    assert ("reading", 18, 18) in told
    assert ("analysing routes", len(alone.routes), len(alone.routes)) in told


def test_files_are_read_by_the_workers(tmp_path: Path, dask: Any, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(tmp_path)
    (tmp_path / "a").write_text("1")
    with Cluster(dask.scheduler_address) as cluster:
        assert list(cluster.map(cache.Path.read_text, [cache.Path("a")])) == ["1"]
        assert os.getpid() not in set(cluster.map(here, range(2)))


def test_a_worker_is_killed_in_the_middle(campaign: Path, alone: Analysis, dask: Any) -> None:
    """Its answers die with it: they are worked out again by the other one."""
    from distributed import Client

    with Client(dask.scheduler_address, set_as_default=False) as client:
        victims = list(client.run(os.getpid).values())[:1]
    killed = []

    def kill(what: str, done: int, of: int) -> None:
        if what == "reading" and done == of // 2 and victims:
            killed.append(victims.pop())
            os.kill(killed[-1], signal.SIGKILL)

    with Cluster(dask.scheduler_address) as cluster:
        found = analyse(campaign, executor=cluster, on_progress=kill)
    assert killed
    assert same(found, alone)


@pytest.mark.parametrize("scheme", ["tcp://", ""])
def test_the_command_line_on_a_cluster(
    campaign: Path, dask: Any, scheme: str, capsys: pytest.CaptureFixture[str]
) -> None:
    address = scheme + dask.scheduler_address.removeprefix("tcp://")
    with pytest.raises(SystemExit) as ended:
        cli.main(["analyse", str(campaign), "--cluster", address, "--quiet"])
    assert ended.value.code == 0
    assert "Report:" in capsys.readouterr().out
    assert (campaign / "gpsq-results" / "report.html").is_file()


def test_no_cluster_is_one_plain_line(campaign: Path, capsys: pytest.CaptureFixture[str], monkeypatch: Any) -> None:
    pytest.importorskip("distributed", reason="the extra `cluster` is not installed")
    monkeypatch.setattr(executors, "PATIENCE_S", 0.2)
    with pytest.raises(SystemExit) as ended:
        cli.main(["analyse", str(campaign), "--cluster", "tcp://127.0.0.1:1", "-q"])
    assert ended.value.code == 2
    lines = capsys.readouterr().err.splitlines()
    assert lines == ["--cluster: found no answer from tcp://127.0.0.1:1; expected the address of a Dask scheduler"]


def test_without_the_package_one_plain_line(
    campaign: Path, capsys: pytest.CaptureFixture[str], monkeypatch: Any
) -> None:
    monkeypatch.setitem(sys.modules, "distributed", None)
    with pytest.raises(SystemExit) as ended:
        cli.main(["analyse", str(campaign), "--cluster", "tcp://127.0.0.1:1", "-q"])
    assert ended.value.code == 2
    assert "gpsq[cluster]" in capsys.readouterr().err


def test_workers_with_another_gpsq_are_refused(dask: Any, monkeypatch: pytest.MonkeyPatch) -> None:
    own = digests.code
    monkeypatch.setattr(executors, "_code_here", lambda: own() + "?")
    with pytest.raises(InputError, match="workers with another gpsq"):
        Cluster(dask.scheduler_address)


@pytest.fixture
def soon(monkeypatch: pytest.MonkeyPatch) -> None:
    """What is told after twenty seconds and each minute is told at once."""
    monkeypatch.setattr(executors, "LOOK_S", 0.05)
    monkeypatch.setattr(executors, "TOLD_AFTER_S", 0.3)
    monkeypatch.setattr(executors, "TOLD_AGAIN_S", 0.5)


@pytest.mark.usefixtures("soon")
def test_with_no_worker_left_it_says_so_and_goes_on_with_one_that_joins(
    campaign: Path, alone: Analysis, dask: Any
) -> None:
    """The tests after this one find one worker on the cluster."""
    said: list[str] = []

    def say(line: str) -> None:
        said.append(line)
        if len(said) == 3:
            dask.scale(1)

    with Cluster(dask.scheduler_address, say=say) as cluster:
        dask.scale(0)
        until = time.monotonic() + PATIENCE_S
        while dask.scheduler_info["workers"]:
            assert time.monotonic() < until, "the worker stays"
            time.sleep(0.05)
        found = analyse(campaign, executor=cluster)
    assert same(found, alone)
    assert len(said) >= 3
    told = (
        f"The cluster at {dask.scheduler_address} has no worker left: waiting for one to join; 0 of 18 tasks are done."
    )
    assert said[:3] == [told] * 3


@pytest.mark.usefixtures("soon")
def test_while_workers_are_there_nothing_is_said(dask: Any) -> None:
    said: list[str] = []
    with Cluster(dask.scheduler_address, say=said.append) as cluster:
        assert list(cluster.map(time.sleep, [0.6])) == [None]
    assert said == []


def test_a_worker_with_another_gpsq_that_joins_later_is_refused(dask: Any, monkeypatch: pytest.MonkeyPatch) -> None:
    with Cluster(dask.scheduler_address) as cluster:
        own = digests.code
        monkeypatch.setattr(executors, "_code_here", lambda: own() + "?")
        with pytest.raises(InputError, match="workers with another gpsq"):
            list(cluster.map(here, range(2)))


# --- one process beside this one ----------------------------------------------------------------------------------


def squared(number: int) -> tuple[int, int]:
    if number < 0:
        raise InputError("number", str(number), "one above zero")
    return number * number, os.getpid()


def ends(number: int) -> int:
    if parent_process() is not None:
        os.kill(os.getpid(), signal.SIGKILL)
    return number


def adds(number: int) -> Callable[[int], int]:
    return lambda other: number + other


def many(number: int) -> bytes:
    return bytes(number)


def touch(path: Path) -> None:
    path.touch()


@pytest.fixture
def one_thread(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("gpsq.pipeline.second_process.threading.active_count", lambda: 1)


@pytest.mark.usefixtures("one_thread")
def test_work_is_done_there_and_what_fails_fails_here() -> None:
    second = SecondProcess()
    waits = [second.begin(squared, number) for number in (2, 3, -1, 4)]
    assert waits[0]()[0] == 4
    assert (waits[1]()[1] != os.getpid()) == (sys.platform == "linux" and executors.cores() > 1)
    with pytest.raises(InputError, match="one above zero"):
        waits[2]()
    assert waits[3]()[0] == 16


@pytest.mark.usefixtures("one_thread")
def test_the_first_work_is_copied_with_the_process() -> None:
    """Nothing of it travels, however large, and whether it could be sent or not."""
    second, cannot_be_sent = SecondProcess(), threading.Lock()
    assert not second.is_there
    assert second.begin(lambda lock: lock.acquire(blocking=False), cannot_be_sent)()
    assert second.is_there == (sys.platform == "linux" and executors.cores() > 1)
    assert cannot_be_sent.locked() != second.is_there
    assert second.begin(squared, 4)()[0] == 16


def test_it_begins_once_the_threads_are_gone(monkeypatch: pytest.MonkeyPatch) -> None:
    second, threads = SecondProcess(), [2, 1]
    monkeypatch.setattr("gpsq.pipeline.second_process.threading.active_count", lambda: threads.pop(0))
    assert second.begin(squared, 3)()[1] == os.getpid()
    assert (second.begin(squared, 3)()[1] != os.getpid()) == (sys.platform == "linux" and executors.cores() > 1)


@pytest.mark.usefixtures("one_thread")
def test_a_process_that_is_ended_is_done_without() -> None:
    second = SecondProcess()
    wait = second.begin(ends, 1)
    assert wait() == 1
    assert second.begin(ends, 2)() == 2


@pytest.mark.usefixtures("one_thread")
def test_an_answer_that_cannot_be_sent_is_found_here() -> None:
    second = SecondProcess()
    waits = [second.begin(adds, 2), second.begin(squared, 3)]
    assert waits[0]()(5) == 7
    assert waits[1]()[0] == 9


@pytest.mark.usefixtures("one_thread")
def test_answers_may_be_asked_for_in_any_order_and_again() -> None:
    second = SecondProcess()
    waits = [second.begin(squared, number) for number in (2, 3, 4)]
    assert [waits[k]()[0] for k in (2, 0, 1, 0)] == [16, 4, 9, 4]


@pytest.mark.usefixtures("one_thread")
def test_the_next_work_does_not_wait_for_a_large_answer_to_be_taken(tmp_path: Path) -> None:
    second = SecondProcess()
    large = second.begin(many, 4_000_000)
    second.begin(touch, tmp_path / "done")
    until = time.monotonic() + PATIENCE_S
    while sys.platform == "linux" and executors.cores() > 1 and not (tmp_path / "done").exists():
        assert time.monotonic() < until, "the second piece of work was not begun"
        time.sleep(0.02)
    assert len(large()) == 4_000_000


def test_with_threads_about_nothing_is_begun(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("gpsq.pipeline.second_process.threading.active_count", lambda: 2)
    second = SecondProcess()
    assert second.begin(squared, 3)() == (9, os.getpid())


@pytest.mark.usefixtures("one_thread")
def test_a_few_files_are_read_in_the_second_process_while_this_one_loads(tmp_path: Path) -> None:
    loaded: list[int] = []
    second = SecondProcess()
    with Local(2, worth_a_pool=100) as cores:
        reads = ReadsWhileLoading(second, cores, lambda: loaded.append(os.getpid()))
        assert [n for n, _ in reads.map(squared, range(4))] == [0, 1, 4, 9]
        assert loaded == [os.getpid()]
        read_by = {pid for _, pid in reads.map(squared, range(4))}
        assert (os.getpid() not in read_by) == (sys.platform == "linux" and executors.cores() > 1)
        with pytest.raises(InputError, match="one above zero"):
            list(reads.map(squared, [1, -1]))


@pytest.mark.usefixtures("one_thread")
def test_many_files_are_read_on_the_cores(tmp_path: Path) -> None:
    (tmp_path / "large").write_bytes(b"?" * executors.BYTES_PER_FIX * 1000)
    with Local(2, worth_a_pool=1000) as cores:
        reads = ReadsWhileLoading(SecondProcess(), cores, lambda: LOADED.append("what measures"))
        answers = list(reads.map(here_with, [tmp_path / "large"] * 8))
        assert {loaded for _, loaded in answers} == {0}, "they are copied before it is loaded"
        assert os.getpid() not in {process for process, _ in answers}
        assert LOADED == ["what measures"]
        assert cores._pool is None, "who measures is copied with what measures"
        LOADED.clear()

"""Where work is done: in this process, on the cores of this machine, or on a cluster. The results are the same.

All are executors of `concurrent.futures` that yield answers in the order of the questions.
"""

from __future__ import annotations

import contextlib
import multiprocessing
import os
import sys
import threading
import time
from concurrent.futures import CancelledError, Executor, Future, ProcessPoolExecutor, wait
from concurrent.futures.process import BrokenProcessPool
from pathlib import Path
from typing import TYPE_CHECKING, Any

from gpsq import digests
from gpsq.exceptions import GpsqError, InputError
from gpsq.model import Route, Trace

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable, Iterator, Sequence

#: Starting processes costs about as much as reading this many fixes, and more where a process cannot be copied; with
#: fewer to do, this process does them alone.
WORTH_A_POOL = 100_000 if sys.platform == "linux" else 500_000
#: Bytes that one fix takes in a recording, about.
BYTES_PER_FIX = 100
#: A fix on a route takes so many times as long as one that is read or looked at by itself.
ROUTE_TIMES = 5
#: What is less than the total shared out to all processes by so many parts is light, and begun in its order: what is waited
#: for first is done first, and what is to be done with it goes on beside the rest.
LIGHT_PARTS = 64
#: A task of a cluster is tried this many times before the run gives up.
RETRIES = 3
#: Seconds to wait for a cluster to answer; and without any worker, until the person is told, and told again.
PATIENCE_S, TOLD_AFTER_S, TOLD_AGAIN_S = 20.0, 20.0, 60.0
#: Seconds between two looks at what a cluster has done.
LOOK_S = 1.0
NO_CLUSTER = "Python with the package distributed (pip install 'gpsq[cluster]')"


class Local(Executor):
    """The machine: this process while little is asked for, else as many processes as the machine has cores.

    The processes are started when first needed. Should they be lost (the system ends what takes too much memory), what
    is left is done in this process.

    Parameters
    ----------
    meanwhile : loads what this process will need next; done once, as soon as other processes are at work.
    """

    def __init__(
        self,
        processes: int | None = None,
        worth_a_pool: int = WORTH_A_POOL,
        meanwhile: Callable[[], None] | None = None,
    ) -> None:
        self.processes = processes or cores()
        self.worth_a_pool = worth_a_pool
        self.meanwhile = meanwhile
        self._pool: ProcessPoolExecutor | None = None

    def map(
        self,
        fn: Callable[..., Any],
        *iterables: Iterable[Any],
        timeout: float | None = None,
        chunksize: int = 1,
        buffersize: int | None = None,
    ) -> Iterator[Any]:
        """Yield ``fn`` of each set of arguments, in order; heavy ones are begun first, light ones in order, and all at once."""
        jobs = list(zip(*iterables, strict=True))
        alone = len(jobs) < 2 and not self.meanwhile
        if self.processes < 2 or alone or (self._pool is None and not self.is_much(jobs)):
            return (fn(*job) for job in jobs)
        return self._spread(fn, jobs)

    def is_much(self, jobs: Iterable[tuple[Any, ...]]) -> bool:
        """Whether so many fixes stand behind the arguments of these jobs that processes are worth starting."""
        return sum(fixes_in(argument) for job in jobs for argument in job) >= self.worth_a_pool

    def _spread(self, fn: Callable[..., Any], jobs: Sequence[tuple[Any, ...]]) -> Iterator[Any]:
        fixes = [sum(fixes_in(argument) for argument in job) for job in jobs]
        light = 1 + sum(fixes) // (self.processes * LIGHT_PARTS)
        try:
            if self._pool is None:
                self._pool = ProcessPoolExecutor(self.processes, mp_context=_processes())
            heavy_first = sorted(range(len(jobs)), key=lambda k: -(fixes[k] // light))
            futures = {k: self._pool.submit(fn, *jobs[k]) for k in heavy_first}
        except (BrokenProcessPool, OSError):
            futures = {}
        if self.meanwhile:
            meanwhile, self.meanwhile = self.meanwhile, None
            meanwhile()
        return self._answers(fn, jobs, futures)

    def _answers(
        self, fn: Callable[..., Any], jobs: Sequence[tuple[Any, ...]], futures: dict[int, Future[Any]]
    ) -> Iterator[Any]:
        for k, job in enumerate(jobs):
            try:
                yield futures.pop(k).result() if k in futures else fn(*job)
            except BrokenProcessPool:
                self._pool, self.processes = None, 1
                futures = {}
                yield fn(*job)

    def shutdown(self, wait: bool = True, *, cancel_futures: bool = False) -> None:
        """End the processes; they are started again when they are needed again."""
        if self._pool is not None:
            self._pool.shutdown(wait=wait, cancel_futures=True)
            self._pool = None


def given_or_local(executor: Executor | None) -> contextlib.AbstractContextManager[Executor]:
    """Give the executor that was asked for, or this machine's while it is needed."""
    return contextlib.nullcontext(executor) if executor else Local()


def _code_here() -> str:
    return digests.code()


class _OtherCodeError(Exception):
    """A worker that joined has another gpsq, whose answers could be others."""


def _with_same_code(code: str, fn: Callable[..., Any], job: tuple[Any, ...]) -> Any:
    if digests.code() != code:
        raise _OtherCodeError
    return fn(*job)


def cores() -> int:
    """Return how many processes this one may keep busy."""
    return len(os.sched_getaffinity(0)) if hasattr(os, "sched_getaffinity") else os.cpu_count() or 1


def fixes_in(argument: Any) -> int:
    """Return about how many fixes stand behind an argument, a file, a trace or a route, as many as take so long."""
    if isinstance(argument, Route):
        return ROUTE_TIMES * sum(len(xy) for xy in argument.xy_m)
    if isinstance(argument, Trace):
        return argument.accepted
    if isinstance(argument, list):
        return sum(fixes_in(part) for part in argument)
    if isinstance(argument, Path):
        with contextlib.suppress(OSError):
            return argument.stat().st_size // BYTES_PER_FIX
    return 0


def _processes() -> multiprocessing.context.BaseContext:
    # a copy of this process has all that is imported already; with other threads about, it might hang
    alone = sys.platform == "linux" and threading.active_count() == 1
    return multiprocessing.get_context("fork" if alone else "spawn")


class Cluster(Executor):
    """A Dask cluster at an address; workers that are lost are survived, their tasks being done by others.

    With no worker left it waits for one that joins, and says so.

    Parameters
    ----------
    address : of the scheduler, such as ``tcp://127.0.0.1:8786`` or ``127.0.0.1:8786``.
    say : told what is waited for.

    Raises
    ------
    InputError
        When there is no such cluster, it has no workers, or these have another gpsq.
    """

    def __init__(self, address: str, say: Callable[[str], None] | None = None) -> None:
        try:
            import dask
            import distributed
        except ImportError as missing:
            raise InputError("--cluster", f"no package {missing.name}", NO_CLUSTER) from missing
        self.address, self._say = address, say or (lambda line: None)
        # a route with all its recordings travels as one argument, so that it can be sent again
        self._config: Any = dask.config.set({"distributed.admin.large-graph-warning-threshold": "10 GB"})
        connect: Any = distributed.Client
        try:
            self._client = connect(address, timeout=PATIENCE_S, set_as_default=False)
        except (OSError, ValueError) as error:
            raise InputError("--cluster", f"no answer from {address}", "the address of a Dask scheduler") from error
        self._executor = self._client.get_executor(retries=RETRIES, pure=False)
        self._same_code()

    def _same_code(self) -> None:
        try:
            self._client.wait_for_workers(1, timeout=PATIENCE_S)
            codes = set(self._client.run(digests.code).values())
        except (TimeoutError, ImportError, AttributeError) as error:
            self.shutdown()
            raise InputError(f"--cluster {self.address}", "no worker with gpsq", "workers with this gpsq") from error
        if codes != {_code_here()}:
            self.shutdown()
            raise InputError(*self._other_code())

    def _other_code(self) -> tuple[str, str, str]:
        return f"--cluster {self.address}", "workers with another gpsq", "the same versions everywhere"

    def map(
        self,
        fn: Callable[..., Any],
        *iterables: Iterable[Any],
        timeout: float | None = None,
        chunksize: int = 1,
        buffersize: int | None = None,
    ) -> Iterator[Any]:
        """Yield ``fn`` of each set of arguments, in order; relative paths are made absolute for the workers."""
        jobs = [tuple(a.absolute() if isinstance(a, Path) else a for a in job) for job in zip(*iterables, strict=True)]
        return self._answers([self._executor.submit(_with_same_code, _code_here(), fn, job) for job in jobs])

    def _answers(self, futures: Sequence[Any]) -> Iterator[Any]:
        from distributed import KilledWorker

        try:
            for done, future in enumerate(futures):
                self._wait(future, f"{done} of {len(futures)} tasks are done")
                yield future.result()
        except _OtherCodeError as error:
            raise InputError(*self._other_code()) from error
        except (KilledWorker, CancelledError, OSError) as error:
            raise GpsqError(f"The cluster at {self.address} lost its workers; nothing was written.") from error

    def _wait(self, future: Any, how_far: str) -> None:
        """Wait for an answer; without a worker, say after a while what is waited for."""
        alone_since, tell_after_s = time.monotonic(), TOLD_AFTER_S
        while not wait([future], timeout=LOOK_S).done:
            if self._client.ncores():
                alone_since, tell_after_s = time.monotonic(), TOLD_AFTER_S
            elif time.monotonic() - alone_since >= tell_after_s:
                self._say(f"The cluster at {self.address} has no worker left: waiting for one to join; {how_far}.")
                tell_after_s += TOLD_AGAIN_S

    def shutdown(self, wait: bool = True, *, cancel_futures: bool = False) -> None:
        """Let go of the cluster, which goes on running."""
        self._client.close()
        self._config.__exit__(None, None, None)

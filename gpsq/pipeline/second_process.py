"""A second process, for work that can be done while this one does something else.

Why it is worth a module: on a week of rides, loading libraries takes as long as the work, and two processes load side by
side what one would load in turn. Measured with 30 recordings of 1,800 fixes on two quiet cores, a run takes 2.6 s with it
and 3.9 s without. What is done in it:

- it reads the files, which needs little loaded, while this process loads the compiled code that measures;
- it loads what draws (matplotlib, the report) while this process measures;
- it draws the overlays, which need no summaries, while this process sums up;
- it draws the report while this process writes tables, map and layers.

Where much is read, on all cores, copies are made for the overlays and for the search for places (one a core for each), for
the comparison of devices, and for the report: they have the analysis with them, and nothing of what may be a gigabyte
travels. A run that finds everything done before draws nothing and begins nothing here. With threads about (a copy of the
process might hang), on one core, and where processes cannot be copied, all is done in this process, at the moment it is
asked for.
"""

from __future__ import annotations

import multiprocessing
import queue
import signal
import sys
import threading
from concurrent.futures import Executor
from importlib import import_module
from typing import TYPE_CHECKING, Any

from gpsq.pipeline import executors

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable, Iterator, Sequence
    from multiprocessing.connection import Connection

#: What the report needs, and nothing that only tables, map or layers need.
DRAWS = (
    "gpsq.output.charts.all_charts",
    "matplotlib.backends.backend_agg",
    "gpsq.output.report.page",
)
#: What summaries, tables, map and layers need, and nothing that the report alone needs.
WRITES = (
    "scipy.ndimage",
    "scipy.spatial",
    "scipy.special",
    "pyogrio",
    "gpsq.output.map.page",
    "gpsq.output.tables.centrelines_gpx",
    "gpsq.output.tables.layers",
)


class SecondProcess:
    """A copy of this process, begun with the first piece of work where that is cheap and safe; it ends with this one."""

    def __init__(self) -> None:
        self._pipe: Connection | None = None
        self._is_begun = False
        self._begun = 0
        self._answers: list[tuple[bool, Any]] = []

    def begin(self, fn: Callable[..., Any], *arguments: Any) -> Callable[[], Any]:
        """Begin ``fn`` of the arguments, and return what waits for its answer; it begins in the order of these calls."""
        is_first = not self._is_begun and self._start(fn, arguments)
        if self._pipe is None:
            return lambda: fn(*arguments)
        try:
            if not is_first:
                self._pipe.send((fn, arguments))
        except OSError:
            self._pipe = None
        self._begun += 1
        number = self._begun
        return lambda: self._answer(number, fn, arguments)

    @property
    def is_there(self) -> bool:
        """Whether the process has begun."""
        return self._pipe is not None

    def _start(self, *first: Any) -> bool:
        """Begin the process where it can be; it is a copy of this one, and so has its first work already."""
        self._is_begun = sys.platform == "linux" and threading.active_count() == 1 and executors.cores() > 1
        if self._is_begun:
            here, there = multiprocessing.Pipe()
            multiprocessing.get_context("fork").Process(target=_serve, args=(there, here, first), daemon=True).start()
            there.close()
            self._pipe = here
        return self._is_begun

    def _answer(self, number: int, fn: Callable[..., Any], arguments: tuple[Any, ...]) -> Any:
        try:
            while self._pipe is not None and len(self._answers) < number:
                self._answers.append(self._pipe.recv())
        except (EOFError, OSError):  # the system has ended the other process
            self._pipe = None
        done, answer = self._answers[number - 1] if number <= len(self._answers) else (False, None)
        return answer if done else fn(*arguments)


class ReadsWhileLoading(Executor):
    """Reads a few files in the second process while this one does something else, and many files on the cores.

    Parameters
    ----------
    meanwhile : loads what this process will need when the files are read.
    """

    def __init__(self, second: SecondProcess, cores: executors.Local, meanwhile: Callable[[], None]) -> None:
        self.second, self.cores, self.meanwhile = second, cores, meanwhile

    def map(
        self,
        fn: Callable[..., Any],
        *iterables: Iterable[Any],
        timeout: float | None = None,
        chunksize: int = 1,
        buffersize: int | None = None,
    ) -> Iterator[Any]:
        """Yield ``fn`` of each set of arguments, in order."""
        jobs = list(zip(*iterables, strict=True))
        if self.cores.is_much(jobs):
            return self._on_cores(fn, jobs)
        few = self.second.begin(_all, fn, jobs)
        self.second.begin(load_what_draws)
        self.meanwhile()
        return iter(few())

    def _on_cores(self, fn: Callable[..., Any], jobs: Sequence[tuple[Any, ...]]) -> Iterator[Any]:
        """Yield the answers of copies that read alone: the next ones have with them what is loaded meanwhile."""
        answers = self.cores.map(fn, *zip(*jobs, strict=True))
        self.meanwhile()
        for left, answer in zip(reversed(range(len(jobs))), answers, strict=True):
            # elsewhere a new process would have nothing with it, and cost its start
            if not left and sys.platform == "linux":
                self.cores.shutdown()
            yield answer


def _all(fn: Callable[..., Any], jobs: Sequence[tuple[Any, ...]]) -> list[Any]:
    return [fn(*job) for job in jobs]


def load_what_draws() -> None:
    """Load what the report needs."""
    _load(DRAWS, "report.html.j2")


def load_what_writes() -> None:
    """Load what summaries, tables, map and layers need."""
    _load(WRITES, "map.html.j2")


def _load(modules: Sequence[str], template: str) -> None:
    from gpsq.output.templating import loaded

    for name in modules:
        import_module(name)
    loaded(template)


def _serve(pipe: Connection, other_end: Connection, first: tuple[Any, ...]) -> None:
    """Answer until the other process is gone; what fails is done there again, where its error is seen."""
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    other_end.close()
    answers: queue.SimpleQueue[tuple[bool, Any]] = queue.SimpleQueue()
    questions: queue.SimpleQueue[tuple[Any, ...] | None] = queue.SimpleQueue()
    questions.put(first)
    # what is large waits in the pipe until it is taken: neither process waits for the other to finish what it does
    for passes_on, taken in ((_send, answers), (_receive, questions)):
        threading.Thread(target=passes_on, args=(pipe, taken), daemon=True).start()
    while question := questions.get():
        fn, arguments = question
        try:
            answers.put((True, fn(*arguments)))
        except BaseException:
            answers.put((False, None))


def _receive(pipe: Connection, questions: queue.SimpleQueue[tuple[Any, ...] | None]) -> None:
    try:
        while True:
            questions.put(pipe.recv())
    except BaseException:  # the other process is gone, or sent what cannot be read here: it does that itself
        questions.put(None)


def _send(pipe: Connection, answers: queue.SimpleQueue[tuple[bool, Any]]) -> None:
    while True:
        try:
            pipe.send(answers.get())
        except OSError:
            return
        except Exception:  # whatever pickling raises of an answer that cannot be sent: it is found there
            pipe.send((False, None))

"""Jobs for the computing process: they wait in line, tell how far they are, and can be cancelled."""

from __future__ import annotations

import contextlib
import multiprocessing
import queue
import threading
from concurrent.futures import Future
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any

from gpsq.exceptions import GpsqError
from gpsq.web.worker import serve_jobs

if TYPE_CHECKING:
    from multiprocessing.connection import Connection
    from multiprocessing.context import SpawnProcess

#: A cancelled job may end by itself for this long; then its process is ended. It costs what was kept in memory.
PATIENCE_S = 3.0
_ENDED = "The computation was ended from outside, perhaps for want of memory; it can be started again."
_BROKEN = "The computation broke off by a fault of gpsq itself, which the terminal shows; the earlier results stay."


class JobError(GpsqError):
    """A job gave nothing; the text says why in one plain line."""


@dataclass(frozen=True)
class Progress:
    """What is being done, how much of it is done, and how much there is; `what` is "" when nothing is."""

    what: str = ""
    done: int = 0
    of: int = 0


@dataclass(eq=False)
class _Job:
    kind: str
    arguments: tuple[Any, ...]
    result: Future[Any] = field(default_factory=Future)


class Line:
    """One computing process and the jobs that wait for it. Its methods may be called from any thread."""

    def __init__(self) -> None:
        self._context = multiprocessing.get_context("spawn")
        self._number = self._cancelled = 0
        self._cancelling: Connection | None = None
        self._jobs: queue.Queue[_Job | None] = queue.Queue()
        self._waiting: dict[str, _Job] = {}
        self._lock = threading.Lock()
        self._process: SpawnProcess | None = None
        self._open = 0
        self.progress = Progress()
        self._thread = threading.Thread(target=self._work, name="gpsq jobs", daemon=True)
        self._thread.start()

    def put(self, kind: str, *arguments: Any, once: bool = False) -> Future[Any]:
        """Put a job at the end of the line; with `once`, one that waits already stands for it."""
        with self._lock:
            if once and kind in self._waiting:
                return self._waiting[kind].result
            job = _Job(kind, arguments)
            if once:
                self._waiting[kind] = job
            self._open += 1
            self._jobs.put(job)
            return job.result

    @property
    def waiting(self) -> int:
        """How many jobs wait behind the one at work."""
        return max(0, self._open - 1)

    @property
    def busy(self) -> bool:
        """Whether any job is at work or waits."""
        return self._open > 0

    def cancel(self) -> None:
        """Take back the job at work; if it does not end soon, end its process. Jobs that wait go on."""
        with self._lock:
            if not self.progress.what or self._cancelling is None:
                return
            self._cancelled = self._number
            with contextlib.suppress(OSError):  # the process is gone, and the job with it
                self._cancelling.send(self._number)
        waiting = threading.Timer(PATIENCE_S, self._end_if_deaf, [self._number])
        waiting.daemon = True
        waiting.start()

    def close(self) -> None:
        """End the process and take no more jobs."""
        self._jobs.put(None)
        self._end()

    def _end_if_deaf(self, number: int) -> None:
        if self.progress.what and number == self._number:
            self._end()

    def _end(self) -> None:
        if self._process is not None and self._process.is_alive():
            self._process.kill()

    def _work(self) -> None:
        pipe: Connection | None = None
        while (job := self._jobs.get()) is not None:
            with self._lock:
                if self._waiting.get(job.kind) is job:
                    del self._waiting[job.kind]
            if pipe is None or self._process is None or not self._process.is_alive():
                pipe = self._started()
            self._do(job, pipe)

    def _started(self) -> Connection:
        ours, theirs = self._context.Pipe()
        heard, self._cancelling = self._context.Pipe(duplex=False)
        process = self._context.Process(target=serve_jobs, args=(theirs, heard), daemon=True)
        process.start()
        theirs.close()
        heard.close()
        self._process = process
        return ours

    def _do(self, job: _Job, pipe: Connection) -> None:
        with self._lock:
            self._number += 1
            self.progress = Progress(_WORDS[job.kind])
        try:
            pipe.send((self._number, job.kind, job.arguments))
            answer, problem = self._heard(pipe)
        except (EOFError, OSError):
            answer, problem = None, self._why_lost()
        self.progress = Progress()
        with contextlib.suppress(RuntimeError):  # nobody waits any more when the server stops
            if problem:
                job.result.set_exception(JobError(problem))
            else:
                job.result.set_result(answer)
        with self._lock:
            self._open -= 1

    def _why_lost(self) -> str:
        """Return why the process is gone without an answer."""
        self._end()
        if self._process is not None:
            self._process.join(PATIENCE_S)
        if self._cancelled == self._number:
            return "Cancelled; the earlier results stay."
        return _ENDED if self._process is None or (self._process.exitcode or -1) < 0 else _BROKEN

    def _heard(self, pipe: Connection) -> tuple[Any, str]:
        while True:
            kind, *told = pipe.recv()
            if kind == "done":
                return told[0], told[1]
            self.progress = Progress(*told)


_WORDS = {
    "wake": "getting ready",
    "read": "looking into the files",
    "analyse": "reading",
    "write": "writing report and tables",
    "publish": "cutting what is private",
    "preview": "looking what is private",
}

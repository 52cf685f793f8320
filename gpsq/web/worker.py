"""The process that computes, beside the one that serves: jobs come through a pipe, progress and answers go back."""

from __future__ import annotations

import os
import signal
import tempfile
from functools import cache
from pathlib import Path
from typing import TYPE_CHECKING, Any

from gpsq.exceptions import GpsqError

if TYPE_CHECKING:
    from collections.abc import Callable
    from multiprocessing.connection import Connection

    from gpsq.results import Analysis


class CancelledError(GpsqError):
    """The person took the job back."""


def serve_jobs(pipe: Connection, cancelling: Connection) -> None:
    """Do jobs until the other end of the pipe is gone; the number of a job that is taken back comes by the second."""
    signal.signal(signal.SIGINT, signal.SIG_IGN)  # the server is told, and ends this process
    worker = _Worker(pipe, cancelling)
    try:
        while True:
            worker.number, kind, arguments = pipe.recv()
            pipe.send(("done", *worker.answer(kind, arguments)))
    except (EOFError, BrokenPipeError, ConnectionResetError):
        return


@cache
def wake() -> None:
    """Load what is heavy and compile what is compiled, while the person still looks for the files.

    All of the demo is analysed, which has something of each kind of figure in it; once in a process.
    """
    from gpsq.output.map.page import map_page
    from gpsq.pipeline import executors
    from gpsq.pipeline.analysis import analyse
    from gpsq.simulate.shipped_demo import put

    with tempfile.TemporaryDirectory() as aside:
        put(Path(aside))
        map_page(analyse(Path(aside), executor=executors.Local(processes=1)))


class _Worker:
    """Keeps the latest analysis; files and routes that did not change come from the user's cache."""

    def __init__(self, pipe: Connection, cancelling: Connection) -> None:

        self.pipe, self.cancelling = pipe, cancelling
        self.number = 0
        self.analysis: Analysis | None = None

    def answer(self, kind: str, arguments: tuple[Any, ...]) -> tuple[Any, str]:
        """Return what a job gave, and "" or one plain line on why it gave nothing."""
        jobs: dict[str, Callable[..., Any]] = {
            "wake": wake, "read": self._read, "analyse": self._analyse, "write": self._write,
            "publish": self._publish, "preview": self._preview,
        }  # fmt: skip
        try:
            return jobs[kind](*arguments), ""
        except GpsqError as error:
            return None, str(error)
        except OSError as error:
            return None, f"{error.filename or 'A file'}: {error.strerror or error}"
        except MemoryError:
            return None, "These recordings need more memory than this computer has free."

    def _tell(self, what: str, done: int, of: int) -> None:
        while self.cancelling.poll():
            if self.cancelling.recv() == self.number:
                raise CancelledError("Cancelled; the earlier results stay.")
        self.pipe.send(("progress", what, done, of))

    def _read(self, folder: str, name: str) -> list[dict[str, Any]]:
        from gpsq.campaign import campaign_file
        from gpsq.pipeline.check import inspect_paths

        os.chdir(folder)  # so that every line names the file by its path below the campaign
        told = campaign_file.load(Path(folder))
        return inspect_paths([Path(name)], told.settings, time_zone=told.time_zone)

    def _analyse(self, folder: str) -> tuple[Analysis, str]:
        from gpsq.output.map.page import map_page
        from gpsq.pipeline import cache, executors
        from gpsq.pipeline.analysis import analyse

        # no further processes: whoever ends this one, by a cancel or a kill, would leave them behind
        alone = executors.Local(processes=1)
        with cache.opened(Path(folder)) as store:
            self.analysis = analyse(Path(folder), executor=alone, cache=store, on_progress=self._tell)
        self._tell("drawing the map", 0, 1)
        return self.analysis, map_page(self.analysis)

    def _write(self, folder: str, out: str) -> None:
        from gpsq.output.results_folder import write_results

        found = self._found(folder)
        self._tell("writing report and tables", 0, 1)
        write_results(found, Path(out))

    def _publish(self, folder: str, out: str) -> list[str]:
        from gpsq.pipeline.publish import publish

        found = self._found(folder)
        self._tell("cutting what is private", 0, 1)
        return list(publish(found, Path(folder), Path(out)))

    def _preview(self, folder: str) -> list[str]:
        from gpsq.pipeline.publish import preview

        found = self._found(folder)
        self._tell("looking what is private", 0, 1)
        return list(preview(found, Path(folder)))

    def _found(self, folder: str) -> Analysis:
        """Return the latest analysis; a process that was started anew makes it again."""
        return self.analysis or self._analyse(folder)[0]

"""One more process, for work that can be done while this one does something else."""

from __future__ import annotations

import multiprocessing
import os
import signal
import sys
import threading
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from collections.abc import Callable
    from multiprocessing.connection import Connection


class Aside:
    """A process beside this one, begun at once where that is cheap and safe; elsewhere all is done here, when asked.

    Cheap and safe is a copy of this process while it has no threads, on a machine with more than one core. It ends with
    this one.
    """

    def __init__(self) -> None:
        self._pipe: Connection | None = None
        if sys.platform == "linux" and threading.active_count() == 1 and len(os.sched_getaffinity(0)) > 1:
            here, there = multiprocessing.Pipe()
            multiprocessing.get_context("fork").Process(target=_serve, args=(there, here), daemon=True).start()
            there.close()
            self._pipe = here

    def begin(self, fn: Callable[..., Any], *arguments: Any) -> Callable[[], Any]:
        """Begin ``fn`` of the arguments, and return what waits for its answer; answers come in the order of begins."""
        try:
            if self._pipe is None:
                return lambda: fn(*arguments)
            self._pipe.send((fn, arguments))
        except OSError:
            self._pipe = None
        return lambda: self._answer(fn, arguments)

    def _answer(self, fn: Callable[..., Any], arguments: tuple[Any, ...]) -> Any:
        try:
            if self._pipe is not None:
                done, answer = self._pipe.recv()
                if done:
                    return answer
        except (EOFError, OSError):  # the system has ended the other process
            self._pipe = None
        return fn(*arguments)


def _serve(pipe: Connection, other_end: Connection) -> None:
    """Answer until the other process is gone; what fails is done there again, where its error is seen."""
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    other_end.close()
    while True:
        try:
            fn, arguments = pipe.recv()
        except (EOFError, OSError):
            return
        try:
            answer = True, fn(*arguments)
        except BaseException:
            answer = False, None
        pipe.send(answer)

"""One more process, for work that can be done while this one does something else."""

from __future__ import annotations

import multiprocessing
import os
import queue
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
        self._begun = 0
        self._answers: list[tuple[bool, Any]] = []
        if sys.platform == "linux" and threading.active_count() == 1 and len(os.sched_getaffinity(0)) > 1:
            here, there = multiprocessing.Pipe()
            multiprocessing.get_context("fork").Process(target=_serve, args=(there, here), daemon=True).start()
            there.close()
            self._pipe = here

    def begin(self, fn: Callable[..., Any], *arguments: Any) -> Callable[[], Any]:
        """Begin ``fn`` of the arguments, and return what waits for its answer; it begins in the order of these calls."""
        try:
            if self._pipe is None:
                return lambda: fn(*arguments)
            self._pipe.send((fn, arguments))
        except OSError:
            self._pipe = None
        self._begun += 1
        number = self._begun
        return lambda: self._answer(number, fn, arguments)

    def has_answered(self) -> bool:
        """Whether the answer to what was begun next is there, or must be found here."""
        return self._pipe is None or self._pipe.poll()

    def _answer(self, number: int, fn: Callable[..., Any], arguments: tuple[Any, ...]) -> Any:
        try:
            while self._pipe is not None and len(self._answers) < number:
                self._answers.append(self._pipe.recv())
        except (EOFError, OSError):  # the system has ended the other process
            self._pipe = None
        done, answer = self._answers[number - 1] if number <= len(self._answers) else (False, None)
        return answer if done else fn(*arguments)


def _serve(pipe: Connection, other_end: Connection) -> None:
    """Answer until the other process is gone; what fails is done there again, where its error is seen."""
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    other_end.close()
    answers: queue.SimpleQueue[tuple[bool, Any]] = queue.SimpleQueue()
    # a large answer waits in the pipe until the other process takes it, and the next piece of work need not wait for that
    threading.Thread(target=_send, args=(pipe, answers), daemon=True).start()
    while True:
        try:
            fn, arguments = pipe.recv()
        except (EOFError, OSError):
            return
        try:
            answers.put((True, fn(*arguments)))
        except BaseException:
            answers.put((False, None))


def _send(pipe: Connection, answers: queue.SimpleQueue[tuple[bool, Any]]) -> None:
    while True:
        try:
            pipe.send(answers.get())
        except OSError:
            return
        except Exception:  # whatever pickling raises of an answer that cannot be sent: it is found there
            pipe.send((False, None))

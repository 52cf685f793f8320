"""Processes that are copies of one that has the libraries loaded and the kernels awake.

For tests that need a process for what it does. How gpsq itself starts its processes is tested where that is the question:
by `begun` in `visiting`, by `test_kill.py` and by the first of `test_jobs.py`.
"""

from __future__ import annotations

import multiprocessing
import os
from types import SimpleNamespace
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Callable
    from pathlib import Path

CONTEXT = multiprocessing.get_context("forkserver" if os.name == "posix" else "spawn")
if os.name == "posix":
    CONTEXT.set_forkserver_preload(["copied"])


def serve(folder: Path, port: int, say: Callable[[str], None]) -> None:
    """Serve the page in this process, whose computing processes are copies too, until it is ended."""
    from gpsq.web import jobs
    from gpsq.web import serve as page

    jobs.multiprocessing = SimpleNamespace(get_context=lambda _: CONTEXT)  # type: ignore[attr-defined]
    page.serve(folder, port, open_browser=False, say=say)

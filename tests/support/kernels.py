"""The numerical kernels, compiled by the processes that share the tests out, each of which takes what no other has taken.

A fresh clone has none of them, and each process would compile them all for itself at the first test that needs one.
"""

from __future__ import annotations

import time
from typing import TYPE_CHECKING

import numpy as np

from gpsq.centreline import consensus_line
from gpsq.centreline.strands import strand
from gpsq.geometry import curve_distances
from gpsq.settings import Settings
from gpsq.summaries.devices.others import less_the_middle_in_turn, sizes_from_others

if TYPE_CHECKING:
    from collections.abc import Callable
    from pathlib import Path

    from gpsq.model import FloatArray

#: No kernel takes so long; a process that was ended while it compiled leaves its part to whoever calls it.
PATIENCE_S = 60.0


def _there(count: int = 80) -> FloatArray:
    return np.column_stack([np.linspace(0.0, 400.0, count), np.zeros(count)])


def _lines() -> None:
    strands = [
        strand(_there(n) + off, [(0, n)], ride, np.ones(n, bool), Settings(), device=ride, age_s=np.arange(float(n)))
        for off, n, ride in ((0.0, 80, "a"), (2.0, 80, "b"), (4.0, 8, "c"))  # the last one's fixes lie far apart
    ]
    consensus_line.make(strands, Settings())


def _continuous() -> None:
    curve_distances.frechet_m(
        _there(), _there()[np.r_[:50, 40:80]]
    )  # one goes back a little: no bound tells it at once


def _discrete() -> None:
    curve_distances.discrete_frechet_m(_there(), _there() + 1.0)


def _others() -> None:
    number = np.arange(3)
    sizes_from_others(np.zeros((1, 3)), number, number, np.ones(3))
    list(less_the_middle_in_turn(np.zeros((3, 1)), np.ones((1, 3), dtype=bool)))


#: What takes longest first.
PARTS: tuple[Callable[[], None], ...] = (_lines, _continuous, _discrete, _others)


def compile_together(folder: Path) -> None:
    """Compile each part that no other process has taken; then wait for the others, whose parts are read from the disk."""
    for part in PARTS:
        try:
            (folder / f"{part.__name__}.taken").touch(exist_ok=False)
        except FileExistsError:
            continue
        part()
        (folder / f"{part.__name__}.done").touch()
    until = time.monotonic() + PATIENCE_S
    while time.monotonic() < until and not all((folder / f"{part.__name__}.done").exists() for part in PARTS):
        time.sleep(0.05)

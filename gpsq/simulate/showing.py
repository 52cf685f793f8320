"""How a recording shows, or does not show, when it was started."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from gpsq.model import FloatArray, IntArray
    from gpsq.simulate.plan import Session
    from gpsq.simulate.receiver import Listening

#: A jump faster than this is one that no rider can make; slower ones leave a doubt about frozen points.
CLEAR_JUMP_MPS = 100.0
#: So many equal steps in a straight line, each so many units of the last decimal long, and so many times the longest
#: such run of the fixes themselves, are no ride.
CLEAR_RUN, CLEAR_STEP_UNITS, CLEAR_RUN_FACTOR = 6, 5.0, 3
#: Metres of latitude in a degree, near enough to compare steps with decimals.
DEGREE_M = 111_000.0
#: A file time may lie this long before the first fix (30 min) and still be its start.
FILE_TIME_BOUND_S = 1800


@dataclass(frozen=True, eq=False)
class Prelude:
    """What a recording holds beside its fixes.

    `second` (m,) and `xy_m` (m, 2) of points written before the first fix (nan: written as 0,0); `declared` they are
    marked as no fix. `file_second` is metadata time in seconds of the ride (None: absent). `evidence` says whether
    the start can be known from the recording and the log: "yes", "no", or "doubtful" where a careful reader may go
    either way.
    """

    second: IntArray
    xy_m: FloatArray
    declared: bool
    file_second: int | None
    evidence: str


def show_start(rng: np.random.Generator, session: Session, heard: Listening, memory_xy: FloatArray) -> Prelude:
    """Return what a device writes before its first fix; `memory_xy` (2,) is the last position it remembers."""
    how = session.device.shows_start
    until = heard.off_s if heard.fix_s is None else heard.fix_s
    waiting = np.arange(heard.on_s, until, session.device.interval_s)
    nothing, nowhere = np.empty(0, dtype=np.int64), np.empty((0, 2))
    if how == "log":
        return Prelude(nothing, nowhere, False, None, "yes" if session.logged else "no")
    if how in ("no-fix points", "zero points", "frozen points"):
        place = np.array([np.nan, np.nan]) if how == "zero points" else memory_xy
        evidence = _frozen_evidence(waiting, heard, memory_xy) if how == "frozen points" else "yes"
        return Prelude(waiting, np.tile(place, (len(waiting), 1)), how == "no-fix points", None, evidence)
    if how == "back-fill" and heard.fix_s is not None:
        return _back_fill(heard, heard.fix_s, memory_xy, session.device.decimals)
    file_second = _file_second(rng, how, heard)
    shown = how == "file time" and heard.fix_s is not None and heard.fix_s - heard.on_s <= FILE_TIME_BOUND_S
    return Prelude(nothing, nowhere, False, file_second, "yes" if shown else "no")


def _frozen_evidence(waiting: IntArray, heard: Listening, memory_xy: FloatArray) -> str:
    if heard.fix_s is None or len(waiting) < 3:
        return "doubtful"
    jump_m = float(np.hypot(*(heard.fixes.xy_m[0] - memory_xy)))
    return "yes" if jump_m / (heard.fix_s - waiting[-1]) > CLEAR_JUMP_MPS else "doubtful"


def _back_fill(heard: Listening, fix_s: int, start_xy: FloatArray, decimals: int) -> Prelude:
    """Fill the wait second by second with even steps from the start to the first fix."""
    second = np.arange(heard.on_s, fix_s)
    step_xy = (heard.fixes.xy_m[0] - start_xy) / (fix_s - heard.on_s)
    unit_m = DEGREE_M * 10.0**-decimals
    long_enough = len(second) >= CLEAR_RUN and float(np.abs(step_xy).max()) > CLEAR_STEP_UNITS * unit_m
    clear = long_enough and len(second) > CLEAR_RUN_FACTOR * _longest_even_run(heard.fixes.xy_m, unit_m)
    xy = start_xy + (second - heard.on_s)[:, None] * step_xy
    return Prelude(second, xy, False, None, "yes" if clear else "doubtful")


def _longest_even_run(xy_m: FloatArray, unit_m: float) -> int:
    """Return the most fixes in a row that lie on one line in even steps, as far as their decimals can tell."""
    bent = np.abs(np.diff(xy_m, n=2, axis=0)).max(axis=1) > 2.5 * unit_m
    breaks = np.flatnonzero(np.concatenate([[True], bent, [True]]))
    return int(np.diff(breaks).max()) + 1


def _file_second(rng: np.random.Generator, how: str, heard: Listening) -> int | None:
    if how == "file time":
        return heard.on_s
    if how == "file time at fix":
        return heard.fix_s
    if how == "file time later":
        return heard.off_s + int(rng.integers(0, 30_000))
    return None

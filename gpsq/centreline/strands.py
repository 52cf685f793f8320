"""A trace on its way into a consensus: at equal steps, with what says how much it counts; which stations it passes by."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from gpsq.arrays import freeze, norms
from gpsq.geometry import polyline
from gpsq.geometry._compiled import compiled, read_only

if TYPE_CHECKING:
    from gpsq.geometry.alignment import Abreast
    from gpsq.model import BoolArray, FloatArray, IntArray
    from gpsq.settings import Settings

#: A trace whose median leg is longer than this many steps is sampled slowly: its chords cut corners.
SLOW_STEPS = 2.0


@dataclass(frozen=True, eq=False)
class Strand:
    """A trace on its way into a consensus.

    `steps` its k places at equal steps, `counts` (k,) which of them may count for the line, `ride` and `device` whose
    they are. `fixes_m` (n, 2) its fixes and `age_s` (n,) seconds since the first of them, inf where that says nothing.
    `slow` : its fixes lie so far apart that a chord between two of them is no place where it ran.
    """

    steps: polyline.Steps
    ride: str
    device: str
    counts: BoolArray
    fixes_m: FloatArray
    age_s: FloatArray
    slow: bool

    def __post_init__(self) -> None:
        freeze(self)


def strand(
    xy_m: FloatArray,
    runs: list[tuple[int, int]],
    ride: str,
    counts: BoolArray,
    settings: Settings,
    *,
    device: str = "",
    age_s: FloatArray | None = None,
) -> Strand:
    """Return a trace ready for a consensus.

    Parameters
    ----------
    xy_m : (n, 2) its fixes. runs : its unbroken runs. ride, device : the trip it belongs to, and what recorded it.
    counts : (n,) which fixes may count for the line (flagged stretches may not).
    age_s : (n,) seconds since the first fix; without them all fixes are taken for settled.
    """
    steps = polyline.equal_steps(xy_m, runs, settings.step_m)
    low = np.floor(steps.vertex).astype(int)
    high = np.ceil(steps.vertex).astype(int)
    age = np.full(len(xy_m), np.inf) if age_s is None else age_s
    slow = _median_leg_m(xy_m) > SLOW_STEPS * settings.step_m
    return Strand(steps, ride, device, counts[low] & counts[high], xy_m.copy(), age.copy(), slow)


def _median_leg_m(xy_m: FloatArray) -> float:
    """Return the median distance between neighbouring fixes, standing still left out.

    The median alone tells of slow sampling: a single long leg of a dense trace leads to a spike or across a silence.
    """
    legs = norms(np.diff(xy_m, axis=0))
    moving = legs[legs > 0]
    return float(np.median(moving)) if len(moving) else 0.0


def passed_by(strand: Strand, place: Abreast) -> BoolArray:
    """Return (m,) which stations a trace passes by without a break: it is abreast before and after, not there.

    A way of which some may not count (flagged by the person) passes nothing by.
    """
    at, vertex = read_only(place.vertex, np.float64), read_only(strand.steps.vertex, np.float64)
    piece, counts = read_only(strand.steps.piece, np.int64), read_only(strand.counts, np.bool_)
    by: BoolArray = _passed_by(at, vertex, piece, counts)
    return by


@compiled
def _passed_by(
    at: FloatArray, vertex: FloatArray, piece: IntArray, counts: BoolArray
) -> BoolArray:  # pragma: no cover - compiled
    """Return the same from (m,) the vertices abreast of the stations, and the (k,) steps of the trace."""
    by, before = np.zeros(len(at), dtype=np.bool_), -1
    for j in range(len(at)):
        if np.isnan(at[j]):
            continue
        if 0 <= before < j - 1:
            first, last = np.searchsorted(vertex, at[before]), min(np.searchsorted(vertex, at[j]), len(vertex) - 1)
            by[before + 1 : j] = piece[first] == piece[last] and counts[first:last].all()
        before = j
    return by

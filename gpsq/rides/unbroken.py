"""Unbroken runs of fixes: where a recording is interrupted, nothing is known of the way."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from gpsq.arrays import is_silence, norms
from gpsq.geometry import polyline
from gpsq.rides.places import places_m

if TYPE_CHECKING:
    from gpsq.model import IntArray, Trace


def runs_of(trace: Trace, gap_s: float) -> list[tuple[int, int]]:
    """Return (first, last + 1) of the unbroken runs of fixes: broken where `breaks_after` says so."""
    return polyline.pieces(breaks_after(trace, gap_s), trace.accepted)


def breaks_after(trace: Trace, gap_s: float) -> IntArray:
    """Return the numbers of the fixes after which nothing is known of the way.

    That is so for a silence over `gap_s`, where a new segment begins, and where the next fix lies far beyond any usual leg.
    """
    legs_m = norms(np.diff(places_m(trace), axis=0))
    return np.flatnonzero(
        is_silence(trace.time, gap_s) | (np.diff(trace.segment) != 0) | polyline.far_legs(legs_m)
    ).astype(np.int64)

"""Unbroken runs of fixes: where a recording is interrupted, nothing is known of the way."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from gpsq.arrays import is_silence
from gpsq.geometry import polyline

if TYPE_CHECKING:
    from gpsq.model import IntArray, Trace


def runs_of(trace: Trace, gap_s: float) -> list[tuple[int, int]]:
    """Return (first, last + 1) of the unbroken runs of fixes: broken at segments and at silences."""
    return polyline.pieces(breaks_after(trace, gap_s), trace.accepted)


def breaks_after(trace: Trace, gap_s: float) -> IntArray:
    """Return the numbers of the fixes after which there is a silence (`gpsq.arrays.is_silence`) or a new segment."""
    return np.flatnonzero(is_silence(trace.time, gap_s) | (np.diff(trace.segment) != 0)).astype(np.int64)

"""Stretches of a recording, from the point of one number in its file to that of another."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from gpsq.model import BoolArray, Trace


def ridden_between(trace: Trace, from_point: int, to_point: int) -> BoolArray:
    """Return (n,) which fixes were ridden from the point of one number to that of another, both included.

    The numbers are the file's own. They do not rise where the file is written backwards or out of order: then the fixes
    lie between the places of the two, or of the nearest numbers that were accepted.
    """
    if (np.diff(trace.point) >= 0).all():
        return np.asarray((trace.point >= from_point) & (trace.point <= to_point))
    places = [int(np.abs(trace.point - number).argmin()) for number in (from_point, to_point)]
    inside = np.zeros(trace.accepted, dtype=np.bool_)
    inside[min(places) : max(places) + 1] = True
    return inside

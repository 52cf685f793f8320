"""Courses made by hand beside a straight line along the x axis, so that every offset is known exactly."""

from __future__ import annotations

import numpy as np
from trace_maker import trace_on

from gpsq.geometry.alignment import Abreast
from gpsq.measures.usual_spread import Course

STEP_M, COUNT = 5.0, 401
ALONG_M = STEP_M * np.arange(COUNT)
LOW, HIGH = 150, 250


def plateau(height_m, low=LOW, high=HIGH):
    """Return (401,) an offset that rises over 50 m to a height and falls back, from one station to another."""
    at = np.arange(COUNT)
    return height_m * np.clip(np.minimum(at - low, high - at) / 10.0, 0.0, 1.0)


def course(offset_m, number=0, covered=None, **changes):
    """Return a course with that offset from the line, a fix a station and second; not `covered` stations are unknown."""
    offset_m = np.array(offset_m, float)
    xy_m = np.column_stack([ALONG_M, offset_m])
    trace = trace_on(xy_m, **({"device": f"d{number}"} | changes))
    known = np.ones(COUNT, bool) if covered is None else covered
    place = Abreast(np.where(known[:, None], xy_m, np.nan), np.where(known, np.arange(COUNT), np.nan), known)
    return Course(number, trace, xy_m, place, ALONG_M, np.where(known, offset_m, np.nan))

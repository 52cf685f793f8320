"""Rides along a straight road of 3 km, as they were recorded, without noise: what is cut out of them is seen at once."""

from __future__ import annotations

from functools import cache
from typing import TYPE_CHECKING

import numpy as np
from trace_maker import HARBOUR, trace_on

from gpsq.pipeline.stages import analyse_traces
from gpsq.privacy import Zone
from gpsq.settings import Settings

if TYPE_CHECKING:
    from gpsq.model import FloatArray, Trace
    from gpsq.results import Analysis

SETTINGS = Settings().with_values(step_m=10.0, resamples=100)
#: Where the rides along the road begin and end, in metres; the road has 3 km.
REACHES = ((0.0, 3000.0), (0.0, 3000.0), (400.0, 3000.0), (0.0, 2500.0))


def ride(first_m: float, last_m: float, day: int) -> Trace:
    """Return a ride east with a fix each 10 m and 2 s, some decimetres to the left."""
    x = np.arange(first_m, last_m + 1.0, 10.0)
    return trace_on(np.column_stack([x, np.full(len(x), 0.2 * day)]), day=day, interval_s=2.0)


@cache
def analysed() -> Analysis:
    return analyse_traces([ride(*reach, day) for day, reach in enumerate(REACHES)], SETTINGS)


def zone(x_m: float, radius_m: float) -> Zone:
    lon, lat = HARBOUR.to_degrees(np.array([[x_m, 0.0]]))
    return Zone(float(lat[0]), float(lon[0]), radius_m)


def x_m(trace: Trace) -> FloatArray:
    return HARBOUR.to_metres(trace.lon_deg, trace.lat_deg)[:, 0]


ENDS = (zone(0.0, 470.0), zone(3000.0, 570.0))

"""Where the fixes of a recording lie on the earth."""

from __future__ import annotations

from functools import lru_cache
from typing import TYPE_CHECKING

from gpsq.plane import to_earth_centred

if TYPE_CHECKING:
    from gpsq.model import FloatArray, Trace


@lru_cache(maxsize=4)
def places_m(trace: Trace) -> FloatArray:
    """Return the (n, 3) earth-centred places of a trace in metres, which nobody may write to.

    A recording is looked at from several sides, one after another: those of the last few are kept.
    """
    xyz_m = to_earth_centred(trace.lon_deg, trace.lat_deg)
    xyz_m.setflags(write=False)
    return xyz_m

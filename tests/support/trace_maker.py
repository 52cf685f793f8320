"""Traces made by hand for the tests: invented, each with a known answer."""

from __future__ import annotations

import hashlib
from typing import Any

import numpy as np

from gpsq.model import FloatArray, Trace
from gpsq.plane import Plane

#: Open sea, so that nobody's street is shown.
HARBOUR = Plane(-28.0, 40.0)
MONDAY = np.datetime64("2025-06-02T07:00:00", "ms")


def trace_on(
    xy_m: FloatArray,
    *,
    device: str = "a",
    day: int = 0,
    start_s: float = 0.0,
    interval_s: float = 1.0,
    plane: Plane = HARBOUR,
    **changes: Any,
) -> Trace:
    """Return a trace through (n, 2) places in metres of a plane, one each `interval_s`, on the day after Monday."""
    xy_m = np.asarray(xy_m, float)
    count = len(xy_m)
    lon, lat = plane.to_degrees(xy_m)
    seconds = start_s + interval_s * np.arange(count)
    time = MONDAY + np.timedelta64(day, "D") + (seconds * 1000).astype("timedelta64[ms]")
    text = f"{device} {day} {start_s} {np.round(xy_m, 3).tobytes().hex()}"
    values: dict[str, Any] = {
        "file": f"{device}/day{day}.gpx",
        "track": 1,
        "name": "",
        "device": device,
        "creator": "",
        "sha256": hashlib.sha256(text.encode()).hexdigest(),
        "time": time,
        "lon_deg": lon,
        "lat_deg": lat,
        "segment": np.zeros(count, dtype=np.int64),
        "point": np.arange(count),
        "points": count,
        "first_record": time[0] if count else np.datetime64("NaT", "ms"),
        "last_record": time[-1] if count else np.datetime64("NaT", "ms"),
    }
    values |= {name: np.full(count, np.nan) for name in ("ele_m", "hdop", "sat", "speed_mps")}
    return Trace(**(values | changes))


def road(length_m: float = 2000.0, step_m: float = 5.0) -> FloatArray:
    """Return a bent road of (n, 2) places: it runs east, turns, and comes nowhere near itself."""
    s = np.arange(0.0, length_m + step_m / 2, step_m)
    heading = 0.6 * np.sin(s / 300.0)
    return np.column_stack([np.cumsum(np.cos(heading)), np.cumsum(np.sin(heading))]) * step_m


def shifted_left(xy_m: FloatArray, offset_m: FloatArray | float) -> FloatArray:
    """Return the places moved to the left of travel."""
    from gpsq.geometry.polyline import left_normals

    return xy_m + left_normals(xy_m) * np.broadcast_to(np.asarray(offset_m, float), len(xy_m))[:, None]


def smooth_noise(rng: np.random.Generator, count: int, sd_m: float, memory: float = 0.97) -> FloatArray:
    """Return (count,) autocorrelated noise (a Gauss–Markov process) of the given standard deviation."""
    values = np.empty(count)
    values[0] = rng.normal(0.0, sd_m)
    kicks = rng.normal(0.0, sd_m * np.sqrt(1 - memory**2), count)
    for k in range(1, count):
        values[k] = memory * values[k - 1] + kicks[k]
    return values

"""What a receiver on a ride records: its fixes with their errors, and what it writes before it has any."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from gpsq.simulate.noise import correlated_errors, fault_shape, settling
from gpsq.simulate.road import left_normals

if TYPE_CHECKING:
    from gpsq.model import BoolArray, FloatArray, IntArray
    from gpsq.simulate.plan import Fault, Session, Town
    from gpsq.simulate.ride import Motion
    from gpsq.simulate.spec import CampaignSpec

#: Extra error of a new fix, in units of the device's `first_fix_error_m`: a hot start is nearly settled.
SETTLING_SHARE = {"hot": 0.25, "warm": 1.0, "cold": 1.6}
STEADY_HDOP, STEADY_SATELLITES = 0.9, 12


@dataclass(frozen=True, eq=False)
class Fixes:
    """Fixes as written: `second` (n,) of the ride, `xy_m` (n, 2), `segment`, `hdop`, `sat` and `ele_m` (n,)."""

    second: IntArray
    xy_m: FloatArray
    segment: IntArray
    hdop: FloatArray
    sat: IntArray
    ele_m: FloatArray


@dataclass(frozen=True, eq=False)
class Listening:
    """One device on one ride: the seconds when it was switched on, first fixed (None: never) and switched off."""

    on_s: int
    fix_s: int | None
    off_s: int
    sigma_m: float
    fixes: Fixes


def listen(
    rng: np.random.Generator,
    spec: CampaignSpec,
    town: Town,
    direction: str,
    session: Session,
    motion: Motion,
    shared_m: FloatArray,
) -> Listening:
    """Return what a device hears and writes on a ride; `shared_m` (t, 2) is the error common to all its devices."""
    device = session.device
    on_s = _second_at(motion, session.late_m) if session.late_m > 0 else session.press_s
    off_s = len(motion.xy_m) - 1 - int(rng.integers(0, 5))
    sigma_m = device.sigma_m * float(np.exp(device.ride_spread * rng.standard_normal()))
    worse = canyon_factor(town.canyons[direction], motion.station_m, spec.canyon_factor)
    error = worse[:, None] * correlated_errors(rng, len(motion.xy_m), sigma_m, device.correlation) + shared_m
    aside = _left_of_travel(motion)
    error += (spec.common_bias_m + _fault_m(session.fault, motion))[:, None] * aside
    fix_s = None if session.ttff_s is None else on_s + session.ttff_s
    if fix_s is not None:
        fix_s = _after_tunnel(fix_s, motion, town.tunnels.get(direction))
        since = np.arange(len(error), dtype=np.float64) - fix_s
        error += settling(rng, since, device.first_fix_error_m * SETTLING_SHARE[session.state])
    if fix_s is None or fix_s > off_s - 20:
        return Listening(on_s, None, off_s, sigma_m, _no_fixes())
    fixes = _written(rng, session, motion, error, worse, np.arange(fix_s, off_s + 1), town.tunnels.get(direction))
    return Listening(on_s, fix_s, off_s, sigma_m, fixes)


def canyon_factor(canyons: tuple[tuple[float, float], ...], station_m: FloatArray, factor: float) -> FloatArray:
    """Return (n,) by how much errors grow at stations (n,): 1 in the open, `factor` in a canyon, 60 m of transition."""
    inside = np.zeros_like(station_m)
    for start, end in canyons:
        depth = np.minimum(station_m - start, end - station_m)
        inside = np.maximum(inside, np.clip(depth / 60.0 + 0.5, 0.0, 1.0))
    return np.asarray(1.0 + (factor - 1.0) * inside)


def _second_at(motion: Motion, station_m: float) -> int:
    return int(np.searchsorted(motion.station_m, station_m))


def _left_of_travel(motion: Motion) -> FloatArray:
    normals = left_normals(motion.way.line_m)
    along = np.linspace(0.0, motion.along_m[-1], len(normals))
    return np.column_stack([np.interp(motion.along_m, along, normals[:, k]) for k in (0, 1)])


def _fault_m(fault: Fault | None, motion: Motion) -> FloatArray:
    if fault is None:
        return np.zeros(len(motion.xy_m))
    return fault.peak_m * fault_shape(fault.kind, fault_seconds(fault, motion), fault.seconds)


def fault_seconds(fault: Fault, motion: Motion) -> FloatArray:
    """Return (t,) seconds since the fault began; it begins with the rider in motion."""
    return np.arange(len(motion.xy_m), dtype=float) - _second_at(motion, fault.from_m)


def _in_tunnel(motion: Motion, tunnel: tuple[float, float] | None) -> BoolArray:
    low, high = tunnel or (1.0, 0.0)
    return np.asarray((motion.station_m >= low) & (motion.station_m <= high))


def _after_tunnel(fix_s: int, motion: Motion, tunnel: tuple[float, float] | None) -> int:
    hidden = _in_tunnel(motion, tunnel)
    while fix_s < len(hidden) and hidden[fix_s]:
        fix_s += 1
    return fix_s


def _no_fixes() -> Fixes:
    none, count = np.empty(0), np.empty(0, dtype=np.int64)
    return Fixes(count, np.empty((0, 2)), count, none, count, none)


def _written(
    rng: np.random.Generator,
    session: Session,
    motion: Motion,
    error: FloatArray,
    worse: FloatArray,
    seconds: IntArray,
    tunnel: tuple[float, float] | None,
) -> Fixes:
    device, xy = session.device, motion.xy_m + error
    heard = seconds[~_in_tunnel(motion, tunnel)[seconds]]
    block = (np.diff(heard, prepend=heard[0]) > 1).astype(np.int64).cumsum()
    steady = device.style == "steady"
    keep = _steady(heard, block, device.interval_s) if steady else _smart(heard, xy, device.interval_s)
    chosen = heard[keep]
    trouble = 4.0 * (np.abs(_fault_m(session.fault, motion)[chosen]) > 10.0)
    hdop = STEADY_HDOP * worse[chosen] + trouble + 2.0 * np.exp(-(chosen - chosen[0]) / 10.0)
    hdop = np.round(hdop * np.exp(0.08 * rng.standard_normal(len(chosen))), 1)
    sat = np.clip(np.round(STEADY_SATELLITES - 3.0 * (hdop - STEADY_HDOP)), 4, 14).astype(np.int64)
    ele = 40.0 + 12.0 * np.sin(motion.station_m[chosen] / 700.0) + 3.0 * rng.standard_normal()
    segment = block[keep] * int(rng.random() < 0.5)
    return Fixes(chosen, xy[chosen], segment, hdop, sat, np.round(ele, 1))


def _steady(heard: IntArray, block: IntArray, interval_s: int) -> IntArray:
    first = np.concatenate([[True], np.diff(block) > 0])
    return np.flatnonzero(first | ((heard - heard[0]) % interval_s == 0))


def _smart(heard: IntArray, xy: FloatArray, interval_s: int) -> IntArray:
    """Write after 30 m, on a turn of 20 degrees after 6 m, or after ten intervals; the exact rule is invented."""
    keep, last = [0], 0
    heading = None
    for k in range(1, len(heard)):
        step = xy[heard[k]] - xy[heard[last]]
        far = float(np.hypot(*step))
        now = float(np.arctan2(step[1], step[0]))
        turned = heading is not None and far > 6.0 and abs((now - heading + np.pi) % (2 * np.pi) - np.pi) > 0.35
        if far > 30.0 or turned or heard[k] - heard[last] >= 10 * interval_s or k == len(heard) - 1:
            heading = now if far > 6.0 else heading
            last = k
            keep.append(k)
    return np.array(keep)

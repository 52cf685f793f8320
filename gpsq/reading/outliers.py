"""Positions that are no fixes though they look like coordinates: remembered, guessed from a network, filled in later.

Ordinary errors of a receiver are never touched here: they are what gpsq measures. Distances are straight through the
earth, which is the same to a centimetre over the few kilometres that matter.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from gpsq.plane import to_earth_centred

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from gpsq.model import BoolArray, FloatArray, TimeArray
    from gpsq.settings import Settings

#: Six points in even steps on a straight line, in a track that is otherwise rough, were not measured.
_STRAIGHT_MIN_POINTS = 6
_ROUGH_FACTOR = 10.0


def no_fixes(time: TimeArray, lon_deg: FloatArray, lat_deg: FloatArray, settings: Settings) -> NDArray[np.object_]:
    """Return (n,) reasons ("" for a fix): frozen_before_fix, outlier_jump, straight_backfill.

    Parameters
    ----------
    time, lon_deg, lat_deg : (n,) arrays
        Points in order of travel; times may be NaT.
    settings : Settings
        What counts as a jump.
    """
    reason = np.full(len(lon_deg), "", dtype=object)
    if len(lon_deg) < 3:
        return reason
    xyz = to_earth_centred(lon_deg, lat_deg)
    legs_m = np.linalg.norm(np.diff(xyz, axis=0), axis=1)
    seconds = np.diff(time) / np.timedelta64(1, "s")
    first = _mark_before_fix(reason, legs_m, seconds, settings)
    _mark_straight(reason, first, lon_deg, lat_deg)
    _mark_spikes(reason, first, time, xyz, settings)
    return reason


def _faster_than_any_rider(legs_m: FloatArray, seconds: FloatArray, settings: Settings) -> BoolArray:
    """Mark wild legs; times are often cut to whole seconds, hence the second of grace. Unknown times prove nothing."""
    with np.errstate(invalid="ignore"):
        return (legs_m >= settings.outlier_jump_m) & (legs_m > settings.speed_limit_mps * (seconds + 1.0))


def _mark_before_fix(reason: NDArray[np.object_], legs_m: FloatArray, seconds: FloatArray, settings: Settings) -> int:
    """Mark remembered and network positions at the beginning; return the first point that is a fix."""
    wild = _faster_than_any_rider(legs_m, seconds, settings)
    first = 0
    while first < len(legs_m):
        moving = np.flatnonzero(legs_m[first:] > 0)
        leg = first + int(moving[0]) if len(moving) else len(legs_m)
        if leg - first + 1 >= settings.frozen_min_points and _leaves_memory(leg, legs_m, seconds, settings):
            reason[first : leg + 1] = "frozen_before_fix"
            first = leg + 1
            continue
        jumps = np.flatnonzero(wild[first:])
        leg = first + int(jumps[0]) if len(jumps) else len(legs_m)
        if leg - first + 1 >= len(legs_m) - leg:
            break
        reason[first : leg + 1] = "outlier_jump"
        first = leg + 1
    return first


def _leaves_memory(leg: int, legs_m: FloatArray, seconds: FloatArray, settings: Settings) -> bool:
    """Whether the leg off a repeated position is no ride: too fast for anyone, or for this rider."""
    if leg >= len(legs_m) or legs_m[leg] < settings.frozen_jump_m:
        return False
    pace = np.where(seconds > 0, seconds, np.nan) if np.isfinite(seconds[leg]) else np.ones_like(legs_m)
    if np.isfinite(seconds[leg]) and legs_m[leg] > settings.speed_limit_mps * (seconds[leg] + 1.0):
        return True
    later = legs_m[leg + 1 :] / pace[leg + 1 :]
    later = later[np.isfinite(later)]
    if len(later) < 5 or not pace[leg] > 0:
        return False
    return bool(legs_m[leg] / pace[leg] > settings.frozen_jump_factor * np.quantile(later, 0.9))


def _mark_straight(reason: NDArray[np.object_], first: int, lon_deg: FloatArray, lat_deg: FloatArray) -> None:
    """Mark points that a device filled in between a remembered place and its first fix: even steps, dead straight."""
    xy = np.column_stack([lon_deg, lat_deg])[first:]
    if len(xy) < 3 * _STRAIGHT_MIN_POINTS:
        return
    grid_deg = grid_step_deg(lon_deg, lat_deg)
    bend = np.abs(np.diff(xy, n=2, axis=0)).max(axis=1)
    even = bend <= 2.5 * grid_deg
    run = int(np.argmin(even)) if not even.all() else len(even)
    step = np.abs(xy[1] - xy[0]).max()
    if run + 2 < _STRAIGHT_MIN_POINTS or step <= 5 * grid_deg or len(bend) - run < _STRAIGHT_MIN_POINTS:
        return
    if np.median(bend[run:]) > _ROUGH_FACTOR * 2.5 * grid_deg:
        reason[first : first + run + 1] = "straight_backfill"


def grid_step_deg(lon_deg: FloatArray, lat_deg: FloatArray) -> float:
    """Return the coarsest power of ten of a degree, down to 1e-9, on which all coordinates lie.

    Examples
    --------
    >>> grid_step_deg(np.array([3.1234, 3.5]), np.array([51.1, 51.2]))
    0.0001
    """
    both = np.concatenate([lon_deg, lat_deg])
    for decimals in range(9):
        if np.abs(both - both.round(decimals)).max(initial=0.0) < 1e-10:
            return float(10.0**-decimals)
    return 1e-9


def _mark_spikes(
    reason: NDArray[np.object_],
    first: int,
    time: TimeArray,
    xyz: FloatArray,
    settings: Settings,
) -> None:
    """Mark the few points of an excursion that no rider can make, there and back, or off the end."""
    time, xyz = time[first:], xyz[first:]
    seconds = np.diff(time) / np.timedelta64(1, "s")
    legs_m = np.linalg.norm(np.diff(xyz, axis=0), axis=1)
    away = np.flatnonzero(_faster_than_any_rider(legs_m, seconds, settings))
    if not len(away):
        return
    back = away[1:]
    out = away[:-1]
    short = back - out <= settings.outlier_max_points
    out, back = out[short], back[short] + 1
    gap_m = np.linalg.norm(xyz[back] - xyz[out], axis=1)
    rejoins = ~_faster_than_any_rider(gap_m, (time[back] - time[out]) / np.timedelta64(1, "s"), settings)
    done = -1
    for start, stop in zip(out[rejoins], back[rejoins], strict=True):
        if start >= done:
            reason[first + start + 1 : first + stop] = "outlier_jump"
            done = stop
    if away[-1] + 1 > done and len(xyz) - 1 - away[-1] <= settings.outlier_max_points:
        reason[first + away[-1] + 1 :] = "outlier_jump"

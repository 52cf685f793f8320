"""Positions that are no fixes though they look like coordinates: remembered, guessed from a network, filled in later.

Ordinary errors of a receiver are never touched here: they are what gpsq measures. Distances are straight through the
earth, which is the same to a centimetre over the few kilometres that matter.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from gpsq.arrays import norms
from gpsq.plane import to_earth_centred

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from gpsq.model import BoolArray, FloatArray, TimeArray
    from gpsq.settings import Settings

#: Six points in even steps on a straight line were not measured, when the steps are this many units of the last decimal
#: long, so that rounding cannot make them even, and the fixes behind them never go evenly for a third as long, and
#: mostly not at all.
_STRAIGHT_MIN_POINTS = 6
_STEP_UNITS = 5.0
_EVEN_FACTOR = 3
_EVEN_SHARE = 0.5
#: Rounding moves a point, and the ends of the line that it is held against, by half a unit each.
_ROUNDING_UNITS = 1.05
#: Fewer legs than this say nothing of a rider's usual speed.
_FEW_LEGS = 10
#: More remembered and network positions in a row are no beginning of a ride.
_MOST_PIECES = 50


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
    legs_m = norms(np.diff(xyz, axis=0))
    first = _mark_before_fix(reason, xyz, legs_m, time, settings)
    _mark_straight(reason, first, lon_deg, lat_deg)
    _mark_spikes(reason, first, time, xyz, settings)
    return reason


def _faster_than_any_rider(legs_m: FloatArray, seconds: FloatArray, settings: Settings) -> BoolArray:
    """Mark wild legs; times are often cut to whole seconds, hence the second of grace. Unknown times prove nothing."""
    with np.errstate(invalid="ignore"):
        return (legs_m >= settings.outlier_jump_m) & (legs_m > settings.speed_limit_mps * (seconds + 1.0))


def _mark_before_fix(
    reason: NDArray[np.object_], xyz: FloatArray, legs_m: FloatArray, time: TimeArray, settings: Settings
) -> int:
    """Mark remembered and network positions at the beginning; return the first point that is a fix."""
    seconds = np.diff(time) / np.timedelta64(1, "s")
    wild = _faster_than_any_rider(legs_m, seconds, settings)
    off_memory = _leaves_memory(legs_m, seconds, settings)
    next_move, next_wild = _next_true(legs_m > 0), _next_true(wild)
    first = 0
    for _ in range(_MOST_PIECES):
        if first >= len(legs_m):
            break
        leg = int(next_move[first])
        if leg < len(legs_m) and off_memory[leg] and leg - first + 1 >= settings.frozen_min_points:
            kind = "frozen_before_fix"
        else:
            kind, leg = "outlier_jump", int(next_wild[first])
            if leg - first + 1 >= _piece_after(leg, next_wild) or _comes_back(
                leg, np.flatnonzero(wild), xyz, time, settings
            ):
                break
        reason[first : leg + 1] = kind
        first = leg + 1
    return first


def _next_true(flags: BoolArray) -> NDArray[np.int64]:
    """Return for each place the next one where `flags` holds, or the length where none follows."""
    at = np.where(flags, np.arange(len(flags)), len(flags))
    return np.minimum.accumulate(at[::-1])[::-1].astype(np.int64)


def _piece_after(leg: int, next_wild: NDArray[np.int64]) -> int:
    """Return how many points hang together behind the jump at `leg`: none where there is no jump."""
    if leg >= len(next_wild):
        return 0
    return int(next_wild[leg + 1]) - leg if leg + 1 < len(next_wild) else 1


def _comes_back(leg: int, wild: NDArray[np.int64], xyz: FloatArray, time: TimeArray, settings: Settings) -> bool:
    """Whether a later jump leads to where a rider could have got from here: then not this place was wrong."""
    later = wild[wild > leg] + 1
    metres = norms(xyz[later] - xyz[leg])
    seconds = (time[later] - time[leg]) / np.timedelta64(1, "s")
    return bool((~_faster_than_any_rider(metres, seconds, settings)).any())


def _leaves_memory(legs_m: FloatArray, seconds: FloatArray, settings: Settings) -> BoolArray:
    """Mark legs that cannot lead off a repeated position by riding: too fast for anyone, or for this rider."""
    paced = np.isfinite(seconds).any()
    pace = np.where(seconds > 0, seconds, np.nan) if paced else np.ones_like(legs_m)
    with np.errstate(invalid="ignore"):
        speed = legs_m / pace
        too_fast = legs_m > settings.speed_limit_mps * (seconds + 1.0)
        moving = speed[np.isfinite(speed) & (speed > 0)]
        if len(moving) > _FEW_LEGS:
            too_fast = too_fast | (speed > settings.frozen_jump_factor * np.quantile(moving, 0.9))
    far: BoolArray = legs_m >= settings.frozen_jump_m
    return far & too_fast


def _mark_straight(reason: NDArray[np.object_], first: int, lon_deg: FloatArray, lat_deg: FloatArray) -> None:
    """Mark points that a device filled in between a remembered place and its first fix: even steps, dead straight.

    The rest of the track says what its fixes can do: where they ride as evenly by themselves, nothing is marked.
    """
    xy = np.column_stack([lon_deg, lat_deg])[first:]
    if len(xy) < 3 * _STRAIGHT_MIN_POINTS:
        return
    grid_deg = grid_step_deg(lon_deg, lat_deg)
    even = np.abs(np.diff(xy, n=2, axis=0)).max(axis=1) <= 2.5 * grid_deg
    run = len(even) if even.all() else int(np.argmin(even))
    filled = _filled(xy, run, grid_deg)
    rest = even[run:]
    if filled < _STRAIGHT_MIN_POINTS or len(rest) < _STRAIGHT_MIN_POINTS or np.mean(rest) > _EVEN_SHARE:
        return
    if filled > _EVEN_FACTOR * (_longest_run(rest) + 2):
        reason[first : first + filled] = "straight_backfill"


def _filled(xy: FloatArray, run: int, grid_deg: float) -> int:
    """Return how many points stand, to the last decimal, where even steps from the first one to a later one lead.

    `run` is the number of points in a row that bend no more than rounding does; one or two fixes may do so by chance.
    """
    for last in range(run + 1, max(run - 2, 1), -1):
        way = xy[last] - xy[0]
        off = np.abs(xy[: last + 1] - (xy[0] + np.arange(last + 1)[:, None] / last * way)).max()
        # a straight line on the ground is bent in degrees, by up to its length squared over the earth's radius
        if off <= _ROUNDING_UNITS * grid_deg + np.deg2rad(way @ way):
            return last if np.abs(way).max() > _STEP_UNITS * grid_deg * last else 0
    return 0


def _longest_run(flags: BoolArray) -> int:
    breaks = np.flatnonzero(np.concatenate([[True], ~flags, [True]]))
    return int(np.diff(breaks).max()) - 1


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
    legs_m = norms(np.diff(xyz, axis=0))
    away = np.flatnonzero(_faster_than_any_rider(legs_m, seconds, settings))
    if not len(away):
        return
    back = away[1:]
    out = away[:-1]
    short = back - out <= settings.outlier_max_points
    out, back = out[short], back[short] + 1
    gap_m = norms(xyz[back] - xyz[out])
    rejoins = ~_faster_than_any_rider(gap_m, (time[back] - time[out]) / np.timedelta64(1, "s"), settings)
    done = -1
    for start, stop in zip(out[rejoins], back[rejoins], strict=True):
        if start >= done:
            reason[first + start + 1 : first + stop] = "outlier_jump"
            done = stop
    tail, before = len(xyz) - 1 - away[-1], away[-1] - (away[-2] if len(away) > 1 else -1)
    if away[-1] + 1 > done and tail <= settings.outlier_max_points and tail < before:
        reason[first + away[-1] + 1 :] = "outlier_jump"

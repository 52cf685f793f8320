"""How fast a recording moves, and what no rider can do: the yardsticks for places that cannot be fixes."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np

from gpsq.arrays import norms

if TYPE_CHECKING:
    from gpsq.model import BoolArray, FloatArray, TimeArray
    from gpsq.settings import Settings

#: Times are often cut to whole seconds, so that an interval may be a second longer than written.
GRACE_S = 1.0
#: Speeds are looked at over this time, in which the noise of a receiver makes little way.
_WINDOW_S = 10.0
#: Whoever rides gets this share of the way further, over so many legs.
_WINDOW_LEGS, _STRAIGHT = 5, 0.7
#: Slower than this is standing.
_MOVING_MPS = 0.5
#: No ride goes on for long at more than this many times its usual pace; the slowest are granted the lower bound.
_HURRY = 1.6
_LEAST_MPS = 3.0


def seconds_between(time: TimeArray, first: Any, last: Any) -> FloatArray:
    """Return the seconds from the points `first` to the points `last`, nan where a time is unknown."""
    return np.asarray((time[last] - time[first]) / np.timedelta64(1, "s"), dtype=np.float64)


def too_fast(metres: FloatArray, seconds: FloatArray, settings: Settings) -> BoolArray:
    """Mark ways that no rider can go in the time, whatever their length; unknown times prove nothing."""
    with np.errstate(invalid="ignore"):
        return np.asarray(metres > settings.speed_limit_mps * (seconds + GRACE_S))


def riding_mps(time: TimeArray, xyz: FloatArray, settings: Settings) -> float:
    """Return what this rider hardly ever goes beyond for long, in metres a second: well over the usual pace.

    The pace is the median over windows of ten seconds with movement in them; windows with a leg that nobody can ride are
    left out. Without any, it is the limit for all riders.
    """
    known = np.flatnonzero(~np.isnat(time))
    if len(known) < 2:
        return settings.speed_limit_mps
    at_s = seconds_between(time, known[0], known)
    legs_m = norms(np.diff(xyz[known], axis=0))
    wild = np.concatenate([[0], np.cumsum(too_fast(legs_m, np.diff(at_s), settings))])
    later = np.searchsorted(at_s, at_s + _WINDOW_S)
    first = np.flatnonzero(later < len(known))
    first = first[wild[later[first]] == wild[first]]
    last = later[first]
    speed = norms(xyz[known[last]] - xyz[known[first]]) / (at_s[last] - at_s[first])
    moving = speed[speed > _MOVING_MPS]
    if not len(moving):
        return settings.speed_limit_mps
    return float(np.clip(_HURRY * np.median(moving), _LEAST_MPS, settings.speed_limit_mps))


def ridden(metres: FloatArray, seconds: FloatArray, pace_mps: float, settings: Settings) -> BoolArray:
    """Mark ways that this rider can have gone in the time, the errors of both fixes granted."""
    with np.errstate(invalid="ignore"):
        return np.asarray(metres <= settings.speed_limit_mps * GRACE_S + pace_mps * seconds)


def goes_somewhere(time: TimeArray, xyz: FloatArray, pace_mps: float) -> bool:
    """Whether the first fixes follow a way slower than `pace_mps`; a network's guesses scatter, a memory stands still.

    It takes six fixes and five seconds.
    """
    seconds = seconds_between(time, 0, slice(None))
    last = max(int(np.searchsorted(seconds, _WINDOW_S / 2)), _WINDOW_LEGS)
    if last >= len(xyz) or not np.isfinite(seconds[: last + 1]).all():
        return False
    gone_m = float(norms(np.diff(xyz[: last + 1], axis=0)).sum())
    straight_m = float(norms(xyz[last : last + 1] - xyz[0])[0])
    moving = straight_m > _MOVING_MPS * seconds[last]
    return bool(moving and straight_m > _STRAIGHT * gone_m and gone_m < pace_mps * seconds[last])

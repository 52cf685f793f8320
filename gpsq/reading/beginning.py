"""The beginning of a recording: thrown away only where it is proved to be no fix, and then with the evidence.

Three things are proved wrong: a remembered position, a network's guess (a place from which no later fix could have been
ridden to), and points that were filled in later on a straight line.
"""

from __future__ import annotations

from itertools import pairwise
from typing import TYPE_CHECKING, NamedTuple

import numpy as np

from gpsq.arrays import norms
from gpsq.reading.speeds import GRACE_S, goes_somewhere, ridden, riding_mps, seconds_between, too_fast

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from gpsq.model import BoolArray, FloatArray, IntArray, TimeArray
    from gpsq.settings import Settings

#: Fewer legs than this say nothing of a rider's usual speed.
_FEW_LEGS = 10
#: More remembered and network positions in a row are no beginning of a ride.
_MOST_PIECES = 50
#: A return that undoes this share of the jump, faster than the ride ever goes, shows which place was wrong.
_UNDONE = 0.2
#: Of fewer points, or with fewer legs behind even ones, nothing is said.
_FEW_POINTS, _FEW_BEHIND = 18, 6
#: Points in even steps on a straight line were not measured, when the steps are this many units of the last decimal
#: long, so that rounding cannot make them even, and the fixes behind them never go evenly for a third as long (any two
#: do, so it takes seven points), and mostly not at all.
_STEP_UNITS = 5.0
_EVEN_FACTOR = 3
_EVEN_SHARE = 0.5
#: Where the last decimal is about a metre, rounding makes the steps of the fixes behind even as well. So many points in
#: even steps were not measured all the same where none behind go evenly along a quarter as long a way: a rider's speed
#: varies by some per cent within seconds (common practice), and were it one per cent, after n steps of u units he would
#: be off by a unit where n u² is about this.
_COARSE_UNITS, _LONG, _LONG_UNITS2 = 20.0, 50, 450.0
#: Behind a beginning of many thousands no longer stretches are looked for than these; and so many places at a time.
_LONG_BEHIND, _AT_A_TIME = 500, 100_000
#: Rounding moves a point, and the ends of the line that it is held against, by half a unit each.
_ROUNDING_UNITS = 1.05
#: Differences of this order leave nothing of a road's bends, but the noise of single fixes and of their rounding.
_NOISE_ORDER = 8
#: Such differences of rounded values alone, in units of the last decimal: uniform errors (variance 1/12, common
#: practice), whose squared weights sum to 16 over 8; their noise shows when it is this many times as large.
_ROUNDED_UNITS = float(np.sqrt(12870.0 / 12.0))
_SHOWS = 2.0


class _Way(NamedTuple):
    """Points in order of travel."""

    time: TimeArray
    xyz: FloatArray
    settings: Settings


def mark_beginning(
    reason: NDArray[np.object_], time: TimeArray, xyz: FloatArray, lon_deg: FloatArray, lat_deg: FloatArray,
    settings: Settings,
) -> None:  # fmt: skip
    """Write the reasons frozen_before_fix, outlier_jump and straight_backfill into `reason` (n,) where they hold.

    Parameters
    ----------
    reason : (n,) "" for a point that may be a fix; others are passed over.
    time, xyz, lon_deg, lat_deg : (n,), (n, 3) metres, (n,), (n,) points in order of travel.
    """
    left = np.flatnonzero(reason == "")
    if len(left) < 3:
        return
    way = _Way(time[left], xyz[left], settings)
    kinds = np.full(len(left), "", dtype=object)
    first = _mark_before_fix(kinds, way)
    filled = _filled_in(lon_deg[left[first:]], lat_deg[left[first:]], grid_step_deg(lon_deg, lat_deg))
    kinds[first : first + filled] = "straight_backfill"
    reason[left] = kinds


def _mark_before_fix(kinds: NDArray[np.object_], way: _Way) -> int:
    """Mark remembered and network positions at the beginning; return the first point that is a fix."""
    legs_m = norms(np.diff(way.xyz, axis=0))
    seconds = np.diff(way.time) / np.timedelta64(1, "s")
    wild = (legs_m >= way.settings.outlier_jump_m) & too_fast(legs_m, seconds, way.settings)
    off_memory = _leaves_memory(legs_m, seconds, way.settings)
    next_move, next_wild = _next_true(legs_m > 0), _next_true(wild)
    behind = _longest_behind(wild)
    first = 0
    for _ in range(_MOST_PIECES):
        if first >= len(legs_m):
            break
        leg = int(next_move[first])
        if leg < len(legs_m) and off_memory[leg] and leg - first + 1 >= way.settings.frozen_min_points:
            kind = "frozen_before_fix"
        else:
            kind, leg = "outlier_jump", int(next_wild[first])
            if leg >= len(legs_m) or leg - first + 1 >= behind[leg] or _proved_right(first, leg, way):
                break
        kinds[first : leg + 1] = kind
        first = leg + 1
    return first


def _next_true(flags: BoolArray) -> IntArray:
    """Return for each place the next one where `flags` holds, or the length where none follows."""
    at = np.where(flags, np.arange(len(flags)), len(flags))
    return np.minimum.accumulate(at[::-1])[::-1].astype(np.int64)


def _longest_behind(wild: BoolArray) -> IntArray:
    """Return for each leg how many points at most hang together behind it, without a jump between them."""
    jumps = np.flatnonzero(wild)
    size = np.diff(np.append(jumps, len(wild)))
    longest = np.maximum.accumulate(size[::-1])[::-1]
    behind = np.zeros(len(wild), dtype=np.int64)
    behind[jumps] = longest
    return behind


def _proved_right(first: int, leg: int, way: _Way) -> bool:
    """Whether a later fix could have been ridden to from the beginning `first` … `leg`, before a jump.

    A beginning that itself follows a way needs no more. In time a rider can get to any place, that of a mast too, so one
    that shows nothing of riding is only proved right by a return that no ride makes: then what lies between was wrong.
    """
    head, pace_mps = slice(first, leg + 1), riding_mps(way.time, way.xyz, way.settings)
    rides = goes_somewhere(way.time[head], way.xyz[head], pace_mps)
    return any(_reached_again(here, leg, way, pace_mps, ridden_to=rides) for here in {leg, first})


def _reached_again(here: int, leg: int, way: _Way, pace_mps: float, *, ridden_to: bool) -> bool:
    """Whether a point behind `leg` can have been ridden to from the point `here`, by a return or at all."""
    away_m = norms(way.xyz[here + 1 :] - way.xyz[here])
    seconds = seconds_between(way.time, here, slice(here + 1, None))
    within = ridden(away_m, seconds, pace_mps, way.settings)
    within[: leg - here] = False
    if ridden_to:
        return bool(within.any())
    # no ride makes this sum fall: where it does, something went against the jump faster than the rider goes
    jump = way.xyz[leg + 1] - way.xyz[leg]
    jump_m = float(np.sqrt(jump @ jump))
    known = np.isfinite(seconds)
    sum_m = (way.xyz[here + 1 :] - way.xyz[here])[known] @ jump / jump_m + pace_mps * seconds[known]
    undone = np.maximum(np.maximum.accumulate(sum_m), 0.0) - sum_m >= _UNDONE * jump_m
    left_before = bool(undone[np.flatnonzero(known) < leg - here].any())
    return bool((within[known] & undone).any() or (within[leg - here] and left_before))


def _leaves_memory(legs_m: FloatArray, seconds: FloatArray, settings: Settings) -> BoolArray:
    """Mark legs that cannot lead off a repeated position by riding: too fast for anyone, or for this rider."""
    paced = np.isfinite(seconds).any()
    pace = np.where(seconds > 0, seconds, np.nan) if paced else np.ones_like(legs_m)
    with np.errstate(invalid="ignore"):
        speed = legs_m / pace
        off = too_fast(legs_m, seconds, settings)
        moving = speed[np.isfinite(speed) & (speed > 0)]
        if len(moving) > _FEW_LEGS:
            off = off | (speed > settings.frozen_jump_factor * np.quantile(moving, 0.9))
    far: BoolArray = legs_m >= settings.frozen_jump_m
    return far & off


def _filled_in(lon_deg: FloatArray, lat_deg: FloatArray, grid_deg: float) -> int:
    """Return how many points a device filled in between a remembered place and its first fix: even, dead straight.

    The rest of the track says what its fixes can do: where they ride as evenly by themselves, or where rounding is
    coarser than their noise and would make them even, nothing is proved.
    """
    xy = np.column_stack([np.unwrap(lon_deg, period=360.0), lat_deg])
    if len(xy) < _FEW_POINTS:
        return 0
    even = np.abs(np.diff(xy, n=2, axis=0)).max(axis=1) <= 2.5 * grid_deg
    run = len(even) if even.all() else int(np.argmin(even))
    filled = _in_even_steps(xy, run, grid_deg)
    rest = even[run:]
    if not filled or len(rest) < _FEW_BEHIND or not _noise_shows(xy[run:], grid_deg):
        return 0
    units = float(np.abs(xy[filled] - xy[0]).max()) / (grid_deg * filled)
    short = units > _STEP_UNITS and np.mean(rest) <= _EVEN_SHARE and filled > _EVEN_FACTOR * (_longest_run(rest) + 2)
    if short or not (units < _COARSE_UNITS and filled >= _LONG and filled * units**2 > _LONG_UNITS2):
        return filled if short else 0
    return 0 if _goes_evenly(xy[run:], min(filled // 4, _LONG_BEHIND), grid_deg) else filled


def _goes_evenly(xy: FloatArray, long: int, grid_deg: float) -> bool:
    """Whether somewhere so many points in a row stand where even steps from the first to the last lead, within two units.

    What is even within one unit as a whole is so within two in its parts. Most stretches fail at their middle already, and
    those that do not are looked at some at a time: a beginning may be tens of thousands of points.
    """
    if len(xy) <= long:
        return True
    begin, share = np.arange(len(xy) - long), np.arange(long + 1) / long

    def is_even(begin: IntArray, at: IntArray) -> BoolArray:
        way = (xy[begin + long] - xy[begin])[:, None]
        off = np.abs(xy[begin[:, None] + at] - (xy[begin][:, None] + share[at][:, None] * way)).max(axis=(1, 2))
        return np.asarray(off <= 2.0 * _ROUNDING_UNITS * grid_deg)

    for at in (long // 2, long // 4):
        begin = begin[is_even(begin, np.array([at]))]
    every = np.arange(long + 1)
    return any(is_even(some, every).any() for some in np.array_split(begin, 1 + len(begin) * long // _AT_A_TIME))


def _noise_shows(xy: FloatArray, grid_deg: float) -> bool:
    """Whether single fixes scatter by more than their rounding does."""
    steps = np.abs(np.diff(xy, n=_NOISE_ORDER, axis=0)) / grid_deg
    if not len(steps):
        return False
    # the median of the size of a normal error is 0.6745 of its standard deviation (common practice)
    return bool(np.median(steps, axis=0).max() > _SHOWS * 0.6745 * _ROUNDED_UNITS)


def _in_even_steps(xy: FloatArray, run: int, grid_deg: float) -> int:
    """Return how many points stand, to the last decimal, where even steps from the first one to a later one lead.

    `run` is the number of points in a row that bend no more than rounding does; one or two fixes may do so by chance.
    """
    for last in range(run + 1, max(run - 2, 1), -1):
        way = xy[last] - xy[0]
        off = np.abs(xy[: last + 1] - (xy[0] + np.arange(last + 1)[:, None] / last * way)).max()
        # a straight line on the ground is bent in degrees, by up to its length squared over the earth's radius
        if off <= _ROUNDING_UNITS * grid_deg + np.deg2rad(way @ way):
            return last
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


def evidence(reason: NDArray[np.object_], time: TimeArray, xyz: FloatArray) -> tuple[str, ...]:
    """Return a sentence for each group of points at the beginning that was thrown away, with what proves it wrong.

    Parameters
    ----------
    reason, time, xyz : (n,), (n,), (n, 3) the points in order of travel with the reasons found, "" for a fix.
    """
    fixes = np.flatnonzero(reason == "")
    if not len(fixes) or fixes[0] == 0:
        return ()
    until = int(fixes[0])
    changes = np.flatnonzero(reason[1:until] != reason[: until - 1]) + 1
    bounds = [0, *changes.tolist(), until]
    return tuple(_why(str(reason[low]), low, high, time, xyz) for low, high in pairwise(bounds))


def _why(kind: str, low: int, high: int, time: TimeArray, xyz: FloatArray) -> str:
    size = high - low
    points = f"{size} point{'s' * (size > 1)} at the beginning {'are' if size > 1 else 'is'} no fix"
    metres = float(norms(xyz[high : high + 1] - xyz[high - 1])[0])
    waited = float(seconds_between(time, high - 1, high))
    after = f" {waited:g} s later" if np.isfinite(waited) else ""
    if kind == "straight_backfill":
        return f"{points}: they stand in even steps on a straight line to the last decimal, as no fix behind them does."
    if kind == "frozen_before_fix":
        return f"{points}: they repeat one position, and the next lies {metres:,.0f} m from it{after}."
    speed = f" ({metres / max(waited, GRACE_S):,.0f} m/s)" if np.isfinite(waited) else ""
    return (
        f"{points}: the next lies {metres:,.0f} m from there{after}{speed}, and nothing behind it came back to where a "
        "rider from there could be."
    )

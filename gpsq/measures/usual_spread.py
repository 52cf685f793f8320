"""How far off is usual on a route: for a device, for a place, for the devices of a ride together, and for the line itself.

A stretch is only off its line by the measure of what is usual there. A trace that is off for half of its way must be no
yardstick for itself, and neither may the detour of one ride: spreads come from what lies near the line.
"""

from __future__ import annotations

from collections import defaultdict
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from gpsq.arrays import norms
from gpsq.statistics.intervals import student

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from gpsq.geometry.alignment import Abreast
    from gpsq.model import Centreline, FloatArray, Trace

#: Median absolute deviation to standard deviation of normal noise; median distance in the plane, in such deviations.
MAD_TO_SD, RAYLEIGH_MEDIAN = 1.4826, 1.1774
#: A first guess at a spread is this quantile of the absolute offsets, so that a trace may be elsewhere for over half of
#: its way, …
LOW_QUANTILE = 0.25
#: … which for normal noise lies at this many standard deviations; what is within so many is near the line.
HALF_NORMAL_LOW, NEAR_SPREADS = 0.319, 3.0
#: Rounding and short stretches give less than any receiver's spread.
LEAST_SPREAD_M = 0.5
#: A ride that is much rougher than its device's others, or a device much rougher than others, is believed up to so many
#: times their spread: a bad day is no road, but a road is no bad day.
OWN_SPREADS = 2.0
#: How rough a place is comes from this quantile of the traces there, since less than half of them may be elsewhere, …
ROUGH_QUANTILE = 0.4
#: … which for normal noise lies at this many standard deviations; nowhere is rougher than so many times the usual.
HALF_NORMAL_ROUGH, MOST_ROUGH = 0.524, 4.0
#: What a ride's devices show together is off only beyond what so large a share of rides would show by chance.
RIDE_CONFIDENCE = 0.99
#: So many rides tell what is usual at a place: what a device is always off there, and how little a ride that went another
#: way may be off.
ENOUGH_RIDES = 8
#: A place is as rough as the way is for so many metres around it.
AROUND_M = 200.0


@dataclass(frozen=True, eq=False)
class Course:
    """A trace abreast of its line: `place` with excursions, `offset_m` (m,) at the stations `along_m`, `xy_m` (n, 2) its fixes."""

    number: int
    trace: Trace
    xy_m: FloatArray
    place: Abreast
    along_m: FloatArray
    offset_m: FloatArray


@dataclass(frozen=True, eq=False)
class Together:
    """Where the devices of a ride together run: their errors part them, the rider's road does not.

    `offset_m` (m,) median over at least two of them, nan where there are fewer; `most_m` how far off a ride may be that went
    where the others did, `well_known` whether enough rides tell that; `of_trace_m` the offsets (m,) of each trace, by its
    number, that the median was taken of.
    """

    offset_m: FloatArray
    most_m: float
    well_known: bool
    of_trace_m: Mapping[int, FloatArray]


@dataclass(frozen=True, eq=False)
class Usual:
    """How far off is usual on one route.

    `of_trace_m` standard deviation of each trace, by its number, on a place of the usual kind; `rough` (m,) by how many
    times more the traces scatter at each station, 1 at least; `together` the common courses of each ride; `ride_xy_m` where
    each ride runs, (m, 2), on a route of few rides: with more, one on another road no longer moves the line.
    """

    of_trace_m: Mapping[int, float]
    rough: FloatArray
    together: Mapping[str, tuple[Together, ...]]
    ride_xy_m: Mapping[str, FloatArray]

    def doubt_m(self, line: Centreline) -> FloatArray:
        """Return (m,) the standard deviation of a line without one ride."""
        return line_sd_m(line, [xy_m for ride, xy_m in self.ride_xy_m.items() if ride != line.left_out])


def usual(rides: Mapping[str, Sequence[Course]], step_m: float) -> Usual:
    """Return what is usual on a route from the courses of its rides, `step_m` between stations."""
    everyone = [course for courses in rides.values() for course in courses]
    own_m = {c.number: near_spread_m(c.offset_m) for c in everyone}
    rough = _rough([np.abs(c.offset_m) / own_m[c.number] for c in everyone], step_m)
    places = {ride: _mean_place(own) for ride, own in rides.items()} if len(rides) <= ENOUGH_RIDES else {}
    return Usual(_bounded_m(everyone, own_m), rough, _together(rides), places)


def _mean_place(courses: Sequence[Course]) -> FloatArray:
    rows = np.array([c.place.xy_m for c in courses])
    there = (~np.isnan(rows)).sum(axis=0)
    return np.where(there > 0, np.nansum(rows, axis=0) / np.maximum(there, 1), np.nan)


def near_spread_m(offset_m: FloatArray) -> float:
    """Return the robust standard deviation of the offsets near the line, nan of nothing.

    Examples
    --------
    >>> steady = np.random.default_rng(1).normal(0.0, 4.0, 2000)
    >>> off_for_half = np.concatenate([steady, steady + 100.0])
    >>> bool(3.6 < near_spread_m(steady) < 4.4), bool(3.6 < near_spread_m(off_for_half) < 4.4)
    (True, True)
    """
    size = np.abs(offset_m[~np.isnan(offset_m)])
    if not len(size):
        return float("nan")
    first_m = max(float(np.quantile(size, LOW_QUANTILE)) / HALF_NORMAL_LOW, LEAST_SPREAD_M)
    near = size[size <= NEAR_SPREADS * first_m]
    return max(MAD_TO_SD * float(np.median(near)), LEAST_SPREAD_M)


def robust_spread_m(offset_m: FloatArray) -> float:
    """Return 1.4826 times the median absolute offset, nan of nothing."""
    size = np.abs(offset_m[~np.isnan(offset_m)])
    return MAD_TO_SD * float(np.median(size)) if len(size) else float("nan")


def line_sd_m(line: Centreline, others_m: Sequence[FloatArray] = ()) -> FloatArray:
    """Return (m,) the standard deviation of a line from the spread of what it rests on and the number of its rides.

    Where its rides disagree by much, as where one of two took another road, nobody knows where the line should be.

    Parameters
    ----------
    others_m : (m, 2) where each of its rides runs abreast of the stations, on other roads too; the spread of the line
        itself knows only of what is near it.
    """
    known = line.spread_m[~np.isnan(line.spread_m)]
    usual_m = float(np.median(known)) if len(known) else 0.0
    spread = np.maximum(running_median(np.where(np.isnan(line.spread_m), usual_m, line.spread_m), 5), usual_m)
    band_sd = np.nan_to_num(line.band_m) / 1.96
    return np.maximum(np.maximum(spread / np.sqrt(np.maximum(line.rides, 1)), band_sd), _disagreement_m(line, others_m))


def _disagreement_m(line: Centreline, others_m: Sequence[FloatArray]) -> FloatArray:
    if not others_m:
        return np.zeros(len(line.xy_m))
    away = np.sort([norms(xy_m - line.xy_m) for xy_m in others_m], axis=0)  # nan last
    there = (~np.isnan(away)).sum(axis=0)
    low, high = np.maximum(there - 1, 0) // 2, np.minimum(there // 2, len(away) - 1)
    columns = np.arange(away.shape[1])
    middle = (away[low, columns] + away[high, columns]) / 2
    return np.asarray(np.nan_to_num(middle / RAYLEIGH_MEDIAN / np.sqrt(np.maximum(there, 1))))


def running_median(values: FloatArray, reach: int) -> FloatArray:
    """Return (m,) the median over `reach` values on either side."""
    padded = np.pad(values, reach, mode="edge")
    return np.asarray(np.median(np.lib.stride_tricks.sliding_window_view(padded, 2 * reach + 1), axis=1))


def _bounded_m(everyone: Sequence[Course], own_m: Mapping[int, float]) -> dict[int, float]:
    """Return the spread of each trace: its device's usual one, or its own up to a bound that does not rest on itself."""
    of_device: dict[str, list[float]] = defaultdict(list)
    for course in everyone:
        of_device[course.trace.device].append(own_m[course.number])
    known, known_of_all = (
        {name: np.sort(_known(of)) for name, of in of_device.items()},
        np.sort(_known([*own_m.values()])),
    )
    bounded = {}
    for course in everyone:
        own, of_own = own_m[course.number], known[course.trace.device]
        others = next(
            (o for o in (_median_without(own, of) for of in (of_own, known_of_all)) if np.isfinite(o)), np.inf
        )
        usual_m = min(_median_without(np.nan, of_own), OWN_SPREADS * others)
        bounded[course.number] = max(_known([usual_m, min(own, OWN_SPREADS * others)]), default=float("nan"))
    return bounded


def _median_without(value: float, ordered: FloatArray) -> float:
    """Return the median of values in order without one of them; of all where `value` is nan, nan of nothing.

    Examples
    --------
    >>> _median_without(2.0, np.array([1.0, 2.0, 5.0, 9.0])), _median_without(np.nan, np.array([1.0, 2.0]))
    (5.0, 1.5)
    """
    left = len(ordered) - (not np.isnan(value))
    if left < 1:
        return float("nan")
    out = int(np.searchsorted(ordered, value)) if left < len(ordered) else left
    middle = [ordered[k + (k >= out)] for k in ((left - 1) // 2, left // 2)]
    return float(sum(middle) / 2)


def _known(values: Sequence[float]) -> list[float]:
    return [value for value in values if np.isfinite(value)]


def _rough(relative: Sequence[FloatArray], step_m: float) -> FloatArray:
    rows = np.sort(np.array(relative), axis=0)  # nan last
    there = (~np.isnan(rows)).sum(axis=0)
    at = np.round(ROUGH_QUANTILE * np.maximum(there - 1, 0)).astype(int)
    size = rows[at, np.arange(rows.shape[1])] / HALF_NORMAL_ROUGH
    reach = max(1, round(AROUND_M / 2 / step_m)) if step_m > 0 else 1
    around = running_median(np.where(there >= 2, size, 1.0), reach)
    return np.asarray(np.clip(around, 1.0, MOST_ROUGH))


def _together(rides: Mapping[str, Sequence[Course]]) -> dict[str, tuple[Together, ...]]:
    """Return the common course of each ride that at least two devices recorded.

    Each ride is looked at twice: with offsets as they are, and less what each device is always off to one side.
    """
    everyone = [course for courses in rides.values() for course in courses]
    found: dict[str, tuple[Together, ...]] = {}
    for offsets in ({c.number: c.offset_m for c in everyone}, _residuals(everyone)):
        common = {ride: _common_offset([offsets[c.number] for c in courses]) for ride, courses in rides.items()}
        spreads = _known([near_spread_m(offset_m) for offset_m in common.values()])
        most_m, well_known = ride_limit_m(spreads), len(spreads) >= ENOUGH_RIDES
        for ride, offset_m in common.items():
            if np.isfinite(most_m) and not np.isnan(offset_m).all():
                of_trace = {c.number: offsets[c.number] for c in rides[ride]}
                found[ride] = (*found.get(ride, ()), Together(offset_m, most_m, well_known, of_trace))
    return found


def ride_limit_m(spreads_m: Sequence[float]) -> float:
    """Return how far off a ride may be that went where the others did, from the spreads of the rides.

    The quieter rides tell what is usual, since up to half of all may be on roads of their own; how much is allowed beyond
    that is Student's factor, so that few rides, which tell little, allow much.

    Examples
    --------
    >>> round(ride_limit_m([2.0] * 10), 1), round(ride_limit_m([2.0] * 3), 1), ride_limit_m([2.0])
    (6.5, 19.8, inf)
    """
    if len(spreads_m) < 2:
        return float("inf")
    return student(RIDE_CONFIDENCE, len(spreads_m) - 1) * float(np.quantile(spreads_m, LOW_QUANTILE))


def _residuals(courses: Sequence[Course]) -> dict[int, FloatArray]:
    """Return each trace's offset less the median of its device's: what it is always off to one side.

    At a place that enough of its rides know, it is the median there, which holds what the line is off by there too.
    """
    residual: dict[int, FloatArray] = {}
    for device in {c.trace.device for c in courses}:
        own = [c for c in courses if c.trace.device == device]
        rows = np.array([c.offset_m for c in own])
        offset = rows[~np.isnan(rows)]
        always_m = np.full(rows.shape[1], np.median(offset) if len(offset) else 0.0)
        known = (~np.isnan(rows)).sum(axis=0) >= ENOUGH_RIDES
        always_m[known] = np.nanmedian(rows[:, known], axis=0)
        residual |= {c.number: c.offset_m - always_m for c in own}
    return residual


def _common_offset(offsets_m: Sequence[FloatArray]) -> FloatArray:
    rows = np.array(offsets_m)
    several = (~np.isnan(rows)).sum(axis=0) >= 2
    middle = np.full(rows.shape[1], np.nan)
    middle[several] = np.nanmedian(rows[:, several], axis=0)
    return middle

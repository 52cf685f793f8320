"""The mean of the places near a line, station by station, those of traces that run elsewhere thereabouts left out; compiled."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from gpsq.centreline.group_medians import put_in_order
from gpsq.geometry._compiled import compiled, read_only

if TYPE_CHECKING:
    from gpsq.model import BoolArray, FloatArray

#: Steps with the cut-off: a mean in which places weigh in full to half of it and less and less beyond (Hampel's kind of
#: redescending weight, Huber & Ronchetti 2009, section 4.8), nearly as good as the plain mean where nobody is far off.
CUT_STEPS = 6
#: A step that moves a place by less than this is the last: a tenth of what the results are rounded to.
STILL_M = 1e-3
#: A trace is near or far over this many stations on either side, not at one: else the middle would hop between two roads
#: from station to station.
NEAR_STATIONS = 10
#: A trace that passes a station by counts as this far off there, in m: what the alignment takes for elsewhere.
PASSED_BY_M = 60.0
#: The cut-off is a multiple of a low quantile of the distances from the middle, because up to half of the traces may be on
#: roads of their own: the median distance would then be theirs. For normal noise that quantile is 0.93 standard deviations.
#: A tighter one where some are far off was tried: it locks on one cluster of ordinary noise.
CUT_QUANTILE, CUT_FACTOR = 0.35, 4.5
#: A cut-off below this would quarrel with the noise of a street canyon, where one of five receivers may lie 28 m from the
#: other four and be as right as they; on a route of a few hundred metres so many stations are that wide already.
LEAST_CUT_M, LEAST_CUT_STATIONS = 40.0, 8.0


def mean_of_near(places: FloatArray, weights: FloatArray, passed: BoolArray, line: FloatArray, step_m: float) -> None:
    """Move each station of a line to the mean of the (m, t, 2) places near it, weighted; `step_m` from one to the next."""
    least_cut_m = min(LEAST_CUT_M, LEAST_CUT_STATIONS * step_m)
    _mean_of_near(places, weights, read_only(passed, np.bool_), line, least_cut_m)


@compiled
def _mean_of_near(
    places: FloatArray, weights: FloatArray, passed: BoolArray, line: FloatArray, least_cut_m: float
) -> None:  # pragma: no cover - compiled
    """Move each station to the mean of its (m, t, 2) places, those of traces that run elsewhere thereabouts left out."""
    stations, count, _ = places.shape
    there = np.zeros((stations, count), dtype=np.bool_)
    for j in range(stations):
        for t in range(count):
            there[j, t] = weights[j, t] > 0.0 and not np.isnan(places[j, t, 0])
    away, near, number = np.zeros((stations, count)), np.empty((stations, count)), _numbers_around(there, passed)
    cut, middle = np.empty(stations), np.empty(stations)
    elsewhere, some = np.empty((stations, count), dtype=np.bool_), np.empty(stations, dtype=np.bool_)
    for _ in range(CUT_STEPS):
        _distances(places, there, passed, line, away)
        _mean_distances(away, there, number, near)
        _cut_offs(near, least_cut_m, cut, middle)
        for j in range(stations):
            some[j] = False
            for t in range(count):
                elsewhere[j, t] = passed[j, t] | (there[j, t] & (near[j, t] >= cut[j]))
                some[j] |= elsewhere[j, t]
        _spread_outward(away, there, near, middle, elsewhere, some)
        if _moved_to_means(places, weights, near, elsewhere, cut, line) < STILL_M:
            break


@compiled
def _distances(
    places: FloatArray, there: BoolArray, passed: BoolArray, line: FloatArray, away: FloatArray
) -> None:  # pragma: no cover - compiled
    """Fill `away` (m, t) with each trace's distance from the line; where it passes by, as far as that counts; else 0."""
    for j in range(len(line)):
        for t in range(away.shape[1]):
            away_m = np.sqrt((places[j, t, 0] - line[j, 0]) ** 2 + (places[j, t, 1] - line[j, 1]) ** 2)
            otherwise = PASSED_BY_M if passed[j, t] else 0.0
            away[j, t] = away_m if there[j, t] else otherwise


@compiled
def _numbers_around(there: BoolArray, passed: BoolArray) -> FloatArray:  # pragma: no cover - compiled
    """Return (m, t) at how many of the stations around each trace is, or passes by."""
    stations, count = there.shape
    number, running = np.empty((stations, count)), np.zeros(count)
    for j in range(-NEAR_STATIONS, stations):
        into, out = j + NEAR_STATIONS, j - NEAR_STATIONS - 1
        for t in range(count):
            if into < stations and (there[into, t] or passed[into, t]):
                running[t] += 1.0
            if out >= 0 and (there[out, t] or passed[out, t]):
                running[t] -= 1.0
            if j >= 0:
                number[j, t] = running[t]
    return number


@compiled
def _mean_distances(
    away: FloatArray, there: BoolArray, number: FloatArray, near: FloatArray
) -> None:  # pragma: no cover - compiled
    """Fill `near` (m, t) with each trace's mean distance over the stations around; infinite where it has no place."""
    stations, count = away.shape
    total = np.zeros(count)
    for j in range(-NEAR_STATIONS, stations):
        into, out = j + NEAR_STATIONS, j - NEAR_STATIONS - 1
        if into < stations:
            for t in range(count):
                total[t] += away[into, t]
        if out >= 0:
            for t in range(count):
                total[t] -= away[out, t]
        if j >= 0:
            for t in range(count):
                near[j, t] = total[t] / number[j, t] if there[j, t] else np.inf


@compiled
def _cut_offs(
    near: FloatArray, least_cut_m: float, cut: FloatArray, middle: FloatArray
) -> None:  # pragma: no cover - compiled
    """Fill `cut` (m,) with the distance beyond which a trace is elsewhere; `middle` (m,) is left to be found if needed.

    Where enough traces are near, the least cut-off holds, and none is put in order.
    """
    stations, count = near.shape
    column, rank, plainly = np.empty(count), np.arange(count), least_cut_m / CUT_FACTOR * (1.0 - 1e-9)
    for j in range(stations):
        here, close = 0, 0
        for t in range(count):
            here += near[j, t] < np.inf
            close += near[j, t] <= plainly
        cut[j], middle[j] = np.inf, np.inf
        if here >= 3:
            cut[j], middle[j] = least_cut_m, np.nan
            if close < CUT_QUANTILE * (here - 1) + 2.0:
                put_in_order(near[j], rank, column)
                cut[j] = max(least_cut_m, CUT_FACTOR * _quantile(column[:here], CUT_QUANTILE))


@compiled
def _spread_outward(
    away: FloatArray, there: BoolArray, near: FloatArray, middle: FloatArray, elsewhere: BoolArray, some: BoolArray
) -> None:  # pragma: no cover - compiled
    """Let a trace that is elsewhere stay so on both sides while its distance falls and exceeds the others' median.

    Else the last places of a trace that leaves the road would draw the line after it. `some` (m,) tells where any is.
    """
    stations, count = away.shape
    for beside in (-1, 1):
        for k in range(1, stations):
            j = k if beside < 0 else stations - 1 - k
            if not some[j + beside]:
                continue
            for t in range(count):
                if elsewhere[j + beside, t] and there[j, t] and away[j, t] < away[j + beside, t]:
                    if np.isnan(middle[j]):
                        middle[j] = median_known(near[j])
                    if middle[j] < away[j, t]:
                        elsewhere[j, t], some[j] = True, True


@compiled
def median_known(near: FloatArray) -> float:  # pragma: no cover - compiled
    """Return the median of the finite ones of the distances."""
    known = np.sort(near)
    middle: float = _quantile(known[: np.searchsorted(known, np.inf)], 0.5)
    return middle


@compiled
def _moved_to_means(
    places: FloatArray, weights: FloatArray, near: FloatArray, elsewhere: BoolArray, cut: FloatArray, line: FloatArray
) -> float:  # pragma: no cover - compiled
    """Move each station to the mean of the places of the traces that are not elsewhere; return the farthest move."""
    most = 0.0
    for j in range(len(line)):
        if cut[j] == np.inf:
            continue
        total, x, y = 0.0, 0.0, 0.0
        for t in range(near.shape[1]):
            if not elsewhere[j, t] and near[j, t] < cut[j]:
                outer = max(0.0, 2.0 * near[j, t] / cut[j] - 1.0)
                weight = weights[j, t] * (1.0 - outer**2) ** 2
                total += weight
                x += weight * places[j, t, 0]
                y += weight * places[j, t, 1]
        if total > 0.0:
            most = max(most, abs(x / total - line[j, 0]) + abs(y / total - line[j, 1]))
            line[j, 0], line[j, 1] = x / total, y / total
    return most


@compiled
def _quantile(ordered: FloatArray, share: float) -> float:  # pragma: no cover - compiled
    """Return a quantile of ordered values, linearly between neighbours."""
    rank = share * (len(ordered) - 1)
    low = int(rank)
    high = min(low + 1, len(ordered) - 1)
    middle: float = ordered[low] * (1.0 - (rank - low)) + ordered[high] * (rank - low)
    return middle

"""The robust middle of the places abreast of each station: geometric median, then the mean of those near it; smoothing."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from gpsq.centreline.group_medians import put_in_order
from gpsq.geometry._compiled import compiled, read_only

if TYPE_CHECKING:
    from gpsq.model import BoolArray, FloatArray

#: Weiszfeld's steps for the median (Weiszfeld 1937, Tohoku Math. J. 43:355–386); the line moves by centimetres after ten.
MEDIAN_STEPS = 12
#: Steps with the cut-off: a mean in which places weigh in full to half of it and less and less beyond (Hampel's kind of
#: redescending weight, Huber & Ronchetti 2009, section 4.8), nearly as good as the plain mean where nobody is far off.
CUT_STEPS = 6
#: Every place between two is a median of them. Their mean is taken while they lie this near each other, as two receivers
#: on one road do; of two roads the middle is neither, and the line stays with the one that it began on.
PAIR_APART_M = 30.0
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
#: A station is well supported when its places weigh at least this share of the best supported station near it, …
SUPPORTED_SHARE = 0.3
#: … near being within a few times this many stations.
NEIGHBOUR_STATIONS = 4


def robust_middle(
    places_m: FloatArray, weights: FloatArray, start_m: FloatArray, passed: BoolArray, step_m: float
) -> FloatArray:
    """Return (m, 2) the robust middle of the places of each station: geometric median, then a mean of those near it.

    Parameters
    ----------
    places_m : (m, t, 2) place of each trace at each station, nan where it has none.
    weights : (m, t) weight of each, not negative; traces without weight are left out.
    start_m : (m, 2) where to begin; returned unchanged where no trace has a place.
    passed : (m, t) the stations that a trace passes by, elsewhere. step_m : from station to station.

    Examples
    --------
    >>> places = np.array([[[0.0, 0.0], [0.0, 1.0], [0.0, 50.0]]])
    >>> nowhere = np.zeros((1, 3), dtype=bool)
    >>> robust_middle(places, np.ones((1, 3)), np.zeros((1, 2)), nowhere, 5.0).round(1).tolist()
    [[0.0, 0.5]]
    """
    places, each = read_only(places_m, np.float64), read_only(weights, np.float64)
    line = geometric_median(places, each, start_m)
    _mean_of_pairs(places, each, line)
    if places.shape[1] >= 3:
        least_cut_m = min(LEAST_CUT_M, LEAST_CUT_STATIONS * step_m)
        _mean_of_near(places, each, read_only(passed, np.bool_), line, least_cut_m)
    return line


def geometric_median(places_m: FloatArray, weights: FloatArray, start_m: FloatArray) -> FloatArray:
    """Return (m, 2) the weighted geometric median of the places of each station; parameters as in `robust_middle`.

    Examples
    --------
    >>> places = np.array([[[0.0, 0.0], [0.0, 1.0], [0.0, 50.0]]])
    >>> geometric_median(places, np.ones((1, 3)), np.array([[0.0, 17.0]])).round(1).tolist()
    [[0.0, 1.0]]
    """
    line = np.array(start_m, dtype=np.float64, order="C")
    _median(read_only(places_m, np.float64), read_only(weights, np.float64), line)
    return line


@compiled
def _median(places: FloatArray, weights: FloatArray, line: FloatArray) -> None:  # pragma: no cover - compiled
    """Move each station to the weighted geometric median of its (m, t, 2) places."""
    stations, count, _ = places.shape
    xs, ys, ws, pull = np.empty(count), np.empty(count), np.empty(count), np.empty(count)
    for j in range(stations):
        seen = 0
        for t in range(count):
            if weights[j, t] > 0.0 and not np.isnan(places[j, t, 0]):
                xs[seen], ys[seen], ws[seen] = places[j, t, 0], places[j, t, 1], weights[j, t]
                seen += 1
        if seen == 0:
            continue
        for _ in range(MEDIAN_STEPS):
            for t in range(seen):  # apart from the sums below, so that it is done for several traces at once
                pull[t] = ws[t] / max(np.sqrt((xs[t] - line[j, 0]) ** 2 + (ys[t] - line[j, 1]) ** 2), 0.05)
            total, x, y = 0.0, 0.0, 0.0
            for t in range(seen):
                total += pull[t]
                x += pull[t] * xs[t]
                y += pull[t] * ys[t]
            moved = abs(x / total - line[j, 0]) + abs(y / total - line[j, 1])
            line[j, 0], line[j, 1] = x / total, y / total
            if moved < STILL_M:
                break


def _mean_of_pairs(places: FloatArray, weights: FloatArray, line: FloatArray) -> None:
    """Move each station that just two traces pass near each other to the mean of their places."""
    counted = ~np.isnan(places[:, :, 0]) & (weights > 0)
    at = np.flatnonzero(counted.sum(axis=1) == 2)
    pairs = places[at][counted[at]].reshape(-1, 2, 2)
    share = weights[at][counted[at]].reshape(-1, 2, 1)
    near = np.hypot(*(pairs[:, 0] - pairs[:, 1]).T) <= PAIR_APART_M
    line[at[near]] = ((pairs * share).sum(axis=1) / share.sum(axis=1))[near]


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
    away, near = np.zeros((stations, count)), np.empty((stations, count))
    cut, middle, elsewhere = np.empty(stations), np.empty(stations), np.empty((stations, count), dtype=np.bool_)
    for _ in range(CUT_STEPS):
        _distances(places, there, passed, line, away)
        _mean_distances(away, there, passed, near)
        _cut_offs(near, least_cut_m, cut, middle)
        for j in range(stations):
            for t in range(count):
                elsewhere[j, t] = passed[j, t] or (there[j, t] and near[j, t] >= cut[j])
        _spread_outward(away, there, middle, elsewhere)
        most = 0.0
        for j in range(stations):
            most = max(most, _move_to_mean(places[j], weights[j], near[j], elsewhere[j], cut[j], line[j]))
        if most < STILL_M:
            break


@compiled
def _distances(
    places: FloatArray, there: BoolArray, passed: BoolArray, line: FloatArray, away: FloatArray
) -> None:  # pragma: no cover - compiled
    """Fill `away` (m, t) with each trace's distance from the line; where it passes by, as far as that counts."""
    for j in range(len(line)):
        for t in range(away.shape[1]):
            if there[j, t]:
                away[j, t] = np.sqrt((places[j, t, 0] - line[j, 0]) ** 2 + (places[j, t, 1] - line[j, 1]) ** 2)
            elif passed[j, t]:
                away[j, t] = PASSED_BY_M


@compiled
def _mean_distances(
    away: FloatArray, there: BoolArray, passed: BoolArray, near: FloatArray
) -> None:  # pragma: no cover - compiled
    """Fill `near` (m, t) with each trace's mean distance over the stations around; infinite where it has no place."""
    stations, count = away.shape
    total, number = np.zeros(count), np.zeros(count)
    for j in range(-NEAR_STATIONS, stations):
        into, out = j + NEAR_STATIONS, j - NEAR_STATIONS - 1
        for t in range(count):
            if into < stations and (there[into, t] or passed[into, t]):
                total[t] += away[into, t]
                number[t] += 1.0
            if out >= 0 and (there[out, t] or passed[out, t]):
                total[t] -= away[out, t]
                number[t] -= 1.0
            if j >= 0:
                near[j, t] = total[t] / number[t] if there[j, t] else np.inf


@compiled
def _cut_offs(
    near: FloatArray, least_cut_m: float, cut: FloatArray, middle: FloatArray
) -> None:  # pragma: no cover - compiled
    """Fill `cut` (m,) with the distance beyond which a trace is elsewhere, `middle` (m,) with the median distance."""
    stations, count = near.shape
    column, rank = np.empty(count), np.arange(count)
    for j in range(stations):
        put_in_order(near[j], rank, column)
        here = 0
        while here < count and column[here] < np.inf:
            here += 1
        cut[j], middle[j] = np.inf, np.inf
        if here >= 3:
            cut[j] = max(least_cut_m, CUT_FACTOR * _quantile(column[:here], CUT_QUANTILE))
            middle[j] = _quantile(column[:here], 0.5)


@compiled
def _spread_outward(
    away: FloatArray, there: BoolArray, middle: FloatArray, elsewhere: BoolArray
) -> None:  # pragma: no cover - compiled
    """Let a trace that is elsewhere stay so on both sides while its distance falls and exceeds the others' median.

    Else the last places of a trace that leaves the road would draw the line after it.
    """
    stations, count = away.shape
    for t in range(count):
        for j in range(1, stations):
            if elsewhere[j - 1, t] and there[j, t] and middle[j] < away[j, t] < away[j - 1, t]:
                elsewhere[j, t] = True
        for j in range(stations - 2, -1, -1):
            if elsewhere[j + 1, t] and there[j, t] and middle[j] < away[j, t] < away[j + 1, t]:
                elsewhere[j, t] = True


@compiled
def _move_to_mean(
    places: FloatArray, weights: FloatArray, near: FloatArray, elsewhere: BoolArray, cut: float, at: FloatArray
) -> float:  # pragma: no cover - compiled
    """Move a place to the mean of the (t, 2) places of the traces that are not elsewhere; return by how much."""
    if cut == np.inf:
        return 0.0
    total, x, y = 0.0, 0.0, 0.0
    for t in range(len(near)):
        if not elsewhere[t] and near[t] < cut:
            outer = max(0.0, 2.0 * near[t] / cut - 1.0)
            weight = weights[t] * (1.0 - outer**2) ** 2
            total += weight
            x += weight * places[t, 0]
            y += weight * places[t, 1]
    if total == 0.0:
        return 0.0
    moved: float = abs(x / total - at[0]) + abs(y / total - at[1])
    at[0], at[1] = x / total, y / total
    return moved


@compiled
def _quantile(ordered: FloatArray, share: float) -> float:  # pragma: no cover - compiled
    """Return a quantile of ordered values, linearly between neighbours."""
    rank = share * (len(ordered) - 1)
    low = int(rank)
    high = min(low + 1, len(ordered) - 1)
    middle: float = ordered[low] * (1.0 - (rank - low)) + ordered[high] * (rank - low)
    return middle


def steadied(moved_m: FloatArray, weight: FloatArray) -> FloatArray:
    """Return how far to move a line at each station, taking along stations that few traces support.

    At the edge of a gap or of a late start one trace may stand alone beside stations of many; on its own it would bend
    the line by its own error, and a bend that grows from round to round is a spur.

    Parameters
    ----------
    moved_m : (m, 2) moves found station by station. weight : (m,) total weight of the places behind each.

    Returns
    -------
    (m, 2) the move of a well supported station as it is; of others, the more the less they are supported, the weighted
    mean of the moves around.
    """
    reach = 3 * NEIGHBOUR_STATIONS
    kernel = np.exp(-0.5 * (np.arange(-reach, reach + 1) / NEIGHBOUR_STATIONS) ** 2)
    around = np.convolve(weight, kernel, mode="full")[reach:-reach]
    mean = (
        np.column_stack([np.convolve(weight * moved_m[:, axis], kernel, mode="full")[reach:-reach] for axis in (0, 1)])
        / np.maximum(around, 1e-12)[:, None]
    )
    padded = np.pad(weight, reach, mode="constant")
    most = np.lib.stride_tricks.sliding_window_view(padded, 2 * reach + 1).max(axis=1)
    trust = np.clip(weight / np.maximum(SUPPORTED_SHARE * most, 1e-12), 0.0, 1.0)[:, None]
    return np.asarray(trust * moved_m + (1.0 - trust) * mean)


def smooth(xy_m: FloatArray, stations: float) -> FloatArray:
    """Return the line smoothed by a Gaussian over `stations` steps, its two ends kept where they are."""
    reach = max(1, int(np.ceil(3 * stations)))
    if len(xy_m) <= reach:
        return xy_m.copy()
    kernel = np.exp(-0.5 * (np.arange(-reach, reach + 1) / stations) ** 2)
    kernel /= kernel.sum()
    # mirrored through the end points, so that the ends stay and the line does not shrink
    before, after = 2 * xy_m[0] - xy_m[reach:0:-1], 2 * xy_m[-1] - xy_m[-2 : -reach - 2 : -1]
    padded = np.vstack([before, xy_m, after])
    return np.column_stack([np.convolve(padded[:, axis], kernel, mode="valid") for axis in (0, 1)])

"""The robust middle of the places abreast of each station: geometric median, then the mean of those near it; smoothing."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from gpsq._compiled import compiled

if TYPE_CHECKING:
    from gpsq.model import FloatArray, IntArray

#: Weiszfeld's steps for the median (Weiszfeld 1937, Tohoku Math. J. 43:355–386); the line moves by centimetres after ten.
MEDIAN_STEPS = 12
#: Steps with the cut-off: a mean in which places weigh in full to half of it and less and less beyond (Hampel's kind of
#: redescending weight, Huber & Ronchetti 2009, section 4.8), nearly as good as the plain mean where nobody is far off.
CUT_STEPS = 6
#: Every place between two is a median of them. Their mean is taken while they lie this near each other, as two receivers
#: on one road do; of two roads the middle is neither, and the line stays with the one that it began on.
PAIR_APART_M = 30.0
#: A step that moves a place by less than this is the last: a hundredth of what the results are rounded to.
STILL_M = 1e-4
#: A trace is near or far over this many stations on either side, not at one: else the middle would hop between two roads
#: from station to station.
NEAR_STATIONS = 10
#: The cut-off is a multiple of a low quantile of the distances from the middle, because up to half of the traces may be on
#: roads of their own: the median distance would then be theirs. For normal noise that quantile is 0.93 standard deviations.
CUT_QUANTILE = 0.35
#: The multiple is the first where the upper quartile is no further than normal noise puts it (1.8 times the low quantile,
#: more with receivers of unequal quality), the second where it is so far that others must be elsewhere.
CUT_FACTORS, QUARTILE_RATIOS = (5.5, 1.8), (1.55, 2.15)
#: A cut-off below this would quarrel with the noise of any receiver.
LEAST_CUT_M = 8.0
#: A station is well supported when its places weigh at least this share of the best supported station near it, …
SUPPORTED_SHARE = 0.3
#: … near being within a few times this many stations.
NEIGHBOUR_STATIONS = 4


def robust_middle(places_m: FloatArray, weights: FloatArray, start_m: FloatArray) -> FloatArray:
    """Return (m, 2) the robust middle of the places of each station: geometric median, then a mean of those near it.

    Parameters
    ----------
    places_m : (t, m, 2) place of each trace at each station, nan where it has none.
    weights : (t, m) weight of each, not negative.
    start_m : (m, 2) where to begin; returned unchanged where no trace has a place.

    Examples
    --------
    >>> places = np.array([[[0.0, 0.0]], [[0.0, 1.0]], [[0.0, 50.0]]])
    >>> robust_middle(places, np.ones((3, 1)), np.zeros((1, 2))).round(1).tolist()
    [[0.0, 0.5]]
    """
    line = np.array(start_m, dtype=np.float64, order="C")
    # station by station, so that what is looked at together lies together
    places = np.array(np.asarray(places_m, dtype=np.float64).swapaxes(0, 1), order="C")
    each = np.array(np.asarray(weights, dtype=np.float64).T, order="C")
    _median(places, each, line)
    _mean_of_pairs(places, each, line)
    if places.shape[1] >= 3:
        _mean_of_near(places, each, line)
    return line


@compiled
def _median(places: FloatArray, weights: FloatArray, line: FloatArray) -> None:  # pragma: no cover - compiled
    """Move each station to the weighted geometric median of its (m, t, 2) places."""
    stations, count, _ = places.shape
    xs, ys, ws = np.empty(count), np.empty(count), np.empty(count)
    for j in range(stations):
        seen = 0
        for t in range(count):
            if not np.isnan(places[j, t, 0]):
                xs[seen], ys[seen], ws[seen] = places[j, t, 0], places[j, t, 1], weights[j, t]
                seen += 1
        for _ in range(MEDIAN_STEPS):
            total, x, y = 0.0, 0.0, 0.0
            for t in range(seen):
                distance = np.sqrt((xs[t] - line[j, 0]) ** 2 + (ys[t] - line[j, 1]) ** 2)
                weight = ws[t] / max(distance, 0.05)
                total += weight
                x += weight * xs[t]
                y += weight * ys[t]
            if total == 0.0:
                break
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
def _mean_of_near(places: FloatArray, weights: FloatArray, line: FloatArray) -> None:  # pragma: no cover - compiled
    """Move each station to the mean of its (m, t, 2) places, those of traces that run far from the line thereabouts left out."""
    stations, count, _ = places.shape
    near = np.empty((stations, count))
    sums, counts = np.zeros((stations + 1, count)), np.zeros((stations + 1, count))
    column, rank = np.empty(count), np.arange(count)
    for _ in range(CUT_STEPS):
        moved = 0.0
        _distances_thereabouts(places, line, sums, counts, near)
        for j in range(stations):
            seen = _put_in_order(near[j], weights[j], rank, column)
            if seen < 3:
                continue
            low, high = _quantile(column[:seen], CUT_QUANTILE), _quantile(column[:seen], 0.75)
            apart = (high / max(low, 0.01) - QUARTILE_RATIOS[0]) / (QUARTILE_RATIOS[1] - QUARTILE_RATIOS[0])
            elsewhere = min(max(apart, 0.0), 1.0)
            cut = max(LEAST_CUT_M, low * (CUT_FACTORS[0] + elsewhere * (CUT_FACTORS[1] - CUT_FACTORS[0])))
            total, x, y = 0.0, 0.0, 0.0
            for t in range(count):
                if np.isnan(near[j, t]) or near[j, t] >= cut:
                    continue
                outer = max(0.0, 2.0 * near[j, t] / cut - 1.0)
                weight = weights[j, t] * (1.0 - outer**2) ** 2
                total += weight
                x += weight * places[j, t, 0]
                y += weight * places[j, t, 1]
            if total > 0.0:
                moved = max(moved, abs(x / total - line[j, 0]) + abs(y / total - line[j, 1]))
                line[j, 0], line[j, 1] = x / total, y / total
        if moved < STILL_M:
            break


@compiled
def _put_in_order(
    near: FloatArray, weights: FloatArray, rank: IntArray, column: FloatArray
) -> int:  # pragma: no cover - compiled
    """Fill `column` with the distances that count, in order; return how many.

    `rank` is the order at the station before: from one to the next it hardly changes, so little has to be moved.
    """
    seen = 0
    for k in range(len(rank)):
        t, place, distance = rank[k], k, np.inf
        if not np.isnan(near[t]) and weights[t] > 0:
            distance = near[t]
            seen += 1
        while place > 0 and column[place - 1] > distance:
            column[place], rank[place] = column[place - 1], rank[place - 1]
            place -= 1
        column[place], rank[place] = distance, t
    return seen


@compiled
def _quantile(ordered: FloatArray, share: float) -> float:  # pragma: no cover - compiled
    """Return a quantile of ordered values, linearly between neighbours."""
    rank = share * (len(ordered) - 1)
    low = int(rank)
    high = min(low + 1, len(ordered) - 1)
    middle: float = ordered[low] * (1.0 - (rank - low)) + ordered[high] * (rank - low)
    return middle


@compiled
def _distances_thereabouts(
    places: FloatArray, line: FloatArray, sums: FloatArray, counts: FloatArray, out: FloatArray
) -> None:  # pragma: no cover - compiled
    """Fill `out` (m, t) with each trace's mean distance from the line over the stations around; nan where it has none.

    `sums` and `counts` (m + 1, t) begin with a row of zeros; they hold running totals.
    """
    stations, count, _ = places.shape
    for j in range(stations):
        for t in range(count):
            there = not np.isnan(places[j, t, 0])
            distance = 0.0
            if there:
                distance = np.sqrt((places[j, t, 0] - line[j, 0]) ** 2 + (places[j, t, 1] - line[j, 1]) ** 2)
            sums[j + 1, t], counts[j + 1, t] = sums[j, t] + distance, counts[j, t] + there
    for j in range(stations):
        low, high = max(0, j - NEAR_STATIONS), min(stations, j + NEAR_STATIONS + 1)
        for t in range(count):
            known = not np.isnan(places[j, t, 0])
            out[j, t] = (sums[high, t] - sums[low, t]) / (counts[high, t] - counts[low, t]) if known else np.nan


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


def smooth(xy_m: FloatArray, stations: float = 1.0) -> FloatArray:
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

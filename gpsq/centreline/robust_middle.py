"""The robust middle of the places abreast of each station: geometric median, then the mean of those near it; smoothing."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from gpsq.geometry._compiled import compiled, read_only

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
#: A step that moves a place by less than this is the last: a tenth of what the results are rounded to.
STILL_M = 1e-3
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
    places_m : (m, t, 2) place of each trace at each station, nan where it has none.
    weights : (m, t) weight of each, not negative; traces without weight are left out.
    start_m : (m, 2) where to begin; returned unchanged where no trace has a place.

    Examples
    --------
    >>> places = np.array([[[0.0, 0.0], [0.0, 1.0], [0.0, 50.0]]])
    >>> robust_middle(places, np.ones((1, 3)), np.zeros((1, 2))).round(1).tolist()
    [[0.0, 0.5]]
    """
    line = np.array(start_m, dtype=np.float64, order="C")
    places, each = read_only(places_m, np.float64), read_only(weights, np.float64)
    _median(places, each, line)
    _mean_of_pairs(places, each, line)
    if places.shape[1] >= 3:
        _mean_of_near(places, each, line)
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
def _mean_of_near(places: FloatArray, weights: FloatArray, line: FloatArray) -> None:  # pragma: no cover - compiled
    """Move each station to the mean of its (m, t, 2) places, those of traces that run far from the line thereabouts left out.

    A station is looked at again only if one thereabouts moved.
    """
    stations, count, _ = places.shape
    there = np.zeros((stations, count))
    for j in range(stations):
        for t in range(count):
            there[j, t] = weights[j, t] > 0.0 and not np.isnan(places[j, t, 0])
    away, near = np.zeros((stations, count)), np.empty(count)
    column, ranks = np.empty(count), np.empty((stations, count), dtype=np.int64)
    moved, moves = np.full(stations, np.inf), np.zeros(stations)
    for step in range(CUT_STEPS):
        _distances(places, there, line, moved, away)
        last, ahead = -1, 0
        for j in range(stations):
            low, high = max(0, j - NEAR_STATIONS), min(stations, j + NEAR_STATIONS + 1)
            while ahead < high:
                last = ahead if moved[ahead] >= STILL_M else last
                ahead += 1
            moves[j] = 0.0
            if step == 0:  # begin with the order of the station before; later with this one's own, which hardly changes
                ranks[j] = ranks[j - 1] if j > 0 else np.arange(count)
            if last < low:
                continue
            here = _mean_distances(away, there, low, high, j, near)
            if here < 3:
                continue
            cut = _cut_off(near, ranks[j], column, int(here))
            moves[j] = _move_to_mean(places[j], weights[j], near, cut, line[j])
        if moves.max() < STILL_M:
            break
        moved, moves = moves, moved


@compiled
def _distances(
    places: FloatArray, there: FloatArray, line: FloatArray, moved: FloatArray, away: FloatArray
) -> None:  # pragma: no cover - compiled
    """Fill `away` (m, t) with each trace's distance from the line at the stations that moved; 0 where it has none."""
    for j in range(len(line)):
        if moved[j] >= STILL_M:
            for t in range(away.shape[1]):
                if there[j, t] > 0.0:
                    away[j, t] = np.sqrt((places[j, t, 0] - line[j, 0]) ** 2 + (places[j, t, 1] - line[j, 1]) ** 2)


@compiled
def _mean_distances(
    away: FloatArray, there: FloatArray, low: int, high: int, j: int, near: FloatArray
) -> float:  # pragma: no cover - compiled
    """Fill `near` (t,) with each trace's mean distance over the stations around j, and return how many are there.

    Infinite where it has no place at station j.
    """
    number = np.zeros(len(near))
    near[:] = 0.0
    for k in range(low, high):
        near += away[k]
        number += there[k]
    here = 0.0
    for t in range(len(near)):
        here += there[j, t]
        near[t] = near[t] / number[t] if there[j, t] > 0.0 else np.inf
    return here


@compiled
def _cut_off(near: FloatArray, rank: IntArray, column: FloatArray, here: int) -> float:  # pragma: no cover - compiled
    """Return the distance beyond which a trace is elsewhere."""
    _put_in_order(near, rank, column)
    low, high = _quantile(column[:here], CUT_QUANTILE), _quantile(column[:here], 0.75)
    apart = (high / max(low, 0.01) - QUARTILE_RATIOS[0]) / (QUARTILE_RATIOS[1] - QUARTILE_RATIOS[0])
    elsewhere = min(max(apart, 0.0), 1.0)
    return max(LEAST_CUT_M, low * (CUT_FACTORS[0] + elsewhere * (CUT_FACTORS[1] - CUT_FACTORS[0])))


@compiled
def _move_to_mean(
    places: FloatArray, weights: FloatArray, near: FloatArray, cut: float, at: FloatArray
) -> float:  # pragma: no cover - compiled
    """Move a place to the mean of the (t, 2) places of the traces nearer than the cut-off; return by how much."""
    total, x, y = 0.0, 0.0, 0.0
    for t in range(len(near)):
        if near[t] < cut:
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
def _put_in_order(near: FloatArray, rank: IntArray, column: FloatArray) -> None:  # pragma: no cover - compiled
    """Fill `column` with the distances in order; `rank` is an order that was nearly this one, and becomes it."""
    for k in range(len(rank)):
        t, place = rank[k], k
        distance = near[t]
        while place > 0 and column[place - 1] > distance:
            column[place], rank[place] = column[place - 1], rank[place - 1]
            place -= 1
        column[place], rank[place] = distance, t


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

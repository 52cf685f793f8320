"""The robust middle of the places abreast of each station: geometric median, then the mean of those near it; smoothing."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from gpsq.centreline.near_means import STILL_M, mean_of_near
from gpsq.geometry._compiled import compiled, read_only

if TYPE_CHECKING:
    from gpsq.model import BoolArray, FloatArray

#: Weiszfeld's steps for the median (Weiszfeld 1937, Tohoku Math. J. 43:355–386); the line moves by centimetres after ten.
MEDIAN_STEPS = 12
#: Every place between two is a median of them. Their mean is taken while they lie this near each other, as two receivers
#: on one road do; of two roads the middle is neither, and the line stays with the one that it began on.
PAIR_APART_M = 30.0
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
        mean_of_near(places, each, passed, line, step_m)
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
            at_x, at_y = line[j, 0], line[j, 1]
            for t in range(seen):  # apart from the sums below, so that it is done for several traces at once
                pull[t] = ws[t] / max(np.sqrt((xs[t] - at_x) ** 2 + (ys[t] - at_y) ** 2), 0.05)
            total, x, y = 0.0, 0.0, 0.0
            for t in range(seen):
                total += pull[t]
                x += pull[t] * xs[t]
                y += pull[t] * ys[t]
            moved = abs(x / total - at_x) + abs(y / total - at_y)
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

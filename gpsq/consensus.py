"""The robust middle of the places abreast of each station, a weighted geometric median with a cut-off; smoothing."""

from __future__ import annotations

import numpy as np

from gpsq._compiled import compiled
from gpsq.model import FloatArray

#: Weiszfeld's steps for the median (Weiszfeld 1937, Tohoku Math. J. 43:355–386); the line moves by centimetres after ten.
MEDIAN_STEPS = 12
#: Steps with the cut-off, each down-weighting places far from the middle (Tukey's biweight).
CUT_STEPS = 6
#: The cut-off is this many times a low quantile of the distances from the middle, because up to half of the traces may
#: be on roads of their own: the median distance would then be theirs. For normal noise it lies at 3.3 standard deviations.
CUT_FACTOR, CUT_QUANTILE = 3.6, 0.35
#: A cut-off below this would quarrel with the noise of any receiver.
LEAST_CUT_M = 8.0


def geometric_median(places_m: FloatArray, weights: FloatArray, start_m: FloatArray) -> FloatArray:
    """Return (m, 2) the robust middle of the places of each station.

    Parameters
    ----------
    places_m : (t, m, 2) place of each trace at each station, nan where it has none.
    weights : (t, m) weight of each, not negative.
    start_m : (m, 2) where to begin; returned unchanged where no trace has a place (nan if it is nan).

    Examples
    --------
    >>> places = np.array([[[0.0, 0.0]], [[0.0, 1.0]], [[0.0, 50.0]]])
    >>> geometric_median(places, np.ones((3, 1)), np.zeros((1, 2))).round(1).tolist()
    [[0.0, 0.5]]
    """
    return np.asarray(
        _middle(np.ascontiguousarray(places_m), np.ascontiguousarray(weights), np.array(start_m, order="C"))
    )


@compiled
def _middle(places: FloatArray, weights: FloatArray, start: FloatArray) -> FloatArray:  # pragma: no cover - compiled
    count, stations, _ = places.shape
    out = start.copy()
    distances = np.empty(count)
    for j in range(stations):
        x, y, cut = out[j, 0], out[j, 1], np.inf
        for step in range(MEDIAN_STEPS + CUT_STEPS):
            if step == MEDIAN_STEPS:
                seen = 0
                for t in range(count):
                    if not np.isnan(places[t, j, 0]) and weights[t, j] > 0:
                        distances[seen] = np.hypot(places[t, j, 0] - x, places[t, j, 1] - y)
                        seen += 1
                if seen < 3:
                    break
                cut = max(LEAST_CUT_M, CUT_FACTOR * np.quantile(distances[:seen], CUT_QUANTILE))
            total, sum_x, sum_y = 0.0, 0.0, 0.0
            for t in range(count):
                if np.isnan(places[t, j, 0]):
                    continue
                distance = np.hypot(places[t, j, 0] - x, places[t, j, 1] - y)
                if distance >= cut:
                    continue
                weight = weights[t, j]
                if cut == np.inf:
                    weight /= max(distance, 0.05)
                else:
                    weight *= (1.0 - (distance / cut) ** 2) ** 2
                total += weight
                sum_x += weight * places[t, j, 0]
                sum_y += weight * places[t, j, 1]
            if total == 0.0:
                break
            x, y = sum_x / total, sum_y / total
        out[j, 0], out[j, 1] = x, y
    return out


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

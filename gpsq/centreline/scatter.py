"""The scatter of each trace about its *own device's* usual line: what a place of it is worth."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from gpsq.centreline.near_means import median_known
from gpsq.geometry._compiled import compiled, read_only

if TYPE_CHECKING:
    from gpsq.model import BoolArray, FloatArray, IntArray

#: The variance of a trace is trusted within this factor of the usual one, so that none weighs for many.
VARIANCE_RANGE = 9.0
#: Smallest variance a receiver is believed to have, in m²; rounding and short overlaps give less.
LEAST_VARIANCE_M2 = 0.25
#: A distance from the usual line counts for at most this many median ones: a detour is no scatter.
LARGEST_SCATTER = 4.0


def own_variance(
    places_m: FloatArray, there: BoolArray, group: IntArray, median_m: FloatArray, number: FloatArray, keep: BoolArray
) -> FloatArray:
    """Return (t,) the variance per axis of each trace about the usual line of its group of traces.

    Parameters
    ----------
    places_m : (m, t, 2) places of the traces. there : (m, t) where they count. group : (t,) of each, its number.
    median_m, number : (m, g, 2) the usual line of each group, and (m, g) how many traces are behind it.
    keep : (t,) the traces that count.
    """
    places, median, count = (read_only(v, np.float64) for v in (places_m, median_m, number))
    variance = _about_own_line(places, median, count, read_only(there, np.bool_), read_only(group, np.int64))
    known = np.isfinite(variance)
    usual = float(np.median(variance[known])) if known.any() else LEAST_VARIANCE_M2
    variance = np.clip(np.where(known, variance, usual), usual / VARIANCE_RANGE, usual * VARIANCE_RANGE)
    # one trace tells little of its own variance, as its errors are correlated along the way: half of it, in logarithms,
    # is taken from its device
    summed = np.bincount(group[keep], variance[keep], number.shape[1])
    mean = summed / np.maximum(np.bincount(group[keep], minlength=number.shape[1]), 1)
    variance[keep] = np.sqrt(variance[keep] * mean[group[keep]])
    return np.asarray(np.maximum(variance, LEAST_VARIANCE_M2))


@compiled
def _about_own_line(
    places: FloatArray, median: FloatArray, number: FloatArray, there: BoolArray, group: IntArray
) -> FloatArray:  # pragma: no cover - compiled
    """Return (t,) half the mean square distance of each trace from its group's line, nan where it is the only one.

    A distance counts as at most `LARGEST_SCATTER` times the median one; of n traces a median is off by a share of each.
    """
    variance, away = np.full(len(group), np.nan), np.empty(len(places))
    for t in range(len(group)):
        g, seen = group[t], 0
        for j in range(len(places)):
            n = number[j, g]
            if there[j, t] and n > 1.0:
                x, y = places[j, t, 0] - median[j, g, 0], places[j, t, 1] - median[j, g, 1]
                away[seen] = np.sqrt((x * x + y * y) * n / (n - 1.0))
                seen += 1
        if seen > 0:
            most, total = LARGEST_SCATTER * median_known(away[:seen]), 0.0
            for k in range(seen):
                total += min(away[k], most) ** 2
            variance[t] = total / seen / 2.0
    return variance

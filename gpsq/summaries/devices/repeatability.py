"""How well a device repeats its own track: the standard deviation between its rides, in the sense of ISO 5725-2.

Each ride is held against the middle of the device's other rides at each station, so that an offset that all share is no
part of it, and neither is the ride itself. The standard deviation is taken from the 68th percentile of these distances, a
scaled quantile as ISO 13528 (2022, annex C) takes its robust estimates, so one fault hardly moves it.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from gpsq.statistics import intervals
from gpsq.summaries.devices.others import less_the_middle_of_others
from gpsq.summary_types import Interval

if TYPE_CHECKING:
    from collections.abc import Sequence

    from gpsq.model import FloatArray

#: Share of a normal error within one standard deviation.
ONE_SD = 0.6827
#: k times the variance of the median of k normal values of variance 1, from k = 1 on: 1 for one and two, towards π/2 for
#: many (values from memory, checked by drawing in tests/summaries/test_repeatability.py).
MEDIAN_LOSS = (1.0, 1.0, 1.346, 1.193, 1.434, 1.288, 1.473, 1.345, 1.495, 1.383)
#: Leaving out one ride at a time is too slow for hundreds of them; then blocks of rides are left out.
MOST_BLOCKS = 40


def from_others(offset_m: FloatArray) -> FloatArray:
    """Return each ride's distance from the middle of the others at each station, made as large as its own error.

    Parameters
    ----------
    offset_m : (n, m) offsets of one device's rides from one common line, nan where not scored.

    Returns
    -------
    (n, m) distances, nan where no other ride is. The middle of k others has noise of its own, c/k of the variance of one
    ride, where c is 1 for a mean (k of one or two) and up to π/2 for a median; each distance is divided by √(1 + c/k).

    Examples
    --------
    >>> from_others(np.array([[0.0], [2.0], [2.0]])).round(3).ravel().tolist()
    [-1.633, 0.816, 0.816]
    """
    others = np.isfinite(offset_m).sum(axis=0) - 1
    found = less_the_middle_of_others(offset_m, np.arange(len(offset_m)))
    return np.asarray(found / np.sqrt(1 + _loss(others)), dtype=float)


def _loss(others: FloatArray) -> FloatArray:
    """Return the variance of the middle of so many rides, in units of that of one."""
    table = np.array(MEDIAN_LOSS)
    size = np.maximum(others, 1)
    return np.asarray(np.where(size <= len(table), table[np.minimum(size, len(table)) - 1], np.pi / 2) / size, float)


def figure(routes: Sequence[FloatArray], confidence: float = 0.95) -> Interval:
    """Return the repeatability in metres over one device's routes.

    Parameters
    ----------
    routes : for each route the (n, m) offsets of its rides from one common line.

    Notes
    -----
    For the interval rides are left out in turn, from what the others are held against too.
    """
    enough = [rows for rows in routes if (np.isfinite(rows).sum(axis=0) > 1).any()]
    if not enough:
        return Interval(np.nan, method="none: fewer than 2 scored rides on any route")
    sizes = [_sizes(rows) for rows in enough]
    value = one_sd(sizes)
    without = []
    for k, rows in enumerate(enough):
        scored = np.flatnonzero(np.isfinite(rows).any(axis=1))
        blocks = np.arange(len(scored)) % min(len(scored), MOST_BLOCKS)
        for block in range(blocks.max() + 1):
            kept = np.ones(len(rows), dtype=bool)
            kept[scored[blocks == block]] = False
            without.append(one_sd([*sizes[:k], _sizes(rows[kept]), *sizes[k + 1 :]]))
    return intervals.log_jackknife(value, np.array(without), confidence)


def _sizes(offset_m: FloatArray) -> FloatArray:
    size = np.abs(from_others(offset_m)).ravel()
    return np.asarray(size[np.isfinite(size)])


def one_sd(sizes: Sequence[FloatArray]) -> float:
    """Return the size that 68.27 % of all values keep, nan where there are none.

    Examples
    --------
    >>> one_sd([np.array([1.0, 3.0]), np.array([2.0, 9.0])])
    3.0
    """
    everything = np.concatenate(sizes)
    if not everything.size:
        return float("nan")
    at = int(ONE_SD * (everything.size - 1))
    return float(np.partition(everything, at)[at])

"""How well a device repeats its own track: the standard deviation between its rides, in the sense of ISO 5725-2.

Each ride is held against the middle of the device's other rides at each station, so that an offset that all share is no
part of it, and neither is the ride itself. The standard deviation is taken from the 68th percentile of these distances, a
scaled quantile as ISO 13528 (2022, annex C) takes its robust estimates, so one fault hardly moves it.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from gpsq.statistics import intervals
from gpsq.summaries.devices.others import less_the_middle_in_turn
from gpsq.summary_types import Interval

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

    from gpsq.model import BoolArray, FloatArray

#: Share of a normal error within one standard deviation.
ONE_SD = 0.6827
#: k times the variance of the median of k normal values of variance 1, from k = 1 on: 1 for one and two, towards π/2 for
#: many (values from memory, checked by drawing in tests/summaries/test_repeatability.py).
MEDIAN_LOSS = (1.0, 1.0, 1.346, 1.193, 1.434, 1.288, 1.473, 1.345, 1.495, 1.383)
#: Leaving out one ride at a time is too slow for hundreds of them; then blocks of rides are left out.
MOST_BLOCKS = 40
#: Sizes up to this many times larger or smaller than the one that 68.27 % keep are looked at when a ride is left out.
NEAR = 1.05


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
    (found,) = from_others_in_turn(offset_m, np.ones((1, len(offset_m)), dtype=bool))
    return found


def from_others_in_turn(offset_m: FloatArray, kept: BoolArray) -> Iterator[FloatArray]:
    """Give for each row of `kept` (t, n) the distances `from_others` of the rides that are kept, nan in those left out."""
    for found in less_the_middle_in_turn(offset_m, kept):
        others = np.isfinite(found).sum(axis=0) - 1
        yield np.asarray(found / np.sqrt(1 + _loss(others)), dtype=float)


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
    scored = [rows[np.isfinite(rows).any(axis=1)] for rows in enough]
    whole = Pooled([_sizes(from_others(rows)) for rows in scored])
    without = [
        whole.with_other(k, _sizes(found))
        for k, rows in enumerate(scored)
        for found in from_others_in_turn(rows, blocks_left_out(len(rows)))
    ]
    return intervals.log_jackknife(whole.one_sd, np.array(without), confidence)


def blocks_left_out(rides: int) -> BoolArray:
    """Return (t, rides) which rides are kept in each turn: all but one, or but one block of many.

    >>> blocks_left_out(2).tolist(), blocks_left_out(100).shape, int(blocks_left_out(100)[0].sum())
    ([[False, True], [True, False]], (40, 100), 97)
    """
    blocks = min(rides, MOST_BLOCKS)
    return np.asarray(np.arange(rides) % blocks != np.arange(blocks)[:, None], dtype=bool)


def _sizes(distance_m: FloatArray) -> FloatArray:
    return np.abs(distance_m[np.isfinite(distance_m)])


def one_sd(sizes: Sequence[FloatArray]) -> float:
    """Return the size that 68.27 % of all values keep, nan where there are none.

    Examples
    --------
    >>> one_sd([np.array([1.0, 3.0]), np.array([2.0, 9.0])])
    3.0
    """
    everything = np.concatenate(sizes)
    return _at(everything, int(ONE_SD * (everything.size - 1))) if everything.size else float("nan")


def _at(values: FloatArray, place: int) -> float:
    return float(np.partition(values, place)[place])


class Pooled:
    """The sizes on several routes, of which those of one route are replaced in turn, and what 68.27 % of all keep.

    That hardly moves when a ride is left out, so only sizes near it are looked at; of the others it is enough to know
    how many there are.

    Examples
    --------
    >>> pooled = Pooled([np.array([1.0, 3.0]), np.array([2.0, 9.0])])
    >>> pooled.one_sd, pooled.with_other(0, np.array([1.0, 1.0])), one_sd([np.array([1.0, 1.0]), np.array([2.0, 9.0])])
    (3.0, 2.0, 2.0)
    """

    def __init__(self, sizes: Sequence[FloatArray]) -> None:
        self.sizes = list(sizes)
        self.one_sd = one_sd(sizes)
        self._near = [self._looked_at(own) for own in sizes]

    def with_other(self, route: int, sizes: FloatArray) -> float:
        """Return what 68.27 % of all keep if the route had these sizes."""
        count = sum(map(len, self.sizes)) - len(self.sizes[route]) + len(sizes)
        near = [*self._near[:route], self._looked_at(sizes), *self._near[route + 1 :]]
        place = int(ONE_SD * (count - 1)) - sum(below for below, _ in near)
        looked_at = np.concatenate([own for _, own in near])
        if 0 <= place < len(looked_at):
            return _at(looked_at, place)
        return one_sd([*self.sizes[:route], sizes, *self.sizes[route + 1 :]])

    def _looked_at(self, sizes: FloatArray) -> tuple[int, FloatArray]:
        """Return how many sizes are smaller than those near the middle one, and those that are near it."""
        low, high = self.one_sd / NEAR, self.one_sd * NEAR
        return int((sizes < low).sum()), sizes[(sizes >= low) & (sizes <= high)]

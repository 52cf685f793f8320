"""Medians of the places of groups of traces, station by station, and the order that they rest on."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from gpsq.geometry._compiled import compiled, read_only

if TYPE_CHECKING:
    from gpsq.model import BoolArray, FloatArray, IntArray

#: Traces are put in order by moving each ahead of those that it has passed; with more moves than so many for each they
#: are sorted.
MOST_MOVES = 12


def medians_of_groups(
    places_m: FloatArray, there: BoolArray, group: IntArray, groups: int
) -> tuple[FloatArray, FloatArray]:
    """Return (m, g, 2) the median of each coordinate of the places of each group, and (m, g) how many there are.

    Examples
    --------
    >>> places = np.array([[[0.0, 5.0], [1.0, 5.0], [9.0, 8.0]]])
    >>> median, number = medians_of_groups(places, np.ones((1, 3), dtype=bool), np.array([0, 0, 0]), 1)
    >>> median.tolist(), number.tolist()
    ([[[1.0, 5.0]]], [[3.0]])
    """
    order = np.argsort(group, kind="stable")
    begin = np.searchsorted(group[order], np.arange(groups + 1))
    places, present = read_only(places_m, np.float64), read_only(there, np.bool_)
    median = np.full((len(places_m), groups, 2), np.nan)
    number = np.zeros((len(places_m), groups))
    _medians_of_groups(places, present, read_only(order, np.int64), read_only(begin, np.int64), median, number)
    return median, number


@compiled
def _medians_of_groups(
    places: FloatArray, there: BoolArray, order: IntArray, begin: IntArray, median: FloatArray, number: FloatArray
) -> None:  # pragma: no cover - compiled
    """Fill `median` and `number`; the traces of each group stand together in `order`, from its `begin` on."""
    stations, count, _ = places.shape
    value, column, rank = np.empty(count), np.empty(count), np.empty((2, count), dtype=np.int64)
    for g in range(median.shape[1]):
        for k in range(begin[g], begin[g + 1]):
            rank[0, k] = rank[1, k] = k - begin[g]
    for j in range(stations):
        for g in range(median.shape[1]):
            first, last = begin[g], begin[g + 1]
            for axis in range(2):
                seen = 0
                for k in range(first, last):
                    here = there[j, order[k]]
                    value[k] = places[j, order[k], axis] if here else np.inf
                    seen += here
                put_in_order(value[first:last], rank[axis, first:last], column)  # nearly as at the station before
                number[j, g] = seen
                if seen > 0:
                    median[j, g, axis] = (column[(seen - 1) // 2] + column[seen // 2]) / 2.0


@compiled
def put_in_order(near: FloatArray, rank: IntArray, column: FloatArray) -> None:  # pragma: no cover - compiled
    """Fill `column` with the distances in order; `rank` is an order that was nearly this one, and becomes it.

    Where it was not, as with hundreds of traces whose errors are new at each station, they are sorted anew.
    """
    left = MOST_MOVES * len(rank)
    for k in range(len(rank)):
        t, place = rank[k], k
        distance = near[t]
        while place > 0 and column[place - 1] > distance:
            column[place], rank[place] = column[place - 1], rank[place - 1]
            place -= 1
        column[place], rank[place] = distance, t
        left -= k - place
        if left < 0:
            ordered = np.sort(near)
            for k in range(len(rank)):
                column[k] = ordered[k]
            return

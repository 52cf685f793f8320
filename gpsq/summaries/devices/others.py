"""Rows held against the middle of the others, compiled: a search for places does it some hundred thousand times."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from gpsq.geometry._compiled import compiled, read_only

if TYPE_CHECKING:
    from gpsq.model import FloatArray, IntArray

#: Distances over which values are sorted, the widest first (Ciura 2001, Best increments for the average case of Shellsort).
SORTED_OVER = (701, 301, 132, 57, 23, 10, 4, 1)


def less_the_middle_of_others(rows: FloatArray, group: IntArray) -> FloatArray:
    """Return each row less the median of the rows of other groups in its column.

    Parameters
    ----------
    rows : (…, n, m), nan where not known. group : (n,) number of each row's group, from 0.

    Returns
    -------
    (…, n, m), nan where the row or all the others are not known.

    Examples
    --------
    >>> less_the_middle_of_others(np.array([[0.0], [2.0], [5.0], [1.0]]), np.array([0, 1, 2, 0])).ravel().tolist()
    [-3.5, 1.0, 4.0, -2.5]
    """
    pages = rows.reshape(-1, *rows.shape[-2:])
    return _less_middle(read_only(pages, np.float64), read_only(group, np.int64)).reshape(rows.shape)


@compiled
def _less_middle(pages: FloatArray, group: IntArray) -> FloatArray:  # pragma: no cover - compiled
    copies, n, columns = pages.shape
    left = np.full(pages.shape, np.nan)
    value, of, place, middle = np.empty(n), np.empty(n, np.int64), np.empty(n, np.int64), np.empty(group.max() + 1)
    begin, met = np.empty(len(middle) + 1, np.int64), np.empty(len(middle), np.int64)
    for i in range(copies):
        for j in range(columns):
            known = 0
            for k in range(n):
                if np.isfinite(pages[i, k, j]):
                    value[known], of[known] = pages[i, k, j], group[k]
                    known += 1
            _sort(value, of, known)
            _places(of, known, begin, met, place)
            for g in range(len(middle)):
                middle[g] = _middle_without(value, known, place[begin[g] : begin[g + 1]])
            for k in range(n):
                left[i, k, j] = pages[i, k, j] - middle[group[k]]
    return left


@compiled
def _sort(value: FloatArray, of: IntArray, known: int) -> None:  # pragma: no cover - compiled
    """Sort the first values, and what they are of with them."""
    for gap in SORTED_OVER:
        for k in range(gap, known):
            own, own_of, at = value[k], of[k], k
            while at >= gap and value[at - gap] > own:
                value[at], of[at] = value[at - gap], of[at - gap]
                at -= gap
            value[at], of[at] = own, own_of


@compiled
def _places(
    of: IntArray, known: int, begin: IntArray, met: IntArray, place: IntArray
) -> None:  # pragma: no cover - compiled
    """Fill `place` with the places in `of` of each group in turn, and `begin` with where those of each begin."""
    begin[:] = 0
    for k in range(known):
        begin[of[k] + 1] += 1
    for g in range(len(met)):
        begin[g + 1] += begin[g]
        met[g] = begin[g]
    for k in range(known):
        place[met[of[k]]] = k
        met[of[k]] += 1


@compiled
def _middle_without(value: FloatArray, known: int, own: IntArray) -> float:  # pragma: no cover - compiled
    """Return the median of the first values, which are sorted, without those at the places `own`; nan without any."""
    others = known - len(own)
    if others == 0:
        return np.nan
    low, high = (others - 1) // 2, others // 2
    for k in own:
        low += k <= low
        high += k <= high
    return float(value[low] + value[high]) / 2

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
    value, of, middle = np.empty(n), np.empty(n, np.int64), np.empty(group.max() + 1)
    for i in range(copies):
        for j in range(columns):
            known = 0
            for k in range(n):
                if np.isfinite(pages[i, k, j]):
                    value[known], of[known] = pages[i, k, j], group[k]
                    known += 1
            _sort(value, of, known)
            for g in range(len(middle)):
                middle[g] = _middle_without(value, of, known, g)
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
def _middle_without(value: FloatArray, of: IntArray, known: int, group: int) -> float:  # pragma: no cover - compiled
    """Return the median of the first values, which are sorted, without those of a group; nan without any."""
    others = 0
    for k in range(known):
        others += of[k] != group
    low, high, met = np.nan, np.nan, 0
    for k in range(known):
        if of[k] != group:
            if met == (others - 1) // 2:
                low = value[k]
            if met == others // 2:
                high = value[k]
            met += 1
    return (low + high) / 2

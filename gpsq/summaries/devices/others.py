"""Rows held against the middle of the others: a search for places does it some hundred thousand times.

Columns are sorted by numpy, which compares many values at once; where the middle of the others lies in them is found by
compiled code.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from gpsq.geometry._compiled import compiled, read_only

if TYPE_CHECKING:
    from collections.abc import Iterator

    from gpsq.model import BoolArray, FloatArray, IntArray


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
    by_group = np.argsort(group, kind="stable")
    known = np.where(np.isfinite(rows), rows, np.nan)
    columns = np.swapaxes(known[..., by_group, :], -1, -2)
    flat = np.ascontiguousarray(columns).reshape(-1, len(group))
    begin = np.searchsorted(group[by_group], np.arange(group.max(initial=-1) + 2))
    ordered = read_only(np.sort(flat, axis=1), np.float64)
    middle = _middles(read_only(flat, np.float64), ordered, read_only(begin, np.int64))
    of_rows = middle.reshape(*columns.shape[:-1], len(begin) - 1)[..., group]
    return np.asarray(rows - np.swapaxes(of_rows, -1, -2), dtype=float)


def less_the_middle_in_turn(rows: FloatArray, kept: BoolArray) -> Iterator[FloatArray]:
    """Give, for each choice of rows, each of them less the median of the others that are kept; nan where one is not.

    Parameters
    ----------
    rows : (n, m), nan where not known. kept : (t, n) which rows are kept in each turn.

    Yields
    ------
    (n, m), nan where the row or all the others are not known or not kept.

    Examples
    --------
    >>> rows, kept = np.array([[0.0], [2.0], [5.0]]), np.array([[True, True, True], [True, False, True]])
    >>> [found.ravel().tolist() for found in less_the_middle_in_turn(rows, kept)]
    [[-3.5, -0.5, 4.0], [-5.0, nan, 5.0]]
    """
    columns = read_only(np.where(np.isfinite(rows), rows, np.nan).T, np.float64)
    order = read_only(np.argsort(columns, axis=1), np.int64)
    for some in kept:
        yield _less_middle_of_kept(columns, order, read_only(some, np.bool_)).T


@compiled
def _less_middle_of_kept(
    columns: FloatArray, order: IntArray, kept: BoolArray
) -> FloatArray:  # pragma: no cover - compiled
    """Return what is kept of each line of `columns` less the median of the rest; `order` sorts the lines, nan last."""
    left = np.full(columns.shape, np.nan)
    value, of = np.empty(columns.shape[1]), np.empty(columns.shape[1], np.int64)
    for i in range(len(columns)):
        known = 0
        for k in order[i]:
            if kept[k] and not np.isnan(columns[i, k]):
                value[known], of[known] = columns[i, k], k
                known += 1
        for k in range(known if known > 1 else 0):
            low, high = (known - 2) // 2, (known - 1) // 2
            low, high = low + (k <= low), high + (k <= high)
            left[i, of[k]] = value[k] - (value[low] + value[high]) / 2
    return left


@compiled
def _middles(flat: FloatArray, ordered: FloatArray, begin: IntArray) -> FloatArray:  # pragma: no cover - compiled
    """Return for each line of `flat` and each group the median of the others, nan where no other is known.

    Groups stand one after the other, each from its `begin`; `ordered` are the same lines, sorted, nan last.
    """
    middle = np.full((len(flat), len(begin) - 1), np.nan)
    own = np.empty(flat.shape[1])
    for i in range(len(flat)):
        known = 0
        while known < flat.shape[1] and not np.isnan(ordered[i, known]):
            known += 1
        for g in range(len(begin) - 1):
            size = _known_in_order(flat[i, begin[g] : begin[g + 1]], own)
            if size < known:
                middle[i, g] = _middle_without(ordered[i], known, own[:size])
    return middle


@compiled
def _known_in_order(values: FloatArray, own: FloatArray) -> int:  # pragma: no cover - compiled
    """Fill `own` with the known values, the least first, and return how many they are."""
    size = 0
    for value in values:
        if not np.isnan(value):
            at = size
            while at > 0 and own[at - 1] > value:
                own[at] = own[at - 1]
                at -= 1
            own[at] = value
            size += 1
    return size


@compiled
def _middle_without(ordered: FloatArray, known: int, own: FloatArray) -> float:  # pragma: no cover - compiled
    """Return the median of the first values, which are sorted, without `own`, which are some of them and sorted too."""
    others = known - len(own)
    low, high = (others - 1) // 2, others // 2
    for value in own:  # each that lies below the middle moves it one place up
        low += value <= ordered[low]
        high += value <= ordered[high]
    return float(ordered[low] + ordered[high]) / 2

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


def sizes_from_others(columns: FloatArray, group: IntArray, ride: IntArray, usual: FloatArray) -> FloatArray:
    """Return the sizes of each ride's values from the median of those of other groups, in units of what is usual.

    Parameters
    ----------
    columns : (…, m, n) values of n recordings, nan where not known.
    group, ride : (n,) numbers from 0 of each recording's group, which all recordings of a ride share, and of its ride.
    usual : (n,) size that is usual for each recording.

    Returns
    -------
    (…, rides, m), the mean over the recordings of a ride; nan where all of them or all the others are not known.

    Examples
    --------
    >>> both = np.array([0, 1, 2, 0])
    >>> sizes_from_others(np.array([[0.0, 2.0, 5.0, 1.0]]), both, both, np.array([1.0, 1.0, 2.0, 1.0])).ravel().tolist()
    [3.0, 1.0, 2.0]
    """
    flat = np.where(np.isfinite(columns), columns, np.nan).reshape(-1, columns.shape[-1])
    by_group = np.argsort(group, kind="stable")
    begin = np.searchsorted(group[by_group], np.arange(group.max() + 2))
    values = [read_only(of, np.float64) for of in (flat, np.sort(flat, axis=1), usual)]
    numbers = [read_only(of, np.int64) for of in (by_group, begin, ride)]
    found = _sizes_from_others(values[0], values[1], values[2], numbers[0], numbers[1], numbers[2])
    return np.ascontiguousarray(np.swapaxes(found.reshape(*columns.shape[:-1], -1), -1, -2))


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
def _sizes_from_others(
    flat: FloatArray, ordered: FloatArray, usual: FloatArray, by_group: IntArray, begin: IntArray, ride: IntArray
) -> FloatArray:  # pragma: no cover - compiled
    """Return (lines, rides) sizes; `ordered` are the lines sorted, nan last, groups stand in `by_group` from `begin` on."""
    rides = ride.max() + 1
    size, count, own = np.zeros((len(flat), rides)), np.empty(rides), np.empty(flat.shape[1])
    for i in range(len(flat)):
        known = 0
        while known < flat.shape[1] and not np.isnan(ordered[i, known]):
            known += 1
        count[:] = 0
        for g in range(len(begin) - 1):
            members = by_group[begin[g] : begin[g + 1]]
            here = _known_in_order(flat[i], members, own)
            if here < known:
                middle = _middle_without(ordered[i], known, own[:here])
                for k in members:
                    if not np.isnan(flat[i, k]):
                        size[i, ride[k]] += np.abs(flat[i, k] - middle) / usual[k]
                        count[ride[k]] += 1
        for r in range(rides):
            size[i, r] = size[i, r] / count[r] if count[r] else np.nan
    return size


@compiled
def _known_in_order(values: FloatArray, of: IntArray, own: FloatArray) -> int:  # pragma: no cover - compiled
    """Fill `own` with those values that are known, the least first, and return how many they are."""
    size = 0
    for k in of:
        if not np.isnan(values[k]):
            at = size
            while at > 0 and own[at - 1] > values[k]:
                own[at] = own[at - 1]
                at -= 1
            own[at] = values[k]
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

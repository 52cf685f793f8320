"""Names of the array types, what is done with arrays in many places, and two checks of every type with arrays."""

from __future__ import annotations

from dataclasses import fields
from typing import Any, ClassVar

import numpy as np
from numpy.typing import NDArray

from gpsq.exceptions import GeometryError

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]
BoolArray = NDArray[np.bool_]
TimeArray = NDArray[np.datetime64]

#: A silence lasts as long as this many of a recording's usual intervals; fewer than the second say nothing of usual.
LONG_INTERVALS, LEAST_INTERVALS = 3.0, 5
NAT = np.datetime64("NaT", "ms")


def norms(vectors: FloatArray) -> FloatArray:
    """Return the (n,) Euclidean lengths of (n, d) vectors.

    >>> norms(np.array([[3.0, 4.0], [0.0, 0.0]])).tolist()
    [5.0, 0.0]
    """
    # many times faster than a sum along so short an axis
    return np.asarray(np.sqrt(np.einsum("ij,ij->i", vectors, vectors)))


def stretches(marked: BoolArray) -> list[tuple[int, int]]:
    """Return (first, last + 1) of each unbroken stretch of True.

    >>> stretches(np.array([True, False, True, True]))
    [(0, 1), (2, 4)]
    """
    edges = np.flatnonzero(np.diff(np.concatenate([[False], marked, [False]]).astype(np.int8)))
    return [(int(first), int(end)) for first, end in zip(edges[::2], edges[1::2], strict=True)]


def mean_of_known(rows: FloatArray, first: IntArray | None = None) -> FloatArray:
    """Return the mean of each column over the rows that know it, nan where none does; of one table or of many, (…, n, m).

    With the numbers of the `first` rows of groups of rows that stand together, the mean of each group is a row.

    >>> mean_of_known(np.array([[1.0, np.nan], [3.0, np.nan]])).tolist()
    [2.0, nan]
    >>> mean_of_known(np.array([[1.0], [3.0], [np.nan], [7.0]]), first=np.array([0, 2])).tolist()
    [[2.0], [7.0]]
    """
    known = np.isfinite(rows)
    known_or_nought = np.where(known, rows, 0.0)
    if first is None:
        count, total = known.sum(axis=-2), known_or_nought.sum(axis=-2)
    else:
        count, total = (np.add.reduceat(of, first, axis=-2) for of in (known.astype(np.int64), known_or_nought))
    return np.asarray(np.divide(total, count, out=np.full(total.shape, np.nan), where=count > 0), dtype=float)


def is_silence(time: TimeArray, gap_s: float) -> BoolArray:
    """Mark the (n − 1,) intervals in which nothing is known: longer than `gap_s`, and long against the recording's own.

    A recording that is sampled slowly throughout has no silence in every interval. Unknown times tell of none.

    >>> is_silence(np.datetime64("2024-05-14T07:00", "s") + np.array([0, 90, 180, 270, 360, 900]), 60.0).tolist()
    [False, False, False, False, True]
    >>> is_silence(np.datetime64("2024-05-14T07:00", "s") + np.array([0, 90, 180]), 60.0).tolist()  # too few to tell
    [True, True]
    """
    seconds = np.diff(time) / np.timedelta64(1, "s")
    own = seconds[seconds > 0]
    if len(own) >= LEAST_INTERVALS:
        gap_s = max(gap_s, LONG_INTERVALS * float(np.median(own)))
    return np.asarray(seconds > gap_s)


def freeze(owner: object) -> None:
    """Make the arrays of a dataclass read-only."""
    for f in fields(owner):  # type: ignore[arg-type]  # every owner is a dataclass instance
        value = getattr(owner, f.name)
        if isinstance(value, np.ndarray):
            value.setflags(write=False)


def same_length(owner: object, names: tuple[str, ...]) -> None:
    """Raise `GeometryError` unless the named arrays have one length."""
    lengths = {name: len(getattr(owner, name)) for name in names}
    if len(set(lengths.values())) > 1:
        raise GeometryError(f"{type(owner).__name__}: arrays must have one length, but have {lengths}")


class SharesUnknown:
    """A dataclass with columns that many devices do not write: one of which nothing is known takes no room.

    All cells of such a column are one, and it is made anew where the owner is taken up again after it was sent or kept.
    """

    _columns: ClassVar[tuple[str, ...]] = ()

    def __init_subclass__(cls, columns: tuple[str, ...]) -> None:
        """Name the columns, arrays of float that are equally long."""
        cls._columns = columns

    def share_unknown(self) -> None:
        """Have each column of which nothing is known take no room."""
        for name in self._columns:
            values = vars(self)[name]
            if np.isnan(values).all():
                vars(self)[name] = np.broadcast_to(np.nan, len(values))

    def __getstate__(self) -> dict[str, Any]:
        """Return what is sent to another process or kept; of an unknown column its length is enough."""
        state = dict(vars(self))
        for name in self._columns:
            if np.isnan(state[name]).all():
                state[name] = len(state[name])
        return state

    def __setstate__(self, state: dict[str, Any]) -> None:
        """Take up what was sent."""
        for name in self._columns:
            if isinstance(length := state[name], int):
                state[name] = np.broadcast_to(np.nan, length)
        vars(self).update(state)

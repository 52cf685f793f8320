"""Names of the array types, and two checks that every type with arrays makes."""

from __future__ import annotations

from dataclasses import fields

import numpy as np
from numpy.typing import NDArray

from gpsq.exceptions import GeometryError

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]
BoolArray = NDArray[np.bool_]
TimeArray = NDArray[np.datetime64]

NAT = np.datetime64("NaT", "ms")


def norms(vectors: FloatArray) -> FloatArray:
    """Return the (n,) Euclidean lengths of (n, d) vectors.

    >>> norms(np.array([[3.0, 4.0], [0.0, 0.0]])).tolist()
    [5.0, 0.0]
    """
    # many times faster than a sum along so short an axis
    return np.asarray(np.sqrt(np.einsum("ij,ij->i", vectors, vectors)))


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

"""Drawing whole rides again, and what becomes of the places of devices."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from gpsq.model import FloatArray, IntArray


def draw_counts(rides: int, resamples: int, seed: int) -> FloatArray:
    """Return how often each ride is drawn in each resampling with replacement, (resamples, rides).

    Examples
    --------
    >>> draw_counts(4, 2, 1).sum(axis=1).tolist()
    [4.0, 4.0]
    """
    rng = np.random.default_rng(seed)
    return rng.multinomial(rides, np.full(rides, 1 / rides), size=resamples).astype(float)


def places(values: FloatArray) -> IntArray:
    """Return the place of each column in each row, 1 for the smallest; equal values share the better place.

    Examples
    --------
    >>> places(np.array([[3.0, 1.0, 1.0]])).tolist()
    [[3, 1, 1]]
    """
    return np.asarray((values[:, :, None] > values[:, None, :]).sum(axis=2) + 1, dtype=np.int64)


def share_first(values: FloatArray) -> FloatArray:
    """Return how often each column is the smallest of its row; a tie is shared, and unknown (nan) never wins.

    Examples
    --------
    >>> share_first(np.array([[1.0, 2.0], [1.0, 1.0]])).tolist()
    [0.75, 0.25]
    """
    known = np.where(np.isfinite(values), values, np.inf)
    least = known.min(axis=1, keepdims=True)
    wins = (known == least) & np.isfinite(least)
    each = np.divide(wins, wins.sum(axis=1, keepdims=True), out=np.zeros(wins.shape), where=wins.any(axis=1)[:, None])
    return np.asarray(each.mean(axis=0), dtype=float)

"""How far two quantities rise and fall together, whatever the curve: Spearman's correlation of their ranks."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np

if TYPE_CHECKING:
    from gpsq.model import FloatArray


def rank_correlation(first: Any, second: Any) -> float:
    """Return Spearman's rank correlation of two (n,) arrays, nan where either is constant; equal values share a rank.

    Spearman 1904, Am. J. Psychol. 15:72–101.

    Examples
    --------
    >>> round(rank_correlation([1, 2, 3, 4], [1, 8, 27, 20]), 3)
    0.8
    >>> rank_correlation([1, 2, 3], [7, 7, 7])
    nan
    """
    ranks = _mean_ranks(first), _mean_ranks(second)
    if any(np.ptp(own) == 0 for own in ranks):
        return float("nan")
    return float(np.corrcoef(*ranks)[0, 1])


def _mean_ranks(values: Any) -> FloatArray:
    _, which, counts = np.unique(np.asarray(values), return_inverse=True, return_counts=True)
    return (np.cumsum(counts) - (counts - 1) / 2)[which]

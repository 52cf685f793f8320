"""Spread that a few values far off do not change."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from gpsq.model import FloatArray

#: Standard deviation of a normal distribution over its median absolute deviation (1 / 0.67449, handbook tables).
MAD_TO_SD = 1.4826


def robust_sd(deviations: FloatArray) -> float:
    """Return the standard deviation that normal deviations (n,) from their centre would have, n ≥ 1.

    Examples
    --------
    >>> robust_sd(np.array([-1.0, 0.5, 1.0, 99.0]))
    1.4826
    """
    return MAD_TO_SD * float(np.median(np.abs(deviations)))

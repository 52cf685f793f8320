"""How many rides a question needs: power of a paired comparison."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from gpsq.model import FloatArray

#: The customary power of a test that is planned.
POWER = 0.8
MOST_RIDES = 10_000


def power_of(rides: FloatArray | int, effect: float, spread: float, confidence: float = 0.95) -> FloatArray:
    """Return the chance that so many paired rides show a true difference `effect`; differences scatter by `spread`.

    Power of Student's two-sided paired test at the level `confidence`, by the noncentral t distribution.
    """
    from scipy.special import nctdtr, stdtrit

    n = np.asarray(rides, dtype=float)
    bound = stdtrit(n - 1, (1 + confidence) / 2)
    shift = effect / spread * np.sqrt(n)
    # scipy gives nan for a tail that is too small to be computed.
    far, near = (np.nan_to_num(nctdtr(n - 1, shift, end)) for end in (-bound, bound))
    return np.asarray(1 - near + far, dtype=float)


def rides_needed(effect: float, spread: float, confidence: float = 0.95, power: float = POWER) -> int | None:
    """Return the fewest paired rides that show a true difference `effect` with that power; None above `MOST_RIDES`.

    Examples
    --------
    >>> rides_needed(0.5, 1.0)
    34
    """
    if not effect > 0:
        return None
    if not spread > 0:
        return 2
    low, high = 2, MOST_RIDES
    # From a standardised effect of 20 on two rides do, and the noncentral t is no longer computed well.
    ratio = min(effect / spread, 20.0)
    if power_of(high, ratio, 1.0, confidence) < power:
        return None
    while low < high:
        middle = (low + high) // 2
        low, high = (low, middle) if power_of(middle, ratio, 1.0, confidence) >= power else (middle + 1, high)
    return low


def detectable_difference(rides: int, spread: float, confidence: float = 0.95, power: float = POWER) -> float:
    """Return the smallest true difference that so many paired rides show with that power.

    Examples
    --------
    >>> round(detectable_difference(34, 1.0), 2)
    0.5
    """
    if not spread > 0:
        return 0.0
    low, high = 1e-3, 100.0
    while low < (middle := (low + high) / 2) < high:  # until no number lies between; power grows with the difference
        low, high = (low, middle) if power_of(rides, middle, 1.0, confidence) >= power else (middle, high)
    return spread * high

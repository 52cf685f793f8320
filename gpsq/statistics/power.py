"""What a paired comparison of so many rides is likely to find: power.

Each is that of the test in use: the exact sign test for times, for ratios Student's up to seven rides and sign flips
from eight on. The power that the effect just seen would have is never told: it says no more than its p
(Hoenig & Heisey 2001, Am. Stat. 55:19–24).
"""

from __future__ import annotations

from collections.abc import Callable

import numpy as np

from gpsq.statistics.intervals import median_ranks

#: The customary power of a test that is planned.
POWER = 0.8
#: Effects, in standard deviations of the difference from ride to ride, that sign flips find with 80 % power at 5 %, by
#: number of rides: counted by trying all flips on 6,000 normal samples each; from 13 rides on Student's figure holds.
COUNTED_AT = 0.95
SIGN_FLIPS_FIND = {8: 1.19, 9: 1.10, 10: 1.01, 11: 0.95, 12: 0.90}

Power = Callable[[int, float, float], float]


def power_of_student(rides: int, effect: float, confidence: float = 0.95) -> float:
    """Return the chance that Student's paired test shows a true difference of `effect` standard deviations.

    By the noncentral t distribution.

    Examples
    --------
    >>> round(power_of_student(34, 0.5), 3)
    0.808
    """
    from scipy.special import nctdtr, stdtrit

    bound = stdtrit(rides - 1, (1 + confidence) / 2)
    # scipy gives nan for a tail that is too small to be computed.
    far, near = (np.nan_to_num(nctdtr(rides - 1, effect * np.sqrt(rides), end)) for end in (-bound, bound))
    return float(1 - near + far)


def power_of_signs(rides: int, effect: float, confidence: float = 0.95) -> float:
    """Return the chance that the exact sign test shows a true difference, where differences scatter normally.

    With fewer than six rides it cannot reach 5 % at all.

    Examples
    --------
    >>> power_of_signs(5, 9.0), round(power_of_signs(9, 1.5), 2)
    (0.0, 0.88)
    """
    from scipy.special import bdtr, ndtr

    ranks = median_ranks(rides, confidence)
    if ranks is None:
        return 0.0
    most, share = ranks[0] - 1, float(ndtr(effect))  # so few of one sign still call a difference
    return float(bdtr(most, rides, 1 - share) + bdtr(most, rides, share))


def detectable(rides: int, power_of: Power, confidence: float = 0.95, power: float = POWER) -> float:
    """Return the smallest true difference, in standard deviations from ride to ride, that is found with that power.

    Examples
    --------
    >>> round(detectable(34, power_of_student), 2), detectable(5, power_of_signs)
    (0.5, inf)
    """
    low, high = 1e-3, 30.0
    if rides < 2 or power_of(rides, high, confidence) < power:
        return float("inf")
    while low < (middle := (low + high) / 2) < high:  # until no number lies between; power grows with the difference
        low, high = (low, middle) if power_of(rides, middle, confidence) >= power else (middle, high)
    return high


def detectable_ratio(rides: int, confidence: float = 0.95) -> float:
    """Return the difference of logarithms, in standard deviations, that the test of ratios in use finds with 80 % power.

    Sign flips need a little more than Student's test while they are few and coarse; how much was counted at 5 % alone, so
    at another level it is not known (nan).

    Examples
    --------
    >>> round(detectable_ratio(7), 2), detectable_ratio(8), detectable_ratio(8, 0.99)
    (1.27, 1.19, nan)
    """
    if rides not in SIGN_FLIPS_FIND:
        return detectable(rides, power_of_student, confidence)
    return SIGN_FLIPS_FIND[rides] if confidence == COUNTED_AT else float("nan")

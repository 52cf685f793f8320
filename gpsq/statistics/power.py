"""What a paired comparison of so many rides is likely to find, and how many rides a question needs: power.

Each is that of the test in use: the exact sign test for times, for ratios Student's up to seven rides and sign flips
from eight on. The power that the effect just seen would have is never told: it says no more than its p
(Hoenig & Heisey 2001, Am. Stat. 55:19–24).
"""

from __future__ import annotations

from collections.abc import Callable

import numpy as np

from gpsq.statistics.paired import FEWEST_FOR_SIGN_FLIPS

#: The customary power of a test that is planned.
POWER = 0.8
MOST_RIDES = 10_000
#: Effects, in standard deviations of the difference from ride to ride, that sign flips find with 80 % power at 5 %, by
#: number of rides: counted by trying all flips on 6,000 normal samples each; from 13 rides on Student's figure holds.
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
    from scipy.stats import nct, t

    bound = t.ppf((1 + confidence) / 2, rides - 1)
    shift = effect * np.sqrt(rides)
    # scipy gives nan for the far tail where it is too small to be computed.
    far = np.nan_to_num(nct.cdf(-bound, rides - 1, shift))
    return float(nct.sf(bound, rides - 1, shift) + far)


def power_of_signs(rides: int, effect: float, confidence: float = 0.95) -> float:
    """Return the chance that the exact sign test shows a true difference, where differences scatter normally.

    With fewer than six rides it cannot reach 5 % at all.

    Examples
    --------
    >>> power_of_signs(5, 9.0), round(power_of_signs(9, 1.5), 2)
    (0.0, 0.88)
    """
    from scipy.stats import binom, norm

    most = int(binom.ppf((1 - confidence) / 2, rides, 0.5)) - 1  # so few of one sign still call a difference
    if most < 0:
        return 0.0
    share = float(norm.cdf(effect))
    return float(binom.cdf(most, rides, 1 - share) + binom.cdf(most, rides, share))


def detectable(rides: int, power_of: Power, confidence: float = 0.95, power: float = POWER) -> float:
    """Return the smallest true difference, in standard deviations from ride to ride, that is found with that power.

    Examples
    --------
    >>> round(detectable(34, power_of_student), 2), detectable(5, power_of_signs)
    (0.49, inf)
    """
    from scipy.optimize import brentq

    if rides < 2 or power_of(rides, 30.0, confidence) < power:
        return float("inf")
    return float(brentq(lambda e: power_of(rides, e, confidence) - power, 1e-3, 30.0))


def detectable_ratio(rides: int, confidence: float = 0.95) -> float:
    """Return the difference of logarithms, in standard deviations, that the test of ratios in use finds with 80 % power.

    Sign flips need a little more than Student's test while they are few and coarse.
    """
    if rides < FEWEST_FOR_SIGN_FLIPS or rides not in SIGN_FLIPS_FIND:
        return detectable(rides, power_of_student, confidence)
    return SIGN_FLIPS_FIND[rides]


def rides_needed(effect: float, power_of: Power, confidence: float = 0.95, power: float = POWER) -> int | None:
    """Return the fewest rides from which on a true difference is found with that power; None above `MOST_RIDES`.

    Examples
    --------
    >>> rides_needed(0.5, power_of_student), rides_needed(1.5, power_of_student), rides_needed(1.5, power_of_signs)
    (34, 6, 9)
    """
    if not effect > 0 or power_of(MOST_RIDES, effect, confidence) < power:
        return None
    least = 2
    while power_of(least, effect, confidence) < power:
        least += 1 if least < 300 else least // 100
    return least

"""What the differences of two devices on the same rides say: intervals and tests that hold for few rides.

A time that never came is infinite, so such a ride counts; ratios are looked at on the logarithm.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from gpsq.statistics import intervals
from gpsq.statistics.intervals import RANDOM_SUBSETS, median_ranks
from gpsq.summary_types import Interval

if TYPE_CHECKING:
    from gpsq.model import FloatArray

SIGN_TEST = "exact sign test"
STUDENT = "Student's paired test on the logarithm"
SIGN_FLIPS = "sign flips on the logarithm"
#: From this number of rides the signs of the ratios are flipped; with fewer that test is too coarse to find much.
FEWEST_FOR_SIGN_FLIPS = 8


def sign_test(differences: FloatArray) -> float:
    """Return the exact two-sided p of the differences having their median at nought; those at nought say nothing.

    Arbuthnott 1710; Conover 1999, Practical Nonparametric Statistics, 3rd ed., section 3.4.

    Examples
    --------
    >>> sign_test(np.array([1.0, 2.0, 3.0, 4.0, 5.0, np.inf]))
    0.03125
    """
    from scipy.stats import binomtest

    more, less = int((differences > 0).sum()), int((differences < 0).sum())
    return float(binomtest(more, more + less).pvalue) if more + less else 1.0


def median_difference(differences: FloatArray, confidence: float = 0.95) -> Interval:
    """Return the median of the differences with its order-statistic interval; infinite ones take their place in the order.

    Examples
    --------
    >>> found = median_difference(np.array([1.0, 2.0, 3.0, 4.0, 5.0, np.inf]))
    >>> found.value, found.low, found.high
    (3.5, 1.0, inf)
    """
    ordered = np.sort(differences[~np.isnan(differences)])
    n = len(ordered)
    if not n:
        return Interval(np.nan, method="none: no ride is known of both")
    low, high = float(ordered[(n - 1) // 2]), float(ordered[n // 2])
    value = low if low == high else low + (high - low) / 2 if np.isfinite([low, high]).all() else np.nan
    ranks = median_ranks(n, confidence)
    if ranks is None:
        return Interval(value, method=f"none: no {100 * confidence:.0f} % interval of a median exists for {n} rides")
    low, high = (float(ordered[rank - 1]) for rank in ranks)
    return Interval(value, low, high, f"order statistics {ranks[0]} and {ranks[1]} of {n} rides")


def ratio(logs: FloatArray, confidence: float = 0.95, seed: int = 0) -> Interval:
    """Return the ratio that the mean of its logarithm over rides gives, with the interval that the test in use gives.

    Examples
    --------
    >>> found = ratio(np.log([2.0, 2.0, 2.2, 1.8]))
    >>> round(found.value, 2), bool(found.low > 1)
    (1.99, True)
    """
    if len(logs) < FEWEST_FOR_SIGN_FLIPS:
        found = intervals.mean(logs, confidence)
    else:
        found = intervals.mean_difference(logs, np.random.default_rng(seed), confidence)
    value, low, high = (float(np.exp(v)) for v in (found.value, found.low, found.high))
    return Interval(value, low, high, found.method)


def ratio_test(logs: FloatArray, seed: int = 0) -> tuple[float, str]:
    """Return the two-sided p of the logarithms having their centre at nought, and the name of the test.

    Examples
    --------
    >>> ratio_test(np.arange(1.0, 9.0))
    (0.0078125, 'sign flips on the logarithm')
    """
    from scipy.stats import permutation_test, ttest_1samp

    if len(logs) < FEWEST_FOR_SIGN_FLIPS:
        return (float(ttest_1samp(logs, 0.0).pvalue) if np.ptp(logs) > 0 else float(logs[0] == 0)), STUDENT
    drawn = permutation_test(
        (logs,), np.mean, permutation_type="samples", vectorized=True, n_resamples=RANDOM_SUBSETS,
        rng=np.random.default_rng(seed),
    )  # fmt: skip
    return float(drawn.pvalue), SIGN_FLIPS

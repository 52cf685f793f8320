"""What the differences of two devices on the same rides say: intervals and tests that hold for few rides.

A time that never came is infinite, so such a ride counts; ratios are looked at on the logarithm.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from gpsq.statistics import intervals
from gpsq.statistics.intervals import MOST_FOR_ALL_SUBSETS, RANDOM_SUBSETS, median_ranks
from gpsq.summary_types import Interval

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.random import Generator

    from gpsq.model import FloatArray

SIGN_TEST = "exact sign test"
STUDENT = "Student's paired test on the logarithm"
SIGN_FLIPS = "sign flips on the logarithm"
PSEUDO_VALUES = "Student's test on the logarithm with each ride left out in turn"
#: From this number of rides the signs of the ratios are flipped; with fewer that test is too coarse to find much.
FEWEST_FOR_SIGN_FLIPS = 8
#: Means that differ by less than this share are the same but for rounding.
SAME_SHARE = 100 * np.finfo(float).eps


def sign_flip_p(differences: FloatArray, rng: Generator) -> float:
    """Return the two-sided p of paired differences having their centre at nought, whatever their distribution.

    Every difference might as well have had the other sign: p is twice the share of sign flips whose mean lies as far out
    on one side as the mean that was found (Ernst 2004, Stat. Sci. 19:676–685). Of a random choice of flips the one that
    was found counts too (Phipson & Smyth 2010, Stat. Appl. Genet. Mol. Biol. 9:39).

    Parameters
    ----------
    differences : (n,) one for each pair. rng : draws the flips where there are more than 2**`MOST_FOR_ALL_SUBSETS`.

    Examples
    --------
    >>> sign_flip_p(np.array([1.0, 2.0, 3.0, 4.0, 5.0, 6.0]), np.random.default_rng(1))
    0.03125
    """
    n, observed = len(differences), float(np.mean(differences))
    if n <= MOST_FOR_ALL_SUBSETS:
        flipped, also_found = (np.arange(2**n)[:, None] >> np.arange(n)) & 1, 0
    else:
        both = np.broadcast_to(np.arange(2), (RANDOM_SUBSETS, n, 2))
        flipped, also_found = rng.permuted(both, axis=-1)[:, :, 0], 1
    means = np.mean(np.where(flipped, -differences, differences), axis=1)
    margin = abs(SAME_SHARE * observed)
    tail = min(np.count_nonzero(means <= observed + margin), np.count_nonzero(means >= observed - margin))
    return float(min(1.0, 2 * (tail + also_found) / (len(means) + also_found)))


def student_p(differences: FloatArray) -> float:
    """Return the two-sided p of Student's paired test; of differences that are all the same 1 at nought, else 0.

    Examples
    --------
    >>> round(student_p(np.array([1.0, 2.0, 3.0])), 4), student_p(np.zeros(3))
    (0.0742, 1.0)
    """
    from scipy.special import stdtr

    n = len(differences)
    if not np.ptp(differences) > 0:
        return float(differences[0] == 0)
    t = np.mean(differences) / np.sqrt(np.var(differences, ddof=1) / n)
    return float(2 * stdtr(n - 1, -abs(t)))


def adjusted(p: Sequence[float]) -> FloatArray:
    """Return p values adjusted so that those under a level are false discoveries at that rate at most.

    Benjamini & Hochberg 1995, J. R. Stat. Soc. B 57:289–300.

    Examples
    --------
    >>> adjusted([0.5, 0.6, 0.1, 0.001]).tolist()
    [0.6, 0.6, 0.2, 0.004]
    """
    values = np.asarray(p, dtype=float)
    order = np.argsort(values)
    m = len(values)
    steps = values[order] * (m / np.arange(1, m + 1))
    found = np.empty(m)
    found[order] = np.minimum.accumulate(steps[::-1])[::-1]
    return np.clip(found, 0.0, 1.0)


def sign_test(differences: FloatArray) -> float:
    """Return the exact two-sided p of the differences having their median at nought; those at nought say nothing.

    Arbuthnott 1710; Conover 1999, Practical Nonparametric Statistics, 3rd ed., section 3.4.

    Examples
    --------
    >>> sign_test(np.array([1.0, 2.0, 3.0, 4.0, 5.0, np.inf]))
    0.03125
    """
    from scipy.special import bdtr

    more, less = int((differences > 0).sum()), int((differences < 0).sum())
    return float(min(1.0, 2 * bdtr(min(more, less), more + less, 0.5))) if more + less else 1.0


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
        return student_ratio(logs, confidence)
    return _exponential(intervals.mean_difference(logs, np.random.default_rng(seed), confidence))


def student_ratio(logs: FloatArray, confidence: float = 0.95) -> Interval:
    """Return the ratio that the mean of its logarithm gives, with Student's interval.

    Examples
    --------
    >>> round(student_ratio(np.log([2.0, 8.0])).value, 3)
    4.0
    """
    return _exponential(intervals.mean(logs, confidence))


def _exponential(found: Interval) -> Interval:
    value, low, high = (float(np.exp(v)) for v in (found.value, found.low, found.high))
    return Interval(value, low, high, found.method)


def ratio_test(logs: FloatArray, seed: int = 0) -> tuple[float, str]:
    """Return the two-sided p of the logarithms having their centre at nought, and the name of the test.

    Examples
    --------
    >>> ratio_test(np.arange(1.0, 9.0))
    (0.0078125, 'sign flips on the logarithm')
    """
    if len(logs) < FEWEST_FOR_SIGN_FLIPS:
        return student_p(logs), STUDENT
    return sign_flip_p(logs, np.random.default_rng(seed)), SIGN_FLIPS

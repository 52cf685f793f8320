"""Intervals that hold for few rides: medians, shares, means, spreads and differences.

Rides are the independent units: what comes in is one number, or one row of stations, for each ride.
"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

import numpy as np

from gpsq.summary_types import Interval

if TYPE_CHECKING:
    from numpy.random import Generator

    from gpsq.model import FloatArray

#: Under this number of rides no interval of a median exists at 95 %, and no test on signs can reach 5 %: 2 / 2**n.
FEWEST_FOR_MEDIAN = 6
#: An interval wider than this factor either way says that the figure rests on single rides; it is not shown.
WIDEST_FACTOR = 6.0
#: With three rides the jackknife is wide enough of itself; from this number on its error is taken n/(n − 2) times as
#: large in the square, which brings the cover nearest to 95 % (tests/validation/interval_coverage.py).
WIDENED_FROM = 4
#: Up to this number of pairs all sign flips are tried, above it a random choice of them.
MOST_FOR_ALL_SUBSETS = 13
RANDOM_SUBSETS = 9_999


def median_ranks(n: int, confidence: float = 0.95) -> tuple[int, int] | None:
    """Return the ranks (from 1) of the order statistics that enclose a median, or None where none do.

    The chance that the median lies outside is twice a binomial tail, whatever the distribution
    (David & Nagaraja 2003, Order Statistics, 3rd ed., section 7.1).

    Examples
    --------
    >>> median_ranks(10), median_ranks(6), median_ranks(5)
    ((2, 9), (1, 6), None)
    """
    from scipy.special import bdtr

    # The first count at which the tail reaches the level: with one less it stays under it.
    rank = int(np.searchsorted(bdtr(np.arange(n + 1), n, 0.5), (1 - confidence) / 2))
    return (rank, n + 1 - rank) if rank >= 1 else None


def median(values: FloatArray, confidence: float = 0.95, digits: int = 1) -> Interval:
    """Return the median with its order-statistic interval; values that are not known (nan) are left out.

    Examples
    --------
    >>> found = median(np.array([1.0, 2.0, 3.0, 4.0, 5.0, 6.0]))
    >>> found.value, found.low, found.high, found.method
    (3.5, 1.0, 6.0, 'order statistics 1 and 6 of 6 rides')
    >>> median(np.array([1.0, 2.0, 9.0])).method
    'range 1.0–9.0 of 3 rides; no 95 % interval exists for so few'
    """
    known = np.sort(values[np.isfinite(values)])
    n = len(known)
    if n == 0:
        return Interval(np.nan, method="none: known for no ride")
    ranks = median_ranks(n, confidence)
    if ranks is None:
        text = f"range {known[0]:.{digits}f}–{known[-1]:.{digits}f} of {n} ride{'s' * (n > 1)}"
        text += f"; no {100 * confidence:.0f} % interval exists for so few"
        return Interval(float(np.median(known)), method=text)
    low, high = (float(known[rank - 1]) for rank in ranks)
    return Interval(float(np.median(known)), low, high, f"order statistics {ranks[0]} and {ranks[1]} of {n} rides")


def proportion(successes: int, n: int, confidence: float = 0.95) -> Interval:
    """Return a share with its Wilson interval (Newcombe 1998, Stat. Med. 17:857–872, method 3).

    Examples
    --------
    >>> result = proportion(15, 148)
    >>> round(result.low, 4), round(result.high, 4)
    (0.0624, 0.1605)
    """
    from scipy.special import ndtri

    if n == 0:
        return Interval(np.nan, method="none: no ride with a known start")
    share, z = successes / n, float(ndtri(0.5 + 0.5 * confidence))
    middle = (2 * n * share + z**2) / (2 * (n + z**2))
    half = z / (2 * (n + z**2)) * math.sqrt(4 * n * share * (1 - share) + z**2)
    low = 0.0 if successes == 0 else middle - half
    high = 1.0 if successes == n else middle + half
    return Interval(share, low, high, f"Wilson, {successes} of {n} rides", n)


def rate(count: int, exposure: float, confidence: float = 0.95) -> Interval:
    """Return a rate of rare events with its exact Poisson interval (Garwood 1936, Biometrika 28:437–442).

    None in so much exposure has an upper bound too: nothing seen is not nothing there.

    Examples
    --------
    >>> none, five = rate(0, 1.0), rate(5, 1.0)
    >>> [round(v, 3) for v in (none.low, none.high, five.low, five.high)]
    [0.0, 3.689, 1.623, 11.668]
    """
    from scipy.special import gammaincinv

    if not exposure > 0:
        return Interval(np.nan, method="none: no road was scored")
    tail = (1 - confidence) / 2
    low = float(gammaincinv(count, tail)) if count else 0.0
    high = float(gammaincinv(count + 1, 1 - tail))
    return Interval(count / exposure, low / exposure, high / exposure, f"Garwood, {count} seen")


def mean(values: FloatArray, confidence: float = 0.95) -> Interval:
    """Return the mean of one value per ride with Student's interval; nan is left out.

    Examples
    --------
    >>> mean(np.array([1.0, 2.0, 3.0])).value
    2.0
    """
    known = values[np.isfinite(values)]
    n = len(known)
    if n < 2:
        value = float(known[0]) if n else float("nan")
        return Interval(value, method=f"none: {n} ride{'s' * (n != 1)}")
    middle, error = float(known.mean()), float(known.std(ddof=1) / np.sqrt(n))
    half = student(confidence, n - 1) * error
    return Interval(middle, middle - half, middle + half, f"Student, {n} rides")


def welch_difference(first: FloatArray, second: FloatArray, confidence: float = 0.95) -> Interval:
    """Return the mean of one sample less that of another, with Welch's interval (1947, Biometrika 34:28–35).

    Examples
    --------
    >>> found = welch_difference(np.array([3.0, 4.0, 5.0]), np.array([1.0, 2.0, 3.0]))
    >>> round(found.value, 2), round(found.low, 2), round(found.high, 2)
    (2.0, -0.27, 4.27)
    """
    a, b = first[np.isfinite(first)], second[np.isfinite(second)]
    value = float(a.mean() - b.mean()) if len(a) and len(b) else np.nan
    if min(len(a), len(b)) < 2:
        return Interval(value, method=f"none: {len(a)} and {len(b)} rides")
    parts = np.array([a.var(ddof=1) / len(a), b.var(ddof=1) / len(b)])
    if not parts.sum() > 0:
        return Interval(value, value, value, f"Welch, {len(a)} and {len(b)} rides")
    degrees = parts.sum() ** 2 / (parts**2 / np.array([len(a) - 1, len(b) - 1])).sum()
    half = student(confidence, degrees) * float(np.sqrt(parts.sum()))
    return Interval(value, value - half, value + half, f"Welch, {len(a)} and {len(b)} rides")


def log_jackknife(
    value: float,
    without_each: FloatArray,
    confidence: float = 0.95,
    *,
    widened_from: int = WIDENED_FROM,
) -> Interval:
    """Return a positive figure with the interval that leaving out each ride in turn gives, on the logarithm.

    Parameters
    ----------
    value : figure of all rides, > 0.
    without_each : (n,) the figure with ride i left out.
    widened_from : from this number of rides on the error is taken n/(n − 2) times as large in the square.

    Notes
    -----
    Tukey's pseudo-values of the logarithm with Student's t (Miller 1974, Biometrika 61:1–15; for variances
    Miller 1968, Ann. Math. Stat. 39:567–582). The percentile bootstrap covers far too seldom with three to five rides.

    Examples
    --------
    >>> result = log_jackknife(2.0, np.array([1.8, 2.0, 2.2]))
    >>> bool(result.low < 2 < result.high)
    True
    """
    n = len(without_each)
    if n < 3 or not value > 0 or not (without_each > 0).all():
        return Interval(value, method=f"none: {n} ride{'s' * (n != 1)}, at least 3 needed")
    spread = float(np.log(without_each).std(ddof=1)) * (n - 1) / np.sqrt(n)
    if n >= widened_from:
        spread *= float(np.sqrt(n / (n - 2)))
    factor = float(np.exp(student(confidence, n - 1) * spread))
    if factor > WIDEST_FACTOR:
        return Interval(
            value, method=f"none: single rides outweigh the others, so {n} rides cannot tell how far it is off"
        )
    return Interval(value, value / factor, value * factor, f"jackknife over {n} rides, on the logarithm")


def ratio(first: Interval, second: Interval) -> Interval:
    """Return first / second of two independent positive figures, its interval from theirs on the logarithm.

    The distances from figure to bound are added in squares (Donner & Zou 2012, Stat. Methods Med. Res. 21:347–359).

    Examples
    --------
    >>> found = ratio(Interval(4.0, 2.0, 8.0), Interval(2.0, 1.0, 4.0))
    >>> found.value, round(found.low, 3), round(found.high, 3)
    (2.0, 0.75, 5.33)
    """
    if not (first.value > 0 and second.value > 0):
        return Interval(np.nan, method="none: a figure is unknown")
    value = first.value / second.value
    if not np.isfinite([first.low, first.high, second.low, second.high]).all():
        return Interval(value, method="none: a figure has no interval")
    down = np.hypot(np.log(first.value / first.low), np.log(second.high / second.value))
    up = np.hypot(np.log(first.high / first.value), np.log(second.value / second.low))
    return Interval(value, float(value * np.exp(-down)), float(value * np.exp(up)), "ratio of independent figures")


def mean_difference(differences: FloatArray, rng: Generator, confidence: float = 0.95) -> Interval:
    """Return the mean of paired differences with the interval that inverts the sign-flip test.

    Notes
    -----
    The means of all subsets of n symmetric values cut the line into 2**n parts that hold the centre equally often
    (Hartigan 1969, J. Am. Stat. Assoc. 64:1303–1317), so their order statistics are exact bounds without a
    normal distribution. Under six pairs there are too few of them and Student's interval stands instead.

    Examples
    --------
    >>> result = mean_difference(np.array([1.0, 2.0, 3.0, 4.0, 5.0, 6.0]), np.random.default_rng(1))
    >>> result.value, result.low, result.high
    (3.5, 1.0, 6.0)
    """
    n = len(differences)
    if n < FEWEST_FOR_MEDIAN:
        return mean(differences, confidence)
    means = np.sort(_subset_means(differences, rng))
    cut = int((1 - confidence) / 2 * (len(means) + 1))
    low, high = float(means[cut - 1]), float(means[-cut])
    return Interval(float(differences.mean()), low, high, f"subset means of {n} paired rides")


def _subset_means(values: FloatArray, rng: Generator) -> FloatArray:
    n = len(values)
    if n <= MOST_FOR_ALL_SUBSETS:
        chosen = (np.arange(1, 2**n)[:, None] >> np.arange(n)) & 1
    else:
        chosen = rng.integers(0, 2, (RANDOM_SUBSETS, n))
        chosen = chosen[chosen.any(axis=1)]
    means: FloatArray = (chosen @ values) / chosen.sum(axis=1)
    return means


def student(confidence: float, degrees: float) -> float:
    """Return Student's factor for a two-sided interval of that confidence.

    >>> round(student(0.95, 3), 3)
    3.182
    """
    from scipy.special import stdtrit

    return float(stdtrit(degrees, (1 + confidence) / 2))

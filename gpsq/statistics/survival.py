"""Times to an event, some of them only known to be longer than the recording: Kaplan–Meier median and shares."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from gpsq.statistics.intervals import median_ranks, proportion
from gpsq.summary_types import Interval

if TYPE_CHECKING:
    from gpsq.model import BoolArray, FloatArray


def median_time(seconds: FloatArray, censored: BoolArray, confidence: float = 0.95) -> Interval:
    """Return the Kaplan–Meier median with its interval, in seconds.

    Parameters
    ----------
    seconds : (n,) times, in seconds; for a censored one the time that was waited in vain.
    censored : (n,) True where the event did not come.
    confidence : level of the interval.

    Returns
    -------
    Interval
        `value` is nan when the event did not come in half of the cases. Bounds come from the order statistics where
        every censored time is longer than the events they rest on (exact, no assumption), else from the log-log
        interval of the Kaplan–Meier curve. They are nan for n ≤ 5, where no 95 % interval of a median exists; the
        range is then in `method`. An upper bound that is nan while the lower is known has no end.

    Notes
    -----
    Kaplan & Meier 1958, J. Am. Stat. Assoc. 53:457–481; interval for a median after Brookmeyer & Crowley 1982,
    Biometrics 38:29–41. Where the curve lies at exactly one half the middle of the flat piece is taken,
    which is the ordinary median when nothing is censored.

    Examples
    --------
    >>> median_time(np.array([8.0, 20.0, 30.0]), np.array([False, False, True])).value
    20.0
    """
    n = len(seconds)
    if n == 0:
        return Interval(np.nan, method="none: no ride with a known start")
    value = _median(seconds, censored)
    ranks = median_ranks(n, confidence)
    if ranks is None:
        return Interval(value, method=_range_only(seconds, censored, confidence))
    low, high, exact = _by_order(seconds, censored, ranks)
    if exact:
        return Interval(value, low, high, f"Kaplan–Meier, order statistics {ranks[0]} and {ranks[1]} of {n} rides")
    low, high = _by_curve(seconds, censored, confidence)
    return Interval(value, low, high, f"Kaplan–Meier, log-log interval, {n} rides of which {censored.sum()} censored")


def share_within(limit_s: float, seconds: FloatArray, censored: BoolArray, confidence: float = 0.95) -> Interval:
    """Return the share of events that came within `limit_s` seconds, with its Wilson interval.

    A censored time shorter than the limit says nothing about it and is left out of the count.

    Examples
    --------
    >>> share_within(30, np.array([8.0, 20.0, 31.0, 900.0]), np.array([False, False, False, True])).value
    0.5
    """
    known = ~censored | (seconds >= limit_s)
    return proportion(int((~censored & (seconds <= limit_s)).sum()), int(known.sum()), confidence)


class _Curve:
    """The Kaplan–Meier curve: `at` (k,) times in order, `share` (k,) still waiting after each of them."""

    def __init__(self, seconds: FloatArray, censored: BoolArray) -> None:
        self.at, which = np.unique(seconds, return_inverse=True)
        came, ended = np.bincount(which, ~censored), np.bincount(which)
        waiting = len(seconds) - np.cumsum(ended) + ended
        self.share = np.cumprod((waiting - came) / waiting)
        with np.errstate(divide="ignore", invalid="ignore"):
            self._greenwood = np.cumsum(came / (waiting * (waiting - came)))

    def band(self, confidence: float) -> tuple[FloatArray, FloatArray]:
        """Return the bounds (k,) of `share` on the scale log(−log share); nan where it is 1 or 0.

        Kalbfleisch & Prentice 2002, The Statistical Analysis of Failure Time Data, 2nd ed., section 1.4.
        """
        from scipy.special import ndtri

        z = ndtri(0.5 + confidence / 2)
        with np.errstate(divide="ignore", invalid="ignore"):
            error = np.sqrt(1 / np.log(self.share) ** 2 * self._greenwood)
            middle = np.log(-np.log(self.share))
            low, high = (np.exp(-np.exp(middle + side * z * error)) for side in (1, -1))
        return np.asarray(low, dtype=float), np.asarray(high, dtype=float)


def _median(seconds: FloatArray, censored: BoolArray) -> float:
    curve = _Curve(seconds, censored)
    below = np.flatnonzero(curve.share < 0.5 - 1e-9)
    level = np.flatnonzero(np.abs(curve.share - 0.5) <= 1e-9)
    if level.size and below.size:
        return float((curve.at[level[0]] + curve.at[below[0]]) / 2)
    return float(curve.at[below[0]]) if below.size else float("nan")


def _by_order(seconds: FloatArray, censored: BoolArray, ranks: tuple[int, int]) -> tuple[float, float, bool]:
    """Order-statistics bounds, and whether they are exact: no censored time lies below the last event they rest on."""
    order = np.lexsort((censored, seconds))
    times, lost = seconds[order], censored[order]
    low, high = ranks[0] - 1, ranks[1] - 1
    first_lost = int(np.argmax(lost)) if lost.any() else len(times)
    if first_lost > high:
        return float(times[low]), float(times[high]), True
    all_lost_after = bool(lost[first_lost:].all())
    return (float(times[low]) if first_lost > low else float("nan")), float("nan"), all_lost_after and first_lost > low


def _by_curve(seconds: FloatArray, censored: BoolArray, confidence: float) -> tuple[float, float]:
    curve = _Curve(seconds, censored)
    bounds = [curve.at[side <= 0.5] for side in curve.band(confidence)]
    low, high = (float(b[0]) if b.size else float("nan") for b in bounds)
    return low, high


def _range_only(seconds: FloatArray, censored: BoolArray, confidence: float) -> str:
    longest = f"{seconds.max():.0f}{'+' if censored[seconds.argmax()] else ''}"
    text = f"range {seconds.min():.0f}–{longest} of {len(seconds)} ride{'s' * (len(seconds) > 1)}"
    return f"{text}; no {100 * confidence:.0f} % interval exists for so few"

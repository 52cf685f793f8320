"""How long a device takes to its first fix and what of the road that loses."""

from __future__ import annotations

import math
from collections import Counter
from dataclasses import replace
from itertools import combinations
from typing import TYPE_CHECKING

import numpy as np

from gpsq.statistics import intervals, survival
from gpsq.summary_types import Interval

if TYPE_CHECKING:
    from collections.abc import Sequence

    from gpsq.model import BoolArray, FirstFix, FloatArray
    from gpsq.results import TraceResult
    from gpsq.settings import Settings

LIMITS_S = (10, 30, 60)
FEWEST_A_WAY = 3
DEALS = 5000


def times(results: Sequence[TraceResult], settings: Settings) -> dict[str, Interval]:
    """Return the shares fixed within 10, 30 and 60 s, how many never fixed, and the median time.

    The shares lead: a sample with hot and cold starts in it has its median in the gap between them.
    """
    trials = [r.first_fix for r in results if is_trial(r)]
    seconds, never = _waited(trials)
    figures = {"ttff_median_s": survival.median_time(seconds, never, settings.confidence)}
    for limit_s in LIMITS_S:
        figures[f"fixed_in_{limit_s}s"] = survival.share_within(limit_s, seconds, never, settings.confidence)
    figures["ttff_estimate_median_s"] = _with_estimates(results, settings.confidence)
    said = _in_words(results, int(never.sum()))
    figures = {name: replace(f, method=f"{f.method}; {said}") for name, f in figures.items()}
    figures["ttff_known"] = Interval(float(len(trials)), method=said, of=len(results))
    figures["ttff_never"] = Interval(float(never.sum()) if trials else np.nan, method=said, of=len(trials))
    return figures


def _with_estimates(results: Sequence[TraceResult], confidence: float) -> Interval:
    """Return the median of the times that are measured or else worked out, nan where none is.

    Its interval reaches from the lower bound of the low values to the upper one of the high ones.
    """
    trials = [r.first_fix for r in results if is_trial(r)]
    worked_out = [r.first_fix for r in results if not is_trial(r) and np.isfinite(r.first_fix.estimate_s)]
    if not worked_out:
        return Interval(np.nan, method="none: no time is worked out")
    seconds, never = _waited(trials)
    bases = sorted({f.estimate_basis for f in worked_out})
    said = f"{len(worked_out)} of {len(trials) + len(worked_out)} worked out ({', '.join(bases)}), the others measured"

    def median(values: Sequence[float]) -> Interval:
        unbounded = np.isinf(values)
        waited = np.where(unbounded, [f.estimate_s for f in worked_out], values)
        return survival.median_time(np.append(seconds, waited), np.append(never, unbounded), confidence)

    found = median([f.estimate_s for f in worked_out])
    low, high = (median([getattr(f, f"estimate_{end}_s") for f in worked_out]) for end in ("low", "high"))
    count = len(trials) + len(worked_out)
    return replace(found, low=low.low, high=high.high, method=f"{found.method}; {said}", of=count)


def _waited(trials: Sequence[FirstFix]) -> tuple[FloatArray, BoolArray]:
    """Return the seconds to the first fix, or those waited in vain, and which are these."""
    never = np.array([not np.isfinite(t.seconds) for t in trials], dtype=bool)
    waited = [t.at_least_s if lost else t.seconds for t, lost in zip(trials, never, strict=True)]
    return np.array(waited, dtype=float), never


def ways_differ(results: Sequence[TraceResult]) -> Interval:
    """Return the p of the times of the two ways that were ridden most being alike (rank sum; never fixed is last)."""
    times: dict[str, list[float]] = {}
    for r in results:
        if is_trial(r) and r.route:
            times.setdefault(r.route, []).append(np.inf if r.first_fix.censored else r.first_fix.seconds)
    ways = sorted(times.values(), key=len, reverse=True)[:2]
    if len(ways) < 2 or min(map(len, ways)) < FEWEST_A_WAY:
        return Interval(np.nan, method="none: too few starts on two ways")
    return Interval(_rank_sum_p(np.array(ways[0]), np.array(ways[1])), method="rank sum")


def _rank_sum_p(first: FloatArray, second: FloatArray) -> float:
    """Return the two-sided p of the rank sum over all ways of dealing the times out again (Wilcoxon 1945, Biometrics 1:80–83).

    Infinite times are last; of more than `DEALS` ways as many are drawn.
    """
    everything = np.concatenate([first, second])
    rank = (everything[:, None] > everything).sum(axis=1) + (everything[:, None] == everything).sum(axis=1) / 2
    few = math.comb(len(rank), len(first)) <= DEALS
    if few:
        dealt = np.array([sum(chosen) for chosen in combinations(rank, len(first))])
    else:
        rng = np.random.default_rng(len(everything))
        dealt = rng.permuted(np.broadcast_to(rank, (DEALS, len(rank))), axis=1)[:, : len(first)].sum(axis=1)
    own = rank[: len(first)].sum()
    tail = min(np.count_nonzero(dealt <= own + 1e-9), np.count_nonzero(dealt >= own - 1e-9))
    return float(min(1.0, 2 * (tail / len(dealt) if few else (tail + 1) / (DEALS + 1))))


def is_trial(result: TraceResult) -> bool:
    """Return whether a recording's time to first fix is known, or known to be longer than the recording."""
    first = result.first_fix
    return bool(np.isfinite(first.seconds) or (first.censored and np.isfinite(first.at_least_s)))


def start_states(results: Sequence[TraceResult]) -> Counter[str]:
    """Return how many recordings with a time to first fix began in which state."""
    return Counter(r.first_fix.start_state for r in results if is_trial(r) and not r.duplicate_of)


def _in_words(results: Sequence[TraceResult], never: int) -> str:
    states = start_states(results)
    known = sum(states.values())
    text = f"start known for {known} of {len(results)} recording{'s' * (len(results) > 1)}"
    if never:
        text += f", {never} without a fix to the end"
    if states:
        text += "; start state " + ", ".join(f"{n} {state}" for state, n in sorted(states.items()))
    return text + ("; different start states are mixed" if len(states) > 1 else "")


def road_missed(results: Sequence[TraceResult], settings: Settings) -> dict[str, Interval]:
    """Return the metres and the share of the road missed before the first fix, the settling, and both times together.

    ``missed_is_minimum`` is 1 where the median is a lower bound (see `median_is_bound`). A bound has no interval; that of a
    median of others reaches from the lower bound of their low values to the upper bound of their high ones, for where the
    rides were started is known to some metres only.
    """
    level = settings.confidence
    fixes = [r.first_fix for r in results]
    missed = np.array([f.missed_m for f in fixes], dtype=float)
    share = np.array([f.missed_share for f in fixes], dtype=float)
    known = np.isfinite(missed)
    least = np.array([f.missed_is_minimum for f in fixes], dtype=bool)
    minimum = median_is_bound(missed[known], least[known])
    worst = float(missed[known].max()) if known.any() else np.nan
    figures = {
        "missed_median_m": _with_places(intervals.median(missed, level, 0), fixes, level),
        "missed_share_median": intervals.median(share, level, 3),
        "missed_worst_m": Interval(
            worst, method="" if known.any() else "none: known for no ride", at_least=bool(least[known].any())
        ),
        "missed_known": Interval(float(known.sum()), of=len(fixes)),
        "settle_median_s": intervals.median(np.array([f.settle_s for f in fixes], dtype=float), level, 0),
        "usable_median_s": _until_usable(results, level),
    }
    if minimum:
        for name in ("missed_median_m", "missed_share_median"):
            text = f"{figures[name].method}; at least: no trace shows where some rides began"
            figures[name] = Interval(figures[name].value, method=text, at_least=True)
    return figures | {"missed_is_minimum": Interval(float(minimum) if known.any() else np.nan)}


def _until_usable(results: Sequence[TraceResult], confidence: float) -> Interval:
    """Return the Kaplan–Meier median of the seconds until a recording stays near its line.

    One that never fixed, or of which it is not known when it settled, took longer than what is known of it. The median is
    never under that of the times to first fix, on which the same recordings count, and unknown where that is.
    """
    trials = [r.first_fix for r in results if is_trial(r)]
    settled = np.array([np.isfinite(t.seconds + t.settle_s) for t in trials], dtype=bool)
    waited = [t.at_least_s if np.isnan(t.seconds) else t.seconds + np.nan_to_num(t.settle_s) for t in trials]
    found = survival.median_time(np.array(waited, dtype=float), ~settled, confidence)
    fixed = survival.median_time(*_waited(trials), confidence).value
    if not trials:
        return found
    said = f"{found.method}; settled on {settled.sum()} of {len(trials)}"
    return replace(found, value=float(np.maximum(found.value, fixed)), method=said)


def _with_places(median: Interval, fixes: Sequence[FirstFix], confidence: float) -> Interval:
    """Return the median of what was missed, its interval widened by how well the places of the starts are known."""
    if not np.isfinite(median.low):
        return median
    low = np.array([f.missed_m if np.isnan(f.missed_low_m) else f.missed_low_m for f in fixes], dtype=float)
    high = np.array([f.missed_m if np.isnan(f.missed_high_m) else f.missed_high_m for f in fixes], dtype=float)
    bounds = intervals.median(low, confidence).low, intervals.median(high, confidence).high
    return replace(median, low=bounds[0], high=bounds[1])


def median_is_bound(missed_m: FloatArray, least: BoolArray) -> bool:
    """Return whether a median is a lower bound: whether a value that is one lies at or below its upper middle rank.

    Examples
    --------
    >>> median_is_bound(np.array([10.0, 20.0, 90.0]), np.array([True, False, False]))
    True
    >>> median_is_bound(np.array([10.0, 20.0, 90.0]), np.array([False, False, True]))
    False
    """
    if not len(missed_m):
        return False
    return bool((missed_m[least] <= np.sort(missed_m)[len(missed_m) // 2]).any())

"""Two devices on the same rides: how they differ ride by ride, whether that is chance, and what would have been missed.

A device that never fixed is infinitely late, so the ride on which it failed counts against it. Errors are compared as
ratios, ride by ride, each by the size that 68 % of the road keeps; no ride is dropped without being counted.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from itertools import combinations
from typing import TYPE_CHECKING

import numpy as np

from gpsq.statistics import paired, power
from gpsq.statistics.robust import robust_sd
from gpsq.summaries import sampling
from gpsq.summaries.devices.shared_rides import log_errors, pseudo_values, shared_rides
from gpsq.summaries.pair_verdicts import with_verdict
from gpsq.summaries.station_table import station_table
from gpsq.summary_types import Interval, PairedComparison

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping, Sequence

    from gpsq.model import FirstFix, FloatArray, Trace
    from gpsq.results import RouteResult, TraceResult
    from gpsq.settings import Settings
    from gpsq.summaries.devices.shared_rides import SharedRides

Key = tuple[str, str]


@dataclass(frozen=True)
class Pair:
    """What a comparison rests on: a value a ride (a difference, or the logarithm of a ratio), and why others are left out.

    Of the repeatability the values are pseudo-values of the logarithm of the ratio, which has no value of one ride.
    `withheld` says why there is no comparison at all.
    """

    measure: str
    first: str
    second: str
    values: FloatArray
    rides: int
    left_out: str = ""
    withheld: str = ""

    @property
    def is_ratio(self) -> bool:
        """Whether the values are logarithms of ratios."""
        return self.measure in ("xte_p68_m", "repeatability_m")


def compare_pairs(
    traces: Sequence[Trace], results: Sequence[TraceResult], routes: Sequence[RouteResult], settings: Settings
) -> tuple[PairedComparison, ...]:
    """Compare each pair of devices that shared a ride, over all routes.

    Times to first fix and metres missed are compared only where both devices started in the same state; errors over the
    stations that both devices have.
    """
    pairs = [
        *_first_fix_pairs(traces, results, "ttff_s"),
        *_first_fix_pairs(traces, results, "missed_m"),
        *_error_pairs(traces, results, routes),
    ]
    compared = [_compared(pair, settings) for pair in pairs]
    known = [c for c in compared if np.isfinite(c.p)]
    adjusted = iter(paired.adjusted([c.p for c in known]))
    withheld = {(p.measure, p.first, p.second): p.withheld for p in pairs}
    return tuple(
        with_verdict(
            replace(c, p_adjusted=float(next(adjusted))) if np.isfinite(c.p) else c,
            settings,
            len(known),
            withheld[c.measure, c.first, c.second],
        )
        for c in compared
    )


# --- first fix -----------------------------------------------------------------------------------------------------


def _first_fix_pairs(traces: Sequence[Trace], results: Sequence[TraceResult], measure: str) -> list[Pair]:
    rides: dict[str, dict[Key, TraceResult]] = {}
    for result in results:
        if result.ride and not result.duplicate_of:
            rides.setdefault(traces[result.trace].device, {}).setdefault((result.route, result.ride), result)
    pairs = []
    for first, second in combinations(sorted(rides), 2):
        shared = _shared_rides(rides[first], rides[second])
        if not shared:
            continue
        same = [(a, b) for a, b in shared if a.start_state == b.start_state]
        values = np.array([_DIFFERENCE[measure](a, b) for a, b in same], dtype=float)
        known = ~np.isnan(values)
        said = _left_out(len(shared) - len(same), int((~known).sum()), measure, same)
        pairs.append(Pair(measure, first, second, values[known], int(known.sum()), said))
    return [pair for pair in pairs if measure == "ttff_s" or len(pair.values)]


def _shared_rides(
    first: Mapping[Key, TraceResult], second: Mapping[Key, TraceResult]
) -> list[tuple[FirstFix, FirstFix]]:
    """Pair the first fixes of one ride; a recording that never fixed has no route, so the ride alone decides."""
    others = {ride: result for (_, ride), result in second.items()}
    return [(result.first_fix, others[ride].first_fix) for (_, ride), result in first.items() if ride in others]


def _seconds_apart(first: FirstFix, second: FirstFix) -> float:
    """Return how much later the first device fixed: infinitely where it alone never did, not at all where neither did."""
    if first.censored and second.censored:
        return 0.0
    a, b = (np.inf if fix.censored else fix.seconds for fix in (first, second))
    return float(a - b)


def _metres_apart(first: FirstFix, second: FirstFix) -> float:
    """Return how much more road the first device missed; two bounds from one place give it, a bound and a value do not."""
    if first.censored and second.censored:
        return 0.0
    if first.censored or second.censored:
        return np.inf if first.censored else -np.inf
    return first.missed_m - second.missed_m if first.missed_is_minimum == second.missed_is_minimum else np.nan


_DIFFERENCE = {"ttff_s": _seconds_apart, "missed_m": _metres_apart}


def _left_out(other_state: int, unknown: int, measure: str, same: Sequence[tuple[FirstFix, FirstFix]]) -> str:
    what = "a start is unknown" if measure == "ttff_s" else "the road missed is unknown of one, or bounded below only"
    parts = [f"{other_state} with different start states"] if other_state else []
    parts += [f"{unknown} where {what}"] if unknown else []
    text = f"rides left out: {', '.join(parts)}" if parts else ""
    if any(a.start_state == "unknown" for a, _ in same):
        text += f"{'; ' if text else ''}some start states are unknown, so hot and cold starts may be compared"
    return text


# --- errors --------------------------------------------------------------------------------------------------------


def _error_pairs(traces: Sequence[Trace], results: Sequence[TraceResult], routes: Sequence[RouteResult]) -> list[Pair]:
    interval_s = sampling.usual_intervals(traces, results)
    shared: dict[Key, list[SharedRides]] = {}
    for route in routes:
        table = station_table(route, traces, results)
        if table is None:
            continue
        for pair in combinations(sorted(set(table.device)), 2):
            shared.setdefault(pair, []).append(shared_rides(table, route, pair, interval_s))
    pairs = [pair for key, own in shared.items() for pair in _of_shared(*key, own, routes)]
    return sorted((p for p in pairs if p.rides), key=lambda p: (p.measure, p.first, p.second))


def _of_shared(first: str, second: str, own: Sequence[SharedRides], routes: Sequence[RouteResult]) -> Iterator[Pair]:
    lost, rides, thinned = sum(s.lost for s in own), sum(s.rides for s in own), any(s.thinned for s in own)
    logs = np.concatenate([log_errors(s) for s in own])
    said, why = _said(lost + rides - len(logs), 0, thinned), _why_withheld({first, second}, routes)
    yield Pair("xte_p68_m", first, second, logs[:, 0] - logs[:, 1], len(logs), said, why)
    values = pseudo_values(own)
    lone = sum(s.rides == 1 for s in own)
    logs = values[:, 0] - values[:, 1] if len(values) else np.empty(0)
    yield Pair("repeatability_m", first, second, logs, rides - lone, _said(lost, lone, thinned))


def _said(short: int, lone: int, thinned: bool) -> str:
    lost = [f"{short} with little road in common"] if short else []
    lost += [f"{lone} alone on a way"] if lone else []
    parts = [f"rides left out: {', '.join(lost)}"] if lost else []
    parts += ["compared where the one that records more rarely has fixes"] if thinned else []
    return "; ".join(parts)


def _why_withheld(pair: set[str], routes: Sequence[RouteResult]) -> str:
    apart = [two.apart_m for route in routes for two in route.apart if two.pair == pair]
    if apart:
        return f"they lie {max(apart):.0f} m apart, and which is right cannot be known without a surveyed line"
    return ""


# --- one comparison ------------------------------------------------------------------------------------------------


def _compared(pair: Pair, settings: Settings) -> PairedComparison:
    values, level = pair.values, settings.confidence
    difference, p, test, least = Interval(np.nan, method="none"), np.nan, "none", np.nan
    if pair.withheld or len(values) < 2:
        pass
    elif pair.measure == "repeatability_m":
        difference, p, test = paired.student_ratio(values, level), paired.student_p(values), paired.PSEUDO_VALUES
        least = float(np.exp(values.std(ddof=1) * power.detectable(len(values), power.power_of_student, level)))
    elif pair.is_ratio:
        difference = paired.ratio(values, level, settings.seed)
        p, test = paired.ratio_test(values, settings.seed)
        least = float(np.exp(values.std(ddof=1) * power.detectable_ratio(len(values), level)))
    else:
        difference = paired.median_difference(values, level)
        p, test = paired.sign_test(values), paired.SIGN_TEST
        least = _scatter(values) * power.detectable(int(np.count_nonzero(values)), power.power_of_signs, level)
    return PairedComparison(
        pair.measure, pair.first, pair.second, pair.rides, difference, pair.is_ratio, p, np.nan, test, least,
        pair.left_out, False, "",
    )  # fmt: skip


def _scatter(differences: FloatArray) -> float:
    """Return the robust standard deviation of the differences; nan where half of them are infinite."""
    middle = float(np.median(differences)) if np.isfinite(np.median(np.abs(differences))) else np.nan
    return robust_sd(differences - middle)

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
from gpsq.summaries import sampling
from gpsq.summaries.devices.repeatability import ONE_SD, from_others
from gpsq.summaries.pair_verdicts import with_verdict
from gpsq.summaries.station_table import by_ride, on_common_line, station_table
from gpsq.summary_types import Interval, PairedComparison

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from gpsq.model import BoolArray, FirstFix, FloatArray, Trace
    from gpsq.results import RouteResult, TraceResult
    from gpsq.settings import Settings
    from gpsq.summaries.station_table import StationTable

#: Errors are compared over this many stations of a ride at least.
FEWEST_STATIONS = 20

Key = tuple[str, str]
Trio = tuple[str, str, str]
Rides = tuple[tuple[str, ...], "FloatArray"]


@dataclass(frozen=True)
class Pair:
    """What a comparison rests on: a value a ride (a difference, or the logarithm of a ratio), and why others are left out.

    `withheld` says why there is no comparison at all.
    """

    measure: str
    first: str
    second: str
    values: FloatArray
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
        pairs.append(Pair(measure, first, second, values[known], said))
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
    logs: dict[Trio, list[float]] = {}
    short: dict[Trio, int] = {}
    thinned: set[tuple[str, str]] = set()
    interval_s = sampling.usual_intervals(traces, results)
    for route in routes:
        table = station_table(route, traces, results)
        if table is None:
            continue
        common = on_common_line(table)
        for first, second in combinations(sorted(set(table.device)), 2):
            slow = sampling.slower((first, second), interval_s)
            keep = sampling.masked(table, route, slow) if slow else np.ones(common.shape, dtype=bool)
            thinned |= {(first, second)} if slow else set()
            for measure in ("xte_p68_m", "repeatability_m"):
                rides = [_rides(table, device, measure, common, keep) for device in (first, second)]
                found, lost = log_ratios(*rides)
                logs.setdefault((measure, first, second), []).extend(found.values())
                short[measure, first, second] = short.get((measure, first, second), 0) + lost
    return [
        Pair(*key, np.array(found, dtype=float), _said(short[key], key[1:] in thinned), _why_withheld(key, routes))
        for key, found in sorted(logs.items())
        if found
    ]


def _rides(table: StationTable, device: str, measure: str, common_m: FloatArray, keep: BoolArray) -> Rides:
    """Return a device's rides as errors from the line, or about their own middle, where stations count."""
    rows = table.of(device)
    if measure == "xte_p68_m":
        return by_ride(table, np.where(keep, table.offset_m, np.nan), rows)
    names, offset_m = by_ride(table, common_m, rows)
    counted = by_ride(table, np.where(keep, 0.0, np.nan), rows)[1]
    return names, from_others(offset_m) + counted


def _said(short: int, thinned: bool) -> str:
    parts = [f"rides left out: {short} with little road in common"] if short else []
    parts += ["compared where the one that records more rarely has fixes"] if thinned else []
    return "; ".join(parts)


def log_ratios(first: Rides, second: Rides) -> tuple[dict[str, float], int]:
    """Return the logarithm of the ratio of two devices' errors on each shared ride, and how many rides share too little.

    The error of a ride is the size that 68 % of its stations keep, over the stations that both devices have.
    """
    (names, a), (others, b) = first, second
    found, lost = {}, 0
    for i, name in enumerate(names):
        if name not in others:
            continue
        one, other = a[i], b[others.index(name)]
        both = np.isfinite(one) & np.isfinite(other)
        sizes = [float(np.quantile(np.abs(row[both]), ONE_SD)) if both.any() else 0.0 for row in (one, other)]
        if both.sum() < min(FEWEST_STATIONS, len(one) / 2) or not min(sizes) > 0:
            lost += 1
        else:
            found[name] = float(np.log(sizes[0] / sizes[1]))
    return found, lost


def _why_withheld(key: Trio, routes: Sequence[RouteResult]) -> str:
    measure, first, second = key
    apart = [two.apart_m for route in routes for two in route.apart if two.pair == {first, second}]
    if apart and measure == "xte_p68_m":
        return f"they lie {max(apart):.0f} m apart, and which is right cannot be known without a surveyed line"
    return ""


# --- one comparison ------------------------------------------------------------------------------------------------


def _compared(pair: Pair, settings: Settings) -> PairedComparison:
    n, level = len(pair.values), settings.confidence
    difference, p, test, least = Interval(np.nan, method="none"), np.nan, "none", np.nan
    if pair.withheld or n < 2:
        pass
    elif pair.is_ratio:
        difference = paired.ratio(pair.values, level, settings.seed)
        p, test = paired.ratio_test(pair.values, settings.seed)
        least = float(np.exp(float(pair.values.std(ddof=1)) * power.detectable_ratio(n, level)))
    else:
        difference = paired.median_difference(pair.values, level)
        p, test = paired.sign_test(pair.values), paired.SIGN_TEST
        least = _scatter(pair.values) * power.detectable(n, power.power_of_signs, level)
    return PairedComparison(
        pair.measure, pair.first, pair.second, n, difference, pair.is_ratio, p, np.nan, test, least, pair.left_out,
        False, "",
    )  # fmt: skip


def _scatter(differences: FloatArray) -> float:
    """Return the robust standard deviation of the differences; nan where half of them are infinite."""
    middle = float(np.median(differences)) if np.isfinite(np.median(np.abs(differences))) else np.nan
    return 1.4826 * float(np.median(np.abs(differences - middle)))

"""Two devices on the same rides: paired differences, whether they are chance, and what would settle it."""

from __future__ import annotations

from dataclasses import dataclass, replace
from itertools import combinations
from typing import TYPE_CHECKING

import numpy as np

from gpsq.statistics import intervals, paired
from gpsq.statistics.intervals import FEWEST_FOR_SIGN_FLIP
from gpsq.statistics.power import POWER, detectable_difference, rides_needed
from gpsq.summaries.station_table import by_ride, station_table
from gpsq.summary_types import Interval, PairedComparison

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from gpsq.model import FloatArray, Trace
    from gpsq.results import DevicesApart, RouteResult, TraceResult
    from gpsq.settings import Settings

UNITS = {"ttff_s": "s", "xte_rms_m": "m"}
WORDS = {"ttff_s": ("fixes later", "time to first fix"), "xte_rms_m": ("errs more", "cross-track error")}

Key = tuple[str, str]


@dataclass(frozen=True)
class _Pair:
    measure: str
    first: str
    second: str
    differences: FloatArray
    left_out: str

    @property
    def names(self) -> frozenset[str]:
        return frozenset((self.first, self.second))


def compare_pairs(
    traces: Sequence[Trace], results: Sequence[TraceResult], routes: Sequence[RouteResult], settings: Settings
) -> tuple[PairedComparison, ...]:
    """Compare each pair of devices that shared a ride, over all routes.

    Cross-track errors are compared over the stations that both devices have, times to first fix only where both
    devices started in the same state. From six rides on the test flips signs (`paired.sign_flip_p`) and needs
    no normal distribution; with fewer it cannot reach 5 %, so Student's paired test stands in, and `test` says so.
    """
    apart = {two.pair: two for route in routes for two in route.apart}
    pairs = [*_first_fix_pairs(traces, results), *_error_pairs(traces, results, routes)]
    compared = [
        _withheld(pair, apart[pair.names])
        if pair.measure == "xte_rms_m" and pair.names in apart
        else _compared(pair, settings)
        for pair in pairs
    ]
    known = [c for c in compared if np.isfinite(c.p)]
    if not known:
        return tuple(compared)
    adjusted = iter(paired.adjusted([c.p for c in known]))
    return tuple(
        _with_verdict(replace(c, p_adjusted=float(next(adjusted))), settings, len(known)) if np.isfinite(c.p) else c
        for c in compared
    )


def _first_fix_pairs(traces: Sequence[Trace], results: Sequence[TraceResult]) -> list[_Pair]:
    rides: dict[str, dict[Key, TraceResult]] = {}
    for result in results:
        if result.ride and not result.duplicate_of:
            rides.setdefault(traces[result.trace].device, {}).setdefault((result.route, result.ride), result)
    pairs = []
    for first, second in combinations(sorted(rides), 2):
        shared = _shared_rides(rides[first], rides[second])
        if not shared:
            continue
        states = [(a, b) for a, b in shared if a.first_fix.start_state == b.first_fix.start_state]
        waits = [(a.first_fix.seconds, b.first_fix.seconds) for a, b in states]
        differences = np.array([a - b for a, b in waits if np.isfinite(a - b)], dtype=float)
        said = _left_out_in_words(len(shared) - len(states), len(states) - len(differences), states)
        pairs.append(_Pair("ttff_s", first, second, differences, said))
    return pairs


def _shared_rides(
    first: Mapping[Key, TraceResult], second: Mapping[Key, TraceResult]
) -> list[tuple[TraceResult, TraceResult]]:
    """Pair the recordings of one ride; a recording that never fixed has no route, so the ride alone decides."""
    others = {ride: result for (_, ride), result in second.items()}
    return [(result, others[ride]) for (_, ride), result in first.items() if ride in others]


def _left_out_in_words(other_state: int, unknown: int, states: Sequence[tuple[TraceResult, TraceResult]]) -> str:
    parts = []
    if other_state:
        parts.append(f"{other_state} with different start states")
    if unknown:
        parts.append(f"{unknown} where a time is unknown or a device never fixed")
    text = f"rides left out: {', '.join(parts)}" if parts else ""
    if any(a.first_fix.start_state == "unknown" for a, _ in states):
        text += f"{'; ' if text else ''}some start states are unknown, so hot and cold starts may be compared"
    return text


def _error_pairs(traces: Sequence[Trace], results: Sequence[TraceResult], routes: Sequence[RouteResult]) -> list[_Pair]:
    found: dict[Key, list[FloatArray]] = {}
    for route in routes:
        table = station_table(route, traces, results)
        if table is None:
            continue
        rides = {d: by_ride(table, table.decided_m, table.of(d)) for d in dict.fromkeys(table.device)}
        for first, second in combinations(sorted(rides), 2):
            found.setdefault((first, second), []).append(_rms_differences(rides[first], rides[second]))
    joined = {pair: np.concatenate(parts) for pair, parts in found.items()}
    return [_Pair("xte_rms_m", *pair, d, "") for pair, d in sorted(joined.items()) if len(d)]


def _rms_differences(
    first: tuple[tuple[str, ...], FloatArray], second: tuple[tuple[str, ...], FloatArray]
) -> FloatArray:
    """Difference of the root mean square offsets of each shared ride, over the stations both devices have."""
    (names, a), (others, b) = first, second
    differences = []
    for i, name in enumerate(names):
        if name not in others:
            continue
        one, other = a[i], b[others.index(name)]
        both = np.isfinite(one) & np.isfinite(other)
        if both.any():
            differences.append(np.sqrt(np.mean(one[both] ** 2)) - np.sqrt(np.mean(other[both] ** 2)))
    return np.array(differences, dtype=float)


def _withheld(pair: _Pair, two: DevicesApart) -> PairedComparison:
    """Return a comparison that is not made: of two devices that lie apart, each errs by where the line was put."""
    n = len(pair.differences)
    said = (
        f"{pair.first} and {pair.second} are not compared in cross-track error: they lie {two.apart_m:.0f} m apart; "
        f"which is right cannot be known without a surveyed line"
    )
    none = Interval(np.nan, method="none: the two lie apart")
    return PairedComparison(
        pair.measure, pair.first, pair.second, n, none, np.nan, np.nan, "none", None, np.nan, pair.left_out, said
    )


def _compared(pair: _Pair, settings: Settings) -> PairedComparison:
    n = len(pair.differences)
    whose = (pair.measure, pair.first, pair.second, n)
    if n < 2:
        said = f"{pair.first} and {pair.second} share {n} usable ride{'s' * (n != 1)}: nothing can be said"
        mean = intervals.mean(pair.differences)
        return PairedComparison(*whose, mean, np.nan, np.nan, "none", None, np.nan, pair.left_out, said)
    p, test = difference_p(pair.differences, settings.seed)
    spread = float(pair.differences.std(ddof=1))
    level = settings.confidence
    mean = intervals.mean_difference(pair.differences, np.random.default_rng(settings.seed), level)
    needed = rides_needed(abs(mean.value), spread, level)
    return PairedComparison(
        *whose, mean, p, p, test, needed, detectable_difference(n, spread, level), pair.left_out, ""
    )


def difference_p(differences: FloatArray, seed: int = 0) -> tuple[float, str]:
    """Return the two-sided p of paired differences having their centre at nought, and the name of the test.

    With n pairs the smallest p of a sign-flip test is 2 / 2**n, so under six it can never call a difference at 5 %.

    Examples
    --------
    >>> difference_p(np.array([1.0, 2.0, 3.0, 4.0, 5.0, 6.0]))
    (0.03125, 'sign flips')
    """
    if len(differences) < FEWEST_FOR_SIGN_FLIP and np.ptp(differences) > 0:
        p = paired.student_p(differences)
        return p, "Student's paired test: sign flips cannot reach 5 % with so few rides"
    return paired.sign_flip_p(differences, np.random.default_rng(seed)), "sign flips"


def _with_verdict(found: PairedComparison, settings: Settings, compared: int) -> PairedComparison:
    does, what = WORDS[found.measure]
    if found.p > 1 - settings.confidence:
        seen = _in_words(found, 1, settings.confidence)
        text = f"no difference in {what} shown: {found.first} less {found.second} is {seen}"
        return replace(found, verdict=f"{text}; {_what_would_settle(found, UNITS[found.measure])}")
    first_is_worse = found.difference.value > 0
    worse, better = (found.first, found.second) if first_is_worse else (found.second, found.first)
    text = f"{worse} {does} than {better} by {_in_words(found, 1 if first_is_worse else -1, settings.confidence)}"
    if found.p_adjusted > 1 - settings.confidence:
        text += f"; among {compared} comparisons such a difference may be chance"
    return replace(found, verdict=text)


def _in_words(found: PairedComparison, sign: int, confidence: float) -> str:
    unit = UNITS[found.measure]
    low, high = sorted((sign * found.difference.low, sign * found.difference.high))
    bounds = f"{100 * confidence:.0f} % interval {low:.1f} to {high:.1f} {unit}, " if np.isfinite(low) else ""
    return f"{sign * found.difference.value:.1f} {unit} ({bounds}p = {found.p:.3f}, {found.rides} rides)"


def _what_would_settle(found: PairedComparison, unit: str) -> str:
    limit = f"a true difference under {found.detectable:.1f} {unit} is likely to be missed with {found.rides} rides"
    if found.rides_needed is None:
        return f"no number of rides that can be ridden would settle so small a difference; {limit}"
    more = max(1, found.rides_needed - found.rides)
    return (
        f"were it true, about {more} more ride{'s' * (more > 1)} would show it with {100 * POWER:.0f} % power; {limit}"
    )

"""Figures per device: on each route and over all routes, each with an interval that holds for few rides.

Rides, not fixes, are the independent units. A figure that cannot be known is nan, and its `method` says why.
"""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from gpsq.statistics import intervals, survival
from gpsq.summaries.station_table import Spread, by_ride, on_common_line, spread_over_rides, station_table
from gpsq.summary_types import DeviceSummary, Interval, StateSummary

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable, Mapping, Sequence

    from gpsq.model import BoolArray, FloatArray, IntArray, Trace
    from gpsq.results import RouteResult, TraceResult
    from gpsq.settings import Settings
    from gpsq.summaries.station_table import StationTable

#: Leaving out one ride at a time is too slow for hundreds of them; then blocks of rides are left out.
MOST_BLOCKS = 40
#: From this number of rides the jackknife's error is held up by a part of what the correlation along the route implies;
#: the part brings the cover nearest to 95 % over all the settings of tests/validation/interval_coverage.py.
FLOOR_FROM_RIDES = 4
FLOOR_FACTOR = 0.5


@dataclass(frozen=True)
class _Lines:
    """One device's offsets on one route, (n, m) from the left-out lines, and the spread of its rides on the common line.

    `undecided` is the number of its recordings with a stretch that may be the rider's choice, `undecided_m2` the sum of
    squares there, `all_m2` that of everything. The plain ones leave out all of the `waiting` deviations, those that
    look like faults too.
    """

    left_out_m: FloatArray
    spread: Spread
    plain_left_out_m: FloatArray
    plain_spread: Spread
    waiting: int
    undecided: int
    undecided_m2: float
    all_m2: float


def summarise(
    traces: Sequence[Trace], results: Sequence[TraceResult], routes: Sequence[RouteResult], settings: Settings
) -> tuple[DeviceSummary, ...]:
    """Return the figures of each device on each of its routes and, with route "", over all.

    Recordings that were not scored still count for the time to first fix; one that repeats another counts nowhere.
    """
    lines = _lines_per_device(traces, results, routes)
    summaries = []
    for device in sorted({t.device for t in traces}):
        own = [r for r in results if traces[r.trace].device == device and not r.duplicate_of]
        names = [r.route.name for r in routes if any(o.route == r.route.name for o in own)]
        for name in ["", *names]:
            chosen = [r for r in own if name in ("", r.route)]
            tables = [v for (d, route), v in lines.items() if d == device and name in ("", route)]
            summaries.append(_summary(device, name, chosen, tables, settings))
    return tuple(summaries)


def by_start_state(
    traces: Sequence[Trace], results: Sequence[TraceResult], settings: Settings
) -> tuple[StateSummary, ...]:
    """Return the time to first fix of each device within each start state: only these compare like with like."""
    groups: dict[tuple[str, str], list[TraceResult]] = {}
    for result in (r for r in results if not r.duplicate_of):
        groups.setdefault((traces[result.trace].device, result.first_fix.start_state), []).append(result)
    return tuple(
        StateSummary(device, state, len(chosen), _first_fix_figures(chosen, settings))
        for (device, state), chosen in sorted(groups.items())
    )


def start_states(results: Sequence[TraceResult]) -> Counter[str]:
    """Return how many recordings with a time to first fix began in which state."""
    return Counter(r.first_fix.start_state for r in results if _is_trial(r) and not r.duplicate_of)


def _is_trial(result: TraceResult) -> bool:
    first = result.first_fix
    return bool(np.isfinite(first.seconds) or (first.censored and np.isfinite(first.at_least_s)))


def _lines_per_device(
    traces: Sequence[Trace], results: Sequence[TraceResult], routes: Sequence[RouteResult]
) -> dict[tuple[str, str], _Lines]:
    lines = {}
    for route in routes:
        table = station_table(route, traces, results)
        if table is None:
            continue
        common = on_common_line(table)
        for device in dict.fromkeys(table.device):
            lines[device, table.route] = _lines(table, common, table.of(device))
    return lines


def _lines(table: StationTable, common_m: FloatArray, rows: BoolArray) -> _Lines:
    square, undecided = table.offset_m[rows] ** 2, table.undecided[rows]

    def rides(values: FloatArray, without: BoolArray) -> FloatArray:
        return by_ride(table, np.where(without, np.nan, values), rows)[1]

    left_out_m, spread = by_ride(table, table.offset_m, rows)[1], spread_over_rides(rides(common_m, table.undecided))
    waiting = bool(table.open[rows].any())
    return _Lines(
        left_out_m,
        spread,
        rides(table.offset_m, table.open) if waiting else left_out_m,
        spread_over_rides(rides(common_m, table.open)) if waiting else spread,
        sum(count for count, own in zip(table.deviations, rows, strict=True) if own),
        int(undecided.any(axis=1).sum()),
        float(np.nansum(square[undecided])),
        float(np.nansum(square)),
    )


def _summary(
    device: str, route: str, results: Sequence[TraceResult], lines: Sequence[_Lines], settings: Settings
) -> DeviceSummary:
    rides = len({r.ride or f"recording {r.trace}" for r in results})
    figures = _first_fix_figures(results, settings)
    figures |= _median_figures(results, settings)
    figures |= _crosstrack_figures(results, lines, settings)
    figures["repeatability_m"] = repeatability([pair.spread for pair in lines], settings.confidence)
    figures |= _plain_figures(figures, lines, settings.confidence)
    figures["spikes"] = _spikes(results)
    _say_undecided(figures, lines)
    return DeviceSummary(device, route, rides, figures)


def _first_fix_figures(results: Sequence[TraceResult], settings: Settings) -> dict[str, Interval]:
    trials = [r.first_fix for r in results if _is_trial(r)]
    censored = np.array([not np.isfinite(t.seconds) for t in trials], dtype=bool)
    waited = [t.at_least_s if lost else t.seconds for t, lost in zip(trials, censored, strict=True)]
    seconds = np.array(waited, dtype=float)
    said = _trials_in_words(results, int(censored.sum()))
    figures = {"ttff_median_s": survival.median_time(seconds, censored, settings.confidence)}
    for limit_s in (10, 30, 60):
        figures[f"fixed_in_{limit_s}s"] = survival.share_within(limit_s, seconds, censored, settings.confidence)
    figures = {name: Interval(f.value, f.low, f.high, f"{f.method}; {said}") for name, f in figures.items()}
    figures["ttff_known"] = Interval(float(len(trials)), method=said)
    figures["ttff_censored"] = Interval(float(censored.sum()), method=said)
    return figures


def _trials_in_words(results: Sequence[TraceResult], censored: int) -> str:
    states = start_states(results)
    known = sum(states.values())
    text = f"start known for {known} of {len(results)} recording{'s' * (len(results) > 1)}"
    if censored:
        text += f", {censored} without a fix to the end"
    if states:
        text += "; start state " + ", ".join(f"{n} {state}" for state, n in sorted(states.items()))
    return text + ("; different start states are mixed" if len(states) > 1 else "")


def _median_figures(results: Sequence[TraceResult], settings: Settings) -> dict[str, Interval]:
    wanted: dict[str, tuple[Callable[[TraceResult], float], int]] = {
        "missed_median_m": (lambda r: r.first_fix.missed_m, 0),
        "missed_share_median": (lambda r: r.first_fix.missed_share, 3),
        "settle_median_s": (lambda r: r.first_fix.settle_s, 0),
        "hausdorff_median_m": (lambda r: r.curves.hausdorff_m if r.curves else np.nan, 1),
        "frechet_median_m": (lambda r: r.curves.frechet_m if r.curves else np.nan, 1),
        "length_ratio_median": (lambda r: r.curves.length_ratio if r.curves else np.nan, 3),
    }
    figures = {
        name: intervals.median(np.array([get(r) for r in results], dtype=float), settings.confidence, digits)
        for name, (get, digits) in wanted.items()
    }
    if any(r.first_fix.missed_is_minimum for r in results):
        for name in ("missed_median_m", "missed_share_median"):
            f = figures[name]
            said = f"{f.method}; at least: no trace shows where some rides began"
            figures[name] = Interval(f.value, f.low, f.high, said)
    return figures


def _crosstrack_figures(
    results: Sequence[TraceResult], lines: Sequence[_Lines], settings: Settings
) -> dict[str, Interval]:
    rows = _known(pair.left_out_m for pair in lines)
    biases = np.array([r.crosstrack.bias_m for r in results if r.crosstrack], dtype=float)
    return {
        "xte_rms_m": _pooled_rms(rows, settings.confidence),
        "xte_p95_m": _pooled_p95(rows, settings.confidence),
        "bias_m": intervals.mean(biases, settings.confidence),
    }


def _known(tables: Iterable[FloatArray]) -> list[FloatArray]:
    rows = [row[np.isfinite(row)] for table in tables for row in table]
    return [row for row in rows if row.size]


def _plain_figures(figures: Mapping[str, Interval], lines: Sequence[_Lines], confidence: float) -> dict[str, Interval]:
    """Return the errors without deviations that wait for a decision; the same figures where there are none."""
    waiting = sum(pair.waiting for pair in lines)
    counted = {"open_deviations": Interval(float(waiting), method="deviations without a person's decision")}
    if not waiting:
        return counted | {f"{name}_plain_m": figures[f"{name}_m"] for name in ("xte_rms", "repeatability")}
    rms = _pooled_rms(_known(pair.plain_left_out_m for pair in lines), confidence)
    spread = repeatability([pair.plain_spread for pair in lines], confidence)
    return counted | {"xte_rms_plain_m": rms, "repeatability_plain_m": spread}


def _spikes(results: Sequence[TraceResult]) -> Interval:
    """Return how often fixes went off and came back within seconds, with how far at most in `method`."""
    counts = [r.spikes for r in results if r.spikes is not None]
    if not counts:
        return Interval(np.nan, method="none: no recording has times")
    some = sum(count > 0 for count in counts)
    said = f"in {some} of {len(counts)} recording{'s' * (len(counts) > 1)}"
    largest_m = max((r.largest_spike_m for r in results if r.spikes), default=np.nan)
    return Interval(float(sum(counts)), method=f"{said}, the largest {largest_m:.0f} m" if some else said)


def _say_undecided(figures: dict[str, Interval], lines: Sequence[_Lines]) -> None:
    """Say what stretches that wait for a person's decision do to the figures: one detour can outweigh all else."""
    recordings = sum(pair.undecided for pair in lines)
    if not recordings:
        return
    share = sum(pair.undecided_m2 for pair in lines) / max(sum(pair.all_m2 for pair in lines), 1e-9)
    what = f"undecided stretches of {recordings} recording{'s' * (recordings > 1)} that look like a choice of road"
    added = {
        "xte_rms_m": f"{share:.0%} of the mean square comes from {what}",
        "repeatability_m": f"without {what}",
    }
    for name, text in added.items():
        f = figures[name]
        figures[name] = Interval(f.value, f.low, f.high, f"{f.method}; {text}")


def _pooled_rms(rows: Sequence[FloatArray], confidence: float) -> Interval:
    if not rows:
        return Interval(np.nan, method="none: no ride was scored")
    squares = np.array([float((row**2).sum()) for row in rows])
    counts = np.array([row.size for row in rows])
    value = float(np.sqrt(squares.sum() / counts.sum()))
    if len(rows) < 2:
        return intervals.log_jackknife(value, np.full(len(rows), np.nan), confidence)
    without = np.sqrt((squares.sum() - squares) / (counts.sum() - counts))
    return intervals.log_jackknife(value, without, confidence)


def _pooled_p95(rows: Sequence[FloatArray], confidence: float) -> Interval:
    if not rows:
        return Interval(np.nan, method="none: no ride was scored")
    pooled = np.abs(np.concatenate(rows))
    blocks = min(len(rows), MOST_BLOCKS)
    block = np.repeat(np.arange(len(rows)) % blocks, [row.size for row in rows])
    order = np.argsort(pooled)
    ordered, block = pooled[order], block[order]
    without = [_p95_without(ordered, np.flatnonzero(block == b)) for b in range(blocks)] if blocks > 1 else []
    nobody = np.empty(0, dtype=np.int64)
    return intervals.log_jackknife(_p95_without(ordered, nobody), np.array(without), confidence)


def _p95_without(ordered: FloatArray, left_out: IntArray) -> float:
    """Return the 95th percentile of ordered values without those at the places `left_out`.

    >>> round(_p95_without(np.array([1.0, 2.0, 3.0, 9.0]), np.array([3])), 3)
    2.9
    """
    last = len(ordered) - len(left_out) - 1
    share, low = np.modf(0.95 * last)
    # a value that is kept has moved down by the number of those left out before it
    kept = np.array([int(low), min(int(low) + 1, last)])
    at = kept + np.searchsorted(left_out - np.arange(len(left_out)), kept, side="right")
    return float(ordered[at[0]] + share * (ordered[at[1]] - ordered[at[0]]))


def repeatability(spreads: Sequence[Spread], confidence: float = 0.95) -> Interval:
    """Return the repeatability standard deviation in metres, pooled over routes.

    It is the spread of one device's rides about their own mean at each station, in the sense of ISO 5725-2, so an
    offset that all its rides share is no part of it; the rider's own line is. For the interval rides are left out
    in turn.
    """
    square = sum(s.square_m2 for s in spreads)
    degrees = sum(s.degrees for s in spreads)
    if not degrees > 0:
        return Interval(np.nan, method="none: fewer than 2 scored rides on any route")
    value = float(np.sqrt(square / degrees))
    without = np.concatenate([_rest(s, square, degrees) for s in spreads])
    rides = len(without)
    floor = _model_error(spreads, degrees) if rides >= FLOOR_FROM_RIDES else 0.0
    return intervals.log_jackknife(value, without, confidence, floor)


def _rest(spread: Spread, square_m2: float, degrees: float) -> FloatArray:
    """Repeatability without each ride of one route; nan where nothing is left."""
    left = square_m2 - spread.square_m2 + spread.without[:, 0]
    of = degrees - spread.degrees + spread.without[:, 1]
    variance = np.divide(np.maximum(left, 0.0), of, out=np.full(len(of), np.nan), where=of > 0)
    return np.asarray(np.sqrt(variance), dtype=float)


def _model_error(spreads: Sequence[Spread], degrees: float) -> float:
    """Return the standard error of the logarithm of the spread that independent places of the routes would give."""
    variance = sum(s.degrees**2 / ((len(s.without) - 1) * s.places) for s in spreads if len(s.without) > 1)
    return FLOOR_FACTOR * float(np.sqrt(0.5 * variance) / degrees)

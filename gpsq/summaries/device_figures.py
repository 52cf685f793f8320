"""Figures per device: on each route and over all routes, each with an interval that holds for few rides.

Rides, not fixes, are the independent units. A figure that cannot be known is nan, and its `method` says why. One rule for
all: choices of road are out, decided or suggested, and receiver errors are in, flagged or not (`gpsq.measures.route`).
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from gpsq.statistics import intervals
from gpsq.summaries.devices import deviation_counts, first_fixes, offsets, repeatability, road_within
from gpsq.summaries.station_table import by_ride, station_table
from gpsq.summary_types import DeviceSummary, Interval, StateSummary

if TYPE_CHECKING:
    from collections.abc import Callable, Mapping, Sequence

    from gpsq.model import FloatArray, Trace
    from gpsq.results import RouteResult, TraceResult
    from gpsq.settings import Settings


@dataclass(frozen=True)
class _Rides:
    """One device's offsets on one route, a row a ride: from the left-out lines, and from one common line."""

    left_out_m: FloatArray
    common_m: FloatArray


def summarise(
    traces: Sequence[Trace], results: Sequence[TraceResult], routes: Sequence[RouteResult], settings: Settings
) -> tuple[DeviceSummary, ...]:
    """Return the figures of each device on each of its routes and, with route "", over all.

    Recordings that were not scored still count for the time to first fix; one that repeats another counts nowhere.
    """
    rides = _rides_per_device(traces, results, routes)
    ways = offsets.both_ways(routes)
    summaries = []
    for device in sorted({t.device for t in traces}):
        own = [r for r in results if traces[r.trace].device == device and not r.duplicate_of]
        names = [r.route.name for r in routes if any(o.route == r.route.name for o in own)]
        for name in ["", *names]:
            chosen = [r for r in own if name in ("", r.route)]
            tables = [v for (d, route), v in rides.items() if d == device and name in ("", route)]
            found = _figures(chosen, tables, ways if not name else {}, settings)
            found["bias_m"] = _bias(chosen, settings.confidence) if name else POOLED
            found["ttff_ways_p"] = ONE_WAY if name else first_fixes.ways_differ(chosen)
            count = len({r.ride or f"recording {r.trace}" for r in chosen})
            summaries.append(DeviceSummary(device, name, count, found))
    return tuple(summaries)


ONE_WAY = Interval(float("nan"), method="none: one way alone")
POOLED = Interval(float("nan"), method="none: over both ways an offset of the ground cancels; see the offsets")


def by_start_state(
    traces: Sequence[Trace], results: Sequence[TraceResult], settings: Settings
) -> tuple[StateSummary, ...]:
    """Return the time to first fix of each device within each start state: only these compare like with like."""
    groups: dict[tuple[str, str], list[TraceResult]] = {}
    for result in (r for r in results if not r.duplicate_of):
        groups.setdefault((traces[result.trace].device, result.first_fix.start_state), []).append(result)
    return tuple(
        StateSummary(device, state, len(chosen), first_fixes.times(chosen, settings))
        for (device, state), chosen in sorted(groups.items())
    )


def _rides_per_device(
    traces: Sequence[Trace], results: Sequence[TraceResult], routes: Sequence[RouteResult]
) -> dict[tuple[str, str], _Rides]:
    found = {}
    for route in routes:
        table = station_table(route, traces, results)
        if table is None:
            continue
        common = table.common_m
        for device in dict.fromkeys(table.device):
            rows = table.of(device)
            found[device, table.route] = _Rides(
                by_ride(table, table.offset_m, rows)[1], by_ride(table, common, rows)[1]
            )
    return found


def _figures(
    results: Sequence[TraceResult], rides: Sequence[_Rides], ways: Mapping[str, str], settings: Settings
) -> dict[str, Interval]:
    level = settings.confidence
    return (
        first_fixes.times(results, settings)
        | first_fixes.road_missed(results, settings)
        | road_within.figures([row for own in rides for row in own.left_out_m], level)
        | {"repeatability_m": repeatability.figure([own.common_m for own in rides], level)}
        | deviation_counts.figures(results, level)
        | {"spikes": deviation_counts.spikes(results)}
        | offsets.of_body_and_ground(results, ways, level)
        | _medians(results, level)
    )


def _bias(results: Sequence[TraceResult], confidence: float) -> Interval:
    return intervals.mean(np.array([r.crosstrack.bias_m for r in results if r.crosstrack], dtype=float), confidence)


def _medians(results: Sequence[TraceResult], confidence: float) -> dict[str, Interval]:
    wanted: dict[str, tuple[Callable[[TraceResult], float], int]] = {
        "hausdorff_median_m": (lambda r: r.curves.hausdorff_m if r.curves else np.nan, 1),
        "frechet_median_m": (lambda r: r.curves.frechet_m if r.curves else np.nan, 1),
        "length_ratio_median": (lambda r: r.curves.length_ratio if r.curves else np.nan, 3),
        "interval_median_s": (lambda r: r.interval_s, 1),
    }
    return {
        name: intervals.median(np.array([get(r) for r in results], dtype=float), confidence, digits)
        for name, (get, digits) in wanted.items()
    }

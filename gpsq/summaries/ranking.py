"""Places of devices, and how sure they are: how often each would come first if other rides had been drawn."""

from __future__ import annotations

from itertools import combinations
from typing import TYPE_CHECKING

import numpy as np

from gpsq.statistics import intervals
from gpsq.statistics.bootstrap import draw_counts, places, share_first
from gpsq.summaries.station_table import by_ride, on_common_line, spread_over_rides, station_table
from gpsq.summary_types import DevicePlace, DeviceSummary, Interval, RouteRatio

if TYPE_CHECKING:
    from collections.abc import Sequence

    from gpsq.model import FloatArray, Trace
    from gpsq.results import RouteResult, TraceResult
    from gpsq.settings import Settings

FEWEST_RIDES = 3


def compare_places(summaries: Sequence[DeviceSummary]) -> tuple[RouteRatio, ...]:
    """Return for each device and pair of its routes how much worse it repeats itself on the one than on the other.

    Summaries of several campaigns can be given together, if their routes have different names.
    """
    own: dict[str, dict[str, Interval]] = {}
    for summary in summaries:
        if summary.route:
            own.setdefault(summary.device, {})[summary.route] = summary.figures["repeatability_m"]
    return tuple(
        _route_ratio(device, first, second, intervals.ratio(figures[first], figures[second]))
        for device, figures in sorted(own.items())
        for first, second in combinations(figures, 2)
    )


def _route_ratio(device: str, first: str, second: str, found: Interval) -> RouteRatio:
    if not np.isfinite(found.low):
        return RouteRatio(device, first, second, found, f"{device}: nothing can be said of {first} and {second}")
    known = f"{found.value:.2f} ({found.low:.2f} to {found.high:.2f})"
    if found.low <= 1 <= found.high:
        said = f"{device}: no difference shown between {first} and {second}, ratio {known}"
    else:
        said = f"{device} scatters {'more' if found.value > 1 else 'less'} on {first} than on {second}, ratio {known}"
    return RouteRatio(device, first, second, found, said)


def rank_by_repeatability(
    traces: Sequence[Trace], results: Sequence[TraceResult], routes: Sequence[RouteResult], settings: Settings
) -> tuple[DevicePlace, ...]:
    """Rank the devices of each route by repeatability, best first, with how stable the places are.

    Whole rides are drawn again with replacement, the same ones for all devices of a route, since they shared them.
    Devices with fewer than three scored rides are left out.
    """
    found: list[DevicePlace] = []
    for route in routes:
        table = station_table(route, traces, results)
        if table is None:
            continue
        common = np.where(table.undecided, np.nan, on_common_line(table))
        rides = {d: by_ride(table, common, table.of(d)) for d in dict.fromkeys(table.device)}
        enough = {d: own for d, own in rides.items() if len(own[0]) >= FEWEST_RIDES}
        if len(enough) > 1:
            found += _places(table.route, enough, settings)
    return tuple(found)


def _places(route: str, rides: dict[str, tuple[tuple[str, ...], FloatArray]], settings: Settings) -> list[DevicePlace]:
    names = sorted({name for own, _ in rides.values() for name in own})
    counts = draw_counts(len(names), settings.resamples, settings.seed)
    drawn = np.column_stack([_spreads(rows, counts[:, [names.index(n) for n in own]]) for own, rows in rides.values()])
    spreads = [spread_over_rides(rows) for _, rows in rides.values()]
    value = np.array([np.sqrt(s.square_m2 / s.degrees) if s.degrees > 0 else np.nan for s in spreads])
    first, place = share_first(drawn), places(drawn)
    tail = 100 * (1 - settings.confidence) / 2
    own_place = places(value[None])[0]
    rows = [
        DevicePlace(
            route, device, len(rides[device][0]), float(value[i]), int(own_place[i]), float(first[i]),
            *(int(p) for p in np.percentile(place[:, i], [tail, 100 - tail], method="nearest")),
        )
        for i, device in enumerate(rides)
    ]  # fmt: skip
    return sorted(rows, key=lambda row: row.place)


def _spreads(offset_m: FloatArray, counts: FloatArray) -> FloatArray:
    """Return the variance over the drawn rides of each draw: counts is (draws, rides)."""
    known = np.isfinite(offset_m)
    mean = np.where(known, offset_m, 0.0).sum(axis=0) / np.maximum(known.sum(axis=0), 1)
    residual = np.where(known, offset_m - mean, 0.0)
    product = residual @ residual.T
    drawn = counts.sum(axis=1)
    square = counts @ np.diag(product) - np.einsum("bi,ij,bj->b", counts, product, counts) / np.maximum(drawn, 1)
    return np.asarray(np.where(drawn > 1, square / np.maximum(drawn - 1, 1), np.inf), dtype=float)

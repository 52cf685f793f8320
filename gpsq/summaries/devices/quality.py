"""Error against what the receiver said of itself: hdop and the number of satellites."""

from __future__ import annotations

from itertools import pairwise
from typing import TYPE_CHECKING

import numpy as np

from gpsq.statistics import intervals
from gpsq.statistics.rank_correlation import rank_correlation
from gpsq.summaries.station_table import station_table
from gpsq.summary_types import QualityClass, QualityTrend

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

    from gpsq.model import FloatArray, Trace
    from gpsq.results import RouteResult, TraceResult

#: Classes of the receivers' own figures (common practice; edges belong to the lower class).
CLASSES = {"hdop": (0.0, 1.0, 2.0, 5.0, 10.0, np.inf), "sat": (0.0, 4.0, 6.0, 8.0, 12.0, np.inf)}
FEWEST_FIXES = 10


def error_by_quality(
    traces: Sequence[Trace], results: Sequence[TraceResult], routes: Sequence[RouteResult]
) -> tuple[tuple[QualityClass, ...], tuple[QualityTrend, ...]]:
    """Return the error in classes of hdop and satellites, and its rank correlation with them, where recorded.

    A fix takes the error of the station nearest to it. Fixes of one ride are not independent, so the correlation is
    taken ride by ride and its interval is over rides.
    """
    classes: list[QualityClass] = []
    trends: list[QualityTrend] = []
    for quantity, edges in CLASSES.items():
        fixes = _fixes_with(quantity, traces, results, routes)
        for device in sorted(fixes):
            classes += _classes(device, quantity, edges, fixes[device])
            trends += _trend(device, quantity, fixes[device])
    return tuple(classes), tuple(trends)


def _fixes_with(
    quantity: str, traces: Sequence[Trace], results: Sequence[TraceResult], routes: Sequence[RouteResult]
) -> dict[str, list[tuple[FloatArray, FloatArray]]]:
    """Return for each device and recording the quality figure and the offset of its scored fixes."""
    from scipy.spatial import cKDTree

    fixes: dict[str, list[tuple[FloatArray, FloatArray]]] = {}
    for route in routes:
        table = station_table(route, traces, results)
        if table is None or route.centreline is None:
            continue
        stations = cKDTree(route.centreline.xy_m)
        row_of = dict(zip(table.trace, table.offset_m, strict=True))
        for number, xy in zip(route.route.members, route.route.xy_m, strict=True):
            figure = getattr(traces[number], quantity)
            if number not in row_of or len(figure) != len(xy) or np.isfinite(figure).sum() < FEWEST_FIXES:
                continue
            offset = row_of[number][stations.query(xy)[1]]
            known = np.isfinite(figure) & np.isfinite(offset)
            if known.sum() >= FEWEST_FIXES:
                fixes.setdefault(traces[number].device, []).append((figure[known], offset[known]))
    return fixes


def _classes(
    device: str, quantity: str, edges: Sequence[float], fixes: Sequence[tuple[FloatArray, FloatArray]]
) -> Iterator[QualityClass]:
    for low, high in pairwise(edges):
        inside = [offset[(figure > low) & (figure <= high)] for figure, offset in fixes]
        pooled = np.concatenate(inside)
        if pooled.size >= FEWEST_FIXES:
            rides = sum(part.size > 0 for part in inside)
            yield QualityClass(device, quantity, low, high, pooled.size, rides, float(np.sqrt(np.mean(pooled**2))))


def _trend(device: str, quantity: str, fixes: Sequence[tuple[FloatArray, FloatArray]]) -> list[QualityTrend]:
    varied = [(figure, np.abs(offset)) for figure, offset in fixes if np.ptp(figure) > 0 and np.ptp(np.abs(offset)) > 0]
    ranks = np.array([rank_correlation(figure, size) for figure, size in varied])
    return [QualityTrend(device, quantity, len(ranks), intervals.median(ranks, digits=2))] if len(ranks) else []

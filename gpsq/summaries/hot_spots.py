"""Where and when devices err: hot spots of a route, error against the receiver's own quality figures, distance bias."""

from __future__ import annotations

from itertools import pairwise
from typing import TYPE_CHECKING

import numpy as np

from gpsq.arrays import stretches
from gpsq.statistics import intervals
from gpsq.statistics.rank_correlation import rank_correlation
from gpsq.summaries.station_table import station_table
from gpsq.summary_types import DistanceBias, HotSpot, QualityClass, QualityTrend

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

    from gpsq.model import FloatArray, Trace
    from gpsq.results import RouteResult, TraceResult
    from gpsq.settings import Settings
    from gpsq.summaries.station_table import StationTable

#: A stretch is hot where the spread, smoothed over this length, exceeds the route's median by this factor.
SMOOTH_M = 50.0
HOT_FACTOR = 1.5
#: Classes of the receivers' own figures (common practice; edges belong to the lower class).
CLASSES = {"hdop": (0.0, 1.0, 2.0, 5.0, 10.0, np.inf), "sat": (0.0, 4.0, 6.0, 8.0, 12.0, np.inf)}
FEWEST_FIXES = 10


def hot_spots(
    traces: Sequence[Trace], results: Sequence[TraceResult], routes: Sequence[RouteResult], settings: Settings
) -> tuple[HotSpot, ...]:
    """Return the stretches where traces spread most, widest first.

    The spread is the centreline's robust one, so one ride's detour makes no hot spot; a stretch shorter than the
    shortest deviation is left out.
    """
    found: list[HotSpot] = []
    for route in routes:
        table = station_table(route, traces, results)
        if table is not None and route.centreline is not None and len(table.along_m) > 1:
            found += _hot_stretches(table, route.centreline.spread_m, settings.deviation_min_m)
    return tuple(sorted(found, key=lambda spot: -spot.spread_m))


def _hot_stretches(table: StationTable, spread_m: FloatArray, shortest_m: float) -> Iterator[HotSpot]:
    step = float(table.along_m[1] - table.along_m[0])
    smooth = _smoothed(spread_m, max(1, round(SMOOTH_M / step)))
    typical = float(np.nanmedian(smooth)) if np.isfinite(smooth).any() else 0.0
    square = np.nansum(table.decided_m**2, axis=0)
    for low, high in stretches(smooth > HOT_FACTOR * typical):
        length = (high - low) * step
        if length >= shortest_m and typical > 0:
            spread = float(np.sqrt(np.nanmean(spread_m[low:high] ** 2)))
            yield HotSpot(
                table.route, float(table.along_m[low]), float(table.along_m[high - 1]), spread, spread / typical,
                float(square[low:high].sum() / square.sum()), (high - low) / len(square),
            )  # fmt: skip


def _smoothed(values: FloatArray, width: int) -> FloatArray:
    """Return the running mean over known values."""
    known = np.isfinite(values)
    kernel = np.ones(width)
    count = np.convolve(known, kernel, "same")
    total = np.convolve(np.where(known, values, 0.0), kernel, "same")
    return np.asarray(np.divide(total, count, out=np.full(len(values), np.nan), where=known), dtype=float)


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
        row_of = dict(zip(table.trace, table.decided_m, strict=True))
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


def distance_biases(
    traces: Sequence[Trace], results: Sequence[TraceResult], settings: Settings
) -> tuple[DistanceBias, ...]:
    """Return each device's recorded length over the centreline's, and why it differs.

    An error across the track that changes by e between fixes d apart lengthens the step by about e²/2d
    (Ranacher et al. 2016, Int. J. Geogr. Inf. Sci. 30:316–333); smoothing and long steps cut corners and shorten it.
    """
    found = []
    for device in sorted({t.device for t in traces}):
        own = [
            r for r in results if traces[r.trace].device == device and r.curves and r.crosstrack and not r.duplicate_of
        ]
        if not own:
            continue
        ratio = intervals.median(np.array([r.curves.length_ratio for r in own if r.curves]), settings.confidence, 3)
        noise = np.array([_lengthening(r, traces[r.trace].accepted) for r in own])
        added = float(np.median(noise[np.isfinite(noise)])) if np.isfinite(noise).any() else float("nan")
        found.append(DistanceBias(device, ratio, added, _reason(ratio.value - 1, added)))
    return tuple(found)


def _lengthening(result: TraceResult, fixes: int) -> float:
    """Return the share of length that the changes of offset between neighbouring fixes add."""
    cross = result.crosstrack
    if cross is None or fixes < 2 or len(cross.along_m) < 2:
        return float("nan")
    step = float(cross.along_m[1] - cross.along_m[0])
    lag = max(1, round(result.length_m / (fixes - 1) / step))
    changes = cross.offset_m[lag:] - cross.offset_m[:-lag]
    changes = changes[np.isfinite(changes)]
    return float(np.mean(changes**2) / (2 * (lag * step) ** 2)) if changes.size else float("nan")


def _reason(excess: float, from_noise: float) -> str:
    rest = excess - from_noise
    if not np.isfinite(rest):
        return "not known: too few stations"
    said = f"recorded {excess:+.1%}, of which noise across the track explains {from_noise:+.1%}"
    if rest < -0.005:
        return f"{said}; the rest ({rest:+.1%}) fits corners cut by smoothing or long steps between fixes"
    if rest > 0.005:
        return (
            f"{said}; the rest ({rest:+.1%}) fits noise along the track, wandering at stops or changes too short to see"
        )
    return f"{said}, which is all of it"

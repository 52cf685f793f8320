"""Where on a route recordings err more than elsewhere: places that chance along the road does not make.

Even noise has its worst place too, so a place is only named when it is worse than the worst place of chance: each ride's
errors are moved round the road by a distance of its own, again and again, and the largest value that any place reaches is
kept (the maximum over circular shifts; Westfall & Young 1993, Resampling-Based Multiple Testing, section 2). Moved so,
what belongs to a place falls apart, while each ride keeps its own noise and how it hangs together along the road.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from gpsq.summaries.station_table import by_ride, station_table
from gpsq.summary_types import HotSpot, HotSpotSearch

if TYPE_CHECKING:
    from gpsq.arrays import FloatArray
    from collections.abc import Iterator, Sequence

    from gpsq.model import BoolArray, Trace
    from gpsq.results import RouteResult, TraceResult
    from gpsq.settings import Settings
    from gpsq.summaries.station_table import StationTable

#: Errors are averaged over this length: about the width of a block of houses (common practice).
SMOOTH_M = 50.0
SHIFTS = 400
FEWEST_RIDES = 3
#: What a search would have seen is told for a stretch with so many times the error, found in so many of its trials.
TIMES, SEEN_IN, TRIALS = 3.0, 0.8, 20
LENGTHS_M = (50.0, 100.0, 200.0, 400.0, 800.0)


@dataclass(frozen=True, eq=False)
class _Search:
    """The errors of the rides of a route, (n, m) as ranks within each ride, and the height that chance reaches."""

    table: StationTable
    size_m: FloatArray
    width: int
    height: float


def hot_spots(
    traces: Sequence[Trace], results: Sequence[TraceResult], routes: Sequence[RouteResult], settings: Settings
) -> tuple[HotSpot, ...]:
    """Return the stretches where recordings err more than chance along the road explains, widest first.

    In a campaign without any, one is named in at most 5 % (the setting `confidence`), all its routes together.
    """
    return search(traces, results, routes, settings)[0]


def search(
    traces: Sequence[Trace], results: Sequence[TraceResult], routes: Sequence[RouteResult], settings: Settings
) -> tuple[tuple[HotSpot, ...], tuple[HotSpotSearch, ...]]:
    """Return the hot spots, and for each route what was looked for and how long a stretch would have been seen."""
    tables = [(r, t) for r in routes if (t := station_table(r, traces, results)) is not None and len(t.along_m) > 1]
    tables = [(r, t) for r, t in tables if len(set(t.ride)) >= FEWEST_RIDES and r.centreline is not None]
    level = 1 - (1 - settings.confidence) / max(len(tables), 1)
    spots: list[HotSpot] = []
    told: list[HotSpotSearch] = []
    for route, table in tables:
        found = _search(table, level, np.random.default_rng(settings.seed))
        own = list(_named(found, route.centreline.spread_m if route.centreline else np.empty(0)))
        shown = np.nan if own else _would_show_m(found, np.random.default_rng(settings.seed + 1))
        spots += own
        told.append(HotSpotSearch(table.route, len(found.size_m), len(own), shown))
    return tuple(sorted(spots, key=lambda spot: -spot.spread_m)), tuple(told)


def _search(table: StationTable, level: float, rng: np.random.Generator) -> _Search:
    size = _sizes(table)
    step = float(table.along_m[1] - table.along_m[0])
    width = max(1, round(SMOOTH_M / step))
    ranks = _ranks(_smoothed(size, width))
    highest = [float(np.nanmax(_over_rides(_shifted(ranks, rng)))) for _ in range(SHIFTS)]
    return _Search(table, size, width, float(np.quantile(highest, level)))


def _sizes(table: StationTable) -> FloatArray:
    """Return (n, m) the size of error of each ride at each station, each device counting by its own usual size."""
    size = np.abs(table.offset_m)
    usual = np.array([_usual(size[table.of(d)]) for d in table.device])
    everyone = np.ones(len(table.device), dtype=bool)
    return by_ride(table, size / usual[:, None], everyone)[1]


def _usual(size_m: FloatArray) -> float:
    known = size_m[np.isfinite(size_m)]
    return max(float(np.median(known)), 0.01) if known.size else 1.0


def _smoothed(values: FloatArray, width: int) -> FloatArray:
    """Return the running mean of each row over known values."""
    from scipy.ndimage import uniform_filter1d

    known = np.isfinite(values)
    count = uniform_filter1d(known.astype(float), width, axis=1, mode="constant")
    total = uniform_filter1d(np.where(known, values, 0.0), width, axis=1, mode="constant")
    return np.asarray(
        np.divide(total, count, out=np.full(values.shape, np.nan), where=known & (count > 0)), dtype=float
    )


def _ranks(values: FloatArray) -> FloatArray:
    """Return each row as normal scores of its ranks, so that no single ride makes a place; nan stays."""
    from scipy.stats import norm, rankdata

    scores = np.full(values.shape, np.nan)
    for row, known, out in zip(values, np.isfinite(values), scores, strict=True):
        if known.any():
            out[known] = norm.ppf(rankdata(row[known]) / (known.sum() + 1))
    return scores


def _shifted(rows: FloatArray, rng: np.random.Generator) -> FloatArray:
    """Return the rows, each moved round by a random distance among the stations it has."""
    moved = np.full(rows.shape, np.nan)
    for row, out in zip(rows, moved, strict=True):
        at = np.flatnonzero(np.isfinite(row))
        if at.size:
            out[at] = np.roll(row[at], int(rng.integers(at.size)))
    return moved


def _over_rides(rows: FloatArray) -> FloatArray:
    """Return the sum over rides in units of what it scatters by, so that stations that few rides have weigh no more."""
    known = np.isfinite(rows)
    count = known.sum(axis=0)
    total = np.where(known, rows, 0.0).sum(axis=0)
    return np.asarray(np.divide(total, np.sqrt(count), out=np.full(rows.shape[1], np.nan), where=count > 0), float)


def _hot(found: _Search, size_m: FloatArray) -> BoolArray:
    height = _over_rides(_ranks(_smoothed(size_m, found.width)))
    return np.asarray(np.nan_to_num(height, nan=-np.inf) > found.height)


def _named(found: _Search, spread_m: FloatArray) -> Iterator[HotSpot]:
    table = found.table
    square = np.nansum(table.offset_m**2, axis=0)
    known = np.isfinite(spread_m)
    typical = float(np.median(spread_m[known])) if known.any() else np.nan
    step = float(table.along_m[1] - table.along_m[0])
    for low, high in _stretches(_hot(found, found.size_m), max(1, round(SMOOTH_M / step))):
        inside = spread_m[low:high]
        spread = float(np.sqrt(np.mean(inside[np.isfinite(inside)] ** 2))) if np.isfinite(inside).any() else np.nan
        yield HotSpot(
            table.route, float(table.along_m[low]), float(table.along_m[high - 1]), spread, spread / typical,
            float(square[low:high].sum() / square.sum()), (high - low) / len(square),
        )  # fmt: skip


def _stretches(flags: BoolArray, joined: int) -> list[tuple[int, int]]:
    """Return (first, one past last) of each run of True; runs nearer than `joined` are one."""
    edges = np.flatnonzero(np.diff(np.concatenate([[False], flags, [False]]).astype(int)))
    runs: list[tuple[int, int]] = []
    for low, high in zip(edges[::2].tolist(), edges[1::2].tolist(), strict=True):
        if runs and low - runs[-1][1] < joined:
            runs[-1] = (runs[-1][0], high)
        else:
            runs.append((low, high))
    return runs


def _would_show_m(found: _Search, rng: np.random.Generator) -> float:
    """Return the shortest stretch with `TIMES` the error that would have been seen; inf where none would."""
    size, step = found.size_m, float(found.table.along_m[1] - found.table.along_m[0])
    for length_m in LENGTHS_M:
        width = round(length_m / step)
        if width * 2 > size.shape[1]:
            break
        seen = 0
        for _ in range(TRIALS):
            planted = _shifted(size, rng)
            low = int(rng.integers(size.shape[1] - width))
            planted[:, low : low + width] *= TIMES
            seen += bool(_hot(found, planted)[low : low + width].any())
        if seen >= SEEN_IN * TRIALS:
            return length_m
    return float("inf")

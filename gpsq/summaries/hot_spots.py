"""Where on a route recordings err more than elsewhere: places that chance along the road does not make.

Even noise has its worst place too, so a place is only named when it is worse than the worst place of chance: each ride's
errors are moved round the road by a distance of its own, again and again, and the largest value that any place reaches is
kept (the maximum over circular shifts; Westfall & Young 1993, Resampling-Based Multiple Testing, section 2). Moved so,
what belongs to a place falls apart, while each ride keeps its own noise and how it hangs together along the road.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np
from numpy.lib.stride_tricks import sliding_window_view

from gpsq.arrays import mean_of_known, stretches
from gpsq.measures.route import MOST_LINES
from gpsq.summaries.devices.others import sizes_from_others
from gpsq.summaries.station_table import station_table
from gpsq.summary_types import HotSpot, HotSpotSearch

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

    from gpsq.arrays import FloatArray
    from gpsq.model import BoolArray, IntArray, Trace
    from gpsq.results import RouteResult, TraceResult
    from gpsq.settings import Settings
    from gpsq.summaries.station_table import StationTable

#: Offsets are averaged over this length first, and their sizes over twice as much: a block of houses (common practice).
BIN_M, SMOOTH_BINS = 25.0, 2
#: Beyond 100 km bins are longer instead of more, or one leap would have thousands of kilometres searched for places.
MOST_BINS = 4000
#: The chance that is allowed is half of what the level says: moved offsets hold a little less than the recordings do
#: (6 of 60 even campaigns with three devices named a place without this, tests/validation/identical_devices.py).
SHIFTS, ALLOWED = 200, 0.5
#: From 26 routes on a height that is rare enough would take more shifts with each route: its tail is followed instead.
MOST_SHIFTS = 1000
FEWEST_RIDES = 3
#: What a search would have seen is told for a stretch with so many times the error, found in so many of its trials.
TIMES, SEEN_IN, TRIALS = 3.0, 0.8, 20
LENGTHS_M = (50.0, 100.0, 200.0, 400.0, 800.0)
#: Figures that are moved at a time: enough that little time is lost between them, and they still fit in the caches.
AT_A_TIME = 100_000


SearchedRoute = tuple[tuple[HotSpot, ...], HotSpotSearch]


@dataclass(frozen=True, eq=False)
class _Search:
    """The traces of a route, those of a ride together, (k, b) means over bins of `bin_m`, and the height of chance.

    `offset_m` are their offsets from one common line, which are moved to see what chance does; `size_m` the sizes of those
    from the lines made without their own ride, of which places are made. Moved ones are held against the median of the
    other rides, as recordings are: what one ride does to the line of the others is in chance too.
    """

    offset_m: FloatArray
    size_m: FloatArray
    ride: IntArray
    usual_m: FloatArray
    bin_m: float
    height: float


def hot_spots(
    traces: Sequence[Trace], results: Sequence[TraceResult], routes: Sequence[RouteResult], settings: Settings
) -> tuple[HotSpot, ...]:
    """Return the stretches where recordings err more than chance along the road explains, widest first.

    In a campaign without any, one is named in at most 5 % (the setting `confidence`), all its routes together; of a lone
    device on five rides a way in 10 % (`docs/validation.md`).
    """
    return search(traces, results, routes, settings)[0]


def search(
    traces: Sequence[Trace], results: Sequence[TraceResult], routes: Sequence[RouteResult], settings: Settings
) -> tuple[tuple[HotSpot, ...], tuple[HotSpotSearch, ...]]:
    """Return the hot spots, and for each route what was looked for and how long a stretch would have been seen."""
    return together(by_route(traces, results, routes, settings))


def by_route(
    traces: Sequence[Trace],
    results: Sequence[TraceResult],
    routes: Sequence[RouteResult],
    settings: Settings,
    part: int = 0,
    parts: int = 1,
) -> tuple[SearchedRoute, ...]:
    """Return the same of each route by itself.

    With `parts`, of every so many'th route from the one numbered `part` on; all of them count in what chance is allowed.
    """
    tables = [(r, t) for r in routes if (t := station_table(r, traces, results)) is not None and len(t.along_m) > 1]
    tables = [(r, t) for r, t in tables if len(set(t.ride)) >= FEWEST_RIDES and r.centreline is not None]
    level = _level(settings.confidence, len(tables))
    return tuple(_searched(route, table, level, settings.seed) for route, table in tables[part::parts])


def _searched(route: RouteResult, table: StationTable, level: float, seed: int) -> SearchedRoute:
    found = _search(table, level, np.random.default_rng(seed))
    own = tuple(_named(found, table, route.centreline.spread_m if route.centreline else np.empty(0)))
    shown = np.nan if own else _would_show_m(found, np.random.default_rng(seed + 1))
    return own, HotSpotSearch(table.route, int(found.ride.max()) + 1, len(own), shown)


def together(searched: Sequence[SearchedRoute]) -> tuple[tuple[HotSpot, ...], tuple[HotSpotSearch, ...]]:
    """Return the hot spots of all routes, widest first, and what was looked for on each."""
    spots = sorted((spot for own, _ in searched for spot in own), key=lambda spot: -spot.spread_m)
    return tuple(spots), tuple(told for _, told in searched)


def _level(confidence: float, routes: int) -> float:
    """Return the level of one route, so that all of them together keep the chance that is allowed.

    >>> _level(0.95, 1), _level(0.95, 10)
    (0.975, 0.9975)
    """
    return 1 - ALLOWED * (1 - confidence) / max(routes, 1)


def _search(table: StationTable, level: float, rng: np.random.Generator) -> _Search:
    bin_m = _bin_m(table.along_m)
    offset = _binned(table.common_m, table.along_m, bin_m)
    size = np.abs(_binned(table.offset_m, table.along_m, bin_m))
    rides = {name: number for number, name in enumerate(dict.fromkeys(table.ride))}
    ride = np.array([rides[name] for name in table.ride])
    usual_of = {d: _usual(size[table.of(d)]) for d in set(table.device)}
    usual = np.array([usual_of[d] for d in table.device])
    order = np.argsort(ride, kind="stable")
    found = _Search(offset[order], size[order], ride[order], usual[order], bin_m, np.inf)
    shifts = min(max(SHIFTS, _least_shifts(level)), MOST_SHIFTS)
    distance = rng.integers(offset.shape[1], size=(shifts, len(rides)))
    highest = [
        np.fmax.reduce(_heights(_from_others(found, _shifted(found, some))), axis=1)
        for some in np.array_split(distance, min(-(-offset.size * shifts // AT_A_TIME), shifts))
    ]
    # Where recordings hardly overlap, a shift may leave no place that two know: its nan counts as the highest.
    return replace(found, height=_reached_by_chance(np.concatenate(highest), level))


def _reached_by_chance(highest: FloatArray, level: float) -> float:
    """Return the height that a place must pass: it is one more draw, above it in 1 − level of its n + 1 equal places.

    >>> _reached_by_chance(np.arange(1.0, 201.0), 0.975), _reached_by_chance(np.arange(39.0, 0.0, -1.0), 0.975)
    (196.0, 39.0)
    """
    rank = math.ceil(level * (len(highest) + 1))
    return (
        float(np.sort(highest)[rank - 1]) if rank <= len(highest) else max(float(highest.max()), _tail(highest, level))
    )


def _tail(highest: FloatArray, level: float) -> float:
    """Return the height that is passed with a chance of 1 − level, where that is rarer than any that was seen.

    The largest of many values follows Gumbel's distribution (Gumbel 1958, Statistics of Extremes), here with the mean and
    the standard deviation of what was seen.

    >>> round(_tail(np.array([2.0, 3.0, 4.0]), 0.9997), 2)  # mean 3, scale √6/π: 3 + (8.11 − 0.577) · 0.7797
    8.87
    """
    scale = float(np.std(highest, ddof=1)) * math.sqrt(6) / math.pi
    return float(np.mean(highest)) - scale * (np.euler_gamma + math.log(-math.log(level)))


def _least_shifts(level: float) -> int:
    """Return how many shifts it takes that so rare a height is reached by one of them.

    >>> _least_shifts(0.975), _least_shifts(0.9975)
    (39, 399)
    """
    return math.ceil(1 / (1 - level) - 1e-6) - 1


def _bin_m(along_m: FloatArray) -> float:
    """Return how long the bins of a road are.

    >>> _bin_m(np.array([0.0, 100_000.0])), _bin_m(np.array([0.0, 3_000_000.0]))
    (25.0, 750.0)
    """
    return max(BIN_M, float(along_m[-1] - along_m[0]) / MOST_BINS)


def _binned(offset_m: FloatArray, along_m: FloatArray, bin_m: float) -> FloatArray:
    """Return the mean of each row over bins of the road, nan where less than half of one is known."""
    which = (along_m - along_m[0]) // bin_m
    edges = np.searchsorted(which, np.arange(which[-1] + 2))
    known = np.isfinite(offset_m)

    def summed(values: FloatArray) -> FloatArray:
        until = np.cumsum(values, axis=1, dtype=float)
        return np.diff(np.column_stack([np.zeros(len(until)), until])[:, edges], axis=1)

    count, total = summed(known), summed(np.where(known, offset_m, 0.0))
    enough = (count > 0) & (count >= np.diff(edges) / 2)
    return _divided(total, count, where=enough)


def _usual(size_m: FloatArray) -> float:
    known = size_m[np.isfinite(size_m)]
    return max(float(np.median(known)), 0.01) if known.size else 1.0


def _shifted(found: _Search, distance: IntArray) -> FloatArray:
    """Return the offsets, (…, b, k), once for each row of `distance`, those of each ride moved round by its own bins."""
    recordings, bins = found.offset_m.shape
    # (k, b + 1, b): each row read round from each of its bins on
    round_from = sliding_window_view(np.tile(found.offset_m, 2), bins, axis=1)
    moved = round_from[np.arange(recordings), bins - distance[:, found.ride]]
    return np.asarray(moved.swapaxes(-1, -2), dtype=float)


def _from_others(found: _Search, offset_m: FloatArray) -> FloatArray:
    """Return (…, rides, b) sizes of (…, b, k) offsets from the median of other rides, as recordings are judged."""
    return sizes_from_others(offset_m, found.ride % MOST_LINES, found.ride, found.usual_m)


def _of_rides(found: _Search) -> FloatArray:
    """Return (rides, b) sizes from the lines made without the ride, in units of what is usual for the device."""
    return mean_of_known(found.size_m / found.usual_m[:, None], first=np.flatnonzero(np.diff(found.ride, prepend=-1)))


def _heights(size: FloatArray) -> FloatArray:
    """Return how high each bin stands: sizes of error as ranks within each ride, summed over rides.

    Ranks let no single ride make a place; the sum is in units of its own scatter, so bins that few rides have weigh no
    more. Sizes are (…, rides, bins), heights (…, bins).
    """
    scores = _scores(_smoothed(size))
    known = np.isfinite(scores)
    count = known.sum(axis=-2)
    total = np.where(known, scores, 0.0).sum(axis=-2)
    return _divided(total, np.sqrt(count), where=count > 0)


def _divided(total: FloatArray, count: FloatArray | IntArray, where: BoolArray) -> FloatArray:
    return np.asarray(np.divide(total, count, out=np.full(total.shape, np.nan), where=where), dtype=float)


def _smoothed(values: FloatArray) -> FloatArray:
    """Return the running mean along the road over known values."""
    from scipy.ndimage import uniform_filter1d

    known = np.isfinite(values)
    count = uniform_filter1d(known.astype(float), SMOOTH_BINS, axis=-1, mode="constant")
    total = uniform_filter1d(np.where(known, values, 0.0), SMOOTH_BINS, axis=-1, mode="constant")
    return _divided(total, count, where=known & (count > 0))


def _scores(values: FloatArray) -> FloatArray:
    """Return the normal scores of the ranks along the road; nan stays."""
    from scipy.special import ndtri

    known = np.isfinite(values)
    count, row = np.unique(known.sum(axis=-1), return_inverse=True)
    of_rank = ndtri(np.arange(1.0, values.shape[-1] + 1) / (count[:, None] + 1))
    scores = np.empty(values.shape)
    order = np.argsort(np.where(known, values, np.inf), axis=-1)
    np.put_along_axis(scores, order, of_rank[row.reshape(known.shape[:-1])], axis=-1)
    return np.where(known, scores, np.nan)


def _hot(found: _Search, size: FloatArray) -> BoolArray:
    return np.asarray(np.nan_to_num(_heights(size), nan=-np.inf) > found.height)


def _named(found: _Search, table: StationTable, spread_m: FloatArray) -> Iterator[HotSpot]:
    square = np.nansum(table.offset_m**2, axis=0)
    known = np.isfinite(spread_m)
    typical = float(np.median(spread_m[known])) if known.any() else np.nan
    for first, last in _joined(_hot(found, _of_rides(found))):
        from_m = float(table.along_m[0]) + first * found.bin_m
        inside = (table.along_m >= from_m) & (table.along_m < from_m + (last - first) * found.bin_m)
        local = spread_m[inside & known]
        spread = float(np.sqrt(np.mean(local**2))) if local.size else np.nan
        yield HotSpot(
            table.route, float(table.along_m[inside][0]), float(table.along_m[inside][-1]), spread, spread / typical,
            float(square[inside].sum() / square.sum()), float(inside.mean()),
        )  # fmt: skip


def _joined(flags: BoolArray) -> list[tuple[int, int]]:
    """Return (first, one past last) of each run of True; runs with `SMOOTH_BINS` between them or fewer are one."""
    runs: list[tuple[int, int]] = []
    for low, high in stretches(flags):
        if runs and low - runs[-1][1] <= SMOOTH_BINS:
            runs[-1] = (runs[-1][0], high)
        else:
            runs.append((low, high))
    return runs


def _would_show_m(found: _Search, rng: np.random.Generator) -> float:
    """Return the shortest stretch with `TIMES` the error that would have been seen; inf where none would."""
    bins, rides = found.offset_m.shape[1], int(found.ride.max()) + 1
    for length_m in LENGTHS_M:
        width = round(length_m / found.bin_m)
        if width * 2 > bins:
            break
        if not width:
            continue
        drawn = [(rng.integers(bins, size=rides), int(rng.integers(bins - width))) for _ in range(TRIALS)]
        moved = _shifted(found, np.array([distance for distance, _ in drawn]))
        low = np.array([first for _, first in drawn])
        within = (np.arange(bins) >= low[:, None]) & (np.arange(bins) < low[:, None] + width)
        hot = _hot(found, _from_others(found, np.where(within[..., None], moved * TIMES, moved)))
        seen = int((hot & within).any(axis=1).sum())
        if seen >= SEEN_IN * TRIALS:
            return length_m
    return float("inf")

"""Times to first fix that are worked out, not measured, each with bounds: from a companion, a file's name, the road missed.

They never enter a measured figure (docs/method.md, section 2). Where a recording's start is known there is no estimate.
"""

from __future__ import annotations

import dataclasses
from itertools import combinations
from typing import TYPE_CHECKING, NamedTuple

import numpy as np

from gpsq.measures import clock_names, pace
from gpsq.measures.first_fix import from_rest_s
from gpsq.measures.lead import not_recorded_m

if TYPE_CHECKING:
    from collections.abc import Sequence

    from gpsq.model import FirstFix, FloatArray, Trace
    from gpsq.results import RouteResult, TraceResult
    from gpsq.settings import Settings

#: So many rides at least must show how far apart the starts of two devices lie.
FEWEST_PAIRS = 3
ONE_SD, SDS = 68.27, 2.0
#: Between pressing start and setting off some seconds pass; these are assumptions, and no ride shows them.
HANDLING_S, MOST_HANDLING_S = 3.0, 10.0
#: A rider seen standing so long at the place of the start waits before setting off, and the road tells nothing of that.
WAITS_S = 8.0
#: Paces of more rides than this say no more, nor do more fixes of a ride than these.
MOST_WITNESSES, MOST_FIXES = 12, 1200
#: Who still stands at the place of the start has missed no road that could tell a time.
STANDS_S = 3.0


class Estimate(NamedTuple):
    """Seconds from start to first fix, worked out, with bounds; `high_s` is infinite where nothing bounds it."""

    value_s: float
    low_s: float
    high_s: float
    basis: str


def with_estimates(
    traces: Sequence[Trace], results: Sequence[TraceResult], routes: Sequence[RouteResult], settings: Settings
) -> tuple[TraceResult, ...]:
    """Return the results with an estimate where the time to first fix is not known."""
    open_ones = [i for i, t in enumerate(traces) if _is_open(t, results[i].first_fix)]
    names = _by_name(traces, settings)
    rest = Rest(traces, results, routes)
    found = list(results)
    for i in open_ones:
        estimate = _by_companion(i, rest, settings)
        if estimate is None:
            estimate = _together(names.get(i), _by_road(i, rest))
        if estimate is not None:
            fix = dataclasses.replace(
                results[i].first_fix,
                estimate_s=estimate.value_s,
                estimate_low_s=estimate.low_s,
                estimate_high_s=estimate.high_s,
                estimate_basis=estimate.basis,
            )
            found[i] = dataclasses.replace(results[i], first_fix=fix)
    return tuple(found)


class Rest:
    """The whole campaign, and what each estimate asks of all of it, worked out once."""

    def __init__(self, traces: Sequence[Trace], results: Sequence[TraceResult], routes: Sequence[RouteResult]) -> None:
        self.traces, self.results = traces, results
        self.routes = {r.route.name: r for r in routes}
        self.scatter_s = _scatter_of_starts_s(traces, results)
        self.measured: dict[str, list[int]] = {}
        for k, r in enumerate(results):
            if r.ride and not r.duplicate_of and _is_measured(traces[k], r.first_fix):
                self.measured.setdefault(r.ride, []).append(k)
        #: Who waits on one ride may wait on another.
        self.may_wait = any(r.first_fix.stood_s >= WAITS_S and r.first_fix.missed_low_m <= 0 for r in results)
        fit = [
            t.timed and not r.duplicate_of and bool(np.isnan(r.ended_early_m))
            for t, r in zip(traces, results, strict=True)
        ]
        number = {ride: n for n, ride in enumerate(dict.fromkeys(r.ride for r in results))}
        self._ride = np.array([number[r.ride] for r in results], dtype=np.int64)
        self._fit = {
            name: np.array([k for k in r.route.members if fit[k]], dtype=np.int64) for name, r in self.routes.items()
        }

    def witnesses(self, i: int, route: str) -> list[tuple[int, bool]]:
        """Return the recordings of other rides that may have been on the stretch, and whether they end at the start."""
        others = [own for name, own in self._fit.items() if name != route]
        fit = np.concatenate([self._fit[route], *others])
        here = self._ride[fit] != self._ride[i]
        towards_start = np.arange(len(fit)) >= len(self._fit[route])
        step = -(-int(here.sum()) // MOST_WITNESSES) or 1
        return list(zip(fit[here][::step].tolist(), towards_start[here][::step].tolist(), strict=True))


def _is_open(trace: Trace, fix: FirstFix) -> bool:
    return trace.timed and not trace.clock_jumps_at_fix and not np.isfinite(fix.seconds) and not fix.censored


def _together(name: Estimate | None, road: Estimate | None) -> Estimate | None:
    """Return what a name and the road say together: a name's bounds hold, and within them the road is finer.

    Examples
    --------
    >>> _together(Estimate(31.0, 1.0, 60.0, "file name"), Estimate(25.0, 19.0, float("inf"), "road"))
    Estimate(value_s=25.0, low_s=19.0, high_s=60.0, basis='road')
    >>> _together(Estimate(70.0, 41.0, 100.0, "file name"), Estimate(25.0, 19.0, 31.0, "road")).basis
    'file name'
    """
    if name is None or road is None:
        return name or road
    low_s, high_s = max(name.low_s, road.low_s), min(name.high_s, road.high_s)
    if low_s > high_s:  # a rider who waited before setting off
        return name
    return Estimate(min(max(road.value_s, low_s), high_s), low_s, high_s, road.basis)


# --- a companion --------------------------------------------------------------------------------------------------


def _is_measured(trace: Trace, fix: FirstFix) -> bool:
    return not np.isnat(trace.started) and (bool(np.isfinite(fix.seconds)) or fix.censored)


def _scatter_of_starts_s(traces: Sequence[Trace], results: Sequence[TraceResult]) -> float:
    """Return how far the starts of two devices of a ride lie apart, nan where too few rides show it."""
    rides: dict[str, list[np.datetime64]] = {}
    for trace, result in zip(traces, results, strict=True):
        if result.ride and not result.duplicate_of and _is_measured(trace, result.first_fix):
            rides.setdefault(result.ride, []).append(trace.started)
    apart_s = [
        np.median([abs((a - b) / np.timedelta64(1, "s")) for a, b in combinations(started, 2)])
        for started in rides.values()
        if len(started) > 1
    ]
    if len(apart_s) < FEWEST_PAIRS:
        return float("nan")
    return float(np.percentile(apart_s, ONE_SD, method="higher"))


def _by_companion(i: int, rest: Rest, settings: Settings) -> Estimate | None:
    started = [rest.traces[k].started for k in rest.measured.get(rest.results[i].ride, ()) if k != i]
    if not started or not np.isfinite(rest.scatter_s):
        return None
    waited = np.array([(rest.traces[i].time[0] - start) / np.timedelta64(1, "s") for start in started], dtype=float)
    value_s, half_s = float(np.median(waited)), SDS * max(rest.scatter_s, 1.0)
    # far from each other, the two clocks disagree or it was another start
    if not -half_s <= value_s <= settings.start_bound_s:
        return None
    return Estimate(max(0.0, value_s), max(0.0, value_s - half_s), max(0.0, value_s) + half_s, "companion")


# --- the file's name ----------------------------------------------------------------------------------------------


def _by_name(traces: Sequence[Trace], settings: Settings) -> dict[int, Estimate]:
    """Return what the names of each device's files say, by number of the trace."""
    found: dict[int, Estimate] = {}
    for device in {t.device for t in traces}:
        clocks = {
            i: clock
            for i, t in enumerate(traces)
            if t.device == device and t.track == 1 and t.timed and t.date_known and not t.clock_jumps_at_fix
            if (clock := clock_names.clock_in(t.file)) is not None
        }  # fmt: skip
        fixed = np.array([traces[i].time[0] for i in clocks], dtype="datetime64[ms]")
        waits = clock_names.waits_s(list(clocks.values()), fixed, settings.start_bound_s)
        if waits is not None:
            found |= {
                i: Estimate(float(low + high) / 2, float(low), float(high), "file name")
                for i, (low, high) in zip(clocks, waits, strict=True)
            }
    return found


# --- the road missed ----------------------------------------------------------------------------------------------


def _by_road(i: int, rest: Rest) -> Estimate | None:
    """Return the time that the road missed took, by the paces of other rides there, or by the ride's own."""
    fix = rest.results[i].first_fix
    route = rest.routes.get(rest.results[i].route)
    if route is None or not np.isfinite(fix.missed_low_m):  # a lower bound has none
        return None
    if fix.stood_s >= STANDS_S and fix.missed_low_m <= 0:
        return None
    paces = _paces(i, rest, route)
    if not len(paces):
        return None
    middle, least, most = (float(f(paces)) for f in (np.median, np.min, np.max))
    value_s = HANDLING_S + from_rest_s(fix.missed_m, 1 / middle)
    # the place, the pace and the hand on the button err each by itself
    below_s = np.hypot(
        np.hypot((fix.missed_m - fix.missed_low_m) * middle, fix.missed_m * (middle - least)), HANDLING_S
    )
    above_s = np.hypot(
        np.hypot((fix.missed_high_m - fix.missed_m) * middle, fix.missed_m * (most - middle)),
        MOST_HANDLING_S - HANDLING_S,
    )
    if rest.may_wait:
        above_s = np.inf
    return Estimate(value_s, max(0.0, float(value_s - below_s)), float(value_s + above_s), "road")


def _paces(i: int, rest: Rest, route: RouteResult) -> FloatArray:
    """Return the seconds a metre that rides took between the place of the start and the first fix of one."""
    traces, results = rest.traces, rest.results
    way_m = not_recorded_m(results[i], route)
    found: dict[str, float] = {}
    if len(way_m) > 1:
        here = dict(zip(route.route.members, route.route.xy_m, strict=True))
        for k, towards_start in rest.witnesses(i, route.route.name):
            near = slice(-MOST_FIXES, None) if towards_start else slice(MOST_FIXES)
            lon, lat = traces[k].lon_deg[near], traces[k].lat_deg[near]
            xy_m = here[k][near] if k in here else route.route.plane.to_metres(lon, lat)
            passed = pace.passing_s(traces[k].time[near], xy_m, way_m, towards_start=towards_start)
            if passed is not None:
                found.setdefault(results[k].ride, passed[0] / passed[1])
    if found:
        return np.array(list(found.values()))
    first = slice(MOST_FIXES)
    xy_m = route.route.plane.to_metres(traces[i].lon_deg[first], traces[i].lat_deg[first])
    own = pace.own_pace_s_per_m(traces[i].time[first], xy_m)
    return np.array([0.8 * own, own, 1.5 * own]) if np.isfinite(own) else np.empty(0)

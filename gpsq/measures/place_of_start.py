"""Where rides start, and with it what of the road was missed before each first fix (docs/method.md, section 2).

The place is that of the start log; where recordings were fixed at once; or where the rides of the opposite way end. Where
none of these is known it is the head of the centreline, and what was missed is a lower bound.
"""

from __future__ import annotations

import dataclasses
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from gpsq.arrays import norms
from gpsq.measures.lead import MOST_LEAD_M, Reached, reached
from gpsq.plane import to_earth_centred

if TYPE_CHECKING:
    from collections.abc import Sequence

    from gpsq.model import FirstFix, FloatArray, Trace
    from gpsq.results import Lead, RouteResult, TraceResult
    from gpsq.settings import Settings

#: So many rides at least must end at a place …
FEWEST_ENDS = 3
#: … with no more scatter than this, for it to be the place where the others start.
MOST_SCATTER_M = 25.0
#: Share of a normal scatter within one standard deviation; bounds are two of them to either side.
ONE_SD, SDS = 68.27, 2.0
#: A place from single fixes is no better known than this: the error of a new fix along the road (common practice).
NEW_FIX_M = 8.0
#: Ends of another way are looked at where they lie this near the head of a route, or a way between them is known.
NEAR_HEAD_M = 300.0
#: An end that lies further along the road than this from where somebody was seen on it is no place of the start.
PAST_M = 150.0
#: Who stands so long after the first fix, …
STOOD_S = 3.0
#: … where nobody was seen more than this before, is seen setting off; fixes of one place lie within it.
TOGETHER_M = 30.0
#: Where nobody was seen setting off, start may have been pressed this far from where the bicycle is left. No published
#: figure is known: it is an assumption, wide enough for the far side of a yard, and makes the bounds wide.
DOOR_M = 60.0


@dataclass(frozen=True, eq=False)
class Place:
    """Where rides of a route start: `station_m` on its centreline, negative before its head.

    `before_m`, `beyond_m` : how far before and beyond it the start may lie; nan where nothing bounds it.
    """

    station_m: float = 0.0
    before_m: float = float("nan")
    beyond_m: float = float("nan")
    basis: str = "none"
    is_bound: bool = True
    lead: Lead | None = None


def with_places(
    traces: Sequence[Trace], results: Sequence[TraceResult], routes: Sequence[RouteResult], settings: Settings
) -> tuple[TraceResult, ...]:
    """Return the results with what each recording missed, and the way from its start to the line where it began before it."""
    found = list(results)
    for route, ends in zip(routes, _ends_near(traces, results, routes), strict=True):
        own = [i for i in route.route.members if np.isfinite(results[i].first_fix.station_m)]
        if route.centreline is None or not own:
            continue
        usual = _usual_place(route, [results[i] for i in own], ends, settings)
        for i in own:
            logged = _logged(traces[i], route, results[i].first_fix, ends)
            fix = missed_from(results[i].first_fix, logged or usual, route.centreline.length_m)
            if logged is None and _began_elsewhere(traces[i], results[i], fix, settings):
                continue
            found[i] = dataclasses.replace(results[i], first_fix=fix, lead=(logged or usual).lead)
    return tuple(found)


def _began_elsewhere(trace: Trace, result: TraceResult, fix: FirstFix, settings: Settings) -> bool:
    """Whether no device searches as long as the ride to the first fix would have taken, so that it began further on."""
    if np.isfinite(fix.seconds) or not trace.timed:
        return False
    ridden_s = float((trace.time[-1] - trace.time[0]) / np.timedelta64(1, "s"))
    return fix.missed_m * ridden_s > settings.start_bound_s * result.length_m > 0


def missed_from(fix: FirstFix, place: Place, length_m: float) -> FirstFix:
    """Return the first fix with what was missed since the place of the start; no bounds stand round a lower bound.

    Examples
    --------
    >>> from gpsq.model import FirstFix
    >>> found = missed_from(FirstFix("none", station_m=80.0), Place(-30.0, 12.0, 20.0, "way back", False), 970.0)
    >>> found.missed_m, found.missed_low_m, found.missed_high_m, found.missed_share
    (110.0, 90.0, 122.0, 0.11)
    """
    missed_m = max(0.0, fix.station_m - place.station_m)
    whole_m = length_m + max(0.0, -place.station_m)
    low_m, high_m = max(0.0, fix.station_m - place.station_m - place.beyond_m), missed_m + place.before_m
    return dataclasses.replace(
        fix,
        missed_m=missed_m,
        missed_share=missed_m / whole_m if whole_m > 0 else float("nan"),
        missed_is_minimum=place.is_bound,
        missed_low_m=float("nan") if place.is_bound else low_m,
        missed_high_m=float("nan") if place.is_bound else high_m,
        place_basis=place.basis,
    )


def _logged(trace: Trace, route: RouteResult, fix: FirstFix, ends: Sequence[_End]) -> Place | None:
    """Return the place that the start log gives a recording, or None."""
    if not np.isfinite(trace.start_lat_deg + trace.start_lon_deg) or route.centreline is None:
        return None
    place_m = route.route.plane.to_metres(np.array([trace.start_lon_deg]), np.array([trace.start_lat_deg]))[0]
    at = reached(place_m, route.centreline.xy_m, fix.station_m, [end.way_m for end in ends])
    return Place(at.station_m, NEW_FIX_M, NEW_FIX_M, "log", at.is_bound, at.lead)


# --- the usual place of a route -----------------------------------------------------------------------------------


@dataclass(frozen=True, eq=False)
class _End:
    """Where the rides of another way end, in the plane of a route: the place, its scatter, and that way turned round.

    The scatter is nan where too few rides arrived to tell.
    """

    place_m: FloatArray
    scatter_m: float
    way_m: FloatArray


def _ends_near(
    traces: Sequence[Trace], results: Sequence[TraceResult], routes: Sequence[RouteResult]
) -> list[list[_End]]:
    """Return for each route where other ways end near its head."""
    arrived = [_arrived(route, results) for route in routes]
    heads, lasts = np.full((2, len(routes), 3), np.nan)
    for k, route in enumerate(routes):
        if route.centreline is not None and arrived[k]:
            heads[k] = to_earth_centred(*route.route.plane.to_degrees(route.centreline.xy_m[:1]))[0]
            lasts[k] = np.median(to_earth_centred(*_last_deg(traces, arrived[k])), axis=0)
    return [
        [
            _end(route, routes[other], *_last_deg(traces, arrived[other]), results, arrived[other])
            for other in np.flatnonzero(norms(lasts - heads[k]) <= MOST_LEAD_M).tolist()
            if other != k
        ]
        for k, route in enumerate(routes)
    ]


def _arrived(route: RouteResult, results: Sequence[TraceResult]) -> list[int]:
    """Return the recordings of a route that did not stop early."""
    return [i for i in route.route.members if np.isnan(results[i].ended_early_m) and not results[i].duplicate_of]


def _last_deg(traces: Sequence[Trace], numbers: Sequence[int]) -> tuple[FloatArray, FloatArray]:
    return np.array([traces[i].lon_deg[-1] for i in numbers]), np.array([traces[i].lat_deg[-1] for i in numbers])


def _end(
    route: RouteResult,
    other: RouteResult,
    lon_deg: FloatArray,
    lat_deg: FloatArray,
    results: Sequence[TraceResult],
    arrived: Sequence[int],
) -> _End:
    plane, line = route.route.plane, other.centreline
    last_m = plane.to_metres(lon_deg, lat_deg)
    place_m = np.median(last_m, axis=0)
    scatter_m = float("nan")
    if len({results[i].ride for i in arrived}) >= FEWEST_ENDS:
        scatter_m = float(np.percentile(norms(last_m - place_m), ONE_SD, method="higher"))
    way_m = plane.to_metres(*other.route.plane.to_degrees(line.xy_m)) if line is not None else np.empty((0, 2))
    return _End(place_m, scatter_m, way_m[::-1])


def _usual_place(route: RouteResult, results: Sequence[TraceResult], ends: Sequence[_End], settings: Settings) -> Place:
    """Return where most start: of hot starts not where more recordings were seen on the road before they began."""
    fixes = [r.first_fix for r in results if not r.duplicate_of]
    hot_m = _together(np.array([fix.station_m for fix in fixes if fix.seconds <= settings.hot_start_s]))
    if len(hot_m) and sum(fix.station_m < hot_m.min() - TOGETHER_M for fix in fixes) <= len(hot_m):
        half_m = SDS * max(NEW_FIX_M, float(np.std(hot_m)))
        return Place(float(np.median(hot_m)), half_m, half_m, "hot start", is_bound=False)
    if not fixes:
        return Place()
    stood_m = _setting_off(fixes)
    # several who stand at one place say better where it is than the one of them whose fix errs most
    moving_m = [f.station_m for f in fixes if not f.stood_s >= STOOD_S]
    earliest_m = min(*moving_m, stood_m) if moving_m and np.isfinite(stood_m) else min(moving_m, default=stood_m)
    for end, at in _near(route, ends, earliest_m):
        return _of_way_back(end, at, earliest_m, stood_m)
    return Place()


def _together(stations_m: FloatArray) -> FloatArray:
    """Return those stations that lie with the first of them: a ride that began elsewhere shows no usual place."""
    return stations_m[stations_m <= stations_m.min() + TOGETHER_M] if len(stations_m) else stations_m


def _near(route: RouteResult, ends: Sequence[_End], earliest_m: float) -> list[tuple[_End, Reached]]:
    """Return the ends at which rides of a route may start, the nearest first, each with where that is on the line."""
    if route.centreline is None:
        return []
    line_m = route.centreline.xy_m
    places = [
        (end, reached(end.place_m, line_m, earliest_m + NEAR_HEAD_M, [end.way_m]))
        for end in ends
        if end.scatter_m <= MOST_SCATTER_M
    ]
    fit = [
        (end, at)
        for end, at in places
        if at.station_m <= earliest_m + PAST_M
        and (not at.is_bound or norms(end.place_m[None] - line_m[0])[0] <= NEAR_HEAD_M)
    ]
    return sorted(fit, key=lambda found: abs(found[1].station_m))


def _setting_off(fixes: Sequence[FirstFix]) -> float:
    """Return where rides are seen setting off, nan where none is."""
    earliest_m = min(fix.station_m for fix in fixes)
    stood_m = [f.station_m for f in fixes if f.stood_s >= STOOD_S and f.station_m <= earliest_m + TOGETHER_M]
    return float(np.median(stood_m)) if stood_m else float("nan")


def _of_way_back(end: _End, at: Reached, earliest_m: float, stood_m: float) -> Place:
    """Return the place where the opposite way's rides end, with bounds from their scatter and from what was seen of starts."""
    near_m = SDS * max(end.scatter_m, NEW_FIX_M)
    if np.isfinite(stood_m) and stood_m < at.station_m - near_m:
        return Place(stood_m, 2 * near_m, 2 * near_m, "seen setting off", is_bound=False)
    if earliest_m < at.station_m - near_m - NEW_FIX_M:
        return Place(min(earliest_m, 0.0))
    # nobody starts further on than where one was seen
    seen_m = max(0.0, earliest_m + SDS * NEW_FIX_M - at.station_m)
    if np.isfinite(stood_m) and stood_m <= at.station_m + near_m:
        before_m, beyond_m = near_m, near_m
    elif np.isfinite(stood_m):
        before_m, beyond_m = near_m, stood_m + SDS * NEW_FIX_M - at.station_m
    else:
        before_m, beyond_m = near_m + DOOR_M, min(near_m + DOOR_M, seen_m)
    # both the end and the earliest fix err by some metres: the middle of the two
    back_m = max(0.0, at.station_m - earliest_m) / 2
    return Place(at.station_m - back_m, before_m, max(beyond_m, near_m) + back_m, "way back", at.is_bound, at.lead)

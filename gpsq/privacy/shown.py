"""Which fixes of each recording may be shown, and the routes as these fixes alone give them.

What is shown follows from the shown fixes only, so that nothing hidden can be worked out of it. One thing needs care:
a recording that fixed late begins on the road, and how much it missed is published as a figure. Where it begins would
tell how far back the route's beginning lies. So each recording is shown from as far beyond the cut as its first fix
lay beyond the route's beginning: what is seen of its beginning is known from the figure already. In the same way one
that ended early is shown to as far before the cut as its last fix lay before the route's end.
"""

from __future__ import annotations

import dataclasses
from typing import TYPE_CHECKING

import numpy as np

from gpsq.centreline import consensus_line, strands
from gpsq.measures.route import Member, analyse_route
from gpsq.model import Route
from gpsq.plane import Plane
from gpsq.privacy.ends import line_deg
from gpsq.privacy.zones import MARGIN_M, inside, longest
from gpsq.results import RouteResult
from gpsq.rides.unbroken import runs_of

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from gpsq.geometry.alignment import Abreast
    from gpsq.measures.route import Measured
    from gpsq.model import Centreline, IntArray, Trace
    from gpsq.privacy.zones import Zone
    from gpsq.results import Analysis

#: Less than this of a route says little and lies near both ends: then its figures are published, its place is not.
LEAST_SHOWN_M = 500.0
NOT_SHOWN = "not shown: too little of it is left between the cuts"


def shown_fixes(analysis: Analysis, zones: Sequence[Zone]) -> dict[int, IntArray]:
    """Return the numbers of the fixes that may be shown, for each trace that has two or more of them."""
    shown = {}
    for found in analysis.routes:
        window = _window(found, zones)
        if window is None or found.centreline is None:
            continue
        settings = analysis.settings.with_values(step_m=_step_m(found.centreline))
        for i, xy_m in zip(found.route.members, found.route.xy_m, strict=True):
            trace, everything = analysis.traces[i], np.ones(len(xy_m), dtype=bool)
            strand = strands.strand(xy_m, runs_of(trace, settings.gap_s), "", everything, settings)
            place = consensus_line.aligned(strand, found.centreline.xy_m, settings)
            fixes = _between(place, *window)
            where = np.column_stack([trace.lon_deg[fixes], trace.lat_deg[fixes]])
            fixes = fixes[~inside(zones, where, MARGIN_M)]
            if len(fixes) > 1:
                shown[i] = fixes
    return shown


def _step_m(line: Centreline) -> float:
    return float(np.median(np.diff(line.along_m))) if len(line.along_m) > 1 else 1.0


def _window(found: RouteResult, zones: Sequence[Zone]) -> tuple[int, int] | None:
    """Return the first and last station of the longest stretch outside all zones, None where it is too short."""
    line = found.centreline
    if line is None:
        return None
    first, last = longest(~inside(zones, line_deg(found), MARGIN_M))
    if last < first:
        return None
    return (first, last) if line.along_m[last] - line.along_m[first] >= LEAST_SHOWN_M else None


def _between(place: Abreast, first: int, last: int) -> IntArray:
    """Return the numbers of the fixes between two stations, which move inwards by what the trace lacks at its ends."""
    on_line = np.flatnonzero(place.matched & ~np.isnan(place.vertex))
    if len(on_line) == 0:
        return np.empty(0, dtype=np.int64)
    lacks = len(place.matched) - 1 - on_line[-1]
    on_line = on_line[(on_line >= first + on_line[0]) & (on_line <= last - lacks)]
    if len(on_line) == 0:
        return np.empty(0, dtype=np.int64)
    low, high = np.ceil(place.vertex[on_line[0]]), np.floor(place.vertex[on_line[-1]])
    return np.arange(int(low), int(high) + 1, dtype=np.int64)


def cut(trace: Trace, fixes: IntArray) -> Trace:
    """Return a trace of these fixes alone, broken where others were taken out; times and points stay as recorded."""
    breaks = np.diff(fixes, prepend=fixes[:1]) > 1
    new_segment = np.diff(trace.segment[fixes], prepend=trace.segment[fixes[:1]]) != 0
    names = ("time", "lon_deg", "lat_deg", "ele_m", "hdop", "sat", "speed_mps", "point")
    return dataclasses.replace(
        trace,
        **{name: getattr(trace, name)[fixes] for name in names},
        segment=np.cumsum(breaks | new_segment).astype(np.int64),
        points=len(fixes) + sum(group.points for group in trace.set_aside),
    )


def analysed(
    analysis: Analysis, traces: Mapping[int, Trace], rides: Mapping[str, str]
) -> tuple[tuple[RouteResult, ...], dict[int, Measured]]:
    """Return the routes as the cut traces give them, and what was measured of each trace on them.

    `rides` are the neutral names of the rides.
    """
    routes: list[RouteResult] = []
    measured: dict[int, Measured] = {}
    for found in analysis.routes:
        members = tuple(i for i in found.route.members if i in traces)
        names = tuple(sorted({rides[analysis.results[i].ride] for i in found.route.members}))
        if not members:
            hidden = Route(found.route.name, Plane(0.0, 0.0), (), ())
            routes.append(RouteResult(hidden, None, names, found.reason or NOT_SHOWN))
            continue
        route = _route(found.route.name, members, traces)
        of_rides = [
            Member(i, traces[i], rides[analysis.results[i].ride], analysis.results[i].duplicate_of) for i in members
        ]
        result, done = analyse_route(route, of_rides, analysis.flags, analysis.settings)
        routes.append(dataclasses.replace(result, rides=names, reason=found.reason))
        measured |= {m.number: m for m in done}
    return tuple(routes), measured


def _route(name: str, members: tuple[int, ...], traces: Mapping[int, Trace]) -> Route:
    lon, lat = (np.concatenate([getattr(traces[i], axis) for i in members]) for axis in ("lon_deg", "lat_deg"))
    plane = Plane.centred_on(lon, lat)
    return Route(name, plane, members, tuple(plane.to_metres(traces[i].lon_deg, traces[i].lat_deg) for i in members))

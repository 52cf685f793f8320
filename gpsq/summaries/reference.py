"""Routes against the reference lines that ``campaign.toml`` names: trueness and accuracy beside repeatability.

A reference is a surveyed line, or a better receiver's. Only with one can an offset be seen that all recordings share.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from pathlib import PurePosixPath
from typing import TYPE_CHECKING

import numpy as np

from gpsq.arrays import mean_of_known
from gpsq.campaign import flags
from gpsq.campaign.stretches import ridden_between
from gpsq.exceptions import InputError
from gpsq.geometry import polyline
from gpsq.geometry.alignment import Abreast, abreast, align
from gpsq.measures import cross_track
from gpsq.model import ROUTE_CHOICE, BoolArray, Centreline, FloatArray
from gpsq.rides.unbroken import runs_of
from gpsq.statistics import intervals
from gpsq.summaries.accuracy import against_reference
from gpsq.summary_types import Interval, ReferenceFigures

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping, Sequence

    from gpsq.geometry.polyline import Steps
    from gpsq.reading.reference_line import ReferenceLine
    from gpsq.results import Analysis, RouteResult, TraceResult
    from gpsq.settings import Settings


#: A reference that shares less of the road than this with a route is no line of that route.
LEAST_SHARED_M = 100.0


@dataclass(frozen=True, eq=False)
class _Offsets:
    """Offsets of one route from its reference: (m,) of the centreline, (n, m) of each device's rides.

    `of_rides_m` is the median offset of each ride, the mean over its devices.
    """

    route: str
    file: str
    step_m: float
    rides: int
    centreline_m: FloatArray
    devices_m: Mapping[str, FloatArray]
    of_rides_m: FloatArray


def measure(
    analysis: Analysis, references: Sequence[ReferenceLine]
) -> tuple[tuple[ReferenceFigures, ...], tuple[str, ...]]:
    """Return the figures of every route that has a reference, and a plain line for each that cannot be used.

    Parameters
    ----------
    analysis : routes, recordings and flags of the campaign.
    references : each of a route by its name, or of a recording that lies on it by its path below the campaign's folder,
        or its bare name.

    Notes
    -----
    Recordings count from the settled fix on, without stretches that are flagged intentional or look like the rider's
    choice of another road: those say nothing of the receiver.
    """
    measured: list[_Offsets] = []
    notes: list[str] = []
    for reference in references:
        try:
            route = _route_of(reference.of, analysis)
            if any(done.route == route.route.name for done in measured):
                found = f"a second reference of route {route.route.name}, {reference.of!r}"
                raise InputError("campaign.toml", found, "one")
            measured.append(_offsets(analysis, route, reference))
        except InputError as error:
            notes.append(str(error))
    return tuple(_figures(measured, analysis.settings.confidence)), tuple(notes)


def _route_of(key: str, analysis: Analysis) -> RouteResult:
    """Return the route of that name, or the one that the recording of that name lies on."""
    named = analysis.route_named(key)
    if named is not None:
        return named
    traces = list(zip(analysis.traces, analysis.results, strict=True))
    wanted = PurePosixPath(key.replace("\\", "/")).as_posix()
    own = [r.route for t, r in traces if t.file == wanted] or [
        r.route for t, r in traces if PurePosixPath(t.file).name == wanted
    ]
    routes = [found for name in dict.fromkeys(own) if name and (found := analysis.route_named(name))]
    if len(routes) != 1:
        names = ", ".join(r.route.name for r in analysis.routes)
        what = "no route and no recording on one" if not routes else "recordings on several routes"
        raise InputError("campaign.toml", f"the reference of {key!r}, which names {what}", f"one of {names}, or a file")
    return routes[0]


def _offsets(analysis: Analysis, found: RouteResult, reference: ReferenceLine) -> _Offsets:
    file = reference.file
    if found.centreline is None:
        raise InputError(file, f"a reference of route {found.route.name}, which has no centreline", "a route with one")
    line = _line(found.route.plane.to_metres(reference.lon_deg, reference.lat_deg), file, analysis.settings.step_m)
    road = polyline.equal_steps(found.centreline.xy_m, [(0, len(found.centreline.xy_m))], analysis.settings.step_m)
    line, place = _along_travel(road, line, analysis.settings)
    shared_m = float(place.matched.sum()) * _step_m(line)
    if shared_m < min(LEAST_SHARED_M, found.centreline.length_m / 2):
        raise InputError(
            file,
            f"a line that runs along route {found.route.name} for {shared_m:.0f} m",
            f"a line within {analysis.settings.align_cap_m:g} m of it for {LEAST_SHARED_M:g} m or more",
        )
    devices: dict[str, dict[str, list[FloatArray]]] = {}
    for number, xy_m in zip(found.route.members, found.route.xy_m, strict=True):
        result = analysis.results[number]
        if not result.duplicate_of:
            row = _row(analysis, result, xy_m, line)
            devices.setdefault(analysis.traces[number].device, {}).setdefault(result.ride, []).append(row)
    rows = {d: np.array([mean_of_known(np.array(own)) for own in rides.values()]) for d, rides in devices.items()}
    across_m = np.where(place.matched, cross_track.offsets(place, _as_centreline(line)), np.nan)
    of_rides_m = _of_rides(devices)
    return _Offsets(found.route.name, file, _step_m(line), len(found.rides), across_m, rows, of_rides_m)


def _of_rides(devices: Mapping[str, Mapping[str, Sequence[FloatArray]]]) -> FloatArray:
    """Return the median offset of each ride that has one: how far the rides differ tells how sure the line's offset is."""
    medians: dict[str, list[float]] = {}
    for own in devices.values():
        for ride, rows in own.items():
            medians.setdefault(ride, []).extend(float(np.nanmedian(row)) for row in rows if np.isfinite(row).any())
    return np.array([np.mean(found) for found in medians.values() if found], dtype=float)


def _line(xy_m: FloatArray, file: str, step_m: float) -> FloatArray:
    if not float(polyline.along_m(xy_m)[-1]) > step_m:
        raise InputError(file, "a line without length", "a line along the route")
    return polyline.resample(xy_m, step_m)


def _along_travel(road: Steps, line: FloatArray, settings: Settings) -> tuple[FloatArray, Abreast]:
    """Return the reference in the direction of travel, and where the centreline runs abreast of it."""
    ways = [(way, _abreast(road, way, settings)) for way in (line, np.ascontiguousarray(line[::-1]))]
    return max(ways, key=lambda pair: int(pair[1].matched.sum()))


def _abreast(steps: Steps, line: FloatArray, settings: Settings) -> Abreast:
    stations = align(steps.xy_m, steps.piece, line, step_m=_step_m(line), cap_m=settings.align_cap_m)
    return abreast(steps, stations, line, with_excursions=True)


def _step_m(line: FloatArray) -> float:
    return float(np.hypot(*(line[1] - line[0])))


def _as_centreline(line: FloatArray) -> Centreline:
    count, unknown = np.zeros(len(line), dtype=np.int64), np.full(len(line), np.nan)
    return Centreline(line, polyline.along_m(line), count, count, unknown, unknown)


def _row(analysis: Analysis, result: TraceResult, xy_m: FloatArray, line: FloatArray) -> FloatArray:
    """Return the (m,) offsets of one recording from the reference, nan where it does not count."""
    trace, settings = analysis.traces[result.trace], analysis.settings
    place = _abreast(polyline.equal_steps(xy_m, runs_of(trace, settings.gap_s), settings.step_m), line, settings)
    counts = _counting(analysis, result)
    known = ~np.isnan(place.vertex)
    vertex = np.where(known, place.vertex, 0.0)
    counted = known & counts[np.floor(vertex).astype(int)] & counts[np.ceil(vertex).astype(int)]
    return np.where(counted, cross_track.offsets(place, _as_centreline(line)), np.nan)


def _counting(analysis: Analysis, result: TraceResult) -> BoolArray:
    """Return which fixes count: settled, not flagged intentional, not on what looks like another road."""
    trace, settled_s = analysis.traces[result.trace], result.first_fix.settle_s
    counts = flags.counting(trace, analysis.flags, ("intentional",)).copy()
    if np.isfinite(settled_s):
        counts &= ~(trace.time < trace.time[0] + np.timedelta64(round(settled_s * 1000), "ms"))
    for found in result.deviations:
        if not found.flag and found.suggestion == ROUTE_CHOICE:
            counts &= ~ridden_between(trace, found.from_point, found.to_point)
    return counts


def _figures(measured: Sequence[_Offsets], confidence: float) -> Iterator[ReferenceFigures]:
    """Give the figures of each route's centreline and devices; over all routes first where there are several."""
    groups = [("", "", measured)] if len(measured) > 1 else []
    for route, file, chosen in [*groups, *((own.route, own.file, [own]) for own in measured)]:
        yield from _of_line(route, file, chosen, confidence)
        for device in sorted({d for own in chosen for d in own.devices_m}):
            blocks = [(o.step_m, o.devices_m[device]) for o in chosen if device in o.devices_m]
            yield from _rows(route, device, file, 0, blocks, confidence)


def _of_line(route: str, file: str, chosen: Sequence[_Offsets], confidence: float) -> Iterator[ReferenceFigures]:
    """Give the figures of the centreline; the interval of its offset is as wide as that of its rides' own offsets."""
    rides = sum(own.rides for own in chosen)
    sure = intervals.mean(np.concatenate([own.of_rides_m for own in chosen]), confidence)
    blocks = [(own.step_m, own.centreline_m[None]) for own in chosen]
    for row in _rows(route, "", file, rides, blocks, confidence):
        value = row.found.bias_m.value
        low, high = (value + end - sure.value for end in (sure.low, sure.high))
        bias = Interval(value, low, high, f"{sure.method}, of their own offsets")
        yield replace(row, found=replace(row.found, bias_m=bias))


def _rows(
    route: str, device: str, file: str, rides: int, blocks: Sequence[tuple[float, FloatArray]], confidence: float
) -> Iterator[ReferenceFigures]:
    """Give one line of the table; routes stand side by side, so that each station is compared with itself.

    The `rides` of a centreline are given, those of a device are the rows that are covered anywhere.
    """
    columns = sum(rows.shape[1] for _, rows in blocks)
    table = np.full((sum(len(rows) for _, rows in blocks), columns), np.nan)
    top = left = 0
    shared_m = 0.0
    for step_m, rows in blocks:
        table[top : top + len(rows), left : left + rows.shape[1]] = rows
        shared_m += step_m * float(np.isfinite(rows).any(axis=0).sum())
        top, left = top + len(rows), left + rows.shape[1]
    found = against_reference(table, confidence)
    if found.rides:
        yield ReferenceFigures(route, device, file, rides or found.rides, shared_m, found)

"""Where an analysis and the truth of a simulated campaign meet: recordings, routes, stations of two lines."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from gpsq.model import Trace
    from gpsq.results import Analysis, RouteResult, TraceResult
    from gpsq.simulate import Campaign, SimulatedRecording

#: The road, a point a metre, is first matched at every so many points, then refined.
EVERY = 4


@dataclass(frozen=True)
class Pair:
    """A simulated recording beside what gpsq made of it (None: not among the traces)."""

    truth: SimulatedRecording
    trace: Trace | None
    result: TraceResult | None

    @property
    def never_fixed(self) -> bool:
        return self.truth.heard.fix_s is None


@dataclass(frozen=True)
class LineOnRoad:
    """A centreline seen from the road: `station_m` (m,) of each of its points on the road, `offset_m` (m,) + left."""

    station_m: np.ndarray
    offset_m: np.ndarray
    along_m: np.ndarray

    def road_station(self, along_m: float) -> float:
        return float(np.interp(along_m, self.along_m, self.station_m))


def pairs(campaign: Campaign, analysis: Analysis) -> list[Pair]:
    found = {trace.file: k for k, trace in enumerate(analysis.traces)}
    made = []
    for recording in campaign.recordings:
        k = found.get(recording.file)
        known = k is not None
        made.append(Pair(recording, analysis.traces[k] if known else None, analysis.results[k] if known else None))
    return made


def route_of_direction(campaign: Campaign, analysis: Analysis) -> dict[str, RouteResult]:
    """Return, for each direction, the route that holds most of its recordings."""
    chosen = {}
    for direction in campaign.spec.directions:
        files = {r.file for r in campaign.recordings if r.ride.plan.direction == direction}
        held = [sum(analysis.traces[m].file in files for m in route.route.members) for route in analysis.routes]
        if held and max(held) > 0:
            chosen[direction] = analysis.routes[int(np.argmax(held))]
    return chosen


def line_on_road(campaign: Campaign, direction: str, route: RouteResult) -> LineOnRoad:
    """Follow a route's centreline along the true road, in order: least squares that never go back.

    So a spur's two ways, a loop's ends and a tunnel's straight bridge cannot lead the match astray.
    """
    road = campaign.town.roads[direction]
    lon, lat = route.route.plane.to_degrees(route.centreline.xy_m)
    line = campaign.plane.to_metres(lon, lat)
    step = float(np.hypot(*np.diff(road, axis=0).T).mean())
    index = EVERY * _in_order(line, road[::EVERY])
    around = np.clip(index[:, None] + np.arange(-EVERY, EVERY + 1), 0, len(road) - 1)
    near = ((line[:, None, :] - road[around]) ** 2).sum(axis=2).argmin(axis=1)
    index = np.maximum.accumulate(around[np.arange(len(line)), near])
    tangent = np.gradient(road, axis=0)
    normal = np.column_stack([-tangent[:, 1], tangent[:, 0]]) / np.hypot(*tangent.T)[:, None]
    offset = ((line - road[index]) * normal[index]).sum(axis=1)
    beyond = (index == 0) | (index == len(road) - 1)
    offset = np.where(beyond, np.sign(offset) * np.hypot(*(line - road[index]).T), offset)
    return LineOnRoad(index * step, offset, route.centreline.along_m)


def _in_order(line: np.ndarray, road: np.ndarray) -> np.ndarray:
    """Return (m,) a place on the road for each of the line's points, never decreasing."""
    best = np.empty((len(line), len(road)), dtype=np.int64)
    total = np.zeros(len(road))
    places = np.arange(len(road))
    for k, point in enumerate(line):
        lowest = np.minimum.accumulate(total)
        best[k] = np.maximum.accumulate(np.where(total == lowest, places, 0))
        total = lowest + ((road - point) ** 2).sum(axis=1)
    match = np.empty(len(line), dtype=np.int64)
    match[-1] = int(total.argmin())
    for k in range(len(line) - 1, 0, -1):
        match[k - 1] = best[k, match[k]]
    return match


def covered_by(campaign: Campaign, direction: str) -> tuple[np.ndarray, np.ndarray]:
    """Return (stations, how many recordings of that direction truly recorded each of them, on the road)."""
    held = [r.offsets for r in campaign.recordings if r.ride.plan.direction == direction]
    return held[0].station_m, sum(np.isfinite(o.offset_m) & ~o.on_detour for o in held)

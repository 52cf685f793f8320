"""What happens in a campaign, decided before anything is ridden: detours, faults, late starts, times to first fix."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING

import numpy as np

from gpsq.simulate.noise import time_to_first_fix
from gpsq.simulate.ride import Way, way_on
from gpsq.simulate.road import (
    Bend,
    arc_length,
    corners_each_way,
    leg_lengths,
    parallel_street,
    ridden_line,
    round_the_block,
)

if TYPE_CHECKING:
    from gpsq.model import FloatArray
    from gpsq.simulate.spec import CampaignSpec, DeviceSpec

#: Detours and faults keep away from the ends of the road, where late fixes would hide them.
HEAD_M, TAIL_M = 1100.0, 500.0
#: So often a place is drawn anew that may not be.
MOST_DRAWS = 100


@dataclass(frozen=True, eq=False)
class Town:
    """The roads each way: `corners` on the grid, `roads` by the metre, canyons, lights and tunnel by station."""

    bend: Bend
    lane_m: float
    corners: dict[str, FloatArray]
    roads: dict[str, FloatArray]
    canyons: dict[str, tuple[tuple[float, float], ...]]
    lights: dict[str, FloatArray]
    tunnels: dict[str, tuple[float, float]]


@dataclass(frozen=True)
class Fault:
    """A receiver's error: a `kind` ("drift" or "jump"), from a station, for some seconds, with a peak to the left."""

    kind: str
    from_m: float
    seconds: float
    peak_m: float


@dataclass
class Session:
    """What one device does on one ride."""

    device: DeviceSpec
    state: str
    ttff_s: int | None
    press_s: int
    late_m: float = 0.0
    fault: Fault | None = None
    logged: bool = True
    log_has_place: bool = False


@dataclass
class RidePlan:
    """One ride: day from 0, direction, the way taken, and a session for each device."""

    day: int
    direction: str
    way: Way
    sessions: list[Session] = field(default_factory=list)


def make_town(rng: np.random.Generator, spec: CampaignSpec) -> Town:
    """Return the roads of a campaign."""
    bend, lane = Bend.drawn(rng), spec.lane_m if spec.drive_left else -spec.lane_m
    corners = corners_each_way(rng, spec)
    roads = {name: ridden_line(way, bend, lane) for name, way in corners.items()}
    lengths = {name: float(arc_length(road)[-1]) for name, road in roads.items()}
    canyons = {name: _canyons(rng, spec.canyon_share * length, length) for name, length in lengths.items()}
    lights = {name: np.sort(rng.uniform(200.0, length - 100.0, spec.lights)) for name, length in lengths.items()}
    tunnels: dict[str, tuple[float, float]] = {}
    if spec.tunnel:
        for name, length in lengths.items():
            start = rng.uniform(0.45, 0.6) * length
            tunnels[name] = (start, start + rng.uniform(450.0, 600.0))
    return Town(bend, lane, corners, roads, canyons, lights, tunnels)


def _canyons(rng: np.random.Generator, total_m: float, length_m: float) -> tuple[tuple[float, float], ...]:
    if total_m <= 0:
        return ()
    pieces = 1 if total_m < 600 else 2
    starts = [rng.uniform(0.15 + 0.4 * k, 0.4 + 0.4 * k) * length_m for k in range(pieces)]
    return tuple((float(a), float(min(a + total_m / pieces, length_m))) for a in starts)


def plan_rides(rng: np.random.Generator, spec: CampaignSpec, town: Town) -> list[RidePlan]:
    """Return all rides in order of time, with everything that goes wrong on them."""
    rides = [RidePlan(d, name, way_on(town.roads[name])) for d in range(spec.days) for name in spec.directions]
    for ride in rides:
        ride.sessions = [_session(rng, spec, device) for device in spec.devices]
    _plant_detours(rng, spec, town, rides)
    _plant_faults(rng, spec, town, rides)
    _plant_starts(rng, spec, town, rides)
    return rides


def _session(rng: np.random.Generator, spec: CampaignSpec, device: DeviceSpec) -> Session:
    mix = np.array(device.start_mix)
    if spec.all_late:
        mix = np.array([0.0, mix[0] + mix[1], mix[2]])
    state = str(rng.choice(["hot", "warm", "cold"], p=mix))
    return Session(device, state, time_to_first_fix(rng, state), int(rng.integers(0, 9)))


def _plant_detours(rng: np.random.Generator, spec: CampaignSpec, town: Town, rides: list[RidePlan]) -> None:
    """Most rides of a direction keep to its road, or nobody could say which way is the detour."""
    left, most = spec.detours, {name: max(1, (spec.days - 1) // 2) for name in spec.directions}
    for k in rng.permutation(len(rides)):
        direction = rides[k].direction
        if left > 0 and most[direction] > 0:
            left, most[direction] = left - 1, most[direction] - 1
            rides[k].way = _detour(rng, spec, town, direction)


def _detour(rng: np.random.Generator, spec: CampaignSpec, town: Town, direction: str) -> Way:
    corners, road = town.corners[direction], town.roads[direction]
    for _ in range(500):
        off_m, long_m = rng.uniform(*spec.detour_off_m), rng.uniform(*spec.detour_long_m)
        other = _other_corners(rng, corners, off_m, long_m)
        if other is None:
            continue
        way = way_on(road, ridden_line(other, town.bend, town.lane_m))
        if _fits(way, town, direction) and peak_off_m(way, road) >= spec.detour_off_m[0] * 0.92:
            return way
    raise ValueError("no place for a detour on this road: ask for shorter ones or for a longer road")


def _other_corners(rng: np.random.Generator, corners: FloatArray, off_m: float, long_m: float) -> FloatArray | None:
    legs = leg_lengths(corners)
    if rng.random() < 0.6:
        leg = int(rng.integers(len(legs)))
        if legs[leg] < long_m + 40.0:
            return None
        start = rng.uniform(20.0, legs[leg] - long_m - 20.0)
        return parallel_street(corners, leg, start, start + long_m, off_m * rng.choice([-1.0, 1.0]))
    corner = int(rng.integers(1, len(corners) - 1))
    before = max(off_m, long_m * rng.uniform(0.35, 0.65))
    after = max(off_m, long_m - before)
    if before > legs[corner - 1] - 20.0 or after > legs[corner] - 20.0:
        return None
    return round_the_block(corners, corner, before, after)


def _fits(way: Way, town: Town, direction: str) -> bool:
    leave_m, join_m = way.detour_m or (0.0, 0.0)
    length_m = arc_length(town.roads[direction])[-1]
    tunnel = town.tunnels.get(direction, (0.0, 0.0))
    clear = join_m < tunnel[0] - 100.0 or leave_m > tunnel[1] + 100.0
    inside = leave_m >= HEAD_M and join_m <= length_m - TAIL_M
    return bool(clear and inside and join_m - leave_m >= 300.0)


def peak_off_m(way: Way, road_m: FloatArray) -> float:
    """Return how far a detour leads from the road, in metres, at its farthest place."""
    if way.detour_m is None:
        return 0.0
    s = arc_length(road_m)
    near = road_m[(s >= way.detour_m[0] - 200.0) & (s <= way.detour_m[1] + 200.0)]
    on = (way.station_m > way.detour_m[0]) & (way.station_m < way.detour_m[1])
    gaps = np.hypot(*(way.line_m[on][:, None, :] - near[None, ::3, :]).transpose(2, 0, 1))
    return float(gaps.min(axis=1).max())


def _plant_faults(rng: np.random.Generator, spec: CampaignSpec, town: Town, rides: list[RidePlan]) -> None:
    plain = [r for r in rides if r.way.detour_m is None] or rides
    free = [(r, s) for r in plain for s in r.sessions]
    for k in rng.permutation(len(free))[: spec.faults]:
        ride, session = free[k]
        session.fault = _fault(rng, float(arc_length(town.roads[ride.direction])[-1]), town.tunnels.get(ride.direction))


def _fault(rng: np.random.Generator, length_m: float, tunnel: tuple[float, float] | None) -> Fault:
    # a road too short for a fault between its head and its tail has it as early as may be, also where a tunnel is near
    latest_m = max(HEAD_M, length_m - TAIL_M - 900.0)
    for _ in range(MOST_DRAWS):
        at_m = rng.uniform(HEAD_M, latest_m)
        if tunnel is None or not tunnel[0] - 900.0 < at_m < tunnel[1] + 100.0:
            break
    peak_m = rng.uniform(80.0, 200.0) * rng.choice([-1.0, 1.0])
    return Fault(str(rng.choice(["drift", "jump"])), float(at_m), float(rng.uniform(60, 150)), float(peak_m))


def _plant_starts(rng: np.random.Generator, spec: CampaignSpec, town: Town, rides: list[RidePlan]) -> None:
    sessions = [s for r in rides for s in r.sessions if s.fault is None]
    order = [sessions[k] for k in rng.permutation(len(sessions))]
    for s in order[: spec.never_fixed]:
        s.ttff_s, s.state = None, "cold"
    rest = order[spec.never_fixed :]
    for s in rest[: spec.late_starts]:
        s.late_m, s.log_has_place = float(rng.uniform(400, 1000)), bool(rng.random() < 0.5)
    rest = rest[spec.late_starts :]
    for s in rest[: spec.slow_fixes]:
        s.ttff_s, s.state = int(rng.uniform(180, 480)), "cold"
    logged = [s for s in rest[spec.slow_fixes :] if s.device.shows_start == "log"]
    for s in logged[: spec.unlogged]:
        s.logged = False

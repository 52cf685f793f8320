"""A whole campaign made from its specification and a seed, kept in memory with all its true answers."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from gpsq.plane import Plane
from gpsq.simulate.noise import correlated_errors
from gpsq.simulate.plan import RidePlan, Session, Town, make_town, plan_rides
from gpsq.simulate.receiver import Listening, listen
from gpsq.simulate.ride import Motion, move
from gpsq.simulate.road import arc_length
from gpsq.simulate.showing import Prelude, show_start
from gpsq.simulate.truth import Offsets, settle_seconds, true_offsets

if TYPE_CHECKING:
    from gpsq.model import FloatArray
    from gpsq.simulate.spec import CampaignSpec

#: Slowly changing error that all receivers of a ride share, such as the atmosphere's.
SHARED_CORRELATION = ((1.0, 600.0),)
LEAVES_AT = {"out": dt.time(6, 50), "back": dt.time(16, 40)}


@dataclass(frozen=True, eq=False)
class SimulatedRide:
    """One trip: its plan, when second 0 was (UTC), and where the rider was at every second."""

    plan: RidePlan
    label: str
    epoch: np.datetime64
    motion: Motion


@dataclass(frozen=True, eq=False)
class SimulatedRecording:
    """One recording: the file it is written to, what happened, what was heard and written, and its true errors.

    `lon_deg`, `lat_deg` (n,) are the fixes as written, rounded to the device's decimals; `settle_s` are the true
    seconds from the first fix until the recording follows the road, nan where it never does.
    """

    file: str
    ride: SimulatedRide
    session: Session
    heard: Listening
    prelude: Prelude
    lon_deg: FloatArray
    lat_deg: FloatArray
    offsets: Offsets
    settle_s: float

    @property
    def device(self) -> str:
        """Name of the device."""
        return self.session.device.name

    @property
    def ttff_s(self) -> float:
        """True seconds from switching on to the first fix; nan where there was none."""
        return float("nan") if self.heard.fix_s is None else float(self.heard.fix_s - self.heard.on_s)

    @property
    def missed_m(self) -> float:
        """True metres of the road ridden from switching on to the first fix; nan where there was none."""
        if self.heard.fix_s is None:
            return float("nan")
        station = self.ride.motion.station_m
        return float(station[self.heard.fix_s] - station[self.heard.on_s])


@dataclass(frozen=True, eq=False)
class Campaign:
    """A simulated campaign: what was asked, the town, the rides and the recordings."""

    spec: CampaignSpec
    seed: int
    plane: Plane
    town: Town
    rides: tuple[SimulatedRide, ...]
    recordings: tuple[SimulatedRecording, ...]


def make_campaign(spec: CampaignSpec, seed: int) -> Campaign:
    """Return the campaign that a specification and a seed describe; the same two always give the same one.

    Parameters
    ----------
    spec : what the campaign consists of.
    seed : any whole number ≥ 0; another seed gives another town, other rides and other errors of the same kind.

    Raises
    ------
    ValueError
        When the road has no place for the detours asked for.

    Examples
    --------
    >>> from gpsq.simulate import CampaignSpec, DeviceSpec, make_campaign
    >>> spec = CampaignSpec("Try", 10.0, 50.0, (DeviceSpec("north"),), days=1, detours=0, faults=0)
    >>> [recording.file for recording in make_campaign(spec, 1).recordings]
    ['north/2025-03-03-out.gpx', 'north/2025-03-03-back.gpx']
    """
    town = make_town(np.random.default_rng((seed, 0)), spec)
    plans = plan_rides(np.random.default_rng((seed, 1)), spec, town)
    plane = Plane(spec.lon_deg, spec.lat_deg)
    rides = tuple(_ridden(np.random.default_rng((seed, 2, k)), spec, town, plan) for k, plan in enumerate(plans))
    recordings = []
    memory = {d.name: _far_place(np.random.default_rng((seed, 3, k)), town) for k, d in enumerate(spec.devices)}
    for k, ride in enumerate(rides):
        shared = np.random.default_rng((seed, 4, k))
        shared_m = correlated_errors(shared, len(ride.motion.xy_m), spec.shared_sigma_m, SHARED_CORRELATION)
        for j, session in enumerate(ride.plan.sessions):
            rng = np.random.default_rng((seed, 5, k, j))
            recording = _record(rng, spec, town, plane, ride, session, memory[session.device.name], shared_m)
            recordings.append(recording)
            if not spec.far_memory and len(recording.heard.fixes.xy_m):
                memory[session.device.name] = recording.heard.fixes.xy_m[-1]
    return Campaign(spec, seed, plane, town, rides, tuple(recordings))


def _far_place(rng: np.random.Generator, town: Town) -> FloatArray:
    angle, far_m = rng.uniform(0, 2 * np.pi), rng.uniform(9_000, 14_000)
    home = next(iter(town.roads.values()))[0]
    return np.asarray(home + far_m * np.array([np.cos(angle), np.sin(angle)]))


def _ridden(rng: np.random.Generator, spec: CampaignSpec, town: Town, plan: RidePlan) -> SimulatedRide:
    way = plan.way
    lights = np.interp(town.lights[plan.direction], way.station_m, arc_length(way.line_m))
    stops = [(float(m), float(rng.uniform(8, 55))) for m in lights if rng.random() < 0.45]
    cruise = spec.cruise_mps * float(np.exp(0.06 * rng.standard_normal()))
    motion = move(rng, way, cruise, stops, float(rng.uniform(10, 26)), float(rng.uniform(8, 40)), spec.lateral_m)
    day = spec.first_day + dt.timedelta(days=plan.day + 2 * (plan.day // 5))
    local = dt.datetime.combine(day, LEAVES_AT[plan.direction]) + dt.timedelta(seconds=int(rng.integers(0, 1500)))
    utc = local - dt.timedelta(hours=local_hours(spec))
    return SimulatedRide(plan, f"{day.isoformat()}-{plan.direction}", np.datetime64(utc, "s"), motion)


def clock(recording: SimulatedRecording, second: float) -> str:
    """Return UTC, as ISO 8601 with Z, at a second of a recording's ride."""
    return f"{recording.ride.epoch + np.timedelta64(int(second), 's')}Z"


def local_hours(spec: CampaignSpec) -> int:
    """Return the whole hours by which the place's clocks are ahead of UTC."""
    return round(spec.lon_deg / 15.0)


def _record(
    rng: np.random.Generator,
    spec: CampaignSpec,
    town: Town,
    plane: Plane,
    ride: SimulatedRide,
    session: Session,
    memory_xy: FloatArray,
    shared_m: FloatArray,
) -> SimulatedRecording:
    direction = ride.plan.direction
    heard = listen(rng, spec, town, direction, session, ride.motion, shared_m)
    start_xy = ride.motion.xy_m[heard.on_s] + rng.normal(0.0, 4.0, 2)
    prelude = show_start(rng, session, heard, start_xy if session.device.shows_start == "back-fill" else memory_xy)
    lon, lat = plane.to_degrees(heard.fixes.xy_m) if len(heard.fixes.xy_m) else (np.empty(0), np.empty(0))
    lon, lat = rounded_degrees(lon, lat, session.device.decimals)
    written_xy = plane.to_metres(lon, lat) if len(lon) else heard.fixes.xy_m
    road_m, fixes = town.roads[direction], heard.fixes
    offsets = true_offsets(ride.motion, road_m, fixes.second, written_xy, fixes.segment)
    settle_s = settle_seconds(ride.motion, road_m, fixes.second, written_xy)
    file = _file_name(spec, ride, session)
    return SimulatedRecording(file, ride, session, heard, prelude, lon, lat, offsets, settle_s)


def rounded_degrees(lon_deg: FloatArray, lat_deg: FloatArray, decimals: int) -> tuple[FloatArray, FloatArray]:
    """Return degrees as a device writes them; a longitude that rounds to 180 becomes −180, as GPX 1.1 demands."""
    lon = np.round(lon_deg, decimals)
    return np.where(lon >= 180.0, lon - 360.0, lon), np.round(lat_deg, decimals)


def _file_name(spec: CampaignSpec, ride: SimulatedRide, session: Session) -> str:
    if spec.layout == "by day":
        day, direction = ride.label.rsplit("-", 1)
        return f"{day}/{direction}-{session.device.name}.gpx"
    return f"{session.device.name}/{ride.label}.gpx"

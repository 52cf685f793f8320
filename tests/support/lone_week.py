"""The week of a lone tester: one device, both ways, one flat folder, files that begin at the first fix; the truth aside.

Invented towns, riders and receivers of `gpsq.simulate`, but ridden and kept as a single person does: start is pressed at
the door, the bicycle is left within some metres of it, one ride takes another road, one recording has an excursion of the
receiver, one battery dies, and nothing in a file says how long the device searched.
"""

from __future__ import annotations

import dataclasses
import datetime as dt
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from gpsq.plane import Plane
from gpsq.simulate import Campaign, CampaignSpec, DeviceSpec, SimulatedRecording, SimulatedRide
from gpsq.simulate.answers import detours_of
from gpsq.simulate.campaign import rounded_degrees
from gpsq.simulate.noise import correlated_errors
from gpsq.simulate.plan import Fault, Town, make_town, plan_rides
from gpsq.simulate.receiver import Fixes, Listening, listen
from gpsq.simulate.ride import Motion, Way, move
from gpsq.simulate.road import arc_length
from gpsq.simulate.showing import show_start
from gpsq.simulate.truth import settle_seconds, true_offsets
from gpsq.simulate.writing import gpx_text

if TYPE_CHECKING:
    from pathlib import Path

    from gpsq.simulate.plan import RidePlan

#: Seconds of searching, from the least to the most: fixed at once now and then, usually, and only after minutes.
SEARCHES = {"quick": (2.0, 20.0), "usual": (12.0, 45.0), "slow": (40.0, 110.0)}
#: The kinds of week: the plain one, and those in which the end of one way is no place of the start of the other.
KINDS = ("plain", "stop before the door", "stop beyond the door", "three parking places", "waits a minute")
APART_M = 60.0
LOCAL_HOURS = 2
LEAVES_AT = {"out": dt.time(7, 20), "back": dt.time(16, 45)}
DEVICE = "Wristband Q"


@dataclass(frozen=True)
class LoneRide:
    """What happened on one ride, known to nobody but the test.

    `missed_m` metres of road between pressing start and the first fix, `ended_early_m` metres of road between the end of
    the recording and where the rider stopped (0 where he was recorded to the end), `started` UTC.
    """

    file: str
    way: str
    started: np.datetime64
    ttff_s: float
    missed_m: float
    ended_early_m: float
    detour: bool
    excursion: bool


@dataclass(frozen=True, eq=False)
class LoneWeek:
    """A week as a folder holds it, `documents` by file name, and the truth of each file."""

    documents: dict[str, str]
    truth: dict[str, LoneRide]

    def write(self, folder: Path) -> None:
        """Write the recordings, and nothing else, into one flat folder."""
        folder.mkdir(parents=True, exist_ok=True)
        for name, text in self.documents.items():
            (folder / name).write_text(text, encoding="utf-8", newline="\n")


def lone_week(seed: int, kind: str = "plain", *, search: str = "usual", named_by_clock: bool = False) -> LoneWeek:
    """Return the week of a kind (one of `KINDS`) that a seed draws, always the same.

    Parameters
    ----------
    search : one of `SEARCHES`. named_by_clock : files are called by the local day and minute of pressing start
        (``2026-05-04_07-41.gpx``) instead of by day and half of the day.
    """
    rng = np.random.default_rng((seed, 140, KINDS.index(kind)))
    spec = _spec(rng)
    town = make_town(np.random.default_rng((seed, 141)), spec)
    plans = plan_rides(np.random.default_rng((seed, 142)), spec, town)
    odd = _odd_rides(rng, plans, town)
    plane = Plane(spec.lon_deg, spec.lat_deg)
    rides = tuple(_ridden(rng, spec, town, plan, kind) for plan in plans)
    recordings = [_recorded(rng, spec, town, plane, ride, search, odd) for ride in rides]
    names = [_name(r, named_by_clock=named_by_clock) for r in recordings]
    recordings = [dataclasses.replace(r, file=name) for r, name in zip(recordings, names, strict=True)]
    campaign = Campaign(spec, seed, plane, town, rides, tuple(recordings))
    detours = {found["ride"] for found in detours_of(campaign)}
    documents = {r.file: gpx_text(campaign, r) for r in recordings}
    return LoneWeek(documents, {r.file: _truth(r, odd, r.ride.label in detours) for r in recordings})


def _spec(rng: np.random.Generator) -> CampaignSpec:
    device = DeviceSpec(DEVICE, float(rng.uniform(2.0, 4.0)), interval_s=1, shows_start="nothing", decimals=6)
    return CampaignSpec(
        title="", lon_deg=-31.4 + float(rng.uniform(-0.5, 0.5)), lat_deg=47.3, devices=(device,), days=6,
        first_day=dt.date(2026, 5, 4), length_m=float(rng.uniform(3800, 6000)), lights=6, canyon_share=0.08,
        back=str(rng.choice(["same street", "parallel street"])), cruise_mps=float(rng.uniform(4.5, 6.0)),
        detours=1, detour_off_m=(75.0, 150.0), detour_long_m=(350.0, 600.0), faults=0, unlogged=0,
    )  # fmt: skip


@dataclass(frozen=True)
class _Odd:
    """The rides on which something went wrong: whose receiver had an excursion, whose battery died how far before the end."""

    excursion: tuple[int, str]
    battery: tuple[int, str]
    died_m: float


def _odd_rides(rng: np.random.Generator, plans: list[RidePlan], town: Town) -> _Odd:
    plain = [p for p in plans if p.way.detour_m is None]
    with_excursion, with_battery = (plain[k] for k in rng.permutation(len(plain))[:2])
    length_m = float(arc_length(town.roads[with_excursion.direction])[-1])
    at_m, side = float(rng.uniform(1200.0, length_m - 1200.0)), float(rng.choice([-1.0, 1.0]))
    session = with_excursion.sessions[0]
    session.fault = Fault(str(rng.choice(["drift", "jump"])), at_m, float(rng.uniform(40, 80)), side * 51.0)
    keys = [(p.day, p.direction) for p in (with_excursion, with_battery)]
    return _Odd(keys[0], keys[1], float(rng.uniform(500.0, 2400.0)))


def _ridden(rng: np.random.Generator, spec: CampaignSpec, town: Town, plan: RidePlan, kind: str) -> SimulatedRide:
    way = _between(plan.way, *_ends_m(rng, plan.day, kind))
    lights = [float(np.interp(m, way.station_m, arc_length(way.line_m))) for m in town.lights[plan.direction]]
    last_m = float(arc_length(way.line_m)[-1])
    stops = [(m, float(rng.uniform(8, 45))) for m in lights if 60 < m < last_m - 60 and rng.random() < 0.4]
    cruise = spec.cruise_mps * float(np.exp(0.06 * rng.standard_normal()))
    wait_s = float(rng.uniform(50, 70) if kind == "waits a minute" else rng.uniform(2, 6))
    motion = move(rng, way, cruise, stops, wait_s, float(rng.uniform(5, 25)), spec.lateral_m)
    day = spec.first_day + dt.timedelta(days=plan.day + 2 * (plan.day // 5))
    local = dt.datetime.combine(day, LEAVES_AT[plan.direction]) + dt.timedelta(seconds=int(rng.integers(0, 1800)))
    utc = local - dt.timedelta(hours=LOCAL_HOURS)
    return SimulatedRide(plan, f"{day.isoformat()}-{plan.direction}", np.datetime64(utc, "s"), motion)


def _ends_m(rng: np.random.Generator, day: int, kind: str) -> tuple[float, float]:
    """Return how far into the road a ride begins, and how far before its end the rider stops."""
    door_m, stop_m = float(rng.uniform(0, 4)), float(rng.uniform(0, 25))
    if kind == "stop before the door":
        stop_m = APART_M + float(rng.uniform(-4, 4))
    elif kind == "stop beyond the door":
        door_m, stop_m = APART_M + door_m, float(rng.uniform(0, 8))
    elif kind == "three parking places":
        stop_m = APART_M * (day % 3) + float(rng.uniform(0, 8))
    return door_m, stop_m


def _between(way: Way, first_m: float, before_end_m: float) -> Way:
    inside = (way.station_m >= first_m) & (way.station_m <= way.station_m[-1] - before_end_m)
    return Way(way.line_m[inside], way.station_m[inside], way.detour_m)


def _recorded(
    rng: np.random.Generator,
    spec: CampaignSpec,
    town: Town,
    plane: Plane,
    ride: SimulatedRide,
    search: str,
    odd: _Odd,
) -> SimulatedRecording:
    session, direction, motion = ride.plan.sessions[0], ride.plan.direction, ride.motion
    searched_s = round(float(rng.uniform(*SEARCHES[search])))
    session.press_s, session.ttff_s = 0, searched_s
    session.state = "hot" if searched_s < 8 else "warm"
    shared_m = correlated_errors(rng, len(motion.xy_m), spec.shared_sigma_m, ((1.0, 600.0),))
    heard = listen(rng, spec, town, direction, session, motion, shared_m)
    if (ride.plan.day, direction) == odd.battery:
        heard = _died(heard, motion, odd.died_m)
    prelude = show_start(rng, session, heard, motion.xy_m[0])
    fixes, road_m = heard.fixes, town.roads[direction]
    lon, lat = rounded_degrees(*plane.to_degrees(fixes.xy_m), session.device.decimals)
    offsets = true_offsets(motion, road_m, fixes.second, fixes.xy_m, fixes.segment)
    settle_s = settle_seconds(motion, road_m, fixes.second, fixes.xy_m)
    return SimulatedRecording("", ride, session, heard, prelude, lon, lat, offsets, settle_s)


def _died(heard: Listening, motion: Motion, before_end_m: float) -> Listening:
    """Return what was heard until the battery died, so far before the end."""
    off_s = int(np.searchsorted(motion.station_m, motion.station_m[-1] - before_end_m))
    kept = heard.fixes.second <= off_s
    fixes = Fixes(**{f.name: getattr(heard.fixes, f.name)[kept] for f in dataclasses.fields(Fixes)})
    return dataclasses.replace(heard, off_s=off_s, fixes=fixes)


def _name(recording: SimulatedRecording, *, named_by_clock: bool) -> str:
    local = recording.ride.epoch + np.timedelta64(recording.heard.on_s, "s") + np.timedelta64(LOCAL_HOURS, "h")
    day, clock = str(local).split("T")
    if named_by_clock:
        return f"{day}_{clock[:5].replace(':', '-')}.gpx"
    return f"{day} {'morning' if recording.ride.plan.direction == 'out' else 'evening'}.gpx"


def _truth(recording: SimulatedRecording, odd: _Odd, detour: bool) -> LoneRide:
    key, station_m = (recording.ride.plan.day, recording.ride.plan.direction), recording.ride.motion.station_m
    last = int(recording.heard.fixes.second[-1])
    return LoneRide(
        file=recording.file,
        way=recording.ride.plan.direction,
        started=recording.ride.epoch + np.timedelta64(recording.heard.on_s, "s"),
        ttff_s=recording.ttff_s,
        missed_m=recording.missed_m,
        ended_early_m=float(station_m[-1] - station_m[last]) if key == odd.battery else 0.0,
        detour=detour,
        excursion=key == odd.excursion,
    )

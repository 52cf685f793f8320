"""The true answers of a campaign as plain values, ready for ``truth.json``."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np

from gpsq.simulate.campaign import Campaign, SimulatedRecording, clock
from gpsq.simulate.plan import peak_off_m
from gpsq.simulate.receiver import fault_seconds
from gpsq.simulate.road import arc_length
from gpsq.simulate.truth import STATION_STEP_M, device_rms_m

if TYPE_CHECKING:
    from gpsq.model import BoolArray, FloatArray
    from gpsq.simulate.plan import Fault

#: Lines between fixes lead to and from a fault for some seconds more.
FAULT_MARGIN_S = 15.0


def truth_of(campaign: Campaign) -> dict[str, Any]:
    """Return all true answers, ready for JSON; what is not known to anybody is None."""
    spec, town = campaign.spec, campaign.town
    return {
        "title": spec.title,
        "seed": campaign.seed,
        "invented": "Place, people, devices and rides are invented; the recordings were simulated.",
        "roads": {name: _road(campaign, road) for name, road in town.roads.items()},
        "devices": [
            {"device": d.name, "sigma_m": d.sigma_m, "shows_start": d.shows_start}
            | {f"xte_rms_{name}_m": _number(device_rms_m(spec, d, town, name)) for name in town.roads}
            for d in spec.devices
        ],
        "recordings": [recording_truth(r) for r in campaign.recordings],
        "detours": detours_of(campaign),
        "faults": [fault_truth(r, r.session.fault) for r in campaign.recordings if r.session.fault is not None],
    }


def _road(campaign: Campaign, road_m: FloatArray) -> dict[str, Any]:
    every = int(STATION_STEP_M)
    lon, lat = campaign.plane.to_degrees(np.concatenate([road_m[:-1:every], road_m[-1:]]))
    line = [[round(float(x), 7), round(float(y), 7)] for x, y in zip(lon, lat, strict=True)]
    return {"length_m": _number(float(arc_length(road_m)[-1])), "line": line}


def recording_truth(recording: SimulatedRecording) -> dict[str, Any]:
    """Return the true answers for one recording.

    `evidence` says whether the file and the log let a reader know the start; `ttff_s` is true in any case. `missed_m`
    counts from where the recording was begun, `fix_station_m` from the beginning of the road. `xte_rms_m` rests on
    all fixes after settling, `xte_rms_plain_m` only on those off detours and faults, `xte_rms_from_fix_m` on all.
    """
    heard, session = recording.heard, recording.session
    fix_s, station_m = heard.fix_s, recording.ride.motion.station_m
    return {
        "file": recording.file,
        "track": 1,
        "device": recording.device,
        "ride": recording.ride.label,
        "direction": recording.ride.plan.direction,
        "started": clock(recording, heard.on_s),
        "evidence": recording.prelude.evidence,
        "first_fix": None if fix_s is None else clock(recording, fix_s),
        "ttff_s": _number(recording.ttff_s),
        "never_fixed": fix_s is None,
        "start_state": session.state,
        "begun_late_m": _number(session.late_m),
        "missed_m": _number(recording.missed_m),
        "fix_station_m": None if fix_s is None else _number(station_m[fix_s]),
        "settle_s": _number(recording.settle_s),
        "sigma_m": _number(heard.sigma_m),
        "points": len(recording.prelude.second) + len(recording.lon_deg),
        "fixes": len(recording.lon_deg),
        "xte_rms_m": _number(recording.offsets.rms_m(settled(recording))),
        "xte_rms_plain_m": _number(recording.offsets.rms_m(settled(recording) & undisturbed(recording))),
        "xte_rms_from_fix_m": _number(recording.offsets.rms_m()),
    }


def settled(recording: SimulatedRecording) -> BoolArray:
    """Return (k,) whether each station was passed after settling."""
    fix_s = recording.heard.fix_s
    return np.asarray(recording.offsets.second >= (np.inf if fix_s is None else fix_s + recording.settle_s))


def undisturbed(recording: SimulatedRecording) -> BoolArray:
    """Return (k,) whether each station was passed on the road and without a planted fault."""
    fault = recording.session.fault
    plain = ~recording.offsets.on_detour
    if fault is None:
        return plain
    motion = recording.ride.motion
    since = np.interp(recording.offsets.second, np.arange(len(motion.xy_m)), fault_seconds(fault, motion))
    return np.asarray(plain & ((since < -FAULT_MARGIN_S) | (since > fault.seconds + FAULT_MARGIN_S)))


def detours_of(campaign: Campaign) -> list[dict[str, Any]]:
    """Return each detour: ride, stations of the road, times, how far off, how much longer, and what recorded it."""
    found = []
    for ride in campaign.rides:
        way = ride.plan.way
        if way.detour_m is None:
            continue
        road = campaign.town.roads[ride.plan.direction]
        first, last = np.searchsorted(ride.motion.station_m, way.detour_m)
        fixed = [r for r in campaign.recordings if r.ride is ride and r.heard.fix_s is not None]
        found.append(
            {
                "ride": ride.label,
                "direction": ride.plan.direction,
                "from_m": _number(way.detour_m[0]),
                "to_m": _number(way.detour_m[1]),
                "from_time": f"{ride.epoch + np.timedelta64(int(first), 's')}Z",
                "to_time": f"{ride.epoch + np.timedelta64(int(last), 's')}Z",
                "peak_m": _number(peak_off_m(way, road)),
                "extra_m": _number(float(arc_length(way.line_m)[-1] - arc_length(road)[-1])),
                "files": [r.file for r in fixed if r.heard.fixes.second[0] < first],
            }
        )
    return found


def fault_truth(recording: SimulatedRecording, fault: Fault) -> dict[str, Any]:
    """Return a planted fault: recording, kind, stations, times, peak (+ left), and whether a fix was there by then."""
    motion = recording.ride.motion
    first = int(np.searchsorted(motion.station_m, fault.from_m))
    last = min(first + int(fault.seconds), len(motion.station_m) - 1)
    return {
        "file": recording.file,
        "kind": fault.kind,
        "from_m": _number(float(motion.station_m[first])),
        "to_m": _number(float(motion.station_m[last])),
        "from_time": clock(recording, first),
        "to_time": clock(recording, last),
        "peak_m": _number(fault.peak_m),
        "recorded": recording.heard.fix_s is not None and recording.heard.fix_s < first,
    }


def _number(value: float) -> float | None:
    return round(float(value), 3) if np.isfinite(value) else None

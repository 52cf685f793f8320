"""A simulated campaign as files: GPX 1.1 recordings, the start log, and the true answers.

The schema demands lat and lon on every point (http://www.topografix.com/GPX/1/1/gpx.xsd, wptType), so a moment without a position
is written at the last known one with ``<fix>none</fix>``, or at 0,0, as receivers do.
"""

from __future__ import annotations

import csv
import io
import json
from typing import TYPE_CHECKING, Any
from xml.sax.saxutils import escape, quoteattr

import numpy as np

from gpsq.simulate.campaign import Campaign, SimulatedRecording, local_hours, rounded_degrees
from gpsq.simulate.plan import peak_off_m
from gpsq.simulate.receiver import fault_seconds
from gpsq.simulate.road import arc_length
from gpsq.simulate.truth import STATION_STEP_M, device_rms_m

if TYPE_CHECKING:
    from pathlib import Path

    from gpsq.model import BoolArray, FloatArray

GPX_NAMESPACE = "http://www.topografix.com/GPX/1/1"
LOG_COLUMNS = ("file", "device", "started", "start_lat", "start_lon", "start_state", "ride", "note")


def write(campaign: Campaign, folder: Path) -> None:
    """Write a campaign into a folder: recordings, ``rides.csv`` (where any start was logged) and ``truth.json``."""
    for recording in campaign.recordings:
        path = folder / recording.file
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_text(gpx_text(campaign, recording), encoding="utf-8", newline="\n")
    log = log_text(campaign)
    if log:
        (folder / "rides.csv").write_text(log, encoding="utf-8", newline="\n")
    truth = json.dumps(truth_of(campaign), indent=1, allow_nan=False)
    (folder / "truth.json").write_text(truth + "\n", encoding="utf-8", newline="\n")


def gpx_text(campaign: Campaign, recording: SimulatedRecording) -> str:
    """Return a recording as a GPX 1.1 document."""
    head = ['<?xml version="1.0" encoding="UTF-8"?>']
    head.append(f'<gpx version="1.1" creator={quoteattr(recording.device)} xmlns="{GPX_NAMESPACE}">')
    if recording.prelude.file_second is not None:
        head.append(f"<metadata><time>{_clock(recording, recording.prelude.file_second)}</time></metadata>")
    head.append(f"<trk><name>{escape(recording.ride.label)}</name>")
    segments = [_prelude_points(campaign, recording)]
    blocks = recording.heard.fixes.segment
    points = _fix_points(recording)
    for block in np.unique(blocks):
        here = [p for p, b in zip(points, blocks, strict=True) if b == block]
        segments = [segments[0] + here] if block == blocks[0] else [*segments, here]
    body = [line for s in segments for line in ("<trkseg>", *s, "</trkseg>")]
    return "\n".join([*head, *body, "</trk>", "</gpx>", ""])


def _clock(recording: SimulatedRecording, second: float) -> str:
    return f"{recording.ride.epoch + np.timedelta64(int(second), 's')}Z"


def _position(lon_deg: float, lat_deg: float, decimals: int) -> str:
    return f'<trkpt lat="{lat_deg + 0.0:.{decimals}f}" lon="{lon_deg + 0.0:.{decimals}f}">'


def _prelude_points(campaign: Campaign, recording: SimulatedRecording) -> list[str]:
    prelude, decimals = recording.prelude, recording.session.device.decimals
    if not len(prelude.second):
        return []
    known = np.isfinite(prelude.xy_m[:, 0])
    lon, lat = campaign.plane.to_degrees(np.where(known[:, None], prelude.xy_m, 0.0))
    lon, lat = rounded_degrees(lon, lat, decimals)
    tail = "<fix>none</fix><sat>0</sat>" if prelude.declared else ""
    lines = []
    for k, second in enumerate(prelude.second):
        place = _position(lon[k], lat[k], decimals) if known[k] else _position(0.0, 0.0, decimals)
        lines.append(f"{place}<time>{_clock(recording, second)}</time>{tail}</trkpt>")
    return lines


def _fix_points(recording: SimulatedRecording) -> list[str]:
    device, fixes = recording.session.device, recording.heard.fixes
    declares = device.quality or device.shows_start == "no-fix points"
    lines = []
    for k, second in enumerate(fixes.second):
        ele = f"<ele>{fixes.ele_m[k]:.1f}</ele>" if device.elevation else ""
        fix = f"<fix>3d</fix><sat>{fixes.sat[k]}</sat><hdop>{fixes.hdop[k]:.1f}</hdop>" if declares else ""
        place = _position(recording.lon_deg[k], recording.lat_deg[k], device.decimals)
        lines.append(f"{place}{ele}<time>{_clock(recording, second)}</time>{fix}</trkpt>")
    return lines


def log_text(campaign: Campaign) -> str:
    """Return ``rides.csv``, or nothing where no device of the campaign keeps a start log."""
    rows = [r for r in campaign.recordings if r.session.device.shows_start == "log" and r.session.logged]
    out = io.StringIO()
    table = csv.writer(out, lineterminator="\n")
    table.writerow(LOG_COLUMNS)
    for r in rows:
        place = _start_place(campaign, r) if r.session.log_has_place else ("", "")
        note = "begun late" if r.session.late_m > 0 else ""
        table.writerow([r.file, r.device, _local_clock(campaign, r), *place, "", "", note])
    return out.getvalue() if rows else ""


def _local_clock(campaign: Campaign, recording: SimulatedRecording) -> str:
    hours = local_hours(campaign.spec)
    local = recording.ride.epoch + np.timedelta64(recording.heard.on_s, "s") + np.timedelta64(hours, "h")
    return f"{local}{'-' if hours < 0 else '+'}{abs(hours):02d}:00" if hours else f"{local}Z"


def _start_place(campaign: Campaign, recording: SimulatedRecording) -> tuple[str, str]:
    lon, lat = campaign.plane.to_degrees(recording.ride.motion.xy_m[recording.heard.on_s][None, :])
    return f"{lat[0]:.5f}", f"{lon[0]:.5f}"


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
        "faults": [fault_truth(r) for r in campaign.recordings if r.session.fault is not None and len(r.lon_deg)],
    }


def _road(campaign: Campaign, road_m: FloatArray) -> dict[str, Any]:
    every = int(STATION_STEP_M)
    lon, lat = campaign.plane.to_degrees(np.concatenate([road_m[:-1:every], road_m[-1:]]))
    line = [[round(float(x), 7), round(float(y), 7)] for x, y in zip(lon, lat, strict=True)]
    return {"length_m": _number(float(arc_length(road_m)[-1])), "line": line}


def recording_truth(recording: SimulatedRecording) -> dict[str, Any]:
    """Return the true answers for one recording.

    `evidence` says whether the file and the log let a reader know the start; `ttff_s` is true in any case. `missed_m` counts from
    where the recording was begun, `fix_station_m` from the beginning of the road. `xte_rms_m` rests on all fixes after settling,
    `xte_rms_plain_m` only on those off detours and faults, `xte_rms_from_fix_m` on all from the first.
    """
    heard, session = recording.heard, recording.session
    fixed = heard.fix_s is not None
    return {
        "file": recording.file,
        "track": 1,
        "device": recording.device,
        "ride": recording.ride.label,
        "direction": recording.ride.plan.direction,
        "started": _clock(recording, heard.on_s),
        "evidence": recording.prelude.evidence,
        "first_fix": _clock(recording, heard.fix_s) if heard.fix_s is not None else None,
        "ttff_s": _number(recording.ttff_s),
        "never_fixed": not fixed,
        "start_state": session.state,
        "begun_late_m": _number(session.late_m),
        "missed_m": _number(recording.missed_m),
        "fix_station_m": _number(float(recording.ride.motion.station_m[heard.fix_s])) if heard.fix_s is not None else None,
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
    return np.asarray(plain & ((since < -1.0) | (since > fault.seconds + 1.0)))


def detours_of(campaign: Campaign) -> list[dict[str, Any]]:
    """Return each detour: ride, stations of the road, times, how far off, how much longer, and which recordings hold it."""
    found = []
    for ride in campaign.rides:
        way = ride.plan.way
        if way.detour_m is None:
            continue
        road = campaign.town.roads[ride.plan.direction]
        first, last = np.searchsorted(ride.motion.station_m, way.detour_m)
        holders = [r for r in campaign.recordings if r.ride is ride and r.heard.fix_s is not None]
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
                "files": [r.file for r in holders if r.heard.fix_s is not None and r.heard.fix_s < first],
            }
        )
    return found


def fault_truth(recording: SimulatedRecording) -> dict[str, Any]:
    """Return a planted fault: recording, kind, stations, times and peak (+ left of travel)."""
    fault, motion = recording.session.fault, recording.ride.motion
    assert fault is not None  # only called for recordings with a fault
    first = int(np.searchsorted(motion.station_m, fault.from_m))
    last = min(first + int(fault.seconds), len(motion.station_m) - 1)
    return {
        "file": recording.file,
        "kind": fault.kind,
        "from_m": _number(float(motion.station_m[first])),
        "to_m": _number(float(motion.station_m[last])),
        "from_time": _clock(recording, first),
        "to_time": _clock(recording, last),
        "peak_m": _number(fault.peak_m),
    }


def _number(value: float) -> float | None:
    return round(float(value), 3) if np.isfinite(value) else None

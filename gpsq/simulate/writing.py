"""A simulated campaign as files: GPX 1.1 recordings, the start log, and the true answers.

The schema demands lat and lon on every point (http://www.topografix.com/GPX/1/1/gpx.xsd, wptType), so a moment
without a position is written at the last known one with ``<fix>none</fix>``, or at 0,0, as receivers do.
"""

from __future__ import annotations

import csv
import io
import json
from typing import TYPE_CHECKING, Any
from xml.sax.saxutils import escape, quoteattr

import numpy as np

from gpsq.simulate.answers import truth_of
from gpsq.simulate.campaign import Campaign, SimulatedRecording, clock, local_hours, rounded_degrees

if TYPE_CHECKING:
    from pathlib import Path

GPX_NAMESPACE = "http://www.topografix.com/GPX/1/1"
LOG_COLUMNS = ("file", "device", "started", "start_lat", "start_lon", "start_state", "ride", "note")


def write(campaign: Campaign, folder: Path, *, reference: bool = False) -> None:
    """Write a campaign into a folder: recordings, ``rides.csv`` (if any start was logged), title and true answers.

    With `reference`, the true roads too, as a survey would give them, named in ``campaign.toml``.
    """
    folder.mkdir(parents=True, exist_ok=True)
    for recording in campaign.recordings:
        path = folder / recording.file
        path.parent.mkdir(parents=True, exist_ok=True)
        _save(path, gpx_text(campaign, recording))
    log = log_text(campaign)
    if log:
        _save(folder / "rides.csv", log)
    answers = truth_of(campaign)
    # A JSON string is a basic string of TOML 1.0 too.
    heading = f"title = {json.dumps(campaign.spec.title)}\n"
    _save(folder / "campaign.toml", heading + (_references(campaign, answers, folder) if reference else ""))
    truth = json.dumps(answers, indent=1, allow_nan=False)
    _save(folder / "truth.json", truth + "\n")


def _references(campaign: Campaign, answers: dict[str, Any], folder: Path) -> str:
    lines = ["", "[reference]"]
    for direction, road in answers["roads"].items():
        name = f"road-{direction}.geojson"
        _save(folder / name, json.dumps({"type": "LineString", "coordinates": road["line"]}) + "\n")
        fixed = (r for r in campaign.recordings if r.ride.plan.direction == direction and r.heard.fix_s is not None)
        lines += [f"{json.dumps(r.file)} = {json.dumps(name)}" for r in list(fixed)[:1]]
    return "\n".join([*lines, ""])


def _save(path: Path, text: str) -> None:
    path.write_text(text, encoding="utf-8", newline="\n")


def gpx_text(campaign: Campaign, recording: SimulatedRecording) -> str:
    """Return a recording as a GPX 1.1 document."""
    head = ['<?xml version="1.0" encoding="UTF-8"?>']
    head.append(f'<gpx version="1.1" creator={quoteattr(recording.device)} xmlns="{GPX_NAMESPACE}">')
    if recording.prelude.file_second is not None:
        head.append(f"<metadata><time>{clock(recording, recording.prelude.file_second)}</time></metadata>")
    head.append(f"<trk><name>{escape(recording.ride.label)}</name>")
    blocks, points = recording.heard.fixes.segment, _fix_points(recording)
    fixed = [[p for p, b in zip(points, blocks, strict=True) if b == block] for block in np.unique(blocks)] or [[]]
    segments = [_prelude_points(campaign, recording) + fixed[0], *fixed[1:]]
    body = [line for s in segments for line in ("<trkseg>", *s, "</trkseg>")]
    return "\n".join([*head, *body, "</trk>", "</gpx>", ""])


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
        lines.append(f"{place}<time>{clock(recording, second)}</time>{tail}</trkpt>")
    return lines


def _fix_points(recording: SimulatedRecording) -> list[str]:
    device, fixes = recording.session.device, recording.heard.fixes
    declares = device.quality or device.shows_start == "no-fix points"
    lines = []
    for k, second in enumerate(fixes.second):
        ele = f"<ele>{fixes.ele_m[k]:.1f}</ele>" if device.elevation else ""
        fix = f"<fix>3d</fix><sat>{fixes.sat[k]}</sat><hdop>{fixes.hdop[k]:.1f}</hdop>" if declares else ""
        place = _position(recording.lon_deg[k], recording.lat_deg[k], device.decimals)
        lines.append(f"{place}{ele}<time>{clock(recording, second)}</time>{fix}</trkpt>")
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

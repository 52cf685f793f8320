"""What gpsq sees in single files, without a campaign: ``gpsq check``."""

from __future__ import annotations

import math
from dataclasses import fields, replace
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING, Any
from zoneinfo import ZoneInfo, ZoneInfoNotFoundError

import numpy as np

from gpsq.campaign.device_names import UNKNOWN_DEVICE
from gpsq.campaign.start_matching import seconds
from gpsq.exceptions import InputError
from gpsq.model import Trace, Unreadable
from gpsq.reading import read_file
from gpsq.reading.listing import find_files, may_be_something_else, readable
from gpsq.reading.starts import first_fix, with_starts
from gpsq.rides.copies import compare
from gpsq.rides.passes import suggest
from gpsq.rides.recording_figures import Recorded, measure

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence

    from gpsq.model import FloatArray
    from gpsq.settings import Settings

#: Keys of one record that are a contract (docs/inputs.md); more follow them.
FIELDS = (
    "file", "track", "name", "outcome", "message", "points", "accepted", "rejected", "reasons", "timed", "started",
    "start_basis", "first_fix", "ttff_s", "ttff_at_least_s", "distance_m", "duration_s", "recorded_s", "interval_s",
    "gaps", "speed_mean_mps", "notes",
)  # fmt: skip

#: What each reason for setting a point aside means, in words.
REASONS = {
    "no_position": "have no position",
    "null_island": "stand at 0,0, which means no position",
    "not_finite": "have coordinates that are no finite numbers",
    "out_of_range": "lie outside the range of latitude and longitude",
    "unparseable_coordinate": "have coordinates that are no numbers",
    "no_fix": "are marked as no fix by the device itself",
    "frozen_before_fix": "repeat a remembered position before the first fix",
    "outlier_jump": "lie where no rider can have been",
    "truncated_element": "are unfinished or damaged in the file",
    "straight_backfill": "were filled in on a straight line before the first fix",
}


def inspect_paths(
    paths: Sequence[Path], settings: Settings, time_zone: str | None = None, date_order: str | None = None
) -> list[dict[str, Any]]:
    """Read single files, or every recording below folders, and tell what they hold.

    Parameters
    ----------
    paths : sequence of Path
        Files and folders.
    settings : Settings
        Thresholds.
    time_zone, date_order : str, optional
        For tables whose times have no zone or whose dates are ambiguous.

    Returns
    -------
    list of dict
        One for each recording, in the shape of ``gpsq check --json``; None where a value is unknown.

    Raises
    ------
    InputError
        When the zone or the order of dates is none.
    """
    _refuse_unknown(time_zone, date_order)
    results: list[Trace | Unreadable] = []
    links: dict[str, str] = {}
    for path in paths:
        read, linked = _read(Path(path), settings, time_zone, date_order)
        results += read
        links |= linked
    traces = with_starts([_with_device(r) for r in results if isinstance(r, Trace)], {}, settings)
    records = [_inspect(trace, settings) for trace in traces]
    for finding in compare(traces):
        _warn(records[finding.trace], finding.note, finding.kind)
    for link, file in links.items():
        for record in [r for r in records if r["file"] == file][:1]:
            _warn(record, f"{link} is the same file as {file} and counts once.", "same_file")
    records += [_refused(result) for result in results if isinstance(result, Unreadable)]
    return sorted(records, key=lambda record: (record["file"], record["track"]))


def _refuse_unknown(zone: str | None, date_order: str | None) -> None:
    if date_order not in (None, "dmy", "mdy", "ymd"):
        raise InputError("--date-order", str(date_order), "dmy, mdy or ymd")
    try:
        ZoneInfo(zone or "UTC")
    except (ZoneInfoNotFoundError, ValueError, OSError) as error:
        raise InputError("--zone", str(zone), "a name of the IANA time zone data such as Europe/London") from error


def describe(records: Sequence[dict[str, Any]]) -> str:
    """Return `records` in plain words, a paragraph for each recording."""
    return "\n\n".join(_paragraph(record) for record in records)


def _paragraph(record: dict[str, Any]) -> str:
    if record["outcome"] == "error":
        return str(record["message"])
    head = record["file"] if record["track"] == 1 else f"{record['file']}, track {record['track']}"
    name = f" “{record['name']}”" if record["name"] else ""
    return "\n".join([f"{head}{name}: {record['message']}", *(f"  - {note}" for note in record["notes"])])


def _read(
    path: Path, settings: Settings, time_zone: str | None, date_order: str | None
) -> tuple[list[Trace | Unreadable], dict[str, str]]:
    """Read a file, or what a folder holds; also return which names are links to which files."""
    task = partial(read_file, settings=settings, time_zone=time_zone, date_order=date_order)
    if not path.is_dir():
        return task(path, readable(str(path))), {}
    listing = find_files(path)
    folder = readable(str(path))
    results: list[Trace | Unreadable] = [replace(u, file=f"{folder}/{u.file}") for u in listing.unreadable]
    for found in listing.files:
        read = task(found.path, f"{folder}/{found.name}")
        results += [r for r in read if isinstance(r, Trace) or not may_be_something_else(r)]
    return results, {f"{folder}/{link}": f"{folder}/{file}" for link, file in listing.links.items()}


def _with_device(trace: Trace) -> Trace:
    return replace(trace, device=trace.creator or UNKNOWN_DEVICE)


def _warn(record: dict[str, Any], note: str, kind: str) -> None:
    record["notes"].append(note)
    record["suspected"].append(kind)
    record["outcome"] = "ok-warn"


def _refused(result: Unreadable) -> dict[str, Any]:
    return dict.fromkeys(FIELDS) | {
        "file": result.file,
        "track": result.track,
        "name": "",
        "outcome": "error",
        "message": result.message,
        "points": result.points,
        "accepted": 0,
        "rejected": result.points,
        "reasons": {s.reason: s.points for s in result.set_aside},
        "timed": 0,
        "start_basis": "none",
        "gaps": [],
        "notes": [],
        "reason": result.reason,
        "suspected": [],
        "sha256": result.sha256,
    }


def _inspect(trace: Trace, settings: Settings) -> dict[str, Any]:
    recorded = measure(trace, settings)
    odd = _odd(trace)
    fixed = first_fix(trace)
    record = dict.fromkeys(FIELDS) | _figures(recorded) | _further(trace)
    return record | {
        "file": trace.file,
        "track": trace.track,
        "name": trace.name,
        "outcome": "ok-warn" if odd else "ok",
        "message": _message(trace, recorded),
        "points": trace.points,
        "accepted": trace.accepted,
        "rejected": trace.points - trace.accepted,
        "reasons": {s.reason: s.points for s in trace.set_aside},
        "timed": int((~np.isnat(trace.time)).sum()),
        "started": _iso(trace.started),
        "start_basis": trace.start_basis,
        "first_fix": _iso(fixed),
        "ttff_s": _number(seconds(fixed, trace.started)),
        "ttff_at_least_s": None if trace.accepted else _number(seconds(trace.last_record, trace.started)),
        "gaps": [
            {"after_point": g.after_point, "seconds": _number(g.seconds), "metres": _number(g.metres)}
            for g in recorded.gaps
        ],
        "notes": [*odd, *_worth_knowing(trace, recorded, settings)],
    }


def _figures(recorded: Recorded) -> dict[str, Any]:
    return {f.name: _number(getattr(recorded, f.name)) for f in fields(recorded) if f.name != "gaps"}


def _further(trace: Trace) -> dict[str, Any]:
    """Return what the contract does not name: times, heights, recorded values, hash."""
    known = trace.time[~np.isnat(trace.time)]
    return {
        "device": trace.device,
        "sha256": trace.sha256,
        "suspected": [],
        "truncated": trace.truncated,
        "date_known": trace.date_known,
        "clock_jumps_at_fix": trace.clock_jumps_at_fix,
        "records_before_fix": trace.records_before_fix,
        "first_record": _iso(trace.first_record),
        "last_record": _iso(trace.last_record),
        "first_time": _iso(known.min()) if len(known) else None,
        "last_time": _iso(known.max()) if len(known) else None,
        "ttff_3d_s": _number(seconds(trace.first_3d_fix, trace.started)),
        "ele_known": int(np.isfinite(trace.ele_m).sum()),
        "ele_min_m": _over(np.min, trace.ele_m),
        "ele_max_m": _over(np.max, trace.ele_m),
        "ele_mean_m": _over(np.mean, trace.ele_m),
        "hdop_mean": _over(np.mean, trace.hdop),
        "recorded_speed_mean_mps": _over(np.mean, trace.speed_mps),
        "counts": dict(trace.counts),
        "extras": {name: _number(value) for name, value in trace.extras.items()},
    }


def _odd(trace: Trace) -> list[str]:
    """Return what a person should know before trusting the figures."""
    notes = [
        f"{s.points} of {trace.points} points {REASONS[s.reason]} and were set aside, "
        f"first point {s.first_point} (counted from 0)."
        for s in trace.set_aside
    ]
    if not trace.accepted:
        notes.append("The device recorded but never had a fix.")
    elif not trace.timed:
        unknown = int(np.isnat(trace.time).sum())
        notes.append(
            f"{unknown} of {trace.accepted} fixes have no usable time: duration, speed and time to first fix "
            "are unknown."
        )
    if trace.accepted == 1:
        notes.append("A single fix: length, duration and speed need two.")
    return [*notes, *trace.notes]


def _worth_knowing(trace: Trace, recorded: Recorded, settings: Settings) -> list[str]:
    notes = list(trace.remarks)
    if trace.start_basis == "none" and trace.timed and not trace.records_before_fix:
        notes.append("Already fixed at the first record: the file does not say how long the device searched.")
    for gap in recorded.gaps:
        silence = f"{gap.seconds:g} s" if math.isfinite(gap.seconds) else "an unknown time"
        notes.append(
            f"Gap of {silence} and {gap.metres:.0f} m (straight) after point {gap.after_point}: "
            "no data, not ridden, not a stop."
        )
    if recorded.gaps:
        notes.append(
            f"A gap is a new segment, a silence of more than {settings.gap_s:g} s and three usual intervals, or an "
            "outage of the receiver; "
            f"with the gaps bridged straight the way is at least {recorded.distance_with_gaps_m:.1f} m."
        )
    if recorded.spikes:
        notes.append(
            f"Off and back within seconds: {recorded.spikes} spike{'s' * (recorded.spikes > 1)}, "
            f"the largest {recorded.largest_spike_m:.0f} m."
        )
    if recorded.standing_points:
        notes.append(
            f"Standing still for {recorded.standing_s:g} s ({recorded.standing_points} points); "
            f"{recorded.wander_m:.1f} m of the length are scatter there."
        )
    passes = suggest(trace, settings)
    if passes:
        notes.append(passes)
    return notes


def _message(trace: Trace, recorded: Recorded) -> str:
    parts = [f"{trace.accepted} of {trace.points} points are fixes"]
    at_least = "at least " if trace.truncated else ""
    parts.append(f"{at_least}{recorded.distance_m:.1f} m" if math.isfinite(recorded.distance_m) else "length unknown")
    parts.append(f"{at_least}{recorded.duration_s:g} s" if math.isfinite(recorded.duration_s) else "duration unknown")
    waited_s = seconds(first_fix(trace), trace.started)
    parts.append(
        f"first fix after {waited_s:g} s ({trace.start_basis})"
        if math.isfinite(waited_s)
        else "time to first fix unknown"
    )
    return ", ".join(parts) + "."


def _number(value: float | None) -> float | int | None:
    if value is None or isinstance(value, int):
        return value
    return round(float(value), 6) if math.isfinite(value) else None


def _over(function: Callable[[FloatArray], Any], values: FloatArray) -> float | int | None:
    known = values[np.isfinite(values)]
    return _number(float(function(known))) if len(known) else None


def _iso(time: np.datetime64) -> str | None:
    """Return an ISO 8601 time in UTC, milliseconds where there are any."""
    if np.isnat(time):
        return None
    return str(time).removesuffix(".000") + "Z"

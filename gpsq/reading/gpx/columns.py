"""The points of one track as texts, column by column, and their way to a `Recording`."""

from __future__ import annotations

import dataclasses
from dataclasses import dataclass, field
from typing import TYPE_CHECKING

import numpy as np

from gpsq.campaign.timestamps import ClockTimes, parse_time, parse_times
from gpsq.model import NAT
from gpsq.reading.numbers import parse_numbers
from gpsq.reading.recording import FIX_2D, FIX_3D, FIX_NONE, FIX_UNSAID, Recording

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from gpsq.model import FloatArray, IntArray

#: More names of values than this in one file are no measurements but an attack on memory.
_MOST_NAMES = 64
_TEXT_NAMES = frozenset({"time", "fix", "name", "cmt", "desc", "src", "link", "text", "type", "sym", "url", "urlname"})
_OWN_NAMES = frozenset({"ele", "hdop", "sat", "speed"})
#: Values of the GPX schemas' fixType, and the bare digits that some files write (common practice).
_FIXES = {
    "none": FIX_NONE,
    "0": FIX_NONE,
    "1": FIX_NONE,
    "2d": FIX_2D,
    "2": FIX_2D,
    "3d": FIX_3D,
    "3": FIX_3D,
    "dgps": FIX_3D,
    "pps": FIX_3D,
}
#: No road is this low or high: such values stand for "unknown" (-9999, -32768, 32767 and the like; common practice).
_LOWEST_ELE_M, _HIGHEST_ELE_M = -1_000.0, 20_000.0


@dataclass
class Columns:
    """One track while it is read: latitude and longitude of every point, other values by name and point."""

    document: int
    creator: str
    file_time: str
    name: str = ""
    segments: int = 0
    lat: list[str | None] = field(default_factory=list)
    lon: list[str | None] = field(default_factory=list)
    segment: list[int] = field(default_factory=list)
    values: dict[str, tuple[list[int], list[str]]] = field(default_factory=dict)
    broken: set[int] = field(default_factory=set)
    truncated: bool = False

    def add(self, lat: str | None, lon: str | None) -> None:
        """Begin a point."""
        self.lat.append(lat)
        self.lon.append(lon)
        self.segment.append(self.segments)

    def put(self, name: str, text: str) -> None:
        """Keep the value `name` of the last point."""
        column = self.values.get(name)
        if column is None:
            if len(self.values) >= _MOST_NAMES:
                return
            column = self.values[name] = ([], [])
        column[0].append(len(self.lat) - 1)
        column[1].append(text)


def to_recording(track: Columns, notes: tuple[str, ...], remarks: tuple[str, ...]) -> Recording:
    """Turn texts into numbers; say what was odd."""
    lat, lon = parse_numbers(track.lat), parse_numbers(track.lon)
    times, time_notes = _times(track)
    ele, ele_notes = _elevations(track)
    speed = _numbers(track, "speed")
    commas = lat.commas + lon.commas
    comma_note = [f"{commas} coordinates are written with a decimal comma and were read as such."] if commas else []
    return Recording(
        name=track.name,
        creator=track.creator.strip(),
        time=times.time,
        lon_deg=lon.value,
        lat_deg=lat.value,
        problem=_problems(track, lat.problem, lon.problem),
        fix=_fixes(track),
        ele_m=ele,
        hdop=_numbers(track, "hdop"),
        sat=_numbers(track, "sat"),
        speed_mps=np.where(speed < 0, np.nan, speed),  # -1 is the phones' code for "unknown" (common practice)
        segment=_segments(track.segment),
        file_time=parse_time(track.file_time)[0] if track.file_time else NAT,
        extras=_extras(track),
        notes=(*notes, *_cut_note(track), *comma_note, *time_notes, *ele_notes),
        remarks=remarks,
        counts=_counts(times),
        truncated=track.truncated,
    )


def _counts(times: ClockTimes) -> dict[str, int]:
    counts = {"zone_assumed_utc": times.without_zone} if times.without_zone else {}
    return counts | ({} if times.offset_min is None else {"utc_offset_min": times.offset_min})


def _cut_note(track: Columns) -> list[str]:
    if not track.truncated:
        return []
    kept = len(track.lat) - len(track.broken)
    return [
        f"The file is cut off: {kept} complete points were kept and {len(track.broken)} unfinished dropped; "
        "where the ride ended is unknown, so its length and duration are at least those given."
    ]


def _problems(track: Columns, lat: NDArray[np.object_], lon: NDArray[np.object_]) -> NDArray[np.object_]:
    """Join the problems of both: a text that is no number says more than a missing one, a broken element most."""
    problem = np.where((lat == "") | ((lat == "no_position") & (lon != "")), lon, lat)
    problem[list(track.broken)] = "truncated_element"
    return problem


def _scattered(track: Columns, name: str) -> tuple[IntArray, list[str]]:
    """Points and texts of one column, the first where a point has several, blanks left out."""
    points, texts = track.values.get(name, ([], []))
    index, first = np.unique(np.array(points, dtype=np.int64), return_index=True)
    if len(index) < len(points):
        texts = [texts[i] for i in first]
    return index, texts


def _times(track: Columns) -> tuple[ClockTimes, list[str]]:
    time = np.full(len(track.lat), NAT, dtype="datetime64[ms]")
    points, texts = _scattered(track, "time")
    read = parse_times([text.strip() for text in texts])
    time[points] = read.time
    notes = []
    if read.without_zone:
        notes.append(f"{read.without_zone} of {len(time)} times name no zone and were taken as UTC.")
    if read.unreadable:
        notes.append(f"{read.unreadable} of {len(time)} times cannot be read and are unknown.")
    if read.leap_seconds:
        notes.append(f"{read.leap_seconds} times name a leap second (23:59:60) and were read as 23:59:59.999.")
    return dataclasses.replace(read, time=time), notes


def _numbers(track: Columns, name: str) -> FloatArray:
    values = np.full(len(track.lat), np.nan)
    points, texts = _scattered(track, name)
    values[points] = parse_numbers(texts).value
    return values


def _elevations(track: Columns) -> tuple[FloatArray, list[str]]:
    ele = np.full(len(track.lat), np.nan)
    points, texts = _scattered(track, "ele")
    read = parse_numbers(texts)
    value = np.where((read.value < _LOWEST_ELE_M) | (read.value > _HIGHEST_ELE_M), np.nan, read.value)
    ele[points] = value
    notes = []
    if read.commas:
        notes.append(f"{read.commas} elevations are written with a decimal comma and were read as such.")
    if np.isnan(value).any():
        notes.append(f"{int(np.isnan(value).sum())} elevations give no height and are unknown, not zero.")
    return ele, notes


def _fixes(track: Columns) -> IntArray:
    fix = np.full(len(track.lat), FIX_UNSAID, dtype=np.int64)
    points, texts = _scattered(track, "fix")
    fix[points] = [_FIXES.get(text.strip().lower(), FIX_UNSAID) for text in texts]
    return fix


def _segments(segment: list[int]) -> IntArray:
    """Return the number of each point's segment, from 0, counting segments that hold points."""
    _, number = np.unique(np.array(segment, dtype=np.int64), return_inverse=True)
    return number.astype(np.int64)


def _extras(track: Columns) -> dict[str, FloatArray]:
    """Every further value that is a number in at least one point, by its local name."""
    extras = {name: _numbers(track, name) for name in track.values if name not in _TEXT_NAMES | _OWN_NAMES}
    return {name: values for name, values in extras.items() if np.isfinite(values).any()}

"""From a recording as written to a trace that can be measured: which points are fixes, and when the first one came.

Judges all formats alike. Nothing is dropped unsaid: every point is accepted, or set aside with a reason and a count.
"""

from __future__ import annotations

import dataclasses
from typing import TYPE_CHECKING, NamedTuple

import numpy as np

from gpsq.arrays import is_silence
from gpsq.exceptions import UnreadableFile
from gpsq.model import NAT, SetAside, Trace, Unreadable
from gpsq.plane import geodesic_legs_m, to_earth_centred
from gpsq.reading.beginning import evidence, grid_step_deg
from gpsq.reading.order import Order, in_order
from gpsq.reading.outliers import find_spikes, mark_far, no_fixes
from gpsq.reading.recording import FIX_3D, FIX_NONE, FIX_UNSAID

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from gpsq.model import BoolArray, IntArray, TimeArray
    from gpsq.reading.recording import Recording
    from gpsq.settings import Settings

#: A dilution this large is the receivers' code for "none" (99.99 and the like; common practice).
_NO_HDOP = 99.0
#: Within this of 0,0 nobody rides: the place lies in the Gulf of Guinea, and 0,0 means "no position".
_NULL_DEG = 1e-6
#: On a grid this coarse rounding hides errors of several metres.
_COARSE_DEG = 1e-4
#: So many different values do not lie on a coarse grid by chance.
_GRID_VALUES = 20
#: Years that a receiver's clock may show.
_YEARS = (1980, 2099)
#: So many identical positions are no chance.
_NEVER_MOVED = 10
#: Names that are longer hold something else, and would be repeated in every table and page.
_MOST_SIGNS = 300
#: A recording without one fix is a device that never fixed only where these are the reasons.
_NEVER_FIXED = frozenset({"no_position", "null_island", "no_fix"})


class Origin(NamedTuple):
    """Where a recording stands: file below the campaign's folder, track in it (from 1), hash of the document."""

    file: str
    track: int
    sha256: str


def make_trace(recording: Recording, origin: Origin, settings: Settings) -> Trace | Unreadable:
    """Judge every point of `recording`.

    Returns
    -------
    Trace
        The accepted fixes in order of travel; with none at all where the device recorded but never fixed.
    Unreadable
        When no point has a usable position and the file does not say that the device was waiting for one.
    """
    reason = _as_written(recording)
    candidates = np.flatnonzero(reason == "")
    order = in_order(
        recording.time[candidates],
        recording.lon_deg[candidates],
        recording.lat_deg[candidates],
        recording.segment[candidates],
    )
    point = candidates[order.index]
    found = no_fixes(order.time, recording.lon_deg[point], recording.lat_deg[point], settings)
    mark_far(found, order.time, recording.lon_deg[point], recording.lat_deg[point], settings)
    reason[point] = found
    accepted = found == ""
    if not accepted.any() and not _waited(recording, reason):
        return _unusable(recording, origin, reason)
    trace = _trace(recording, origin, point[accepted], order, order.time[accepted], reason, settings)
    return _with_findings(trace, recording, point, order.time, found, settings)


def _with_findings(
    trace: Trace,
    recording: Recording,
    point: IntArray,
    time: TimeArray,
    found: NDArray[np.object_],
    settings: Settings,
) -> Trace:
    """Say why a beginning was thrown away, and which fixes were off for a moment; `point` are those judged by place."""
    lon, lat = recording.lon_deg[point], recording.lat_deg[point]
    spikes = find_spikes(time, lon, lat, found, settings)
    return dataclasses.replace(
        trace,
        notes=(*trace.notes, *evidence(found, time, to_earth_centred(lon, lat))),
        spikes=tuple(s._replace(after_point=int(point[s.after_point])) for s in spikes),
    )


def _as_written(recording: Recording) -> NDArray[np.object_]:
    """Return the reasons that single points give by themselves."""
    reason = recording.problem.copy()
    lat, lon = recording.lat_deg, recording.lon_deg
    good = reason == ""
    reason[good & ((np.abs(lat) > 90) | (np.abs(lon) > 180))] = "out_of_range"
    reason[good & (np.abs(lat) < _NULL_DEG) & (np.abs(lon) < _NULL_DEG)] = "null_island"
    reason[_says_no_fix(recording) & np.isin(reason, ("", "no_position", "null_island"))] = "no_fix"
    return reason


def _says_no_fix(recording: Recording) -> BoolArray:
    """Believe the quality fields, unless a field says the same of every point and so says nothing."""
    unsaid = recording.fix == FIX_UNSAID
    no_sat, no_hdop = recording.sat == 0, recording.hdop >= _NO_HDOP
    if not (recording.sat > 0).any():
        no_sat = np.zeros_like(no_sat)
    if not (recording.hdop < _NO_HDOP).any():
        no_hdop = np.zeros_like(no_hdop)
    said: BoolArray = (recording.fix == FIX_NONE) | (unsaid & (no_sat | no_hdop))
    return said


def _waited(recording: Recording, reason: NDArray[np.object_]) -> bool:
    return set(reason) <= _NEVER_FIXED and not np.isnat(recording.time).all()


def _unusable(recording: Recording, origin: Origin, reason: NDArray[np.object_]) -> Unreadable:
    aside = _set_aside(reason)
    cut = set(reason) == {"truncated_element"}
    found = ", ".join(f"{s.points} {s.reason.replace('_', ' ')}" for s in aside)
    error = UnreadableFile(
        origin.file,
        f"a file that is not complete XML and breaks before its first point ends ({found})"
        if cut
        else f"no usable position ({found})",
        "at least one position",
        "cut_off" if cut else "no_usable_points",
    )
    return Unreadable(
        origin.file, origin.track, error.reason, str(error), origin.sha256, points=recording.points, set_aside=aside
    )


def _set_aside(reason: NDArray[np.object_]) -> tuple[SetAside, ...]:
    """Group by reason, in order of first appearance."""
    groups = [(int(np.argmax(reason == name)), name) for name in set(reason) if name]
    return tuple(SetAside(name, int((reason == name).sum()), first) for first, name in sorted(groups))


class _Wait(NamedTuple):
    """What the records before the first fix tell."""

    records: int
    began: np.datetime64
    clock_jumps: bool


def _before_fix(recording: Recording, reason: NDArray[np.object_], kept: IntArray, settings: Settings) -> _Wait:
    """Look at what was recorded before the first fix.

    Where the clock steps back, or on by more than ``start_bound_s``, the fix has set it: the times before say nothing.
    """
    first = int(kept[0]) if len(kept) else recording.points
    fixed = recording.time[first] if len(kept) else NAT
    aside = np.flatnonzero(reason != "")
    if (np.diff(kept) > 0).all():
        before = aside[aside < first]
    else:  # the file is not in order of travel: its times tell what came first, or standing before every fix does
        untimed = np.isnat(recording.time[aside]) & (aside < kept.min())
        before = aside[(recording.time[aside] < fixed) | untimed]
        before = before[np.argsort(recording.time[before], kind="stable")]
    times = recording.time[before]
    times = times[~np.isnat(times)]
    steps = np.diff(np.append(times, fixed)) / np.timedelta64(1, "s")
    jumps = recording.clock_jumps_at_fix or bool((steps < 0).any() or (steps > settings.start_bound_s).any())
    return _Wait(len(before), times[0] if len(times) else NAT, jumps and len(before) > 0)


def _trace(
    recording: Recording,
    origin: Origin,
    kept: IntArray,
    order: Order,
    time: TimeArray,
    reason: NDArray[np.object_],
    settings: Settings,
) -> Trace:
    wait = _before_fix(recording, reason, kept, settings)
    known = recording.time[~np.isnat(recording.time)]
    started = NAT if wait.clock_jumps else wait.began
    segment, joined = _segments(recording.segment[kept], time, settings.gap_s)
    hdop = recording.hdop[kept]
    return Trace(
        file=origin.file,
        track=origin.track,
        name=_cut(recording.name),
        device="",
        creator=_cut(recording.creator),
        sha256=origin.sha256,
        time=time,
        lon_deg=recording.lon_deg[kept],
        lat_deg=recording.lat_deg[kept],
        ele_m=recording.ele_m[kept],
        hdop=np.where(hdop >= _NO_HDOP, np.nan, hdop),
        sat=recording.sat[kept],
        speed_mps=recording.speed_mps[kept],
        segment=segment,
        point=kept.astype(np.int64),
        points=recording.points,
        set_aside=_set_aside(reason),
        first_record=known.min() if len(known) else NAT,
        last_record=known.max() if len(known) else NAT,
        records_before_fix=wait.records,
        clock_jumps_at_fix=wait.clock_jumps,
        fix_declared=bool((recording.fix != FIX_UNSAID).any()),
        file_time=recording.file_time,
        started=started,
        start_basis="none" if np.isnat(started) else "points before fix",
        extras={name: float(np.nanmean(v[kept])) for name, v in recording.extras.items() if np.isfinite(v[kept]).any()},
        notes=(
            *recording.notes,
            *_cut_note(recording),
            *order.notes,
            *joined,
            *(() if recording.clock_jumps_at_fix else _clock_note(wait)),
            *_grid_note(recording, kept),
            *_year_note(recording, known),
        ),
        remarks=recording.remarks,
        truncated=recording.truncated,
        date_known=recording.date_known,
        counts=recording.counts,
        first_3d_fix=next(iter(time[recording.fix[kept] == FIX_3D]), NAT),
    )


def _cut(name: str) -> str:
    """Return a name as it is, or the beginning of one that nobody can read."""
    return name if len(name) <= _MOST_SIGNS else name[: _MOST_SIGNS - 1] + "…"


def _cut_note(recording: Recording) -> tuple[str, ...]:
    found = {"name": recording.name, "creator": recording.creator}
    return tuple(
        f"Its {what} has {len(text):,} signs and was cut to {_MOST_SIGNS}."
        for what, text in found.items()
        if len(text) > _MOST_SIGNS
    )


def _segments(segment: IntArray, time: TimeArray, gap_s: float) -> tuple[IntArray, tuple[str, ...]]:
    """Return segment numbers from 0, joined where most segments hold a single point: a break at every point is none."""
    _, number, size = np.unique(segment, return_inverse=True, return_counts=True)
    if len(size) <= 3 or (size == 1).mean() <= 0.5:
        return number.astype(np.int64), ()
    silent = is_silence(time, gap_s)
    single = f"{int((size == 1).sum())} of {len(size)} segments hold a single point"
    note = f"{single}; segments without a silence between them were joined."
    return np.concatenate([[0], np.cumsum(silent)]).astype(np.int64), (note,)


def _clock_note(wait: _Wait) -> tuple[str, ...]:
    if not wait.clock_jumps:
        return ()
    return (
        "The clock was set by the first fix, so how long the device searched is unknown; "
        f"it wrote {wait.records} records before.",
    )


def _year_note(recording: Recording, known: TimeArray) -> tuple[str, ...]:
    """Tell of times that no receiver could have written: GPS time begins in 1980 (IS-GPS-200, 3.3.4)."""
    if not recording.date_known or not len(known):
        return ()
    years = known.astype("datetime64[Y]").astype(int) + 1970
    odd = (years < _YEARS[0]) | (years > _YEARS[1])
    if not odd.any():
        return ()
    first = int(years[odd][0])
    return (
        f"{int(odd.sum())} of {len(known)} times lie before 1980 or after 2099, the first in {first}: a clock that was not set?",
    )


def _grid_note(recording: Recording, kept: IntArray) -> tuple[str, ...]:
    """Tell of coordinates too coarse to measure with, or that never change."""
    lat, lon = recording.lat_deg[kept], recording.lon_deg[kept]
    if len(kept) >= _NEVER_MOVED and np.ptp(lat) == 0 and np.ptp(lon) == 0:
        return (
            f"All {len(kept)} positions are identical: a remembered position without a fix, or a receiver that holds "
            "its position while it stands; the file does not tell which.",
        )
    if len(np.unique(lat)) + len(np.unique(lon)) < _GRID_VALUES:
        return ()
    step = grid_step_deg(lon, lat)
    if step < _COARSE_DEG:
        return ()
    north, east = _grid_m(step, float(np.median(lat)))
    return (
        f"All coordinates lie on a grid of {step:g} degrees ({north:.1f} m north, {east:.1f} m east): errors below "
        f"{np.hypot(north, east) / 2:.1f} m cannot be told from rounding, and the length is too large.",
    )


def _grid_m(step_deg: float, lat_deg: float) -> tuple[float, float]:
    equatorward = lat_deg - np.copysign(step_deg, lat_deg)  # a step away from the pole, which may be less than one off
    north = geodesic_legs_m(np.array([0.0, 0.0]), np.array([lat_deg, equatorward]))
    east = geodesic_legs_m(np.array([0.0, step_deg]), np.array([lat_deg, lat_deg]))
    return float(north[0]), float(east[0])

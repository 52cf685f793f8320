"""Start, first fix, settling, and the distance travelled before the fix, each with its basis.

What cannot be known stays blank: a recording whose first record is a fix does not say how long the device searched.
"""

from __future__ import annotations

import dataclasses
from typing import TYPE_CHECKING

import numpy as np

from gpsq.arrays import norms
from gpsq.geometry import polyline
from gpsq.model import NAT, FirstFix, FloatArray, Trace
from gpsq.plane import geodesic_inverse_m

if TYPE_CHECKING:
    from collections.abc import Sequence

    from gpsq.geometry.alignment import Abreast
    from gpsq.settings import Settings

NAN = float("nan")
#: Ephemeris hold about four hours, the almanac about 180 days; a start within 100 km of the last fix can use them.
#: NAVSTAR GPS User Equipment Introduction (1996), 3.5.1, 3.5.3 and 3.5.5.
HOT_HOURS, ALMANAC_HOURS, NEAR_M = 4.0, 180 * 24.0, 100_000.0
#: Stations looked at on both sides of where the alignment puts a fix.
WINDOW_STATIONS = 8
#: A foot this near that place stands before any nearer one in the window.
FOOT_STATIONS = 2
#: Stations looked back further for fixes before the first that matches.
LOOK_BACK_STATIONS = 40
#: How far the line is carried on straight before its beginning, for fixes taken before it.
LEAD_M = 100.0
#: Who stood has set off when so far away, gaining speed as an easy rider does (common practice); slower than this is standing.
LEFT_M, GAIN_MPS2, MOVING_MPS = 25.0, 0.7, 0.5


def seconds_between(start: np.datetime64, end: np.datetime64) -> float:
    """Return seconds from one time to another, nan where either is unknown.

    >>> seconds_between(np.datetime64("2024-05-01T07:00:00"), np.datetime64("2024-05-01T07:00:42"))
    42.0
    """
    span = (end - start).astype("timedelta64[ms]")
    return NAN if np.isnat(span) else float(span.astype("int64")) / 1000.0


def first_fix(trace: Trace) -> FirstFix:
    """Return start and first fix of a trace, from its own records and the start log.

    A trace that never fixes is censored at its length: it searched at least that long. Where the device's clock was set
    by the fix, or the log's start lies after the fix, the time is unknown.
    """
    started = trace.started
    if trace.accepted == 0:
        return FirstFix(
            basis=trace.start_basis,
            started=started,
            at_least_s=_not_negative(seconds_between(started, trace.last_record)),
            censored=True,
        )
    fixed = trace.time[0]
    seconds = NAN if trace.clock_jumps_at_fix else _not_negative(seconds_between(started, fixed))
    return FirstFix(basis=trace.start_basis, started=started, first_fix=fixed, seconds=seconds)


def _not_negative(seconds: float) -> float:
    return seconds if seconds >= 0 else NAN


def start_states(traces: Sequence[Trace]) -> list[tuple[float, str]]:
    """Return for each trace the hours since its device's last fix, and hot, warm, cold or unknown.

    Hot while the ephemeris holds, warm beyond, cold when moved over 100 km or unused for months, unknown for a device's
    first recording. The start log's word stands above the campaign's evidence.
    """
    found: list[tuple[float, str]] = [(NAN, trace.start_state or "unknown") for trace in traces]
    for device in {trace.device for trace in traces}:
        mine = [i for i, t in enumerate(traces) if t.device == device and not np.isnat(_begins(t))]
        mine.sort(key=lambda i: _begins(traces[i]).astype("int64"))
        last: Trace | None = None
        for i in mine:
            hours = _hours_since(last, traces[i])
            found[i] = (hours, traces[i].start_state or _state(hours, last, traces[i]))
            last = traces[i] if traces[i].accepted else last
    return found


def _begins(trace: Trace) -> np.datetime64:
    for time in (trace.started, trace.first_record, *trace.time[:1]):
        if not np.isnat(time):
            return np.datetime64(time, "ms")
    return NAT


def _hours_since(last: Trace | None, trace: Trace) -> float:
    hours = NAN if last is None else seconds_between(last.time[-1], _begins(trace)) / 3600.0
    return hours if hours >= 0 else NAN


def _state(hours: float, last: Trace | None, trace: Trace) -> str:
    if last is None or np.isnan(hours):
        return "unknown"
    moved_m = 0.0
    if trace.accepted:
        ends = (last.lon_deg[-1:], last.lat_deg[-1:], trace.lon_deg[:1], trace.lat_deg[:1])
        moved_m = float(geodesic_inverse_m(*ends)[0])
    if moved_m > NEAR_M or hours > ALMANAC_HOURS:
        return "cold"
    return "hot" if hours <= HOT_HOURS else "warm"


def fix_offsets(xy_m: FloatArray, place: Abreast, line_m: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Return (n,) station and (n,) signed offset of every fix, looked for near where the order of travel puts it.

    Parameters
    ----------
    xy_m : (n, 2) fixes. place : where the trace runs abreast of the line, at least at one station.
    line_m : (m, 2) the line at equal steps. Stations before its beginning are negative.
    """
    known = np.flatnonzero(~np.isnan(place.vertex))
    last = len(line_m) - 1
    outward = line_m[0] - line_m[1]
    lead = line_m[0] + outward / max(float(np.hypot(*outward)), 1e-9) * LEAD_M
    longer = np.vstack([lead, line_m])
    expected = np.interp(np.arange(len(xy_m)), place.vertex[known], known.astype(float)).astype(int)
    low, high = expected - WINDOW_STATIONS, expected + WINDOW_STATIONS
    # before its first match a trace may lie some way back, or to the side
    early = np.arange(len(xy_m)) < place.vertex[known[0]]
    low[early] -= LOOK_BACK_STATIONS
    along, offset = polyline.nearest_on_line(xy_m, longer, np.clip(low, 0, last), np.clip(high, 0, last))
    # where the line turns back, its other leg lies as near: a foot close to the place expected is the right one
    low, high = np.clip(expected - FOOT_STATIONS, 0, last), np.clip(expected + FOOT_STATIONS, 0, last)
    foot, across = polyline.nearest_on_line(xy_m, longer, low, high)
    ends = polyline.along_m(longer)
    inside = ~early & (foot > ends[low]) & (foot < ends[high + 1])
    return np.where(inside, foot, along) - LEAD_M, np.where(inside, across, offset)


def settle_s(trace: Trace, offset_m: FloatArray, band_m: float, settings: Settings) -> float:
    """Return seconds from the first fix until the trace is within `band_m` of its line and stays there, else nan."""
    if not trace.timed:
        return NAN
    time_s = (trace.time - trace.time[0]).astype("timedelta64[ms]").astype("int64") / 1000.0
    outside = np.flatnonzero(np.abs(offset_m) > band_m)
    starts = np.concatenate([[0], outside + 1])
    ends = np.concatenate([outside, [len(time_s)]])
    for first, end in zip(starts, ends, strict=True):
        if end > first and time_s[min(end, len(time_s) - 1)] - time_s[first] >= settings.settle_hold_s:
            return float(time_s[first])
    return NAN


def on_line(fix: FirstFix, trace: Trace, xy_m: FloatArray, station_m: FloatArray, settled_s: float) -> FirstFix:
    """Return the first fix with its station, the middle one while the rider still stood, and how long he did.

    Parameters
    ----------
    xy_m, station_m : (n, 2) fixes in the plane of the route and (n,) their stations on its centreline.
    """
    stood_s = standing_s(trace, xy_m)
    still = _seconds(trace) <= stood_s if stood_s > 0 else np.arange(len(xy_m)) == 0
    return dataclasses.replace(fix, settle_s=settled_s, station_m=float(np.median(station_m[still])), stood_s=stood_s)


def standing_s(trace: Trace, xy_m: FloatArray) -> float:
    """Return the seconds that the rider still stood after the first fix, nan where times are unknown.

    Those until the trace is `LEFT_M` away, less what a rider at this trace's usual speed takes for that from a standstill.
    """
    if not trace.timed or trace.accepted < 2:
        return NAN
    time_s, away = _seconds(trace), np.flatnonzero(norms(xy_m - xy_m[0]) > LEFT_M)
    speed_mps = norms(np.diff(xy_m, axis=0)) / np.maximum(np.diff(time_s), 1e-3)
    moving = speed_mps[speed_mps > MOVING_MPS]
    if not len(away) or not len(moving):
        return NAN
    return max(0.0, float(time_s[away[0]]) - from_rest_s(LEFT_M, float(np.median(moving))))


def from_rest_s(distance_m: float, speed_mps: float) -> float:
    """Return the seconds that a rider takes for a distance who stands at its beginning and gains speed up to a usual one.

    Examples
    --------
    At 5 m/s, reached after 18 m, 25 m take as long as they do at that speed and 3.6 s more; 5 m are ridden gaining speed:

    >>> round(from_rest_s(25.0, 5.0) - 5.0, 1), round(from_rest_s(5.0, 5.0), 1)
    (3.6, 3.8)
    """
    if speed_mps**2 / (2 * GAIN_MPS2) > distance_m:
        return float(np.sqrt(2 * max(distance_m, 0.0) / GAIN_MPS2))
    return distance_m / speed_mps + speed_mps / (2 * GAIN_MPS2)


def _seconds(trace: Trace) -> FloatArray:
    return np.asarray((trace.time - trace.time[0]) / np.timedelta64(1, "s"), dtype=float)


def missed_all(fix: FirstFix, length_m: float) -> FirstFix:
    """Return the first fix of a trace that never fixed: the whole route was missed, and more is not known."""
    return dataclasses.replace(fix, missed_m=length_m, missed_share=1.0, missed_is_minimum=True)

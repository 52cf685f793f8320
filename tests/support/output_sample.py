"""A small invented campaign, put together by hand, for the tests of tables, layers, charts, map and report.

Two routes, three devices, five rides: late fixes, a recording that never fixed, an unknown start, a lower bound, a
deviation of each state, a gap, points set aside, an unreadable file, and names that are HTML, JavaScript and templates.
"""

from __future__ import annotations

import hashlib
from functools import cache
from typing import TYPE_CHECKING

import numpy as np

from gpsq.model import (
    NAT,
    Centreline,
    CrossTrack,
    CurveDistances,
    Deviation,
    FirstFix,
    Flag,
    Gap,
    Route,
    SetAside,
    Trace,
    Unreadable,
)
from gpsq.plane import Plane
from gpsq.results import Analysis, RouteResult, TraceResult
from gpsq.settings import Settings
from gpsq.summary_types import DeviceSummary, Interval, Summaries

if TYPE_CHECKING:
    from gpsq.output.drawing.rendering import Chart

HOSTILE = (
    "<script>window.PWNED=1</script>",
    '"><img src=x onerror="window.PWNED=2">',
    "${window.PWNED=3}",
    "`+(window.PWNED=4)+`",
    "</script><script>window.PWNED=5</script>",
    "C:\\20240131\\new",
    'Quay Master\'s "Lane" & Co',
    "A{{7*7}}B",
    "{% for x in y %}$\\alpha$_^{#",
    "=1+1",
    "<!--<script>",
    "\u2028 line \u202e dlrow 東 \U0001f6b2",
)
DEVICES = ("Amber", "Basalt $x_1$ <b>", "Cobalt {{7*7}}")
STARTS_S = (4.0, 17.0, 58.0)
NOISE_M = (2.0, 3.5, 6.0)
ROUTES = ("out", "back")
LENGTH_M = 1500.0
STEP_M = 5.0
NAN = float("nan")


def road(length_m: float = LENGTH_M, step_m: float = STEP_M) -> tuple[np.ndarray, np.ndarray]:
    """Return stations (m,) and (m, 2) places of an invented road with bends."""
    along = np.arange(0.0, length_m + step_m / 2, step_m)
    heading = 0.9 * np.sin(along / 260.0) + 0.4 * np.sin(along / 90.0)
    legs = np.column_stack([np.cos(heading), np.sin(heading)]) * step_m
    return along, np.vstack([[0.0, 0.0], np.cumsum(legs[:-1], axis=0)]) - [600.0, 100.0]


@cache
def charts() -> tuple[Chart, ...]:
    """The sample's charts in all shapes and formats, drawn once: drawing them takes longer than all that shows them."""
    from gpsq.output.charts import all_charts

    return all_charts.figures(sample())


def normals(xy_m: np.ndarray) -> np.ndarray:
    """Return unit vectors to the left of travel."""
    tangent = np.gradient(xy_m, axis=0)
    tangent /= np.hypot(*tangent.T)[:, None]
    return np.column_stack([-tangent[:, 1], tangent[:, 0]])


@cache
def sample(
    *,
    lon_deg: float = 12.0,
    lat_deg: float = 47.0,
    names: tuple[str, ...] = HOSTILE,
    rides: tuple[int, int] = (3, 2),
    length_m: float = LENGTH_M,
    step_m: float = STEP_M,
    devices: tuple[str, ...] = DEVICES,
) -> Analysis:
    """Return the campaign: `rides` out and back by every device, round a place; all figures follow from the seed."""
    rng = np.random.default_rng(7)
    plane = Plane(lon_deg, lat_deg)
    traces: list[Trace] = []
    results: list[TraceResult] = []
    deviations: list[Deviation] = []
    found: list[RouteResult] = []
    along, there = road(length_m, step_m)
    for route, count, line in zip(ROUTES, rides, (there, there[::-1]), strict=True):
        members, places = [], []
        for ride in range(count):
            for d, device in enumerate(devices):
                number = len(traces)
                trace, result, xy = _recording(
                    rng, plane, route, ride, d, device, number, names[number % len(names)], along, line, count
                )
                deviations += result.deviations
                traces.append(trace)
                results.append(result)
                members.append(number)
                places.append(xy)
        spread = 2.0 + 4.0 * np.exp(-(((along - 900.0) / 120.0) ** 2))
        centreline = Centreline(
            line, along, np.full(len(along), len(members)), np.full(len(along), count), spread, spread / np.sqrt(count)
        )
        names_of_rides = tuple(f"{route} {ride + 1}" for ride in range(count))
        found.append(RouteResult(Route(route, plane, tuple(members), tuple(places)), centreline, names_of_rides))
    flags = tuple(
        Flag(traces[d.trace].sha256, 1, d.from_time, d.to_time, d.from_point, d.to_point, d.flag, d.note)
        for d in deviations
        if d.flag
    )
    unreadable = (
        Unreadable("Amber/broken <i>.gpx", 1, "html_page", "found a web page; expected a GPX document", "ab" * 32),
    )
    summed = Summaries(devices=_summaries(devices, results, traces))
    inputs = {t.file: t.sha256 for t in traces} | {"rides.csv": "cd" * 32}
    return Analysis(
        "sample", "Weir <Lane> {{7*7}}", Settings(), tuple(traces), unreadable, tuple(found), tuple(results),
        tuple(deviations), flags, inputs, ("A plain note about <this> campaign.",), summed,
    )  # fmt: skip


def _recording(rng, plane, route, ride, d, device, number, name, along, line, count):  # type: ignore[no-untyped-def]
    censored = route == "back" and ride == 1 and d == 2
    seconds = STARTS_S[d % 3] * float(rng.uniform(0.8, 1.3))
    began = np.datetime64(f"2026-05-04T{7 if route == 'out' else 17:02d}:10:00", "ms") + np.timedelta64(ride, "D")
    speed_mps = 5.0
    late = round(seconds * speed_mps / (along[1] - along[0]))
    noise_m = np.convolve(rng.normal(0, NOISE_M[d % 3] * 3, len(along) + 8), np.ones(9) / 9, "valid")
    kind = ("", "intentional", "error")[number % 3] if ride == count - 1 and route == "out" else None
    if kind is not None:
        noise_m += 70.0 * np.exp(-(((along - along[-1] * (0.4 + 0.1 * d)) / 60.0) ** 2))
    xy = (line + normals(line) * noise_m[:, None])[late:]
    time = began + (1000 * along[late:] / speed_mps).astype("m8[ms]")
    lon, lat = plane.to_degrees(xy)
    kept = 0 if censored else len(xy)
    unknown_start = ride == 0 and d == 1
    aside = (SetAside("no_position", 40 if censored else late, 0),) if censored or late else ()
    sha = hashlib.sha256(f"{route} {ride} {device}".encode()).hexdigest()
    full = np.full(kept, NAN)
    trace = Trace(
        f"{device}/{route}-{ride + 1}.gpx", 1, name, device, "invented", sha, time[:kept], lon[:kept], lat[:kept],
        full, full, full, full, np.zeros(kept, np.int64), np.arange(kept, dtype=np.int64) + late,
        kept + sum(a.points for a in aside), aside, began, began if censored else time[-1],
        started=NAT if unknown_start else began, start_basis="none" if unknown_start else "points before fix",
    )  # fmt: skip
    fix = _first_fix(trace, seconds, late * float(along[1] - along[0]), censored, unknown_start, d)
    if censored:
        result = TraceResult(
            number, f"{route} {ride + 1}", "", "not scored", "no fix in the whole recording", fix, NAN, NAN
        )
        return trace, result, xy[:0]
    gaps = (Gap(50, 75.0, 375.0),) if number == 4 else ()
    result = TraceResult(
        number, f"{route} {ride + 1}", route, "scored" if route == "out" else "not scored",
        "" if route == "out" else "under three rides on this route", fix, float(along[-1] - along[late]), 1.0, gaps,
        _errors(along, noise_m, late) if route == "out" else None,
        _distances(noise_m[late:]) if route == "out" else None,
        () if kind is None else (_deviation(trace, number, route, along, noise_m, late, kind),),
    )  # fmt: skip
    return trace, result, xy


def _first_fix(trace, seconds, missed_m, censored, unknown_start, d):  # type: ignore[no-untyped-def]
    if censored:
        return FirstFix("points before fix", trace.started, NAT, NAN, 40.0, True)
    if unknown_start:
        return FirstFix("none", NAT, trace.time[0])
    return FirstFix(
        "points before fix", trace.started, trace.time[0], seconds, NAN, False, seconds + 12.0, missed_m,
        missed_m / LENGTH_M, d == 2,
    )  # fmt: skip


def _errors(along, noise_m, late):  # type: ignore[no-untyped-def]
    offset = noise_m.copy()
    offset[:late] = NAN
    scored = np.isfinite(offset)
    size = np.abs(offset[scored])
    return CrossTrack(
        along, offset, scored, float(np.median(offset[scored])), float(np.sqrt(np.mean(size**2))),
        float(np.median(size)),
        float(np.quantile(size, 0.95)), float(np.mean(size <= 5)), float(np.mean(size <= 10)), float(scored.sum() * 5),
    )  # fmt: skip


def _distances(noise_m):  # type: ignore[no-untyped-def]
    largest = float(np.abs(noise_m).max())
    return CurveDistances(largest, largest, largest * 0.9, 700.0, largest * 1.01, largest * 1.02, 0.98, 1.004)


def _deviation(trace, number, route, along, noise_m, late, flag):  # type: ignore[no-untyped-def]
    off = np.flatnonzero(np.abs(noise_m[late:]) > 30.0)
    first, last = int(off[0]), int(off[-1])
    suggestion = {"": "cannot be told", "intentional": "route choice", "error": "receiver error"}[flag]
    return Deviation(
        f"d{number:02d}{trace.sha256[:4]}", number, route, float(along[late + first]), float(along[late + last]),
        trace.time[first], trace.time[last], int(trace.point[first]), int(trace.point[last]),
        float(np.abs(noise_m).max()), "left", 34.0, suggestion, "2 of 3 devices agree; speed 5.0 m/s", flag,
        "road works <b>" if flag else "", f"E{number:02d}{trace.sha256[:3]}",
    )  # fmt: skip


def _summaries(devices, results, traces):  # type: ignore[no-untyped-def]
    summaries = []
    for route in ("out", ""):
        for device in devices:
            mine = [r for r, t in zip(results, traces, strict=True) if t.device == device and route in ("", r.route)]
            seconds = [r.first_fix.seconds for r in mine if np.isfinite(r.first_fix.seconds)]
            missed = [r.first_fix.missed_m for r in mine if np.isfinite(r.first_fix.missed_m)]
            rms = [r.crosstrack.rms_m for r in mine if r.crosstrack]
            figures = {
                "ttff_median_s": Interval(float(np.median(seconds)), min(seconds), max(seconds), "range"),
                "fixed_in_10s": Interval(float(np.mean(np.array(seconds) <= 10)), 0.2, 0.9),
                "fixed_in_30s": Interval(float(np.mean(np.array(seconds) <= 30)), 0.2, 0.9),
                "fixed_in_60s": Interval(float(np.mean(np.array(seconds) <= 60)), 0.2, 0.9),
                "missed_median_m": Interval(float(np.median(missed)), min(missed), max(missed)),
                "xte_rms_m": Interval(float(np.median(rms)), min(rms), max(rms)),
                "xte_p95_m": Interval(2 * float(np.median(rms))),
                "bias_m": Interval(-0.1),
                "repeatability_m": Interval(float(np.median(rms)) * 0.9, NAN, NAN, "too few rides"),
                "hausdorff_median_m": Interval(20.0),
                "frechet_median_m": Interval(21.0),
            }
            summaries.append(DeviceSummary(device, route, len(mine), figures))
    return tuple(summaries)

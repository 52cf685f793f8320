"""One analysis written by hand in which every figure is another number: what comes out is compared with what stands here.

Two devices, two ways, three rides and a recording that never fixed. Nothing fits anything else: a bound is no bound of its
figure, a rate no quotient. So a figure that is taken from the wrong place is another number wherever it is shown. A column
that is new needs a number of its own here and its cell in the tests; they name it until it has both.
"""

from __future__ import annotations

import numpy as np
from by_hand_figures import SUMMARIES

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
from gpsq.summary_types import Summaries

NAN = float("nan")
PLANE = Plane(12.0, 47.0)
#: Longitudes and latitudes of the fixes of each recording, and of the two lines, at 100 m or so.
PLACES = {
    "amber mon": [(12.0011, 47.0001), (12.0024, 47.0003), (12.0037, 47.0002), (12.0051, 47.0005),
                  (12.0064, 47.0004), (12.0078, 47.0006)],
    "basalt mon": [(12.0023, 46.9999), (12.0036, 46.9996), (12.0052, 46.9998), (12.0065, 46.9995), (12.0077, 46.9997)],
    "basalt wed": [(12.0079, 47.0008), (12.0053, 47.0009), (12.0026, 47.0007)],
    "out": [(12.0, 47.0), (12.0013, 47.0002), (12.0026, 47.0001), (12.0039, 47.0003),
            (12.0053, 47.0004), (12.0066, 47.0002), (12.0079, 47.0005)],
    "home": [(12.0080, 47.0007), (12.0054, 47.0006), (12.0027, 47.0008)],
}  # fmt: skip
TIMES = {
    "amber mon": ["07:00:30", "07:00:35", "07:00:41", "07:00:46", "07:00:52", "07:00:59"],
    "basalt mon": ["07:01:11.250", "07:01:22", "07:02:37", "07:02:48", "07:02:59"],
    "basalt wed": ["17:20:00", "17:20:31", "17:21:03"],
}
DAYS = {"amber mon": "2026-05-04", "basalt mon": "2026-05-04", "basalt wed": "2026-05-06"}


def lon_lat(name: str) -> np.ndarray:
    """Return (n, 2) degrees of a recording or a line."""
    return np.array(PLACES[name])


def at(text: str) -> np.datetime64:
    return np.datetime64(text, "ms")


def _trace(name: str, file: str, device: str, track: int, first_point: int, sha: str, **more) -> Trace:  # type: ignore[no-untyped-def]
    lon, lat = lon_lat(name).T if name else (np.empty(0), np.empty(0))
    time = np.array([f"{DAYS[name]}T{t}" for t in TIMES[name]] if name else [], "datetime64[ms]")
    nothing = np.full(len(lon), NAN)
    return Trace(
        file=file, track=track, name=more.pop("called", ""), device=device, creator="invented", sha256=sha, time=time,
        lon_deg=lon, lat_deg=lat, ele_m=nothing, hdop=nothing, sat=nothing, speed_mps=nothing,
        segment=np.zeros(len(lon), np.int64), point=np.arange(len(lon)) + first_point, **more,
    )  # fmt: skip


def _traces() -> tuple[Trace, ...]:
    return (
        _trace(
            "amber mon", "amber/mon.gpx", "Amber", 1, 4, "a1" * 32, called="Monday morning", points=10,
            set_aside=(SetAside("no_fix", 4, 0),), started=at("2026-05-04T07:00:07"), start_basis="log",
            start_lon_deg=12.0013, start_lat_deg=47.0002, first_record=at("2026-05-04T07:00:09"),
            last_record=at("2026-05-04T07:00:59"), log_note="worn on the left",
        ),
        _trace(
            "basalt mon", "basalt/mon.gpx", "Basalt", 2, 0, "b2" * 32, points=8,
            set_aside=(SetAside("outlier_jump", 2, 5), SetAside("null_island", 1, 7)),
            started=at("2026-05-04T07:00:12.500"), start_basis="points before fix",
            first_record=at("2026-05-04T07:00:12.500"), last_record=at("2026-05-04T07:02:59"),
        ),
        _trace(
            "", "amber/tue.gpx", "Amber", 1, 0, "c3" * 32, points=17, set_aside=(SetAside("no_position", 17, 0),),
            started=at("2026-05-05T07:03:00"), start_basis="log", first_record=at("2026-05-05T07:03:00"),
            last_record=at("2026-05-05T07:13:13.500"),
        ),
        _trace("basalt wed", "basalt/wed.gpx", "Basalt", 1, 0, "d4" * 32, points=3),
    )  # fmt: skip


STATIONS_M = np.array([0.0, 101.0, 203.0, 306.0, 410.0, 515.0, 621.0])


def _crosstrack(offset_m: list[float], *figures: float, **more: float) -> CrossTrack:
    offset = np.array(offset_m)
    return CrossTrack(STATIONS_M.copy(), offset, np.isfinite(offset), *figures, **more)


FOUND = (
    Deviation("d0a", 0, "out", 203.0, 515.0, at("2026-05-04T07:00:35"), at("2026-05-04T07:00:52"), 5, 8, 41.37, "left", 17.61,
              "route choice", "1 of 1 other devices on the ride leave the line with it", "", "", "E77"),
    Deviation("d1b", 1, "out", 306.0, 410.0, at("2026-05-04T07:01:22"), at("2026-05-04T07:02:37"), 1, 2, 38.29, "left", -2.43,
              "route choice", "1 of 1 other devices on the ride leave the line with it", "", "", "E77"),
    Deviation("d1c", 1, "out", 410.0, 621.0, at("2026-05-04T07:02:37"), at("2026-05-04T07:02:59"), 2, 4, 52.83, "right", 7.77,
              "receiver error", "it jumps, 44 m/s where its fast riding is 6 m/s", "error", "under the bridge", "E88"),
)  # fmt: skip


def _results() -> tuple[TraceResult, ...]:
    return (
        TraceResult(
            0, "R01", "out", "scored", "",
            FirstFix("log", at("2026-05-04T07:00:07"), at("2026-05-04T07:00:30"), 23.125, NAN, False, 14.375, 61.27, 0.0987,
                     False, 9.375, "warm", 51.29, 83.31, "way back", 162.27),
            512.34, 5.125,
            crosstrack=_crosstrack([NAN, NAN, -1.5, 2.5, 6.25, -3.5, 4.5], -1.21, 3.31, 2.41, 7.61, 0.8125, 0.9375, 411.19,
                                   before_settling_rms_m=11.71, p68_m=4.51),
            curves=CurveDistances(12.81, 12.83, 12.85, 305.0, 13.91, 15.07, 0.7654, 1.01234),
            deviations=FOUND[:1], spikes=2, largest_spike_m=33.39,
        ),
        TraceResult(
            1, "R01", "out", "scored", "",
            FirstFix("points before fix", at("2026-05-04T07:00:12.500"), at("2026-05-04T07:01:11.250"), 58.75, NAN, False,
                     22.625, 179.43, 0.2891, True, 47.125, "cold", place_basis="log"),
            408.76, 11.375, (Gap(1, 75.0, 121.0),),
            _crosstrack([NAN, NAN, 8.25, 9.75, -7.25, 11.25, 12.75], 6.29, 9.43, 8.17, 17.77, 0.1875, 0.4375, 302.23,
                        before_settling_rms_m=21.91, p68_m=10.61),
            CurveDistances(19.03, 19.05, 19.07, 405.0, 20.09, 21.13, 0.6321, 0.98765), FOUND[1:], spikes=1,
            largest_spike_m=71.53, ended_early_m=219.17,
        ),
        TraceResult(
            2, "R02", "", "not scored", "it never found a position",
            FirstFix("log", at("2026-05-05T07:03:00"), NAT, NAN, 613.75, True, hours_since_fix=24.125, start_state="warm"),
            NAN, NAN, spikes=None,
        ),
        TraceResult(
            3, "R03", "home", "not scored", "only 1 ride on this route: cross-track error needs 3",
            FirstFix("none", NAT, at("2026-05-06T17:20:00"), settle_s=3.25, missed_m=12.19, missed_share=0.0543,
                     hours_since_fix=58.375, start_state="warm", estimate_s=17.3, estimate_low_s=11.7,
                     estimate_high_s=26.9, estimate_basis="road"),
            398.11, 31.5, spikes=0,
        ),
    )  # fmt: skip


def _route(
    name: str, members: dict[int, str], length_m: float, rides: tuple[str, ...], reason: str = ""
) -> RouteResult:
    line = PLANE.to_metres(*lon_lat(name).T)
    count = len(line)
    along = STATIONS_M if name == "out" else np.array([0.0, 205.0, length_m])
    number = np.arange(count)
    centreline = Centreline(
        line, along.copy(), 3 + number, 21 + number, 2.114 + number * 1.17, 0.63 + number * 0.31
    )  # fmt: skip
    places = tuple(PLANE.to_metres(*lon_lat(own).T) for own in members.values())
    return RouteResult(Route(name, PLANE, tuple(members), places), centreline, rides, reason)


def by_hand(**more) -> Analysis:  # type: ignore[no-untyped-def]
    """Return the analysis; `more` are fields of it in place of these."""
    traces = _traces()
    fields = {
        "folder": "week", "title": "Quay and weir", "settings": Settings(), "traces": traces,
        "unreadable": (
            Unreadable("amber/thu.gpx", 3, "html_page", "amber/thu.gpx: found a web page", "e5" * 32, "Amber", 2,
                       (SetAside("unparseable_coordinate", 2, 0),)),
        ),
        "routes": (
            _route("out", {0: "amber mon", 1: "basalt mon"}, 621.0, ("R01", "R04", "R05")),
            _route("home", {3: "basalt wed"}, 407.5, ("R03",), "only 1 ride on this route: cross-track error needs 3"),
        ),
        "results": _results(), "deviations": FOUND,
        "flags": (Flag("b2" * 32, 2, FOUND[2].from_time, FOUND[2].to_time, 2, 4, "error", "under the bridge"),),
        "inputs": {t.file: t.sha256 for t in traces}, "notes": ("Two clocks were set by hand.",),
        "summaries": SUMMARIES,
    } | more  # fmt: skip
    return Analysis(**fields)


def one_recording(**more) -> Analysis:  # type: ignore[no-untyped-def]
    """Return what there is of Amber's first recording alone: one ride, one way, one deviation, nothing unreadable."""
    whole = by_hand()
    amber = tuple(s for s in whole.summaries.devices if s.device == "Amber" and not s.route)
    alone = {
        "traces": whole.traces[:1], "results": whole.results[:1], "deviations": whole.deviations[:1], "unreadable": (),
        "routes": whole.routes[:1], "notes": (), "inputs": {whole.traces[0].file: whole.traces[0].sha256},
        "summaries": Summaries(devices=amber),
    }  # fmt: skip
    return by_hand(**alone | more)

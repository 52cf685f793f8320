"""One analysis written by hand in which every figure is another number: what comes out is compared with what stands here.

Two devices, two ways, three rides and a recording that never fixed. Nothing fits anything else: a bound is no bound of its
figure, a rate no quotient. So a figure that is taken from the wrong place is another number wherever it is shown. A column
that is new needs a number of its own here and its cell in the tests; they name it until it has both.
"""

from __future__ import annotations

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
from gpsq.summary_types import (
    AgainstReference,
    DeviceSummary,
    Interval,
    PairedComparison,
    ReferenceFigures,
    Summaries,
)

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
                     False, 9.375, "warm", 51.29, 83.31, "way back"),
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
            FirstFix("log", at("2026-05-05T07:03:00"), NAT, NAN, 613.5, True, hours_since_fix=24.125, start_state="warm"),
            NAN, NAN, spikes=None,
        ),
        TraceResult(
            3, "R03", "home", "not scored", "only 1 ride on this route: cross-track error needs 3",
            FirstFix("none", NAT, at("2026-05-06T17:20:00"), settle_s=3.25, missed_m=12.19, missed_share=0.0543,
                     hours_since_fix=58.375, start_state="warm"),
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
        line, along.copy(), 3 + number, 21 + number, 2.11 + number * 1.17, 0.63 + number * 0.31
    )  # fmt: skip
    places = tuple(PLANE.to_metres(*lon_lat(own).T) for own in members.values())
    return RouteResult(Route(name, PLANE, tuple(members), places), centreline, rides, reason)


def every(**figures: tuple[float, ...] | float) -> dict[str, Interval]:
    """Return figures by name: a value, or a value, its low and its high bound and how many there were."""
    return {
        name: Interval(f[0], f[1], f[2], "by hand", int(f[3]) if len(f) > 3 else 0)
        for name, f in ((n, f if isinstance(f, tuple) else (f, NAN, NAN)) for n, f in figures.items())
    }


AMBER = every(
    ttff_known=(11, NAN, NAN, 13), ttff_never=(2, NAN, NAN, 11), fixed_in_10s=(0.125, 0.0321, 0.2876, 8),
    fixed_in_30s=(0.375, 0.1432, 0.6543, 8), fixed_in_60s=(0.625, 0.3211, 0.8765, 8), ttff_median_s=(34.25, 17.75, 71.5),
    ttff_ways_p=0.0432, settle_median_s=12.5, usable_median_s=47.25, missed_median_m=(81.25, 33.75, 122.5),
    missed_share_median=0.1357, missed_worst_m=913.5, missed_is_minimum=1.0, scored_rides=9, scored_km=23.457,
    xte_median_m=(2.25, 1.75, 3.25), xte_p68_m=(4.15, 3.65, 5.35), xte_p95_m=(8.45, 7.55, 9.85), xte_rms_m=6.55,
    repeatability_m=(3.85, 2.95, 4.75), receiver_errors=5, receiver_errors_per_100km=(21.5, 7.25, 48.75),
    receiver_error_recordings=(0.2222, 0.1111, 0.3333, 9), route_choices=3, undecided=4, spikes=6, bias_m=-1.15,
    offset_body_m=0.75, offset_ground_m=-1.35, hausdorff_median_m=27.5, frechet_median_m=29.5, length_ratio_median=1.00321,
    interval_median_s=5.25,
)  # fmt: skip
AMBER_OUT = every(
    ttff_known=(7, NAN, NAN, 9), fixed_in_10s=(0.25, 0.0711, 0.5911, 4), ttff_median_s=(36.75, 19.25, 81.25),
    missed_median_m=(91.75, 43.25, 133.5), xte_median_m=(2.75, 1.95, 3.75), xte_p95_m=(9.15, 8.05, 10.65),
    repeatability_m=(4.05, 3.05, 5.05), bias_m=(-1.65, -2.45, -0.85),
)  # fmt: skip
BASALT = every(
    ttff_known=(10, NAN, NAN, 12), ttff_never=(0, NAN, NAN, 10), fixed_in_10s=(0.4, 0.1681, 0.6873, 10),
    fixed_in_30s=(0.7, 0.3968, 0.8922, 10), fixed_in_60s=(0.9, 0.5958, 0.9821, 10), ttff_median_s=(13.5, 6.25, 28.75),
    ttff_ways_p=0.5432, settle_median_s=7.75, usable_median_s=19.75, missed_median_m=(54.5, 21.25, 77.5),
    missed_share_median=0.0864, missed_worst_m=412.5, missed_is_minimum=0.0, scored_rides=8, scored_km=19.753,
    xte_median_m=(5.85, 4.35, 7.15), xte_p68_m=(8.95, 6.85, 11.45), xte_p95_m=(16.35, 14.15, 18.55), xte_rms_m=12.25,
    repeatability_m=(7.65, 5.75, 9.95), receiver_errors=1, receiver_errors_per_100km=(5.05, 0.15, 28.15),
    receiver_error_recordings=(0.125, 0.0221, 0.4709, 8), route_choices=2, undecided=0, spikes=0,
    offset_body_m=2.35, offset_ground_m=-0.65, hausdorff_median_m=43.5, frechet_median_m=46.5, length_ratio_median=0.99123,
    interval_median_s=11.25,
)  # fmt: skip

COMPARED = (
    PairedComparison("ttff_s", "Amber", "Basalt", 9, Interval(20.75, 6.125, 44.875), False, 0.0039, 0.0117, "exact sign test",
                     17.375, "rides left out: 2 with different start states", True,
                     "Amber fixes later than Basalt: in the median 20.8 s"),
    PairedComparison("xte_p68_m", "Amber", "Basalt", 8, Interval(0.4567, 0.3456, 0.6789), True, 0.0078, 0.0156,
                     "sign flips on the logarithm", 1.2345, "", True, "Amber errs less than Basalt: ratio 0.46"),
    PairedComparison("repeatability_m", "Amber", "Basalt", 7, Interval(0.8901, 0.5678, 1.4567), True, 0.4567, 0.6851,
                     "Student's paired test on the logarithm", 1.6789, "", False,
                     "Amber and Basalt cannot be told apart in repeatability: ratio 0.89"),
)  # fmt: skip
REFERENCE = (
    ReferenceFigures("out", "", "survey.gpx", 6, 587.5,
                     AgainstReference(6, Interval(-3.15, -4.25, -2.05), 3.45, NAN, 3.75, 6.15, 7.35, 9.18, False, "few places")),
    ReferenceFigures("out", "Amber", "survey.gpx", 5, 577.5,
                     AgainstReference(5, Interval(-2.65, -3.55, -1.75), 2.85, 1.35, 3.25, 5.65, 6.37, 7.95, True, "holds: near")),
)  # fmt: skip


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
        "summaries": Summaries(
            devices=(
                DeviceSummary("Amber", "", 12, AMBER), DeviceSummary("Amber", "out", 10, AMBER_OUT),
                DeviceSummary("Basalt", "", 11, BASALT),
            ),
            comparisons=COMPARED, reference=REFERENCE,
        ),
    } | more  # fmt: skip
    return Analysis(**fields)

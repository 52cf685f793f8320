"""A folder of repeated rides to everything that can be said of it: the stages in order, over an executor."""

from __future__ import annotations

import dataclasses
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

from gpsq import clocks, firstfix, flags, routes, trueness
from gpsq.exceptions import NothingToAnalyse
from gpsq.model import Analysis, Gap, Route, RouteResult, Trace, TraceResult
from gpsq.plane import geodesic_legs_m
from gpsq.route_analysis import Measured, Member, analyse_route

if TYPE_CHECKING:
    from collections.abc import Callable, Mapping, Sequence
    from concurrent.futures import Executor

    from gpsq.model import Flag, IntArray
    from gpsq.settings import Settings

NAN = float("nan")
#: Two recordings of one ride whose places at the same times are this near are one recording, exported twice.
SAME_RECORDING_M = 0.5


def analyse(
    folder: Path,
    *,
    executor: Executor | None = None,
    on_progress: Callable[[str, int, int], None] | None = None,
) -> Analysis:
    """Analyse the campaign in a folder.

    Parameters
    ----------
    folder : Path
        Recordings at any depth, with ``rides.csv``, ``campaign.toml`` and ``flags.csv`` where there are any.
    executor : Executor, optional
        Files are read and routes analysed side by side; the results are the same.
    on_progress : callable, optional
        Told (what is being done, how many are done, how many there are).

    Returns
    -------
    Analysis

    Raises
    ------
    NothingToAnalyse
        When no recording in the folder can be read.
    CampaignError
        When ``campaign.toml`` cannot be followed.
    """
    from gpsq.reading import read_folder

    tell = on_progress or (lambda what, done, of: None)
    readings = read_folder(folder, executor=executor, on_progress=lambda done, of: tell("reading", done, of))
    if not readings.traces:
        raise NothingToAnalyse(str(folder), _nothing(len(readings.unreadable)), "recordings of rides")
    decisions, flag_problems = flags.load(Path(folder))
    settings = readings.campaign.settings
    offsets = clocks.estimate_offsets(readings.traces)
    notes = (*readings.problems, *readings.notes, *flag_problems, *(o.sentence() for o in offsets))
    found = _measure(readings.traces, decisions, settings, _ahead_s(offsets), executor, tell)
    analysis = Analysis(
        folder=str(folder),
        title=readings.campaign.title,
        settings=settings,
        traces=readings.traces,
        unreadable=readings.unreadable,
        routes=found[0],
        results=found[1],
        deviations=tuple(d for result in found[1] for d in result.deviations),
        flags=decisions,
        inputs=dict(readings.inputs),
        notes=notes,
    )
    figures, unused = trueness.measure(analysis, readings.campaign.reference, Path(folder))
    extra = summaries(analysis) | ({"reference": figures} if figures else {})
    return dataclasses.replace(analysis, extra=extra, notes=(*notes, *unused))


def _nothing(unreadable: int) -> str:
    return f"{unreadable} files, none of which can be read" if unreadable else "no recording"


def _ahead_s(offsets: Sequence[clocks.ClockOffset]) -> dict[str, float]:
    """Return how far each device's clock is ahead of the common one, by following the pairs."""
    ahead: dict[str, float] = {}
    for offset in offsets:
        ahead[offset.device] = offset.offset_s + ahead.get(offset.reference_device, 0.0)
    return ahead


def _measure(
    traces: Sequence[Trace],
    decisions: Sequence[Flag],
    settings: Settings,
    ahead_s: Mapping[str, float],
    executor: Executor | None,
    tell: Callable[[str, int, int], None],
) -> tuple[tuple[RouteResult, ...], tuple[TraceResult, ...]]:
    found = routes.group_routes(traces, settings)
    numbers = routes.group_rides(traces, settings, ahead_s)
    names = _ride_names(traces, numbers)
    twins = _duplicates(traces, numbers)
    jobs = [
        (route, [Member(i, traces[i], names[i], twins.get(i, "")) for i in route.members], decisions, settings)
        for route in found
    ]
    done = []
    tell("analysing routes", 0, len(jobs))
    for answer in executor.map(analyse_route, *zip(*jobs, strict=True)) if executor and jobs else (
        analyse_route(*job) for job in jobs
    ):
        done.append(answer)
        tell("analysing routes", len(done), len(jobs))
    measured = {m.number: m for _, group in done for m in group}
    route_of = {i: route for route in found for i in route.members}
    results = _results(traces, names, twins, measured, route_of, settings)
    return tuple(result for result, _ in done), _with_ride_mates(results, [result for result, _ in done])


def _ride_names(traces: Sequence[Trace], numbers: Sequence[int]) -> list[str]:
    """Return the ride each trace belongs to: as named in the start log, else R01, R02, … in order of time."""
    width = max(2, len(str(max(numbers, default=0) + 1)))
    labels = {number: t.ride_label for number, t in zip(numbers, traces, strict=True) if t.ride_label}
    return [labels.get(number, f"R{number + 1:0{width}d}") for number in numbers]


def _duplicates(traces: Sequence[Trace], numbers: Sequence[int]) -> dict[int, str]:
    """Return for each recording that repeats an earlier one of its ride the name of that one."""
    twins: dict[int, str] = {}
    by_ride: dict[int, list[int]] = {}
    for i, number in enumerate(numbers):
        for other in by_ride.setdefault(number, []):
            if other not in twins and _same_recording(traces[i], traces[other]):
                twins[i] = f"{traces[other].file} (track {traces[other].track})"
                break
        by_ride[number].append(i)
    return twins


def _same_recording(a: Trace, b: Trace) -> bool:
    if a.accepted != b.accepted or a.accepted < 2 or not a.timed or not b.timed:
        return False
    if np.abs((a.time - b.time).astype("timedelta64[ms]").astype("int64")).max() >= 1000:
        return False
    from gpsq.plane import geodesic_inverse_m

    return bool(geodesic_inverse_m(a.lon_deg, a.lat_deg, b.lon_deg, b.lat_deg).max() <= SAME_RECORDING_M)


def _results(
    traces: Sequence[Trace],
    names: Sequence[str],
    twins: Mapping[int, str],
    measured: Mapping[int, Measured],
    route_of: Mapping[int, Route],
    settings: Settings,
) -> list[TraceResult]:
    states = firstfix.start_states(traces)
    results = []
    for i, trace in enumerate(traces):
        what = measured.get(i) or Measured(i, _why_no_route(trace), firstfix.first_fix(trace))
        hours, state = states[i]
        breaks = routes.breaks_after(trace, settings.gap_s)
        results.append(
            TraceResult(
                trace=i,
                ride=names[i],
                route=route_of[i].name if i in route_of else "",
                status="not scored" if what.reason else "scored",
                reason=what.reason,
                first_fix=dataclasses.replace(what.first_fix, hours_since_fix=hours, start_state=state),
                length_m=_length_m(trace, breaks),
                interval_s=_interval_s(trace),
                gaps=_gaps(trace, breaks),
                crosstrack=what.crosstrack,
                curves=what.curves,
                deviations=what.deviations,
                duplicate_of=twins.get(i, ""),
            )
        )
    return results


def _why_no_route(trace: Trace) -> str:
    if trace.accepted == 0:
        return "it never found a position"
    return "it has one fix only" if trace.accepted == 1 else "it has no length"


def _length_m(trace: Trace, breaks: IntArray) -> float:
    if trace.accepted < 2:
        return NAN
    legs = geodesic_legs_m(trace.lon_deg, trace.lat_deg)
    legs[breaks] = 0.0
    return float(legs.sum())


def _interval_s(trace: Trace) -> float:
    if not trace.timed or trace.accepted < 2:
        return NAN
    return float(np.median(np.diff(trace.time).astype("timedelta64[ms]").astype("int64"))) / 1000.0


def _gaps(trace: Trace, breaks: IntArray) -> tuple[Gap, ...]:
    if not len(breaks):
        return ()
    legs = geodesic_legs_m(trace.lon_deg, trace.lat_deg)
    return tuple(
        Gap(int(i), firstfix.seconds_between(trace.time[i], trace.time[i + 1]), float(legs[i])) for i in breaks
    )


def _with_ride_mates(results: list[TraceResult], found: list[RouteResult]) -> tuple[TraceResult, ...]:
    """Give recordings that never fixed the route of their ride, and with it what they missed: all of it."""
    route_of = {r.ride: r.route for r in results if r.route}
    length = {r.route.name: r.centreline.length_m for r in found if r.centreline is not None}
    return tuple(
        dataclasses.replace(
            r,
            route=route_of[r.ride],
            first_fix=firstfix.missed_all(r.first_fix, length.get(route_of[r.ride], NAN)),
        )
        if r.first_fix.censored and r.ride in route_of
        else r
        for r in results
    )


def summaries(analysis: Analysis) -> dict[str, Any]:
    """Return the figures over recordings, as in `Analysis.extra`: per device, per start state, compared, by place."""
    from gpsq import comparison, hats, places, statistics

    what = (analysis.traces, analysis.results, analysis.routes, analysis.settings)
    return {
        "devices": statistics.summarise(*what),
        "start_states": statistics.by_start_state(*what[:2], analysis.settings),
        "comparisons": comparison.compare_pairs(*what),
        "error_variances": hats.error_variances(*what),
        "hot_spots": places.hot_spots(*what),
    }

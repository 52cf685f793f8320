"""A folder of repeated rides to everything that can be said of it: the stages in order, over an executor."""

from __future__ import annotations

import contextlib
import dataclasses
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING, Any

from gpsq import clocks, companions, executors, firstfix, flags, passes, recalling, recorded, routes, trueness
from gpsq.exceptions import NothingToAnalyse
from gpsq.model import Analysis, Route, RouteResult, Trace, TraceResult
from gpsq.reading import read_folder
from gpsq.recalling import Recalling
from gpsq.route_analysis import Measured, Member, analyse_route
from gpsq.summaries import summaries

if TYPE_CHECKING:
    from collections.abc import Callable, Mapping, Sequence
    from concurrent.futures import Executor

    from gpsq.cache import Cache
    from gpsq.companions import Companion
    from gpsq.model import Flag
    from gpsq.reading.folder import Readings
    from gpsq.settings import Settings

NAN = float("nan")


def _tell_nobody(what: str, done: int, of: int) -> None:
    """Hear of progress, and say nothing."""


def analyse(
    folder: Path,
    *,
    cut_passes: bool = False,
    executor: Executor | None = None,
    cache: Cache | None = None,
    on_progress: Callable[[str, int, int], None] | None = None,
    read: Callable[..., Readings] = read_folder,
    begin: Callable[..., Callable[[], Any]] = partial,
) -> Analysis:
    """Analyse the campaign in a folder.

    Parameters
    ----------
    folder : Path
        Recordings at any depth, with ``rides.csv``, ``campaign.toml`` and ``flags.csv`` where there are any.
    cut_passes : bool
        Cut recordings that hold many passes; ``cut_passes = true`` in ``campaign.toml`` asks for the same.
    executor : Executor, optional
        Reads files and analyses routes side by side; the results are the same. Without one, the cores of this machine
        share the work where it is large.
    cache : Cache, optional
        What was worked out before and still holds is taken from it (see `gpsq.cache.beside`).
    on_progress : callable, optional
        Told (what is being done, how many are done, how many there are).
    read : callable, optional
        Reads the folder as `gpsq.reading.read_folder` does.
    begin : callable, optional
        Begins work that can be done beside the rest, and returns what waits for its answer (`gpsq.aside.Aside.begin`).

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
    tell = on_progress or _tell_nobody
    folder = Path(folder)
    with contextlib.ExitStack() as stack:
        engine = executor or stack.enter_context(executors.Local())
        engine = Recalling(engine, cache) if cache else engine
        readings = read(folder, executor=engine, on_progress=partial(tell, "reading"))
        if not readings.traces:
            raise NothingToAnalyse(str(folder), _nothing(len(readings.unreadable)), "recordings of rides")
        flagged = flags.load(folder)
        asked = cut_passes or readings.campaign.cut_passes
        if cache is None:
            return _of_readings(folder, readings, flagged, asked, engine, tell, begin)
        analysis = recalling.whole(
            cache,
            (readings, flagged, asked, recalling.contents(folder, readings.campaign.reference.values())),
            readings.traces,
            lambda: _of_readings(folder, readings, flagged, asked, engine, tell, begin),
        )
    return dataclasses.replace(analysis, folder=str(folder))


def _of_readings(
    folder: Path,
    readings: Readings,
    flagged: tuple[tuple[Flag, ...], tuple[str, ...]],
    asked: bool,
    engine: Executor,
    tell: Callable[[str, int, int], None],
    begin: Callable[..., Callable[[], Any]],
) -> Analysis:
    settings = readings.campaign.settings
    traces, cutting = passes.cut(readings.traces, settings, asked=asked, each=engine.map)
    told = (*readings.problems, *readings.notes, *flagged[1], *cutting)
    analysis = dataclasses.replace(
        analyse_traces(traces, settings, flagged[0], executor=engine, tell=tell),
        folder=str(folder),
        title=readings.campaign.title,
        unreadable=readings.unreadable,
        inputs=dict(readings.inputs),
    )
    notes = (*told, *analysis.notes)
    tell("summing up", 0, 1)
    summed_up = begin(summaries, analysis)
    figures, unused = trueness.measure(analysis, readings.campaign.reference, folder)
    extra = summed_up() | ({"reference": figures} if figures else {})
    tell("summing up", 1, 1)
    return dataclasses.replace(analysis, extra=extra, notes=(*notes, *unused))


def analyse_traces(
    traces: Sequence[Trace],
    settings: Settings,
    decisions: Sequence[Flag] = (),
    *,
    executor: Executor | None = None,
    tell: Callable[[str, int, int], None] = _tell_nobody,
) -> Analysis:
    """Analyse traces that were read already; `decisions` are the person's flags. There are no summaries in it yet."""
    offsets, found = clocks.estimate_offsets(traces), companions.compare(traces)
    ahead_s, twins = _ahead_s(traces, offsets, found), _twins(traces, found)
    routes_found, results = _measure(traces, decisions, settings, ahead_s, twins, executor, tell)
    return Analysis(
        folder="",
        title="",
        settings=settings,
        traces=tuple(traces),
        unreadable=(),
        routes=routes_found,
        results=results,
        deviations=tuple(d for result in results for d in result.deviations),
        flags=tuple(decisions),
        inputs={},
        notes=tuple(_told(traces, offsets, found)),
    )


def _nothing(unreadable: int) -> str:
    return f"{unreadable} files, none of which can be read" if unreadable else "no recording"


def _ahead_s(traces: Sequence[Trace], offsets: Sequence[clocks.ClockOffset], found: Sequence[Companion]) -> list[float]:
    """Return how far each recording's clock is ahead of the common one: its device's, or else by weeks its own."""
    device: dict[str, float] = {}
    for offset in offsets:
        device[offset.device] = offset.offset_s + device.get(offset.reference_device, 0.0)
    ahead_s = [device.get(trace.device, 0.0) for trace in traces]
    for c in found:
        if c.kind == "week_rollover" and traces[c.trace].device not in device:
            ahead_s[c.trace] = ahead_s[c.other] + c.ahead_s
    return ahead_s


def _told(traces: Sequence[Trace], offsets: Sequence[clocks.ClockOffset], found: Sequence[Companion]) -> list[str]:
    """Return what was found, in sentences; what is said of a device is not said again of each of its recordings."""
    said = {offset.device for offset in offsets if offset.is_week_rollover}
    single = (c for c in found if c.kind != "week_rollover" or traces[c.trace].device not in said)
    return [*(o.sentence() for o in offsets), *dict.fromkeys(c.note for c in single)]


def _measure(
    traces: Sequence[Trace],
    decisions: Sequence[Flag],
    settings: Settings,
    ahead_s: Sequence[float],
    twins: Mapping[int, str],
    executor: Executor | None,
    tell: Callable[[str, int, int], None],
) -> tuple[tuple[RouteResult, ...], tuple[TraceResult, ...]]:
    found = routes.group_routes(traces, settings)
    numbers = routes.group_rides(traces, settings, ahead_s)
    names = _ride_names(traces, numbers)
    jobs = [
        (route, [Member(i, traces[i], names[i], twins.get(i, "")) for i in route.members], decisions, settings)
        for route in found
    ]
    done = []
    tell("analysing routes", 0, len(jobs))
    each = executor.map if executor else map
    for answer in each(analyse_route, *zip(*jobs, strict=True)) if jobs else ():
        done.append(answer)
        tell("analysing routes", len(done), len(jobs))
    measured = {m.number: m for _, group in done for m in group}
    route_of = {i: route for route in found for i in route.members}
    figures = each(partial(recorded.measure, settings=settings), traces)
    results = _results(traces, names, twins, measured, route_of, list(figures))
    return tuple(result for result, _ in done), _with_ride_mates(results, [result for result, _ in done])


def _ride_names(traces: Sequence[Trace], numbers: Sequence[int]) -> list[str]:
    """Return the ride each trace belongs to: as named in the start log, else R01, R02, … in order of time."""
    width = max(2, len(str(max(numbers, default=0) + 1)))
    labels = {number: t.ride_label for number, t in zip(numbers, traces, strict=True) if t.ride_label}
    return [labels.get(number, f"R{number + 1:0{width}d}") for number in numbers]


def _twins(traces: Sequence[Trace], found: Sequence[Companion]) -> dict[int, str]:
    """Return for each recording that repeats an earlier one the name of that one."""
    twins: dict[int, str] = {}
    for companion in found:
        if companion.kind == "same_recording" and not {companion.trace, companion.other} & set(twins):
            twins[companion.trace] = traces[companion.other].label
    return twins


def _results(
    traces: Sequence[Trace],
    names: Sequence[str],
    twins: Mapping[int, str],
    measured: Mapping[int, Measured],
    route_of: Mapping[int, Route],
    figures: Sequence[recorded.Recorded],
) -> list[TraceResult]:
    states = firstfix.start_states(traces)
    results = []
    for i, trace in enumerate(traces):
        what = measured.get(i) or Measured(i, _why_no_route(trace), firstfix.first_fix(trace))
        hours, state = states[i]
        results.append(
            TraceResult(
                trace=i,
                ride=names[i],
                route=route_of[i].name if i in route_of else "",
                status="not scored" if what.reason else "scored",
                reason=what.reason,
                first_fix=dataclasses.replace(what.first_fix, hours_since_fix=hours, start_state=state),
                length_m=figures[i].distance_m,
                interval_s=figures[i].interval_s,
                gaps=figures[i].gaps,
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

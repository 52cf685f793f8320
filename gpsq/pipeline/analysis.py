"""A folder of repeated rides to everything that can be said of it: the stages in order, over an executor."""

from __future__ import annotations

import contextlib
import dataclasses
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING, Any

from gpsq.campaign import flags
from gpsq.digests import file_sha256
from gpsq.exceptions import NothingToAnalyse
from gpsq.measures import first_fix
from gpsq.measures.route import Measured, Member, analyse_route
from gpsq.pipeline import executors, remembering
from gpsq.pipeline.remembering import Recalling
from gpsq.reading import read_folder
from gpsq.results import Analysis, RouteResult, Streets, TraceResult
from gpsq.rides.arrange import Arranged, arrange
from gpsq.summaries import reference
from gpsq.summaries.summarise import summaries

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable, Mapping, Sequence
    from concurrent.futures import Executor

    from gpsq.campaign.campaign_file import Campaign
    from gpsq.model import Flag, Trace
    from gpsq.pipeline.cache import Cache
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
        What was worked out before and still holds is taken from it (see `gpsq.pipeline.cache.beside`).
    on_progress : callable, optional
        Told (what is being done, how many are done, how many there are).
    read : callable, optional
        Reads the folder as `gpsq.reading.read_folder` does.
    begin : callable, optional
        Begins work that can be done beside the rest, and returns what waits for its answer, as
        `gpsq.pipeline.second_process.Aside.begin` does.

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

        def arranged() -> Arranged:
            return arrange(readings.traces, readings.campaign.settings, cut=asked, each=engine.map)

        def work(arranged: Callable[[], Arranged]) -> Analysis:
            return _measured(folder, readings, arranged(), flagged, engine, tell, begin)

        if cache is None:
            return work(arranged)
        read_before = remembering.Kept(cache, readings.traces, (readings, asked))
        beside = [*readings.campaign.reference.values(), readings.campaign.streets]
        lines = remembering.contents(folder, [name for name in beside if name])
        analysis = read_before.whole(
            Analysis, (flagged, lines), lambda: work(lambda: read_before.whole(Arranged, (), arranged))
        )
    return dataclasses.replace(analysis, folder=str(folder))


def _streets(folder: Path, campaign: Campaign) -> Streets | None:
    """Return the file of streets that the campaign names."""
    if not campaign.streets:
        return None
    return Streets(campaign.streets, file_sha256(folder / campaign.streets), campaign.streets_source)


def _measured(
    folder: Path,
    readings: Readings,
    arranged: Arranged,
    flagged: tuple[tuple[Flag, ...], tuple[str, ...]],
    engine: Executor,
    tell: Callable[[str, int, int], None],
    begin: Callable[..., Callable[[], Any]],
) -> Analysis:
    told = (*readings.problems, *readings.notes, *flagged[1], *arranged.cutting)
    analysis = dataclasses.replace(
        _of_arranged(arranged, readings.campaign.settings, flagged[0], engine.map, tell),
        folder=str(folder),
        title=readings.campaign.title,
        unreadable=readings.unreadable,
        inputs=dict(readings.inputs),
        time_zone=readings.campaign.time_zone or "",
        streets=_streets(folder, readings.campaign),
    )
    notes = (*told, *analysis.notes)
    tell("summing up", 0, 1)
    summed_up = begin(summaries, analysis)
    figures, unused = reference.measure(analysis, readings.campaign.reference, folder)
    summed = dataclasses.replace(summed_up(), reference=figures)
    tell("summing up", 1, 1)
    return dataclasses.replace(analysis, summaries=summed, notes=(*notes, *unused))


def analyse_traces(
    traces: Sequence[Trace], settings: Settings, decisions: Sequence[Flag] = (), *, executor: Executor | None = None
) -> Analysis:
    """Analyse traces that were read already; `decisions` are the person's flags. There are no summaries in it yet."""
    each = executor.map if executor else map
    return _of_arranged(arrange(traces, settings, each=each), settings, decisions, each, _tell_nobody)


def _of_arranged(
    arranged: Arranged,
    settings: Settings,
    decisions: Sequence[Flag],
    each: Callable[..., Iterable[Any]],
    tell: Callable[[str, int, int], None],
) -> Analysis:
    measured = _routes_measured(arranged, settings, decisions, each, tell)
    found = [result for result, _ in measured]
    results = _with_ride_mates(_results(arranged, {m.number: m for _, group in measured for m in group}), found)
    return Analysis(
        folder="",
        title="",
        settings=settings,
        traces=arranged.traces,
        unreadable=(),
        routes=tuple(found),
        results=results,
        deviations=tuple(d for result in results for d in result.deviations),
        flags=tuple(decisions),
        inputs={},
        notes=arranged.notes,
    )


def _routes_measured(
    arranged: Arranged,
    settings: Settings,
    decisions: Sequence[Flag],
    each: Callable[..., Iterable[Any]],
    tell: Callable[[str, int, int], None],
) -> list[tuple[RouteResult, tuple[Measured, ...]]]:
    jobs = [
        (
            route,
            [Member(i, arranged.traces[i], arranged.rides[i], arranged.twins.get(i, "")) for i in route.members],
            decisions,
            settings,
        )
        for route in arranged.routes
    ]
    done: list[tuple[RouteResult, tuple[Measured, ...]]] = []
    tell("analysing routes", 0, len(jobs))
    for answer in each(analyse_route, *zip(*jobs, strict=True)) if jobs else ():
        done.append(answer)
        tell("analysing routes", len(done), len(jobs))
    return done


def _nothing(unreadable: int) -> str:
    return f"{unreadable} files, none of which can be read" if unreadable else "no recording"


def _results(arranged: Arranged, measured: Mapping[int, Measured]) -> list[TraceResult]:
    traces, alone = arranged.traces, arranged.alone
    route_of = {i: route.name for route in arranged.routes for i in route.members}
    states = first_fix.start_states(traces)
    results = []
    for i, trace in enumerate(traces):
        what = measured.get(i) or Measured(i, _why_no_route(trace), first_fix.first_fix(trace))
        hours, state = states[i]
        results.append(
            TraceResult(
                trace=i,
                ride=arranged.rides[i],
                route=route_of.get(i, ""),
                status="not scored" if what.reason else "scored",
                reason=what.reason,
                first_fix=dataclasses.replace(what.first_fix, hours_since_fix=hours, start_state=state),
                length_m=alone[i].distance_m,
                interval_s=alone[i].interval_s,
                gaps=alone[i].gaps,
                crosstrack=what.crosstrack,
                curves=what.curves,
                deviations=what.deviations,
                duplicate_of=arranged.twins.get(i, ""),
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
            first_fix=first_fix.missed_all(r.first_fix, length.get(route_of[r.ride], NAN)),
        )
        if r.first_fix.censored and r.ride in route_of
        else r
        for r in results
    )

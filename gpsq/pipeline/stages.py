"""The stages in order, from traces in order to an analysis: over an executor, and each route unless remembered."""

from __future__ import annotations

import dataclasses
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from gpsq.campaign.local_time import zone_in_words
from gpsq.measures import estimates, first_fix, place_of_start
from gpsq.measures.route import Measured, Member, analyse_route, named_as_recorded
from gpsq.pipeline.remembering import remembered_each, route_key
from gpsq.results import Analysis, RouteResult, TraceResult
from gpsq.rides.arrange import Arranged, arrange
from gpsq.rides.opposite import tails_towards
from gpsq.summaries import reference
from gpsq.summaries.across.earlier import against_earlier
from gpsq.summaries.summarise import summaries
from gpsq.summaries.ways import ways

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable, Mapping, Sequence
    from concurrent.futures import Executor

    from gpsq.model import Flag, Route, Trace
    from gpsq.pipeline.cache import Cache
    from gpsq.reading import Readings
    from gpsq.settings import Settings
    from gpsq.summaries.summarise import Elsewhere

NAN = float("nan")


def tell_nobody(*_: object) -> None:
    """Hear of progress, and say nothing."""


@dataclass(frozen=True)
class Means:
    """How the stages are gone through, which changes nothing in what they find.

    Attributes
    ----------
    each : the built-in map, or one that does several things at a time.
    cache : where routes are remembered, if anywhere.
    tell : told (what is being done, how many are done, how many there are).
    measured : given the analysis once all is measured, without its summaries; may return what waits for those of them
        that are worked out beside the rest.
    """

    each: Callable[..., Iterable[Any]] = map
    cache: Cache | None = None
    tell: Callable[[str, int, int], None] = tell_nobody
    measured: Callable[[Analysis], Elsewhere | None] = tell_nobody


def analysed(readings: Readings, arranged: Arranged, means: Means) -> Analysis:
    """Return the whole analysis of a campaign whose traces are in order."""
    told = readings.campaign
    found = dataclasses.replace(
        _measured(arranged, told.settings, readings.flags, means),
        folder=readings.folder,
        title=told.title,
        time_zone=readings.time_zone,
        unreadable=readings.unreadable,
        inputs=dict(readings.inputs),
        streets=readings.streets,
    )
    called, not_here = ways(found, told.routes)
    found = dataclasses.replace(found, ways=called)
    elsewhere = means.measured(found)
    means.tell("summing up", 0, 1)
    figures, unused = reference.measure(found, readings.references)
    earlier, unread = against_earlier(found, readings.earlier, found.settings)
    summed = dataclasses.replace(summaries(found, elsewhere), reference=figures, earlier=earlier)
    means.tell("summing up", 1, 1)
    notes = (
        *readings.problems,
        *not_here,
        *readings.notes,
        *_zone_of_the_files("" if told.time_zone else readings.time_zone),
        *arranged.cutting,
        *found.notes,
        *unused,
        *unread,
    )
    return dataclasses.replace(found, notes=notes, summaries=summed)


def _zone_of_the_files(offset: str) -> tuple[str, ...]:
    said = f"Times are shown in {zone_in_words(offset)}, as the files write them; time_zone in campaign.toml names another."
    return (said,) if offset else ()


def analyse_traces(
    traces: Sequence[Trace], settings: Settings, decisions: Sequence[Flag] = (), *, executor: Executor | None = None
) -> Analysis:
    """Analyse traces that were read already; `decisions` are the person's flags. There are no summaries in it yet."""
    means = Means(executor.map if executor else map)
    return _measured(arrange(traces, settings, each=means.each), settings, decisions, means)


def _measured(arranged: Arranged, settings: Settings, decisions: Sequence[Flag], means: Means) -> Analysis:
    measured = _routes_measured(arranged, settings, decisions, means)
    found = [result for result, _ in measured]
    alone = _results(arranged, {m.number: m for _, group in measured for m in group})
    placed = place_of_start.with_places(arranged.traces, alone, found, settings)
    worked_out = estimates.with_estimates(arranged.traces, placed, found, settings)
    results = _with_ride_mates(worked_out, found)
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
        notes=(*arranged.notes, *_apart_in_words(found)),
    )


def _apart_in_words(routes: Sequence[RouteResult]) -> list[str]:
    """Say which devices lie apart, once for each pair and route."""
    return [
        f"route {found.route.name}: {two.first} and {two.second} lie {two.apart_m:.0f} m apart, more than both scatter "
        f"({two.first_scatter_m:.1f} m and {two.second_scatter_m:.1f} m); which is right cannot be known without a "
        f"surveyed line, so the centreline runs between them"
        for found in routes
        for two in found.apart
    ]


def _routes_measured(
    arranged: Arranged, settings: Settings, decisions: Sequence[Flag], means: Means
) -> list[tuple[RouteResult, tuple[Measured, ...]]]:
    """Measure every route as recorded, and those with decisions once more: deviations keep the names they were given."""
    tails = tails_towards(arranged.routes, arranged.traces, arranged.rides, arranged.twins, settings.gap_s)
    members = [_members(route, arranged) for route in arranged.routes]
    flagged = {(flag.sha256, flag.track) for flag in decisions}
    decided = [k for k, own in enumerate(members) if any(m.trace.key in flagged for m in own)]
    which = [(k, ()) for k in range(len(members))] + [(k, tuple(decisions)) for k in decided]
    jobs = [(arranged.routes[k], members[k], flags, settings, tails[k]) for k, flags in which]
    means.tell("analysing routes", 0, len(jobs))
    answers = remembered_each(means.cache, route_key, analyse_route, jobs, means.each)
    done: dict[int, tuple[RouteResult, tuple[Measured, ...]]] = {}
    for number, ((k, _), (result, found)) in enumerate(zip(which, answers, strict=True), start=1):
        measured = tuple(map(_renumbered, found, members[k]))
        if k in done:
            measured = named_as_recorded(measured, done[k][1])
        done[k] = dataclasses.replace(result, route=arranged.routes[k]), measured
        means.tell("analysing routes", number, len(jobs))
    return list(done.values())


def _members(route: Route, arranged: Arranged) -> list[Member]:
    return [Member(i, arranged.traces[i], arranged.rides[i], arranged.twins.get(i, "")) for i in route.members]


def _renumbered(measured: Measured, member: Member) -> Measured:
    """Give what was measured the trace's present number: an answer may be from before recordings were added."""
    shown, vanished = (
        tuple(dataclasses.replace(d, trace=member.number) for d in found)
        for found in (measured.deviations, measured.vanished)
    )
    return dataclasses.replace(measured, number=member.number, deviations=shown, vanished=vanished)


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
                vanished=what.vanished,
                duplicate_of=arranged.twins.get(i, ""),
                spikes=alone[i].spikes,
                largest_spike_m=alone[i].largest_spike_m,
                ended_early_m=what.ended_early_m,
            )
        )
    return results


def _why_no_route(trace: Trace) -> str:
    if trace.accepted == 0:
        return "it never found a position"
    return "it has one fix only" if trace.accepted == 1 else "it stays in one place, so it goes no way"


def _with_ride_mates(results: Sequence[TraceResult], found: Sequence[RouteResult]) -> tuple[TraceResult, ...]:
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

"""One route from its traces to centreline, errors and deviations: the stages in order, for one worker."""

from __future__ import annotations

import dataclasses
from dataclasses import dataclass
from typing import TYPE_CHECKING, NamedTuple

import numpy as np

from gpsq.campaign import flags
from gpsq.centreline import consensus_line, head
from gpsq.centreline.strands import strand
from gpsq.geometry import polyline
from gpsq.measures import cross_track, deviations, ended_early, events, first_fix, usual_spread
from gpsq.model import ROUTE_CHOICE
from gpsq.results import RouteResult
from gpsq.rides.unbroken import breaks_after, runs_of

if TYPE_CHECKING:
    from collections.abc import Sequence

    from gpsq.centreline.consensus_line import Consensus
    from gpsq.centreline.strands import Strand
    from gpsq.geometry.alignment import Abreast
    from gpsq.model import (
        BoolArray,
        Centreline,
        CrossTrack,
        CurveDistances,
        Deviation,
        FirstFix,
        Flag,
        FloatArray,
        Route,
        Trace,
    )
    from gpsq.rides.opposite import Tail
    from gpsq.settings import Settings

#: With fewer rides the line of the others is one ride's line, and its error would be charged to the trace.
LEAST_RIDES = 3
#: A noisy trace has settled when it is within this many of its own robust standard deviations.
SETTLED_SPREADS = 3.0
#: Lines without a ride that are made of a route at most: with more rides each leaves a group of them out, a hundredth of all.
MOST_LINES = 100
#: Coarser than this no station says anything, so that there is a length beyond which nothing is measured.
COARSEST_STEP_M = 100.0
TOO_FAR_KM = consensus_line.MOST_STATIONS * COARSEST_STEP_M / 1000.0


@dataclass(frozen=True, eq=False)
class Member:
    """One trace of a route, by its number in the campaign."""

    number: int
    trace: Trace
    ride: str
    duplicate_of: str


@dataclass(frozen=True, eq=False)
class Measured:
    """What was measured of one trace on its route; `reason` says why it was not scored, "" if it was.

    `vanished` are deviations that the recordings show, and a person's decisions on others made vanish. `last_m` is the
    station of its last fix, `ended_early_m` how far that lies before where its fellows end, nan where it does not.
    """

    number: int
    reason: str
    first_fix: FirstFix
    crosstrack: CrossTrack | None = None
    curves: CurveDistances | None = None
    deviations: tuple[Deviation, ...] = ()
    vanished: tuple[Deviation, ...] = ()
    last_m: float = float("nan")
    ended_early_m: float = float("nan")


class _OnLine(NamedTuple):
    """Where one trace runs on the line: its first fix, the fix from which it is settled, the station of its last fix."""

    fix: FirstFix
    settled_from: float = 0.0
    last_m: float = float("nan")


def analyse_route(
    route: Route,
    members: Sequence[Member],
    decisions: Sequence[Flag],
    settings: Settings,
    tails: Sequence[Tail] = (),
) -> tuple[RouteResult, tuple[Measured, ...]]:
    """Return a route's centreline and what was measured of each of its traces.

    Parameters
    ----------
    route : the route. members : its traces, in the order of `route.members`.
    decisions : the person's flags on the whole campaign.
    tails : the last stretches of the opposite way, where there is one (see `gpsq.rides.opposite`).
    """
    step_m, rides = _step_m(route, members, decisions, settings), tuple(sorted({m.ride for m in members}))
    fixes = [first_fix.first_fix(m.trace) for m in members]
    if step_m > COARSEST_STEP_M:
        return _unmeasured(route, members, rides, fixes, f"it leads over {TOO_FAR_KM:,.0f} km, which no ride does")
    own = settings.with_values(step_m=step_m)
    consensus = line_of(route, members, decisions, own, tails)
    if consensus is None:
        return _unmeasured(route, members, rides, fixes, "all its stretches are flagged or without length")
    result = RouteResult(route, consensus.centreline, rides, _why_no_scores(members, rides), consensus.apart())
    measured = _Measuring(route, members, decisions, own, consensus).all(fixes, result.reason)
    return result, _with_early_ends(measured, members)


def named_as_recorded(measured: Sequence[Measured], recorded: Sequence[Measured]) -> tuple[Measured, ...]:
    """Return what was measured of a route after decisions, its deviations under the names they have without any.

    `recorded` is what is measured of the same route without decisions.
    """
    found, lost = events.named_as_recorded(
        *([d for m in whole for d in m.deviations] for whole in (measured, recorded))
    )
    return tuple(
        dataclasses.replace(
            m,
            deviations=tuple(d for d in found if d.trace == m.number),
            vanished=tuple(d for d in lost if d.trace == m.number),
        )
        for m in measured
    )


def _unmeasured(
    route: Route, members: Sequence[Member], rides: tuple[str, ...], fixes: Sequence[FirstFix], why: str
) -> tuple[RouteResult, tuple[Measured, ...]]:
    measured = (Measured(m.number, why, fix) for m, fix in zip(members, fixes, strict=True))
    return RouteResult(route, None, rides, why), tuple(measured)


def line_of(
    route: Route, members: Sequence[Member], decisions: Sequence[Flag], settings: Settings, tails: Sequence[Tail] = ()
) -> Consensus | None:
    """Return the consensus of a route's traces, or None where no line can be made; parameters as in `analyse_route`."""
    strands = _strands(route, members, decisions, settings)
    return consensus_line.make(strands, settings, _opposite_end(tails, settings))


def _step_m(route: Route, members: Sequence[Member], decisions: Sequence[Flag], settings: Settings) -> float:
    """Return the step of a route's stations, by its middle recording and by the one that its line starts from."""
    step_m = consensus_line.step_for(route.xy_m, settings)
    longest_m = max((float(polyline.along_m(xy)[-1]) for xy in route.xy_m if len(xy)), default=0.0)
    if step_m > COARSEST_STEP_M or longest_m <= consensus_line.MOST_STATIONS * step_m:
        return step_m
    own = settings.with_values(step_m=step_m)
    return max(step_m, consensus_line.step_of_start(_strands(route, members, decisions, own), own))


def _strands(route: Route, members: Sequence[Member], decisions: Sequence[Flag], settings: Settings) -> list[Strand]:
    return [
        strand(
            xy,
            runs_of(m.trace, settings.gap_s),
            m.ride,
            _counting(m, decisions),
            settings,
            device=m.trace.device,
            age_s=_age_s(m.trace),
        )
        for m, xy in zip(members, route.xy_m, strict=True)
    ]


def _opposite_end(tails: Sequence[Tail], settings: Settings) -> FloatArray | None:
    """Return the line on which the rides of the opposite way end, turned round, or None."""
    strands = [
        strand(t.xy_m, [(0, len(t.xy_m))], t.ride, np.ones(len(t.xy_m), dtype=bool), settings, device=t.device)
        for t in tails
    ]
    line = consensus_line.line_of_parts(strands, settings)
    return None if line is None else head.from_usual_end(line[::-1], np.array([t.xy_m[-1] for t in tails]))


def _counting(member: Member, decisions: Sequence[Flag]) -> BoolArray:
    if member.duplicate_of:
        return np.zeros(member.trace.accepted, dtype=bool)
    return flags.counting(member.trace, decisions)


def _age_s(trace: Trace) -> FloatArray:
    """Return (n,) seconds since the first fix; inf where times are missing or the recording was cut out of a longer one."""
    cut = any(s.reason == "outside_passes" and s.first_point < trace.point[0] for s in trace.set_aside)
    if not trace.timed or cut:
        return np.full(trace.accepted, np.inf)
    return np.asarray((trace.time - trace.time[0]) / np.timedelta64(1, "s"), dtype=float)


def _why_no_scores(members: Sequence[Member], rides: Sequence[str]) -> str:
    if len(members) == 1:
        return "the only recording on its road: nothing to compare it with"
    if len(rides) < LEAST_RIDES:
        return f"only {len(rides)} ride{'s' if len(rides) > 1 else ''} on this route: cross-track error needs {LEAST_RIDES}"
    return ""


def _with_early_ends(measured: Sequence[Measured], members: Sequence[Member]) -> tuple[Measured, ...]:
    counting = [not m.duplicate_of for m in members]
    early_m = ended_early.early_m(np.array([m.last_m for m in measured]), np.array(counting))
    return tuple(dataclasses.replace(m, ended_early_m=float(e)) for m, e in zip(measured, early_m, strict=True))


def together_left_out(rides: Sequence[str]) -> dict[str, tuple[str, ...]]:
    """Return for each ride those that its line is made without: itself, and with very many rides some others too.

    Rides are dealt out into `MOST_LINES` groups in their order; a line for each of n rides out of n others would take n².

    Examples
    --------
    >>> together_left_out(["R1", "R2", "R1"])
    {'R1': ('R1',), 'R2': ('R2',)}
    """
    each = list(dict.fromkeys(rides))
    groups = [tuple(each[first::MOST_LINES]) for first in range(min(MOST_LINES, len(each)))]
    return {ride: group for group in groups for ride in group}


class _Measuring:
    """The traces of one route against its consensus; the line without a ride, or its group of rides, is made once."""

    def __init__(
        self,
        route: Route,
        members: Sequence[Member],
        decisions: Sequence[Flag],
        settings: Settings,
        consensus: Consensus,
    ) -> None:
        self.route, self.members, self.decisions = route, members, decisions
        self.settings, self.consensus = settings, consensus
        self.line = consensus.centreline
        self.groups = together_left_out([m.ride for m in members])
        self.left_out: dict[tuple[str, ...], Centreline] = {}

    def all(self, fixes: Sequence[FirstFix], reason: str) -> list[Measured]:
        """Return what was measured of every trace."""
        places = [
            consensus_line.alongside(s, path, self.line.xy_m, self.settings)
            for s, path in zip(self.consensus.strands, self.consensus.paths, strict=True)
        ]
        if reason:
            return [self._unscored(k, places[k], fixes[k], reason) for k in range(len(self.members))]
        courses = [self._course(k, place) for k, place in enumerate(places)]
        rides: dict[str, list[usual_spread.Course]] = {}
        for member, course in zip(self.members, courses, strict=True):
            if not member.duplicate_of:
                rides.setdefault(member.ride, []).append(course)
        step_m = float(self.line.along_m[1] - self.line.along_m[0]) if len(self.line.along_m) > 1 else 0.0
        self.beside = deviations.Beside(self.route.name, rides, usual_spread.usual(rides, step_m), self.settings)
        return self._with_events([self._measured(k, courses, fixes[k]) for k in range(len(self.members))])

    def _with_events(self, measured: Sequence[Measured]) -> list[Measured]:
        found = events.with_events([d for m in measured for d in m.deviations], self.beside.rides)
        own: dict[int, list[Deviation]] = {}
        for deviation in found:
            own.setdefault(deviation.trace, []).append(deviation)
        return [dataclasses.replace(m, deviations=tuple(own.get(m.number, ()))) for m in measured]

    def _without(self, ride: str) -> Centreline:
        group = self.groups[ride]
        if group not in self.left_out:
            self.left_out[group] = self.consensus.without(*group)
        return self.left_out[group]

    def _course(self, k: int, place: Abreast) -> usual_spread.Course:
        member = self.members[k]
        offset_m = cross_track.offsets(place, self._without(member.ride))
        return usual_spread.Course(member.number, member.trace, self.route.xy_m[k], place, self.line.along_m, offset_m)

    def _unscored(self, k: int, place: Abreast, fix: FirstFix, reason: str) -> Measured:
        on = self._on_line(k, place, fix, float("nan")) if len(self.members) > 1 else _OnLine(fix)
        return Measured(self.members[k].number, reason, on.fix, last_m=on.last_m)

    def _measured(self, k: int, courses: Sequence[usual_spread.Course], fix: FirstFix) -> Measured:
        member, course = self.members[k], courses[k]
        if np.isnan(course.offset_m).all():
            return Measured(member.number, "it shares no stretch with the other rides", fix)
        on = self._on_line(k, course.place, fix, usual_spread.robust_spread_m(course.offset_m))
        if member.duplicate_of:
            return Measured(member.number, f"the same recording as {member.duplicate_of}", on.fix, last_m=on.last_m)
        line = self._without(member.ride)
        meant = flags.counting(member.trace, self.decisions, ("intentional",))
        found = deviations.find(course, member.ride, line, self.beside)
        marked = tuple(flags.marked(d, member.trace, self.decisions) for d in found)
        scored = _stations_on(course.place, meant) & ~_on_another_road(marked, line.along_m)
        errors = cross_track.measure(course.offset_m, line.along_m, scored, course.place.vertex >= on.settled_from)
        breaks = breaks_after(member.trace, self.settings.gap_s)
        curves = cross_track.distances(course.xy_m, course.place, line, errors.scored, breaks)
        return Measured(member.number, "", on.fix, errors, curves, marked, last_m=on.last_m)

    def _on_line(self, k: int, place: Abreast, fix: FirstFix, spread_m: float) -> _OnLine:
        trace, xy_m = self.members[k].trace, self.route.xy_m[k]
        if np.isnan(place.vertex).all():
            return _OnLine(fix)
        station_m, offset_m = first_fix.fix_offsets(xy_m, place, self.line.xy_m)
        band_m = max(self.settings.settle_band_m, SETTLED_SPREADS * spread_m if np.isfinite(spread_m) else 0.0)
        settled_s = first_fix.settle_s(trace, offset_m, band_m, self.settings)
        fix, last_m = first_fix.on_line(fix, trace, xy_m, station_m, settled_s), float(station_m[-1])
        if not np.isfinite(settled_s):
            return _OnLine(fix, last_m=last_m)
        settled = trace.time[0] + np.timedelta64(round(settled_s * 1000), "ms")
        return _OnLine(fix, float(np.searchsorted(trace.time, settled)), last_m)


def _on_another_road(found: Sequence[Deviation], along_m: FloatArray) -> BoolArray:
    """Return (m,) which stations lie on stretches that are the rider's choice: so decided, or open and so suggested."""
    inside = np.zeros(len(along_m), dtype=bool)
    for d in found:
        if d.counts_as == ROUTE_CHOICE:
            inside |= (along_m >= d.from_m) & (along_m <= d.to_m)
    return inside


def _stations_on(place: Abreast, counts: BoolArray) -> BoolArray:
    """Return (m,) which stations a trace passed at fixes that count."""
    known = ~np.isnan(place.vertex)
    vertex = np.where(known, place.vertex, 0.0)
    return np.asarray(known & counts[np.floor(vertex).astype(int)] & counts[np.ceil(vertex).astype(int)])


def length_m(trace: Trace, xy_m: FloatArray, gap_s: float) -> float:
    """Return the recorded length in metres, silences and segment breaks left out."""
    return float(sum(polyline.along_m(xy_m[low:high])[-1] for low, high in runs_of(trace, gap_s)))

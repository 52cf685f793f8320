"""From an analysis to one in which nothing private is left; every writer of results can then be used as it is."""

from __future__ import annotations

import dataclasses
import json
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np

from gpsq.campaign.stretches import ridden_between
from gpsq.measures.route import length_m
from gpsq.model import NAT, Deviation, Gap, SetAside, Trace
from gpsq.privacy import figures, neutral, shown
from gpsq.results import Analysis, Streets, TraceResult
from gpsq.summaries.hot_spots import hot_spots
from gpsq.summaries.summarise import summaries

if TYPE_CHECKING:
    from collections.abc import Collection, Mapping, Sequence

    from gpsq.measures.route import Measured
    from gpsq.model import IntArray
    from gpsq.privacy.zones import Zone
    from gpsq.results import RouteResult

NOTES = (
    "This is a publication: both ends of every route and the private places are cut away by secret distances. Figures "
    "per device, times to first fix and what was missed are those of the whole recordings; tracks, centrelines, stations, "
    "deviations, spikes, lengths, points and the errors of single recordings are those of the part that is shown.",
    "A recording that fixed late is drawn from as far beyond the cut as its first fix lay beyond the beginning of the "
    "route, and what it missed is drawn from the cut on: moved along the road by a secret distance.",
    "Times are days in UTC. Withheld is what would tell how long a whole route is.",
)

#: Points set aside for these reasons tell how long it took to where a recording was to be looked at.
WHOLE_RIDE = frozenset({"outside_passes"})


@dataclass(frozen=True, eq=False)
class Publication:
    """An analysis fit to publish, and plain lines for the person alone."""

    analysis: Analysis
    remarks: tuple[str, ...]


def publication(analysis: Analysis, zones: Sequence[Zone], chosen_names: Collection[str] = ()) -> Publication:
    """Return an analysis without anything private.

    Parameters
    ----------
    analysis : the whole.
    zones : what no published coordinate may lie in; see `gpsq.privacy.ends.zones_for`.
    chosen_names : names of devices that the person chose for the public.
    """
    whole, remarks = _renamed(analysis, chosen_names)
    rides, files = neutral.ride_names(whole.traces, whole.results), neutral.file_names(whole.traces, _same(whole))
    fixes = shown.shown_fixes(whole, zones)
    cut = {i: shown.cut(whole.traces[i], chosen) for i, chosen in fixes.items()}
    routes, measured = shown.analysed(whole, cut, rides)
    twins = {t.label: name for t, name in zip(whole.traces, files, strict=True)} | {"": ""}
    parts = {i: (cut[i], fixes[i], m, _length_m(routes, i, cut[i], whole)) for i, m in measured.items()}
    results = _numbered([_result(whole.results[i], rides, twins, parts.get(i)) for i in range(len(whole.traces))])
    traces = tuple(_trace(t, cut.get(i), files[i]) for i, t in enumerate(whole.traces))
    remarks += [
        f"route {r.route.name}: {shown.NOT_SHOWN}; its figures are published." for r in routes if not r.route.members
    ]
    return Publication(
        Analysis(
            folder="",
            title=whole.title,
            settings=whole.settings,
            traces=traces,
            unreadable=neutral.unreadable_names(whole.unreadable, _same(whole)),
            routes=routes,
            results=tuple(results),
            deviations=tuple(d for result in results for d in result.deviations),
            flags=(),
            inputs={},
            notes=NOTES,
            published=True,
            streets=_absolute(whole),
            summaries=figures.over_recordings(whole, hot_spots(traces, results, routes, whole.settings), results),
        ),
        tuple(remarks),
    )


def _absolute(analysis: Analysis) -> Streets | None:
    """Return the streets by a path that needs no folder; it is read, never written."""
    found = analysis.streets
    return found and dataclasses.replace(found, file=str(Path(analysis.folder, found.file).absolute()))


def _same(analysis: Analysis) -> dict[str, str]:
    names = [t.device for t in analysis.traces] + [u.device for u in analysis.unreadable]
    return {name: name for name in names}


def _renamed(analysis: Analysis, chosen: Collection[str]) -> tuple[Analysis, list[str]]:
    """Return the analysis with the published names of the devices, in the sentences about them too."""
    names = neutral.device_names(analysis.traces, analysis.unreadable, chosen)
    changed = {old: new for old, new in names.items() if old != new}
    if not changed:
        return analysis, []
    traces = tuple(dataclasses.replace(t, device=names[t.device]) for t in analysis.traces)
    unreadable = tuple(dataclasses.replace(u, device=names.get(u.device, "")) for u in analysis.unreadable)
    renamed = dataclasses.replace(analysis, traces=traces, unreadable=unreadable)
    said = [
        f"{old!r} is published as {new!r}: it comes from the files or looks like a serial number; for another name, put "
        f'under [devices] in campaign.toml: {json.dumps(old)} = "a name of your choice"'
        for old, new in changed.items()
    ]
    reference = [dataclasses.replace(row, device=names.get(row.device, "")) for row in analysis.summaries.reference]
    summed = dataclasses.replace(summaries(renamed), reference=tuple(reference))
    return dataclasses.replace(renamed, summaries=summed), said


def _trace(whole: Trace, part: Trace | None, name: str) -> Trace:
    """Return a recording of the shown fixes alone, with nothing else that its file said."""
    kept = part or shown.cut(whole, np.empty(0, dtype=np.int64))
    count = kept.accepted
    aside = tuple(_moved(group, kept.point) for group in whole.set_aside if _may_be_told(group, whole, kept))
    unknown = np.full(count, np.nan)
    began = neutral.day(neutral.began(whole))
    return Trace(
        file=name, track=1, name="", device=whole.device, creator="", sha256="",
        time=np.full(count, began), lon_deg=kept.lon_deg, lat_deg=kept.lat_deg,
        ele_m=unknown, hdop=unknown, sat=unknown, speed_mps=unknown,
        segment=kept.segment, point=np.arange(count, dtype=np.int64), set_aside=aside,
        points=count + sum(group.points for group in aside),
        started=neutral.day(whole.started), start_basis=whole.start_basis, truncated=whole.truncated,
    )  # fmt: skip


def _may_be_told(group: SetAside, whole: Trace, kept: Trace) -> bool:
    """Return whether points were set aside before the first fix, whose wait is told, or between fixes that are shown.

    Those beyond the cuts would be counted against those within: so much road is hidden. A recording that never fixed has
    a point for every second of its ride.
    """
    if not whole.accepted or group.reason in WHOLE_RIDE:
        return False
    before = group.first_point < whole.point.min()
    return bool(before or (kept.accepted and kept.point.min() < group.first_point < kept.point.max()))


def _moved(group: SetAside, kept_points: IntArray) -> SetAside:
    """Return a group of points that was set aside, counted among the points that are shown."""
    return dataclasses.replace(group, first_point=int((kept_points < group.first_point).sum()))


def _length_m(routes: Sequence[RouteResult], number: int, part: Trace, whole: Analysis) -> float:
    route = next(r.route for r in routes if number in r.route.members)
    return length_m(part, route.xy_m[route.members.index(number)], whole.settings.gap_s)


def _result(
    result: TraceResult,
    rides: Mapping[str, str],
    twins: Mapping[str, str],
    part: tuple[Trace, IntArray, Measured, float] | None,
) -> TraceResult:
    """Return what is published of a recording; `part` is its shown trace, with numbers, measures and length."""
    twin = twins.get(result.duplicate_of, "another recording")
    published = figures.only(
        result,
        ("trace", "route", "status", "interval_s", "ended_early_m"),
        ride=rides[result.ride],
        **figures.spikes(result, part[0] if part else None),
        reason=f"the same recording as {twin}" if twin else result.reason,
        first_fix=figures.first_fix(result.first_fix),
        length_m=float("nan"),
        crosstrack=figures.crosstrack(result.crosstrack, part[2] if part else None),
        curves=figures.curves(result.curves, part[2] if part else None),
        vanished=(),
        duplicate_of=twin,
    )
    if part is None:
        return published
    trace, fixes, measured, shown_m = part
    return dataclasses.replace(
        published,
        length_m=shown_m,
        gaps=tuple(_gaps(result.gaps, fixes)),
        deviations=tuple(_deviation(d, trace) for d in measured.deviations),
    )


def _gaps(gaps: Sequence[Gap], fixes: IntArray) -> list[Gap]:
    """Return the gaps that are shown from before to after, counted among the shown fixes."""
    kept = set(fixes.tolist())
    inside = [gap for gap in gaps if gap.after_point in kept and gap.after_point + 1 in kept]
    return [dataclasses.replace(gap, after_point=int(np.searchsorted(fixes, gap.after_point))) for gap in inside]


def _deviation(found: Deviation, part: Trace) -> Deviation:
    """Return a deviation by the numbers of the shown fixes, without times and without the person's words."""
    first, last = np.flatnonzero(ridden_between(part, found.from_point, found.to_point))[[0, -1]].tolist()
    return dataclasses.replace(found, from_time=NAT, to_time=NAT, from_point=first, to_point=last, note="")


def _numbered(results: Sequence[TraceResult]) -> list[TraceResult]:
    """Give deviations and events plain numbers: their own names are made of the private file."""
    done, number = [], 0
    events: dict[str, str] = {}
    for result in results:
        named = []
        for deviation in result.deviations:
            number += 1
            event = events.setdefault(deviation.event, f"E{len(events) + 1:02d}")
            named.append(dataclasses.replace(deviation, id=f"D{number:02d}", event=event))
        done.append(dataclasses.replace(result, deviations=tuple(named)))
    return done

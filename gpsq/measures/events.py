"""Deviations of one ride that leave the line together are one event, with one name, decided in one go.

Names rest on the recordings alone. A person's decision moves the line, and with it the ends of other deviations: they keep
the names that they have without any decision, so a list once printed can be worked down to its end.
"""

from __future__ import annotations

import dataclasses
import hashlib
from typing import TYPE_CHECKING

import numpy as np

from gpsq.arrays import norms

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping, Sequence

    from gpsq.measures.usual_spread import Course
    from gpsq.model import Deviation

#: Two recordings leave together where they share this much of the shorter stretch, …
SHARED = 0.5
#: … and are no further apart, in the median, than this share of the larger peak: on the two sides of the line it is two.
APART_SHARE = 0.5


def with_events(found: Sequence[Deviation], courses: Mapping[str, Sequence[Course]]) -> list[Deviation]:
    """Return the deviations of a route with the name of the event that each is part of; `courses` are those of each ride."""
    ride_of = {c.number: ride for ride, own in courses.items() for c in own}
    course_of = {c.number: c for own in courses.values() for c in own}
    group = list(range(len(found)))
    for i, one in enumerate(found):
        for k, other in enumerate(found[:i]):
            if ride_of[one.trace] == ride_of[other.trace] and _together(one, other, course_of):
                group = [group[k] if g == group[i] else g for g in group]
    names = {g: event_id(d.id for d, own in zip(found, group, strict=True) if own == g) for g in set(group)}
    return [dataclasses.replace(d, event=names[g]) for d, g in zip(found, group, strict=True)]


def _together(one: Deviation, other: Deviation, course_of: Mapping[int, Course]) -> bool:
    """Return whether two recordings of one ride leave the line together."""
    first, second = course_of[one.trace], course_of[other.trace]
    shared_m = min(one.to_m, other.to_m) - max(one.from_m, other.from_m)
    if first is second or shared_m < SHARED * min(one.to_m - one.from_m, other.to_m - other.from_m):
        return False
    low, high = max(one.from_m, other.from_m), min(one.to_m, other.to_m)
    inside = (first.along_m >= low) & (first.along_m <= high)
    apart = norms(first.place.xy_m[inside] - second.place.xy_m[inside])
    known = apart[~np.isnan(apart)]
    return bool(len(known) and np.median(known) <= APART_SHARE * max(one.peak_m, other.peak_m))


def named_as_recorded(
    found: Sequence[Deviation], recorded: Sequence[Deviation]
) -> tuple[tuple[Deviation, ...], tuple[Deviation, ...]]:
    """Return deviations under the names they have without any decision, and those that the decisions made vanish.

    Parameters
    ----------
    found : what is found of a route after a person's decisions.
    recorded : what is found of its recordings without any.
    """
    twins = _twins(found, recorded)
    taken = {d.id for d in recorded}
    events = {found[i].event: recorded[k].event for i, k in twins.items()}
    named = []
    for i, deviation in enumerate(found):
        if i in twins:
            named.append(dataclasses.replace(deviation, id=recorded[twins[i]].id, event=recorded[twins[i]].event))
            continue
        name = deviation.id
        while name in taken:  # that part of the recording has a deviation already
            name = event_id([name])
        taken.add(name)
        named.append(dataclasses.replace(deviation, id=name, event=events.get(deviation.event, deviation.event)))
    lost = set(range(len(recorded))) - set(twins.values())
    return tuple(named), tuple(recorded[k] for k in sorted(lost))


def _twins(found: Sequence[Deviation], recorded: Sequence[Deviation]) -> dict[int, int]:
    """Return for the number of each deviation that of the same one without decisions: the one it shares most points with."""
    pairs = [
        (shared, i, k)
        for i, one in enumerate(found)
        for k, other in enumerate(recorded)
        if one.trace == other.trace
        and (shared := min(one.to_point, other.to_point) - max(one.from_point, other.from_point) + 1) > 0
    ]
    twins: dict[int, int] = {}
    for _, i, k in sorted(pairs, key=lambda pair: (-pair[0], pair[1:])):
        if i not in twins and k not in twins.values():
            twins[i] = k
    return twins


def chosen(
    names: Iterable[str], deviations: Sequence[Deviation], ride_of: Mapping[int, str]
) -> dict[str, list[Deviation]]:
    """Return for each name the deviations that it means: one, those of an event, or those of a ride; empty where unknown.

    Parameters
    ----------
    ride_of : the ride of each trace, by its number.
    """
    found: dict[str, list[Deviation]] = {}
    for name in names:
        for means in (lambda d: d.id, lambda d: d.event, lambda d: ride_of.get(d.trace, "")):
            found[name] = [d for d in deviations if name and means(d) == name]
            if found[name]:
                break
    return found


def each_once(found: Mapping[str, Sequence[Deviation]]) -> list[Deviation]:
    """Return all deviations that several names mean, each once."""
    return list({d.id: d for own in found.values() for d in own}.values())


def event_id(deviations: Iterable[str]) -> str:
    """Return a short name for what some deviations show together, from their names alone.

    >>> event_id(["b54a56", "6d5381"]) == event_id(["6d5381", "b54a56"])
    True
    """
    return "E" + hashlib.sha256(" ".join(sorted(deviations)).encode()).hexdigest()[:5]

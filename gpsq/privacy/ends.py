"""Where the routes of a campaign begin and end: the places that a publication hides."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from gpsq.arrays import norms
from gpsq.plane import to_earth_centred
from gpsq.privacy.zones import KEPT_MISS_M, MISS_M, Hidden, Zone, covers, drawn, missed_by_m

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

    from gpsq.campaign.campaign_file import PrivatePlace
    from gpsq.model import FloatArray
    from gpsq.results import Analysis, RouteResult

#: Ends of routes this near one another are one place with one zone.
ONE_PLACE_M = 400.0
#: Where a recording begins or ends within this of a route's end, that is where the rider lives or works too.
NEAR_END_M = 200.0
#: … unless it lies on the road ahead, further than this from the end: then it is a late fix.
AHEAD_M = 60.0


@dataclass(frozen=True, eq=False)
class _End:
    """One end of one route: its name in words, the line from there on, and what else lies there, in degrees."""

    said: str
    line_deg: FloatArray
    places_deg: FloatArray


def zones_for(
    analysis: Analysis, places: Sequence[PrivatePlace], kept: Sequence[Zone], rng: np.random.Generator
) -> tuple[tuple[Zone, ...], tuple[str, ...]]:
    """Return the zones of a campaign, those kept from earlier first, and plain lines on what they cannot hide.

    A place that no kept zone hides yet gets a new one. So does a place that lines give away which the kept zones were not
    drawn for, where a further zone helps.
    """
    zones, warnings = list(kept), []
    for said, hidden in [*_ends(analysis), *_private(analysis, places)]:
        is_covered = any(covers(zone, hidden) for zone in zones)
        miss_m = missed_by_m(zones, hidden) if is_covered else 0.0
        if miss_m >= KEPT_MISS_M:
            continue
        zone, better_m = drawn(hidden, rng, zones)
        if not is_covered or better_m >= MISS_M:  # one that helps little would be added with every publication
            zones.append(zone)
            miss_m = better_m
        if miss_m < MISS_M:
            warnings.append(
                f"{said}: whoever carries the shown line straight on can come within {miss_m:.0f} m of what is hidden, "
                "if the distance is guessed too; think twice before you publish this route."
            )
    return tuple(zones), tuple(warnings)


def _private(analysis: Analysis, places: Sequence[PrivatePlace]) -> Iterator[tuple[str, Hidden]]:
    lines = tuple(line for found in analysis.routes if len(line := line_deg(found)))
    for number, place in enumerate(places, 1):
        where = np.array([[place.lon_deg, place.lat_deg]])
        near = tuple(line for line in lines if _far_m(line, where[0]).min() < place.radius_m + 2000.0)
        yield f"private place {number}", Hidden(where, near, place.radius_m)


def _ends(analysis: Analysis) -> Iterator[tuple[str, Hidden]]:
    ends = [end for found in analysis.routes if len(line_deg(found)) > 1 for end in _ends_of(analysis, found)]
    for group in _together(ends):
        yield (
            " and ".join(end.said for end in group),
            Hidden(np.vstack([end.places_deg for end in group]), tuple(end.line_deg for end in group)),
        )


def _ends_of(analysis: Analysis, found: RouteResult) -> tuple[_End, _End]:
    line, traces = line_deg(found), [analysis.traces[i] for i in found.route.members]
    first = [(t.lon_deg[0], t.lat_deg[0]) for t in traces] + [
        (t.start_lon_deg, t.start_lat_deg) for t in traces if np.isfinite(t.start_lat_deg + t.start_lon_deg)
    ]
    last = [(t.lon_deg[-1], t.lat_deg[-1]) for t in traces]
    name = found.route.name
    return (
        _End(f"beginning of route {name}", line, _at_end(line, np.array(first))),
        _End(f"end of route {name}", line[::-1], _at_end(line[::-1], np.array(last))),
    )


def _at_end(line: FloatArray, places: FloatArray) -> FloatArray:
    """Return the beginning of a line and those of the places that lie there, (k, 2) degrees."""
    near = places[_far_m(places, line[0]) <= NEAR_END_M]
    ahead_m = [float(_far_m(line[int(np.argmin(_far_m(line, place)))][None, :], line[0])[0]) for place in near]
    return np.vstack([line[:1], near[np.array(ahead_m, dtype=float) <= AHEAD_M]])


def _far_m(places: FloatArray, from_place: FloatArray) -> FloatArray:
    """Return the (n,) distances of (n, 2) places in degrees from one place."""
    apart = to_earth_centred(*places.T) - to_earth_centred(*from_place[:, None])
    return norms(apart)


def _together(ends: Sequence[_End]) -> list[list[_End]]:
    """Return the ends in groups: whoever lies near one of a group belongs to it."""
    groups: list[list[_End]] = []
    for end in ends:
        near = [g for g in groups if any(_far_m(end.line_deg[:1], o.line_deg[0])[0] <= ONE_PLACE_M for o in g)]
        groups = [g for g in groups if g not in near] + [[*(e for g in near for e in g), end]]
    return groups


def line_deg(found: RouteResult) -> FloatArray:
    """Return the (m, 2) longitudes and latitudes of a route's centreline, none where it has none."""
    if found.centreline is None:
        return np.empty((0, 2))
    return np.column_stack(found.route.plane.to_degrees(found.centreline.xy_m))

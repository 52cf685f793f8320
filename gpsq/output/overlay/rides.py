"""What an overlay picture shows of one route: its rides, where each was first fixed, and where some left the road."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from gpsq.geometry.polyline import along_m
from gpsq.measures.lead import not_recorded_m
from gpsq.output import wording
from gpsq.output.drawing.flags import flag_text
from gpsq.output.drawing.lines import parts, parts_between
from gpsq.output.drawing.looks import Look, device_looks
from gpsq.output.drawing.route_parts import excursions, shared
from gpsq.output.ride_days import short_names
from gpsq.output.wording import cell, short

if TYPE_CHECKING:
    from collections.abc import Sequence

    from gpsq.model import Deviation, FirstFix, FloatArray
    from gpsq.results import Analysis, RouteResult

#: Up to this many devices share a picture; with more each has its own.
MOST_TOGETHER = 3
#: More lines than this one over the other say no more; every so many rides are drawn, and the picture says so.
MOST_LINES = 120
#: Deviations named in a picture, the largest first.
MOST_NAMED = 4


@dataclass(frozen=True, eq=False)
class Ridden:
    """One recording: its line, and its first fix.

    `pieces_m` are its unbroken parts, `fix_m` (1, 2) where it was first fixed, or (0, 2), `station_m` how far along the route that
    is, `head_m` (k, 2) the way ridden before it.
    """

    device: str
    ride: str
    day: str
    fix: FirstFix
    pieces_m: tuple[FloatArray, ...]
    fix_m: FloatArray
    station_m: float
    head_m: FloatArray
    ended_early_m: float = float("nan")

    @property
    def flag(self) -> str:
        """What its flag says: the day, and the seconds; the metres missed where the seconds are unknown."""
        said = flag_text(self.fix)
        return f"{short(self.day, 14)} {said}" if said else short(self.day, 14)


@dataclass(frozen=True)
class LeftRoad:
    """A stretch off the centreline, of one ride: `places_m` are those of each unbroken part of its recordings."""

    day: str
    devices: tuple[str, ...]
    suggestion: str
    flag: str
    peak_m: float
    side: str
    from_m: float
    places_m: tuple[FloatArray, ...]

    @property
    def said(self) -> str:
        """What is written beside it."""
        what = _what(self.flag, self.suggestion)
        who = "" if len(self.devices) == 1 else f", {len(self.devices)} devices"
        return f"{short(self.day, 14)}: {what}, {wording.metres(self.peak_m)} off{who}"

    @property
    def said_briefly(self) -> str:
        """What is written beside it where there is little room."""
        return f"{short(self.day, 14)}: {wording.metres(self.peak_m)} off"


@dataclass(frozen=True, eq=False)
class Overlay:
    """All that one overlay picture shows."""

    name: str
    way: str
    found: RouteResult
    looks: dict[str, Look]
    rides: tuple[Ridden, ...]
    never_fixed: tuple[Ridden, ...]
    left_road: tuple[LeftRoad, ...]
    drawn: tuple[Ridden, ...]

    @property
    def line_m(self) -> FloatArray:
        """The centreline; the longest recording where no line could be made."""
        if self.found.centreline is not None:
            return self.found.centreline.xy_m
        return max((piece for ride in self.rides for piece in ride.pieces_m), key=len, default=np.empty((0, 2)))

    @property
    def along_m(self) -> FloatArray:
        """Stations of `line_m`."""
        line = self.found.centreline
        return line.along_m if line is not None else along_m(self.line_m)

    @property
    def ride_count(self) -> int:
        """Number of rides."""
        return len({ride.ride for ride in (*self.rides, *self.never_fixed)})

    @property
    def knows_seconds(self) -> bool:
        """Whether any flag says seconds."""
        return any(np.isfinite([r.fix.seconds, r.fix.at_least_s, r.fix.estimate_s]).any() for r in self.rides)


def _what(flag: str, suggestion: str) -> str:
    if flag:
        return "another road" if flag == "intentional" else "receiver error"
    said = {"route choice": "another road", "receiver error": "receiver error"}.get(suggestion, "off the road")
    return f"{said}, it seems" if said != "off the road" else said


def overlays(analysis: Analysis) -> list[Overlay]:
    """Return the overlay pictures: one for each way, or for each way and device where devices are many."""
    looks = device_looks(analysis)
    found = []
    for route in analysis.routes:
        own = _ridden(analysis, route)
        devices = sorted({ride.device for ride in own})
        groups = [devices] if len(devices) <= MOST_TOGETHER else [[device] for device in devices]
        for group in groups:
            mine = {name: looks[name] for name in group}
            found.append(_overlay(analysis, route, [r for r in own if r.device in mine], mine, len(groups) > 1))
    return _named_apart([overlay for overlay in found if overlay.drawn])


def _overlay(
    analysis: Analysis, route: RouteResult, own: Sequence[Ridden], looks: dict[str, Look], apart: bool
) -> Overlay:
    shown = [ride for ride in own if ride.pieces_m]
    every = -(-len(shown) // MOST_LINES) or 1
    return Overlay(
        name=slug(route.route.name) + (f"-{slug(next(iter(looks)))}" if apart else ""),
        way=wording.way_short(analysis, route.route.name),
        found=route,
        looks=looks,
        rides=tuple(ride for ride in own if not ride.fix.censored),
        never_fixed=tuple(ride for ride in own if ride.fix.censored),
        left_road=tuple(_left_road(analysis, route, list(looks), {ride.ride: ride.day for ride in own})),
        drawn=tuple(shown[::every]),
    )


def _ridden(analysis: Analysis, route: RouteResult) -> list[Ridden]:
    """Return the recordings of a route, those of its rides that never fixed too; each counts once."""
    name = route.route.name
    numbers = [i for i, result in enumerate(analysis.results) if result.route == name and not result.duplicate_of]
    days = short_names(analysis, [analysis.results[i].ride for i in numbers])
    places = dict(zip(route.route.members, route.route.xy_m, strict=True))
    found = []
    for i in numbers:
        trace, result = analysis.traces[i], analysis.results[i]
        xy_m = places.get(i, np.empty((0, 2)))
        pieces = tuple(xy_m[part] for part in parts(trace, result) if len(part) > 1) if len(xy_m) else ()
        fix_m = xy_m[:1]
        head_m, station_m = not_recorded_m(result, route), result.first_fix.station_m
        if not np.isfinite(station_m):
            station_m = _station_m(route, head_m[-1:] if len(head_m) else fix_m)
        day = days.get(result.ride) or cell(result.ride) or "ride"
        early_m = result.ended_early_m
        found.append(
            Ridden(trace.device, result.ride, day, result.first_fix, pieces, fix_m, station_m, head_m, early_m)
        )
    return found


def _station_m(route: RouteResult, place_m: FloatArray) -> float:
    """Return the station nearest to a place, nan where there is no line."""
    if not len(place_m) or route.centreline is None:
        return float("nan")
    nearest = int(np.hypot(*(route.centreline.xy_m - place_m).T).argmin())
    return float(route.centreline.along_m[nearest])


def _left_road(analysis: Analysis, route: RouteResult, devices: Sequence[str], days: dict[str, str]) -> list[LeftRoad]:
    """Return the deviations of a route by ride and place, the largest first."""
    chosen = [
        d for d in analysis.deviations if d.route == route.route.name and analysis.traces[d.trace].device in devices
    ]
    found = [_gone(analysis, route, group, days) for group in excursions(chosen)]
    return sorted(found, key=lambda off: (-off.peak_m, off.from_m))


def _gone(analysis: Analysis, route: RouteResult, group: Sequence[Deviation], days: dict[str, str]) -> LeftRoad:
    largest = max(group, key=lambda d: d.peak_m)
    places = dict(zip(route.route.members, route.route.xy_m, strict=True))
    ways: list[FloatArray] = []
    for found in group:
        if found.trace in places:
            both = analysis.traces[found.trace], analysis.results[found.trace]
            unbroken = parts_between(*both, found.from_point, found.to_point)
            ways += [places[found.trace][part] for part in unbroken]
    return LeftRoad(
        day=days.get(analysis.results[largest.trace].ride) or "ride",
        devices=tuple(sorted({analysis.traces[d.trace].device for d in group})),
        suggestion=shared(group, "suggestion"),
        flag=shared(group, "flag"),
        peak_m=largest.peak_m,
        side=largest.side,
        from_m=min(d.from_m for d in group),
        places_m=tuple(ways) or (np.empty((0, 2)),),
    )


def slug(name: str) -> str:
    """Return a name fit for a file anywhere.

    Examples
    --------
    >>> slug("To the mill / north"), slug("../..")
    ('To-the-mill-north', 'x')
    """
    import re

    return re.sub(r"[^\w]+", "-", cell(name)).strip("-_")[:40] or "x"


def _named_apart(found: list[Overlay]) -> list[Overlay]:
    """Give numbers to names that would be the same file, also where case does not tell files apart."""
    import dataclasses

    seen: dict[str, int] = {}
    named = []
    for overlay in found:
        count = seen[overlay.name.lower()] = seen.get(overlay.name.lower(), 0) + 1
        named.append(dataclasses.replace(overlay, name=f"{overlay.name}-{count}") if count > 1 else overlay)
    return named

"""How routes are called for people: out and back, when they are ridden and where they lead, or as the person named them."""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import TYPE_CHECKING

import numpy as np

from gpsq.campaign.local_time import local, zone_of
from gpsq.exceptions import CampaignError
from gpsq.results import Way

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from gpsq.model import FloatArray
    from gpsq.results import Analysis, RouteResult

#: Two ways are opposite where each begins this near the other's end, or within this share of its length (late fixes).
NEAR_M, NEAR_SHARE = 300.0, 0.2
#: A way leads somewhere when its ends lie further apart than this share of its length.
LEADS = 0.3
#: Rides of a way that begin at one time of the day, for the word to be used.
USUAL = 0.8
#: Hours at which a time of the day begins.
HOURS = ((4, "mornings"), (12, "afternoons"), (17, "evenings"), (22, "nights"))
POINTS = ("north", "north-east", "east", "south-east", "south", "south-west", "west", "north-west")
#: Two ways whose usual times of the day lie nearer than this are not told apart by them.
APART_H = 1.0


@dataclass(frozen=True)
class _Seen:
    """A route with its ends, (2,) longitude and latitude each, where it leads, and when its rides began."""

    found: RouteResult
    first_deg: FloatArray
    last_deg: FloatArray
    length_m: float
    bearing: str
    starts: tuple[datetime, ...]

    @property
    def name(self) -> str:
        """The route's letter."""
        return self.found.route.name

    def apart_m(self, other: _Seen) -> float:
        """Return how far the ends are apart that meet where the other is the way back; the larger of the two."""
        plane = self.found.route.plane
        own, theirs = (
            plane.to_metres(np.array([a[0], b[0]]), np.array([a[1], b[1]]))
            for a, b in ((self.first_deg, self.last_deg), (other.last_deg, other.first_deg))
        )
        return float(np.hypot(*(own - theirs).T).max())


def ways(analysis: Analysis, names: Mapping[str, str]) -> tuple[dict[str, Way], tuple[str, ...]]:
    """Return how each route is called, and a line for each name that is for no route here.

    Parameters
    ----------
    analysis : Analysis
        With routes, centrelines and the campaign's time zone; without a zone, the sun's time at the place decides what
        is a morning.
    names : mapping
        ``[routes]`` of ``campaign.toml``: a route's letter, or a recording on it → the name wanted.
    """
    seen = {s.name: s for s in (_seen(found, analysis) for found in analysis.routes) if s}
    senses = _senses(list(seen.values()))
    own, unknown = _named(analysis, names)
    found: dict[str, Way] = {}
    for route in (r.route.name for r in analysis.routes):
        sense = senses.get(route, "")
        words = [sense, _when(seen[route].starts), seen[route].bearing] if route in seen else [sense]
        said = ", ".join(word for word in words if word)
        alone = list(senses.values()).count(sense) == 1
        found[route] = Way(own[route], own[route]) if route in own else Way(said, sense if alone else "")
    return found, tuple(unknown)


def _named(analysis: Analysis, names: Mapping[str, str]) -> tuple[dict[str, str], list[str]]:
    routes = {found.route.name for found in analysis.routes}
    route_of = {t.file: r.route for t, r in zip(analysis.traces, analysis.results, strict=True) if r.route}
    named, unknown = {}, []
    for key, name in names.items():
        route = key if key in routes else route_of.get(key)
        if route is None:
            known = (
                f"a route's letter ({', '.join(sorted(routes))}) or a recording on it" if routes else "a route's letter"
            )
            unknown.append(str(CampaignError("campaign.toml", f"{key!r} in [routes], which is no route here", known)))
        else:
            named[route] = name
    return named, unknown


def _seen(found: RouteResult, analysis: Analysis) -> _Seen | None:
    line = found.centreline
    if line is None or len(line.xy_m) < 2:
        return None
    lon, lat = found.route.plane.to_degrees(line.xy_m[[0, -1]])
    ends = np.column_stack([lon, lat])
    east, north = line.xy_m[-1] - line.xy_m[0]
    leads = float(np.hypot(east, north)) > LEADS * line.length_m
    bearing = POINTS[round(np.degrees(np.arctan2(east, north)) / 45.0) % 8] if leads else ""
    return _Seen(found, ends[0], ends[1], line.length_m, bearing, tuple(_starts(found, analysis, float(lon[0]))))


def _starts(found: RouteResult, analysis: Analysis, lon_deg: float) -> list[datetime]:
    """Return when each ride of a route began, by the clocks there; by the sun where the zone is not known."""
    first: dict[str, np.datetime64] = {}
    for i in found.route.members:
        trace = analysis.traces[i]
        if trace.accepted and trace.date_known and not np.isnat(trace.time[0]):
            ride = analysis.results[i].ride
            first[ride] = min(trace.time[0], first.get(ride, trace.time[0]))
    sun = timedelta(0) if analysis.time_zone else timedelta(hours=lon_deg / 15.0)
    return sorted(local(time, zone_of(analysis.time_zone)).replace(tzinfo=None) + sun for time in first.values())


def _when(starts: Sequence[datetime]) -> str:
    """Return the time of the day at which most rides begin, "" where there is none, or one ride only.

    Examples
    --------
    >>> _when([datetime(2026, 5, day, 7, 2) for day in (4, 5, 6)])
    'mornings'
    """
    words = Counter(next((word for hour, word in reversed(HOURS) if s.hour >= hour), HOURS[-1][1]) for s in starts)
    word, count = words.most_common(1)[0] if words else ("", 0)
    return word if len(starts) > 1 and count >= USUAL * len(starts) else ""


def _senses(seen: Sequence[_Seen]) -> dict[str, str]:
    """Return "out" and "back" for the ways between two places, where their times tell which is which.

    The two that most rides have decide; any other way between the same places goes with its opposite.
    """
    opposite = {s.name: [o for o in seen if o is not s and _are_opposite(s, o)] for s in seen}
    linked = [s for s in seen if opposite[s.name]]
    if not linked:
        return {}
    most = max(linked, key=lambda s: len(s.starts))
    partner = max(opposite[most.name], key=lambda s: len(s.starts))
    first = _first_of(most, partner)
    if first is None:
        return {}
    outwards = {s.name for s in opposite[(partner if first is most else most).name]}
    backwards = {s.name for s in opposite[first.name]}
    if outwards & backwards or {s.name for s in linked} - outwards - backwards:
        return {}
    return dict.fromkeys(outwards, "out") | dict.fromkeys(backwards, "back")


def _are_opposite(a: _Seen, b: _Seen) -> bool:
    near_m = max(NEAR_M, NEAR_SHARE * min(a.length_m, b.length_m))
    return bool(a.bearing and b.bearing) and a.apart_m(b) < near_m


def _first_of(a: _Seen, b: _Seen) -> _Seen | None:
    """Return the way that is ridden first on most days that have both, else the one ridden earlier in the day."""
    lead = 0.0
    for day in {s.date() for s in a.starts} & {s.date() for s in b.starts}:
        own, other = (min(s for s in way.starts if s.date() == day) for way in (a, b))
        lead += 1 if own < other else -1
    if not lead and a.starts and b.starts:
        own_h, other_h = (float(np.median([s.hour + s.minute / 60.0 for s in way.starts])) for way in (a, b))
        lead = other_h - own_h if abs(other_h - own_h) >= APART_H else 0.0
    return (a if lead > 0 else b) if lead else None

"""The last stretches of the opposite way: where rides back end, rides out begin."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from gpsq.arrays import FloatArray, norms
from gpsq.geometry import polyline
from gpsq.geometry.cells import CellIndex, cells_of
from gpsq.plane import MEAN_RADIUS_M
from gpsq.rides.unbroken import runs_of

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from gpsq.model import Route, Trace

#: So much of each recording's end is looked at.
TAIL_M = 400.0
#: A route may begin where another ends when some first fix of the one lies this near the usual last fix of the other.
NEAR_M = 300.0
#: A recording that ends further than this from the usual last fix stopped early.
STOPPED_EARLY_M = 60.0


@dataclass(frozen=True, eq=False)
class Tail:
    """The last stretch of a recording: `xy_m` (n, 2) in the plane of the route that may begin there."""

    xy_m: FloatArray
    ride: str
    device: str


def tails_towards(
    routes: Sequence[Route], traces: Sequence[Trace], rides: Sequence[str], twins: Mapping[int, str], gap_s: float
) -> list[tuple[Tail, ...]]:
    """Return for each route the last stretches of the recordings of other routes that end where it may begin.

    Parameters
    ----------
    rides : the ride of each trace. twins : the traces that repeat another one; they are left out.
    gap_s : a silence longer than this breaks a recording; only what comes after the last one is taken.
    """
    single = [tuple(i for i in route.members if i not in twins) for route in routes]
    firsts, lasts = ([_on_sphere(traces, members, at) for members in single] for at in (0, -1))
    usual = {k: np.median(last, axis=0) for k, last in enumerate(lasts) if len(last)}
    ends = CellIndex()
    for k, place in usual.items():
        ends.put(k, cells_of(place[None], NEAR_M))
    found = []
    for k, route in enumerate(routes):
        tails: list[Tail] = []
        for other in sorted(ends.near(cells_of(firsts[k], NEAR_M)) - {k}):
            if norms(firsts[k] - usual[other]).min() < NEAR_M:
                there = norms(lasts[other] - usual[other]) < STOPPED_EARLY_M
                ending = [i for i, ends_there in zip(single[other], there, strict=True) if ends_there]
                tails += [Tail(_last_stretch(route, traces[i], gap_s), rides[i], traces[i].device) for i in ending]
        found.append(tuple(tails))
    return found


def _on_sphere(traces: Sequence[Trace], members: Sequence[int], at: int) -> FloatArray:
    """Return (n, 3) places in metres, in which near places are near whatever the longitude."""
    lon = np.radians([traces[i].lon_deg[at] for i in members])
    lat = np.radians([traces[i].lat_deg[at] for i in members])
    return MEAN_RADIUS_M * np.column_stack([np.cos(lat) * np.cos(lon), np.cos(lat) * np.sin(lon), np.sin(lat)])


def _last_stretch(route: Route, trace: Trace, gap_s: float) -> FloatArray:
    # a thousand fixes are enough: at walking pace and one a second they are over a kilometre
    first = max(runs_of(trace, gap_s)[-1][0], trace.accepted - 1000)
    xy_m = route.plane.to_metres(trace.lon_deg[first:], trace.lat_deg[first:])
    along = polyline.along_m(xy_m)
    return np.asarray(xy_m[along >= along[-1] - TAIL_M])

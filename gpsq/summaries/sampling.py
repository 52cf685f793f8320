"""Devices that record at different intervals, compared where the slower one has fixes.

Between fixes a track is a straight line and cuts the road's bends; a device that records every twenty seconds reads half
too high for that alone. So two devices of which one records much more rarely are both looked at there alone where the
rarer one was: at the stations nearest to its fixes.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from gpsq.model import BoolArray, Trace
    from gpsq.results import RouteResult, TraceResult
    from gpsq.summaries.station_table import StationTable

#: A device that records this many times as rarely as another is the slower one.
INTERVAL_RATIO = 2.5
#: From this interval on chords cut so much of the road that any other interval is another measurement.
RARELY_S, RARELY_RATIO = 10.0, 1.25


def usual_intervals(traces: Sequence[Trace], results: Sequence[TraceResult]) -> dict[str, float]:
    """Return the median over its recordings of the seconds between a device's fixes, for devices that have times."""
    found: dict[str, list[float]] = {}
    for r in results:
        if np.isfinite(r.interval_s) and not r.duplicate_of:
            found.setdefault(traces[r.trace].device, []).append(r.interval_s)
    return {device: float(np.median(own)) for device, own in found.items()}


def slower(devices: Sequence[str], interval_s: Mapping[str, float]) -> str:
    """Return the device that records most rarely, where another does so much more often; "" where all are alike.

    >>> slower(("a", "b"), {"a": 1.0, "b": 20.0}), slower(("a", "b"), {"a": 1.0, "b": 2.0})
    ('b', '')
    >>> slower(("a", "b"), {"a": 10.0, "b": 20.0})
    'b'
    """
    known = {d: interval_s[d] for d in devices if d in interval_s}
    if not known:
        return ""
    most, least = max(known.values()), min(known.values())
    if most <= (RARELY_RATIO if most > RARELY_S else INTERVAL_RATIO) * least:
        return ""
    return max(known, key=lambda d: known[d])


def at_fixes(table: StationTable, route: RouteResult) -> dict[int, BoolArray]:
    """Return (m,) which stations are the nearest to a fix, for each recording of the table by its number."""
    from scipy.spatial import cKDTree

    if route.centreline is None:
        return {}
    stations = cKDTree(route.centreline.xy_m)
    places = dict(zip(route.route.members, route.route.xy_m, strict=True))
    found = {}
    for number in table.trace:
        near = np.zeros(len(table.along_m), dtype=bool)
        if len(places[number]):
            near[stations.query(places[number])[1]] = True
        found[number] = near
    return found


def masked(table: StationTable, route: RouteResult, device: str) -> BoolArray:
    """Return (k, m) which stations of each row count where one device is the slower: those near its fixes on the ride."""
    near = at_fixes(table, route)
    keep = np.zeros(table.offset_m.shape, dtype=bool)
    for number, ride, of in zip(table.trace, table.ride, table.device, strict=True):
        if of == device:
            keep[[r == ride for r in table.ride]] |= near[number]
    return keep

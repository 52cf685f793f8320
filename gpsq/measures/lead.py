"""The road from the place of a start to the centreline: along the opposite way's line, or straight as a lower bound."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from gpsq.arrays import norms
from gpsq.geometry import polyline
from gpsq.results import Lead

if TYPE_CHECKING:
    from collections.abc import Sequence

    from gpsq.model import FloatArray
    from gpsq.results import RouteResult, TraceResult

#: A place this near the line lies on it: the door is beside the road, and the log's place is read off a map.
ON_LINE_M = 40.0
#: The opposite way leads from a place to the head of the line where it passes both this near, …
BESIDE_M = 40.0
#: … and by no more road than this.
MOST_LEAD_M = 2000.0
#: A straight piece no longer than this is as good as the road.
SHORT_M = 25.0


@dataclass(frozen=True, eq=False)
class Reached:
    """A place seen from a line: `station_m` along it, negative before its head, and the way to it where it lies off it.

    `is_bound` says that the way is straight where the road is not known, so that the station is too high rather than too low.
    """

    station_m: float
    lead: Lead | None = None
    is_bound: bool = False


def reached(place_m: FloatArray, line_m: FloatArray, until_m: float, ways_m: Sequence[FloatArray]) -> Reached:
    """Return where a ride that starts at a place comes onto a line.

    Parameters
    ----------
    place_m : (2,) the place. line_m : (m, 2) the centreline at equal steps.
    until_m : station by which the ride is on the line: its first fix.
    ways_m : lines of other ways that end near the place, turned round, (k, 2) each.

    Examples
    --------
    The line begins 200 m from the door, round a corner that the way back passes too:

    >>> line = np.column_stack([np.zeros(50), np.arange(100.0, 350.0, 5.0)])
    >>> back = np.array([[-100.0, 0.0], [0.0, 0.0], [0.0, 350.0]])
    >>> door = np.array([-100.0, 0.0])
    >>> reached(door, line, 60.0, [back]).station_m, reached(door, line, 60.0, [back]).is_bound
    (-200.0, False)
    >>> round(reached(door, line, 60.0, []).station_m), reached(door, line, 60.0, []).is_bound
    (-141, True)
    >>> reached(np.array([3.0, 140.0]), line, 60.0, []).station_m
    40.0
    """
    step_m = float(norms(line_m[1:2] - line_m[:1])[0])
    last = max(1, min(len(line_m) - 1, int(np.ceil(max(until_m, 0.0) / step_m))))
    foot_m, off_m = _foot(place_m, line_m[: last + 1])
    if off_m <= ON_LINE_M and foot_m > 0:
        return Reached(foot_m)
    along = [found for way in ways_m if (found := _along(place_m, line_m[0], way)) is not None]
    if along:
        return max(along, key=lambda found: found.station_m)
    lead = Lead(np.vstack([place_m, polyline.at_along(line_m, polyline.along_m(line_m), np.array([foot_m]))]))
    return Reached(foot_m - off_m, lead, is_bound=off_m > SHORT_M)


def _foot(place_m: FloatArray, line_m: FloatArray) -> tuple[float, float]:
    """Return how far along a line a place lies, and how far from it."""
    ends = np.array([0]), np.array([len(line_m) - 2])
    along, _ = polyline.nearest_on_line(place_m[None, :], line_m, *ends)
    foot = polyline.at_along(line_m, polyline.along_m(line_m), along)
    return float(along[0]), float(norms(foot - place_m)[0])


def _along(place_m: FloatArray, head_m: FloatArray, way_m: FloatArray) -> Reached | None:
    """Return a place seen from a line that another way leads to, that way set over onto both; None where it does not."""
    along_m = polyline.along_m(way_m)
    (from_m, off_m), (to_m, beside_m) = _foot(place_m, way_m), _foot(head_m, way_m)
    if max(off_m, beside_m) > BESIDE_M or not 0 < to_m - from_m <= MOST_LEAD_M:
        return None
    inner = along_m[(along_m > from_m) & (along_m < to_m)]
    stations = np.concatenate([[from_m], inner, [to_m]])
    xy_m = polyline.at_along(way_m, along_m, stations)
    share = ((stations - from_m) / (to_m - from_m))[:, None]
    moved = xy_m + (1 - share) * (place_m - xy_m[0]) + share * (head_m - xy_m[-1])
    return Reached(-float(polyline.along_m(moved)[-1]), Lead(moved))


def not_recorded_m(result: TraceResult, found: RouteResult) -> FloatArray:
    """Return the (k, 2) way ridden before the first fix, from the place of the start, in no recording; (0, 2) if unknown.

    It leads to the centreline as `TraceResult.lead` says, and along it to where the first fix lies.
    """
    missed_m, station_m = result.first_fix.missed_m, result.first_fix.station_m
    if found.centreline is None or not np.isfinite(missed_m) or missed_m <= 0:
        return np.empty((0, 2))
    lead = result.lead.xy_m if result.lead else np.empty((0, 2))
    lead_m = float(polyline.along_m(lead)[-1]) if len(lead) else 0.0
    if not np.isfinite(station_m):  # of a copy that does not say where the route begins
        station_m = float(found.centreline.along_m[0]) + missed_m
    if lead_m >= missed_m:
        return beginning_of(lead, missed_m)
    line = found.centreline
    from_m, to_m = np.clip([station_m - missed_m + lead_m, station_m], line.along_m[0], line.along_m[-1])
    inner = line.along_m[(line.along_m > from_m) & (line.along_m < to_m)]
    return np.vstack([lead, polyline.at_along(line.xy_m, line.along_m, np.array([from_m, *inner, to_m]))])


def beginning_of(way_m: FloatArray, length_m: float) -> FloatArray:
    """Return the first metres of a way.

    Examples
    --------
    >>> beginning_of(np.array([[0.0, 0.0], [10.0, 0.0], [10.0, 10.0]]), 15.0).tolist()
    [[0.0, 0.0], [10.0, 0.0], [10.0, 5.0]]
    """
    along = polyline.along_m(way_m)
    inner = along[along < length_m]
    stations = np.append(inner, min(length_m, along[-1]))
    return polyline.at_along(way_m, along, stations)

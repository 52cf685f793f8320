"""Lines for layers and drawings: cut at breaks and at the antimeridian, or unwrapped and thinned for the eye.

Thinning is for drawing only; no figure rests on a thinned line.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np

from gpsq.campaign.stretches import ridden_between

if TYPE_CHECKING:
    from collections.abc import Sequence

    from gpsq.model import FloatArray, IntArray, Trace
    from gpsq.results import Analysis, TraceResult

#: Metres in a degree of latitude on a sphere; good to 1 %, which is enough to thin a drawing.
DEGREE_M = 111_320.0
#: Factor from one tolerance to the next where a drawing would hold too many points.
STEP = 1.5


def parts(trace: Trace, result: TraceResult) -> list[IntArray]:
    """Return the numbers of the accepted fixes of each unbroken part; breaks are new segments and gaps.

    A stretch without data was not ridden as far as anyone knows, so no line is drawn across it.
    """
    if trace.accepted == 0:
        return []
    broken = np.diff(trace.segment) != 0
    for gap in result.gaps:
        if 0 <= gap.after_point < len(broken):
            broken[gap.after_point] = True
    return np.split(np.arange(trace.accepted), np.flatnonzero(broken) + 1)


def parts_between(trace: Trace, result: TraceResult, from_point: int, to_point: int) -> list[IntArray]:
    """Return the numbers of the accepted fixes between two points of the recording, of each unbroken part that has any."""
    inside = ridden_between(trace, from_point, to_point)
    return [kept for part in parts(trace, result) if len(kept := part[inside[part]])]


def cut_antimeridian(lon_deg: FloatArray, lat_deg: FloatArray) -> list[FloatArray]:
    """Return the (k, 2) longitude-latitude pieces of a line, none crossing ±180° (RFC 7946, section 3.1.9).

    Parameters
    ----------
    lon_deg, lat_deg : (n,) array
        A line; a step of more than 180° of longitude is the short way round.

    Examples
    --------
    >>> [piece.tolist() for piece in cut_antimeridian(np.array([179.0, -179.0]), np.array([0.0, 1.0]))]
    [[[179.0, 0.0], [180.0, 0.5]], [[-180.0, 0.5], [-179.0, 1.0]]]
    """
    line = np.column_stack([lon_deg, lat_deg])
    pieces, head, start = [], np.empty((0, 2)), 0
    for last in np.flatnonzero(np.abs(np.diff(lon_deg)) > 180.0).tolist():
        before, after = line[last], line[last + 1]
        side = np.copysign(180.0, before[0])
        step = after[0] + 2.0 * side - before[0]
        share = (side - before[0]) / step if step else 0.0
        lat = before[1] + share * (after[1] - before[1])
        pieces.append(np.vstack([head, line[start : last + 1], [[side, lat]]]))
        head, start = np.array([[-side, lat]]), last + 1
    pieces.append(np.vstack([head, line[start:]]))
    return [piece for piece in map(_without_repeats, pieces) if len(piece) > 1]


def _without_repeats(line: FloatArray) -> FloatArray:
    """Drop a vertex that repeats the one before."""
    keep = np.ones(len(line), bool)
    keep[1:] = (np.diff(line, axis=0) != 0).any(axis=1)
    return line[keep]


def unwrap(lon_deg: FloatArray, near_deg: float) -> FloatArray:
    """Return longitudes without a jump at ±180°, shifted by whole turns to lie near `near_deg`.

    Examples
    --------
    >>> unwrap(np.array([179.0, -179.0]), -180.0).tolist()
    [-181.0, -179.0]
    """
    if len(lon_deg) == 0:
        return lon_deg
    lon = np.unwrap(lon_deg, period=360.0)
    return np.asarray(lon + 360.0 * np.round((near_deg - float(np.mean(lon))) / 360.0))


def middle_lon_deg(traces: Sequence[Trace]) -> float:
    """Return the longitude that drawings are unwrapped about: that of the first fix there is, 0 without one."""
    return next((float(t.lon_deg[0]) for t in traces if t.accepted), 0.0)


@dataclass(frozen=True, eq=False)
class Drawn:
    """Thinned lines: `lines[i]` holds the (k, 2) lon-lat pieces of trace i; no vertex is further than `tolerance_m`."""

    lines: tuple[tuple[FloatArray, ...], ...]
    tolerance_m: float
    points: int
    drawn: int


def thin(analysis: Analysis, tolerance_m: float, budget: int) -> Drawn:
    """Return the lines of all traces thinned to `tolerance_m`, or further until they have at most `budget` points.

    Longitudes are unwrapped about one meridian. Thinning is Douglas and Peucker's (1973), by GEOS.
    """
    import shapely

    near_deg = middle_lon_deg(analysis.traces)
    owner, pieces = _pieces(analysis, near_deg)
    points = sum(trace.accepted for trace in analysis.traces)
    if not pieces:
        return Drawn(tuple(() for _ in analysis.traces), tolerance_m, points, 0)
    scale = _metres_per_degree(pieces)
    lengths = np.array([len(piece) for piece in pieces])
    metres = np.vstack(pieces) * np.repeat(scale, lengths, axis=0)
    lines: Any = shapely.linestrings(metres, indices=np.repeat(np.arange(len(pieces)), lengths))
    lines, tolerance_m = _within_budget(lines, tolerance_m, max(budget, 2 * len(lines)))
    found: list[list[FloatArray]] = [[] for _ in analysis.traces]
    for trace, line, per_degree in zip(owner, lines, scale, strict=True):
        found[trace].append(shapely.get_coordinates(line) / per_degree)
    drawn = int(shapely.get_num_coordinates(lines).sum())
    return Drawn(tuple(map(tuple, found)), tolerance_m, points, drawn)


def thin_line(xy_m: FloatArray, tolerance_m: float) -> FloatArray:
    """Return a (k, 2) line in metres thinned for drawing, its ends kept.

    Examples
    --------
    >>> thin_line(np.array([[0.0, 0.0], [5.0, 0.1], [10.0, 0.0]]), 0.5).tolist()
    [[0.0, 0.0], [10.0, 0.0]]
    """
    import shapely

    if len(xy_m) < 3:
        return xy_m
    return np.asarray(
        shapely.get_coordinates(shapely.simplify(shapely.linestrings(xy_m), tolerance_m, preserve_topology=False))
    )


def _within_budget(lines: Any, tolerance_m: float, budget: int) -> tuple[Any, float]:
    """Return the lines thinned by as many steps as it takes, and to what; a few lines tell where to begin."""
    import shapely

    some = lines[:: len(lines) // 50 + 1]
    share = len(some) / len(lines)
    while (
        shapely.get_num_coordinates(shapely.simplify(some, tolerance_m, preserve_topology=False)).sum() > budget * share
    ):
        tolerance_m *= STEP
    thinned = shapely.simplify(lines, tolerance_m, preserve_topology=False)
    while shapely.get_num_coordinates(thinned).sum() > budget:
        tolerance_m *= STEP
        thinned = shapely.simplify(lines, tolerance_m, preserve_topology=False)
    return thinned, tolerance_m


def _pieces(analysis: Analysis, near_deg: float) -> tuple[list[int], list[FloatArray]]:
    """All parts of two fixes or more, with the number of the trace each belongs to."""
    owner, pieces = [], []
    for i, (trace, result) in enumerate(zip(analysis.traces, analysis.results, strict=True)):
        line = np.column_stack([unwrap(trace.lon_deg, near_deg), trace.lat_deg])
        for part in parts(trace, result):
            piece = line[part[0] : part[-1] + 1]
            if len(piece) > 1:
                owner.append(i)
                pieces.append(piece)
    return owner, pieces


def _metres_per_degree(pieces: list[FloatArray]) -> FloatArray:
    """Metres per degree of longitude and latitude at the first vertex of each piece, (n, 2)."""
    lat = np.array([piece[0, 1] for piece in pieces])
    east = DEGREE_M * np.maximum(np.cos(np.radians(lat)), 1e-3)
    return np.column_stack([east, np.full_like(east, DEGREE_M)])

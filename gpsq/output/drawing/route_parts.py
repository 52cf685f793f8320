"""Parts of a route for drawing: the stretch before a first fix, between two stations, the spread band, the hot spots."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np

if TYPE_CHECKING:
    from collections.abc import Iterable

    from gpsq.model import Deviation, FloatArray
    from gpsq.results import Analysis, RouteResult


def hot_spots(analysis: Analysis) -> tuple[Any, ...]:
    """Return the places where recordings scatter most, by route and along it."""
    return tuple(sorted(analysis.summaries.hot_spots, key=lambda spot: (spot.route, spot.from_m)))


def stretch_m(found: RouteResult, from_m: float, to_m: float) -> FloatArray:
    """Return the (k, 2) part of a route's centreline between two stations, in its plane."""
    line = found.centreline
    if line is None:
        return np.empty((0, 2))
    inner = line.along_m[(line.along_m > from_m) & (line.along_m < to_m)]
    along = np.clip([from_m, *inner, to_m], line.along_m[0], line.along_m[-1])
    return np.column_stack([np.interp(along, line.along_m, line.xy_m[:, axis]) for axis in (0, 1)])


def band_m(found: RouteResult) -> FloatArray:
    """Return the (k, 2) outline of the centreline's spread band, one robust standard deviation to either side."""
    line = found.centreline
    if line is None or len(line.xy_m) < 2:
        return np.empty((0, 2))
    tangent = np.gradient(line.xy_m, axis=0)
    tangent /= np.maximum(np.hypot(*tangent.T), 1e-9)[:, None]
    side = np.column_stack([-tangent[:, 1], tangent[:, 0]]) * np.nan_to_num(line.spread_m)[:, None]
    return np.vstack([line.xy_m + side, (line.xy_m - side)[::-1]])


def device_summaries(analysis: Analysis) -> tuple[Any, ...]:
    """Return the figures of every device on each route, and over all routes."""
    return analysis.summaries.devices


def shared(event: Iterable[Deviation], name: str) -> str:
    """Return the flag or suggestion that all deviations of an event have, "" where they differ: then it has none."""
    values = {str(getattr(found, name)) for found in event}
    return values.pop() if len(values) == 1 else ""


def excursions(deviations: Iterable[Deviation]) -> list[list[Deviation]]:
    """Return deviations by event: what several recordings of one ride show together is one."""
    groups: dict[str, list[Deviation]] = {}
    for found in deviations:
        groups.setdefault(found.event or found.id, []).append(found)
    return list(groups.values())


def block_m(found: RouteResult, from_m: float, to_m: float, half_m: float) -> FloatArray:
    """Return the (k, 2) outline of a stretch of a route, so wide to either side."""
    from gpsq.geometry.polyline import left_normals

    line = stretch_m(found, from_m, to_m)
    if len(line) < 2:
        return np.empty((0, 2))
    side = left_normals(line) * half_m
    return np.vstack([line + side, (line - side)[::-1]])

"""Polylines in a plane: arc length, equal steps, normals, and the place on a line abreast of a point."""

from __future__ import annotations

import itertools
from dataclasses import dataclass

import numpy as np

from gpsq.arrays import BoolArray, FloatArray, IntArray, freeze, norms
from gpsq.exceptions import GeometryError

#: A leg is far when it is so long, and so many times as long as the usual leg of its line.
FAR_M, FAR_LEGS = 10_000.0, 100.0
#: Fewer legs than this say nothing of what is usual.
FEW_LEGS = 10


def along_m(xy_m: FloatArray) -> FloatArray:
    """Return the (n,) distance along a line of (n, d) vertices, 0 at its first vertex.

    Examples
    --------
    >>> along_m(np.array([[0.0, 0.0], [3.0, 4.0], [3.0, 4.0]])).tolist()
    [0.0, 5.0, 5.0]
    """
    legs = norms(np.diff(xy_m, axis=0))
    return np.concatenate([[0.0], np.cumsum(legs)])


def far_legs(legs_m: FloatArray) -> BoolArray:
    """Return which of a line's (n,) legs are so long beside its usual one that nothing is known of the way.

    Examples
    --------
    >>> far_legs(np.array([8.0] * 10 + [600_000.0])).nonzero()[0].tolist()
    [10]
    """
    if len(legs_m) <= FEW_LEGS:
        return np.zeros(len(legs_m), dtype=np.bool_)
    return np.asarray(legs_m > max(FAR_M, FAR_LEGS * float(np.median(legs_m))))


def at_along(xy_m: FloatArray, along: FloatArray, stations_m: FloatArray) -> FloatArray:
    """Return the (k, d) places at `stations_m` of a line whose vertices lie at `along`."""
    return np.column_stack([np.interp(stations_m, along, xy_m[:, axis]) for axis in range(xy_m.shape[1])])


def resample(xy_m: FloatArray, step_m: float) -> FloatArray:
    """Return the line at equal steps of about `step_m`, both ends kept.

    Parameters
    ----------
    xy_m : (n, d) vertices in metres, n ≥ 2.
    step_m : the step wanted; the step taken divides the length evenly.

    Raises
    ------
    GeometryError
        When the line has no length.

    Examples
    --------
    >>> resample(np.array([[0.0, 0.0], [10.0, 0.0]]), 4.0)[:, 0].tolist()
    [0.0, 5.0, 10.0]
    """
    along = along_m(xy_m)
    if along[-1] <= 0:
        raise GeometryError("a line to be resampled needs a length")
    steps = max(1, round(along[-1] / step_m))
    return at_along(xy_m, along, np.linspace(0.0, along[-1], steps + 1))


@dataclass(frozen=True, eq=False)
class Steps:
    """A trace at equal steps of distance.

    `xy_m` (k, d) places, `vertex` (k,) fractional number of the fix each lies at, `piece` (k,) number of the unbroken
    piece it belongs to: nothing is interpolated across a break.
    """

    xy_m: FloatArray
    vertex: FloatArray
    piece: IntArray

    def __post_init__(self) -> None:
        freeze(self)

    def __len__(self) -> int:
        return len(self.vertex)


def pieces(breaks_after: IntArray, count: int) -> list[tuple[int, int]]:
    """Return (first, last + 1) of each unbroken run of `count` fixes, broken after the fixes named.

    Examples
    --------
    >>> pieces(np.array([1]), 5)
    [(0, 2), (2, 5)]
    """
    edges = [0, *(int(i) + 1 for i in breaks_after), count]
    return [(first, last) for first, last in itertools.pairwise(edges) if last > first]


def equal_steps(xy_m: FloatArray, runs: list[tuple[int, int]], step_m: float) -> Steps:
    """Return a trace of (n, d) fixes at steps of `step_m` along each of its unbroken `runs`.

    A run without length gives one place. Standing still therefore gives few places, however long it lasts.

    Examples
    --------
    >>> equal_steps(np.array([[0.0, 0.0], [10.0, 0.0]]), [(0, 2)], 5.0).vertex.tolist()
    [0.0, 0.5, 1.0]
    """
    vertices, numbers = [], []
    for number, (first, last) in enumerate(runs):
        along = along_m(xy_m[first:last])
        steps = max(1, round(along[-1] / step_m)) if along[-1] > 0 else 0
        stations = np.linspace(0.0, along[-1], steps + 1)
        vertices.append(first + _vertex_at(along, stations))
        numbers.append(np.full(len(stations), number))
    if not vertices:
        return Steps(np.empty((0, xy_m.shape[1])), np.empty(0), np.empty(0, dtype=np.int64))
    vertex = np.concatenate(vertices)
    return Steps(at_vertex(xy_m, vertex), vertex, np.concatenate(numbers))


def _vertex_at(along: FloatArray, stations_m: FloatArray) -> FloatArray:
    rising, first = np.unique(along, return_index=True)
    if len(rising) == 1:
        return np.zeros(len(stations_m))
    # where fixes repeat, the last of them is where the trace goes on
    last = np.append(first[1:] - 1, len(along) - 1)
    fraction = np.interp(stations_m, rising, np.arange(len(rising)))
    low = np.floor(fraction).astype(int)
    high = np.minimum(low + 1, len(rising) - 1)
    return np.asarray(last[low] + (first[high] - last[low]) * (fraction - low))


def at_vertex(values: FloatArray, vertex: FloatArray) -> FloatArray:
    """Return `values` (n, …) read at fractional vertex numbers (k,), linearly in between."""
    low = np.floor(vertex).astype(int)
    high = np.minimum(low + 1, len(values) - 1)
    share = vertex - low
    share = share.reshape(-1, *([1] * (values.ndim - 1)))
    return np.asarray(values[low] * (1 - share) + values[high] * share)


def left_normals(xy_m: FloatArray) -> FloatArray:
    """Return (n, 2) unit vectors to the left of travel at each vertex, from its neighbours on both sides.

    Examples
    --------
    >>> left_normals(np.array([[0.0, 0.0], [1.0, 0.0], [2.0, 0.0]])).tolist()
    [[-0.0, 1.0], [-0.0, 1.0], [-0.0, 1.0]]
    """
    tangent = np.empty_like(xy_m)
    tangent[1:-1] = xy_m[2:] - xy_m[:-2]
    tangent[0], tangent[-1] = xy_m[1] - xy_m[0], xy_m[-1] - xy_m[-2]
    size = norms(tangent)
    size[size == 0] = 1.0
    tangent = tangent / size[:, None]
    return np.column_stack([-tangent[:, 1], tangent[:, 0]])


def nearest_on_line(
    points_m: FloatArray, line_m: FloatArray, low: IntArray, high: IntArray
) -> tuple[FloatArray, FloatArray]:
    """Return where on a line each point lies abreast, and how far off.

    Parameters
    ----------
    points_m : (k, 2) points. line_m : (m, 2) vertices, m ≥ 2.
    low, high : (k,) the first and last segment of the line to look at for each point, so that the order of travel
        decides where legs run side by side.

    Returns
    -------
    along_m : (k,) distance along the line of the nearest place.
    offset_m : (k,) signed distance, + to the left of travel.

    Examples
    --------
    >>> line = np.array([[0.0, 0.0], [10.0, 0.0]])
    >>> along, offset = nearest_on_line(np.array([[4.0, 3.0], [4.0, -2.0]]), line, np.array([0, 0]), np.array([0, 0]))
    >>> along.tolist(), offset.tolist()
    ([4.0, 4.0], [3.0, -2.0])
    """
    from gpsq.geometry._compiled import read_only
    from gpsq.geometry._nearest import nearest

    numbers = (read_only(ends, np.int64) for ends in (low, high))
    places = (read_only(values, np.float64) for values in (points_m, line_m, along_m(line_m)))
    found: tuple[FloatArray, FloatArray] = nearest(*places, *numbers)
    return found

"""How far two lines lie apart: Hausdorff and Fréchet distances of polylines in a plane, in metres.

The Hausdorff distance asks how far any place of one line is from the other, in whatever order. The Fréchet distance
asks for the shortest leash between two that walk the two lines from start to end, each at any speed but never back; so
it also sees order, turns back and missed stretches (Alt & Godau 1995, *Int. J. Comput. Geometry Appl.* 5:75-91). The
discrete Fréchet distance looks at vertices alone (Eiter & Mannila 1994, CD-TR 94/64, TU Wien); it depends on how
densely the lines are sampled and is given for comparison: continuous <= discrete <= continuous + longest segment.

All functions take arrays of shape (n, 2) in metres, n >= 1; a single point is a line of no length.
"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

import numpy as np

from gpsq.exceptions import GeometryError
from gpsq.geometry._boxes import box_tree
from gpsq.geometry._discrete_frechet import discrete_kernel
from gpsq.geometry._frechet import TILE, bracket, greedy, within
from gpsq.geometry._hausdorff import LEAF, directed_hausdorff_kernel

if TYPE_CHECKING:
    from numpy.typing import ArrayLike

    from gpsq.model import FloatArray


def directed_hausdorff(a: ArrayLike, b: ArrayLike) -> tuple[float, FloatArray]:
    """Return the greatest distance of any point on polyline `a` from polyline `b`, and where on `a` it occurs.

    All points of the segments count, not only the vertices: the greatest distance may lie inside a segment, where the
    nearest part of `b` changes.

    Parameters
    ----------
    a, b : array_like, shape (n, 2) and (m, 2)
        Vertices in metres.

    Returns
    -------
    distance_m : float
        At most 1e-6 m below the exact value, never above it but for rounding.
    place_m : ndarray, shape (2,)
        The point of `a`; the first found where several are equally far.

    Raises
    ------
    GeometryError
        When an array has another shape, no points, or values that are not finite.

    Notes
    -----
    Near-linear time and memory for lines that run along each other. The worst case in time is n m (all segments of `b`
    equally far from every point of `a`, as on a circle and its centre).

    Examples
    --------
    >>> distance_m, place_m = directed_hausdorff([(1, 1), (5, 10), (9, 1)], [(0, 10), (0, 0), (10, 0)])
    >>> round(distance_m, 6) == round(85 / 13, 6)
    True
    """
    line_b = _line(b, "b")
    found = directed_hausdorff_kernel(_line(a, "a"), line_b, box_tree(line_b, LEAF))
    return float(found[0]), found[1:].copy()


def hausdorff_m(a: ArrayLike, b: ArrayLike) -> float:
    """Return the Hausdorff distance of two polylines: the greater of both directed ones (see `directed_hausdorff`).

    Examples
    --------
    >>> hausdorff_m([(0, 0), (100, 0)], [(100, 3), (0, 3)])
    3.0
    """
    return max(directed_hausdorff(a, b)[0], directed_hausdorff(b, a)[0])


def frechet_m(a: ArrayLike, b: ArrayLike, tolerance_m: float = 0.01, at_most_m: float = math.inf) -> float:
    """Return the continuous Fréchet distance of two polylines.

    Parameters
    ----------
    a, b : array_like, shape (n, 2) and (m, 2)
        Vertices in metres, in order of travel.
    tolerance_m : float
        The exact value lies between the result and the result plus this much.
    at_most_m : float
        A limit beyond which the value is of no interest.

    Returns
    -------
    float
        Metres; ``inf`` where the distance is more than `at_most_m`. Never less than `hausdorff_m`.

    Raises
    ------
    GeometryError
        When an array has another shape, no points, or values that are not finite.
    ValueError
        When `tolerance_m` is not above zero, or `at_most_m` is not a number.

    Notes
    -----
    The search starts from what is known without any: the Hausdorff distance and the distances of the ends below, a
    greedy walk above. Each decision visits the cells that can be reached, in blocks where all is free. Memory is
    O(n + m) always. Time is near linear on similar lines; the worst case is n m for each of some 20 decisions (lines
    that cross the leash's length all over). `at_most_m` ends the search for dissimilar lines after one decision.

    Examples
    --------
    >>> frechet_m([(0, 0), (100, 0)], [(0, 0), (50, 50), (100, 0)])
    50.0
    >>> frechet_m([(0, 0), (100, 0)], [(100, 3), (0, 3)], at_most_m=20)
    inf
    """
    if not tolerance_m > 0.0:
        raise ValueError(f"tolerance_m must be above 0 m, but is {tolerance_m}")
    if math.isnan(at_most_m):
        raise ValueError(f"at_most_m must be a number of metres, but is {at_most_m}")
    line_a, line_b = _line(a, "a"), _line(b, "b")
    lower = _lower_bound_m(line_a, line_b)
    if lower > at_most_m:
        return math.inf
    upper = max(greedy(line_a, line_b), lower)
    boxes_a, boxes_b = box_tree(line_a, TILE), box_tree(line_b, TILE)
    if upper > at_most_m:
        if not within(line_a, line_b, boxes_a, boxes_b, float(at_most_m)):
            return math.inf
        upper = float(at_most_m)
    return float(bracket(line_a, line_b, boxes_a, boxes_b, lower, upper, float(tolerance_m)))


def discrete_frechet_m(a: ArrayLike, b: ArrayLike) -> float:
    """Return the discrete Fréchet distance: the same as `frechet_m`, over vertices alone, exact.

    Examples
    --------
    >>> round(discrete_frechet_m([(0, 0), (100, 0)], [(0, 0), (50, 50), (100, 0)]), 6)
    70.710678
    """
    line_a, line_b = _line(a, "a"), _line(b, "b")
    lower = _lower_bound_m(line_a, line_b)
    upper = max(greedy(line_a, line_b), lower)
    # runs of vertices, not of segments: the last vertex needs a segment of its own
    boxes_a, boxes_b = (box_tree(np.vstack((line, line[-1:])), TILE) for line in (line_a, line_b))
    return float(discrete_kernel(line_a, line_b, boxes_a, boxes_b, lower, upper))


def wake() -> None:
    """Have what is compiled here loaded, or compiled, now."""
    one, other = np.zeros((2, 2)), np.ones((2, 2))
    frechet_m(one, other)
    discrete_frechet_m(one, other)


def _lower_bound_m(a: FloatArray, b: FloatArray) -> float:
    """Return what no walk of both lines can avoid: their Hausdorff distance and the distances of their ends."""
    ends = np.hypot(*(a[[0, -1]] - b[[0, -1]]).T)
    return max(hausdorff_m(a, b), float(ends.max()))


def _line(points: ArrayLike, name: str) -> FloatArray:
    """Return `points` as (n, 2) float64 with n >= 2: a single point becomes a segment of no length."""
    try:
        line = np.ascontiguousarray(points, dtype=np.float64)
    except (TypeError, ValueError) as error:
        raise GeometryError(f"{name} must be numbers of shape (n, 2), but is not: {error}") from error
    if line.ndim != 2 or line.shape[1] != 2 or len(line) == 0:
        raise GeometryError(f"{name} must have shape (n, 2) with n >= 1, but has {line.shape}")
    if not np.isfinite(line).all():
        raise GeometryError(f"{name} must be finite, but {np.count_nonzero(~np.isfinite(line))} of its numbers are not")
    if len(line) == 1:
        return np.repeat(line, 2, axis=0)
    return line if line.flags.writeable else line.copy()  # the kernels would be compiled anew for a frozen array

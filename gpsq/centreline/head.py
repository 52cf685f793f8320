"""The first metres of a line, led along the end of the opposite way.

At the beginning every trace is unsettled, and no mean of them helps; where rides back end, every trace is settled. The
two ways lie some metres apart (each on its side of the road), so the end of the other is set over by what parts them
where both are settled.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from gpsq.centreline.ends import USUAL_REACH_M
from gpsq.geometry import polyline

if TYPE_CHECKING:
    from gpsq.model import BoolArray, FloatArray, IntArray

#: The two ways are one street while they run this near each other and advance alike within so many metres. Over the first
#: so many metres that is looked at, and so many at least must be one street: in one-way streets the ways may soon part.
BESIDE_M, ASTRAY_M, OVER_M, LEAST_OVER_M = 30.0, 15.0, 350.0, 100.0
#: What parts the two is taken from so many metres on, and from this share of a shorter street: errors go on for hundreds of
#: metres, so that over a longer stretch it is known better. …
SETTLED_FROM_M, SETTLED_FROM = 100.0, 0.5
#: … and must be the same there within this (median absolute difference): else they do not run along each other.
PARALLEL_M = 3.0
#: A line that begins up to this much before the other way's end begins with noise.
TOO_EARLY_M = 15.0
#: The line is led by the other way up to here, and less and less up to there, as shares of the street.
FULL, UNTIL = 0.25, 0.75


def led_by(line_m: FloatArray, opposite_m: FloatArray | None, weight: FloatArray | None = None) -> FloatArray:
    """Return the line with its first metres moved sideways to the opposite way's end, where the two are one street.

    A place set over from the other way is worth what the line is worth where it is settled, and the two are averaged by
    their worth: recordings that begin settled keep the half of their say, new fixes have next to none.

    Parameters
    ----------
    line_m : (m, 2) the line at equal steps; nan where nothing is known.
    opposite_m : (k, 2) the end of the opposite way, turned round: it begins where those rides end. None: there is none.
    weight : (m,) what the line's places are worth, in inverse variances; without it the first metres are worth nothing.

    Examples
    --------
    A line that begins 8 m beside the road, on the way back from which all rides end on it:

    >>> x = np.arange(0.0, 400.0, 5.0)
    >>> road = np.column_stack([x, np.zeros(80)])
    >>> line = np.column_stack([x, 8.0 * np.exp(-x / 20.0) + 4.0])
    >>> led_by(line, road)[[0, 40], 1].round(1).tolist()
    [4.0, 4.0]
    """
    found = _one_street(line_m, opposite_m)
    if found is None or opposite_m is None:
        return line_m
    share = np.clip((UNTIL - found.along_m / found.over_m) / (UNTIL - FULL), 0.0, 1.0)
    if weight is not None:
        own = weight[found.known]
        settled = float(np.median(own[found.settled]))
        share *= settled / np.maximum(settled + own, 1e-12)
    normal = polyline.at_along(polyline.left_normals(opposite_m), polyline.along_m(opposite_m), found.foot_m)
    led = line_m.copy()
    led[found.known] -= (share * (found.beside_m - found.apart_m))[:, None] * normal
    return led


def from_usual_end(opposite_m: FloatArray, ends_m: FloatArray) -> FloatArray:
    """Return the opposite way, turned round, from where its rides usually end: cut there, or carried on straight to it.

    Parameters
    ----------
    opposite_m : (k, 2) the end of the opposite way, turned round. ends_m : (n, 2) where each of its rides ends.

    Examples
    --------
    >>> road = np.column_stack([np.arange(0.0, 400.0, 5.0), np.zeros(80)])
    >>> from_usual_end(road, np.array([[1.0, 0.0], [3.0, 1.0], [4.0, 0.0]]))[:2, 0].tolist()
    [3.0, 5.0]
    """
    foot_m = _beside(ends_m, opposite_m)[1]
    begins_m = float(np.median(foot_m[foot_m - foot_m.min() <= USUAL_REACH_M]))
    if begins_m < 0.0:
        onward = opposite_m[0] - opposite_m[1]
        return np.vstack([opposite_m[0] - begins_m * onward / np.hypot(*onward), opposite_m])
    along_m = polyline.along_m(opposite_m)
    kept = along_m > begins_m
    return np.vstack([polyline.at_along(opposite_m, along_m, np.array([begins_m])), opposite_m[kept]])


def begun_at(line_m: FloatArray, opposite_m: FloatArray | None) -> FloatArray:
    """Return the line without what lies just before the place where the rides of the opposite way end.

    A new fix errs along the road as well, and a line that begins some metres before everybody set out is one of noise.

    Examples
    --------
    >>> x = np.arange(-7.0, 400.0, 5.0)
    >>> road = np.column_stack([np.arange(0.0, 400.0, 5.0), np.zeros(80)])
    >>> begun_at(np.column_stack([x, np.zeros(82)]), road)[:2, 0].tolist()
    [0.0, 3.0]
    """
    found = _one_street(line_m, opposite_m)
    if found is None or opposite_m is None:
        return line_m
    foot_m = found.foot_m
    before = int(np.argmax(foot_m > 0.0))
    if before == 0 or foot_m[0] < -TOO_EARLY_M or found.known[before] != before:
        return line_m
    share = -foot_m[before - 1] / (foot_m[before] - foot_m[before - 1])
    first = line_m[before - 1] + share * (line_m[before] - line_m[before - 1])
    return np.vstack([first, line_m[before:]])


@dataclass(frozen=True, eq=False)
class _OneStreet:
    """The first known stations of a line: how far along it, how far beside the other way and where along that.

    `apart_m` is what parts the two ways where both are `settled`, `over_m` how far they are one street.
    """

    known: IntArray
    along_m: FloatArray
    beside_m: FloatArray
    foot_m: FloatArray
    settled: BoolArray
    apart_m: float
    over_m: float


def _one_street(line_m: FloatArray, opposite_m: FloatArray | None) -> _OneStreet | None:
    """Return how a line begins along the opposite way, or None where the two are two streets."""
    step_m = _step_m(line_m)
    if opposite_m is None or len(opposite_m) < 2 or step_m <= 0:
        return None
    known = np.flatnonzero(~np.isnan(line_m[: round(OVER_M / step_m) + 1, 0])).astype(np.int64)
    along_m = np.asarray(known * step_m, dtype=float)
    beside_m, foot_m = _beside(line_m[known], opposite_m)
    ran = _run_together(along_m, beside_m, foot_m)
    known, along_m, beside_m, foot_m = known[:ran], along_m[:ran], beside_m[:ran], foot_m[:ran]
    if not ran or along_m[-1] < LEAST_OVER_M:
        return None
    over_m = float(along_m[-1])
    settled = along_m >= min(SETTLED_FROM_M, SETTLED_FROM * over_m)
    apart_m = float(np.median(beside_m[settled]))
    if np.median(np.abs(beside_m[settled] - apart_m)) > PARALLEL_M:
        return None
    return _OneStreet(known, along_m, beside_m, foot_m, settled, apart_m, over_m)


def _run_together(along_m: FloatArray, beside_m: FloatArray, foot_m: FloatArray) -> int:
    """Return at how many of the first stations the two ways run near each other and advance alike."""
    if not len(along_m):
        return 0
    astray = np.abs((foot_m - foot_m[0]) - (along_m - along_m[0])) > ASTRAY_M
    parted = astray | (np.abs(beside_m) > BESIDE_M)
    return int(np.argmax(parted)) if parted.any() else len(parted)


def _step_m(line_m: FloatArray) -> float:
    legs = np.hypot(*np.diff(line_m, axis=0).T)
    known = legs[~np.isnan(legs)]
    return float(np.median(known)) if len(known) else 0.0


def _beside(places_m: FloatArray, way_m: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Return how far beside a way places lie, + left, and (k,) where along it, the way carried on before its beginning."""
    before = way_m[0] + (way_m[0] - way_m[1]) * (BESIDE_M / max(float(np.hypot(*(way_m[0] - way_m[1]))), 1e-9))
    longer = np.vstack([before, way_m])
    window = np.zeros(len(places_m), dtype=np.int64), np.full(len(places_m), len(longer) - 2, dtype=np.int64)
    foot_m, beside = polyline.nearest_on_line(places_m, longer, *window)
    return beside, foot_m - BESIDE_M

"""In-order alignment of a trace to a line, with free ends: which station of the line each place of a trace belongs to.

Every place of the trace may match one station; matches never go backwards. A match is worth 1 − (d / cap)², nothing
beyond the cap, so a detour cannot pull at the alignment, and both ends are free, so a late start costs nothing. Passing
over stations costs a little for each, except across a break of the trace. The best such path is found by dynamic programming
(time warping on equal steps of distance: Sakoe & Chiba 1978, IEEE Trans. ASSP 26:43–49), first coarsely, then in bands.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache
from typing import TYPE_CHECKING

import numpy as np

from gpsq.geometry._abreast import FILL_STATIONS, at_stations, within, within_ends
from gpsq.geometry._compiled import read_only
from gpsq.geometry._in_order import best_path, path_in_passes
from gpsq.geometry.polyline import Steps, at_along

if TYPE_CHECKING:
    from collections.abc import Iterator

    from gpsq.model import BoolArray, FloatArray, IntArray

#: A coarse pass has at most about this many places a side, which bounds its memory at a quarter of a megabyte.
COARSE_PLACES = 500
#: The same where it is asked how much of a trace follows a line, not where.
ROUGH_PLACES = 150
#: Each further pass is at most this many times finer, in a band around the one before, so time grows with length only.
FINER = 8
#: Cost of passing over a station, in matches: small beside a match, enough to break ties towards steady travel.
PASSING_COST = 0.02
#: What is compiled is told by these to look everywhere, or in one pass near where a path was before.
EVERYWHERE, FINE_ALONE = (read_only(numbers, np.int64) for numbers in ([], [1]))


def align(xy_m: FloatArray, piece: IntArray, line_m: FloatArray, *, step_m: float, cap_m: float) -> IntArray:
    """Return the station each place of a trace belongs to, −1 where it is further off than the cap.

    Parameters
    ----------
    xy_m : (n, d) places of the trace at equal steps, d = 2 or 3.
    piece : (n,) number of the unbroken piece each place belongs to.
    line_m : (m, d) stations of the line at equal steps of `step_m`.
    cap_m : distance in metres beyond which a place matches nothing.

    Returns
    -------
    (n,) int64, never decreasing where not −1.

    Examples
    --------
    >>> line = np.column_stack([np.arange(0.0, 50.0, 5.0), np.zeros(10)])
    >>> align(line[4:8] + 1.0, np.zeros(4, dtype=np.int64), line, step_m=5.0, cap_m=20.0).tolist()
    [4, 5, 6, 7]
    """
    path = in_order(xy_m, piece, line_m, step_m=step_m, cap_m=cap_m)
    return within_cap(path, xy_m, line_m, cap_m)


def in_order(
    xy_m: FloatArray,
    piece: IntArray,
    line_m: FloatArray,
    *,
    step_m: float,
    cap_m: float,
    near: IntArray | None = None,
    coarse: int = COARSE_PLACES,
) -> IntArray:
    """Return the station at which the best path stands at each place of a trace, (n,) and never decreasing.

    Parameters
    ----------
    near : (n,) stations to look near, as the path along a line that was hardly different gives them; without them the
        path is looked for everywhere, first coarsely.
    coarse : about how many places a side the first, coarse pass may have. The others are as in `align`.
    """
    if len(xy_m) == 0 or len(line_m) == 0:
        return np.zeros(len(xy_m), dtype=np.int64)
    places, line = read_only(xy_m, np.float64), read_only(line_m, np.float64)
    if near is None:
        around, strides = EVERYWHERE, passes(max(len(xy_m), len(line_m)), coarse)
    else:
        around, strides = read_only(near, np.int64), FINE_ALONE
    found: IntArray = path_in_passes(
        places, read_only(piece, np.int64), line, around, strides, step_m, cap_m, PASSING_COST
    )
    return found


def within_cap(path: IntArray, xy_m: FloatArray, line_m: FloatArray, cap_m: float) -> IntArray:
    """Return the path with −1 where a place is further from its station than the cap."""
    if len(line_m) == 0:
        return np.full(len(xy_m), -1, dtype=np.int64)
    places, line = (read_only(values, np.float64) for values in (xy_m, line_m))
    matched: IntArray = within(read_only(path, np.int64), places, line, cap_m)
    return matched


def _strides(places: int, coarse: int = COARSE_PLACES) -> list[int]:
    """Return the strides of the passes, coarse to fine: each a multiple of the next, at most `FINER` times it.

    >>> _strides(400), _strides(2_000), _strides(200_000)
    ([1], [4, 1], [448, 56, 7, 1])
    """
    least = int(np.ceil(places / coarse))
    power = 1
    while power * FINER < least:
        power *= FINER
    strides = [power * int(np.ceil(least / power))]
    while strides[-1] > 1:
        strides.append(max(1, strides[-1] // FINER))
    return strides


@lru_cache(maxsize=4096)
def passes(places: int, coarse: int = COARSE_PLACES) -> IntArray:
    """Return the strides of the passes for so many places a side, ready for what is compiled."""
    strides: IntArray = read_only(_strides(places, coarse), np.int64)
    return strides


def wake() -> None:
    """Have what is compiled loaded, or compiled, now: the first call takes as long as thousands of later ones."""
    some = np.zeros((2, 2))
    in_order(some, np.zeros(2, dtype=np.int64), some, step_m=1.0, cap_m=1.0)


@dataclass(frozen=True, eq=False)
class Abreast:
    """Where a trace runs abreast of each station of a line; nan where it does not follow the line.

    `xy_m` (m, 2) place, `vertex` (m,) fractional number of the fix. `matched` (m,) is False where the trace was so far
    off that its place is only the one that the order of travel gives (an excursion).
    """

    xy_m: FloatArray
    vertex: FloatArray
    matched: BoolArray


def abreast(steps: Steps, stations: IntArray, line_m: FloatArray, *, with_excursions: bool) -> Abreast:
    """Return the place of a trace abreast of each station, from an alignment.

    Of several places at one station (standing still, noise) the mean is taken, so that they weigh as one; with
    excursions the middle one in order of travel, so that the noise of the trace stays what it is. Stations passed over
    within a few steps are filled in between. An excursion, places beyond the cap between two matched ones, is filled by
    an alignment of its own when asked for; a break of the trace is never filled.
    """
    places, line = read_only(steps.xy_m, np.float64), read_only(line_m, np.float64)
    vertices, piece = read_only(steps.vertex, np.float64), read_only(steps.piece, np.int64)
    inside = within_ends(places, read_only(stations, np.int64), line)
    xy, vertex = at_stations(places, vertices, piece, inside, len(line), with_excursions)
    matched = ~np.isnan(vertex)
    if with_excursions:
        for i, k in _excursions(inside, piece):
            _follow_excursion(steps, i, k, int(inside[i]), int(inside[k]), line_m, xy, vertex)
    return Abreast(xy, vertex, matched)


def _excursions(stations: IntArray, piece: IntArray) -> Iterator[tuple[int, int]]:
    """Yield the places between which a trace, unbroken, leaves stations out that are more than a corner cut."""
    inside = np.flatnonzero(stations >= 0)
    away, passed = np.diff(inside) > 1, np.diff(stations[inside])
    for at in np.flatnonzero((passed > FILL_STATIONS) | (away & (passed > 0))):
        i, k = int(inside[at]), int(inside[at + 1])
        if piece[i] == piece[k]:
            yield i, k


def _follow_excursion(
    steps: Steps, i: int, k: int, low: int, high: int, line_m: FloatArray, xy: FloatArray, vertex: FloatArray
) -> None:
    """Fill the stations strictly between `low` and `high` from the places `i` to `k`, in order, however far off."""
    thin = max(1, (k - i) // COARSE_PLACES)
    chosen = np.unique(np.append(np.arange(i, k + 1, thin), k))
    places, line = steps.xy_m[chosen], np.array(line_m[low : high + 1])
    first, last = np.zeros(len(chosen), dtype=np.int64), np.full(len(chosen), len(line) - 1, dtype=np.int64)
    last[0], first[-1] = 0, len(line) - 1
    furthest2 = float(((places[:, None, :] - line[None, ::8, :]) ** 2).sum(axis=2).max()) * 4.0 + 1.0
    path = best_path(places, np.zeros(len(chosen), dtype=np.int64), line, first, last, furthest2, 0.0)
    seen, at = np.unique(path, return_index=True)
    inner = np.arange(1, len(line) - 1)
    xy[low + inner] = at_along(places, _increasing(path), inner.astype(float)) if len(seen) else np.nan
    vertex[low + inner] = np.interp(inner, path[at], steps.vertex[chosen][at])


def _increasing(path: IntArray) -> FloatArray:
    # places that share a station are spread over it, so that the station can be looked up in between
    order = np.arange(len(path), dtype=float)
    first = np.searchsorted(path, path, side="left")
    count = np.searchsorted(path, path, side="right") - first
    return np.asarray(path + (order - first) / count)

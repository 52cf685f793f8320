"""In-order alignment of a trace to a line, with free ends: which station of the line each place of a trace belongs to.

Every place of the trace may match one station; matches never go backwards. A match is worth 1 − (d / cap)², nothing
beyond the cap, so a detour cannot pull at the alignment, and both ends are free, so a late start costs nothing. Passing
over stations costs a little for each, except across a break of the trace. The best such path is found by dynamic programming
(time warping on equal steps of distance: Sakoe & Chiba 1978, IEEE Trans. ASSP 26:43–49), first coarsely, then in bands.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from gpsq.arrays import norms
from gpsq.geometry._compiled import compiled, read_only
from gpsq.geometry.polyline import Steps, at_along

if TYPE_CHECKING:
    from gpsq.model import BoolArray, FloatArray, IntArray

#: A coarse pass has at most about this many places a side, which bounds its memory at a quarter of a megabyte.
COARSE_PLACES = 500
#: The same where it is asked how much of a trace follows a line, not where.
ROUGH_PLACES = 150
#: Each further pass is at most this many times finer, in a band around the one before, so time grows with length only.
FINER = 8
#: Cost of passing over a station, in matches: small beside a match, enough to break ties towards steady travel.
PASSING_COST = 0.02
#: How the best path came to a station: from the same one, from the one before, or over the one before.
STAY, NEXT, OVER = 0, 1, 2
#: Stations passed over between neighbouring places of a trace are filled in up to this many: a corner cut by sampling.
FILL_STATIONS = 4


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
    states: IntArray = np.empty(0, dtype=np.int64) if near is None else near
    coarser, reach_m = (0, 0.0) if near is None else (1, cap_m)
    for every in _strides(max(len(xy_m), len(line_m)), coarse) if near is None else (1,):
        places, pieces, stations = xy_m[::every], piece[::every], line_m[::every]
        low, high = np.zeros(len(places), dtype=np.int64), np.full(len(places), len(stations) - 1, dtype=np.int64)
        if coarser:
            ratio = coarser // every
            margin = int(np.ceil(reach_m / (every * step_m))) + ratio
            low, high = _band(states * ratio, ratio, len(places), len(stations), margin)
        coarser, reach_m = every, cap_m if every == 1 else max(cap_m, 2.0 * every * step_m)
        states = np.asarray(_best_path(*_contiguous(places, pieces, stations), low, high, reach_m**2, PASSING_COST))
    return states


def within_cap(path: IntArray, xy_m: FloatArray, line_m: FloatArray, cap_m: float) -> IntArray:
    """Return the path with −1 where a place is further from its station than the cap."""
    if len(line_m) == 0:
        return np.full(len(xy_m), -1, dtype=np.int64)
    off = norms(xy_m - line_m[path]) > cap_m
    return np.where(off, -1, path)


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


def _contiguous(xy_m: FloatArray, piece: IntArray, line_m: FloatArray) -> tuple[FloatArray, IntArray, FloatArray]:
    return read_only(xy_m, np.float64), read_only(piece, np.int64), read_only(line_m, np.float64)


def _band(states: IntArray, every: int, n: int, m: int, margin: int) -> tuple[IntArray, IntArray]:
    """Return the first and last station allowed for each of `n` places, around a coarse path."""
    coarse = np.arange(n) // every
    before = states[np.maximum(coarse - 1, 0)]
    after = states[np.minimum(coarse + 2, len(states) - 1)]
    # a path along a longer line may lead beyond the end of this one
    return np.clip(before - margin, 0, m - 1), np.clip(after + margin, 0, m - 1)


@compiled
def _gains(
    place: FloatArray, line: FloatArray, first: int, last: int, cap2: float, gain: FloatArray
) -> None:  # pragma: no cover - compiled
    """Fill `gain` from the first to the last station with the worth of matching a place to each."""
    if len(place) == 2:
        for j in range(first, last + 1):
            distance2 = (place[0] - line[j, 0]) ** 2 + (place[1] - line[j, 1]) ** 2
            gain[j] = 1.0 - distance2 / cap2 if distance2 < cap2 else 0.0
    else:
        for j in range(first, last + 1):
            distance2 = (place[0] - line[j, 0]) ** 2 + (place[1] - line[j, 1]) ** 2 + (place[2] - line[j, 2]) ** 2
            gain[j] = 1.0 - distance2 / cap2 if distance2 < cap2 else 0.0


@compiled
def _best_path(  # noqa: C901 - one compiled loop: splitting it would cost a call for every cell
    xy: FloatArray, piece: IntArray, line: FloatArray, low: IntArray, high: IntArray, cap2: float, passing: float
) -> IntArray:  # pragma: no cover - compiled
    """Return the station at which the best in-order path stands at each place of the trace."""
    n = len(xy)
    start = np.empty(n + 1, dtype=np.int64)
    start[0] = 0
    for i in range(n):
        first = low[max(i - 1, 0)]
        start[i + 1] = start[i] + high[i] - first + 1
    move = np.zeros(start[n], dtype=np.uint8)
    value, gain = np.full(len(line), -np.inf), np.empty(len(line))
    for j in range(low[0], high[0] + 1):
        value[j] = 0.0
    reached = high[0]
    for i in range(n):
        first, last = low[max(i - 1, 0)], high[i]
        cost = 0.0 if i > 0 and piece[i] != piece[i - 1] else passing
        _gains(xy[i], line, first, last, cap2, gain)
        for j in range(reached + 1, last + 1):
            value[j] = -np.inf
        best, before = -np.inf, -np.inf
        for j in range(first, last + 1):
            stay, over = value[j], best - cost
            best, how = stay, STAY
            if i > 0 and before >= best:
                best, how = before, NEXT
            if i > 0 and over > best:
                best, how = over, OVER
            move[start[i] + j - first] = how
            before = stay
            value[j] = best + gain[j]
        for j in range(first, low[i]):
            value[j] = -np.inf
        reached = last
    path = np.empty(n, dtype=np.int64)
    j = low[n - 1]
    for k in range(low[n - 1], high[n - 1] + 1):
        if value[k] > value[j]:
            j = k
    for i in range(n - 1, -1, -1):
        path[i] = j
        first = low[max(i - 1, 0)]
        while move[start[i] + j - first] == OVER:
            j -= 1
        if move[start[i] + j - first] == NEXT:
            j -= 1
    return path


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
    m = len(line_m)
    stations = _within_ends(steps.xy_m, stations, line_m)
    xy, vertex = (_middle_by_station if with_excursions else _mean_by_station)(steps, stations, m)
    matched = ~np.isnan(vertex)
    inside = np.flatnonzero(stations >= 0)
    passed = (np.diff(inside) > 1) | (np.diff(stations[inside]) > 1)
    for i, k in zip(inside[:-1][passed], inside[1:][passed], strict=True):
        j, last = stations[i], stations[k]
        if steps.piece[i] != steps.piece[k]:
            continue
        if k == i + 1 and last - j <= FILL_STATIONS:
            _fill(xy, vertex, matched, j, last)
        elif with_excursions and last > j and (k > i + 1 or last - j > FILL_STATIONS):
            _follow_excursion(steps, i, k, j, last, line_m, xy, vertex)
    return Abreast(xy, vertex, matched)


def _within_ends(xy_m: FloatArray, stations: IntArray, line_m: FloatArray) -> IntArray:
    """Unmatch places that lie beyond the ends of the line, so that a longer trace does not pile up at them."""
    if len(line_m) < 2:
        return stations
    step_m = float(np.sqrt(((line_m[1] - line_m[0]) ** 2).sum()))
    stations = stations.copy()
    for end, inner in ((0, 1), (len(line_m) - 1, len(line_m) - 2)):
        at_end = stations == end
        outward = line_m[end] - line_m[inner]
        beyond = (xy_m[at_end] - line_m[end]) @ outward / max(float(np.sqrt(outward @ outward)), 1e-9)
        stations[np.flatnonzero(at_end)[beyond > step_m]] = -1
    return stations


def _mean_by_station(steps: Steps, stations: IntArray, count: int) -> tuple[FloatArray, FloatArray]:
    inside = stations >= 0
    number = np.bincount(stations[inside], minlength=count).astype(float)
    number[number == 0] = np.nan
    columns = (steps.xy_m[inside, 0], steps.xy_m[inside, 1], steps.vertex[inside])
    x, y, vertex = (np.bincount(stations[inside], weights=column, minlength=count) / number for column in columns)
    return np.column_stack([x, y]), vertex


def _middle_by_station(steps: Steps, stations: IntArray, count: int) -> tuple[FloatArray, FloatArray]:
    inside = np.flatnonzero(stations >= 0)
    seen, first, number = np.unique(stations[inside], return_index=True, return_counts=True)
    middle = inside[first + number // 2]
    xy, vertex = np.full((count, 2), np.nan), np.full(count, np.nan)
    xy[seen], vertex[seen] = steps.xy_m[middle], steps.vertex[middle]
    return xy, vertex


def _fill(xy: FloatArray, vertex: FloatArray, matched: BoolArray, low: int, high: int) -> None:
    share = np.arange(1, high - low) / (high - low)
    xy[low + 1 : high] = xy[low] + share[:, None] * (xy[high] - xy[low])
    vertex[low + 1 : high] = vertex[low] + share * (vertex[high] - vertex[low])
    matched[low + 1 : high] = True


def _follow_excursion(
    steps: Steps, i: int, k: int, low: int, high: int, line_m: FloatArray, xy: FloatArray, vertex: FloatArray
) -> None:
    """Fill the stations strictly between `low` and `high` from the places `i` to `k`, in order, however far off."""
    thin = max(1, (k - i) // COARSE_PLACES)
    chosen = np.unique(np.append(np.arange(i, k + 1, thin), k))
    places, line = steps.xy_m[chosen], line_m[low : high + 1]
    first, last = np.zeros(len(chosen), dtype=np.int64), np.full(len(chosen), len(line) - 1, dtype=np.int64)
    last[0], first[-1] = 0, len(line) - 1
    furthest2 = float(((places[:, None, :] - line[None, ::8, :]) ** 2).sum(axis=2).max()) * 4.0 + 1.0
    path = _best_path(*_contiguous(places, np.zeros(len(chosen), dtype=np.int64), line), first, last, furthest2, 0.0)
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

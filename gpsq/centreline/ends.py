"""The ends of a running line, and the stretches that nobody follows: carried on, cut back, or led another way."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from gpsq.arrays import norms
from gpsq.centreline.robust_middle import SUPPORTED_SHARE
from gpsq.geometry import polyline
from gpsq.geometry.alignment import Abreast

if TYPE_CHECKING:
    from collections.abc import Sequence

    from gpsq.centreline.strands import Strand
    from gpsq.model import BoolArray, FloatArray, IntArray
    from gpsq.settings import Settings

#: An end is carried on only by a trace that reaches this much further; less is noise.
LEAST_EXTENSION_M = 15.0
#: … by so much where no other trace agrees, …
LEAST_LONE_EXTENSION_M = 30.0
#: … and that joins the line within this many stations of its end, …
JOIN_STATIONS = 6
#: … and is no longer than this times the line it follows: the end of a noisy track is noise.
MOST_ROUGHNESS = 1.5
#: Two overhangs support each other when this share of the shorter runs along the longer.
SUPPORT_SHARE = 0.6
#: The line ends where the middle one reaches of the traces that reach within this distance of the furthest: a new fix is
#: off along the road as well, and the furthest of many is the one that errs most.
USUAL_REACH_M = 30.0
#: A stretch that weighs less than `SUPPORTED_SHARE` of the line within this distance, …
SPUR_REACH_M = 200.0
#: … and runs this near the line, more than so many stations ahead of where it joins it, or behind, is a spur.
BESIDE_M, BESIDE_STATIONS = 30.0, 2
#: An end that most of its length runs beside the line, with at most this share of its support, doubles it.
DOUBLING_SHARE = 0.5


def extended(
    line: FloatArray, strands: Sequence[Strand], places: Sequence[Abreast], settings: Settings, most: int
) -> FloatArray:
    """Return the line with each end carried on by the trace that reaches furthest, if one does, to `most` stations."""
    for head in (True, False):
        found = [_overhang(s, p, line, settings, head=head) for s, p in zip(strands, places, strict=True)]
        overhangs = [o for o in found if o is not None]
        if not overhangs:
            continue
        supported = [o for o in overhangs if _supported(o, overhangs, settings.align_cap_m / 2)]
        overhangs = [o for o in overhangs if _reach_m(o, line) >= LEAST_LONE_EXTENSION_M]
        if not supported and not overhangs:
            continue
        join, outward = max(supported or overhangs, key=lambda o: (polyline.along_m(o[1])[-1], o[1][-1, 0]))
        outward = outward[: max(most - len(line), 0)]
        if head:
            line = np.vstack([outward[::-1], line[join:]])
            places = [_shifted(p, len(outward) - join, len(line)) for p in places]
        else:
            line = np.vstack([line[: join + 1], outward])
    return line


def _shifted(place: Abreast, by: int, count: int) -> Abreast:
    """Return the places at the stations of a line whose head was carried on by `by` stations."""
    xy, vertex, matched = np.full((count, 2), np.nan), np.full(count, np.nan), np.zeros(count, dtype=bool)
    kept = slice(max(by, 0), count)
    xy[kept], vertex[kept], matched[kept] = (a[max(-by, 0) :] for a in (place.xy_m, place.vertex, place.matched))
    return Abreast(xy, vertex, matched)


def _overhang(
    strand: Strand, place: Abreast, line: FloatArray, settings: Settings, *, head: bool
) -> tuple[int, FloatArray] | None:
    """Return where a trace joins the line near its end, and its places beyond, outward; None where it has none."""
    covered = np.flatnonzero(~np.isnan(place.vertex))
    if not len(covered):
        return None
    join = int(covered[0] if head else covered[-1])
    from_end = join if head else len(line) - 1 - join
    if from_end > JOIN_STATIONS or np.hypot(*(place.xy_m[join] - line[join])) > settings.settle_band_m:
        return None
    at = int(np.searchsorted(strand.steps.vertex, place.vertex[join]))
    order = np.arange(at - 1, -1, -1) if head else np.arange(at, len(strand.steps))
    fit = strand.counts[order] & (strand.steps.piece[order] == strand.steps.piece[min(at, len(strand.steps) - 1)])
    outward = strand.steps.xy_m[order[: len(order) if fit.all() else int(np.argmin(fit))]]
    if len(outward) < 2:
        return None
    gained_m = _reach_m((join, outward), line) - from_end * settings.step_m
    if gained_m < LEAST_EXTENSION_M or _is_rough(strand, place, settings.step_m):
        return None
    return join, outward


def _reach_m(overhang: tuple[int, FloatArray], line: FloatArray) -> float:
    join, outward = overhang
    return float(norms(outward - line[join]).max())


def _supported(overhang: tuple[int, FloatArray], overhangs: list[tuple[int, FloatArray]], near_m: float) -> bool:
    """Return whether another trace runs along an overhang for most of the shorter of the two."""
    from scipy.spatial import cKDTree

    for other in overhangs:
        if other is overhang:
            continue
        shorter, longer = sorted((overhang[1], other[1]), key=len)
        away_m = np.asarray(cKDTree(longer).query(shorter)[0])
        if np.mean(away_m < near_m) > SUPPORT_SHARE:
            return True
    return False


def _is_rough(strand: Strand, place: Abreast, step_m: float) -> bool:
    """Return whether a trace is much longer than the line it follows: its ends are noise and carry no line on."""
    low, high = ends_of(~np.isnan(place.vertex))
    if high <= low or np.isnan(place.vertex[low]):
        return False
    vertex = strand.steps.vertex
    inside = (vertex >= place.vertex[low]) & (vertex <= place.vertex[high])
    return bool(inside.sum() > MOST_ROUGHNESS * (high - low))


def trimmed(line: FloatArray, strands: Sequence[Strand], places: Sequence[Abreast], step_m: float) -> FloatArray:
    """Return the line without ends that nobody follows, or one trace alone for so short a way that it is noise."""
    calm = [p for s, p in zip(strands, places, strict=True) if not _is_rough(s, p, step_m)] or places
    support = (~np.isnan(np.stack([p.vertex for p in calm]))).sum(axis=0)
    least = LEAST_LONE_EXTENSION_M / step_m
    followed = _without_scraps(support > 0, least)
    first, last = ends_of(followed)
    agreed = followed & (support > 1)
    if len(calm) > 1 and agreed.sum() > 1:
        agreed_first, agreed_last = ends_of(agreed)
        first = agreed_first if agreed_first - first < least else first
        last = agreed_last if last - agreed_last < least else last
    return line[first : last + 1] if last > first else line


def usual_reach(places: Sequence[Abreast], step_m: float) -> slice:
    """Return the stations of a settled line between the usual reach of its traces at either end."""
    known = ~np.isnan(np.stack([p.vertex for p in places]))
    known = known[known.any(axis=1)]
    if not len(known):
        return slice(None)
    count = known.shape[1]
    head, tail = (_middle_of_near(np.argmax(way, axis=1), USUAL_REACH_M / step_m) for way in (known, known[:, ::-1]))
    return slice(head, count - tail) if head + 1 < count - tail else slice(None)


def part(place: Abreast, kept: slice) -> Abreast:
    """Return the places at some of the stations."""
    return Abreast(place.xy_m[kept], place.vertex[kept], place.matched[kept])


def _middle_of_near(reach: IntArray, near: float) -> int:
    """Return the lower median of the values that lie near the least."""
    return int(np.quantile(reach[reach - reach.min() <= near], 0.5, method="lower"))


def _without_scraps(followed: BoolArray, least: float) -> BoolArray:
    """Return where the line is followed, short scraps at its ends taken off until a run of `least` stations ends it."""
    edges = np.flatnonzero(np.diff(np.concatenate([[False], followed, [False]]).astype(int)))
    runs = list(zip(edges[::2], edges[1::2], strict=True))
    while len(runs) > 1 and runs[0][1] - runs[0][0] < least:
        runs.pop(0)
    while len(runs) > 1 and runs[-1][1] - runs[-1][0] < least:
        runs.pop()
    kept = np.zeros(len(followed), dtype=bool)
    for low, high in runs:
        kept[low:high] = True
    return kept


def ends_of(there: BoolArray) -> tuple[int, int]:
    """Return the first and the last station where something is; all of them where nothing is."""
    at = np.flatnonzero(there)
    return (int(at[0]), int(at[-1])) if len(at) else (0, len(there) - 1)


def rerouted(
    line: FloatArray,
    strands: Sequence[Strand],
    places: Sequence[Abreast],
    weights: FloatArray,
    passed: BoolArray,
    step_m: float,
) -> FloatArray:
    """Return the line led another way where more traces pass a stretch by than follow it.

    Such a stretch is a spur of noise, a detour of the trace that the line began with, or the straight over a break of
    that trace. `weights` (m, t) are those of the places, `passed` (m, t) tells which stations each trace passes by.
    """
    by = passed.T
    if not by.any():
        return line
    follow = ~np.isnan(np.stack([p.vertex for p in places]))
    own = weights.max(axis=0)[:, None]
    left = (own * by).sum(axis=0) > (own * follow).sum(axis=0)
    edges = np.flatnonzero(np.diff(np.concatenate([[False], left, [False]]).astype(int)))
    parts, at = [], 0
    for first, last in zip(edges[::2], edges[1::2], strict=True):
        passing = [(s, p) for s, p, passes in zip(strands, places, by[:, (first + last) // 2], strict=True) if passes]
        ways = [_way_past(s, p, first, last) for s, p in passing]
        most = last - first + SPUR_REACH_M / step_m
        near = [w for w in ways if w is not None and at <= w[0] and w[1] - w[0] < most]
        if near:
            # the middle one by what it adds: the longest holds a spike of its own, the shortest cuts a corner
            before, after, way = sorted(near, key=lambda w: (len(w[2]) - (w[1] - w[0]), w[0]))[len(near) // 2]
            parts += [line[at : before + 1], way]
            at = after
    return np.vstack([*parts, line[at:]])


def _way_past(strand: Strand, place: Abreast, first: int, last: int) -> tuple[int, int, FloatArray] | None:
    """Return the stations between which a trace passes a stretch by, and its places on the unbroken way, or None."""
    known = np.flatnonzero(~np.isnan(place.vertex))
    low, high = int(np.searchsorted(known, first)) - 1, int(np.searchsorted(known, last - 1))
    if low < 0 or high >= len(known):
        return None
    before, after = int(known[low]), int(known[high])
    steps = strand.steps
    leaves, joins = np.searchsorted(steps.vertex, (place.vertex[before], place.vertex[after]))
    if steps.piece[leaves] != steps.piece[min(joins, len(steps) - 1)]:
        return None
    return before, after, steps.xy_m[leaves:joins]


def without_spurs(line: FloatArray, weight: FloatArray, step_m: float) -> FloatArray:
    """Return the line without stretches that few traces support and that run beside the line still to come, or gone by.

    At the edge of a gap, a trace that stands beside the others can draw the line along itself; the others, broken there,
    then join the line where it has come back, and neither pulls at the other any more.
    """
    reach = round(SPUR_REACH_M / step_m)
    most = np.lib.stride_tricks.sliding_window_view(np.pad(weight, reach), 2 * reach + 1).max(axis=1)
    lonely = weight < SUPPORTED_SHARE * most
    edges = np.flatnonzero(np.diff(np.concatenate([[False], lonely, [False]]).astype(int)))
    kept = np.ones(len(line), dtype=bool)
    for first, last in zip(edges[::2], edges[1::2], strict=True):
        ahead = _beside(line[first:last], line[last : last + reach])
        behind = _beside(line[first:last], line[max(0, first - reach) : first][::-1])
        # a scrap at an end of the line goes from there to its end; within the line only what runs beside goes
        if ahead.any() and first == 0:
            kept[: last - int(np.argmax(ahead[::-1]))] = False
        elif ahead.any():
            kept[first + int(np.argmax(ahead)) : last] = False
        if behind.any() and last == len(line):
            kept[first + int(np.argmax(behind)) :] = False
        elif behind.any():
            kept[first : last - int(np.argmax(behind[::-1]))] = False
    kept[: _doubling_head(line, weight, reach)] = False
    kept[len(line) - _doubling_head(line[::-1], weight[::-1], reach) :] = False
    return line[kept]


def _doubling_head(line: FloatArray, weight: FloatArray, reach: int) -> int:
    """Return how many stations at the head of a line, parted from the rest by stations nobody follows, double the rest.

    Traces that end in standing about can carry a line back along itself; what they draw is less supported than the rest.
    """
    unfollowed = np.flatnonzero(weight == 0)
    if not len(unfollowed) or unfollowed[0] == 0:
        return 0
    head = int(unfollowed[0])
    after = head + int(np.argmax(weight[head:] > 0))
    if after == head or weight[:head].max() > DOUBLING_SHARE * weight.max():
        return 0
    doubles = _beside(line[:head], line[after : after + reach]).mean() > DOUBLING_SHARE
    return after if doubles else 0


def _beside(places: FloatArray, road: FloatArray) -> BoolArray:
    """Return which places run beside a road that begins at its first vertex, rather than lead to that beginning."""
    if len(road) < 2:
        return np.zeros(len(places), dtype=bool)
    away2 = ((places[:, None, :] - road[None, :, :]) ** 2).sum(axis=2)
    nearest = away2.argmin(axis=1)
    return np.asarray((nearest > BESIDE_STATIONS) & (away2.min(axis=1) < BESIDE_M**2))

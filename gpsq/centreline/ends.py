"""The ends of a running line, and the stretches that nobody follows: carried on, cut back, or led another way."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from gpsq.arrays import norms
from gpsq.centreline.robust_middle import SUPPORTED_SHARE
from gpsq.geometry import polyline
from gpsq.geometry.alignment import Abreast

if TYPE_CHECKING:
    from collections.abc import Sequence

    from gpsq.model import BoolArray, FloatArray
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
#: A stretch that weighs less than `SUPPORTED_SHARE` of the line within this distance, …
SPUR_REACH_M = 200.0
#: … and runs this near the line, more than so many stations ahead of where it joins it, or behind, is a spur.
BESIDE_M, BESIDE_STATIONS = 30.0, 2
#: An end that most of its length runs beside the line, with at most this share of its support, doubles it.
DOUBLING_SHARE = 0.5


@dataclass(frozen=True, eq=False)
class Strand:
    """A trace on its way into a consensus: its equal steps, its ride, and which of its places may count."""

    steps: polyline.Steps
    ride: str
    counts: BoolArray


def extended(line: FloatArray, strands: Sequence[Strand], places: Sequence[Abreast], settings: Settings) -> FloatArray:
    """Return the line with each end carried on by the trace that reaches furthest, if one does."""
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
    for other in overhangs:
        if other is overhang:
            continue
        shorter, longer = sorted((overhang[1], other[1]), key=len)
        away2 = ((shorter[:, None, :] - longer[None, :, :]) ** 2).sum(axis=2).min(axis=1)
        if (away2 < near_m**2).mean() > SUPPORT_SHARE:
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


def rerouted(line: FloatArray, strands: Sequence[Strand], places: Sequence[Abreast], weights: FloatArray) -> FloatArray:
    """Return the line led another way where more traces pass a stretch by than follow it.

    Such a stretch is a spur of noise, a detour of the trace that the line began with, or the straight over a break of
    that trace. `weights` (m, t) are those of the places.
    """
    follow = ~np.isnan(np.stack([p.vertex for p in places]))
    own = weights.max(axis=0)[:, None]
    by = np.stack([_passed_by(s, p) for s, p in zip(strands, places, strict=True)])
    left = (own * by).sum(axis=0) > (own * follow).sum(axis=0)
    edges = np.flatnonzero(np.diff(np.concatenate([[False], left, [False]]).astype(int)))
    parts, at = [], 0
    for first, last in zip(edges[::2], edges[1::2], strict=True):
        way = _way_across(first - 1, last, strands, places) if first > 0 and last < len(line) else None
        if way is not None:
            parts += [line[at:first], way]
            at = last
    return np.vstack([*parts, line[at:]])


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


def _passed_by(strand: Strand, place: Abreast) -> BoolArray:
    """Return (m,) which stations a trace passes by without a break: it is abreast before and after, not there."""
    known = np.flatnonzero(~np.isnan(place.vertex))
    by = np.zeros(len(place.vertex), dtype=bool)
    piece = strand.steps.piece[np.searchsorted(strand.steps.vertex, place.vertex[known]).clip(0, len(strand.steps) - 1)]
    for k in np.flatnonzero((np.diff(known) > 1) & (np.diff(piece) == 0)):
        by[known[k] + 1 : known[k + 1]] = True
    return by


def _way_across(before: int, after: int, strands: Sequence[Strand], places: Sequence[Abreast]) -> FloatArray | None:
    """Return the shortest unbroken way that a trace takes from one station to another, or None."""
    ways = []
    for strand, place in zip(strands, places, strict=True):
        low, high = place.vertex[before], place.vertex[after]
        if np.isnan(low + high):
            continue
        first, last = np.searchsorted(strand.steps.vertex, (low, high))
        if strand.steps.piece[first] == strand.steps.piece[min(last, len(strand.steps) - 1)]:
            ways.append(strand.steps.xy_m[first:last])
    return min(ways, key=len, default=None)

"""How much the place of a trace counts at a station, and where two devices that disagree are brought together.

A trace counts by its scatter about its *own device's* usual line: scatter about the running line would confirm whatever
the line began as. What devices differ by beyond their scatter is an error of theirs that no ride averages out; it is
found by random effects (DerSimonian & Laird 1986, Controlled Clinical Trials 7:177–188), and then devices count alike.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from gpsq.centreline.robust_middle import PAIR_APART_M, geometric_median, medians_of_groups

if TYPE_CHECKING:
    from collections.abc import Sequence

    from gpsq.centreline.strands import Strand
    from gpsq.geometry.alignment import Abreast
    from gpsq.model import BoolArray, FloatArray, IntArray

#: The variance of a trace is trusted within this factor of the usual one, so that none weighs for many.
VARIANCE_RANGE = 9.0
#: Smallest variance a receiver is believed to have, in m²; rounding and short overlaps give less.
LEAST_VARIANCE_M2 = 0.25
#: A distance from the usual line counts for at most this many median ones: a detour is no scatter.
LARGEST_SCATTER = 4.0
#: The variance of a median of a few is about this many times that of their mean.
MEDIAN_LOSS = 1.3
#: The offset of a device is averaged over this many stations on either side.
OFFSET_STATIONS = 20
#: A rider's own line differs from ride to ride by this standard deviation in m: no ride weighs more than its inverse square.
RIDERS_LINE_M = 1.5
#: A new fix is off by this much more, in m, less and less until so many seconds have passed.
UNSETTLED_M, UNSETTLED_S = 15.0, 30.0


@dataclass(frozen=True, eq=False)
class Places:
    """The places of all strands abreast of each station of a line.

    `xy_m` (m, t, 2), nan where a strand has none. `passed` (m, t) marks the stations that a strand passes by, unbroken
    but elsewhere. `unsettled_m2` (m, t) variance that a new fix has beside its usual one. `device`, `ride` (t,) numbers.
    """

    xy_m: FloatArray
    passed: BoolArray
    unsettled_m2: FloatArray
    device: IntArray
    ride: IntArray


@dataclass(frozen=True, eq=False)
class Counted:
    """Places ready for the middle: `xy_m` (m, t, 2) with the devices' offsets taken off, `weight` (m, t).

    `variance_m2` (t,) is each strand's scatter per axis about its own device's line.
    """

    xy_m: FloatArray
    weight: FloatArray
    variance_m2: FloatArray


def gathered(strands: Sequence[Strand], places: Sequence[Abreast]) -> Places:
    """Return the places of all strands, station by station."""
    passed = np.column_stack([passed_by(s, p) for s, p in zip(strands, places, strict=True)])
    unsettled = np.column_stack([_unsettled(s, p) for s, p in zip(strands, places, strict=True)])
    device, ride = (
        np.unique(names, return_inverse=True)[1] for names in ([s.device for s in strands], [s.ride for s in strands])
    )
    return Places(np.stack([p.xy_m for p in places], axis=1), passed, unsettled, device, ride)


def passed_by(strand: Strand, place: Abreast) -> BoolArray:
    """Return (m,) which stations a trace passes by without a break: it is abreast before and after, not there.

    A way of which some may not count (flagged by the person) passes nothing by.
    """
    known = np.flatnonzero(~np.isnan(place.vertex))
    by = np.zeros(len(place.vertex), dtype=bool)
    skips = np.flatnonzero(np.diff(known) > 1)
    if len(skips):
        ends = place.vertex[np.column_stack([known[skips], known[skips + 1]])]
        at = np.searchsorted(strand.steps.vertex, ends).clip(0, len(strand.steps) - 1)
        piece, barred = strand.steps.piece[at], np.concatenate([[0], np.cumsum(~strand.counts)])
        unbroken = (piece[:, 0] == piece[:, 1]) & (barred[at[:, 0]] == barred[at[:, 1]])
        for k in skips[unbroken]:
            by[known[k] + 1 : known[k + 1]] = True
    return by


def _unsettled(strand: Strand, place: Abreast) -> FloatArray:
    """Return (m,) the variance in m² that the fixes of a trace have for their newness."""
    extra = np.zeros(len(place.vertex))
    new = np.flatnonzero(place.vertex < np.searchsorted(strand.age_s, UNSETTLED_S))
    age_s = strand.age_s[np.floor(place.vertex[new]).astype(int)]
    extra[new] = (UNSETTLED_M * np.maximum(1.0 - age_s / UNSETTLED_S, 0.0) ** 2) ** 2
    return extra


def counted(places: Places, keep: BoolArray) -> Counted:
    """Return the places of the strands kept, offsets between devices taken off, and what each counts.

    Nothing of the strands that are not kept is used, so that a line without a ride knows nothing of it.
    """
    there = keep & ~np.isnan(places.xy_m[:, :, 0])
    variance = _own_variance(places, there, keep)
    xy_m, between_m2, number = _brought_together(places, there, keep, variance)
    weight = there / (variance + number[:, places.device] * between_m2 + places.unsettled_m2)
    for ride in np.unique(places.ride[keep]):
        mine = (places.ride == ride) & keep
        weight[:, mine] /= 1.0 + RIDERS_LINE_M**2 * weight[:, mine].sum(axis=1, keepdims=True)
    return Counted(xy_m, weight, variance)


def runs_by(found: Counted, line_m: FloatArray) -> BoolArray:
    """Return (m,) whether any trace that counts runs by the line.

    Between two roads lies none: where the ride left out ran in the middle, the line of the others is not known.
    """
    away_m2 = ((found.xy_m - line_m[:, None]) ** 2).sum(axis=2)
    return np.asarray(((found.weight > 0) & (away_m2 <= PAIR_APART_M**2)).any(axis=1))


def ridden_often(places: Places, keep: BoolArray) -> BoolArray:
    """Return (d,) which devices were carried on two rides or more."""
    pairs = np.unique(np.column_stack([places.device, places.ride])[keep], axis=0)
    return np.bincount(pairs[:, 0], minlength=int(places.device.max()) + 1) > 1


def _own_variance(places: Places, there: BoolArray, keep: BoolArray) -> FloatArray:
    """Return (t,) the variance per axis of each trace about the usual line of its device.

    Devices seen on one ride only are taken together: a bad ride cannot be told from a bad device.
    """
    often = ridden_often(places, keep)
    group = np.where(often, np.arange(len(often)), len(often))[places.device]
    median, number = medians_of_groups(places.xy_m, there, group, len(often) + 1)
    gap = places.xy_m - median[:, group]
    n = number[:, group]
    square = (gap**2).sum(axis=2) * n / np.maximum(n - 1, 1)
    away = np.sqrt(np.where(there & (n > 1), square, np.nan))
    known = np.isfinite(away).any(axis=0)
    variance = np.full(len(group), np.nan)
    capped = np.minimum(away[:, known], LARGEST_SCATTER * np.nanmedian(away[:, known], axis=0))
    variance[known] = np.nanmean(capped**2, axis=0) / 2.0
    usual = float(np.median(variance[known])) if known.any() else LEAST_VARIANCE_M2
    variance = np.clip(np.where(known, variance, usual), usual / VARIANCE_RANGE, usual * VARIANCE_RANGE)
    # one trace tells little of its own variance, as its errors are correlated along the way: half of it, in logarithms,
    # is taken from its device
    of_group = np.bincount(group[keep], variance[keep], len(often) + 1) / np.maximum(
        np.bincount(group[keep], minlength=len(often) + 1), 1
    )
    variance[keep] = np.sqrt(variance[keep] * of_group[group[keep]])
    return np.asarray(np.maximum(variance, LEAST_VARIANCE_M2))


def _brought_together(
    places: Places, there: BoolArray, keep: BoolArray, variance: FloatArray
) -> tuple[FloatArray, float, FloatArray]:
    """Return the places with the offsets between devices taken off, the variance between devices, and (m, d) traces."""
    often = ridden_often(places, keep)
    median, number = medians_of_groups(places.xy_m, there, places.device, len(often))
    if often.sum() < 2:
        return places.xy_m, 0.0, number
    usual = np.array([variance[(places.device == d) & keep].mean() if often[d] else 1.0 for d in range(len(often))])
    running = often & (number > 0)
    with np.errstate(divide="ignore"):
        own_m2 = np.where(running, MEDIAN_LOSS * usual / number, np.inf)
    between_m2 = between_devices(median, own_m2)
    if between_m2 == 0.0:
        return places.xy_m, 0.0, number
    weight = 1.0 / (own_m2 + between_m2)
    middle = _middle_of_devices(median, weight)
    offset = np.where(running[:, :, None], median - middle[:, None], 0.0)
    offset = averaged(offset, OFFSET_STATIONS) * (between_m2 / (between_m2 + own_m2))[:, :, None]
    return places.xy_m - offset[:, places.device], between_m2, number


def between_devices(median_m: FloatArray, own_m2: FloatArray) -> float:
    """Return the variance between devices per axis: what their usual lines differ by beyond their scatter.

    Parameters
    ----------
    median_m : (m, d, 2) the usual line of each device. own_m2 : (m, d) its variance per axis, inf where it has none.

    Returns
    -------
    float
        The median over the stations where most devices run, in m²; nought where they agree.

    Examples
    --------
    >>> lines = np.zeros((5, 2, 2))
    >>> lines[:, 1, 1] = 14.0
    >>> between_devices(lines, np.full((5, 2), 2.0))
    47.0
    """
    weight = 1.0 / own_m2
    devices = (weight > 0).sum(axis=1)
    most = devices == devices.max()
    if devices.max() < 2:
        return 0.0
    weight, median_m, free = weight[most], median_m[most], devices.max() - 1
    middle, total = _weighted_mean(median_m, weight)
    square = np.where(weight > 0, ((median_m - middle[:, None]) ** 2).sum(axis=2), 0.0)
    excess = (weight * square).sum(axis=1) / 2.0 - free
    return float(np.median(np.maximum(0.0, excess / (total - (weight**2).sum(axis=1) / total))))


def _middle_of_devices(median_m: FloatArray, weight: FloatArray) -> FloatArray:
    """Return (m, 2) the middle of the devices' lines: the mean of two, of more the geometric median.

    Of three of which two agree, the third has no say, however far it is off.
    """
    mean, _ = _weighted_mean(median_m, weight)
    several = (weight > 0).sum(axis=1) > 2
    mean[several] = geometric_median(median_m[several], weight[several], mean[several])
    return mean


def _weighted_mean(median_m: FloatArray, weight: FloatArray) -> tuple[FloatArray, FloatArray]:
    total = weight.sum(axis=1)
    summed = np.einsum("md,mdk->mk", weight, np.where((weight > 0)[:, :, None], median_m, 0.0))
    return summed / np.maximum(total, 1e-12)[:, None], np.maximum(total, 1e-12)


def averaged(values: FloatArray, stations: int) -> FloatArray:
    """Return (m, …) values averaged over so many stations on either side, fewer at the ends.

    Examples
    --------
    >>> averaged(np.array([0.0, 3.0, 0.0, 0.0]), 1).tolist()
    [1.5, 1.0, 1.0, 0.0]
    """
    count = len(values)
    summed = np.concatenate([np.zeros((1, *values.shape[1:])), np.cumsum(values, axis=0)])
    low = np.maximum(np.arange(count) - stations, 0)
    high = np.minimum(np.arange(count) + stations + 1, count)
    return np.asarray((summed[high] - summed[low]) / (high - low).reshape(-1, *([1] * (values.ndim - 1))))

"""How much the place of a trace counts at a station, and where two devices that disagree are brought together.

A trace counts by its scatter about its *own device's* usual line: scatter about the running line would confirm whatever
the line began as. What devices differ by beyond their scatter is an error of theirs that no ride averages out; it is
found by random effects (DerSimonian & Laird 1986, Controlled Clinical Trials 7:177–188), and then devices count alike.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from gpsq.centreline.group_medians import medians_of_groups
from gpsq.centreline.robust_middle import PAIR_APART_M, geometric_median
from gpsq.centreline.scatter import own_variance
from gpsq.centreline.strands import passed_by
from gpsq.geometry._compiled import compiled, read_only

if TYPE_CHECKING:
    from collections.abc import Sequence

    from gpsq.centreline.strands import Strand
    from gpsq.geometry.alignment import Abreast
    from gpsq.model import BoolArray, FloatArray, IntArray

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
    ages = [
        (read_only(p.vertex, np.float64), read_only(s.age_s, np.float64)) for s, p in zip(strands, places, strict=True)
    ]
    unsettled = np.column_stack([_unsettled(at, age_s) for at, age_s in ages])
    device, ride = (
        np.unique(names, return_inverse=True)[1] for names in ([s.device for s in strands], [s.ride for s in strands])
    )
    return Places(np.stack([p.xy_m for p in places], axis=1), passed, unsettled, device, ride)


@compiled
def _unsettled(at: FloatArray, age_s: FloatArray) -> FloatArray:  # pragma: no cover - compiled
    """Return (m,) the variance in m² that the fixes of a trace have for their newness, by its vertex at each station."""
    extra = np.zeros(len(at))
    for j in range(len(at)):
        if not np.isnan(at[j]):
            extra[j] = (UNSETTLED_M * max(1.0 - age_s[int(at[j])] / UNSETTLED_S, 0.0) ** 2) ** 2
    return extra


def counted(places: Places, keep: BoolArray) -> Counted:
    """Return the places of the strands kept, offsets between devices taken off, and what each counts.

    Nothing of the strands that are not kept is used, so that a line without a ride knows nothing of it.
    """
    there = keep & ~np.isnan(places.xy_m[:, :, 0])
    often = ridden_often(places, keep)
    usual = medians_of_groups(places.xy_m, there, places.device, len(often))
    variance = _own_variance(places, there, keep, often, usual)
    xy_m, between_m2 = _brought_together(places, keep, often, usual, variance)
    own, number, new = (read_only(v, np.float64) for v in (variance, usual[1], places.unsettled_m2))
    device, ride = (read_only(n, np.int64) for n in (places.device, places.ride))
    weight = _weights(own, number, new, between_m2, read_only(there, np.bool_), device, ride)
    return Counted(xy_m, weight, variance)


@compiled
def _weights(
    variance: FloatArray,
    number: FloatArray,
    unsettled: FloatArray,
    between_m2: float,
    there: BoolArray,
    device: IntArray,
    ride: IntArray,
) -> FloatArray:  # pragma: no cover - compiled
    """Return (m, t) what places count by their variances; at no station a ride more than its rider's own line."""
    weight, total = np.zeros(there.shape), np.zeros(ride.max() + 1)
    for j in range(len(there)):
        total[:] = 0.0
        for t in range(len(ride)):
            if there[j, t]:
                weight[j, t] = 1.0 / (variance[t] + number[j, device[t]] * between_m2 + unsettled[j, t])
                total[ride[t]] += weight[j, t]
        for t in range(len(ride)):
            weight[j, t] /= 1.0 + RIDERS_LINE_M**2 * total[ride[t]]
    return weight


def runs_by(found: Counted, line_m: FloatArray) -> BoolArray:
    """Return (m,) whether any trace that counts runs by the line.

    Between two roads lies none: where the ride left out ran in the middle, the line of the others is not known.
    """
    places, weight, line = (read_only(v, np.float64) for v in (found.xy_m, found.weight, line_m))
    by: BoolArray = _runs_by(places, weight, line)
    return by


@compiled
def _runs_by(places: FloatArray, weight: FloatArray, line: FloatArray) -> BoolArray:  # pragma: no cover - compiled
    """Return the same: it looks at each station until one is found."""
    by = np.zeros(len(line), dtype=np.bool_)
    for j in range(len(line)):
        for t in range(weight.shape[1]):
            x, y = places[j, t, 0] - line[j, 0], places[j, t, 1] - line[j, 1]
            if weight[j, t] > 0 and x * x + y * y <= PAIR_APART_M**2:
                by[j] = True
                break
    return by


def ridden_often(places: Places, keep: BoolArray) -> BoolArray:
    """Return (d,) which devices were carried on two rides or more."""
    rides, devices = int(places.ride.max()) + 1, int(places.device.max()) + 1
    carried = np.bincount((places.device * rides + places.ride)[keep], minlength=devices * rides).reshape(
        devices, rides
    )
    return np.asarray((carried > 0).sum(axis=1) > 1)


def _own_variance(
    places: Places, there: BoolArray, keep: BoolArray, often: BoolArray, usual: tuple[FloatArray, FloatArray]
) -> FloatArray:
    """Return (t,) the variance per axis of each trace about the usual line of its device; `usual` are the devices' lines.

    Devices seen on one ride only are taken together: a bad ride cannot be told from a bad device.
    """
    group = np.where(often, np.arange(len(often)), len(often))[places.device]
    pooled = usual if often.all() else medians_of_groups(places.xy_m, there, group, len(often) + 1)
    return own_variance(places.xy_m, there, group, *pooled, keep)


def _brought_together(
    places: Places, keep: BoolArray, often: BoolArray, usual: tuple[FloatArray, FloatArray], variance: FloatArray
) -> tuple[FloatArray, float]:
    """Return the places with the offsets between devices taken off, and the variance between devices."""
    if often.sum() < 2:
        return places.xy_m, 0.0
    median, number = usual
    own = np.array([variance[(places.device == d) & keep].mean() if often[d] else 1.0 for d in range(len(often))])
    running = often & (number > 0)
    with np.errstate(divide="ignore"):
        own_m2 = np.where(running, MEDIAN_LOSS * own / number, np.inf)
    between_m2 = between_devices(median, own_m2)
    if between_m2 == 0.0:
        return places.xy_m, 0.0
    weight = 1.0 / (own_m2 + between_m2)
    middle = _middle_of_devices(median, weight)
    offset = np.where(running[:, :, None], median - middle[:, None], 0.0)
    offset = averaged(offset, OFFSET_STATIONS) * (between_m2 / (between_m2 + own_m2))[:, :, None]
    each, offsets = read_only(places.xy_m, np.float64), read_only(offset, np.float64)
    return _taken_off(each, offsets, read_only(places.device, np.int64)), between_m2


@compiled
def _taken_off(places: FloatArray, offset: FloatArray, device: IntArray) -> FloatArray:  # pragma: no cover - compiled
    """Return (m, t, 2) places with the (m, d, 2) offset of each one's device taken off."""
    left = np.empty(places.shape)
    for j in range(places.shape[0]):
        for t in range(places.shape[1]):
            left[j, t, 0] = places[j, t, 0] - offset[j, device[t], 0]
            left[j, t, 1] = places[j, t, 1] - offset[j, device[t], 1]
    return left


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

"""Positions that are no fixes though they look like coordinates, and fixes that were off for a moment.

Ordinary errors of a receiver are never touched here: they are what gpsq measures. Distances are straight through the
earth, which is the same to a centimetre over the few kilometres that matter.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from gpsq.arrays import norms
from gpsq.geometry.polyline import FAR_M, FEW_LEGS, far_legs
from gpsq.model import Spike
from gpsq.plane import to_earth_centred
from gpsq.reading.beginning import mark_beginning
from gpsq.reading.speeds import ridden, riding_mps, seconds_between, too_fast

if TYPE_CHECKING:
    from collections.abc import Iterator

    from numpy.typing import NDArray

    from gpsq.model import FloatArray, IntArray, TimeArray
    from gpsq.settings import Settings

#: A spike is off by this many times the usual distance of a fix from the middle between its neighbours.
_SPIKE_FACTOR = 6.0
#: Off and back within seconds: a longer excursion shows station by station.
_SPIKE_S = 30.0

#: More than so many damaged digits are none.
_MOST_CHUNKS = 50


def no_fixes(time: TimeArray, lon_deg: FloatArray, lat_deg: FloatArray, settings: Settings) -> NDArray[np.object_]:
    """Return (n,) reasons ("" for a fix): frozen_before_fix, outlier_jump, straight_backfill.

    Parameters
    ----------
    time, lon_deg, lat_deg : (n,) arrays
        Points in order of travel; times may be NaT.
    settings : Settings
        What counts as a jump.
    """
    reason = np.full(len(lon_deg), "", dtype=object)
    if len(lon_deg) < 3:
        return reason
    xyz = to_earth_centred(lon_deg, lat_deg)
    _mark_excursions(reason, time, xyz, settings)
    mark_beginning(reason, time, xyz, lon_deg, lat_deg, settings)
    _mark_end(reason, time, xyz, settings)
    return reason


def _wild_legs(time: TimeArray, xyz: FloatArray, settings: Settings) -> IntArray:
    """Return the numbers of the legs that no rider can make: speed alone proves it, whatever the metres."""
    seconds = np.diff(time) / np.timedelta64(1, "s")
    return np.flatnonzero(too_fast(norms(np.diff(xyz, axis=0)), seconds, settings)).astype(np.int64)


def _mark_excursions(reason: NDArray[np.object_], time: TimeArray, xyz: FloatArray, settings: Settings) -> None:
    """Mark the few points between two legs that no rider can make, there and back."""
    wild = _wild_legs(time, xyz, settings)
    if len(wild) < 2:
        return
    pace_mps = riding_mps(time, xyz, settings)
    done = 0
    for place, out in enumerate(wild.tolist()):
        if out < done:
            continue
        later = wild[place + 1 : place + 1 + settings.outlier_max_points]
        ends = later[later - out <= settings.outlier_max_points] + 1
        metres, seconds = norms(xyz[ends] - xyz[out]), seconds_between(time, out, ends)
        back = ends[ridden(metres, seconds, pace_mps, settings)]
        if not len(back):
            back = ends[~too_fast(metres, seconds, settings)]
        if len(back):
            done = int(back[0])
            reason[out + 1 : done] = "outlier_jump"


def _mark_end(reason: NDArray[np.object_], time: TimeArray, xyz: FloatArray, settings: Settings) -> None:
    """Mark the few last points of a recording, where a leg that no rider can make leads to them."""
    left = np.flatnonzero(reason == "")
    wild = _wild_legs(time[left], xyz[left], settings)
    if not len(wild):
        return
    tail = len(left) - 1 - wild[-1]
    before = wild[-1] - (wild[-2] if len(wild) > 1 else -1)
    if tail <= settings.outlier_max_points and tail < before:
        reason[left[wild[-1] + 1 :]] = "outlier_jump"


def find_spikes(
    time: TimeArray, lon_deg: FloatArray, lat_deg: FloatArray, reason: NDArray[np.object_], settings: Settings
) -> tuple[Spike, ...]:
    """Return the excursions of a few fixes that went off and came back within seconds, in order of travel.

    Parameters
    ----------
    time, lon_deg, lat_deg, reason : (n,) points in order of travel, with the reasons that `no_fixes` gave. Points count
        from 0 in these arrays.
    settings : Settings
        ``spike_m``, ``outlier_max_points``.

    A spike is either an excursion that was set aside, or fixes that were kept: off the straight way between the fixes
    before and after by `spike_m` and by far more than this receiver usually scatters, there and back faster than the
    ride ever goes.
    """
    fixes = np.flatnonzero(reason == "")
    if len(fixes) < 3:
        return ()
    xyz = to_earth_centred(lon_deg, lat_deg)
    apart = np.flatnonzero(np.diff(fixes) > 1)
    aside = [
        Spike(int(low), int(high - low - 1), float(_off_m(time, xyz, low, high).max()))
        for low, high in zip(fixes[apart], fixes[apart + 1], strict=True)
    ]
    kept = [
        Spike(int(fixes[low]), high - low - 1, metres)
        for low, high, metres in _kept_spikes(time[fixes], xyz[fixes], settings)
    ]
    return tuple(sorted([*aside, *kept], key=lambda spike: spike.after_point))


def _off_m(time: TimeArray, xyz: FloatArray, before: int, after: int) -> FloatArray:
    """Return how far the points between two fixes lie off the straight and even way between these."""
    inside = np.arange(before + 1, after)
    seconds, span_s = seconds_between(time, before, inside), float(seconds_between(time, before, after))
    share = seconds / span_s if span_s > 0 and np.isfinite(seconds).all() else (inside - before) / (after - before)
    way = xyz[before] + share[:, None] * (xyz[after] - xyz[before])
    return norms(xyz[inside] - way)


def _kept_spikes(time: TimeArray, xyz: FloatArray, settings: Settings) -> Iterator[tuple[int, int, float]]:
    """Yield (fix before, fix after, metres off) of the spikes among fixes that were kept.

    All fixes of a spike are far off, and the longest are looked for first: of two fixes off one after the other, either
    lies near enough to the other to hide how far off they are.
    """
    legs_m = norms(np.diff(xyz, axis=0))
    if legs_m.max() < settings.spike_m / settings.outlier_max_points:
        return  # no few legs lead so far off
    scatter_m = float(np.median(norms(xyz[1:-1] - (xyz[:-2] + xyz[2:]) / 2)))
    least_m = max(settings.spike_m, _SPIKE_FACTOR * scatter_m)
    pace_mps = riding_mps(time, xyz, settings)
    with np.errstate(invalid="ignore"):
        fast = legs_m > pace_mps * np.diff(time) / np.timedelta64(1, "s")
    counted = np.zeros(len(xyz), dtype=bool)
    for size in range(settings.outlier_max_points, 0, -1):
        out = np.flatnonzero(fast[: len(fast) - size] & fast[size:])
        seconds = seconds_between(time, out, out + size + 1)
        metres = norms(xyz[out + size + 1] - xyz[out])
        brief = (seconds > 0) & (seconds <= _SPIKE_S) & ridden(metres, seconds, pace_mps, settings)
        for before in out[brief].tolist():
            after = before + size + 1
            off_m = _off_m(time, xyz, before, after)
            if off_m.min() >= least_m and not counted[before : after + 1].any():
                counted[before + 1 : after] = True
                yield before, after, float(off_m.max())


def mark_far(
    reason: NDArray[np.object_], time: TimeArray, lon_deg: FloatArray, lat_deg: FloatArray, settings: Settings
) -> None:
    """Mark the few points that only far legs lead to and from, unless their times allow them.

    Parameters
    ----------
    reason : (n,) why each point is no fix, "" where it is one; "outlier_jump" is written into it.
    time, lon_deg, lat_deg : (n,) points in order of travel; times may be NaT.
    settings : Settings
        ``outlier_max_points``, ``speed_limit_mps``.
    """
    left = np.flatnonzero(reason == "")
    if len(left) < FEW_LEGS:
        return
    xyz = to_earth_centred(lon_deg[left], lat_deg[left])
    legs_m = norms(np.diff(xyz, axis=0))
    with np.errstate(invalid="ignore"):
        possible = legs_m <= settings.speed_limit_mps * np.diff(time[left]) / np.timedelta64(1, "s")
    far = np.flatnonzero(far_legs(legs_m) & ~possible)
    chunk = np.searchsorted(far, np.arange(len(left)))
    size = np.bincount(chunk)
    few = (size <= settings.outlier_max_points) & (size < size.max())
    if not few.any() or few.sum() > _MOST_CHUNKS:
        return
    many = xyz[~few[chunk]]
    for number in np.flatnonzero(few):
        members = np.flatnonzero(chunk == number)
        if norms(many - xyz[members[0]]).min() > FAR_M:  # else it lies before or behind a damaged one
            reason[left[members]] = "outlier_jump"

"""How long riders take for the stretch between the place of the start and a first fix: by the pace of other rides there."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from gpsq.arrays import norms
from gpsq.geometry import polyline

if TYPE_CHECKING:
    from gpsq.model import FloatArray, TimeArray

#: A ride tells of the pace on a stretch when it has this share of it.
LEAST_SHARE = 0.6
#: Off the road by more than this a rider was elsewhere.
ASIDE_M = 60.0
#: So far from where a rider stood he rides at his usual speed.
UNDER_WAY_M = 20.0
#: So many fixes are looked at before all are.
SOON = 150
#: Without other rides, the recording's own pace in so many seconds after its fix.
OWN_S, MOVING_MPS = 120.0, 0.5


def passing_s(
    time: TimeArray, xy_m: FloatArray, way_m: FloatArray, *, towards_start: bool
) -> tuple[float, float] | None:
    """Return the seconds that a recording takes for a way, and the metres of it that it has, None where it has too little.

    Parameters
    ----------
    time, xy_m : (n,) and (n, 2) fixes of the recording, all timed, in the plane of the way.
    way_m : (k, 2) from the place of the start to a first fix.
    towards_start : the recording runs the other way and ends at the start.

    Notes
    -----
    Neither standing at the place of the start nor the first metres, ridden gaining speed, count; standing on the way does.
    """
    along, time_s = polyline.along_m(way_m), np.asarray((time - time[0]) / np.timedelta64(1, "s"), dtype=float)
    if towards_start:
        xy_m, time_s = xy_m[::-1], time_s[-1] - time_s[::-1]
    for many in (SOON, len(xy_m)):  # most have left the way after their first fixes
        foot_m, off_m = _on_way(xy_m[:many], way_m)
        beyond = np.flatnonzero(foot_m >= along[-1] - 1e-6)
        if len(beyond):
            break
    else:
        return None
    end = int(beyond[0])
    if np.abs(off_m[: end + 1]).max() > ASIDE_M:
        return None
    begin = _under_way(xy_m, end)
    has_m = along[-1] - float(foot_m[begin])
    if has_m < LEAST_SHARE * along[-1] or time_s[end] <= time_s[begin]:
        return None
    return float(time_s[end] - time_s[begin]), has_m


def _on_way(xy_m: FloatArray, way_m: FloatArray) -> tuple[FloatArray, FloatArray]:
    first = np.zeros(len(xy_m), dtype=np.int64)
    return polyline.nearest_on_line(xy_m, way_m, first, first + len(way_m) - 2)


def _under_way(xy_m: FloatArray, end: int) -> int:
    """Return the last fix before `end` that lies near where the recording begins."""
    near = norms(xy_m[: end + 1] - np.median(xy_m[: min(5, end + 1)], axis=0)) < UNDER_WAY_M
    return int(np.flatnonzero(near)[-1]) if near.any() else 0


def own_pace_s_per_m(time: TimeArray, xy_m: FloatArray) -> float:
    """Return the seconds a metre of a recording's own first minutes, standing left out; nan where it only stands or leaps."""
    time_s = np.asarray((time - time[0]) / np.timedelta64(1, "s"), dtype=float)
    early = time_s <= OWN_S
    legs_m, legs_s = norms(np.diff(xy_m[early], axis=0)), np.diff(time_s[early])
    moving = legs_m > MOVING_MPS * legs_s
    taken_s = float(legs_s[moving].sum())
    return taken_s / float(legs_m[moving].sum()) if taken_s > 0 else float("nan")

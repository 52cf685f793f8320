"""Points in the order in which they were ridden, where their times tell it."""

from __future__ import annotations

from bisect import bisect_right
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from gpsq.model import NAT
from gpsq.plane import geodesic_legs_m

if TYPE_CHECKING:
    from gpsq.model import BoolArray, FloatArray, IntArray, TimeArray

#: Up to this share of points with a backward time are slips of a clock; more, and the clock is not to be trusted.
_SLIP_SHARE = 0.05


@dataclass(frozen=True)
class Order:
    """`index` (n,) brings the points in order; `time` (n,) are the times to use, in that order; `notes` say why."""

    index: IntArray
    time: TimeArray
    notes: tuple[str, ...] = ()


def in_order(time: TimeArray, lon_deg: FloatArray, lat_deg: FloatArray, segment: IntArray) -> Order:
    """Sort by time where that does not lengthen the path; otherwise keep the file's order and doubt the times.

    Sorting is right for points written late or backwards. Where it makes the path longer, the times are wrong, not
    the order: after a clock change the rows are the only evidence.
    """
    index = np.arange(len(time))
    known = ~np.isnat(time)
    if known.sum() < 2:
        return Order(index, time)
    filled = _filled(time)
    if (np.diff(filled) >= np.timedelta64(0, "ms")).all():
        return Order(index, time, _repeated(time[known]))
    by_time = np.argsort(filled, kind="stable")
    before, after = (_path_m(i, lon_deg, lat_deg, segment) for i in (index, by_time))
    kept = _longest_rising(filled)
    if after <= before * (1 + 1e-9):
        return Order(by_time, time[by_time], (_sorted_note(filled, kept), *_repeated(time[by_time][known[by_time]])))
    return _distrusted(time, filled, kept)


def _filled(time: TimeArray) -> TimeArray:
    """Give points without a time that of the point before them (the first known one at the beginning)."""
    known = ~np.isnat(time)
    last = np.maximum.accumulate(np.where(known, np.arange(len(time)), int(known.argmax())))
    return time[last]


def _path_m(index: IntArray, lon_deg: FloatArray, lat_deg: FloatArray, segment: IntArray) -> float:
    legs = geodesic_legs_m(lon_deg[index], lat_deg[index])
    return float(legs[np.diff(segment[index]) == 0].sum())


def _longest_rising(time: TimeArray) -> BoolArray:
    """Mark the longest subsequence whose times never fall (patience sorting); the others are out of order."""
    values = time.astype(np.int64).tolist()
    tails: list[int] = []
    at: list[int] = []
    previous = np.full(len(values), -1)
    for i, value in enumerate(values):
        place = bisect_right(tails, value)
        tails[place : place + 1] = [value]
        at[place : place + 1] = [i]
        previous[i] = at[place - 1] if place else -1
    kept = np.zeros(len(values), dtype=np.bool_)
    i = at[-1]
    while i >= 0:
        kept[i] = True
        i = int(previous[i])
    return kept


def _repeated(time: TimeArray) -> tuple[str, ...]:
    same = int((np.diff(time) == np.timedelta64(0, "ms")).sum())
    return (f"{same} of {len(time)} points repeat the time of the point before them.",) if same else ()


def _sorted_note(filled: TimeArray, kept: BoolArray) -> str:
    if (np.diff(filled) <= np.timedelta64(0, "ms")).all():
        return "The track is written backwards, last point first; it was put in order of time."
    return f"{int((~kept).sum())} of {len(kept)} points stand out of order; the track was put in order of time."


def _distrusted(time: TimeArray, filled: TimeArray, kept: BoolArray) -> Order:
    step = np.diff(filled) / np.timedelta64(1, "s")
    worst = int(step.argmin())
    where = (
        f"Times step back {-step[worst]:g} s at point {worst + 1} (counted from 0), and sorting by time does not mend "
        "the track"
    )
    index = np.arange(len(time))
    if (~kept).mean() <= _SLIP_SHARE:
        note = f"{where}: the times of {int((~kept).sum())} points are not used."
        return Order(index, np.where(kept, time, NAT), (note,))
    why = "local times over a clock change, or a clock that was set?"
    note = f"{where} ({why}): file order is kept and no times are used."
    return Order(index, np.full_like(time, NAT), (note,))

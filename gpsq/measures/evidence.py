"""What speaks for a road and what for a fault of the receiver, and what gpsq suggests; the person decides.

A rider who chose another road moves smoothly at normal speed, leaves and rejoins, and every device on the ride agrees. A
receiver's fault jumps, wanders, or is shared by no other device. Devices of one ride are measured from the same line, so an
error of that line looks like agreement: a companion agrees only if it is far off itself. A device alone has no witness but
the other rides; then only what no rider can do speaks for a fault, and the rest cannot be told.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from gpsq.arrays import norms
from gpsq.geometry import polyline
from gpsq.model import CANNOT_BE_TOLD, RECEIVER_ERROR, ROUTE_CHOICE

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from gpsq.measures.usual_spread import Course
    from gpsq.model import FloatArray, IntArray, Trace

#: Others are looked at where the trace is at least this share of the peak away, since the ends lie near the line, …
INNER_SHARE = 0.5
#: … and must be off to the same side by more than this share of the peak, …
AGREE_SHARE = 0.5
#: … and by more than this many standard deviations of the line itself.
LINE_SDS = 2.0
#: A companion speaks only where it covers this share of the stretch.
COVER_SHARE = 0.5
#: Another ride went the same other way when it ran this near, or within this share of the peak.
SAME_WAY_M, SAME_WAY_SHARE = 20.0, 0.35
#: A track this much longer than its own outline wanders (common practice; an ordinary 1 s track has 1.02 to 1.1), if it
#: is so by this factor against its recording as a whole.
WANDER_RATIO = 1.3
#: A leg this many times faster than the trace's own fast riding is a jump, …
JUMP_FACTOR = 2.0
#: … if it leads this much further than fast riding would, and by more than so many of the trace's standard deviations.
JUMP_M, JUMP_SPREADS = 20.0, 5.0
NOBODY = "no other device on the ride covers this stretch"
IN_DOUBT = "the other devices on the ride lie within the doubt about the line itself"
#: hdop above this is poor; 1 to 2 is excellent to good (common practice).
POOR_HDOP = 5.0


@dataclass(frozen=True, eq=False)
class Stretch:
    """A stretch off the line: stations `low` to `high`, fixes `first` to `last`, and what is usual there.

    `spread_m` is the trace's standard deviation on that stretch, `line_sd_m` (m,) that of the line, `band_m` the floor of
    the band. `by_itself` is False where only what the ride's devices show together led to it: that is no fault of one.
    """

    course: Course
    low: int
    high: int
    first: int
    last: int
    spread_m: float
    line_sd_m: FloatArray
    band_m: float
    by_itself: bool = True


def judged(stretch: Stretch, companions: Sequence[Course], others: Mapping[str, Sequence[Course]]) -> tuple[str, str]:
    """Return what is suggested, and what speaks for it in words.

    Parameters
    ----------
    companions : the other traces of the same ride. others : the traces of each other ride.
    """
    agree, disagree, unsure = _votes(stretch, companions)
    jumps, hints = _jump(stretch), _hints(stretch)
    smoothly = "it moves smoothly" + " at its normal speed" * stretch.course.trace.timed
    moves = [*jumps, *hints] or [smoothly]
    said = [*moves, _ends(stretch)]
    if agree or disagree:
        said.insert(0, f"{agree} of {agree + disagree} other devices on the ride {_leave(agree)} the line with it")
        if agree > disagree:
            return ROUTE_CHOICE, "; ".join(said)
        return RECEIVER_ERROR if disagree > agree and stretch.by_itself else CANNOT_BE_TOLD, "; ".join(said)
    same = _same_way(stretch, others)
    said.insert(0, IN_DOUBT if unsure else NOBODY)
    if same:
        said.insert(1, f"{same} other ride{'s' if same > 1 else ''} went the same other way")
    if same and not jumps:
        return ROUTE_CHOICE, "; ".join(said)
    return RECEIVER_ERROR if jumps and not same else CANNOT_BE_TOLD, "; ".join(said)


def _leave(count: int) -> str:
    return "leaves" if count == 1 else "leave"


def _inner(stretch: Stretch) -> tuple[IntArray, float]:
    """Return the stations far off the line, and how far off the trace is there, in the median: its peak without its noise."""
    size = np.nan_to_num(np.abs(stretch.course.offset_m[stretch.low : stretch.high + 1]))
    inner = np.flatnonzero(size >= INNER_SHARE * size.max())
    return stretch.low + inner, float(np.median(size[inner]))


def _beside_m(stretch: Stretch, other: Course, inner: IntArray) -> tuple[float, float]:
    """Return how far another trace is off to the same side there, and how far from the trace; nan where it hardly runs.

    Both are medians. Far out on an excursion the side of the line has no meaning: there, a trace that is nearer to this
    one than this one is to the line is on the same side.
    """
    own, theirs = stretch.course.offset_m[inner], other.offset_m[inner]
    apart = norms(other.place.xy_m[inner] - stretch.course.place.xy_m[inner])
    if np.isnan(theirs + apart).mean() > 1.0 - COVER_SHARE:
        return float("nan"), float("nan")
    same_side = (own * theirs > 0) | (apart < np.abs(own))
    off = np.where(same_side, np.abs(theirs), -np.abs(theirs))
    return float(np.nanmedian(off)), float(np.nanmedian(apart))


def _votes(stretch: Stretch, companions: Sequence[Course]) -> tuple[int, int, int]:
    """Return how many devices left the line with the trace, how many kept to it, and how many in between say nothing."""
    inner, peak_m = _inner(stretch)
    doubt_m = LINE_SDS * float(np.median(stretch.line_sd_m[inner]))
    off = [off_m for other in companions if np.isfinite(off_m := _beside_m(stretch, other, inner)[0])]
    agree = sum(off_m > max(AGREE_SHARE * peak_m, doubt_m) for off_m in off)
    disagree = sum(off_m <= AGREE_SHARE * peak_m for off_m in off)
    return agree, disagree, len(off) - agree - disagree


def _same_way(stretch: Stretch, others: Mapping[str, Sequence[Course]]) -> int:
    """Return how many other rides were off the line by as much, on the same way."""
    inner, peak_m = _inner(stretch)
    near_m = max(SAME_WAY_M, SAME_WAY_SHARE * peak_m)
    least_m = max(AGREE_SHARE * peak_m, stretch.band_m, LINE_SDS * float(np.median(stretch.line_sd_m[inner])))

    def went(other: Course) -> bool:
        off_m, apart_m = _beside_m(stretch, other, inner)
        return off_m > least_m and apart_m <= near_m

    return sum(any(went(other) for other in courses) for courses in others.values())


def _ends(stretch: Stretch) -> str:
    """Say whether the trace leaves the line and rejoins it, and if not, what is in the way."""
    covered = np.flatnonzero(~np.isnan(stretch.course.offset_m))
    begins, ends = stretch.low <= covered[0], stretch.high >= covered[-1]
    what = "route" if covered[-1] >= len(stretch.course.offset_m) - 1 else "recording"
    if begins and ends:
        return "it is off the line from beginning to end"
    if begins:
        return "it begins off the line and joins it"
    if ends:
        return f"it leaves the line, and the {what} ends before it could rejoin it"
    return "it leaves the line and rejoins it"


def _hints(stretch: Stretch) -> list[str]:
    """Return what speaks for a fault of the receiver and proves none, in words."""
    said = []
    xy, first, last = stretch.course.xy_m, stretch.first, stretch.last
    ratio = _wander(xy[first : last + 1])
    if ratio > WANDER_RATIO * _wander(xy):
        said.append(f"it wanders, {ratio:.1f} times as long as its outline")
    hdop = stretch.course.trace.hdop[first : last + 1]
    if np.isfinite(hdop).any() and np.nanmedian(hdop) > POOR_HDOP:
        said.append(f"its hdop is poor there, {np.nanmedian(hdop):.1f}")
    return said


def _wander(xy_m: FloatArray) -> float:
    """Return how many times longer a piece of track is than its outline, a place every 30 m or so."""
    leg_m = float(np.median(norms(np.diff(xy_m, axis=0)))) if len(xy_m) > 1 else 1.0
    step = max(2, int(np.ceil(30.0 / max(leg_m, 1.0))))
    outline = np.vstack([xy_m[::step], xy_m[-1:]])
    return float(polyline.along_m(xy_m)[-1] / max(polyline.along_m(outline)[-1], 1.0))


def _jump(stretch: Stretch) -> list[str]:
    """Return that the trace jumps as no rider can, in words; nothing where it does not."""
    seconds, metres = _legs(stretch.course.trace, stretch.course.xy_m)
    speed = metres / np.where(seconds > 0, seconds, np.nan)
    inside = slice(stretch.first, stretch.last)
    if not stretch.course.trace.timed or not np.isfinite(speed[inside]).any():
        return []
    usual = float(np.nanpercentile(speed, 95))
    too_far = metres - usual * seconds > max(JUMP_M, JUMP_SPREADS * stretch.spread_m)
    jumps = (too_far & (speed > JUMP_FACTOR * usual))[inside]
    if not jumps.any():
        return []
    return [f"it jumps, {speed[inside][jumps].max():.0f} m/s where its fast riding is {usual:.0f} m/s"]


def _legs(trace: Trace, xy_m: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Return the seconds and metres of each leg between fixes."""
    seconds = np.diff(trace.time).astype("timedelta64[ms]").astype(float) / 1000.0
    return seconds, norms(np.diff(xy_m, axis=0))

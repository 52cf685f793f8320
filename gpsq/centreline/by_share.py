"""Where scatter is not small against length: the mean of the traces by share of the way.

A few noisy laps of a yard have no order that a station-by-station alignment could find: its line scribbles. As all of
them run the whole way, the mean of their places at the same share of it is the plainest line, and a better one.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, TypeVar

import numpy as np

from gpsq.arrays import norms
from gpsq.geometry import polyline

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import NDArray

    from gpsq.centreline.strands import Strand
    from gpsq.model import BoolArray, FloatArray, IntArray
    from gpsq.settings import Settings

Number = TypeVar("Number", np.float64, np.int64)
#: Traces whose lengths differ more than this (standard deviation of their logarithms) do not run the same way; noise
#: that makes scribbles of them may make them differ more.
ALIKE, ALIKE_SCRIBBLES = 0.3, 0.5
#: Noise makes a trace longer. Where traces are this many times as long as their mean, a line that is as long as they are,
#: but for this share, has averaged nothing: it scribbles.
ROUGH, AS_LONG = 1.1, 0.97
#: A trace is left out of the mean when its length differs from the usual one by more than this many median absolute
#: deviations, and by more than this share: it holds a spike, or it stops early.
UNLIKE, UNLIKE_SHARE = 4.0, 0.15
#: With more traces than this the aligned middle has votes enough, and some of them may be on roads of their own.
MOST_TRACES = 10
#: Scatter is small against length below this share: alignment in order of travel is the better way.
SMALL_SHARE = 0.006
#: The mean is taken if the traces lie at most this many times as far from it as from the aligned line; at 1.5 a detour
#: among five rides would move the line.
MOST_FURTHER = 1.3
#: … and where the aligned line scribbles, and so passes near everything, this many times: laps begun at different places
#: have a mean in the middle of the yard.
MOST_FURTHER_SCRIBBLES = 4.0
#: A place counts as at most this many times as far off as half of its trace's: spikes and detours lie as far from either
#: line, and would hide which of the two is the better.
MOST_AWAY = 4.0


def places_by_share(
    strands: Sequence[Strand],
    usable: Sequence[int],
    line_m: FloatArray,
    settings: Settings,
    near: Sequence[IntArray] | None = None,
) -> FloatArray | None:
    """Return (m, t, 2) places of all strands at the same shares of the way, or None where the aligned line is better.

    Their mean is at equal steps of distance; a strand that does not count, or is unlike the others, is nan.

    Parameters
    ----------
    strands : the traces of a route. usable : the numbers of those that count. line_m : (m, 2) the aligned line.
    near : the station near which each place of each strand runs, if it is known: where the places lie near enough to
        those, none needs to be looked for.
    """
    every = {k: strands[k].steps.xy_m[strands[k].counts] for k in usable}
    alike = _alike(np.array([polyline.along_m(way)[-1] for way in every.values()]))
    ways = {k: way for (k, way), same in zip(every.items(), alike, strict=True) if same}
    lengths_m = np.array([polyline.along_m(way)[-1] for way in ways.values()])
    differ = float(np.log(np.maximum(lengths_m, 1e-9)).std())
    usual_m = float(np.median(lengths_m))
    if len(ways) < 2 or differ > ALIKE_SCRIBBLES:
        return None
    if near is not None:
        # the nearest place on the line lies no further off than a station near it
        off = [norms(_some(way) - line_m[_some(near[k][strands[k].counts])]) for k, way in ways.items()]
        if _mean_off_m(off) < SMALL_SHARE * usual_m:
            return None
    if _off_m(list(ways.values()), line_m, quick=True) < SMALL_SHARE * usual_m:
        return None
    fine = np.linspace(0.0, 1.0, 4 * len(line_m))
    mean = np.mean([_at_share(way, fine) for way in ways.values()], axis=0)
    along_m = polyline.along_m(mean)
    scribbles = usual_m > ROUGH * along_m[-1] and polyline.along_m(line_m)[-1] > AS_LONG * usual_m
    further = _off_m(list(ways.values()), mean) / max(_off_m(list(ways.values()), line_m), 1e-9)
    as_near = len(ways) <= MOST_TRACES and differ <= ALIKE and further <= MOST_FURTHER
    scribbles = scribbles and further <= MOST_FURTHER_SCRIBBLES
    if along_m[-1] <= settings.step_m or not (scribbles or as_near):
        return None
    stations_m = np.linspace(0.0, along_m[-1], max(2, round(along_m[-1] / settings.step_m) + 1))
    share = np.interp(stations_m, along_m, fine)
    places = np.full((len(share), len(strands), 2), np.nan)
    for k, way in ways.items():
        places[:, k] = _at_share(way, share)
    return places


def _alike(lengths_m: FloatArray) -> BoolArray:
    """Return which of the lengths are like the usual one."""
    size = np.log(np.maximum(lengths_m, 1e-9))
    away = np.abs(size - np.median(size))
    return np.asarray(away <= max(UNLIKE_SHARE, UNLIKE * float(np.median(away))))


def mean_of(places_m: FloatArray) -> FloatArray:
    """Return (m, 2) the mean of the places at each station, those that are nan left out; nan where there is none."""
    there = ~np.isnan(places_m[:, :, 0])
    total = np.where(there[:, :, None], places_m, 0.0).sum(axis=1)
    number = there.sum(axis=1)[:, None]
    return np.asarray(np.divide(total, number, out=np.full(total.shape, np.nan), where=number > 0))


def _at_share(way_m: FloatArray, share: FloatArray) -> FloatArray:
    along_m = polyline.along_m(way_m)
    return polyline.at_along(way_m, along_m, share * along_m[-1])


def _off_m(ways: Sequence[FloatArray], line_m: FloatArray, *, quick: bool = False) -> float:
    """Return the mean distance of the ways from a line; `quick` looks at a few dozen places of each."""
    off = []
    for way in ways:
        some = _some(way) if quick else way
        window = np.zeros(len(some), dtype=np.int64), np.full(len(some), len(line_m) - 2, dtype=np.int64)
        off.append(np.abs(polyline.nearest_on_line(some, line_m, *window)[1]))
    return _mean_off_m(off)


def _some(values: NDArray[Number]) -> NDArray[Number]:
    """Return a few dozen of the values along a way."""
    return values[:: max(1, len(values) // 40)]


def _mean_off_m(off_m: Sequence[FloatArray]) -> float:
    """Return the mean over the ways of how far the places of each are off, none counting as much further than half."""
    return float(np.mean([np.minimum(away, MOST_AWAY * np.median(away)).mean() for away in off_m]))

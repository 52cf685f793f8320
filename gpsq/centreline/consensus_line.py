"""The consensus line of a route: where its traces run, station by station, and how far they spread.

Start from the medoid; align every trace to the running line in order of travel; take the geometric median of the places
abreast of each station, traces weighted by their own spread and rides bounded; smooth lightly, resample, repeat. The
places of one ride can be left out without aligning again. What was tried and fails is told in docs/method.md.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from gpsq.arrays import norms
from gpsq.centreline import ends
from gpsq.centreline.ends import Strand
from gpsq.centreline.medoid import medoid
from gpsq.centreline.robust_middle import robust_middle, smooth, steadied
from gpsq.centreline.spread import blank, described
from gpsq.geometry import polyline
from gpsq.geometry.alignment import Abreast, abreast, in_order, within_cap

if TYPE_CHECKING:
    from collections.abc import Sequence

    from gpsq.model import BoolArray, Centreline, FloatArray, IntArray
    from gpsq.settings import Settings

#: The line has settled when its stations move less than this between rounds.
SETTLED_M = 0.1
#: … looked for this many stations on either side of the same share of the way.
MOVED_WINDOW = 6
#: Width of the smoothing in stations.
SMOOTHING = 0.5
#: Rounds at most; seven are usual.
ROUNDS = 12
#: The ends are carried on in these first rounds; later rounds only settle.
EXTENDING_ROUNDS = 3
#: A route has about this many stations at least, so that short ones are drawn finely.
LEAST_STATIONS = 100
#: A trace's own spread is trusted between this share of the usual one and its inverse, so that none weighs for many.
SPREAD_RANGE = 3.0
#: Smallest spread a receiver is believed to have; rounding and short overlaps give less.
LEAST_SPREAD_M = 0.5


@dataclass(frozen=True, eq=False)
class Consensus:
    """A finished line, the path of every strand along it and its place abreast; `without` leaves a ride out of it.

    `stacked` (m, t, 2) holds the places station by station, `weights` (m, t) what each counts.
    """

    centreline: Centreline
    paths: tuple[IntArray, ...]
    places: tuple[Abreast, ...]
    strands: tuple[Strand, ...]
    stacked: FloatArray
    weights: FloatArray

    def without(self, ride: str) -> Centreline:
        """Return the line made without the traces of `ride`, at the same stations; nan where no other trace runs."""
        keep = np.array([strand.ride != ride for strand in self.strands])
        if not keep.any():
            return blank(self.centreline, ride)
        weights = np.where(keep, self.weights, 0.0)
        xy_m = _consensus_xy(self.centreline.xy_m, self.stacked, weights)
        xy_m[weights.sum(axis=1) == 0] = np.nan
        return described(xy_m, self.centreline.along_m, self.places, self.strands, keep, ride)


def step_for(xy_m: Sequence[FloatArray], settings: Settings) -> float:
    """Return the step of a route's stations: `step_m`, finer on a route of a few hundred metres."""
    extent_m = max((float(np.hypot(*(xy.max(axis=0) - xy.min(axis=0)))) for xy in xy_m if len(xy)), default=0.0)
    return float(min(settings.step_m, max(1.0, extent_m / LEAST_STATIONS)))


def strand(xy_m: FloatArray, runs: list[tuple[int, int]], ride: str, counts: BoolArray, settings: Settings) -> Strand:
    """Return a trace ready for a consensus.

    Parameters
    ----------
    xy_m : (n, 2) its fixes. runs : its unbroken runs. ride : the trip it belongs to.
    counts : (n,) which fixes may count for the line (flagged stretches may not).
    """
    steps = polyline.equal_steps(xy_m, runs, settings.step_m)
    low = np.floor(steps.vertex).astype(int)
    high = np.ceil(steps.vertex).astype(int)
    return Strand(steps, ride, counts[low] & counts[high])


def make(strands: Sequence[Strand], settings: Settings) -> Consensus | None:
    """Return the consensus of a route's strands, or None where none of them has a length.

    Parameters
    ----------
    strands : traces of one route at equal steps of `settings.step_m`.

    Returns
    -------
    The line at equal steps, with `support`, `rides` and `spread_m` per station and a confidence band from whole rides.
    """
    usable = [k for k, s in enumerate(strands) if s.counts.sum() >= 2]
    if not usable:
        return None
    first = strands[medoid(strands, usable, settings)]
    line = polyline.resample(first.steps.xy_m[first.counts], settings.step_m)
    near: list[IntArray] | None = None
    for round_number in range(ROUNDS):
        before = line
        paths = _paths(strands, line, settings, near)
        places = _places(strands, paths, line, settings)
        weights = _by_ride(_weights(places, line), places, strands)
        moved = _consensus_xy(line, _stack(places), weights)
        mended = _mended(moved, strands, places, weights, settings, round_number)
        line = polyline.resample(mended, settings.step_m)
        near = _carried_over(paths, moved, line) if len(mended) == len(moved) else None
        if round_number > EXTENDING_ROUNDS + 1 and _moved_m(before, line) < SETTLED_M:
            break
    paths = _paths(strands, line, settings, near)
    places = _places(strands, paths, line, settings)
    weights = _by_ride(_weights(places, line), places, strands)
    everyone = np.ones(len(strands), dtype=bool)
    centreline = described(line, polyline.along_m(line), places, strands, everyone, "")
    return Consensus(centreline, tuple(paths), tuple(places), tuple(strands), _stack(places), weights)


def _mended(
    line: FloatArray,
    strands: Sequence[Strand],
    places: Sequence[Abreast],
    weights: FloatArray,
    settings: Settings,
    round_number: int,
) -> FloatArray:
    if round_number < EXTENDING_ROUNDS:
        line = ends.extended(line, strands, places, settings)
    else:
        # places belong to the stations of the line as it was: one change a round
        mended = ends.rerouted(line, strands, places, weights)
        if len(mended) == len(line):
            mended = ends.without_spurs(line, weights.sum(axis=1), settings.step_m)
        if len(mended) == len(line):
            mended = ends.trimmed(line, strands, places, settings.step_m)
        line = mended
    return line


def aligned(strand: Strand, line_m: FloatArray, settings: Settings) -> Abreast:
    """Return where a strand runs abreast of each station of a line, its excursions filled in."""
    return alongside(strand, _path(strand, line_m, settings), line_m, settings)


def alongside(strand: Strand, path: IntArray, line_m: FloatArray, settings: Settings) -> Abreast:
    """Return the same where the strand's path along the line is known."""
    stations = within_cap(path, strand.steps.xy_m, line_m, settings.align_cap_m)
    return abreast(strand.steps, stations, line_m, with_excursions=True)


def _path(strand: Strand, line_m: FloatArray, settings: Settings, near: IntArray | None = None) -> IntArray:
    steps = strand.steps
    return in_order(steps.xy_m, steps.piece, line_m, step_m=settings.step_m, cap_m=settings.align_cap_m, near=near)


def _paths(
    strands: Sequence[Strand], line: FloatArray, settings: Settings, near: Sequence[IntArray] | None
) -> list[IntArray]:
    """Return the path of each strand along the line, looked for near where it was in the round before."""
    if near is None:
        return [_path(s, line, settings) for s in strands]
    return [_path(s, line, settings, n) for s, n in zip(strands, near, strict=True)]


def _places(
    strands: Sequence[Strand], paths: Sequence[IntArray], line: FloatArray, settings: Settings
) -> list[Abreast]:
    places = []
    for s, path in zip(strands, paths, strict=True):
        stations = np.where(s.counts, within_cap(path, s.steps.xy_m, line, settings.align_cap_m), -1)
        places.append(abreast(s.steps, stations, line, with_excursions=False))
    return places


def _carried_over(paths: Sequence[IntArray], moved: FloatArray, resampled: FloatArray) -> list[IntArray]:
    """Return the paths with their stations numbered as they are after the moved line was resampled."""
    along = polyline.along_m(moved)
    number = np.rint(along * ((len(resampled) - 1) / along[-1])).astype(np.int64)
    return [number[path] for path in paths]


def _stack(places: Sequence[Abreast]) -> FloatArray:
    return np.stack([p.xy_m for p in places], axis=1)


def _weights(places: Sequence[Abreast], line: FloatArray) -> FloatArray:
    """Return (t,) weights from each trace's own spread about the line, none trusted beyond a bound.

    Two traces are equally far from the line between them, and the one that the line began as would weigh for both.
    """
    if len(places) < 3:
        return np.ones(len(places))
    spread = np.array([_spread_about(p, line) for p in places])
    usual = np.nanmedian(spread) if np.isfinite(spread).any() else 1.0
    spread = np.where(np.isfinite(spread), spread, usual)
    spread = np.clip(spread, max(LEAST_SPREAD_M, usual / SPREAD_RANGE), max(LEAST_SPREAD_M, usual * SPREAD_RANGE))
    return np.asarray(1.0 / spread**2)


def _spread_about(place: Abreast, line: FloatArray) -> float:
    away = norms(place.xy_m - line)
    away = away[~np.isnan(away)]
    return float(np.sqrt(np.mean(np.minimum(away, 4.0 * np.median(away)) ** 2))) if len(away) else float("nan")


def _by_ride(weights: FloatArray, places: Sequence[Abreast], strands: Sequence[Strand]) -> FloatArray:
    """Return (m, t) weights in which each ride counts about once at each station, however many devices it carried."""
    there = np.column_stack([~np.isnan(p.vertex) for p in places])
    each: FloatArray = weights * there
    usual = float(np.median(weights))
    for ride in {s.ride for s in strands}:
        mine = np.array([s.ride == ride for s in strands])
        each[:, mine] /= np.maximum(each[:, mine].sum(axis=1, keepdims=True), usual)
    return each


def _consensus_xy(line: FloatArray, places: FloatArray, weights: FloatArray) -> FloatArray:
    """Return the smoothed middle of the places; where no trace runs the line goes along with its neighbours."""
    moved = robust_middle(places, weights, line) - line
    return smooth(line + steadied(moved, weights.sum(axis=1)), SMOOTHING)


def _moved_m(before: FloatArray, after: FloatArray) -> float:
    """Return how far the line moved sideways between rounds, at the 95th percentile of its stations."""
    last = len(before) - 2
    abreast_of = np.linspace(0, last, len(after)).astype(np.int64)
    low, high = np.maximum(abreast_of - MOVED_WINDOW, 0), np.minimum(abreast_of + MOVED_WINDOW, last)
    return float(np.percentile(np.abs(polyline.nearest_on_line(after, before, low, high)[1]), 95))

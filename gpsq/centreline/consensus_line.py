"""The consensus line of a route: where its traces run, station by station, and how far they spread.

Start from the medoid; align every trace to the running line in order of travel; take the robust middle of the places
abreast of each station, traces weighted by their scatter about their own device's line and rides bounded; smooth
lightly, resample, repeat. The places of one ride can be left out without aligning again. What was tried and fails is
told in docs/method.md.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, NamedTuple

import numpy as np

from gpsq.centreline import ends, head, numbering, weights
from gpsq.centreline.apart import devices_apart
from gpsq.centreline.by_share import mean_of, places_by_share
from gpsq.centreline.medoid import medoid
from gpsq.centreline.robust_middle import robust_middle, smooth, steadied
from gpsq.centreline.slow_sampling import between_fixes
from gpsq.centreline.spread import blank, described
from gpsq.geometry import polyline
from gpsq.geometry.alignment import Abreast, abreast, in_order, within_cap

if TYPE_CHECKING:
    from collections.abc import Sequence

    from gpsq.centreline.strands import Strand
    from gpsq.model import BoolArray, Centreline, FloatArray, IntArray
    from gpsq.results import DevicesApart
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
#: … and this many at most: 150 km at the usual step. A small file may lead around the earth.
MOST_STATIONS = 30_000


@dataclass(frozen=True, eq=False)
class Consensus:
    """A finished line, the path of every strand along it and its place abreast; `without` leaves rides out of it.

    `opposite_m` is the end of the opposite way, turned round, by which the head of the line is led. `shares_m` (m, t, 2)
    are places by share of the way, where the line is their plain mean; None where it is aligned.
    """

    centreline: Centreline
    paths: tuple[IntArray, ...]
    abreast: tuple[Abreast, ...]
    strands: tuple[Strand, ...]
    places: weights.Places
    opposite_m: FloatArray | None
    shares_m: FloatArray | None

    def without(self, *rides: str) -> Centreline:
        """Return the line made without the traces of `rides`, at the same stations; nan where no other trace runs by it."""
        keep, named = np.array([strand.ride not in rides for strand in self.strands]), ", ".join(rides)
        if not keep.any():
            return blank(self.centreline, named)
        xy_m = self._aligned_without(keep) if self.shares_m is None else mean_of(self.shares_m[:, keep])
        return described(xy_m, self.centreline.along_m, self.abreast, self.strands, keep, named)

    def apart(self) -> tuple[DevicesApart, ...]:
        """Return the pairs of devices that lie apart by more than their own scatters."""
        everyone = np.ones(len(self.strands), dtype=bool)
        names = tuple(sorted({strand.device for strand in self.strands}))
        return devices_apart(self.places, weights.counted(self.places, everyone).variance_m2, names)

    def _aligned_without(self, keep: BoolArray) -> FloatArray:
        counted = weights.counted(self.places, keep)
        xy_m = _middle(self.centreline.xy_m, counted, self.places.passed)
        xy_m[~weights.runs_by(counted, xy_m)] = np.nan
        return head.led_by(xy_m, self.opposite_m, counted.weight.sum(axis=1))


def step_for(xy_m: Sequence[FloatArray], settings: Settings) -> float:
    """Return the step of a route's stations: `step_m`, finer on a route of a few hundred metres, coarser on a very long one.

    Its length is that of its middle recording, so that one that leads far away does not coarsen the others' line.
    """
    extent_m = max((float(np.hypot(*(xy.max(axis=0) - xy.min(axis=0)))) for xy in xy_m if len(xy)), default=0.0)
    lengths_m = sorted(float(polyline.along_m(xy)[-1]) for xy in xy_m if len(xy))
    middle_m = lengths_m[(len(lengths_m) - 1) // 2] if lengths_m else 0.0
    return float(max(min(settings.step_m, max(1.0, extent_m / LEAST_STATIONS)), middle_m / MOST_STATIONS))


def step_of_start(strands: Sequence[Strand], settings: Settings) -> float:
    """Return the step at which the trace that the line starts from has `MOST_STATIONS`: of a few it may be the longest."""
    usable = _with_length(strands)
    first = strands[medoid(strands, usable, settings)] if usable else None
    return float(polyline.along_m(first.steps.xy_m[first.counts])[-1]) / MOST_STATIONS if first else 0.0


def make(strands: Sequence[Strand], settings: Settings, opposite_m: FloatArray | None = None) -> Consensus | None:
    """Return the consensus of a route's strands, or None where none of them has a length.

    Parameters
    ----------
    strands : traces of one route at equal steps of `settings.step_m`.
    opposite_m : (k, 2) the end of the opposite way, turned round, if there is one (see `gpsq.centreline.head`).

    Returns
    -------
    The line at equal steps, with `support`, `rides` and `spread_m` per station and a confidence band from whole rides.
    """
    usable = _with_length(strands)
    if not usable:
        return None
    settled = _settled(strands, usable, settings)
    shares = places_by_share(strands, usable, settled.xy_m, settings, settled.near)
    if shares is None:
        line, paths, found = _between_usual_ends(strands, settled, opposite_m, settings)
    else:
        line = mean_of(shares)
        paths = _paths(strands, line, settings, None)
        found = _places(strands, paths, line, settings)
    everyone = np.ones(len(strands), dtype=bool)
    centreline = described(line, polyline.along_m(line), found, strands, everyone, "")
    places = weights.gathered(strands, found)
    return Consensus(centreline, tuple(paths), tuple(found), tuple(strands), places, opposite_m, shares)


def line_of_parts(strands: Sequence[Strand], settings: Settings) -> FloatArray | None:
    """Return (m, 2) the line alone of traces that are parts of longer ones, or None where none of them has a length.

    Shares of their ways are not comparable, so the line is the aligned one.
    """
    usable = _with_length(strands)
    return _between_usual_ends(strands, _settled(strands, usable, settings), None, settings)[0] if usable else None


def _with_length(strands: Sequence[Strand]) -> list[int]:
    return [k for k, s in enumerate(strands) if s.counts.sum() >= 2]


class _Settled(NamedTuple):
    """A line that has settled: near where the strands' paths run along it, and what its places are worth, if known."""

    xy_m: FloatArray
    near: list[IntArray] | None
    weight: FloatArray | None


def _settled(strands: Sequence[Strand], usable: list[int], settings: Settings) -> _Settled:
    """Return the line that settles from the medoid."""
    first = strands[medoid(strands, usable, settings)]
    line = polyline.resample(first.steps.xy_m[first.counts], settings.step_m)
    everyone = np.ones(len(strands), dtype=bool)
    near: list[IntArray] | None = None
    weight: FloatArray | None = None
    for round_number in range(ROUNDS):
        before = line
        paths = _paths(strands, line, settings, near)
        found = _places(strands, paths, line, settings)
        places = weights.gathered(strands, found)
        counted = weights.counted(places, everyone)
        moved = _middle(line, counted, places.passed)
        mended = _mended(moved, strands, found, counted.weight, places.passed, settings, round_number)
        line = polyline.resample(mended, settings.step_m)
        number = numbering.numbered_anew(moved, mended, line)
        near = numbering.carried_over(paths, number, len(line))
        weight = numbering.along_new(counted.weight.sum(axis=1), number, len(line))
        if round_number > EXTENDING_ROUNDS + 1 and _moved_m(before, line) < SETTLED_M:
            break
    return _Settled(line, near, weight)


def _between_usual_ends(
    strands: Sequence[Strand], settled: _Settled, opposite_m: FloatArray | None, settings: Settings
) -> tuple[FloatArray, list[IntArray], list[Abreast]]:
    """Return a settled line led along the opposite way's end, between the usual reaches of its strands; paths; places."""
    led = head.led_by(settled.xy_m, opposite_m, settled.weight)
    cut = head.begun_at(led, opposite_m)
    begun, near = polyline.resample(cut, settings.step_m), settled.near
    if near is not None and len(begun) != len(led):
        near = numbering.carried_over(near, numbering.numbered_anew(led, cut, begun), len(begun))
    paths = _paths(strands, begun, settings, near)
    found = _places(strands, paths, begun, settings)
    kept = ends.usual_reach(found, settings.step_m)
    return begun[kept], [numbering.shifted(p, kept, len(begun)) for p in paths], [ends.part(f, kept) for f in found]


def _mended(
    line: FloatArray,
    strands: Sequence[Strand],
    places: Sequence[Abreast],
    weight: FloatArray,
    passed: BoolArray,
    settings: Settings,
    round_number: int,
) -> FloatArray:
    if round_number < EXTENDING_ROUNDS:
        line = ends.extended(line, strands, places, settings, MOST_STATIONS)
    else:
        # places belong to the stations of the line as it was: one change a round
        mended = ends.rerouted(line, strands, places, weight, passed, settings.step_m)
        if len(mended) == len(line):
            mended = ends.without_spurs(line, weight.sum(axis=1), settings.step_m)
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
        place = abreast(s.steps, stations, line, with_excursions=False)
        places.append(between_fixes(s, place, line, settings.align_cap_m) if s.slow else place)
    return places


def _middle(line: FloatArray, counted: weights.Counted, passed: BoolArray) -> FloatArray:
    """Return the smoothed middle of the places; where no trace runs the line goes along with its neighbours.

    Moves, not the line, are averaged over twice the usual scatter, so that corners stay and noise draws no spurs.
    """
    step_m = max(float(np.hypot(*(line[1] - line[0]))), 1e-9)
    moved = robust_middle(counted.xy_m, counted.weight, line, passed, step_m) - line
    moved = steadied(moved, counted.weight.sum(axis=1))
    scatter_m = float(np.sqrt(np.median(counted.variance_m2)))
    return smooth(line + weights.averaged(moved, round(scatter_m / step_m)), SMOOTHING)


def _moved_m(before: FloatArray, after: FloatArray) -> float:
    """Return how far the line moved sideways between rounds, at the 95th percentile of its stations."""
    last = len(before) - 2
    abreast_of = np.linspace(0, last, len(after)).astype(np.int64)
    low, high = np.maximum(abreast_of - MOVED_WINDOW, 0), np.minimum(abreast_of + MOVED_WINDOW, last)
    return float(np.percentile(np.abs(polyline.nearest_on_line(after, before, low, high)[1]), 95))

"""The trace that the others follow best: where a consensus begins."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from gpsq.geometry import polyline
from gpsq.geometry._compiled import compiled, read_only
from gpsq.geometry._in_order import path_in_passes
from gpsq.geometry.alignment import EVERYWHERE, PASSING_COST, ROUGH_PLACES, passes

if TYPE_CHECKING:
    from collections.abc import Sequence

    from gpsq.centreline.strands import Strand
    from gpsq.model import FloatArray, IntArray
    from gpsq.settings import Settings

#: Candidates looked at, and traces each is compared with, at most: enough to find a good beginning among thousands.
CANDIDATES, COMPARED = 12, 24


def medoid(strands: Sequence[Strand], usable: list[int], settings: Settings) -> int:
    """Return the strand that the others follow best: not late, not on a detour, not rough."""
    step_m = max(settings.step_m, min(settings.pair_step_m, extent_m(strands[usable[0]]) / 40.0))
    every = max(1, round(step_m / settings.step_m))
    ways = {k: strands[k].steps.xy_m[strands[k].counts][::every] for k in _spaced(usable, COMPARED)}
    thin = {k: read_only(xy, np.float64) for k, xy in ways.items()}
    lengths = {k: polyline.along_m(xy)[-1] for k, xy in thin.items()}
    best, best_score = usable[0], -np.inf
    for k in _spaced(list(thin), CANDIDATES):
        others = [xy for other, xy in thin.items() if other != k]
        followed = np.array([_followed(xy, thin[k], step_m, every * settings.step_m, settings) for xy in others])
        score = followed[:, 0].mean() - abs(np.median(followed[:, 1])) if others else 0.0
        if (score, lengths[k]) > (best_score, lengths.get(best, 0.0)):
            best, best_score = k, score
    return best


def _followed(
    xy_m: FloatArray, line_m: FloatArray, step_m: float, stations_m: float, settings: Settings
) -> tuple[float, float]:
    """Return how well a trace follows a line, 0 to 1, and the logarithm of how much longer the line is on that stretch."""
    xy, line = read_only(xy_m, np.float64), read_only(line_m, np.float64)
    strides = passes(max(len(xy), len(line)), ROUGH_PLACES)
    piece = read_only(np.zeros(len(xy)), np.int64)
    found: tuple[float, float] = _aligned_roughly(
        xy, piece, line, EVERYWHERE, strides, step_m, settings.align_cap_m, stations_m
    )
    return found


@compiled
def _aligned_roughly(
    xy: FloatArray,
    piece: IntArray,
    line: FloatArray,
    near: IntArray,
    strides: IntArray,
    step_m: float,
    cap_m: float,
    stations_m: float,
) -> tuple[float, float]:  # pragma: no cover - compiled
    """Return the same, in one go: it is asked for each two of a few dozen traces."""
    path = path_in_passes(xy, piece, line, near, strides, step_m, cap_m, PASSING_COST)
    return _gain_and_length(path, xy, line, cap_m, stations_m)


def _spaced(items: list[int], most: int) -> list[int]:
    """Return at most `most` of the items, evenly spread."""
    if len(items) <= most:
        return items
    return [items[int(i)] for i in np.linspace(0, len(items) - 1, most)]


def extent_m(strand: Strand) -> float:
    """Return the length of the diagonal of the box around a trace."""
    xy = strand.steps.xy_m
    return float(np.hypot(*(xy.max(axis=0) - xy.min(axis=0))))


@compiled
def _gain_and_length(
    path: IntArray, xy: FloatArray, line: FloatArray, cap_m: float, step_m: float
) -> tuple[float, float]:  # pragma: no cover - compiled
    """Return the mean gain of a path's matches, and the log of line length over trace length from first to last match."""
    gain, first, last, trace_m, since_m = 0.0, -1, -1, 0.0, 0.0
    for i in range(len(path)):
        if first >= 0:
            since_m += np.sqrt((xy[i, 0] - xy[i - 1, 0]) ** 2 + (xy[i, 1] - xy[i - 1, 1]) ** 2)
        away_m = np.sqrt((xy[i, 0] - line[path[i], 0]) ** 2 + (xy[i, 1] - line[path[i], 1]) ** 2)
        if away_m <= cap_m:
            gain += 1.0 - (away_m / cap_m) ** 2
            first, last, trace_m = path[i] if first < 0 else first, path[i], since_m
    if last == first:
        return gain / len(path), 0.0
    return gain / len(path), np.log((last - first) * step_m / max(trace_m, step_m))

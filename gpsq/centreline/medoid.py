"""The trace that the others follow best: where a consensus begins."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from gpsq.arrays import norms
from gpsq.geometry import polyline
from gpsq.geometry.alignment import ROUGH_PLACES, in_order, within_cap

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
    thin = {k: strands[k].steps.xy_m[strands[k].counts][::every] for k in _spaced(usable, COMPARED)}
    lengths = {k: polyline.along_m(xy)[-1] for k, xy in thin.items()}
    best, best_score = usable[0], -np.inf
    for k in _spaced(list(thin), CANDIDATES):
        gains, ratios = [], []
        for other, xy in thin.items():
            if other == k:
                continue
            one_piece = np.zeros(len(xy), dtype=np.int64)
            path = in_order(xy, one_piece, thin[k], step_m=step_m, cap_m=settings.align_cap_m, coarse=ROUGH_PLACES)
            stations = within_cap(path, xy, thin[k], settings.align_cap_m)
            away2 = (norms(xy - thin[k][stations]) / settings.align_cap_m) ** 2
            gains.append(float(np.where(stations >= 0, 1.0 - away2, 0.0).mean()))
            ratios.append(_log_length_ratio(stations, every * settings.step_m, xy))
        score = np.mean(gains) - abs(np.median(ratios)) if gains else 0.0
        if (score, lengths[k]) > (best_score, lengths.get(best, 0.0)):
            best, best_score = k, score
    return best


def _spaced(items: list[int], most: int) -> list[int]:
    """Return at most `most` of the items, evenly spread."""
    if len(items) <= most:
        return items
    return [items[int(i)] for i in np.linspace(0, len(items) - 1, most)]


def extent_m(strand: Strand) -> float:
    """Return the length of the diagonal of the box around a trace."""
    xy = strand.steps.xy_m
    return float(np.hypot(*(xy.max(axis=0) - xy.min(axis=0))))


def _log_length_ratio(stations: IntArray, step_m: float, xy: FloatArray) -> float:
    """Return the log of line length over trace length between the first and the last match."""
    inside = np.flatnonzero(stations >= 0)
    if len(inside) < 2 or stations[inside[-1]] == stations[inside[0]]:
        return 0.0
    line_m = (stations[inside[-1]] - stations[inside[0]]) * step_m
    trace_m = polyline.along_m(xy[inside[0] : inside[-1] + 1])[-1]
    return float(np.log(line_m / max(trace_m, step_m)))

"""Slowly sampled traces: between two fixes the offset from the line is known, not the place on the chord."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from gpsq.arrays import norms
from gpsq.geometry import polyline
from gpsq.geometry.alignment import Abreast

if TYPE_CHECKING:
    from gpsq.centreline.strands import Strand
    from gpsq.model import BoolArray, FloatArray, IntArray

#: The line between two fixes is at most this many times as long as their chord, and some steps: else they lie apart.
MOST_WINDING, MOST_STEPS = 1.5, 4.0
#: So many fixes in a row may lie elsewhere between two that are joined: a spike.
MOST_SPIKES = 1
#: A fix is abreast where a station this near in stations is known.
NEAR_STATIONS = 1.5


def between_fixes(strand: Strand, place: Abreast, line_m: FloatArray, cap_m: float) -> Abreast:
    """Return the places of a slowly sampled trace with chords bent along the line.

    At each fix the trace's offset from the line is taken; between two fixes in a row the offset goes evenly from one
    to the next. So a chord over a corner does not pull the line into the corner.

    Parameters
    ----------
    strand : the trace. place : where it runs abreast of the line, its chords taken as its places.
    line_m : (m, 2) the line at equal steps. cap_m : a fix further off than this is elsewhere.
    """
    known = np.flatnonzero(~np.isnan(place.vertex))
    if len(known) < 2:
        return place
    first, last = int(np.ceil(place.vertex[known[0]])), int(np.floor(place.vertex[known[-1]]))
    if last - first < 1:
        return place
    fixes = np.arange(first, last + 1, dtype=np.int64)
    station = np.interp(fixes, place.vertex[known], known.astype(float))
    at = np.searchsorted(known, station).clip(1, len(known) - 1)
    away = np.minimum(np.abs(station - known[at - 1]), np.abs(station - known[at]))
    offset = strand.fixes_m[fixes] - polyline.at_vertex(line_m, station)
    here = (away <= NEAR_STATIONS) & (norms(offset) <= cap_m)
    fixes, station, offset = fixes[here], station[here], offset[here]
    if len(fixes) < 2:
        return place
    sound = np.append(_in_a_row(strand, fixes, station, line_m), False)
    j = np.arange(int(np.ceil(station[0])), int(np.floor(station[-1])) + 1)
    leg = np.searchsorted(station, j, side="right") - 1
    j, leg = j[sound[leg]], leg[sound[leg]]
    share = ((j - station[leg]) / np.maximum(station[leg + 1] - station[leg], 1e-9))[:, None]
    xy, vertex, matched = place.xy_m.copy(), place.vertex.copy(), place.matched.copy()
    xy[j] = line_m[j] + (1.0 - share) * offset[leg] + share * offset[leg + 1]
    vertex[j] = fixes[leg] + share[:, 0] * (fixes[leg + 1] - fixes[leg])
    matched[j] = True
    return Abreast(xy, vertex, matched)


def _in_a_row(strand: Strand, fixes: IntArray, station: FloatArray, line_m: FloatArray) -> BoolArray:
    """Return (k − 1,) whether two fixes in a row lie in one piece and about as far apart as on the line."""
    steps = strand.steps
    piece = steps.piece[np.searchsorted(steps.vertex, fixes).clip(0, len(steps) - 1)]
    step_m = float(norms(np.diff(line_m[:2], axis=0))[0])
    chord_m = norms(np.diff(strand.fixes_m[fixes], axis=0))
    way_m = np.diff(station) * step_m
    in_a_row = (np.diff(piece) == 0) & (np.diff(fixes) <= 1 + MOST_SPIKES)
    return np.asarray(in_a_row & (way_m <= MOST_WINDING * chord_m + MOST_STEPS * step_m))

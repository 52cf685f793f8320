"""Slowly sampled traces: between two fixes the offset from the line is known, not the place on the chord."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from gpsq.geometry._compiled import compiled, read_only
from gpsq.geometry.alignment import Abreast

if TYPE_CHECKING:
    from gpsq.centreline.strands import Strand
    from gpsq.model import FloatArray, IntArray

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
    xy, vertex = place.xy_m.copy(), place.vertex.copy()
    steps, line = strand.steps, read_only(line_m, np.float64)
    fixes, steps_at = read_only(strand.fixes_m, np.float64), read_only(steps.vertex, np.float64)
    number, station, offset = _fixes_abreast(vertex, known, fixes, line, cap_m)
    _bend_chords(number, station, offset, fixes, steps_at, read_only(steps.piece, np.int64), line, xy, vertex)
    return Abreast(xy, vertex, place.matched | ~np.isnan(vertex))


@compiled
def _fixes_abreast(
    vertex: FloatArray, known: IntArray, fixes: FloatArray, line: FloatArray, cap_m: float
) -> tuple[IntArray, FloatArray, FloatArray]:  # pragma: no cover - compiled
    """Return the fixes abreast of the line: (k,) their numbers and stations, (k, 2) their offsets from it.

    `vertex` (m,) is the trace's vertex abreast of each station, `known` the stations where there is one.
    """
    number, station = np.empty(len(fixes), dtype=np.int64), np.empty(len(fixes))
    offset, found, p = np.empty((len(fixes), 2)), 0, 0
    for k in range(int(np.ceil(vertex[known[0]])), int(np.floor(vertex[known[-1]])) + 1):
        while p < len(known) - 2 and vertex[known[p + 1]] <= k:
            p += 1
        low, high = known[p], known[p + 1]
        where = (
            (high - low) / (vertex[high] - vertex[low]) * (k - vertex[low]) + low if k < vertex[high] else 1.0 * high
        )
        j = int(where)
        after, share = min(j + 1, len(line) - 1), where - j
        x = fixes[k, 0] - (line[j, 0] * (1.0 - share) + line[after, 0] * share)
        y = fixes[k, 1] - (line[j, 1] * (1.0 - share) + line[after, 1] * share)
        if min(where - low, high - where) <= NEAR_STATIONS and np.sqrt(x * x + y * y) <= cap_m:
            number[found], station[found], offset[found, 0], offset[found, 1] = k, where, x, y
            found += 1
    return number[:found], station[:found], offset[:found]


@compiled
def _bend_chords(
    number: IntArray,
    station: FloatArray,
    offset: FloatArray,
    fixes: FloatArray,
    steps_at: FloatArray,
    piece: IntArray,
    line: FloatArray,
    xy: FloatArray,
    vertex: FloatArray,
) -> None:  # pragma: no cover - compiled
    """Put the places between two fixes in a row, in one piece and about as far apart as on the line, beside the line."""
    step_m = np.sqrt((line[1, 0] - line[0, 0]) ** 2 + (line[1, 1] - line[0, 1]) ** 2)
    for k in range(len(number) - 1):
        a, b, stations = number[k], number[k + 1], station[k + 1] - station[k]
        first, last = np.searchsorted(steps_at, a), min(np.searchsorted(steps_at, b), len(piece) - 1)
        chord_m = np.sqrt((fixes[b, 0] - fixes[a, 0]) ** 2 + (fixes[b, 1] - fixes[a, 1]) ** 2)
        winds = stations * step_m > MOST_WINDING * chord_m + MOST_STEPS * step_m
        if piece[first] != piece[last] or b - a > 1 + MOST_SPIKES or winds:
            continue
        for j in range(int(np.ceil(station[k])), int(np.ceil(station[k + 1]))):
            share = (j - station[k]) / max(stations, 1e-9)
            for axis in range(2):
                xy[j, axis] = line[j, axis] + (1.0 - share) * offset[k, axis] + share * offset[k + 1, axis]
            vertex[j] = a + share * (b - a)

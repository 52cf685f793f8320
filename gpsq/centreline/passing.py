"""Which stations a trace passes by: it is abreast before and after, unbroken, and elsewhere in between."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from gpsq.geometry._compiled import compiled, read_only

if TYPE_CHECKING:
    from gpsq.centreline.strands import Strand
    from gpsq.geometry.alignment import Abreast
    from gpsq.model import BoolArray, FloatArray, IntArray


def passed_by(strand: Strand, place: Abreast) -> BoolArray:
    """Return (m,) which stations a trace passes by without a break: it is abreast before and after, not there.

    A way of which some may not count (flagged by the person) passes nothing by.
    """
    at, vertex = read_only(place.vertex, np.float64), read_only(strand.steps.vertex, np.float64)
    piece, counts = read_only(strand.steps.piece, np.int64), read_only(strand.counts, np.bool_)
    by: BoolArray = _passed_by(at, vertex, piece, counts)
    return by


@compiled
def _passed_by(
    at: FloatArray, vertex: FloatArray, piece: IntArray, counts: BoolArray
) -> BoolArray:  # pragma: no cover - compiled
    """Return the same from (m,) the vertices abreast of the stations, and the (k,) steps of the trace."""
    by, before = np.zeros(len(at), dtype=np.bool_), -1
    for j in range(len(at)):
        if np.isnan(at[j]):
            continue
        if 0 <= before < j - 1:
            first, last = np.searchsorted(vertex, at[before]), min(np.searchsorted(vertex, at[j]), len(vertex) - 1)
            by[before + 1 : j] = piece[first] == piece[last] and counts[first:last].all()
        before = j
    return by

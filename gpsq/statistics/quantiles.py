"""A quantile of what several rides hold together, with the interval that leaving out rides in turn gives."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from gpsq.statistics import intervals
from gpsq.summary_types import Interval

if TYPE_CHECKING:
    from collections.abc import Sequence

    from gpsq.model import FloatArray, IntArray

#: Leaving out one ride at a time is too slow for hundreds of them; then blocks of rides are left out.
MOST_BLOCKS = 40
#: Of fewer rides the tail of a distribution is that of single rides, and no interval of it holds what it should.
FEWEST_FOR_A_TAIL = 6
#: A quantile above this is one of the tail.
TAIL = 0.9


def pooled(rows: Sequence[FloatArray], share: float, confidence: float = 0.95) -> Interval:
    """Return the quantile `share` of all values of all rides, each value counting once.

    Parameters
    ----------
    rows : one array of values ≥ 0 for each ride, in metres.
    share : between 0 and 1.

    Notes
    -----
    The interval is the jackknife over rides on the logarithm (Miller 1974, Biometrika 61:1–15): whole rides are left
    out, as values within a ride depend on one another. Of a quantile of the tail there is none under six rides, and its
    range over single rides is told.

    Examples
    --------
    >>> found = pooled([np.array([1.0, 2.0]), np.array([2.0, 3.0]), np.array([3.0, 4.0])], 0.5)
    >>> found.value, bool(found.low < 2.5 < found.high)
    (2.5, True)
    >>> pooled([np.array([1.0, 2.0]), np.array([2.0, 3.0]), np.array([3.0, 4.0])], 0.95).method
    'range 1.9–4.0 of 3 rides; no interval of the tail under 6 rides'
    """
    known = [row for row in (np.asarray(r)[np.isfinite(r)] for r in rows) if row.size]
    if not known:
        return Interval(np.nan, method="none: no ride was scored")
    if share > TAIL and len(known) < FEWEST_FOR_A_TAIL:
        own = [float(np.quantile(row, share)) for row in known]
        text = f"range {min(own):.1f}–{max(own):.1f} of {len(own)} ride{'s' * (len(own) > 1)}"
        text += f"; no interval of the tail under {FEWEST_FOR_A_TAIL} rides"
        return Interval(float(np.quantile(np.concatenate(known), share)), method=text)
    value, without = _with_each_block_left_out(known, share)
    return intervals.log_jackknife(value, without, confidence, widened_from=3)


def _with_each_block_left_out(rows: Sequence[FloatArray], share: float) -> tuple[float, FloatArray]:
    values = np.concatenate(rows)
    blocks = min(len(rows), MOST_BLOCKS)
    block = np.repeat(np.arange(len(rows)) % blocks, [row.size for row in rows])
    order = np.argsort(values)  # of equal values any may be the one left out
    ordered, block = values[order], block[order]
    nobody = np.empty(0, dtype=np.int64)
    without = [_without(ordered, np.flatnonzero(block == b), share) for b in range(blocks)] if blocks > 1 else []
    return _without(ordered, nobody, share), np.array(without)


def _without(ordered: FloatArray, left_out: IntArray, share: float) -> float:
    """Return the quantile of ordered values without those at the places `left_out`.

    >>> round(_without(np.array([1.0, 2.0, 3.0, 9.0]), np.array([3]), 0.95), 3)
    2.9
    """
    last = len(ordered) - len(left_out) - 1
    part, low = np.modf(share * last)
    # a value that is kept has moved down by the number of those left out before it
    kept = np.array([int(low), min(int(low) + 1, last)])
    at = kept + np.searchsorted(left_out - np.arange(len(left_out)), kept, side="right")
    return float(ordered[at[0]] + part * (ordered[at[1]] - ordered[at[0]]))

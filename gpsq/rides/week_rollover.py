"""The count of GPS weeks, which begins again: the one clock error that is an exact number of days."""

from __future__ import annotations

#: GPS counts weeks modulo 1024, in ten bits (IS-GPS-200, 20.3.3.3.1.1): a receiver that misses a turn dates everything
#: this many seconds too early.
ROLLOVER_S = 1024 * 604_800.0
#: Two clocks that are right but for the week agree to the second; this much is left for the search that found them.
EXACT_S = 30.0


def turns(offset_s: float) -> int:
    """Return how many turns of the week count an offset of two clocks is, 0 where it is something else.

    Parameters
    ----------
    offset_s : one clock minus the other, seconds; the sign stays.

    Examples
    --------
    >>> turns(-619_315_195.0), turns(-7_196.0)
    (-1, 0)
    """
    whole = round(offset_s / ROLLOVER_S)
    return whole if abs(offset_s - whole * ROLLOVER_S) <= EXACT_S else 0

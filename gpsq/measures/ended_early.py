"""How far before the usual end of its route a recording stopped: a battery that died is seen."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from gpsq.model import BoolArray, FloatArray

#: So many fellows at least say where a route usually ends.
FEWEST_FELLOWS = 3
#: Earlier than this many times the scatter of the fellows' ends, …
SCATTERS = 4.0
#: … and than this, for who stops round the corner has arrived.
LEAST_M = 100.0
#: Share of a normal scatter within one standard deviation.
ONE_SD = 68.27


def early_m(last_m: FloatArray, counting: BoolArray) -> FloatArray:
    """Return (n,) how far before its fellows' usual end each recording of a route stopped, nan where it did not.

    Parameters
    ----------
    last_m : (n,) station of each recording's last fix, nan where unknown. counting : (n,) False for one that repeats another.

    Examples
    --------
    Four arrive within some metres, and one stops two kilometres before them; nothing can be said of two alone:

    >>> early_m(np.array([5000.0, 4990.0, 3000.0, 5004.0, 4996.0]), np.ones(5, dtype=bool)).tolist()
    [nan, nan, 1998.0, nan, nan]
    >>> early_m(np.array([5000.0, 3000.0]), np.ones(2, dtype=bool)).tolist()
    [nan, nan]
    """
    found = np.full(len(last_m), np.nan)
    usable = counting & np.isfinite(last_m)
    for k in np.flatnonzero(np.isfinite(last_m)):
        fellows = last_m[usable & (np.arange(len(last_m)) != k)]
        if len(fellows) < FEWEST_FELLOWS:
            continue
        usual_m = float(np.median(fellows))
        scatter_m = float(np.percentile(np.abs(fellows - usual_m), ONE_SD, method="higher"))
        if usual_m - last_m[k] > max(LEAST_M, SCATTERS * scatter_m):
            found[k] = usual_m - last_m[k]
    return found

"""A recording as it can be played: where it was at equal steps of time, from its start or first record on."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np

from gpsq.output.drawing.lines import unwrap
from gpsq.output.instants import dated

if TYPE_CHECKING:
    from gpsq.model import FloatArray, Trace
    from gpsq.results import TraceResult

#: Places of a recording that is played: enough for a smooth run over the whole way; fewer where recordings are many.
MOST_STEPS, MOST_STEPS_OF_MANY, MANY = 240, 60, 200


def elapsed_s(trace: Trace, result: TraceResult) -> FloatArray | None:
    """Return seconds from the recording's start (its first fix, where no start is known) to each fix, or None.

    None where a fix has no time, time goes back, or all times are the same, as in a publication.
    """
    if not trace.timed:
        return None
    begin = dated(np.array([result.first_fix.started], "datetime64[ms]"))[0]
    if np.isnat(begin) or begin > trace.time[0]:
        begin = trace.time[0]
    seconds: FloatArray = (trace.time - begin).astype(np.int64) / 1000.0
    return seconds if (np.diff(seconds) >= 0).all() and seconds[-1] > seconds[0] else None


def played(trace: Trace, result: TraceResult, near_deg: float, per_degree: int, *, many: int) -> dict[str, Any] | None:
    """Return first fix and step in seconds, and places as differences of whole parts of a degree; None where unknown."""
    seconds = elapsed_s(trace, result)
    if seconds is None:
        return None
    count = min(MOST_STEPS_OF_MANY if many > MANY else MOST_STEPS, trace.accepted)
    at = np.linspace(seconds[0], seconds[-1], count)
    lon = np.interp(at, seconds, unwrap(trace.lon_deg, near_deg))
    lat = np.interp(at, seconds, trace.lat_deg)
    whole = np.rint(np.column_stack([lat, lon]) * per_degree).astype(np.int64)
    return {
        "from": round(float(seconds[0]), 1),
        "step": round(float(at[1] - at[0]), 3),
        "known": bool(np.isfinite(result.first_fix.seconds)),
        "at": np.diff(whole, axis=0, prepend=0).ravel().tolist(),
    }

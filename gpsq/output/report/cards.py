"""What the report and the local page show alike: the card of a deviation."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np

from gpsq.output.drawing.looks import state
from gpsq.output.instants import iso_times
from gpsq.output.report import sketches

if TYPE_CHECKING:
    from gpsq.model import Deviation
    from gpsq.results import Analysis


def card(analysis: Analysis, deviation: Deviation) -> dict[str, Any]:
    """Return what the card of a deviation shows."""
    trace, result = analysis.traces[deviation.trace], analysis.results[deviation.trace]
    times = iso_times(np.array([deviation.from_time, deviation.to_time], "datetime64[ms]"))
    return {
        "found": deviation,
        "state": state(deviation.flag),
        "device": trace.device,
        "ride": result.ride,
        "file": trace.file,
        "times": " to ".join(times) if all(times) else "times unknown",
        "sketch": sketches.of_deviation(analysis, deviation),
    }

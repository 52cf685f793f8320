"""Recorded length against the centreline's, and the likely reason."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from gpsq.statistics import intervals
from gpsq.summary_types import DistanceBias

if TYPE_CHECKING:
    from collections.abc import Sequence

    from gpsq.model import Trace
    from gpsq.results import TraceResult
    from gpsq.settings import Settings


def distance_biases(
    traces: Sequence[Trace], results: Sequence[TraceResult], settings: Settings
) -> tuple[DistanceBias, ...]:
    """Return each device's recorded length over the centreline's, and why it differs.

    An error across the track that changes by e between fixes d apart lengthens the step by about e²/2d
    (Ranacher et al. 2016, Int. J. Geogr. Inf. Sci. 30:316–333); smoothing and long steps cut corners and shorten it.
    """
    found = []
    for device in sorted({t.device for t in traces}):
        own = [
            r for r in results if traces[r.trace].device == device and r.curves and r.crosstrack and not r.duplicate_of
        ]
        if not own:
            continue
        ratio = intervals.median(np.array([r.curves.length_ratio for r in own if r.curves]), settings.confidence, 3)
        noise = np.array([_lengthening(r, traces[r.trace].accepted) for r in own])
        added = float(np.median(noise[np.isfinite(noise)])) if np.isfinite(noise).any() else float("nan")
        found.append(DistanceBias(device, ratio, added, _reason(ratio.value - 1, added)))
    return tuple(found)


def _lengthening(result: TraceResult, fixes: int) -> float:
    """Return the share of length that the changes of offset between neighbouring fixes add."""
    cross = result.crosstrack
    if cross is None or fixes < 2 or len(cross.along_m) < 2:
        return float("nan")
    step = float(cross.along_m[1] - cross.along_m[0])
    lag = max(1, round(result.length_m / (fixes - 1) / step))
    changes = cross.offset_m[lag:] - cross.offset_m[:-lag]
    changes = changes[np.isfinite(changes)]
    return float(np.mean(changes**2) / (2 * (lag * step) ** 2)) if changes.size else float("nan")


def _reason(excess: float, from_noise: float) -> str:
    rest = excess - from_noise
    if not np.isfinite(rest):
        return "not known: too few stations"
    said = f"recorded {excess:+.1%}, of which noise across the track explains {from_noise:+.1%}"
    if rest < -0.005:
        return f"{said}; the rest ({rest:+.1%}) fits corners cut by smoothing or long steps between fixes"
    if rest > 0.005:
        return (
            f"{said}; the rest ({rest:+.1%}) fits noise along the track, wandering at stops or changes too short to see"
        )
    return f"{said}, which is all of it"

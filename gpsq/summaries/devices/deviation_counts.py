"""What a device's deviations come to: receiver errors per 100 km, choices of road, and what is undecided."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from gpsq.model import CANNOT_BE_TOLD, RECEIVER_ERROR, ROUTE_CHOICE
from gpsq.statistics import intervals
from gpsq.summary_types import Interval

if TYPE_CHECKING:
    from collections.abc import Sequence

    from gpsq.results import TraceResult

PER_M = 100_000.0


def figures(results: Sequence[TraceResult], confidence: float) -> dict[str, Interval]:
    """Return the receiver errors with their rate per 100 km of scored road, and the share of recordings that have one.

    Where none was seen the rate still has an upper bound (`gpsq.statistics.intervals.rate`).
    """
    scored = [r for r in results if r.crosstrack is not None and r.crosstrack.scored_m > 0]
    found = [[d.counts_as for d in r.deviations] for r in scored]
    errors = sum(own.count(RECEIVER_ERROR) for own in found)
    road_m = sum(r.crosstrack.scored_m for r in scored if r.crosstrack)
    with_one = sum(RECEIVER_ERROR in own for own in found)
    share = intervals.proportion(with_one, len(scored), confidence)
    known = bool(scored)

    def counted(name: str) -> Interval:
        count = float(sum(own.count(name) for own in found)) if known else np.nan
        return Interval(count, method="" if known else "none: no ride was scored")

    return {
        "scored_rides": Interval(_rides(scored), of=int(_rides(results))),
        "scored_km": Interval(road_m / 1000),
        "receiver_errors": counted(RECEIVER_ERROR),
        "receiver_errors_per_100km": intervals.rate(errors, road_m / PER_M, confidence),
        "receiver_error_recordings": share if known else Interval(np.nan, method="none: no ride was scored"),
        "route_choices": counted(ROUTE_CHOICE),
        "undecided": counted(CANNOT_BE_TOLD),
    }


def spikes(results: Sequence[TraceResult]) -> Interval:
    """Return how often fixes went off and came back within seconds, with how far at most in `method`."""
    counts = [r.spikes for r in results if r.spikes is not None]
    if not counts:
        return Interval(np.nan, method="none: no recording has times")
    some = sum(count > 0 for count in counts)
    said = f"in {some} of {len(counts)} recording{'s' * (len(counts) > 1)}"
    largest_m = max((r.largest_spike_m for r in results if r.spikes), default=np.nan)
    return Interval(float(sum(counts)), method=f"{said}, the largest {largest_m:.0f} m" if some else said)


def _rides(results: Sequence[TraceResult]) -> float:
    return float(len({r.ride or r.trace for r in results}))

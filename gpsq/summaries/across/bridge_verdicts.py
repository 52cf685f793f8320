"""What two devices of several campaigns come to: the figure, and the sentence made of it."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from gpsq.summary_types import Interval

SAME_RIDES = "the same rides"
MIXED = "their states are not known, so hot and cold starts may be compared"


@dataclass(frozen=True)
class Bridge:
    """What two devices come to: a ratio of errors, or a difference in seconds; nan where they cannot be compared.

    `via` is the device or devices carried along with both, `SAME_RIDES`, or "" (not comparable); `state` the start state of
    a time to first fix; `campaigns` those it rests on.
    """

    first: str
    second: str
    measure: str
    state: str
    via: str
    campaigns: str
    found: Interval
    rides_first: int
    rides_second: int
    verdict: str = ""

    @property
    def is_ratio(self) -> bool:
        """Whether `found` is a ratio."""
        return self.measure == "xte_p68_m"


def verdict(found: Bridge, confidence: float) -> Bridge:
    """Return the comparison with its verdict; `confidence` is that of its interval."""
    names = f"{found.first} and {found.second}"
    what = "cross-track error" if found.is_ratio else f"time to first fix, {found.state} starts"
    if not found.via:
        why = found.found.method.removeprefix("none: ")
        return replace(found, verdict=f"{names}, {what}: not comparable: {why}")
    how = found.via if found.via == SAME_RIDES else f"by way of {found.via}"
    rides = (
        f"{found.rides_first}"
        if found.rides_first == found.rides_second
        else (f"{found.rides_first} and {found.rides_second}")
    )
    figure = found.found
    size, equal = (
        (f"ratio {figure.value:.2f}", 1.0) if found.is_ratio else (f"difference {_seconds(figure.value)}", 0.0)
    )
    if np.isnan(figure.low):
        return replace(
            found, verdict=f"{names}, {what}: {size}, too few rides to tell them apart ({how}, {rides} rides)"
        )
    bounds = (
        f"{figure.low:.2f} to {figure.high:.2f}"
        if found.is_ratio
        else (f"{_seconds(figure.low)} to {_seconds(figure.high)}")
    )
    mixed = f"; {MIXED}" if found.state == "unknown" else ""
    grounds = f"{size} ({100 * confidence:g} % interval {bounds}; {how}, {rides} rides{mixed})"
    if figure.low <= equal <= figure.high:
        return replace(found, verdict=f"{names} cannot be told apart, {what}: {grounds}")
    more = figure.value > equal
    does = ("errs more" if more else "errs less") if found.is_ratio else ("fixes later" if more else "fixes sooner")
    state = "" if found.is_ratio else f" from {found.state} starts"
    return replace(found, verdict=f"{found.first} {does} than {found.second}{state}: {grounds}")


def _seconds(value: float) -> str:
    return f"{value:.1f} s" if np.isfinite(value) else ("any time" if np.isinf(value) else "unknown")

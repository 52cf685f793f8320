"""Find the figures of a device in an analysis; unknown ones are nan."""

from __future__ import annotations

from typing import TYPE_CHECKING

from gpsq.summary_types import DeviceSummary, Interval

if TYPE_CHECKING:
    from gpsq.results import Analysis

MISSING = Interval(float("nan"), method="not measured")


def overall(analysis: Analysis) -> dict[str, DeviceSummary]:
    """Return the summary over all routes of each device, by name; empty where no statistics were made."""
    return {summary.device: summary for summary in analysis.summaries.devices if not summary.route}


def figure(summary: DeviceSummary | None, name: str) -> Interval:
    """Return a figure of a summary, nan where it has none.

    Examples
    --------
    >>> figure(DeviceSummary("a", "", 3, {"bias_m": Interval(0.5)}), "bias_m").value
    0.5
    >>> figure(None, "bias_m").value
    nan
    """
    return MISSING if summary is None else summary.figures.get(name, MISSING)

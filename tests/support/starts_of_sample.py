"""The sample's rides where no start is known, and where the times to first fix are worked out instead."""

from __future__ import annotations

import dataclasses
from typing import TYPE_CHECKING

import numpy as np

from gpsq.model import NAT, FirstFix
from gpsq.summary_types import Interval

if TYPE_CHECKING:
    from gpsq.results import Analysis


def unknown_starts(analysis: Analysis) -> Analysis:
    """The same rides where no file says when it was started."""
    kept = {"missed_m", "missed_share", "missed_is_minimum", "censored"}
    results = []
    for result in analysis.results:
        found = {name: getattr(result.first_fix, name) for name in kept}
        results.append(
            dataclasses.replace(result, first_fix=FirstFix("none", NAT, result.first_fix.first_fix, **found))
        )
    traces = [dataclasses.replace(trace, started=NAT, start_basis="none") for trace in analysis.traces]
    return dataclasses.replace(analysis, traces=tuple(traces), results=tuple(results))


def worked_out(analysis: Analysis) -> Analysis:
    """The same rides, whose times to first fix are worked out instead."""
    results, summaries = [], []
    for i, result in enumerate(analysis.results):
        value = 12.0 + 7.0 * i
        found = {
            "estimate_s": value,
            "estimate_low_s": 0.6 * value,
            "estimate_high_s": np.inf if i == 3 else 1.4 * value,
        }
        fix = dataclasses.replace(result.first_fix, **found, estimate_basis="road")
        results.append(result if fix.censored else dataclasses.replace(result, first_fix=fix))
    for summary in analysis.summaries.devices:
        figures = {**summary.figures, "ttff_estimate_median_s": Interval(31.0, 19.0, 52.0, of=10)}
        summaries.append(dataclasses.replace(summary, figures=figures))
    summed = dataclasses.replace(analysis.summaries, devices=tuple(summaries))
    return dataclasses.replace(analysis, results=tuple(results), summaries=summed)

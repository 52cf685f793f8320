"""Which figures are published as they are, and which would give a hidden place away.

The figures of a recording and of a device are those of the whole. Left out is what tells how long the whole is: with
the length that is shown, that would tell how much is hidden, and with a street map where.
"""

from __future__ import annotations

import dataclasses
from typing import TYPE_CHECKING

import numpy as np

from gpsq.privacy.neutral import day
from gpsq.summary_types import Interval, Summaries

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from gpsq.model import CrossTrack, CurveDistances, FirstFix, FloatArray
    from gpsq.results import Analysis
    from gpsq.summary_types import DeviceSummary, HotSpot

NAN = float("nan")
#: Bounds of a duration are published to this: a recording without a fix lasts as long as its ride.
AT_LEAST_STEP_S = 60.0
WITHHELD = "none: withheld, as it would tell how long the whole route is"
#: Rounding of the published figures; a figure that differs by less is the same one.
SAME_M = 0.02


def first_fix(fix: FirstFix) -> FirstFix:
    """Return a first fix with days for times, and without what would tell the length of the route.

    A recording that never fixed missed all of it; the share that was missed gives the length by division.
    """
    return dataclasses.replace(
        fix,
        started=day(fix.started),
        first_fix=day(fix.first_fix),
        at_least_s=AT_LEAST_STEP_S * float(np.floor(fix.at_least_s / AT_LEAST_STEP_S)),
        missed_m=NAN if fix.censored else fix.missed_m,
        missed_share=NAN,
        missed_is_minimum=fix.missed_is_minimum and not fix.censored,
        hours_since_fix=float(np.round(fix.hours_since_fix)),
    )


def crosstrack(whole: CrossTrack | None, part: CrossTrack | None) -> CrossTrack | None:
    """Return the figures of the whole over the stations of the part; `scored_m` is that of the part."""
    if whole is None:
        return None
    nothing = np.empty(0)
    shown = part or dataclasses.replace(
        whole, along_m=nothing, offset_m=nothing, scored=np.empty(0, dtype=bool), scored_m=NAN
    )
    return dataclasses.replace(
        whole, along_m=shown.along_m, offset_m=shown.offset_m, scored=shown.scored, scored_m=shown.scored_m
    )


def curves(whole: CurveDistances | None) -> CurveDistances | None:
    """Return the distances of the whole, without where the largest lies and without the share that is covered."""
    return None if whole is None else dataclasses.replace(whole, at_m=NAN, coverage=NAN)


def devices(analysis: Analysis, summaries: Sequence[DeviceSummary]) -> tuple[DeviceSummary, ...]:
    """Return the figures per device without those that a recording without a fix makes into a length of the route."""
    return tuple(dataclasses.replace(s, figures=_figures(s, _missed_m(analysis, s))) for s in summaries)


def _missed_m(analysis: Analysis, summary: DeviceSummary) -> FloatArray:
    """Return what a device's recordings missed on a route, where they fixed."""
    return np.array(
        [
            result.first_fix.missed_m
            for trace, result in zip(analysis.traces, analysis.results, strict=True)
            if trace.device == summary.device
            and summary.route in ("", result.route)
            and np.isfinite(result.first_fix.missed_m)
            and not result.first_fix.censored
        ]
    )


def _figures(summary: DeviceSummary, missed_m: FloatArray) -> Mapping[str, Interval]:
    kept = {name: value for name, value in summary.figures.items() if name != "missed_share_median"}
    if "missed_median_m" in kept:
        kept["missed_median_m"] = _told_by(kept["missed_median_m"], missed_m)
    return kept


def _told_by(found: Interval, missed_m: FloatArray) -> Interval:
    """Return a median and its bounds where the published values give them: one of them, or the middle of two."""

    def told(value: float) -> bool:
        middles = (missed_m[:, None] + missed_m[None, :]) / 2
        return bool((np.abs(middles - value) <= SAME_M).any())

    if not told(found.value):
        return Interval(NAN, method=WITHHELD)
    low, high = (bound if told(bound) else NAN for bound in (found.low, found.high))
    return Interval(found.value, low, high, found.method)


def over_recordings(analysis: Analysis, hot_spots: tuple[HotSpot, ...]) -> Summaries:
    """Return the figures over recordings that may be published; a kind that is not named here is left out.

    Kept are those that hold nothing but ratios, ranks, errors and times to fix. Left out of the others are numbers of
    fixes, and the name of a reference line and how much of it the rides share.
    """
    found = analysis.summaries
    return Summaries(
        devices=devices(analysis, found.devices),
        start_states=found.start_states,
        comparisons=found.comparisons,
        error_variances=found.error_variances,
        hot_spots=hot_spots,
        offsets_between=found.offsets_between,
        ranks=found.ranks,
        route_ratios=found.route_ratios,
        quality_classes=tuple(dataclasses.replace(c, fixes=0) for c in found.quality_classes),
        quality_trends=found.quality_trends,
        distance_biases=found.distance_biases,
        reference=tuple(dataclasses.replace(r, file="reference line", shared_m=NAN) for r in found.reference),
    )

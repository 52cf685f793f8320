"""Which figures are published as they are, which coarser, and which not: those that would give a hidden place away.

The figures of a device, and of a recording's start, are those of the whole. Left out is what tells how long the whole is:
with the length that is shown, that would tell how much is hidden, and with a street map where. That holds for a share too:
k of n stations to four decimals is one fraction for one n, so a share is told to whole per cent, which every n from a
hundred on can give. docs/publish.md says it of every column. A field that is not named here is withheld, so that a new
figure is published only when someone has thought about it.

The errors of a recording are those of its part that is shown, where any is: whoever has the drawn tracks works these out
himself, and an error of the whole beside that of the part weighs the hidden road, the better the more recordings there are.
"""

from __future__ import annotations

import dataclasses
from typing import TYPE_CHECKING, Any, TypeVar

import numpy as np

from gpsq.privacy.neutral import day
from gpsq.summaries.devices import deviation_counts
from gpsq.summary_types import Interval, Summaries

if TYPE_CHECKING:
    from collections.abc import Sequence

    from _typeshed import DataclassInstance

    from gpsq.measures.route import Measured
    from gpsq.model import CrossTrack, CurveDistances, FirstFix, FloatArray, Trace
    from gpsq.results import Analysis, TraceResult
    from gpsq.summary_types import DeviceSummary, HotSpot

    Figures = TypeVar("Figures", bound=DataclassInstance)

NAN = float("nan")
#: A recording without a fix lasts as long as its ride, so all that is said is that it did not fix in this time, the
#: longest one that shares are told for.
AT_LEAST_S = 60.0
#: Decimals of lengths, of shares of the road, and of a length over another.
LENGTH_DIGITS, SHARE_DIGITS, RATIO_DIGITS = 1, 2, 3
#: A share to whole per cent is possible with every number of stations from this on, and so says nothing of the number.
LEAST_STATIONS = 100
#: Seconds of the receiver that are worked out: where a recording begins on the map does not go with them.
ESTIMATES = ("estimate_s", "estimate_low_s", "estimate_high_s", "estimate_basis")
WITHHELD = "none: withheld, as it would tell how long the whole route is"
#: Rounding of the published figures; a figure that differs by less is the same one.
SAME_M = 0.02


def only(found: Figures, kept: Sequence[str], **said: Any) -> Figures:
    """Return a record with the fields in `kept` as they are and those of `said` anew; every other says nothing.

    Examples
    --------
    >>> from gpsq.model import FirstFix
    >>> only(FirstFix("log", seconds=3.0, hours_since_fix=9.4), ("basis",), settle_s=0.0).seconds
    nan
    """
    fields = {f.name: f for f in dataclasses.fields(found)}
    blank = {
        name: NAN if f.default is dataclasses.MISSING else f.default
        for name, f in fields.items()
        if name not in kept and name not in said
    }
    return type(found)(**blank, **{name: getattr(found, name) for name in kept if name in fields}, **said)


def first_fix(fix: FirstFix) -> FirstFix:
    """Return a first fix with days for times, and without what would tell the length of the route or the rider's day.

    A recording that never fixed missed all of it; the share that was missed gives the length by division; the hours since
    the last fix are those that the rider is away.
    """
    return only(
        fix,
        ("basis", "seconds", "censored", "settle_s", "start_state", "place_basis", *ESTIMATES),
        started=day(fix.started),
        first_fix=day(fix.first_fix),
        at_least_s=min(fix.at_least_s, AT_LEAST_S) if np.isfinite(fix.at_least_s) else NAN,
        missed_m=NAN if fix.censored else fix.missed_m,
        missed_is_minimum=fix.missed_is_minimum and not fix.censored,
        missed_low_m=NAN if fix.censored else fix.missed_low_m,
        missed_high_m=NAN if fix.censored else fix.missed_high_m,
    )


def crosstrack(whole: CrossTrack | None, part: Measured | None) -> CrossTrack | None:
    """Return the errors of the part that is shown; of the whole, without its stations, where nothing is."""
    if whole is None:
        return None
    nothing, found = np.empty(0), part.crosstrack if part else None
    of = whole if part is None else found
    many = of is not None and (of is found or int(of.scored.sum()) >= LEAST_STATIONS)
    lengths = ("bias_m", "rms_m", "median_m", "p68_m", "p95_m")
    return only(
        whole,
        (),
        along_m=found.along_m if found else nothing,
        offset_m=found.offset_m if found else nothing,
        scored=found.scored if found else np.empty(0, dtype=bool),
        scored_m=found.scored_m if found else NAN,
        **{name: _rounded(getattr(of, name, NAN), LENGTH_DIGITS) for name in lengths},
        **{n: _rounded(getattr(of, n), SHARE_DIGITS) if many else NAN for n in ("within_5m", "within_10m")},
    )


def curves(whole: CurveDistances | None, part: Measured | None) -> CurveDistances | None:
    """Return the distances of the part that is shown, or of the whole where nothing is, without where the largest lies."""
    of = whole if part is None else part.curves
    if whole is None or of is None:
        return None
    lengths = ("hausdorff_m", "from_trace_m", "from_line_m", "frechet_m", "frechet_discrete_m")
    return only(
        of,
        (),
        length_ratio=_rounded(of.length_ratio, RATIO_DIGITS),
        **{name: _rounded(getattr(of, name), LENGTH_DIGITS) for name in lengths},
    )


def spikes(result: TraceResult, part: Trace | None) -> dict[str, Any]:
    """Return number and size of the spikes that are shown: those beside them would be counted by the road they lie on."""
    if part is None or result.spikes is None:
        return {"spikes": result.spikes, "largest_spike_m": _rounded(result.largest_spike_m, LENGTH_DIGITS)}
    seen = [spike.metres for spike in part.spikes if spike.after_point in part.point]
    return {"spikes": len(seen), "largest_spike_m": _rounded(max(seen, default=NAN), LENGTH_DIGITS)}


def _rounded(value: float, digits: int) -> float:
    return round(float(value), digits)


def devices(
    analysis: Analysis, summaries: Sequence[DeviceSummary], shown: Sequence[TraceResult]
) -> tuple[DeviceSummary, ...]:
    """Return the figures per device: of the whole, without those that tell how long a route is; counts as `shown`.

    Errors per 100 km and their number give the road they were counted on, so these and the spikes are of the part shown.
    """
    done = []
    for summary in summaries:
        own = [r for r in shown if analysis.traces[r.trace].device == summary.device and not r.duplicate_of]
        chosen = [r for r in own if summary.route in ("", r.route)]
        of_part = deviation_counts.figures(chosen, analysis.settings.confidence) | {
            "spikes": deviation_counts.spikes(chosen)
        }
        done.append(dataclasses.replace(summary, figures=_figures(summary, _missed_m(analysis, summary)) | of_part))
    return tuple(done)


def _missed_m(analysis: Analysis, summary: DeviceSummary) -> FloatArray:
    """Return (3, n) what a device's recordings missed on a route, where they fixed, with the lower and upper bounds."""
    fixes = np.array(
        [
            [(f := result.first_fix).missed_m, f.missed_low_m, f.missed_high_m]
            for trace, result in zip(analysis.traces, analysis.results, strict=True)
            if trace.device == summary.device
            and summary.route in ("", result.route)
            and np.isfinite(result.first_fix.missed_m)
            and not result.first_fix.censored
        ]
    ).reshape(-1, 3)
    return np.where(np.isfinite(fixes), fixes, fixes[:, :1]).T


#: Figures per device that are told as they are: times, and shares and numbers of rides.
AS_THEY_ARE = (
    "ttff_known", "ttff_never", "ttff_median_s", "ttff_estimate_median_s", "ttff_ways_p", "fixed_in_10s", "fixed_in_30s",
    "fixed_in_60s",
    "settle_median_s", "usable_median_s", "missed_is_minimum", "missed_known", "interval_median_s",
)  # fmt: skip
#: Lengths, told to the decimetre.
LENGTHS = (
    "xte_median_m", "xte_p68_m", "xte_p95_m", "xte_rms_m", "repeatability_m", "bias_m", "offset_body_m",
    "offset_ground_m", "hausdorff_median_m", "frechet_median_m",
)  # fmt: skip
RATIOS = ("length_ratio_median",)
#: What a recording without a fix, which missed the whole route, may have given its value.
MISSED = ("missed_median_m", "missed_worst_m")


def _figures(summary: DeviceSummary, missed_m: FloatArray) -> dict[str, Interval]:
    """Return a device's figures that may be told; one that is not named above is left out."""
    kept: dict[str, Interval] = {}
    for name, found in summary.figures.items():
        if name in AS_THEY_ARE:
            kept[name] = found
        elif name in LENGTHS + RATIOS:
            digits = LENGTH_DIGITS if name in LENGTHS else RATIO_DIGITS
            value, low, high = (_rounded(bound, digits) for bound in (found.value, found.low, found.high))
            kept[name] = Interval(value, low, high, found.method)
        elif name in MISSED:
            kept[name] = _told_by(found, missed_m)
    return kept


def _told_by(found: Interval, missed_m: FloatArray) -> Interval:
    """Return a median and its bounds where the published values give them: one of them, or the middle of two."""

    def told(value: float, by_m: FloatArray) -> bool:
        middles = (by_m[:, None] + by_m[None, :]) / 2
        return bool((np.abs(middles - value) <= SAME_M).any())

    middle_m, low_m, high_m = missed_m
    if not told(found.value, middle_m):
        return Interval(NAN, method=WITHHELD)
    low, high = (b if told(b, by_m) else NAN for b, by_m in ((found.low, low_m), (found.high, high_m)))
    return dataclasses.replace(found, low=low, high=high)


def over_recordings(analysis: Analysis, hot_spots: tuple[HotSpot, ...], shown: Sequence[TraceResult]) -> Summaries:
    """Return the figures over recordings that may be published; a kind that is not named here is left out.

    Kept are those that hold nothing but ratios, ranks, errors and times to fix. Left out of the others are numbers of
    fixes, and the name of a reference line and how much of it the rides share.
    """
    found = analysis.summaries
    return Summaries(
        devices=devices(analysis, found.devices, shown),
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

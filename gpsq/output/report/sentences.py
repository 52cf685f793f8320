"""The answer in sentences that a person could say aloud, made from the figures and how sure they are."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np

from gpsq.output import wording
from gpsq.output.device_figures import figure, overall
from gpsq.output.report.findings import waiting

if TYPE_CHECKING:
    from collections.abc import Sequence

    from gpsq.results import Analysis
    from gpsq.summary_types import DeviceSummary

#: Under this many rides no interval of any use exists, and a sentence says so.
FEW_RIDES = 3


def answer(analysis: Analysis) -> list[str]:
    """Return the sentences that compare the devices: which fixes faster, which repeats better, how sure that is."""
    summaries = list(overall(analysis).values())
    if len(summaries) < 2:
        return []
    said = (_fastest(analysis, summaries), _steadiest(analysis, summaries))
    return [sentence for sentence in said if sentence]


def of_device(summary: DeviceSummary, confidence: float) -> str:
    """Return one sentence about a device: its time to fix, what that lost, and how well it keeps to the line.

    Examples
    --------
    >>> from gpsq.summary_types import DeviceSummary, Interval
    >>> figures = {"ttff_median_s": Interval(17.0, 12.0, 25.0), "missed_median_m": Interval(85.0)}
    >>> of_device(DeviceSummary("Amber", "", 8, figures), 0.95).replace(wording.GAP, " ")
    'has its first fix after 17 s in the median (95 % interval 12 s to 25 s) and misses 85 m of road before it.'
    """
    parts = [_fix_part(summary, confidence), _missed_part(summary), _error_part(summary, confidence)]
    known = [part for part in parts if part]
    if not known:
        return "gave nothing that can be measured."
    said = known[0] if len(known) == 1 else f"{', '.join(known[:-1])} and {known[-1]}"
    few = f" Too few rides ({summary.rides}) to say more." if summary.rides < FEW_RIDES else ""
    return f"{said}.{spikes(summary)}{few}"


def spikes(summary: DeviceSummary) -> str:
    """Return a sentence on fixes that were off for a moment, which errors station by station do not show; "" for none.

    Examples
    --------
    >>> from gpsq.summary_types import DeviceSummary, Interval
    >>> found = {"spikes": Interval(3.0, method="in 2 of 8 recordings, the largest 250 m")}
    >>> spikes(DeviceSummary("Amber", "", 8, found)).strip().replace(wording.GAP, " ")
    'Off and back within seconds 3 times, in 2 of 8 recordings, the largest 250 m: errors station by station do not show it.'
    """
    found = figure(summary, "spikes")
    if not found.value > 0:
        return ""
    times = "once" if found.value == 1 else f"{found.value:.0f} times"
    return f" Off and back within seconds {times}, {wording.typeset(found.method)}: errors station by station do not show it."


def _fix_part(summary: DeviceSummary, confidence: float) -> str:
    middle = figure(summary, "ttff_median_s")
    never = figure(summary, "ttff_censored").value
    lost = f"; {never:.0f} of {figure(summary, 'ttff_known').value:.0f} never fixed" if never > 0 else ""
    if not np.isfinite(middle.value):
        return "never fixed in half of its rides or more" if never > 0 else "does not say when it was started"
    sure = _sure(middle, wording.seconds, confidence, lost)
    return f"has its first fix after {wording.seconds(middle.value)} in the median{sure}"


def _missed_part(summary: DeviceSummary) -> str:
    missed = figure(summary, "missed_median_m")
    if not np.isfinite(missed.value):
        return ""
    least = "at least " if "at least" in missed.method else ""
    return f"misses {least}{wording.metres(missed.value)} of road before it"


def _error_part(summary: DeviceSummary, confidence: float) -> str:
    spread = figure(summary, "repeatability_m")
    if np.isfinite(spread.value):
        sure = _sure(spread, wording.metres, confidence, _open_part(summary, "repeatability_m"))
        return f"repeats its own track to {wording.metres(spread.value)}{sure}"
    rms = figure(summary, "xte_rms_m")
    if not np.isfinite(rms.value):
        return ""
    sure = _sure(rms, wording.metres, confidence, _open_part(summary, "xte_rms_m"))
    return f"keeps within {wording.metres(rms.value)} RMS of the common line{sure}"


def _open_part(summary: DeviceSummary, name: str) -> str:
    said = waiting(summary, name)
    return f"; {said}" if said else ""


def _sure(found: Any, say: Any, confidence: float, more: str = "") -> str:
    bounds = wording.between(found, say)
    inside = (f"{wording.share(confidence)} interval {bounds}" if bounds else "") + more
    return f" ({inside.removeprefix('; ')})" if inside else ""


def _ranked(summaries: Sequence[DeviceSummary], name: str) -> list[DeviceSummary]:
    known = [summary for summary in summaries if np.isfinite(figure(summary, name).value)]
    return sorted(known, key=lambda summary: (figure(summary, name).value, summary.device))


def _fastest(analysis: Analysis, summaries: Sequence[DeviceSummary]) -> str:
    ranked = _ranked(summaries, "ttff_median_s")
    if len(ranked) < 2:
        return "No start is known for two devices, so their times to first fix cannot be compared."
    best, next_best = ranked[0].device, ranked[1].device
    found = _comparison(analysis, "ttff_s", best, next_best)
    if found is None:
        return f"{best} has the shortest median time to first fix; it shares no usable ride with {next_best}, the next."
    gain, low, high, shown = found
    if shown and gain < 0:
        best, next_best, gain, low, high = next_best, best, -gain, -high, -low
    sure = _difference_sure(low, high, wording.seconds, analysis)
    rest = f"{wording.seconds(abs(gain))} {'sooner' if gain >= 0 else 'later'} than {next_best} on the same ride{sure}."
    if not shown:
        return f"Which of {best} and {next_best} fixes faster cannot be said yet: {best} came {rest}"
    more = " Over all its rides the median is longer." if best != ranked[0].device else ""
    return f"{best} has its first fix {rest}{more}"


def _steadiest(analysis: Analysis, summaries: Sequence[DeviceSummary]) -> str:
    name = "repeatability_m" if len(_ranked(summaries, "repeatability_m")) > 1 else "xte_rms_m"
    ranked = _ranked(summaries, name)
    if len(ranked) < 2:
        return "Too few rides on one route to compare how well the devices repeat."
    best, next_best = ranked[0], ranked[1]
    said = f"{wording.metres(figure(best, name).value)} against {wording.metres(figure(next_best, name).value)}"
    found = _comparison(analysis, "xte_rms_m", best.device, next_best.device)
    apart = _apart_m(analysis, best.device, next_best.device)
    if np.isfinite(apart):
        lie = f"the two lie {wording.metres(apart)} apart, and which is right cannot be known without a surveyed line"
        return f"{best.device} repeats best, {said} for {next_best.device}; {lie}."
    if found is None:
        alone = "they share no ride, so chance is not ruled out"
        return f"{best.device} repeats best, {said} for {next_best.device}; {alone}."
    gain, low, high, shown = found
    sure = _difference_sure(low, high, wording.metres, analysis)
    same = f"on the same ride its error is {wording.metres(abs(gain))} {'smaller' if gain >= 0 else 'larger'}{sure}"
    if shown and gain >= 0:
        return f"{best.device} repeats best: {said} for {next_best.device}, the next; {same}."
    return f"Which of {best.device} and {next_best.device} repeats better cannot be said yet: {said}; {same}."


def _apart_m(analysis: Analysis, first: str, second: str) -> float:
    """Return how far two devices lie apart on the route where they do so most, nan where they do not."""
    apart = [two.apart_m for route in analysis.routes for two in route.apart if two.pair == {first, second}]
    return max(apart, default=float("nan"))


def _difference_sure(low: float, high: float, say: Any, analysis: Analysis) -> str:
    """Return the bounds of a difference in brackets, "" where there are none."""
    if not (np.isfinite(low) and np.isfinite(high)):
        return " (too few rides for an interval)"
    minus = "\N{MINUS SIGN}"
    texts = [(minus if value < 0 else "") + say(abs(value)) for value in (low, high)]
    return f" ({wording.share(analysis.settings.confidence)} interval {texts[0]} to {texts[1]})"


def _comparison(analysis: Analysis, measure: str, best: str, other: str) -> tuple[float, float, float, bool] | None:
    """Return how much less the first device has, its bounds, and whether that is shown; None if not compared."""
    for found in analysis.summaries.comparisons:
        if found.measure != measure or {found.first, found.second} != {best, other}:
            continue
        sign = -1.0 if found.first == best else 1.0
        gain, bounds = (
            sign * found.difference.value,
            sorted((sign * found.difference.low, sign * found.difference.high)),
        )
        if np.isfinite(gain):
            shown = bool(found.p_adjusted <= 1.0 - analysis.settings.confidence)
            return gain, bounds[0], bounds[1], shown
    return None

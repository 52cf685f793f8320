"""The answer in sentences that a person could say aloud, made from the comparisons and the figures of devices alone.

Each sentence is of one measure; its word and its sign come together from one comparison, so no two can contradict.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from gpsq.output import wording
from gpsq.output.device_figures import figure
from gpsq.output.tables.column import says_anything
from gpsq.summaries.pair_verdicts import MAY_BE_CHANCE
from gpsq.summaries.sampling import RARELY_S

if TYPE_CHECKING:
    from collections.abc import Sequence

    from gpsq.results import Analysis
    from gpsq.summary_types import DeviceSummary, PairedComparison

#: Under this many rides no interval of any use exists, and a sentence says so.
FEW_RIDES = 3
#: Times worked out on a smaller share of the rides are those that stand out, and no median of all is said of them.
MOST_RIDES = 0.5
LIMITS_S = (10, 30, 60)
#: Differences said in the answer; the others stand in the section on errors.
MOST_SAID = 3
MEASURES = {
    "ttff_s": "time to first fix",
    "xte_p68_m": "cross-track error",
    "repeatability_m": "repeatability",
}
TIMES = {1: "once", 2: "twice"}
#: Chance at which the two ways are told apart.
LEVEL = 0.05


def answer(analysis: Analysis) -> list[str]:
    """Return what the comparisons on the same rides come to, a sentence for each measure that says anything."""
    compared = analysis.summaries.comparisons
    if len({name for c in compared for name in (c.first, c.second)}) < 2:
        return []
    said: list[str] = []
    for measure, name in MEASURES.items():
        said += _of_measure([c for c in compared if c.measure == measure], name)
    return said


def _of_measure(compared: Sequence[PairedComparison], name: str) -> list[str]:
    shown = [c for c in compared if c.shown]
    if shown:
        chosen = sorted(shown, key=lambda c: c.p)[:MOST_SAID]
        more = len(shown) - len(chosen)
        whole = f"{more} more differences in {name} are" if more > 1 else f"1 more difference in {name} is"
        rest = [f"{whole} listed below."] if more else []
        return [sentence(c.verdict) for c in chosen] + rest
    if len(compared) == 1:
        return [sentence(compared[0].verdict)]
    none = f"No two devices can surely be told apart in {name}"
    nearest = min((c for c in compared if MAY_BE_CHANCE in c.verdict), key=lambda c: c.p, default=None)
    if nearest is not None:
        return [wording.typeset(f"{none}; nearest to it: {nearest.verdict}.")]
    return [f"{none}."] if compared else []


def sentence(verdict: str) -> str:
    """Return a verdict as a sentence for the page; a device's name keeps its first letter."""
    text = "N" + verdict[1:] if verdict.startswith("nothing can be said") else verdict
    return wording.typeset(text) + "."


def of_device(summary: DeviceSummary, analysis: Analysis | None = None) -> str:
    """Return what is said of one device: its first fix, what that lost, how near the line it stayed, what went wrong.

    Examples
    --------
    >>> from gpsq.summary_types import DeviceSummary, Interval
    >>> figures = {
    ...     "ttff_known": Interval(10), "ttff_never": Interval(1), "fixed_in_10s": Interval(0.6, of=10),
    ...     "xte_median_m": Interval(1.8), "xte_p95_m": Interval(5.5),
    ... }
    >>> print(of_device(DeviceSummary("Amber", "", 10, figures)).replace(wording.GAP, " "))
    From pressing start to the first position: on 6 of 10 rides within 10 s, once never. Half of the road it stayed within \
1.8 m of the usual line, 95 % within 5.5 m.
    """
    parts = (
        _fix(summary, analysis),
        _missed(summary),
        _near(summary),
        _errors(summary),
        spikes(summary),
        sampling(summary),
        early(summary, analysis),
        _few(summary),
    )
    said = [f"{part[:1].upper()}{part[1:]}." for part in parts if part]
    return " ".join(said) if said else "Gave nothing that can be measured."


def _fix(summary: DeviceSummary, analysis: Analysis | None) -> str:
    if not figure(summary, "ttff_known").value > 0:
        return _worked_out(summary, analysis) or "when it was started is not known"
    limit, within = _within(summary)
    if not within:
        return ""
    never = figure(summary, "ttff_never").value
    lost = f", {TIMES.get(int(never), f'on {never:.0f}')} never" if never > 0 else ""
    said = f"from pressing start to the first position: {within} within {limit}{wording.GAP}s{lost}"
    return said + _ways(summary, analysis, limit)


def _worked_out(summary: DeviceSummary, analysis: Analysis | None) -> str:
    """Return the median of the times that are worked out, of a device without any that is measured; "" where none is."""
    found = figure(summary, "ttff_estimate_median_s")
    if not np.isfinite(found.value) or (found.of and found.of < MOST_RIDES * summary.rides):
        return ""
    own = () if analysis is None else [r for r in analysis.results if analysis.traces[r.trace].device == summary.device]
    bases = sorted({r.first_fix.estimate_basis for r in own} - {""}, key=list(wording.ESTIMATED_FROM).index)
    source = f", worked out from {' and '.join(wording.ESTIMATED_FROM[b] for b in bases)}" if bases else ", worked out"
    bounds = f" ({inside})" if (inside := wording.between(found)) else ""
    count = f" on {found.of} of {summary.rides} rides" if found.of and found.of < summary.rides else ""
    return (
        f"from pressing start to the first position about {wording.seconds(found.value)}{bounds} in the median{source}{count}; "
        "start pressed is not recorded"
    )


def _within(summary: DeviceSummary) -> tuple[int, str]:
    """Return the least of the limits within which half of the starts fixed, else the largest, and how many did."""
    shares = {limit: figure(summary, f"fixed_in_{limit}s") for limit in LIMITS_S}
    known = {limit: f for limit, f in shares.items() if np.isfinite(f.value) and f.of}
    if not known:
        return 0, ""
    limit = next((limit for limit, f in known.items() if f.value >= 0.5), max(known))
    count, of = round(known[limit].value * known[limit].of), known[limit].of
    if of == 1:
        return limit, "on the only ride" if count else "on the only ride not"
    return limit, f"on {count} of {of} rides"


def _ways(summary: DeviceSummary, analysis: Analysis | None, limit: int) -> str:
    """Return both ways apart, where their times differ by more than chance."""
    own = _own_ways(summary, analysis)
    shares = [(route, figure(s, f"fixed_in_{limit}s")) for route, s in own]
    said = [f"{f.value * f.of:.0f} of {f.of} {route}" for route, f in shares if f.of]
    medians = by_way(summary, analysis)
    return (f" ({', '.join(said)})" if said else "") + (f"; {medians}" if medians else "")


def _own_ways(summary: DeviceSummary, analysis: Analysis | None) -> list[tuple[str, DeviceSummary]]:
    if analysis is None or not figure(summary, "ttff_ways_p").value <= LEVEL:
        return []
    own = [s for s in analysis.summaries.devices if s.device == summary.device and s.route]
    return [(wording.on_way(analysis, s.route), s) for s in own]


def by_way(summary: DeviceSummary, analysis: Analysis | None) -> str:
    """Return the median time to first fix of each way, where they differ by more than chance; "" where they do not."""
    medians = [(route, figure(s, "ttff_median_s").value) for route, s in _own_ways(summary, analysis)]
    said = [f"{wording.seconds(value)} {route}" for route, value in medians if np.isfinite(value)]
    return f"in the median {', '.join(said)}" if len(said) > 1 else ""


def _missed(summary: DeviceSummary) -> str:
    middle, worst = figure(summary, "missed_median_m"), figure(summary, "missed_worst_m")
    least, least_of_all = ("at least " if found.at_least else "" for found in (middle, worst))
    is_timed = figure(summary, "ttff_known").value > 0 or _worked_out(summary, None)
    before = "before it" if is_timed else "before the first position"
    at_worst = f"{least_of_all}{wording.metres(worst.value)}" if says_anything(worst) else ""
    if not np.isfinite(middle.value):
        return ""
    if not says_anything(middle):
        return f"{before} {at_worst} of road were missed at worst" if at_worst else ""
    most = f", at worst {at_worst}" if at_worst and worst.value > middle.value else ""
    return f"{before} {least}{wording.metres(middle.value)} of road were missed in the median{most}"


def early(summary: DeviceSummary, analysis: Analysis | None) -> str:
    """Return how many of a device's recordings stopped before the end of their way, "" where none did."""
    if analysis is None:
        return ""
    own = [r for r in analysis.results if analysis.traces[r.trace].device == summary.device and not r.duplicate_of]
    return _ended_early([r.ended_early_m for r in own])


def _ended_early(early_m: Sequence[float]) -> str:
    """Return how many recordings stopped before the end of their way, "" where none did.

    Examples
    --------
    >>> _ended_early([float("nan"), 2204.0, float("nan")]).replace(wording.GAP, " ")
    '1 of 3 recordings stopped 2.20 km before the end'
    """
    known = [value for value in early_m if np.isfinite(value)]
    if not known:
        return ""
    most = "up to " if len(known) > 1 else ""
    return f"{len(known)} of {len(early_m)} recordings stopped {most}{wording.metres(max(known))} before the end"


def _near(summary: DeviceSummary) -> str:
    half, most = figure(summary, "xte_median_m").value, figure(summary, "xte_p95_m").value
    if not np.isfinite([half, most]).all():
        return ""
    return (
        f"half of the road it stayed within {wording.metres(half)} of the usual line, "
        f"95{wording.GAP}% within {wording.metres(most)}"
    )


def _errors(summary: DeviceSummary) -> str:
    count, road = figure(summary, "receiver_errors").value, figure(summary, "scored_km").value
    if not (np.isfinite(count) and road > 0):
        return ""
    undecided = figure(summary, "undecided").value
    more = f", and {undecided:.0f} deviation{'s' * (undecided > 1)} of which it cannot be told" if undecided > 0 else ""
    what = "no receiver error" if count == 0 else f"{count:.0f} receiver error{'s' * (count > 1)}"
    return f"{what} on {wording.metres(1000 * road)} of road{more}"


def sampling(summary: DeviceSummary) -> str:
    """Return that a device records so rarely that its errors are not those of others, "" where it does not."""
    usual = figure(summary, "interval_median_s").value
    if not usual > RARELY_S:
        return ""
    return f"it records every {wording.seconds(usual)}, and the road between is cut short: its errors read too high"


def spikes(summary: DeviceSummary) -> str:
    """Return a clause on fixes that were off for a moment, which errors station by station do not show; "" for none.

    Examples
    --------
    >>> from gpsq.summary_types import DeviceSummary, Interval
    >>> found = {"spikes": Interval(3.0, method="in 2 of 8 recordings, the largest 250 m")}
    >>> spikes(DeviceSummary("Amber", "", 8, found)).replace(wording.GAP, " ")
    'off and back within seconds 3 times, in 2 of 8 recordings, the largest 250 m: errors station by station do not show it'
    """
    found = figure(summary, "spikes")
    if not found.value > 0:
        return ""
    times = "once" if found.value == 1 else f"{found.value:.0f} times"
    return f"off and back within seconds {times}, {wording.typeset(found.method)}: errors station by station do not show it"


def _few(summary: DeviceSummary) -> str:
    return f"too few rides ({summary.rides}) to say more" if summary.rides < FEW_RIDES else ""

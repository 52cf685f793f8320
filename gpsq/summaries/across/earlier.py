"""Devices of this campaign against those of earlier ones, as ratios through the devices carried along."""

from __future__ import annotations

import dataclasses
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np

from gpsq.exceptions import InputError
from gpsq.summaries.across import bridges, results_read
from gpsq.summary_types import AgainstEarlier

if TYPE_CHECKING:
    from collections.abc import Sequence

    from gpsq.model import Trace
    from gpsq.results import Analysis, EarlierResults, TraceResult
    from gpsq.settings import Settings
    from gpsq.summaries.across.bridge_verdicts import Bridge
    from gpsq.summaries.across.results_read import Results, Row

NOW = "this campaign"


def against_earlier(
    analysis: Analysis, earlier: Sequence[EarlierResults], settings: Settings
) -> tuple[tuple[AgainstEarlier, ...], tuple[str, ...]]:
    """Return each device of this campaign against each of the earlier ones, and a line for each folder that cannot be read.

    A device that rode with both campaigns is compared with itself, by way of the others that did; and with each device
    that only the earlier campaign has.
    """
    own = dataclasses.replace(_results_of(analysis), campaign=NOW)
    found: list[AgainstEarlier] = []
    problems = []
    for folder in earlier:
        try:
            then = results_read.read(Path(folder.folder))
        except InputError as error:
            problems.append(str(error))
            continue
        then = dataclasses.replace(then, campaign=then.campaign if then.campaign != NOW else folder.name)
        found += [_against(first, second, own, then, settings) for first, second in _pairs(own, then)]
    return tuple(found), tuple(problems)


def _pairs(own: Results, then: Results) -> list[tuple[str, str]]:
    now, before = ({t["device"] for t in r.tracks if t["device"]} for r in (own, then))
    return [(d, e) for d in sorted(now) for e in sorted(before) if d == e or e not in now]


def _results_of(analysis: Analysis) -> results_read.Results:
    """Return this campaign's recordings as a results folder would give them."""
    rows = [_row(t, r) for t, r in zip(analysis.traces, analysis.results, strict=True) if not r.duplicate_of]
    return results_read.Results(analysis.title, (), tuple(rows), {})


def _row(trace: Trace, result: TraceResult) -> Row:
    size = result.crosstrack.p68_m if result.crosstrack else np.nan
    return {
        "device": trace.device, "route": result.route, "ride": result.ride,
        "xte_p68_m": f"{size:.6f}" if np.isfinite(size) else "",
        "interval_s": f"{result.interval_s:.6g}" if np.isfinite(result.interval_s) else "",
    }  # fmt: skip


def _against(first: str, second: str, own: Results, then: Results, settings: Settings) -> AgainstEarlier:
    found = bridges.over_time(first, second, own, then, settings)
    against = AgainstEarlier(
        first, second, then.campaign, found.found, found.via, found.rides_first, found.rides_second
    )  # fmt: skip
    return dataclasses.replace(against, verdict=_verdict(against, found, settings.confidence))


def _verdict(against: AgainstEarlier, found: Bridge, confidence: float) -> str:
    name, then = against.device, f"in {against.campaign}"
    other = "" if against.other == name else f"{against.other} "
    if not against.via:
        return f"{name} and {against.other} {then}: not comparable: {found.found.method.removeprefix('none: ')}"
    ratio = against.ratio
    rides = f"{against.rides_now} rides now, {against.rides_then} then"
    if np.isnan(ratio.low):
        grounds = f"too few rides to tell (by way of {against.via}, {rides})"
        return f"{name} and {against.other} {then}: ratio {ratio.value:.2f}, {grounds}"
    interval = f"{100 * confidence:g} % interval {ratio.low:.2f} to {ratio.high:.2f}"
    grounds = f"ratio {ratio.value:.2f} ({interval}; by way of {against.via}, {rides})"
    if ratio.low <= 1.0 <= ratio.high:
        return f"{name} cannot be told from {other or 'itself '}{then}: {grounds}"
    does = "errs more" if ratio.value > 1.0 else "errs less"
    return f"{name} {does} than {other}{then}: {grounds}"

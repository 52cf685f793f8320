"""Where a campaign falls short of a fair test, in plain sentences; the rules themselves are in ``docs/protocol.md``."""

from __future__ import annotations

from collections import Counter, defaultdict
from typing import TYPE_CHECKING

import numpy as np

from gpsq.statistics.intervals import FEWEST_FOR_MEDIAN
from gpsq.summaries.sampling import slower

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator

    from gpsq.model import Trace
    from gpsq.results import Analysis, TraceResult

#: Under three rides there is no centreline of others to be judged against.
FEWEST_RIDES = 3


def shortfalls(analysis: Analysis) -> list[str]:
    """Return a sentence for each rule of the protocol that the campaign does not keep, most weighty first.

    Parameters
    ----------
    analysis : Analysis
        What was found in the campaign's folder.

    Returns
    -------
    list of str
        One line each, with what was found and what would mend it; empty where nothing falls short.
    """
    pairs = [(t, r) for t, r in zip(analysis.traces, analysis.results, strict=True) if not r.duplicate_of]
    rules = (_starts, _states, _rides, _together, _undecided, _intervals, _notes)
    said = [sentence for rule in rules for sentence in rule(pairs)]
    if not analysis.summaries.reference:
        said.append("no reference line: an offset that all rides share cannot be seen: repeatability, not trueness")
    return said


Pairs = list[tuple["Trace", "TraceResult"]]


def _starts(pairs: Pairs) -> Iterator[str]:
    unknown = sum(not np.isfinite(r.first_fix.seconds) and not r.first_fix.censored for _, r in pairs)
    if unknown:
        yield (
            f"{unknown} of {len(pairs)} recordings without a known start, so no time to first fix: "
            "note in rides.csv when each device was told to start"
        )
    by_file = sum(r.first_fix.basis == "file time" and np.isfinite(r.first_fix.seconds) for _, r in pairs)
    if by_file:
        yield (
            f"times to first fix that rest on when the file was made, which may not be the start: {by_file}; "
            "note the start in rides.csv"
        )
    least = sum(r.first_fix.missed_is_minimum for _, r in pairs)
    if least:
        yield (
            f"recordings with only a lower bound of the distance missed: {least}; "
            "note the place of the start (start_lat, start_lon) in rides.csv"
        )


def _states(pairs: Pairs) -> Iterator[str]:
    states: dict[str, Counter[str]] = defaultdict(Counter)
    for trace, result in pairs:
        if np.isfinite(result.first_fix.seconds) or result.first_fix.censored:
            states[trace.device][result.first_fix.start_state] += 1
    mixed = [device for device, found in sorted(states.items()) if len(found.keys() - {"unknown"}) > 1]
    if mixed:
        yield f"{_listed(mixed)}: start states are mixed; compare times to first fix within one state only"
    unknown = sum(found["unknown"] for found in states.values())
    if unknown:
        yield f"start states that are unknown: {unknown}; note hot, warm or cold as start_state in rides.csv"


def _rides(pairs: Pairs) -> Iterator[str]:
    rides: dict[tuple[str, str], set[str]] = defaultdict(set)
    for trace, result in pairs:
        if result.route:
            rides[trace.device, result.route].add(result.ride)
    few = sorted(f"{d} on route {r}" for (d, r), found in rides.items() if len(found) < FEWEST_RIDES)
    if few:
        yield f"{_listed(few)}: fewer than {FEWEST_RIDES} rides, so no interval of the spread"
    short = sorted(
        f"{d} on route {r} ({len(found)})"
        for (d, r), found in rides.items()
        if FEWEST_RIDES <= len(found) < FEWEST_FOR_MEDIAN
    )
    if short:
        yield (
            f"{_listed(short)}: fewer than {FEWEST_FOR_MEDIAN} rides, so no interval of a median, "
            "and no difference in time to first fix can be shown"
        )


def _together(pairs: Pairs) -> Iterator[str]:
    devices: dict[str, set[str]] = defaultdict(set)
    for trace, result in pairs:
        if result.ride:
            devices[result.ride].add(trace.device)
    everyone = {trace.device for trace, _ in pairs}
    partial = sum(len(found) < len(everyone) for found in devices.values())
    if partial:
        yield (
            f"rides without one of the {len(everyone)} devices: {partial} of {len(devices)}; "
            "devices are compared fairly only on rides that all of them recorded"
        )


def _undecided(pairs: Pairs) -> Iterator[str]:
    ids = [d.id for _, r in pairs for d in r.deviations if not d.flag]
    if ids:
        yield f"deviations that wait for a decision: {_listed(ids)}; say with gpsq flag which were intentional"


def _intervals(pairs: Pairs) -> Iterator[str]:
    interval: dict[str, list[float]] = defaultdict(list)
    for trace, result in pairs:
        if np.isfinite(result.interval_s):
            interval[trace.device].append(result.interval_s)
    typical = {device: float(np.median(found)) for device, found in interval.items()}
    if slower(tuple(typical), typical):
        said = ", ".join(f"{device} {seconds:g} s" for device, seconds in sorted(typical.items()))
        yield f"devices record at different intervals ({said}): corners and recorded lengths are not comparable"


def _notes(pairs: Pairs) -> Iterator[str]:
    if not any(trace.log_note for trace, _ in pairs):
        yield "no notes: write firmware, settings and where each device was carried as note in rides.csv"


def _listed(names: Iterable[str], most: int = 5) -> str:
    found = list(names)
    more = f" and {len(found) - most} more" if len(found) > most else ""
    return ", ".join(found[:most]) + more

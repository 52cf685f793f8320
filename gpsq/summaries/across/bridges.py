"""Pairs of devices over several campaigns: on the same rides, by way of one carried along with both, or not at all.

The road and the sky of a campaign are in the errors of all its devices. On the logarithm they cancel in the difference of
two devices of one ride; so a device A of this year and a device B of last year are compared as A − R and B − R, where R
rode with both (Bucher et al. 1997), on whatever roads, as long as device and road do not interact.
"""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass
from itertools import combinations
from typing import TYPE_CHECKING

import numpy as np

from gpsq.statistics import bridge, paired
from gpsq.summaries.across.bridge_verdicts import SAME_RIDES, Bridge, verdict
from gpsq.summaries.across.results_read import number
from gpsq.summaries.sampling import slower
from gpsq.summary_types import Interval

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping, Sequence

    from gpsq.model import FloatArray
    from gpsq.settings import Settings
    from gpsq.summaries.across.results_read import Results, Row

FEWEST_RIDES = 3

Ride = tuple[str, str]
#: Values of each device of one campaign by ride: a logarithm of an error, or seconds.
Values = dict[str, dict[Ride, float]]


def between_all(results: Sequence[Results], settings: Settings) -> tuple[Bridge, ...]:
    """Return a row for each pair of devices of all campaigns and each measure, comparable or not."""
    devices = sorted({t["device"] for r in results for t in r.tracks if t["device"]})
    errors = {r.campaign: _errors(r) for r in results}
    interval_s = _sampling(results)
    apart = _never_compared(devices, results, interval_s)
    waits = {
        state: {r.campaign: _waits(r, state) for r in results}
        for state in sorted({t.get("start_state") or "unknown" for r in results for t in r.tracks if _is_trial(t)})
    }
    found: list[Bridge | None] = []
    for first, second in combinations(devices, 2):
        found.append(_of_errors(first, second, errors, apart, settings))
        found += [_of_waits(first, second, state, values, settings) for state, values in waits.items()]
    return tuple(verdict(b, settings.confidence) for b in found if b is not None)


def over_time(first: str, second: str, now: Results, then: Results, settings: Settings) -> Bridge:
    """Return the ratio of a device's errors now to those of a device, perhaps the same, in an earlier campaign.

    By way of the devices that rode with both campaigns; never on the same rides, as those are other days.
    """
    own_s, other_s = (_sampling([r]).get(device, np.nan) for r, device in ((now, first), (then, second)))
    if slower(("now", "then"), {"now": own_s, "then": other_s} if np.isfinite(own_s + other_s) else {}):
        said = f"none: one records every {own_s:g} s, the other every {other_s:g} s"
        return Bridge(first, second, "xte_p68_m", "", "", "", Interval(np.nan, method=said), 0, 0)
    devices = sorted({t["device"] for r in (now, then) for t in r.tracks if t["device"]})
    apart = _never_compared(devices, (now, then), _sampling((now, then)))
    errors = {r.campaign: _errors(r) for r in (now, then)}
    spans = [s for s in _spans(first, second, errors, apart) if s.campaigns[0] == now.campaign]
    if not spans:
        return Bridge(first, second, "xte_p68_m", "", "", "", _none(first, second, {}), 0, 0)
    return _joined(first, second, spans, settings.confidence)


def _never_compared(
    devices: Sequence[str], results: Sequence[Results], interval_s: Mapping[str, float]
) -> dict[frozenset[str], str]:
    """Return the pairs of devices whose errors say nothing of one another, and why."""
    found = {frozenset(pair): why for r in results for pair, why in r.withheld.items()}
    for first, second in combinations(devices, 2):
        if slower((first, second), interval_s):
            said = f"{first} records every {interval_s[first]:g} s, {second} every {interval_s[second]:g} s"
            found.setdefault(frozenset((first, second)), said)
    return found


def carried_most(results: Sequence[Results], found: Sequence[Bridge]) -> str:
    """Return the device that most others can be held against, "" where there is none.

    Of those that were carried along in several campaigns, where there are any; of equals the one with most rides.
    """
    known = Counter[str]()
    for b in found:
        if b.is_ratio and np.isfinite(b.found.value):
            known.update((b.first, b.second))
    rides = Counter(t["device"] for r in results for t in r.tracks)
    often = {d for d in known if sum(any(t["device"] == d for t in r.tracks) for r in results) > 1}
    return min(often or known, key=lambda d: (-known[d], -rides[d], d), default="")


def _errors(results: Results) -> Values:
    found: Values = {}
    for t in results.tracks:
        size = number(t, "xte_p68_m")
        if size > 0 and t["ride"]:
            found.setdefault(t["device"], {})[t["route"], t["ride"]] = float(np.log(size))
    return found


def _is_trial(track: Row) -> bool:
    return bool(track.get("ttff_s")) or track.get("censored") == "true"


def _waits(results: Results, state: str) -> Values:
    found: Values = {}
    for t in results.tracks:
        if t["ride"] and _is_trial(t) and (t.get("start_state") or "unknown") == state:
            seconds = np.inf if t.get("censored") == "true" else number(t, "ttff_s")
            found.setdefault(t["device"], {})["", t["ride"]] = seconds
    return found


def _sampling(results: Sequence[Results]) -> dict[str, float]:
    found: dict[str, list[float]] = {}
    for r in results:
        for t in r.tracks:
            found.setdefault(t["device"], []).append(number(t, "interval_s"))
    known = {d: [s for s in own if np.isfinite(s)] for d, own in found.items()}
    return {d: float(np.median(own)) for d, own in known.items() if own}


# --- errors: ratios -------------------------------------------------------------------------------------------------


def _of_errors(
    first: str, second: str, errors: Mapping[str, Values], apart: Mapping[frozenset[str], str], settings: Settings
) -> Bridge:
    why = apart.get(frozenset((first, second)), "")
    if why:
        return Bridge(first, second, "xte_p68_m", "", "", "", Interval(np.nan, method=f"none: {why}"), 0, 0)
    direct = {name: _less(values, first, (second,)) for name, values in errors.items()}
    direct = {name: logs for name, logs in direct.items() if len(logs) >= FEWEST_RIDES}
    if direct:
        logs = np.concatenate(list(direct.values()))
        found = paired.ratio(logs, settings.confidence, settings.seed)
        return Bridge(
            first, second, "xte_p68_m", "", SAME_RIDES, ", ".join(direct), found, len(logs), len(logs)
        )  # fmt: skip
    spans = list(_spans(first, second, errors, apart))
    if not spans:
        return Bridge(first, second, "xte_p68_m", "", "", "", _none(first, second, errors), 0, 0)
    return _joined(first, second, spans, settings.confidence)


def _less(values: Values, device: str, others: tuple[str, ...]) -> FloatArray:
    """Return the device's values less the mean of the others', on the rides that all of them recorded."""
    if device not in values or any(other not in values for other in others):
        return np.empty(0)
    shared = set(values[device]).intersection(*(values[other] for other in others))
    return np.array([values[device][r] - np.mean([values[o][r] for o in others]) for r in sorted(shared)])


@dataclass(frozen=True)
class _Span:
    """One campaign's rides of each device less those carried along."""

    via: tuple[str, ...]
    campaigns: tuple[str, str]
    first: FloatArray
    second: FloatArray


def _spans(
    first: str, second: str, errors: Mapping[str, Values], apart: Mapping[frozenset[str], str]
) -> Iterator[_Span]:
    """Give a span for each two campaigns of which one has the first device, one the second, and both another.

    One that cannot be held against either (`apart`) is no bridge between them.
    """
    for here, there in ((a, b) for a in errors for b in errors if a != b):
        if first not in errors[here] or second not in errors[there]:
            continue
        carried = sorted((set(errors[here]) & set(errors[there])) - {first, second})
        carried = [
            via for via in carried if apart.keys().isdisjoint({frozenset((first, via)), frozenset((second, via))})
        ]
        choices = [tuple(carried), *((device,) for device in carried)] if carried else []
        spans = [
            _Span(via, (here, there), _less(errors[here], first, via), _less(errors[there], second, via))
            for via in choices
        ]
        spans = [s for s in spans if min(len(s.first), len(s.second)) >= FEWEST_RIDES]
        if spans:
            yield max(spans, key=lambda s: (min(len(s.first), len(s.second)), len(s.via)))


def _disjoint(spans: Sequence[_Span]) -> list[_Span]:
    """Return spans of which no two have a campaign in common, those with most rides first."""
    chosen: list[_Span] = []
    for span in sorted(spans, key=lambda s: -min(len(s.first), len(s.second))):
        if all(set(span.campaigns).isdisjoint(other.campaigns) for other in chosen):
            chosen.append(span)
    return chosen


def _joined(first: str, second: str, spans: Sequence[_Span], confidence: float) -> Bridge:
    """Return what the spans say: the one that rests on most rides, or from three on all of them with random effects.

    Each campaign is in one of them at most: two that share rides are no independent bridges.
    """
    spans = _disjoint(spans)
    if len(spans) < bridge.FEWEST_FOR_RANDOM_EFFECTS:
        spans = spans[:1]
        logs = bridge.by_way_of(spans[0].first, spans[0].second, confidence)
    else:
        effects = [float(s.first.mean() - s.second.mean()) for s in spans]
        logs = bridge.random_effects(effects, [bridge.variance(s.first, s.second) for s in spans], confidence)
    value, low, high = (float(np.exp(v)) for v in (logs.value, logs.low, logs.high))
    return Bridge(
        first, second, "xte_p68_m", "",
        " and ".join(dict.fromkeys(device for s in spans for device in s.via)),
        ", ".join(dict.fromkeys(name for s in spans for name in s.campaigns)),
        Interval(value, low, high, logs.method), sum(len(s.first) for s in spans), sum(len(s.second) for s in spans),
    )  # fmt: skip


# --- times: differences ---------------------------------------------------------------------------------------------


def _of_waits(first: str, second: str, state: str, waits: Mapping[str, Values], settings: Settings) -> Bridge | None:
    """Return the comparison of two devices' times within a start state; None where one has hardly any in it."""
    most = [max((len(values.get(device, {})) for values in waits.values()), default=0) for device in (first, second)]
    if min(most) < FEWEST_RIDES:
        return None
    direct = {name: _later(values, first, second) for name, values in waits.items()}
    direct = {name: own for name, own in direct.items() if len(own) >= FEWEST_RIDES}
    if direct:
        seconds = np.concatenate(list(direct.values()))
        found = paired.median_difference(seconds, settings.confidence)
        return Bridge(first, second, "ttff_s", state, SAME_RIDES, ", ".join(direct), found, len(seconds), len(seconds))
    best: Bridge | None = None
    for here, there in ((a, b) for a in waits for b in waits if a != b):
        for via in sorted((set(waits[here]) & set(waits[there])) - {first, second}):
            own, other = _later(waits[here], first, via), _later(waits[there], second, via)
            if min(len(own), len(other)) >= max(
                FEWEST_RIDES, min(best.rides_first, best.rides_second) + 1 if best else 0
            ):
                medians = (paired.median_difference(d, settings.confidence) for d in (own, other))
                found = bridge.difference_of_medians(*medians)
                best = Bridge(
                    first, second, "ttff_s", state, via, f"{here}, {there}", found, len(own), len(other)
                )  # fmt: skip
    return best or Bridge(first, second, "ttff_s", state, "", "", _none(first, second, waits), 0, 0)


def _none(first: str, second: str, values: Mapping[str, Values]) -> Interval:
    """Return that two devices cannot be compared, and why."""
    together = any(set(own.get(first, {})) & set(own.get(second, {})) for own in values.values())
    carried = {
        via
        for a in values.values()
        for b in values.values()
        if a is not b and first in a and second in b
        for via in (set(a) & set(b)) - {first, second}
    }
    why = f"what was carried along ({', '.join(sorted(carried))}) is no measure of both"
    if together or not carried:
        why = "too few rides together" if together else "no device was carried along"
    return Interval(np.nan, method=f"none: {why}")


def _later(values: Values, first: str, second: str) -> FloatArray:
    """Return how much later the first device fixed on each shared ride; never is infinite, and both never is not at all."""
    shared = sorted(set(values.get(first, {})) & set(values.get(second, {})))
    pairs = [(values[first][ride], values[second][ride]) for ride in shared]
    return np.array([0.0 if np.isinf(a) and np.isinf(b) else a - b for a, b in pairs], dtype=float)

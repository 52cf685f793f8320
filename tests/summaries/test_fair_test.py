"""Where a campaign falls short of a fair test."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from by_hand import by_hand
from offset_campaigns import campaign, with_fix

from gpsq.model import NAT, Deviation
from gpsq.results import Analysis
from gpsq.settings import Settings
from gpsq.summaries.fair_test import shortfalls
from gpsq.summary_types import Summaries

WAITS = np.full((2, 8), 9.0)


def analysis(traces, results, routes, **summed):
    return Analysis("campaign", "", Settings(), traces, (), routes, results, (), (), {}, (), Summaries(**summed))


def fair(rides=8):
    traces, results, routes = campaign(np.ones((2, rides, 10)), WAITS[:, :rides])
    traces = tuple(replace(t, log_note="firmware 1.2, left side of the bar") for t in traces)
    results = tuple(replace(with_fix(r, start_state="hot"), interval_s=1.0) for r in results)
    return traces, results, routes


def said(parts, **summed):
    return " | ".join(shortfalls(analysis(*parts, **summed)))


def test_a_fair_campaign_with_a_reference_falls_short_of_nothing():
    assert shortfalls(analysis(*fair(), reference=("a line",))) == []


def test_without_a_reference_only_that_is_said():
    for nothing in ({}, {"reference": ()}):
        (sentence,) = shortfalls(analysis(*fair(), **nothing))
        assert "repeatability, not trueness" in sentence


def test_each_rule_is_noticed():
    traces, results, routes = fair()
    unknown, least = with_fix(results[0], seconds=np.nan), with_fix(results[0], missed_is_minimum=True)
    unsaid = with_fix(results[0], start_state="unknown")
    broken = {
        "1 of 16 recordings without a known start": (traces, (unknown, *results[1:]), routes),
        "not be the start: 1;": (traces, (with_fix(results[0], basis="file time"), *results[1:]), routes),
        "a lower bound of the distance missed: 1;": (traces, (least, *results[1:]), routes),
        "device 1: start states are mixed": (traces, (with_fix(results[0], start_state="cold"), *results[1:]), routes),
        "start states that are unknown: 1;": (traces, (unsaid, *results[1:]), routes),
        "rides without one of the 2 devices: 1 of 8;": (traces, (replace(results[0], ride=""), *results[1:]), routes),
        "device 1 1 s, device 2 5 s": (
            traces, tuple(replace(r, interval_s=5.0) if r.trace > 7 else r for r in results), routes,
        ),
        "no notes": (tuple(replace(t, log_note="") for t in traces), results, routes),
    }  # fmt: skip
    for sentence, parts in broken.items():
        assert sentence in said(parts, reference=("a line",))
        assert len(shortfalls(analysis(*parts, reference=("a line",)))) == 1


def test_every_sentence_of_one_campaign_by_hand():
    """Of the analysis written by hand, with a start taken from a file's time and five more deviations of one recording."""
    found = by_hand(summaries=Summaries())
    more = tuple(replace(found.results[3].first_fix, basis="file time", seconds=s) for s in (9.0, np.nan))
    waiting = tuple(replace(found.deviations[0], id=f"x{k}") for k in range(5))
    changed = (*found.results[:3], replace(found.results[3], first_fix=more[0], deviations=waiting))
    assert shortfalls(replace(found, results=changed)) == [
        "times to first fix that rest on when the file was made, which may not be the start: 1; note the start in rides.csv",
        "recordings with only a lower bound of the distance missed: 1; "
        "note the place of the start (start_lat, start_lon) in rides.csv",
        "Basalt: start states are mixed; compare times to first fix within one state only",
        "Amber on route out, Basalt on route home, Basalt on route out: fewer than 3 rides, so no interval of the spread",
        "rides without one of the 2 devices: 2 of 3; devices are compared fairly only on rides that all of them recorded",
        "deviations that wait for a decision: d0a, d1b, x0, x1, x2 and 2 more; say with gpsq flag which were intentional",
        "devices record at different intervals (Amber 5.125 s, Basalt 21.4375 s): "
        "corners and recorded lengths are not comparable",
        "no reference line: an offset that all rides share cannot be seen: repeatability, not trueness",
    ]
    five = (*found.results[:3], replace(found.results[3], deviations=waiting[:3]))
    assert "decision: d0a, d1b, x0, x1, x2; say" in " ".join(shortfalls(replace(found, results=five)))
    unknown = (*found.results[:3], replace(found.results[3], first_fix=more[1]))
    assert shortfalls(replace(found, results=unknown))[0].startswith("1 of 4 recordings without a known start")


def test_of_one_device_nobody_is_missing_and_a_mixed_state_with_an_unknown_one_is_not_mixed():
    traces, results, routes = fair()
    alone = (traces[:8], tuple(replace(r, ride="" if r.trace == 3 else r.ride) for r in results[:8]), routes)
    assert "rides without" not in said(alone)
    odd = (traces, tuple(with_fix(r, start_state="unknown") if r.trace % 2 else r for r in results), routes)
    assert "mixed" not in said(odd)
    assert "start states that are unknown: 8;" in said(odd)
    censored = (traces, tuple(with_fix(r, seconds=np.nan, censored=True) for r in results), routes)
    assert shortfalls(analysis(*censored, reference=("a line",))) == []


def test_a_waiting_decision_is_noticed():
    traces, results, routes = fair()
    found = Deviation("ab12cd", 0, "A", 0, 1, NAT, NAT, 0, 1, 40.0, "left", 1.0, "cannot be told", "")
    parts = (traces, (replace(results[0], deviations=(found,)), *results[1:]), routes)
    assert "deviations that wait for a decision: ab12cd;" in said(parts)
    decided = (traces, (replace(results[0], deviations=(replace(found, flag="error"),)), *results[1:]), routes)
    assert "wait for a decision" not in said(decided)


def test_few_rides_are_noticed():
    assert "fewer than 3 rides" in said(fair(2))
    five = said(fair(5))
    assert "device 1 on route A (5), device 2 on route A (5): fewer than 6 rides" in five
    assert "fewer than 3" not in five
    assert "device 1 on route A (3), device 2 on route A (3): fewer than 6 rides" in said(fair(3))
    assert "fewer than 6" not in said(fair(6))
    assert "fewer than 6" not in said(fair(2))


def test_a_copy_is_not_counted():
    traces, results, routes = fair()
    copied = (replace(with_fix(results[0], seconds=np.nan), duplicate_of="x.gpx"), *results[1:])
    assert "without a known start" not in said((traces, copied, routes))

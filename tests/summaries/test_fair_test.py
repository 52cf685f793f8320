"""Where a campaign falls short of a fair test."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
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

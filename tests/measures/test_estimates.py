"""Times to first fix that are worked out: each against rides laid out by hand, whose true waits are known."""

from __future__ import annotations

import dataclasses

import numpy as np
import pytest
from there_and_back import ROAD, both_ways, outward, stood
from trace_maker import MONDAY, shifted_left, smooth_noise, trace_on

from gpsq.measures.estimates import HANDLING_S, MOST_HANDLING_S
from gpsq.pipeline.stages import analyse_traces
from gpsq.settings import Settings

CUTS = (60, 66, 74, 82)


def test_the_road_missed_over_the_pace_of_others_is_the_time():
    """All ride 5 m/s and set off at once: the fix at vertex 60 came 60 s after the start."""
    for (fix, _), cut in zip(outward(both_ways(CUTS))[0], CUTS, strict=True):
        assert np.isnan(fix.seconds)
        assert fix.estimate_basis == "road"
        assert fix.estimate_s == pytest.approx(cut + HANDLING_S + 3.6, abs=4.0)
        assert fix.estimate_low_s <= cut <= fix.estimate_high_s
        place_s = (fix.missed_m - fix.missed_low_m) / 5.0, (fix.missed_high_m - fix.missed_m) / 5.0
        assert fix.estimate_s - fix.estimate_low_s == pytest.approx(np.hypot(place_s[0], HANDLING_S), rel=0.05)
        more_s = MOST_HANDLING_S - HANDLING_S
        assert fix.estimate_high_s - fix.estimate_s == pytest.approx(np.hypot(place_s[1], more_s), rel=0.05)


def test_where_the_road_missed_is_a_bound_there_is_no_estimate():
    for fix, _ in outward(both_ways(CUTS, stops_m=(2500.0, 2440.0, 2380.0, 2500.0)))[0]:
        assert fix.missed_is_minimum
        assert np.isnan([fix.estimate_s, fix.estimate_low_s, fix.estimate_high_s]).all()
        assert fix.estimate_basis == ""


def test_what_is_measured_is_not_worked_out():
    start = {"started": MONDAY - np.timedelta64(90, "D"), "start_basis": "log"}
    fixes = [fix for fix, _ in outward(both_ways(CUTS, out=start))[0]]
    assert all(np.isfinite(fix.seconds) and np.isnan(fix.estimate_s) for fix in fixes)


def test_where_a_rider_is_seen_waiting_nothing_bounds_the_time_from_above():
    traces = both_ways((2, 66, 74, 82))
    traces[0] = stood(traces[0], 40)
    fixes = [fix for fix, _ in outward(traces)[0]]
    assert np.isnan(fixes[0].estimate_s), "who stands at the start has missed no road"
    assert all(fix.estimate_high_s == np.inf for fix in fixes[1:])
    assert fixes[3].estimate_s == pytest.approx(82 + HANDLING_S + 3.6, abs=5.0)


def test_lights_on_the_stretch_widen_the_bounds():
    plain = outward(both_ways(CUTS))[0][3][0]
    traces = both_ways(CUTS)
    back = next(k for k, t in enumerate(traces) if t.file == "back1.gpx")
    held = traces[back]
    at = 460  # 40 vertices before the end
    late = held.time + np.where(np.arange(held.accepted) > at, np.timedelta64(50, "s"), np.timedelta64(0, "s"))
    traces[back] = dataclasses.replace(held, time=late)
    wide = outward(traces)[0][3][0]
    assert wide.estimate_s == pytest.approx(plain.estimate_s, abs=3.0)
    assert wide.estimate_high_s > plain.estimate_high_s + 30.0


def names(traces, waited_s):
    """Return the traces called by the local minute (2 h ahead) of a start so long before their first fix."""
    done = []
    for trace, wait_s in zip(traces, waited_s, strict=True):
        local = trace.time[0] - np.timedelta64(wait_s, "s") + np.timedelta64(2, "h")
        done.append(dataclasses.replace(trace, file=str(local)[:16].replace("T", "_").replace(":", "-") + ".gpx"))
    return done


def test_a_name_gives_the_minute_and_the_road_says_where_in_it():
    waited_s = [w for cut in CUTS for w in (cut + 4, 5)]
    named = analyse_traces(names(both_ways(CUTS), waited_s), Settings())
    by_road = {fix.estimate_s: fix for fix, _ in outward(both_ways(CUTS))[0]}
    found = sorted(
        (r.first_fix for t, r in zip(named.traces, named.results, strict=True) if r.route == named.results[-2].route),
        key=lambda fix: fix.missed_m,
    )
    for fix, cut in zip(found, CUTS, strict=True):
        assert fix.estimate_low_s <= cut + 4 <= fix.estimate_high_s
        assert fix.estimate_high_s - fix.estimate_low_s <= 59.0
    assert len(by_road) == 4


def two_devices(days=4, apart_s=3):
    """Return rides of two devices started some seconds apart; on the last day nobody wrote down the second's start."""
    rng = np.random.default_rng(3)
    traces = []
    for day in range(days):
        pressed = MONDAY + np.timedelta64(day, "D") - np.timedelta64(10, "s")
        for k, device in enumerate(("first", "second")):
            cut, line = 10 + 20 * k, shifted_left(ROAD, smooth_noise(rng, len(ROAD), 1.0))
            known = day < days - 1 or device == "first"
            start = {"started": pressed + np.timedelta64(apart_s * k, "s"), "start_basis": "log"} if known else {}
            traces.append(trace_on(line[cut:], device=device, day=day, start_s=float(cut), **start))
    return analyse_traces(traces, Settings())


def test_a_companion_was_started_within_some_seconds():
    found = two_devices()
    fix = found.results[-1].first_fix
    true_s = 30 + 10 - 3
    assert (fix.estimate_basis, np.isnan(fix.seconds)) == ("companion", True)
    assert (fix.estimate_low_s, fix.estimate_s, fix.estimate_high_s) == (34.0, 40.0, 46.0)
    assert fix.estimate_low_s <= true_s <= fix.estimate_high_s


def test_two_rides_do_not_show_how_far_apart_starts_lie():
    assert two_devices(days=3).results[-1].first_fix.estimate_basis != "companion"

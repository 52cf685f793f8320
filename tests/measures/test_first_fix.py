"""Start, first fix, settling, and what was missed: unknown is never zero."""

from __future__ import annotations

import numpy as np
import pytest
from trace_maker import MONDAY, road, shifted_left, smooth_noise, trace_on

from gpsq.measures import first_fix
from gpsq.model import NAT
from gpsq.pipeline.stages import analyse_traces
from gpsq.settings import Settings


def started(trace_offset_s, **changes):
    """Return the changes that give a trace a logged start so many seconds before its first fix."""
    return {"started": MONDAY - np.timedelta64(int(trace_offset_s * 1000), "ms"), "start_basis": "log"} | changes


def test_the_time_is_the_first_fix_less_the_start():
    fix = first_fix.first_fix(trace_on(road(), **started(42)))
    assert (fix.seconds, fix.basis, fix.censored) == (42.0, "log", False)


def test_without_a_start_the_time_is_unknown():
    fix = first_fix.first_fix(trace_on(road()))
    assert np.isnan(fix.seconds)
    assert fix.basis == "none"


def test_a_start_after_the_fix_gives_no_negative_time():
    assert np.isnan(first_fix.first_fix(trace_on(road(), **started(-30))).seconds)


def test_a_clock_set_by_the_fix_says_nothing():
    assert np.isnan(first_fix.first_fix(trace_on(road(), **started(42, clock_jumps_at_fix=True))).seconds)


def test_a_trace_that_never_fixes_is_censored_at_its_length():
    nothing = trace_on(
        np.empty((0, 2)), **started(0, first_record=MONDAY, last_record=MONDAY + np.timedelta64(600, "s"), points=0)
    )
    fix = first_fix.first_fix(nothing)
    assert (fix.censored, fix.at_least_s) == (True, 600.0)
    assert np.isnan(fix.seconds)
    assert np.isnat(fix.first_fix)


def test_start_states_follow_the_age_of_the_last_fix():
    """NAVSTAR GPS User Equipment Introduction (1996), 3.5: ephemeris about 4 h, almanac 180 d, position within 100 km."""
    far = trace_on(road(), device="a", day=3).lon_deg + 3.0
    traces = [
        trace_on(road(), device="a", day=0),
        trace_on(road(), device="a", day=0, start_s=3 * 3600.0),
        trace_on(road(), device="a", day=1),
        trace_on(road(), device="a", day=3, lon_deg=far),
        trace_on(road(), device="a", day=400),
        trace_on(road(), device="b", day=1, start_state="cold"),
    ]
    assert [state for _, state in first_fix.start_states(traces)] == ["unknown", "hot", "warm", "cold", "cold", "cold"]
    hours = [h for h, _ in first_fix.start_states(traces)]
    assert np.isnan(hours[0])
    assert hours[1] == pytest.approx(3 - 400 / 3600)


def settling(offset_m, hold_s=30.0):
    trace = trace_on(shifted_left(road(), offset_m))
    return first_fix.settle_s(trace, np.asarray(offset_m), 15.0, Settings(settle_hold_s=hold_s))


def test_settling_is_the_first_time_the_trace_stays():
    offset = np.where(np.arange(401) < 20, 40.0, 2.0)
    assert settling(offset) == 20.0
    offset[35] = 30.0  # left again after 15 s: not settled yet
    assert settling(offset) == 36.0
    assert settling(np.zeros(401)) == 0.0
    assert np.isnan(settling(np.full(401, 40.0)))


def week(late_s, *, hot=True, days=4, **changes):
    """Return a week in which device "late" is fixed after `late_s` at 5 m/s; "hot" at once, where there is one."""
    rng = np.random.default_rng(1)
    traces = []
    for day in range(days):
        line = shifted_left(road(), smooth_noise(rng, 401, 1.0))
        start = {"started": MONDAY + np.timedelta64(day, "D"), "start_basis": "log"}
        if hot:
            traces.append(trace_on(line, device="hot", day=day, **start))
        cut = int(late_s)
        traces.append(trace_on(line[cut:], device="late", day=day, start_s=late_s, **(start | changes)))
    return analyse_traces(traces, Settings())


def test_the_distance_missed_is_counted_from_the_beginning_of_the_line():
    found = week(80)
    late = [r.first_fix for t, r in zip(found.traces, found.results, strict=True) if t.device == "late"]
    for fix in late:
        assert fix.seconds == 80.0
        assert fix.missed_m == pytest.approx(400.0, abs=10)
        assert fix.missed_share == pytest.approx(0.2, abs=0.01)
        assert not fix.missed_is_minimum


def test_where_nobody_starts_hot_the_distance_is_a_lower_bound():
    found = week(80, hot=False)
    assert all(r.first_fix.missed_is_minimum for r in found.results)
    assert all(r.first_fix.missed_m < 30 for r in found.results)


def test_the_logs_place_makes_it_certain():
    """Nobody starts hot. Who has a place in the log knows what was missed; who has none knows a lower bound."""
    rng, place, traces = np.random.default_rng(1), trace_on(road()), []
    logged = {"start_lat_deg": float(place.lat_deg[40]), "start_lon_deg": float(place.lon_deg[40])}
    for day in range(4):
        line = shifted_left(road(), smooth_noise(rng, 401, 1.0))
        start = {"started": MONDAY + np.timedelta64(day, "D"), "start_basis": "log"}
        traces.append(trace_on(line[20:], device="soon", day=day, start_s=20.0, **start))
        traces.append(trace_on(line[80:], device="late", day=day, start_s=80.0, **(start | logged)))
    found = analyse_traces(traces, Settings())
    by_device = {
        d: [r.first_fix for t, r in zip(found.traces, found.results, strict=True) if t.device == d]
        for d in ("soon", "late")
    }
    assert all(fix.missed_m == pytest.approx(200.0, abs=12) for fix in by_device["late"])
    assert not any(fix.missed_is_minimum for fix in by_device["late"])
    assert all(fix.missed_is_minimum for fix in by_device["soon"])


def test_a_recording_that_never_fixed_missed_the_route_of_its_ride():
    rng = np.random.default_rng(2)
    traces = [trace_on(shifted_left(road(), smooth_noise(rng, 401, 1.0)), device="a", day=day) for day in range(4)]
    nothing = trace_on(
        np.empty((0, 2)), device="b", day=2, points=0, started=MONDAY + np.timedelta64(2, "D"), start_basis="log",
        first_record=MONDAY + np.timedelta64(2, "D"), last_record=MONDAY + np.timedelta64(2, "D") + np.timedelta64(400, "s"),
    )  # fmt: skip
    found = analyse_traces([*traces, nothing], Settings())
    fix = found.results[-1].first_fix
    assert found.results[-1].status == "not scored"
    assert "never found a position" in found.results[-1].reason
    assert fix.missed_m == pytest.approx(2000, rel=0.02)
    assert (fix.missed_share, fix.missed_is_minimum) == (1.0, True)


def test_seconds_between_unknown_times_are_unknown():
    assert np.isnan(first_fix.seconds_between(NAT, MONDAY))

"""Each part of a time that is worked out, from numbers written by hand."""

from __future__ import annotations

import dataclasses
from types import SimpleNamespace

import numpy as np
import pytest
from trace_maker import MONDAY, trace_on

from gpsq.measures import estimates
from gpsq.measures.estimates import Estimate, Rest, _by_companion, _by_name, _by_road, _scatter_of_starts_s, _together
from gpsq.model import FirstFix
from gpsq.results import TraceResult
from gpsq.settings import Settings

INF, NAN = float("inf"), float("nan")
PLACES = np.column_stack([np.arange(0.0, 50.0, 5.0), np.zeros(10)])


def result(number, ride="R1", route="A", **more):
    fix = {k: more.pop(k) for k in list(more) if k in FirstFix.__dataclass_fields__}
    return TraceResult(number, ride, route, "scored", "", FirstFix("log", **fix), 1.0, 1.0, **more)


def route(name="A", members=(0,)):
    return SimpleNamespace(route=SimpleNamespace(name=name, members=members))


# --- the road missed --------------------------------------------------------------------------------------------------
MISSED = {"missed_m": 100.0, "missed_low_m": 80.0, "missed_high_m": 130.0}


def by_road(monkeypatch, *others, paces=(0.25, 0.2, 0.4, 0.25), **fix):
    monkeypatch.setattr(estimates, "_paces", lambda *_: np.array(paces))
    results = [result(0, **(MISSED | fix)), *others]
    return _by_road(0, Rest([trace_on(PLACES)] * len(results), results, [route("B"), route()]))


def test_the_road_missed_over_the_pace_and_its_bounds(monkeypatch):
    """100 m at 4 m/s and the gaining of speed: 25 s and 4/(2a), with 3 s from the button; what is not known adds in squares.

    Below: 20 m at .25 s, 100 m at .05 s, 3 s: √(25 + 25 + 9). Above: 30 m at .25 s, 100 m at .15 s, 7 s: √(56.25 + 225 + 49).
    """
    found = by_road(monkeypatch)
    value = 3.0 + 25.0 + 4.0 / (2 * estimates.from_rest_s.__globals__["GAIN_MPS2"])
    assert found == pytest.approx((value, value - np.sqrt(59.0), value + np.sqrt(330.25), found.basis))
    assert found.basis == "road"


def test_a_time_is_never_under_nought(monkeypatch):
    found = by_road(monkeypatch, missed_m=1.0, missed_low_m=-40.0, missed_high_m=2.0)
    assert (found.low_s, found.value_s > 3.0) == (0.0, True)


@pytest.mark.parametrize(("fix", "told"), [
    ({}, True), ({"missed_low_m": NAN}, False), ({"stood_s": 3.0, "missed_low_m": 0.0}, False),
    ({"stood_s": 2.9, "missed_low_m": 0.0}, True), ({"stood_s": 9.0, "missed_low_m": 0.1}, True),
])  # fmt: skip
def test_who_stands_at_the_start_has_missed_no_road(monkeypatch, fix, told):
    assert (by_road(monkeypatch, **fix) is not None) == told
    assert by_road(monkeypatch, paces=(), **fix) is None


@pytest.mark.parametrize(("stood_s", "low_m", "waits"), [(8.0, 0.0, True), (7.9, 0.0, False), (60.0, 0.1, False)])
def test_who_waits_once_may_wait_again(monkeypatch, stood_s, low_m, waits):
    found = by_road(monkeypatch, result(1, stood_s=stood_s, missed_low_m=low_m))
    assert (found.high_s == INF) == waits
    assert np.isfinite(found.low_s)


def test_a_recording_of_no_route_has_no_road(monkeypatch):
    monkeypatch.setattr(estimates, "_paces", lambda *_: np.array([0.25]))
    assert _by_road(0, Rest([trace_on(PLACES)], [result(0, route="", **MISSED)], [route()])) is None


def test_witnesses_are_other_rides_evenly_chosen_that_came_to_the_end():
    """Of one's own route they ride from the start, of others towards it; every third of 25 others is asked."""
    traces = [trace_on(PLACES, day=k) for k in range(26)]
    traces[3] = trace_on(PLACES, time=np.full(10, np.datetime64("NaT", "ms")))
    own, other = route(members=(0, 1, 2, 3)), route("B", members=(4, 5, 6))
    results = [result(k, f"R{k}") for k in range(26)]
    results[1] = result(1, "R0")
    results[5] = result(5, "R5", duplicate_of="x")
    results[6] = result(6, "R6", ended_early_m=300.0)
    assert Rest(traces, results, [own, other]).witnesses(0, "A") == [(2, False), (4, True)]
    assert Rest(traces, results, [other, own]).witnesses(4, "B") == [(0, True), (1, True), (2, True)]
    many = route("B", members=tuple(range(1, 26)))
    lone, everyone = route(members=(0,)), [result(k, f"R{k}") for k in range(26)]
    timed = [trace_on(PLACES, day=k) for k in range(26)]
    assert Rest(timed, everyone, [lone, many]).witnesses(0, "A") == [(k, True) for k in range(1, 26, 3)]
    dozen = route("B", members=tuple(range(1, 13)))
    assert len(Rest(timed, everyone, [lone, dozen]).witnesses(0, "A")) == 12
    assert Rest(timed, everyone, [lone]).witnesses(0, "A") == []


def test_each_ride_gives_its_pace_once(monkeypatch):
    """Three recordings of two other rides: 20 s for 80 m, and 30 s for 100 m; the second of a ride says no more."""
    found = route(members=(0, 1, 2, 3))
    found.route.plane = SimpleNamespace(to_metres=lambda lon, _: np.column_stack([lon, lon]))
    asked = []

    def passing_s(time, xy_m, way_m, *, towards_start):
        asked.append((len(time), len(xy_m), towards_start))
        return {1: (20.0, 80.0), 2: (99.0, 1.0), 3: (30.0, 100.0)}[len(asked)]

    monkeypatch.setattr(estimates.pace, "passing_s", passing_s)
    monkeypatch.setattr(estimates, "not_recorded_m", lambda *_: np.zeros((2, 2)))
    long = np.zeros((1500, 2))
    traces = [trace_on(PLACES), trace_on(long), trace_on(PLACES, day=1), trace_on(PLACES, day=2)]
    found.route.xy_m = tuple(np.column_stack([t.lon_deg, t.lat_deg]) for t in traces)
    results = [result(0), result(1, "R2"), result(2, "R2"), result(3, "R3")]
    assert estimates._paces(0, Rest(traces, results, [found]), found).tolist() == [0.25, 0.3]
    assert asked == [(1200, 1200, False), (10, 10, False), (10, 10, False)]
    monkeypatch.setattr(estimates, "not_recorded_m", lambda *_: np.zeros((1, 2)))  # no way: its own pace
    monkeypatch.setattr(estimates.pace, "own_pace_s_per_m", lambda *_: 0.2)
    assert estimates._paces(0, Rest(traces, results, [found]), found) == pytest.approx([0.16, 0.2, 0.3])


def test_who_rides_towards_the_start_is_looked_at_near_its_end(monkeypatch):
    own, other = route(members=(0,)), route("B", members=(1,))
    own.route.plane = SimpleNamespace(to_metres=lambda lon, _: np.column_stack([lon, lon]))
    own.route.xy_m = (PLACES,)
    monkeypatch.setattr(estimates, "not_recorded_m", lambda *_: np.zeros((2, 2)))
    seen = []
    monkeypatch.setattr(
        estimates.pace, "passing_s", lambda time, xy_m, way_m, *, towards_start: seen.append(time[0]) or (1.0, 2.0)
    )
    back = trace_on(np.zeros((1500, 2)))
    estimates._paces(0, Rest([trace_on(PLACES), back], [result(0), result(1, "R2")], [own, other]), own)
    assert seen == [back.time[300]]


def test_without_witnesses_the_own_pace_and_its_bounds():
    """5 m/s on its own first metres: .2 s a metre, four fifths of it at least and half again at most."""
    trace = trace_on(PLACES)
    found = SimpleNamespace(
        route=SimpleNamespace(name="A", members=(), plane=SimpleNamespace(to_metres=lambda *_: PLACES)), centreline=None
    )
    paces = estimates._paces(0, Rest([trace], [result(0)], [found]), found)
    assert paces == pytest.approx([0.16, 0.2, 0.3])
    stands = SimpleNamespace(
        route=SimpleNamespace(name="A", members=(), plane=SimpleNamespace(to_metres=lambda *_: PLACES * 0.0)),
        centreline=None,
    )
    assert len(estimates._paces(0, Rest([trace], [result(0)], [stands]), stands)) == 0


# --- a companion ------------------------------------------------------------------------------------------------------
def at(day, second):
    return MONDAY + np.timedelta64(day, "D") + np.timedelta64(int(second * 1000), "ms")


def started(day, second, device="a", **more):
    return trace_on(PLACES, day=day, device=device, start_basis="log", started=at(day, second), **more)


def test_how_far_apart_starts_lie_is_what_two_thirds_of_the_rides_keep():
    """Rides of two, two and three devices, 4, 10 and (median of 2, 6 and 8) 6 s apart: 68.27 % of three, the higher: 10."""
    seconds = [(0, (0, 4)), (1, (0, 10)), (2, (0, 2, 8)), (3, (0,))]
    traces = [started(day, -s) for day, own in seconds for s in own]
    results = [
        result(k, f"R{(t.time[0] - MONDAY) // np.timedelta64(1, 'D')}", seconds=9.0) for k, t in enumerate(traces)
    ]
    assert _scatter_of_starts_s(traces, results) == 10.0
    censored = [result(k, r.ride, censored=True) for k, r in enumerate(results)]
    assert _scatter_of_starts_s(traces, censored) == 10.0
    assert np.isnan(_scatter_of_starts_s(traces, [result(k, r.ride) for k, r in enumerate(results)]))
    copied = [result(k, r.ride, seconds=9.0, duplicate_of="x" if k == 1 else "") for k, r in enumerate(results)]
    assert np.isnan(_scatter_of_starts_s(traces, copied))  # two rides are left
    unknown = [trace_on(PLACES), *traces[1:]]
    assert np.isnan(_scatter_of_starts_s(unknown, results))


def companion(waited_s, scatter_s=5.0, *, bound_s=900.0, ride="R1", **more):
    """Return what companions say whose starts were so long before the first fix."""
    traces = [trace_on(PLACES, device="own"), *(started(0, -s, f"d{k}") for k, s in enumerate(waited_s))]
    results = [result(0, ride), *(result(k + 1, seconds=9.0, **more) for k in range(len(waited_s)))]
    rest = Rest(traces, results, ())
    rest.scatter_s = scatter_s
    return _by_companion(0, rest, Settings(start_bound_s=bound_s))


def test_a_companions_start_is_the_own_within_twice_the_scatter():
    assert companion([40.0]) == Estimate(40.0, 30.0, 50.0, "companion")
    assert companion([40.0, 50.0, 90.0]) == Estimate(50.0, 40.0, 60.0, "companion")
    assert companion([4.0]) == Estimate(4.0, 0.0, 14.0, "companion")
    assert companion([-4.0]) == Estimate(0.0, 0.0, 10.0, "companion")
    assert companion([40.0], scatter_s=0.3) == Estimate(40.0, 38.0, 42.0, "companion")  # a second at least
    assert companion([-10.0]) == Estimate(0.0, 0.0, 10.0, "companion")


def test_a_companion_that_was_started_at_another_time_says_nothing():
    assert companion([-11.0]) is None
    assert companion([900.0]) is not None
    assert companion([901.0]) is None
    assert companion([40.0], scatter_s=NAN) is None
    assert companion([40.0], ride="") is None
    assert companion([40.0], ride="R2") is None
    assert companion([40.0], duplicate_of="x") is None
    assert companion([]) is None


# --- names, and both together -----------------------------------------------------------------------------------------
def test_names_of_a_device_tell_the_middle_of_their_minute():
    """Three files called by the minute of 07:00 UTC two hours ahead, fixed 30, 70 and 45 s after the minute."""
    waits = (30, 70, 45)
    traces = [
        trace_on(PLACES, day=day, start_s=float(s), file=f"x/2025-06-0{2 + day}_09-00.gpx", device="a")
        for day, s in enumerate(waits)
    ]
    found = _by_name(traces, Settings())
    assert found == {
        0: Estimate(15.0, 0.0, 30.0, "file name"), 1: Estimate(40.5, 11.0, 70.0, "file name"),
        2: Estimate(22.5, 0.0, 45.0, "file name"),
    }  # fmt: skip
    others = [dataclasses.replace(trace, device="b", file=trace.file.replace("x/", "y/")) for trace in traces]
    assert _by_name([*traces, *others], Settings()) == found | {i + 3: found[i] for i in found}
    mixed = [*traces[:2], trace_on(PLACES, day=2, start_s=45.0, file="x/2025-06-04_09-00.gpx", device="b")]
    assert _by_name(mixed, Settings()) == {}
    for odd in ({"track": 2}, {"date_known": False}, {"clock_jumps_at_fix": True}, {"file": "x/morning.gpx"}):
        last = trace_on(PLACES, **({"day": 2, "start_s": 45.0, "file": "x/2025-06-04_09-00.gpx", "device": "a"} | odd))
        assert _by_name([*traces[:2], last], Settings()) == {}


@pytest.mark.parametrize(("name", "road", "said"), [
    (None, None, None), (Estimate(31, 1, 60, "file name"), None, Estimate(31, 1, 60, "file name")),
    (None, Estimate(25, 19, INF, "road"), Estimate(25, 19, INF, "road")),
    (Estimate(31, 1, 60, "file name"), Estimate(25, 19, 31, "road"), Estimate(25, 19, 31, "road")),
    (Estimate(50, 30, 70, "file name"), Estimate(25, 19, 40, "road"), Estimate(30, 30, 40, "road")),
    (Estimate(20, 0, 30, "file name"), Estimate(35, 25, 90, "road"), Estimate(30, 25, 30, "road")),
    (Estimate(20, 0, 25, "file name"), Estimate(35, 25, 90, "road"), Estimate(25, 25, 25, "road")),
    (Estimate(70, 41, 99, "file name"), Estimate(25, 19, 40, "road"), Estimate(70, 41, 99, "file name")),
])  # fmt: skip
def test_a_names_bounds_hold_and_the_road_is_finer(name, road, said):
    assert _together(name, road) == said


@pytest.mark.parametrize(("changes", "fix", "is_open"), [
    ({}, {}, True), ({"clock_jumps_at_fix": True}, {}, False), ({}, {"seconds": 5.0}, False), ({}, {"censored": True}, False),
    ({"time": np.full(10, np.datetime64("NaT", "ms"))}, {}, False), ({}, {"at_least_s": 40.0}, True),
])  # fmt: skip
def test_only_what_is_not_known_is_worked_out(changes, fix, is_open):
    assert estimates._is_open(trace_on(PLACES, **changes), FirstFix("none", **fix)) == is_open

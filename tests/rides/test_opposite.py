"""The ends of the opposite way, as a route is handed them."""

from __future__ import annotations

import numpy as np
import pytest
from trace_maker import HARBOUR, road, shifted_left, smooth_noise, trace_on

from gpsq.geometry import polyline
from gpsq.model import Route
from gpsq.pipeline.stages import analyse_traces
from gpsq.plane import Plane
from gpsq.rides.opposite import NEAR_M, STOPPED_EARLY_M, TAIL_M, tails_towards
from gpsq.settings import Settings


def routes_of(groups, plane=HARBOUR):
    traces = [t for group in groups for t in group]
    routes, first = [], 0
    for k, group in enumerate(groups):
        members = tuple(range(first, first + len(group)))
        places = tuple(plane.to_metres(t.lon_deg, t.lat_deg) for t in group)
        routes.append(Route("ABC"[k], plane, members, places))
        first += len(group)
    return routes, traces, [f"R{n}" for n in range(len(traces))]


def ways(plane=HARBOUR):
    out = [trace_on(road(), device=d, day=k, plane=plane) for k, d in enumerate("ab")]
    back = [trace_on(road()[::-1], device=d, day=k, start_s=9000, plane=plane) for k, d in enumerate("ab")]
    return out, back


@pytest.mark.parametrize("plane", [HARBOUR, Plane(180.0, -17.0), Plane(25.0, 89.95)])
def test_each_way_is_handed_the_ends_of_the_other(plane):
    routes, traces, rides = routes_of(ways(plane), plane)
    towards_out, towards_back = tails_towards(routes, traces, rides, {}, 60.0)
    assert [t.ride for t in towards_out] == ["R2", "R3"]
    assert [t.device for t in towards_back] == ["a", "b"]
    for tail in towards_out:
        assert np.hypot(*(tail.xy_m[-1] - road()[0])) < 0.1
        assert polyline.along_m(tail.xy_m)[-1] == pytest.approx(TAIL_M, abs=6.0)


def test_repeats_and_recordings_that_stopped_early_are_left_out():
    out, back = ways()
    back.append(trace_on(road()[::-1][: -int(2 * STOPPED_EARLY_M / 5)], device="c", start_s=9000))
    back.append(trace_on(road()[::-1], device="d", start_s=9000))
    routes, traces, rides = routes_of([out, back])
    towards_out, _ = tails_towards(routes, traces, rides, {5: "b/day1.gpx"}, 60.0)
    assert [t.device for t in towards_out] == ["a", "b"]


def test_a_silence_breaks_a_tail():
    out, back = ways()
    silent = trace_on(road()[::-1], device="s", start_s=9000)
    time = silent.time.copy()
    time[-31:] += np.timedelta64(300, "s")
    back = [trace_on(road()[::-1], device="s", start_s=9000, time=time), *back]
    routes, traces, rides = routes_of([out, back])
    towards_out, _ = tails_towards(routes, traces, rides, {}, 60.0)
    assert polyline.along_m(towards_out[0].xy_m)[-1] == pytest.approx(150.0, abs=1.0)


def test_a_route_that_ends_elsewhere_hands_over_nothing():
    out, _ = ways()
    away = [trace_on(t_xy + np.array([900.0, 900.0]), device="a") for t_xy in (road(), road())]
    routes, traces, rides = routes_of([out, away])
    assert tails_towards(routes, traces, rides, {}, 60.0) == [(), ()]


def unsettled_campaign(apart_m: float, days: int = 5):
    """Return rides out that begin 15 m off and settle within 100 m, and rides back on the road `apart_m` aside."""
    rng, traces = np.random.default_rng(3), []
    s = np.arange(401) * 5.0
    for day in range(days):
        out = shifted_left(road(), smooth_noise(rng, 401, 1.5) + 15.0 * np.exp(-s / 40.0))
        back = shifted_left(road(), apart_m + smooth_noise(rng, 401, 1.5))[::-1]
        traces += [trace_on(out, device="a", day=day), trace_on(back, device="a", day=day, start_s=36_000.0)]
    return analyse_traces(traces, Settings())


@pytest.mark.parametrize(("apart_m", "led"), [(5.0, True), (45.0, False)])
def test_the_head_is_led_on_one_street_and_not_from_the_next(apart_m, led):
    found = unsettled_campaign(apart_m)
    out = next(
        r for r in found.routes if found.traces[r.route.members[0]].time[0].astype("datetime64[h]").item().hour == 7
    )
    first = HARBOUR.to_metres(*out.route.plane.to_degrees(out.centreline.xy_m[:4]))
    off = np.abs(polyline.nearest_on_line(first, road(), np.zeros(4, np.int64), np.full(4, 40))[1])
    assert (off.max() < 4.0) == led
    assert (off.max() > 9.0) != led


def test_of_many_routes_the_same_are_found_as_by_comparing_every_two():
    rng, groups = np.random.default_rng(5), []
    short = road()[::40]
    for at in rng.uniform(-900.0, 900.0, (40, 2)):
        turned = short if rng.random() < 0.5 else short[::-1]
        groups.append([trace_on(turned + at, device=f"d{len(groups)}")])
    traces = [group[0] for group in groups]
    routes = [Route(str(k), HARBOUR, (k,), (short,)) for k in range(len(traces))]
    found = tails_towards(routes, traces, [str(k) for k in range(40)], {}, 60.0)
    places = [HARBOUR.to_metres(t.lon_deg, t.lat_deg) for t in traces]
    expected = [
        [traces[j].device for j in range(40) if j != k and np.hypot(*(places[k][0] - places[j][-1])) < NEAR_M]
        for k in range(40)
    ]
    assert [[tail.device for tail in tails] for tails in found] == expected
    assert 20 < sum(map(len, expected)) < 400

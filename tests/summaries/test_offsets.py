"""Offsets of the body and of the ground: planted ones are found, and told apart."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from offset_campaigns import campaign
from scipy.stats import ttest_ind

from gpsq.geometry import polyline
from gpsq.model import Centreline, Route
from gpsq.plane import Plane, to_earth_centred
from gpsq.results import RouteResult
from gpsq.settings import Settings
from gpsq.summaries.device_figures import summarise
from gpsq.summaries.devices import offsets
from gpsq.summaries.station_table import station_table

RIDES = 5


def bent_road(stations=300):
    along = np.arange(stations) * 5.0
    heading = 1.2 * np.sin(along / 200.0)
    return np.cumsum(np.column_stack([np.cos(heading), np.sin(heading)]) * 5.0, axis=0)


def both_ways(body_m, ground_m, seed=1, noise_m=0.3):
    """Two ways of one straight road with a device off by `body_m` to the left and `ground_m` to the left of the way out."""
    rng = np.random.default_rng(seed)
    out, back = (
        campaign(
            value + noise_m * rng.standard_normal((1, RIDES, 1)) + np.zeros((1, RIDES, 200)), route=route, first=first
        )
        for route, value, first in (("A", body_m + ground_m, 0), ("B", body_m - ground_m, RIDES))
    )
    line = back[2][0].centreline
    turned = replace(back[2][0], centreline=replace(line, xy_m=line.xy_m[::-1].copy()))
    return tuple(a + b for a, b in zip(out, (back[0], back[1], (turned,)), strict=True))


def test_body_and_ground_are_told_apart_and_nothing_is_pooled():
    found = summarise(*both_ways(1.0, 3.0), Settings())[0]
    assert found.route == ""
    assert np.isnan(found.figures["bias_m"].value)
    assert found.figures["offset_body_m"].value == pytest.approx(1.0, abs=0.3)
    assert found.figures["offset_ground_m"].value == pytest.approx(3.0, abs=0.3)
    held = [
        f.low <= truth <= f.high
        for seed in range(40)
        for s in summarise(*both_ways(1.0, 3.0, seed), Settings())[:1]
        for f, truth in ((s.figures["offset_body_m"], 1.0), (s.figures["offset_ground_m"], 3.0))
    ]
    assert np.mean(held) > 0.88  # 95 % of 80: under 71 would be one chance in two hundred


def test_a_road_ridden_one_way_has_no_such_offsets():
    traces, results, routes = both_ways(1.0, 3.0)
    alone = summarise(traces[:RIDES], results[:RIDES], routes[:1], Settings())[0].figures
    assert np.isnan([alone["offset_body_m"].value, alone["offset_ground_m"].value]).all()
    assert offsets.both_ways(routes) == {"A": "B"}
    assert offsets.both_ways((routes[0], replace(routes[0], route=replace(routes[0].route, name="C")))) == {}


def test_only_roads_that_can_meet_are_compared():
    """Boxes of lines are compared before lines are: one on the other side of the earth, one 30 m and one 150 m beside."""
    road = Plane(10.0, 50.0)
    places = np.column_stack([np.arange(0.0, 1000.0, 5.0), np.zeros(200)])
    beside = [road.to_degrees(places + np.array([0.0, away_m])) for away_m in (0.0, 30.0, 150.0)]
    lines = [to_earth_centred(*where) for where in [*beside, Plane(-170.0, -50.0).to_degrees(places)]]
    assert list(offsets._meeting(lines)) == [(0, 1)]
    assert list(offsets._meeting([])) == []


def test_a_shift_between_devices_is_found_on_a_road_that_turns():
    line = bent_road()
    normals = polyline.left_normals(line)
    rng = np.random.default_rng(3)
    shift = np.array([4.0, -2.0])
    rider = rng.standard_normal((RIDES, len(line)))
    own = 0.5 * rng.standard_normal((2, RIDES, len(line)))
    own[0] += normals @ shift
    traces, results, routes = campaign(rider + own)
    straight = routes[0].centreline
    unknown = np.full(len(line), np.nan)
    bent = Centreline(line, straight.along_m, straight.support, straight.rides, unknown, unknown)
    route = RouteResult(
        Route("A", Plane.centred_on(np.array([10.0]), np.array([50.0])), routes[0].route.members, routes[0].route.xy_m), bent,
        routes[0].rides,
    )  # fmt: skip
    (found,) = offsets.between_devices([(station_table(route, traces, results), bent)], 0.95)
    assert (found.first, found.second, found.rides) == ("device 1", "device 2", RIDES)
    assert (found.east_m.value, found.north_m.value) == pytest.approx((4.0, -2.0), abs=0.3)
    assert found.east_m.low < 4.0 < found.east_m.high


def test_on_a_straight_road_the_shift_along_it_cannot_be_told():
    traces, results, routes = campaign(np.random.default_rng(4).normal(size=(2, RIDES, 100)))
    assert offsets.between_devices([(station_table(routes[0], traces, results), routes[0].centreline)], 0.95) == ()


ROAD_M = np.column_stack([np.arange(0.0, 1000.0, 5.0), np.zeros(200)])


def beside(line, north_m):
    return line + np.array([0.0, north_m])


def named(*lines):
    """Return routes with these lines in metres, called A, B and so on."""
    plane, routes = Plane(10.0, 50.0), []
    for name, xy_m in zip("ABCD", lines, strict=False):
        count, unknown = np.ones(len(xy_m), int), np.full(len(xy_m), np.nan)
        line = Centreline(xy_m, polyline.along_m(xy_m), count, count, unknown, unknown)
        routes.append(RouteResult(Route(name, plane, (), ()), line, ()))
    return routes


def test_a_way_back_is_one_road_the_other_way():
    """Six tenths of the shorter of the two within 40 m, run the other way."""
    back = ROAD_M[::-1]
    assert offsets.both_ways(named(ROAD_M, beside(back, 39.5))) == {"A": "B"}
    assert offsets.both_ways(named(ROAD_M, beside(back, 40.5))) == {}
    for share, told in ((0.65, True), (0.55, False)):
        away = back + np.where(np.arange(200) < share * 200, 0.0, 300.0)[:, None] * [0.0, 1.0]
        assert bool(offsets.both_ways(named(ROAD_M, away))) == told
    assert offsets.both_ways(named(ROAD_M, back[:50])) == {"A": "B"}  # a part of it
    assert offsets.both_ways(named(ROAD_M, ROAD_M[:50])) == {}
    assert offsets.both_ways(named(ROAD_M[:2], back[-2:])) == {}  # two corners show no direction
    assert offsets.both_ways(named(ROAD_M[:3], back[-3:])) == {"A": "B"}


def test_each_road_is_paired_once_with_the_first_that_leads_back():
    back = ROAD_M[::-1]
    assert offsets.both_ways(named(ROAD_M, back, beside(back, 5.0))) == {"A": "B"}
    assert offsets.both_ways(named(ROAD_M, beside(ROAD_M, 5.0), back)) == {"A": "C"}
    assert offsets.both_ways(named(ROAD_M, beside(ROAD_M, 5.0), back, back)) == {"A": "C", "B": "D"}
    lineless = [replace(named(ROAD_M)[0], centreline=None), *named(ROAD_M, back)]
    assert offsets.both_ways(lineless) == {"A": "B"}


def rides_with(**biases):
    """Return results of routes A, B, …: one for each bias in metres."""
    _, results, _ = campaign(np.ones((1, sum(map(len, biases.values())), 4)))
    own = [(route, b) for route, values in biases.items() for b in values]
    return [
        replace(r, route=route, crosstrack=replace(r.crosstrack, bias_m=b))
        for r, (route, b) in zip(results, own, strict=True)
    ]


def test_body_and_ground_by_hand():
    """Out 3 and 5, back 1 and −3: means 4 and −1, body 1.5, ground 2.5; variances 2/2 and 8/2, Welch's degrees 25/17 = 1.47.

    The interval of the sum of means is that of the library's Welch test; half of it is that of either.
    """
    found = offsets.of_body_and_ground(rides_with(A=[3.0, 5.0], B=[1.0, -3.0]), {"A": "B"}, 0.95)
    bounds = ttest_ind([3.0, 5.0], [-1.0, 3.0], equal_var=False).confidence_interval(0.95)
    body, ground = found["offset_body_m"], found["offset_ground_m"]
    assert (body.value, body.low, body.high) == pytest.approx((1.5, bounds.low / 2, bounds.high / 2))
    bounds = ttest_ind([3.0, 5.0], [1.0, -3.0], equal_var=False).confidence_interval(0.95)
    assert (ground.value, ground.low, ground.high) == pytest.approx((2.5, bounds.low / 2, bounds.high / 2))


def test_the_road_with_most_rides_both_ways_leads():
    """A and B have four rides and one, C and D two each: at least two both ways."""
    biases = {"A": [9.0] * 4, "B": [9.0], "C": [3.0, 5.0], "D": [1.0, -3.0]}
    for pairs in ({"A": "B", "C": "D"}, {"C": "D", "A": "B"}, {"B": "A", "C": "D"}):
        assert offsets.of_body_and_ground(rides_with(**biases), pairs, 0.95)["offset_body_m"].value == 1.5
    one_way = offsets.of_body_and_ground(rides_with(A=[9.0] * 4), {"A": "B"}, 0.95)
    assert one_way == {"offset_body_m": offsets.NONE, "offset_ground_m": offsets.NONE}


def between(offset_m, drop=()):
    traces, results, routes = campaign(np.asarray(offset_m))
    results = tuple(replace(r, crosstrack=None) if r.trace in drop else r for r in results)
    line = replace(routes[0].centreline, xy_m=bent_road(np.shape(offset_m)[2]))
    route = replace(routes[0], centreline=line)
    return offsets.between_devices([(station_table(route, traces, results), line)], 0.95)


def test_devices_are_held_against_one_another_on_common_rides_only():
    """Exact shifts of 4 m east and 2 m south on each of four rides; on the fifth one device only was there."""
    offset_m = np.zeros((2, 5, 300))
    offset_m[0] = polyline.left_normals(bent_road()) @ [4.0, -2.0]
    (found,) = between(offset_m, drop=(4,))
    assert (found.rides, found.east_m.value, found.north_m.value) == (4, pytest.approx(4.0), pytest.approx(-2.0))
    assert len(between(offset_m, drop=(2, 3))) == 1  # three rides are enough
    assert between(offset_m, drop=(2, 3, 9)) == ()  # two are not


def test_a_shift_needs_ten_stations_and_a_road_that_turns():
    turning = np.column_stack([np.cos(np.linspace(0, 1, 12)), np.sin(np.linspace(0, 1, 12))])
    offset_m = turning @ [1.0, -3.0]
    for known, told in ((10, True), (9, False)):
        some = np.where(np.arange(12) < known, offset_m, np.nan)
        shift = offsets._shift(some, turning)
        assert (shift is not None) == told
        if shift is not None:
            assert shift == pytest.approx([1.0, -3.0])
    # two directions at an angle θ, as many of each: eigenvalues 1 ± cos θ; their ratio is .05 at cos θ = .95/1.05
    for cosine, told in ((0.90, True), (0.91, False)):
        pair = np.array([[1.0, 0.0], [cosine, np.sqrt(1 - cosine**2)]] * 6)
        assert (offsets._shift(pair @ [2.0, 1.0], pair) is not None) == told

"""Offsets of the body and of the ground: planted ones are found, and told apart."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from offset_campaigns import campaign

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

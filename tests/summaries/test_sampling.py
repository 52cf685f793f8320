"""Devices that record at different intervals are compared where the rarer one has fixes."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from offset_campaigns import STEP_M, campaign

from gpsq.settings import Settings
from gpsq.summaries import sampling
from gpsq.summaries.device_pairs import compare_pairs
from gpsq.summaries.own_error import error_variances
from gpsq.summaries.ranking import rank_by_repeatability
from gpsq.summaries.station_table import station_table

STATIONS, EVERY, RIDES = 600, 10, 8


def corner_cutter(devices=2):
    """Devices with the same error at their fixes; the last has one fix in ten stations and is 15 m off between."""
    rng = np.random.default_rng(1)
    offsets = rng.normal(0, 2.0, (devices, RIDES, STATIONS))
    at = np.arange(STATIONS) % EVERY == 0
    offsets[-1, :, ~at] += 15.0 * np.sign(rng.standard_normal((1, RIDES)))
    traces, results, routes = campaign(offsets)
    last = (devices - 1) * RIDES
    results = tuple(replace(r, interval_s=1.0 if r.trace < last else 10.0) for r in results)
    line = routes[0].centreline.xy_m
    places = tuple(line if i < last else line[at] for i in range(devices * RIDES))
    return traces, results, (replace(routes[0], route=replace(routes[0].route, xy_m=places)),)


def test_the_road_between_rare_fixes_does_not_count_against_a_device():
    traces, results, routes = corner_cutter()
    found = {c.measure: c for c in compare_pairs(traces, results, routes, Settings())}
    assert found["xte_p68_m"].difference.value == pytest.approx(1.0, abs=0.2)
    assert "where the one that records more rarely has fixes" in found["xte_p68_m"].left_out
    alike = tuple(replace(r, interval_s=1.0) for r in results)
    everywhere = {c.measure: c for c in compare_pairs(traces, alike, routes, Settings())}
    assert everywhere["xte_p68_m"].difference.value < 0.3
    assert not everywhere["xte_p68_m"].left_out


def test_ranks_keep_the_same_rule():
    traces, results, routes = corner_cutter()
    places = rank_by_repeatability(traces, results, routes, Settings())
    assert {(p.best, p.worst) for p in places} == {(1, 2)}
    thinned, everywhere = (
        {p.device: p for p in rank_by_repeatability(traces, r, routes, Settings())}
        for r in (results, tuple(replace(r, interval_s=1.0) for r in results))
    )
    sizes = [
        places["device 2"].repeatability_m / places["device 1"].repeatability_m for places in (thinned, everywhere)
    ]
    assert sizes[0] == pytest.approx(1.0, abs=0.2)
    assert sizes[1] > 1.8


def test_the_hat_keeps_the_same_rule():
    traces, results, routes = corner_cutter(3)
    alike = tuple(replace(r, interval_s=1.0) for r in results)
    thinned, everywhere = (
        {v.device: v.sd_m for v in error_variances(traces, r, routes, Settings()) if not v.route}
        for r in (results, alike)
    )
    assert thinned["device 3"] == pytest.approx(2.0, rel=0.25)
    assert (
        everywhere["device 3"] > 4.0
    )  # 15 m on nine stations of ten, half of it taken for a constant offset of a ride


def test_from_ten_seconds_on_a_quarter_more_rarely_is_another_measurement():
    assert sampling.slower(("a", "b"), {"a": 10.0, "b": 20.0}) == "b"
    assert sampling.slower(("a", "b"), {"a": 10.0, "b": 12.0}) == ""
    assert sampling.slower(("a", "b"), {"a": 4.0, "b": 9.0}) == ""
    assert sampling.slower(("a", "b"), {"a": 2.0, "b": 7.0}) == "b"


@pytest.mark.parametrize(
    ("seconds", "slow"),
    [
        ((1.0, 2.5), ""), ((1.0, 2.51), "b"), ((4.0, 10.0), ""), ((4.0, 10.01), "b"), ((8.0, 10.01), "b"), ((8.1, 10.1), ""),
        ((20.0, 8.0), "a"), ((5.0, 5.0), ""), ((np.nan, 9.0), ""),
    ],
)  # fmt: skip
def test_what_is_slower_on_both_sides_of_each_limit(seconds, slow):
    """Two and a half times as rarely; above ten seconds a quarter more is enough."""
    known = {name: s for name, s in zip("ab", seconds, strict=True) if np.isfinite(s)}
    assert sampling.slower(("a", "b"), known) == slow
    assert sampling.slower(("a", "b", "c"), known | {"d": 99.0}) == slow
    assert sampling.slower((), known) == ""


def test_a_ride_is_looked_at_where_the_slower_device_has_fixes_on_it():
    """Two rides of two devices; b's fixes lie at the first and third station of one ride, beside the last of the other."""
    traces, results, routes = campaign(np.ones((2, 2, 4)))
    line = routes[0].centreline.xy_m
    places = (line, line, line[[0, 2]] + np.array([1.0, 2.0]), line[[3, 3]] + np.array([9.0, 0.0]))
    route = replace(routes[0], route=replace(routes[0].route, xy_m=places))
    table = station_table(route, traces, results)
    keep = sampling.masked(table, route, "device 2").tolist()
    first, second = [True, False, True, False], [False, False, False, True]
    assert keep == [first, second, first, second]
    assert sampling.at_fixes(table, replace(route, centreline=None)) == {}
    empty = replace(route, route=replace(route.route, xy_m=(*places[:3], np.empty((0, 2)))))
    assert sampling.masked(table, empty, "device 2").tolist() == [first, [False] * 4] * 2


def test_the_usual_interval_is_the_median_over_recordings():
    traces, results, _ = campaign(np.ones((1, 3, 10)))
    timed = tuple(replace(r, interval_s=s) for r, s in zip(results, (1.0, 2.0, np.nan), strict=True))
    assert sampling.usual_intervals(traces, timed) == {"device 1": 1.5}
    copied = (timed[0], replace(timed[1], duplicate_of="x.gpx"), timed[2])
    assert sampling.usual_intervals(traces, copied) == {"device 1": 1.0}
    assert sampling.usual_intervals(traces, timed[2:]) == {}
    assert sampling.slower(("device 1", "nobody"), {"device 1": 1.5}) == ""
    assert STEP_M == 5.0

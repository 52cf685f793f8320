"""Alignment in order of travel, and the place abreast of each station."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from trace_maker import road, shifted_left

from gpsq.geometry.alignment import _strides, abreast, align, in_order
from gpsq.geometry.polyline import Steps, equal_steps

STEP_M = 5.0


def aligned(xy_m, line_m, runs=None, **options):
    steps = equal_steps(np.asarray(xy_m, float), runs or [(0, len(xy_m))], STEP_M)
    stations = align(steps.xy_m, steps.piece, line_m, step_m=STEP_M, cap_m=60.0)
    return steps, stations, abreast(steps, stations, line_m, **({"with_excursions": False} | options))


def brute_force(xy_m, line_m, cap_m, passing=0.02):
    """Textbook dynamic programme over the whole table: best total of 1 − (d / cap)² in order, passing over costs."""
    n, m = len(xy_m), len(line_m)
    gain = np.maximum(0.0, 1.0 - ((xy_m[:, None] - line_m[None]) ** 2).sum(axis=2) / cap_m**2)
    best = np.full((n, m), -np.inf)
    for i in range(n):
        for j in range(m):
            ways = [0.0] if i == 0 else [best[i - 1, k] - passing * max(0, j - k - 1) for k in range(j + 1)]
            best[i, j] = max(ways) + gain[i, j]
    return best[-1].max()


def worth(xy_m, line_m, stations, cap_m, passing=0.02):
    gain = np.maximum(0.0, 1.0 - ((xy_m - line_m[stations]) ** 2).sum(axis=1) / cap_m**2)
    return gain.sum() - passing * np.maximum(0, np.diff(stations) - 1).sum()


@given(st.integers(0, 10_000), st.integers(2, 14), st.integers(2, 14))
@settings(max_examples=150, deadline=None)
def test_the_path_is_the_best_one(seed, n, m):
    """Against a textbook dynamic programme; a cap that reaches everywhere keeps every place matched."""
    rng = np.random.default_rng(seed)
    xy, line = rng.uniform(0, 30, (n, 2)), rng.uniform(0, 30, (m, 2))
    stations = align(xy, np.zeros(n, dtype=np.int64), line, step_m=STEP_M, cap_m=60.0)
    assert (np.diff(stations) >= 0).all()
    assert worth(xy, line, stations, 60.0) == pytest.approx(brute_force(xy, line, 60.0), abs=1e-9)


def test_the_way_back_is_not_taken_for_the_way_out():
    """A street ridden out and back: order of travel tells the legs apart, nearness cannot."""
    out = road(1000.0)
    line = np.vstack([out, shifted_left(out, 3.0)[::-1]])
    _, stations, _ = aligned(shifted_left(line, 1.0), line)
    assert (np.diff(stations) >= 0).all()
    assert abs(stations[-1] - (len(line) - 1)) <= 1
    assert abs(stations[len(stations) // 2] - len(line) // 2) <= 2


def test_a_late_start_costs_nothing():
    line = road(1000.0)
    _, stations, place = aligned(line[100:], line)
    assert stations[0] == 100
    assert np.isnan(place.vertex[:99]).all()
    assert not np.isnan(place.vertex[101:]).any()


def test_long_lines_are_aligned_in_a_band():
    line = road(20_000.0)
    rng = np.random.default_rng(1)
    steps, stations, _ = aligned(line + rng.normal(0, 2.0, line.shape), line)
    assert (stations >= 0).all()
    # fix k lies at station k, give or take its noise of 2 m along the way: two stations of 5 m
    assert np.abs(stations - steps.vertex).max() <= 2.0


@pytest.mark.parametrize("length_m", [15_000.0, 60_000.0, 400_000.0])
def test_passes_that_refine_one_another_find_what_one_pass_over_everything_finds(length_m):
    """Two, three and four passes; the road winds within hundreds of metres, the trace leaves out its second fifth."""
    line = road(length_m)
    rng = np.random.default_rng(2)
    kept = np.concatenate([np.arange(len(line) // 5), np.arange(2 * len(line) // 5, len(line))])
    ridden = line[kept] + rng.normal(0, 2.0, (len(kept), 2))
    piece = (np.arange(len(kept)) >= len(line) // 5).astype(np.int64)
    stations = align(ridden, piece, line, step_m=STEP_M, cap_m=60.0)
    assert len(_strides(len(line))) == {15_000.0: 2, 60_000.0: 3, 400_000.0: 4}[length_m]
    assert np.abs(stations - kept).max() <= 3
    assert (np.diff(stations) >= 0).all()


def test_a_break_is_not_filled():
    line = road(1000.0)
    ridden = np.vstack([line[:80], line[120:]])
    _, _, place = aligned(ridden, line, runs=[(0, 80), (80, len(ridden))])
    assert np.isnan(place.vertex[82:118]).all()


def test_standing_still_weighs_as_one_place():
    line = road(500.0)
    rng = np.random.default_rng(2)
    waiting = line[50] + rng.normal(0, 1.0, (300, 2))
    _, _, place = aligned(np.vstack([line[:50], waiting, line[50:]]), line)
    assert np.hypot(*(place.xy_m[50] - line[50])) < 1.5
    assert not np.isnan(place.vertex).any()


def test_an_excursion_is_filled_only_when_asked_for():
    line = np.column_stack([np.arange(0.0, 1000.0, STEP_M), np.zeros(200)])
    away = np.vstack([line[:80], [[400.0, 150.0], [600.0, 150.0]], line[120:]])
    _, _, without = aligned(away, line)
    assert np.isnan(without.vertex[90:110]).all()
    _, _, filled = aligned(away, line, with_excursions=True)
    assert not np.isnan(filled.vertex).any()
    assert filled.xy_m[100, 1] == pytest.approx(150.0, abs=1.0)
    assert not filled.matched[100]


@pytest.mark.parametrize("seed", range(6))
def test_a_path_looked_for_near_an_earlier_one_is_the_path_looked_for_everywhere(seed):
    """The line has moved by twenty metres since, along and across; the trace leaves it for a while, and stands still."""
    rng = np.random.default_rng(seed)
    line = road(9_000.0)
    ridden = line + rng.normal(0, 3.0, line.shape)
    ridden[400:440] += 150.0
    ridden = np.insert(ridden, 900, ridden[900] + rng.normal(0, 1.0, (60, 2)), axis=0)
    piece = np.zeros(len(ridden), dtype=np.int64)
    before = in_order(ridden, piece, line + np.array([18.0, -9.0]), step_m=STEP_M, cap_m=60.0)
    everywhere = in_order(ridden, piece, line, step_m=STEP_M, cap_m=60.0)
    near = in_order(ridden, piece, line, step_m=STEP_M, cap_m=60.0, near=before)
    assert (near == everywhere).all()
    assert (before != everywhere).any()


@settings(max_examples=40, deadline=None)
@given(st.integers(1, 60), st.integers(0, 400))
def test_a_path_near_one_that_leads_beyond_the_line_stays_on_it(short, beyond):
    """The earlier path may be that along a longer line: no station behind the end is ever asked for."""
    line = np.column_stack([np.arange(60) * STEP_M, np.zeros(60)])
    near = np.arange(60) + beyond
    path = in_order(line, np.zeros(60, dtype=np.int64), line[:short], step_m=STEP_M, cap_m=60.0, near=near)
    assert path.min() >= 0
    assert path.max() < short


def test_of_two_paths_as_good_the_steady_one_is_taken():
    """Four places midway between stations: standing at one and then skipping is worth as much as going on in step."""
    line = np.column_stack([np.arange(6) * STEP_M, np.zeros(6)])
    between = np.column_stack([(np.arange(4) + 0.5) * STEP_M, np.zeros(4)])
    stations = align(between, np.zeros(4, dtype=np.int64), line, step_m=STEP_M, cap_m=60.0)
    assert np.diff(stations).tolist() == [1, 1, 1]


def test_of_many_fixes_at_one_station_the_middle_one_in_order_is_taken():
    """300 fixes at a light: with excursions asked for a trace keeps its own noise, without them their mean stands."""
    line = np.column_stack([np.arange(0.0, 500.0, STEP_M), np.zeros(100)])
    waiting = np.tile(line[50], (300, 1))
    steps = Steps(np.vstack([line[:50], waiting, line[51:]]), np.arange(399.0), np.zeros(399, dtype=np.int64))
    stations = np.concatenate([np.arange(50), np.full(300, 50), np.arange(51, 100)])
    assert abreast(steps, stations, line, with_excursions=True).vertex[50] == 200.0
    assert abreast(steps, stations, line, with_excursions=False).vertex[50] == pytest.approx(199.5)


def test_passing_over_stations_costs_nothing_where_the_trace_is_broken():
    """One place 45 m beside station 60, after a ride to station 20: worth 1 − (45/60)² = .4375, and 39 stations passed by.

    Unbroken, at .02 each, those cost .78: the place is on an excursion. Behind a break nobody knows where the trace ran.
    """
    line = np.column_stack([np.arange(100) * STEP_M, np.zeros(100)])
    ridden = np.vstack([line[:21], [[60 * STEP_M, 45.0]]])
    for piece, station in ((np.zeros(22, dtype=np.int64), -1), (np.append(np.zeros(21, dtype=np.int64), 1), 60)):
        stations = align(ridden, piece, line, step_m=STEP_M, cap_m=60.0)
        assert stations[:21].tolist() == list(range(21))
        assert stations[21] == station

"""Repeatability: known answers, the noise of the others' middle, and that one fault hardly moves it."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from offset_campaigns import Truth, campaign, left_out_offsets, positions

from gpsq.settings import Settings
from gpsq.statistics import intervals
from gpsq.summaries.device_figures import summarise
from gpsq.summaries.devices import repeatability
from gpsq.summaries.station_table import on_common_line, station_table


@given(st.integers(2, 9), st.integers(0, 1000), st.booleans())
def test_each_ride_is_held_against_the_middle_of_the_others(rides, seed, gaps):
    rng = np.random.default_rng(seed)
    rows = rng.normal(size=(rides, 12))
    if gaps:
        rows[rng.uniform(size=rows.shape) < 0.3] = np.nan
    found = repeatability.from_others(rows)
    for i in range(rides):
        for s in range(12):
            others = np.delete(rows[:, s], i)
            others = others[np.isfinite(others)]
            if np.isnan(rows[i, s]) or not len(others):
                assert np.isnan(found[i, s])
            else:
                loss = repeatability.MEDIAN_LOSS[len(others) - 1] / len(others)
                assert found[i, s] == pytest.approx((rows[i, s] - np.median(others)) / np.sqrt(1 + loss))


def test_the_noise_of_a_median_is_what_the_table_says():
    rng = np.random.default_rng(1)
    drawn = rng.standard_normal((60_000, 10))
    for k, loss in enumerate(repeatability.MEDIAN_LOSS, 1):
        assert k * np.median(drawn[:, :k], axis=1).var() == pytest.approx(loss, rel=0.03)


def test_an_offset_shared_by_all_rides_is_no_part_of_repeatability():
    rng = np.random.default_rng(5)
    truth = Truth((2.0, 2.0, 2.0), (0.0, 0.0, 6.0))
    got = [_repeatability(truth, 5, rng) for _ in range(30)]
    assert np.median(got, axis=0) == pytest.approx(truth.repeatability_m, rel=0.1)


@pytest.mark.parametrize("rides", [3, 5, 10])
def test_repeatability_is_found_within_ten_per_cent(rides):
    rng = np.random.default_rng(rides)
    truth = Truth((1.5, 3.0, 6.0), (0.5, -1.0, 1.0))
    got = [_one_sd(truth, rides, rng) for _ in range(40)]
    assert np.median(got, axis=0) == pytest.approx(truth.repeatability_m, rel=0.1)


def _one_sd(truth: Truth, rides: int, rng: np.random.Generator) -> list[float]:
    """Return each device's figure without its interval, for which rides would be left out in turn."""
    traces, results, routes = campaign(left_out_offsets(positions(truth, rides, rng)))
    table = station_table(routes[0], traces, results)
    common = on_common_line(table)
    own = [repeatability.from_others(common[table.of(d)]) for d in sorted(set(table.device))]
    return [repeatability.one_sd([np.abs(rows[np.isfinite(rows)])]) for rows in own]


def _repeatability(truth: Truth, rides: int, rng: np.random.Generator) -> list[float]:
    parts = campaign(left_out_offsets(positions(truth, rides, rng)))
    return [s.figures["repeatability_m"].value for s in summarise(*parts, Settings()) if s.route == "A"]


def test_a_normal_error_gives_its_standard_deviation_whatever_the_number_of_rides():
    rng = np.random.default_rng(2)
    for rides in (2, 3, 4, 7, 20):
        found = repeatability.figure([3.0 * rng.standard_normal((rides, 4000))])
        assert found.value == pytest.approx(3.0, rel=0.05)


def test_one_fault_hardly_moves_it():
    rng = np.random.default_rng(8)
    true = positions(Truth((2.0, 2.0), (0.0, 0.0), rider_m=0.5), 6, rng)
    before = summarise(*campaign(left_out_offsets(true)), Settings())[0].figures["repeatability_m"]
    true[:, 0, 100:140] += 120.0
    after = summarise(*campaign(left_out_offsets(true)), Settings())[0].figures["repeatability_m"]
    assert before.value == pytest.approx(2.06, rel=0.15)
    assert after.value == pytest.approx(before.value, rel=0.15)
    assert np.isfinite([after.low, after.high]).all()


def test_interval_stands_only_from_three_rides_on():
    rng = np.random.default_rng(2)
    offsets = left_out_offsets(positions(Truth((2.0, 3.0), (0.0, 0.0)), 3, rng))
    offsets[1, 2] = np.nan
    traces, results, routes = campaign(np.where(np.isnan(offsets), 1.0, offsets))
    results = (*results[:5], replace(results[5], crosstrack=None, status="not scored", reason="no fix"))
    figures = {s.device: s.figures["repeatability_m"] for s in summarise(traces, results, routes, Settings())}
    assert figures["device 1"].low < figures["device 1"].value < figures["device 1"].high
    assert np.isnan(figures["device 2"].low)
    assert "at least 3" in figures["device 2"].method


def test_the_middle_of_more_than_ten_has_the_noise_of_a_large_median():
    assert repeatability._loss(np.array([0, 1, 2, 3, 10, 11, 40])) == pytest.approx(
        [1.0, 1.0, 0.5, 1.346 / 3, 0.1383, np.pi / 22, np.pi / 80]
    )


def test_rides_of_all_routes_are_left_out_in_turn():
    """Two routes of four and three rides, and one of a ride alone, which has no distance from others and is none of the seven."""
    rng = np.random.default_rng(9)
    routes = [rng.normal(0, 2, (4, 40)), rng.normal(0, 3, (3, 30)), rng.normal(0, 9, (1, 20))]
    routes[0][3, 20:] = np.nan

    def one_sd(rows):
        sizes = np.concatenate([np.abs(repeatability.from_others(r)).ravel() for r in rows if len(r) > 1])
        sizes = np.sort(sizes[np.isfinite(sizes)])
        return sizes[int(0.6827 * (len(sizes) - 1))]

    without = [one_sd([np.delete(routes[0], k, axis=0), routes[1]]) for k in range(4)]
    without += [one_sd([routes[0], np.delete(routes[1], k, axis=0)]) for k in range(3)]
    found, wanted = repeatability.figure(routes), intervals.log_jackknife(one_sd(routes[:2]), np.array(without))
    assert (found.value, found.low, found.high) == pytest.approx((wanted.value, wanted.low, wanted.high))
    assert found.method == wanted.method
    assert repeatability.figure(routes[2:]).method == "none: fewer than 2 scored rides on any route"
    apart = np.full((2, 4), np.nan)
    apart[0, :2], apart[1, 2:] = 1.0, 2.0  # two rides that share no station
    assert repeatability.figure([apart]).method == "none: fewer than 2 scored rides on any route"


def test_of_many_rides_forty_blocks_are_left_out():
    assert repeatability.figure([np.random.default_rng(2).normal(size=(95, 3))]).method.startswith(
        "jackknife over 40 rides"
    )
    assert repeatability.figure([np.random.default_rng(2).normal(size=(39, 3))]).method.startswith(
        "jackknife over 39 rides"
    )


@given(st.integers(0, 2**32), st.integers(1, 5), st.integers(0, 60), st.sampled_from([1.0, 1.02, 3.0]))
def test_with_one_routes_sizes_replaced_it_is_that_of_all_of_them(seed, routes, count, times):
    """Against numpy's sorting of everything; near the middle there may be many sizes, few or none, and many alike."""
    rng = np.random.default_rng(seed)
    sizes = [np.abs(rng.normal(size=rng.integers(1, 60))) for _ in range(routes)]
    sizes = [own.round(1) if seed % 2 else own for own in sizes]
    other, route = np.abs(rng.normal(size=count)) * times, int(rng.integers(routes))
    everything = np.sort(np.concatenate([*sizes[:route], other, *sizes[route + 1 :]]))
    found = repeatability.Pooled(sizes).with_other(route, other)
    if not len(everything):
        assert np.isnan(found)
    else:
        assert found == everything[int(0.6827 * (len(everything) - 1))]

"""Devices compared on the same rides: campaigns with a known answer, failures that count, and what is said."""

from __future__ import annotations

import dataclasses
from dataclasses import replace

import numpy as np
import pytest
from offset_campaigns import Truth, campaign, left_out_offsets, positions, waits, with_fix
from scipy.stats import nct, norm, t

from gpsq.results import DevicesApart
from gpsq.settings import Settings
from gpsq.statistics import paired
from gpsq.summaries import device_pairs
from gpsq.summaries.device_pairs import _first_fix_pairs, compare_pairs
from gpsq.summaries.pair_verdicts import with_verdict
from gpsq.summary_types import Interval, PairedComparison


def _campaign(truth: Truth, rides: int, seed: int):
    rng = np.random.default_rng(seed)
    return campaign(left_out_offsets(positions(truth, rides, rng)), waits(truth, rides, rng))


TRUTH = Truth((2.0, 2.0, 5.0), (0.0, 0.0, 0.0), ttff_median_s=(10.0, 10.0, 90.0), ttff_log_sd=0.3)


def compared(parts, measure, first="device 1", second="device 2"):
    found = compare_pairs(*parts, Settings())
    return next(c for c in found if (c.measure, c.first, c.second) == (measure, first, second))


def test_a_worse_device_is_named_and_an_equal_one_is_not():
    parts = _campaign(TRUTH, 10, 1)
    slower = compared(parts, "ttff_s", "device 1", "device 3")
    assert (slower.test, slower.shown) == (paired.SIGN_TEST, True)
    assert slower.difference.high < 0
    assert slower.verdict.startswith("device 1 fixes sooner than device 3: in the median -")
    rougher = compared(parts, "xte_p68_m", "device 2", "device 3")
    assert rougher.is_ratio
    assert rougher.difference.high < 1
    assert rougher.verdict.startswith("device 2 errs less than device 3: ratio 0.")
    spread = compared(parts, "repeatability_m", "device 2", "device 3")
    assert spread.verdict.startswith("device 2 scatters less than device 3: ratio 0.")
    assert spread.difference.value == pytest.approx(np.hypot(2, 1) / np.hypot(5, 1), rel=0.2)
    equal = compared(parts, "xte_p68_m")
    assert not equal.shown
    assert equal.verdict.startswith("device 1 and device 2 cannot be told apart in cross-track error: ratio ")
    assert "a true ratio under 1." in equal.verdict
    assert "more rides" not in equal.verdict


def test_a_ride_on_which_one_device_never_fixed_counts_against_it():
    traces, results, routes = _campaign(
        Truth((2.0, 2.0), (0.0, 0.0), ttff_median_s=(10.0, 90.0), ttff_log_sd=0.2), 8, 3
    )
    before = compared((traces, results, routes), "ttff_s")
    assert before.shown
    never = tuple(
        dataclasses.replace(with_fix(r, seconds=np.nan, censored=True, at_least_s=900.0), route="")
        if r.trace < 2
        else r
        for r in results
    )  # what never fixed has no route
    after = compared((traces, never, routes), "ttff_s")
    assert (after.rides, after.p) == (8, pytest.approx(2 * (1 + 8 + 28) / 2**8))
    assert not after.shown
    assert after.difference.high == np.inf
    assert "(95 % interval over -" in after.verdict
    both = tuple(
        with_fix(r, seconds=np.nan, censored=True, at_least_s=900.0) if r.trace in (0, 8) else r for r in results
    )
    tied = compared((traces, both, routes), "ttff_s")
    assert (tied.rides, tied.p) == (8, pytest.approx(2 / 2**7))  # neither fixed: that ride says nothing


def test_times_from_different_start_states_are_not_compared_and_counted():
    traces, results, routes = _campaign(TRUTH, 8, 2)
    states = {0: "hot", 1: "cold", 2: "hot"}
    results = tuple(with_fix(r, start_state=states[i // 8]) for i, r in enumerate(results))
    refused = compared((traces, results, routes), "ttff_s")
    assert refused.rides == 0
    assert "8 with different start states" in refused.left_out
    assert refused.verdict.startswith("nothing can be said of time to first fix")
    assert compared((traces, results, routes), "ttff_s", "device 1", "device 3").rides == 8
    assert compared((traces, results, routes), "xte_p68_m").rides == 8


def test_unknown_times_and_states_are_said():
    traces, results, routes = _campaign(TRUTH, 7, 3)
    results = (with_fix(results[0], seconds=np.nan), *results[1:])
    found = compared((traces, results, routes), "ttff_s")
    assert found.rides == 6
    assert "1 where a start is unknown" in found.left_out
    assert "start states are unknown" in found.left_out
    assert found.left_out in found.verdict


def test_road_missed_is_compared_as_time_is_and_two_bounds_from_one_place_too():
    traces, results, routes = _campaign(TRUTH, 8, 4)
    least = tuple(with_fix(r, missed_m=100.0 + 50 * (r.trace >= 8) + r.trace, missed_is_minimum=True) for r in results)
    found = compared((traces, least, routes), "missed_m")
    assert found.difference.value == -58.0
    assert found.verdict.startswith("device 1 misses less road than device 2")
    mixed = tuple(with_fix(r, missed_is_minimum=r.trace != 0) for r in least)
    assert compared((traces, mixed, routes), "missed_m").rides == 7


def test_what_one_device_alone_missed_is_beyond_all_numbers_and_what_neither_found_is_no_difference():
    """Road missed on eight rides: on two the first alone never fixed, on three the second alone, on one neither."""
    traces, results, _ = _campaign(TRUTH, 8, 4)
    never = {0, 1, 2, 8 + 2, 8 + 3, 8 + 4, 8 + 5}  # numbers of device 1, and 8 on of device 2
    results = tuple(
        with_fix(r, missed_m=np.nan, censored=True) if r.trace in never else with_fix(r, missed_m=100.0 - r.trace)
        for r in results
    )
    found = next(p for p in _first_fix_pairs(traces, results, "missed_m") if p.second == "device 2")
    assert found.values.tolist() == [np.inf, np.inf, 0.0, -np.inf, -np.inf, -np.inf, 8.0, 8.0]
    assert found.left_out == "some start states are unknown, so hot and cold starts may be compared"


def test_all_that_is_left_out_is_said_in_one_line():
    """One ride with a hot and a cold start, one whose start is unknown, and states that nobody knows."""
    traces, results, routes = _campaign(TRUTH, 8, 4)
    changes = {0: {"start_state": "hot"}, 9: {"seconds": np.nan}}
    results = tuple(with_fix(r, **changes.get(r.trace, {})) for r in results)
    assert compared((traces, results, routes), "ttff_s").left_out == (
        "rides left out: 1 with different start states, 1 where a start is unknown; "
        "some start states are unknown, so hot and cold starts may be compared"
    )
    known = tuple(with_fix(r, start_state="warm") for r in results)
    assert compared((traces, known, routes), "ttff_s").left_out == "rides left out: 1 where a start is unknown"
    bound = tuple(with_fix(r, missed_m=9.0, missed_is_minimum=r.trace == 3) for r in known)
    assert compared((traces, bound, routes), "missed_m").left_out == (
        "rides left out: 1 where the road missed is unknown of one, or bounded below only"
    )


def test_a_copy_and_a_recording_without_a_ride_are_no_rides():
    traces, results, routes = _campaign(TRUTH, 8, 4)
    odd = {2: {"duplicate_of": "else.gpx"}, 3: {"ride": ""}, 8 + 3: {"ride": ""}}
    results = tuple(replace(r, **odd.get(r.trace, {})) for r in results)
    assert compared((traces, results, routes), "ttff_s").rides == 6
    assert compared((traces, results, routes), "ttff_s", "device 2", "device 3").rides == 7


def test_devices_that_shared_no_ride_hide_no_others():
    """The first of three rode on other days: the second and the third are compared all the same."""
    traces, results, routes = _campaign(TRUTH, 8, 4)
    results = tuple(replace(r, ride=f"alone {r.trace}") if r.trace < 8 else r for r in results)
    found = {(c.measure, c.first, c.second) for c in compare_pairs(traces, results, routes, Settings())}
    assert found == {(m, "device 2", "device 3") for m in ("ttff_s", "xte_p68_m", "repeatability_m")}


def test_one_shared_ride_says_nothing():
    traces, results, routes = campaign(np.ones((2, 1, 40)), np.array([[3.0], [9.0]]))
    found = compare_pairs(traces, results, routes, Settings())
    assert found
    assert all(np.isnan(c.p) and not c.shown and c.verdict for c in found)


def test_one_fault_hardly_moves_the_ratio():
    rng = np.random.default_rng(8)
    offsets = left_out_offsets(positions(Truth((2.0, 2.0), (0.0, 0.0)), 8, rng))
    before = compared(campaign(offsets), "xte_p68_m").difference
    offsets[1, 2, 100:140] += 130.0
    after = compared(campaign(offsets), "xte_p68_m").difference
    assert after.value == pytest.approx(before.value, rel=0.05)


def test_devices_that_lie_apart_are_not_compared_in_their_distance_from_the_line():
    traces, results, routes = _campaign(TRUTH, 8, 5)
    apart = (replace(routes[0], apart=(DevicesApart("device 2", "device 1", 14.2, 2.0, 3.0),)),)
    found = compared((traces, results, apart), "xte_p68_m")
    assert found.verdict == (
        "device 1 and device 2 are not compared in cross-track error: they lie 14 m apart, and which is right cannot be "
        "known without a surveyed line"
    )
    assert (np.isnan(found.p), np.isnan(found.difference.value), found.test, found.shown) == (True, True, "none", False)
    assert compared((traces, results, apart), "xte_p68_m", "device 1", "device 3").p > 0
    assert compared((traces, results, apart), "repeatability_m").p > 0  # about their own middles they still are


def test_a_ride_alone_on_its_way_is_no_ride_of_repeatability_and_is_told():
    out = campaign(np.random.default_rng(1).normal(size=(2, 5, 60)))
    lone = campaign(np.random.default_rng(2).normal(size=(2, 1, 60)), route="B", first=10)
    parts = tuple(a + b for a, b in zip(out, lone, strict=True))
    found = compared(parts, "repeatability_m")
    assert (found.rides, found.left_out) == (5, "rides left out: 1 alone on a way")
    assert compared(parts, "xte_p68_m").rides == 6


def test_rides_with_little_road_in_common_are_counted_as_left_out():
    offsets = np.random.default_rng(3).normal(size=(2, 6, 60))
    offsets[0, 1, 15:] = np.nan  # 15 stations in common: too few for a ratio of this ride
    offsets[0, 2, 30:], offsets[1, 2, :30] = np.nan, np.nan  # none in common
    parts = campaign(offsets)
    errors, repeated = compared(parts, "xte_p68_m"), compared(parts, "repeatability_m")
    assert (errors.rides, errors.left_out) == (4, "rides left out: 2 with little road in common")
    assert (repeated.rides, repeated.left_out) == (5, "rides left out: 1 with little road in common")


def test_what_is_likely_to_be_missed_is_that_of_the_test_and_its_rides():
    """Ties say nothing to a sign test: of ten rides with four of them it is one of six, which needs six of one sign.

    The smallest shift z with Φ(z)⁶ = 0.8 is 1.793 standard deviations; differences ±1 have a robust one of 1.4826.
    """
    times = np.array([[6.0, 4, 6, 4, 6, 4, 5, 5, 5, 5], [5.0] * 10])
    found = compared(campaign(np.ones((2, 10, 40)), times), "ttff_s")
    scatter = 1.4826 * np.median(np.abs(times[0] - times[1]))
    assert scatter > 0
    assert found.detectable == pytest.approx(scatter * norm.ppf(0.8 ** (1 / 6)), rel=1e-6)


BASE = PairedComparison(
    "ttff_s", "A", "B", 9, Interval(6.0, 2.0, 10.0), False, 0.01, 0.02, "exact sign test", 5.0, "", False, ""
)


@pytest.mark.parametrize(
    ("changes", "begins", "shown"),
    [
        ({}, "A fixes later than B: in the median 6.0 s (95 % interval 2.0 to 10.0 s, exact sign test, p = 0.010", True),
        ({"difference": Interval(-6.0, -10.0, -2.0)}, "A fixes sooner than B: in the median -6.0 s", True),
        ({"difference": Interval(6.0, -2.0, 10.0), "p": 0.2}, "A and B cannot be told apart in time to first fix", False),
        ({"p_adjusted": 0.2}, "A fixes later than B", False),
        ({"difference": Interval(6.0)}, "A and B share too few rides to be told apart in time to first fix", False),
        ({"p": 0.0004}, "A fixes later than B: in the median 6.0 s (95 % interval 2.0 to 10.0 s, exact sign test, p < 0.001", True),
        ({"rides": 1}, "nothing can be said of time to first fix: A and B share 1 usable ride", False),
        ({"difference": Interval(np.nan, 2.0, np.inf)}, "A fixes later than B", True),
        ({"measure": "missed_m"}, "A misses more road than B: in the median 6.0 m", True),
        (
            {"measure": "xte_p68_m", "is_ratio": True, "difference": Interval(1.5, 1.2, 1.9)},
            "A errs more than B: ratio 1.50 (95 % interval 1.20 to 1.90, ", True,
        ),
        (
            {"measure": "repeatability_m", "is_ratio": True, "difference": Interval(0.5, 0.4, 0.6)},
            "A scatters less than B: ratio 0.50", True,
        ),
        (
            {"measure": "xte_p68_m", "is_ratio": True, "difference": Interval(1.1, 0.9, 1.4), "p": 0.3, "detectable": 1.4},
            "A and B cannot be told apart in cross-track error: ratio 1.10", False,
        ),
    ],
)  # fmt: skip
def test_every_form_of_the_verdict(changes, begins, shown):
    found = with_verdict(replace(BASE, **changes), Settings(), 4)
    assert found.verdict.startswith(begins)
    assert found.shown is shown
    assert ("may be chance" in found.verdict) == (changes.get("p_adjusted", 0) > 0.05)
    assert "p = 0.000" not in found.verdict
    if "cannot be told apart" in begins:
        assert "is likely to be missed with so many rides" in found.verdict


@pytest.mark.parametrize(("rides", "effect"), [(8, 1.19), (6, 1.4352)])
def test_what_ratio_is_likely_to_be_missed(rides, effect):
    """Student's test of six finds 1.4352 standard deviations with 80 % power (noncentral t of the library), flips of eight 1.19."""
    bound = t.ppf(0.975, 5)
    assert nct.sf(bound, 5, 1.4352 * np.sqrt(6)) == pytest.approx(0.8, abs=1e-3)
    rng = np.random.default_rng(rides)
    offsets = left_out_offsets(positions(Truth((2.0, 3.0), (0.0, 0.0)), rides, rng))
    sizes = np.quantile(np.abs(offsets), 0.6827, axis=2)
    logs = np.log(sizes[0] / sizes[1])
    found = compared(campaign(offsets), "xte_p68_m")
    assert found.difference.value == pytest.approx(np.exp(logs.mean()))
    assert found.detectable == pytest.approx(np.exp(logs.std(ddof=1) * effect), rel=1e-3)


def test_the_level_is_said_as_it_was_set():
    found = with_verdict(replace(BASE, p=0.08), replace(Settings(), confidence=0.9), 4)
    assert found.verdict.startswith("A fixes later than B: in the median 6.0 s (90 % interval 2.0 to 10.0 s")


def test_only_comparisons_that_were_made_count_among_those_of_which_one_may_be_chance(monkeypatch):
    """Two of the devices lie apart, so that of nine comparisons one is withheld."""
    traces, results, routes = _campaign(TRUTH, 8, 5)
    apart = (replace(routes[0], apart=(DevicesApart("device 2", "device 1", 14.2, 2.0, 3.0),)),)
    asked = []
    monkeypatch.setattr(device_pairs, "with_verdict", lambda c, _settings, count, _why: asked.append(count) or c)
    found = compare_pairs(traces, results, apart, Settings())
    made = sum(np.isfinite(c.p) for c in found)
    assert 0 < made < len(found)
    assert set(asked) == {made}

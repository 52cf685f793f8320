"""Devices compared on the same rides: against published values and against campaigns with a known answer."""

from __future__ import annotations

import numpy as np
import pytest
from offset_campaigns import Truth, campaign, left_out_offsets, positions, waits, with_fix
from scipy.stats import bootstrap, permutation_test

from gpsq.settings import Settings
from gpsq.statistics import intervals
from gpsq.statistics.power import detectable_difference, rides_needed
from gpsq.summaries.device_pairs import compare_pairs, difference_p
from gpsq.summaries.own_error import error_variances, hat

# Survival of 16 mice in days: Efron & Tibshirani 1993, An Introduction to the Bootstrap, table 2.1, p. 11.
TREATMENT = np.array([94.0, 197, 16, 38, 99, 141, 23])
CONTROL = np.array([52.0, 104, 146, 10, 51, 30, 40, 27, 46])


def _difference_of_means(a, b, axis=-1):
    return a.mean(axis=axis) - b.mean(axis=axis)


def test_permutation_test_of_the_library_on_the_mouse_data():
    # All 11,440 divisions, of which 1,613 give a difference at least as large: one-sided p 0.14100
    # (the book, by 1,000 draws: 0.132).
    found = permutation_test(
        (TREATMENT, CONTROL), _difference_of_means, alternative="greater", n_resamples=20_000, vectorized=True
    )
    assert found.pvalue == pytest.approx(1613 / 11440, abs=1e-9)


def test_bootstrap_of_the_library_on_the_mouse_data():
    # Plug-in limit of the standard error of the difference 26.91; the book, with 1,400 draws: 26.85.
    found = bootstrap(
        (TREATMENT, CONTROL), _difference_of_means, n_resamples=20_000, vectorized=True, method="percentile",
        rng=np.random.default_rng(7),
    )  # fmt: skip
    assert found.standard_error == pytest.approx(26.91, abs=0.5)


# Differences in height of 15 pairs of cross- and self-fertilised maize plants, eighths of an inch: Darwin 1876, as
# analysed by Fisher 1935, The Design of Experiments, section 21: of the 32,768 sign changes 1,726 give a sum as far
# from nought as 314, both directions together, p = 0.0527 (figures from memory, recomputed here by counting).
MAIZE = np.array([49.0, -67, 8, 16, 6, 23, 28, 41, 14, 29, 56, 24, 75, 60, -48])


def test_sign_flips_on_darwins_maize_are_fishers():
    flips = (np.arange(2**15)[:, None] >> np.arange(15)) & 1
    sums = (1 - 2 * flips) @ MAIZE
    assert MAIZE.sum() == 314
    assert (np.abs(sums) >= 314).sum() == 1726
    p, test = difference_p(MAIZE)
    assert test == "sign flips"
    assert p == pytest.approx(1726 / 2**15, abs=0.008)  # 15 pairs: a random choice of 9,999 sign changes


def test_interval_of_paired_differences_agrees_with_its_test():
    differences = MAIZE[:10]
    found = intervals.mean_difference(differences, np.random.default_rng(1))
    assert difference_p(differences - (found.low - 0.01))[0] < 0.05
    assert difference_p(differences - (found.low + 0.01))[0] >= 0.05
    assert difference_p(differences - (found.high + 0.01))[0] < 0.05
    assert difference_p(differences - (found.high - 0.01))[0] >= 0.05


def test_under_six_rides_sign_flips_are_not_used_because_they_cannot_call_anything():
    p, test = difference_p(np.array([1.0, 1.1, 0.9, 1.05, 0.95]))
    assert "Student" in test
    assert p < 2 / 2**5


def test_identical_recordings_differ_by_nothing():
    assert difference_p(np.zeros(5)) == (1.0, "sign flips")


@pytest.mark.parametrize(
    ("effect", "rides"),
    # Pairs for 80 % power at 5 % two-sided: the customary table for standardised effects (common practice).
    [(0.2, 199), (0.5, 34), (0.8, 15)],
)
def test_rides_needed_are_those_of_the_customary_table(effect, rides):
    assert rides_needed(effect, 1.0) == rides
    assert detectable_difference(rides, 1.0) <= effect < detectable_difference(rides - 1, 1.0)


def test_rides_needed_for_no_effect_are_not_given():
    assert rides_needed(0.0, 1.0) is None
    assert rides_needed(1e-4, 1.0) is None


def _campaign(truth: Truth, rides: int, seed: int):
    rng = np.random.default_rng(seed)
    return campaign(left_out_offsets(positions(truth, rides, rng)), waits(truth, rides, rng))


TRUTH = Truth((2.0, 2.0, 5.0), (0.0, 0.0, 0.0), ttff_median_s=(10.0, 10.0, 90.0), ttff_log_sd=0.3)


def test_a_worse_device_is_named_and_an_equal_one_is_not():
    found = {(c.measure, c.first, c.second): c for c in compare_pairs(*_campaign(TRUTH, 10, 1), Settings())}
    assert len(found) == 6
    slower = found["ttff_s", "device 1", "device 3"]
    assert slower.p < 0.05
    assert slower.difference.high < 0
    assert slower.verdict.startswith("device 3 fixes later than device 1 by ")
    rougher = found["xte_rms_m", "device 2", "device 3"]
    assert rougher.verdict.startswith("device 3 errs more than device 2 by ")
    equal = found["xte_rms_m", "device 1", "device 2"]
    assert equal.p > 0.05
    assert "no difference in cross-track error shown" in equal.verdict
    assert equal.rides_needed is None or equal.rides_needed > 10


def test_times_from_different_start_states_are_not_compared():
    traces, results, routes = _campaign(TRUTH, 8, 2)
    states = {0: "hot", 1: "cold", 2: "hot"}
    results = tuple(with_fix(r, start_state=states[i // 8]) for i, r in enumerate(results))
    found = {(c.measure, c.first, c.second): c for c in compare_pairs(traces, results, routes, Settings())}
    refused = found["ttff_s", "device 1", "device 2"]
    assert refused.rides == 0
    assert "8 with different start states" in refused.left_out
    assert "nothing can be said" in refused.verdict
    assert found["ttff_s", "device 1", "device 3"].rides == 8
    assert found["xte_rms_m", "device 1", "device 2"].rides == 8


def test_unknown_start_states_are_warned_of():
    found = compare_pairs(*_campaign(TRUTH, 6, 3), Settings())
    assert all("start states are unknown" in c.left_out for c in found if c.measure == "ttff_s")


def test_a_ride_that_never_fixed_is_left_out_and_said():
    traces, results, routes = _campaign(TRUTH, 6, 3)
    results = (with_fix(results[0], seconds=np.nan, censored=True, at_least_s=900.0), *results[1:])
    found = compare_pairs(traces, results, routes, Settings())[0]
    assert found.rides == 5
    assert "1 where a time is unknown or a device never fixed" in found.left_out


def test_one_shared_ride_says_nothing():
    traces, results, routes = campaign(np.ones((2, 1, 10)), np.array([[3.0], [9.0]]))
    assert all(
        np.isnan(c.p) and "nothing can be said" in c.verdict for c in compare_pairs(traces, results, routes, Settings())
    )


# --- three-cornered hat --------------------------------------------------------------------------------------------


def test_hat_of_known_differences():
    # Gray & Allan's formula by hand: differences of variance 5, 10 and 13 between devices of variance 1, 4 and 9.
    stations = 8
    signs = np.array([[1, 1, 1, 1, -1, -1, -1, -1], [1, 1, -1, -1, 1, 1, -1, -1], [1, -1, 1, -1, 1, -1, 1, -1.0]])
    offsets = np.repeat((signs * np.array([[1.0], [2.0], [3.0]]))[:, None, :], 3, axis=1)
    assert offsets.shape == (3, 3, stations)
    assert hat(offsets) == pytest.approx(np.array([1.0, 4.0, 9.0])[:, None] * np.ones(3))


def test_hat_ignores_the_riders_line_and_constant_offsets():
    rng = np.random.default_rng(3)
    truth = Truth((2.0, 3.0, 4.0, 5.0), (0.0, 3.0, -2.0, 1.0), rider_m=10.0, ride_share=0.3, reach_m=30.0)
    found = np.mean([np.nanmean(hat(positions(truth, 10, rng)), axis=1) for _ in range(40)], axis=0)
    assert np.sqrt(found) == pytest.approx(truth.error_m, rel=0.05)


def test_hat_over_left_out_offsets_finds_each_devices_own_error():
    truth = Truth((2.0, 3.0, 4.0), (0.0, 3.0, -2.0), rider_m=3.0)
    rng = np.random.default_rng(4)
    found = []
    for _ in range(30):
        rows = error_variances(*campaign(left_out_offsets(positions(truth, 10, rng))), Settings())
        found.append([r.sd_m for r in rows if r.route == "A"])
    assert np.nanmedian(found, axis=0) == pytest.approx(truth.error_m, rel=0.15)


def test_a_negative_variance_is_reported_as_what_it_is():
    # Devices 1 and 2 share an error that device 3 mirrors: their errors are not independent.
    rng = np.random.default_rng(5)
    common = rng.standard_normal((5, 300))
    own = 0.3 * rng.standard_normal((3, 5, 300))
    rows = error_variances(*campaign(own + np.array([1.0, 2.0, 3.0])[:, None, None] * common), Settings())
    middle = next(r for r in rows if r.device == "device 2" and r.route == "A")
    assert middle.variance_m2.value < 0
    assert np.isnan(middle.sd_m)
    assert "not independent" in middle.note


def test_two_devices_make_no_hat():
    assert error_variances(*campaign(np.ones((2, 4, 30))), Settings()) == ()


def test_three_rides_give_a_hat_without_an_interval():
    rng = np.random.default_rng(6)
    truth = Truth((2.0, 3.0, 4.0), (0.0, 0.0, 0.0))
    three, four = (error_variances(*campaign(positions(truth, n, rng)), Settings())[0].variance_m2 for n in (3, 4))
    assert np.isfinite(three.value)
    assert np.isnan(three.low)
    assert four.low < four.value < four.high

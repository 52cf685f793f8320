"""Paired differences: against published values, closed forms and the general-purpose library."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.stats import binomtest, norm, permutation_test, ttest_1samp

from gpsq.statistics import intervals, paired, power

# Differences in height of 15 pairs of cross- and self-fertilised maize plants, eighths of an inch: Darwin 1876, as
# analysed by Fisher 1935, The Design of Experiments, section 21: of the 32,768 sign changes 1,726 give a sum as far
# from nought as 314, both directions together, p = 0.0527 (figures from memory, recomputed here by counting).
MAIZE = np.array([49.0, -67, 8, 16, 6, 23, 28, 41, 14, 29, 56, 24, 75, 60, -48])


def test_sign_flips_on_darwins_maize_are_fishers():
    flips = (np.arange(2**15)[:, None] >> np.arange(15)) & 1
    sums = (1 - 2 * flips) @ MAIZE
    assert MAIZE.sum() == 314
    assert (np.abs(sums) >= 314).sum() == 1726
    p, test = paired.ratio_test(MAIZE)
    assert test == paired.SIGN_FLIPS
    # 15 pairs: a random choice of 9,999 sign changes, of which the smaller tail, .0263, scatters by √(9999 · .0263 · .9737) =
    # 16; twice that are .0032 of the p. The choice is always the same one, so what it gives is known to two sign changes.
    assert p == pytest.approx(1726 / 2**15, abs=2 * 0.0032)
    assert p == pytest.approx(0.0492, abs=0.0002)


def test_sign_test_on_darwins_maize():
    # Two of fifteen are negative: 2 × (1 + 15 + 105) / 2^15 = 0.00739 (binomial arithmetic).
    assert paired.sign_test(MAIZE) == pytest.approx(2 * (1 + 15 + 105) / 2**15)


@given(st.lists(st.sampled_from([-np.inf, -2.0, -1.0, 0.0, 1.0, 3.0, np.inf]), min_size=1, max_size=14))
def test_sign_test_is_the_librarys_and_ties_say_nothing(values):
    differences = np.array(values)
    more, less = int((differences > 0).sum()), int((differences < 0).sum())
    wanted = binomtest(more, more + less).pvalue if more + less else 1.0
    assert paired.sign_test(differences) == pytest.approx(wanted)


def test_one_failure_turns_a_difference_that_leaving_it_out_would_have_shown():
    # Eight rides on which the first was later, one on which it was sooner, and one on which it alone never fixed.
    kept = np.array([77.0, 50, 40, 30, 60, 80, 20, 10])
    assert paired.sign_test(kept) < 0.01
    assert paired.sign_test(np.array([*kept, -5.0, -np.inf])) == pytest.approx(2 * (1 + 10 + 45) / 2**10)


def test_median_difference_counts_never_and_has_no_end_there():
    found = paired.median_difference(np.array([1.0, 2, 3, 4, 5, np.inf, np.inf]))
    assert (found.value, found.low, found.high) == (4.0, 1.0, np.inf)
    lost = paired.median_difference(np.array([-np.inf, -np.inf, np.inf, np.inf]))
    assert np.isnan(lost.value)
    assert "no 95 % interval" in lost.method


def test_under_eight_rides_students_test_stands_in():
    logs = np.array([0.3, 0.1, 0.4, 0.2, 0.35, 0.25, 0.3])
    p, test = paired.ratio_test(logs)
    assert test == paired.STUDENT
    assert p == pytest.approx(ttest_1samp(logs, 0.0).pvalue)
    found = paired.ratio(logs)
    by_library = ttest_1samp(logs, 0.0).confidence_interval(0.95)
    assert np.log([found.low, found.high]) == pytest.approx([by_library.low, by_library.high])


def test_from_eight_rides_on_interval_and_test_agree():
    logs = np.random.default_rng(3).normal(0.3, 0.4, 9)
    found = paired.ratio(logs)
    assert paired.ratio_test(logs - np.log(found.low) + 0.001)[0] < 0.05
    assert paired.ratio_test(logs - np.log(found.low) - 0.001)[0] >= 0.05
    library = permutation_test((logs,), np.mean, permutation_type="samples", vectorized=True, n_resamples=9_999)
    assert paired.ratio_test(logs)[0] == pytest.approx(library.pvalue)


# --- power ---------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("effect", "rides"),
    # Pairs for 80 % power at 5 % two-sided: the customary table for standardised effects (common practice).
    [(0.2, 199), (0.5, 34), (0.8, 15)],
)
def test_rides_needed_are_those_of_the_customary_table(effect, rides):
    assert power.detectable(rides, power.power_of_student) <= effect
    assert power.detectable(rides - 1, power.power_of_student) > effect


def test_power_of_the_sign_test_is_counted_right():
    # By drawing: differences that scatter normally about 1.2 standard deviations, ten rides.
    drawn = np.random.default_rng(5).normal(1.2, 1, (20_000, 10))
    less = (drawn < 0).sum(axis=1)
    called = (less <= 1) | (less >= 9)  # binomial tails of ten: 2 × 11/1024 = 2.1 %, and 10.9 % with two
    assert power.power_of_signs(10, 1.2) == pytest.approx(called.mean(), abs=0.01)


def test_sign_flips_find_what_the_table_says():
    rides, effect = 8, power.SIGN_FLIPS_FIND[8]
    drawn = np.random.default_rng(6).normal(effect, 1, (1500, rides))
    shown = np.mean([paired.ratio_test(row)[0] <= 0.05 for row in drawn])
    assert shown == pytest.approx(0.8, abs=0.035)


@pytest.mark.parametrize("rides", [9, 10, 11, 12])
def test_sign_flips_find_it_with_any_number_of_the_table(rides):
    """All flips tried at once: p is twice the share of sums as far out on one side; 2,000 samples scatter by 0.9 %."""
    flips = 1 - 2 * ((np.arange(2**rides)[:, None] >> np.arange(rides)) & 1)
    drawn = np.random.default_rng(rides).normal(power.SIGN_FLIPS_FIND[rides], 1, (2000, rides))
    sums = np.sort(drawn @ flips.T.astype(float), axis=1)
    most = int(0.025 * 2**rides)  # so many flips may lie as far out on one side
    shown = (drawn.sum(axis=1) > sums[:, -most - 1] + 1e-9) | (drawn.sum(axis=1) < sums[:, most] - 1e-9)
    assert shown.mean() == pytest.approx(0.8, abs=0.035)


def test_a_mean_leaves_out_what_is_not_known():
    found, known = intervals.mean(np.array([1.0, np.nan, 2.0, 4.0])), intervals.mean(np.array([1.0, 2.0, 4.0]))
    assert (found.value, found.low, found.high) == pytest.approx((known.value, known.low, known.high))


def test_with_fewer_than_six_rides_the_sign_test_finds_nothing():
    assert power.detectable(5, power.power_of_signs) == np.inf
    assert [power.detectable(rides, power.power_of_student) for rides in (0, 1)] == [np.inf, np.inf]
    assert [power.detectable_ratio(rides) for rides in (8, 9, 10, 11, 12)] == [1.19, 1.10, 1.01, 0.95, 0.90]
    assert power.detectable_ratio(13) == power.detectable(13, power.power_of_student)
    assert norm.cdf(power.detectable(6, power.power_of_signs)) ** 6 == pytest.approx(0.8, abs=1e-6)


# --- rates and means -----------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("count", "confidence", "low", "high"),
    # Garwood's exact interval: 3.689 for none (also R's epitools, pois.exact); 16.18 to 36.90 and, at 99 %, 14.00 to
    # 41.00 for 25, as published statistical tables and calculators give them; 1.623 to 11.668 for 5 (from memory).
    [(0, 0.95, 0.0, 3.689), (25, 0.95, 16.18, 36.90), (25, 0.99, 14.00, 41.00), (5, 0.95, 1.623, 11.668)],
)
def test_garwoods_table(count, confidence, low, high):
    found = intervals.rate(count, 1.0, confidence)
    assert (found.low, found.high) == pytest.approx((low, high), abs=0.005)


def test_a_rate_is_per_unit_of_exposure_and_unknown_without_any():
    found = intervals.rate(2, 0.35)
    assert found.value == pytest.approx(2 / 0.35)
    assert np.isnan(intervals.rate(0, 0.0).value)


def test_welchs_interval_is_the_librarys():
    from scipy.stats import ttest_ind

    a, b = np.array([1.0, 2.5, 3.0, 4.2]), np.array([0.5, 0.7, 0.6, 0.9, 1.1, 0.4])
    found = intervals.welch_difference(a, b)
    wanted = ttest_ind(a, b, equal_var=False).confidence_interval(0.95)
    assert (found.low, found.high) == pytest.approx((wanted.low, wanted.high))

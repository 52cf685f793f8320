"""Intervals and shares worked by hand, so that no factor of them can be another."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from gpsq.statistics import intervals, paired, quantiles, survival
from gpsq.statistics.robust import robust_sd
from gpsq.summary_types import Interval


@pytest.mark.parametrize(
    ("without_each", "factor"),
    [
        # ln: .58779 .69315 .78846 .74194, standard deviation .086004; · 3/√4 = .129006; · √(4/2) = .182442;
        # t(.975, 3) = 3.18245 (handbook table): e^.58061
        ([1.8, 2.0, 2.2, 2.1], 1.78714),
        # ln: .58779 .69315 .78846, standard deviation .100377; · 2/√3 = .115905, not widened; t(.975, 2) = 4.30265: e^.49870
        ([1.8, 2.0, 2.2], 1.64658),
    ],
)
def test_the_jackknife_on_the_logarithm(without_each, factor):
    """Miller 1974, Biometrika 61:1–15; from four rides on the error is taken n/(n − 2) times as large in the square."""
    found = intervals.log_jackknife(2.0, np.array(without_each))
    assert (found.value, found.low, found.high) == pytest.approx((2.0, 2.0 / factor, 2.0 * factor), rel=1e-4)


def test_the_jackknife_says_why_it_has_no_interval():
    assert intervals.log_jackknife(2.0, np.array([1.8, 2.2])).method == "none: 2 rides, at least 3 needed"
    assert np.isnan(intervals.log_jackknife(0.0, np.array([1.8, 2.2, 2.0])).low)
    # e^(4.30265 · 2/√3 · s) is 6 at a standard deviation of .36064 of ln x
    for spread, known in ((0.36, True), (0.362, False)):
        found = intervals.log_jackknife(2.0, np.exp([-spread, 0.0, spread]))
        assert bool(np.isfinite(found.low)) is known
        assert ("single rides outweigh the others" in found.method) is not known


def test_the_widening_brings_the_cover_to_what_is_said():
    """Of 400 campaigns of five rides with normal errors the 95 % interval of the middle distance holds the truth in 92 to 99 %."""
    rng = np.random.default_rng(12)
    truth = 0.6745 * 3.0  # half of normal errors are within so many standard deviations (handbook table)
    held = 0
    for _ in range(400):
        found = quantiles.pooled(np.abs(3.0 * rng.standard_normal((5, 60))), 0.5)
        held += bool(found.low <= truth <= found.high)
    assert 0.92 <= held / 400 <= 0.99


def test_every_metre_of_road_counts_once_whatever_the_ride():
    """One ride of 1 km 10 m off and one of 9 km 1 m off: half the road is within 1 m, 95 % within 10 m."""
    rows = [np.full(100, 10.0), np.full(900, 1.0)]
    assert (quantiles.pooled(rows, 0.5).value, quantiles.pooled(rows, 0.95).value) == (1.0, 10.0)


@given(
    st.lists(st.lists(st.integers(0, 30), min_size=1, max_size=12), min_size=3, max_size=7),
    st.sampled_from([0.5, 0.6827, 0.9]),
)
def test_each_ride_left_out_gives_the_quantile_of_the_others(rows, share):
    """Against the quantile of numpy, its linear rule, over what is left."""
    each = [np.array(row, float) for row in rows]
    value, without = quantiles._with_each_block_left_out(each, share)
    assert value == pytest.approx(np.quantile(np.concatenate(each), share))
    for i, found in enumerate(without):
        assert found == pytest.approx(np.quantile(np.concatenate(each[:i] + each[i + 1 :]), share))


def test_the_share_within_a_limit_counts_the_limit_itself():
    """ "Within 30 s" holds 30 s; who was still waiting when the recording ended at 30 s had not fixed within it."""
    at, lost = np.array([30.0]), np.array([True])
    assert survival.share_within(30, at, ~lost).value == 1.0
    ended = survival.share_within(30, at, lost)
    assert (ended.value, ended.of) == (0.0, 1)


def test_the_upper_bound_of_a_censored_median_is_where_the_band_is_at_one_half():
    """Ten times 1 … 10, the last one lost: S falls by a tenth each; var ln S by Greenwood is 1/(n(n−1)) summed.

    The upper band crosses one half at the first time at which exp(−exp(ln(−ln S) − 1.96 √(Σ/(ln S)²))) ≤ ½. By hand: at 8, S = .2,
    Σ = 1/90+1/72+1/56+1/42+1/30+1/20+1/12+1/6 = .4; √.4/1.6094 = .39297; ln 1.6094 = .47589; exp(−exp(.47589 − .77021)) =
    .4747; at 7, S = .3, Σ = .23333; √.23333/1.20397 = .40121; exp(−exp(.18563 − .78636)) = .5779. So 8, and a band
    asked to fall to .45 would give 9.
    """
    found = survival.median_time(np.arange(1.0, 11.0), np.arange(10) == 0)
    by_curve = survival._by_curve(np.arange(1.0, 11.0), np.arange(10) == 9, 0.95)
    assert by_curve[1] == 8.0
    assert found.value == 6.0  # the one lost at 1 s says nothing: nine left, the middle one is 6


def test_a_ratio_adds_the_distances_to_its_bounds_in_squares():
    """Donner & Zou 2012: 4 (2 to 16) over 2 (1 to 3): down √(ln² 2 + ln² 1.5), up √(ln² 4 + ln² 2)."""
    found = intervals.ratio(Interval(4.0, 2.0, 16.0), Interval(2.0, 1.0, 3.0))
    assert found.value == 2.0
    assert found.low == pytest.approx(2 * np.exp(-np.hypot(np.log(2), np.log(1.5))))
    assert found.high == pytest.approx(2 * np.exp(np.hypot(np.log(4), np.log(2))))


def test_adjusted_p_by_hand():
    """Benjamini & Hochberg 1995: of .01, .04, .03 the smallest times 3/1, the next times 3/2 but no more than the largest."""
    assert paired.adjusted([0.01, 0.04, 0.03]) == pytest.approx([0.03, 0.04, 0.04])


def test_the_robust_standard_deviation_is_that_of_the_handbook():
    """1.4826 times the median absolute deviation: 1 / Φ⁻¹(¾) (handbook tables)."""
    assert robust_sd(np.array([-3.0, 1.0, 2.0])) == pytest.approx(2 / 0.67449, rel=1e-4)


# --- what intervals say, and where there is none -----------------------------------------------------------------------


def test_medians_in_words():
    found = intervals.median(np.array([4.0, np.nan, 1.0]), digits=2)
    assert (found.value, found.method) == (2.5, "range 1.00–4.00 of 2 rides; no 95 % interval exists for so few")
    assert (
        intervals.median(np.array([4.0]), 0.9).method == "range 4.0–4.0 of 1 ride; no 90 % interval exists for so few"
    )
    nothing = intervals.median(np.array([np.nan]))
    assert (np.isnan(nothing.value), nothing.method) == (True, "none: known for no ride")
    ten = intervals.median(np.arange(10.0)[::-1])
    assert (ten.value, ten.low, ten.high, ten.method) == (4.5, 1.0, 8.0, "order statistics 2 and 9 of 10 rides")


def test_means_in_words_and_on_both_sides():
    """1, 2 and 3: standard error .57735, t(.975, 2) = 4.30265 (handbook table)."""
    found = intervals.mean(np.array([1.0, 2.0, 3.0]))
    assert (found.value, found.low, found.high) == pytest.approx((2.0, 2 - 2.48414, 2 + 2.48414), rel=1e-5)
    assert found.method == "Student, 3 rides"
    one, none = intervals.mean(np.array([5.0, np.nan])), intervals.mean(np.array([np.nan]))
    assert (one.value, np.isnan(one.low), one.method) == (5.0, True, "none: 1 ride")
    assert (np.isnan(none.value), none.method) == (True, "none: 0 rides")


def test_welchs_interval_in_words():
    one, none = np.array([1.0]), np.array([np.nan])
    for first, second, value, method in (
        (one, none, np.nan, "none: 1 and 0 rides"), (none, one, np.nan, "none: 0 and 1 rides"),
        (np.array([3.0, 5.0]), one, 3.0, "none: 2 and 1 rides"),
    ):  # fmt: skip
        found = intervals.welch_difference(first, second)
        assert (found.value, found.method) == (pytest.approx(value, nan_ok=True), method)
        assert np.isnan([found.low, found.high]).all()
    same = intervals.welch_difference(np.array([3.0, 3.0]), np.array([1.0, 1.0, 1.0]))
    assert (same.value, same.low, same.high, same.method) == (2.0, 2.0, 2.0, "Welch, 2 and 3 rides")


def test_shares_and_rates_in_words():
    assert intervals.proportion(15, 148).method == "Wilson, 15 of 148 rides"
    assert intervals.proportion(0, 0).method == "none: no ride with a known start"
    assert np.isnan(intervals.proportion(0, 0).value)
    assert (intervals.proportion(2, 2).high, intervals.proportion(0, 2).low, intervals.proportion(1, 2).of) == (
        1.0,
        0.0,
        2,
    )
    rate = intervals.rate(5, 2.0)
    assert (rate.value, rate.method) == (2.5, "Garwood, 5 seen")
    assert (rate.low, rate.high) == pytest.approx((1.6235 / 2, 11.6683 / 2), rel=1e-4)  # Garwood 1936, table for five
    assert intervals.rate(5, 0.0).method == "none: no road was scored"


def test_figures_that_are_nought_or_unknown_have_no_interval_on_the_logarithm():
    for value, without in ((np.nan, [1.0, 2.0, 3.0]), (2.0, [0.0, 2.0, 3.0]), (2.0, [1.0, np.nan, 3.0])):
        found = intervals.log_jackknife(value, np.array(without))
        assert (np.isnan(found.low), found.method) == (True, "none: 3 rides, at least 3 needed")
    assert intervals.log_jackknife(2.0, np.array([1.9])).method == "none: 1 ride, at least 3 needed"
    known = Interval(2.0, 1.0, 3.0)
    for figure in (Interval(np.nan, 1.0, 3.0), Interval(0.0, 1.0, 3.0)):
        for found in (intervals.ratio(figure, known), intervals.ratio(known, figure)):
            assert (np.isnan(found.value), found.method) == (True, "none: a figure is unknown")
    for figure in (Interval(2.0), Interval(2.0, 1.0), Interval(2.0, np.nan, 3.0)):
        for found in (intervals.ratio(figure, known), intervals.ratio(known, figure)):
            assert (found.value, np.isnan(found.low), found.method) == (1.0, True, "none: a figure has no interval")


def test_under_six_pairs_students_interval_stands_for_that_of_the_subsets():
    """Of six values the 63 means of subsets: one of 1.6 on either side is left out, so the least and the largest bound."""
    rng = np.random.default_rng(1)
    values = np.array([1.0, 2.0, 3.0, 4.0, 5.0, 9.0])
    assert intervals.mean_difference(values[:5], rng).method == "Student, 5 rides"
    six = intervals.mean_difference(values, rng)
    assert (six.value, six.low, six.high, six.method) == (4.0, 1.0, 9.0, "subset means of 6 paired rides")
    eighty = intervals.mean_difference(values, rng, 0.8)  # a tenth of 64: the sixth from either end
    means = np.sort([np.mean(values[[k for k in range(6) if n >> k & 1]]) for n in range(1, 64)])
    assert (eighty.low, eighty.high) == pytest.approx((means[5], means[-6]))


def test_students_paired_test_of_differences_that_are_all_the_same():
    assert [paired.student_p(np.full(3, d)) for d in (2.0, -2.0, 0.0)] == [0.0, 0.0, 1.0]


def test_of_a_random_choice_of_flips_the_one_that_was_found_counts():
    """Thirty differences of one sign: no flip of 9,999 is as far out but the one found: 2 of 10,000."""
    assert paired.sign_flip_p(np.arange(1.0, 31.0), np.random.default_rng(1)) == pytest.approx(2 / 10_000, rel=1e-9)


def test_median_differences_in_words():
    assert paired.median_difference(np.arange(6.0)).method == "order statistics 1 and 6 of 6 rides"
    none = paired.median_difference(np.array([np.nan]))
    assert (np.isnan(none.value), none.method) == (True, "none: no ride is known of both")
    two = paired.median_difference(np.array([np.inf, 3.0]))
    assert np.isnan(two.value)


def test_survival_in_words_and_where_order_statistics_hold():
    """Of nine the second and the eighth bound the median; lost ones at the end leave the lower bound and no end above."""
    times = np.array([9.0, 1.0, 2.0, 3.0, 4.0, 5.0, 6.0, 7.0, 8.0])

    def said(lost, seconds=times):
        return survival.median_time(seconds, np.isin(seconds, lost))

    whole = said([])
    assert (whole.value, whole.low, whole.high) == (5.0, 2.0, 8.0)
    assert whole.method == said([9.0]).method == "Kaplan–Meier, order statistics 2 and 8 of 9 rides"
    assert (said([9.0]).low, said([9.0]).high) == (2.0, 8.0)
    assert (
        survival.median_time(np.array([1.0, 2.0, 4.0, 9.0]), np.zeros(4, bool)).value == 3.0
    )  # half are left from 2 to 4
    late = said([7.0, 8.0, 9.0])
    assert (late.value, late.low, np.isnan(late.high), late.method) == (5.0, 2.0, True, whole.method)
    early = said([1.0])
    assert early.method == "Kaplan–Meier, log-log interval, 9 rides of which 1 censored"
    second = said([2.0, 3.0, 4.0, 5.0, 6.0, 7.0, 8.0, 9.0])
    assert (np.isnan(second.value), second.method) == (
        True,
        "Kaplan–Meier, log-log interval, 9 rides of which 8 censored",
    )
    between = said([5.0])
    assert between.method.startswith("Kaplan–Meier, log-log interval")
    few = survival.median_time(np.array([8.4, 30.0]), np.array([False, True]))
    assert np.isnan(few.value)  # one half are left from 8.4 s on, and nobody saw where that ends
    assert few.method == "range 8–30+ of 2 rides; no 95 % interval exists for so few"
    lone = survival.median_time(np.array([8.4]), np.array([False]), 0.9)
    assert (lone.value, lone.method) == (8.4, "range 8–8 of 1 ride; no 90 % interval exists for so few")
    assert survival.median_time(np.empty(0), np.empty(0, bool)).method == "none: no ride with a known start"


def test_a_tie_of_a_time_and_a_loss_counts_the_time_first():
    """Kaplan & Meier 1958: who was lost at 4 s was still waiting when another's time of 4 s came: 3/4, then 2/4 of it left."""
    found = survival.median_time(np.array([4.0, 4.0, 6.0, 8.0]), np.array([False, True, False, False]))
    assert found.value == 6.0  # 3/4 after 4 s, 3/4 · 1/2 after 6 s


def test_of_equal_times_what_came_comes_before_what_was_waited_for_in_vain():
    """Nine times, bounds the second and the eighth; one waited in vain for just as long as the eighth took."""
    seconds = np.array([8.0, 1.0, 2.0, 3.0, 4.0, 5.0, 6.0, 7.0, 8.0])
    assert survival._by_order(seconds, np.arange(9) == 0, (2, 8)) == (2.0, 8.0, True)
    assert survival._by_order(seconds - (np.arange(9) == 0), np.arange(9) == 0, (2, 8))[2] is False

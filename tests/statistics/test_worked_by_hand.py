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
        assert known or "single rides outweigh the others" in found.method


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

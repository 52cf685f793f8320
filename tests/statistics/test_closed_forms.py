"""Closed forms against scipy.stats, which is not loaded in a run: importing it takes as long as a week's routes."""

from __future__ import annotations

import math
import subprocess
import sys

import numpy as np
import pytest
from hypothesis import given
from hypothesis import settings as given_settings
from hypothesis import strategies as st
from scipy import stats
from scipy.optimize import brentq

from gpsq.statistics import intervals, paired, power, survival
from gpsq.statistics.rank_correlation import rank_correlation
from gpsq.summaries.accuracy import axis_factor
from gpsq.summaries.devices.first_fixes import _rank_sum_p

SAME = {"abs": 5e-16, "rel": 5e-16}
LEVELS = (0.5, 0.75, 0.9, 0.95, 0.99, 0.999)
numbers = st.lists(st.floats(-1e3, 1e3).map(lambda x: round(x, 3)), min_size=2, max_size=40).map(np.array)


@pytest.mark.parametrize("level", LEVELS)
def test_ranks_round_a_median(level: float) -> None:
    for n in range(1, 400):
        rank = int(stats.binom.ppf((1 - level) / 2, n, 0.5))
        assert intervals.median_ranks(n, level) == ((rank, n + 1 - rank) if rank >= 1 else None)


@pytest.mark.parametrize("level", LEVELS)
def test_wilson(level: float) -> None:
    for n in (1, 2, 3, 10, 37, 1_000):
        for successes in {0, 1, n // 3, n - 1, n}:
            found, expected = intervals.proportion(successes, n, level), stats.binomtest(successes, n)
            bounds = expected.proportion_ci(level, method="wilson")
            assert (found.low, found.high) == pytest.approx((bounds.low, bounds.high), **SAME)


@pytest.mark.parametrize("level", LEVELS)
def test_student_and_normal(level: float) -> None:
    assert axis_factor(level) == pytest.approx(stats.norm.ppf((1 + level) / 2), **SAME)
    for values in (np.array([1.0, 2.5]), np.arange(9.0) ** 2):
        found, n = intervals.mean(values, level), len(values)
        half = stats.t.ppf((1 + level) / 2, n - 1) * values.std(ddof=1) / np.sqrt(n)
        assert found.high - found.value == pytest.approx(half, rel=1e-14)


@given(numbers)
@given_settings(max_examples=60, deadline=None)
def test_paired_tests(values: np.ndarray) -> None:
    if np.ptp(values) > 0:
        assert paired.student_p(values) == pytest.approx(stats.ttest_1samp(values, 0.0).pvalue, rel=1e-12, abs=5e-16)
    expected = stats.permutation_test(
        (values,), np.mean, permutation_type="samples", vectorized=True, n_resamples=9_999, rng=np.random.default_rng(7)
    )
    assert paired.sign_flip_p(values, np.random.default_rng(7)) == pytest.approx(expected.pvalue, **SAME)


@given(st.lists(st.floats(0, 1), min_size=1, max_size=30))
def test_false_discoveries(p: list[float]) -> None:
    assert paired.adjusted(p) == pytest.approx(stats.false_discovery_control(p), **SAME)


@given(numbers, st.integers(0, 99))
def test_rank_correlation(first: np.ndarray, seed: int) -> None:
    second = np.random.default_rng(seed).integers(0, 5, len(first))
    if np.ptp(first) > 0 and np.ptp(second) > 0:
        assert rank_correlation(first, second) == pytest.approx(stats.spearmanr(first, second).statistic, abs=5e-16)


@pytest.mark.parametrize("rides", [2, 3, 6, 34, 500, 10_000])
def test_power(rides: int) -> None:
    for effect in (0.01, 0.1, 0.5, 1.0, 3.0, 20.0):
        bound, shift = stats.t.ppf(0.975, rides - 1), effect * np.sqrt(rides)
        far = np.nan_to_num(stats.nct.cdf(-bound, rides - 1, shift))
        expected = stats.nct.sf(bound, rides - 1, shift) + far
        assert power.power_of_student(rides, effect) == pytest.approx(expected, abs=1e-12)
    if rides > 2:
        least = brentq(lambda e: power.power_of_student(rides, e) - power.POWER, 1e-3, 30.0)
        assert power.detectable(rides, power.power_of_student) == pytest.approx(least, abs=1e-11)


@pytest.mark.parametrize("count", [0, 1, 2, 7, 40, 900])
def test_garwood(count: int) -> None:
    for level in LEVELS:
        found, tail = intervals.rate(count, 1.0, level), (1 - level) / 2
        low = stats.chi2.ppf(tail, 2 * count) / 2 if count else 0.0
        assert (found.low, found.high) == pytest.approx((low, stats.chi2.ppf(1 - tail, 2 * count + 2) / 2), rel=1e-12)


@given(st.lists(st.floats(0, 100), min_size=3, max_size=8), st.lists(st.floats(0, 100), min_size=3, max_size=8))
@given_settings(deadline=None, max_examples=20)
def test_rank_sum(first: list[float], second: list[float]) -> None:
    ranks = stats.rankdata(np.concatenate([first, second]))  # dealt out again, they are the ranks of what is dealt
    wanted = stats.permutation_test(
        np.split(ranks, [len(first)]), lambda a, _, axis: a.sum(axis=axis), vectorized=True, n_resamples=5_000,
        rng=np.random.default_rng(1),
    ).pvalue  # fmt: skip
    few = math.comb(len(first) + len(second), len(first)) <= 5_000
    assert _rank_sum_p(np.array(first), np.array(second)) == pytest.approx(wanted, abs=1e-9 if few else 0.06)


@given(st.lists(st.tuples(st.integers(1, 12), st.booleans()), min_size=1, max_size=30))
@given_settings(deadline=None)
@pytest.mark.filterwarnings("ignore:The confidence interval is undefined")
def test_the_survival_curve(waits: list[tuple[int, bool]]) -> None:
    seconds, censored = np.array([float(s) for s, _ in waits]), np.array([lost for _, lost in waits])
    curve = survival._Curve(seconds, censored)
    expected = stats.ecdf(stats.CensoredData(uncensored=seconds[~censored], right=seconds[censored])).sf
    assert curve.at.tolist() == np.asarray(expected.quantiles).tolist()
    assert curve.share == pytest.approx(np.asarray(expected.probabilities), **SAME)
    band = expected.confidence_interval(0.95, method="log-log")
    for ours, theirs in zip(curve.band(0.95), (band.low, band.high), strict=True):
        assert ours == pytest.approx(np.asarray(theirs.probabilities), nan_ok=True, **SAME)


def test_no_figure_needs_scipy_stats() -> None:
    code = (
        "import sys, numpy as np; from gpsq.statistics import bridge, intervals, paired, power, survival;"
        "r = np.random.default_rng;"
        "x = np.arange(9.0); intervals.median(x); intervals.proportion(1, 3); intervals.mean_difference(x, r(1));"
        "paired.sign_flip_p(x, r(1)); paired.student_p(x[:3]); paired.adjusted([0.1]);"
        "power.detectable(9, power.power_of_student); power.detectable(9, power.power_of_signs); intervals.rate(3, 1.0);"
        "paired.sign_test(x); paired.ratio(x); bridge.random_effects([0.1, 0.2, 0.3], [1, 1, 1]); survival.median_time(x, x > 5);"
        "print(*(name for name in ('scipy.stats', 'scipy.optimize') if name in sys.modules))"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout.split() == []

"""A quantile over rides with its jackknife: known answers, and that one fault hardly moves it."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from gpsq.statistics import quantiles


@given(st.lists(st.integers(1, 30), min_size=1, max_size=9), st.sampled_from([0.5, 0.6827, 0.95]), st.integers(0, 1000))
def test_the_quantile_is_that_of_all_values_and_of_those_left(sizes, share, seed):
    rng = np.random.default_rng(seed)
    rows = [rng.exponential(size=n) for n in sizes]
    value, without = quantiles._with_each_block_left_out(rows, share)
    assert value == pytest.approx(np.quantile(np.concatenate(rows), share))
    for k, found in enumerate(without):
        assert found == pytest.approx(np.quantile(np.concatenate([r for j, r in enumerate(rows) if j != k]), share))


def test_one_fault_hardly_moves_the_median_and_turns_a_root_mean_square():
    rng = np.random.default_rng(1)
    rows = [np.abs(rng.normal(0, 2, 800)) for _ in range(10)]
    fault = [*rows[:9], np.concatenate([rows[9][:760], np.full(40, 130.0)])]
    before, after = (quantiles.pooled(r, 0.5) for r in (rows, fault))
    assert after.value == pytest.approx(before.value, rel=0.02)
    assert after.high / after.low < 1.3
    rms = [np.sqrt(np.mean(np.concatenate(r) ** 2)) for r in (rows, fault)]
    assert rms[1] > 4 * rms[0]


def test_the_tail_has_a_range_under_six_rides_and_an_interval_from_then_on():
    rows = [np.arange(101.0) * k for k in (1.0, 1.1, 1.2, 1.3, 1.4)]
    few = quantiles.pooled(rows, 0.95)
    assert np.isnan([few.low, few.high]).all()
    assert few.method.startswith("range 95.0–133.0 of 5 rides")
    assert np.isfinite(quantiles.pooled([*rows, rows[0]], 0.95).low)


def test_nothing_known_is_unknown():
    assert np.isnan(quantiles.pooled([np.array([np.nan])], 0.5).value)

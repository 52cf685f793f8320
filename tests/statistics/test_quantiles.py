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


def test_the_interval_of_three_rides_by_hand():
    """Rides 1, 2 and 4: median 2, without each 3, 2.5 and 1.5; ln: 1.09861, .91629, .40547, standard deviation .35898.

    Times 2/√3, and √3 as with three rides the error is taken three times as large in the square: .71796; t(.975, 2) = 4.30265.
    """
    found = quantiles.pooled([np.array([v]) for v in (1.0, 2.0, 4.0)], 0.5, 0.95)
    assert np.isnan(found.low)  # e^3.09 is wider than a factor of six
    near = quantiles.pooled([np.array([v]) for v in (1.8, 2.0, 2.2)], 0.5, 0.95)
    without = np.log([2.1, 2.0, 1.9])
    factor = np.exp(4.30265 * without.std(ddof=1) * 2 / np.sqrt(3) * np.sqrt(3))
    assert (near.value, near.low, near.high) == pytest.approx((2.0, 2 / factor, 2 * factor), rel=1e-5)


def test_how_many_rides_there_are_is_said():
    one, two = np.array([1.0, 3.0]), np.array([2.0, 4.0])
    assert quantiles.pooled([one], 0.95).method == "range 2.9–2.9 of 1 ride; no interval of the tail under 6 rides"
    assert quantiles.pooled([one, two], 0.5).method == "none: 2 rides, at least 3 needed"
    assert quantiles.pooled([one], 0.5).method == "none: 0 rides, at least 3 needed"
    assert quantiles.pooled([], 0.5).method == "none: no ride was scored"
    assert quantiles.pooled([one] * 5, 0.9).method.startswith("jackknife over 5 rides")  # 90 % are not yet the tail


@pytest.mark.parametrize(("rides", "blocks"), [(39, 39), (40, 40), (41, 40), (95, 40)])
def test_of_many_rides_forty_blocks_are_left_out(rides, blocks):
    rows = [np.array([1.0 + k]) for k in range(rides)]
    _, without = quantiles._with_each_block_left_out(rows, 0.5)
    assert len(without) == blocks
    kept = np.array([1.0 + k for k in range(rides) if k % 40])
    assert without[0] == pytest.approx(np.median(kept))

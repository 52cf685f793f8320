"""Comparisons by way of a third: the published formula and example, and random effects worked by hand."""

from __future__ import annotations

import numpy as np
import pytest

from gpsq.statistics import bridge
from gpsq.summary_types import Interval


def test_the_adjusted_indirect_comparison_subtracts_effects_and_adds_variances():
    """Song and others 2003, BMJ 326:472, worked example on the web: T(BC) = T(BA) − T(CA), SE² the sum of both squares.

    Their high dose against control is −0.1776 on the logarithm; the other effect and both errors here are made up.
    """
    rng = np.random.default_rng(1)

    def sample(mean, error, n=40):
        z = rng.standard_normal(n)
        return mean + (z - z.mean()) / z.std(ddof=1) * error * np.sqrt(n)

    high, medium = sample(-0.1776, 0.05), sample(-0.28, 0.04)
    found = bridge.by_way_of(high, medium)
    assert found.value == pytest.approx(-0.1776 + 0.28)
    assert bridge.variance(high, medium) == pytest.approx(0.05**2 + 0.04**2)
    # Welch–Satterthwaite degrees by hand: (0.0041)² / (0.0025²/39 + 0.0016²/39) = 74.4; t = 1.9924.
    assert (found.high - found.low) / 2 == pytest.approx(1.9924 * np.sqrt(0.0041), rel=1e-3)


def test_random_effects_by_hand():
    # Effects 0, 0.2, 0.7 with variances 0.01, 0.02, 0.02. w = 100, 50, 50: fixed mean 0.225, Q = 100·0.050625 +
    # 50·0.000625 + 50·0.225625 = 16.375; τ² = (16.375 − 2)/(200 − 15000/200) = 0.115; weights 8, 7.407, 7.407; mean
    # 6.6667/22.815 = 0.29221; Hartung–Knapp: Σw(y − m)²/2 = (0.68310 + 0.06299 + 1.23200)/2 = 0.98905, held at 1; error
    # √(1/22.815) = 0.20936; t(0.975, 2) = 4.3027.
    found = bridge.random_effects([0.0, 0.2, 0.7], [0.01, 0.02, 0.02])
    assert found.value == pytest.approx(0.29221, abs=1e-4)
    assert found.high - found.value == pytest.approx(4.3027 * 0.20936, abs=1e-3)


def test_bridges_that_agree_are_pooled_by_their_weight():
    found = bridge.random_effects([0.1, 0.1, 0.4], [0.01, 0.01, 1.0])
    assert found.value == pytest.approx((0.1 * 200 + 0.4) / 201, abs=1e-6)


def test_medians_are_subtracted_with_the_distances_to_their_bounds_in_squares():
    found = bridge.difference_of_medians(Interval(10.0, 6.0, 13.0), Interval(2.0, -1.0, 6.0))
    assert (found.value, found.low, found.high) == pytest.approx((8.0, 8 - np.hypot(4, 4), 8 + np.hypot(3, 3)))
    assert np.isnan(bridge.difference_of_medians(Interval(10.0), Interval(2.0, -1.0, 6.0)).low)

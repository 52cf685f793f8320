"""Each device's own error from three or more on the same rides: the formula by hand, and campaigns with a known answer."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from offset_campaigns import STEP_M, Truth, campaign, left_out_offsets, positions

from gpsq.model import NAT, Deviation
from gpsq.settings import Settings
from gpsq.summaries.own_error import error_variances, hat


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


def test_one_fault_does_not_make_the_variance_of_another_device_negative():
    rng = np.random.default_rng(7)
    offsets = left_out_offsets(positions(Truth((2.0, 2.0, 2.0), (0.0, 0.0, 0.0)), 6, rng))
    clean = [v.variance_m2.value for v in error_variances(*campaign(offsets), Settings()) if v.route]
    offsets[2, 3, 100:150] += 120.0
    traces, results, routes = campaign(offsets)
    number = 2 * 6 + 3
    fault = Deviation(
        "d1", number, "A", 100 * STEP_M, 149 * STEP_M, NAT, NAT, 0, 1, 120.0, "left", 0.0, "receiver error", ""
    )  # fmt: skip
    marked = tuple(replace(r, deviations=(fault,)) if r.trace == number else r for r in results)
    with_fault = [v.variance_m2.value for v in error_variances(traces, marked, routes, Settings()) if v.route]
    assert with_fault == pytest.approx(clean, rel=0.15)
    assert error_variances(traces, results, routes, Settings())[0] is not None

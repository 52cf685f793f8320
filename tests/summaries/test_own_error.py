"""Each device's own error from three or more on the same rides: the formula by hand, and campaigns with a known answer."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from offset_campaigns import STEP_M, Truth, campaign, left_out_offsets, positions

from gpsq.model import NAT, Deviation
from gpsq.settings import Settings
from gpsq.summaries.own_error import _error_variance, error_variances, hat


def test_hat_of_known_differences():
    # Gray & Allan's formula by hand: differences of variance 5, 10 and 13 between devices of variance 1, 4 and 9.
    stations = 8
    signs = np.array([[1, 1, 1, 1, -1, -1, -1, -1], [1, 1, -1, -1, 1, 1, -1, -1], [1, -1, 1, -1, 1, -1, 1, -1.0]])
    offsets = np.repeat((signs * np.array([[1.0], [2.0], [3.0]]))[:, None, :], 3, axis=1)
    assert offsets.shape == (3, 3, stations)
    assert hat(offsets) == pytest.approx(np.array([1.0, 4.0, 9.0])[:, None] * np.ones(3))


def test_shifts_of_whole_rides_are_worked_by_hand():
    """The second of three devices lies 1, 2 and 6 m off on three rides: mean 3, squares about it 14, variance 14/2 = 7.

    The mean's own noise is 14/(3·2) = 7/3, so the constant offset squared is 9 − 7/3 = 20/3, and the rides give
    1 − 20/3, 4 − 20/3 and 36 − 20/3, whose mean is the variance again.
    """
    shifts = np.zeros((3, 3, 10))
    shifts[1] = np.array([1.0, 2.0, 6.0])[:, None]
    found = hat(shifts)
    assert found[1] == pytest.approx([1 - 20 / 3, 4 - 20 / 3, 36 - 20 / 3])
    assert found[[0, 2]] == pytest.approx(np.zeros((2, 3)))
    assert found[1].mean() == pytest.approx(7.0)


def test_a_device_on_one_ride_only_makes_no_hat_of_two_and_hides_none_of_three():
    """One ride cannot tell a constant offset from an error, so the third device says nothing there; three others do."""
    signs = np.array([[1.0, 1, -1, -1], [1, -1, 1, -1], [1, -1, -1, 1]])[:, None, :]
    offsets = np.repeat(signs * np.array([1.0, 2.0, 3.0])[:, None, None], 2, axis=1)
    lone = offsets.copy()
    lone[2, 1] = np.nan
    assert np.isnan(hat(lone)).all()
    assert np.isnan(hat(np.full((3, 2, 4), np.nan))).all()
    changing = np.full((4, 3, 4), np.nan)  # the third rode once, the fourth twice in its place
    changing[:2], changing[2, 0], changing[3, 1:] = offsets[:2, :1], offsets[2, 0], offsets[2]
    found = hat(changing)
    assert np.isnan(found[:, 0]).all()
    assert found[[0, 1, 3], 1:] == pytest.approx(np.array([[1.0, 1], [4, 4], [9, 9]]))
    four = np.concatenate([offsets, np.full((1, 2, 4), np.nan)])
    four[3, 0] = 5.0
    assert hat(four)[:3] == pytest.approx(np.array([[1.0, 1], [4, 4], [9, 9]]))
    assert np.isnan(hat(four)[3]).all()


@pytest.mark.parametrize(
    ("values", "interval", "sd_m", "note"),
    [
        ([9.0], "none: 1 ride, at least 4 needed", 3.0, ""),
        ([9.0, 7.0], "none: 2 rides, at least 4 needed", np.sqrt(8.0), ""),
        ([3.0, 4.0, 5.0, 4.0], "", 2.0, ""),
        ([-3.0, -4.0, -5.0, -4.0], "", np.nan, "the errors of the devices are not independent"),
        ([-3.0, 1.5, -2.0, 1.0], "", np.nan, "not independent, or the rides are too few to tell it from nought"),
        ([-3.0, -3.0], "none: 2 rides", np.nan, "not independent, or the rides are too few to tell it from nought"),
        # Student's interval ends at −4 + t(.975, 3) · 1.80/2 = −4 + 3.182 · .9 = −1.13 (handbook table): below nought
        ([-2.2, -3.0, -6.2, -4.6], "", np.nan, "the errors of the devices are not independent"),
        # … at −4 + 3.182 · 2.7/2 = +0.30
        ([-1.3, -2.5, -7.2, -5.0], "", np.nan, "not independent, or the rides are too few to tell it from nought"),
        # … and here at −4 + 3.182 · 2.4/2 = −0.18
        ([-1.6, -2.7, -6.9, -4.8], "", np.nan, "the errors of the devices are not independent"),
    ],
)
def test_what_is_said_of_a_variance(values, interval, sd_m, note):
    found = _error_variance("x", "A", np.array(values), 0.95)
    assert (found.rides, found.variance_m2.value) == (len(values), pytest.approx(np.mean(values)))
    assert found.variance_m2.method.startswith(interval)
    assert np.isfinite(found.variance_m2.low) == (len(values) >= 4)
    assert found.sd_m == pytest.approx(sd_m, nan_ok=True)
    assert found.note.endswith(note)
    assert bool(found.note) == bool(note)


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


def test_four_devices_make_a_hat_on_each_route_and_over_all():
    """By least squares over six pairs of four devices with errors 1, 2, 3 and 4 m; routes count together, by name apart."""
    signs = np.array([[1, 1, 1, 1, -1, -1, -1, -1], [1, 1, -1, -1, 1, 1, -1, -1], [1, -1, 1, -1, 1, -1, 1, -1.0]])
    rows = np.concatenate([signs, [signs[0] * signs[1]]]) * np.array([[1.0], [2.0], [3.0], [4.0]])
    first, second = np.repeat(rows[:, None], 2, axis=1), np.repeat(2 * rows[:, None], 4, axis=1)
    one, other = campaign(first), campaign(second, route="B", first=8)
    found = error_variances(*(a + b for a, b in zip(one, other, strict=True)), Settings())
    assert [(v.device, v.route, v.rides) for v in found[:4]] == [
        ("device 1", "", 6), ("device 1", "A", 2), ("device 1", "B", 4), ("device 2", "", 6),
    ]  # fmt: skip
    square = np.array([v.variance_m2.value for v in found]).reshape(4, 3)
    assert square == pytest.approx(np.outer([1, 4, 9, 16], [(2 * 1 + 4 * 4) / 6, 1, 4]))


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

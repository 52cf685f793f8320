"""Against a reference line: factors of the accuracy standard, and a planted bias."""

from __future__ import annotations

import numpy as np
import pytest
from offset_campaigns import Truth, campaign, left_out_offsets, positions

from gpsq.settings import Settings
from gpsq.summaries.accuracy import _assumption, against_reference, axis_factor, radius
from gpsq.summaries.device_figures import summarise


@pytest.mark.parametrize(
    ("probability", "factor"),
    # CEP 1.1774: van Diggelen 1998, GPS World, January, table of conversions; 95 % 2.4477 and 90 % 2.1460:
    # FGDC-STD-007.3-1998, appendix 3-A, after Greenwalt & Schultz; 2drms holds 98.17 %: NRC 1995 (98 % if circular).
    [(0.5, 1.1774), (0.95, 2.4477), (0.9, 2.1460), (0.98168, 2.8284)],
)
def test_circular_factors(probability, factor):
    assert radius(1.0, probability=probability) == pytest.approx(factor, rel=1e-4)


def test_factor_from_radial_error():
    # FGDC-STD-007.3-1998 section 3.2.1: 1.7308 times the radial error, which is √2 times the error of one axis.
    assert radius(1.0) / np.sqrt(2) == pytest.approx(1.7308, abs=5e-5)


def test_factor_of_one_axis():
    # FGDC-STD-007.3-1998 section 3.2.2: 1.9600.
    assert axis_factor() == pytest.approx(1.96, abs=5e-5)


@pytest.mark.parametrize(
    ("ratio", "exact"),
    # Exact 95 % radius in units of the larger axis; the shortcut 2.4477 × ½ (x + y) of FGDC-STD-007.3-1998, app. 3-A,
    # is 0.28, 1.23, 3.05, 5.92 and 9.83 % smaller (recomputed from the bivariate normal distribution).
    [(1.0, 2.4477), (0.9, 2.3318), (0.8, 2.2303), (0.7, 2.1460), (0.6, 2.0813), (0.5, 2.0359)],
)
def test_unequal_axes(ratio, exact):
    assert radius(1.0, ratio) == pytest.approx(exact, abs=6e-5)
    assert radius(ratio, 1.0) == radius(1.0, ratio)


@pytest.mark.parametrize(("rms", "wanted"), [(2.5, 6.1), (10, 24.5), (100, 244.8)])
def test_accuracy_classes(rms, wanted):
    # ASPRS Positional Accuracy Standards 2014, table of common horizontal accuracy classes (cm).
    assert radius(rms) == pytest.approx(wanted, abs=0.05)


def test_mean_square_is_bias_squared_and_variance():
    # ISO 5725-1: accuracy is trueness and precision together. Rides at 2 and 4 m: bias 3, variance 1.
    found = against_reference(np.array([[2.0] * 30, [4.0] * 30]))
    assert found.accuracy_m**2 == pytest.approx(found.bias_m.value**2 + found.precision_m**2 * (2 - 1) / 2)


def test_a_bias_of_all_devices_is_invisible_without_and_found_with_the_reference():
    rng = np.random.default_rng(6)
    truth = Truth((2.0, 3.0, 4.0), (0.0, 0.0, 0.0), stations=600)
    true = positions(truth, 10, rng)
    plain, shifted = (summarise(*campaign(left_out_offsets(t)), Settings()) for t in (true, true + 3.0))
    for a, b in zip(plain, shifted, strict=True):
        assert b.figures["bias_m"].value == pytest.approx(a.figures["bias_m"].value, abs=1e-9, nan_ok=True)
        assert b.figures["repeatability_m"].value == pytest.approx(a.figures["repeatability_m"].value, abs=1e-9)
    found = []
    for _ in range(40):
        centreline = np.median((positions(truth, 10, rng) + 3.0).reshape(-1, 600), axis=0)
        found.append(against_reference(centreline[None]).bias_m.value)
    assert np.mean(found) == pytest.approx(3.0, abs=0.15)  # one scatters by 0.25 m, their mean by 0.04


def test_trueness_of_one_device():
    rng = np.random.default_rng(7)
    found = [against_reference(positions(Truth((2.0,), (3.0,), rider_m=0.5), 10, rng)[0]) for _ in range(20)]
    assert np.mean([f.bias_m.value for f in found]) == pytest.approx(3.0, abs=0.2)
    assert np.mean([f.precision_m for f in found]) == pytest.approx(np.hypot(2, 0.5), rel=0.05)
    assert np.mean([f.systematic_m for f in found]) == pytest.approx(3.0, rel=0.05)


def test_trueness_along_the_route_is_freed_of_the_noise_of_few_rides():
    # Mean of 3 rides with spread 3 m: its noise, 3 m² in the mean square, must not be taken for a bias of 1 m.
    rng = np.random.default_rng(9)
    truth = Truth((3.0,), (1.0,), rider_m=0.0, ride_share=0.0, reach_m=20.0, stations=900)
    found = [against_reference(positions(truth, 3, rng)[0]).systematic_m ** 2 for _ in range(40)]
    assert np.mean(found) == pytest.approx(1.0, abs=0.3)


def test_the_standards_figure_is_refused_where_a_bias_dominates():
    rng = np.random.default_rng(8)
    biased = against_reference(5.0 + 0.5 * rng.standard_normal((4, 400)))
    assert not biased.assumption_holds
    assert "above the one counted" in biased.assumption
    assert biased.within_95_m < 6 < biased.standard_95_m
    assert against_reference(rng.standard_normal((4, 400))).assumption_holds


def test_the_standards_figure_is_refused_with_too_few_independent_places():
    found = against_reference(np.ones((3, 400)) * np.array([[1.0], [-1.0], [2.0]]))
    assert not found.assumption_holds
    assert "3 independent check points" in found.assumption


def test_nothing_covered_gives_nothing():
    found = against_reference(np.full((2, 5), np.nan))
    assert np.isnan(found.accuracy_m)
    assert not found.assumption_holds


def test_trueness_is_the_mean_of_each_station_less_its_noise():
    """Rides 2, 4 at one station and 1 alone at another: means 3 and 1, variance 2, noise (2/2 + 2/1)/2: √(10/2 − 1.5)."""
    nan = np.nan
    found = against_reference(np.array([[2.0, nan, nan], [4.0, 1.0, nan], [nan, nan, nan]]))
    assert (found.rides, found.precision_m) == (2, pytest.approx(np.sqrt(2)))
    assert found.systematic_m == pytest.approx(np.sqrt(3.5))
    assert against_reference(np.array([[1.0], [-1.0]])).systematic_m == 0.0  # noise alone: 0 less 1 is none
    assert against_reference(np.array([[3.0, -4.0]])).systematic_m == pytest.approx(
        np.sqrt(12.5)
    )  # one ride: all of it
    nothing = against_reference(np.full((2, 3), nan))
    assert (nothing.rides, nothing.assumption, nothing.assumption_holds) == (0, "no station is covered", False)


def test_the_bias_is_the_mean_of_the_rides_medians_with_students_interval():
    """Medians 2 and 4: 3 ± t(.975, 1) · 1 = 12.706, at 90 % t(.95, 1) = 6.314 (handbook table)."""
    rows = np.array([[2.0, 2.0, 99.0], [4.0, -7.0, 4.0]])
    for found, half in ((against_reference(rows), 12.706), (against_reference(rows, 0.9), 6.314)):
        assert (found.bias_m.value, found.bias_m.low, found.bias_m.high) == pytest.approx(
            (3.0, 3 - half, 3 + half), rel=1e-4
        )


def test_sizes_that_95_per_cent_keep():
    """Offsets 0 … 100, every other one to the right: 95 are counted; by the standard 1.96 and 2.4477 times √(Σk²/101) = 58.02."""
    found = against_reference(np.where(np.arange(101) % 2, -1.0, 1.0)[None] * np.arange(101.0))
    assert found.within_95_m == 95.0
    assert found.accuracy_m == pytest.approx(np.sqrt(100 * 201 / 6))
    assert (found.standard_95_m, found.radius_95_m) == pytest.approx((1.95996 * 57.879, 2.44775 * 57.879), rel=1e-4)


@pytest.mark.parametrize(
    ("counted", "standard", "points", "holds", "said"),
    [
        (10.0, 10.9, 20.0, True, "holds: the figure lies within 10% of the one counted"),
        (10.0, 9.1, 99.0, True, "holds: the figure lies within 10% of the one counted"),
        (10.0, 11.2, 20.0, False, "does not hold: not normal about nought, the figure is 12% above the one counted"),
        (10.0, 8.5, 20.0, False, "does not hold: not normal about nought, the figure is 15% below the one counted"),
        (10.0, 10.0, 19.9, False,
         "does not hold: the offsets are worth 19 independent check points, the standard asks for 20"),
        (0.0, 0.0, 20.0, True, "holds: the figure lies within 10% of the one counted"),
    ],
)  # fmt: skip
def test_whether_the_standards_figure_may_be_used(counted, standard, points, holds, said):
    assert _assumption(counted, standard, points) == (holds, said)


def test_check_points_are_the_rides_times_their_independent_places():
    """Forty rides whose two stations go together are forty points; of nineteen it is one too few."""
    rows = np.random.default_rng(3).standard_normal((40, 1)) * np.ones((40, 2))
    assert against_reference(rows[:19] + 0.01).assumption.startswith(
        "does not hold: the offsets are worth 19 independent"
    )
    assert "check points" not in against_reference(rows).assumption


def test_without_error_on_one_axis_the_radius_is_that_of_the_other():
    assert radius(2.0, 0.0) == pytest.approx(2 * 1.95996, rel=1e-5)
    assert radius(0.0, 2.0) == radius(2.0, 0.0)
    assert radius(0.0) == 0.0

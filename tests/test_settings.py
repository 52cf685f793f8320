"""The thresholds that every figure rests on: their values and ranges, written a second time, and what is refused."""

from __future__ import annotations

import pytest

from gpsq.settings import RESULTS, Settings

#: Value, unit, least and most. Who changes one changes figures: it is changed here too, and in the notes on the method.
EXPECTED = {
    "gap_s": (60, "s", 1, 86_400), "start_bound_s": (1800, "s", 0, 86_400), "log_bound_s": (4 * 3600, "s", 60, 86_400),
    "frozen_min_points": (3, "points", 2, 1000), "speed_limit_mps": (216 / 3.6, "m/s", 5, 400),
    "frozen_jump_m": (100, "m", 10, 10_000), "frozen_jump_factor": (4, "1", 1, 100),
    "outlier_jump_m": (500, "m", 50, 100_000), "outlier_max_points": (3, "points", 1, 100), "spike_m": (30, "m", 5, 10_000),
    "pair_step_m": (25, "m", 1, 500), "pair_near_m": (60, "m", 5, 1000), "pair_share": (0.6, "1", 0.1, 1),
    "ride_overlap_share": (0.5, "1", 0.1, 1), "step_m": (5, "m", 0.5, 100), "align_cap_m": (60, "m", 5, 1000),
    "settle_band_m": (15, "m", 1, 500), "settle_hold_s": (30, "s", 1, 600), "hot_start_s": (10, "s", 1, 600),
    "deviation_band_m": (30, "m", 2, 1000), "ride_band_m": (16, "m", 2, 1000), "deviation_spread_factor": (4, "1", 1, 20),
    "deviation_min_m": (60, "m", 5, 10_000), "confidence": (0.95, "1", 0.5, 0.999),
    "resamples": (2000, "resamples", 100, 100_000), "seed": (20_240, "1", 0, 2**31),
}  # fmt: skip


def test_every_threshold_has_its_value_unit_and_reason():
    rows = Settings().rows()
    assert {name: (value, unit) for name, value, unit, _ in rows} == {n: e[:2] for n, e in EXPECTED.items()}
    assert [row[0] for row in rows] == list(EXPECTED)
    assert all(len(why) > 20 for *_, why in rows)
    assert RESULTS == "gpsq-results"


@pytest.mark.parametrize("name", EXPECTED)
def test_a_value_at_the_end_of_its_range_is_taken_and_one_beyond_refused(name):
    _, unit, low, high = EXPECTED[name]
    for value in (low, high):
        assert getattr(Settings().with_values(**{name: value}), name) == value
    for value in (low - 0.001, high + 0.001, float("nan"), float("inf")):
        with pytest.raises(ValueError, match=f"^{name} must lie between {low} and {high} {unit}, but is {value}$"):
            Settings().with_values(**{name: value})


@pytest.mark.parametrize("value", [True, "60", None])
def test_what_is_no_number_is_refused(value):
    with pytest.raises(ValueError, match=f"^gap_s must be a number, but is {value!r}$"):
        Settings(gap_s=value)


def test_a_name_that_is_no_setting_is_refused_and_the_known_ones_are_named():
    with pytest.raises(ValueError, match=r"^gap_m is no setting; known are align_cap_m, confidence, .*, step_m$"):
        Settings().with_values(gap_m=3)

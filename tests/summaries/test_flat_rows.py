"""A result as one flat row: which column an interval's bounds get, where the name ends in a unit and where it does not."""

from __future__ import annotations

import pytest

from gpsq.summaries.flat_rows import flat_row
from gpsq.summary_types import DeviceSummary, Interval


@pytest.mark.parametrize(
    ("name", "low", "high"),
    [
        ("missed_median_m", "missed_median_low_m", "missed_median_high_m"),
        ("ttff_median_s", "ttff_median_low_s", "ttff_median_high_s"),
        ("variance_m2", "variance_low_m2", "variance_high_m2"),
        ("fixed_in_30s", "fixed_in_30s_low", "fixed_in_30s_high"),  # ends in a number of seconds, not in a unit
        ("coverage", "coverage_low", "coverage_high"),
        ("m", "m_low", "m_high"),
        ("within_5m", "within_5m_low", "within_5m_high"),
    ],
)
def test_bounds_stand_before_the_unit(name, low, high):
    row = flat_row(DeviceSummary("Amber", "out", 3, {name: Interval(2.0, 1.0, 4.0)}))
    assert list(row.items())[-3:] == [(name, 2.0), (low, 1.0), (high, 4.0)]
    assert (row["device"], row["route"]) == ("Amber", "out")
    assert len(row) == 6


def test_a_figure_that_is_no_interval_stays_one_column():
    assert flat_row(DeviceSummary("Amber", "", 3, {"rides": 7}))["rides"] == 7

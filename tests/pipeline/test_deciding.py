"""A decision that agrees with what is suggested changes no figure: one rule before and after it."""

from __future__ import annotations

import shutil
from pathlib import Path

import numpy as np
import pytest
from deciding import before_and_after, moved_m

DEMO = Path(__file__).resolve().parents[2] / "demo_routes"
#: What a device's figure was once turned by, where the person decided as suggested: 4.0 m to 16 m.
MOST_M = 0.5


@pytest.fixture(scope="module")
def week(tmp_path_factory):
    return before_and_after(shutil.copytree(DEMO, tmp_path_factory.mktemp("decided") / "week"))


def test_deciding_as_suggested_moves_no_figure_of_the_demo(week):
    before, after = week
    assert {d.suggestion for d in before.deviations} == {"route choice", "receiver error"}
    assert all(d.flag for d in after.deviations)
    moved = moved_m(before, after)
    assert len(moved) == 3 * 3 * 5  # three devices, two ways and both together, five columns
    assert max(abs(new - old) for old, new in moved.values()) <= MOST_M


def test_neighbouring_figures_of_the_demo_agree(week):
    """What stands side by side in a table must be able to be true at once (each pair is listed in docs/validation.md)."""
    before, _ = week
    for summary in before.summaries.devices:
        f = {name: found.value for name, found in summary.figures.items()}
        assert f["fixed_in_10s"] <= f["fixed_in_30s"] <= f["fixed_in_60s"] <= 1 - f["ttff_never"] / f["ttff_known"]
        assert f["ttff_median_s"] <= f["usable_median_s"]
        for limit in (10, 30, 60):  # the median lies within a limit exactly where half of the starts do
            assert (f["ttff_median_s"] <= limit) == (f[f"fixed_in_{limit}s"] >= 0.5)
        assert f["missed_median_m"] <= f["missed_worst_m"]
        assert f["xte_median_m"] <= f["xte_p68_m"] <= f["xte_p95_m"]
        assert f["xte_p68_m"] <= f["xte_rms_m"] or summary.route  # a tail makes the root mean square larger, no less
        assert f["scored_rides"] <= summary.rides
        assert f["receiver_errors"] == round(f["receiver_errors_per_100km"] * f["scored_km"] / 100)
        for name in ("ttff_median_s", "xte_median_m", "xte_p68_m", "xte_p95_m", "repeatability_m"):
            found = summary.figures[name]
            assert np.isnan(found.low) or found.low <= found.value <= found.high
    ratios = {(c.first, c.second): c.difference for c in before.summaries.comparisons if c.measure == "repeatability_m"}
    alone = {s.device: s.figures["repeatability_m"].value for s in before.summaries.devices if not s.route}
    for (
        first,
        second,
    ), ratio in ratios.items():  # on the rides of both, so near that of the table, and within its interval
        assert ratio.low <= alone[first] / alone[second] <= ratio.high
    own = {e.device: e for e in before.summaries.error_variances if not e.route}
    for device, found in own.items():  # an own error is free of the rider's line: its interval reaches below all errors
        rms = next(
            s.figures["xte_rms_m"].value for s in before.summaries.devices if (s.device, s.route) == (device, "")
        )
        assert found.variance_m2.low <= rms**2

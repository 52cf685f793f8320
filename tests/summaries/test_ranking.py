"""Places of devices: a clear order is told, twins share it, and few rides tell none."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from offset_campaigns import Truth, campaign, left_out_offsets, positions
from scipy.stats import ttest_1samp

from gpsq.settings import Settings
from gpsq.summaries import ranking
from gpsq.summaries.ranking import _shown_better, compare_places, rank_by_repeatability, share_first
from gpsq.summary_types import DeviceSummary, Interval


def ranked(error_m, rides, rng):
    truth = Truth(error_m, (0.0,) * len(error_m))
    return rank_by_repeatability(*campaign(left_out_offsets(positions(truth, rides, rng))), Settings())


def test_a_clearly_better_device_is_first_and_its_place_is_sure():
    first, last = ranked((1.5, 6.0), 8, np.random.default_rng(3))
    assert (first.device, first.place, first.best, first.worst, first.rides) == ("device 1", 1, 1, 1, 8)
    assert first.first_share > 0.99
    assert (last.place, last.best) == (2, 2)


def test_twins_share_the_first_place():
    rng = np.random.default_rng(4)
    shares = [next(p.first_share for p in ranked((3.0, 3.0), 8, rng) if p.device == "device 1") for _ in range(40)]
    assert np.mean(shares) == pytest.approx(0.5, abs=0.15)


def test_under_five_rides_no_place_is_told():
    rng = np.random.default_rng(5)
    assert ranked((1.5, 6.0), 4, rng) == ()
    assert len(ranked((1.5, 6.0), 5, rng)) == 2


def test_of_two_devices_the_share_is_that_of_the_paired_test():
    logs = np.random.default_rng(6).normal((0.0, 0.4), size=(9, 2))
    one_sided = ttest_1samp(logs[:, 0] - logs[:, 1], 0.0, alternative="greater").pvalue
    assert share_first(logs, 40_000, 1)[0] == pytest.approx(one_sided, abs=0.01)


def test_places_come_from_simultaneous_intervals():
    # Three devices of equal error: any one shown better than another in at most 5 % of campaigns, all pairs together.
    rng = np.random.default_rng(7)
    some = [_shown_better(rng.normal(size=(8, 3)), 0.95).any() for _ in range(600)]
    assert np.mean(some) <= 0.075  # 0.05 and three standard errors of 600 counts


def test_the_device_without_which_most_rides_are_shared_is_left_out():
    offsets = left_out_offsets(positions(Truth((2.0, 3.0, 4.0), (0.0,) * 3), 6, np.random.default_rng(8)))
    traces, results, routes = campaign(offsets)
    rarely = tuple(replace(r, crosstrack=None) if r.trace in range(2, 6) else r for r in results)  # device 1: two rides
    assert {p.device: p.rides for p in rank_by_repeatability(traces, rarely, routes, Settings())} == {
        "device 2": 6, "device 3": 6,
    }  # fmt: skip


@pytest.mark.parametrize(("first", "second", "said"), [
    (Interval(4.0, 3.5, 4.5), Interval(2.0, 1.8, 2.2), "a scatters more on A than on B, ratio 2.00 (1.70 to 2.34)"),
    (Interval(2.0, 1.8, 2.2), Interval(4.0, 3.5, 4.5), "a scatters less on A than on B, ratio 0.50 (0.43 to 0.59)"),
    (Interval(2.2, 1.8, 2.6), Interval(2.0, 1.7, 2.3), "a: A and B cannot be told apart, ratio 1.10 (0.86 to 1.39)"),
    (Interval(2.0), Interval(4.0, 3.5, 4.5), "a: nothing can be said of A and B"),
])  # fmt: skip
def test_what_is_said_of_two_routes(first, second, said):
    """Distances to the bounds add in squares on the logarithm (Donner & Zou 2012): 2 e^−√(ln²(4/3.5) + ln²(2.2/2)) = 1.695."""
    summaries = [
        DeviceSummary(device, route, 5, {"repeatability_m": figure})
        for device, route, figure in (("b", "A", first), ("a", "", first), ("a", "A", first), ("a", "B", second))
    ]
    (found,) = compare_places(summaries)
    assert (found.device, found.first, found.second) == ("a", "A", "B")
    assert found.verdict == said


def test_a_place_is_told_by_the_mean_of_logarithms_and_its_chance_by_the_same(monkeypatch):
    """Four rides of two devices: 1, 1, 1 and 16 m against 2 m each; in logarithms they are as good, in metres 4.75 to 2."""
    logs = np.log([[1.0, 2.0], [1.0, 2.0], [1.0, 2.0], [16.0, 2.0]])
    asked = []
    monkeypatch.setattr(ranking, "share_first", lambda *given: asked.append(given) or np.array([0.7, 0.3]))
    settings = Settings(seed=5, resamples=400)
    places = {found.device: found for found in ranking._places(("a", "b"), logs, 4, settings)}
    ((given, draws, seed),) = asked
    assert (given.tolist(), draws, seed) == (logs.tolist(), 400, 5)
    assert [places[name].repeatability_m for name in "ab"] == pytest.approx([2.0, 2.0])
    assert [places[name].first_share for name in "ab"] == [0.7, 0.3]
    assert [(places[name].best, places[name].worst) for name in "ab"] == [(1, 2), (1, 2)]

"""Devices on the same rides: which rides and stations count, and what each ride weighs in the repeatability."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from offset_campaigns import Truth, campaign, left_out_offsets, positions
from scipy.optimize import brentq
from scipy.stats import nct, t, ttest_1samp

from gpsq.settings import Settings
from gpsq.statistics import paired
from gpsq.summaries.device_pairs import compare_pairs
from gpsq.summaries.devices.repeatability import from_others
from gpsq.summaries.devices.shared_rides import SharedRides, log_errors, pseudo_values, shared_rides
from gpsq.summaries.station_table import station_table

ALIKE = {"device 1": 1.0, "device 2": 1.0}


def made(offset_m, common_m=None, counted=None):
    offset_m = np.asarray(offset_m, dtype=float)
    return SharedRides(
        offset_m,
        offset_m if common_m is None else np.asarray(common_m, dtype=float),
        np.ones(offset_m.shape[1:], dtype=bool) if counted is None else counted,
    )


def of_campaign(offsets, drop=()):
    """Return what two devices share where some recordings, by number, were not scored."""
    traces, results, routes = campaign(offsets)
    results = tuple(replace(r, crosstrack=None) if r.trace in drop else r for r in results)
    table = station_table(routes[0], traces, results)
    return shared_rides(table, routes[0], ("device 1", "device 2"), ALIKE)


def test_rides_that_both_recorded_count_where_both_are_scored():
    offsets = np.random.default_rng(1).normal(size=(2, 5, 60))
    offsets[0, 1, :50] = np.nan
    offsets[1, 2, 10:] = np.nan
    found = of_campaign(offsets, drop=(3, 9))  # the fourth ride of the first, the fifth of the second
    assert found.rides == 3
    assert found.counted.sum(axis=1).tolist() == [60, 10, 10]
    assert len(log_errors(found)) == 1  # under 20 stations a ride has no error of its own


def test_errors_of_a_ride_rest_on_the_stations_of_both():
    # The second device lacks the bad half: on the other both keep 2 m, so the ratio is 1 (ln 0), whatever is beyond.
    rows = np.full((2, 1, 80), 2.0)
    rows[0, 0, 40:] = 30.0
    half = np.arange(80)[None] < 40
    assert log_errors(made(rows, counted=half)) == pytest.approx(np.log([[2.0, 2.0]]))
    nought = rows.copy()
    nought[1] = 0.0
    assert len(log_errors(made(nought, counted=half))) == 0


def test_pseudo_values_by_hand():
    """Three rides of constant offsets 0, 1, 3: distances from the middle of the other two, over √2 (c/k = 1/2 of two).

    Ride against the mean of the others: |0 − 2|, |1 − 1.5|, |3 − 0.5| over √1.5: 1.6330, 0.4082, 2.0412; with one place
    each the 68.27th percentile by the lower rank is the second of three: 1.6330. Without the first: |1 − 3| over √2 twice,
    1.4142; without the second 2.1213; without the third 0.7071. Pseudo-values: ln θ + 2 (mean of the three − each).
    """
    rows = np.array([0.0, 1.0, 3.0])[None, :, None] * np.array([1.0, 2.0])[:, None, None]
    found = pseudo_values([made(rows)])
    without = np.log([1.4142136, 2.1213203, 0.7071068])
    wanted = np.log(1.6329932) + 2 * (without.mean() - without)
    assert found[:, 0] == pytest.approx(wanted, abs=1e-6)
    assert found[:, 1] == pytest.approx(wanted + np.log(2.0), abs=1e-6)  # twice as far off everywhere: ln 2 more


def test_routes_count_together_and_one_ride_alone_on_a_way_says_nothing():
    rng = np.random.default_rng(2)
    ways = [made(rng.normal(size=(2, n, 50))) for n in (4, 1, 3)]
    assert pseudo_values(ways).shape == (7, 2)
    assert pseudo_values(ways) == pytest.approx(pseudo_values([ways[0], ways[2]]))
    assert pseudo_values([made(rng.normal(size=(2, 2, 50)))]).size == 0


def test_a_ride_left_out_of_one_road_leaves_the_other_whole():
    """Two roads of three and two rides, every station shared: the size that 68.27 % keep of both, without each ride in turn."""
    rng = np.random.default_rng(7)
    roads = [rng.normal(0, 2, (2, 3, 40)), rng.normal(0, 3, (2, 2, 30))]

    def log_sd(*rows):
        sizes = np.sort(np.concatenate([np.abs(from_others(r)).ravel() for r in rows if len(r) > 1]))
        return np.log(sizes[int(0.6827 * (len(sizes) - 1))])

    found = pseudo_values([made(r) for r in roads])
    for device in (0, 1):
        first, second = (r[device] for r in roads)
        without = [log_sd(np.delete(first, k, axis=0), second) for k in range(3)]
        without += [log_sd(first, np.delete(second, k, axis=0)) for k in range(2)]
        wanted = log_sd(first, second) + 4 * (np.mean(without) - np.array(without))
        assert found[:, device] == pytest.approx(wanted)


def test_of_hundreds_of_rides_blocks_are_left_out():
    assert len(pseudo_values([made(np.random.default_rng(3).normal(size=(2, 90, 4)))])) == 40


def test_the_pairs_test_is_students_on_these_values():
    traces, results, routes = campaign(
        left_out_offsets(positions(Truth((2.0, 3.0), (0.0, 0.0)), 8, np.random.default_rng(4)))
    )
    (found,) = (c for c in compare_pairs(traces, results, routes, Settings()) if c.measure == "repeatability_m")
    values = pseudo_values(
        [shared_rides(station_table(routes[0], traces, results), routes[0], ("device 1", "device 2"), ALIKE)]
    )
    wanted = ttest_1samp(values[:, 0] - values[:, 1], 0.0)
    assert (found.test, found.rides) == (paired.PSEUDO_VALUES, 8)
    assert found.p == pytest.approx(wanted.pvalue)
    # What eight rides would find with 80 % power is Student's too, by the library's noncentral t.
    least = brentq(lambda e: nct.sf(t.ppf(0.975, 7), 7, e * np.sqrt(8)) - 0.8, 0.5, 3.0)
    assert np.log(found.detectable) == pytest.approx((values[:, 0] - values[:, 1]).std(ddof=1) * least, rel=1e-3)
    interval = wanted.confidence_interval(0.95)
    assert np.log([found.difference.low, found.difference.high]) == pytest.approx([interval.low, interval.high])


def test_two_rides_say_nothing_of_repeatability():
    parts = campaign(np.random.default_rng(5).normal(size=(2, 2, 60)))
    (found,) = (c for c in compare_pairs(*parts, Settings()) if c.measure == "repeatability_m")
    assert np.isnan(found.p)
    assert found.verdict == "nothing can be said of repeatability: device 1 and device 2 share 2 usable rides"


@pytest.mark.parametrize("rides", [4, 8])
def test_identical_devices_are_seldom_called_different(rides):
    """A ride has a common offset, which makes the middle of all others wrong: the test must know that.

    At most 7 % may be called different; of 150 at that rate more than 17 would be one in fifty.
    """
    rng = np.random.default_rng(rides)
    truth = Truth((3.0, 3.0), (0.0, 0.0), ride_share=0.3, reach_m=120.0, stations=120)
    called = 0
    for _ in range(150):
        own = made(np.zeros((2, rides, 120)), positions(truth, rides, rng))
        values = pseudo_values([own])
        called += ttest_1samp(values[:, 0] - values[:, 1], 0.0).pvalue <= 0.05
    assert called <= 17

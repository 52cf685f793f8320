"""Pooled figures, comparisons and places on offsets made by hand, with the answer worked out beside them."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from offset_campaigns import Truth, campaign, crosstrack, left_out_offsets, positions, waits
from scipy.stats import false_discovery_control, ttest_1samp

from gpsq.settings import Settings
from gpsq.summaries import device_pairs, own_error, ranking
from gpsq.summaries.device_pairs import compare_pairs
from gpsq.summaries.devices import first_fixes, road_within
from gpsq.summaries.devices.shared_rides import SharedRides, log_errors, shared_rides
from gpsq.summaries.station_table import station_table

SETTINGS = Settings()


def test_a_long_ride_weighs_by_its_length():
    """1 km with 10 m and 9 km with 1 m: the mean square is (100 + 9) / 10 = 10.9, whatever a mean of the two would say."""
    found = road_within.figures([np.full(200, 10.0), np.full(1800, -1.0), np.full(5, np.nan)], 0.95)
    assert found["xte_rms_m"].value == pytest.approx(np.sqrt(10.9))
    assert (found["xte_median_m"].value, found["xte_p95_m"].value) == (1.0, 10.0)


def test_what_was_not_scored_enters_no_table():
    """A stretch on another road has offsets, but does not count."""
    offset_m = np.array([1.0, 2.0, 90.0, 95.0, 3.0])
    traces, results, routes = campaign(np.ones((1, 3, 5)))
    scored = np.array([True, True, False, False, True])
    odd = replace(results[0], crosstrack=replace(crosstrack(offset_m), scored=scored))
    table = station_table(routes[0], traces, (odd, *results[1:]))
    assert table is not None
    np.testing.assert_equal(table.offset_m[0], [1.0, 2.0, np.nan, np.nan, 3.0])


def shared(first, second, counted=None):
    """Return one ride of two devices with these offsets, compared where both have one."""
    offset_m = np.array([first, second], float)[:, None]
    where = np.isfinite(offset_m).all(axis=0) if counted is None else counted
    return SharedRides(offset_m, offset_m, where)


def test_devices_are_compared_on_the_road_that_both_have():
    """With equal errors on the road that both have they are alike, though one has four times as much good road beside it."""
    whole = np.concatenate([np.full(160, 1.0), np.full(40, 6.0)])
    half = np.where(np.arange(200) < 160, np.nan, 6.0)
    assert log_errors(shared(whole, half)) == pytest.approx(np.log([[6.0, 6.0]]))
    # twice as far off on it: ln 2, in the order of the devices
    assert log_errors(shared(2 * half, whole)) == pytest.approx(np.log([[12.0, 6.0]]))
    assert log_errors(shared(whole, -0.05 * half)) == pytest.approx(np.log([[6.0, 0.3]]))


def test_a_ride_with_too_little_road_in_common_is_left_out():
    """Twenty stations at least; of a road with fewer than forty, half of it. No error at all has no logarithm."""
    for stations, common, known in ((100, 19, 0), (100, 20, 1), (30, 14, 0), (30, 15, 1)):
        other = np.where(np.arange(stations) < common, 2.0, np.nan)
        assert len(log_errors(shared(np.full(stations, 2.0), other))) == known
    assert len(log_errors(shared(np.full(50, 2.0), np.zeros(50)))) == 0


def test_what_devices_recorded_together_is_what_all_of_them_have():
    """Of five rides of two devices one is missing from the second, one shares no station, one half of them."""
    first, second = np.full((5, 40), 2.0), np.full((5, 40), 3.0)
    first[1, 20:], second[1, :20] = np.nan, np.nan
    second[2, 10:] = np.nan
    traces, results, routes = campaign(np.array([np.where(np.isnan(rows), 9.0, rows) for rows in (first, second)]))
    everything = np.concatenate([first, second])
    results = tuple(
        replace(r, crosstrack=replace(r.crosstrack, scored=np.isfinite(row)), ride="else" if r.trace == 9 else r.ride)
        for r, row in zip(results, everything, strict=True)
    )
    table = station_table(routes[0], traces, results)
    found = shared_rides(table, routes[0], ["device 1", "device 2"], {})
    assert (found.rides, found.lost, found.thinned) == (3, 1, False)
    assert found.counted.sum(axis=1).tolist() == [40, 10, 40]
    np.testing.assert_equal(found.offset_m[:, 0, 0], [2.0, 3.0])


def test_p_allows_for_all_comparisons_made():
    """Against the general-purpose library, over every measure and pair together."""
    rng = np.random.default_rng(3)
    truth = Truth((2.0, 2.5, 5.0), (0.0, 0.0, 0.0), ttff_median_s=(10.0, 20.0, 30.0))
    found = compare_pairs(*campaign(left_out_offsets(positions(truth, 8, rng)), waits(truth, 8, rng)), SETTINGS)
    p = np.array([c.p for c in found])
    assert len(p) == 9
    assert np.array([c.p_adjusted for c in found]) == pytest.approx(false_discovery_control(p))
    assert (np.array([c.p_adjusted for c in found]) > p).sum() > 5


#: Five rides of two devices: the mean of the differences is 3.3 standard errors from nought. One pair alone is told apart at
#: 95 % (t(.975, 4) = 2.776), one of three pairs at once is not (t(1 − .025/3, 4) = 3.961; handbook table).
APART = np.array([-1.26, -0.63, 0.0, 0.63, 1.26])
APART = APART + 3.3 * APART.std(ddof=1) / np.sqrt(5)


def test_places_hold_all_at_once():
    second = np.array([0.1, -0.2, 0.0, 0.2, -0.1])
    two = np.column_stack([second - APART, second])
    assert [(p.device, p.place, p.best, p.worst) for p in ranking._places(("x", "y"), two, 5, SETTINGS)] == [
        ("x", 1, 1, 1), ("y", 2, 2, 2),
    ]  # fmt: skip
    turned = ranking._places(("y", "x"), two[:, ::-1], 5, SETTINGS)
    assert [(p.device, p.place, p.best, p.worst) for p in turned] == [("x", 1, 1, 1), ("y", 2, 2, 2)]
    three = np.column_stack([second - APART, second, second + np.array([8.0, 8.1, 7.9, 8.05, 7.95])])
    found = ranking._places(("x", "y", "z"), three, 7, SETTINGS)
    assert [(p.device, p.place, p.best, p.worst) for p in found] == [("x", 1, 1, 2), ("y", 2, 1, 2), ("z", 3, 3, 3)]
    assert {p.rides for p in found} == {7}
    assert found[1].repeatability_m == pytest.approx(1.0)  # e to the mean of the logarithms, which is nought
    sure = ranking._places(("x", "y", "z"), three, 7, Settings(confidence=0.8))
    assert [(p.best, p.worst) for p in sure] == [(1, 1), (2, 2), (3, 3)]  # t(1 − .1/3, 4) = 2.5


@pytest.mark.parametrize(("errors", "sure"), [(4.1, True), (3.8, False)])
def test_of_three_pairs_each_keeps_a_third_of_the_level(errors, sure):
    """Two of three devices lie so many standard errors apart; the limit is t(1 − .025/3, 4) = 3.961 (handbook table)."""
    second = np.array([0.1, -0.2, 0.0, 0.2, -0.1])
    spread = APART - APART.mean()
    apart = spread + errors * spread.std(ddof=1) / np.sqrt(5)
    third = second + np.array([8.0, 8.1, 7.9, 8.05, 7.95])
    found = ranking._places(("x", "y", "z"), np.column_stack([second - apart, second, third]), 5, SETTINGS)
    assert [(p.best, p.worst) for p in found] == ([(1, 1), (2, 2), (3, 3)] if sure else [(1, 2), (1, 2), (3, 3)])


def test_one_recording_under_two_names_is_no_better_than_itself():
    rows = np.column_stack([np.array([0.1, -0.2, 0.0, 0.2, -0.1])] * 2)
    assert [(p.best, p.worst) for p in ranking._places(("x", "y"), rows, 5, SETTINGS)] == [(1, 2), (1, 2)]


@pytest.mark.parametrize("difference", [[-0.1, -0.5, -0.3], [-0.1, -0.5, -0.3, 0.2, 0.0]])
def test_the_share_of_first_places_is_students_for_few_rides_too(difference):
    """Of two devices the chance is the one-sided p of the paired test: with so few rides normal odds would be far off."""
    logs = np.column_stack([difference, np.zeros(len(difference))])
    one_sided = ttest_1samp(difference, 0.0, alternative="greater").pvalue
    assert 0.8 < one_sided < 0.95
    assert ranking.share_first(logs, 60_000, 1) == pytest.approx([one_sided, 1 - one_sided], abs=0.006)


def test_places_come_best_first_whoever_rode_more():
    names, logs = ("often", "seldom"), np.log([[4.0, 2.0]] * 4 + [[4.1, 2.1]])
    assert [p.device for p in ranking._places(names, logs, 5, SETTINGS)] == ["seldom", "often"]


def test_only_rides_that_all_devices_recorded_are_ranked():
    """Too few are shared by all three; without the third, which recorded three of the six, the two others are ranked."""
    rng = np.random.default_rng(8)
    traces, results, routes = campaign(rng.normal(0, np.array([2.0, 4.0, 1.0])[:, None, None], (3, 6, 60)))
    kept = [k for k in range(18) if k < 15]
    members = replace(routes[0].route, members=tuple(kept), xy_m=(np.empty((0, 2)),) * 15)
    found = ranking.rank_by_repeatability(traces, results, (replace(routes[0], route=members),), SETTINGS)
    assert [(p.device, p.rides) for p in found] == [("device 1", 6), ("device 2", 6)]
    both = ranking.rank_by_repeatability(traces, results, routes, SETTINGS)
    assert [(p.device, p.rides) for p in both] == [("device 3", 6), ("device 1", 6), ("device 2", 6)]


def test_the_hat_takes_the_noise_off_a_constant_offset():
    """Three devices 0, 3 and −2 m off for ever, their errors of a ride shifted as a whole: the mean variance is unbiased.

    A shift of a whole ride is part of an error: variances 1² + .6², 1.5² + .6², 2² + .6² for shifts of .6 m.
    """
    rng = np.random.default_rng(9)
    error_m, shift_m = np.array([1.0, 1.5, 2.0]), 0.6
    found = []
    for _ in range(500):
        noise = rng.standard_normal((3, 3, 200)) * error_m[:, None, None]
        shifted = noise + shift_m * rng.standard_normal((3, 3, 1)) + np.array([0.0, 3.0, -2.0])[:, None, None]
        found.append(np.nanmean(own_error.hat(shifted), axis=1))
    assert np.mean(found, axis=0) == pytest.approx(error_m**2 + shift_m**2, rel=0.03)


def test_a_start_state_counts_where_there_is_a_time_to_first_fix():
    """Two hot starts, of which one has no time: one is told."""
    _, results, _ = campaign(np.ones((1, 3, 10)), np.array([[5.0, np.nan, 30.0]]))
    states = ("hot", "hot", "cold")
    fixes = [replace(r, first_fix=replace(r.first_fix, start_state=s)) for r, s in zip(results, states, strict=True)]
    assert first_fixes.start_states(fixes) == {"hot": 1, "cold": 1}
    copy = [*fixes[:2], replace(fixes[2], duplicate_of="x.gpx")]
    assert first_fixes.start_states(copy) == {"hot": 1}


def test_the_scatter_of_differences_with_one_that_never_came():
    """Median 3, distances 2, 1, 0, 1, ∞: their median is 1."""
    assert device_pairs._scatter(np.array([1.0, 2.0, 3.0, 4.0, np.inf])) == pytest.approx(1.4826)
    assert np.isnan(device_pairs._scatter(np.array([1.0, np.inf, np.inf])))

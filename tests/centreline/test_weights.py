"""What places count, and devices that differ, against closed forms."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from gpsq.centreline import weights
from gpsq.centreline.strands import Strand, passed_by, strand
from gpsq.centreline.weights import Places, averaged, between_devices, counted
from gpsq.geometry import polyline
from gpsq.geometry.alignment import Abreast
from gpsq.settings import Settings

STATIONS = 400


def places_of(rng, devices, rides, sd_m, offset_m=None):
    """Return places on a straight road: independent normal errors per axis, and an offset per device."""
    names = [(d, r) for d in range(devices) for r in range(rides)]
    sd = np.broadcast_to(np.asarray(sd_m, float), devices)
    xy = np.stack([np.column_stack([5.0 * np.arange(STATIONS), np.zeros(STATIONS)])] * len(names), axis=1)
    for t, (d, _) in enumerate(names):
        xy[:, t] += rng.normal(0.0, sd[d], (STATIONS, 2))
        xy[:, t, 1] += 0.0 if offset_m is None else offset_m[d]
    nothing = np.zeros((STATIONS, len(names)))
    device, ride = np.array(names).T
    return Places(xy, nothing.astype(bool), nothing, device.astype(np.int64), ride.astype(np.int64))


def everyone(places):
    return np.ones(len(places.device), dtype=bool)


def test_a_variance_is_that_of_the_receiver_about_its_own_line():
    """Closed form: the mean square distance from a median of n, times n / (n − 1), is about twice the variance."""
    places = places_of(np.random.default_rng(1), 3, 8, [1.0, 2.0, 4.0], [0.0, 30.0, -50.0])
    found = counted(places, everyone(places)).variance_m2
    assert np.sqrt(found[places.device == 0]) == pytest.approx(1.0, rel=0.06)
    assert np.sqrt(found[places.device == 1]) == pytest.approx(2.0, rel=0.06)
    assert np.sqrt(found[places.device == 2]) == pytest.approx(4.0, rel=0.06)


def test_a_variance_does_not_depend_on_where_the_others_run():
    rng = np.random.default_rng(2)
    near = places_of(rng, 2, 5, 3.0)
    far = Places(
        near.xy_m + np.where(near.device == 1, 40.0, 0.0)[None, :, None],
        near.passed,
        near.unsettled_m2,
        near.device,
        near.ride,
    )
    assert counted(far, everyone(far)).variance_m2 == pytest.approx(counted(near, everyone(near)).variance_m2)


def test_variance_between_devices_is_that_of_their_offsets():
    """DerSimonian & Laird 1986, equation 8, by hand: two lines D apart along one axis differ by D²/4 per axis, less noise."""
    lines = np.zeros((9, 2, 2))
    lines[:, 1, 0] = 10.0
    assert between_devices(lines, np.full((9, 2), 3.0)) == pytest.approx(100.0 / 4.0 - 3.0)


def test_three_devices_against_the_formula_written_out():
    rng = np.random.default_rng(3)
    lines, own = rng.normal(0.0, 5.0, (1, 3, 2)), np.array([[1.0, 2.0, 4.0]])
    w = 1.0 / own[0]
    excess = [np.sum(w * (lines[0, :, k] - np.sum(w * lines[0, :, k]) / w.sum()) ** 2) - 2.0 for k in (0, 1)]
    expected = max(0.0, np.mean(excess) / (w.sum() - np.sum(w**2) / w.sum()))
    assert between_devices(lines, own) == pytest.approx(expected)


def test_devices_that_agree_are_left_as_they_are():
    places = places_of(np.random.default_rng(4), 3, 6, 3.0)
    moved = np.abs(counted(places, everyone(places)).xy_m - places.xy_m).max()
    assert moved < 1.0


def test_two_devices_that_differ_are_brought_to_the_middle():
    places = places_of(np.random.default_rng(5), 2, 5, 3.0, [0.0, 14.0])
    found = counted(places, everyone(places))
    inner = found.xy_m[30:-30, :, 1].mean(axis=0)
    assert inner == pytest.approx(7.0, abs=1.0)


def test_the_middle_of_two_lines_lies_nearer_to_the_one_that_is_worth_more():
    """Three times as much: a quarter of the way, where both run; where one runs, on it."""
    lines = np.array([[[0.0, 0.0], [4.0, 8.0]], [[1.0, 1.0], [np.nan, np.nan]]])
    middle = weights._middle_of_devices(lines, np.array([[3.0, 1.0], [2.0, 0.0]]))
    assert middle.tolist() == [[1.0, 2.0], [1.0, 1.0]]


def test_of_three_devices_the_two_that_agree_outvote_the_third():
    places = places_of(np.random.default_rng(6), 3, 5, 3.0, [0.0, 0.0, 40.0])
    found = counted(places, everyone(places))
    assert found.xy_m[30:-30, :, 1].mean() == pytest.approx(0.0, abs=3.0)


def test_nothing_of_a_ride_left_out_is_used():
    """The offsets between devices too are found without it."""
    rng = np.random.default_rng(7)
    places = places_of(rng, 2, 4, 3.0, [0.0, 9.0])
    keep = places.ride != 2
    wild = places.xy_m.copy()
    wild[:, ~keep] += rng.normal(0.0, 80.0, wild[:, ~keep].shape)
    other = Places(wild, places.passed, places.unsettled_m2, places.device, places.ride)
    one, two = counted(places, keep), counted(other, keep)
    assert np.array_equal(one.xy_m[:, keep], two.xy_m[:, keep])
    assert np.array_equal(one.weight, two.weight)
    assert (one.weight[:, ~keep] == 0.0).all()


def test_no_ride_weighs_more_than_the_riders_own_line_allows():
    places = places_of(np.random.default_rng(8), 6, 3, 0.5)
    weight = counted(places, everyone(places)).weight
    per_ride = np.stack([weight[:, places.ride == r].sum(axis=1) for r in range(3)])
    # six receivers of 0.5 m: 24 / (1 + 1.5² · 24), where a rider's line scatters by 1.5 m
    assert per_ride.mean(axis=1) == pytest.approx(24.0 / (1.0 + 2.25 * 24.0), rel=0.02)
    assert per_ride.max() < 1.0 / 2.25


def test_a_new_fix_weighs_little():
    places = places_of(np.random.default_rng(9), 1, 5, 3.0)
    new = places.unsettled_m2.copy()
    new[:20, 0] = 225.0
    weight = counted(Places(places.xy_m, places.passed, new, places.device, places.ride), everyone(places)).weight
    assert weight[5, 0] < 0.1 * weight[5, 1]
    assert weight[50, 0] > 0.5 * weight[50, 1]


def test_the_age_of_fixes_becomes_variance():
    xy = np.column_stack([5.0 * np.arange(60.0), np.zeros(60)])
    one = strand(xy, [(0, 60)], "R", np.ones(60, bool), Settings(), device="a", age_s=np.arange(60.0))
    place = Abreast(xy.copy(), np.arange(60.0), np.ones(60, dtype=bool))
    extra = weights.gathered([one], [place]).unsettled_m2[:, 0]
    assert extra[0] == pytest.approx(15.0**2)
    assert extra[15] == pytest.approx((15.0 * 0.25) ** 2)
    assert (extra[30:] == 0.0).all()


def test_a_station_is_passed_by_only_in_one_piece():
    vertex = np.array([0.0, 1.0, np.nan, np.nan, 4.0, 5.0])
    place = Abreast(np.zeros((6, 2)), vertex, ~np.isnan(vertex))
    for pieces, expected in (([0] * 6, [2, 3]), ([0, 0, 0, 1, 1, 1], [])):
        steps = polyline.Steps(np.zeros((6, 2)), np.arange(6.0), np.array(pieces))
        s = Strand(steps, "R", "a", np.ones(6, bool), np.zeros((6, 2)), np.zeros(6), slow=False)
        assert np.flatnonzero(passed_by(s, place)).tolist() == expected


def test_a_way_some_of_which_may_not_count_passes_nothing_by():
    vertex = np.array([0.0, 1.0, np.nan, np.nan, 4.0, 5.0])
    place = Abreast(np.zeros((6, 2)), vertex, ~np.isnan(vertex))
    steps = polyline.Steps(np.zeros((6, 2)), np.arange(6.0), np.zeros(6, int))
    counts = np.array([True, True, True, False, True, True])
    s = Strand(steps, "R", "a", counts, np.zeros((6, 2)), np.zeros(6), slow=False)
    assert not passed_by(s, place).any()


def test_two_rides_lie_as_far_from_each_other_as_they_err():
    """Each lies from their middle at half of what parts them: a square of half the variance, times n / (n − 1) = 2."""
    places = places_of(np.random.default_rng(18), 1, 2, 3.0)
    assert np.sqrt(counted(places, everyone(places)).variance_m2) == pytest.approx(3.0, rel=0.1)


def test_a_detour_is_no_scatter():
    """A trace 300 m off for a fifth of the way counts there as four times its usual distance, not as 300 m."""
    places = places_of(np.random.default_rng(10), 1, 7, 3.0)
    places.xy_m[100:180, 2, 1] += 300.0
    found = np.sqrt(counted(places, everyone(places)).variance_m2)
    assert found[2] < 1.5 * np.delete(found, 2).mean()


def test_no_trace_is_believed_to_be_more_than_three_times_as_good_as_usual():
    """Variances within a factor nine of the usual one, and half of each, in logarithms, from the device."""
    places = places_of(np.random.default_rng(11), 3, 6, [0.6, 6.0, 6.0])
    found = counted(places, everyone(places)).variance_m2
    usual = np.median(found)
    assert found[places.device == 0] == pytest.approx(usual / 9.0, rel=0.05)
    exact = places_of(np.random.default_rng(12), 2, 6, 0.01)
    assert counted(exact, everyone(exact)).variance_m2 == pytest.approx(0.25)


def test_one_trace_of_a_device_is_judged_with_the_others():
    """Half of what a trace scatters is taken, in logarithms, from its device: √(16 · mean(16, 1, 1 …)) and so on."""
    places = places_of(np.random.default_rng(13), 1, 9, 1.0)
    places.xy_m[:, 0] += np.random.default_rng(14).normal(0.0, np.sqrt(3.0), places.xy_m[:, 0].shape)
    found = counted(places, everyone(places)).variance_m2
    of_device = (4.0 + 8.0) / 9.0
    assert found[0] == pytest.approx(np.sqrt(4.0 * of_device), rel=0.15)
    assert found[1:] == pytest.approx(np.sqrt(of_device), rel=0.15)


def test_devices_of_one_ride_are_taken_together():
    """A bad ride cannot be told from a bad device: nothing is taken off, and the outlier is the noisier of them."""
    rng = np.random.default_rng(15)
    places = places_of(rng, 4, 1, 1.0, [0.0, 0.0, 0.0, 12.0])
    found = counted(places, everyone(places))
    assert np.array_equal(found.xy_m, places.xy_m)
    assert found.variance_m2[3] > 2.0 * found.variance_m2[:3].max()


def test_the_offset_of_a_device_holds_over_a_hundred_metres_either_way():
    """Where a device begins, the others are not pushed aside station by station but by its usual offset thereabouts."""
    places = places_of(np.random.default_rng(16), 2, 5, 3.0, [0.0, 14.0])
    taken_off = places.xy_m - counted(places, everyone(places)).xy_m
    steps = np.abs(np.diff(taken_off[30:-30, 0, 1]))
    assert steps.max() < 0.5
    assert np.abs(taken_off[30:-30, :, 1]).mean() == pytest.approx(7.0, abs=1.0)


def test_each_trace_of_a_device_that_differs_shares_its_devices_error():
    """n traces of one device weigh together 1/τ² at most: three rides of one device do not outvote one of another."""
    offsets = np.where(np.arange(STATIONS) % 2 == 0, 10.0, -10.0)
    places = places_of(np.random.default_rng(17), 2, 6, 0.5)
    places.xy_m[:, places.device == 1, 1] += offsets[:, None]
    weight = counted(places, everyone(places)).weight
    assert weight[:, places.device == 0].sum(axis=1).mean() < 1.5 / 24.0


@given(st.lists(st.floats(-1e3, 1e3), min_size=1, max_size=30), st.integers(0, 8))
def test_averages_are_those_of_the_stations_around(values, reach):
    rows = np.array(values)
    expected = [rows[max(0, k - reach) : k + reach + 1].mean() for k in range(len(rows))]
    assert averaged(rows, reach) == pytest.approx(expected, abs=1e-6)


def test_a_trace_runs_by_a_line_within_30_m_where_it_counts():
    """By the distance in the plane, not along one axis: (22, 22) is 31 m off, (20, 20) is 28 m."""
    places = np.array([[0.0, 30.0], [30.0, 0.0], [0.0, 30.1], [30.1, 0.0], [22.0, 22.0], [-20.0, -20.0], [0.0, 5.0]])
    away = np.array([100.0, 100.0]) + places
    weight = np.array([1.0, 1.0, 1.0, 1.0, 1.0, 1.0, 0.0])
    far = np.full((7, 2), np.nan)
    found = weights.Counted(np.stack([far, away], axis=1), np.column_stack([np.zeros(7), weight]), np.ones(2))
    line = np.full((7, 2), 100.0)
    assert weights.runs_by(found, line).tolist() == [True, True, False, False, False, True, False]


def test_a_device_is_ridden_often_on_two_rides_not_twice_on_one():
    nothing = np.zeros((1, 5))
    device, ride = np.array([0, 0, 1, 2, 2]), np.array([0, 1, 0, 1, 1])
    places = Places(np.zeros((1, 5, 2)), nothing.astype(bool), nothing, device, ride)
    assert weights.ridden_often(places, np.ones(5, dtype=bool)).tolist() == [True, False, False]
    assert weights.ridden_often(places, np.array([True, False, True, True, True])).tolist() == [False, False, False]


def test_a_device_of_which_no_ride_is_kept_is_not_ridden_often():
    nothing = np.zeros((1, 4))
    device, ride = np.array([0, 0, 1, 1]), np.array([0, 1, 0, 1])
    places = Places(np.zeros((1, 4, 2)), nothing.astype(bool), nothing, device, ride)
    assert weights.ridden_often(places, device == 0).tolist() == [True, False]


def test_a_place_that_is_neither_there_nor_kept_weighs_nothing():
    places = places_of(np.random.default_rng(19), 2, 3, 2.0)
    places.xy_m[10, 0] = places.xy_m[11, 1] = np.nan
    weight = counted(places, places.ride != 0).weight
    assert (weight[:, places.ride == 0] == 0.0).all()
    assert (weight[11, 1], weight[10, 1] > 0.0) == (0.0, True)


def test_an_offset_is_taken_off_as_far_as_it_is_beyond_scatter_and_where_the_device_runs():
    """Two devices 14 m apart, the second as far as station 199: each of variance 1.3 · 1 / 2 = 0.65 m² in the middle of its
    two rides, so that 14² / 4 − 0.65 = 48.35 m² part them, and of 7 m the 48.35 / 49 are taken off. At station j it is
    the mean over 20 stations either way, of which j − 179 no longer know of two."""
    places = places_of(np.random.default_rng(20), 2, 2, 1.0)
    there = np.arange(STATIONS) < 200
    median, number = np.zeros((STATIONS, 2, 2)), np.full((STATIONS, 2), 2.0)
    median[:, 1, 1] = np.where(there, 14.0, np.nan)
    median[~there, 1, 0] = np.nan
    number[~there, 1] = 0.0
    kept, often = np.ones(4, dtype=bool), np.ones(2, dtype=bool)
    xy_m, between_m2 = weights._brought_together(places, kept, often, (median, number), np.ones(4))
    assert between_m2 == pytest.approx(48.35)
    moved = (xy_m - places.xy_m)[:, :, 1]
    for station, left in ((100, 41), (179, 41), (180, 40), (199, 21)):
        expected = 7.0 * 48.35 / 49.0 * left / 41
        assert moved[station] == pytest.approx([expected, expected, -expected, -expected])
    assert moved[200] == pytest.approx([7.0 * 48.35 / 49.0 * 20 / 41] * 2 + [0.0, 0.0])
    assert moved[220] == pytest.approx(0.0)
    assert (xy_m - places.xy_m)[:, :, 0] == pytest.approx(0.0)


def test_a_device_seen_once_has_no_say_in_what_parts_the_others():
    """The third was carried on one ride, 90 m off: no offset is taken off it, nor is it weighed against the two."""
    places = places_of(np.random.default_rng(21), 3, 2, 1.0)
    median, number = np.zeros((STATIONS, 3, 2)), np.full((STATIONS, 3), 2.0)
    median[:, 1, 1], median[:, 2, 1] = 14.0, 90.0
    often = np.array([True, True, False])
    xy_m, between_m2 = weights._brought_together(places, np.ones(6, bool), often, (median, number), np.ones(6))
    assert between_m2 == pytest.approx(48.35)
    assert (xy_m - places.xy_m)[100, ::2, 1] == pytest.approx([7.0 * 48.35 / 49.0, -7.0 * 48.35 / 49.0, 0.0])
    one = np.array([True, False, False])
    same, none_m2 = weights._brought_together(places, np.ones(6, bool), one, (median, number), np.ones(6))
    assert (same is places.xy_m, none_m2) == (True, 0.0)


def test_a_station_where_fewer_devices_run_says_nothing_of_what_parts_them():
    """At two of three stations both run, 10 m apart: 25 − 3 m²; where one device runs alone nothing parts it."""
    lines, own = np.zeros((3, 2, 2)), np.full((3, 2), 3.0)
    lines[:, 1, 0] = 10.0
    lines[1, 1], own[1, 1] = np.nan, np.inf
    assert between_devices(lines, own) == pytest.approx(22.0)
    assert between_devices(lines[:, :1], own[:, :1]) == 0.0

"""The consensus line against closed forms: what must come out when the answer is known."""

from __future__ import annotations

import os

import numpy as np
import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st
from scipy.spatial import KDTree
from short_segments import mean_by_share, off_shape_m, segment_set
from trace_maker import road, shifted_left, smooth_noise

from gpsq.centreline import consensus_line
from gpsq.centreline.robust_middle import smooth
from gpsq.centreline.strands import strand
from gpsq.geometry import polyline
from gpsq.settings import Settings

SETTINGS = Settings()
LONG = bool(os.environ.get("GPSQ_LONG"))


def consensus(lines, rides=None, runs=None, own=SETTINGS, devices=None, age_s=None):
    strands = [
        strand(
            np.asarray(xy, float),
            (runs or {}).get(k, [(0, len(xy))]),
            (rides or [f"R{n}" for n in range(len(lines))])[k],
            np.ones(len(xy), dtype=bool),
            own,
            device=devices[k] if devices else "",
            age_s=age_s[k] if age_s else None,
        )
        for k, xy in enumerate(lines)
    ]
    return consensus_line.make(strands, own)


def off(line_m, truth_m):
    """Return the distance of each station of a line from a finely drawn truth."""
    return KDTree(polyline.resample(truth_m, 0.5)).query(line_m)[0]


def inner(found, cut=4):
    return found.centreline.xy_m[cut:-cut]


def test_identical_tracks_give_that_track():
    found = consensus([road()] * 4)
    assert off(inner(found), road()).max() < 0.25
    assert found.centreline.length_m == pytest.approx(polyline.along_m(road())[-1], rel=2e-3)


def test_two_parallel_lines_give_the_middle():
    """Closed form: the mean of two parallel lines at ± d is the line between them."""
    found = consensus([shifted_left(road(), 4.0), shifted_left(road(), -4.0)])
    assert off(inner(found), road()).max() < 0.6


def test_several_parallel_lines_give_the_mean_offset():
    """Closed form: the mean of lines at offsets o_i lies at mean(o_i), none of them being far off."""
    offsets = np.array([-3.0, -1.0, 0.0, 2.0, 5.0])
    found = consensus([shifted_left(road(), o) for o in offsets])
    assert off(inner(found), shifted_left(road(), float(offsets.mean()))).max() < 0.6


def test_concentric_arcs_give_the_arc_between():
    """Closed form: of arcs of radius r1 and r2 it is the arc of (r1 + r2) / 2."""
    angle = np.linspace(0, np.pi / 2, 200)
    arcs = [radius * np.column_stack([np.cos(angle), np.sin(angle)]) for radius in (395.0, 405.0)]
    found = consensus(arcs)
    assert np.hypot(*inner(found).T) == pytest.approx(400.0, abs=0.5)


@pytest.mark.parametrize("count", [6, 12])
def test_the_noise_of_the_line_falls_with_the_number_of_traces(count):
    """Closed form: independent lateral noise σ leaves σ / √n, 1.2533 times that for a median."""
    rng = np.random.default_rng(5)
    sd_m = 4.0
    found = consensus([shifted_left(road(6000), smooth_noise(rng, 1201, sd_m)) for _ in range(count)])
    rms = np.sqrt(np.mean(off(inner(found), road(6000)) ** 2))
    assert 0.6 * sd_m / np.sqrt(count) < rms < 1.5 * sd_m / np.sqrt(count)


def test_order_of_the_traces_does_not_matter():
    rng = np.random.default_rng(6)
    lines = [shifted_left(road(), smooth_noise(rng, 401, 3.0)) for _ in range(6)]
    first = consensus(lines)
    second = consensus(lines[::-1], rides=[f"R{n}" for n in range(6)][::-1])
    assert off(inner(second), first.centreline.xy_m).max() < 0.6


def test_reversing_all_traces_reverses_the_line():
    rng = np.random.default_rng(7)
    lines = [shifted_left(road(), smooth_noise(rng, 401, 3.0)) for _ in range(6)]
    there, back = consensus(lines), consensus([xy[::-1] for xy in lines])
    assert off(inner(back), there.centreline.xy_m).max() < 1.0
    assert np.hypot(*(back.centreline.xy_m[-1] - there.centreline.xy_m[0])) < 15


def test_a_finer_trace_does_not_weigh_more():
    rng = np.random.default_rng(8)
    lines = [shifted_left(road(), smooth_noise(rng, 401, 3.0)) for _ in range(5)]
    finer = [polyline.resample(lines[0], 0.5), *lines[1:]]
    assert off(inner(consensus(finer)), consensus(lines).centreline.xy_m).max() < 0.6


def test_a_detour_does_not_move_the_line():
    rng = np.random.default_rng(9)
    lines = [shifted_left(road(), smooth_noise(rng, 401, 2.0)) for _ in range(5)]
    bump = 120.0 * np.clip(np.minimum(np.arange(401) - 150, 250 - np.arange(401)) / 15.0, 0, 1)
    lines[0] = shifted_left(road(), bump)
    found = consensus(lines)
    assert off(inner(found), road()).max() < 6.0
    assert found.centreline.length_m == pytest.approx(2000.0, rel=0.015)


def test_late_starts_leave_the_beginning_to_those_who_have_it():
    rng = np.random.default_rng(10)
    lines = [shifted_left(road(), smooth_noise(rng, 401, 2.0)) for _ in range(6)]
    late = [xy[150:] for xy in lines[:4]] + lines[4:]
    found = consensus(late)
    assert np.hypot(*(found.centreline.xy_m[0] - road()[0])) < 15
    assert found.centreline.support[5] == 2
    assert found.centreline.support[-20] == 6


def test_waiting_adds_neither_length_nor_weight():
    rng = np.random.default_rng(11)
    lines = [shifted_left(road(), smooth_noise(rng, 401, 2.0)) for _ in range(4)]
    plain = consensus(lines)
    waits = [
        np.vstack([xy[:200], xy[200] + rng.normal(0, 2.0, (90, 2)).cumsum(axis=0) * 0.05, xy[200:]]) for xy in lines
    ]
    assert consensus(waits).centreline.length_m == pytest.approx(plain.centreline.length_m, rel=5e-3)


def test_noise_does_not_lengthen_the_line():
    rng = np.random.default_rng(12)
    lines = [road() + rng.normal(0, 4.0, (401, 2)) for _ in range(8)]
    recorded = np.median([polyline.along_m(xy)[-1] for xy in lines])
    found = consensus(lines).centreline.length_m
    assert recorded > 2600
    assert found == pytest.approx(2000.0, rel=0.03)


def test_a_break_of_all_traces_is_bridged_without_support():
    lines = [np.vstack([xy[:180], xy[240:]]) for xy in [shifted_left(road(), o) for o in (-1.0, 0.0, 1.0)]]
    found = consensus(lines, runs={k: [(0, 180), (180, len(lines[0]))] for k in range(3)})
    assert (found.centreline.support[185:225] == 0).all()
    assert (found.centreline.support[20:170] == 3).all()


def test_leaving_a_ride_out_leaves_out_all_its_traces():
    lines = [shifted_left(road(), o) for o in (0.0, 0.0, 0.0, 9.0, 9.0)]
    found = consensus(lines, rides=["R1", "R2", "R3", "R4", "R4"])
    without = found.without("R4")
    assert without.left_out == "R4"
    assert (without.support <= 3).all()
    assert off(without.xy_m[4:-4], road()).max() < 0.3


def test_leaving_out_the_only_ride_leaves_nothing():
    without = consensus([road()], rides=["R1"]).without("R1")
    assert np.isnan(without.xy_m).all()
    assert (without.support == 0).all()


def test_a_ride_with_many_devices_weighs_as_one():
    lines = [shifted_left(road(), o) for o in (6.0,) * 6 + (0.0, 0.5, -0.5)]
    found = consensus(lines, rides=["R1"] * 6 + ["R2", "R3", "R4"])
    assert off(inner(found), road()).mean() < 2.5


def test_the_spread_is_a_standard_deviation():
    rng = np.random.default_rng(13)
    found = consensus([shifted_left(road(6000), smooth_noise(rng, 1201, 4.0)) for _ in range(14)])
    assert np.nanmedian(found.centreline.spread_m) == pytest.approx(4.0, rel=0.25)
    assert np.nanmedian(found.centreline.band_m) == pytest.approx(1.96 * 4.0 / np.sqrt(14), rel=0.35)


def test_smoothing_keeps_ends_and_straight_lines():
    line = np.column_stack([np.arange(50.0), 2 * np.arange(50.0)])
    assert smooth(line, 2.0) == pytest.approx(line, abs=1e-9)


def test_a_route_of_a_few_hundred_metres_is_drawn_finely():
    assert consensus_line.step_for([road(200.0)], SETTINGS) < 2.5
    assert consensus_line.step_for([road(8000.0)], SETTINGS) == SETTINGS.step_m


def ride_of(rng, offsets, days, sd_m=3.0, count=401):
    """Return tracks, rides and devices: on each day, each device with its own noise and its own offset to the left."""
    tracks = [
        shifted_left(road(5.0 * (count - 1)), o + smooth_noise(rng, count, sd_m)) for _ in range(days) for o in offsets
    ]
    rides = [f"R{day}" for day in range(days) for _ in offsets]
    return tracks, rides, [f"D{d}" for _ in range(days) for d in range(len(offsets))]


@pytest.mark.parametrize("reverse", [False, True])
@pytest.mark.parametrize("seed", range(4))
def test_between_two_equal_receivers_14_m_apart(seed, reverse):
    rng = np.random.default_rng(seed)
    tracks, rides, devices = ride_of(rng, (0.0, 14.0), 8)
    found = consensus([t[::-1] for t in tracks] if reverse else tracks, rides, devices=devices)
    left = polyline.nearest_on_line(inner(found, 6), road(), *window(found, 6))[1]
    assert 5.0 < np.median(left) < 9.0
    assert np.percentile(left, 2) > 3.0
    assert np.percentile(left, 98) < 11.0


def window(found, cut):
    count = len(inner(found, cut))
    return np.zeros(count, dtype=np.int64), np.full(count, len(road()) - 2)


@pytest.mark.parametrize(("offsets", "pairs"), [((0.0, 1.5, -1.0), 0), ((0.0, 14.0), 1), ((0.0, 1.0, 20.0), 2)])
def test_devices_apart_are_told_with_the_metres(offsets, pairs):
    tracks, rides, devices = ride_of(np.random.default_rng(21), offsets, 6)
    apart = consensus(tracks, rides, devices=devices).apart()
    assert len(apart) == pairs
    for two in apart:
        between = abs(offsets[int(two.first[1])] - offsets[int(two.second[1])])
        assert two.apart_m == pytest.approx(between, abs=2.5)
        assert 1.5 < two.first_scatter_m < 4.5


def test_devices_of_one_ride_each_are_never_told_apart():
    tracks, _, devices = ride_of(np.random.default_rng(22), (0.0, 14.0, 28.0), 1)
    assert consensus(tracks, ["R0"] * 3, devices=devices).apart() == ()


@settings(max_examples=30 if LONG else 6, deadline=None)
@given(st.integers(0, 50), st.lists(st.floats(-40.0, 40.0), min_size=3, max_size=4))
@example(34, [-27.875, 31.25, 31.0])
def test_leaving_a_device_out_moves_no_line_by_more_than_the_devices_disagree(seed, offsets):
    """What two disagree by is how far their own lines of five rides lie apart, noise and all: more than their offsets."""
    tracks, rides, devices = ride_of(np.random.default_rng(seed), offsets, 5)

    def line_of(those):
        kept = [k for k, d in enumerate(devices) if d in those]
        return consensus([tracks[k] for k in kept], [rides[k] for k in kept], devices=[devices[k] for k in kept])

    def apart_m(one, other):
        return np.percentile(off(inner(one, 10), other.centreline.xy_m), 98)

    whole, names = line_of(devices), sorted(set(devices))
    own = {name: line_of([name]) for name in names}
    disagree_m = max(apart_m(own[a], own[b]) for a in names for b in names if a != b)
    for gone in names:
        assert apart_m(line_of([n for n in names if n != gone]), whole) <= disagree_m + 1.5


def test_a_line_without_a_ride_knows_nothing_of_the_offset_that_ride_had():
    """On one ride the second device is 30 m off: the line without that ride lies where the others say."""
    tracks, rides, devices = ride_of(np.random.default_rng(23), (0.0, 0.0), 5, sd_m=1.0)
    tracks[1] = shifted_left(tracks[1], 30.0)
    found = consensus(tracks, rides, devices=devices)
    assert off(found.without("R0").xy_m[10:-10], road()).max() < 3.0


def test_between_two_roads_the_line_without_the_ride_in_the_middle_is_not_known():
    """Three rides on three roads, 55 m from one to the next: without the middle one nobody runs where the line was."""
    rng = np.random.default_rng(0)
    aside = np.clip(np.minimum(np.arange(401) - 150, 250 - np.arange(401)) / 5.0, 0, 1)
    found = consensus([shifted_left(road(), m * aside + smooth_noise(rng, 401, 2.0)) for m in (-55.0, 0.0, 55.0)])
    assert off(found.centreline.xy_m, road()).max() < 10.0
    known = ~np.isnan(found.without("R1").xy_m[:, 0])
    assert known[165:235].mean() < 0.1
    assert known[:140].all()
    assert known[260:].all()
    for outer in ("R0", "R2"):
        assert off(found.without(outer).xy_m, road()).max() < 15.0


@pytest.mark.parametrize("seed", range(3))
@pytest.mark.parametrize("count", [3, 6, 15])
def test_no_notch_where_a_detour_leaves(seed, count):
    """A street 120 m aside for 500 m, turned into within 25 m: the line goes on straight past both its ends."""
    rng = np.random.default_rng(seed)
    lines = [shifted_left(road(), smooth_noise(rng, 401, 2.0)) for _ in range(count)]
    aside = 120.0 * np.clip(np.minimum(np.arange(401) - 150, 250 - np.arange(401)) / 5.0, 0, 1)
    lines[0] = shifted_left(lines[0], aside)
    away = off(inner(consensus(lines)), road())
    assert away.max() < 8.0


def corner(step_m):
    """Return a road of two streets at right angles, 500 m each, and places on it `step_m` apart."""
    streets = np.array([[0.0, 0.0], [500.0, 0.0], [500.0, 500.0]])
    along = np.concatenate([np.arange(0.0, 1000.0, step_m), [1000.0]])
    return polyline.at_along(streets, np.array([0.0, 500.0, 1000.0]), along)


def test_slow_sampling_does_not_cut_a_corner():
    """Fixes every 55 m, anywhere: chords taken as places draw the line in by 12 m, and make it 1.4 % short."""
    cut_m = []
    for seed in range(24, 30):
        rng, lines = np.random.default_rng(seed), []
        for shift in rng.uniform(0.0, 55.0, 12):
            along = np.concatenate([[0.0], np.arange(shift, 1000.0, 55.0), [1000.0]])
            places = polyline.at_along(corner(5.0), np.arange(0.0, 1001.0, 5.0), along)
            lines.append(places + rng.normal(0, 1.0, (len(along), 2)))
        found = consensus(lines).centreline
        assert found.length_m == pytest.approx(1000.0, rel=0.01)
        cut_m.append(off(np.array([[500.0, 0.0]]), polyline.resample(found.xy_m, 0.5))[0])
    assert np.median(cut_m) < 6.0
    assert max(cut_m) < 10.0


def straight(first_m, last_m, left_m=0.0):
    x = np.arange(first_m, last_m + 1.0, 5.0)
    return np.column_stack([x, np.broadcast_to(left_m, len(x))])


def test_the_end_of_the_opposite_way_leads_the_line_and_the_lines_without_a_ride():
    """All new fixes lie 12 m aside and 8 m early; where the other way's rides end, the road begins, 4 m to the right."""
    strands = _beginning_aside(age_s=np.arange(162.0))
    found = consensus_line.make(strands, SETTINGS, straight(0.0, 400.0, -4.0))
    assert found.centreline.xy_m[0] == pytest.approx([0.0, 0.0], abs=1.5)
    for line in (found.centreline, found.without("R1")):
        assert np.abs(line.xy_m[:100, 1]).max() < 1.5


def test_settled_fixes_and_the_opposite_way_have_half_of_the_say_each():
    """The same where nothing says that the fixes are new: 12 m aside by all of them, none by the other way."""
    found = consensus_line.make(_beginning_aside(age_s=None), SETTINGS, straight(0.0, 400.0, -4.0))
    for line in (found.centreline, found.without("R1")):
        assert line.xy_m[0] == pytest.approx([0.0, 6.0], abs=1.0)
        assert line.xy_m[80:120, 1] == pytest.approx(np.zeros(40), abs=0.1)


def _beginning_aside(age_s):
    x = np.arange(-8.0, 800.0, 5.0)
    ways = [np.column_stack([x, 12.0 * np.exp(-np.maximum(x, 0.0) / 30.0) + o]) for o in (-1.0, 0.0, 1.0)]
    counts = np.ones(len(x), dtype=bool)
    return [strand(way, [(0, len(x))], f"R{k}", counts, SETTINGS, age_s=age_s) for k, way in enumerate(ways)]


def test_a_stretch_that_may_not_count_does_not_move_the_line():
    """One of two rides runs 25 m aside for 300 m, and the person has flagged it: the other one's way is the line."""
    x = np.arange(0.0, 1001.0, 5.0)
    aside = 25.0 * np.clip(np.minimum(x - 300.0, 600.0 - x) / 20.0, 0.0, 1.0)
    counts = aside == 0.0
    strands = [
        strand(np.column_stack([x, np.zeros(len(x))]), [(0, len(x))], "R0", np.ones(len(x), dtype=bool), SETTINGS),
        strand(np.column_stack([x, aside]), [(0, len(x))], "R1", counts, SETTINGS),
    ]
    found = consensus_line.make(strands, SETTINGS).centreline
    assert np.abs(found.xy_m[:, 1]).max() < 0.5
    assert found.support.min() == 1
    assert found.support.max() == 2


def test_the_line_is_carried_on_by_traces_that_reach_further():
    """Five traces of a late receiver, and two that have the whole way: the line has it too, both ends."""
    lines = [straight(300.0, 1700.0, o) for o in (-2.0, -1.0, 0.0, 1.0, 2.0)] + [
        straight(0.0, 2000.0, o) for o in (-1, 1)
    ]
    found = consensus(lines).centreline
    assert found.xy_m[0] == pytest.approx([0.0, 0.0], abs=6.0)
    assert found.xy_m[-1] == pytest.approx([2000.0, 0.0], abs=6.0)
    assert found.support[[5, 200, -5]].tolist() == [2, 7, 2]


def test_the_line_begins_where_the_middle_trace_does_not_where_the_furthest():
    rng = np.random.default_rng(25)
    early = rng.uniform(-25.0, 0.0, 15)
    straight = np.column_stack([np.arange(0.0, 1001.0, 5.0), np.zeros(201)])
    lines = [np.vstack([[[e, 0.0]], straight[1:]]) for e in early]
    lines = [line + np.array([0.0, beside]) for line, beside in zip(lines, rng.normal(0, 2, 15), strict=True)]
    first = consensus(lines).centreline.xy_m[0, 0]
    assert first == pytest.approx(np.median(early), abs=6.0)
    assert first > early.min() + 4.0


def test_new_fixes_do_not_draw_the_beginning():
    rng = np.random.default_rng(26)
    along = np.arange(401) * 5.0
    new = [0, 1, 2, 3]
    lines, ages = [], []
    for k in range(8):
        late = 12.0 * np.exp(-along / 40.0) if k in new else 0.0
        lines.append(shifted_left(road(), smooth_noise(rng, 401, 1.5) + late))
        ages.append(along / 5.0 if k in new else along / 5.0 + 600.0)
    settled = off(consensus(lines, age_s=ages).centreline.xy_m[:8], road()).max()
    plain = off(consensus(lines).centreline.xy_m[:8], road()).max()
    assert settled < 3.0 < plain


@pytest.mark.parametrize("seed", range(6))
def test_spikes_of_the_trace_it_began_with_are_led_past(seed):
    """Every trace has two single fixes 200 m off, a leg every 30 m: the line has none of them, and no length from them."""
    rng = np.random.default_rng(seed)
    lines = []
    for _ in range(8):
        xy = shifted_left(road(), smooth_noise(rng, 401, 2.0))[:: int(rng.integers(5, 8))].copy()
        at = rng.choice(np.arange(5, len(xy) - 5), 2, replace=False)
        angle = rng.uniform(0, 2 * np.pi, 2)
        xy[at] += 200.0 * np.column_stack([np.cos(angle), np.sin(angle)])
        lines.append(xy)
    found = consensus(lines)
    assert off(inner(found), road()).max() < 8.0
    assert found.centreline.length_m == pytest.approx(2000.0, rel=0.012)


def test_short_far_apart_segments_are_no_worse_than_the_plain_mean():
    """Fifty invented sets of 2 to 10 noisy, unevenly sampled tracks of one shape of 60 to 600 m; a hundred when long."""
    line, mean, too_long = [], [], 0
    for seed in range(100 if LONG else 50):
        shape, tracks = segment_set(seed)
        length_m = polyline.along_m(shape)[-1]
        own = SETTINGS.with_values(step_m=consensus_line.step_for(tracks, SETTINGS))
        found = consensus(tracks, own=own).centreline
        plain = mean_by_share(tracks)
        line.append(off_shape_m(found.xy_m, shape) / length_m)
        mean.append(off_shape_m(plain, shape) / length_m)
        too_long += found.length_m > 1.2 * length_m and polyline.along_m(plain)[-1] <= 1.2 * length_m
    assert np.mean(line) <= 1.015 * np.mean(mean)
    assert too_long == 0


def test_after_the_fallback_a_ride_is_left_out_of_the_same_mean():
    shape, tracks = segment_set(3)
    own = SETTINGS.with_values(step_m=consensus_line.step_for(tracks, SETTINGS))
    found = consensus(tracks, own=own)
    assert found.shares_m is not None
    others = [k for k in range(len(tracks)) if k != 1]
    expected = np.nanmean(found.shares_m[:, others], axis=1)
    assert found.without("R1").xy_m == pytest.approx(expected)
    assert off_shape_m(found.without("R1").xy_m, shape) < 0.2 * polyline.along_m(shape)[-1]

"""What a line is made of beside its middle: usual reach, slow sampling, spread and band, places by share of the way."""

from __future__ import annotations

from types import SimpleNamespace

import numpy as np
import pytest
from trace_maker import road, shifted_left, smooth_noise

from gpsq.centreline import ends
from gpsq.centreline.by_share import _alike, mean_of, places_by_share
from gpsq.centreline.slow_sampling import between_fixes
from gpsq.centreline.spread import described
from gpsq.centreline.strands import strand
from gpsq.geometry.alignment import Abreast
from gpsq.settings import Settings

SETTINGS = Settings()
LINE = np.column_stack([5.0 * np.arange(61), np.zeros(61)])


def strand_of(xy_m, runs=None, counts=None, ride="R", settings=SETTINGS):
    xy = np.asarray(xy_m, float)
    fit = np.ones(len(xy), dtype=bool) if counts is None else counts
    return strand(xy, runs or [(0, len(xy))], ride, fit, settings, device="a")


def reaching(first, last, count=100):
    vertex = np.where((np.arange(count) >= first) & (np.arange(count) <= last), np.arange(float(count)), np.nan)
    return Abreast(np.zeros((count, 2)), vertex, ~np.isnan(vertex))


def test_the_line_ends_where_the_middle_one_reaches_of_those_that_reach_far():
    """In steps of 5 m: of firsts 0, 2, 4 (and 7 and 40, over 30 m behind the furthest) the middle one; at the end likewise."""
    places = [reaching(f, t) for f, t in ((0, 99), (2, 97), (4, 95), (7, 90), (40, 50))]
    assert ends.usual_reach(places, 5.0) == slice(2, 98)


def test_a_trace_without_places_says_nothing_of_the_reach():
    assert ends.usual_reach([reaching(200, 300), reaching(3, 96)], 5.0) == slice(3, 97)
    assert ends.usual_reach([reaching(200, 300)], 5.0) == slice(None)


def slow(y_m, x_m=None):
    x = np.arange(0.0, 301.0, 30.0) if x_m is None else np.asarray(x_m, float)
    return strand_of(np.column_stack([x, np.broadcast_to(y_m, len(x))]))


def placed(s, line_m=LINE):
    """Return the places of a strand at the line's stations as its chords lie, and as bent along the line."""
    x = s.fixes_m[:, 0]
    vertex = np.interp(line_m[:, 0], x, np.arange(len(x)), left=np.nan, right=np.nan)
    xy = np.column_stack([line_m[:, 0], np.interp(line_m[:, 0], x, s.fixes_m[:, 1])])
    return between_fixes(s, Abreast(xy, vertex, np.ones(len(line_m), dtype=bool)), line_m, SETTINGS.align_cap_m)


def test_a_trace_is_slow_by_its_usual_leg_not_by_its_longest():
    assert strand_of(np.column_stack([np.arange(0.0, 301.0, 11.0), np.zeros(28)])).slow
    assert not strand_of(np.column_stack([np.arange(0.0, 301.0, 9.0), np.zeros(34)])).slow
    leaps = np.concatenate([np.arange(0.0, 100.0, 5.0), np.arange(200.0, 300.0, 5.0)])
    assert not strand_of(np.column_stack([leaps, np.zeros(40)])).slow
    stands = np.concatenate([np.zeros(200), np.arange(0.0, 301.0, 30.0)])
    assert strand_of(np.column_stack([stands, np.zeros(211)])).slow


def test_between_fixes_the_offset_goes_evenly_from_one_to_the_next():
    y = np.where(np.arange(11) % 2 == 0, 0.0, 6.0)
    found = placed(slow(y))
    assert found.xy_m[:, 1] == pytest.approx(np.interp(LINE[:, 0], np.arange(0.0, 301.0, 30.0), y))
    assert found.matched.all()


def test_a_bent_line_carries_the_places_between_fixes_with_it():
    """Fixes on a line that swings by 8 m between them: the places lie on the line, not on the chords."""
    swinging = LINE.copy()
    swinging[:, 1] = 8.0 * np.sin(np.pi * LINE[:, 0] / 30.0) ** 2
    found = placed(slow(0.0), swinging)
    assert found.xy_m[:, 1] == pytest.approx(swinging[:, 1], abs=1e-9)


def test_a_single_spike_between_two_fixes_is_passed_over_two_are_not():
    one, two = np.zeros(11), np.zeros(11)
    one[5], two[[5, 6]] = 200.0, 200.0
    assert np.abs(placed(slow(one)).xy_m[26:35, 1]).max() < 1e-9
    # of a longer excursion nothing is known: the chords stay as they were
    assert np.abs(placed(slow(two)).xy_m[26:40, 1]).max() > 100.0


def test_nothing_is_carried_over_a_silence():
    x = np.arange(0.0, 301.0, 30.0)
    y = np.where(x < 150.0, 0.0, 10.0)
    s = strand_of(np.column_stack([x, y]), runs=[(0, 5), (5, 11)])
    chords = np.interp(LINE[:, 0], x, y) + 3.0
    place = Abreast(
        np.column_stack([LINE[:, 0], chords]), np.interp(LINE[:, 0], x, np.arange(11.0)), np.ones(61, dtype=bool)
    )
    found = between_fixes(s, place, LINE, SETTINGS.align_cap_m).xy_m[:, 1]
    silent = (LINE[:, 0] > 119.0) & (LINE[:, 0] < 149.0)
    assert found[silent] == pytest.approx(chords[silent])
    assert found[:-1][~silent[:-1]] == pytest.approx(np.where(LINE[:-1, 0] < 140.0, 0.0, 10.0)[~silent[:-1]])


def test_a_chord_over_a_way_twice_as_long_says_nothing_of_it():
    """The line goes 90 m aside and back between two fixes 30 m apart: no offset is carried along it."""
    out = [[0.0, y] for y in np.arange(0.0, 95.0, 5.0)]
    back = [[30.0, y] for y in np.arange(90.0, -5.0, -5.0)]
    line = np.array(
        [[x, 0.0] for x in np.arange(-60.0, 0.0, 5.0)] + out + [[5.0 * k, 90.0] for k in range(1, 6)] + back
    )
    line = np.vstack([line, [[x, 0.0] for x in np.arange(35.0, 95.0, 5.0)]])
    s = strand_of(np.column_stack([np.arange(-60.0, 91.0, 30.0), np.zeros(6)]))
    at = [int(np.argmin(np.hypot(*(line - fix).T))) for fix in s.fixes_m]
    vertex = np.interp(np.arange(len(line)), at, np.arange(6.0))
    chords = np.column_stack([np.interp(np.arange(len(line)), at, s.fixes_m[:, 0]), np.zeros(len(line))])
    place = Abreast(chords, vertex, np.ones(len(line), dtype=bool))
    found = between_fixes(s, place, line, SETTINGS.align_cap_m)
    assert np.array_equal(found.xy_m[at[2] + 1 : at[3]], chords[at[2] + 1 : at[3]])


def test_counts_of_a_step_are_those_of_both_fixes_beside_it():
    counts = np.ones(11, dtype=bool)
    counts[5] = False
    s = strand_of(np.column_stack([np.arange(0.0, 101.0, 10.0), np.zeros(11)]), counts=counts)
    assert s.steps.xy_m[~s.counts, 0].tolist() == [45.0, 50.0, 55.0]


def rides_beside(offsets_m, rides):
    """Return a line described by traces that lie so far left of it."""
    places = [
        Abreast(LINE + np.array([0.0, o]), np.arange(61.0), np.ones(61, dtype=bool))
        for o in np.asarray(offsets_m, dtype=float)
    ]
    strands = [strand_of(p.xy_m, ride=ride) for p, ride in zip(places, rides, strict=True)]
    return described(LINE, LINE[:, 0], places, strands, np.ones(len(places), dtype=bool), "")


def test_spread_is_the_median_absolute_offset_as_a_standard_deviation():
    found = rides_beside([-3.0, -1.0, 0.0, 2.0, 5.0], "ABCDE")
    assert found.spread_m == pytest.approx(1.4826 * 2.0)
    assert found.support.tolist() == found.rides.tolist() == [5] * 61
    assert np.isnan(rides_beside([2.0], "A").spread_m).all()


def test_the_band_is_that_of_a_mean_of_rides():
    """Rides drawn again: about 1.96 standard errors of the mean, with n − 1; two traces of a ride are one."""
    offsets = np.random.default_rng(3).normal(0.0, 4.0, 40)
    band = rides_beside(offsets, [str(k) for k in range(40)]).band_m
    assert band == pytest.approx(1.96 * offsets.std(ddof=1) / np.sqrt(40), rel=0.12)
    twice = rides_beside(np.repeat(offsets, 2), [str(k // 2) for k in range(80)])
    assert twice.band_m == pytest.approx(band)
    assert twice.rides.tolist() == [40] * 61


def test_there_is_no_band_of_two_rides():
    assert np.isnan(rides_beside([0.0, 1.0], "AB").band_m).all()
    assert np.isfinite(rides_beside([0.0, 1.0, 2.0], "ABC").band_m).all()


def test_three_rides_have_the_band_of_every_drawing_of_three():
    """±1 about nought: of 27 drawings the mean of one in 27 is the largest, so that is the band, times √(3/2)."""
    assert rides_beside([-1.0, 0.0, 1.0], "ABC").band_m == pytest.approx(np.sqrt(1.5), rel=0.01)


def laps(count, sd_m=4.0, spike=False, seed=7):
    """Return noisy laps of a yard of 40 by 25 m, and the yard."""
    corners = np.array([[0.0, 0.0], [40.0, 0.0], [40.0, 25.0], [0.0, 25.0], [0.0, 2.0]])
    along = np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(corners, axis=0).T))])
    yard = np.column_stack([np.interp(np.linspace(0, along[-1], 64), along, corners[:, k]) for k in (0, 1)])
    rng = np.random.default_rng(seed)
    ways = [yard + np.column_stack([smooth_noise(rng, 64, sd_m), smooth_noise(rng, 64, sd_m)]) for _ in range(count)]
    return ways, yard


def by_share(ways, line_m, settings):
    return places_by_share([strand_of(w, settings=settings) for w in ways], range(len(ways)), line_m, settings)


def test_by_share_the_mean_is_at_equal_steps():
    ways, yard = laps(5)
    own = SETTINGS.with_values(step_m=1.5)
    places = by_share(ways, yard + 9.0, own)
    assert places is not None
    legs = np.hypot(*np.diff(mean_of(places), axis=0).T)
    assert legs == pytest.approx(np.full(len(legs), legs.mean()), rel=0.15)
    assert legs.mean() == pytest.approx(1.5, rel=0.1)


def test_where_scatter_is_small_against_length_there_is_no_mean_by_share():
    ways = [shifted_left(road(), smooth_noise(np.random.default_rng(k), 401, 3.0)) for k in range(5)]
    assert by_share(ways, road(), SETTINGS) is None


def test_an_aligned_line_that_is_much_nearer_stays():
    ways, yard = laps(6, sd_m=0.8)
    own = SETTINGS.with_values(step_m=1.5)
    shuffled = [np.roll(w, 9 * k, axis=0) for k, w in enumerate(ways)]
    assert by_share(shuffled, yard, own) is None


def test_a_way_unlike_the_others_is_no_part_of_the_mean():
    ways, yard = laps(6)
    ways[2] = ways[2][:30]
    places = by_share(ways, yard + 9.0, SETTINGS.with_values(step_m=1.5))
    assert np.isnan(places[:, 2]).all()
    assert not np.isnan(np.delete(places, 2, axis=1)).any()


def test_many_traces_have_votes_enough_to_be_aligned():
    ways, yard = laps(14, sd_m=0.5)
    assert by_share(ways, yard + 1.0, SETTINGS.with_values(step_m=1.5)) is None
    assert by_share(ways[:6], yard + 1.0, SETTINGS.with_values(step_m=1.5)) is not None


def test_a_line_as_long_as_its_noisy_traces_has_averaged_nothing():
    ways, yard = laps(14, sd_m=3.0)
    ways = [way + np.random.default_rng(k).normal(0.0, 1.2, way.shape) for k, way in enumerate(ways)]
    own = SETTINGS.with_values(step_m=1.5)
    longest = max(ways, key=lambda way: np.hypot(*np.diff(way, axis=0).T).sum())
    assert by_share(ways, longest, own) is not None
    assert by_share(ways, yard, own) is None


def test_ways_of_unlike_length_are_not_shared_out():
    """One way is twice as long as the other: a standard deviation of the logarithms of 0.35, over 0.3."""
    short, long = (np.column_stack([np.arange(0.0, end, 2.0), np.zeros(int(end / 2))]) for end in (60.0, 120.0))
    assert by_share([short, long], long + 9.0, SETTINGS.with_values(step_m=1.5)) is None
    assert by_share([short, short + 1.0], short + 9.0, SETTINGS.with_values(step_m=1.5)) is not None


def test_laps_begun_at_different_places_have_no_mean():
    """Each begins 8 m of way after the one before: their mean is a curl in the middle of the yard, the line the yard."""
    ways, yard = laps(6, sd_m=1.0)
    later = [np.roll(w[:-1], -4 * k, axis=0) for k, w in enumerate(ways)]
    assert by_share(later, yard, SETTINGS.with_values(step_m=1.5)) is None


def test_spikes_do_not_hide_that_the_aligned_line_is_the_better():
    """Three fixes of each trace lie 200 m off, as far from either line; all else lies 2 m from the road."""
    rng, ways = np.random.default_rng(1), []
    for _ in range(8):
        way = shifted_left(road(), smooth_noise(rng, 401, 2.0))[::6].copy()
        at = rng.choice(np.arange(5, len(way) - 5), 3, replace=False)
        angle = rng.uniform(0.0, 2.0 * np.pi, 3)
        way[at] += 200.0 * np.column_stack([np.cos(angle), np.sin(angle)])
        ways.append(way)
    assert by_share(ways, road(), SETTINGS) is None


def five_ways(bump_m):
    """Return four straight ways 1 m left and right of a road of 100 m, and one on it but for a bump over its middle 40 m."""
    x = np.arange(0.0, 101.0, 2.0)
    bump = np.interp(x, [30.0, 50.0, 70.0], [0.0, bump_m, 0.0])
    return [np.column_stack([x, np.full(51, y)]) for y in (1.0, -1.0, 1.0, -1.0)] + [np.column_stack([x, bump])]


@pytest.mark.parametrize(("bump_m", "taken"), [(10.0, True), (18.0, False)])
def test_a_mean_that_is_a_third_further_off_than_the_line_is_not_taken(bump_m, taken):
    """A bump of five draws the mean by a fifth: y = 2 m, or 3.6, at its top, so that from the ways 1 m left and right it
    lies max(1, y) off in the mean: 1.1 times as far as the road does, or 1.4; the one way itself counts for nothing,
    as more than half of it lies on either line."""
    road_m = np.column_stack([np.arange(0.0, 101.0, 5.0), np.zeros(21)])
    assert (by_share(five_ways(bump_m), road_m, SETTINGS) is not None) is taken


@pytest.mark.parametrize(("apart_m", "taken"), [(0.59, False), (0.61, True)])
def test_scatter_is_small_under_six_thousandths_of_the_length(apart_m, taken):
    """Of 100 m that is 0.6 m, in the mean over the ways."""
    ways = [way * [1.0, apart_m] for way in five_ways(0.0)[:4]]
    assert (by_share(ways, np.array([[0.0, 0.0], [50.0, 0.0], [100.0, 0.0]]), SETTINGS) is not None) is taken


def test_the_mean_of_parallel_ways_is_the_way_between_at_the_same_shares():
    """Two ways 2 m apart: the mean between, 21 stations 5 m apart, each place on its own way."""
    found = by_share(five_ways(0.0)[:2], np.array([[0.0, 9.0], [50.0, 9.0], [100.0, 9.0]]), SETTINGS)
    assert found.shape == (21, 2, 2)
    assert found[:, :, 0] == pytest.approx(np.repeat(5.0 * np.arange(21.0)[:, None], 2, axis=1))
    assert found[:, :, 1] == pytest.approx(np.tile([1.0, -1.0], (21, 1)))
    assert mean_of(found)[:, 1] == pytest.approx(0.0, abs=1e-12)


def plainly(ways, line_m, step_m):
    """Places by share of ways as they are, however small or large, without what makes strands of them."""
    strands = [SimpleNamespace(steps=SimpleNamespace(xy_m=way), counts=np.ones(len(way), bool)) for way in ways]
    return places_by_share(strands, range(len(ways)), line_m, SimpleNamespace(step_m=step_m))


@pytest.mark.parametrize("scale", [1e-3, 1e3])
def test_shares_have_no_size(scale):
    """The same ways and steps a thousand times smaller or larger are shared out or aligned alike, at the same places."""
    lap, yard = laps(5)
    short, long = (np.column_stack([np.arange(0.0, end, 2.0), np.zeros(int(end / 2))]) for end in (60.0, 120.0))
    curls = [np.roll(way[:-1], -4 * k, axis=0) for k, way in enumerate(laps(6, sd_m=1.0)[0])]
    for ways, line_m, taken in (
        (lap, yard + 9.0, True), ([short, long], long + 9.0, False), ([short, short, short + 1.0, long], short + 9.0, True),
        (curls, yard, False),
    ):  # fmt: skip
        right, found = plainly(ways, line_m, 1.5), plainly([w * scale for w in ways], line_m * scale, 1.5 * scale)
        assert (right is not None) == (found is not None) == taken
        if taken:
            assert found / scale == pytest.approx(right, nan_ok=True)


def test_a_way_of_another_length_is_unlike_however_short_all_are():
    """A third of the usual length: its logarithm is 1.1 away, over 0.15, where half of the others differ by nothing."""
    for usual_m in (0.03, 300.0):
        assert _alike(usual_m * np.array([1.0, 1.0, 1.0, 1 / 3])).tolist() == [True, True, True, False]
    assert _alike(np.array([1.0, 1.0, 0.0])).tolist() == [True, True, False]


@pytest.mark.parametrize(("count", "taken"), [(10, True), (11, False)])
def test_ten_straight_ways_are_shared_out_eleven_are_aligned(count, taken):
    ways = (five_ways(0.0)[:2] * 6)[:count]
    assert (by_share(ways, np.array([[0.0, 9.0], [50.0, 9.0], [100.0, 9.0]]), SETTINGS) is not None) is taken


def test_a_mean_of_no_place_is_unknown():
    places = np.array([[[1.0, 2.0], [3.0, 6.0]], [[np.nan, np.nan], [5.0, 7.0]], [[np.nan, np.nan], [np.nan, np.nan]]])
    found = mean_of(places)
    assert found[:2].tolist() == [[2.0, 4.0], [5.0, 7.0]]
    assert np.isnan(found[2]).all()


def test_one_way_alone_has_no_mean():
    assert by_share(five_ways(0.0)[:1], np.array([[0.0, 9.0], [100.0, 9.0]]), SETTINGS) is None


def test_legs_of_two_steps_are_not_slow():
    assert SETTINGS.step_m == 5.0
    assert not strand_of(np.column_stack([np.arange(0.0, 301.0, 10.0), np.zeros(31)])).slow
    assert not strand_of(np.zeros((5, 2))).slow


def test_of_a_single_place_no_chord_is_bent():
    s = slow(0.0)
    vertex = np.full(61, np.nan)
    vertex[6] = 1.0
    place = Abreast(np.where(np.isnan(vertex)[:, None], np.nan, LINE), vertex, ~np.isnan(vertex))
    assert between_fixes(s, place, LINE, SETTINGS.align_cap_m) is place


def test_what_lies_between_two_fixes_is_matched_from_then_on():
    """Known are only the stations of the fixes and the first after them; the four between are filled in, 30 m a chord."""
    s, at = slow(3.0), np.arange(61)
    vertex = np.where(at % 6 < 2, at / 6.0, np.nan)
    place = Abreast(np.where(np.isnan(vertex)[:, None], np.nan, LINE), vertex, ~np.isnan(vertex) & (at != 7))
    found = between_fixes(s, place, LINE, SETTINGS.align_cap_m)
    assert found.matched.dtype == bool
    assert found.matched.all()
    assert found.vertex == pytest.approx(at / 6.0)
    assert found.xy_m[:-1, 1] == pytest.approx(3.0)


@pytest.mark.parametrize("stations", [20, 21, 22])
def test_places_by_share_are_as_many_as_steps_go_into_the_way(stations):
    """Ways of 95, 100 and 105 m have a station each 5 m, first and last included."""
    x = np.linspace(0.0, 5.0 * (stations - 1), 60)
    ways = [np.column_stack([x, np.full(60, y)]) for y in (1.0, -1.0)]
    found = by_share(ways, np.column_stack([x[::12], np.full(5, 9.0)]), SETTINGS)
    assert found.shape == (stations, 2, 2)
    assert found[1, :, 0] == pytest.approx(5.0)

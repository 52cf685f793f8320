"""What no rider can do and what no fix is, on both sides of every limit; places are metres in a plane through space."""

from __future__ import annotations

import numpy as np
import pytest

from gpsq.reading import beginning, outliers
from gpsq.reading.speeds import goes_somewhere, ridden, riding_mps, too_fast
from gpsq.settings import Settings

S = Settings()
START = np.datetime64("2024-05-14T07:00:00", "ms")


def at(*seconds: float) -> np.ndarray:
    """Return times; nan is an unknown one."""
    ms = np.asarray(seconds, float) * 1000
    return np.where(np.isnan(ms), np.datetime64("NaT", "ms"), START + np.nan_to_num(ms).astype("timedelta64[ms]"))


def east(*xs: float) -> np.ndarray:
    return np.column_stack([np.asarray(xs, float), np.zeros(len(xs)), np.zeros(len(xs))])


def places(*xys: tuple[float, float]) -> np.ndarray:
    return np.column_stack([np.asarray(xys, float), np.zeros(len(xys))])


def marked(reason: np.ndarray) -> list[int]:
    return np.flatnonzero(reason == "outlier_jump").tolist()


# speeds


def test_what_nobody_rides_and_what_this_rider_can_have_gone() -> None:
    """60 m/s, and a second of grace: 120 m in a written second. Of a pace of 8 m/s 140 m in ten, the errors granted."""
    metres, seconds = np.array([120.0, 120.1, 660.0, 660.1, 59.9]), np.array([1.0, 1.0, 10.0, 10.0, np.nan])
    assert too_fast(metres, seconds, S).tolist() == [False, True, False, True, False]
    metres, seconds = np.array([140.0, 140.1, 60.0, 60.1, 1.0]), np.array([10.0, 10.0, 0.0, 0.0, np.nan])
    assert ridden(metres, seconds, 8.0, S).tolist() == [True, False, True, False, False]


@pytest.mark.parametrize(("speed_mps", "pace_mps"), [(5.0, 8.0), (10.0, 16.0), (1.0, 3.0), (45.0, 60.0)])
def test_the_pace_is_one_and_six_tenths_of_the_usual_speed(speed_mps: float, pace_mps: float) -> None:
    """Never under 3 m/s, and never over the limit for all riders."""
    seconds = np.arange(60.0)
    assert riding_mps(at(*seconds), east(*(speed_mps * seconds)), S) == pytest.approx(pace_mps)
    sparse = np.arange(0.0, 600.0, 15.0)
    assert riding_mps(at(*sparse), east(*(speed_mps * sparse)), S) == pytest.approx(pace_mps)


def test_standing_unknown_times_and_jumps_say_nothing_of_the_pace() -> None:
    moving = np.minimum(5.0 * np.arange(200.0), 250.0)  # rides 50 s and stands 150 s
    assert riding_mps(at(*np.arange(200.0)), east(*moving), S) == pytest.approx(8.0, rel=0.1)
    seconds = np.arange(60.0)
    some = np.where(np.arange(60) % 3 == 1, np.nan, seconds)
    assert riding_mps(at(*some), east(*(5.0 * seconds)), S) == pytest.approx(8.0)
    jumps = 5.0 * seconds + np.where(seconds >= 30, 20_000.0, 0.0)
    assert riding_mps(at(*seconds), east(*jumps), S) == pytest.approx(8.0)
    assert riding_mps(at(0.0, *[np.nan] * 9), east(*range(10)), S) == 60.0
    assert riding_mps(at(*[np.nan] * 9), east(*range(9)), S) == 60.0
    assert riding_mps(at(*range(9)), east(*range(9)), S) == 60.0  # shorter than one window
    assert riding_mps(at(*range(60)), east(*(0.04 * k for k in range(60))), S) == 60.0
    assert riding_mps(at(*range(60)), east(*(0.06 * k for k in range(60))), S) == 60.0
    assert riding_mps(at(*range(60)), east(*(0.6 * k for k in range(60))), S) == 3.0


def test_a_window_is_ten_seconds_long() -> None:
    """To and fro within ten seconds makes no way: 40 m forth and 40 m back in 5 s each."""
    seconds = np.arange(100.0)
    swing = np.abs((8.0 * seconds + 40) % 80 - 40)
    assert riding_mps(at(*seconds), east(*swing), S) == 60.0


@pytest.mark.parametrize(
    ("xs", "seconds", "follows"),
    [
        ([0, 6, 12, 18, 24, 30], [0, 1, 2, 3, 4, 5], True),
        ([0, 6, 12, 18, 24], [0, 1, 2, 3, 4], False),
        ([0, 3, 6, 9, 12, 15], [0, 0.5, 1, 1.5, 2, 2.5], False),  # five legs, but under five seconds
        ([3 * k for k in range(11)], [0.5 * k for k in range(11)], True),
        ([0, 0.52, 1.04, 1.56, 2.08, 2.6], [0, 1, 2, 3, 4, 5], True),
        ([0, 0.48, 0.96, 1.44, 1.92, 2.4], [0, 1, 2, 3, 4, 5], False),  # half a metre a second is standing
        ([0, 10, 8, 18, 16, 26], [0, 1, 2, 3, 4, 5], True),  # 26 of 34 m are three quarters of the way
        ([0, 10, 7, 17, 14, 24], [0, 1, 2, 3, 4, 5], False),  # 24 of 36 m are two thirds
        ([0, 9.8, 19.6, 29.4, 39.2, 49], [0, 1, 2, 3, 4, 5], True),
        ([0, 10.2, 20.4, 30.6, 40.8, 51], [0, 1, 2, 3, 4, 5], False),
        ([0, 6, 12, 18, 24, 30], [0, 1, np.nan, 3, 4, 5], False),
        ([0, 6, 12, 18, 24, 30, 0], [0, 1, 2, 3, 4, 5, np.nan], True),
    ],
)
def test_the_first_fixes_follow_a_way(xs: list[float], seconds: list[float], follows: bool) -> None:
    """A pace of 10 m/s; seven tenths of what was gone must be a way."""
    assert goes_somewhere(at(*seconds), east(*xs), 10.0) is follows


# excursions in mid-ride


def riding(n: int = 60, speed_mps: float = 5.0) -> np.ndarray:
    return speed_mps * np.arange(float(n))


def excursions(xs: np.ndarray, seconds: np.ndarray | None = None) -> list[int]:
    reason = np.full(len(xs), "", dtype=object)
    outliers._mark_excursions(reason, at(*(np.arange(len(xs)) if seconds is None else seconds)), east(*xs), S)
    return marked(reason)


@pytest.mark.parametrize(("fixes", "aside"), [(1, [20]), (3, [20, 21, 22]), (4, [])])
def test_up_to_three_fixes_between_two_impossible_legs_are_outliers(fixes: int, aside: list[int]) -> None:
    xs = riding()
    xs[20 : 20 + fixes] += 1000.0
    assert excursions(xs) == aside


def test_an_outlier_is_over_where_the_ride_can_have_got_to() -> None:
    """Off by 400, 800 and 400 m: three impossible legs to or from it, and the fix behind each is looked at."""
    xs = riding()
    xs[20:23] += [400.0, 800.0, 400.0]
    assert excursions(xs) == [20, 21, 22]
    back_at_once = riding()
    back_at_once[[20, 22]] += 400.0
    assert excursions(back_at_once) == [20, 22]
    # away for good is no excursion
    away = riding()
    away[20:] += 1000.0
    assert excursions(away) == []


def test_an_outlier_ends_nearest_to_what_this_rider_rides_else_what_any_can() -> None:
    """Behind it the fixes lie 100 m aside: 60 m and 8 m/s would not do in two seconds, 60 m/s would."""
    aside = riding()
    aside[20] += 1000.0
    aside[21:] += 100.0
    assert excursions(aside) == [20]
    far = riding()
    far[20] += 1000.0
    far[21:] += 200.0  # 210 m in 2 s: no rider
    assert excursions(far) == []


@pytest.mark.parametrize(
    ("tail", "before", "aside"), [(1, 30, True), (3, 30, True), (4, 30, False), (3, 3, False), (3, 4, True)]
)
def test_the_few_last_points_behind_an_impossible_leg_are_outliers(tail: int, before: int, aside: bool) -> None:
    """Fewer than stand together before them; those before may follow another jump."""
    n = 40
    xs = riding(n)
    xs[n - tail :] += 5000.0
    if before < 30:
        xs[: n - tail - before] += 90_000.0
    reason = np.full(n, "", dtype=object)
    outliers._mark_end(reason, at(*range(n)), east(*xs), S)
    assert marked(reason) == (list(range(n - tail, n)) if aside else [])


def test_what_is_set_aside_already_is_no_end() -> None:
    xs = riding(20)
    xs[17:] += 5000.0
    reason = np.full(20, "", dtype=object)
    reason[[5, 19]] = "frozen_before_fix"
    outliers._mark_end(reason, at(*range(20)), east(*xs), S)
    assert marked(reason) == [17, 18]
    assert reason[19] == "frozen_before_fix"
    clean = np.full(20, "", dtype=object)
    outliers._mark_end(clean, at(*range(20)), east(*riding(20)), S)
    assert set(clean) == {""}


# spikes


def test_how_far_off_the_straight_and_even_way_points_are() -> None:
    """Between fixes at 0 and 40 m, 4 s apart: at 1, 2 and 3 s one should be at 10, 20 and 30 m."""
    xyz = places((0, 0), (10, 3), (20, -7), (30, 5), (40, 0))
    assert outliers._off_m(at(0, 1, 2, 3, 4), xyz, 0, 4).tolist() == [3.0, 7.0, 5.0]
    assert outliers._off_m(at(*[np.nan] * 5), xyz, 0, 4).tolist() == [3.0, 7.0, 5.0]
    # after 1 of 4 s, not after half of the points
    uneven = places((9, 9), (0, 0), (20, 0), (40, 0), (9, 9))
    assert outliers._off_m(at(0, 10, 11, 14, 20), uneven, 1, 3).tolist() == [10.0]
    assert outliers._off_m(at(0, 10, np.nan, 14, 20), uneven, 1, 3).tolist() == [0.0]
    assert outliers._off_m(at(0, 10, 10, 10, 20), uneven, 1, 3).tolist() == [0.0]


def kept(xyz: np.ndarray, seconds: np.ndarray | None = None) -> list[tuple[int, int, float]]:
    found = outliers._kept_spikes(at(*(np.arange(len(xyz)) if seconds is None else seconds)), xyz, S)
    return [(before, after, round(metres, 1)) for before, after, metres in found]


@pytest.mark.parametrize(
    ("off_m", "found"),
    [
        ({20: 31}, [(19, 21, 31.0)]), ({20: 29}, []), ({20: 60, 21: 70}, [(19, 22, 70.0)]),
        ({20: 60, 21: 70, 22: 50}, [(19, 23, 70.0)]), ({20: 60, 21: 70, 22: 70, 23: 60}, []),
        ({10: 40, 20: 50}, [(9, 11, 40.0), (19, 21, 50.0)]), ({20: 40, 21: -40}, [(19, 22, 40.0)]),
        ({20: 40, 22: 50}, [(19, 21, 40.0), (21, 23, 50.0)]),
    ],
)  # fmt: skip
def test_fixes_off_for_a_moment_are_spikes(off_m: dict[int, float], found: list[tuple[int, int, float]]) -> None:
    """30 m off at least, one to three fixes, and each fix is of one spike; at 5 m/s a rider goes 8 m in a second at most."""
    xyz = east(*riding())
    for k, metres in off_m.items():
        xyz[k, 1] = metres
    assert kept(xyz) == found


def test_a_spike_is_six_times_the_usual_scatter() -> None:
    """Fixes 7 m to the left and to the right in turn lie 14 m from the middle of their neighbours: 84 m would show."""
    xyz = east(*riding())
    xyz[:, 1] = 7.0 * (-1) ** np.arange(60)
    for off_m, count in ((60.0, 0), (95.0, 1)):
        rough = xyz.copy()
        rough[20, 1] += off_m
        assert len(kept(rough)) == count


@pytest.mark.parametrize(("step_s", "count"), [(15.0, 1), (15.1, 0)])
def test_a_spike_is_off_and_back_within_half_a_minute(step_s: float, count: int) -> None:
    xyz = east(*riding(40, speed_mps=5.0 * step_s))
    xyz[20, 1] = 400.0
    assert len(kept(xyz, step_s * np.arange(40.0))) == count


def test_a_spike_goes_and_comes_back_faster_than_the_ride() -> None:
    """At a fix each 10 s this rider may go 80 m: 60 m aside is riding, 80 m aside (94 m of way) is not."""
    for off_m, count in ((60.0, 0), (80.0, 1)):
        xyz = east(*riding(40, speed_mps=50.0))
        xyz[20, 1] = off_m
        assert len(kept(xyz, 10.0 * np.arange(40.0))) == count


def test_spikes_set_aside_and_kept_are_told_in_order() -> None:
    n = 60
    lon, lat = 5.0 / 111_319.5 * np.arange(n), np.zeros(n)
    lat[40] += 40 / 110_574.0
    lat[10:12] += 5000 / 110_574.0
    reason = np.full(n, "", dtype=object)
    reason[10:12] = "outlier_jump"
    first, second = outliers.find_spikes(at(*range(n)), lon, lat, reason, S)
    assert (first.after_point, first.fixes, second.after_point, second.fixes) == (9, 2, 39, 1)
    assert (first.metres, second.metres) == (pytest.approx(5000, rel=1e-3), pytest.approx(40, rel=1e-3))
    only_two = np.full(n, "no_fix", dtype=object)
    only_two[[3, 9]] = ""
    assert outliers.find_spikes(at(*range(n)), lon, lat, only_two, S) == ()


# damaged digits


@pytest.mark.parametrize(
    ("off", "seconds", "aside"),
    [
        ({20: 900_000}, None, [20]), ({20: 900_000, 21: 900_000, 22: 900_000}, None, [20, 21, 22]),
        (dict.fromkeys((20, 21, 22, 23), 900_000), None, []), ({20: 9000}, None, []), ({0: 900_000}, None, [0]),
        ({39: 900_000}, None, [39]), ({20: 900_000}, 40_000.0, []), ({20: 900_000}, 10_000.0, [20]),
        ({10: 900_000, 30: -800_000}, None, [10, 30]),
    ],
)  # fmt: skip
def test_few_points_that_only_far_legs_lead_to_are_damaged(
    off: dict[int, float], seconds: float | None, aside: list[int]
) -> None:
    """Over 10 km and a hundred usual legs; where 900 km were 40,000 s there is time for them (at 60 m/s: 15,000 s)."""
    n = 40
    metres = 8.0 * np.arange(n)
    for k, off_m in off.items():
        metres[k] += off_m
    if seconds is None:
        time = at(*[np.nan] * n)
    else:
        ms = np.arange(n) * 1.0
        ms[20:] += seconds
        ms[21:] += seconds
        time = at(*ms)
    reason = np.full(n, "", dtype=object)
    outliers.mark_far(reason, time, metres / 111_319.5, np.zeros(n), S)
    assert marked(reason) == aside


def test_a_point_before_or_behind_a_damaged_one_is_sound() -> None:
    """Between two damaged ones a good point stands alone; it lies near the many, so it is kept."""
    metres = 8.0 * np.arange(40)
    metres[[20, 22]] += 900_000.0
    reason = np.full(40, "", dtype=object)
    reason[5] = "no_fix"
    outliers.mark_far(reason, at(*[np.nan] * 40), metres / 111_319.5, np.zeros(40), S)
    assert marked(reason) == [20, 22]
    few = np.full(9, "", dtype=object)
    outliers.mark_far(few, at(*[np.nan] * 9), metres[14:23] / 111_319.5, np.zeros(9), S)
    assert marked(few) == []


def test_what_is_far_again_and_again_is_no_damage() -> None:
    """Fifty damaged points at most."""
    for count, aside in ((50, 50), (51, 0)):
        metres = 8.0 * np.arange(20 * count + 40)
        metres[10 : 20 * count : 20] += 900_000.0
        reason = np.full(len(metres), "", dtype=object)
        outliers.mark_far(reason, at(*[np.nan] * len(metres)), metres / 111_319.5, np.zeros(len(metres)), S)
        assert len(marked(reason)) == aside


def test_all_that_is_no_fix_is_looked_for() -> None:
    """A memory at the beginning, an outlier in mid-ride and two at the end: 5 m/s along the equator."""
    metres = np.concatenate([np.full(4, -900.0), riding(60)])
    metres[30] += 700.0
    metres[62:] += 5000.0
    reason = outliers.no_fixes(at(*range(64)), metres / 111_319.5, np.zeros(64), S)
    assert reason[:4].tolist() == ["frozen_before_fix"] * 4
    assert marked(reason) == [30, 62, 63]


def test_of_two_points_nothing_is_judged() -> None:
    assert outliers.no_fixes(at(0, 1), np.array([0.0, 90.0]), np.zeros(2), S).tolist() == ["", ""]


# the beginning


def test_where_the_next_one_is_and_how_many_hang_together() -> None:
    flags = np.array([False, True, False, False, True, False])
    assert beginning._next_true(flags).tolist() == [1, 1, 4, 4, 4, 6]
    assert beginning._longest_behind(flags).tolist() == [0, 3, 0, 0, 2, 0]
    assert beginning._longest_behind(np.zeros(4, dtype=bool)).tolist() == [0] * 4
    assert beginning._longest_run(np.array([True, False, True, True, True, False])) == 3
    assert beginning._longest_run(np.zeros(3, dtype=bool)) == 0
    assert beginning._longest_run(np.ones(3, dtype=bool)) == 3


@pytest.mark.parametrize(
    ("jump_m", "seconds", "leaves"),
    [
        (130.0, 1.0, True), (99.0, 0.1, False), (119.0, 1.0, True), (119.0, 20.0, False), (119.0, 6.0, False),
        (119.0, 5.8, True), (5000.0, np.nan, False),
    ],
)  # fmt: skip
def test_what_leads_off_a_remembered_position_is_no_riding(jump_m: float, seconds: float, leaves: bool) -> None:
    """100 m at least, and faster than anyone, or four times the fast tenth of this ride: here 20 m/s."""
    legs_m = np.array([0.0, 0.0, jump_m, *[5.0] * 40])
    off = beginning._leaves_memory(legs_m, np.array([1.0, 1.0, seconds, *[1.0] * 40]), S)
    assert off.tolist() == [False, False, leaves, *[False] * 40]


def test_without_times_a_leg_stands_for_a_second_and_few_legs_say_nothing_of_usual() -> None:
    legs_m = np.array([0.0, 0.0, 101.0, *[5.0] * 40])
    assert np.flatnonzero(beginning._leaves_memory(legs_m, np.full(43, np.nan), S)).tolist() == [2]
    for moving, leaves in ((10, []), (11, [2])):
        some = np.array([0.0, 0.0, 119.0, *[5.0] * (moving - 1), *[0.0] * 5])
        assert np.flatnonzero(beginning._leaves_memory(some, np.ones(len(some)), S)).tolist() == leaves


def test_even_steps_are_held_against_the_line_to_the_last_of_them() -> None:
    """Seven places in steps of 1e-4 and 2e-4 degrees, then a bend; on a grid of 1e-6 they may be off by 1.05e-6."""
    steps = np.arange(8)[:, None] * np.array([1e-4, 2e-4])
    bent = np.vstack([steps, steps[-1] + [[2e-4, -1e-4]], steps[-1] + [[4e-4, -3e-4]]])
    assert beginning._in_even_steps(bent, 6, 1e-6) == 7
    rounded = bent.copy()
    rounded[3] += 1e-6
    assert beginning._in_even_steps(rounded, 6, 1e-6) == 7
    rounded[3] += 1e-6
    assert beginning._in_even_steps(rounded, 6, 1e-6) < 7


def test_steps_of_five_units_are_as_short_as_rounding_where_they_are_fewer_than_fifty() -> None:
    """Of 4.95 units they prove nothing, of 5.1 they do; fifty of 4.95 or 3.1 do as well, of 2.9 not."""
    rest = np.random.default_rng(4).normal(0.0, 40e-6, (200, 2)).cumsum(axis=0)
    for units, count, found in ((4.95, 49, 0), (5.1, 49, 49), (4.95, 50, 50), (2.9, 50, 0), (3.1, 50, 50)):
        xy = np.vstack([np.arange(-count, 0)[:, None] * np.array([units * 1e-6, 0.0]), rest - rest[0]])
        assert beginning._filled_in(*xy.T, 1e-6) == found


def test_noise_shows_where_it_is_twice_that_of_rounding() -> None:
    """Normal errors of a unit beside uniform ones of 1/√12 = 0.289 units: well over twice; of half a unit: under it."""
    rng = np.random.default_rng(4)
    ride = np.cumsum(np.full((600, 2), 40.0), axis=0)
    for sd_units, shows in ((1.0, True), (0.25, False)):
        xy = (ride + rng.normal(0, sd_units, ride.shape)).round() * 1e-6
        assert beginning._noise_shows(xy, 1e-6) is shows
    assert not beginning._noise_shows(ride[:8], 1e-6)


def test_the_rounding_alone_of_differences_of_the_eighth_order() -> None:
    """Weights of the binomials of 8, squared: 12870 in all; a uniform error of one unit has a variance of a twelfth."""
    from math import comb, sqrt

    assert sum(comb(8, k) ** 2 for k in range(9)) == 12870
    assert pytest.approx(sqrt(12870 / 12)) == beginning._ROUNDED_UNITS


@pytest.mark.parametrize(
    ("lon", "lat", "step"),
    [
        ([5.0, 6.0], [50.0, 51.0], 1.0),
        ([5.1, 6.0], [50.0, 51.0], 0.1),
        ([5.0], [50.12345678], 1e-8),
        ([1 / 3], [0.5], 1e-9),
    ],
)
def test_the_grid_of_coordinates(lon: list[float], lat: list[float], step: float) -> None:
    assert beginning.grid_step_deg(np.array(lon), np.array(lat)) == pytest.approx(step)


def first_of(xs: np.ndarray, seconds: np.ndarray | None = None) -> tuple[int, list[str]]:
    kinds = np.full(len(xs), "", dtype=object)
    time = at(*(np.arange(len(xs)) if seconds is None else seconds))
    return beginning._mark_before_fix(kinds, beginning._Way(time, east(*xs), S)), sorted(set(kinds) - {""})


@pytest.mark.parametrize(("repeats", "first"), [(2, 0), (3, 3), (30, 30)])
def test_three_times_one_place_before_a_jump_are_a_memory(repeats: int, first: int) -> None:
    """150 m, then riding: no mast, so two of them prove nothing."""
    xs = np.concatenate([np.full(repeats, -150.0), riding()])
    found, kinds = first_of(xs)
    assert found == first
    assert kinds == (["frozen_before_fix"] if first else [])


def test_a_guess_before_as_long_a_ride_is_believed_and_one_before_a_longer_one_is_not() -> None:
    """Scattered places 3 km off, and a ride behind them that never comes near."""
    for guesses, rides, first in ((5, 5, 0), (5, 6, 5), (30, 60, 30)):
        scattered = -3000.0 + 30.0 * (-1.0) ** np.arange(guesses)
        assert first_of(np.concatenate([scattered, riding(rides)]))[0] == first


def test_a_network_guess_is_half_a_kilometre_off_at_least() -> None:
    for off_m, first in ((499.0, 0), (501.0, 1)):
        assert first_of(np.concatenate([[-off_m], riding()]))[0] == first


@pytest.mark.parametrize(("points", "first"), [(1, 0), (2, 0), (3, 1), (4, 1)])
def test_of_three_points_the_first_may_be_a_guess(points: int, first: int) -> None:
    xs = np.array([-5000.0, 0.0, 5.0, 10.0])[:points]
    reason = np.full(points, "", dtype=object)
    lon_deg, lat_deg = xs / 111_319.5, np.zeros(points)
    beginning.mark_beginning(reason, at(*range(points)), east(*xs), lon_deg, lat_deg, S)
    assert marked(reason) == list(range(first))


def test_many_pieces_in_a_row_are_no_beginning() -> None:
    """Guesses that leap from place to place: fifty of them are thrown away, and there it ends."""
    leaps = 5000.0 * (1.0 + np.arange(60)) * (-1.0) ** np.arange(60)
    assert first_of(np.concatenate([leaps, riding(200)]))[0] == 50


def test_a_memory_behind_a_guess_is_a_memory() -> None:
    xs = np.concatenate([[9000.0], np.full(3, -3000.0), riding()])
    kinds = np.full(len(xs), "", dtype=object)
    assert beginning._mark_before_fix(kinds, beginning._Way(at(*range(len(xs))), east(*xs), S)) == 4
    assert kinds[:5].tolist() == ["outlier_jump", *["frozen_before_fix"] * 3, ""]


@pytest.mark.parametrize(("rides", "first"), [(100, 8), (700, 0)])
def test_a_beginning_that_follows_a_way_is_right_where_a_later_fix_can_be_ridden_to(rides: int, first: int) -> None:
    """Eight fixes ride 5 km away: at 8 m/s, and 60 m of errors, that is more than ten minutes off."""
    xs = np.concatenate([-5000.0 + riding(8), riding(rides) * 0.2])
    seconds = np.concatenate([np.arange(8.0), 8.0 + np.arange(rides)])
    away = np.concatenate([np.zeros(8), 5.0 * 0.98 * np.arange(rides)])
    xyz = np.column_stack([xs, away, np.zeros(len(xs))])
    kinds = np.full(len(xs), "", dtype=object)
    xyz[8:, 1] = np.abs((away[8:] + 100) % 400 - 200)  # to and fro beside the same place
    assert beginning._mark_before_fix(kinds, beginning._Way(at(*seconds), xyz, S)) == first

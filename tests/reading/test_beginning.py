"""The beginning of a recording is only thrown away when it is proved wrong, and spikes are counted: by property."""

from __future__ import annotations

import dataclasses

import numpy as np
import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st
from test_screen import ORIGIN, recording
from test_straight import START, ride_m

from gpsq.model import FloatArray, Trace
from gpsq.plane import Plane, to_earth_centred
from gpsq.reading.beginning import evidence
from gpsq.reading.outliers import find_spikes, no_fixes
from gpsq.reading.screen import make_trace
from gpsq.reading.speeds import goes_somewhere, riding_mps
from gpsq.settings import Settings

PLANE = Plane.centred_on([3.0], [51.0])


def degrees(xy_m: FloatArray) -> tuple[FloatArray, FloatArray]:
    lon, lat = (a.round(7) for a in PLANE.to_degrees(xy_m))
    return lon, lat


def reasons_of(xy_m: FloatArray, interval_s: float = 1.0) -> np.ndarray:
    time = START + (1000 * interval_s * np.arange(len(xy_m))).astype("timedelta64[ms]")
    return no_fixes(time, *degrees(xy_m), Settings())


def first_kept(xy_m: FloatArray) -> int:
    return int(np.flatnonzero(reasons_of(xy_m) == "")[0])


def eastward(n: int = 400, speed_mps: float = 6.0) -> FloatArray:
    """Return (n, 2) fixes of a ride due east with the noise of a good receiver; invented."""
    return np.column_stack([speed_mps * np.arange(n), np.zeros(n)]) + np.random.default_rng(3).normal(0, 0.5, (n, 2))


def excursion(n: int, at: int, away: tuple[float, ...]) -> FloatArray:
    """Return (n, 2) offsets: `away` metres to the north from fix `at` on, one after the other, nothing elsewhere."""
    offset = np.zeros((n, 2))
    offset[at : at + len(away), 1] = away
    return offset


@pytest.mark.parametrize(
    ("at", "away"),
    [
        (100, (600.0, 350.0, 150.0)),
        (100, (503.0, 497.0)),
        (190, (600.0, 350.0, 150.0)),
        (100, tuple(np.linspace(600, 0, 20))),
        (100, (*(600.0,) * 30, *np.linspace(600, 0, 20))),
        (100, (*np.linspace(0, 600, 20), *(600.0,) * 30)),
        (2, (5000.0,) * 200),
        (1, (900.0, 700.0, 500.0, 300.0, 100.0)),
        (100, tuple(np.linspace(600, 0, 250))),
        (2, (300.0, *(600.0,) * 10)),
    ],
    ids=[
        "two steps",
        "503 and 497",
        "at 190",
        "drift",
        "stay, drift",
        "drift, leap",
        "second fix",
        "first fix",
        "slower than a ride",
        "out in two steps",
    ],
)
def test_an_excursion_costs_a_good_beginning_nothing(at: int, away: tuple[float, ...]) -> None:
    assert first_kept(eastward() + excursion(400, at, away)) == 0


@settings(max_examples=200, deadline=None)
@given(
    seed=st.integers(0, 2**32),
    at=st.integers(6, 300),
    size_m=st.floats(100.0, 50_000.0),
    length=st.integers(1, 200),
    out=st.integers(1, 40),
    back=st.integers(1, 40),
    after=st.integers(2, 100),
    bearing=st.floats(0, 2 * np.pi),
)
def test_a_jump_at_any_fix_of_any_size_back_in_any_number_of_steps_never_changes_the_first_fix(
    seed: int, at: int, size_m: float, length: int, out: int, back: int, after: int, bearing: float
) -> None:
    """The beginning rides for six fixes or more, and at the end the recording is back on its road."""
    n = at + out + length + back + after
    rng = np.random.default_rng(seed)
    xy = ride_m(rng, 300, rng.uniform(3.0, 12.0), rng.uniform(0.5, 5.0))[:n]
    corners = np.cumsum([at - 1, out, length, back])
    share = np.interp(np.arange(n), corners, [0.0, 1.0, 1.0, 0.0])
    assert first_kept(xy + size_m * share[:, None] * np.array([np.cos(bearing), np.sin(bearing)])) == 0


@settings(max_examples=200, deadline=None)
@given(
    seed=st.integers(0, 2**32),
    at=st.integers(1, 5),
    size_m=st.floats(100.0, 50_000.0),
    length=st.integers(1, 300),
    back=st.integers(1, 20),
    bearing=st.floats(0, 2 * np.pi),
)
def test_a_jump_after_the_very_first_fixes_that_comes_back_faster_than_a_ride_leaves_them_alone(
    seed: int, at: int, size_m: float, length: int, back: int, bearing: float
) -> None:
    """One to five fixes show nothing of riding: the return does, where it is none that a rider could have made."""
    rng = np.random.default_rng(seed)
    xy = ride_m(rng, 60, rng.uniform(3.0, 8.0), rng.uniform(0.5, 5.0))[:400]
    share = np.interp(np.arange(400), np.cumsum([at - 1, 1, length, back]), [0.0, 1.0, 1.0, 0.0])
    assert first_kept(xy + size_m * share[:, None] * np.array([np.cos(bearing), np.sin(bearing)])) == 0


@settings(max_examples=200, deadline=None)
@given(
    seed=st.integers(0, 2**32),
    guessed=st.integers(1, 8),
    away_m=st.floats(650.0, 5000.0),
    scatter_m=st.floats(10.0, 60.0),
    bearing=st.floats(0, 2 * np.pi),
)
def test_places_off_a_mast_are_no_fixes_however_long_the_ride_behind_them(
    seed: int, guessed: int, away_m: float, scatter_m: float, bearing: float
) -> None:
    """In time a rider can get to any place: that alone proves no guess right."""
    rng = np.random.default_rng(seed)
    xy = ride_m(rng, 60, rng.uniform(3.0, 8.0), rng.uniform(0.5, 5.0))
    mast = xy[0] + away_m * np.array([np.cos(bearing), np.sin(bearing)]) + rng.normal(0, 1, (guessed, 2)) * scatter_m
    assume(np.hypot(*(mast[-1] - xy[0])) > 520.0)
    reason = reasons_of(np.vstack([mast, xy]))
    assert int(np.flatnonzero(reason == "")[0]) == guessed
    assert set(reason[:guessed]) == {"outlier_jump"}


def test_two_masts_one_after_the_other_are_no_fixes() -> None:
    """A guess that lasts longer than the next one is no better for it: the ride behind both is what counts."""
    xy = eastward()
    masts = np.array([[0.0, 3000.0], [5.0, 3010.0], [2000.0, -4000.0]])
    assert first_kept(np.vstack([masts, xy])) == 3


@settings(max_examples=100, deadline=None)
@given(seed=st.integers(0, 2**32), decimals=st.integers(4, 7), noise_m=st.floats(0.05, 1.0), speed=st.floats(5.0, 30.0))
def test_rounding_coarser_than_the_noise_proves_no_fill(seed: int, decimals: int, noise_m: float, speed: float) -> None:
    """An honest start on a straight road at an even speed stands in even steps as far as a coarse grid can tell."""
    rng = np.random.default_rng(seed)
    grid_m = 111_200 * 10.0**-decimals
    assume(grid_m > 2.0 * noise_m)
    xy = ride_m(rng, int(rng.integers(20, 60)), speed, noise_m)
    lon, lat = (a.round(decimals) for a in PLANE.to_degrees(xy))
    reason = no_fixes(START + 1000 * np.arange(len(lon)), lon, lat, Settings())
    assert set(reason) == {""}


def test_an_honest_quick_start_on_a_straight_road_is_no_fill() -> None:
    """20 m/s, noise of 0.375 m, five decimals: sixteen fixes in line, as far as rounding can tell."""
    xy = ride_m(np.random.default_rng(1), 20, 20.0, 0.375)
    lon, lat = (a.round(5) for a in PLANE.to_degrees(xy))
    assert set(no_fixes(START + 1000 * np.arange(len(lon)), lon, lat, Settings())) == {""}


# what is thrown away is told with its evidence


def told(xy_m: FloatArray) -> Trace:
    lon, lat = degrees(xy_m)
    made = make_trace(recording(len(lon), lon_deg=lon, lat_deg=lat), ORIGIN, Settings())
    assert isinstance(made, Trace)
    return made


def test_a_beginning_that_is_thrown_away_is_told_with_the_evidence() -> None:
    xy = eastward()

    def north(metres: float) -> FloatArray:
        return np.asarray(xy[:1] + np.array([0.0, metres]))

    mast = np.vstack([north(3000.0), xy[0] + np.array([20.0, 3010.0]), xy])
    (note,) = told(mast).notes
    assert note.startswith(
        "2 points at the beginning are no fix: the next lies 3,010 m from there 1 s later (3,010 m/s)"
    )
    memory = np.vstack([np.repeat(north(2400.0), 11, axis=0), xy])
    (note,) = told(memory).notes
    assert (
        note
        == "11 points at the beginning are no fix: they repeat one position, and the next lies 2,400 m from it 1 s later."
    )
    back = xy[0] + np.arange(40, 0, -1)[:, None] * np.array([3.0, 4.0])
    filled = np.vstack([back, ride_m(np.random.default_rng(5), 0, 5.0, 4.0) + xy[0]])
    (note,) = told(filled).notes
    assert "even steps on a straight line" in note
    assert told(xy).notes == ()


def test_the_speed_that_proves_a_guess_wrong_is_told() -> None:
    time = START + np.array([0, 5_000, 6_000])
    north = np.array([[0.0, 0.0], [0.0, 1500.0], [0.0, 1500.0]])
    (note,) = evidence(np.array(["outlier_jump", "", ""], dtype=object), time, to_earth_centred(*degrees(north)))
    assert "the next lies 1,500 m from there 5 s later (300 m/s)" in note
    untimed = np.full(3, np.datetime64("NaT", "ms"))
    (note,) = evidence(np.array(["outlier_jump", "", ""], dtype=object), untimed, to_earth_centred(*degrees(north)))
    assert "the next lies 1,500 m from there, and nothing" in note


def test_each_kind_of_beginning_has_its_own_sentence() -> None:
    reason = np.array(["frozen_before_fix"] * 3 + ["outlier_jump", "", "outlier_jump", ""], dtype=object)
    time = START + 1000 * np.arange(7)
    xyz = to_earth_centred(np.linspace(3.0, 3.01, 7), np.full(7, 51.0))
    first, second = evidence(reason, time, xyz)
    assert first.startswith("3 points at the beginning are no fix: they repeat")
    assert second.startswith("1 point at the beginning is no fix: the next lies")
    assert evidence(np.array(["", "outlier_jump"], dtype=object), time[:2], xyz[:2]) == ()


# outliers and spikes


@pytest.mark.parametrize("off_m", [130.0, 304.0, 499.0, 5000.0])
@pytest.mark.parametrize("fixes", [1, 2, 3])
def test_speed_alone_proves_an_outlier_in_mid_ride(off_m: float, fixes: int) -> None:
    trace = told(eastward() + excursion(400, 200, (off_m,) * fixes))
    assert {s.reason: s.points for s in trace.set_aside} == {"outlier_jump": fixes}
    assert trace.point[199:201].tolist() == [199, 200 + fixes]
    (spike,) = trace.spikes
    assert (spike.after_point, spike.fixes) == (199, fixes)
    assert spike.metres == pytest.approx(off_m, rel=0.02)


def test_an_outlier_that_comes_back_in_steps_is_set_aside_whole() -> None:
    trace = told(eastward() + excursion(400, 100, (600.0, 350.0, 150.0)))
    assert {s.reason: s.points for s in trace.set_aside} == {"outlier_jump": 3}
    assert [(s.after_point, s.fixes) for s in trace.spikes] == [(99, 3)]


def test_two_outliers_with_a_good_fix_between_them_leave_it() -> None:
    trace = told(eastward() + excursion(400, 100, (400.0, 0.0, -400.0)))
    assert {s.reason: s.points for s in trace.set_aside} == {"outlier_jump": 2}
    assert 101 in trace.point
    assert len(trace.spikes) == 2


def test_good_fixes_between_two_outliers_at_one_place_are_kept() -> None:
    trace = told(eastward() + excursion(400, 100, (400.0, 0.0, 0.0, 400.0)))
    assert np.setdiff1d(np.arange(400), trace.point).tolist() == [100, 103]


def test_an_outlier_is_one_though_the_way_goes_on_a_little_aside() -> None:
    """Behind it the fixes wander 110 m off for a while: further than this rider goes, no further than any rider can."""
    trace = told(eastward() + excursion(400, 100, (400.0, *(110.0,) * 40)))
    assert np.setdiff1d(np.arange(400), trace.point).tolist() == [100]


def test_a_long_way_off_at_the_end_is_shown() -> None:
    assert told(eastward() + excursion(400, 390, (5000.0,) * 10)).set_aside == ()


def test_a_jump_that_stays_or_creeps_back_is_no_spike() -> None:
    assert told(eastward() + excursion(400, 100, tuple(np.arange(58.0, 0.0, -6.0)))).spikes == ()
    assert told(eastward() + excursion(400, 100, (55.0,) * 300)).spikes == ()


def test_two_fixes_off_to_either_side_are_one_spike() -> None:
    assert len(told(eastward() + excursion(400, 100, (65.0, -65.0))).spikes) == 1


def test_what_lasts_longer_than_seconds_is_no_spike() -> None:
    xy = eastward()[::20] + excursion(20, 10, (900.0,))
    lon, lat = degrees(xy)
    time = START + 20_000 * np.arange(20)
    assert find_spikes(time, lon, lat, no_fixes(time, lon, lat, Settings()), Settings()) == ()


def test_an_outlier_at_the_end_is_set_aside_and_no_spike_since_it_never_came_back() -> None:
    trace = told(eastward() + excursion(400, 398, (304.0, 310.0)))
    assert {s.reason: s.points for s in trace.set_aside} == {"outlier_jump": 2}
    assert trace.spikes == ()


@settings(max_examples=150, deadline=None)
@given(
    seed=st.integers(0, 2**32),
    places=st.lists(st.integers(1, 38), min_size=0, max_size=8, unique=True),
    off_m=st.floats(45.0, 5000.0),
    interval_s=st.sampled_from([1, 2, 4]),
)
def test_every_spike_is_counted_and_its_size_told(seed: int, places: list[int], off_m: float, interval_s: int) -> None:
    """Single fixes off to any side, ten fixes apart; smooth noise of 2 m. Slow ones are kept, quick ones set aside."""
    rng = np.random.default_rng(seed)
    xy = ride_m(rng, 60, 6.0, 2.0)[:400:interval_s][:100]
    assume(off_m > 25.0 * interval_s)
    at = [10 + (p % 9) * 10 for p in places]
    angle = rng.uniform(0, 2 * np.pi, len(at))
    for place, a in zip(at, angle, strict=True):
        xy[place] += off_m * np.array([np.cos(a), np.sin(a)])
    count = len(set(at))
    assume(count == len(at))
    lon, lat = degrees(xy)
    time = START + 1000 * interval_s * np.arange(len(xy))
    reason = no_fixes(time, lon, lat, Settings())
    spikes = find_spikes(time, lon, lat, reason, Settings())
    assert [s.after_point for s in spikes] == sorted(p - 1 for p in at)
    assert all(abs(s.metres - off_m) < 12.0 + 0.05 * off_m for s in spikes)


@settings(max_examples=100, deadline=None)
@given(
    seed=st.integers(0, 2**32), speed=st.floats(1.0, 15.0), noise=st.floats(0.3, 8.0), every=st.sampled_from([1, 4, 10])
)
def test_an_honest_ride_has_no_spikes(seed: int, speed: float, noise: float, every: int) -> None:
    xy = ride_m(np.random.default_rng(seed), 60, speed, noise)[::every]
    lon, lat = degrees(xy)
    time = START + 1000 * every * np.arange(len(xy))
    assert find_spikes(time, lon, lat, no_fixes(time, lon, lat, Settings()), Settings()) == ()


def test_white_noise_of_a_rough_receiver_is_no_spike_and_riding_into_a_dead_end_is_none() -> None:
    rng = np.random.default_rng(2)
    rough = eastward(600) + rng.normal(0, 12.0, (600, 2))
    assert told(rough).spikes == ()
    there = np.column_stack([np.arange(0, 600, 60.0), np.zeros(10)])
    dead_end = np.vstack([there, there[-1] + [[0.0, 60.0]], there[-1], there[-1] + [[60.0, 0.0]]])
    time = START + 10_000 * np.arange(len(dead_end))
    lon, lat = degrees(dead_end)
    assert find_spikes(time, lon, lat, no_fixes(time, lon, lat, Settings()), Settings()) == ()


def test_untimed_points_prove_no_speed() -> None:
    lon, lat = degrees(eastward() + excursion(400, 100, (304.0,)))
    time = np.full(400, np.datetime64("NaT", "ms"))
    reason = no_fixes(time, lon, lat, Settings())
    assert set(reason) == {""}
    assert find_spikes(time, lon, lat, reason, Settings()) == ()


def test_the_pace_of_a_ride_is_not_that_of_its_jumps() -> None:
    xy = eastward() + excursion(400, 100, (5000.0,) * 30)
    time = START + 1000 * np.arange(400)
    pace = riding_mps(time, to_earth_centred(*degrees(xy)), Settings())
    assert 6.0 < pace < 12.0
    blocks = eastward() + np.repeat(np.arange(34) % 2, 12)[:400, None] * np.array([0.0, 5000.0])
    assert 6.0 < riding_mps(time, to_earth_centred(*degrees(blocks)), Settings()) < 12.0
    still = np.zeros((400, 2))
    assert riding_mps(time, to_earth_centred(*degrees(still)), Settings()) == Settings().speed_limit_mps


def test_what_follows_a_way_and_what_does_not() -> None:
    time = START + 1000 * np.arange(6)
    ways = {
        "ride": ([0, 6, 12, 18, 24, 30], True),
        "too fast": ([0, 50, 100, 150, 200, 250], False),
        "scatter": ([0, 8, 0, 8, 0, 8], False),
        "still": ([0, 0.1, 0.2, 0.3, 0.4, 0.5], False),
    }
    for name, (east, follows) in ways.items():
        xyz = to_earth_centred(*degrees(np.column_stack([east, np.zeros(6)])))
        assert goes_somewhere(time, xyz, 10.0) == follows, name
    xyz = to_earth_centred(*degrees(eastward(6)))
    assert not goes_somewhere(time[:5], xyz[:5], 10.0)
    assert not goes_somewhere(np.full(6, np.datetime64("NaT", "ms")), xyz, 10.0)


def test_settings_decide_what_a_spike_is() -> None:
    lon, lat = degrees(eastward() + excursion(400, 100, (50.0,)))
    time = START + 1000 * np.arange(400)
    reason = no_fixes(time, lon, lat, Settings())
    assert len(find_spikes(time, lon, lat, reason, Settings())) == 1
    assert find_spikes(time, lon, lat, reason, dataclasses.replace(Settings(), spike_m=60.0)) == ()

"""Each step of cutting into passes, by figures worked by hand; and what a part of a recording still knows of its start."""

from __future__ import annotations

from dataclasses import replace
from itertools import pairwise

import numpy as np
import pytest
from trace_maker import trace_on

from gpsq.model import SetAside, Spike, Trace
from gpsq.rides import passes
from gpsq.rides.passes import Pass, cut, find_passes, split, suggest
from gpsq.settings import Settings

DEFAULT = Settings()
NAT = np.datetime64("NaT", "ms")


def along(*xs: float, step_m: float = 4.0, y_m: float = 0.0) -> np.ndarray:
    """Return fixes on one straight road between the places `xs`, one a second."""
    legs = [np.arange(a, b, np.copysign(step_m, b - a)) for a, b in pairwise(xs)]
    x = np.concatenate([*legs, [xs[-1]]])
    return np.column_stack([x, np.full(len(x), y_m)])


def directions(xy_m: np.ndarray) -> list[int]:
    return [p.direction for p in find_passes(trace_on(xy_m), DEFAULT)]


# which ways are passes


@pytest.mark.parametrize(
    ("xs", "expected"),
    [
        ((0, 1200, 400, 2000), [1]),  # back by 40 % of the whole
        ((0, 1500, 500, 2000), [1, 2, 1]),  # by half
        ((0, 100, 48, 104), [1]),  # by half, but 52 m are no more than a receiver errs
        ((0, 150, 60, 160), [1, 2, 1]),  # 90 m are
    ],
)
def test_a_turn_is_back_over_nearly_half_of_the_way(xs: tuple[float, ...], expected: list[int]) -> None:
    assert directions(along(*xs, step_m=2.0)) == expected


@pytest.mark.parametrize(
    ("length_m", "aside_m", "expected"),
    [(1000, 50, [1, 2]), (1000, 75, [1]), (160, 30, [1, 2]), (160, 50, [1])],
)
def test_the_way_back_is_on_the_same_road(length_m: float, aside_m: float, expected: list[int]) -> None:
    """60 m aside at most, and a quarter of the extent."""
    there, back = along(0, length_m), along(length_m, 0, y_m=aside_m)
    assert directions(np.vstack([there, back])) == expected


SHUTTLE = (0, 300, 0, 300, 0)


@pytest.mark.parametrize(
    ("xs", "count"),
    [
        ((*SHUTTLE, 150), 4),  # half a leg more is a departure
        ((*SHUTTLE, 210), 5),  # seven tenths are a pass that stopped early
        ((150, 0, 300, 0, 300, 0), 4),  # half a leg is an approach
        ((90, 300, 0, 300, 0), 4),
        ((20, 0, 300, 0, 300, 0, 300), 5),  # who turns at the start at once has begun
        ((0, 300, 0, 150), 3),  # of three legs nobody can say what is usual
    ],
)
def test_an_approach_and_a_departure_are_much_shorter_than_the_others(xs: tuple[float, ...], count: int) -> None:
    found = find_passes(trace_on(along(*xs, step_m=3.0)), DEFAULT)
    assert [p.direction for p in found] == ([1, 2] * 3)[:count]
    if xs[0] == 150:  # the first begins where the approach ends
        assert found[0].first_point == pytest.approx(50, abs=3)
    else:
        assert found[0].first_point == 0


def test_a_first_leg_by_a_long_detour_is_an_approach() -> None:
    corners = [(0, 0), (75, 120), (150, -120), (225, 120), (300, 0)]
    aside = [np.linspace(a, b, 50, endpoint=False) for a, b in pairwise(corners)]
    xy_m = np.vstack([*aside, along(300, 0, 300, 0, 300, step_m=3.0)])
    found = find_passes(trace_on(xy_m), DEFAULT)
    assert len(found) == 4
    assert found[0].first_point == pytest.approx(200, abs=3)
    assert found[-1].last_point == pytest.approx(600, abs=1)


def circle(laps: int, radius_m: float, drift_m: float = 0.0, every: int = 150) -> np.ndarray:
    angle = np.linspace(0, 2 * np.pi * laps, laps * every + 1)
    return radius_m * np.column_stack([np.cos(angle), np.sin(angle)]) + np.outer(angle / (2 * np.pi), [0.0, drift_m])


def test_laps_are_of_one_length_and_each_begins_where_the_last_ended() -> None:
    found = find_passes(trace_on(circle(4, 100.0)), DEFAULT)
    assert [p.direction for p in found] == [1, 1, 1, 1]
    begins = [p.first_point for p in found]
    assert np.diff(begins).tolist() == pytest.approx([150, 150, 150], abs=2)
    assert all(p.last_point + 1 == q.first_point for p, q in pairwise(found))


@pytest.mark.parametrize(("radius_m", "drift_m", "count"), [(50.0, 9.0, 3), (50.0, 120.0, 1), (500.0, 45.0, 3)])
def test_a_lap_begins_again_near_where_it_began(radius_m: float, drift_m: float, count: int) -> None:
    """25 m aside is the same place though a tenth of a small green's extent is 10 m; and a tenth of a large one's."""
    assert len(find_passes(trace_on(circle(3, radius_m, drift_m)), DEFAULT)) == count


@pytest.mark.parametrize(("apart_m", "count"), [(45.0, 3), (150.0, 1)])
def test_a_lap_begins_again_within_a_tenth_of_the_extent(apart_m: float, count: int) -> None:
    """A spiral inward of 600 m across: each lap lies as far from the last everywhere."""
    angle = np.linspace(0, 6 * np.pi, 900)
    radius_m = 600.0 - apart_m * angle / (2 * np.pi)
    spiral = radius_m[:, None] * np.column_stack([np.cos(angle), np.sin(angle)])
    assert len(find_passes(trace_on(spiral), DEFAULT)) == count


def test_two_laps_of_different_length_are_no_laps_of_one_circuit() -> None:
    assert passes._alike(np.array([100.0, 100.0, 100.0, 114.0, 116.0])) == 4
    assert passes._alike(np.array([100.0, 84.0, 86.0])) == 2
    assert passes._alike(np.empty(0)) == 0


# the steps, by hand


@pytest.mark.parametrize(
    ("step_s", "count", "window"),
    [
        (1.0, 300, 10), (2.0, 300, 5), (0.5, 300, 20), (0.02, 900, 90), (0.02, 2000, 100), (1.0, 50, 5), (20.0, 300, 0),
    ],
)  # fmt: skip
def test_positions_are_smoothed_over_ten_seconds(step_s: float, count: int, window: int) -> None:
    """And over a tenth of the recording at most; times closer than a tenth of a second count as a tenth."""
    trace = trace_on(along(0, 4.0 * (count - 1)), interval_s=step_s)
    assert trace.accepted == count
    assert passes._window(trace) == window
    assert passes._window(trace_on(along(0, 400), time=np.full(101, NAT))) == 0
    assert passes._window(trace_on(along(0, 4)[:1])) == 0
    assert passes._window(trace_on(along(0, 36)[:2])) == 0


@pytest.mark.parametrize("window", [0, 1, 4, 5, 10])
def test_the_mean_of_places_is_that_of_numpy(window: int) -> None:
    """A convolution with equal weights; beyond the ends the first and last place are repeated."""
    trace = trace_on(np.random.default_rng(2).normal(0, 20.0, (40, 2)))
    half = window // 2
    xyz_m = passes._smoothed(trace, 0)
    padded = np.pad(xyz_m, ((half, half), (0, 0)), mode="edge")
    weights = np.full(2 * half + 1, 1 / (2 * half + 1))
    expected = np.column_stack([np.convolve(padded[:, k], weights, mode="valid") for k in range(3)])
    assert passes._smoothed(trace, window) == pytest.approx(expected, abs=1e-6)


def test_the_far_end_is_farthest_from_the_middle() -> None:
    places = np.array([[0.0, 0, 0], [1, 0, 0], [2, 0, 0], [3, 0, 0], [9, 0, 0]])
    assert passes._far_end(places).tolist() == [9.0, 0.0, 0.0]
    assert passes._far_end(-places).tolist() == [-9.0, 0.0, 0.0]


def test_how_far_apart_ways_there_and_back_are() -> None:
    """Roads 10, 30 and 50 m beside one another: in the middle 30."""
    ways = [along(0, 100, y_m=0)[:-1], along(100, 0, y_m=10)[:-1], along(0, 100, y_m=40)[:-1], along(100, 0, y_m=90)]
    xy_m = np.vstack(ways)
    turns = [0, 25, 50, 75, 100]
    assert passes._turns(xy_m[:, 0], 50.0) == turns
    assert passes._retraces(xy_m, xy_m[:, 0], turns) == pytest.approx(30.0, abs=0.4)


def test_places_at_the_same_distance_are_compared() -> None:
    """The way back goes on beyond where the way there began: only what both cover counts."""
    signal = np.array([20.0, 60, 100, 70, 40, 10])
    assert passes._common(signal, 0, 2, 5) == (20.0, 100.0)
    assert passes._common(-signal, 0, 2, 5) == (-100.0, -20.0)
    xyz_m = np.column_stack([signal, signal, signal])
    there, back = slice(0, 3), slice(2, 6)
    assert passes._at_levels(xyz_m[there], signal[there], np.array([20.0, 50, 100]))[:, 0].tolist() == [20.0, 60, 100]
    assert passes._at_levels(xyz_m[back], signal[back], np.array([20.0, 50, 100]))[:, 0].tolist() == [10.0, 40, 100]


def test_an_arrival_is_the_middle_of_a_short_stay_and_the_beginning_of_a_long_one() -> None:
    signal = np.array([0.0, 5, 10, 10, 10, 10, 5, 0])
    turns = passes._turns(signal, 8.0)
    assert turns == [0, 2, 7]
    assert passes._arrivals(signal, turns, window=10) == [0, 3, 7]
    assert passes._arrivals(signal, turns, window=0) == [0, 2, 7]
    assert passes._arrivals(-signal, turns, window=10) == [0, 3, 7]


def test_a_turn_beyond_the_usual_place_is_reached_at_the_usual_place_and_one_before_it_where_it_is() -> None:
    """Turning at 100, 130, 70 and 100 m: the usual place is at 100, arrival within 2 m of it."""
    up = np.concatenate([np.arange(0.0, top, 10.0) for top in (100, 130, 70, 100)])
    tops = (100, 130, 70, 100)
    signal = np.concatenate([np.append(np.arange(0.0, top, 10.0), np.arange(top, 0.0, -10.0)) for top in tops])
    assert len(signal) == 2 * len(up)
    turns = passes._turns(signal, 50.0)
    assert signal[turns].tolist() == [0, 100, 0, 130, 0, 70, 0, 100, 10]
    found = passes._arrivals(signal, turns, window=0)
    assert signal[found].tolist() == [0, 100, 0, 100, 0, 70, 0, 100, 10]
    assert found[3] == turns[3] - 3
    wide = passes._arrivals(signal, turns, window=50)
    assert wide[3] == turns[3]  # the middle of the 7 fixes at 100 m and more


def test_an_approach_ends_where_its_place_is_left_for_good() -> None:
    signal = np.array([0.0, 90, 100, 99, 50, 101, 98, 96, 40, 0])
    assert passes._departure(signal, 2, 9) == 6
    assert passes._departure(-signal, 2, 9) == 6


def test_a_place_is_passed_at_the_nearest_fix_of_each_stay() -> None:
    away_m = np.array([3.0, 1, 4, 80, 90, 20, 6, 8, 90, 30, 90, 2])
    assert passes._visits(away_m, 10.0, 60.0) == [1, 6, 11]
    assert passes._visits(away_m, 31.0, 60.0) == [1, 6, 9, 11]
    near = np.array([[True, True, False, True, False], [False, True, True, False, False]])
    assert passes._most_stays(near) == 2
    assert passes._most_stays(near[1:]) == 1


# what comes of them


def shuttle(**changes: object) -> Trace:
    xy_m = along(*SHUTTLE, step_m=3.0)
    n = len(xy_m)
    counted = {name: np.arange(n) + float(k) for k, name in enumerate(("ele_m", "hdop", "sat", "speed_mps"))}
    return trace_on(
        xy_m, **({"segment": np.arange(n) // 7, "point": np.arange(n) + 9, "points": n, **counted} | changes)
    )


def test_passes_follow_one_another_without_a_gap_and_end_on_arrival() -> None:
    trace = shuttle()
    found = find_passes(trace, DEFAULT)
    assert [p.first_point for p in found] == pytest.approx([0, 100, 200, 300], abs=1)
    assert [p.last_point + 1 for p in found[:-1]] == [p.first_point for p in found[1:]]
    assert found[-1].last_point == pytest.approx(trace.accepted - 1, abs=1)
    assert [p.from_time for p in found] == [trace.time[p.first_point] for p in found]
    assert [p.to_time for p in found[:-1]] == [p.from_time for p in found[1:]]
    assert found[-1].to_time == trace.time[found[-1].last_point]
    assert find_passes(trace_on(np.empty((0, 2)), points=3, set_aside=(SetAside("no_fix", 3, 0),)), DEFAULT) == ()


def test_a_part_holds_its_rows_of_every_column() -> None:
    trace = shuttle()
    bounds = ((20, 60), (61, 61), (70, 400))
    parts = split(trace, [Pass(low, high, NAT, NAT, 1) for low, high in bounds], first_track=4)
    for part, (low, high) in zip(parts, bounds, strict=True):
        for name in ("time", "lon_deg", "lat_deg", "ele_m", "hdop", "sat", "speed_mps", "segment", "point"):
            assert getattr(part, name).tolist() == getattr(trace, name)[low : high + 1].tolist(), name
    assert [part.track for part in parts] == [4, 5, 6]
    assert [part.track for part in split(replace(trace, track=3), [Pass(0, 9, NAT, NAT, 1)])] == [3]


def test_what_is_in_no_pass_is_set_aside_with_the_pass_before_it() -> None:
    trace = shuttle(set_aside=(SetAside("no_fix", 4, 2), SetAside("null_island", 1, 75)), points=401 + 5)
    first, second = split(trace, [Pass(20, 60, NAT, NAT, 1), Pass(65, 380, NAT, NAT, 2)])
    assert {(s.reason, s.points, s.first_point) for s in first.set_aside} == {
        ("no_fix", 4, 2), ("outside_passes", 20, 9), ("outside_passes", 4, 70),
    }  # fmt: skip
    # its first fix has the number 74
    assert {(s.reason, s.points, s.first_point) for s in second.set_aside} == {
        ("null_island", 1, 75), ("outside_passes", 20, 390),
    }  # fmt: skip
    assert (first.points, second.points) == (41 + 28, 316 + 21)


def test_only_the_pass_that_begins_the_recording_knows_of_its_start() -> None:
    began = np.datetime64("2025-06-02T06:59:00", "ms")
    last = np.datetime64("2025-06-02T09:00:00", "ms")
    known = {
        "first_record": began, "last_record": last, "records_before_fix": 7, "clock_jumps_at_fix": True,
        "file_time": began, "started": began, "start_basis": "log", "start_lat_deg": 40.1, "start_lon_deg": -28.1,
        "start_state": "cold", "log_note": "rain", "ride_label": "Monday", "spikes": (Spike(30, 1, 50.0),),
    }  # fmt: skip
    trace = shuttle(**known)
    times = trace.time
    first, second = split(trace, [Pass(0, 99, times[0], times[100], 1), Pass(100, 400, times[100], times[400], 2)])
    kept = {name: getattr(first, name) for name in known}
    assert kept == {**known, "last_record": times[100], "ride_label": ""}
    assert (second.first_record, second.last_record) == (times[100], times[400])
    assert (second.records_before_fix, second.clock_jumps_at_fix, second.start_basis) == (0, False, "none")
    assert np.isnat([second.file_time, second.started]).all()
    assert np.isnan([second.start_lat_deg, second.start_lon_deg]).all()
    assert (second.start_state, second.log_note, second.ride_label, second.spikes) == ("unknown", "", "", ())
    (whole,) = split(trace, [Pass(0, 400, times[0], times[400], 1)])
    assert whole.ride_label == "Monday"


def test_what_holds_many_passes_is_told_of_and_left_whole() -> None:
    trace, single = shuttle(), trace_on(along(0, 900), device="b")
    told = (
        "a/day0.gpx seems to hold 4 passes; gpsq analyse --cut-passes, or cut_passes = true in campaign.toml, cuts it "
    )
    told += "where the direction turns or the way begins again."
    assert suggest(trace, DEFAULT) == told
    assert suggest(single, DEFAULT) is None
    assert cut([single, trace], DEFAULT, asked=False) == ((single, trace), (told,), frozenset({1}))


def test_several_recordings_of_one_file_that_hold_passes_are_numbered_on_from_its_last() -> None:
    whole = [replace(shuttle(), track=number, file="day.gpx") for number in (1, 2)]
    later = replace(trace_on(along(0, 900)), track=3, file="day.gpx")
    other = replace(shuttle(), file="a.gpx")
    parts, told, many = cut([later, *whole, other], DEFAULT, asked=True)
    assert [(p.file, p.track) for p in parts] == [
        *(("a.gpx", n) for n in (1, 2, 3, 4)), *(("day.gpx", n) for n in (3, 4, 5, 6, 7, 8, 9, 10, 11)),
    ]  # fmt: skip
    assert told == (
        "day.gpx was cut into 4 passes, its tracks 4 to 7.",
        "day.gpx (track 2) was cut into 4 passes, its tracks 8 to 11.",
        "a.gpx was cut into 4 passes, its tracks 1 to 4.",
    )
    assert many == frozenset()

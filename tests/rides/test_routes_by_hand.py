"""Which recordings are one way and which one ride, on both sides of every limit; no analysis is made."""

from __future__ import annotations

from dataclasses import replace
from itertools import permutations

import numpy as np
import pytest
from trace_maker import MONDAY, road, trace_on

from gpsq.model import SetAside, Trace
from gpsq.rides import routes
from gpsq.rides.routes import Groups, Shape, group_rides, group_routes
from gpsq.rides.unbroken import breaks_after, runs_of
from gpsq.settings import Settings

SETTINGS = Settings()
NAT = np.datetime64("NaT", "ms")


def straight(first_m: float, last_m: float, y_m: float = 0.0, step_m: float = 5.0) -> np.ndarray:
    x = np.arange(first_m, last_m + step_m / 2, step_m)
    return np.column_stack([x, np.full(len(x), y_m)])


def members(*lines: np.ndarray, many: tuple[int, ...] = ()) -> list[tuple[int, ...]]:
    traces = [trace_on(line, day=k) for k, line in enumerate(lines)]
    return [route.members for route in group_routes(traces, SETTINGS, many)]


# routes


def test_a_route_holds_its_members_places_in_a_plane_about_them() -> None:
    """The plane's centre lies amid all fixes; places in it are the distances of the open sea's plane."""
    lines = [straight(0, 1000), straight(0, 1000, 4.0)]
    (route,) = group_routes([trace_on(line, day=k) for k, line in enumerate(lines)], SETTINGS)
    assert (route.name, route.members) == ("A", (0, 1))
    for line, xy_m in zip(lines, route.xy_m, strict=True):
        assert xy_m - xy_m[0] == pytest.approx(line - line[0], abs=0.1)
    assert np.abs(np.vstack(route.xy_m).mean(axis=0)).max() < 5.0


def test_routes_are_named_in_the_order_of_their_first_recordings() -> None:
    """Whatever the order of the files; those without times come last, by file and track."""
    third, first = trace_on(straight(0, 900, 5000), day=3), trace_on(straight(0, 900, 2000), day=1, start_s=10)
    second = trace_on(straight(0, 900), day=1, start_s=20)
    untimed = [
        trace_on(straight(0, 900, y), file=file, track=track, time=np.full(181, NAT), first_record=NAT, last_record=NAT)
        for y, file, track in ((8000, "b.gpx", 1), (9500, "a.gpx", 2), (11_000, "a.gpx", 1))
    ]
    found = group_routes([*untimed, third, first, second], SETTINGS)
    assert [(r.name, r.members) for r in found] == [
        ("A", (4,)), ("B", (5,)), ("C", (3,)), ("D", (2,)), ("E", (1,)), ("F", (0,)),
    ]  # fmt: skip


@pytest.mark.parametrize(("reach_m", "count"), [(9.0, 0), (11.0, 1)])
def test_who_moves_less_than_ten_metres_goes_no_way(reach_m: float, count: int) -> None:
    assert len(members(np.array([[0.0, 0.0], [reach_m, 0.0]]))) == count
    assert members(np.array([[0.0, 0.0]])) == []


@pytest.mark.parametrize(("shared_m", "together"), [(540, False), (660, True)])
def test_six_tenths_of_the_shorter_lie_on_the_other(shared_m: float, together: bool) -> None:
    """A thousand metres along a road of two kilometres, then away from it at a right angle."""
    away = np.column_stack([np.full(200 - shared_m // 5, 1000.0), np.arange(200 - shared_m // 5) * 5.0 + 5.0])
    shorter = np.vstack([straight(1000 - shared_m, 1000), away])
    # beyond 60 m it is elsewhere; the first 60 m of leaving still lie near
    away[:, 1] += 60.0
    shorter[-len(away) :] = away
    assert members(straight(0, 2000), shorter) == ([(0, 1)] if together else [(0,), (1,)])


@pytest.mark.parametrize(
    ("length_m", "aside_m", "together"),
    [(1000, 30, True), (1000, 58, True), (1000, 65, False), (200, 15, True), (200, 32, False)],
)
def test_near_is_a_street_canyon_or_a_share_of_a_short_way(length_m: float, aside_m: float, together: bool) -> None:
    """60 m on long roads, 0.15 of the extent on one of 200 m; half of that aside counts three quarters."""
    found = members(straight(0, length_m), straight(0, length_m, aside_m))
    assert found == ([(0, 1)] if together else [(0,), (1,)])


@pytest.mark.parametrize(("aside_m", "together"), [(25, True), (32, False)])
def test_near_a_long_way_is_the_share_of_the_short_one_beside_it(aside_m: float, together: bool) -> None:
    """0.15 of 200 m are 30 m, whichever of the two comes first."""
    long, short = straight(0, 1000), straight(400, 600, aside_m)
    for found in (members(long, short), members(short, long)):
        assert found == ([(0, 1)] if together else [(0,), (1,)])


def test_there_and_back_are_two_ways_and_a_loop_either_way_round_too() -> None:
    angle = np.linspace(0, 2 * np.pi, 400)
    loop = 300 * np.column_stack([np.cos(angle), np.sin(angle)])
    assert members(straight(0, 1000), straight(0, 1000)[::-1]) == [(0,), (1,)]
    assert members(loop, loop[::-1], loop) == [(0, 2), (1,)]


def test_a_part_that_lies_on_two_others_makes_them_one_way() -> None:
    """A kilometre each that share 200 m, and 400 m of which 300 lie on either."""
    first, second, between = straight(0, 1000), straight(800, 1800), straight(700, 1100)
    assert members(first, second) == [(0,), (1,)]
    assert members(first, second, between) == [(0, 1, 2)]
    assert members(first, second, between, straight(1500, 1800)) == [(0, 1, 2, 3)]
    assert members(first, second, between, straight(100, 400), straight(1500, 1800)) == [(0, 1, 2, 3, 4)]
    assert members(between, second, straight(0, 1000, 3000), first) == [(0, 1, 3), (2,)]


def test_a_line_that_winds_within_another_follows_it_though_longer() -> None:
    """500 m of road walked in zigzag, 25 m to each side, beside a line that goes on for as far again.

    It has more steps than the straight one, of which little over half lies beside it.
    """
    x = np.arange(0, 501, 2.0)
    winding = np.column_stack([x, 25.0 * np.sin(x / 7.5)])
    assert 1100 < np.hypot(*np.diff(winding, axis=0).T).sum() < 1500
    assert members(winding, straight(0, 1000)) == [(0, 1)]
    assert members(winding, straight(0, 1000)[::-1]) == [(0,), (1,)]


def test_recordings_of_many_passes_are_one_way_with_their_like() -> None:
    lines = [straight(0, 1000)] * 4
    assert members(*lines, many=(1, 3)) == [(0, 2), (1, 3)]


def test_a_trace_is_looked_at_in_steps_of_its_size() -> None:
    """25 m on a long way, a fortieth of a short one's extent, never under a metre; and 20,000 steps at most."""
    for length_m, step_m in ((5000, 25.0), (400, 10.0), (20, 1.0)):
        shape = Shape(trace_on(straight(0, length_m)), SETTINGS)
        assert shape.step_m == pytest.approx(step_m, rel=1e-3)
        assert (shape.length_m, shape.extent_m) == (pytest.approx(length_m, rel=1e-3),) * 2
        assert len(shape.steps(shape.step_m)) == pytest.approx(length_m / step_m + 1, abs=1)
        assert shape.steps(shape.step_m) is shape.steps(shape.step_m)
    there = Shape(trace_on(np.vstack([straight(0, 400), straight(0, 400)[::-1]])), SETTINGS)
    assert (there.length_m, there.extent_m) == (pytest.approx(800, rel=1e-3), pytest.approx(400, rel=1e-3))
    far = Shape(trace_on(np.tile([[0.0, 0.0], [50_000.0, 0.0]], (20, 1))), SETTINGS)
    assert far.step_m == pytest.approx(far.length_m / 20_000) == pytest.approx(97.5, rel=0.01)
    assert Shape(trace_on(np.zeros((3, 2))), SETTINGS).step_m == 25.0


def test_a_group_is_known_by_three_and_by_more_where_they_lead_elsewhere() -> None:
    """Ten rides of one road: three stand for it. Each begins 400 m further on: six do."""
    for lines, count in (([straight(0, 2000)] * 10, 3), ([straight(400 * k, 4000 + 400 * k) for k in range(10)], 6)):
        shapes = {k: Shape(trace_on(line, day=k), SETTINGS) for k, line in enumerate(lines)}
        groups = Groups(shapes, SETTINGS)
        for k in shapes:
            groups.add(k)
        assert groups.members == {0: list(range(10))}
        assert groups.standing_for == {0: list(range(count))}


def test_what_a_line_follows_is_a_share_of_the_square_of_nearness() -> None:
    """Beside it by 30 of 60 m: 1 − (1/2)² = 0.75 at each place."""
    one, other = (Shape(trace_on(straight(0, 500, y)), SETTINGS).steps(25.0) for y in (0.0, 30.0))
    assert routes._follows(one, other.xy_m, 25.0, 60.0) == pytest.approx(0.75, abs=0.01)
    assert routes._same_order(one, other, 25.0, 60.0, 1.0) == (True, 1.0)
    assert routes._same_order(one, other, 25.0, 29.0, 0.5) == (False, 0.0)


# unbroken runs


def test_a_run_ends_at_a_silence_at_a_new_segment_and_at_a_leap() -> None:
    line = straight(0, 300)
    line[40:, 0] += 50_000.0
    time = MONDAY + np.arange(61) * np.timedelta64(1, "s")
    time[11:] += np.timedelta64(60, "s")  # 61 s between
    segment = np.where(np.arange(61) < 25, 0, 1)
    trace = trace_on(line, time=time, segment=segment)
    assert breaks_after(trace, 60.0).tolist() == [10, 24, 39]
    assert runs_of(trace, 60.0) == [(0, 11), (11, 25), (25, 40), (40, 61)]
    assert breaks_after(trace, 61.0).tolist() == [24, 39]
    back = trace_on(straight(0, 300), segment=segment[::-1])
    assert breaks_after(back, 60.0).tolist() == [35]
    silent = MONDAY + np.where(np.arange(61) > 39, 600, 0) * np.timedelta64(1, "s") + np.arange(61)
    for at_once in (
        {"segment": np.arange(61) // 40},
        {"time": silent},
        {"segment": np.arange(61) // 40, "time": silent},
    ):
        assert runs_of(trace_on(line, **at_once), 60.0) == [(0, 40), (40, 61)]


# rides


def ride(*traces: Trace, ahead_s: tuple[float, ...] | None = None) -> tuple[int, ...]:
    return group_rides(traces, SETTINGS, ahead_s or (0.0,) * len(traces))


def test_rides_are_numbered_in_order_of_time_and_those_without_come_last() -> None:
    timeless = {"time": np.full(401, NAT), "first_record": NAT, "last_record": NAT}
    late, early = trace_on(road(), day=2), trace_on(road(), day=1)
    again = trace_on(road(), device="b", day=1)
    assert ride(trace_on(road(), file="x.gpx", **timeless), late, early, again) == (2, 1, 0, 0)
    of_one_time = (trace_on(road() + 9000.0, file="b.gpx"), trace_on(road(), file="a.gpx"))
    assert ride(*of_one_time) == (1, 0)


def test_clocks_known_to_be_wrong_are_put_right_before() -> None:
    """Two hours ahead, and put right by two hours: one ride; the other way round four hours apart."""
    right, ahead = trace_on(road()), trace_on(road(), device="b", start_s=7200.0)
    assert ride(right, ahead, ahead_s=(0.0, 7200.0)) == (0, 0)
    assert ride(right, ahead, ahead_s=(-7200.0, 0.0)) == (0, 0)
    assert ride(right, ahead, ahead_s=(0.0, -7200.0)) == (0, 1)
    assert ride(right, ahead) == (0, 1)


def test_one_content_is_one_ride_and_two_tracks_of_it_are_two() -> None:
    timeless = {"time": np.full(401, NAT), "first_record": NAT, "last_record": NAT, "sha256": "ab" * 32}
    assert ride(trace_on(road(), **timeless), trace_on(road(), device="b", **timeless)) == (0, 0)
    assert ride(trace_on(road(), **timeless), trace_on(road(), track=2, **timeless)) == (0, 1)


def test_a_recording_that_never_fixed_is_of_the_ride_at_whose_time_it_ran() -> None:
    def unfixed(device: str, first_s: int, last_s: int) -> Trace:
        seconds = [MONDAY + np.timedelta64(s, "s") for s in (first_s, last_s)]
        return trace_on(
            road()[:0], device=device, points=9, set_aside=(SetAside("no_fix", 9, 0),),
            first_record=seconds[0], last_record=seconds[1],
        )  # fmt: skip

    assert ride(trace_on(road()), unfixed("b", 20, 380)) == (0, 0)
    assert ride(trace_on(road()), unfixed("b", 401, 800)) == (0, 1)
    assert ride(trace_on(road()), unfixed("b", 240, 639)) == (0, 1)  # 160 s of 399 are under half
    assert ride(trace_on(road()), unfixed("b", 180, 579)) == (0, 0)  # 220 s are over


def test_companions_are_together_for_half_of_the_time_at_least() -> None:
    """Over 150 m apart for four tenths of it, and for six."""
    for share, found in ((0.4, (0, 0)), (0.6, (0, 1))):
        apart = road().copy()
        apart[int(401 * (1 - share)) :, 1] += 400.0
        assert ride(trace_on(road()), trace_on(apart, device="b")) == found


def test_three_that_are_two_and_two_together_are_one_ride() -> None:
    """The first and the last are 200 m apart all the while, the one between them 100 m from either."""
    riders = [trace_on(np.add(road(), [0.0, 100.0 * k]), device=name) for k, name in enumerate("abc")]
    assert ride(riders[0], riders[2]) == (0, 1)
    assert ride(riders[0], riders[2], riders[1]) == (0, 0, 0)
    other = trace_on(np.add(road(), [0.0, 5000.0]), device="d")
    assert ride(other, *riders) in {(0, 1, 1, 1), (1, 0, 0, 0)}


def test_a_companion_is_found_behind_strangers_who_began_later() -> None:
    """At 0, 280 and 100 m: the last is with the first, and 180 m from those that began in between."""
    first, last = trace_on(road()), trace_on(np.add(road(), [0.0, 100.0]), device="z", start_s=4.0)
    between = [trace_on(np.add(road(), [0.0, 280.0 + k]), device=f"s{k}", start_s=1.0 + k) for k in range(3)]
    assert ride(first, *between, last) == (0, 1, 1, 1, 0)
    assert ride(first, between[0], last) == (0, 1, 0)


def test_labels_part_what_rode_together_and_a_stranger_of_another_place_does_not_join() -> None:
    here = replace(trace_on(road()), ride_label="x")
    assert ride(here, replace(trace_on(road(), device="b"), ride_label="y"), trace_on(road(), device="c")) == (0, 1, 1)
    assert ride(here, trace_on(road(), device="c", start_s=7200.0)) == (0, 1)
    # one without a label bears that of whom it joined: no third of another label joins them
    other = replace(trace_on(road(), device="b"), ride_label="y")
    for order in permutations((trace_on(road(), device="c"), here, other)):
        numbers = ride(*order)
        assert numbers[order.index(here)] != numbers[order.index(other)]
        assert len(set(numbers)) == 2

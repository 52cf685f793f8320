"""What is put together before anything is measured, from findings written by hand: clocks, rides' names, copies, sentences."""

from __future__ import annotations

import numpy as np
import pytest
from pyproj import Geod
from trace_maker import HARBOUR, MONDAY, road, trace_on

from gpsq.model import Route, Trace
from gpsq.plane import Plane
from gpsq.rides import arrange, copies, opposite
from gpsq.rides.clocks import ClockOffset
from gpsq.rides.copies import Companion
from gpsq.rides.places import places_m
from gpsq.rides.week_rollover import ROLLOVER_S
from gpsq.settings import Settings

NAT = np.datetime64("NaT", "ms")


def traces_of(*devices: str, **changes: object) -> list[Trace]:
    return [trace_on(road(50.0), device=device, file=f"{k}.gpx", **changes) for k, device in enumerate(devices)]


def offset(device: str, reference: str, offset_s: float, *, weeks: bool = False) -> ClockOffset:
    return ClockOffset(device, reference, offset_s, 1.0, 3, weeks)


# clocks and rides


def test_clocks_are_ahead_by_their_devices_offset_and_by_that_of_its_reference() -> None:
    traces = traces_of("a", "b", "c", "b")
    offsets = [offset("b", "a", 3600.0), offset("c", "b", -900.0)]
    assert arrange._ahead_s(traces, offsets, []) == [0.0, 3600.0, 2700.0, 3600.0]
    assert arrange._ahead_s(traces, [], []) == [0.0] * 4


def test_a_recording_that_is_weeks_off_by_itself_is_put_beside_the_other() -> None:
    """Unless its device is known to be off as a whole; and a copy says nothing of clocks."""
    traces = traces_of("a", "b", "c")
    weeks = Companion("week_rollover", 2, 1, 1.0, "", ahead_s=-ROLLOVER_S)
    copy = Companion("same_recording", 0, 1, 0.0, "", ahead_s=5.0)
    known = [offset("b", "a", 3600.0)]
    assert arrange._ahead_s(traces, known, [weeks, copy]) == [0.0, 3600.0, 3600.0 - ROLLOVER_S]
    assert arrange._ahead_s(traces, [offset("c", "a", 60.0)], [weeks]) == [0.0, 0.0, 60.0]


def test_what_is_said_of_a_device_is_not_said_of_each_recording() -> None:
    traces = traces_of("a", "b", "c")
    hours, weeks = offset("b", "a", 3600.0), offset("c", "a", -ROLLOVER_S, weeks=True)
    found = [
        Companion("week_rollover", 2, 0, 1.0, "c is weeks off"),
        Companion("week_rollover", 1, 0, 1.0, "b is weeks off"),
        Companion("swapped_lat_lon", 2, 0, 1.0, "c is exchanged"),
        Companion("same_recording", 1, 0, 1.0, "all are one"),
        Companion("same_recording", 2, 0, 1.0, "all are one"),
    ]
    said = arrange._told(traces, [hours, weeks], found)
    assert said == (hours.sentence(), weeks.sentence(), "b is weeks off", "c is exchanged", "all are one")


def test_rides_are_named_by_number_or_by_the_log() -> None:
    traces = traces_of("a", "b", "c")
    traces[1] = trace_on(road(50.0), device="b", ride_label="Monday")
    assert arrange._ride_names(traces, (1, 0, 1)) == ("R02", "Monday", "R02")
    assert arrange._ride_names(traces, (0, 0, 1)) == ("Monday", "Monday", "R02")
    assert arrange._ride_names(traces, (98, 0, 98))[0] == "R99"
    assert arrange._ride_names(traces, (0, 1, 99)) == ("R001", "Monday", "R100")
    assert arrange._ride_names([], ()) == ()


def test_a_copy_is_the_twin_of_what_it_repeats_and_nothing_is_a_twin_of_a_twin() -> None:
    traces = traces_of("a", "b", "c", "d")
    found = [
        Companion("same_recording", 1, 0, 0.0, ""),
        Companion("same_recording", 2, 1, 0.0, ""),
        Companion("same_recording", 1, 3, 0.0, ""),
        Companion("week_rollover", 3, 0, 0.0, ""),
    ]
    assert arrange._twins(traces, found) == {1: "0.gpx"}


# copies


def test_one_recording_is_nine_tenths_the_same_seconds_within_a_metre() -> None:
    whole = trace_on(road(500.0))
    assert whole.accepted == 101
    for first, apart_m, found in ((10, 0.0, 0.0), (11, 0.0, None), (0, 0.9, 0.9), (0, 1.1, None)):
        part = trace_on(np.add(road(500.0)[first:], [0.0, apart_m]), start_s=float(first))
        for pair in ([whole, part], [part, whole]):
            seen = copies._apart_if_same(pair, 0, 1)
            assert seen == (pytest.approx(found, abs=0.01) if found is not None else None), (first, apart_m)
    assert copies._apart_if_same([whole, trace_on(road(500.0), start_s=0.4)], 0, 1) == pytest.approx(0.0, abs=1e-6)


def test_one_fix_at_one_second_is_no_recording_of_a_kind() -> None:
    two = [trace_on(road(5.0), start_s=0.0), trace_on(road(5.0), start_s=1.0)]
    assert copies._apart_if_same(two, 0, 1) is None
    assert copies.compare([trace_on(road(5.0)), trace_on(road(5.0), device="b")])[0].trace == 1


def test_the_looks_are_at_the_same_two_dozen_seconds_of_every_copy() -> None:
    first, second = trace_on(road(500.0)), trace_on(road(500.0)[3:], start_s=3.0)
    marks, others = copies._marks(first), copies._marks(second)
    assert len(marks) == len(others) == 24
    assert len({m[0] for m in marks} & {m[0] for m in others}) >= 21
    assert len({m[0] for m in marks}) == 24
    begins_s = int(MONDAY.astype("datetime64[s]").astype(int))
    xyz_m = places_m(first)
    assert all(m[1:] == tuple(np.floor(xyz_m[m[0] - begins_s] / 4.0).astype(int)) for m in marks)
    assert np.ptp([m[0] for m in marks]) > 60  # spread over all of it, not its beginning
    assert len(copies._marks(trace_on(road(25.0)))) == 6


def rolled(turns: int, apart_m: float = 20.0, late_s: float = 0.0) -> list[Trace]:
    """Return a recording and another of the same ride whose dates are so many turns of the week count earlier."""
    new = trace_on(road(500.0), file="new.gpx", device="n")
    time = MONDAY + np.arange(101) * np.timedelta64(1, "s") - np.timedelta64(int(turns * ROLLOVER_S + late_s), "s")
    return [new, trace_on(np.add(road(500.0), [0.0, apart_m]), file="old.gpx", device="o", time=time)]


@pytest.mark.parametrize("turns", [1, 2])
def test_weeks_that_ran_over_are_told_with_the_date_that_is_meant(turns: int) -> None:
    """1024 weeks are 7168 days (IS-GPS-200, 20.3.3.3.1.1)."""
    (found,) = copies.compare(rolled(turns))
    assert (found.kind, found.trace, found.other) == ("week_rollover", 1, 0)
    assert (found.metres, found.ahead_s) == (pytest.approx(20.0, abs=0.1), -turns * ROLLOVER_S)
    assert found.note == (
        f"The dates of old.gpx lie {turns * 7168} days ({turns * 1024} weeks) before those of new.gpx, which was at the "
        "same places at the same time of day: the week number of GPS has rolled over. Shifted, it would begin at "
        "2025-06-02T07:00:00.000Z; its times are left as written."
    )
    (turned,) = copies.compare(rolled(turns)[::-1])
    assert (turned.trace, turned.other, turned.ahead_s) == (0, 1, found.ahead_s)


def test_weeks_apart_and_at_other_places_or_times_is_another_ride() -> None:
    assert len(copies.compare(rolled(1, apart_m=99.5))) == 1
    assert copies.compare(rolled(1, apart_m=100.5)) == ()
    assert copies.compare(rolled(1, late_s=200.0)) == ()
    assert len(copies.compare(rolled(1, late_s=10.0))) == 1
    new, old = rolled(1)
    assert copies.compare([new, trace_on(road(500.0), file="old.gpx", time=old.time + np.timedelta64(3, "D"))]) == ()


def test_how_far_apart_two_are_once_shifted_is_read_where_both_run() -> None:
    first, second = trace_on(road(500.0)), trace_on(road(500.0)[20:80], start_s=3620.0)
    shift = np.timedelta64(3600, "s")
    apart_m = copies._apart_m(first, second, shift)
    assert (len(apart_m), apart_m.max()) == (60, pytest.approx(0.0, abs=1e-6))
    assert len(copies._apart_m(first, second, -shift)) == 0
    sparse = trace_on(road(500.0)[::2], interval_s=2.0)
    assert copies._apart_m(first, sparse, np.timedelta64(0, "s")).max() < 0.1


NORTH = Plane(10.0, 50.0)


def exchanged(aside_m: float = 0.0, far: Plane = NORTH, **changes: object) -> list[Trace]:
    """Return a recording and one of the same road with latitude and longitude exchanged."""
    right = trace_on(road(300.0), file="right.gpx", device="r", plane=far)
    other = trace_on(np.add(road(300.0), [0.0, aside_m]), plane=far)
    lon, lat = {"lon_deg": other.lat_deg, "lat_deg": other.lon_deg}.values()
    return [right, trace_on(road(300.0), file="wrong.gpx", device="w", lon_deg=lon, lat_deg=lat, **changes)]


def test_of_two_with_exchanged_coordinates_either_may_be_wrong_and_of_three_the_odd_one_is() -> None:
    """How far 10° E 50° N lies from 50° E 10° N is pyproj's, on the ellipsoid of WGS 84."""
    right, wrong = exchanged(4.0)
    found = copies.compare([right, wrong])
    assert [(c.kind, c.trace, c.other) for c in found] == [("swapped_lat_lon", 0, 1), ("swapped_lat_lon", 1, 0)]
    assert all(c.metres == pytest.approx(4.0, abs=0.6) for c in found)
    assert found[1].note.startswith(
        "Latitude and longitude of wrong.gpx, or else of right.gpx, are probably exchanged: "
    )
    ends = (wrong.lon_deg[0], wrong.lat_deg[0], right.lon_deg[0], right.lat_deg[0])
    assert f"the two lie {Geod(ellps='WGS84').inv(*ends)[2] / 1000:,.0f} km apart" in found[1].note
    assert "exchanged wrong.gpx is within " in found[1].note
    third = trace_on(road(300.0) + 2.0, file="third.gpx", plane=NORTH, start_s=900.0)
    (single,) = copies.compare([right, wrong, third])
    nearer = 0 if copies._exchanged_m(wrong, right) < copies._exchanged_m(wrong, third) else 2
    assert (single.trace, single.other) == (1, nearer)
    assert single.note.startswith("Latitude and longitude of wrong.gpx are probably exchanged: as written")
    assert single.metres == min(copies._exchanged_m(wrong, right), copies._exchanged_m(wrong, third))


def test_exchanged_and_still_elsewhere_is_no_exchange() -> None:
    assert copies.compare(exchanged(90.0)) != ()
    assert copies.compare(exchanged(110.0)) == ()


def test_what_lies_near_as_written_is_not_exchanged() -> None:
    """At 45° E 45° N an exchange moves nobody; and a longitude over 90° is no latitude."""
    right, wrong = exchanged(far=Plane(45.0, 45.0))
    assert copies._exchanged_m(wrong, right) == np.inf
    right, wrong = exchanged(far=Plane(10.0, 50.0))
    assert copies._exchanged_m(wrong, right) < 1.0
    east = trace_on(road(300.0), plane=Plane(120.0, 10.0))
    assert copies._exchanged_m(east, right) == np.inf
    assert copies._exchanged_m(trace_on(road(300.0), plane=Plane(50.0, 12.0)), right) == np.inf


@pytest.mark.parametrize("east_deg", [-0.95, -0.1, 0.0, 0.1, 0.95])
@pytest.mark.parametrize("north_deg", [-0.95, -0.1, 0.0, 0.1, 0.95])
def test_pairs_worth_a_look_lie_within_a_degree_once_exchanged(east_deg: float, north_deg: float) -> None:
    """At 10° E 50° N and at 10° E 57° N; neither is near what the other is once exchanged."""
    none = np.full(4, np.nan)
    lon = np.array([10.05, 50.05 + east_deg, 10.2, 57.2])
    lat = np.array([50.05, 10.05 + north_deg, 57.2, 10.2])
    assert list(copies._Ends(none, none, lon, lat).crossed()) == [(0, 1), (2, 3)]
    assert list(copies._Ends(none[:2], none[:2], lon[:2], lat[:2]).crossed()) == [(0, 1)]


def test_several_copies_are_named_in_one_sentence() -> None:
    found = copies.compare([trace_on(road(500.0), file=f"{name}.gpx", sha256=name) for name in "abc"])
    assert [(c.trace, c.other) for c in found] == [(1, 0), (2, 0)]
    assert {c.note for c in found} == {
        "b.gpx, c.gpx are the same recording as a.gpx (same times, positions within 0.00 m): one ride, counted once, by a.gpx."
    }


def test_a_line_is_filled_with_points_a_metre_apart() -> None:
    line = np.array([[0.0, 0, 0], [30, 40, 0], [30, 40, 60]])
    filled = copies._densified(line)
    assert len(filled) == 112
    assert filled[[0, -1]].tolist() == [[0, 0, 0], [30, 40, 60]]
    assert np.linalg.norm(np.diff(filled, axis=0), axis=1).max() <= 1.0
    assert len(copies._densified(line * 1e4)) == 100_000


def test_which_pairs_deserve_a_look_is_told_by_times_in_seconds_and_first_places() -> None:
    untimed = trace_on(road(100), time=np.full(21, NAT))
    ends = copies._Ends.of([trace_on(road(100), start_s=60.5), untimed])
    monday_s = float((MONDAY - np.datetime64(0, "ms")) / np.timedelta64(1, "s"))
    assert (ends.begin_s[0], ends.end_s[0]) == (monday_s + 60.5, monday_s + 80.5)
    assert np.isnan([ends.begin_s[1], ends.end_s[1]]).all()
    assert (ends.lon_deg[0], ends.lat_deg[0]) == (untimed.lon_deg[0], untimed.lat_deg[0])
    assert copies._Ends.of([]).begin_s.shape == (0,)


def test_two_files_of_one_content_without_times_are_one_recording() -> None:
    timeless = {"time": np.full(21, NAT), "sha256": "ab" * 32}
    (found,) = copies.compare([trace_on(road(100), **timeless), trace_on(road(100), device="b", **timeless)])
    assert (found.trace, found.other, found.metres) == (1, 0, 0.0)
    assert copies.compare([trace_on(road(100), **timeless), trace_on(road(100), track=2, **timeless)]) == ()


def test_only_the_twenty_nearest_of_one_time_are_compared_for_weeks() -> None:
    ends = copies._Ends(
        np.array([0.0, *([ROLLOVER_S] * 30)]), np.array([100.0, *([ROLLOVER_S + 100] * 30)]),
        np.array([5.0, *np.linspace(9.0, 6.0, 30)]), np.full(31, 50.0),
    )  # fmt: skip
    assert list(ends.weeks_apart()) == [(0, j) for j in range(11, 31)]


# the ends of the opposite way


def handed(*groups: list[Trace], twins: dict[int, str] | None = None, gap_s: float = 60.0) -> list[list[str]]:
    traces = [t for group in groups for t in group]
    found, first = [], 0
    for k, group in enumerate(groups):
        places = tuple(HARBOUR.to_metres(t.lon_deg, t.lat_deg) for t in group)
        found.append(Route("ABC"[k], HARBOUR, tuple(range(first, first + len(group))), places))
        first += len(group)
    rides = [f"R{k}" for k in range(len(traces))]
    return [[tail.ride for tail in tails] for tails in opposite.tails_towards(found, traces, rides, twins or {}, gap_s)]


def straight(first_m: float, last_m: float, step_m: float = 5.0) -> np.ndarray:
    x = np.linspace(first_m, last_m, int(abs(last_m - first_m) / step_m) + 1)
    return np.column_stack([x, np.zeros(len(x))])


@pytest.mark.parametrize(("beside_m", "given"), [(300.0, True), (301.5, False)])
def test_a_way_may_begin_within_300_m_of_where_another_ends(beside_m: float, given: bool) -> None:
    found = handed([trace_on(straight(0, 2000))], [trace_on(straight(3000, beside_m))])
    assert found == [["R1"] if given else [], []]


def test_a_loop_is_not_handed_its_own_end() -> None:
    """It ends where it began: its own errors there would be taken for the other way's."""
    angle = np.linspace(0, 2 * np.pi, 400)
    loop = 300 * np.column_stack([np.cos(angle), np.sin(angle)])
    assert handed([trace_on(loop), trace_on(loop, day=1)]) == [[]]
    assert handed([trace_on(loop)], [trace_on(loop[::-1])]) == [["R1"], ["R0"]]


@pytest.mark.parametrize(("short_m", "ends"), [(59.5, ["R1", "R2", "R3"]), (60.5, ["R1", "R2"])])
def test_who_stopped_over_sixty_metres_before_the_usual_end_is_left_out(short_m: float, ends: list[str]) -> None:
    back = [trace_on(straight(2000, 0)), trace_on(straight(2000, 0), day=1), trace_on(straight(2000, short_m), day=2)]
    assert handed([trace_on(straight(0, 2000))], back)[0] == ends


def test_a_way_whose_recordings_all_repeat_others_hands_over_nothing() -> None:
    out, back = [trace_on(straight(0, 2000))], [trace_on(straight(2000, 0))]
    assert handed(out, back, twins={1: "x"}) == [[], []]


def test_a_tail_is_the_last_400_m_of_the_last_thousand_fixes() -> None:
    route = Route("A", HARBOUR, (0,), (straight(0, 10),))
    tail_m = opposite._last_stretch(route, trace_on(straight(480, 0, step_m=0.6)), 60.0)
    assert (tail_m[0, 0], tail_m[-1, 0]) == (pytest.approx(399.6, abs=0.1), pytest.approx(0.0, abs=0.1))
    dense_m = opposite._last_stretch(route, trace_on(straight(300, 0, step_m=0.25)), 60.0)
    assert (len(dense_m), dense_m[0, 0]) == (1000, pytest.approx(0.25 * 999, abs=0.1))


def test_cut_campaigns_are_arranged_as_told() -> None:
    there = straight(0, 900, 3.0)
    whole = trace_on(np.vstack([there, there[::-1]]), ride_label="Monday")
    done = arrange.arrange([whole], Settings(), cut=True)
    assert [(t.track, ride) for t, ride in zip(done.traces, done.rides, strict=True)] == [(1, "R01"), (2, "R02")]
    assert len(done.cutting) == 1
    assert len(done.alone) == len(done.routes) == 2
    left = arrange.arrange([whole], Settings())
    assert (left.rides, len(left.traces), len(left.cutting), left.twins) == (("Monday",), 1, 1, {})

"""What an overlay picture shows of a route, before it is drawn: rides, lines, flags and who left the road, by hand."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from by_hand import PLANE, by_hand, lon_lat

from gpsq.output.overlay import rides as overlay_rides
from gpsq.output.overlay.rides import LeftRoad, _station_m, overlays

NAN = float("nan")


@pytest.fixture(scope="module")
def whole():
    return by_hand()


def metres(name):
    return PLANE.to_metres(*lon_lat(name).T)


def plain(text):
    return text.replace("\xa0", " ").replace("\u202f", " ")


def test_each_way_has_a_picture_with_its_rides_and_lines(whole):
    """Amber's ride of Tuesday never fixed and is of no route: it is in neither."""
    out, home = overlays(whole)
    assert [(o.name, sorted(o.looks)) for o in (out, home)] == [("out", ["Amber", "Basalt"]), ("home", ["Basalt"])]
    assert [(r.device, r.ride, r.day) for r in out.rides] == [("Amber", "R01", "Mon"), ("Basalt", "R01", "Mon")]
    assert [(r.device, r.ride, r.day) for r in home.rides] == [("Basalt", "R03", "Wed")]
    assert out.drawn == out.rides
    assert (out.never_fixed, home.never_fixed) == ((), ())
    assert (out.ride_count, home.ride_count) == (1, 1)
    assert out.found is whole.routes[0]
    assert out.line_m.tolist() == metres("out").tolist()
    assert out.along_m.tolist() == whole.routes[0].centreline.along_m.tolist()
    amber, basalt = out.rides
    assert [len(piece) for piece in amber.pieces_m] == [6]
    assert amber.pieces_m[0] == pytest.approx(metres("amber mon"))
    assert sum(len(piece) for piece in basalt.pieces_m) >= 4  # a gap of 75 s parts it
    assert len(basalt.pieces_m) == 2
    assert amber.fix_m == pytest.approx(metres("amber mon")[:1])
    assert np.isnan(amber.ended_early_m)
    assert basalt.ended_early_m == 219.17
    assert [plain(r.flag) for r in (*out.rides, *home.rides)] == ["Mon 23 s", "Mon 59 s", "Wed ≈ 17 s"]
    assert (out.knows_seconds, home.knows_seconds) == (True, True)


def test_a_first_fix_is_placed_at_its_station_else_at_the_nearest(whole):
    out = whole.routes[0]
    assert _station_m(out, metres("out")[3:4] + 5.0) == 306.0
    assert np.isnan(_station_m(out, np.empty((0, 2))))
    assert np.isnan(_station_m(replace(out, centreline=None), metres("out")[:1]))
    first = replace(whole.results[0], first_fix=replace(whole.results[0].first_fix, station_m=77.0))
    ridden = overlays(replace(whole, results=(first, *whole.results[1:])))[0].rides
    assert ridden[0].station_m == 77.0
    heads = [overlay_rides.not_recorded_m(result, out) for result in whole.results[:2]]
    place = heads[1][-1] if len(heads[1]) else metres("basalt mon")[0]
    nearest = out.centreline.along_m[np.hypot(*(metres("out") - place).T).argmin()]
    assert [r.station_m for r in overlays(whole)[0].rides] == [162.27, nearest]  # the first is known
    assert [r.head_m.tolist() for r in overlays(whole)[0].rides] == [h.tolist() for h in heads]


def test_who_left_the_road_is_told_by_ride_the_furthest_first(whole):
    """Both leave it on Monday by a choice of road, Amber by more; Basalt again by an error that the person decided on."""
    out, home = overlays(whole)
    assert home.left_road == ()
    assert [(off.devices, off.peak_m) for off in out.left_road] == [(("Basalt",), 52.83), (("Amber", "Basalt"), 41.37)]
    assert {off.day for off in out.left_road} == {"Mon"}
    lone = overlays(replace(whole, deviations=whole.deviations[2:]))[0].left_road
    assert [(o.devices, o.suggestion, o.flag, o.peak_m, o.side, o.from_m) for o in lone] == [
        (("Basalt",), "receiver error", "error", 52.83, "right", 410.0)
    ]
    both = overlays(replace(whole, deviations=whole.deviations[:2]))[0].left_road
    assert [(o.devices, o.suggestion, o.flag, o.peak_m, o.from_m) for o in both] == [
        (("Amber", "Basalt"), "route choice", "", 41.37, 203.0)
    ]
    other = (
        replace(whole.deviations[0], peak_m=12.5, side="left"),
        replace(whole.deviations[1], peak_m=73.5, side="right"),
    )
    (told,) = overlays(replace(whole, deviations=other))[0].left_road  # the second of the two is the further off
    assert (told.peak_m, told.side) == (73.5, "right")
    amber, basalt = metres("amber mon"), metres("basalt mon")  # of which the second has a gap between its two fixes
    for found, expected in zip(both[0].places_m, (amber[1:5], basalt[1:2], basalt[2:3]), strict=True):
        assert found == pytest.approx(expected)
    unlike = (whole.deviations[0], replace(whole.deviations[1], suggestion="receiver error"))
    assert overlays(replace(whole, deviations=unlike))[0].left_road[0].suggestion == ""
    half = (replace(whole.deviations[0], flag="error"), whole.deviations[1])  # of the other nothing is decided
    assert overlays(replace(whole, deviations=half))[0].left_road[0].flag == ""
    elsewhere = replace(whole.deviations[0], route="home")
    assert [o.left_road for o in overlays(replace(whole, deviations=(elsewhere,)))] == [(), ()]


@pytest.mark.parametrize(
    ("flag", "suggestion", "devices", "said"),
    [
        ("intentional", "receiver error", ("a",), "Mon: another road, 41 m off"),
        ("error", "route choice", ("a",), "Mon: receiver error, 41 m off"),
        ("", "route choice", ("a",), "Mon: another road, it seems, 41 m off"),
        ("", "receiver error", ("a",), "Mon: receiver error, it seems, 41 m off"),
        ("", "", ("a", "b"), "Mon: off the road, 41 m off, 2 devices"),
    ],
)
def test_what_is_written_beside_a_stretch_off_the_road(flag, suggestion, devices, said):
    off = LeftRoad("Mon", devices, suggestion, flag, 41.37, "left", 203.0, ())
    assert plain(off.said) == said
    assert plain(off.said_briefly) == "Mon: 41 m off"


def test_a_route_without_a_line_is_drawn_by_its_longest_recording(whole):
    bare = replace(whole, routes=(replace(whole.routes[0], centreline=None), whole.routes[1]))
    out = overlays(bare)[0]
    assert out.line_m == pytest.approx(metres("amber mon"))
    assert out.along_m[-1] == pytest.approx(np.hypot(*np.diff(metres("amber mon"), axis=0).T).sum())
    assert out.along_m[0] == 0.0


def test_copies_are_not_shown_and_rides_that_never_fixed_are_told_of(whole):
    never = replace(whole.results[2], route="out")
    copy = replace(whole.results[1], duplicate_of="amber/mon.gpx")
    found = overlays(replace(whole, results=(whole.results[0], copy, never, whole.results[3])))
    assert [(r.device, r.ride) for r in found[0].rides] == [("Amber", "R01")]
    assert [(r.device, r.ride) for r in found[0].never_fixed] == [("Amber", "R02")]
    assert [r.ride for r in found[0].drawn] == ["R01"]
    assert found[0].ride_count == 2
    assert found[0].never_fixed[0].fix_m.shape == (0, 2)


def test_more_than_three_devices_have_a_picture_each(whole, monkeypatch):
    monkeypatch.setattr(overlay_rides, "MOST_TOGETHER", 1)
    found = overlays(whole)
    assert [(o.name, list(o.looks), [r.device for r in o.rides]) for o in found] == [
        ("out-Amber", ["Amber"], ["Amber"]), ("out-Basalt", ["Basalt"], ["Basalt"]), ("home", ["Basalt"], ["Basalt"]),
    ]  # fmt: skip
    assert {d for off in found[0].left_road for d in off.devices} == {"Amber"}
    assert {d for off in found[1].left_road for d in off.devices} == {"Basalt"}


def test_of_very_many_rides_every_so_many_are_drawn(whole, monkeypatch):
    ridden = overlays(whole)[0].rides
    many = [replace(ridden[0], ride=f"R{k}") for k in range(7)]
    for most, drawn in ((7, 7), (6, 4), (3, 3), (1, 1)):
        monkeypatch.setattr(overlay_rides, "MOST_LINES", most)
        found = overlay_rides._overlay(whole, whole.routes[0], many, {}, apart=False)
        assert len(found.drawn) == drawn
        assert len(found.rides) == 7
    assert [r.ride for r in overlay_rides._overlay(whole, whole.routes[0], many, {}, apart=False).drawn] == ["R0"]


def test_names_that_are_one_file_get_numbers(whole):
    out, home = overlays(whole)
    named = overlay_rides._named_apart(
        [out, replace(home, name="Out"), replace(home, name="x"), replace(home, name="out")]
    )
    assert [o.name for o in named] == ["out", "Out-2", "x", "out-3"]
    assert overlay_rides.MOST_TOGETHER == 3


def test_a_flag_without_seconds_says_the_metres_or_the_day_alone(whole):
    ridden = overlays(whole)[1].rides[0]
    unknown = replace(ridden.fix, estimate_s=NAN)
    assert plain(replace(ridden, fix=unknown).flag) == "Wed 12 m"
    assert plain(replace(ridden, fix=replace(unknown, missed_m=NAN)).flag) == "Wed"
    long = replace(ridden, day="the day before yesterday", fix=replace(unknown, missed_m=NAN))
    assert len(long.flag) <= 14


def test_where_the_way_before_the_fix_is_known_its_end_is_where_it_was_fixed(whole, monkeypatch):
    head = metres("out")[[0, 3]] + 4.0
    monkeypatch.setattr(overlay_rides, "not_recorded_m", lambda result, route: head if result.trace == 1 else head[:0])
    amber = replace(whole.results[0], first_fix=replace(whole.results[0].first_fix, station_m=NAN))
    ridden = overlays(replace(whole, results=(amber, *whole.results[1:])))[0].rides
    assert ridden[1].station_m == 306.0
    assert ridden[1].head_m.tolist() == head.tolist()
    assert ridden[0].station_m == 101.0  # the nearest of the stations to its first fix


def test_names_of_files_and_days_are_cut(whole):
    assert overlay_rides.slug("x" * 60) == "x" * 40
    ridden = overlays(whole)[1].rides[0]
    long = replace(ridden, day="Wednesday morning")
    assert plain(long.flag) == f"{overlay_rides.short(long.day, 14)} ≈ 17 s"
    assert len(plain(long.flag)) == 14 + len(" ≈ 17 s")


@pytest.mark.parametrize(("ride", "day"), [("R\t9", "R 9"), ("", "ride")])
def test_a_ride_whose_day_is_unknown_is_called_by_its_name(whole, monkeypatch, ride, day):
    monkeypatch.setattr(overlay_rides, "short_names", lambda analysis, rides: {})
    named = [replace(r, ride=ride) for r in whole.results]
    assert {r.day for r in overlays(replace(whole, results=tuple(named)))[0].rides} == {day}

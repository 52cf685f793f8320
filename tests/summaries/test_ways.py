"""What routes are called: out and back, their time of the day, where they lead, and the person's own names."""

from __future__ import annotations

import dataclasses
from datetime import datetime
from typing import TYPE_CHECKING

import numpy as np
import pytest
from by_hand import by_hand
from trace_maker import road, shifted_left, trace_on

from gpsq.geometry.polyline import along_m
from gpsq.model import Centreline, Route
from gpsq.output import wording
from gpsq.pipeline.stages import analyse_traces
from gpsq.plane import Plane
from gpsq.results import RouteResult, Way
from gpsq.settings import Settings
from gpsq.summaries.ways import _are_opposite, _first_of, _Seen, _seen, _senses, _when, ways

if TYPE_CHECKING:
    from gpsq.model import FloatArray, Trace
    from gpsq.results import Analysis

EAST = road(2000.0)
WEST = EAST[::-1]
#: The trace maker's Monday begins at 07:00 UTC, at 28 degrees west, where the sun is 1 h 52 min behind.
EVENING_S = 10 * 3600.0


def ride(xy_m: FloatArray, day: int, start_s: float = 0.0, name: str = "") -> Trace:
    text = name or f"{'east' if xy_m[-1, 0] > xy_m[0, 0] else 'west'}-{day}-{start_s:.0f}.gpx"
    wobble = shifted_left(xy_m, 1.0 * (day % 3 - 1))
    return trace_on(wobble, day=day, start_s=start_s, file=text)


def analysed(*traces: Trace, time_zone: str = "", **names: str) -> Analysis:
    found = dataclasses.replace(analyse_traces(traces, Settings()), time_zone=time_zone)
    called, _ = ways(found, names)
    return dataclasses.replace(found, ways=called)


def called(analysis: Analysis) -> dict[str, tuple[str, str]]:
    """Return name and short name of each route by the direction of its recordings."""
    return {
        analysis.traces[found.route.members[0]].file.split("-")[0]: dataclasses.astuple(analysis.ways[found.route.name])
        for found in analysis.routes
    }


def test_the_two_directions_of_a_commute_are_told_apart_in_words() -> None:
    week = [t for day in range(3) for t in (ride(EAST, day), ride(WEST, day, EVENING_S))]
    assert called(analysed(*week)) == {
        "east": ("out, mornings, east", "out"),
        "west": ("back, afternoons, west", "back"),
    }


def test_the_campaigns_zone_decides_what_is_an_evening() -> None:
    week = [t for day in range(3) for t in (ride(EAST, day), ride(WEST, day, EVENING_S))]
    assert called(analysed(*week, time_zone="Europe/London"))["west"] == ("back, evenings, west", "back")


def test_out_is_what_is_ridden_first_on_most_days_whatever_its_direction_and_hour() -> None:
    """A late worker: west at 17:00 UTC, east home at 19:00; on one day the evening's ride only."""
    week = [t for day in range(3) for t in (ride(WEST, day, EVENING_S), ride(EAST, day, EVENING_S + 7200))]
    assert {k: short for k, (_, short) in called(analysed(*week, ride(EAST, 4, EVENING_S))).items()} == {
        "west": "out",
        "east": "back",
    }


def test_ways_on_different_days_are_told_by_the_hour_or_not_at_all() -> None:
    apart = [t for day in range(3) for t in (ride(EAST, day), ride(WEST, day + 10, EVENING_S))]
    assert {k: short for k, (_, short) in called(analysed(*apart)).items()} == {"east": "out", "west": "back"}
    same_hour = [t for day in range(3) for t in (ride(EAST, day), ride(WEST, day + 10, 1800.0))]
    assert {k: short for k, (_, short) in called(analysed(*same_hour)).items()} == {"east": "", "west": ""}


PLANE = Plane(12.0, 47.0)


def seen(
    *starts: str,
    name: str = "A",
    ends_m: tuple[tuple[float, float], tuple[float, float]] = ((0, 0), (0, 900)),
    length_m: float = 1000.0,
) -> _Seen:
    """Return a way between two places, (east, north) in metres, and when its rides began."""
    first, last = np.column_stack(PLANE.to_degrees(np.array(ends_m, float)))
    found = RouteResult(Route(name, PLANE, (), ()), None, ())
    times = tuple(datetime.fromisoformat(f"2026-05-{s}") for s in starts)
    return _Seen(found, first, last, length_m, "north", times)


@pytest.mark.parametrize(("hour", "word"), [
    (0, "nights"), (3, "nights"), (4, "mornings"), (11, "mornings"), (12, "afternoons"), (16, "afternoons"), (17, "evenings"),
    (21, "evenings"), (22, "nights"), (23, "nights"),
])  # fmt: skip
def test_the_day_has_four_times(hour: int, word: str) -> None:
    assert _when([datetime(2026, 5, day, hour, 59) for day in (4, 5)]) == word


def test_four_rides_of_five_are_usual_and_three_of_four_are_not() -> None:
    morning, evening = datetime(2026, 5, 4, 7), datetime(2026, 5, 4, 19)
    assert _when([evening, *[morning] * 4]) == "mornings"
    assert _when([evening, *[morning] * 3]) == ""
    assert _when([morning]) == _when([]) == ""


P, Q = (30.0, -20.0), (0.0, 900.0)


def beside(place: tuple[float, float], east_m: float, north_m: float) -> tuple[float, float]:
    return place[0] + east_m, place[1] + north_m


@pytest.mark.parametrize("length_m", [1000.0, 2000.0])
def test_the_way_back_begins_near_the_end_and_ends_near_the_beginning(length_m: float) -> None:
    """Within 300 m, or a fifth of the length of the shorter: 400 m of 2 km."""
    near_m = max(300.0, 0.2 * length_m)
    out = seen(ends_m=(P, Q), length_m=length_m)
    for east, north in ((1, 0), (0, 1), (-0.6, 0.8)):
        for factor, opposite in ((0.999, True), (1.001, False)):
            off = factor * near_m * east, factor * near_m * north
            assert _are_opposite(out, seen(ends_m=(beside(Q, *off), P), length_m=5000.0)) == opposite
            assert _are_opposite(out, seen(ends_m=(Q, beside(P, *off)), length_m=5000.0)) == opposite
    assert not _are_opposite(out, seen(ends_m=(P, Q)))
    assert not _are_opposite(out, dataclasses.replace(seen(ends_m=(Q, P)), bearing=""))


def test_out_and_back_are_said_of_two_places_only() -> None:
    """Two roads out are out; with a way between two other places, or where ends are so near that all is opposite, nothing is."""
    out, home = seen("04T08:00", "05T08:00", name="A", ends_m=(P, Q)), seen("04T17:00", name="B", ends_m=(Q, P))
    other = seen("06T08:00", name="C", ends_m=(beside(P, 50, 0), Q))
    aside = seen("07T08:00", name="D", ends_m=(P, beside(Q, 5000, 0)))
    assert _senses([out, home, other, aside]) == {"A": "out", "B": "back", "C": "out"}
    assert _senses([aside, out]) == {}
    away = [seen(name=n, ends_m=(beside(a, 9000, 0), beside(b, 9000, 0))) for n, a, b in (("E", P, Q), ("F", Q, P))]
    assert _senses([out, home, *away]) == {}
    near = beside(P, 0, 250)
    ring = [
        seen(f"04T{hour}:00", name=name, ends_m=ends, length_m=700.0)
        for name, hour, ends in (("A", "08", (P, near)), ("B", "17", (near, P)), ("C", "12", (P, near)))
    ]
    assert _senses(ring) == {}


def test_the_two_ways_with_most_rides_decide() -> None:
    """The rarer of two roads out is ridden late; the usual one early, and the way home between."""
    out = seen("04T08:00", "05T08:00", "06T08:00", name="A", ends_m=(P, Q))
    late, home = seen("07T20:00", name="C", ends_m=(P, Q)), seen("08T12:00", "09T12:00", name="B", ends_m=(Q, P))
    early = seen("08T06:00", name="D", ends_m=(Q, P))
    for ways_seen in ([out, late, home, early], [early, home, late, out]):
        assert _senses(ways_seen) == {"A": "out", "C": "out", "B": "back", "D": "back"}


def line_of(*corners_m: tuple[float, float]) -> RouteResult:
    """Return a route of nothing but a line with these corners."""
    xy_m = np.array(corners_m, float)
    number, unknown = np.ones(len(xy_m), np.int64), np.ones(len(xy_m))
    return RouteResult(Route("A", PLANE, (), ()), Centreline(xy_m, along_m(xy_m), number, number, unknown, unknown), ())


@pytest.mark.parametrize("point", range(8))
@pytest.mark.parametrize("off_deg", [-22.0, 0.0, 22.0])
def test_a_bearing_goes_with_the_nearest_of_eight_points(point: int, off_deg: float) -> None:
    """Of a line with a corner only its ends tell where it leads."""
    angle = np.radians(45.0 * point + off_deg)
    found = _seen(line_of((0, 0), (70, -40), (900 * np.sin(angle), 900 * np.cos(angle))), by_hand())
    points = ["north", "north-east", "east", "south-east", "south", "south-west", "west", "north-west"]
    assert found is not None
    assert found.bearing == points[point]
    place_m = PLANE.to_metres(*np.array([found.first_deg, found.last_deg]).T)
    assert place_m == pytest.approx(np.array([[0, 0], [900 * np.sin(angle), 900 * np.cos(angle)]]), abs=1e-3)


def test_a_way_leads_somewhere_from_three_tenths_of_its_length_on() -> None:
    """A road of 1 km with one corner, its ends 310 or 290 m apart."""
    for apart_m, bearing in ((310.0, "east"), (290.0, "")):
        side = np.sqrt(500.0**2 - (apart_m / 2) ** 2)
        found = _seen(line_of((0, 0), (apart_m / 2, side), (apart_m, 0)), by_hand())
        assert found is not None
        assert found.length_m == pytest.approx(1000.0)
        assert found.bearing == bearing
    straight = _seen(line_of((0, 0), (0, -500)), by_hand())
    assert straight is not None
    assert straight.bearing == "south"
    assert _seen(line_of((0, 0)), by_hand()) is None


def test_ways_of_lines_with_few_corners() -> None:
    """Written by hand: 47 degrees north, 12 east, where the sun is 48 minutes ahead; the fixes are 100 m apart."""
    found, unknown = ways(
        by_hand(), {"home": "to the quay", "basalt/mon.gpx": "to the weir", "amber/tue.gpx": "nowhere"}
    )
    assert found == {"out": Way("to the weir", "to the weir"), "home": Way("to the quay", "to the quay")}
    assert unknown == (
        "campaign.toml: found 'amber/tue.gpx' in [routes], which is no route here; expected a route's letter (home, out) or "
        "a recording on it",
    )
    plain, _ = ways(by_hand(), {})
    assert plain == {"out": Way("out, east", "out"), "home": Way("back, west", "back")}


def test_days_that_have_both_decide_before_hours_do() -> None:
    """Three mornings out and back an hour later; on four other evenings only out, so the usual hour of out is the later."""
    out = seen("04T08:00", "05T08:00", "06T08:00", *(f"1{day}T20:00" for day in range(4)))
    home = seen("04T09:00", "05T09:00", "06T09:00")
    assert _first_of(out, home) is out
    assert _first_of(home, out) is out
    mostly = seen("04T08:00", "05T10:00", "06T08:00")  # two days against one
    assert _first_of(seen("04T09:00", "05T09:30", "06T09:00"), mostly) is mostly


def test_hours_tell_ways_of_different_days_from_one_hour_on() -> None:
    """Median hours 8.5 and 9.5 are an hour apart: told; 8.5 and 9.25 are not, and of no start nothing is said."""
    morning = seen("04T08:00", "05T08:30", "06T11:00")
    assert _first_of(morning, seen("14T09:30")) is morning
    assert _first_of(seen("14T09:30"), morning) is morning
    assert _first_of(morning, seen("14T09:15")) is None
    assert _first_of(morning, seen()) is None
    assert _first_of(seen(), morning) is None


def test_without_days_nothing_is_said_of_the_day() -> None:
    timeless = [
        dataclasses.replace(t, time=np.full(t.accepted, np.datetime64("NaT", "ms")))
        for day in range(3)
        for t in (ride(EAST, day), ride(WEST, day, EVENING_S))
    ]
    assert called(analysed(*timeless)) == {"east": ("east", ""), "west": ("west", "")}


def test_a_time_of_the_day_needs_most_of_two_rides_at_least() -> None:
    one = [ride(EAST, 0), ride(EAST, 1, EVENING_S), ride(EAST, 2)]
    assert called(analysed(*one)) == {"east": ("east", "")}


@pytest.mark.parametrize("degrees", range(0, 360, 45))
def test_where_a_way_leads_is_said_by_eight_points(degrees: int) -> None:
    """A bearing counts clockwise from north: 90 degrees is east."""
    angle = np.radians(90 - degrees)
    straight = np.arange(0, 1500, 5.0)[:, None] * np.array([[np.cos(angle), np.sin(angle)]])
    points = ["north", "north-east", "east", "south-east", "south", "south-west", "west", "north-west"]
    found = analysed(*(ride(straight, day, 300.0 * day) for day in range(3)))
    assert next(iter(found.ways.values())).name == f"mornings, {points[degrees // 45]}"


def test_a_round_leads_nowhere() -> None:
    angle = np.linspace(0, 2 * np.pi, 600)
    ring = 400.0 * np.column_stack([np.cos(angle), np.sin(angle)])
    found = analysed(*(ride(ring, day, EVENING_S * (day % 2)) for day in range(3)))
    assert {way.name for way in found.ways.values()} == {""}


def test_two_roads_out_go_together_and_keep_their_letters() -> None:
    """A second road out, 400 m aside in its middle, is out too; as two are, the short name is the letter's."""
    aside = EAST + np.column_stack([np.zeros(len(EAST)), 400.0 * np.sin(np.linspace(0, np.pi, len(EAST)))])
    week = [t for day in range(3) for t in (ride(EAST, day), ride(WEST, day, EVENING_S))]
    found = analysed(*week, *(ride(aside, day, name=f"other-{day}.gpx") for day in (5, 6, 7)))
    assert called(found) == {
        "east": ("out, mornings, east", ""),
        "other": ("out, mornings, east", ""),
        "west": ("back, afternoons, west", "back"),
    }


def test_the_person_names_a_way_by_its_letter_or_by_a_recording_on_it() -> None:
    week = [t for day in range(3) for t in (ride(EAST, day), ride(WEST, day, EVENING_S))]
    plain = analyse_traces(week, Settings())
    east = next(r.route.name for r in plain.routes if plain.traces[r.route.members[0]].file.startswith("east"))
    found, unknown = ways(plain, {east: "to work", "west-1-36000.gpx": "home", "Z": "nowhere"})
    assert {way.name for way in found.values()} == {"to work", "home"}
    assert unknown == (
        "campaign.toml: found 'Z' in [routes], which is no route here; expected a route's letter (A, B) or a recording on it",
    )
    called_so = dataclasses.replace(plain, ways=found)
    assert wording.way(called_so, east) == f"{east} (to work)"
    assert wording.on_way(called_so, east) == "on to work"

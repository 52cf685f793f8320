"""What routes are called: out and back, their time of the day, where they lead, and the person's own names."""

from __future__ import annotations

import dataclasses
from typing import TYPE_CHECKING

import numpy as np
import pytest
from trace_maker import road, shifted_left, trace_on

from gpsq.output import wording
from gpsq.pipeline.stages import analyse_traces
from gpsq.settings import Settings
from gpsq.summaries.ways import ways

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

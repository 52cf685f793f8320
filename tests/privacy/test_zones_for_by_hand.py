"""Which places of a campaign are hidden together, and when a place gets a zone or the person a warning: by hand."""

from __future__ import annotations

import dataclasses
from itertools import count

import numpy as np
import pytest
from by_hand import PLANE, by_hand

from gpsq.campaign.campaign_file import PrivatePlace
from gpsq.privacy import Zone, ends
from gpsq.privacy.zones import inside

HIDDEN_WELL, BARELY = 150.0, 149.9


@pytest.fixture(scope="module")
def whole():
    return by_hand()


def east(metres):
    """Return longitude and latitude so many metres east and two kilometres north of all that was ridden."""
    lon, lat = PLANE.to_degrees(np.array([[metres, 2000.0]]))
    return float(lon[0]), float(lat[0])


def test_ends_near_one_another_are_hidden_as_one_place(whole):
    """The ends of the way home lie 205 m within those of the way out, which has 600 m: each is near the next."""
    ((said, hidden),) = ends._ends(whole)
    assert said == ("beginning of route out and end of route out and beginning of route home and end of route home")
    assert [line[0].round(9).tolist() for line in hidden.lines_deg] == [
        [12.0, 47.0], [12.0079, 47.0005], [12.0080, 47.0007], [12.0027, 47.0008],
    ]  # fmt: skip
    assert hidden.radius_m == 0.0
    two = list(ends._ends(dataclasses.replace(whole, routes=whole.routes[:1])))
    assert [said for said, _ in two] == ["beginning of route out", "end of route out"]
    assert [len(hidden.lines_deg) for _, hidden in two] == [1, 1]


def end_at(metres, name):
    line = np.array([east(metres), east(metres + 5000.0)])
    return ends._End(name, line, line[:1])


@pytest.mark.parametrize(
    ("at_m", "groups"),
    [
        ([0.0, 399.8], [["a", "b"]]),
        ([0.0, 400.2], [["a"], ["b"]]),
        ([0.0, 700.0, 350.0], [["a", "b", "c"]]),  # the third joins the two
        ([0.0, 2000.0, 700.0, 350.0], [["b"], ["a", "c", "d"]]),
        ([0.0, 350.0, 700.0, 1050.0], [["a", "b", "c", "d"]]),
    ],
)
def test_whoever_lies_near_one_of_a_group_belongs_to_it(at_m, groups):
    found = ends._together([end_at(metres, name) for metres, name in zip(at_m, "abcd", strict=False)])
    assert [sorted(end.said for end in group) for group in found] == groups


def test_a_private_place_is_hidden_from_lines_within_two_kilometres_of_its_circle(whole):
    """The way out has its nearest station 2,340 m off, the way home 2,300 m or so: of 300 m the circle is too small."""
    line = ends.line_deg(whole.routes[0])
    x, y = PLANE.to_metres(*line.T)[0]
    (lon,), (lat,) = PLANE.to_degrees(np.array([[x, y + 2600.0]]))
    near = [h for _, h in ends._private(whole, [PrivatePlace(lat, lon, 500.0), PrivatePlace(lat, lon, 700.0)])]
    assert [len(h.lines_deg) for h in near] == [0, 2]
    assert [h.radius_m for h in near] == [500.0, 700.0]
    assert near[0].lon_lat_deg.tolist() == [[lon, lat]]
    assert [said for said, _ in ends._private(whole, [PrivatePlace(lat, lon, 5.0)] * 2)] == [
        "private place 1", "private place 2",
    ]  # fmt: skip


def test_a_line_of_one_station_has_no_ends(whole):
    out = whole.routes[0]
    one = dataclasses.replace(out.centreline, **{
        f.name: getattr(out.centreline, f.name)[:1] for f in dataclasses.fields(out.centreline)
        if isinstance(getattr(out.centreline, f.name), np.ndarray)
    })  # fmt: skip
    routes = (dataclasses.replace(out, centreline=one), dataclasses.replace(whole.routes[1], centreline=None))
    assert list(ends._ends(dataclasses.replace(whole, routes=routes))) == []
    assert ends.line_deg(routes[1]).shape == (0, 2)
    assert ends.line_deg(routes[0]).shape == (1, 2)


def test_where_a_recording_ends_is_hidden_with_the_end_of_its_route(whole):
    """Amber ends 10 m beside the last station of the way out, Basalt 90 m: both lie within 200 m and not ahead."""
    _, end = ends._ends_of(whole, whole.routes[0])
    assert end.said == "end of route out"
    assert end.line_deg[0].tolist() == pytest.approx([12.0079, 47.0005])
    assert end.places_deg.round(6).tolist() == [[12.0079, 47.0005], [12.0078, 47.0006], [12.0077, 46.9997]]


def beginning_with(whole, first_m):
    """Return how many places begin the way out where Amber's first fix lies so many metres before it."""
    lon, lat = PLANE.to_degrees(PLANE.to_metres(np.array([12.0]), np.array([47.0])) - np.array([[first_m, 0.0]]))
    amber = dataclasses.replace(
        whole.traces[0], lon_deg=np.append(lon, whole.traces[0].lon_deg[1:]), start_lon_deg=np.nan, start_lat_deg=np.nan,
        lat_deg=np.append(lat, whole.traces[0].lat_deg[1:]),
    )  # fmt: skip
    beginning, _ = ends._ends_of(dataclasses.replace(whole, traces=(amber, *whole.traces[1:])), whole.routes[0])
    return beginning.places_deg.round(9).tolist(), [float(lon[0].round(9)), float(lat[0].round(9))]


def test_where_a_recording_begins_is_hidden_with_the_beginning_up_to_two_hundred_metres(whole):
    places, place = beginning_with(whole, 199.8)
    assert places == [[12.0, 47.0], place]
    assert beginning_with(whole, 200.2)[0] == [[12.0, 47.0]]


def test_a_line_of_two_stations_has_two_ends(whole):
    out = whole.routes[0]
    two = dataclasses.replace(out.centreline, **{
        f.name: getattr(out.centreline, f.name)[[0, -1]] for f in dataclasses.fields(out.centreline)
        if isinstance(getattr(out.centreline, f.name), np.ndarray)
    })  # fmt: skip
    found = list(ends._ends(dataclasses.replace(whole, routes=(dataclasses.replace(out, centreline=two),))))
    assert [said for said, _ in found] == ["beginning of route out", "end of route out"]


def test_a_place_that_is_hidden_already_keeps_no_other_from_its_zone(whole):
    """Of two private places the first lies in a kept zone of 2 km, 556 m off its middle, the second in none."""
    places = [PrivatePlace(50.0, 20.0, 60.0), PrivatePlace(51.0, 20.0, 60.0)]
    kept = (Zone(50.005, 20.0, 2000.0),)
    zones, said = ends.zones_for(dataclasses.replace(whole, routes=()), places, kept, np.random.default_rng(1))
    assert said == ()
    assert zones[0] == kept[0]
    assert len(zones) == 2
    assert inside(zones[1:], np.array([[20.0, 51.0]]), -60.0).all()


def test_guesses_are_tried_against_the_zones_just_drawn_too(whole, monkeypatch):
    """Two private places 100 m apart: what is drawn for the first covers the second."""
    tried = []
    monkeypatch.setattr(ends, "missed_by_m", lambda zones, hidden: tried.append(tuple(zones)) or 1000.0)
    places = [PrivatePlace(50.0, 20.0, 60.0), PrivatePlace(50.0009, 20.0, 60.0)]
    none = dataclasses.replace(whole, routes=())
    (zone,), _ = ends.zones_for(none, places, (), np.random.default_rng(1))
    assert tried == [(zone,)]


@pytest.fixture
def asked(whole, monkeypatch):
    """Ask for the zones of one place, of which it is laid down what guesses come to."""

    def zones_for(kept_covers, missed_m, drawn_m, kept=1):
        number = count(1)
        monkeypatch.setattr(ends, "covers", lambda zone, hidden: kept_covers)
        monkeypatch.setattr(ends, "missed_by_m", lambda zones, hidden: missed_m)
        monkeypatch.setattr(ends, "drawn", lambda hidden, rng, zones: (Zone(0.0, 0.0, float(next(number))), drawn_m))
        none = dataclasses.replace(whole, routes=())
        zones, said = ends.zones_for(
            none, [PrivatePlace(47.0, 12.0, 50.0)], [Zone(9.0, 9.0, 9.0)] * kept, np.random.default_rng(1)
        )
        assert zones[:kept] == (Zone(9.0, 9.0, 9.0),) * kept
        return [z.radius_m for z in zones[kept:]], said

    return zones_for


@pytest.mark.parametrize(
    ("kept_covers", "missed_m", "drawn_m", "new", "warned_m"),
    [
        (True, HIDDEN_WELL, 500.0, [], None),  # hidden already, and no guess comes near
        (True, BARELY, 200.0, [1.0], None),  # a guess comes near, and a further zone helps
        (True, BARELY, 199.9, [], 150),  # … or helps too little: said with what guesses come to now
        (True, 37.4, 120.0, [], 37),
        (False, 999.0, 200.0, [1.0], None),  # hidden by none yet
        (False, 999.0, 80.4, [1.0], 80),  # the best zone there is, and it is said
    ],
)
def test_when_a_place_gets_a_zone_and_when_it_is_said(asked, kept_covers, missed_m, drawn_m, new, warned_m):
    zones, said = asked(kept_covers, missed_m, drawn_m)
    assert zones == new
    assert [line.startswith("private place 1: whoever carries the shown line") for line in said] == [True] * len(said)
    assert [f"come within {warned_m} m of what is hidden" in line for line in said] == ([True] if warned_m else [])


def test_without_kept_zones_nothing_is_hidden_yet(asked):
    assert asked(True, 999.0, 300.0, kept=0) == ([1.0], ())

"""What is read of results folders, which roads are one course, and what is said of earlier campaigns: by hand."""

from __future__ import annotations

import json
from dataclasses import replace

import numpy as np
import pytest
from by_hand import by_hand
from written_results import ROAD, one

from gpsq.exceptions import InputError
from gpsq.settings import RESULTS, Settings
from gpsq.summaries.across.bridge_verdicts import Bridge
from gpsq.summaries.across.campaigns import _entry, _undecided
from gpsq.summaries.across.earlier import _pairs, _results_of, _verdict
from gpsq.summaries.across.results_read import Results, number, read, results_in
from gpsq.summaries.across.same_course import courses
from gpsq.summary_types import AgainstEarlier, Interval


# --- reading ----------------------------------------------------------------------------------------------------------
def test_a_path_means_the_results_themselves_or_a_campaign_that_holds_them(tmp_path):
    inner, outer = tmp_path / RESULTS / "run.json", tmp_path / "run.json"
    assert results_in(tmp_path) == tmp_path
    inner.parent.mkdir()
    assert results_in(tmp_path) == tmp_path
    inner.write_text("{}")
    assert results_in(tmp_path) == inner.parent
    outer.write_text("{}")
    assert results_in(tmp_path) == tmp_path


def test_a_campaign_without_a_title_is_called_by_its_folder(tmp_path):
    (tmp_path / "spring").mkdir()
    folder = one(tmp_path / "spring", RESULTS)
    assert read(folder).campaign == "Week 1"
    for title in ({}, {"title": ""}, {"title": None}):
        (folder / "run.json").write_text(json.dumps(title))
        assert read(folder).campaign == "spring"


def feature(route, kind, coordinates):
    return {"type": "Feature", "properties": {"route": route}, "geometry": {"type": kind, "coordinates": coordinates}}


def test_lines_of_two_parts_are_joined_and_what_is_no_line_is_left_out(tmp_path):
    folder = one(tmp_path, "a")
    features = [
        feature("A", "MultiLineString", [[[179.0, 1.0, 5.0], [180.0, 2.0]], [[-180.0, 2.0], [-179.0, 3.0]]]),
        feature("B", "LineString", [[1.0, 2.0], [3.0, 4.0]]), feature("C", "LineString", [[1.0, 2.0]]),
        feature("D", "LineString", []), {"properties": {"route": "E"}, "geometry": None},
    ]  # fmt: skip
    (folder / "centrelines.geojson").write_text(json.dumps({"features": features}))
    found = {route: line.tolist() for route, line in read(folder).lines.items()}
    assert found == {"A": [[179, 1], [180, 2], [-180, 2], [-179, 3]], "B": [[1, 2], [3, 4]]}
    (folder / "centrelines.geojson").write_text("{}")
    assert read(folder).lines == {}
    (folder / "centrelines.geojson").unlink()
    assert read(folder).lines == {}


def test_cells_that_were_guarded_are_read_as_they_were(tmp_path):
    folder = one(tmp_path, "a")
    (folder / "devices.csv").write_text("device,route\n'=quick,A\nslow\n")
    assert read(folder).devices == ({"device": "=quick", "route": "A"}, {"device": "slow", "route": None})
    (folder / "devices.csv").write_text("device,route\n")
    assert read(folder).devices == ()


def test_what_is_missing_is_said(tmp_path):
    folder = one(tmp_path, "a")
    (folder / "tracks.csv").write_text("device,route,ride,ttff_s\nx,A,R1,5\n")
    with pytest.raises(InputError) as refused:
        read(folder)
    assert str(refused.value) == (
        f"{folder / 'tracks.csv'}: found no column censored, xte_p68_m; expected a table that this version of gpsq wrote: "
        "run gpsq analyse again"
    )
    with pytest.raises(InputError) as refused:
        read(tmp_path)
    assert str(refused.value) == f"{tmp_path}: found no run.json; expected a results folder that gpsq analyse wrote"


@pytest.mark.parametrize(
    ("row", "value"), [({"x": "2.5"}, 2.5), ({"x": ""}, -1.0), ({}, -1.0), ({"x": "odd"}, -1.0), ({"x": None}, -1.0)]
)
def test_a_figure_or_what_stands_for_none(row, value):
    assert number(row, "x", -1.0) == value
    assert np.isnan(number({}, "x"))


def test_pairs_that_are_not_compared_in_their_errors(tmp_path):
    folder = one(tmp_path, "a")
    (folder / "comparisons.csv").write_text(
        "measure,first,second,verdict\n"
        "xte_p68_m,a,b,a and b are not compared in cross-track error: they lie 14 m apart: so it is\n"
        "xte_p68_m,a,c,a errs more than c\nttff_s,b,c,b and c are not compared in time: odd\n"
    )
    assert read(folder).withheld == {("a", "b"): "they lie 14 m apart: so it is"}


# --- one course -------------------------------------------------------------------------------------------------------
def test_roads_are_one_course_where_most_of_the_shorter_lies_near_the_other():
    """A degree of latitude is 111.2 km at 50 degrees north; so near and so much of it as two traces of one route."""
    settings = Settings()
    near_deg, share = settings.pair_near_m / 111_230.0, settings.pair_share

    def is_one(second, first=ROAD):
        return len(set(courses({"a": first, "b": second}, settings).values())) == 1

    assert is_one(ROAD + np.array([0.0, 0.98 * near_deg]))
    assert not is_one(ROAD + np.array([0.0, 1.02 * near_deg]))
    for part, told in ((share + 0.02, True), (share - 0.02, False)):
        aside = np.where(np.arange(300) < part * 300, 0.0, 0.05)[:, None] * np.array([0.0, 1.0])
        assert is_one(ROAD + aside) == is_one(ROAD, ROAD + aside) == told
    assert is_one(ROAD[100:150])
    assert is_one(ROAD[:3])
    assert not is_one(ROAD[:2])  # two corners show no direction
    assert not is_one(ROAD[::-1])
    jittery = np.arange(300).reshape(-1, 2)[:, ::-1].ravel()  # each two places in the wrong order, on the way back
    assert is_one(ROAD[jittery])
    assert not is_one(ROAD[::-1][jittery])


def test_near_is_as_near_beside_a_road_to_the_north():
    """A degree of longitude is 111.32 cos φ km on the equator's radius, 71.7 km at 50 degrees (WGS 84: 71.70)."""
    near_deg = Settings().pair_near_m / 71_696.0
    north = np.column_stack([np.full(300, 10.0), np.linspace(50.0, 50.03, 300)])
    for beside, told in ((0.98, True), (1.02, False)):
        second = north + np.array([beside * near_deg, 0.0])
        assert (len(set(courses({"a": north, "b": second}, Settings()).values())) == 1) is told


def test_courses_are_numbered_as_they_come_and_cross_the_antimeridian():
    turned = np.column_stack([(ROAD[:, 0] + 169.975 + 180.0) % 360.0 - 180.0, ROAD[:, 1]])
    assert np.ptp(turned[:, 0]) > 300.0
    found = courses({1: ROAD, 2: turned, 3: ROAD + 1e-5, 4: turned[150:], 5: ROAD + np.array([0.0, 2.0])}, Settings())
    assert found == {1: "course 1", 2: "course 2", 3: "course 1", 4: "course 2", 5: "course 3"}
    assert courses({}, Settings()) == {}


@pytest.mark.parametrize(("lon_deg", "lat_deg", "begins_deg", "told"), [
    (2.0, 0.0, 1.25, True), (0.0, 2.0, 0.95, True), (2.0, 0.0, 1.33, False), (0.0, 2.0, 1.05, False),
])  # fmt: skip
def test_what_begins_more_than_110_km_away_is_not_compared(lon_deg, lat_deg, begins_deg, told):
    """A part of a road of two degrees, begun so far on; over the antimeridian as elsewhere.

    At 40 degrees one of longitude is 85.4 km, one of latitude 111.0 km (WGS 84).
    """
    for west_deg in (10.0, 179.5):
        share = np.linspace(0.0, 1.0, 4001)[:, None]
        road = np.array([west_deg, 40.0]) + share * [lon_deg, lat_deg]
        road[:, 0] = (road[:, 0] + 180.0) % 360.0 - 180.0
        part = road[int(begins_deg / 2.0 * 4000) :]
        assert (len(set(courses({"a": road, "b": part}, Settings()).values())) == 1) == told


# --- entries and notes ------------------------------------------------------------------------------------------------
def test_start_states_of_an_entry_are_of_its_recordings_with_a_time():
    own = {"device": "a", "route": "A"}
    tracks = (
        own | {"start_state": "hot", "ttff_s": "5"}, own | {"start_state": "hot", "censored": "true"},
        own | {"start_state": "cold", "ttff_s": ""}, own | {"ttff_s": "9"}, own | {"start_state": "", "ttff_s": "9"},
        {"device": "b", "route": "A", "start_state": "hot", "ttff_s": "5"},
        {"device": "a", "route": "B", "start_state": "hot", "ttff_s": "5"},
    )  # fmt: skip
    entry = _entry({"device": "a", "route": "A"}, Results("Week", (), tracks, {}), "course 3")
    assert (entry.course, entry.campaign, entry.route, entry.device, entry.start_states) == (
        "course 3", "Week", "A", "a", "2 hot, 2 unknown",
    )  # fmt: skip


@pytest.mark.parametrize(("counts", "said"), [
    (("0", "", "0"), []), (("0", "1", "9"), ["W: 1 deviation waits for a decision; until then it counts in the errors."]),
    (("1", "1", "9"), ["W: 2 deviations wait for a decision; until then they count in the errors."]),
    (("2", "1", "9"), ["W: 3 deviations wait for a decision; until then they count in the errors."]),
])  # fmt: skip
def test_undecided_deviations_are_counted_over_routes(counts, said):
    """The row over all routes, without a route, would count them twice."""
    rows = tuple({"route": route, "undecided": n} for route, n in zip(("A", "B", ""), counts, strict=True))
    assert list(_undecided([Results("W", rows, (), {})])) == said


# --- earlier campaigns ------------------------------------------------------------------------------------------------
AGAINST = AgainstEarlier("a", "b", "Spring", Interval(1.5, 1.2, 1.9), "r", 6, 5)
BRIDGE = Bridge("a", "b", "xte_p68_m", "", "r", "", Interval(1.5, 1.2, 1.9), 6, 5)


@pytest.mark.parametrize(("changes", "said"), [
    ({}, "a errs more than b in Spring: ratio 1.50 (95 % interval 1.20 to 1.90; by way of r, 6 rides now, 5 then)"),
    ({"other": "a"}, "a errs more than in Spring: ratio 1.50 (95 % interval 1.20 to 1.90; by way of r, 6 rides now, 5 then)"),
    ({"ratio": Interval(0.5, 0.4, 0.9)},
     "a errs less than b in Spring: ratio 0.50 (95 % interval 0.40 to 0.90; by way of r, 6 rides now, 5 then)"),
    ({"ratio": Interval(1.1, 1.0, 1.3)},
     "a cannot be told from b in Spring: ratio 1.10 (95 % interval 1.00 to 1.30; by way of r, 6 rides now, 5 then)"),
    ({"ratio": Interval(0.9, 0.8, 1.0), "other": "a"},
     "a cannot be told from itself in Spring: ratio 0.90 (95 % interval 0.80 to 1.00; by way of r, 6 rides now, 5 then)"),
    ({"ratio": Interval(1.5)},
     "a and b in Spring: ratio 1.50, too few rides to tell (by way of r, 6 rides now, 5 then)"),
    ({"via": ""}, "a and b in Spring: not comparable: nobody rode"),
])  # fmt: skip
def test_what_is_said_of_an_earlier_campaign(changes, said):
    found = replace(BRIDGE, found=Interval(np.nan, method="none: nobody rode"))
    assert _verdict(replace(AGAINST, **changes), found, 0.95) == said
    assert _verdict(replace(AGAINST, **changes), found, 0.9) == said.replace("95 %", "90 %")


def test_this_campaigns_recordings_are_as_its_results_would_give_them():
    found = by_hand()
    copied = replace(
        found, results=(*found.results[:3], replace(found.results[3], duplicate_of="x", interval_s=np.nan))
    )
    assert [dict(row) for row in _results_of(copied).tracks] == [
        {"device": "Amber", "route": "out", "ride": "R01", "xte_p68_m": "4.510000", "interval_s": "5.125"},
        {"device": "Basalt", "route": "out", "ride": "R01", "xte_p68_m": "10.610000", "interval_s": "11.375"},
        {"device": "Amber", "route": "", "ride": "R02", "xte_p68_m": "", "interval_s": ""},
    ]
    assert _results_of(copied).campaign == "Quay and weir"


def test_each_device_is_held_against_itself_and_those_that_are_no_more():
    def rode(*devices):
        return Results("x", (), tuple({"device": d} for d in devices), {})

    assert _pairs(rode("b", "a", "b", ""), rode("a", "c", "")) == [("a", "a"), ("a", "c"), ("b", "c")]
    assert _pairs(rode("a"), rode()) == []

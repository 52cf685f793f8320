"""Straight roads against straight reference lines: every figure and every station that counts, worked by hand."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from trace_maker import trace_on

from gpsq.model import Centreline, Deviation, FirstFix, Flag, Route
from gpsq.plane import Plane
from gpsq.reading.reference_line import ReferenceLine
from gpsq.results import Analysis, RouteResult, TraceResult
from gpsq.settings import Settings
from gpsq.summaries.reference import measure
from gpsq.summary_types import Summaries

PLANE = Plane(12.0, 47.0)
#: A fix each second and 5 m, 1 km to the east.
EAST = np.column_stack([np.arange(0.0, 1001.0, 5.0), np.zeros(201)])


def moved(xy_m, north_m, east_m=0.0):
    return xy_m + np.array([east_m, north_m])


def line_on(name, xy_m, members, places, rides):
    number, unknown = np.ones(len(xy_m), np.int64), np.full(len(xy_m), np.nan)
    centreline = Centreline(xy_m, np.arange(len(xy_m)) * 5.0, number, number, unknown, unknown)
    return RouteResult(Route(name, PLANE, tuple(members), tuple(places)), centreline, tuple(rides))


def analysis_of(recordings, route="A", line=None, first=0):
    """Return an analysis of recordings on one route: (device, ride, places)."""
    traces = tuple(
        trace_on(xy_m, device=device, day=first + k, plane=PLANE) for k, (device, _, xy_m) in enumerate(recordings)
    )
    results = tuple(
        TraceResult(first + k, ride, route, "scored", "", FirstFix("none"), 1.0, 1.0)
        for k, (_, ride, _) in enumerate(recordings)
    )
    rides = dict.fromkeys(ride for _, ride, _ in recordings)
    members = range(first, first + len(traces))
    found = line_on(route, moved(EAST, 1.0) if line is None else line, members, [xy for *_, xy in recordings], rides)
    return Analysis("week", "", Settings(), traces, (), (found,), results, (), (), {}, (), Summaries())


def reference(xy_m, of="A", file="survey.gpx"):
    lon, lat = PLANE.to_degrees(xy_m)
    return ReferenceLine(of, file, lon, lat)


#: The reference lies 2 m to the south: what lies at 0 m is 2 m to its left.
SOUTH = reference(moved(EAST, -2.0))
WEEK = (
    ("a", "R1", moved(EAST, 0.0)), ("a", "R2", moved(EAST, 2.0)), ("a", "R3", moved(EAST, 4.0)),
    ("b", "R1", moved(EAST, 10.0)), ("b", "R2", moved(EAST, 1.0)), ("b", "R2", moved(EAST, 3.0)),
)  # fmt: skip


def test_figures_of_line_and_devices():
    """Device a: 2, 4 and 6 m; device b: 12 m, and 3 and 5 m on one ride; the line 3 m.

    Rides lie (2 + 12)/2, (4 + 3 + 5)/3 and 6 m off: 7, 4 and 6, whose standard error is .8819; t(.975, 2) = 4.3027.
    """
    (line, a, b), notes = measure(analysis_of(WEEK), [SOUTH])
    assert notes == ()
    assert [(row.route, row.device, row.file, row.rides) for row in (line, a, b)] == [
        ("A", "", "survey.gpx", 3), ("A", "a", "survey.gpx", 3), ("A", "b", "survey.gpx", 2),
    ]  # fmt: skip
    assert [row.shared_m for row in (line, a, b)] == pytest.approx([1005.0] * 3, abs=5.1)
    assert (line.found.bias_m.value, line.found.accuracy_m) == pytest.approx((3.0, 3.0))
    assert (line.found.bias_m.low, line.found.bias_m.high) == pytest.approx(
        (3 - 4.3027 * 0.8819, 3 + 4.3027 * 0.8819), rel=1e-4
    )
    assert line.found.bias_m.method.endswith("of their own offsets")
    assert np.isnan(line.found.precision_m)
    assert (a.found.bias_m.value, a.found.precision_m) == pytest.approx((4.0, 2.0))
    assert a.found.systematic_m == pytest.approx(np.sqrt(16 - 4 / 3))
    assert a.found.accuracy_m == pytest.approx(np.sqrt((4 + 16 + 36) / 3))
    assert (b.found.bias_m.value, b.found.precision_m**2) == pytest.approx((8.0, 32.0))


def test_a_copy_does_not_count_and_left_is_left_of_travel():
    found = analysis_of([*WEEK, ("b", "R3", moved(EAST, 50.0))])
    copied = replace(found, results=(*found.results[:6], replace(found.results[6], duplicate_of="a/day0.gpx")))
    assert [row.found.bias_m.value for row in measure(copied, [SOUTH])[0]] == pytest.approx([3.0, 4.0, 8.0])
    turned = reference(moved(EAST, -2.0)[::-1])
    assert [row.found.bias_m.value for row in measure(analysis_of(WEEK), [turned])[0]] == pytest.approx([3.0, 4.0, 8.0])
    west = analysis_of([("a", "R1", moved(EAST, 0.0)[::-1])], line=moved(EAST, 1.0)[::-1])
    assert [row.found.bias_m.value for row in measure(west, [SOUTH])[0]] == pytest.approx([-3.0, -2.0])


def one(**changes):
    found = analysis_of([("a", "R1", EAST)])
    return replace(found, results=(replace(found.results[0], **changes),))


def shared_m(found):
    rows, _ = measure(found, [SOUTH])
    return {row.device: row.shared_m for row in rows}.get("a")


def deviation(suggestion, flag=""):
    time = np.datetime64("NaT", "ms")
    return Deviation("d", 0, "A", 0.0, 1.0, time, time, 100, 119, 9.0, "left", 0.0, suggestion, "", flag)


def test_what_counts_of_a_recording():
    """A fix is 5 m of road; between the last fix that counts and the next that does not nothing counts."""
    whole = shared_m(one())
    assert whole == pytest.approx(1005.0, abs=5.1)
    for settle_s, lost_m in ((0.0, 0.0), (50.0, 250.0), (50.4, 255.0)):
        found = shared_m(one(first_fix=FirstFix("none", settle_s=settle_s)))
        assert whole - found == pytest.approx(lost_m, abs=0.1)
    assert shared_m(one(first_fix=FirstFix("none", settle_s=999.0))) is None
    for suggestion, flag, lost_m in (
        ("route choice", "", 100.0), ("route choice", "intentional", 0.0), ("route choice", "error", 0.0),
        ("receiver error", "", 0.0), ("cannot be told", "", 0.0),
    ):  # fmt: skip
        assert whole - shared_m(one(deviations=(deviation(suggestion, flag),))) == pytest.approx(lost_m, abs=0.1)
    trace = one().traces[0]
    for kind, key, lost_m in (
        ("intentional", trace.sha256, 100.0), ("error", trace.sha256, 0.0), ("intentional", "another", 0.0),
    ):  # fmt: skip
        flag = Flag(key, 1, trace.time[100], trace.time[119], 100, 119, kind, "")
        assert whole - shared_m(replace(one(), flags=(flag,))) == pytest.approx(lost_m, abs=0.1)


def test_one_fault_is_no_offset_of_the_whole():
    """Of 1 km 240 m lie 40 m aside: the median of the ride stays where it was, the line's interval with it."""
    faulty = moved(EAST, 2.0)
    faulty[60:100, 1] += 40.0
    rows, _ = measure(analysis_of([*WEEK[:1], ("a", "R2", faulty), *WEEK[2:]]), [SOUTH])
    right, _ = measure(analysis_of(WEEK), [SOUTH])
    assert rows[1].found.bias_m.value == pytest.approx(4.0, abs=0.01)
    assert rows[0].found.bias_m.low == pytest.approx(right[0].found.bias_m.low, abs=0.01)


def test_several_routes_come_together_first_and_stand_side_by_side():
    """Route B lies 7 m off its own reference and is 500 m long, each device's offset there another."""
    north = moved(EAST, 3000.0)[:101]
    first = analysis_of(WEEK)
    second = analysis_of(
        [("a", "S1", moved(north, 5.0)), ("c", "S1", moved(north, -1.0))], "B", moved(north, 7.0), first=6
    )
    both = replace(
        first, traces=first.traces + second.traces, results=first.results + second.results,
        routes=first.routes + second.routes,
    )  # fmt: skip
    rows, _ = measure(both, [SOUTH, reference(north, "B", "other.gpx")])
    assert [(r.route, r.device, r.file, r.rides) for r in rows] == [
        ("", "", "", 4), ("", "a", "", 4), ("", "b", "", 2), ("", "c", "", 1),
        ("A", "", "survey.gpx", 3), ("A", "a", "survey.gpx", 3), ("A", "b", "survey.gpx", 2),
        ("B", "", "other.gpx", 1), ("B", "a", "other.gpx", 1), ("B", "c", "other.gpx", 1),
    ]  # fmt: skip
    biases = {(r.route, r.device): r.found.bias_m.value for r in rows}
    assert [biases["", "a"], biases["", "b"], biases["B", ""], biases["B", "a"], biases["B", "c"]] == pytest.approx(
        [(2 + 4 + 6 + 5) / 4, 8.0, 7.0, 5.0, -1.0]
    )
    shared = {(r.route, r.device): r.shared_m for r in rows}
    assert shared["", "a"] == pytest.approx(shared["A", "a"] + shared["B", "a"])
    assert shared["B", "a"] == pytest.approx(505.0, abs=5.1)
    assert {(r.route, r.device): r.found for r in rows}["", "a"].precision_m == pytest.approx(
        2.0
    )  # no station is shared


@pytest.mark.parametrize("key", ["A", "a/day0.gpx", "a\\day0.gpx", "./a/day0.gpx", "day0.gpx"])
def test_a_route_is_named_by_its_letter_or_a_recording_on_it(key):
    rows, notes = measure(analysis_of(WEEK), [replace(SOUTH, of=key)])
    assert ([row.route for row in rows], notes) == (["A"] * 3, ())


def refusal(found, *references):
    rows, notes = measure(found, references)
    assert rows == ()
    return notes


def test_references_that_cannot_be_used_are_said():
    found = analysis_of(WEEK)
    expected = "expected one of A, or a file"
    assert refusal(found, replace(SOUTH, of="Z")) == (
        f"campaign.toml: found the reference of 'Z', which names no route and no recording on one; {expected}",
    )
    twice = replace(
        found,
        traces=tuple(replace(t, file=f"{t.device}/same.gpx") for t in found.traces),
        results=tuple(replace(r, route="A" if r.trace < 3 else "B") for r in found.results),
        routes=(found.routes[0], replace(found.routes[0], route=replace(found.routes[0].route, name="B"))),
    )
    assert refusal(twice, replace(SOUTH, of="same.gpx")) == (
        "campaign.toml: found the reference of 'same.gpx', which names recordings on several routes; "
        "expected one of A, B, or a file",
    )
    assert measure(twice, [replace(SOUTH, of="b/same.gpx")])[0][0].route == "B"  # a whole path goes before a bare name
    lone = replace(found, results=tuple(replace(r, route="") for r in found.results))
    assert "names no route and no recording" in refusal(lone, replace(SOUTH, of="day0.gpx"))[0]
    nowhere = replace(found, routes=(replace(found.routes[0], centreline=None),))
    assert refusal(nowhere, SOUTH) == (
        "survey.gpx: found a reference of route A, which has no centreline; expected a route with one",
    )
    assert refusal(found, reference(EAST[[0, 0]])) == (
        "survey.gpx: found a line without length; expected a line along the route",
    )
    rows, notes = measure(found, [SOUTH, replace(SOUTH, of="day1.gpx", file="again.gpx")])
    assert (len(rows), notes) == (
        3, ("campaign.toml: found a second reference of route A, 'day1.gpx'; expected one",),
    )  # fmt: skip


def test_a_hundred_metres_of_a_road_are_enough_and_half_of_a_short_one():
    """Stations are 5 m apart; of a road of 1 km 100 m are asked, of one of 100 m 50 m."""
    found = analysis_of(WEEK)
    assert refusal(found, reference(moved(EAST[20:38], -2.0)))[0].startswith(
        "survey.gpx: found a line that runs along route A for 90 m; expected a line within "
    )
    for last, metres in ((40, 100.0), (43, 115.0)):
        rows, _ = measure(found, [reference(moved(EAST[20:last], -2.0))])
        assert rows[0].shared_m == pytest.approx(metres)
    short = analysis_of([("a", "R1", EAST[:21])], line=moved(EAST[:21], 1.0))
    assert measure(short, [reference(moved(EAST[:14], -2.0))])[0][0].shared_m == pytest.approx(70.0)
    assert refusal(short, reference(moved(EAST[:9], -2.0)))
    assert refusal(found, reference(moved(EAST, 500.0)))[0].startswith(
        "survey.gpx: found a line that runs along route A for 0 m"
    )

"""Which fixes of a recording are shown, and what is left of it: rides along a straight road, with cuts laid out by hand."""

from __future__ import annotations

import dataclasses

import numpy as np
import pytest
from straight_rides import ENDS, analysed, x_m, zone
from trace_maker import HARBOUR, trace_on

from gpsq.geometry.alignment import Abreast
from gpsq.model import Centreline, Route, SetAside
from gpsq.privacy import shown
from gpsq.results import RouteResult


def test_each_is_shown_from_as_far_within_the_cuts_as_it_lacks_of_the_road():
    """Cut at 500 m and 2,400 m. One begun at 400 m is shown from 900 m on, one that ended at 2,500 m up to 1,900 m."""
    analysis = analysed()
    fixes = shown.shown_fixes(analysis, ENDS)
    assert sorted(fixes) == [0, 1, 2, 3]
    reach = [(x_m(t)[fixes[i]].min(), x_m(t)[fixes[i]].max()) for i, t in enumerate(analysis.traces)]
    expected = [(500.0, 2400.0), (500.0, 2400.0), (900.0, 2400.0), (500.0, 1900.0)]
    assert np.array(reach) == pytest.approx(np.array(expected), abs=21.0)
    for i, chosen in fixes.items():
        assert np.diff(chosen).tolist() == [1] * (len(chosen) - 1)
        where = x_m(analysis.traces[i])[chosen]
        assert where.min() > 500.0
        assert where.max() < 2400.0


def test_a_cut_on_the_way_leaves_the_longest_part():
    fixes = shown.shown_fixes(analysed(), (*ENDS, zone(1200.0, 70.0)))
    where = x_m(analysed().traces[0])[fixes[0]]
    assert (where.min(), where.max()) == pytest.approx((1300.0, 2400.0), abs=21.0)
    assert where.min() > 1300.0


def test_less_than_five_hundred_metres_are_not_shown():
    """Between 500 m and 2,400 m with another cut about 1,450 m: of 400 m left at either side nothing is shown."""
    assert shown.shown_fixes(analysed(), (*ENDS, zone(1450.0, 520.0))) == {}
    assert shown.shown_fixes(analysed(), (zone(1500.0, 5000.0),)) == {}
    assert set(shown.shown_fixes(analysed(), (*ENDS, zone(1450.0, 370.0)))) >= {0, 1}


def test_a_route_that_is_not_shown_keeps_no_other_from_it():
    """A first route lies within the cuts, a second has no line, the third is shown as it is alone."""
    alone, kept = analysed(), analysed().routes[0]
    short = dataclasses.replace(kept, centreline=straight(4, 10.0))
    told = dataclasses.replace(alone, routes=(short, dataclasses.replace(kept, centreline=None), kept))
    assert sorted(shown.shown_fixes(told, ENDS)) == [0, 1, 2, 3]


def straight(stations: int, step_m: float) -> Centreline:
    along = step_m * np.arange(stations)
    line, each = np.column_stack([along, np.zeros(stations)]), np.full(stations, 3)
    return Centreline(line, along, each, each, np.ones(stations), np.ones(stations))


def result(stations: int, step_m: float = 100.0) -> RouteResult:
    line = straight(stations, step_m) if stations else None
    return RouteResult(Route("A", HARBOUR, (), ()), line, ())


@pytest.mark.parametrize(("radius_m", "window"), [(40.0, (0, 3)), (219.0, (0, 3)), (221.0, (0, 2)), (471.0, None)])
def test_the_window_is_the_longest_stretch_outside_of_half_a_kilometre_at_least(radius_m, window):
    """Seven stations 250 m apart, a circle about the fifth: with 30 m added it takes that, two more, or four more."""
    assert shown._window(result(7, 250.0), (zone(1000.0, radius_m),)) == window


def test_exactly_five_hundred_metres_are_shown():
    assert shown._window(result(6), ()) == (0, 5)
    assert shown._window(result(6, 99.9), ()) is None
    assert shown._window(result(0), ()) is None
    assert shown._window(result(6), (zone(250.0, 5000.0),)) is None


def test_the_step_of_a_line_is_the_usual_one():
    line = straight(5, 7.0)
    assert shown._step_m(line) == 7.0
    bent = dataclasses.replace(line, along_m=np.array([0.0, 7.0, 14.0, 21.0, 90.0]))
    assert shown._step_m(bent) == 7.0
    assert shown._step_m(straight(1, 7.0)) == 1.0
    assert shown._step_m(straight(2, 7.0)) == 7.0


def abreast(vertex: list[float], matched: list[int] | None = None) -> Abreast:
    at = np.array(vertex)
    on = ~np.isnan(at) if matched is None else np.array(matched, dtype=bool)
    return Abreast(np.zeros((len(at), 2)), at, on)


NAN = float("nan")


@pytest.mark.parametrize(
    ("place", "window", "fixes"),
    [
        (abreast([0.0, 1.5, 3.0, 4.5, 6.0]), (0, 4), [0, 1, 2, 3, 4, 5, 6]),
        (abreast([0.0, 1.5, 3.0, 4.5, 6.0]), (1, 3), [2, 3, 4]),  # whole fixes between, neither before nor after
        (abreast([NAN, 0.0, 1.0, 2.0, 3.0]), (1, 4), [1, 2, 3]),  # lacks one station: begins one later
        (abreast([0.0, 1.0, 2.0, 3.0, NAN]), (0, 3), [0, 1, 2]),  # and at its end one sooner
        (abreast([0.0, 1.0, 2.0, 3.0, 4.0], [0, 1, 1, 1, 0]), (1, 3), [2]),  # what is filled in is not its own
        (abreast([0.0, NAN, 2.0, NAN, 4.0], [1, 1, 1, 1, 1]), (1, 3), [2]),
        (abreast([NAN, NAN, 0.0, 1.0, 2.0]), (0, 1), []),
        (abreast([NAN] * 5), (0, 4), []),
    ],
)  # fmt: skip
def test_fixes_between_two_stations_less_what_is_lacking(place, window, fixes):
    found = shown._between(place, *window)
    assert found.tolist() == fixes
    assert found.dtype == np.int64


def test_what_is_left_of_a_trace_is_as_recorded_and_broken_where_fixes_are_taken_out():
    whole = trace_on(np.column_stack([10.0 * np.arange(8.0), np.zeros(8)]), interval_s=2.0)
    whole = dataclasses.replace(
        whole, segment=np.array([0, 0, 0, 0, 0, 3, 3, 3]), ele_m=np.arange(8.0) + 100.0, hdop=np.arange(8.0) + 0.5,
        sat=np.arange(8.0) + 4.0, speed_mps=np.arange(8.0) + 9.0, point=np.arange(8) * 2,
        points=17, set_aside=(SetAside("no_fix", 4, 0), SetAside("outlier_jump", 5, 1)),
    )  # fmt: skip
    part = shown.cut(whole, np.array([1, 2, 4, 5, 6]))
    assert part.segment.tolist() == [0, 0, 1, 2, 2]
    assert part.point.tolist() == [2, 4, 8, 10, 12]
    assert part.points == 5 + 9
    for name in ("time", "lon_deg", "lat_deg", "ele_m", "hdop", "sat", "speed_mps"):
        assert getattr(part, name).tolist() == getattr(whole, name)[[1, 2, 4, 5, 6]].tolist()
    assert shown.cut(whole, np.empty(0, dtype=np.int64)).accepted == 0


def test_a_route_is_analysed_anew_from_what_is_shown():
    analysis = analysed()
    fixes = shown.shown_fixes(analysis, ENDS)
    cut = {i: shown.cut(analysis.traces[i], chosen) for i, chosen in fixes.items() if i != 1}
    name, kept = analysis.routes[0].route.name, analysis.routes[0]
    other = RouteResult(
        dataclasses.replace(kept.route, name="B", members=(1,), xy_m=kept.route.xy_m[1:2]), None, ("x",)
    )
    told = dataclasses.replace(analysis, routes=(other, dataclasses.replace(kept, reason="a reason")))
    rides = {result.ride: f"N{k}" for k, result in enumerate(analysis.results)}
    (second, first), measured = shown.analysed(told, cut, rides)
    assert (first.route.name, first.route.members, first.reason) == (name, (0, 2, 3), "a reason")
    assert first.rides == ("N0", "N1", "N2", "N3")  # who rode is told, though one is not drawn
    assert sorted(measured) == [0, 2, 3]
    line = HARBOUR.to_metres(*first.route.plane.to_degrees(first.centreline.xy_m))
    assert (line[:, 0].min(), line[:, 0].max()) == pytest.approx((510.0, 2400.0), abs=25.0)
    for i, places in zip(first.route.members, first.route.xy_m, strict=True):
        assert HARBOUR.to_metres(*first.route.plane.to_degrees(places))[:, 0] == pytest.approx(x_m(cut[i]), abs=0.01)
    assert (second.route.members, second.centreline, second.rides) == ((), None, ("N1",))
    assert second.reason == "not shown: too little of it is left between the cuts"

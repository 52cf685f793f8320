"""Where rides start and what is missed since, from stations given by hand: each bound met just so and missed by half a metre.

Errors of a new fix are 8 m; bounds are two standard deviations, so 16 m where nothing scatters by more.
"""

from __future__ import annotations

import dataclasses
from types import SimpleNamespace

import numpy as np
import pytest
from trace_maker import HARBOUR, trace_on

from gpsq.measures import place_of_start
from gpsq.measures.lead import Reached
from gpsq.measures.place_of_start import Place, missed_from
from gpsq.model import FirstFix
from gpsq.settings import Settings

NAN = float("nan")
SETTINGS = Settings(hot_start_s=5.0)
#: Stations 0 to 1,000 m along the x axis.
LINE = np.column_stack([5.0 * np.arange(201.0), np.zeros(201)])
ROUTE = SimpleNamespace(centreline=SimpleNamespace(xy_m=LINE))


def fix(station_m, stood_s=NAN, seconds=NAN):
    return FirstFix("none", seconds=seconds, station_m=station_m, stood_s=stood_s)


def end(x_m, scatter_m=2.0, y_m=0.0, way_m=None):
    """Return where another way ends, whose line runs along the x axis from there."""
    way = np.array([[x_m, y_m], [x_m, 0.0], [900.0, 0.0]]) if way_m is None else np.array(way_m, float)
    return place_of_start._End(np.array([x_m, y_m]), scatter_m, way)


def place(fixes, *ends, route=ROUTE):
    results = [SimpleNamespace(first_fix=f, duplicate_of="") for f in fixes]
    return place_of_start._usual_place(route, results, ends, SETTINGS)


def bounds(found):
    return found.station_m, found.before_m, found.beyond_m, found.basis, found.is_bound


def test_who_is_fixed_at_once_shows_the_place_within_30_m():
    """The median of 10, 20 and 40; the one 30.5 m from the first began elsewhere, and who took 6 s says nothing."""
    fixes = [fix(s, seconds=5.0) for s in (10.0, 40.0, 20.0, 40.5)] + [fix(-90.0, seconds=5.5), fix(-80.0)]
    half_m = pytest.approx(2.0 * np.sqrt(1400.0 / 9.0))
    assert bounds(place(fixes)) == (20.0, half_m, half_m, "hot start", False)
    assert bounds(place(fixes[:1])) == (10.0, 16.0, 16.0, "hot start", False)


def test_a_hot_start_before_which_more_are_seen_on_the_road_began_late():
    """Begun 600 m from home with a fix at once; of others, whose time to it is not known, one or two were seen before."""
    hot, near, home = fix(600.0, seconds=3.0), fix(569.0), fix(0.0)
    assert place([hot, near]).basis == "hot start"
    assert place([hot, near, home]).basis == "none"
    assert place([hot, near, home], end(-5.0)).basis == "way back"
    assert place([hot, fix(570.0), home]).station_m == 600.0
    assert place([hot, fix(610.0, seconds=3.0), near, home]).station_m == 605.0


def test_without_a_fix_or_an_end_nothing_is_known():
    for found in (place([]), place([], end(0.0)), place([fix(40.0)]), place([fix(40.0)], end(0.0, 25.5))):
        assert bounds(found) == (0.0, pytest.approx(NAN, nan_ok=True), pytest.approx(NAN, nan_ok=True), "none", True)
    nowhere = SimpleNamespace(centreline=None)
    assert place([fix(40.0)], end(0.0), route=nowhere).basis == "none"
    assert place([fix(40.0)], end(0.0, 25.0)).basis == "way back"
    assert place([fix(40.0)], end(0.0, NAN)).basis == "none"


def test_copies_of_a_recording_show_nothing():
    copy = SimpleNamespace(first_fix=fix(10.0, seconds=0.0), duplicate_of="a")
    assert place_of_start._usual_place(ROUTE, [copy], [], SETTINGS).basis == "none"


def of_way_back(at_m, earliest_m, stood_m=NAN, scatter_m=2.0, *, is_bound=False):
    return bounds(place_of_start._of_way_back(end(at_m, scatter_m), Reached(at_m, None, is_bound), earliest_m, stood_m))


def test_where_nobody_is_seen_setting_off_the_door_may_be_60_m_away():
    """16 + 60 m before; beyond no further than two errors of a fix past the first one seen, and 16 m at least."""
    assert of_way_back(20.0, 300.0) == (20.0, 76.0, 76.0, "way back", False)
    assert of_way_back(20.0, 50.0) == (20.0, 76.0, 46.0, "way back", False)
    assert of_way_back(20.0, 30.0) == (20.0, 76.0, 26.0, "way back", False)
    assert of_way_back(20.0, 19.0) == (19.5, 76.0, 16.5, "way back", False)
    assert of_way_back(20.0, 300.0, scatter_m=10.0) == (20.0, 80.0, 80.0, "way back", False)
    assert of_way_back(20.0, 300.0, is_bound=True)[4]


def test_an_end_further_on_than_the_first_one_seen_lies_half_way_back():
    """Up to 16 + 8 m further on: beyond that the end is none, and who was seen before it shows a bound at least."""
    assert of_way_back(24.0, 0.0) == (12.0, 76.0, 28.0, "way back", False)
    assert of_way_back(24.5, 0.0)[3:] == ("none", True)
    assert of_way_back(60.0, 30.0)[0] == 0.0
    assert of_way_back(10.0, -30.0)[0] == -30.0


def test_who_sets_off_near_the_end_narrows_the_bounds():
    """Within 16 m of it: 16 m either way; further on, 16 m before, and beyond as far as there and 16 m."""
    assert of_way_back(20.0, 36.0, 36.0) == (20.0, 16.0, 16.0, "way back", False)
    assert of_way_back(20.0, 36.0, 36.5) == (20.0, 16.0, 32.5, "way back", False)
    assert of_way_back(20.0, 4.0, 4.0) == (12.0, 16.0, 24.0, "way back", False)
    assert of_way_back(20.0, 3.5, 3.5) == (3.5, 32.0, 32.0, "seen setting off", False)


def test_who_stood_for_3_s_within_30_m_of_the_first_is_seen_setting_off():
    seen = place_of_start._setting_off
    assert seen([fix(10.0, 3.0), fix(40.0, 9.0), fix(40.5, 9.0)]) == 25.0
    assert seen([fix(10.0, 2.5), fix(40.0, 9.0), fix(12.0)]) == 40.0
    assert np.isnan(seen([fix(10.0, 2.5), fix(40.5, 9.0)]))


def test_the_earliest_is_a_rider_or_the_middle_of_those_who_stood():
    """Stood at −40, −30 and −20: −30, more than 16 m before the end at 0. Or one rode by at −50, or at −20 after all."""
    stood = [fix(s, 10.0) for s in (-40.0, -30.0, -20.0)]
    assert bounds(place(stood, end(0.0))) == (-30.0, 32.0, 32.0, "seen setting off", False)
    assert place([fix(-10.0, 10.0), fix(100.0)], end(0.0)).station_m == -5.0
    assert place([fix(-14.0, 10.0), fix(-20.0)], end(0.0)).station_m == -10.0
    assert place([fix(-20.0), fix(90.0)], end(0.0)).station_m == -10.0


def test_an_end_counts_up_to_150_m_past_the_first_one_seen():
    """Then it is no place of the start, but what is missed is a bound; further past it says nothing of this route."""
    near = place_of_start._near
    assert [at.station_m for _, at in near(ROUTE, [end(200.0)], 50.0)] == [200.0]
    assert near(ROUTE, [end(200.5)], 50.0) == []
    assert near(SimpleNamespace(centreline=None), [end(0.0)], 50.0) == []


def test_an_end_off_the_line_counts_within_300_m_of_its_head_where_no_way_is_known():
    away = [[-900.0, 500.0], [-800.0, 500.0]]
    near = place_of_start._near
    assert len(near(ROUTE, [end(-300.0, way_m=away)], 0.0)) == 1
    assert near(ROUTE, [end(-300.5, way_m=away)], 0.0) == []
    assert [at.station_m for _, at in near(ROUTE, [end(-700.0)], 0.0)] == [-700.0]


def test_the_nearest_end_to_the_head_is_taken():
    found = place_of_start._near(ROUTE, [end(-90.0), end(40.0), end(-30.0)], 50.0)
    assert [at.station_m for _, at in found] == [-30.0, 40.0, -90.0]
    assert place([fix(50.0)], end(-90.0), end(-30.0)).station_m == -30.0


def test_what_is_missed_is_from_the_place_to_the_fix():
    found = missed_from(fix(80.0), Place(20.0, 5.0, 7.0, "log", is_bound=False), 500.0)
    assert (found.missed_m, found.missed_low_m, found.missed_high_m, found.missed_share) == (60.0, 53.0, 65.0, 0.12)
    assert (found.missed_is_minimum, found.place_basis) == (False, "log")
    before = missed_from(fix(10.0), Place(20.0, 5.0, 7.0, "log", is_bound=False), 500.0)
    assert (before.missed_m, before.missed_low_m, before.missed_high_m, before.missed_share) == (0.0, 0.0, 5.0, 0.0)
    bound = missed_from(fix(80.0), Place(-20.0), 480.0)
    assert (bound.missed_m, bound.missed_share, bound.missed_is_minimum) == (100.0, 0.2, True)
    assert np.isnan([bound.missed_low_m, bound.missed_high_m]).all()
    assert np.isnan(missed_from(fix(0.0), Place(), 0.0).missed_share)
    assert missed_from(fix(0.5), Place(), 0.5).missed_share == 1.0


@pytest.mark.parametrize(("missed_m", "elsewhere"), [(500.0, False), (500.5, True)])
def test_who_would_have_searched_longer_than_any_device_began_further_on(missed_m, elsewhere):
    """1,000 m in 3,600 s, so that 500 m take half an hour, where that is the bound. Who logged his start is believed."""
    time = np.datetime64("2024-05-01T07:00:00", "ms") + np.array([0, 5, 3600]) * np.timedelta64(1, "s")
    settings = Settings(start_bound_s=1800.0)

    def began(seconds=NAN, length_m=1000.0, timed=True):
        given = FirstFix("none", seconds=seconds, missed_m=missed_m)
        trace, result = SimpleNamespace(timed=timed, time=time), SimpleNamespace(length_m=length_m)
        return place_of_start._began_elsewhere(trace, result, given, settings)

    assert began() is elsewhere
    assert not began(seconds=7200.0)
    assert not began(timed=False)
    assert not began(length_m=0.0)
    assert began(length_m=0.5)


def member(ride, *, ended_early_m=NAN, duplicate_of=""):
    return SimpleNamespace(ride=ride, ended_early_m=ended_early_m, duplicate_of=duplicate_of)


def recorded(*ends_m, **changes):
    """Return traces that end at these places of a plane, each after three fixes a kilometre away."""
    return [trace_on(np.vstack([np.full((3, 2), 1000.0), end_m]), **changes) for end_m in ends_m]


def route_of(members, line_m=LINE, plane=HARBOUR):
    line = None if line_m is None else SimpleNamespace(xy_m=line_m)
    return SimpleNamespace(centreline=line, route=SimpleNamespace(plane=plane, members=tuple(members)))


#: The line of the way back: from 1,000 m to 20 m before the head of the other, as it is ridden.
BACK = np.column_stack([5.0 * np.arange(200.0, -5.0, -1.0), np.zeros(205)])


def ends_near(places_m, results=None, *, out_m=LINE, back_m=BACK, plane=HARBOUR):
    """Return the ends that are near a route of one recording: those of a way back that has the other ones."""
    traces = recorded([900.0, 0.0], *places_m)
    own = results or [member(f"ride {k}") for k in range(len(places_m))]
    back = range(1, len(places_m) + 1)
    routes = [route_of([0], out_m, plane), route_of(back, back_m)]
    return place_of_start._ends_near(traces, [member("out"), *own], routes)


def test_a_way_back_ends_at_the_median_of_its_ends_with_the_scatter_of_a_standard_deviation():
    """Of four, 2, 2, 4 and 9 m from (−18, 0), 68.27 % of the way is just past the third: the fourth. Of three rides or more."""
    places_m = [[-20.0, 0.0], [-14.0, 0.0], [-16.0, 0.0], [-27.0, 0.0]]
    (near,), (other,) = ends_near(places_m)
    assert near.place_m == pytest.approx([-18.0, 0.0], abs=1e-3)
    assert near.scatter_m == pytest.approx(9.0, abs=1e-3)
    assert near.way_m == pytest.approx(BACK[::-1], abs=1e-3)
    assert other.place_m == pytest.approx([900.0, 0.0], abs=1e-3)
    assert np.isnan(other.scatter_m)
    assert ends_near(places_m[:3])[0][0].scatter_m == pytest.approx(4.0, abs=1e-3)
    assert np.isnan(ends_near(places_m[:2])[0][0].scatter_m)
    two_rides = [member(name) for name in ("a", "a", "b", "b")]
    assert np.isnan(ends_near(places_m, two_rides)[0][0].scatter_m)


def test_of_twenty_three_ends_the_scatter_is_the_seventeenth():
    """0 to 22 m from their median, half of them to either side: 68.27 % of 22 is 15.02, and the next higher one is 16 m."""
    (near,), _ = ends_near([[x if x % 2 else -x, 0.0] for x in np.arange(23.0)])
    assert near.place_m == pytest.approx([0.0, 0.0], abs=1e-3)
    assert near.scatter_m == pytest.approx(16.0, abs=1e-3)


def test_who_stopped_early_or_is_a_copy_is_no_end():
    places_m = [[-20.0, 0.0], [-18.0, 0.0], [-16.0, 0.0], [300.0, 0.0], [400.0, 0.0]]
    results = [*(member(f"ride {k}") for k in range(3)), member("a", ended_early_m=40.0), member("b", duplicate_of="c")]
    (near,), _ = ends_near(places_m, results)
    assert near.place_m == pytest.approx([-18.0, 0.0], abs=1e-3)


@pytest.mark.parametrize(("x_m", "count"), [(-1999.0, 1), (-2001.0, 0)])
def test_ends_are_looked_at_within_2_km_of_the_head(x_m, count):
    assert len(ends_near([[x_m, 0.0]] * 3)[0]) == count


def test_without_a_line_or_an_arrival_there_is_no_end():
    assert ends_near([[-20.0, 0.0]] * 3, out_m=None) == [[], []]
    assert ends_near([[-20.0, 0.0]] * 3, back_m=None) == [[], []]
    early = [member(f"ride {k}", ended_early_m=9.0) for k in range(3)]
    assert ends_near([[-20.0, 0.0]] * 3, early) == [[], []]


def logged(x_m, y_m, route=None, *ends, **missing):
    lon, lat = HARBOUR.to_degrees(np.array([[x_m, y_m]]))
    trace = SimpleNamespace(**({"start_lon_deg": lon[0], "start_lat_deg": lat[0]} | missing))
    return place_of_start._logged(trace, route or route_of([0]), fix(300.0), ends)


def test_the_place_in_the_log_is_known_to_8_m():
    found = logged(100.0, 10.0)
    assert (found.station_m, *bounds(found)[1:]) == (pytest.approx(100.0, abs=1e-3), 8.0, 8.0, "log", False)
    assert logged(-100.0, 0.0).is_bound
    before = logged(-100.0, 0.0, None, end(-200.0))
    assert (before.station_m, before.is_bound) == (pytest.approx(-100.0, abs=1e-3), False)
    assert before.lead.xy_m[-1].tolist() == [0.0, 0.0]
    assert logged(500.0, 0.0).is_bound


def test_without_both_coordinates_or_a_line_the_log_gives_no_place():
    assert logged(100.0, 10.0, start_lat_deg=NAN) is None
    assert logged(100.0, 10.0, start_lon_deg=NAN) is None
    assert logged(100.0, 10.0, route_of([0], None)) is None


@dataclasses.dataclass(frozen=True)
class Measured:
    """Of a result what is read and written."""

    first_fix: FirstFix
    lead: object = None
    duplicate_of: str = ""
    ended_early_m: float = NAN
    ride: str = "r"
    length_m: float = 1000.0


def test_each_recording_is_given_what_it_missed_since_its_own_logged_place_or_the_usual_one():
    """The first was fixed at once at 20 m, which is the usual place; the second logged 100 m; of the third no station is
    known, and it stays as it was. Of a route without a line nothing is told."""
    lon, lat = HARBOUR.to_degrees(np.array([[100.0, 0.0]]))
    (hot,) = recorded([900.0, 0.0])
    (log,) = recorded([900.0, 0.0], start_lon_deg=lon[0], start_lat_deg=lat[0])
    results = [Measured(fix(20.0, seconds=2.0)), Measured(fix(300.0)), Measured(fix(NAN))]
    route = route_of([0, 1, 2])
    route.centreline.length_m = 1000.0
    traces = [hot, log, hot]
    found = place_of_start.with_places(traces, results, [route, route_of([], None)], SETTINGS)
    assert [f.first_fix.missed_m for f in found[:2]] == [0.0, pytest.approx(200.0, abs=1e-3)]
    assert [f.first_fix.place_basis for f in found[:2]] == ["hot start", "log"]
    assert found[2] is results[2]
    bare = route_of([0, 1, 2], None)
    assert place_of_start.with_places(traces, results, [bare], SETTINGS) == tuple(results)


def test_one_that_was_begun_on_the_way_keeps_no_later_one_from_its_figure():
    """By its pace the first rode a minute and more to its first fix, when no device may search for so long."""
    hot, begun, other = recorded([900.0, 0.0]) * 3
    route = route_of([0, 1, 2])
    route.centreline.length_m = 1000.0
    results = [Measured(fix(900.0)), Measured(fix(20.0, seconds=2.0)), Measured(fix(300.0, seconds=40.0))]
    soon = dataclasses.replace(SETTINGS, start_bound_s=0.5)
    found = place_of_start.with_places([begun, hot, other], results, [route], soon)
    assert [f.first_fix.missed_m for f in found] == pytest.approx([NAN, 0.0, 280.0], nan_ok=True)


def test_who_began_before_the_line_is_given_the_way_to_it():
    """The log's place lies 20 m before the head: straight there; who has none in the log has no way."""
    lon, lat = HARBOUR.to_degrees(np.array([[-20.0, 0.0]]))
    (log,) = recorded([900.0, 0.0], start_lon_deg=lon[0], start_lat_deg=lat[0])
    route = route_of([0, 1])
    route.centreline.length_m = 1000.0
    results = [Measured(fix(300.0)), Measured(fix(20.0, seconds=2.0))]
    found = place_of_start.with_places([log, *recorded([900.0, 0.0])], results, [route], SETTINGS)
    assert found[0].lead.xy_m == pytest.approx(np.array([[-20.0, 0.0], [0.0, 0.0]]), abs=1e-3)
    assert found[1].lead is None
    assert found[0].first_fix.missed_m == pytest.approx(320.0, abs=1e-3)

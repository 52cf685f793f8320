"""How the stages hand on what was found: each stage is replaced by one that says what it was given, and answers by hand."""

from __future__ import annotations

from dataclasses import replace
from types import SimpleNamespace

import numpy as np
import pytest
from by_hand import FOUND, PLANE, by_hand
from by_hand_figures import SUMMARIES

from gpsq.measures.route import Measured
from gpsq.model import FirstFix, Flag, Gap, Route, Unreadable
from gpsq.pipeline import stages
from gpsq.results import DevicesApart, RouteResult
from gpsq.rides.arrange import Arranged
from gpsq.rides.recording_figures import Recorded
from gpsq.settings import Settings

NAN = float("nan")
SETTINGS = Settings()
HAND = by_hand()
DECISION = HAND.flags[0]


def alone(number, spikes=0):
    first = 100.0 * (number + 1)
    return Recorded(
        *[first + k for k in range(9)], (Gap(number, 30.0, 60.0),), 1, 2.0, 3.0, spikes, first + 50.0
    )  # fmt: skip


ARRANGED = Arranged(
    HAND.traces, ("R01", "R01", "R02", "R03"), {1: "amber/mon.gpx"}, tuple(r.route for r in HAND.routes),
    tuple(alone(number, spikes=number + 5) for number in range(4)), ("one was cut",), ("arranged so",),
)  # fmt: skip


# ---- all stages, one after the other ----
@pytest.fixture
def gone_through(monkeypatch):
    """What each stage is given, in order, while the whole is gone through."""
    heard = []

    def stage(name, answer):
        return lambda *given: heard.append((name, *given)) or answer

    found = by_hand(folder="", title="", unreadable=(), inputs={}, notes=("found so",))
    monkeypatch.setattr(stages, "_measured", stage("measured", found))
    monkeypatch.setattr(stages, "ways", stage("ways", ({"out": "a way"}, ("way not here",))))
    monkeypatch.setattr(stages.reference, "measure", stage("reference", (("by reference",), ("line unused",))))
    monkeypatch.setattr(stages, "against_earlier", stage("earlier", (("by earlier",), ("earlier unread",))))
    monkeypatch.setattr(stages, "summaries", stage("summaries", SUMMARIES))
    return heard


READINGS = SimpleNamespace(
    campaign=SimpleNamespace(settings=SETTINGS, title="Quay", time_zone=None, routes={"out": "there"}), flags=(DECISION,),
    folder="week", time_zone="+02:00", unreadable=(Unreadable("a", 1, "torn", "a: torn"),), inputs={"a": "b"},
    streets="streets", references=("line",), earlier=("then",), problems=("a problem",), notes=("read so",),
)  # fmt: skip


def test_what_was_read_and_found_stands_in_the_analysis_and_every_line_is_told_once(gone_through):
    told, searched = [], object()
    measured = []
    means = stages.Means(tell=lambda *how: told.append(how), measured=lambda found: measured.append(found) or searched)
    analysis = stages.analysed(READINGS, ARRANGED, means)
    assert (analysis.folder, analysis.title, analysis.time_zone) == ("week", "Quay", "+02:00")
    assert (analysis.unreadable, analysis.inputs, analysis.streets) == (READINGS.unreadable, {"a": "b"}, "streets")
    assert analysis.ways == {"out": "a way"}
    assert (analysis.summaries.reference, analysis.summaries.earlier) == (("by reference",), ("by earlier",))
    assert analysis.summaries.devices == SUMMARIES.devices
    assert analysis.notes == (
        "a problem", "way not here", "read so",
        "Times are shown in UTC+02:00, as the files write them; time_zone in campaign.toml names another.",
        "one was cut", "found so", "line unused", "earlier unread",
    )  # fmt: skip
    assert told == [("summing up", 0, 1), ("summing up", 1, 1)]
    (seen,) = measured
    assert (seen.ways, seen.title) == ({"out": "a way"}, "Quay")
    names, given = [name for name, *_ in gone_through], {name: rest for name, *rest in gone_through}
    assert names == ["measured", "ways", "reference", "earlier", "summaries"]
    assert given["measured"] == [ARRANGED, SETTINGS, READINGS.flags, means]
    assert given["ways"][1] == {"out": "there"}
    assert given["reference"] == [seen, ("line",)]
    assert given["earlier"] == [seen, ("then",), seen.settings]
    assert given["summaries"] == [seen, searched]


def test_a_zone_that_the_campaign_names_needs_no_word(gone_through):
    named = replace_space(READINGS, campaign=replace_space(READINGS.campaign, time_zone="Europe/Paris"))
    assert "Times are shown" not in " ".join(stages.analysed(named, ARRANGED, stages.Means()).notes)
    utc = replace_space(READINGS, time_zone="")
    assert "Times are shown" not in " ".join(stages.analysed(utc, ARRANGED, stages.Means()).notes)
    assert gone_through[-1][-1] is None, "nothing is searched elsewhere where nobody asked for it"


def replace_space(space, **changes):
    return SimpleNamespace(**(vars(space) | changes))


# ---- routes ----
def measured_by_hand(route, members, flags, settings, tails):
    """A deviation of a second recording; without decisions the name it has tells that."""
    name = "d-decided" if flags else "d-recorded"
    found = tuple(
        Measured(m.number, "", FirstFix("log"), deviations=(replace(FOUND[1], trace=m.number, id=name),))
        for m in members
    )
    return RouteResult(route, None, (f"{len(flags)} decisions", *tails)), found


def test_a_route_with_a_decision_is_measured_twice_and_its_deviations_keep_their_names(monkeypatch):
    asked, told = [], []
    monkeypatch.setattr(stages, "tails_towards", lambda *given: asked.append(given) or [("tail out",), ("tail home",)])
    monkeypatch.setattr(stages, "analyse_route", measured_by_hand)
    means = stages.Means(
        each=lambda work, *jobs: asked.append(jobs) or map(work, *jobs), tell=lambda *how: told.append(how)
    )
    (out, of_out), (home, of_home) = stages._routes_measured(ARRANGED, SETTINGS, (DECISION,), means)
    assert asked[0] == (ARRANGED.routes, ARRANGED.traces, ARRANGED.rides, ARRANGED.twins, SETTINGS.gap_s)
    routes, members, flags, _, tails = asked[1]
    assert [route.name for route in routes] == ["out", "home", "out"]
    assert [[(m.number, m.ride, m.duplicate_of) for m in own] for own in members] == [
        [(0, "R01", ""), (1, "R01", "amber/mon.gpx")], [(3, "R03", "")], [(0, "R01", ""), (1, "R01", "amber/mon.gpx")],
    ]  # fmt: skip
    assert (flags, tails) == (((), (), (DECISION,)), (("tail out",), ("tail home",), ("tail out",)))
    assert told == [("analysing routes", done, 3) for done in range(4)]
    assert (out.rides, home.rides) == (("1 decisions", "tail out"), ("0 decisions", "tail home"))
    assert out.route is ARRANGED.routes[0]
    assert [m.number for m in (*of_out, *of_home)] == [0, 1, 3]
    assert {d.id for m in (*of_out, *of_home) for d in m.deviations} == {"d-recorded"}


def test_a_decision_on_another_recording_costs_no_route_a_second_time(monkeypatch):
    monkeypatch.setattr(stages, "tails_towards", lambda *given: [(), ()])
    monkeypatch.setattr(stages, "analyse_route", measured_by_hand)
    other_track = Flag("b2" * 32, 1, DECISION.from_time, DECISION.to_time, 2, 4, "error", "")
    told = []
    found = stages._routes_measured(
        ARRANGED, SETTINGS, (other_track,), stages.Means(tell=lambda *how: told.append(how))
    )
    assert told[-1] == ("analysing routes", 2, 2)
    assert [route.rides for route, _ in found] == [("0 decisions",)] * 2


# ---- recordings ----
def test_every_recording_gets_what_was_measured_of_it_and_of_it_alone():
    first = HAND.results[0]
    whole = Measured(
        0, "", first.first_fix, first.crosstrack, first.curves, FOUND[:1], FOUND[1:2], 511.0, 219.5
    )  # fmt: skip
    results = stages._results(ARRANGED, {0: whole, 3: Measured(3, "it is alone", FirstFix("none"))})
    seen = results[0]
    assert (seen.trace, seen.ride, seen.route, seen.status, seen.reason) == (0, "R01", "out", "scored", "")
    assert (seen.length_m, seen.interval_s, seen.gaps) == (100.0, 106.0, (Gap(0, 30.0, 60.0),))
    assert (seen.crosstrack, seen.curves) == (first.crosstrack, first.curves)
    assert (seen.deviations, seen.vanished, seen.duplicate_of) == (FOUND[:1], FOUND[1:2], "")
    assert (seen.spikes, seen.largest_spike_m, seen.ended_early_m) == (5, 150.0, 219.5)
    assert seen.first_fix == replace(
        first.first_fix, hours_since_fix=seen.first_fix.hours_since_fix, start_state="unknown"
    )
    assert np.isnan(seen.first_fix.hours_since_fix)
    # Amber fixed last on Monday at 07:00:59 and is switched on on Tuesday at 07:03:00: 24 h 2 min 1 s
    assert results[2].first_fix.hours_since_fix == pytest.approx(24 + 121 / 3600)
    assert results[2].first_fix.start_state == "warm"
    assert [(r.route, r.status, r.reason, r.duplicate_of) for r in results[1:]] == [
        ("out", "not scored", "it stays in one place, so it goes no way", "amber/mon.gpx"),
        ("", "not scored", "it never found a position", ""),
        ("home", "not scored", "it is alone", ""),
    ]


def test_one_fix_goes_no_way():
    columns = ("time", "lon_deg", "lat_deg", "ele_m", "hdop", "sat", "speed_mps", "segment", "point")
    three = HAND.traces[3]
    single = replace(three, points=1, **{name: getattr(three, name)[:1] for name in columns})
    assert stages._why_no_route(single) == "it has one fix only"


def test_who_never_fixed_missed_the_whole_road_of_its_ride():
    """R01 goes out, 621 m long; a ride of which no other recording tells the way stays without."""
    never = replace(HAND.results[2], ride="R01")
    lost = replace(HAND.results[2], ride="R09")
    fixed = replace(HAND.results[0], route="")
    results = stages._with_ride_mates((HAND.results[1], never, lost, fixed), HAND.routes)
    assert results[0] is HAND.results[1]
    assert (results[1].route, results[1].first_fix.missed_m, results[1].first_fix.missed_share) == ("out", 621.0, 1.0)
    assert results[1].first_fix.missed_is_minimum
    assert results[2] is lost
    assert results[3] is fixed, "it fixed, and its way is another matter"
    no_line = (replace(HAND.routes[0], centreline=None),)
    (unknown,) = stages._with_ride_mates((HAND.results[1], never), no_line)[1:]
    assert unknown.route == "out"
    assert np.isnan(unknown.first_fix.missed_m)


def test_the_parts_of_an_analysis_are_those_that_were_measured(monkeypatch):
    """Places of starts, then estimates, then what a ride's others tell: in that order, each on the last one's answer."""
    apart = DevicesApart("Amber", "Basalt", 17.6, 1.23, 4.56)
    out = replace(HAND.routes[0], apart=(apart,))
    own = tuple(Measured(k, "", HAND.results[k].first_fix, deviations=FOUND[k : k + 1]) for k in (0, 1))
    home = Measured(3, "alone", HAND.results[3].first_fix)
    order = []
    monkeypatch.setattr(stages, "arrange", lambda traces, settings, each: order.append(each) or ARRANGED)
    monkeypatch.setattr(
        stages, "_routes_measured", lambda *given: order.append(given[2]) or [(out, own), (HAND.routes[1], (home,))]
    )
    monkeypatch.setattr(
        stages.place_of_start, "with_places",
        lambda traces, results, routes, settings: order.append("places") or results,
    )  # fmt: skip
    monkeypatch.setattr(
        stages.estimates, "with_estimates",
        lambda traces, results, routes, settings: order.append("estimates") or results,
    )  # fmt: skip
    pool = SimpleNamespace(map=lambda *given: map(*given))
    found = stages.analyse_traces(HAND.traces, SETTINGS, [DECISION], executor=pool)
    assert order == [pool.map, [DECISION], "places", "estimates"]
    assert (found.deviations, found.flags, found.traces) == (FOUND[:2], (DECISION,), HAND.traces)
    assert (found.folder, found.title, found.unreadable, found.inputs) == ("", "", (), {})
    assert found.routes == (out, HAND.routes[1])
    assert [r.trace for r in found.results] == [0, 1, 2, 3]
    assert found.notes == (
        "arranged so",
        "route out: Amber and Basalt lie 18 m apart, more than both scatter (1.2 m and 4.6 m); which is right cannot be "
        "known without a surveyed line, so the centreline runs between them",
    )
    stages.analyse_traces(HAND.traces, SETTINGS)
    assert (order[4], order[5]) == (map, ())


def test_a_member_is_known_by_the_number_of_its_trace():
    members = stages._members(Route("x", PLANE, (3,), (np.zeros((1, 2)),)), ARRANGED)
    assert [(m.number, m.trace, m.ride, m.duplicate_of) for m in members] == [(3, HAND.traces[3], "R03", "")]

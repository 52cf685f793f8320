"""Days and times of rides as people read them, the time of a film, and what is written over a picture: each by hand."""

from __future__ import annotations

from dataclasses import replace
from datetime import datetime
from types import SimpleNamespace

import numpy as np
import pytest
from by_hand import by_hand
from trace_maker import trace_on

from gpsq.model import NAT, FirstFix
from gpsq.output import instants, ride_days, wording
from gpsq.output.overlay import titles
from gpsq.output.overlay.rides import LeftRoad, Overlay, Ridden
from gpsq.output.replay.moments import FILM_S, START_S, Moments, Runner, beginnings_s, moments
from gpsq.results import TraceResult

NAN = float("nan")


def at(text):
    return np.datetime64(text, "ms")


# --- instants ---------------------------------------------------------------------------------------------------------
def test_what_is_older_than_the_system_has_no_date():
    times = np.array(["1979-12-31T23:59:59", "1980-01-06T00:00:00", "2026-05-04T06:50:01.250", "NaT"], "datetime64[ms]")
    assert instants.iso_times(times) == ["", "1980-01-06T00:00:00Z", "2026-05-04T06:50:01.250Z", ""]
    assert np.isnat(instants.dated(times)).tolist() == [True, False, False, True]


@pytest.mark.parametrize(("zone", "clock", "day"), [
    ("Europe/Paris", "01:54:31", "1 January 2027"), ("", "23:54:31", "31 December 2026"),
    ("-05:00", "18:54:31", "31 December 2026"),
])  # fmt: skip
def test_clock_and_day_are_those_of_the_place(zone, clock, day):
    moment = at("2026-12-31T23:54:31") if zone != "Europe/Paris" else at("2027-01-01T00:54:31")
    assert (instants.clock(moment, zone), instants.day(moment, zone)) == (clock, day)
    assert instants.clock(at("NaT"), zone) == instants.day(at("1970-01-01T06:00"), zone) == ""


def test_a_stretch_of_time_has_both_ends_or_none():
    first, last = at("2026-05-04T06:54:31"), at("2026-05-04T06:56:00")
    assert instants.between(first, last, "+02:00") == "08:54:31 to 08:56:00 (UTC+02:00)"
    assert instants.between(first, NAT, "+02:00") == instants.between(NAT, last, "+02:00") == ""


# --- rides by their days ----------------------------------------------------------------------------------------------
def week(*starts, time_zone="", records=()):
    """Return an analysis of a recording for each (ride, beginning); `records` are their first records."""
    traces, results = [], []
    for number, (ride, begun) in enumerate(starts):
        trace = trace_on(np.zeros((2, 2)), file=f"{number}.gpx", sha256=f"{number}")
        time = at(begun) + np.array([0, 1000], "timedelta64[ms]")
        first = at(records[number]) if records else time[0]
        traces.append(replace(trace, time=time, first_record=first, last_record=time[-1]))
        results.append(TraceResult(number, ride, "out", "scored", "", FirstFix("none"), 1.0, 1.0))
    return by_hand(traces=tuple(traces), results=tuple(results), time_zone=time_zone)


def test_a_ride_begins_with_the_earliest_that_is_known_of_it():
    found = week(
        ("R1", "2026-05-04T07:10"), ("R1", "2026-05-04T07:08"), ("", "2026-05-04T05:00"), ("R2", "1970-01-01T07:00")
    )
    assert {r: t.replace(tzinfo=None) for r, t in ride_days.ride_starts(found).items()} == {
        "R1": datetime(2026, 5, 4, 7, 8)
    }
    logged = replace(found.results[0], first_fix=FirstFix("log", started=at("2026-05-04T06:59")))
    early = replace(found, results=(logged, *found.results[1:]))
    assert ride_days.ride_starts(early)["R1"].minute == 59
    unrecorded = week(("R1", "2026-05-04T07:10"), records=["NaT"])
    assert ride_days.ride_starts(unrecorded)["R1"].minute == 10
    before = week(("R1", "2026-05-04T07:10"), records=["2026-05-04T07:05"], time_zone="Europe/Paris")
    assert f"{ride_days.ride_starts(before)['R1']:%d %H:%M}" == "04 09:05"


@pytest.mark.parametrize(("starts", "said"), [
    (["2026-05-04T07:10", "2026-05-05T07:10"], ["Mon", "Tue"]),
    (["2026-05-04T07:10", "2026-05-11T07:10"], ["4 May", "11 May"]),
    (["2026-05-04T07:10", "2026-05-04T17:10"], ["07:10", "17:10"]),
    (["2026-05-04T07:10", "2026-05-04T17:10", "2026-05-05T07:10"], ["Mon 07:10", "Mon 17:10", "Tue 07:10"]),
    (["2026-05-04T07:10", "2026-05-11T07:10", "2026-05-04T17:10", "2026-12-24T17:10"],
     ["4 May 07:10", "11 May 07:10", "4 May 17:10", "24 Dec 17:10"]),
    (["2026-05-04T07:10:10", "2026-05-04T07:10:50"], ["R0", "R1"]),
    (["2026-05-04T07:10", "1970-01-01T07:10"], ["Mon", "R1"]),
    (["2026-05-10T07:10"], ["Sun"]),
    # all times are whole days, as in a publication: nothing is said of the time of day
    (["2026-05-04", "2026-05-11"], ["4 May", "11 May"]), (["2026-05-04", "2026-05-04"], ["R0", "R1"]),
])  # fmt: skip
def test_rides_are_called_as_shortly_as_tells_them_apart(starts, said):
    found = week(*((f"R{k}", begun) for k, begun in enumerate(starts)))
    names = [f"R{k}" for k in range(len(starts))]
    assert ride_days.short_names(found, [*names, names[0]]) == dict(zip(names, said, strict=True))


def test_long_names_of_rides():
    found = week(
        ("R1", "2026-05-04T07:10"), ("R2", "2026-05-04T07:10"), ("R3", "2026-01-09T17:05"), ("R4", "1970-01-01T07:10")
    )
    assert ride_days.long_names(found) == {
        "R1": "R1, Mon 4 May 07:10", "R2": "R2, Mon 4 May 07:10", "R3": "Fri 9 Jan 17:05", "R4": "R4",
    }  # fmt: skip
    assert ride_days.long_names(week(("R1", "2026-05-04"), ("R2", "2026-05-05"))) == {
        "R1": "Mon 4 May",
        "R2": "Tue 5 May",
    }
    assert not ride_days.days_only(week(("R1", "2026-05-04"), ("R2", "2026-05-05T00:00:01")))
    assert not ride_days.days_only(week(("R1", "1970-01-01")))


@pytest.mark.parametrize(("first", "last", "said"), [
    ("2026-05-04", "2026-05-04", "4 May 2026"), ("2026-05-04", "2026-05-09", "4–9 May 2026"),
    ("2026-05-04", "2026-06-04", "4 May – 4 Jun 2026"), ("2025-05-04", "2026-05-04", "4 May 2025 – 4 May 2026"),
    ("2025-12-31", "2026-01-01", "31 Dec 2025 – 1 Jan 2026"),
])  # fmt: skip
def test_a_period_says_nothing_twice(first, last, said):
    assert ride_days.between_days(datetime.fromisoformat(first), datetime.fromisoformat(last)) == said
    assert ride_days.period(week(("R1", last), ("R2", first))) == said
    assert ride_days.period(week(("R1", "1970-01-01"))) == ""


# --- the time of a film -----------------------------------------------------------------------------------------------
def runner(*seconds, piece=None):
    s = np.array(seconds, float)
    return Runner("a", s, np.column_stack([s, 2 * s]), True, "", "", np.array(piece or [0] * len(s)))


def test_where_a_runner_is_and_what_it_has_ridden():
    """On the line y = 2x, one metre east a second, from the tenth second to the thirtieth."""
    one = runner(10.0, 20.0, 30.0)
    assert one.at(9.9) is None
    assert one.ways(9.9) == []
    ridden_so_far = {t: [way.tolist() for way in one.ways(t)] for t in (10.0, 20.0, 25.0, 30.0, 99.0)}
    whole = [[10, 20], [20, 40], [30, 60]]
    assert ridden_so_far == {
        10.0: [[[10, 20], [10, 20]]], 20.0: [[[10, 20], [20, 40], [20, 40]]], 25.0: [[[10, 20], [20, 40], [25, 50]]],
        30.0: [whole], 99.0: [whole],
    }  # fmt: skip


def test_no_way_is_drawn_over_a_gap():
    """A break between the second and the third of four fixes."""
    one = runner(10.0, 20.0, 40.0, 50.0, piece=[0, 0, 1, 1])
    first = [[10, 20], [20, 40]]
    for s, ways in (
        (15.0, [[[10, 20], [15, 30]]]), (20.0, [first]), (30.0, [first]), (40.0, [first, [[40, 80], [40, 80]]]),
        (45.0, [first, [[40, 80], [45, 90]]]), (60.0, [first, [[40, 80], [50, 100]]]),
    ):  # fmt: skip
        assert [way.tolist() for way in one.ways(s)] == ways


@pytest.mark.parametrize(("firsts", "slow_s"), [
    ([20.0, 60.0], 69.0), ([20.0, 150.0], 172.5), ([20.0, 151.0], 23.0),  # of 600 s a quarter is 150
    ([5.0], 10.0),  # a sixtieth of the ride at least
    ([200.0], 10.0),
])  # fmt: skip
def test_the_slow_part_reaches_a_little_beyond_the_last_first_fix(firsts, slow_s):
    found = moments([runner(first, 300.0, 600.0) for first in firsts] + [runner(599.0, 599.5)] * 1)
    assert (found.ride_s, found.slow_s) == (600.0, pytest.approx(slow_s))


def test_the_start_never_runs_faster_than_the_rest():
    """Even speed is 6 of 13.5 s of film; of 20 s of ride 8.89 s, and 1.15 times five seconds are under it, eight over it."""
    assert moments([runner(5.0, 20.0)]).slow_s == pytest.approx(5.75)
    late = moments([runner(4.999, 20.0), runner(0.0, 10.0)])
    assert late.slow_s == pytest.approx(5.749, abs=1e-3)
    even = Moments(20.0, 20.0 * 6 / 13.5)
    assert even.speed(1.0) == pytest.approx(even.speed(10.0))
    assert moments([runner(0.0, 20.0)]).slow_s == pytest.approx(20.0 / 60.0)


def test_how_fast_the_film_runs():
    film = Moments(900.0, 60.0)
    assert (film.speed(0.0), film.speed(START_S - 0.01)) == (10.0, 10.0)
    assert film.speed(START_S) == film.speed(13.0) == pytest.approx(840.0 / 7.5)
    assert [film.of(s) for s in (1.0, START_S, 9.75, 13.5, FILM_S)] == pytest.approx([10.0, 60.0, 480.0, 900.0, 900.0])


def test_beginnings_of_one_ride_are_counted_from_the_first():
    """Two recordings of which one was started 20 s before its first fix, one 5 s later; one has no times."""
    places = np.zeros((3, 2))
    one, two = trace_on(places, start_s=20.0), trace_on(places, start_s=40.0, interval_s=2.0)
    none = trace_on(places, time=np.full(3, np.datetime64("NaT", "ms")))
    results = [
        SimpleNamespace(first_fix=FirstFix("log", started=one.time[0] - np.timedelta64(20, "s"))),
        SimpleNamespace(first_fix=FirstFix("none")), SimpleNamespace(first_fix=FirstFix("none")),
    ]  # fmt: skip
    first, second, third = beginnings_s([one, two, none], results)
    assert (first.tolist(), second.tolist(), third) == ([20, 21, 22], [40, 42, 44], None)
    turned = beginnings_s([none, two, one], [results[2], results[1], results[0]])
    assert (turned[1].tolist(), turned[2].tolist()) == ([40, 42, 44], [20, 21, 22]), "whichever of them is named first"
    # clocks more than half an hour apart are off: each counts from its own beginning
    for apart_s, begun in ((1800.0, [1800, 1801, 1802]), (1800.1, [0, 1, 2])):
        late = beginnings_s([trace_on(places), trace_on(places, start_s=apart_s)], results[1:])
        assert late[1] == pytest.approx(begun)
    assert beginnings_s([none], results[2:]) == [None]


# --- over a picture ---------------------------------------------------------------------------------------------------
def ridden(day, *, device="a", ride="", early_m=NAN, pieces=1, **fix):
    pieces_m = (np.zeros((2, 2)),) * pieces
    return Ridden(
        device, ride or day, day, FirstFix("log", **fix), pieces_m, np.zeros((1, 2)), 0.0, np.empty((0, 2)), early_m
    )


def left(day, flag="", suggestion="route choice"):
    return LeftRoad(day, ("a",), suggestion, flag, 50.0, "left", 0.0, ())


def picture(*rides, never=(), off=(), looks=("a",), drawn=None):
    return Overlay(
        "x",
        "out",
        None,
        dict.fromkeys(looks),
        tuple(rides),
        tuple(never),
        tuple(off),
        rides if drawn is None else drawn,
    )


def plain(text):
    return text.replace(wording.GAP, " ")


SOON, LATE = {"seconds": 12.0}, {"seconds": 70.0}


@pytest.mark.parametrize(("overlay", "said"), [
    (picture(ridden("Mon", **SOON), ridden("Tue", **LATE)), "Route out: fixed within 30 s on 1 of 2 rides"),
    (picture(ridden("Mon", **SOON), never=[ridden("Wed", censored=True)], looks=("a", "b")),
     "Route out: fixed within 30 s on 1 of 2 recordings"),
    (picture(ridden("Mon")), "Route out: start unknown"),
    (picture(ridden("Mon"), ridden("Tue")), "Route out: 2 recordings; when they were started is unknown"),
    (picture(ridden("Mon", missed_m=80.0), ridden("Tue", missed_m=120.0), ridden("Wed")),
     "Route out: 100 m of road lost before the first fix (median)"),
    (picture(ridden("Mon", missed_m=80.0, missed_is_minimum=True), ridden("Tue", missed_m=120.0)),
     "Route out: at least 100 m of road lost before the first fix (median)"),
    (picture(ridden("Mon", missed_m=80.0), ridden("Tue", missed_m=90.0), ridden("Wed", missed_m=99.0, missed_is_minimum=True)),
     "Route out: 90 m of road lost before the first fix (median)"),
    (picture(ridden("Mon", missed_m=0.04)), "Route out: no road is known to be lost before the first fix (median)"),
    (picture(ridden("Mon", missed_m=0.06)), "Route out: 0.1 m of road lost before the first fix (median)"),
    (picture(ridden("Mon", **SOON), off=[left("Mon")]),
     "Route out: fixed within 30 s on the only ride; Mon left the usual road"),
    (picture(ridden("Mon", **SOON), ridden("Tue", **SOON), off=[left("Tue"), left("Mon"), left("Mon")]),
     "Route out: fixed within 30 s on 2 of 2 rides; Mon and Tue left the usual road"),
    (picture(*(ridden(d, **SOON) for d in ("Mon", "Tue", "Wed")), off=[left(d) for d in ("Mon", "Tue", "Wed")]),
     "Route out: fixed within 30 s on 3 of 3 rides; 3 rides left the usual road"),
    (picture(ridden("Mon", **SOON), off=[left("Mon", "error")]), "Route out: fixed within 30 s on the only ride"),
    (picture(ridden("Mon", **SOON), off=[left("Mon", "", "receiver error")]), "Route out: fixed within 30 s on the only ride"),
    (picture(ridden("Mon", **SOON), off=[left("Mon", "intentional", "receiver error")]),
     "Route out: fixed within 30 s on the only ride; Mon left the usual road"),
    (picture(ridden("Mon", **SOON), off=[left("Fri")]), "Route out: fixed within 30 s on the only ride"),
])  # fmt: skip
def test_the_finding_of_a_picture(overlay, said):
    assert plain(titles.finding(overlay)) == said


def test_how_many_of_each_device_were_fixed_soon():
    overlay = picture(
        ridden("Mon", **SOON), ridden("Tue", **LATE), ridden("Mon", device="b"), never=[ridden("Wed", censored=True)],
        looks=("a", "b"),
    )  # fmt: skip
    assert titles.device_counts(overlay) == {"a": "a: 1 of 3", "b": "b: start unknown"}


KEY = ". Dotted: ridden before it, not recorded. Pale: centreline and usual spread."
ESTIMATE = {"estimate_s": 20.0, "estimate_low_s": 10.0, "estimate_high_s": 30.0}


@pytest.mark.parametrize(("fixes", "said"), [
    ([SOON], "seconds since the start"), ([{"at_least_s": 40.0}], "seconds since the start"),
    ([{}], "metres missed; no start is known, so no seconds"),
    ([SOON, {}], "seconds since the start (metres missed, where no start is known)"),
    ([SOON, ESTIMATE], "seconds since the start (≈: worked out, as no start is recorded)"),
    ([SOON | ESTIMATE], "seconds since the start"), ([{"at_least_s": 40.0} | ESTIMATE], "seconds since the start"),
    ([ESTIMATE, {}],
     "seconds since the start (≈: worked out, as no start is recorded) (metres missed, where no start is known)"),
])  # fmt: skip
def test_the_key_says_what_the_flags_say(fixes, said):
    assert titles.key(picture(*(ridden("Mon", **fix) for fix in fixes))) == f"Flag: first fix, {said}{KEY}"


def test_what_a_picture_leaves_out():
    def asides(*rides, unlabelled=(), **more):
        return [plain(text) for text in titles.asides(picture(*rides, **more), unlabelled)]

    five = [ridden(day, pieces=0) for day in ("Mon", "Mon", "Tue", "Wed", "Thu")]
    assert asides(ridden("Mon")) == []
    assert asides(ridden("Mon"), never=five) == ["never fixed: Mon, Tue, Wed, Thu"]
    assert asides(ridden("Mon"), never=[*five, ridden("Fri", pieces=0)]) == ["never fixed: Mon, Tue, Wed, Thu and more"]
    assert asides(ridden("Mon"), ridden("Tue", early_m=219.0)) == ["Tue ended 219 m early"]
    assert asides(ridden("Mon", early_m=1219.0), ridden("Tue", early_m=219.0)) == [
        "2 recordings ended up to 1.22 km early"
    ]
    assert asides(ridden("Mon"), ridden("Tue"), never=[ridden("Wed")], drawn=(1,)) == [
        "never fixed: Wed", "1 of 3 recordings drawn",
    ]  # fmt: skip
    assert asides(
        ridden("Mon"), unlabelled=[ridden("Tue", missed_m=80.0), ridden("Wed", missed_m=90.0), ridden("Thu")]
    ) == ["3 more fixed within 90 m of the start"]
    assert asides(ridden("Mon"), unlabelled=[ridden("Tue")]) == ["1 more fixed, without a flag"]

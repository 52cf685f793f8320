"""One route from its traces to figures, on rides along a straight road whose offsets are laid out by hand."""

from __future__ import annotations

import dataclasses
from functools import cache

import numpy as np
import pytest
from by_hand import by_hand
from trace_maker import HARBOUR, trace_on

from gpsq.geometry.alignment import Abreast
from gpsq.measures import route as of_route
from gpsq.measures.route import Measured, Member, analyse_route, length_m, line_of, named_as_recorded
from gpsq.model import FirstFix, Flag, Route, SetAside
from gpsq.rides.opposite import Tail
from gpsq.settings import Settings

SETTINGS = Settings().with_values(step_m=10.0, resamples=100)
NAN = float("nan")


def ride(left_m, day, first_m=0.0, last_m=2000.0, **changes):
    """Return a ride east with a fix each 10 m and 2 s, so far to the left of the road: one number, or one for each fix."""
    x = np.arange(first_m, last_m + 1.0, 10.0)
    left = left_m(x) if callable(left_m) else np.full(len(x), left_m)
    return trace_on(np.column_stack([x, left]), day=day, interval_s=2.0, **changes)


def members(traces, rides=None, copies=()):
    return [
        Member(k, trace, rides[k] if rides else f"R{k}", "another" if k in copies else "")
        for k, trace in enumerate(traces)
    ]


def route_of(traces):
    places = tuple(HARBOUR.to_metres(t.lon_deg, t.lat_deg) for t in traces)
    return Route("A", HARBOUR, tuple(range(len(traces))), places)


def analysed(traces, flags=(), settings=SETTINGS, **how):
    return analyse_route(route_of(traces), members(traces, **how), flags, settings)


@cache
def four():
    """Return what is measured of rides 0, 0, 0 and 6 m to the left."""
    return analysed([ride(y, day) for day, y in enumerate((0.0, 0.0, 0.0, 6.0))])


def test_each_is_measured_against_the_line_of_the_others():
    """Of the one 6 m to the left the others are the road itself; for the others it is one of three that are drawn in."""
    result, measured = four()
    assert (result.reason, result.rides, result.apart) == ("", ("R0", "R1", "R2", "R3"), ())
    errors = [m.crosstrack for m in measured]
    assert errors[3].bias_m == pytest.approx(6.0, abs=0.01)
    assert errors[3].rms_m == pytest.approx(6.0, abs=0.01)
    assert all(-2.5 < e.bias_m < -0.3 for e in errors[:3])
    assert [m.number for m in measured] == [0, 1, 2, 3]
    assert [m.reason for m in measured] == [""] * 4
    assert [m.curves.hausdorff_m for m in measured][3] == pytest.approx(6.0, abs=0.5)
    assert [m.last_m for m in measured] == pytest.approx([2000.0] * 4, abs=11.0)
    assert np.isnan([m.ended_early_m for m in measured]).all()
    assert [m.first_fix.settle_s for m in measured] == pytest.approx([0.0] * 4)
    assert [m.deviations for m in measured] == [()] * 4


def test_the_first_fix_is_placed_on_the_line():
    _, measured = analysed([*(ride(0.0, day) for day in range(3)), ride(0.0, 3, first_m=300.0)])
    assert [m.first_fix.station_m for m in measured] == pytest.approx([0.0, 0.0, 0.0, 300.0], abs=11.0)


def test_one_that_stopped_is_told_by_how_much():
    _, measured = analysed([*(ride(0.0, day) for day in range(3)), ride(0.0, 3, last_m=1400.0)])
    assert [m.ended_early_m for m in measured] == pytest.approx([NAN, NAN, NAN, 600.0], abs=11.0, nan_ok=True)
    assert measured[3].last_m == pytest.approx(1400.0, abs=11.0)


def test_a_copy_is_not_scored_and_does_not_draw_the_line():
    traces = [ride(0.0, 0), ride(0.0, 1), ride(0.0, 2), ride(30.0, 3)]
    result, measured = analysed(traces, copies=(3,))
    assert np.abs(HARBOUR.to_metres(*result.route.plane.to_degrees(result.centreline.xy_m))[:, 1]).max() < 0.1
    assert measured[3].reason == "the same recording as another"
    assert measured[3].crosstrack is None
    assert measured[3].last_m == pytest.approx(2000.0, abs=11.0)
    assert [m.crosstrack.rms_m for m in measured[:3]] == pytest.approx([0.0] * 3, abs=0.05)


@pytest.mark.parametrize(
    ("rides", "why"),
    [
        (["R1"], "the only recording on its road: nothing to compare it with"),
        (["R1", "R1"], "only 1 ride on this route: cross-track error needs 3"),
        (["R1", "R2"], "only 2 rides on this route: cross-track error needs 3"),
        (["R1", "R2", "R3"], ""),
        (["R1", "R2", "R2", "R1"], "only 2 rides on this route: cross-track error needs 3"),
    ],
)
def test_why_nothing_is_scored(rides, why):
    result, measured = analysed([ride(0.0, day) for day in range(len(rides))], rides=rides)
    assert result.reason == why
    assert [m.reason for m in measured] == [why] * len(rides)
    assert [m.crosstrack is None for m in measured] == [bool(why)] * len(rides)
    assert [np.isfinite(m.last_m) for m in measured] == [len(rides) > 1] * len(rides)


def flag(trace, first, last, decision):
    return Flag(trace.sha256, 1, trace.time[first], trace.time[last], first, last, decision, "")


def test_a_stretch_that_was_meant_is_not_scored_and_leaves_the_line():
    """From fix 100 to 140 one rode 40 m to the left, meant to: there nothing of it is scored, elsewhere all is."""
    aside = ride(lambda x: np.where((x >= 1000.0) & (x <= 1400.0), 40.0, 0.0), 3)
    traces = [ride(0.0, day) for day in range(3)] + [aside]
    result, measured = analysed(traces, (flag(aside, 98, 142, "intentional"),))
    found = measured[3].crosstrack
    at_m = found.along_m[found.scored]
    assert not ((at_m > 985.0) & (at_m < 1415.0)).any()
    assert found.scored.sum() == pytest.approx(200 - 44, abs=6)
    assert np.abs(found.offset_m[found.scored]).max() < 1.0
    assert np.abs(HARBOUR.to_metres(*result.route.plane.to_degrees(result.centreline.xy_m))[:, 1]).max() < 0.1


def test_what_is_taken_for_another_road_is_not_scored_and_what_is_an_error_is():
    """The same ride, 80 m aside by itself, undecided or decided: what counts as a choice of road is left out."""
    aside = ride(lambda x: np.interp(x, [950.0, 1000.0, 1400.0, 1450.0], [0.0, 80.0, 80.0, 0.0]), 3)
    traces = [ride(0.0, day) for day in range(3)] + [aside]
    shares = {}
    for decision in ("", "intentional", "error"):
        decided = (flag(aside, 90, 150, decision),) if decision else ()
        found = analysed(traces, decided)[1][3]
        at_m = found.crosstrack.along_m[found.crosstrack.scored]
        shares[decision] = ((at_m > 1000.0) & (at_m < 1400.0)).sum()
    assert shares["intentional"] == 0
    assert shares["error"] >= 38
    (lone,) = analysed(traces)[1][3].deviations
    assert shares[""] == (0 if lone.counts_as == "route choice" else shares["error"])


def test_a_recording_without_any_other_beside_it_is_said(monkeypatch):
    """Where the line of the others is known nowhere along it, nothing of it is scored."""
    right = of_route.cross_track.offsets
    monkeypatch.setattr(
        of_route.cross_track, "offsets",
        lambda place, line: np.full(len(line.along_m), NAN) if line.left_out == "R3" else right(place, line),
    )  # fmt: skip
    measured = analysed([ride(0.0, day) for day in range(4)])[1]
    assert [m.reason for m in measured] == ["", "", "", "it shares no stretch with the other rides"]
    assert measured[3].crosstrack is None


def test_a_route_over_three_thousand_kilometres_is_not_measured():
    """30,000 stations at 100 m: what is longer gets no line, and the first fix is told all the same."""
    x = np.arange(0.0, 3_010_000.0, 500.0)
    traces = [trace_on(np.column_stack([x, np.zeros(len(x))]), day=day, interval_s=20.0) for day in range(3)]
    result, measured = analysed(traces, settings=SETTINGS)
    assert (result.centreline, result.reason) == (None, "it leads over 3,000 km, which no ride does")
    assert [m.reason for m in measured] == [result.reason] * 3
    assert np.isnan([(m.last_m, m.ended_early_m) for m in measured]).all(), "without a line nobody stopped early on it"
    assert [m.number for m in measured] == [0, 1, 2]
    assert measured[2].first_fix.first_fix == traces[2].time[0]


def test_a_route_all_of_which_is_flagged_has_no_line():
    traces = [ride(0.0, day) for day in range(3)]
    result, measured = analysed(traces, tuple(flag(t, 0, 200, "intentional") for t in traces))
    assert (result.centreline, result.reason) == (None, "all its stretches are flagged or without length")
    assert [m.reason for m in measured] == [result.reason] * 3
    assert np.isnan([(m.last_m, m.ended_early_m) for m in measured]).all()


def test_how_long_a_fix_is_known_is_counted_from_the_first_one():
    trace = ride(0.0, 0, last_m=40.0)
    assert of_route._age_s(trace).tolist() == [0.0, 2.0, 4.0, 6.0, 8.0]

    def with_points(reason, first_point, point):
        aside = (SetAside(reason, 7, first_point),)
        return of_route._age_s(dataclasses.replace(trace, point=np.arange(5) + point, points=12, set_aside=aside))

    assert np.isinf(with_points("outside_passes", 0, 7)).all()  # cut out of a longer one: its first fix is none
    assert np.isfinite(with_points("outside_passes", 5, 0)).all()
    assert np.isfinite(with_points("no_fix", 0, 7)).all()
    untimed = dataclasses.replace(trace, time=np.full(5, np.datetime64("NaT", "ms")))
    assert np.isinf(of_route._age_s(untimed)).all()


def test_stations_are_scored_where_the_fixes_on_both_sides_count():
    vertex = np.array([0.0, 0.5, 1.0, 1.5, 2.0, 2.5, NAN, 4.0])
    place = Abreast(np.zeros((8, 2)), vertex, ~np.isnan(vertex))
    counts = np.array([True, True, False, True, True])
    found = of_route._stations_on(place, counts)
    assert found.tolist() == [True, True, True, False, False, False, False, True]


def test_stations_on_another_road_are_those_of_choices_from_first_to_last():
    choice, _, error = by_hand().deviations
    along = np.array([200.0, 203.0, 300.0, 515.0, 515.1, 621.0])
    assert (choice.counts_as, error.counts_as) == ("route choice", "receiver error")
    assert of_route._on_another_road([choice, error], along).tolist() == [False, True, True, True, False, False]
    assert not of_route._on_another_road([], along).any()
    # what a person decided counts, whatever was suggested
    decided = [dataclasses.replace(choice, flag="error"), dataclasses.replace(error, flag="intentional")]
    assert of_route._on_another_road(decided, along).tolist() == [False, False, False, True, True, True]


def test_the_recorded_length_leaves_out_silences():
    trace = ride(0.0, 0, last_m=100.0)
    xy = HARBOUR.to_metres(trace.lon_deg, trace.lat_deg)
    assert length_m(trace, xy, 60.0) == pytest.approx(100.0)
    late = dataclasses.replace(
        trace, time=trace.time + np.where(np.arange(11) >= 5, 600_000, 0).astype("timedelta64[ms]")
    )
    assert length_m(late, xy, 60.0) == pytest.approx(90.0)
    parts = dataclasses.replace(trace, segment=np.where(np.arange(11) >= 7, 1, 0))
    assert length_m(parts, xy, 60.0) == pytest.approx(90.0)


def test_the_line_without_a_ride_is_made_once(monkeypatch):
    asked, right = [], of_route.consensus_line.Consensus.without
    monkeypatch.setattr(
        of_route.consensus_line.Consensus, "without", lambda self, *rides: (asked.append(rides), right(self, *rides))[1]
    )
    analysed([ride(0.1 * day, day) for day in range(6)], rides=["R0", "R0", "R1", "R1", "R2", "R2"])
    assert asked == [("R0",), ("R1",), ("R2",)]


def test_deviations_keep_the_names_that_they_have_without_decisions():
    """A decision on one made another vanish, and none is lost: each goes back to the recording that it is of."""
    found = by_hand().deviations
    fix = FirstFix("none")
    recorded = [Measured(0, "", fix, deviations=found[:1]), Measured(1, "", fix, deviations=found[1:])]
    measured = [Measured(0, "", fix, deviations=found[:1]), Measured(1, "", fix, deviations=found[2:])]
    kept = named_as_recorded(measured, recorded)
    assert [[d.id for d in m.deviations] for m in kept] == [["d0a"], ["d1c"]]
    assert [[d.id for d in m.vanished] for m in kept] == [[], ["d1b"]]


def settling(first_m):
    """Return what is measured of a ride so far to the left for 30 s, then 12 m to the left and the right, 200 m each."""

    def left(x):
        return np.where(x < 150.0, first_m, np.where(x // 200.0 % 2 == 0, 12.0, -12.0))

    return analysed([*(ride(0.0, day) for day in range(3)), ride(left, 3)])[1][3]


def test_a_noisy_trace_settles_within_three_of_its_own_spreads():
    """Its median distance is 12 m, so its robust spread 17.8 m and three of them 53 m: wider than the band of others."""
    assert SETTINGS.settle_band_m < 45.0
    assert settling(48.0).first_fix.settle_s == pytest.approx(0.0)
    assert settling(58.0).first_fix.settle_s == pytest.approx(30.0, abs=2.1)


def test_what_lies_before_a_trace_is_settled_is_not_scored():
    found = settling(58.0).crosstrack
    assert found.before_settling_rms_m == pytest.approx(58.0, abs=3.0)
    assert found.rms_m < 13.0
    assert found.along_m[np.flatnonzero(found.scored)[0]] == pytest.approx(150.0, abs=3.0)


def test_the_end_of_the_opposite_way_leads_the_beginning():
    """All begin 12 m to the left and come to the road within 100 m; the rides back end on the road's other side."""

    def late(x):
        return 12.0 * np.exp(-x / 30.0)

    back = np.column_stack([np.arange(400.0, -1.0, -10.0), np.full(41, -4.0)])
    traces = [ride(late, day) for day in range(3)]
    tails = [Tail(back + np.array([0.0, 0.1 * k]), f"B{k}", "a") for k in range(3)]
    alone, _ = analyse_route(route_of(traces), members(traces), (), SETTINGS)
    led, _ = analyse_route(route_of(traces), members(traces), (), SETTINGS, tails)
    assert alone.centreline.xy_m[0, 1] > 8.0
    assert led.centreline.xy_m[0] == pytest.approx([0.0, 0.0], abs=3.0)
    assert np.abs(led.centreline.xy_m[30:, 1]).max() < 0.5


def test_the_line_of_a_route_may_be_asked_for_alone():
    traces = [ride(y, day) for day, y in enumerate((-2.0, 0.0, 2.0))]
    found = line_of(route_of(traces), members(traces), (), SETTINGS)
    assert np.abs(found.centreline.xy_m[:, 1]).max() < 0.5
    assert [s.ride for s in found.strands] == ["R0", "R1", "R2"]
    assert {s.device for s in found.strands} == {"a"}
    assert line_of(route_of(traces), members(traces, copies=(0, 1, 2)), (), SETTINGS) is None

"""Events and names: what leaves together has one name, and no decision changes a name that was shown."""

from __future__ import annotations

import dataclasses

import numpy as np
import pytest
from courses import COUNT, course
from hypothesis import given, settings
from hypothesis import strategies as st
from test_deviations import DETOUR, week
from trace_maker import road, shifted_left, smooth_noise, trace_on

from gpsq.campaign import flags
from gpsq.measures import deviations, events
from gpsq.model import Deviation
from gpsq.pipeline.stages import analyse_traces
from gpsq.settings import Settings


def deviation(name="a1", trace=0, from_point=0, to_point=9, event="E1", **changes):
    nat = np.datetime64("NaT", "ms")
    made = Deviation(
        name, trace, "A", float(from_point), float(to_point), nat, nat, from_point, to_point, 50.0, "left", 0.0,
        "cannot be told", "", event=event,
    )  # fmt: skip
    return dataclasses.replace(made, **changes)


def of(analysis):
    return {d.id: (analysis.traces[d.trace].file, d.event) for d in analysis.deviations}


# ---- events ----
def test_the_devices_of_a_ride_that_leave_together_are_one_event():
    found = analyse_traces(week(np.random.default_rng(1), detour_of={2}), Settings())
    assert len(found.deviations) == 3
    assert len({d.event for d in found.deviations}) == 1
    assert not {d.event for d in found.deviations} & {d.id for d in found.deviations}


def test_two_rides_and_two_places_are_events_of_their_own():
    found = analyse_traces(week(np.random.default_rng(2), detour_of={0, 3}), Settings())
    assert len({(found.results[d.trace].ride, d.event) for d in found.deviations}) == 2
    two = np.roll(DETOUR, 90) + np.roll(DETOUR, -110)
    rng = np.random.default_rng(3)
    traces = [
        trace_on(
            shifted_left(road(), smooth_noise(rng, 401, 2.0) + (two if day == 1 else 0.0)),
            device=device,
            day=day,
        )
        for day in range(5)
        for device in "ab"
    ]
    found = analyse_traces(traces, Settings())
    assert len(found.deviations) == 4
    assert len({d.event for d in found.deviations}) == 2


def test_a_fault_on_the_other_side_at_the_same_place_is_another_event():
    """A device that errs to the right while the others ride round a block to the left did not leave with them."""
    rng = np.random.default_rng(4)
    traces = [
        trace_on(
            shifted_left(
                road(), smooth_noise(rng, 401, 2.0) + (DETOUR * (-1 if device == "c" else 1) if day == 1 else 0)
            ),
            device=device,
            day=day,
        )
        for day in range(5)
        for device in "abc"
    ]
    found = analyse_traces(traces, Settings())
    event = {found.traces[d.trace].device: d.event for d in found.deviations}
    assert event["a"] == event["b"] != event["c"]


@pytest.mark.parametrize(("from_m", "one"), [(690.0, False), (560.0, True)])
def test_stretches_that_hardly_overlap_are_two_events(from_m, one):
    """Of 200 m each they share 10 or 140; where they meet, both devices run on one way."""
    both = [course(np.full(COUNT, 60.0), number) for number in (0, 1)]
    found = [
        deviation("a1", 0, from_m=500.0, to_m=700.0, peak_m=60.0),
        deviation("b2", 1, from_m=from_m, to_m=from_m + 200.0, peak_m=60.0),
    ]
    first, second = events.with_events(found, {"R01": both})
    assert (first.event == second.event) is one


@pytest.mark.parametrize(("other_m", "from_m", "one"), [
    (31.0, 500.0, True), (29.0, 500.0, False), (60.0, 600.0, True), (60.0, 601.0, False), (91.0, 500.0, True),
    (-60.0, 500.0, False),
])  # fmt: skip
def test_devices_leave_together_within_half_the_larger_peak_on_half_the_shorter_stretch(other_m, from_m, one):
    """One device 60 m off from 500 to 700 m; the other off by `other_m` from `from_m` on, for 200 m: of 60 m 30 may part them."""
    both = [course(np.full(COUNT, offset), number) for number, offset in enumerate((60.0, other_m))]
    found = [
        deviation("a1", 0, from_m=500.0, to_m=700.0, peak_m=60.0),
        deviation("b2", 1, from_m=from_m, to_m=from_m + 200.0, peak_m=abs(other_m)),
    ]
    for order in (found, found[::-1]):
        first, second = events.with_events(order, {"R01": both})
        assert (first.event == second.event) is one
    apart = events.with_events(found, {"R01": both[:1], "R02": both[1:]})
    assert apart[0].event != apart[1].event
    lone = [course(np.full(COUNT, 60.0), 0, covered=np.zeros(COUNT, bool)), both[1]]
    first, second = events.with_events(found, {"R01": lone})
    assert first.event != second.event  # where one of them is not known to run, nothing is said


# ---- names ----
@pytest.mark.parametrize("part_m", [250.0, 0.5])
def test_one_flag_renames_no_other_in_any_order(part_m, monkeypatch):
    """Half of the rides on another road: each decision moves the line, and the ends of all that is found with it.

    Parts of half a metre would rename what moves by a fix, were names not those that hold without any decision.
    """
    monkeypatch.setattr(deviations, "PART_M", part_m)
    traces = week(np.random.default_rng(5), detour_of={1, 3}, wander_of={("b", 0)}, devices=("a", "b"))
    plain = analyse_traces(traces, Settings())
    assert len(plain.deviations) == 5
    kept: list = []
    for name in [d.id for d in plain.deviations]:
        now = analyse_traces(traces, Settings(), kept)
        assert of(now).items() <= of(plain).items()
        still = [d for r in now.results for d in (*r.deviations, *r.vanished)]
        assert {d.id for d in still} == {d.id for d in plain.deviations}
        chosen = events.chosen([name], still, {})[name]
        assert len(chosen) == 1
        kept = flags.decided(kept, chosen, traces, "intentional", "")
    now = analyse_traces(traces, Settings(), kept)
    assert of(now) == of(plain)
    assert all(d.flag == "intentional" for d in now.deviations)


def test_a_name_rests_on_the_recording_not_on_its_file_or_ride():
    traces = week(np.random.default_rng(6), detour_of={2})
    moved = [dataclasses.replace(t, file=f"other/{n}.gpx", device=t.device.upper()) for n, t in enumerate(traces)]
    assert set(of(analyse_traces(traces, Settings()))) == set(of(analyse_traces(moved, Settings())))


def test_a_deviation_hardly_ever_changes_its_name_when_rides_are_added():
    traces = week(np.random.default_rng(7), detour_of={1}, days=8)
    few, all_of = (analyse_traces(traces[:count], Settings()) for count in (15, 24))
    assert set(of(few)) <= set(of(all_of))


ends = st.tuples(st.integers(0, 3), st.integers(0, 400), st.integers(5, 60))


@settings(max_examples=60)
@given(st.lists(ends, max_size=6), st.lists(st.integers(-8, 8), min_size=12, max_size=12))
def test_moved_ends_keep_their_names_and_new_ones_take_none(before, moves):
    recorded = [
        deviation(f"n{k}", trace, 100 * (k + 1) + low, 100 * (k + 1) + low + long, f"E{k}")
        for k, (trace, low, long) in enumerate(before)
    ]
    found = [
        dataclasses.replace(d, id=f"m{k}", event=f"F{k}", from_point=d.from_point + moves[2 * k] // 4, flag="error")
        for k, d in enumerate(recorded)
    ]
    named, lost = events.named_as_recorded(found, recorded)
    assert len({d.id for d in (*named, *lost)}) == len(named) + len(lost) >= len(recorded)
    assert {d.id for d in recorded} <= {d.id for d in (*named, *lost)}
    assert all(d.flag == "error" for d in named)


def test_what_a_decision_made_vanish_is_kept_by_name_and_what_it_made_appear_gets_a_new_one():
    recorded = [deviation("a1", from_point=0, to_point=9), deviation("a2", from_point=50, to_point=70, event="E2")]
    found = [
        deviation("a2", from_point=1, to_point=8, event="F1"),
        deviation("a1", from_point=90, to_point=99, event="F1"),
    ]
    (same, new), (gone,) = events.named_as_recorded(found, recorded)
    assert (same.id, same.event, gone.id) == ("a1", "E1", "a2")
    assert new.id not in {"a1", "a2"}
    assert new.event == "E1"  # it leaves together with one that has an event already


def test_the_most_points_shared_decide_which_is_the_same():
    recorded = [deviation("a1", from_point=0, to_point=20), deviation("a2", from_point=30, to_point=90)]
    ((one,), lost) = events.named_as_recorded([deviation("x", from_point=10, to_point=90)], recorded)
    assert (one.id, [d.id for d in lost]) == ("a2", ["a1"])
    ((one,), lost) = events.named_as_recorded([deviation("x", from_point=10, to_point=90)], recorded[::-1])
    assert (one.id, [d.id for d in lost]) == ("a2", ["a1"])
    # one shared point is one, and the next is none
    for first, name in ((20, "a1"), (21, "x")):
        ((one,), _) = events.named_as_recorded([deviation("x", from_point=first, to_point=25)], recorded[:1])
        assert one.id == name
    ((other,), _) = events.named_as_recorded([deviation("x", trace=1, from_point=10, to_point=90)], recorded)
    assert other.id == "x"


# ---- what a name means ----
def test_a_name_means_a_deviation_an_event_or_a_ride():
    found = [deviation("a1", 0, event="E1"), deviation("b2", 1, event="E1"), deviation("c3", 2, event="E2")]
    ride_of = {0: "R01", 1: "R01", 2: "R02", 3: ""}
    found.append(deviation("d4", 3, event="E3"))
    meant = events.chosen(["b2", "E1", "R01", "R02", "R03", ""], found, ride_of)
    assert {name: [d.id for d in own] for name, own in meant.items()} == {
        "b2": ["b2"], "E1": ["a1", "b2"], "R01": ["a1", "b2"], "R02": ["c3"], "R03": [], "": [],
    }  # fmt: skip
    assert [d.id for d in events.each_once(meant)] == ["b2", "a1", "c3"]


def test_a_ride_that_is_called_like_a_deviation_does_not_take_its_name():
    found = [deviation("a1", 0), deviation("b2", 1)]
    assert [d.id for d in events.chosen(["a1"], found, {0: "b2", 1: "a1"})["a1"]] == ["a1"]


@pytest.mark.parametrize("names", [["x"], ["x", "y"], []])
def test_an_unknown_name_is_refused_in_one_line(names):
    from output_sample import sample

    from gpsq.exceptions import InputError
    from gpsq.output.report.cards import meant

    with pytest.raises(InputError) as refused:
        meant(sample(), names)
    assert str(refused.value).startswith("gpsq flag: found ")
    assert "\n" not in str(refused.value)
    assert all(name in str(refused.value) for name in names)


def test_a_name_holds_where_a_decision_moves_the_ends(monkeypatch):
    """Two rides leave by a slow ramp and pull the line a little; once one is flagged, the other's ends are found elsewhere."""
    monkeypatch.setattr(deviations, "PART_M", 0.5)  # so that a fix more or less would be another name
    at, rng = np.arange(401), np.random.default_rng(8)
    ramp = 120.0 * np.clip(np.minimum(at - 80, 320 - at) / 90.0, 0.0, 1.0)
    traces = [
        trace_on(shifted_left(road(), smooth_noise(rng, 401, 2.0) + (ramp if day in (1, 4) else 0.0)), day=day)
        for day in range(6)
    ]
    plain = analyse_traces(traces, Settings())
    first, other = plain.deviations
    kept = flags.decided((), [first], traces, "intentional", "")
    now = {d.trace: d for d in analyse_traces(traces, Settings(), kept).deviations}
    moved = now[other.trace]
    assert (moved.from_point, moved.to_point) != (other.from_point, other.to_point)
    assert (moved.id, moved.event) == (other.id, other.event)

"""Deviations: where, how far, and what speaks for what; and the person's flags on them."""

from __future__ import annotations

import dataclasses

import numpy as np
import pytest
from courses import ALONG_M, COUNT, HIGH, LOW, course, plateau
from hypothesis import given
from hypothesis import strategies as st
from trace_maker import road, shifted_left, smooth_noise, trace_on

from gpsq.campaign import flags
from gpsq.exceptions import CampaignError
from gpsq.measures import deviations, evidence
from gpsq.model import NAT, Centreline, Flag
from gpsq.pipeline.stages import analyse_traces
from gpsq.settings import Settings

DETOUR = 120.0 * np.clip(np.minimum(np.arange(401) - 150, 250 - np.arange(401)) / 10.0, 0, 1)


def week(rng, detour_of=(), wander_of=(), devices=("a", "b", "c"), days=5):
    """Return traces of a week; `detour_of` days ride round a block, `wander_of` (device, day) traces alone go astray."""
    traces = []
    for day in range(days):
        for device in devices:
            offset = smooth_noise(rng, 401, 2.0)
            if day in detour_of or (device, day) in wander_of:
                offset = offset + DETOUR
            traces.append(trace_on(shifted_left(road(), offset), device=device, day=day, start_s=day * 60.0))
    return traces


def test_a_detour_that_all_devices_share_is_a_route_choice():
    found = analyse_traces(week(np.random.default_rng(1), detour_of={2}), Settings())
    assert {found.traces[d.trace].file for d in found.deviations} == {f"{device}/day2.gpx" for device in "abc"}
    for d in found.deviations:
        assert d.suggestion == "route choice"
        assert d.side == "left"
        assert d.peak_m == pytest.approx(120.0, abs=12)
        overlap = min(d.to_m, 1250.0) - max(d.from_m, 750.0)
        assert overlap > 0.8 * 500
        assert d.from_time < d.to_time
        assert "2 of 2 other devices" in d.evidence


def test_a_device_alone_with_its_excursion_is_a_receiver_error():
    found = analyse_traces(week(np.random.default_rng(2), wander_of={("b", 3)}), Settings())
    assert [(found.traces[d.trace].file, d.suggestion) for d in found.deviations] == [("b/day3.gpx", "receiver error")]


def test_a_quiet_week_has_no_deviations():
    assert analyse_traces(week(np.random.default_rng(3)), Settings()).deviations == ()


def test_a_decision_changes_the_errors_of_that_trace_by_its_own_stretch_only():
    """What looks like a choice of road is out before a decision as after it; called an error, it is in."""
    traces = week(np.random.default_rng(4), detour_of={1})
    before = analyse_traces(traces, Settings())
    d = before.deviations[0]
    meant, fault = (
        analyse_traces(traces, Settings(), flags.decided((), [d], traces, flag, "closed"))
        for flag in ("intentional", "error")
    )
    was, now, charged = (found.results[d.trace].crosstrack for found in (before, meant, fault))
    assert now.rms_m == pytest.approx(was.rms_m, abs=0.3)
    assert was.rms_m < 4.0 < 20.0 < charged.rms_m
    assert 0 < charged.scored_m - now.scored_m < d.to_m - d.from_m + 60
    for after, flag in ((meant, "intentional"), (fault, "error")):
        for i, (one, other) in enumerate(zip(before.results, after.results, strict=True)):
            if i != d.trace:
                assert other.crosstrack.rms_m == pytest.approx(one.crosstrack.rms_m, rel=0.05, abs=0.15)
        marked = [x for x in after.deviations if x.trace == d.trace]
        assert [(x.id, x.flag, x.note) for x in marked] == [(d.id, flag, "closed")]


def test_an_error_flag_leaves_the_errors_as_they_are():
    traces = week(np.random.default_rng(5), wander_of={("b", 3)})
    before = analyse_traces(traces, Settings())
    d = before.deviations[0]
    after = analyse_traces(traces, Settings(), tuple(flags.decided((), [d], traces, "error", "")))
    assert after.results[d.trace].crosstrack.scored_m == pytest.approx(
        before.results[d.trace].crosstrack.scored_m, rel=1e-3
    )
    assert after.deviations[0].flag == "error"


def test_a_decision_can_be_taken_back():
    traces = week(np.random.default_rng(6), detour_of={1})
    d = analyse_traces(traces, Settings()).deviations[0]
    kept = flags.decided((), [d], traces, "intentional", "")
    assert flags.decided(kept, [d], traces, "clear", "") == []


times = st.integers(0, 10**12).map(lambda ms: np.datetime64(ms, "ms")) | st.just(NAT)
words = st.text(st.characters(exclude_categories=("Cs", "Cc")), max_size=30)


@given(st.lists(st.tuples(times, times, st.integers(0, 999), st.sampled_from(flags.FLAGS), words, words), max_size=6))
def test_flags_survive_writing_and_reading(tmp_path_factory, rows):
    folder = tmp_path_factory.mktemp("flags")
    written = [
        Flag("ab" * 32, 1, low, high, point, point + 5, flag, note, file) for low, high, point, flag, note, file in rows
    ]
    flags.save(folder, written)
    read, problems = flags.load(folder)
    assert problems == ()
    assert sorted(map(repr, read)) == sorted(map(repr, written))


def test_a_bad_row_is_named_and_the_rest_is_used(tmp_path):
    good = Flag("ab" * 32, 1, NAT, NAT, 3, 9, "error")
    flags.save(tmp_path, [good])
    with (tmp_path / "flags.csv").open("a", encoding="utf-8") as file:
        file.write("cd,1,,,1,2,perhaps,,\n")
    read, problems = flags.load(tmp_path)
    assert len(read) == 1
    assert problems == (
        "flags.csv line 3: found flag 'perhaps', which is none of intentional, error; expected one flag as gpsq writes it",
    )
    with pytest.raises(CampaignError):
        flags.change(tmp_path, lambda kept: kept)


def test_no_flags_file_means_no_flags(tmp_path):
    assert flags.load(tmp_path) == ((), ())


# ---- how far off is a deviation ----
def bulge(height_m, low=150, high=250):
    """Return (401,) an offset of that height from one fix to another, with ramps of 50 m."""
    at = np.arange(401)
    return height_m * np.clip(np.minimum(at - low, high - at) / 10.0, 0.0, 1.0)


def rides(offsets, sigma_m=2.0, seed=0):
    """Return a trace for each (device, day, offset), with a quiet receiver's noise."""
    rng = np.random.default_rng(seed)
    return [
        trace_on(shifted_left(road(), smooth_noise(rng, 401, sigma_m) + offset), device=device, day=day)
        for device, day, offset in offsets
    ]


def files(found):
    return sorted(found.traces[d.trace].file for d in found.deviations)


@pytest.mark.parametrize("height_m", [8.0, 12.0])
def test_all_devices_of_a_ride_off_by_little_are_no_route_choice(height_m):
    """What all receivers of a ride have in common, and the error of the line itself, look like agreement."""
    traces = rides([(d, day, bulge(height_m) if day == 2 else 0.0) for day in range(5) for d in "abc"])
    assert analyse_traces(traces, Settings()).deviations == ()


def test_a_lone_recording_off_for_half_of_its_way_is_found():
    """It is the only one of its device: its own spread would be 80 m, and a band made of that would hide all of it."""
    traces = rides([("a", day, 0.0) for day in range(4)] + [("lone", 5, bulge(55.0, 100, 330))])
    found = analyse_traces(traces, Settings())
    assert files(found) == ["lone/day5.gpx"]
    assert found.deviations[0].to_m - found.deviations[0].from_m > 1000.0


def test_a_device_off_for_half_of_its_way_on_two_days_of_nine_is_found_on_both():
    traces = rides([("a", day, bulge(55.0, 100, 330) if day in (1, 3) else 0.0) for day in range(9)])
    assert files(analyse_traces(traces, Settings())) == ["a/day1.gpx", "a/day3.gpx"]


def test_beside_two_rides_that_disagree_nobody_is_off():
    """Of three rides one went round a block: the other two are judged beside it and one more, and that is no ground."""
    traces = rides([("a", day, DETOUR if day == 1 else 0.0) for day in range(3)])
    assert files(analyse_traces(traces, Settings())) == ["a/day1.gpx"]


def test_where_everybody_is_rough_a_place_is_rough_and_a_detour_is_still_found():
    rng = np.random.default_rng(11)
    street = np.where((np.arange(401) > 60) & (np.arange(401) < 140), 4.0, 1.0)
    traces = [
        trace_on(
            shifted_left(road(), smooth_noise(rng, 401, 4.0, 0.9) * street + (DETOUR if day == 2 else 0.0)), day=day
        )
        for day in range(7)
    ]
    assert files(analyse_traces(traces, Settings())) == ["a/day2.gpx"]


def test_a_rough_device_is_found_with_its_ride_though_its_own_band_is_wider():
    """A receiver of 12 m spread may be off by 48 m; beside two good ones that all left by 40 m it did too."""
    offsets = [(d, day, bulge(40.0) if day == 2 else 0.0) for day in range(6) for d in "abc"]
    rng = np.random.default_rng(12)
    traces = [
        trace_on(
            shifted_left(road(), smooth_noise(rng, 401, 12.0 if device == "c" else 2.0) + offset),
            device=device,
            day=day,
        )
        for device, day, offset in offsets
    ]
    found = analyse_traces(traces, Settings())
    assert files(found) == ["a/day2.gpx", "b/day2.gpx", "c/day2.gpx"]
    assert {d.suggestion for d in found.deviations} == {"route choice"}
    alone = analyse_traces([t for t in traces if t.device == "c"], Settings())
    assert alone.deviations == ()


@pytest.mark.parametrize(("begins", "count"), [(183, 1), (193, 2)])
def test_near_stretches_are_one(begins, count):
    """Back at half the band, 15 m, a fix and a half before the ramp's end: 30 m apart they are one, 80 m apart two."""
    offset = bulge(100.0, 100, 180) + bulge(100.0, begins, begins + 80)
    traces = rides([("a", day, offset if day == 1 else 0.0) for day in range(5)], sigma_m=1.0)
    found = analyse_traces(traces, Settings())
    assert len(found.deviations) == count


def test_a_way_round_a_corner_lies_on_the_side_it_lies_on():
    """The nearest part of the line may lie behind the corner, where its left is another: the way as a whole tells.

    The road runs 600 m east, then 600 m north; one ride cuts the corner by a way up to 140 m to the left.
    """
    legs = [np.column_stack([np.arange(0.0, 600.0, 5.0), np.zeros(120)])]
    legs.append(np.column_stack([np.full(121, 600.0), np.arange(0.0, 605.0, 5.0)]))
    cut = np.linspace([400.0, 0.0], [600.0, 200.0], 60)[1:-1]
    rng = np.random.default_rng(13)
    line = np.vstack(legs)
    short = np.vstack([line[line[:, 0] <= 400.0], cut, line[line[:, 1] >= 200.0]])
    traces = [
        trace_on(way + np.column_stack([smooth_noise(rng, len(way), 1.5)] * 2), day=day)
        for day in range(5)
        for way in [short if day == 3 else line]
    ]
    (found,) = analyse_traces(traces, Settings()).deviations
    assert found.side == "left"
    # two sides of 200 m against their hypotenuse: 400 − 283
    assert found.extra_m == pytest.approx(-117.0, abs=25)
    mirrored = [t * [1.0, -1.0] for t in (line, short)]
    traces = [
        trace_on(mirrored[day == 3] + np.column_stack([smooth_noise(rng, len(mirrored[day == 3]), 1.5)] * 2), day=day)
        for day in range(5)
    ]
    (found,) = analyse_traces(traces, Settings()).deviations
    assert found.side == "right"


def test_a_lone_device_is_judged_by_its_other_rides():
    """One detour: cannot be told. The same detour twice: a choice. A fault that jumps: the receiver."""
    jump = np.where((np.arange(401) > 300) & (np.arange(401) < 340), 150.0, 0.0)
    once = analyse_traces(rides([("a", d, DETOUR if d == 1 else 0.0) for d in range(6)]), Settings())
    twice = analyse_traces(rides([("a", d, DETOUR if d in (1, 4) else 0.0) for d in range(6)]), Settings())
    fault = analyse_traces(rides([("a", d, jump if d == 2 else 0.0) for d in range(6)]), Settings())
    assert [d.suggestion for d in once.deviations] == ["cannot be told"]
    assert [d.suggestion for d in twice.deviations] == ["route choice"] * 2
    assert [d.suggestion for d in fault.deviations] == ["receiver error"]
    assert len({d.event for d in twice.deviations}) == 2


def test_ways_that_are_flagged_lead_the_line_nowhere():
    """Seven of fifteen recordings went round a block and are flagged: the line is the road of the other eight."""
    traces = week(np.random.default_rng(5), detour_of={1, 3}, wander_of={("b", 0)})
    found = analyse_traces(traces, Settings()).deviations
    assert len(found) == 7
    decided = analyse_traces(traces, Settings(), flags.decided((), found, traces, "intentional", ""))
    assert decided.routes[0].centreline.length_m == pytest.approx(2000.0, abs=10)
    assert len(decided.deviations) == 7


def test_what_one_device_shows_is_not_charged_to_the_other_on_its_ride():
    """The middle of two devices, one 80 m off and one on the line, is 40 m off: beyond the band, and nobody's way."""
    traces = rides([(d, day, bulge(80.0) if (d, day) == ("a", 2) else 0.0) for day in range(6) for d in "ab"])
    assert files(analyse_traces(traces, Settings())) == ["a/day2.gpx"]


def test_far_out_the_way_as_a_whole_tells_the_side():
    """An excursion to the left whose nearest part of the line lies round a corner, so that its offset says right."""
    found = course(plateau(90.0))
    away = dataclasses.replace(found.place, matched=np.zeros(COUNT, bool))
    turned = dataclasses.replace(found, offset_m=-found.offset_m, place=away)
    xy = np.column_stack([ALONG_M, np.zeros(COUNT)])
    ones, nothing = np.ones(COUNT, dtype=np.int64), np.full(COUNT, np.nan)
    line = Centreline(xy, ALONG_M.copy(), ones, ones.copy(), nothing, nothing.copy())
    peak = int(np.argmax(np.abs(turned.offset_m)))
    stretch = evidence.Stretch(turned, LOW, HIGH, LOW, HIGH, 3.0, np.ones(COUNT), 30.0)
    assert deviations._left_m(stretch, line, peak) > 0
    near = dataclasses.replace(stretch, course=dataclasses.replace(turned, place=found.place))
    assert deviations._left_m(near, line, peak) < 0


def test_two_deviations_in_one_part_of_a_recording_have_two_names():
    where = course(np.zeros(COUNT))
    (first,) = analyse_traces(
        rides([("a", day, DETOUR if day == 1 else 0.0) for day in range(5)]), Settings()
    ).deviations
    two = [dataclasses.replace(first, id="", from_point=low, to_point=low + 15) for low in (2, 25)]
    names = [d.id for d in deviations.named(two, where)]
    assert len(set(names)) == 2
    assert all(names)

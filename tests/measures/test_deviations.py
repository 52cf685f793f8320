"""Deviations: where, how far, and what speaks for what; and the person's flags on them."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from trace_maker import road, shifted_left, smooth_noise, trace_on

from gpsq.campaign import flags
from gpsq.exceptions import CampaignError
from gpsq.model import NAT, Flag
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


def test_flagging_changes_the_errors_of_that_trace_by_its_own_stretch_only():
    traces = week(np.random.default_rng(4), detour_of={1})
    before = analyse_traces(traces, Settings())
    d = before.deviations[0]
    decisions = tuple(flags.decided((), [d], traces, "intentional", "closed"))
    after = analyse_traces(traces, Settings(), decisions)
    assert after.results[d.trace].crosstrack.rms_m < 4.0 < before.results[d.trace].crosstrack.rms_m
    lost_m = before.results[d.trace].crosstrack.scored_m - after.results[d.trace].crosstrack.scored_m
    assert 0 < lost_m < d.to_m - d.from_m + 60
    for i, (one, other) in enumerate(zip(before.results, after.results, strict=True)):
        if i != d.trace:
            assert other.crosstrack.rms_m == pytest.approx(one.crosstrack.rms_m, rel=0.05, abs=0.15)
    marked = [x for x in after.deviations if x.trace == d.trace]
    assert [(x.id, x.flag, x.note) for x in marked] == [(d.id, "intentional", "closed")]


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

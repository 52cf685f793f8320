"""Flags: which deviation a decision is on, which fixes it takes out, and which recording it belongs to."""

from __future__ import annotations

import dataclasses

import numpy as np
import pytest
from trace_maker import road, trace_on

from gpsq.campaign import flags
from gpsq.model import NAT, Deviation, Flag

TRACE = trace_on(road())


def flag(from_point, to_point, kind="intentional", trace=TRACE, timed=True):
    low, high = (trace.time[from_point], trace.time[to_point]) if timed else (NAT, NAT)
    return Flag(trace.sha256, trace.track, low, high, from_point, to_point, kind, "why", trace.file)


def deviation(from_point, to_point):
    return Deviation(
        "a1b2c3", 0, "A", 0.0, 500.0, TRACE.time[from_point], TRACE.time[to_point], from_point, to_point, 80.0, "left", 0.0,
        "route choice", "",
    )  # fmt: skip


@pytest.mark.parametrize(
    ("shift", "same"), [(0, True), (40, True), (60, False), (90, False), (-40, True), (-90, False)]
)
@pytest.mark.parametrize("timed", [True, False])
def test_a_flag_is_on_a_deviation_that_shares_half_of_the_shorter(shift, same, timed):
    """100 fixes each: moved by 40, they share 60 %; moved by 90, they share 10 %."""
    assert flags.same(flag(100 + shift, 199 + shift, timed=timed), deviation(100, 199), TRACE) is same


def test_half_of_the_shorter_is_enough_of_a_long_one():
    assert flags.same(flag(100, 119), deviation(110, 300), TRACE)
    assert not flags.same(flag(100, 119), deviation(111, 300), TRACE)


def test_a_third_of_the_shorter_is_not_enough():
    assert not flags.same(flag(100, 102), deviation(102, 300), TRACE)
    assert flags.same(flag(100, 103), deviation(102, 300), TRACE)


def test_a_flag_of_a_time_at_which_nothing_was_recorded_is_of_no_deviation():
    later = [TRACE.time[-1] + np.timedelta64(seconds, "s") for seconds in (60, 90)]
    elsewhere = dataclasses.replace(flag(100, 199), from_time=later[0], to_time=later[1])
    assert not flags.same(elsewhere, deviation(100, 199), TRACE)


def test_where_there_are_times_they_count_and_not_the_points():
    """Points of a recording may be counted anew when it is exported again; its times stay."""
    moved = dataclasses.replace(flag(10, 20), from_point=110, to_point=120)
    assert np.flatnonzero(~flags.counting(TRACE, [moved])).tolist() == list(range(10, 21))
    half_known = dataclasses.replace(moved, to_time=NAT)
    assert np.flatnonzero(~flags.counting(TRACE, [half_known])).tolist() == list(range(110, 121))
    untimed = dataclasses.replace(TRACE, time=np.full(TRACE.accepted, NAT))
    assert np.flatnonzero(~flags.counting(untimed, [moved])).tolist() == list(range(110, 121))


def test_each_row_that_cannot_be_followed_is_named_by_its_line(tmp_path):
    """Too few cells, a number that is none, a word that is no flag; the sound row between them is used."""
    flags.save(tmp_path, [flag(10, 20)])
    head, sound = (tmp_path / flags.FILE_NAME).read_text().splitlines()
    rows = [head, "ab,1", sound, sound.replace(",1,", ",one,", 1), sound.replace("intentional", "meant")]
    (tmp_path / flags.FILE_NAME).write_text("\n".join(rows) + "\n")
    found, problems = flags.load(tmp_path)
    assert found == (flag(10, 20),)
    assert [line.split(":")[0] for line in problems] == [f"flags.csv line {number}" for number in (2, 4, 5)]
    assert "'meant', which is none of intentional, error" in problems[2]


def test_flags_that_cannot_be_read_are_named(tmp_path):
    (tmp_path / flags.FILE_NAME).mkdir()
    found, problems = flags.load(tmp_path)
    assert (found, len(problems)) == ((), 1)
    assert problems[0].startswith("flags.csv: found a file that cannot be read (Is a directory)")


@pytest.mark.parametrize("timed", [True, False])
def test_the_ends_of_a_flagged_interval_are_flagged(timed):
    counts = flags.counting(TRACE, [flag(10, 20, timed=timed)])
    assert np.flatnonzero(~counts).tolist() == list(range(10, 21))


def test_points_set_aside_count_in_a_flag_of_points():
    """Points are numbered in the recording, with those that were set aside: fix 5 may be point 12."""
    sparse = trace_on(road()[::2], point=np.arange(0, 401, 2))
    assert np.flatnonzero(~flags.counting(sparse, [flag(10, 20, trace=sparse, timed=False)])).tolist() == list(
        range(5, 11)
    )


def test_a_flag_on_one_track_of_a_file_leaves_the_others_alone():
    """Two untimed tracks in one document have one hash."""
    untimed = np.full(TRACE.accepted, NAT)
    first, second = (dataclasses.replace(TRACE, track=track, time=untimed) for track in (1, 2))
    kept = [flag(10, 20, trace=first, timed=False)]
    assert not flags.counting(first, kept).all()
    assert flags.counting(second, kept).all()
    assert flags.same(kept[0], deviation(10, 20), first)
    assert not flags.same(kept[0], deviation(10, 20), second)
    assert flags.marked(deviation(10, 20), second, kept).flag == ""


def test_only_the_kinds_asked_for_are_taken_out():
    kept = [flag(10, 20, "error"), flag(30, 40, "intentional")]
    out = [np.flatnonzero(~flags.counting(TRACE, kept, kinds)) for kinds in (("intentional",), ("error",))]
    assert [(own[0], own[-1]) for own in out] == [(30, 40), (10, 20)]
    assert (~flags.counting(TRACE, kept)).sum() == 22


def test_another_recording_is_not_touched():
    other = trace_on(road() + 1.0)
    assert flags.counting(other, [flag(10, 20)]).all()


def test_a_decision_marks_the_deviation_and_its_words_go_with_it():
    marked = flags.marked(deviation(100, 199), TRACE, [flag(98, 203, "error")])
    assert (marked.id, marked.flag, marked.note) == ("a1b2c3", "error", "why")


def test_a_new_decision_takes_the_place_of_the_old_and_clear_takes_both_back():
    kept = flags.decided([flag(0, 5)], [deviation(100, 199)], [TRACE], "error", "first")
    kept = flags.decided(kept, [deviation(104, 196)], [TRACE], "intentional", "second")
    assert [(f.from_point, f.to_point, f.flag, f.note) for f in kept] == [
        (0, 5, "intentional", "why"),
        (100, 199, "intentional", "second"),
    ]
    assert flags.decided(kept, [deviation(100, 199)], [TRACE], "clear", "") == [flag(0, 5)]


@pytest.mark.parametrize(
    ("flag_is", "suggested", "counts_as"),
    [
        ("", "route choice", "route choice"),
        ("", "cannot be told", "cannot be told"),
        ("intentional", "receiver error", "route choice"),
        ("error", "route choice", "receiver error"),
        ("error", "cannot be told", "receiver error"),
    ],
)
def test_a_decision_counts_before_a_suggestion(flag_is, suggested, counts_as):
    found = dataclasses.replace(deviation(0, 9), suggestion=suggested, flag=flag_is)
    assert found.counts_as == counts_as

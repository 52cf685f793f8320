"""Offsets of clocks worked by hand: which ones clocks have, how well one explains two devices, and what is said of it."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from trace_maker import road, trace_on

from gpsq.rides import clocks
from gpsq.rides.clock_faults import EPOCHS, clocks_have, never_set
from gpsq.rides.clocks import ClockOffset, estimate_offsets
from gpsq.rides.week_rollover import ROLLOVER_S, turns

DAY_S = 86_400.0


def track(first_s: float, last_s: float, y_m: float = 0.0, x_m: float = 0.0, late_s: float = 0.0) -> clocks._Track:
    """Return a recording on a straight road at 5 m/s, one fix a second; its clock is `late_s` ahead."""
    seconds = np.arange(first_s, last_s + 1.0)
    places = np.column_stack([x_m + 5.0 * seconds, np.full(len(seconds), y_m), np.zeros(len(seconds))])
    return clocks._Track(seconds + late_s, places)


# which offsets clocks have


@pytest.mark.parametrize(
    ("offset_s", "had"),
    [
        (900.0, True), (930.0, True), (870.0, True), (931.0, False), (869.0, False), (-900.0, True), (-931.0, False),
        (0.0, False), (29.0, False), (20_700.0, True), (14 * 3600.0, True), (14 * 3600.0 + 30, True),
        (-14 * 3600.0, True), (14.25 * 3600.0, False), (-14.25 * 3600.0, False), (DAY_S, False),
        (1024 * 7 * DAY_S, True), (-2048 * 7 * DAY_S + 30, True), (1024 * 7 * DAY_S + 31, False),
        (512 * 7 * DAY_S, False), (1023 * 7 * DAY_S, False),
    ],
)  # fmt: skip
def test_zones_are_quarter_hours_to_fourteen_hours_and_weeks_turn_after_1024(offset_s: float, had: bool) -> None:
    """tz database: Asia/Kathmandu +05:45, Pacific/Kiritimati +14; IS-GPS-200, 20.3.3.3.1.1: ten bits of weeks."""
    assert bool(clocks_have(offset_s)) is had
    assert clocks_have(np.array([offset_s, 3600.0])).tolist() == [had, True]


def test_the_slack_beside_a_zone_can_be_wider() -> None:
    assert clocks_have(np.array([945.0, 951.0, 14 * 3600.0 + 49]), 50.0).tolist() == [True, False, True]


@pytest.mark.parametrize("day", ["1970-01-01", "1980-01-01", "2000-01-01"])
def test_a_clock_that_was_never_set_counts_from_one_of_three_days(day: str) -> None:
    """Unix time, the year of GPS time (IS-GPS-200, 3.3.4: 6 January 1980), and the year of many a real-time clock."""
    begin_s = float((np.datetime64(day) - np.datetime64("1970-01-01")) / np.timedelta64(1, "s"))
    assert begin_s in EPOCHS
    assert never_set(np.array([begin_s, begin_s + 31 * DAY_S - 1]))
    assert never_set(np.array([begin_s + 5 * DAY_S]))
    assert not never_set(np.array([begin_s + 31 * DAY_S]))
    assert not never_set(np.array([begin_s - 1]))
    assert not never_set(np.array([begin_s, begin_s + 32 * DAY_S]))


def test_of_two_epochs_one_clock_has_one() -> None:
    assert not never_set(np.array([EPOCHS[0] + 5.0, EPOCHS[1] + 5.0]))


def test_turns_of_the_week_count_to_half_a_minute() -> None:
    assert ROLLOVER_S == 1024 * 7 * DAY_S == 619_315_200
    assert [turns(s) for s in (ROLLOVER_S + 30, ROLLOVER_S + 31, ROLLOVER_S - 31, -2 * ROLLOVER_S - 30, 30.0)] == [
        1, 0, 0, -2, 0,
    ]  # fmt: skip


# how well an offset explains


def test_how_far_apart_two_devices_are_at_forty_instants() -> None:
    one, other = track(0, 100), track(0, 100, y_m=30.0)
    assert clocks._apart_m(one, other, 0.0).tolist() == pytest.approx([30.0] * 40)
    later = track(0, 100, y_m=30.0, late_s=3600.0)
    assert clocks._apart_m(later, one, 3600.0).tolist() == pytest.approx([30.0] * 40)
    assert clocks._apart_m(one, later, -3600.0).tolist() == pytest.approx([30.0] * 40)
    # 10 s beside the true offset at 5 m/s
    assert clocks._apart_m(one, track(0, 100), 10.0).tolist()[:40] == pytest.approx([50.0] * 40)


def test_where_the_other_does_not_run_it_is_nowhere_near() -> None:
    """80 of 100 s are shared: 40 instants on them, and a quarter as many without the other; under half is no meeting."""
    found = clocks._apart_m(track(0, 100), track(20, 200, y_m=30.0), 0.0)
    assert (len(found), int(np.isinf(found).sum())) == (50, 10)
    assert len(clocks._apart_m(track(0, 100), track(20, 70), 0.0)) == 40  # the shorter one is shared whole
    assert len(clocks._apart_m(track(0, 100), track(49, 200), 0.0)) > 40
    assert len(clocks._apart_m(track(0, 100), track(51, 200), 0.0)) == 0
    assert len(clocks._apart_m(track(0, 1), track(0, 1), 0.0)) == 40
    assert len(clocks._apart_m(track(0, 0), track(0, 0), 0.0)) == 0


@pytest.mark.parametrize(
    ("y_m", "first_s", "agreement", "matched"),
    [(0.0, 0, 1.0, (0,)), (15.0, 0, 0.75, (0,)), (45.0, 0, 0.25, (0,)), (61.0, 0, 0.0, ()), (30.0, 20, 0.4, (0,))],
)
def test_agreement_falls_from_one_to_none_over_sixty_metres(
    y_m: float, first_s: int, agreement: float, matched: tuple[int, ...]
) -> None:
    """The mean of 1 − metres / 60; a fifth of the time without the other counts as 60 m, and parts nobody."""
    fit = clocks._fit([track(0, 100)], [track(first_s, 100 + first_s, y_m=y_m)], 0.0)
    assert (fit.agreement, fit.matched, fit.met, fit.offset_s) == (pytest.approx(agreement), matched, 1, 0.0)


def test_recordings_are_together_that_are_near_for_four_fifths() -> None:
    for share, matched in ((0.15, (0,)), (0.25, ())):
        one, other = track(0, 200), track(0, 200)
        other.xyz_m[int(201 * (1 - share)) :, 1] += 500.0
        assert clocks._fit([one], [other], 0.0).matched == matched


def test_each_recording_is_explained_by_the_best_of_the_others_and_all_count_alike() -> None:
    """Three of one device: one exactly on the other's, one 30 m beside, one at another time: (1 + ½ + 0) / 3."""
    one = [track(0, 100), track(1000, 1100, y_m=30.0), track(5000, 5100)]
    other = [track(0, 100, y_m=45.0), track(0, 100), track(1000, 1100)]
    fit = clocks._fit(one, other, 0.0)
    assert (fit.agreement, fit.matched, fit.met) == (pytest.approx(0.5), (0, 1), 2)


@pytest.mark.parametrize(
    ("offset_s", "matched", "met", "seconds", "believed"),
    [
        (3600.0, (0, 1), 2, 300, True), (3600.0, (0,), 1, 300, False), (3600.0, (0,), 1, 599, False),
        (3600.0, (0,), 1, 600, True), (3600.0, (), 0, 900, False), (3600.0, (0, 1, 2, 3), 5, 300, True),
        (3600.0, (0, 1, 2), 4, 300, False), (ROLLOVER_S, (0,), 1, 300, True), (ROLLOVER_S, (), 0, 300, False),
    ],
)  # fmt: skip
def test_what_is_enough_to_believe_an_offset(
    offset_s: float, matched: tuple[int, ...], met: int, seconds: int, believed: bool
) -> None:
    """Two pairs, or one of ten minutes, or a turn of the weeks; and four fifths of those that then run together."""
    fit = clocks._Fit(offset_s, 0.9, matched, met)
    assert clocks._believable(fit, [track(0, seconds) for _ in range(5)]) is believed


def test_the_best_offset_is_found_to_the_second_within_half_a_minute() -> None:
    one, other = [track(0, 300, late_s=3617.0)], [track(0, 300)]
    for start_s in (3592.0, 3600.0, 3640.0):
        found = clocks._refined(one, other, start_s)
        assert (found.offset_s, found.agreement) == (3617.0, pytest.approx(1.0))


# which offsets are tried


def test_places_are_taken_every_fifteen_metres() -> None:
    """5 m a second: every third fix, of every recording."""
    times, places = clocks._places([track(0, 60), track(1000, 1030)])
    assert times.tolist() == [*np.arange(0.0, 61.0, 3.0), *np.arange(1000.0, 1031.0, 3.0)]
    assert places[:, 0].tolist() == (5.0 * times).tolist()


def test_the_offsets_with_most_votes_are_tried_each_a_while_from_the_others() -> None:
    votes = np.concatenate(
        [np.full(9, 3600.0), np.full(8, 3636.0), np.full(7, 3660.0), np.full(3, -900.0), np.full(2, -912.0), [7200.0]]
    )
    found = clocks._peaks(votes)
    # within 20 s of −900 there are five votes, as many as of −912; the earlier bin comes first
    assert found == [3600.0, 3660.0, -912.0, 7200.0]
    assert len(clocks._peaks(np.arange(0.0, 90_000.0, 900.0))) == 12


def test_offsets_that_no_clock_has_get_no_vote_unless_a_clock_was_never_set() -> None:
    one, other = [track(0, 300, late_s=5000.0)], [track(0, 300)]
    assert clocks._candidates(one, other, anything=False) == []
    assert clocks._candidates(one, other, anything=True)[0] == pytest.approx(5000.0, abs=8)
    assert clocks._candidates([track(0, 300, late_s=3600.0)], other, anything=False)[0] == pytest.approx(3600.0, abs=8)
    assert clocks._candidates([track(0, 300, y_m=31.0, late_s=3600.0)], other, anything=False) == []


def test_an_offset_is_claimed_where_the_next_best_is_clearly_worse() -> None:
    """0.75 beside 0.75 or 0.67 is no claim, beside 0.62 it is: the factor is 1.15."""
    other = [track(0, 700), track(7200, 7900, x_m=-36_000.0)]
    for y_m, claimed in ((15.0, False), (20.0, False), (23.0, True)):
        one = [track(0, 700, y_m=15.0, late_s=3600.0)]
        rival = replace(other[1], xyz_m=np.add(other[1].xyz_m, [0.0, 15.0 + y_m, 0.0]))
        found = clocks._offset(one, [other[0], rival])
        assert (found is not None) is claimed
        if found is not None:
            assert found.offset_s == 3600.0


def test_any_offset_is_believed_only_of_a_clock_that_was_never_set() -> None:
    """5,000 s are no zone; two clocks that were set, or two that were not, do not differ by them."""
    for one_s, other_s, claimed in ((1e9, 1e9, False), (0.0, 0.0, False), (5000.0 - 1e9, 0.0, True)):
        one, other = track(1e9, 1e9 + 700), track(1e9, 1e9 + 700)
        one = clocks._Track(one.time_s - 1e9 + one_s + 5000.0, one.xyz_m)
        other = clocks._Track(other.time_s - 1e9 + other_s, other.xyz_m)
        found = clocks._offset([one], [other])
        assert (found is not None) is claimed, one_s
    unset = track(1e9, 1e9 + 700, late_s=-1e9 + 5000.0)
    found = clocks._offset([unset], [track(1e9, 1e9 + 700)])
    assert found is not None
    assert found.offset_s == pytest.approx(-1e9 + 5000.0, abs=1)
    assert clocks._begins([track(5, 100), track(200, 900)]).tolist() == [5.0, 200.0]


def test_devices_that_agree_are_not_held_against_one_another() -> None:
    """One of them rode the same road at the same pace an hour earlier too."""
    line = road(3000.0, 4.0)
    both = [trace_on(np.add(line, y), device=device) for device, y in (("a", 0.0), ("b", 4.0))]
    assert estimate_offsets([*both, trace_on(line, device="a", start_s=-3600.0)]) == ()


# which device is right


def test_the_largest_group_that_agrees_is_right_and_its_best_device_the_reference() -> None:
    devices = {
        "lone": [track(0, 700, late_s=3600.0)],
        "b": [track(0, 700), track(2000, 2700)],
        "c": [track(0, 700, y_m=5.0), track(2000, 2700, y_m=5.0)],
        "a": [track(0, 700, y_m=50.0)],
    }
    assert clocks._agreeing(devices) == [["c", "b", "a"], ["lone"]]
    # beside c by 5 m twice, beside a by 50 m once
    assert clocks._standing("b", ["a", "b", "c"], devices) == (pytest.approx(2 * 55 / 60 + 10 / 60), 2, 1000.0)
    assert clocks._standing("lone", ["lone"], devices) == (0, 1, 3600.0)


def test_of_two_devices_the_one_with_more_recordings_is_the_reference_and_in_a_tie_the_later_clock() -> None:
    few, more = [track(0, 700, late_s=-3600.0)], [track(0, 700), track(2000, 2700)]
    assert clocks._agreeing({"few": few, "more": more}) == [["more"], ["few"]]
    assert clocks._agreeing({"a": [track(0, 700)], "b": few}) == [["a"], ["b"]]
    assert clocks._agreeing({"a": few, "b": [track(0, 700)]}) == [["b"], ["a"]]


def test_devices_that_meet_a_third_are_one_group() -> None:
    """The outer two are 100 m apart, which is not together; each is 50 m from the middle one."""
    devices = {name: [track(0, 700, y_m=y_m)] for name, y_m in (("a", 0.0), ("b", 100.0), ("c", 50.0))}
    assert [sorted(group) for group in clocks._agreeing(devices)] == [["a", "b", "c"]]


# what is told


def test_the_offset_is_the_median_of_the_pairs_and_the_spread_the_robust_one() -> None:
    """Pairs of 3600, 3602 and 3610 s: the median 3602, 1.4826 times the median deviation (2 s)."""
    devices = {
        "b": [track(5000 * k, 5000 * k + 700, late_s=3600.0 + late_s) for k, late_s in enumerate((0.0, 2.0, 10.0))],
        "a": [track(5000 * k, 5000 * k + 700) for k in range(3)],
    }
    found = clocks._named("b", "a", clocks._Fit(3602.0, 0.9, (0, 1, 2), 3), devices)
    assert found == ClockOffset("b", "a", 3602.0, pytest.approx(2.9652), 3, is_week_rollover=False)
    single = clocks._named("b", "a", clocks._Fit(3602.0, 0.9, (2,), 3), devices)
    assert (single.offset_s, single.pairs) == (3610.0, 1)
    assert np.isnan(single.spread_s)


def test_a_turn_of_the_weeks_is_told_as_whole_weeks() -> None:
    devices = {"b": [track(0, 700, late_s=-2 * ROLLOVER_S + 3)], "a": [track(0, 700)]}
    found = clocks._named("b", "a", clocks._Fit(-2 * ROLLOVER_S, 0.9, (0,), 1), devices)
    assert (found.offset_s, found.is_week_rollover) == (-2 * ROLLOVER_S, True)
    assert found.sentence() == (
        "The clock of b is exactly 14336 days (1024 weeks: the count of GPS weeks ran over) behind that of a "
        "(1 recording agrees): used for pairing, no time changes."
    )


def test_devices_are_told_in_order_each_against_the_first_that_explains_it() -> None:
    """Three devices of one rider on two days, two of them with other zones; a fourth on another road, an hour off."""
    traces = [
        trace_on(road(3000.0, 4.0) + y_m, device=device, day=day, start_s=hour_s)
        for device, hour_s, y_m in (("right", 0, 0), ("right too", 0, 4), ("z", 7200, 2), ("y", -3600, 3), ("x", 3600, 9000))
        for day in (0, 1)
    ]  # fmt: skip
    found = estimate_offsets(traces)
    assert [(o.device, o.offset_s, o.pairs) for o in found] == [
        ("y", pytest.approx(-3600.0, abs=2), 2), ("z", pytest.approx(7200.0, abs=2), 2),
    ]  # fmt: skip
    assert len({o.reference_device for o in found}) == 1
    assert {o.reference_device for o in found} <= {"right", "right too"}
    undated = [replace(t, date_known=False) if t.device == "y" else t for t in traces]
    assert [o.device for o in estimate_offsets(undated)] == ["z"]


def test_the_reference_is_the_device_that_explains_it(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(clocks, "_offset", lambda one, other: "a fit" if other == "second" else None)
    monkeypatch.setattr(clocks, "_named", lambda name, reference, fit, devices: (name, reference, fit))
    known = {name: name for name in ("wrong", "first", "second", "third")}
    assert clocks._against("wrong", ["first", "second", "third"], known) == ("wrong", "second", "a fit")
    assert clocks._against("wrong", ["first", "third"], known) is None

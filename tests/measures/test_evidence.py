"""What speaks for a road and what for a fault, in cases that tell two behaviours apart."""

from __future__ import annotations

import dataclasses

import numpy as np
import pytest
from courses import COUNT, HIGH, LOW, course, plateau

from gpsq.measures import evidence
from gpsq.model import CANNOT_BE_TOLD, RECEIVER_ERROR, ROUTE_CHOICE


def judged(found, companions=(), others=(), low=LOW, high=HIGH, line_sd_m=1.0, spread_m=3.0):
    stretch = evidence.Stretch(found, low, high, low, high, spread_m, np.full(COUNT, line_sd_m), 30.0)
    return evidence.judged(stretch, companions, {f"R{k}": [other] for k, other in enumerate(others)})


# ---- with companions ----
def test_a_companion_agrees_only_if_it_is_itself_off_by_more_than_half_the_peak():
    found = course(plateau(40.0))
    assert judged(found, [course(plateau(22.0), 1)])[0] == ROUTE_CHOICE
    # 20 m from the trace, as an error of 20 m would have it, and half as far from the line
    assert judged(found, [course(plateau(18.0), 1)])[0] == RECEIVER_ERROR
    assert judged(found, [course(plateau(0.0), 1)])[0] == RECEIVER_ERROR


def test_a_companion_on_the_line_never_agrees_however_small_the_peak():
    """Faults of the line make all devices of a ride look off by as much: 12.6 m was once called a choice of road."""
    found = course(plateau(12.6))
    suggestion, said = judged(found, [course(np.zeros(COUNT), 1), course(plateau(1.0), 2)])
    assert (suggestion, said.split(";")[0]) == (
        RECEIVER_ERROR,
        "0 of 2 other devices on the ride leave the line with it",
    )


def test_a_companion_off_to_the_other_side_does_not_agree():
    assert judged(course(plateau(60.0)), [course(plateau(-60.0), 1)])[0] == RECEIVER_ERROR
    assert judged(course(plateau(-60.0)), [course(plateau(-60.0), 1)])[0] == ROUTE_CHOICE


def test_a_companion_within_the_doubt_about_the_line_says_nothing():
    found, beside = course(plateau(40.0)), course(plateau(25.0), 1)
    assert judged(found, [beside], line_sd_m=12.0)[0] == ROUTE_CHOICE
    suggestion, said = judged(found, [beside], line_sd_m=13.0)
    assert suggestion == CANNOT_BE_TOLD
    assert said.startswith("the other devices on the ride lie within the doubt about the line itself;")


def test_each_companion_left_the_line_kept_to_it_or_lies_in_the_doubt():
    """Of a trace 40 m off with a line known to 13 m: 30 m agrees, 25 m lies within the doubt, 20 and 0 m kept to it."""
    stretch = evidence.Stretch(course(plateau(40.0)), LOW, HIGH, LOW, HIGH, 3.0, np.full(COUNT, 13.0), 30.0)
    beside = [course(plateau(off_m), k) for k, off_m in enumerate((30.0, 25.0, 20.0, 0.0), 1)]
    assert evidence._votes(stretch, beside) == (1, 2, 1)


def test_most_companions_carry_it_and_a_tie_cannot_be_told():
    found, off, on = course(plateau(80.0)), course(plateau(75.0), 1), course(np.zeros(COUNT), 2)
    assert judged(found, [off, on])[0] == CANNOT_BE_TOLD
    assert judged(found, [off, off, on])[0] == ROUTE_CHOICE
    assert judged(found, [off, on, on])[0] == RECEIVER_ERROR
    assert judged(found, [off, off, on])[1].startswith("2 of 3 other devices on the ride leave the line with it;")


def test_what_only_the_ride_as_a_whole_shows_is_no_fault_of_one_device():
    """One device of five swings further than the others; it is found because all five swing."""
    found, others = course(plateau(60.0)), [course(plateau(25.0), k) for k in range(1, 5)]
    stretch = evidence.Stretch(found, LOW, HIGH, LOW, HIGH, 3.0, np.full(COUNT, 1.0), 30.0)
    assert evidence.judged(stretch, others, {})[0] == RECEIVER_ERROR
    assert evidence.judged(dataclasses.replace(stretch, by_itself=False), others, {})[0] == CANNOT_BE_TOLD


def test_a_companion_that_covers_a_fifth_of_the_stretch_has_no_vote():
    found = course(plateau(80.0))
    for share, suggestion in ((0.2, CANNOT_BE_TOLD), (0.8, RECEIVER_ERROR)):
        covered = np.arange(COUNT) < LOW + share * (HIGH - LOW)
        assert judged(found, [course(np.zeros(COUNT), 1, covered=covered)])[0] == suggestion


def test_far_out_the_nearer_road_tells_the_side():
    """Round a corner the nearest part of the line may lie on the other side: the sign of an offset then means nothing."""
    found, other = course(plateau(150.0)), course(plateau(140.0), 1)
    turned = dataclasses.replace(other, offset_m=-other.offset_m)
    assert judged(found, [turned])[0] == ROUTE_CHOICE


def test_a_companion_is_looked_at_where_the_trace_is_far_off():
    """The ends of an excursion lie near the line: here seven tenths of it are under half the peak, and say nothing."""
    away = np.clip(1.0 - np.abs(np.arange(COUNT) - (LOW + HIGH) / 2) / 50.0, 0.0, 1.0) ** 2
    own = 100.0 * away
    there = np.where(own >= 50.0, own, 0.0)
    assert judged(course(own), [course(there, 1)])[0] == ROUTE_CHOICE
    assert judged(course(own), [course(own - there, 1)])[0] == RECEIVER_ERROR


# ---- alone ----
def test_a_lone_detour_cannot_be_told_and_is_no_error():
    suggestion, said = judged(course(plateau(80.0)))
    assert suggestion == CANNOT_BE_TOLD
    assert said == (
        "no other device on the ride covers this stretch; it moves smoothly at its normal speed; "
        "it leaves the line and rejoins it"
    )


def test_a_lone_device_whose_other_rides_went_the_same_way_chose_it():
    found = course(plateau(80.0))
    suggestion, said = judged(found, others=[course(plateau(85.0), 1), course(np.zeros(COUNT), 2)])
    assert suggestion == ROUTE_CHOICE
    assert "; 1 other ride went the same other way;" in said
    two = [course(plateau(85.0), 1), course(plateau(75.0), 2)]
    assert "; 2 other rides went the same other way;" in judged(found, others=two)[1]


@pytest.mark.parametrize("elsewhere_m", [0.0, 35.0, 140.0, -80.0])
def test_another_ride_elsewhere_is_not_the_same_other_way(elsewhere_m):
    assert judged(course(plateau(80.0)), others=[course(plateau(elsewhere_m), 1)])[0] == CANNOT_BE_TOLD


def test_far_out_the_same_other_way_may_be_wider():
    """Within 35 % of the peak: 70 m of 200."""
    assert judged(course(plateau(200.0)), others=[course(plateau(131.0), 1)])[0] == ROUTE_CHOICE
    assert judged(course(plateau(200.0)), others=[course(plateau(129.0), 1)])[0] == CANNOT_BE_TOLD


def test_another_ride_that_is_near_the_line_is_no_witness_of_a_small_excursion():
    """20 m apart, but within the width of a street: two errors of ordinary size."""
    assert judged(course(plateau(40.0)), others=[course(plateau(28.0), 1)])[0] == CANNOT_BE_TOLD
    assert judged(course(plateau(40.0)), others=[course(plateau(32.0), 1)])[0] == ROUTE_CHOICE


def test_a_jump_is_what_no_rider_can_do():
    jump = np.where((np.arange(COUNT) > LOW) & (np.arange(COUNT) < HIGH), 200.0, 0.0)
    suggestion, said = judged(course(jump))
    assert suggestion == RECEIVER_ERROR
    assert "it jumps, 200 m/s where its fast riding is 5 m/s" in said
    assert "smoothly" not in said
    # whoever jumps on another ride too chose no road
    assert judged(course(jump), others=[course(jump, 1)])[0] == CANNOT_BE_TOLD


def test_the_speed_of_a_jump_is_rounded_not_cut():
    """60.7 m to the side in a second, with 5 m ahead: 60.9 m/s."""
    jump = np.where((np.arange(COUNT) > LOW) & (np.arange(COUNT) < HIGH), 60.7, 0.0)
    assert "it jumps, 61 m/s where its fast riding is 5 m/s" in judged(course(jump))[1]


def test_a_jump_is_more_than_fast_riding_or_noise():
    """18 m to the side in a second is fast, but no jump even of a very quiet receiver; 40 m is one, but of a rough one."""
    for height_m, spread_m, found in ((18.0, 1.0, False), (40.0, 3.0, True), (40.0, 9.0, False)):
        jump = np.where((np.arange(COUNT) > LOW) & (np.arange(COUNT) < HIGH), height_m, 0.0)
        assert ("it jumps" in judged(course(jump), spread_m=spread_m)[1]) is found


def test_fast_riding_is_what_a_twentieth_of_the_legs_exceed():
    """Of 400 legs eighteen are fast, 4.5 %: sixteen of 12 m at 5 m/s elsewhere, and the two of 30 m that lead there and back.

    A leg of 30 m is 25 m beyond fast riding at 5 m/s, and would be 18 m beyond it at 12 m/s: no jump.
    """
    beside = np.zeros(COUNT)
    beside[10:26] = np.sqrt(12.0**2 - 25.0) * (np.arange(16) % 2)
    off = np.where((np.arange(COUNT) > LOW) & (np.arange(COUNT) < HIGH), np.sqrt(30.0**2 - 25.0), 0.0)
    assert "it jumps, 30 m/s where its fast riding is 5 m/s" in judged(course(beside + off), spread_m=1.0)[1]


def test_of_two_fixes_of_one_second_no_speed_is_made_up():
    """Times cut to whole seconds: 26 m between two fixes of the same one say nothing of how fast they were ridden."""
    off = np.where((np.arange(COUNT) > LOW) & (np.arange(COUNT) < HIGH), 80.0, 0.0)
    off[LOW + 40 : HIGH] += 26.0
    seconds = np.arange(COUNT)
    seconds[[LOW + 1, HIGH]] += 50  # out and back are slow
    seconds = np.maximum.accumulate(seconds)
    for same, jumps in ((False, True), (True, False)):
        times = seconds.copy()
        times[LOW + 40 :] += 60
        times[LOW + 39] = times[LOW + 40] - (0 if same else 1)
        time = np.datetime64("2026-05-04T07:00", "ms") + (1000 * times).astype("timedelta64[ms]")
        assert ("it jumps" in judged(course(off, time=time), spread_m=1.0)[1]) is jumps


def test_a_recording_whose_times_are_known_in_part_has_no_jumps():
    jump = np.where((np.arange(COUNT) > LOW) & (np.arange(COUNT) < HIGH), 200.0, 0.0)
    time = np.datetime64("2026-05-04T07:00", "ms") + (1000 * np.arange(COUNT)).astype("timedelta64[ms]")
    time[5] = np.datetime64("NaT", "ms")
    assert "it jumps" not in judged(course(jump, time=time))[1]


def test_sparse_sampling_makes_no_jump_of_a_detour():
    """A fix every 10 s on a street 150 m off, reached at 12 m/s by side streets."""
    assert judged(course(plateau(150.0), interval_s=10.0))[0] == CANNOT_BE_TOLD


def test_a_recording_without_times_has_no_jumps():
    jump = np.where((np.arange(COUNT) > LOW) & (np.arange(COUNT) < HIGH), 200.0, 0.0)
    untimed = np.full(COUNT, np.datetime64("NaT", "ms"))
    suggestion, said = judged(course(jump, time=untimed))
    assert (suggestion, "normal speed" in said) == (CANNOT_BE_TOLD, False)


def zigzag(height_m, size_m):
    return plateau(height_m) + np.where((np.arange(COUNT) > LOW) & (np.arange(COUNT) < HIGH), size_m, 0.0) * (
        (-1.0) ** np.arange(COUNT)
    )


def test_a_lone_wandering_trace_is_told_but_proves_nothing():
    """Legs of 5 m that go 4.33 m to either side are twice as long as the way: (5² + 8.66²)½ = 10.

    With the ramps, each 94 m long and 112 m with the zigzag: (80 · 10 + 2 · 112) / (80 · 5 + 2 · 94) = 1.7.
    """
    suggestion, said = judged(course(zigzag(80.0, 4.33)))
    assert "; it wanders, 1.7 times as long as its outline;" in said
    assert suggestion == CANNOT_BE_TOLD
    assert "wanders" not in judged(course(zigzag(80.0, 1.0)))[1]


def test_wandering_is_told_against_an_outline_of_thirty_metres():
    """Legs of 1 m, and every 10 m one 5 m to the side, there and back in turn: 270 of 1 m and 30 of √26 m, thirty an outline's."""
    x = np.arange(301.0)
    wave = np.column_stack([x, 5.0 * (x // 10 % 2)])
    assert evidence._wander(wave) == pytest.approx((270 + 30 * np.sqrt(26)) / (10 * np.hypot(30, 5)))
    assert evidence._wander(wave[:1]) == 0.0
    sparse = np.column_stack([20.0 * np.arange(31.0), 5.0 * (np.arange(31) % 2)])  # every second place is 40 m on
    assert evidence._wander(sparse) == pytest.approx(np.hypot(20, 5) / 20)
    assert (
        evidence._wander(np.array([[0.0, 0.0], [0.0, 1.5], [0.0, 0.0]])) == 3.0
    )  # an outline of nothing counts as 1 m


def test_a_receiver_that_wanders_everywhere_does_not_wander_there():
    everywhere = plateau(80.0) + 4.33 * (-1.0) ** np.arange(COUNT)
    assert "wanders" not in judged(course(everywhere))[1]


def test_poor_hdop_is_told_where_it_is_poor():
    """Common practice: 1 to 2 is excellent to good, over 5 poor."""
    poor = np.full(COUNT, 1.0)
    poor[LOW : HIGH + 1] = np.where(np.arange(LOW, HIGH + 1) % 3, 9.0, 2.0)  # a third of the fixes are good ones
    assert "; its hdop is poor there, 9.0;" in judged(course(plateau(80.0), hdop=poor))[1]
    assert "hdop" not in judged(course(plateau(80.0), hdop=10.0 - poor))[1]
    assert judged(course(plateau(80.0), hdop=poor))[0] == CANNOT_BE_TOLD


# ---- its ends ----
@pytest.mark.parametrize(
    ("low", "high", "covered", "said"),
    [
        (LOW, HIGH, (0, COUNT), "it leaves the line and rejoins it"),
        (0, HIGH, (0, COUNT), "it begins off the line and joins it"),
        (LOW, COUNT - 1, (0, COUNT), "it leaves the line, and the route ends before it could rejoin it"),
        (LOW, HIGH, (0, HIGH + 1), "it leaves the line, and the recording ends before it could rejoin it"),
        (LOW, HIGH, (0, HIGH + 2), "it leaves the line and rejoins it"),
        (LOW, HIGH, (LOW - 1, COUNT), "it leaves the line and rejoins it"),
        (LOW, HIGH, (LOW, COUNT), "it begins off the line and joins it"),
        (0, COUNT - 1, (0, COUNT), "it is off the line from beginning to end"),
    ],
)
def test_the_ends_are_told_as_they_are(low, high, covered, said):
    there = (np.arange(COUNT) >= covered[0]) & (np.arange(COUNT) < covered[1])
    found = judged(course(np.full(COUNT, 60.0), covered=there), low=low, high=high)[1]
    assert found.endswith(f"; {said}")


def test_fast_riding_is_that_of_the_whole_recording_and_not_of_the_stretch_in_question():
    """Ten legs of 200 m within a stretch of 100: a tenth of its own, but a fortieth of the recording's 400."""
    jumps = np.zeros(COUNT)
    jumps[LOW + 20 : LOW + 40 : 4] = 200.0
    assert "it jumps, 200 m/s where its fast riding is 5 m/s" in judged(course(jumps))[1]

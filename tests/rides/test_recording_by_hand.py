"""What a recording shows of itself, worked by hand on one straight road: lengths, times, gaps, speeds, standing."""

from __future__ import annotations

import numpy as np
import pytest
from trace_maker import MONDAY, trace_on

from gpsq.model import Gap, Spike, Trace
from gpsq.rides import recording_figures
from gpsq.rides.recording_figures import Recorded, measure
from gpsq.settings import Settings

NAT = np.datetime64("NaT", "ms")


def at(xs: list[float], seconds: list[float] | None, **changes: object) -> Trace:
    """Return fixes east of one another at some seconds; without seconds, without times."""
    line = np.column_stack([np.asarray(xs, float), np.zeros(len(xs))])
    known = MONDAY + (np.asarray(seconds or [0], float) * 1000).astype("timedelta64[ms]")
    time = known if seconds else np.full(len(xs), NAT)
    return trace_on(line, **({"time": time, "first_record": time[0], "last_record": time[-1]} | changes))


def of(trace: Trace) -> Recorded:
    return measure(trace, Settings())


#: Ten legs of 5 m in a second each; then 100 m in 100 s (a silence), three legs of 6 m in 2 s, a new segment 50 m on
#: after 1 s, and two of 3 m.
XS = [*(5.0 * k for k in range(11)), 150.0, 156.0, 162.0, 168.0, 218.0, 221.0, 224.0]
SECONDS = [*range(11), 110, 112, 114, 116, 117, 118, 119]
SEGMENT = np.array([0] * 15 + [1] * 3)


def test_lengths_and_times_of_a_recording_with_a_silence_and_a_new_segment() -> None:
    found = of(at(XS, SECONDS, segment=SEGMENT, first_record=MONDAY - np.timedelta64(9, "s")))
    assert found.distance_m == pytest.approx(50 + 18 + 6, abs=0.02)
    assert found.distance_without_gaps_m == pytest.approx(74, abs=0.02)
    assert found.distance_with_gaps_m == pytest.approx(224, abs=0.05)
    assert (found.duration_s, found.elapsed_s, found.recorded_s, found.interval_s) == (119.0, 128.0, 18.0, 1.0)
    assert found.speed_mean_mps == pytest.approx(74 / 18, abs=1e-3)
    assert found.speed_max_mps == pytest.approx(5.0, abs=1e-3)  # not the 50 m between two segments
    assert found.gaps == (
        Gap(10, 100.0, pytest.approx(100, abs=0.05)), Gap(14, 1.0, pytest.approx(50, abs=0.05)),
    )  # fmt: skip
    assert (found.standing_points, found.standing_s, found.wander_m) == (0, 0.0, 0.0)
    assert found.spikes == 0
    assert np.isnan(found.largest_spike_m)


def test_a_lost_fix_of_over_five_usual_intervals_is_a_gap_and_still_way() -> None:
    """Records set aside in between, 5 s and 6 s long beside a usual second; of no records in between nothing was lost."""
    for pause_s, lost, listed in ((5, 4, False), (6, 5, True), (6, 0, False), (6, 1, True)):
        xs = [0.0, 5, 10, 15, 15 + 5.0 * pause_s, 20 + 5.0 * pause_s]
        point = [0, 1, 2, 3, 4 + lost, 5 + lost]
        found = of(at(xs, [0, 1, 2, 3, 3 + pause_s, 4 + pause_s], point=np.array(point), points=6))
        assert found.distance_m == pytest.approx(xs[-1], abs=0.02)
        without_m = xs[-1] - (5.0 * pause_s if listed else 0.0)
        assert found.distance_without_gaps_m == pytest.approx(without_m, abs=0.02), (pause_s, lost)
        assert [g.after_point for g in found.gaps] == ([3] if listed else [])
        assert found.recorded_s == 4 + pause_s


def test_the_usual_interval_is_of_legs_that_lost_nothing() -> None:
    """Twice a second, once in 3 s, and a pause of 6 s: over five times the usual second, not over five times 3 s or 2 s."""
    seconds = [0.0, 1, 2, 3, 4, 10, 13]
    found = of(at([5.0 * s for s in seconds], seconds, point=np.array([0, 1, 2, 3, 4, 8, 9]), points=7))
    assert [g.after_point for g in found.gaps] == [4]
    ends = of(at([0.0, 9.0], [0, 3]))
    assert (ends.duration_s, ends.recorded_s, ends.interval_s) == (3.0, 3.0, 3.0)


def test_where_rows_were_put_in_order_or_every_leg_lost_some_no_outage_is_known() -> None:
    xs, seconds = [0.0, 5, 10, 15, 45, 50], [0, 1, 2, 3, 9, 10]
    assert of(at(xs, seconds, point=np.array([0, 1, 5, 2, 12, 13]), points=6)).gaps == ()
    assert of(at(xs, seconds, point=np.arange(6) * 3, points=6)).gaps == ()
    # seven fixes lost of which the clock knows nothing
    assert of(at(xs, None, point=np.array([0, 1, 2, 3, 11, 12]), points=6)).gaps == ()


def test_without_times_there_are_lengths_only() -> None:
    found = of(at([0.0, 30, 60], None))
    assert found.distance_m == found.distance_with_gaps_m == pytest.approx(60, abs=0.02)
    unknown = (
        found.duration_s, found.elapsed_s, found.recorded_s, found.interval_s, found.speed_mean_mps, found.speed_max_mps,
    )  # fmt: skip
    assert np.isnan(unknown).all()
    assert (found.spikes, found.standing_points) == (None, 0)


def test_a_few_unknown_times_leave_the_others() -> None:
    trace = at([0.0, 5, 10, 15, 20], [0, 1, 2, 3, 4])
    time = trace.time.copy()
    time[2] = NAT
    found = of(at([0.0, 5, 10, 15, 20], [0, 1, 2, 3, 4], time=time))
    assert (found.duration_s, found.recorded_s, found.interval_s) == (4.0, 2.0, 1.0)
    assert np.isnan([found.speed_mean_mps, found.speed_max_mps]).all()


def test_of_one_fix_and_of_none_nothing_is_measured() -> None:
    for xs in ([0.0],):
        found = of(at(xs, [0]))
        assert np.isnan([found.distance_m, found.distance_with_gaps_m, found.distance_without_gaps_m]).all()
        assert np.isnan([found.duration_s, found.recorded_s, found.interval_s, found.speed_max_mps]).all()
        assert found.gaps == ()


def test_points_that_share_a_second_give_one_position_for_the_speed() -> None:
    """Rows at 0, 0, 1, 1, 2 s: from the first of each second to the first of the next, 6 m and 8 m."""
    found = of(at([0.0, 4, 6, 9, 14], [0, 0, 1, 1, 2]))
    assert found.speed_max_mps == pytest.approx(8.0, abs=0.01)
    assert (found.interval_s, found.recorded_s) == (1.0, 2.0)
    assert found.speed_mean_mps == pytest.approx(7.0, abs=0.01)
    assert np.isnan(of(at([0.0, 4, 6], [0, 0, 0])).speed_max_mps)


def test_spikes_are_counted_and_the_farthest_told() -> None:
    spikes = (Spike(1, 1, 90.0), Spike(3, 1, 250.0), Spike(4, 1, 40.0))
    found = of(at([0.0, 5, 10, 15, 20], [0, 1, 2, 3, 4], spikes=spikes))
    assert (found.spikes, found.largest_spike_m) == (3, 250.0)
    assert of(at([0.0, 5, 10], None, spikes=spikes)).spikes is None


# standing


def stop(lasts: int, wander_m: float = 1.0) -> Trace:
    """Return 20 s of riding at 5 m/s, a stop of so many seconds at which fixes lie to and fro, and 20 s of riding on."""
    to_and_fro = [100.0 + wander_m * (k % 2) for k in range(lasts + 1)]
    xs = [*(5.0 * k for k in range(20)), *to_and_fro, *(105.0 + wander_m * (lasts % 2) + 5.0 * k for k in range(20))]
    return at(xs, list(range(len(xs))))


@pytest.mark.parametrize(("lasts", "stands"), [(20, False), (24, False), (32, True), (40, True)])
def test_half_a_minute_within_ten_metres_is_standing(lasts: int, stands: bool) -> None:
    """A rider leaves 10 m behind after two seconds, and was within 10 m two seconds before the stop."""
    found = of(stop(lasts))
    assert (found.standing_points > 0) is stands
    if stands:
        assert found.standing_points == pytest.approx(lasts + 1, abs=2)
        assert found.standing_s == found.standing_points - 1
        assert found.wander_m == pytest.approx(lasts, abs=5)  # a metre a second


def test_how_far_a_stop_scatters_is_its_length() -> None:
    still, scattered = of(stop(60, wander_m=0.0)), of(stop(60, wander_m=4.0))
    assert still.wander_m == pytest.approx(0.0, abs=11)
    assert scattered.wander_m == pytest.approx(4.0 * 60, abs=15)
    assert of(stop(60, wander_m=11.0)).standing_points == 0


def test_two_stops_are_each_standing_and_the_way_between_is_not() -> None:
    xs = [*([0.0] * 41), *(5.0 * k for k in range(1, 21)), *([100.0] * 51), *(100.0 + 5.0 * k for k in range(1, 9))]
    found = of(at(xs, list(range(len(xs)))))
    assert found.standing_points == pytest.approx(41 + 51, abs=5)
    assert found.standing_s == found.standing_points - 2
    long = of(at([0.0] * 500, list(range(500))))
    assert (long.standing_points, long.standing_s, long.wander_m) == (500, 499.0, 0.0)


def test_standing_is_over_when_the_recording_pauses() -> None:
    """A silence while standing is no time of standing; the fixes on both sides are."""
    seconds = [*range(40), *range(140, 180)]
    found = of(at([0.0] * 80, seconds))
    assert (found.standing_points, found.standing_s) == (80, 78.0)


def test_where_a_place_is_left() -> None:
    xyz = np.zeros((40, 3))
    assert recording_figures._leaves(xyz, 0) == 40
    for place in (1, 7, 8, 9, 16, 39):
        left = xyz.copy()
        left[place:, 0] = 10.1
        assert recording_figures._leaves(left, 0) == place
        assert recording_figures._leaves(left, place) == 40
    near = xyz.copy()
    near[5:, 0] = 9.9
    assert recording_figures._leaves(near, 0) == 40


def test_those_that_are_leaving_already_are_no_part_of_the_cloud() -> None:
    """Within 3 m of the middle, or three times the usual distance from it where that is more."""
    xyz = np.zeros((10, 3))
    xyz[7:, 0] = [2.9, 3.1, 9.0]
    assert recording_figures._near_middle(xyz) == 8
    wide = np.zeros((27, 3))
    wide[:, 0] = [*[-2.0, 2.0] * 10, *[0.0] * 5, 5.9, 6.1]
    assert recording_figures._near_middle(wide) == 26

"""Which points are fixes, in which order, and when the first one came: known answers, and invariants by property."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from gpsq.model import Trace, Unreadable
from gpsq.reading.beginning import grid_step_deg
from gpsq.reading.order import in_order
from gpsq.reading.recording import FIX_3D, FIX_NONE, FIX_UNSAID, Recording
from gpsq.reading.screen import Origin, make_trace
from gpsq.reading.speeds import too_fast
from gpsq.settings import Settings

START = np.datetime64("2024-05-14T07:00:00", "ms")
ORIGIN = Origin("ride.gpx", 1, "0" * 64)
#: About 5 m/s eastward at 51 degrees north, sampled once a second.
STEP_DEG = 7e-5


def recording(n: int = 60, **changes: Any) -> Recording:
    """Return a clean eastward ride with the noise of a receiver, one fix a second; `changes` replace whole arrays."""
    rng = np.random.default_rng(7)
    values: dict[str, Any] = {
        "name": "",
        "creator": "",
        "time": START + np.arange(n) * np.timedelta64(1, "s"),
        "lon_deg": (-3.6 + STEP_DEG * np.arange(n) + rng.normal(0, 1e-5, n)).round(7),
        "lat_deg": (51.2 + rng.normal(0, 1e-5, n)).round(7),
        "problem": np.full(n, "", dtype=object),
        "fix": np.full(n, FIX_UNSAID),
        "ele_m": np.full(n, np.nan),
        "hdop": np.full(n, np.nan),
        "sat": np.full(n, np.nan),
        "speed_mps": np.full(n, np.nan),
        "segment": np.zeros(n, dtype=np.int64),
    }
    return Recording(**(values | changes))


def screened(source: Recording) -> Trace:
    result = make_trace(source, ORIGIN, Settings())
    assert isinstance(result, Trace)
    return result


def reasons(trace: Trace) -> dict[str, int]:
    return {s.reason: s.points for s in trace.set_aside}


def ttff_s(trace: Trace) -> float:
    return float((trace.time[0] - trace.started) / np.timedelta64(1, "s"))


def test_a_clean_ride_keeps_every_point_and_knows_no_start() -> None:
    trace = screened(recording())
    assert (trace.accepted, trace.set_aside, trace.start_basis) == (60, (), "none")
    assert np.isnat(trace.started)
    assert trace.notes == ()


def test_records_without_position_measure_the_time_to_first_fix() -> None:
    source = recording()
    source.problem[:9] = "no_position"
    trace = screened(source)
    assert reasons(trace) == {"no_position": 9}
    assert (ttff_s(trace), trace.start_basis, trace.records_before_fix) == (9.0, "points before fix", 9)


def test_zero_zero_in_mid_ride_does_not_count_as_waiting() -> None:
    lat, lon = recording().lat_deg.copy(), recording().lon_deg.copy()
    lat[30:33] = lon[30:33] = 0.0
    trace = screened(recording(lat_deg=lat, lon_deg=lon))
    assert reasons(trace) == {"null_island": 3}
    assert np.isnat(trace.started)
    assert trace.set_aside[0].first_point == 30


@pytest.mark.parametrize("off_m", [150.0, 400.0, 2500.0])
def test_a_remembered_position_is_no_fix(off_m: float) -> None:
    """Twelve times the same coordinates, then a jump: 150 m in a second is no bicycle, nor is 400 m."""
    lat, lon = recording().lat_deg.copy(), recording().lon_deg.copy()
    lat[:12], lon[:12] = 51.2 + off_m / 111_200, -3.6
    trace = screened(recording(lat_deg=lat, lon_deg=lon))
    assert reasons(trace) == {"frozen_before_fix": 12}
    assert ttff_s(trace) == 12.0


def test_a_receiver_that_holds_its_position_while_parked_is_believed() -> None:
    lat, lon = recording().lat_deg.copy(), recording().lon_deg.copy()
    lat[:12], lon[:12] = lat[12], lon[12]
    assert screened(recording(lat_deg=lat, lon_deg=lon)).set_aside == ()


def test_a_place_off_a_network_mast_before_the_fix_is_set_aside() -> None:
    lat = recording().lat_deg.copy()
    lat[:2] += 3_000 / 111_200
    trace = screened(recording(lat_deg=lat))
    assert reasons(trace) == {"outlier_jump": 2}
    assert ttff_s(trace) == 2.0


def test_a_spike_in_mid_ride_is_set_aside_and_one_at_the_end() -> None:
    lat = recording().lat_deg.copy()
    lat[20] += 0.5
    lat[59] -= 0.5
    trace = screened(recording(lat_deg=lat))
    assert reasons(trace) == {"outlier_jump": 2}
    assert 20 not in trace.point
    assert 59 not in trace.point


def test_a_long_excursion_is_shown_and_costs_the_beginning_nothing() -> None:
    """Eight points 3 km off and back: too long for an outlier, and no reason to doubt the five points before it."""
    lat = recording().lat_deg.copy()
    lat[5:13] += 3_000 / 111_200
    assert screened(recording(lat_deg=lat)).set_aside == ()


def test_ordinary_errors_of_a_receiver_are_never_set_aside() -> None:
    """A first fix 120 m off, a wander of 80 m and a jump of 300 m are what gpsq is there to measure."""
    lat = recording().lat_deg.copy()
    lat[:5] += 120 / 111_200
    lat[20:30] += 80 / 111_200
    lat[40:44] += 300 / 111_200
    assert screened(recording(lat_deg=lat)).set_aside == ()


def test_points_filled_in_on_a_straight_line_are_no_fixes() -> None:
    lat, lon = recording().lat_deg.copy(), recording().lon_deg.copy()
    lon[:15] = np.linspace(lon[0], lon[14], 15).round(7)
    lat[:15] = np.linspace(lat[0] + 0.001, lat[14], 15).round(7)
    trace = screened(recording(lat_deg=lat, lon_deg=lon))
    assert reasons(trace) == {"straight_backfill": 14}
    assert ttff_s(trace) == 14.0


def test_a_ride_that_is_straight_throughout_is_believed() -> None:
    lon = (-3.6 + STEP_DEG * np.arange(60)).round(7)
    assert screened(recording(lon_deg=lon, lat_deg=np.full(60, 51.2))).set_aside == ()


def test_the_file_is_believed_when_it_declares_no_fix() -> None:
    fix = np.full(60, FIX_3D)
    fix[:6] = FIX_NONE
    trace = screened(recording(fix=fix))
    assert reasons(trace) == {"no_fix": 6}
    assert trace.fix_declared
    assert trace.first_3d_fix == START + np.timedelta64(6, "s")


def test_no_satellites_and_a_dilution_of_99_mean_no_fix_unless_all_points_say_so() -> None:
    sat = np.full(60, 8.0)
    sat[:4] = 0
    assert reasons(screened(recording(sat=sat))) == {"no_fix": 4}
    hdop = np.full(60, 1.1)
    hdop[:4] = 99.99
    assert reasons(screened(recording(hdop=hdop))) == {"no_fix": 4}
    assert screened(recording(sat=np.zeros(60))).accepted == 60
    everywhere = screened(recording(hdop=np.full(60, 99.99)))
    assert everywhere.accepted == 60
    assert np.isnan(everywhere.hdop).all()


def test_a_clock_set_by_the_fix_leaves_the_time_unknown_and_tells_the_count() -> None:
    """Before their first fix many receivers count from the GPS epoch or from their last shut-down."""
    source = recording()
    source.problem[:8] = "no_position"
    time = source.time.copy()
    time[:8] = np.datetime64("1980-01-06T00:00:10", "ms") + 1000 * np.arange(8)
    trace = screened(recording(problem=source.problem, time=time))
    assert trace.clock_jumps_at_fix
    assert (trace.records_before_fix, trace.start_basis) == (8, "none")
    assert np.isnat(trace.started)
    assert "8 records before" in " ".join(trace.notes)


def test_what_a_reader_has_said_of_the_clock_is_not_said_twice() -> None:
    source = recording(clock_jumps_at_fix=True, notes=("The clock was set.",))
    source.problem[:8] = "no_position"
    assert screened(source).notes == ("The clock was set.",)


def test_in_a_file_out_of_order_only_records_before_every_fix_count_as_waiting() -> None:
    source = recording()
    time = source.time.copy()
    time[[40, 50]] = time[[50, 40]]
    lat, lon = source.lat_deg.copy(), source.lon_deg.copy()
    lon[[40, 50]] = lon[[50, 40]]
    lat[[40, 50]] = lat[[50, 40]]
    time[[0, 1, 30]] = np.datetime64("NaT", "ms")
    source.problem[[0, 1, 30]] = "no_position"
    trace = screened(recording(time=time, lat_deg=lat, lon_deg=lon, problem=source.problem))
    assert "out of order" in " ".join(trace.notes)
    assert trace.records_before_fix == 2


def test_positions_that_never_change_are_told_and_not_judged() -> None:
    trace = screened(recording(lat_deg=np.full(60, 51.2), lon_deg=np.full(60, -3.6)))
    assert trace.accepted == 60
    assert "All 60 positions are identical" in " ".join(trace.notes)


def test_a_device_that_never_fixed_is_a_trace_without_fixes() -> None:
    source = recording()
    source.problem[:] = "no_position"
    trace = screened(source)
    assert (trace.accepted, trace.points) == (0, 60)
    assert trace.last_record - trace.started == np.timedelta64(59, "s")


def test_unreadable_coordinates_throughout_do_not_make_a_device_that_never_fixed() -> None:
    source = recording()
    source.problem[:] = "unparseable_coordinate"
    result = make_trace(source, ORIGIN, Settings())
    assert isinstance(result, Unreadable)
    assert (result.reason, result.points) == ("no_usable_points", 60)


def test_a_break_at_every_point_is_none() -> None:
    trace = screened(recording(segment=np.arange(60)))
    assert set(trace.segment) == {0}
    assert "60 of 60 segments hold a single point" in " ".join(trace.notes)


def test_a_silence_stays_a_break_when_segments_are_joined() -> None:
    time = recording().time.copy()
    time[30:] += np.timedelta64(600, "s")
    assert set(screened(recording(segment=np.arange(60), time=time)).segment) == {0, 1}


def test_ordinary_segments_stay() -> None:
    assert np.bincount(screened(recording(segment=np.repeat([3, 5, 9], 20))).segment).tolist() == [20, 20, 20]


# order


def test_a_slip_of_the_clock_costs_the_slipped_times_only() -> None:
    time = recording().time.copy()
    time[30:32] -= np.timedelta64(5, "s")
    lon = (-3.6 + STEP_DEG * np.arange(60)).round(7)
    trace = screened(recording(time=time, lon_deg=lon))
    assert np.flatnonzero(np.isnat(trace.time)).tolist() == [30, 31]
    assert trace.point.tolist() == list(range(60))
    assert "step back 5" not in " ".join(trace.notes)  # 4 s on the wire: one second had passed
    assert "step back 4 s" in " ".join(trace.notes)


def test_local_times_over_a_clock_change_are_not_sorted_and_not_used() -> None:
    """Case 15 (clocks go back): rows are the evidence, a sort would shuffle two hours together."""
    time = recording().time.copy()
    time[30:] -= np.timedelta64(45, "s")
    trace = screened(recording(time=time))
    assert np.isnat(trace.time).all()
    assert trace.point.tolist() == list(range(60))
    assert "no times are used" in " ".join(trace.notes)


@settings(max_examples=100, deadline=None)
@given(st.permutations(range(12)))
def test_points_written_in_any_order_come_back_in_the_order_of_travel(shuffle: list[int]) -> None:
    """On a straight ride the order of time is the shortest path, so every shuffle is undone."""
    order = np.array(shuffle)
    time = START + order * np.timedelta64(1, "s")
    lon = -3.6 + STEP_DEG * order
    found = in_order(time, lon, np.full(12, 51.2), np.zeros(12, dtype=np.int64))
    assert order[found.index].tolist() == list(range(12))
    assert bool(found.notes) == (shuffle != list(range(12)))


@settings(max_examples=150, deadline=None)
@given(
    st.lists(
        st.tuples(
            st.sampled_from(["", "no_position", "not_finite", "truncated_element", "unparseable_coordinate"]),
            st.sampled_from([51.2, 51.2001, 51.2002, 0.0, 91.0, -91.0, 48.9]),
            st.sampled_from([-3.6, -3.5999, -3.5998, 0.0, 181.0, 179.0, -179.99]),
            st.one_of(st.none(), st.integers(-3600, 3600)),
            st.sampled_from([FIX_UNSAID, FIX_NONE, FIX_3D]),
        ),
        min_size=1,
        max_size=40,
    )
)
def test_every_point_is_accounted_for_and_order_is_kept(
    points: list[tuple[str, float, float, int | None, int]],
) -> None:
    n = len(points)
    problem = np.array([p[0] for p in points], dtype=object)
    bad = problem != ""
    source = recording(
        n,
        problem=problem,
        lat_deg=np.where(bad, np.nan, [p[1] for p in points]),
        lon_deg=np.where(bad, np.nan, [p[2] for p in points]),
        time=np.array(
            ["NaT" if p[3] is None else START + p[3] * np.timedelta64(1, "s") for p in points], dtype="datetime64[ms]"
        ),
        fix=np.array([p[4] for p in points]),
    )
    result = make_trace(source, ORIGIN, Settings())
    aside = sum(s.points for s in result.set_aside)
    if isinstance(result, Unreadable):
        assert aside == n
        return
    assert result.accepted + aside == n
    assert len(set(result.point.tolist())) == result.accepted
    if "put in order" not in " ".join(result.notes):
        assert (np.diff(result.point) > 0).all()
    assert (np.abs(result.lat_deg) <= 90).all()
    assert (np.abs(result.lon_deg) <= 180).all()
    known = result.time[~np.isnat(result.time)]
    assert (np.diff(known) >= np.timedelta64(0, "ms")).all()
    assert not ttff_s(result) < 0 if result.accepted else True


@pytest.mark.parametrize(
    ("times_the_limit", "seconds", "wild"), [(1.5, 1.0, False), (2.5, 1.0, True), (1.2, 10.0, True)]
)
def test_times_cut_to_seconds_are_granted_a_second(times_the_limit: float, seconds: float, wild: bool) -> None:
    """A leg written as one second may have taken nearly two; ten seconds are eleven at most."""
    metres = times_the_limit * Settings().speed_limit_mps * seconds
    assert too_fast(np.array([metres]), np.array([seconds]), Settings()).tolist() == [wild]
    assert too_fast(np.array([1e9]), np.array([np.nan]), Settings()).tolist() == [False]


def test_a_grid_is_told_by_all_coordinates() -> None:
    values = np.array([51.1234, 51.1235, 51.2])
    assert grid_step_deg(values, values) == 1e-4
    assert grid_step_deg(np.append(values, 51.12345), np.append(values, 51.0)) == 1e-5

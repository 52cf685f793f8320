"""How points are judged one by one, put in order, and told of, and when a recording was started; all worked by hand."""

from __future__ import annotations

from dataclasses import replace
from itertools import combinations
from typing import TYPE_CHECKING, Any

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from test_screen import START, STEP_DEG, reasons, recording, screened
from trace_maker import MONDAY, road, trace_on

from gpsq.campaign.start_log import StartEntry
from gpsq.model import Trace, Unreadable
from gpsq.reading import order, screen
from gpsq.reading.order import in_order
from gpsq.reading.recording import FIX_3D, FIX_NONE, FIX_UNSAID
from gpsq.reading.screen import Origin, make_trace
from gpsq.reading.starts import contradicted, first_fix, with_starts
from gpsq.settings import Settings

if TYPE_CHECKING:
    from gpsq.reading.recording import Recording

NAT = np.datetime64("NaT", "ms")
S = Settings()


def seconds(*values: float) -> np.ndarray:
    return START + (np.asarray(values) * 1000).astype("timedelta64[ms]")


def said(source: Recording) -> str:
    return " ".join(screened(source).notes)


# points by themselves


@pytest.mark.parametrize(
    ("lat", "lon", "reason"),
    [
        (90.0, 0.0, ""), (90.01, 0.0, "out_of_range"), (-90.0, 180.0, ""), (-90.01, 0.0, "out_of_range"),
        (0.0, -180.0, ""), (0.0, 180.01, "out_of_range"), (0.0, -180.01, "out_of_range"), (0.0, 0.0, "null_island"),
        (9e-7, -9e-7, "null_island"), (1.1e-6, 0.0, ""), (0.0, 1.1e-6, ""), (-1.1e-6, -1.1e-6, ""),
    ],
)  # fmt: skip
def test_places_that_are_none(lat: float, lon: float, reason: str) -> None:
    """WGS 84: latitudes to 90°, longitudes to 180°; 0,0 is what is written for none (common practice)."""
    source = recording(1, lat_deg=np.array([lat]), lon_deg=np.array([lon]))
    assert screen._as_written(source).tolist() == [reason]
    bad = recording(1, lat_deg=np.array([lat]), lon_deg=np.array([lon]), problem=np.array(["not_finite"], dtype=object))
    assert screen._as_written(bad).tolist() == ["not_finite"]


def test_what_a_file_says_of_a_fix_goes_before_what_its_place_says() -> None:
    problem = np.array(["", "no_position", "unparseable_coordinate", "", ""], dtype=object)
    lat, lon = np.array([51.0, np.nan, np.nan, 0.0, 95.0]), np.array([3.0, np.nan, np.nan, 0.0, 3.0])
    source = recording(5, problem=problem, lat_deg=lat, lon_deg=lon, fix=np.full(5, FIX_NONE))
    assert screen._as_written(source).tolist() == [
        "no_fix",
        "no_fix",
        "unparseable_coordinate",
        "no_fix",
        "out_of_range",
    ]


@pytest.mark.parametrize(
    ("fix", "sat", "hdop", "none"),
    [
        (FIX_UNSAID, [0, 0, 5], [1, 1, 1], [True, True, False]), (FIX_3D, [0, 0, 5], [1, 1, 1], [False] * 3),
        (FIX_NONE, [5, 5, 5], [1, 1, 1], [True] * 3), (FIX_UNSAID, [0, 0, 0], [1, 1, 1], [False] * 3),
        (FIX_UNSAID, [5, 5, 5], [99.0, 98.9, 99.99], [True, False, True]), (FIX_UNSAID, [5, 5, 5], [99.0] * 3, [False] * 3),
        (FIX_UNSAID, [np.nan, 0, 1], [np.nan] * 3, [False, True, False]),
    ],
)  # fmt: skip
def test_fields_of_quality_are_believed_unless_they_say_the_same_of_all(
    fix: int, sat: list[float], hdop: list[float], none: list[bool]
) -> None:
    source = recording(3, fix=np.full(3, fix), sat=np.array(sat, float), hdop=np.array(hdop, float))
    assert screen._says_no_fix(source).tolist() == none


def test_every_column_is_that_of_its_point() -> None:
    n = 60
    columns = {name: np.arange(n) + 100.0 * k for k, name in enumerate(("ele_m", "hdop", "sat", "speed_mps"), start=1)}
    columns["hdop"] = np.where(np.arange(n) == 7, 99.0, 1.0 + np.arange(n) / 100)
    fix = np.where(np.arange(n) < 12, 2, FIX_3D)
    source = recording(n, **columns, fix=fix, name="n" * 300, creator="c" * 301, file_time=START, remarks=("r",))
    source.problem[[0, 30]] = "no_position"
    source = replace(source, extras={"cadence": np.arange(n) * 1.0, "heart": np.full(n, np.nan)}, counts={"x": 3})
    trace = screened(source)
    kept = np.setdiff1d(np.arange(n), [0, 30])
    assert trace.point.tolist() == kept.tolist()
    for name in ("ele_m", "sat", "speed_mps"):
        assert getattr(trace, name).tolist() == columns[name][kept].tolist(), name
    assert np.flatnonzero(np.isnan(trace.hdop)).tolist() == [6]
    assert trace.hdop[8] == columns["hdop"][9]
    assert (trace.name, trace.creator) == ("n" * 300, "c" * 299 + "…")
    assert "Its creator has 301 signs and was cut to 300." in trace.notes
    assert len(trace.notes) == 1
    assert (trace.file_time, trace.first_record, trace.last_record) == (START, source.time[0], source.time[-1])
    assert (trace.first_3d_fix, trace.fix_declared) == (source.time[12], True)
    assert (trace.extras, trace.counts, trace.remarks) == ({"cadence": pytest.approx(kept.mean())}, {"x": 3}, ("r",))
    assert (trace.records_before_fix, trace.started, trace.start_basis) == (1, source.time[0], "points before fix")
    assert not screened(recording()).fix_declared


def test_reasons_are_told_in_the_order_in_which_they_come() -> None:
    reason = np.array(["", "b", "a", "b", "", "a", "c"], dtype=object)
    assert [(s.reason, s.points, s.first_point) for s in screen._set_aside(reason)] == [
        ("b", 2, 1),
        ("a", 2, 2),
        ("c", 1, 6),
    ]


@pytest.mark.parametrize(
    ("problems", "reason", "words"),
    [
        (
            ["not_finite", "not_finite", "no_position"], "no_usable_points",
            "no usable position (2 not finite, 1 no position); expected at least one",
        ),
        (
            ["truncated_element"] * 2, "cut_off",
            "a file that is not complete XML and breaks before its first point ends (2 truncated element)",
        ),
        (["truncated_element", "no_position"], "no_usable_points", "(1 truncated element, 1 no position)"),
    ],
)  # fmt: skip
def test_what_holds_no_place_is_refused_with_its_reasons(problems: list[str], reason: str, words: str) -> None:
    found = make_trace(recording(len(problems), problem=np.array(problems, dtype=object)), Origin("a.gpx", 3, "ab"), S)
    assert isinstance(found, Unreadable)
    assert (found.file, found.track, found.reason, found.points) == ("a.gpx", 3, reason, len(problems))
    assert words in found.message
    assert sum(s.points for s in found.set_aside) == len(problems)


@pytest.mark.parametrize("problem", ["no_position", "null_island", "no_fix"])
def test_a_device_that_waited_needs_a_time(problem: str) -> None:
    waited = recording(3, problem=np.array([problem] * 3, dtype=object))
    assert isinstance(make_trace(waited, Origin("a", 1, ""), S), Trace)
    assert isinstance(make_trace(replace(waited, time=np.full(3, NAT)), Origin("a", 1, ""), S), Unreadable)
    some = np.concatenate([waited.time[:2], [NAT]])
    assert isinstance(make_trace(replace(waited, time=some), Origin("a", 1, ""), S), Trace)


# before the first fix


def before_fix(
    time: np.ndarray, missing: list[int], kept: list[int] | None = None, **changes: Any
) -> tuple[int, str, bool]:
    reason = np.full(len(time), "", dtype=object)
    reason[missing] = "no_position"
    source = recording(len(time), time=time, **changes)
    order_ = np.array(kept) if kept is not None else np.flatnonzero(reason == "")
    wait = screen._before_fix(source, reason, order_, S)
    return wait.records, "" if np.isnat(wait.began) else str(wait.began)[11:19], wait.clock_jumps


def test_what_the_records_before_the_fix_tell() -> None:
    assert before_fix(seconds(0, 1, 2, 3, 4), [0, 1, 3]) == (2, "07:00:00", False)
    assert before_fix(seconds(0, 1, 2, 3, 4), [3]) == (0, "", False)
    unknown = seconds(0, 1, 2, 3, 4)
    unknown[0] = NAT
    assert before_fix(unknown, [0, 1]) == (2, "07:00:01", False)
    # half an hour between two of them, or a step back, is a clock that the fix has set
    assert before_fix(seconds(0, 1, 1801, 1802), [0, 1]) == (2, "07:00:00", False)
    assert before_fix(seconds(0, 1, 1802, 1803), [0, 1]) == (2, "07:00:00", True)
    assert before_fix(seconds(60, 61, 0, 1), [0, 1]) == (2, "07:01:00", True)
    assert before_fix(seconds(1, 0.5, 2, 3), [0, 1]) == (2, "07:00:01", True)
    assert before_fix(seconds(0, 0, 0, 1), [0, 1]) == (2, "07:00:00", False)
    assert before_fix(seconds(0, 1, 2), [0], clock_jumps_at_fix=True) == (1, "07:00:00", True)
    assert before_fix(seconds(0, 1, 2), [], clock_jumps_at_fix=True) == (0, "", False)
    assert before_fix(seconds(0, 1, 2), [0, 1, 2], kept=[]) == (3, "07:00:00", False)


def test_in_a_file_out_of_order_times_tell_what_came_first() -> None:
    """Fixes in order of travel are 4, 3, 2; records at 0 s and 9 s, and one without a time that stands before all."""
    time = seconds(0, 0, 30, 20, 10, 9)
    time[1] = NAT
    assert before_fix(time, [0, 1, 5], kept=[4, 3, 2]) == (3, "07:00:00", False)
    time[0] = seconds(11)[0]
    assert before_fix(time, [0, 1, 5], kept=[4, 3, 2]) == (2, "07:00:09", False)


# notes


@pytest.mark.parametrize(
    ("sizes", "joined"),
    [([1, 1, 1], False), ([1, 1, 1, 1], True), ([1, 1, 5, 5], False), ([1, 1, 1, 5], True), ([2, 2, 2, 2], False)],
)
def test_a_break_at_most_points_is_none(sizes: list[int], joined: bool) -> None:
    segment = np.repeat(np.arange(len(sizes)) * 3, sizes)
    time = START + np.arange(len(segment)) * np.timedelta64(1, "s")
    time[-1] += np.timedelta64(61, "s")
    found, note = screen._segments(segment, time, 60.0)
    if joined:
        assert found.tolist() == [0] * (len(segment) - 1) + [1]
        assert note == (
            f"{sizes.count(1)} of {len(sizes)} segments hold a single point; segments without a silence between them were joined.",
        )
    else:
        assert found.tolist() == np.repeat(np.arange(len(sizes)), sizes).tolist()
        assert note == ()


def test_what_follows_a_silence_is_one_segment_to_the_next_silence() -> None:
    """A segment a point, silent for 61 s after the second and after the fourth of six."""
    time = START + np.array([0, 1, 62, 63, 124, 125]) * np.timedelta64(1, "s")
    assert screen._segments(np.arange(6), time, 60.0)[0].tolist() == [0, 0, 1, 1, 2, 2]


@pytest.mark.parametrize(("year", "told"), [(1979, True), (1980, False), (2099, False), (2100, True)])
def test_years_before_and_after_gps_are_told(year: int, told: bool) -> None:
    """GPS time begins in 1980 (IS-GPS-200, 3.3.4)."""
    time = np.datetime64(f"{year}-03-01T00:00:00", "ms") + np.arange(60) * np.timedelta64(1, "s")
    line = f"60 of 60 times lie before 1980 or after 2099, the first in {year}: a clock that was not set?"
    assert (line in said(recording(time=time))) is told
    assert "of 60 times" not in said(recording(time=time, date_known=False))


@pytest.mark.parametrize(("count", "told"), [(9, False), (10, True)])
def test_ten_equal_places_are_no_chance(count: int, told: bool) -> None:
    same = recording(count, lat_deg=np.full(count, 51.2), lon_deg=np.full(count, -3.6))
    assert (f"All {count} positions are identical" in said(same)) is told
    moved = recording(count, lat_deg=np.full(count, 51.2), lon_deg=-3.6 + STEP_DEG * np.arange(count))
    assert "identical" not in said(moved)


def test_a_coarse_grid_is_told_in_metres() -> None:
    """At 60° north a thousandth of a degree is 111.42 m of meridian and 55.80 m of parallel (WGS 84 series, handbook)."""
    n = 60
    lat, lon = np.round(60.0 + 2e-3 * np.arange(n), 3), np.round(5.0 + 2e-3 * np.arange(n), 3)
    time = START + np.arange(n) * np.timedelta64(60, "s")
    note = said(recording(n, lat_deg=lat, lon_deg=lon, time=time))
    assert "All coordinates lie on a grid of 0.001 degrees (111.4 m north, 55.7 m east)" in note
    assert "errors below 62.3 m cannot be told from rounding, and the length is too large." in note
    fine = recording(n, lat_deg=lat + 1e-5, lon_deg=lon, time=time)
    assert "grid" not in said(fine)


def test_few_values_lie_on_a_grid_by_chance() -> None:
    for n, told in ((9, False), (10, True)):
        lat, lon = np.round(51.0 + 1e-4 * np.arange(n), 4), np.round(5.0 + 1e-4 * np.arange(n), 4)
        assert ("grid" in said(recording(n, lat_deg=lat, lon_deg=lon))) is told


def test_the_size_of_a_step_near_the_pole_and_on_the_equator() -> None:
    """A degree on the equator: 110.57 km north, 111.32 km east (WGS 84, handbook); at the pole a step east is none."""
    assert screen._grid_m(1.0, 0.0) == (pytest.approx(110_574, abs=1), pytest.approx(111_319.5, abs=1))
    north, east = screen._grid_m(1.0, 90.0)
    assert (north, east) == (pytest.approx(111_694, abs=1), pytest.approx(0.0, abs=1e-6))
    assert screen._grid_m(1.0, -90.0)[0] == pytest.approx(north)


# order


def path(n: int = 100) -> dict[str, np.ndarray]:
    return {
        "lon_deg": -3.6 + STEP_DEG * np.arange(n),
        "lat_deg": np.full(n, 51.2),
        "segment": np.zeros(n, dtype=np.int64),
    }


@pytest.mark.parametrize(("slipped", "kept"), [(5, 95), (6, 0)])
def test_one_time_in_twenty_may_slip(slipped: int, kept: int) -> None:
    time = seconds(*range(100))
    time[40 : 40 + slipped] -= np.timedelta64(20, "s")
    found = in_order(time, **path())
    assert found.index.tolist() == list(range(100))
    assert int((~np.isnat(found.time)).sum()) == kept
    (note,) = found.notes
    begins = "Times step back 19 s at point 40 (counted from 0), and sorting by time does not mend the track"
    if kept:
        assert note == f"{begins}: the times of 5 points are not used."
        assert np.flatnonzero(np.isnat(found.time)).tolist() == [40, 41, 42, 43, 44]
    else:
        assert note == (
            f"{begins} (local times over a clock change, or a clock that was set?): file order is kept and no times are used."
        )


def test_points_written_late_are_put_in_order_and_those_without_times_stay_behind_the_one_before() -> None:
    order_ = [0, 1, 2, 5, 3, 4, 6, 7]
    time, lines = seconds(*order_), path(8)
    lines["lon_deg"] = lines["lon_deg"][order_]
    found = in_order(time, **lines)
    assert found.index.tolist() == [0, 1, 2, 4, 5, 3, 6, 7]
    assert found.time.tolist() == seconds(*range(8)).tolist()
    assert found.notes == ("1 of 8 points stand out of order; the track was put in order of time.",)
    time[6] = NAT
    assert in_order(time, **lines).index.tolist()[-1] == 7
    backwards = in_order(seconds(*range(8))[::-1], **{k: v[::-1] for k, v in path(8).items()})
    assert backwards.notes == ("The track is written backwards, last point first; it was put in order of time.",)
    assert backwards.index.tolist() == list(range(8))[::-1]
    twice = in_order(seconds(3, 2, 2, 1), **{k: v[[3, 2, 2, 1]] for k, v in path(4).items()})
    assert twice.notes[0] == backwards.notes[0]


def test_times_that_repeat_are_counted_among_those_known() -> None:
    time = seconds(0, 1, 1, 1, 2, 3)
    assert in_order(time, **path(6)).notes == ("2 of 6 points repeat the time of the point before them.",)
    time[4] = NAT
    assert in_order(time, **path(6)).notes == ("2 of 5 points repeat the time of the point before them.",)
    assert in_order(seconds(0, 1, 2), **path(3)).notes == ()
    lone = np.array([NAT, seconds(5)[0], NAT])
    assert in_order(lone, **path(3)).time.tolist() == lone.tolist()
    shuffled = seconds(0, 1, 3, 2, 2, 4)
    lines = {k: v[[0, 1, 3, 2, 2, 4]] for k, v in path(6).items()}
    assert in_order(shuffled, **lines).notes == (
        "1 of 6 points stand out of order; the track was put in order of time.",
        "1 of 6 points repeat the time of the point before them.",
    )


def test_two_times_are_enough_for_an_order_and_a_thousandth_of_a_second_counts() -> None:
    two = in_order(seconds(5, 0), **path(2))
    assert (two.index.tolist(), len(two.notes)) == ([1, 0], 1)
    slipped = in_order(seconds(0, 1, 0.999, *range(2, 42)), **path(43))
    assert len(slipped.notes) == 1
    assert slipped.notes[0].startswith("Times step back 0.001 s at point 2 ")


def test_a_way_is_not_counted_over_a_break() -> None:
    """Two halves a kilometre apart: only what lies within each is way."""
    lines = path(10)
    lines["segment"][5:] = 1
    lines["lon_deg"][5:] += 1.0
    index = np.arange(10)
    one_m = order._path_m(index[:5], lines["lon_deg"], lines["lat_deg"], lines["segment"])
    assert order._path_m(index, **lines) == pytest.approx(2 * one_m)
    assert one_m == pytest.approx(4 * 4.89, rel=0.01)


def test_unknown_times_are_those_of_the_point_before() -> None:
    time = np.array([NAT, NAT, seconds(5)[0], NAT, seconds(7)[0], NAT])
    assert order._filled(time).tolist() == seconds(5, 5, 5, 5, 7, 7).tolist()


@given(st.lists(st.integers(0, 6), min_size=1, max_size=9))
def test_the_longest_row_of_times_that_never_fall(values: list[int]) -> None:
    """Against all subsequences."""
    kept = order._longest_rising(seconds(*values))
    chosen = [v for v, k in zip(values, kept, strict=True) if k]
    assert chosen == sorted(chosen)
    rising = (size for size in range(len(values), 0, -1) for c in combinations(values, size) if list(c) == sorted(c))
    assert len(chosen) == next(rising)


# starts


def trace(wait_s: float | None = None, **changes: Any) -> Trace:
    """Return a recording whose file's own time lies so many seconds before its first fix."""
    file_time = NAT if wait_s is None else MONDAY - np.timedelta64(round(wait_s * 1000), "ms")
    return trace_on(road(50.0), file_time=file_time, **({"device": "w", "file": "a.gpx"} | changes))


def entry(before_s: float | None = 0.0, **changes: Any) -> StartEntry:
    started = NAT if before_s is None else MONDAY - np.timedelta64(round(before_s * 1000), "ms")
    return StartEntry("a.gpx", 1, **({"started": started, "written": "so", "ride": "R", "note": "n"} | changes))


@pytest.mark.parametrize(
    ("wait_s", "told"), [(1800.0, True), (1800.5, False), (0.5, True), (0.0, False), (-0.5, False), (None, False)]
)
def test_a_file_time_up_to_half_an_hour_before_the_fix_is_the_start(wait_s: float | None, told: bool) -> None:
    (found,) = with_starts([trace(wait_s)], {}, S)
    assert found.start_basis == ("file time" if told else "none")
    assert np.isnat(found.started) is not told or found.started == found.file_time


def test_a_file_time_says_nothing_where_records_or_an_unknown_day_stand_against_it() -> None:
    for changes in (
        {"records_before_fix": 1},
        {"date_known": False},
        {"started": MONDAY, "start_basis": "points before fix"},
    ):
        (found,) = with_starts([trace(60.0, **changes)], {}, S)
        assert found.start_basis == changes.get("start_basis", "none")
    lost = trace_on(road(50.0)[:0], points=0, file_time=MONDAY)
    assert np.isnat(first_fix(lost))
    assert with_starts([lost], {}, S)[0].start_basis == "none"


def test_a_zero_is_one_where_the_device_writes_earlier_times_elsewhere() -> None:
    def bases(*traces: Trace) -> list[str]:
        return [t.start_basis for t in with_starts(traces, {}, S)]

    assert bases(trace(0.0), trace(5.0, file="b.gpx")) == ["file time", "file time"]
    assert bases(trace(0.0), trace(5.0, file="b.gpx", device="x")) == ["none", "file time"]
    assert bases(trace(0.0), trace(1801.0, file="b.gpx")) == ["none", "none"]
    assert bases(trace(0.0), trace(1800.0, file="b.gpx")) == ["file time", "file time"]
    assert bases(trace(0.0), trace(-3.0, file="b.gpx")) == ["none", "none"]


def test_what_the_log_says_of_a_recording_is_taken_whole() -> None:
    said_ = entry(20.0, start_lat_deg=40.1, start_lon_deg=-28.2, start_state="warm")
    (found,) = with_starts([trace(60.0)], {("a.gpx", 1): said_}, S)
    assert (found.started, found.start_basis) == (MONDAY - np.timedelta64(20, "s"), "log")
    assert (found.start_lat_deg, found.start_lon_deg, found.start_state) == (40.1, -28.2, "warm")
    assert (found.ride_label, found.log_note, found.notes) == ("R", "n", ())
    (other,) = with_starts([trace(60.0)], {("a.gpx", 2): said_}, S)
    assert (other.start_basis, other.ride_label) == ("file time", "")


def test_a_row_without_a_start_leaves_the_other_evidence() -> None:
    (found,) = with_starts([trace(60.0)], {("a.gpx", 1): entry(None)}, S)
    assert (found.start_basis, found.ride_label, found.log_note) == ("file time", "R", "n")


@pytest.mark.parametrize(("before_s", "taken"), [(0.0, True), (-0.5, False), (14_400.0, True), (14_400.5, False)])
def test_a_logged_start_is_of_this_ride_up_to_four_hours_before_its_fix(before_s: float, taken: bool) -> None:
    logged = {("a.gpx", 1): entry(before_s)}
    (found,) = with_starts([trace(60.0)], logged, S, "+02:00")
    assert found.start_basis == ("log" if taken else "file time")
    lines = {
        -0.5: "rides.csv gives 'so' as the start, 0.5 s after the first fix at 09:00:00 (UTC+02:00): the two clocks disagree, "
        "so the log's start is not used.",
        14_400.5: "rides.csv gives 'so' as the start, 4.0 h before the first fix: it is taken to mean another ride.",
    }
    assert found.notes == ((lines[before_s],) if before_s in lines else ())
    assert contradicted([trace(60.0)], logged, S, "+02:00") == tuple(f"a.gpx: {note}" for note in found.notes)
    assert contradicted([trace(60.0)], {}, S) == ()


def test_of_an_unknown_day_no_start_can_be_compared() -> None:
    logged = {("a.gpx", 1): entry(20.0)}
    (found,) = with_starts([trace(date_known=False)], logged, S)
    assert found.start_basis == "none"
    assert found.notes == (
        "The day of this recording is unknown, so the start in rides.csv cannot be compared with it.",
    )
    assert with_starts([trace(date_known=False)], {("a.gpx", 1): entry(None)}, S)[0].notes == ()


def test_what_never_fixed_was_started_before_its_end() -> None:
    lost = trace_on(road(50.0)[:0], points=0, file="a.gpx", last_record=MONDAY)
    assert with_starts([lost], {("a.gpx", 1): entry(0.0)}, S)[0].start_basis == "log"
    assert with_starts([lost], {("a.gpx", 1): entry(-1.0)}, S)[0].start_basis == "none"


def test_a_recording_is_refused_no_point_of_a_sound_ride() -> None:
    assert reasons(screened(recording(fix=np.full(60, FIX_UNSAID)))) == {}

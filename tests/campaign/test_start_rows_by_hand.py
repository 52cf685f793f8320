"""A start log in which every cell is another thing, and every form of date and clock, compared with what was written."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import pytest
from trace_maker import MONDAY, road, trace_on

from gpsq.campaign import start_log, start_matching, start_table
from gpsq.campaign.campaign_file import Campaign
from gpsq.campaign.start_log import StartEntry, parse
from gpsq.campaign.start_matching import Recording, recording_of, seconds
from gpsq.campaign.start_table import Problem, column_of, delimiter_of, read_table
from gpsq.campaign.written_times import WrittenDate, WrittenTime, read_clock, read_date, read_time
from gpsq.model import SetAside

if TYPE_CHECKING:
    from pathlib import Path

NAT = np.datetime64("NaT", "ms")


# one row, cell by cell


def test_every_cell_of_a_row_is_in_its_place() -> None:
    text = (
        "note,ride,start_state,start_lon,start_lat,started,device,file\n"
        "rain,R7,WARM,151.21,-33.86,2024-05-14T09:00:12.250+02:00,watch,phone\\mon.gpx\n"
    )
    (row,) = parse(text).rows
    assert row == StartEntry(
        file="phone/mon.gpx", row=1, device="watch", started=np.datetime64("2024-05-14T07:00:12.250", "ms"),
        start_lat_deg=-33.86, start_lon_deg=151.21, start_state="warm", ride="R7", note="rain", line=2,
        written="2024-05-14T09:00:12.250+02:00", to_minute=False,
    )  # fmt: skip
    assert parse(text).problems == ()
    (bare,) = parse("file,started\na.gpx,").rows
    assert (bare.row, bare.line, bare.written, bare.to_minute) == (1, 2, "", False)
    only = StartEntry("a.gpx", 1)
    assert (only.line, only.device, only.ride, only.note, only.to_minute) == (0, "", "", "", False)


@pytest.mark.parametrize(
    ("lat", "lon", "taken"),
    [
        ("90", "180", True), ("-90", "-180", True), ("0", "0", True), ("90.1", "0", False), ("-90.1", "0", False),
        ("0", "180.1", False), ("0", "-180.1", False), ("nan", "0", False), ("inf", "0", False), ("x", "0", False),
        ("51", "", False), ("", "51", False),
    ],
)  # fmt: skip
def test_a_place_of_start_is_on_earth_and_whole(lat: str, lon: str, taken: bool) -> None:
    """WGS 84: latitudes to 90°, longitudes to 180°."""
    log = parse(f"started,start_lat,start_lon\n2024-05-14T07:00:00Z,{lat},{lon}")
    place = (log.rows[0].start_lat_deg, log.rows[0].start_lon_deg)
    assert place == (float(lat), float(lon)) if taken else np.isnan(place).all()
    assert bool(log.problems) is not taken


def test_what_is_wrong_with_a_place_is_said_once_with_its_bound() -> None:
    bad = parse("started,start_lat,start_lon\n2024-05-14T07:00:00Z,91,3").problems
    assert [str(p) for p in bad] == [
        "rides.csv: found '91' as start_lat in row 1; expected degrees between -90 and 90",
        "rides.csv: found one of start_lat and start_lon in row 1; expected both or none",
    ]
    (lon,) = parse("started,start_lat,start_lon\n2024-05-14T07:00:00Z,,181").problems
    assert str(lon) == "rides.csv: found '181' as start_lon in row 1; expected degrees between -180 and 180"


def test_states_of_start_are_three() -> None:
    log = parse(
        "started,state\n" + "".join(f"2024-05-14T07:00:00Z,{s}\n" for s in ("hot", "Warm", "COLD", "", "tepid"))
    )
    assert [row.start_state for row in log.rows] == ["hot", "warm", "cold", "", ""]
    assert [(p.found, p.row, p.line) for p in log.problems] == [("'tepid' as start_state", 5, 6)]


def test_of_several_rows_of_a_file_the_first_counts_and_rows_without_one_have_no_name() -> None:
    log = parse("file,note,started\na.gpx,one,\n,two,\na.gpx,three,\nb.gpx,four,")
    assert {name: row.note for name, row in log.entries.items()} == {"a.gpx": "one", "b.gpx": "four"}
    assert [(p.found, p.expected, p.row, p.line) for p in log.problems] == [
        ("no start", "a time such as 2024-05-14T07:10:00Z", n, n + 1) for n in (1, 2, 3, 4)
    ]


def test_a_log_is_read_from_its_folder_by_the_zone_of_the_campaign(tmp_path: Path) -> None:
    assert start_log.load(tmp_path, Campaign()) == start_log.StartLog()
    (tmp_path / "rides.csv").write_bytes(b"started\n2024-05-14 09:00:00\n")
    (row,) = start_log.load(tmp_path, Campaign(time_zone="Europe/Paris")).rows
    assert str(row.started) == "2024-05-14T07:00:00.000"
    (tmp_path / "rides.csv").unlink()
    (tmp_path / "rides.csv").mkdir()
    (problem,) = start_log.load(tmp_path, Campaign()).problems
    assert str(problem).startswith("rides.csv: found a file that cannot be read (")
    assert (problem.row, problem.line) == (0, 0)


def test_starts_to_the_minute_are_counted_among_those_known() -> None:
    line = "so the times to first fix from them may be up to 59 s too long"
    one = parse("started\n2024-05-14T07:00Z\nsoon\n")
    assert start_log.without_seconds(one) == (f"rides.csv: the start has no seconds, {line}",)
    two = parse("started\n2024-05-14T07:00Z\n2024-05-15T07:00:00Z\n")
    assert start_log.without_seconds(two) == (f"rides.csv: 1 of 2 starts have no seconds, {line}",)
    assert start_log.without_seconds(start_log.StartLog()) == ()


@pytest.mark.parametrize(
    ("heading", "row", "why"),
    [
        ("started", "7:00:12", "without a date"),
        ("date,started", ",7:00:12", "without a date"),
        ("date", "14.5.2024", "without a time of day"),
        ("started", "14.5.2024", ""),
        ("date,started", "14.5.2024,soon", ""),
        ("date,started", "7:00,14.5.2024", "without a date"),
        ("started", "05/14/2024 7:00", "a date with the month first"),
    ],
)
def test_why_a_start_cannot_be_read(heading: str, row: str, why: str) -> None:
    log = parse(f"{heading}\n{row}", "UTC")
    assert np.isnat(log.rows[0].started)
    assert not log.rows[0].to_minute
    assert [p.why for p in log.problems] == [why]


def test_a_time_zone_in_the_heading_or_in_the_cell_goes_before_that_of_the_campaign() -> None:
    for heading, cell in (
        ("started (UTC)", "7:00:00"),
        ("started", "7:00:00 UTC"),
        ("Start time GMT", "07:00"),
        ("start_time_utc", "07:00"),
    ):
        (row,) = parse(f"date,{heading}\n14.5.2024,{cell}", "Asia/Tokyo").rows
        assert str(row.started) == "2024-05-14T07:00:00.000", heading
    for heading in ("date (UTC),started", "date,started,note utc"):
        (row,) = parse(f"{heading}\n14.5.2024,16:00:00", "Asia/Tokyo").rows
        assert str(row.started) == "2024-05-14T07:00:00.000", heading


def test_rows_without_a_heading_are_in_the_zone_of_the_campaign() -> None:
    (row,) = parse("14.5.2024 16:00:00", "Asia/Tokyo").rows
    assert str(row.started) == "2024-05-14T07:00:00.000"
    (headed,) = parse("Datum\n14.5.2024 16:00:00", "Asia/Tokyo").rows
    assert headed.started == row.started


def test_a_heading_of_two_hundred_signs_is_looked_at() -> None:
    for size, column in ((200, "started"), (201, "")):
        assert column_of(f"({'x' * (size - 9)})started") == column


# headings and cells


@pytest.mark.parametrize(
    ("head", "column"),
    [
        ("File-name", "file"), ("recording", "file"), ("UNIT", "device"), ("Receiver", "device"), ("Day", "date"),
        ("Start pressed", "started"), ("started at", "started"), ("Time", "started"), ("Start latitude", "start_lat"),
        ("start-lon [deg]", "start_lon"), ("State", "start_state"), ("ride", "ride"), ("Comments", "note"),
        ("start time (utc)", "started"), ("latitude", ""), ("stated", ""), ("", ""), ("started " * 100, ""),
    ],
)  # fmt: skip
def test_what_people_call_a_column(head: str, column: str) -> None:
    assert column_of(head) == column


def test_zero_bytes_are_nothing() -> None:
    (row,) = read_table("st\0arted,no\0te\nx,\0wet\0\n").rows
    assert dict(row.cells) == {"started": "x", "note": "wet"}


def test_a_line_is_parted_by_the_sign_that_it_has_most_of() -> None:
    lines = {"a;b,c;d": ";", "a\tb\tc;d": "\t", "a,b,c;d": ",", "a": ",", "a;b,c": ";", "a\tb;c": "\t"}
    assert {line: delimiter_of(line) for line in lines} == lines


def test_a_first_column_of_two_of_a_name_that_holds_something_counts() -> None:
    table = read_table("device,device,started\n,second,x\nfirst,second,y")
    assert [row.cells["device"] for row in table.rows] == ["second", "first"]
    assert [(row.number, row.line) for row in table.rows] == [(1, 2), (2, 3)]


def test_problems_of_a_heading_are_told_in_order_with_its_line() -> None:
    table = read_table("\n\nmood,device,device,\nx,y,z,")
    known = "the columns file, device, date, started, start_lat, start_lon, start_state, ride, note"
    assert table.problems == (
        Problem("the unknown column 'mood', which is not used", known, line=3),
        Problem("no column 'started'", known, line=3),
        Problem("the column 'device' twice", "each column once", line=3),
    )
    assert [(row.number, row.line, dict(row.cells)) for row in table.rows] == [(1, 4, {"device": "y"})]
    assert not read_table("date\n14.5.2024").problems
    assert read_table(",;\n\n").problems[0].found == "an empty file"


def test_what_stands_beyond_the_last_column_is_a_note_or_named() -> None:
    table = read_table("started,note\nx,,rain,,wind\ny,dry,")
    assert [row.cells["note"] for row in table.rows] == ["rain, wind", "dry"]
    assert table.problems == ()
    table = read_table("note,started\nx,y,,rain,wind")
    assert table.problems == (Problem("'rain' beyond the last column", "a cell for each column", row=1, line=2),)


@pytest.mark.parametrize(("lines", "whole"), [(2, True), (20, True), (21, False)])
def test_a_quoted_note_may_run_over_twenty_lines(lines: int, whole: bool) -> None:
    note = "\n".join(f"line {n}" for n in range(lines))
    table = read_table(f'started,note\nx,"{note}"\ny,dry')
    assert bool(table.problems) is not whole
    if whole:
        assert [row.cells["note"] for row in table.rows] == [note, "dry"]
        assert [row.line for row in table.rows] == [2, 2 + lines]
    else:
        assert table.problems[0] == Problem("a quote that is not closed", "each quote closed", row=1, line=2)
        assert table.rows[0].cells["note"] == "line 0"
        assert table.rows[-1].cells["note"] == "dry"


def test_an_open_quote_swallows_no_row_below_it() -> None:
    table = read_table('started,note\nx,"rain\ny,dry"\nz,fog')
    assert [dict(row.cells) for row in table.rows] == [
        {"started": "x", "note": "rain"}, {"started": "y", "note": 'dry"'}, {"started": "z", "note": "fog"},
    ]  # fmt: skip
    assert [p.row for p in table.problems] == [1]
    heading = read_table('started,"note\nx,y')
    assert [(p.found, p.row, p.line) for p in heading.problems] == [("a quote that is not closed", 0, 1)]


def test_rows_without_a_heading_are_told_by_what_is_in_them() -> None:
    table = read_table(
        "14.5.2024;7:05;week/Mon.GPX;rain;fog\n\n;;;\nMay 4, 2026 7:05\n14.5.2024 wet;7:05:10 dry;7:06\n"
    )
    assert [(row.number, row.line, dict(row.cells)) for row in table.rows] == [
        (1, 1, {"started": "14.5.2024, 7:05", "file": "week/Mon.GPX", "note": "rain, fog"}),
        (4, 4, {"started": "May 4, 2026 7:05"}),
        (5, 5, {"date": "14.5.2024", "started": "7:05:10", "note": "wet, dry, 7:06"}),
    ]
    assert [p.line for p in read_table("\nDatum;Beginn\n14.5.2024;7:05").problems] == [2]
    second = "one date and one time in a row, or a heading above each column"
    assert table.problems == (Problem("'7:06' as a second time", second, row=5, line=5),)


def test_a_time_that_a_comma_stands_in_is_put_together_again() -> None:
    for line, note in (("May 4, 2026 7:05", None), ("4 May, 2026, 7:05", None), ("May 4, 2026, 7:05,rain", "rain")):
        table = read_table(f"{line}\n")
        (row,) = table.rows
        assert read_time(row.cells["started"]) is not None, line
        assert (row.cells.get("note"), "date" in row.cells) == (note, False), line


def test_lines_of_one_kind_are_told_together_from_the_third_on() -> None:
    def told(*rows: int, why: str = "w") -> tuple[str, ...]:
        return start_table.lines([Problem(f"x{row}", "y", why, row) for row in rows])

    assert told(1, 2) == ("rides.csv: found x1 in row 1, w; expected y", "rides.csv: found x2 in row 2, w; expected y")
    assert told(1, 2, 3) == ("rides.csv: found x1 in row 1, w; the same in rows 2 and 3; expected y",)
    assert told(1, 4, 5, 6, 9) == ("rides.csv: found x1 in row 1, w; the same in rows 4 to 6 and 9; expected y",)
    assert len(told(1, 2, 3, why="")) == 3
    assert len(told(0, 0, 0)) == 3
    mixed = start_table.lines([Problem("a", "y", "w", 1), Problem("b", "z", "w", 2), Problem("c", "y", "w", 3)])
    assert [line.split()[2] for line in mixed] == ["a", "c", "b"]


# dates and clocks


@pytest.mark.parametrize(
    "weekday",
    ["Mon", "Monday", "Tue", "Tues", "Tuesday", "Wed", "Wednesday", "Thu", "Thur", "Thurs", "Thursday", "Fri", "Friday", "Sat",
     "Saturday", "Sun", "Sunday"],
)  # fmt: skip
@pytest.mark.parametrize("written", ["{}, 14 May 2026", "{} 14.5.2026", "{}. May 14 2026"])
def test_each_weekday_may_stand_before_a_date(weekday: str, written: str) -> None:
    assert read_date(written.format(weekday)) == WrittenDate("2026-05-14")
    assert read_date(written.format(weekday.lower())) == WrittenDate("2026-05-14")


@pytest.mark.parametrize(
    ("text", "iso", "other"),
    [
        ("2026-05-04", "2026-05-04", ""), ("2026/5/4", "2026-05-04", ""), ("2026.05.04", "2026-05-04", ""),
        ("20260504", "2026-05-04", ""), ("4.5.2026", "2026-05-04", ""), ("4. 5. 2026", "2026-05-04", ""),
        ("04/05/26", "2026-05-04", "2026-04-05"), ("4-5-26", "2026-05-04", "2026-04-05"), ("5/5/26", "2026-05-05", ""),
        ("13/5/26", "2026-05-13", ""), ("5/13/26", "", "2026-05-13"), ("5.13.26", "", ""), ("1.1.79", "", ""),
        ("1.1.80", "1980-01-01", ""), ("1.1.99", "1999-01-01", ""), ("1.1.00", "2000-01-01", ""),
        ("2079-01-01", "2079-01-01", ""), ("1980-01-01", "1980-01-01", ""), ("2199-12-31", "2199-12-31", ""),
        ("1st Jan 2026", "2026-01-01", ""), ("2nd of May 2026", "", ""), ("31 December 2026", "2026-12-31", ""),
        ("Sept. 3rd, 2026", "2026-09-03", ""), ("Tues 5 May, 2026", "2026-05-05", ""), ("29 Feb 2024", "2024-02-29", ""),
    ],
)  # fmt: skip
def test_dates_as_people_write_them(text: str, iso: str, other: str) -> None:
    found = read_date(text)
    expected = WrittenDate(iso, other) if iso or other else None
    if text == "1.1.79":
        assert found == WrittenDate("2079-01-01")
    else:
        assert found == expected


@pytest.mark.parametrize(
    "text",
    ["1979-12-31", "2200-01-01", "29 Feb 2023", "2026-13-01", "2026-00-10", "2026-05", "4.5", "4.5.126", "32.1.2026",
     "2026-05-04x", "May 2026", "18000504", "0.5.2026"],
)  # fmt: skip
def test_what_is_no_date(text: str) -> None:
    """GPS time begins in 1980 (IS-GPS-200, 3.3.4); February has 29 days in years that 4 divides."""
    assert read_date(text) is None


@pytest.mark.parametrize(
    ("text", "clock", "zone", "to_minute"),
    [
        ("7:05", "07:05:00", "", True), ("07.05", "07:05:00", "", True), ("7:05:09", "07:05:09", "", False),
        ("7:05:09.5", "07:05:09.5", "", False), ("7:05:09,125", "07:05:09.125", "", False), ("0:00", "00:00:00", "", True),
        ("23:59:59", "23:59:59", "", False), ("24:00", "24:00:00", "", True), ("23:59:60", "23:59:60", "", False),
        ("12:30 am", "00:30:00", "", True), ("12:30 pm", "12:30:00", "", True), ("1:30 a.m.", "01:30:00", "", True),
        ("11:30pm", "23:30:00", "", True), ("7:05Z", "07:05:00", "Z", True), ("7:05 utc", "07:05:00", "Z", True),
        ("7:05 GMT", "07:05:00", "Z", True), ("7:05+2", "07:05:00", "+02:00", True), ("7:05 -3", "07:05:00", "-03:00", True),
        ("7:05+0530", "07:05:00", "+05:30", True), ("7:05 +530", "07:05:00", "+05:30", True),
        ("7:05+05:45", "07:05:00", "+05:45", True), ("7:05 −12", "07:05:00", "-12:00", True),
        ("7:05 pm -10:00", "19:05:00", "-10:00", True),
    ],
)  # fmt: skip
def test_clocks_as_people_write_them(text: str, clock: str, zone: str, to_minute: bool) -> None:
    """Noon is 12 pm and midnight 12 am (common practice); 24:00 and the 60th second are of ISO 8601-1:2019."""
    assert read_clock(text) == WrittenTime(None, clock, zone, to_minute)


@pytest.mark.parametrize(
    "text",
    [
        "24:00:01",
        "24:01",
        "25:00",
        "7:60",
        "7:05:61",
        "13:00 pm",
        "0:30 am",
        "7",
        "7:5",
        "7:05.09",
        "7.05:09",
        "7:05 x",
        "",
    ],
)
def test_what_is_no_clock(text: str) -> None:
    assert read_clock(text) is None


@pytest.mark.parametrize(
    ("text", "day", "clock"),
    [
        ("2026-05-04T07:05:09", "2026-05-04", "07:05:09"), ("2026-05-04t0705", "2026-05-04", "07:05:00"),
        ("20260504T070509.5Z", "2026-05-04", "07:05:09.5"), ("4.5.2026, 7:05", "2026-05-04", "07:05:00"),
        ("2026-05-04_7:05", "2026-05-04", "07:05:00"), ("2026-05-04 070509 +2", "2026-05-04", "07:05:09"),
        ("2026-05-04 7:05 pm", "2026-05-04", "19:05:00"),
    ],
)  # fmt: skip
def test_a_date_and_a_clock_together(text: str, day: str, clock: str) -> None:
    found = read_time(text)
    assert found is not None
    assert (found.day, found.clock) == (WrittenDate(day), clock)
    assert found.to_minute is (clock[-2:] == "00")


@pytest.mark.parametrize(
    "text", ["2026-05-04", "7:05", "2026-05-047:05", "2026-05-04 T", "2026-05-04 07050", "2026-05-04 7"]
)
def test_what_is_not_both(text: str) -> None:
    assert read_time(text) is None


# what a row may mean


def test_what_may_be_meant_of_a_trace() -> None:
    """Its first record of any kind, its first fix, its last record; nothing where the day is unknown."""
    minute = np.timedelta64(1, "m")
    trace = trace_on(
        road(100), file="a.gpx", track=2, device="w", first_record=MONDAY - minute, last_record=MONDAY + 9 * minute
    )
    assert recording_of(trace) == Recording("a.gpx", 2, "w", MONDAY - minute, MONDAY, MONDAY + 9 * minute)
    found = recording_of(trace_on(road(100), first_record=NAT))
    assert found.begins == found.fixed == found.until == MONDAY
    unknown = recording_of(trace_on(road(100), date_known=False))
    assert np.isnat([unknown.begins, unknown.fixed, unknown.ends]).all()
    lost = trace_on(
        road(100)[:0], points=2, set_aside=(SetAside("no_fix", 2, 0),), first_record=MONDAY, last_record=MONDAY + minute
    )
    assert np.isnat(recording_of(lost).fixed)
    assert recording_of(lost).until == MONDAY + minute


def test_labels_and_waits() -> None:
    assert [Recording("a.gpx", k).label for k in (0, 1, 2)] == ["a.gpx", "a.gpx", "a.gpx (track 2)"]
    assert Recording("a.gpx", 2).key == ("a.gpx", 2)
    assert seconds(MONDAY, MONDAY + np.timedelta64(1500, "ms")) == -1.5
    (row,) = parse("2025-06-02T06:59:00Z").rows
    assert start_matching.Match(row, Recording("a", fixed=MONDAY)).waited_s == 60.0
    assert np.isnan(start_matching.Match(row).waited_s)


@pytest.mark.parametrize(
    ("apart_s", "said"),
    [
        (172_800, "2.0 days later"), (172_799, "48.0 h later"), (-7200, "2.0 h earlier"), (7199, "120.0 min later"),
        (-120, "2.0 min earlier"), (119, "119 s later"), (-1, "1 s earlier"), (0.4, "0 s later"),
    ],
)  # fmt: skip
def test_how_far_away_the_nearest_recording_begins(apart_s: float, said: str) -> None:
    assert start_matching._apart(apart_s) == said


def test_in_a_file_of_several_tracks_the_one_that_ends_its_search_next_is_meant() -> None:
    started = MONDAY

    def track(number: int, after_s: float) -> Recording:
        fixed = MONDAY + np.timedelta64(round(after_s * 1000), "ms")
        return Recording("a.gpx", number, "", fixed, fixed, fixed)

    lost = Recording("a.gpx", 9)
    later, next_, gone, long_gone = track(1, 900), track(2, 30), track(3, -10), track(4, -800)
    assert start_matching._Tracks.of([lost, gone, later, next_]).next_after(started) == next_
    assert start_matching._Tracks.of([lost, long_gone, gone]).next_after(started) == gone
    assert start_matching._Tracks.of([lost]).next_after(started) == lost
    assert start_matching._Tracks.of([gone, track(5, 0)]).next_after(started).track == 5
    assert start_matching._Tracks.of([track(6, -0.1), track(5, 0.5)]).next_after(started).track == 5


def test_a_search_may_last_as_long_as_told() -> None:
    fixed = MONDAY + np.timedelta64(100, "s")
    log = parse("2025-06-02T07:00:00Z")
    assert start_matching.match(log, [Recording("a", begins=fixed, fixed=fixed)], 100.0).problems == ()
    (problem,) = start_matching.match(log, [Recording("a", begins=fixed, fixed=fixed)], 90.0).problems
    assert str(problem) == (
        "rides.csv: found '2025-06-02T07:00:00Z' in row 1, after which no recording begins: the nearest, a, begins 100 s "
        "later; expected a start at most 1.5 min before its recording"
    )


def test_a_device_that_nothing_names_is_no_reason_to_refuse_a_row() -> None:
    """Recordings of an unknown device may be any; those of a device by that name are meant where there are some."""
    fixed = MONDAY + np.timedelta64(30, "s")
    log = parse("device,started\nunknown device,2025-06-02T07:00:00Z")
    unknown = Recording("a.gpx", 1, "unknown device (a.gpx)", fixed, fixed, fixed)
    named = Recording("b.gpx", 1, "Unknown Device", fixed, fixed, fixed)
    assert [m.recording for m in start_matching.match(log, [unknown]).each] == [unknown]
    other = parse("device,started\nwatch,2025-06-02T07:00:00Z")
    watch = Recording("c.gpx", 1, "Watch", fixed, fixed, fixed)
    assert [m.recording for m in start_matching.match(other, [named, watch]).each] == [watch]


def test_the_device_of_a_file_holds_for_its_tracks_unless_a_row_names_the_track_itself() -> None:
    def track(file: str, number: int, after_s: int) -> Recording:
        fixed = MONDAY + np.timedelta64(after_s, "s")
        return Recording(file, number, "", fixed, fixed, fixed)

    tracks = [track("a.gpx", 1, 10), track("a.gpx", 2, 5000), track("a.gpx", 3, 9000), track("b.gpx", 1, 20_000)]
    log = parse(
        "file,device,started\na.gpx,First,2025-06-02T07:00:00Z\na.gpx,Second,2025-06-02T08:20:00Z\n"
        ",By time,2025-06-02T12:30:00Z\n"
    )
    assert start_matching.match(log, tracks).devices == {
        ("a.gpx", 1): "First", ("a.gpx", 2): "Second", ("a.gpx", 3): "First", ("b.gpx", 1): "By time",
    }  # fmt: skip
    by_time = parse("device,started\nOnly this,2025-06-02T07:00:00Z\n")
    assert start_matching.match(by_time, tracks).devices == {("a.gpx", 1): "Only this"}

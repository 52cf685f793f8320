"""``rides.csv`` as people type it: every line is a row or a named problem, and each time is read right or refused."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from typing import TYPE_CHECKING
from zoneinfo import ZoneInfo

import numpy as np
import pytest
from hypothesis import example, given
from hypothesis import strategies as st

from gpsq.campaign import start_log, start_table

if TYPE_CHECKING:
    from gpsq.campaign.start_log import StartLog

SEVEN = np.datetime64("2024-05-14T07:00:00", "ms")


def parse(*rows: str, heading: str = "file,device,started", zone: str | None = None) -> StartLog:
    return start_log.parse("\n".join([heading, *rows]).encode(), zone)


def starts(text: str, zone: str | None = "UTC") -> list[str]:
    return [str(row.started).removesuffix(".000") for row in start_log.parse(text, zone).rows]


# times


def test_a_time_with_an_offset_is_taken_in_utc() -> None:
    log = parse("mon.gpx,Watch,2024-05-14T09:00:00+02:00")
    assert log.entries["mon.gpx"].started == SEVEN
    assert log.problems == ()


@pytest.mark.parametrize(
    "row", ["mon.gpx,Watch,2024-05-14 08:00:00", "mon.gpx,Watch,14.5.2024 8:00", "mon.gpx,,14/05/24 8:00 am"]
)
def test_a_time_without_a_zone_is_refused_unless_the_campaign_names_one(row: str) -> None:
    (refused,) = parse(row).rows
    assert np.isnat(refused.started)
    assert "in row 1, without a zone; expected Z or an offset" in str(parse(row).problems[0])
    (taken,) = parse(row, zone="Europe/London").rows
    assert taken.started == SEVEN


@pytest.mark.parametrize(("text", "often"), [("2024-10-27T01:30:00", "twice"), ("2024-03-31T01:30:00", "never")])
def test_a_local_time_that_comes_twice_or_never_is_refused_and_says_which(text: str, often: str) -> None:
    """Summer time in the United Kingdom ended on 27 October and began on 31 March 2024 at 01:00 UTC (tz database)."""
    log = parse(f"mon.gpx,Watch,{text}", zone="Europe/London")
    assert np.isnat(log.rows[0].started)
    said = f"{often}: the clocks of Europe/London change then; expected Z or an offset such as +02:00"
    assert str(log.problems[0]).endswith(f"which comes {said}")


MOMENT = "2024-05-14T07:05:09"
WAYS = [
    ("started", "2024-05-14T07:05:09"), ("started", "2024-05-14 7:05:09"), ("started", "14.5.2024 07:05:09"),
    ("started", "14.05.24, 7.05.09"), ("started", "14/5/2024 07:05:09 am"), ("started", "14-05-2024 07:05:09"),
    ("started", "Tue 14 May 2024 07:05:09"), ("started", "14th May 2024, 07:05:09"), ("started", "May 14, 2024 7:05:09 a.m."),
    ("pressed start", "20240514T070509"), ("Start pressed (watch)", "2024/05/14 07:05:09"),
    ("START_TIME", "2024.5.14_07:05:09"), ("date;started", "14.5.2024;07:05:09"),
    ("Date\tPressed start", "2024-05-14\t7:05:09"), ("day;start", "Tuesday 14 May 2024;7.05.09"),
    ("date,started", "2024-05-14,2024-05-14 07:05:09"), ("date", "14.5.2024 07:05:09"), ("start (UTC)", "2024-05-14 07:05:09"),
    ("started", "2024-05-14T09:05:09+0200"), ("date;started", "14.5.2024;10:35:09 +3:30"), ("started", "2024-05-14 02:05:09-5"),
]  # fmt: skip


@pytest.mark.parametrize(("heading", "row"), WAYS)
def test_one_moment_is_read_in_every_way_that_people_write_it(heading: str, row: str) -> None:
    if "," in row and "," not in heading:
        row = f'"{row}"'
    log = start_log.parse(f"{heading}\n{row}\n", "UTC")
    assert log.problems == ()
    assert starts(f"{heading}\n{row}\n") == [MOMENT]
    assert not log.rows[0].to_minute


@pytest.mark.parametrize(("heading", "row"), WAYS)
def test_only_a_time_that_says_its_zone_needs_none_of_the_campaign(heading: str, row: str) -> None:
    """The last four of them do, by an offset or by their heading."""
    if "," in row and "," not in heading:
        row = f'"{row}"'
    said = " ".join(map(str, start_log.parse(f"{heading}\n{row}\n", None).problems))
    assert ("without a zone; expected Z or an offset" in said) is ((heading, row) not in WAYS[-4:])
    assert starts(f"{heading}\n{row}\n", None) == [MOMENT if (heading, row) in WAYS[-4:] else "NaT"]


@pytest.mark.parametrize("row", ["2024-05-14 07:05", "14.5.2024 7.05", "14 May 2024 7:05 am"])
def test_a_time_without_seconds_is_known_to_the_minute(row: str) -> None:
    (entry,) = start_log.parse(f"started\n{row}", "UTC").rows
    assert entry.to_minute
    assert str(entry.started) == "2024-05-14T07:05:00.000"


@pytest.mark.parametrize(
    ("row", "why"),
    [
        ("soon", "found 'soon' as started in row 1; expected a time such as"),
        ("07:00:12", "in row 1, without a date; expected"),
        ("14.5.2024", "in row 1; expected a time such as"),
        ("31.2.2024 07:00", "found '31.2.2024 07:00' as started in row 1; expected"),
        ("14.5.2024 25:00", "found '14.5.2024 25:00' as started in row 1; expected"),
        ("14.5.2024 13:00 pm", "found '14.5.2024 13:00 pm' as started in row 1; expected"),
        ("05/14/2024 07:00", "in row 1, a date with the month first; expected the day first, or the year"),
        ("2024-05-14T07:00:00+99:00", "found '2024-05-14T07:00:00+99:00' as started"),
        ("0001-01-01 00:00:00", "as started in row 1; expected"),
    ],
)
def test_what_is_no_time_is_refused_and_named(row: str, why: str) -> None:
    log = start_log.parse(f"started\n{row}\n", "Pacific/Kiritimati")
    assert np.isnat(log.rows[0].started)
    assert why in str(log.problems[0])


def test_a_date_and_a_start_that_contradict_each_other_are_refused() -> None:
    log = start_log.parse("date,started\n2024-05-14,2024-05-15 07:00:00\n", "UTC")
    assert np.isnat(log.rows[0].started)
    assert "'2024-05-14 2024-05-15 07:00:00' as started in row 1" in str(log.problems[0])


def test_where_one_date_has_the_month_first_the_unclear_ones_are_refused_too() -> None:
    """5 April or 4 May: nothing but the other rows can tell, and they say the month first."""
    text = "date;started\n04/05/2024;07:00:00\n05/14/2024;07:00:00\n05/05/2024;07:00:00\n4.5.2024;07:00:00\n"
    log = start_log.parse(text, "UTC")
    assert starts(text) == ["NaT", "NaT", "2024-05-05T07:00:00", "2024-05-04T07:00:00"]
    assert [str(p).partition("; expected")[0] for p in log.problems] == [
        "rides.csv: found '04/05/2024 07:00:00' as started in row 1, which is 2024-05-04, or 2024-04-05 with the month "
        "first as in '05/14/2024 07:00:00'",
        "rides.csv: found '05/14/2024 07:00:00' as started in row 2, a date with the month first",
    ]


moments = st.datetimes(datetime(1981, 1, 1), datetime(2099, 1, 1)).map(lambda d: d.replace(microsecond=0))
DAYS = ("%Y-%m-%d", "%d.%m.%Y", "%d/%m/%Y", "%d %B %Y", "%a %d %b %Y", "%Y%m%d", "%B %d, %Y")
CLOCKS = ("%H:%M:%S", "%H.%M.%S", "%I:%M:%S %p", "%H:%M")


@given(moments, st.sampled_from(DAYS), st.sampled_from(CLOCKS), st.sampled_from(";\t"), st.booleans(), st.booleans())
def test_what_is_written_is_read_back(
    moment: datetime, day: str, clock: str, delimiter: str, apart: bool, headed: bool
) -> None:
    """The standard library's strftime writes; headings or none, date and time in one cell or apart."""
    expected = moment.replace(second=0) if clock == "%H:%M" else moment
    head = (f"Date{delimiter}Pressed start\n" if apart else f"Started{delimiter}Note\n") if headed else ""
    text = f"\ufeff\n{head}\n{moment.strftime(day)}{delimiter if apart else ' '}{moment.strftime(clock)}\n\n"
    log = start_log.parse(text.encode(), "UTC")
    assert not log.problems
    assert [row.started.astype(datetime) for row in log.rows] == [expected]
    assert log.rows[0].to_minute == (clock == "%H:%M")


@given(moments, st.sampled_from(["Europe/London", "America/St_Johns", "Australia/Lord_Howe", "Asia/Kathmandu"]))
def test_local_times_agree_with_the_time_zone_data(moment: datetime, zone: str) -> None:
    """Either the one instant that shows this clock in the zone, by search over the standard library's offsets, or refused."""
    (entry,) = start_log.parse(f"started\n{moment:%Y-%m-%d %H:%M:%S}", zone).rows
    utc = moment.replace(tzinfo=UTC)
    showing = {
        instant
        for minutes in range(-15 * 60, 15 * 60, 15)
        if (instant := utc - timedelta(minutes=minutes)).astimezone(ZoneInfo(zone)).replace(tzinfo=UTC) == utc
    }
    if len(showing) == 1:
        assert entry.started.astype(datetime) == showing.pop().replace(tzinfo=None)
    else:
        assert np.isnat(entry.started)


def test_starts_to_the_minute_are_told_of_in_one_line() -> None:
    log = start_log.parse("started\n2024-05-14 07:05\n2024-05-15 07:05\n2024-05-16 07:05:30\n", "UTC")
    assert start_log.without_seconds(log) == (
        "rides.csv: 2 of 3 starts have no seconds, so the times to first fix from them may be up to 59 s too long",
    )
    assert start_log.without_seconds(start_log.parse("started\n2024-05-14T07:05:00Z")) == ()


# rows


words = st.sampled_from(
    ["file", "device", "started", "date", "Pressed start", "note", "", "Datum", "mon.gpx", "14.5.2024", "7:00", "soon", '"',
     "2024-05-14T07:00:00Z", "05/14/2024 7:00", "watch", "rain", "51.2", ",", "\t", "\ufeff", "\0", "\x1c", "=1"]
)  # fmt: skip
some_lines = st.lists(st.lists(words, max_size=5).map(";".join), max_size=8).map("\n".join)


@given(st.one_of(st.text(max_size=200), some_lines), st.sampled_from([None, "Europe/Paris"]))
@example('file,started\n"a.gpx,2024-05-14T07:00:00Z\nb.gpx,2024-05-14T07:00:00Z\n', None)
@example("x" * 200_000 + "\nfile;started", None)
@example("file;started\n" + "x" * 200_000, None)
@example("Datum;Beginn\n14.5.2024;7:00\n", "Europe/Paris")
def test_every_line_is_a_row_or_a_named_problem_and_none_is_an_end(text: str, zone: str | None) -> None:
    log = start_log.parse(text.encode("utf-8", "surrogatepass"), zone)
    rows = {entry.row: entry for entry in log.rows}
    for number, entry in rows.items():
        named = [p for p in log.problems if p.row == number]
        assert named or not np.isnat(entry.started)
    assert len(rows) == len(log.rows)
    told = {entry.line for entry in log.rows} | {p.line for p in log.problems}
    plain = text.replace("\0", "")
    if '"' not in plain:
        said = {k for k, line in enumerate(plain.splitlines(), start=1) if line.strip(",;\t \ufeff")}
        top = min(said, default=0)
        assert {k for k in said if plain.splitlines()[k - 1].strip(",;\t \x1f\ufeff").strip()} - {top} <= told
    assert all("\n" not in line for line in start_table.lines(log.problems))


@given(st.binary(max_size=300))
@example(b"started\n2024-05-14T07:00:00Z,caf\xe9\n")
@example("started\n2024-05-14T07:00:00Z\n".encode("utf-16"))
def test_any_bytes_are_answered(data: bytes) -> None:
    log = start_log.parse(data)
    assert log.rows or log.problems


def test_files_that_spreadsheets_write_in_other_encodings_are_read() -> None:
    utf16 = start_log.parse("Date\tPressed start\tNote\n14.5.2024\t07:00:00\tCafé\n".encode("utf-16"), "UTC")
    latin = start_log.parse("Date;Pressed start;Note\n14.5.2024;07:00:00;Café\n".encode("cp1252"), "UTC")
    assert [row.note for row in (*utf16.rows, *latin.rows)] == ["Café", "Café"]
    assert not utf16.problems
    assert not latin.problems


@pytest.mark.parametrize(
    ("heading", "row", "says"),
    [
        ("file,device,started,weather", "a.gpx,W,2024-05-14T07:00:00Z,dry", "the unknown column 'weather'"),
        ("file,device", "a.gpx,W", "no column 'started'"),
        ("file,device,started", "a.gpx,W,soon", "'soon' as started in row 1"),
        (
            "file,device,started,start_state",
            "a.gpx,W,,tepid",
            "'tepid' as start_state in row 1; expected hot, warm, cold",
        ),
        ("file,device,started,start_lat,start_lon", "a.gpx,W,,95,3", "'95' as start_lat in row 1"),
        ("file,device,started,start_lat,start_lon", "a.gpx,W,,51,", "one of start_lat and start_lon in row 1"),
        ("file,device,device,started", "a.gpx,W,W,", "the column 'device' twice"),
        ("file,started", "a.gpx,2024-05-14T07:00:00Z,rain", "'rain' beyond the last column in row 1"),
    ],
)
def test_every_problem_is_one_line_and_the_row_is_still_used(heading: str, row: str, says: str) -> None:
    log = parse(row, heading=heading)
    (problem,) = [str(p) for p in log.problems if says in str(p)]
    assert problem.startswith("rides.csv: found ")
    assert "\n" not in problem
    assert "a.gpx" in log.entries


def test_a_comma_in_a_note_that_stands_last_is_kept() -> None:
    log = parse("a.gpx,2024-05-14T07:00:00Z,rain, and wind", heading="file,started,note")
    assert [row.note for row in log.rows] == ["rain, and wind"]
    assert not log.problems


def test_semicolons_blank_rows_and_a_byte_order_mark_do_no_harm() -> None:
    log = start_log.parse("\ufefffile;device;started\r\n\r\na.gpx;W;2024-05-14T07:00:00Z\r\n".encode())
    assert list(log.entries) == ["a.gpx"]
    assert log.problems == ()


def test_rows_without_a_heading_are_read_by_what_they_hold() -> None:
    text = "Tue 14 May 2024 07:05:09 rain\n15.5.2024 7:06:10\n"
    assert starts(text) == [MOMENT, "2024-05-15T07:06:10"]
    assert start_log.parse(text, "UTC").rows[0].note == "rain"
    (row,) = start_log.parse("watch/mon.gpx\t14.5.2024\t07:05:09\tcold", "UTC").rows
    assert (row.file, str(row.started), row.note) == ("watch/mon.gpx", f"{MOMENT}.000", "cold")


def test_headings_in_other_words_are_named_and_the_rows_read_all_the_same() -> None:
    log = start_log.parse("Datum;Beginn\n14.5.2024;07:05:09\n", "UTC")
    assert [str(row.started) for row in log.rows] == [f"{MOMENT}.000"]
    assert "found the headings 'Datum;Beginn', which are not known; expected headings such as file" in str(
        log.problems[0]
    )


def test_a_second_time_in_a_row_without_a_heading_is_named() -> None:
    log = start_log.parse("14.5.2024;07:05:09;07:45:00\n", "UTC")
    assert "'07:45:00' as a second time in row 1; expected one date and one time" in str(log.problems[0])
    assert log.rows[0].note == "07:45:00"


def test_many_rows_with_one_fault_are_one_line() -> None:
    log = parse(*(f"{k}.gpx,W,2024-05-{k:02d} 07:00" for k in range(10, 14)))
    assert len(log.problems) == 4
    assert [p.line for p in log.problems] == [2, 3, 4, 5]
    assert start_table.lines(log.problems) == (
        "rides.csv: found '2024-05-10 07:00' as started in row 1, without a zone; the same in rows 2 to 4; "
        "expected Z or an offset such as +02:00, or time_zone in campaign.toml",
    )


@pytest.mark.parametrize("data", [b"", b"\n\n", b"\x00\xff\xfe,,,\n\n", b'"file,device\n', b"file\n" + b"," * 100])
def test_rubbish_is_one_line_or_more_and_never_an_end(data: bytes) -> None:
    assert start_log.parse(data).problems

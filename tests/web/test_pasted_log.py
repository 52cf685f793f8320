"""A start log pasted into the page: every line answered, what is kept is what the analysis then reads."""

from __future__ import annotations

import dataclasses

import numpy as np
import pytest
from by_hand import by_hand
from trace_maker import road, trace_on
from web_session import Client, desk_with_results

from gpsq.campaign import campaign_file, start_log
from gpsq.campaign.campaign_file import Campaign
from gpsq.web import pasted_log

PARIS = Campaign(time_zone="Europe/Paris")


def week():
    """Three mornings; each recording begins with its first fix at 07:00:00 UTC, 2 June 2025 a Monday; none has a start."""
    return [
        dataclasses.replace(trace_on(road(), day=day), file=f"{day}.gpx", started=np.datetime64("NaT", "ms"))
        for day in range(3)
    ]


def look(text, campaign=PARIS, page_zone=""):
    return pasted_log.look(text, week(), [], campaign, page_zone)


def test_each_line_is_answered_with_its_recording_and_the_seconds_waited():
    found = look("date;start\n2.6.2025;08:59:35\n\n3.6.2025;08:58\n")
    assert [(line.text, line.file) for line in found.lines] == [
        ("2.6.2025;08:59:35", "0.gpx"),
        ("3.6.2025;08:58", "1.gpx"),
    ]
    assert [line.said.replace("\xa0", " ") for line in found.lines] == [
        "25 s to the first fix",
        "up to 2 min to the first fix",
    ]
    assert [row["started"] for row in found.rows] == ["2025-06-02T08:59:35+02:00", "2025-06-03T08:58:00+02:00"]
    assert found.without == ("2.gpx",)
    assert found.zone == ""


def test_only_what_has_no_start_is_told_to_be_without_one():
    """By whatever way a start is known: from points before the fix, from the file, or from the log that is kept."""
    known = [dataclasses.replace(trace, start_basis="log") for trace in week()[:1]]
    found = pasted_log.look("3.6.2025;08:58\n", [*known, *week()[1:]], [], PARIS)
    assert found.without == ("2.gpx",)


def test_a_recording_that_never_fixed_waited_without_end():
    found = pasted_log.look("file,started\namber/tue.gpx,2026-05-05 09:02:50\n", by_hand().traces, [], PARIS)
    assert [(line.file, line.said) for line in found.lines] == [("amber/tue.gpx", "never fixed")]


def test_how_far_before_its_recording_a_line_may_lie_is_what_the_campaign_says():
    """Forty minutes before the first recording: too far, unless the campaign says an hour, as for rides.csv."""
    told = dataclasses.replace(PARIS, settings=PARIS.settings.with_values(start_bound_s=3600.0))
    assert [len(look("2.6.2025;08:20:00\n", campaign).rows) for campaign in (PARIS, told)] == [0, 1]


def test_lines_that_fit_nothing_are_answered_too():
    found = look(
        "file,started\n0.gpx,2025-06-02 09:00:10\n1.gpx,soon\n7.gpx,2025-06-02 08:59:00\n2.gpx,2025-06-04 02:59:00\n"
    )
    assert found.rows == ()
    assert [line.file for line in found.lines] == [""] * 4
    for line, says in zip(
        found.lines,
        ("found a start 10 s after the first fix", "'soon' as started", "which is no recording here", "6.0 h before"),
        strict=True,
    ):
        assert says in line.said
        assert "expected" in line.said


def test_an_hour_of_another_zone_is_noticed():
    (line,) = look("2025-06-02 07:59:35").lines
    assert "begins 60.4 min later" in line.said


def test_the_pages_zone_is_used_where_none_is_kept_and_kept_with_it():
    found = look("2025-06-02 08:59:35", Campaign(), "Europe/Paris")
    assert found.zone == "Europe/Paris"
    assert found.rows[0]["started"] == "2025-06-02T08:59:35+02:00"
    assert look("2025-06-02 06:59:35Z", Campaign(), "Europe/Paris").zone == ""
    assert look("2025-06-02 08:59:35", PARIS, "Asia/Tokyo").zone == ""
    none = look("2025-06-02 08:59:35", Campaign())
    assert none.rows == ()
    assert "without a zone" in none.lines[0].said


def test_what_else_a_row_says_is_kept():
    found = look("started,note,start_state,ride,start_lat,start_lon\n2025-06-02 08:59:35,wet,cold,R1,40.0,-28.0\n")
    assert found.rows == (
        {"file": "0.gpx", "started": "2025-06-02T08:59:35+02:00", "start_lat": "40.0000000",
         "start_lon": "-28.0000000", "start_state": "cold", "ride": "R1", "note": "wet"},
    )  # fmt: skip


@pytest.mark.parametrize("text", ["", "\n\n", "x" * 5000, "\0", '"', "a,b\n" * 400, "🚲 2025-06-02 08:59:35"])
def test_whatever_is_pasted_gets_an_answer(text):
    found = look(text)
    assert len(found.lines) <= max(1, text.count("\n") + 1)
    assert all("\n" not in line.said for line in found.lines)


def test_nothing_is_kept_before_it_is_asked_for(tmp_path):
    """The demo's first recordings, in the page's zone: the demo rides at UTC-2, as in Noronha (IANA time zone data)."""
    desk = desk_with_results(tmp_path)
    client = Client(desk)
    before = (desk.folder / start_log.FILE).read_bytes()
    text = "bar-unit/2025-09-08-out.gpx;2025-09-08 06:56:40\nbar-unit/2025-09-09-out.gpx;2025-09-09 23:00:00\n"
    assert client.post("/paste", data={"log": text, "zone": "America/Noronha"}).status_code == 200
    assert (desk.folder / start_log.FILE).read_bytes() == before
    shown = client.get("/").text
    assert "1 of 2 lines fit a recording; nothing is kept yet" in shown
    assert "Keep 1 start<" in shown
    assert client.post("/keep").status_code == 200
    told = campaign_file.load(desk.folder)
    assert told.time_zone == "America/Noronha"
    entries = start_log.load(desk.folder, told).entries
    assert str(entries["bar-unit/2025-09-08-out.gpx"].started) == "2025-09-08T08:56:40.000"
    assert "Keep 1 start" not in client.get("/").text
    refused = client.post("/keep")
    assert (refused.status_code, refused.json()["problem"]) == (
        400,
        "start log: found no line that fits a recording; expected one line or more",
    )


def test_a_zone_that_is_none_is_refused(tmp_path):
    desk = desk_with_results(tmp_path)
    refused = Client(desk).post("/paste", data={"log": "2025-09-08 06:56:40", "zone": "Noronha"})
    assert refused.status_code == 400
    assert "IANA" in refused.json()["problem"]

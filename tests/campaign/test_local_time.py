"""The clocks of the place: from campaign.toml, else from the offset that the files agree on; never guessed."""

from __future__ import annotations

import dataclasses
import re
from typing import TYPE_CHECKING

import numpy as np
import pytest
from output_sample import sample
from small_rides import gpx, write
from trace_maker import road, trace_on

from gpsq.campaign.local_time import offset_of_files
from gpsq.campaign.timestamps import parse_times
from gpsq.output.report.cards import by_event, card, title
from gpsq.output.report.page import report_page
from gpsq.pipeline.analysis import analyse

if TYPE_CHECKING:
    from pathlib import Path


@pytest.mark.parametrize(
    ("texts", "offset_min"),
    [
        (["2026-05-04T08:54:31+02:00", "2026-05-04T08:54:32+0200"], None),
        (["2026-05-04T08:54:31+02:00", "2026-05-04T08:54:32+02:00"], 120),
        (["2026-05-04T03:24:31.5-03:30"], -210),
        (["2026-05-04 08:54:31+02"], 120),
        (["2026-05-04T06:54:31Z"], None),
        (["2026-05-04T06:54:31+00:00"], None),
        (["2026-05-04T06:54:31"], None),
        (["2026-05-14"], None),
        (["2026-05-04T06:54:31Z", "2026-05-04T08:54:32+02:00"], None),
        ([], None),
    ],
)
def test_the_offset_of_a_file_is_the_one_that_all_its_times_bear(texts: list[str], offset_min: int | None) -> None:
    assert parse_times(texts).offset_min == offset_min


@pytest.mark.parametrize(
    ("offsets", "found"),
    [
        ([120, 120, 120], "+02:00"), ([-210, None], "-03:30"), ([345], "+05:45"),
        ([120, None, None], ""), ([120, 60], ""), ([None], ""), ([], ""),
    ],
)  # fmt: skip
def test_files_must_agree_and_be_most_of_them(offsets: list[int | None], found: str) -> None:
    traces = [
        trace_on(road(100), day=k, counts={} if offset is None else {"utc_offset_min": offset})
        for k, offset in enumerate(offsets)
    ]
    assert offset_of_files(traces) == found


def test_what_is_read_is_shown_by_the_clocks_that_the_files_bear_and_said(tmp_path: Path) -> None:
    local = re.sub(r"(\d\d:\d\d:\d\d)Z", r"\1+02:00", gpx("2024-05-14T09:00:30"))
    write(tmp_path, **{"mon.gpx": local})
    found = analyse(tmp_path)
    assert found.time_zone == "+02:00"
    assert str(found.traces[0].time[0]) == "2024-05-14T07:00:30.000"
    (note,) = [note for note in found.notes if note.startswith("Times are shown in UTC+02:00")]
    assert "time_zone in campaign.toml" in note
    write(tmp_path, **{"campaign.toml": 'time_zone = "Asia/Tokyo"\n'})
    named = analyse(tmp_path)
    assert named.time_zone == "Asia/Tokyo"
    assert not [note for note in named.notes if note.startswith("Times are shown")]


def test_cards_and_report_are_by_the_clocks_of_the_place() -> None:
    """23:59:30 UTC on 11 September is 01:59:30 on the 12th in Paris (UTC+2 in summer, tz database)."""
    made = sample()
    late = np.datetime64("2025-09-11T23:59:30", "ms")
    event = [dataclasses.replace(d, from_time=late, to_time=late + np.timedelta64(45, "s")) for d in by_event(made)[0]]
    there = dataclasses.replace(made, time_zone="Europe/Paris")
    assert title(there, event).startswith("12 September 2025, ")
    assert card(there, event).parts[0].times == "01:59:30 to 02:00:15 (Europe/Paris)"
    assert card(made, event).parts[0].times == "23:59:30 to 00:00:15 (UTC)"
    assert "(Europe/Paris)" in report_page(there, ())

"""Starts changed in rides.csv: the command line reads them, and all else stays as it was."""

from __future__ import annotations

import csv
import errno
import io
import os

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from gpsq.campaign import campaign_file, safe_files, start_log
from gpsq.campaign.start_matching import Recording, match
from gpsq.exceptions import CampaignError, OutputError
from gpsq.web import start_edits

LOG = 'file,device,started,mood,note\r\na.gpx,A,2024-05-14T07:10:00Z,"glad,\r\nvery",x\r\nb.gpx,B,,so so\r\n'
NEW = "2024-05-14T09:30:00+02:00"


def set_start(folder, file, started, device, files):
    recordings = [Recording(name) if isinstance(name, str) else name for name in files]
    start_edits.set_starts(folder, [{"file": file, "device": device, "started": started}], recordings)


def start_of(folder, file, files=("a.gpx", "b.gpx", "c.gpx")):
    log = start_log.load(folder, campaign_file.load(folder))
    return match(log, map(Recording, files)).starts[file, 1].started


def write(folder, text):
    (folder / start_log.FILE).write_bytes(text.encode())
    return folder


def test_a_start_is_changed_and_all_else_stays_byte_for_byte(tmp_path):
    write(tmp_path, "\ufeff" + LOG)
    set_start(tmp_path, "b.gpx", NEW, "B", ["a.gpx", "b.gpx"])
    told = (tmp_path / start_log.FILE).read_bytes().decode()
    assert told == "\ufeff" + LOG.replace("b.gpx,B,,so so\r\n", f"b.gpx,B,{NEW},so so,\r\n")
    assert start_of(tmp_path, "b.gpx") == np.datetime64("2024-05-14T07:30:00", "ms")


def test_a_recording_without_a_row_gets_one(tmp_path):
    write(tmp_path, LOG.removesuffix("\r\n"))
    set_start(tmp_path, "c.gpx", NEW, "C", ["a.gpx", "b.gpx", "c.gpx"])
    assert (tmp_path / start_log.FILE).read_bytes().decode() == LOG + f"c.gpx,C,{NEW},,\r\n"


def test_a_campaign_without_a_log_gets_one(tmp_path):
    set_start(tmp_path, "a.gpx", NEW, "", ["a.gpx"])
    assert (tmp_path / start_log.FILE).read_text() == f"file,device,started\na.gpx,,{NEW}\n"


def test_a_row_that_names_the_file_without_its_folder_is_found(tmp_path):
    write(tmp_path, LOG)
    set_start(tmp_path, "bar/b.gpx", NEW, "B", ["bar/b.gpx", "a.gpx"])
    assert (tmp_path / start_log.FILE).read_bytes().decode().count("b.gpx") == 1
    assert not np.isnat(start_of(tmp_path, "bar/b.gpx", ["bar/b.gpx", "a.gpx"]))


def test_a_row_without_a_file_is_found_as_far_before_its_recording_as_the_campaign_says(tmp_path):
    """Fifty minutes, which is too far unless the campaign says an hour; a second row would mean the same recording."""
    begins = np.datetime64("2024-05-14T08:00:00", "ms")
    recording = Recording("a.gpx", 1, "A", begins, begins, begins + np.timedelta64(1, "h"))
    write(tmp_path, "device,started\nA,2024-05-14T07:10:00Z\n")
    (tmp_path / campaign_file.FILE).write_text("[settings]\nstart_bound_s = 3600\n")
    set_start(tmp_path, "a.gpx", NEW, "A", [recording])
    assert (
        tmp_path / start_log.FILE
    ).read_text() == f"file,device,started,start_lat,start_lon,start_state,ride,note\na.gpx,A,{NEW},,,,,\n"


def test_a_start_is_taken_back(tmp_path):
    write(tmp_path, LOG)
    set_start(tmp_path, "a.gpx", "", "A", ["a.gpx", "b.gpx"])
    assert np.isnat(start_of(tmp_path, "a.gpx"))
    set_start(tmp_path, "c.gpx", "", "C", ["c.gpx"])
    assert b"c.gpx" not in (tmp_path / start_log.FILE).read_bytes()


def test_the_campaigns_zone_stands_for_a_time_without_one(tmp_path):
    (tmp_path / campaign_file.FILE).write_text('time_zone = "Europe/Paris"\n')
    set_start(tmp_path, "a.gpx", "2024-05-14T09:30:00", "", ["a.gpx"])
    assert start_of(tmp_path, "a.gpx") == np.datetime64("2024-05-14T07:30:00", "ms")


@pytest.mark.parametrize(
    "text", ["soon", "2024-05-14T09:30:00", "09:30", "2024-02-31T09:30:00Z", "x\ny", "2024-05-14T09:30Z,,"]
)
def test_a_start_that_cannot_be_followed_is_refused_and_nothing_written(tmp_path, text):
    write(tmp_path, LOG)
    with pytest.raises(CampaignError, match=r"as the start of a\.gpx"):
        set_start(tmp_path, "a.gpx", text, "A", ["a.gpx", "b.gpx"])
    assert (tmp_path / start_log.FILE).read_bytes().decode() == LOG


@pytest.mark.parametrize("data", [b"file,device,started\n\xff.gpx,A,\n", b"file,device,started\na\0.gpx,A,\n"])
def test_a_log_that_could_not_be_kept_is_left_alone(tmp_path, data):
    (tmp_path / start_log.FILE).write_bytes(data)
    with pytest.raises(CampaignError, match=r"rides\.csv"):
        set_start(tmp_path, "a.gpx", NEW, "A", ["a.gpx"])
    assert (tmp_path / start_log.FILE).read_bytes() == data


def test_an_empty_log_gets_its_columns_and_the_row(tmp_path):
    write(tmp_path, "")
    set_start(tmp_path, "a.gpx", NEW, "A", ["a.gpx"])
    assert start_of(tmp_path, "a.gpx") == np.datetime64("2024-05-14T07:30:00", "ms")
    assert start_edits._records("") == ["\n"]


def test_a_quote_that_is_never_closed_over_a_long_file_is_told_in_one_line(tmp_path):
    """Python's csv takes fields of 131,072 characters at most."""
    write(tmp_path, LOG + 'c.gpx,C,,"so so\r\n' + "d.gpx,D,,,\r\n" * 20_000)
    before = (tmp_path / start_log.FILE).read_bytes()
    with pytest.raises(CampaignError, match="a table with commas; it was left as it is"):
        start_edits._records(before.decode())
    with pytest.raises(CampaignError, match=r"rides\.csv"):
        set_start(tmp_path, "a.gpx", NEW, "A", ["a.gpx"])
    assert (tmp_path / start_log.FILE).read_bytes() == before


cells = st.text(st.characters(codec="utf-8", exclude_characters="\0\r"), max_size=8)


@given(
    st.lists(st.lists(cells, min_size=4, max_size=4), max_size=5),
    st.sampled_from(",;\t"),
    st.sampled_from(["\n", "\r\n"]),
)
def test_other_rows_survive_whatever_stands_in_them(rows, delimiter, end):
    text = io.StringIO()
    writer = csv.writer(text, delimiter=delimiter, lineterminator=end)
    writer.writerow(["file", "device", "started", "more"])
    writer.writerows(rows)
    changed = start_edits.with_row(text.getvalue(), None, {"file": "new.gpx", "device": "N", "started": NEW})
    assert changed.startswith(text.getvalue())
    row = len(rows) + 1
    again = start_edits.with_row(changed, row, {"started": ""})
    assert list(csv.reader(io.StringIO(again, newline=""), delimiter=delimiter))[-1] == ["new.gpx", "N", "", ""]


def test_a_full_disk_leaves_the_log_whole(tmp_path, monkeypatch):
    write(tmp_path, LOG)

    def full(*_):
        raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))

    monkeypatch.setattr(safe_files.os, "fsync", full)
    with pytest.raises(OutputError, match="No space left"):
        set_start(tmp_path, "a.gpx", NEW, "A", ["a.gpx", "b.gpx"])
    assert (tmp_path / start_log.FILE).read_bytes().decode() == LOG


# ---- logs as people write them ----
def on(day, clock="07:00:30"):
    """A recording that begins with its first fix then, UTC."""
    fixed = np.datetime64(f"2026-05-{day:02d}T{clock}", "ms")
    return Recording(f"{day}.gpx", 1, "", fixed, fixed, fixed)


WRITTEN = (
    "Date;Pressed start;Mood;Notes\n4.5.2026;07:00:12Z;glad;rain, wind\n5.5.2026;soon;;\n9.5.2026;07:00:00Z;;lost\n"
)


def test_a_log_without_files_is_put_into_the_usual_columns_and_kept_as_it_was(tmp_path):
    write(tmp_path, WRITTEN)
    set_start(tmp_path, "5.gpx", "2026-05-05T07:00:12Z", "W", [on(4), on(5)])
    assert (tmp_path / start_edits.OLD).read_text() == WRITTEN
    assert (tmp_path / start_log.FILE).read_text().splitlines() == [
        "file,device,started,start_lat,start_lon,start_state,ride,note",
        '4.gpx,,2026-05-04T07:00:12Z,,,,,"rain, wind"',
        ",,5.5.2026 soon,,,,,",
        ",,2026-05-09T07:00:00Z,,,,,lost",
        "5.gpx,W,2026-05-05T07:00:12Z,,,,,",
    ]


def test_a_log_without_a_heading_too(tmp_path):
    write(tmp_path, "2026-05-04 07:00:12Z rain\n")
    set_start(tmp_path, "4.gpx", "2026-05-04T07:00:20Z", "", [on(4)])
    (entry,) = start_log.load(tmp_path, campaign_file.load(tmp_path)).rows
    assert (entry.file, str(entry.started), entry.note) == ("4.gpx", "2026-05-04T07:00:20.000", "rain")


def test_a_date_in_a_column_of_its_own_gives_way_to_the_start_that_has_one(tmp_path):
    write(tmp_path, "file;device;date;Pressed start\n4.gpx;W;4.5.2026;07:00:12\n")
    set_start(tmp_path, "4.gpx", "2026-05-04T07:00:20Z", "W", [on(4)])
    assert (tmp_path / start_log.FILE).read_text().splitlines()[1] == "4.gpx;W;;2026-05-04T07:00:20Z"
    assert not (tmp_path / start_edits.OLD).exists()


def test_the_device_of_a_row_that_stands_is_not_changed(tmp_path):
    write(tmp_path, LOG)
    set_start(tmp_path, "b.gpx", NEW, "Other", ["a.gpx", "b.gpx"])
    assert b"b.gpx,B," in (tmp_path / start_log.FILE).read_bytes()


def test_several_starts_are_kept_together_or_not_at_all(tmp_path):
    rows = [{"file": "a.gpx", "started": NEW, "note": "wet"}, {"file": "b.gpx", "started": "soon"}]
    with pytest.raises(CampaignError):
        start_edits.set_starts(tmp_path, rows, [Recording("a.gpx"), Recording("b.gpx")])
    assert not (tmp_path / start_log.FILE).exists()
    start_edits.set_starts(tmp_path, rows[:1], [Recording("a.gpx")])
    assert (tmp_path / start_log.FILE).read_text() == f"file,device,started,note\na.gpx,,{NEW},wet\n"

"""One value changed in rides.csv or campaign.toml: the command line reads it, and all else stays as it was."""

from __future__ import annotations

import csv
import io
import tomllib

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from web_session import demo_results, desk_with_results

from gpsq.campaign import campaign_file, safe_files, start_log
from gpsq.campaign.start_matching import Recording, match
from gpsq.exceptions import CampaignError, OutputError
from gpsq.web import campaign_edits

LOG = 'file,device,started,mood,note\r\na.gpx,A,2024-05-14T07:10:00Z,"glad,\r\nvery",x\r\nb.gpx,B,,so so\r\n'
NEW = "2024-05-14T09:30:00+02:00"


def start_of(folder, file, files=("a.gpx", "b.gpx", "c.gpx")):
    log = start_log.load(folder, campaign_file.load(folder))
    return match(log, map(Recording, files)).starts[file, 1].started


def write(folder, text):
    (folder / start_log.FILE).write_bytes(text.encode())
    return folder


def test_a_start_is_changed_and_all_else_stays_byte_for_byte(tmp_path):
    write(tmp_path, "\ufeff" + LOG)
    campaign_edits.set_start(tmp_path, "b.gpx", NEW, "B", ["a.gpx", "b.gpx"])
    told = (tmp_path / start_log.FILE).read_bytes().decode()
    assert told == "\ufeff" + LOG.replace("b.gpx,B,,so so\r\n", f"b.gpx,B,{NEW},so so,\r\n")
    assert start_of(tmp_path, "b.gpx") == np.datetime64("2024-05-14T07:30:00", "ms")


def test_a_recording_without_a_row_gets_one(tmp_path):
    write(tmp_path, LOG.removesuffix("\r\n"))
    campaign_edits.set_start(tmp_path, "c.gpx", NEW, "C", ["a.gpx", "b.gpx", "c.gpx"])
    assert (tmp_path / start_log.FILE).read_bytes().decode() == LOG + f"c.gpx,C,{NEW},,\r\n"


def test_a_campaign_without_a_log_gets_one(tmp_path):
    campaign_edits.set_start(tmp_path, "a.gpx", NEW, "", ["a.gpx"])
    assert (tmp_path / start_log.FILE).read_text() == f"file,device,started\na.gpx,,{NEW}\n"


def test_a_row_that_names_the_file_without_its_folder_is_found(tmp_path):
    write(tmp_path, LOG)
    campaign_edits.set_start(tmp_path, "bar/b.gpx", NEW, "B", ["bar/b.gpx", "a.gpx"])
    assert (tmp_path / start_log.FILE).read_bytes().decode().count("b.gpx") == 1
    assert not np.isnat(start_of(tmp_path, "bar/b.gpx", ["bar/b.gpx", "a.gpx"]))


def test_a_start_is_taken_back(tmp_path):
    write(tmp_path, LOG)
    campaign_edits.set_start(tmp_path, "a.gpx", "", "A", ["a.gpx", "b.gpx"])
    assert np.isnat(start_of(tmp_path, "a.gpx"))
    campaign_edits.set_start(tmp_path, "c.gpx", "", "C", ["c.gpx"])
    assert b"c.gpx" not in (tmp_path / start_log.FILE).read_bytes()


def test_the_campaigns_zone_stands_for_a_time_without_one(tmp_path):
    (tmp_path / campaign_file.FILE).write_text('time_zone = "Europe/Paris"\n')
    campaign_edits.set_start(tmp_path, "a.gpx", "2024-05-14T09:30:00", "", ["a.gpx"])
    assert start_of(tmp_path, "a.gpx") == np.datetime64("2024-05-14T07:30:00", "ms")


@pytest.mark.parametrize(
    "text", ["soon", "2024-05-14T09:30:00", "09:30", "2024-02-31T09:30:00Z", "x\ny", "2024-05-14T09:30Z,,"]
)
def test_a_start_that_cannot_be_followed_is_refused_and_nothing_written(tmp_path, text):
    write(tmp_path, LOG)
    with pytest.raises(CampaignError, match=r"as the start of a\.gpx"):
        campaign_edits.set_start(tmp_path, "a.gpx", text, "A", ["a.gpx", "b.gpx"])
    assert (tmp_path / start_log.FILE).read_bytes().decode() == LOG


@pytest.mark.parametrize(
    "data", [b"file,device,started\n\xff.gpx,A,\n", b"file,device,started\na\0.gpx,A,\n", b"file,when\na,b\n"]
)
def test_a_log_that_could_not_be_kept_is_left_alone(tmp_path, data):
    (tmp_path / start_log.FILE).write_bytes(data)
    with pytest.raises(CampaignError, match=r"rides\.csv"):
        campaign_edits.set_start(tmp_path, "a.gpx", NEW, "A", ["a.gpx"])
    assert (tmp_path / start_log.FILE).read_bytes() == data


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
    changed = campaign_edits.with_start(text.getvalue(), None, "new.gpx", NEW, "N")
    assert changed.startswith(text.getvalue())
    row = len(rows) + 1
    again = campaign_edits.with_start(changed, row, "new.gpx", "", "N")
    assert list(csv.reader(io.StringIO(again, newline=""), delimiter=delimiter))[-1] == ["new.gpx", "N", "", ""]


TOML = '# ours\ntitle = "Ferry"  # said by the baker\n\n[devices]\n"bar-unit" = "Bar"\n\n[settings]\ngap_s = 45\n'


def test_a_device_is_renamed_by_the_name_it_was_found_under(tmp_path):
    desk = desk_with_results(tmp_path)
    analysis, _ = demo_results()
    campaign_edits.rename_device(desk.folder, "bag-unit", "Bag ü", analysis.traces, analysis.unreadable)
    assert campaign_file.load(tmp_path).devices == {"bag-unit": "Bag ü"}
    assert 'title = "Kettlewick: rolls for the ferry"' in (tmp_path / campaign_file.FILE).read_text("utf-8")


def test_renaming_again_leaves_no_trace_of_the_name_between(tmp_path):
    import dataclasses

    (tmp_path / campaign_file.FILE).write_text(TOML)
    analysis, _ = demo_results()
    shown = [dataclasses.replace(t, device="Bar") for t in analysis.traces if t.device == "bar-unit"]
    campaign_edits.rename_device(tmp_path, "Bar", "Handle-bar", shown, [])
    assert (tmp_path / campaign_file.FILE).read_text() == TOML.replace('"Bar"', '"Handle-bar"')


def test_private_places_come_and_go_and_the_rest_stays(tmp_path):
    (tmp_path / campaign_file.FILE).write_text(TOML)
    campaign_edits.add_place(tmp_path, 56.21, -24.05, 300)
    campaign_edits.add_place(tmp_path, -1.5, 179.99, 25)
    places = campaign_file.load(tmp_path).private_places
    assert places == (campaign_file.PrivatePlace(56.21, -24.05, 300), campaign_file.PrivatePlace(-1.5, 179.99, 25))
    assert (tmp_path / campaign_file.FILE).read_text().startswith(TOML)
    campaign_edits.remove_place(tmp_path, 56.21, -24.05, 300)
    assert campaign_file.load(tmp_path).private_places == places[1:]
    campaign_edits.remove_place(tmp_path, -1.5, 179.99, 25)
    assert tomllib.loads((tmp_path / campaign_file.FILE).read_text()) == tomllib.loads(TOML)


def test_of_a_place_that_is_listed_twice_one_is_removed(tmp_path):
    for _ in range(2):
        campaign_edits.add_place(tmp_path, 56.21, -24.05, 300)
    campaign_edits.add_place(tmp_path, 1.5, 2.5, 300)
    campaign_edits.remove_place(tmp_path, 56.21, -24.05, 300)
    left = [(place.lat_deg, place.lon_deg) for place in campaign_file.load(tmp_path).private_places]
    assert sorted(left) == [(1.5, 2.5), (56.21, -24.05)]


@pytest.mark.parametrize(
    "place", [(91, 0, 300), (0, -181, 300), (0, 0, 0), (0, 0, 1e9), (float("nan"), 0, 300), (0, 0, float("inf"))]
)
def test_a_place_that_the_campaign_would_refuse_is_not_written(tmp_path, place):
    with pytest.raises(CampaignError, match="expected a number between"):
        campaign_edits.add_place(tmp_path, *place)
    assert not (tmp_path / campaign_file.FILE).exists()


@given(st.floats(-90, 90), st.floats(-180, 180), st.floats(1, 100_000))
def test_every_place_that_is_taken_can_be_read(tmp_path_factory, lat, lon, radius_m):
    folder = tmp_path_factory.mktemp("place")
    campaign_edits.add_place(folder, lat, lon, radius_m)
    assert len(campaign_file.load(folder).private_places) == 1


def test_a_broken_campaign_file_is_refused_and_left_alone(tmp_path):
    (tmp_path / campaign_file.FILE).write_text("title = \n")
    with pytest.raises(CampaignError, match=r"campaign\.toml"):
        campaign_edits.add_place(tmp_path, 1, 2, 300)
    assert (tmp_path / campaign_file.FILE).read_text() == "title = \n"


def test_a_full_disk_leaves_the_log_whole(tmp_path, monkeypatch):
    import errno
    import os

    write(tmp_path, LOG)

    def full(*_):
        raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))

    monkeypatch.setattr(safe_files.os, "fsync", full)
    with pytest.raises(OutputError, match="No space left"):
        campaign_edits.set_start(tmp_path, "a.gpx", NEW, "A", ["a.gpx", "b.gpx"])
    assert (tmp_path / start_log.FILE).read_bytes().decode() == LOG

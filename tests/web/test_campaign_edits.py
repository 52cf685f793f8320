"""One value changed in campaign.toml: the command line reads it, and all else stays as it was."""

from __future__ import annotations

import dataclasses
import tomllib

import pytest
from hypothesis import given
from hypothesis import strategies as st
from trace_maker import road, trace_on
from web_session import demo_results, desk_with_results

from gpsq.campaign import campaign_file
from gpsq.exceptions import CampaignError
from gpsq.web import campaign_edits

TOML = '# ours\ntitle = "Ferry"  # said by the baker\n\n[devices]\n"bar-unit" = "Bar"\n\n[settings]\ngap_s = 45\n'


def test_a_device_is_renamed_by_the_name_it_was_found_under(tmp_path):
    desk = desk_with_results(tmp_path)
    analysis, _ = demo_results()
    campaign_edits.rename_device(desk.folder, "bag-unit", "Bag ü", analysis.traces, analysis.unreadable)
    assert campaign_file.load(tmp_path).devices == {"bag-unit": "Bag ü"}
    assert 'title = "Kettlewick: rolls for the ferry"' in (tmp_path / campaign_file.FILE).read_text("utf-8")


def test_a_device_that_the_log_names_is_renamed_by_that_name(tmp_path):
    """The row names no file and lies forty minutes before its recording, which this campaign allows."""
    trace = dataclasses.replace(trace_on(road()), file="mon.gpx", device="Found in the log")
    (tmp_path / "rides.csv").write_text("device,started\nFound in the log,2025-06-02T06:20:00Z\n")
    (tmp_path / campaign_file.FILE).write_text("[settings]\nstart_bound_s = 3600\n")
    campaign_edits.rename_device(tmp_path, "Found in the log", "Wrist", [trace], [])
    assert campaign_file.load(tmp_path).devices == {"Found in the log": "Wrist"}


def test_renaming_again_leaves_no_trace_of_the_name_between(tmp_path):
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
    for place in ((56.21, -24.05), (1.5, 2.5), (56.21, -24.05)):
        campaign_edits.add_place(tmp_path, *place, 300)
    campaign_edits.remove_place(tmp_path, 56.21, -24.05, 300)
    left = [(place.lat_deg, place.lon_deg) for place in campaign_file.load(tmp_path).private_places]
    assert sorted(left) == [(1.5, 2.5), (56.21, -24.05)]


@pytest.mark.parametrize(
    "place",
    [
        (91, 0, 300),
        (90.000001, 0, 300),
        (0, -181, 300),
        (0, 180.000001, 300),
        (0, 0, 0),
        (0, 0, 0.9),
        (0, 0, 100_000.1),
        (0, 0, 1e9),
        (float("nan"), 0, 300),
        (0, 0, float("inf")),
    ],
)
def test_a_place_that_the_campaign_would_refuse_is_not_written(tmp_path, place):
    with pytest.raises(CampaignError, match="expected a number between"):
        campaign_edits.add_place(tmp_path, *place)
    assert not (tmp_path / campaign_file.FILE).exists()


def test_a_place_is_kept_to_a_decimetre_and_those_at_the_ends_of_the_earth_are_taken(tmp_path):
    for place in ((90, -180, 1), (-90, 180, 100_000), (1.2345678, -2.3456789, 25.06)):
        campaign_edits.add_place(tmp_path, *place)
    written = [(p.lat_deg, p.lon_deg, p.radius_m) for p in campaign_file.load(tmp_path).private_places]
    assert written == [(90, -180, 1), (-90, 180, 100_000), (1.234568, -2.345679, 25.1)]


def test_only_the_device_that_is_meant_is_renamed(tmp_path):
    (tmp_path / campaign_file.FILE).write_text('[devices]\na = "Bar"\nb = "Baz"\nc = "Aba"\n')
    campaign_edits.rename_device(tmp_path, "Bar", "New", [], [])
    assert campaign_file.load(tmp_path).devices == {"a": "New", "b": "Baz", "c": "Aba"}


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


def test_a_way_is_named_by_its_letter_in_place_of_whatever_named_it(tmp_path):
    desk = desk_with_results(tmp_path)
    analysis = desk.results.analysis
    file = next(t.file for t, r in zip(analysis.traces, analysis.results, strict=True) if r.route == "A")
    (tmp_path / campaign_file.FILE).write_text(f'[routes]\n"{file}" = "there"\nB = "home"\n')
    campaign_edits.name_way(tmp_path, "A", " to  the ferry ", analysis)
    assert campaign_file.load(tmp_path).routes == {"A": "to the ferry", "B": "home"}
    campaign_edits.name_way(tmp_path, "A", "", analysis)
    campaign_edits.name_way(tmp_path, "B", "", analysis)
    assert "routes" not in (tmp_path / campaign_file.FILE).read_text()


def test_title_and_zone_stand_before_the_tables_and_the_rest_stays(tmp_path):
    (tmp_path / campaign_file.FILE).write_text(TOML)
    campaign_edits.describe(tmp_path, "title", " Our \n week ")
    campaign_edits.describe(tmp_path, "time_zone", "Europe/Paris")
    told = campaign_file.load(tmp_path)
    assert (told.title, told.time_zone, told.devices) == ("Our week", "Europe/Paris", {"bar-unit": "Bar"})
    assert "# said by the baker" in (tmp_path / campaign_file.FILE).read_text()
    campaign_edits.describe(tmp_path, "time_zone", "")
    assert (tmp_path / campaign_file.FILE).read_text() == TOML.replace("Ferry", "Our week")


def test_a_value_that_the_campaign_would_refuse_is_not_written(tmp_path):
    (tmp_path / campaign_file.FILE).write_text(TOML)
    with pytest.raises(CampaignError, match="expected a name of the IANA time zone data"):
        campaign_edits.describe(tmp_path, "time_zone", "Paris")
    assert (tmp_path / campaign_file.FILE).read_text() == TOML


def test_of_two_circles_round_one_place_the_one_that_is_named_is_removed(tmp_path):
    for radius_m in (300, 500):
        campaign_edits.add_place(tmp_path, 56.21, -24.05, radius_m)
    campaign_edits.remove_place(tmp_path, 56.21, -24.05, 500)
    assert [place.radius_m for place in campaign_file.load(tmp_path).private_places] == [300]

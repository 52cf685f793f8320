"""``campaign.toml`` and ``rides.csv``: what is taken, what is refused, and how it is said."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import pytest

from gpsq.campaign import campaign_file, start_log
from gpsq.exceptions import CampaignError

if TYPE_CHECKING:
    from pathlib import Path


def load(tmp_path: Path, text: str) -> campaign_file.Campaign:
    (tmp_path / "campaign.toml").write_text(text, encoding="utf-8")
    return campaign_file.load(tmp_path)


def test_no_file_gives_the_defaults(tmp_path: Path) -> None:
    assert campaign_file.load(tmp_path) == campaign_file.Campaign()


def test_everything_is_taken(tmp_path: Path) -> None:
    (tmp_path / "line.geojson").write_text("{}", encoding="utf-8")
    found = load(
        tmp_path,
        """
title = "Autumn"
time_zone = "Europe/London"
[devices]
"watch" = "Watch A"
[reference]
"R1" = "line.geojson"
[[private_place]]
lat = 51.2
lon = -3.6
radius_m = 300
[settings]
gap_s = 90
""",
    )
    assert (found.title, found.time_zone, found.devices) == ("Autumn", "Europe/London", {"watch": "Watch A"})
    assert found.reference == {"R1": "line.geojson"}
    assert found.private_places == (campaign_file.PrivatePlace(51.2, -3.6, 300.0),)
    assert found.settings.gap_s == 90


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("titel = 'x'", "the key 'titel'; expected title, perhaps"),
        ("[settings]\ngap = 60", "the key 'gap' in [settings]"),
        ("[settings]\ngap_s = -1", "gap_s must lie between 1 and 86400 s, but is -1"),
        ("[settings]\ngap_s = 'long'", "gap_s must be a number, but is 'long'"),
        ("settings = 3", "settings = 3"),
        ("streets = 'town.geojson'", "the streets 'town.geojson', which do not exist"),
        ("streets = 'campaign.toml'", "streets without streets_source; expected whose they are"),
        ("streets = 7", "streets = 7"),
        ("time_zone = 'Europe/Atlantis'", "time_zone = 'Europe/Atlantis'"),
        ("time_zone = '../../etc/passwd'", "time_zone = '../../etc/passwd'"),
        ("title = 3", "title = 3; expected text in quotes"),
        ("[devices]\nwatch = 3", "[devices]"),
        ("[reference]\nR1 = 'nowhere.gpx'", "the reference 'nowhere.gpx' of 'R1', which does not exist"),
        (
            "[[private_place]]\nlat = 95\nlon = 0\nradius_m = 100",
            "95 for lat in [[private_place]]; expected a number between -90 and 90",
        ),
        ("[[private_place]]\nlat = 5\nlon = 0", "nothing for radius_m"),
        *(
            (
                f"[[private_place]]\nlat = 5\nlon = 0\nradius_m = {metres}",
                "for radius_m in [[private_place]]; expected a number",
            )
            for metres in ("0", "-300", "1e9", "nan", "true", "'300'")
        ),
        ("[[private_place]]\nlat = 5\nlon = 181\nradius_m = 300", "181 for lon in [[private_place]]"),
        (
            "[[private_place]]\nlat = 5\nlon = 0\nradius = 100",
            "the key 'radius' in [[private_place]]; expected radius_m",
        ),
        ("private_place = 3", "private_place"),
        ("title = ", "campaign.toml: found"),
    ],
)
def test_what_cannot_be_followed_is_refused_by_name(tmp_path: Path, text: str, says: str) -> None:
    with pytest.raises(CampaignError) as refusal:
        load(tmp_path, text)
    assert says in str(refusal.value)
    assert str(refusal.value).startswith("campaign.toml: found ")


def test_text_that_is_no_utf8_is_refused(tmp_path: Path) -> None:
    (tmp_path / "campaign.toml").write_bytes("title = 'Süd'".encode("latin-1"))
    with pytest.raises(CampaignError, match="not UTF-8"):
        campaign_file.load(tmp_path)


# the start log


def parse(*rows: str, heading: str = "file,device,started", zone: str | None = None) -> start_log.StartLog:
    return start_log.parse("\n".join([heading, *rows]).encode(), zone)


def test_a_time_with_an_offset_is_taken_in_utc() -> None:
    log = parse("mon.gpx,Watch,2024-05-14T09:00:00+02:00")
    assert log.entries["mon.gpx"].started == np.datetime64("2024-05-14T07:00:00")
    assert log.problems == ()


def test_a_time_without_a_zone_is_refused_unless_the_campaign_names_one() -> None:
    row = "mon.gpx,Watch,2024-05-14 08:00:00"
    assert np.isnat(parse(row).entries["mon.gpx"].started)
    assert "without a zone" in parse(row).problems[0]
    assert parse(row, zone="Europe/London").entries["mon.gpx"].started == np.datetime64("2024-05-14T07:00:00")


@pytest.mark.parametrize("text", ["2024-10-27T01:30:00", "2024-03-31T01:30:00"])
def test_a_local_time_that_happens_twice_or_never_is_refused(text: str) -> None:
    """Summer time in the United Kingdom ended on 27 October and began on 31 March 2024 at 01:00 UTC (tz database)."""
    log = parse(f"mon.gpx,Watch,{text}", zone="Europe/London")
    assert np.isnat(log.entries["mon.gpx"].started)
    assert "clocks of Europe/London change" in log.problems[0]


@pytest.mark.parametrize(
    ("heading", "row", "says"),
    [
        ("file,device,started,weather", "a.gpx,W,2024-05-14T07:00:00Z,dry", "the unknown column 'weather'"),
        ("file,started", "a.gpx,2024-05-14T07:00:00Z", "no column 'device'"),
        ("file,device,started", "a.gpx,W,soon", "'soon' as started in row 1"),
        ("file,device,started", "a.gpx,W,14/05/2024 07:00", "'14/05/2024 07:00' as started in row 1"),
        ("file,device,started", ",W,2024-05-14T07:00:00Z", "no file in row 1"),
        (
            "file,device,started,start_state",
            "a.gpx,W,,tepid",
            "'tepid' as start_state in row 1; expected hot, warm, cold",
        ),
        ("file,device,started,start_lat,start_lon", "a.gpx,W,,95,3", "'95' as start_lat in row 1"),
        ("file,device,started,start_lat,start_lon", "a.gpx,W,,51,", "one of start_lat and start_lon in row 1"),
        ("file,device,device,started", "a.gpx,W,W,", "the column 'device' twice"),
    ],
)
def test_every_problem_is_one_line_and_the_row_is_still_used(heading: str, row: str, says: str) -> None:
    log = parse(row, heading=heading)
    (problem,) = [line for line in log.problems if says in line]
    assert problem.startswith("rides.csv: found ")
    assert "\n" not in problem
    assert ("a.gpx" in log.entries) == row.startswith("a.gpx")


@pytest.mark.parametrize(("lat", "lon"), [(-33.86, 151.21), (90.0, 180.0), (-90.0, -180.0)])
def test_every_place_on_earth_is_taken(lat: float, lon: float) -> None:
    """Sydney lies at 151° east; WGS 84 runs to 180° either way."""
    log = parse(f"a.gpx,W,2024-05-14T07:00:00Z,{lat},{lon}", heading="file,device,started,start_lat,start_lon")
    assert log.problems == ()
    assert (log.entries["a.gpx"].start_lat_deg, log.entries["a.gpx"].start_lon_deg) == (lat, lon)


@pytest.mark.parametrize(("lat", "lon"), [(90.1, 0.0), (0.0, 180.1), (0.0, -180.1)])
def test_a_place_off_the_earth_is_refused(lat: float, lon: float) -> None:
    log = parse(f"a.gpx,W,2024-05-14T07:00:00Z,{lat},{lon}", heading="file,device,started,start_lat,start_lon")
    assert any("expected degrees between" in line for line in log.problems)
    assert np.isnan([log.entries["a.gpx"].start_lat_deg, log.entries["a.gpx"].start_lon_deg]).all()


def test_a_file_named_twice_is_said_and_its_first_row_used() -> None:
    log = parse("a.gpx,First,", "a.gpx,Second,")
    assert log.entries["a.gpx"].device == "First"
    assert any("a.gpx again in row 2" in problem for problem in log.problems)


def test_semicolons_blank_rows_and_a_byte_order_mark_do_no_harm() -> None:
    log = start_log.parse("\ufefffile;device;started\r\n\r\na.gpx;W;2024-05-14T07:00:00Z\r\n".encode())
    assert list(log.entries) == ["a.gpx"]
    assert log.problems == ()


def test_rows_are_matched_by_path_or_by_a_bare_name_that_is_unique() -> None:
    log = parse("watch/mon.gpx,A,", "tue.gpx,B,", "mon.gpx,C,", "gone.gpx,D,", r"phone\wed.gpx,E,")
    files = ["watch/mon.gpx", "phone/mon.gpx", "phone/tue.gpx", "phone/wed.gpx"]
    found, problems = start_log.match(log, files)
    assert {file: entry.device for file, entry in found.items()} == {
        "watch/mon.gpx": "A",
        "phone/tue.gpx": "B",
        "phone/wed.gpx": "E",
    }
    assert "'mon.gpx' in row 3, which may be phone/mon.gpx or watch/mon.gpx" in problems[0]
    assert "'gone.gpx' in row 4, which is no recording here" in problems[1]


@pytest.mark.parametrize("data", [b"", b"\n\n", b"\x00\xff\xfe,,,\n\n", b'"file,device\n', b"file\n" + b"," * 100])
def test_rubbish_is_one_line_or_more_and_never_an_end(data: bytes) -> None:
    assert start_log.parse(data).problems

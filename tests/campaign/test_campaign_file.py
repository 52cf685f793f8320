"""``campaign.toml``: what is taken, what is refused, and how it is said."""

from __future__ import annotations

from typing import TYPE_CHECKING

import pytest

from gpsq.campaign import campaign_file
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

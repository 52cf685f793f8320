"""What a change of rides.csv or campaign.toml leaves as it was, and what a person is asked for: cases that tell two ways apart."""

from __future__ import annotations

import pytest

from gpsq.campaign import campaign_file, start_log
from gpsq.campaign.start_matching import Recording
from gpsq.exceptions import CampaignError
from gpsq.web import campaign_edits, start_edits


def set_start(folder, started):
    start_edits.set_starts(folder, [{"file": "b.gpx", "device": "B", "started": started}], [Recording("b.gpx")])


def test_the_heading_tells_what_parts_the_columns(tmp_path):
    """Commas in the last row's cells, more than it has semicolons, part nothing."""
    path = tmp_path / start_log.FILE
    path.write_text("file;device;started;note\nb.gpx;B;;one, two, three, four, five, six\n")
    set_start(tmp_path, "2024-05-14T09:30:00+02:00")
    assert path.read_text() == (
        "file;device;started;note\nb.gpx;B;2024-05-14T09:30:00+02:00;one, two, three, four, five, six\n"
    )


@pytest.mark.parametrize(
    ("campaign", "expected"),
    [
        ("", "a time such as 2024-05-14T07:10:00+02:00"),
        ('time_zone = "Europe/Berlin"\n', "a time; without offset, in Europe/Berlin"),
    ],
)
def test_a_time_is_asked_for_by_the_zone_of_the_campaign(tmp_path, campaign, expected):
    (tmp_path / campaign_file.FILE).write_text(campaign)
    with pytest.raises(CampaignError) as refused:
        set_start(tmp_path, "soon")
    assert str(refused.value) == f"rides.csv: found 'soon' as the start of b.gpx; expected {expected}"


def test_a_private_place_is_kept_to_a_decimetre(tmp_path):
    """A millionth of a degree of latitude is 0.11 m (WGS 84)."""
    campaign_edits.add_place(tmp_path, 51.2345674, -3.6543216, 60.04)
    (place,) = campaign_file.load(tmp_path).private_places
    assert (place.lat_deg, place.lon_deg, place.radius_m) == (51.234567, -3.654322, 60.0)
    with pytest.raises(CampaignError, match="expected a number between -90 and 90"):
        campaign_edits.add_place(tmp_path, 90.5, 0.0, 60.0)

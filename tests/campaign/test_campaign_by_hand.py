"""``campaign.toml`` key by key, and the folders and files that it names."""

from __future__ import annotations

from typing import TYPE_CHECKING

import pytest
from test_campaign_file import load

from gpsq.campaign import earlier, streets
from gpsq.campaign.campaign_file import Campaign, PrivatePlace, check_zone, parse
from gpsq.exceptions import CampaignError
from gpsq.settings import Settings

if TYPE_CHECKING:
    from pathlib import Path


def refusal(tmp_path: Path, text: str) -> str:
    with pytest.raises(CampaignError) as caught:
        load(tmp_path, text)
    return str(caught.value)


def test_every_key_is_taken_and_nothing_is_not_said(tmp_path: Path) -> None:
    (tmp_path / "line.gpx").write_text("x")
    (tmp_path / "town.gpkg").write_text("x")
    found = load(
        tmp_path,
        'title = "T"\ntime_zone = "Asia/Tokyo"\ncut_passes = true\nstreets = "town.gpkg"\nstreets_source = "S"\n'
        '[devices]\na = "A"\n[reference]\nR = "line.gpx"\n[routes]\nA = "out"\n[compare]\nwith = ["../spring", "x"]\n'
        "[[private_place]]\nlat = -90\nlon = 180\nradius_m = 1\n[[private_place]]\nlat = 90\nlon = -180.0\nradius_m = 100000\n"
        "[settings]\ngap_s = 90\nseed = 5\n",
    )
    assert found == Campaign(
        title="T", time_zone="Asia/Tokyo", devices={"a": "A"}, reference={"R": "line.gpx"},
        private_places=(PrivatePlace(-90.0, 180.0, 1.0), PrivatePlace(90.0, -180.0, 100_000.0)), compare=("../spring", "x"),
        cut_passes=True, settings=Settings(gap_s=90.0, seed=5), streets="town.gpkg", streets_source="S", routes={"A": "out"},
    )  # fmt: skip
    assert parse(b"", tmp_path) == parse(b"\xef\xbb\xbf", tmp_path) == Campaign()
    plain = Campaign()
    assert (plain.title, plain.time_zone, plain.cut_passes, plain.streets, plain.streets_source) == (
        "",
        None,
        False,
        "",
        "",
    )
    assert (dict(plain.devices), dict(plain.reference), dict(plain.routes), plain.compare) == ({}, {}, {}, ())


@pytest.mark.parametrize(
    ("key", "value"),
    [
        ("lat", "90.1"), ("lat", "-90.1"), ("lon", "180.1"), ("lon", "-180.1"), ("radius_m", "0.9"), ("radius_m", "100001"),
        ("radius_m", "nan"), ("lat", "true"), ("lat", '"51"'), ("lon", "inf"),
    ],
)  # fmt: skip
def test_a_private_place_is_on_earth_and_of_a_size(tmp_path: Path, key: str, value: str) -> None:
    place = {"lat": "51", "lon": "3", "radius_m": "300"} | {key: value}
    said = refusal(tmp_path, "[[private_place]]\n" + "\n".join(f"{k} = {v}" for k, v in place.items()))
    bounds = {"lat": "-90 and 90", "lon": "-180 and 180", "radius_m": "1 and 100000"}
    shown = {"true": "True", '"51"': "'51'"}.get(value, value)
    assert (
        said == f"campaign.toml: found {shown} for {key} in [[private_place]]; expected a number between {bounds[key]}"
    )


def test_each_refusal_says_what_stands_there_and_what_is_expected(tmp_path: Path) -> None:
    keys = "compare, cut_passes, devices, private_place, reference, routes, settings, streets, streets_source, time_zone, title"
    assert (
        refusal(tmp_path, "titel = 1")
        == f"campaign.toml: found the key 'titel'; expected title, perhaps, or one of {keys}"
    )
    assert refusal(tmp_path, "qqq = 1") == f"campaign.toml: found the key 'qqq'; expected one of {keys}"
    assert refusal(tmp_path, "title = 3") == "campaign.toml: found title = 3; expected text in quotes"
    assert refusal(tmp_path, "streets_source = 3") == "campaign.toml: found streets_source = 3; expected text in quotes"
    for value in ("1", '"true"'):
        told = f"campaign.toml: found cut_passes = {value.replace(chr(34), chr(39))}; expected true or false"
        assert refusal(tmp_path, f"cut_passes = {value}") == told
    for name in ("devices", "routes", "reference"):
        for value in ("3", "{a = 3}", '{a = " "}'):
            assert f"found [{name}] = " in refusal(tmp_path, f"{name} = {value}")
    assert 'expected lines such as "old name" = "new name"' in refusal(tmp_path, "devices = 3")
    for value in ("3", '{with = "x"}', "{with = [3]}", '{with = [" "]}', "[1]"):
        said = refusal(tmp_path, f"compare = {value}")
        assert said.startswith("campaign.toml: found compare = ")
        assert said.endswith('; expected with = ["../spring"] below [compare]')
    assert "the key 'wiht' in [compare]; expected with, perhaps" in refusal(tmp_path, "[compare]\nwiht = []")
    for value in ("3", "[3]", "{lat = 3}"):
        assert "private_place that is no list; expected [[private_place]] with lat, lon, radius_m" in refusal(
            tmp_path, f"private_place = {value}"
        )
    assert "expected [settings] with lines such as gap_s = 60" in refusal(tmp_path, "settings = 3")
    assert "the key 'gap_z' in [settings]; expected gap_s, perhaps" in refusal(tmp_path, "[settings]\ngap_z = 3")
    assert "found in [settings]: gap_s must lie" in refusal(tmp_path, "[settings]\ngap_s = 0")
    assert refusal(tmp_path, "title = '").endswith("; expected TOML")
    assert refusal(tmp_path, "time_zone = 'x/y'") == (
        "campaign.toml: found time_zone = 'x/y'; expected a name of the IANA time zone data such as \"Europe/Paris\""
    )
    assert load(tmp_path, "time_zone = ''").time_zone is None
    assert load(tmp_path, "[compare]").compare == ()


def test_names_of_zones_are_those_of_the_data() -> None:
    check_zone("Europe/Paris")
    for name in ("", "../x", "Europe", "Europe/Nowhere", "/etc/localtime", "\0"):
        with pytest.raises(CampaignError):
            check_zone(name)


def test_files_that_are_named_are_there(tmp_path: Path) -> None:
    (tmp_path / "x.gpkg").write_text("x")
    (tmp_path / "folder").mkdir()
    assert "the streets 'gone', which do not exist" in refusal(tmp_path, "streets = 'gone'\nstreets_source = 's'")
    assert "the streets 'folder', which do not exist" in refusal(tmp_path, "streets = 'folder'\nstreets_source = 's'")
    assert "streets without streets_source" in refusal(tmp_path, "streets = 'x.gpkg'\nstreets_source = ' '")
    assert load(tmp_path, "streets_source = 's'").streets == ""
    assert refusal(tmp_path, "[reference]\nA = 'folder'") == (
        "campaign.toml: found the reference 'folder' of 'A', which does not exist; expected a GPX or GeoJSON file below the folder"
    )
    (tmp_path / "campaign.toml").unlink()
    (tmp_path / "campaign.toml").mkdir()
    from gpsq.campaign.campaign_file import load as load_folder

    with pytest.raises(CampaignError, match=r"found a file that cannot be read \(.*\); expected a readable file"):
        load_folder(tmp_path)


# what it names


def test_earlier_results_are_a_results_folder_or_a_campaign_that_holds_one(tmp_path: Path) -> None:
    for folder in ("spring/gpsq-results", "autumn"):
        (tmp_path / folder).mkdir(parents=True)
        for table in ("run.json", "devices.csv", "tracks.csv"):
            (tmp_path / folder / table).write_text(f"{folder} {table}")
    (tmp_path / "autumn" / "gpsq-results").mkdir()
    (tmp_path / "autumn" / "gpsq-results" / "devices.csv").write_text("of a run that never ended")
    (tmp_path / "empty").mkdir()
    (tmp_path / "part").mkdir()
    (tmp_path / "part" / "run.json").write_text("x")
    found, problems = earlier.load(tmp_path, ["spring", "autumn", "spring", "empty", "gone", "part"])
    assert [(e.name, e.folder) for e in found] == [
        ("spring", str(tmp_path / "spring" / "gpsq-results")), ("autumn", str(tmp_path / "autumn")),
    ]  # fmt: skip
    assert len({e.sha256 for e in found}) == 2
    expected = "; expected a folder that gpsq analyse wrote, or a campaign that holds one"
    assert problems == (
        f"campaign.toml: found 'empty' in [compare], which holds no results{expected}",
        f"campaign.toml: found 'gone' in [compare], which is no folder{expected}",
        f"campaign.toml: found 'part' in [compare], which holds no results{expected}",
    )
    before = found[0].sha256
    (tmp_path / "spring" / "gpsq-results" / "tracks.csv").write_text("other")
    assert earlier.load(tmp_path, ["spring"])[0][0].sha256 != before


def test_streets_are_lines_on_earth(tmp_path: Path) -> None:
    expected = "; expected a GeoJSON or GeoPackage of lines, in longitude and latitude (EPSG:4326)"

    def loaded(geometry: str, crs: str = "") -> tuple[bool, tuple[str, ...]]:
        feature = f'{{"type": "Feature", "properties": {{}}, "geometry": {geometry}}}'
        text = f'{{"type": "FeatureCollection", {crs} "features": [{feature}]}}'
        (tmp_path / "s.geojson").write_text(text)
        found, problems = streets.load(tmp_path, "s.geojson", "whose")
        assert found is None or (found.file, found.source) == ("s.geojson", "whose")
        return found is not None, problems

    line = '{"type": "LineString", "coordinates": [[3, 51], [4, 52]]}'
    assert loaded(line) == (True, ())
    assert loaded('{"type": "MultiLineString", "coordinates": [[[3, 51], [4, 52]]]}') == (True, ())
    assert loaded('{"type": "Point", "coordinates": [3, 51]}') == (False, (f"s.geojson: found Point{expected}",))
    crs = '"crs": {"type": "name", "properties": {"name": "urn:ogc:def:crs:EPSG::25832"}},'
    assert loaded(line, crs) == (False, (f"s.geojson: found positions in EPSG:25832{expected}",))
    (tmp_path / "x").write_text("x")
    for name in ("x", "gone"):
        assert streets.load(tmp_path, name, "") == (
            None,
            (f"{name}: found nothing that can be read as lines{expected}",),
        )
    assert streets.load(tmp_path, "", "") == (None, ())

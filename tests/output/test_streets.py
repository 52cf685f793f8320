"""Streets below the pictures: from a local file, where the rides are, with their source printed; never from a network."""

from __future__ import annotations

import dataclasses
import hashlib
import json
from typing import TYPE_CHECKING

import numpy as np
import pytest
from output_sample import sample

from gpsq.campaign.streets import load
from gpsq.output.charts import all_charts
from gpsq.output.drawing.rendering import WIDE, drawn_sheet
from gpsq.output.drawing.sheet import STREET, Line
from gpsq.output.drawing.streets import AROUND_M, lines_m
from gpsq.output.map.data import map_data
from gpsq.results import Streets

if TYPE_CHECKING:
    from pathlib import Path

    from gpsq.results import Analysis

NEAR = [[11.98, 47.0], [12.02, 47.0]]
FAR = [[13.0, 48.0], [13.1, 48.0]]


LINE = {"type": "LineString", "coordinates": NEAR}


def collection(shapes: list[dict[str, object]], **more: object) -> str:
    features = [{"type": "Feature", "properties": {}, "geometry": shape} for shape in shapes]
    return json.dumps({"type": "FeatureCollection", "features": features, **more})


def town(folder: Path, *lines: list[list[float]]) -> Analysis:
    text = collection([{"type": "LineString", "coordinates": line} for line in lines])
    (folder / "town.geojson").write_text(text, "utf-8")
    whose = Streets("town.geojson", "ab", "The town of Weir <b>")
    return dataclasses.replace(sample(), folder=str(folder), streets=whose)


def test_streets_near_the_rides_are_drawn_and_their_source_is_printed(tmp_path: Path) -> None:
    analysis = town(tmp_path, NEAR, FAR)
    drawing = next(d for d in all_charts.drawings(analysis) if d.name == "overlay-out")
    sheet = drawn_sheet(drawing, *WIDE[:2])
    assert any(isinstance(item, Line) and item.colour == STREET for item in sheet.items)
    assert any("Streets: The town of Weir <b>" in text.text for text in sheet.texts)
    data = map_data(analysis)
    assert data["streets_source"] == "The town of Weir <b>"
    assert [len(route["streets"]) for route in data["routes"]] == [1, 1]


def test_streets_are_cut_some_way_round_the_road(tmp_path: Path) -> None:
    """The street runs 3 km east and west (a degree of longitude is 76 km at 47°); the road is about 1.3 km long."""
    analysis = town(tmp_path, NEAR, FAR)
    found = analysis.routes[0]
    line = found.centreline.xy_m
    (street,) = lines_m(analysis, found.route.plane, line)
    rim = max(AROUND_M, 0.6 * float(np.ptp(line, axis=0).max()))
    assert street[:, 0].min() == pytest.approx(line[:, 0].min() - rim, abs=5.0)
    assert street[:, 0].max() == pytest.approx(line[:, 0].max() + rim, abs=5.0)


def test_a_geopackage_serves_too(tmp_path: Path) -> None:
    import geopandas
    import shapely

    frame = geopandas.GeoDataFrame(geometry=[shapely.LineString(NEAR)], crs="EPSG:4326")
    frame.to_file(tmp_path / "town.gpkg")
    analysis = dataclasses.replace(sample(), folder=str(tmp_path), streets=Streets("town.gpkg", "ab", "me"))
    found = analysis.routes[0]
    assert len(lines_m(analysis, found.route.plane, found.centreline.xy_m)) == 1


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("no streets at all", "found nothing that can be read as lines"),
        ("", "found nothing that can be read as lines"),
        (collection([{"type": "Point", "coordinates": [12, 47]}]), "found Point"),
        (
            collection([LINE], crs={"type": "name", "properties": {"name": "EPSG:32632"}}),
            "found positions in EPSG:32632",
        ),
    ],
)
def test_what_is_no_town_is_said_in_one_line_and_the_rest_goes_on(tmp_path: Path, text: str, says: str) -> None:
    (tmp_path / "town.geojson").write_text(text, "utf-8")
    found, (line,) = load(tmp_path, "town.geojson", "me")
    assert found is None
    assert line.startswith(f"town.geojson: {says}")
    assert line.endswith("expected a GeoJSON or GeoPackage of lines, in longitude and latitude (EPSG:4326)")


def test_a_town_is_known_by_its_content(tmp_path: Path) -> None:
    (tmp_path / "town.geojson").write_text(collection([LINE]), "utf-8")
    found, problems = load(tmp_path, "town.geojson", "me")
    assert problems == ()
    assert found == Streets("town.geojson", hashlib.sha256(collection([LINE]).encode()).hexdigest(), "me")
    assert load(tmp_path, "", "") == (None, ())

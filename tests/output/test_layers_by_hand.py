"""Layers at their edges: a line over 180 degrees, a route without a line, a lone fix, times with their zone."""

from __future__ import annotations

import json
from dataclasses import replace

import numpy as np
import pyproj
import pytest
import shapely
from by_hand import by_hand

from gpsq.exceptions import OutputError
from gpsq.output.tables import layers
from gpsq.plane import Plane


def with_routes(**changes):
    """Return the analysis by hand whose first route is changed."""
    found = by_hand()
    return replace(found, routes=(replace(found.routes[0], **changes), *found.routes[1:]))


def test_a_line_over_180_degrees_is_in_parts_for_maps():
    """RFC 7946, section 3.1.9: cut at the antimeridian, each side in a part of its own."""
    found = by_hand()
    line = found.routes[0].centreline
    crossing = replace(
        line, xy_m=np.column_stack([np.linspace(-200.0, 200.0, len(line.xy_m)), np.zeros(len(line.xy_m))])
    )
    moved = with_routes(route=replace(found.routes[0].route, plane=Plane(180.0, 10.0)), centreline=crossing)
    there, back = (feature["geometry"] for feature in json.loads(layers.centrelines_geojson(moved))["features"])
    assert (there["type"], len(there["coordinates"]), back["type"]) == ("MultiLineString", 2, "LineString")
    west, east = (np.array(part) for part in there["coordinates"])
    assert (west[:, 0].min() > 179.99, west[-1, 0]) == (True, 180.0)
    assert (east[:, 0].max() < -179.99, east[0, 0]) == (True, -180.0)


def test_a_route_without_a_line_is_in_no_layer_of_lines():
    found = with_routes(centreline=None)
    home = layers.centrelines(found)
    assert home["route"].tolist() == ["home"]
    assert set(layers.stations(found)["route"]) == {"home"}
    assert [f["properties"]["route"] for f in json.loads(layers.centrelines_geojson(found))["features"]] == ["home"]
    none = replace(found, routes=())
    assert (len(layers.centrelines(none)), len(layers.stations(none))) == (0, 0)


def test_of_a_spread_only_what_is_known_is_in_its_median():
    line = by_hand().routes[0].centreline
    spread = np.full(len(line.spread_m), np.nan)
    assert np.isnan(layers.centrelines(with_routes(centreline=replace(line, spread_m=spread)))["median_spread_m"][0])
    spread = np.append([1.0, 9.0, 2.5], spread[3:])
    assert layers.centrelines(with_routes(centreline=replace(line, spread_m=spread)))["median_spread_m"][0] == 2.5


def test_a_lone_fix_makes_no_line():
    two = np.array([[10.0, 50.0], [10.1, 50.0]])
    assert layers._multi_line([two[:1], two, two[1:]]).equals(shapely.MultiLineString([two]))
    assert layers._multi_line([two[:1]]) is None


def test_times_in_layers_are_of_utc():
    for frame, names in (
        (layers.tracks(by_hand()), ("started", "first_fix")),
        (layers.deviations(by_hand()), ("from_time",)),
    ):
        assert [str(frame[name].dt.tz) for name in names] == ["UTC"] * len(names)


def test_the_reference_system_in_full_is_the_one_of_the_register():
    """EPSG:4326 as PROJ's copy of the register has it, axes in its order."""
    ours, theirs = pyproj.CRS(layers.CRS_IN_FULL), pyproj.CRS("EPSG:4326")
    assert ours.ellipsoid.semi_major_metre == theirs.ellipsoid.semi_major_metre == 6378137.0
    assert ours.ellipsoid.inverse_flattening == pytest.approx(theirs.ellipsoid.inverse_flattening, abs=1e-12)
    assert [a.direction for a in ours.axis_info] == [a.direction for a in theirs.axis_info] == ["north", "east"]


def test_a_line_that_is_one_place_has_no_geometry_and_an_unknown_spread_is_null():
    line = by_hand().routes[0].centreline
    standing = replace(line, xy_m=np.zeros_like(line.xy_m), spread_m=np.full(len(line.spread_m), np.nan))
    text = layers.centrelines_geojson(with_routes(centreline=standing))
    out, home = json.loads(text)["features"]
    assert (out["geometry"], out["properties"]["median_spread_m"]) == (None, None)
    assert home["geometry"]["type"] == "LineString"


def test_names_stand_in_geojson_as_they_are_written():
    """RFC 8259, section 8.1: UTF-8; a name with an umlaut is no row of escapes."""
    route = replace(by_hand().routes[0].route, name="Straße über 東")
    assert '"Straße über 東"' in layers.centrelines_geojson(with_routes(route=route))


def test_without_its_library_geoparquet_is_refused_in_one_line(tmp_path, monkeypatch):
    def missing(*_):
        raise ImportError("No module named 'pyarrow'")

    monkeypatch.setattr(layers, "put_parquet", missing)
    with pytest.raises(
        OutputError, match=r"^tracks\.parquet: GeoParquet needs the package pyarrow, which is not installed$"
    ):
        layers.write_geoparquet(by_hand(), tmp_path)

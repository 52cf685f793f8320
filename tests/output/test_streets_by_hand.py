"""Which lines of a file of streets are drawn: those round the way, cut at the rim, thinned where they are very many."""

from __future__ import annotations

import dataclasses
import json

import geopandas
import numpy as np
import pytest
import shapely
from by_hand import PLANE, by_hand

from gpsq.exceptions import OutputError
from gpsq.output.drawing import streets
from gpsq.results import Streets


def written(folder, *geometries, crs=None, name="streets.geojson"):
    """Write geometries as they are, in degrees, to a file of streets; return an analysis that names it."""
    features = [
        {"type": "Feature", "properties": {}, "geometry": json.loads(shapely.to_geojson(g))} for g in geometries
    ]
    found = {"type": "FeatureCollection", "features": features}
    (folder / name).write_text(json.dumps(found | ({"crs": crs} if crs else {})))
    return dataclasses.replace(by_hand(), folder=str(folder), streets=Streets(name, "", "invented"))


def line_deg(*places_m):
    """Return a line through places in metres of the plane, in degrees."""
    return shapely.LineString(np.column_stack(PLANE.to_degrees(np.array(places_m, float))))


WAY = np.array([[0.0, 0.0], [100.0, 0.0], [100.0, 50.0]])


def drawn(analysis, way=WAY):
    return [line.round(0) for line in streets.lines_m(analysis, PLANE, way)]


def test_streets_are_drawn_to_four_hundred_metres_round_the_way(tmp_path):
    """The way lies from (0, 0) to (100, 50): streets are cut at −400 and 500, and at −400 and 450."""
    across, up = line_deg((-900.0, 20.0), (900.0, 20.0)), line_deg((50.0, -900.0), (50.0, 900.0))
    far = line_deg((-900.0, 600.0), (900.0, 600.0))
    found = drawn(written(tmp_path, across, up, far))
    reach = sorted((line.min(axis=0).tolist(), line.max(axis=0).tolist()) for line in found)
    assert len(reach) == 2
    assert np.array(reach[0]) == pytest.approx(np.array([[-400.0, 20.0], [500.0, 20.0]]), abs=1.5)
    assert np.array(reach[1]) == pytest.approx(np.array([[50.0, -400.0], [50.0, 450.0]]), abs=1.5)


def test_round_a_long_way_it_is_six_tenths_of_its_extent(tmp_path):
    analysis = written(tmp_path, line_deg((-9000.0, 5020.0), (9000.0, 5020.0)))
    (found,) = drawn(analysis, WAY * [20.0, 1.0] + [0.0, 5000.0])
    assert (found[:, 0].min(), found[:, 0].max()) == pytest.approx((-1200.0, 3200.0), abs=5.0)


def test_on_a_turned_plane_all_corners_of_what_is_shown_are_covered(tmp_path):
    """Far from the middle of its plane north is not up: the box in degrees holds all four corners of that in metres."""
    north = dataclasses.replace(PLANE, lon_deg=12.0, lat_deg=70.0)
    way = WAY + np.array([60_000.0, 0.0])
    for corner in ((59_601.0, -399.0), (60_499.0, 449.0), (59_601.0, 449.0), (60_499.0, -399.0)):
        ends = np.array([corner, (60_050.0, 20.0)])
        street = shapely.LineString(np.column_stack(north.to_degrees(ends)))
        (found,) = streets.lines_m(written(tmp_path, street), north, way)
        streets.lines_deg.cache_clear()
        assert np.hypot(*(found - corner).T).min() < 2.0


def test_where_no_streets_or_no_way_are_known_none_are_drawn(tmp_path):
    analysis = written(tmp_path, line_deg((-90.0, 20.0), (90.0, 20.0)))
    assert streets.lines_m(analysis, PLANE, WAY[:0]) == []
    assert streets.lines_m(dataclasses.replace(analysis, streets=None), PLANE, WAY) == []


def test_lines_alone_are_drawn(tmp_path):
    one, other = line_deg((-90.0, 20.0), (0.0, 20.0)), line_deg((0.0, 20.0), (90.0, 20.0))
    both = shapely.MultiLineString([line_deg((-90.0, 90.0), (90.0, 90.0)), line_deg((-90.0, 70.0), (90.0, 70.0))])
    place = shapely.Point(*(float(v[0]) for v in PLANE.to_degrees(np.array([[10.0, 10.0]]))))
    high = shapely.force_3d(line_deg((-90.0, 40.0), (90.0, 40.0)), 7.0)
    found = drawn(written(tmp_path, one, other, both, place, shapely.Polygon(both.geoms[0].buffer(1e-4)), high))
    assert sorted(sorted(set(line[:, 1].tolist())) for line in found) == [[20.0], [20.0], [40.0], [70.0], [90.0]]
    assert {line.shape[1] for line in found} == {2}


def test_very_many_points_are_thinned_and_few_are_not(tmp_path, monkeypatch):
    """A street with a bend of 2 m at every other point: as it is with up to so many points, straight with more."""
    x = np.arange(-300.0, 301.0, 10.0)
    wavy = line_deg(*np.column_stack([x, 20.0 + np.where(np.arange(len(x)) % 2 == 0, 0.0, 2.0)]))
    analysis = written(tmp_path, wavy)
    for most, points in ((61, 61), (60, 2)):
        streets.lines_deg.cache_clear()
        monkeypatch.setattr(streets, "MOST_POINTS", most)
        assert sum(len(line) for line in drawn(analysis)) == points
    streets.lines_deg.cache_clear()
    monkeypatch.setattr(streets, "MOST_POINTS", 1)  # thinned as far as a thousandth of a degree, no further
    assert sum(len(line) for line in drawn(analysis)) == 2
    streets.lines_deg.cache_clear()


@pytest.mark.parametrize(("most", "high_m", "left_m"), [(100, 30.0, 30.0), (1, 250.0, 250.0)])
def test_lines_are_thinned_only_as_far_as_it_takes(tmp_path, monkeypatch, most, high_m, left_m):
    """A bulge of 30 m stays where a zigzag of 2 m goes; one of 250 m stays however many points it has: 0.001° is 111 m."""
    monkeypatch.setattr(streets, "MOST_POINTS", most)
    at = np.arange(0.0, 300.0, 1.0)
    bulge = np.where((at > 100.0) & (at < 200.0), high_m, 0.0)
    zigzag = np.column_stack([at, 2.0 * (np.arange(300) % 2) + bulge])
    (line,) = streets.lines_m(written(tmp_path, line_deg(*zigzag)), PLANE, WAY)
    assert len(line) < 100
    assert np.ptp(line[:, 1]) == pytest.approx(left_m, abs=4.5)


def test_lines_that_are_few_enough_keep_every_place(tmp_path, monkeypatch):
    monkeypatch.setattr(streets, "MOST_POINTS", 5)
    (line,) = drawn(written(tmp_path, line_deg((0, 0), (10, 0), (20, 0), (30, 0))))
    assert line.tolist() == [[0, 0], [10, 0], [20, 0], [30, 0]]


def test_positions_that_are_no_degrees_are_refused(tmp_path):
    metres = geopandas.GeoDataFrame(geometry=[line_deg((-90.0, 20.0), (90.0, 20.0))], crs="EPSG:4326").to_crs(
        "EPSG:32633"
    )
    metres.to_file(tmp_path / "streets.gpkg", driver="GPKG")
    with pytest.raises(
        OutputError, match=r"streets.gpkg: found positions in EPSG:32633; expected longitude and latitude"
    ):
        streets.lines_deg(str(tmp_path / "streets.gpkg"), 11.0, 46.0, 13.0, 48.0)
    metres.to_crs("EPSG:4326").to_file(tmp_path / "degrees.gpkg", driver="GPKG")
    assert len(streets.lines_deg(str(tmp_path / "degrees.gpkg"), 11.0, 46.0, 13.0, 48.0)) == 1


@pytest.mark.parametrize("text", ["no json", '{"type": "FeatureCollection", "features": 7}', "\x00\x01"])
def test_a_file_that_holds_no_lines_is_one_plain_line(tmp_path, text):
    (tmp_path / "streets.geojson").write_text(text)
    with pytest.raises(
        OutputError, match=r"^streets.geojson: cannot be read as lines: .*; expected GeoJSON or GeoPackage$"
    ):
        streets.lines_deg(str(tmp_path / "streets.geojson"), 11.0, 46.0, 13.0, 48.0)

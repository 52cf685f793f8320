"""Every cell of every table and layer against an analysis written by hand, in which every figure is another number."""

from __future__ import annotations

import csv
import io
import json
import re
import sqlite3
from contextlib import closing
from dataclasses import replace
from itertools import pairwise
from typing import TYPE_CHECKING, Any

import by_hand_cells as cells
import geopandas
import gpxpy
import numpy as np
import pytest
import shapely
from by_hand import PLACES, by_hand
from by_hand_figures import AMBER, BASALT
from output_sample import sample

from gpsq.output.tables import centrelines_gpx, columns, layers, tables

if TYPE_CHECKING:
    from collections.abc import Iterator
    from pathlib import Path

    import pandas as pd

TABLES = {
    "tracks": (tables.tracks, cells.TRACKS),
    "deviations": (tables.deviations, cells.DEVIATIONS),
    "devices": (tables.devices, cells.DEVICES),
    "comparisons": (tables.comparisons, cells.COMPARISONS),
    "reference": (tables.reference, cells.REFERENCE),
    "set_aside": (tables.set_aside, cells.SET_ASIDE),
}
#: The layers: what must stand in their attributes, and the vertices of each row's parts.
AMBER_MON, BASALT_MON, BASALT_WED = (PLACES[name] for name in ("amber mon", "basalt mon", "basalt wed"))
LAYERS: dict[str, tuple[Any, list[list[list[tuple[float, float]]]]]] = {
    # between the second and the third fix of Basalt's there is a gap
    "tracks": (cells.TRACKS[:4], [[AMBER_MON], [BASALT_MON[:2], BASALT_MON[2:]], [], [BASALT_WED]]),
    "centrelines": (cells.CENTRELINES, [[PLACES["out"]], [PLACES["home"]]]),
    # points 5 to 8 of a recording whose first fix is point 4; one from the second fix to the third is on a gap
    "deviations": (cells.DEVIATIONS, [[AMBER_MON[1:5]], [], [BASALT_MON[2:5]]]),
    "first_fixes": (
        cells.only((cells.AMBER_MON, cells.BASALT_MON, cells.BASALT_WED), cells.FIRST_FIXES),
        [[AMBER_MON[:1]], [BASALT_MON[:1]], [BASALT_WED[:1]]],
    ),
    "stations": (cells.STATIONS, [[[place]] for name in ("out", "home") for place in PLACES[name]]),
}


COUNTS, TRUTHS = ("deviations", "spikes"), ("censored", "missed_is_minimum")


def rows_of(frame: pd.DataFrame) -> list[dict[str, str]]:
    """Read the CSV back with the standard library, as another program would."""
    return list(csv.DictReader(io.StringIO(tables.csv_text(frame), newline=""), strict=True))


def said(frame: geopandas.GeoDataFrame) -> list[dict[str, str]]:
    """Return the attributes of a layer as they would stand in a CSV file."""
    plain = frame.drop(columns="geometry").copy()
    for name in plain.columns:
        if plain[name].dtype.kind == "M":
            plain[name] = plain[name].dt.tz_localize(None).astype("datetime64[ms]")
        elif name in TRUTHS:
            plain[name] = plain[name].astype("boolean")
        elif name in COUNTS:  # with unknown ones among them they come back as decimals
            plain[name] = plain[name].astype("Int64")
    return rows_of(plain)


def places(geometry: Any) -> list[list[tuple[float, float]]]:
    """Return the vertices of each part of a line, or of a point."""
    if geometry is None:
        return []
    return [[tuple(place) for place in shapely.get_coordinates(part)] for part in shapely.get_parts(geometry)]


def same_places(found: list[Any], expected: list[Any]) -> bool:
    """Return whether the parts have the same vertices, to a tenth of a millimetre."""
    return [len(part) for part in found] == [len(part) for part in expected] and all(
        np.allclose(a, b, rtol=0, atol=1e-9) for a, b in zip(found, expected, strict=True)
    )


@pytest.mark.parametrize("name", TABLES)
def test_every_cell_of_the_table_is_what_was_put_in(name: str) -> None:
    make, expected = TABLES[name]
    cells.expect(f"{name}.csv", expected, rows_of(make(by_hand())))


def test_no_deviation_is_nought_where_errors_are_known_and_blank_where_not() -> None:
    scored, _, lost, unscored = by_hand().results
    results = (replace(scored, deviations=()), replace(scored, trace=1, crosstrack=None), lost, unscored)
    assert [row["deviations"] for row in rows_of(tables.tracks(by_hand(results=results)))] == ["0", "1", "", "", ""]


def test_every_table_with_columns_is_compared_here() -> None:
    assert set(columns.FILES) == TABLES.keys() | LAYERS.keys()


@pytest.mark.parametrize("file", TABLES)
def test_a_cell_from_a_neighbours_source_is_noticed(file: str, monkeypatch: pytest.MonkeyPatch) -> None:
    """What all this rests on: a cell that is taken from the wrong place is another one in some row."""
    of_file, unnoticed = columns.of_file(file), []
    make, expected = TABLES[file]
    for column, other in pairwise(sorted(of_file, key=lambda c: {"text": 0, "time": 1, "bool": 2}.get(c.kind, 3))):
        if column.source == column.name or (column.kind == "time") != (other.kind == "time"):
            continue  # known by its name, or no value of that kind
        wrong = tuple(replace(c, source=other.source) if c is column else c for c in of_file)
        monkeypatch.setattr(columns, file.upper(), wrong)
        try:
            cells.expect(file, expected, rows_of(make(by_hand())))
        except (AssertionError, AttributeError, TypeError, ValueError):
            continue
        unnoticed.append((column.name, other.name))
    assert unnoticed == []


def test_no_figure_of_a_device_is_twice_the_same() -> None:
    """A figure from the wrong place is another number."""
    for figures in (AMBER, BASALT):
        values = [
            value for name, f in figures.items() for value in (f.value, f.low, f.high)
            if value == value and name not in ("missed_is_minimum", "undecided", "spikes", "ttff_never")
        ]  # fmt: skip
        assert len(set(values)) == len(values)


@pytest.fixture(scope="module")
def written(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder: Path = tmp_path_factory.mktemp("layers")
    layers.write_geopackage(by_hand(), folder / "results.gpkg")
    pytest.importorskip("pyarrow", reason="GeoParquet is an option that needs pyarrow")
    layers.write_geoparquet(by_hand(), folder)
    return folder


def as_read(written: Path, name: str) -> Iterator[tuple[str, geopandas.GeoDataFrame]]:
    yield f"results.gpkg, layer {name}", geopandas.read_file(written / "results.gpkg", layer=name, engine="pyogrio")
    yield f"{name}.parquet", geopandas.read_parquet(written / f"{name}.parquet")


@pytest.mark.parametrize("name", LAYERS)
def test_every_attribute_and_vertex_of_the_layer_is_what_was_put_in(written: Path, name: str) -> None:
    expected, lines = LAYERS[name]
    for where, frame in as_read(written, name):
        cells.expect(where, expected, said(frame))
        for number, (geometry, wanted) in enumerate(zip(frame.geometry, lines, strict=True), 1):
            assert same_places(places(geometry), wanted), f"{where}, row {number}: {geometry}"


def test_the_geopackage_last_changed_at_the_newest_fix(written: Path) -> None:
    """OGC 12-128r19, requirement 15: last_change is an ISO 8601 time. The newest fix is Wednesday's third."""
    with closing(sqlite3.connect(written / "results.gpkg")) as base:
        changed = {row[0] for row in base.execute("SELECT last_change FROM gpkg_contents")}
    assert changed == {"2026-05-06T17:21:03.000Z"}


def test_a_parquet_layer_has_its_reference_system_in_full_and_no_column_of_its_own(written: Path) -> None:
    """GeoParquet 1.0.0: metadata of the file; PROJJSON with the one datum of EPSG:4326, not the list of its realisations."""
    import pyarrow.parquet

    for name in LAYERS:
        schema = pyarrow.parquet.read_schema(written / f"{name}.parquet")
        crs = json.loads(schema.metadata[b"geo"])["columns"]["geometry"]["crs"]
        assert (crs["id"], "datum" in crs) == ({"authority": "EPSG", "code": 4326}, True)
        assert schema.names == [*(column.name for column in columns.of_file(name)), "geometry"]


def test_geojson_has_seven_decimals_at_most() -> None:
    """RFC 7946, section 11.2: more than a centimetre is no one's precision."""
    numbers = re.findall(r"\d+\.(\d+)", layers.centrelines_geojson(sample()))
    assert max(map(len, numbers)) == 7


def test_the_lines_as_geojson_and_as_gpx_are_those_put_in() -> None:
    found = json.loads(layers.centrelines_geojson(by_hand()))["features"]
    assert [f["properties"] for f in found] == [
        {"route": "out", "rides": 3, "length_m": 621.0, "median_spread_m": 5.62},
        {"route": "home", "rides": 1, "length_m": 407.5, "median_spread_m": 3.28},
    ]
    for feature, name in zip(found, ("out", "home"), strict=True):
        assert feature["geometry"]["type"] == "LineString"
        line = np.array(feature["geometry"]["coordinates"])
        assert line.shape == (len(PLACES[name]), 2)
        assert np.allclose(line, PLACES[name], rtol=0, atol=6e-8)
    tracks = gpxpy.parse(centrelines_gpx.centrelines_gpx(by_hand())).tracks
    assert [(t.name, t.comment or t.description) for t in tracks] == [
        ("Route out", "3 rides, 621.0 m"), ("Route home", "1 rides, 407.5 m"),
    ]  # fmt: skip
    for track, name in zip(tracks, ("out", "home"), strict=True):
        line = [(p.longitude, p.latitude) for p in track.segments[0].points]
        assert np.allclose(line, PLACES[name], rtol=0, atol=6e-8)


def test_a_column_that_nobody_thought_of_is_named() -> None:
    with pytest.raises(AssertionError, match=r"devices.csv has the column wobble_m, and nobody wrote"):
        cells.expect("devices.csv", [{"device": "a"}], [{"device": "a", "wobble_m": "1"}])
    with pytest.raises(AssertionError, match=r"row 1, device: 'b' instead of 'a'"):
        cells.expect("devices.csv", [{"device": "a"}], [{"device": "b"}])

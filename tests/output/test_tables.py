"""Tables, layers and their formats: exact columns, blanks for the unknown, and what the formats' own rules say."""

from __future__ import annotations

import csv
import dataclasses
import io
import json
import re
import sqlite3
from contextlib import closing
from typing import TYPE_CHECKING

import geopandas
import numpy as np
import pandas as pd
import pyogrio
import pytest
import shapely
from hypothesis import given
from hypothesis import strategies as st
from lxml import etree
from output_sample import HOSTILE, sample

from gpsq.model import NAT, FirstFix
from gpsq.output import instants
from gpsq.output.drawing.lines import cut_antimeridian, parts, thin, unwrap
from gpsq.output.tables import columns, layer_styles, layers, tables
from gpsq.results import Analysis, TraceResult
from gpsq.summary_types import Summaries

if TYPE_CHECKING:
    from pathlib import Path

#: The contract, word for word; further columns may follow.
TRACKS = [
    "file",
    "track",
    "sha256",
    "device",
    "ride",
    "route",
    "status",
    "reason",
    "started",
    "start_basis",
    "first_fix",
    "ttff_s",
    "ttff_at_least_s",
    "censored",
    "hours_since_fix",
    "start_state",
    "settle_s",
    "missed_m",
    "missed_share",
    "missed_is_minimum",
    "points",
    "accepted",
    "set_aside",
    "interval_s",
    "length_m",
    "scored_m",
    "xte_bias_m",
    "xte_rms_m",
    "xte_median_m",
    "xte_p95_m",
    "within_5m",
    "within_10m",
    "hausdorff_m",
    "frechet_m",
    "frechet_discrete_m",
    "coverage",
    "length_ratio",
    "deviations",
]
DEVIATIONS = [
    "id",
    "event",
    "file",
    "track",
    "device",
    "ride",
    "route",
    "from_m",
    "to_m",
    "from_time",
    "to_time",
    "peak_m",
    "side",
    "extra_m",
    "suggestion",
    "evidence",
    "flag",
    "note",
]
DEVICES = ["device", "route", "rides", "ttff_known"]
COMPARISONS = [
    "measure", "first", "second", "rides", "left_out", "difference", "low", "high", "p", "p_adjusted", "test", "detectable",
    "verdict",
]  # fmt: skip
FIRST_FIXES = [
    "file", "track", "device", "ride", "route", "started", "start_basis", "first_fix", "ttff_s", "settle_s", "missed_m",
    "missed_share", "missed_is_minimum",
]  # fmt: skip
SET_ASIDE = ["file", "track", "reason", "points", "first_point"]
MAKERS = {
    tables.comparisons: COMPARISONS,
    tables.tracks: TRACKS,
    tables.deviations: DEVIATIONS,
    tables.devices: DEVICES,
    tables.set_aside: SET_ASIDE,
}


@pytest.fixture(scope="module")
def analysis() -> Analysis:
    return sample()


@pytest.fixture(scope="module")
def empty(analysis: Analysis) -> Analysis:
    return dataclasses.replace(
        analysis, traces=(), results=(), routes=(), deviations=(), unreadable=(), flags=(), summaries=Summaries()
    )


def rows_of(frame: pd.DataFrame) -> list[dict[str, str]]:
    """Read the CSV back with the standard library, as another program would."""
    return list(csv.DictReader(io.StringIO(tables.csv_text(frame), newline=""), strict=True))


@pytest.mark.parametrize("make", MAKERS, ids=lambda make: make.__name__)
def test_columns_are_those_of_the_contract_and_in_its_order(analysis: Analysis, empty: Analysis, make) -> None:  # type: ignore[no-untyped-def]
    wanted = MAKERS[make]
    for given_analysis in (analysis, empty):
        header = tables.csv_text(make(given_analysis)).split("\n", 1)[0].split(",")
        assert header[: len(wanted)] == wanted


@pytest.mark.parametrize("make", MAKERS, ids=lambda make: make.__name__)
def test_no_cell_shows_what_a_program_calls_unknown(analysis: Analysis, make) -> None:  # type: ignore[no-untyped-def]
    for row in rows_of(make(analysis)):
        for name, value in row.items():
            if name in ("start_basis", "place_basis") and value == "none":
                continue  # a word of the contract: there is no evidence of the start
            assert value.lower() not in {"nan", "nat", "none", "null", "<na>", "inf", "-inf", "-0.0"}, name
            assert not value.startswith("1970"), name


def test_every_recording_has_a_row(analysis: Analysis) -> None:
    rows = rows_of(tables.tracks(analysis))
    assert [row["file"] for row in rows] == [t.file for t in analysis.traces] + ["Amber/broken <i>.gpx"]
    assert rows[-1]["status"] == "unreadable"
    assert rows[-1]["reason"] == "found a web page; expected a GPX document"
    as_text = [f"'{name}" if name == "=1+1" else name for name in HOSTILE]  # the contract: no cell begins a formula
    assert [row["name"] for row in rows[: len(HOSTILE) - 1]] == as_text[:-1]


def test_what_is_unknown_is_blank_and_never_zero(analysis: Analysis) -> None:
    rows = rows_of(tables.tracks(analysis))
    unknown_start = next(row for row in rows if row["start_basis"] == "none" and row["status"] == "scored")
    assert (unknown_start["started"], unknown_start["ttff_s"], unknown_start["missed_is_minimum"]) == ("", "", "")
    assert unknown_start["first_fix"].endswith("Z")
    never = next(row for row in rows if row["censored"] == "true")
    assert (never["ttff_s"], never["ttff_at_least_s"], never["first_fix"], never["length_m"]) == ("", "40.0", "", "")
    assert (never["xte_rms_m"], never["deviations"]) == ("", "")


def test_figures_that_are_infinite_or_negative_zero_become_blank_or_zero(analysis: Analysis) -> None:
    odd = dataclasses.replace(
        analysis.results[0], first_fix=FirstFix("log", seconds=float("inf"), settle_s=-0.0, started=NAT)
    )
    changed = dataclasses.replace(analysis, results=(odd, *analysis.results[1:]))
    row = rows_of(tables.tracks(changed))[0]
    assert (row["ttff_s"], row["settle_s"], row["started"]) == ("", "0.0", "")


def test_times_are_iso_8601_in_utc() -> None:
    """ISO 8601-1:2019, 5.4.2.1: extended format with the designator Z; thousandths only where there are any."""
    times = np.array(["2026-05-04T07:10:00", "2026-05-04T07:10:00.25", "NaT"], "datetime64[ms]")
    assert instants.iso_times(times) == ["2026-05-04T07:10:00Z", "2026-05-04T07:10:00.250Z", ""]


def test_a_time_of_day_without_a_date_is_no_time(analysis: Analysis) -> None:
    """A log that knows the time of day only must not put rides into 1970."""
    trace = analysis.traces[0]
    undated = trace.time - trace.time[0] + np.datetime64("1970-01-01T06:50:00", "ms")
    fix = dataclasses.replace(analysis.results[0].first_fix, started=undated[0], first_fix=undated[0])
    changed = dataclasses.replace(
        analysis,
        traces=(dataclasses.replace(trace, time=undated), *analysis.traces[1:]),
        results=(dataclasses.replace(analysis.results[0], first_fix=fix), *analysis.results[1:]),
    )
    row = rows_of(tables.tracks(changed))[0]
    assert (row["started"], row["first_fix"]) == ("", "")
    assert float(row["ttff_s"]) > 0


text = st.text(st.characters(codec=None), max_size=20)


@given(st.lists(text, min_size=1, max_size=4))
def test_any_text_survives_the_way_through_csv(names: list[str]) -> None:
    """RFC 4180: quoting keeps commas, quotes and all but control characters, which become spaces.

    An apostrophe stands before what a spreadsheet would take for a formula (OWASP, "CSV Injection").
    """
    cells = [tables.cell(n) for n in names]
    frame = pd.DataFrame({"first": "x", "name": pd.array(cells, dtype="str")})
    read = [row["name"] for row in rows_of(frame)]
    signs = ("=", "+", "-", "@", "＝", "＋", "－", "＠")  # full-width signs are taken alike
    assert read == [f"'{c}" if c.lstrip(" ").startswith(signs) else c for c in cells]
    for name, cell in zip(names, cells, strict=True):
        if name.isprintable() and name.isascii():
            assert cell == name


# ---- layers ----


def test_geopackage_holds_all_layers_with_their_fields(analysis: Analysis, tmp_path: Path) -> None:
    path = tmp_path / "results.gpkg"
    layers.write_geopackage(analysis, path)
    assert [name for name, _ in pyogrio.list_layers(path)] == list(layers.LAYERS)
    tracks = geopandas.read_file(path, layer="tracks")
    assert str(tracks.crs) == "EPSG:4326"
    assert list(tracks.columns)[: len(TRACKS)] == TRACKS
    assert len(tracks) == len(analysis.traces)
    fixes = sum(shapely.get_num_coordinates(tracks.geometry.values))
    assert fixes == sum(t.accepted for t in analysis.traces)
    assert list(geopandas.read_file(path, layer="deviations").columns)[: len(DEVIATIONS)] == DEVIATIONS
    first = geopandas.read_file(path, layer="first_fixes")
    assert set(FIRST_FIXES) <= set(first.columns)
    assert len(first) == sum(t.accepted > 0 for t in analysis.traces)
    assert len(geopandas.read_file(path, layer="stations")) == sum(len(r.centreline.along_m) for r in analysis.routes)


def test_empty_layers_are_there_with_their_schema(analysis: Analysis, empty: Analysis, tmp_path: Path) -> None:
    full, bare = tmp_path / "full.gpkg", tmp_path / "bare.gpkg"
    layers.write_geopackage(analysis, full)
    layers.write_geopackage(empty, bare)
    for name, kind in layers.LAYERS.items():
        known, info = pyogrio.read_info(full, layer=name), pyogrio.read_info(bare, layer=name)
        assert (info["features"], info["geometry_type"], info["crs"]) == (0, kind, "EPSG:4326")
        assert list(info["fields"]) == list(known["fields"])
        assert list(info["dtypes"]) == list(known["dtypes"])


def test_geopackage_is_sound_by_its_own_rules(analysis: Analysis, tmp_path: Path) -> None:
    """OGC 12-128r19, requirements 2 (application id), 6 (integrity), 7 (foreign keys) and 13 (contents)."""
    path = tmp_path / "results.gpkg"
    layers.write_geopackage(analysis, path)
    with sqlite3.connect(path) as base:
        assert base.execute("PRAGMA application_id").fetchone()[0] == int.from_bytes(b"GPKG", "big")
        assert base.execute("PRAGMA integrity_check").fetchone()[0] == "ok"
        assert base.execute("PRAGMA foreign_key_check").fetchall() == []
        contents = base.execute("SELECT table_name, last_change FROM gpkg_contents").fetchall()
    assert [name for name, _ in contents][: len(layers.LAYERS)] == list(layers.LAYERS)
    # the last ride out began on Wednesday at 7:10 and took 1500 m at 5 m/s
    assert {change for _, change in contents} == {"2026-05-06T07:15:00.000Z"}
    base.close()


def test_geopackage_says_what_its_columns_mean(analysis: Analysis, tmp_path: Path) -> None:
    """OGC 12-128r19, annex F.9 (schema): registered as an extension, and a row for every column of every layer."""
    path = tmp_path / "results.gpkg"
    layers.write_geopackage(analysis, path)
    with closing(sqlite3.connect(path)) as base:
        registered = base.execute("SELECT table_name FROM gpkg_extensions WHERE extension_name = 'gpkg_schema'")
        assert {name for (name,) in registered} == {"gpkg_data_columns", "gpkg_data_column_constraints"}
        for layer in layers.LAYERS:
            said = base.execute("SELECT column_name FROM gpkg_data_columns WHERE table_name = ?", (layer,))
            columns = {row[1] for row in base.execute(f"PRAGMA table_info({layer})")} - {"fid", "geom"}
            assert {name for (name,) in said} == columns


def test_every_column_of_every_table_is_described() -> None:
    for file in columns.FILES:
        for column in columns.of_file(file):
            assert column.meaning.strip(), (file, column.name)


def test_styles_are_well_formed_and_name_their_layer() -> None:
    """OGC 05-078r4, 11.1: a styled layer descriptor holds a NamedLayer with a Name and a UserStyle."""
    assert set(layer_styles.LOOKS) == set(layers.LAYERS)
    names = {"sld": "http://www.opengis.net/sld", "se": "http://www.opengis.net/se"}
    for layer in layers.LAYERS:
        root = etree.fromstring(layer_styles.style(layer).encode())
        assert root.find("sld:NamedLayer/se:Name", names).text == layer
        assert root.find("sld:NamedLayer/sld:UserStyle/se:FeatureTypeStyle/se:Rule", names) is not None


def test_what_a_style_draws() -> None:
    """OGC 05-077r4: a line has a stroke with its width and dashes, a point a mark of well-known name with its fill and size."""
    se = "{http://www.opengis.net/se}"
    drawn = {}
    for path, text in layer_styles.files().items():
        symbol = etree.fromstring(str(text).encode()).find(f".//{se}Rule")[0]
        parameters = {p.get("name"): p.text for p in symbol.iter(f"{se}SvgParameter")}
        points = (e.text for name in ("WellKnownName", "Size") for e in symbol.iter(se + name))
        drawn[path] = (symbol.tag.removeprefix(se), parameters, *points)
    assert drawn == {
        "styles/stations.sld": ("PointSymbolizer", {"fill": "#545c5f"}, "circle", "3.0"),
        "styles/centrelines.sld": ("LineSymbolizer", {"stroke": "#1c2428", "stroke-width": "2.0"}),
        "styles/deviations.sld": (
            "LineSymbolizer", {"stroke": "#1c2428", "stroke-width": "7.0", "stroke-dasharray": "12 6"},
        ),
        "styles/tracks.sld": ("LineSymbolizer", {"stroke": "#0072B2", "stroke-width": "1.2"}),
        "styles/first_fixes.sld": ("PointSymbolizer", {"fill": "#D55E00"}, "circle", "8.0"),
    }  # fmt: skip


def test_a_gap_is_not_drawn_as_ridden(analysis: Analysis) -> None:
    gapped = next(i for i, r in enumerate(analysis.results) if r.gaps)
    line = layers.tracks(analysis).geometry.iloc[gapped]
    assert len(line.geoms) == 2
    after = analysis.results[gapped].gaps[0].after_point
    assert len(line.geoms[0].coords) == after + 1
    assert [len(p) for p in parts(analysis.traces[gapped], analysis.results[gapped])] == [
        after + 1,
        analysis.traces[gapped].accepted - after - 1,
    ]


def test_geojson_follows_rfc_7946(analysis: Analysis) -> None:
    """RFC 7946: sections 3.3 (collection), 4 (longitude first, WGS 84, no crs member), 3.2 (properties)."""
    said = json.loads(layers.centrelines_geojson(analysis))
    assert set(said) == {"type", "features"}
    assert [f["geometry"]["type"] for f in said["features"]] == ["LineString", "LineString"]
    assert [f["properties"] for f in said["features"]] == [
        {"route": "out", "rides": 3, "length_m": 1500.0, "median_spread_m": 2.0},
        {"route": "back", "rides": 2, "length_m": 1500.0, "median_spread_m": 2.0},
    ]
    lon, lat = said["features"][0]["geometry"]["coordinates"][0]
    assert abs(lon - 12.0) < 0.1
    assert abs(lat - 47.0) < 0.1


def test_a_line_over_the_antimeridian_is_cut_there() -> None:
    """RFC 7946, section 3.1.9: no part crosses ±180°; the parts meet there at one latitude."""
    across = sample(lon_deg=180.0)
    parts_of = json.loads(layers.centrelines_geojson(across))["features"][0]["geometry"]
    assert parts_of["type"] == "MultiLineString"
    west, east = parts_of["coordinates"]
    assert west[-1][0] == 180.0
    assert east[0] == [-180.0, west[-1][1]]
    for frame in layers.frames(across).values():
        spans = [g.bounds[2] - g.bounds[0] for line in frame.geometry if line for g in getattr(line, "geoms", [line])]
        assert max(spans) < 0.1


def test_case_20_ride_across_180_degrees_ending_on_it() -> None:
    """A fix at exactly −180° after one at 179.9975° starts the eastern part; nothing spans the globe."""
    lon = np.array([179.995, 179.9975, -180.0, -179.9975])
    pieces = cut_antimeridian(lon, np.full(4, -16.8))
    assert [piece[:, 0].tolist() for piece in pieces] == [[179.995, 179.9975, 180.0], [-180.0, -179.9975]]


steps = st.lists(st.tuples(st.floats(-80, 80), st.floats(-1, 1)), min_size=2, max_size=30)


@given(steps)
def test_cutting_keeps_every_vertex_and_the_length(legs: list[tuple[float, float]]) -> None:
    """The parts, moved back by whole turns, are the line with nothing but vertices at ±180° added."""
    whole = np.cumsum(np.round(np.array(legs), 6), axis=0)
    lon = (whole[:, 0] + 180.0) % 360.0 - 180.0
    pieces = cut_antimeridian(lon, whole[:, 1])
    for piece in pieces:
        assert np.abs(piece[:, 0]).max() <= 180.0
        assert np.abs(np.diff(piece[:, 0])).max() <= 180.0
    length = sum(np.hypot(*np.diff(piece, axis=0).T).sum() for piece in pieces)
    assert length == pytest.approx(np.hypot(*np.diff(whole, axis=0).T).sum(), abs=1e-6)


def test_unwrapping_draws_one_short_line() -> None:
    across = sample(lon_deg=180.0)
    drawn = thin(across, 0.5, 100_000)
    lon = np.concatenate([piece[:, 0] for pieces in drawn.lines for piece in pieces])
    assert np.ptp(lon) < 0.1
    assert unwrap(np.array([-179.0, 179.0]), 181.0).tolist() == [181.0, 179.0]


def test_thinning_is_within_half_a_metre_and_says_what_it_did(analysis: Analysis) -> None:
    """Douglas and Peucker's bound, checked by GEOS: every fix lies within the tolerance of the drawn line."""
    drawn = thin(analysis, 0.5, 100_000)
    assert (drawn.points, drawn.tolerance_m) == (sum(t.accepted for t in analysis.traces), 0.5)
    assert drawn.drawn == sum(len(piece) for pieces in drawn.lines for piece in pieces) < drawn.points
    trace = analysis.traces[0]
    scale = np.array([111_320.0 * np.cos(np.radians(trace.lat_deg[0])), 111_320.0])
    line = shapely.LineString(drawn.lines[0][0] * scale)
    fixes = shapely.points(np.column_stack([trace.lon_deg, trace.lat_deg]) * scale)
    assert shapely.distance(fixes, line).max() <= 0.5 + 1e-6


def test_a_budget_thins_further_and_never_drops_a_recording(analysis: Analysis) -> None:
    drawn = thin(analysis, 0.5, 120)
    assert drawn.drawn <= 120
    assert drawn.tolerance_m > 0.5
    assert all(pieces for pieces, trace in zip(drawn.lines, analysis.traces, strict=True) if trace.accepted)


def test_a_lone_fix_gives_no_line_but_a_row(analysis: Analysis) -> None:
    trace = analysis.traces[0]
    arrays = [f.name for f in dataclasses.fields(trace) if isinstance(getattr(trace, f.name), np.ndarray)]
    one = {name: getattr(trace, name)[:1] for name in arrays}
    lone = dataclasses.replace(trace, **one, points=1, set_aside=())
    result = TraceResult(0, "", "", "not scored", "one fix only", FirstFix("none"), 0.0, float("nan"))
    bare = dataclasses.replace(
        analysis, traces=(lone,), results=(result,), routes=(), deviations=(), summaries=Summaries()
    )
    tracks = layers.tracks(bare)
    assert tracks.geometry.isna().tolist() == [True]
    assert len(layers.first_fixes(bare)) == 1
    assert thin(bare, 0.5, 100).lines == ((),)


def test_geoparquet_comes_back_the_same(analysis: Analysis, tmp_path: Path) -> None:
    pytest.importorskip("pyarrow", reason="GeoParquet is an option that needs pyarrow")
    written = layers.write_geoparquet(analysis, tmp_path)
    assert [path.stem for path in written] == list(layers.LAYERS)
    back = geopandas.read_parquet(tmp_path / "first_fixes.parquet")
    assert back.crs.to_epsg() == 4326
    assert back.geometry.geom_equals(layers.first_fixes(analysis).geometry).all()


def test_csv_decimals_are_dots_whatever_the_figure(analysis: Analysis) -> None:
    for row in rows_of(tables.tracks(analysis)):
        for column in columns.TRACKS:
            if column.kind.isdigit() and row[column.name]:
                assert re.fullmatch(r"-?\d+\.\d+", row[column.name]), (column.name, row[column.name])


def test_what_is_not_known_is_neither_true_nor_false():
    """As for a device of which no distance missed is known: whether its median is a bound is not known either."""
    column = pd.DataFrame({"bound": tables._column([True, 0.0, None, float("nan"), 1.0], "bool")})
    assert column.to_csv(index=False).split() == ["bound", "True", "False", '""', '""', "True"]

"""The layers for maps and GIS: geopandas frames in WGS 84, GeoJSON of the centrelines, GeoPackage, GeoParquet.

Lines are in full resolution, broken where data are missing and cut at the antimeridian. Fields are named as in the
tables.
"""

from __future__ import annotations

import json
from typing import TYPE_CHECKING, Any

import numpy as np
import pandas as pd

from gpsq.output import wording
from gpsq.output.drawing.lines import cut_antimeridian, parts, parts_between
from gpsq.output.instants import dated
from gpsq.output.tables import columns, tables
from gpsq.output.tables.geopackage_notes import add_descriptions

if TYPE_CHECKING:
    from pathlib import Path

    import geopandas

    from gpsq.model import Centreline, FloatArray, IntArray, Trace
    from gpsq.results import Analysis, RouteResult

CRS = "EPSG:4326"
#: The same in full (PROJJSON), for files that must be the same byte for byte: what a look-up of the code gives may list the
#: realisations of WGS 84 or not, depending on what the process did before.
CRS_IN_FULL = json.dumps(
    {
        "$schema": "https://proj.org/schemas/v0.7/projjson.schema.json",
        "type": "GeographicCRS",
        "name": "WGS 84",
        "datum": {
            "type": "GeodeticReferenceFrame",
            "name": "World Geodetic System 1984",
            "ellipsoid": {"name": "WGS 84", "semi_major_axis": 6378137, "inverse_flattening": 298.257223563},
        },
        "coordinate_system": {
            "subtype": "ellipsoidal",
            "axis": [
                {"name": "Geodetic latitude", "abbreviation": "Lat", "direction": "north", "unit": "degree"},
                {"name": "Geodetic longitude", "abbreviation": "Lon", "direction": "east", "unit": "degree"},
            ],
        },
        "id": {"authority": "EPSG", "code": 4326},
    }
)

#: Layers of ``results.gpkg`` in the order they are written, with the geometry that each declares.
LAYERS = {
    "tracks": "MultiLineString",
    "centrelines": "MultiLineString",
    "deviations": "MultiLineString",
    "first_fixes": "Point",
    "stations": "Point",
}


def tracks(analysis: Analysis) -> geopandas.GeoDataFrame:
    """Return a row per recording that gave a trace, with the columns of ``tracks.csv``; no line under two fixes."""
    rows = tables.tracks(analysis).iloc[: len(analysis.traces)]
    both = zip(analysis.traces, analysis.results, strict=True)
    lines = [_track_line(trace, parts(trace, result)) for trace, result in both]
    return _frame(rows, lines)


def centrelines(analysis: Analysis) -> geopandas.GeoDataFrame:
    """Return a row per route that has a centreline: `route`, `rides`, `length_m`, `median_spread_m`."""
    routes = _with_lines(analysis)
    rows = pd.DataFrame(
        {
            "route": pd.array([wording.cell(found.route.name) for found, _ in routes], dtype="str"),
            "rides": pd.array([len(found.rides) for found, _ in routes], dtype="Int64"),
            "length_m": _rounded([line.length_m for _, line in routes]),
            "median_spread_m": _rounded([_median_m(line.spread_m) for _, line in routes]),
        }
    )
    return _frame(rows, [_multi_line(cut_antimeridian(*_line_deg(found, line))) for found, line in routes])


def deviations(analysis: Analysis) -> geopandas.GeoDataFrame:
    """Return a row per deviation, drawn along the fixes of its recording, with the columns of ``deviations.csv``."""
    lines = []
    for found in analysis.deviations:
        trace, result = analysis.traces[found.trace], analysis.results[found.trace]
        lines.append(_track_line(trace, parts_between(trace, result, found.from_point, found.to_point)))
    return _frame(tables.deviations(analysis), lines)


def first_fixes(analysis: Analysis) -> geopandas.GeoDataFrame:
    """Return a row per recording with a fix, at the place of its first."""
    import shapely

    fixed = [i for i, trace in enumerate(analysis.traces) if trace.accepted]
    rows = (
        tables.tracks(analysis)
        .iloc[fixed][[column.name for column in columns.of_file("first_fixes")]]
        .reset_index(drop=True)
    )
    places = np.array([[analysis.traces[i].lon_deg[0], analysis.traces[i].lat_deg[0]] for i in fixed])
    return _frame(rows, shapely.points(places.reshape(-1, 2)))


def stations(analysis: Analysis) -> geopandas.GeoDataFrame:
    """Return a row per station of every centreline: `route`, `along_m`, `support`, `rides`, `spread_m`, `band_m`."""
    import shapely

    routes = [(found.route.name, line, *_line_deg(found, line)) for found, line in _with_lines(analysis)]
    rows = pd.DataFrame(
        {
            "route": pd.array(
                [wording.cell(name) for name, line, *_ in routes for _ in range(len(line.along_m))], dtype="str"
            ),
            "along_m": _rounded(_joined([line.along_m for _, line, *_ in routes])),
            "support": _joined([line.support for _, line, *_ in routes]).astype("int64"),
            "rides": _joined([line.rides for _, line, *_ in routes]).astype("int64"),
            "spread_m": _rounded(_joined([line.spread_m for _, line, *_ in routes])),
            "band_m": _rounded(_joined([line.band_m for _, line, *_ in routes])),
        }
    )
    places = np.column_stack([_joined([lon for *_, lon, _ in routes]), _joined([lat for *_, lat in routes])])
    return _frame(rows, shapely.points(places))


def centrelines_geojson(analysis: Analysis) -> str:
    """Return the centrelines as RFC 7946 GeoJSON with 7 decimals (1 cm); a line over ±180° comes in parts."""
    features = []
    rows = centrelines(analysis).drop(columns="geometry").astype(object)
    both = _with_lines(analysis)
    for (found, line), values in zip(both, rows.where(rows.notna(), None).to_dict("records"), strict=True):
        pieces = [np.round(piece, 7).tolist() for piece in cut_antimeridian(*_line_deg(found, line))]
        geometry: dict[str, Any] | None = None
        if len(pieces) == 1:
            geometry = {"type": "LineString", "coordinates": pieces[0]}
        elif pieces:
            geometry = {"type": "MultiLineString", "coordinates": pieces}
        features.append({"type": "Feature", "properties": values, "geometry": geometry})
    return json.dumps({"type": "FeatureCollection", "features": features}, ensure_ascii=False, allow_nan=False)


def frames(analysis: Analysis) -> dict[str, geopandas.GeoDataFrame]:
    """Return all layers by name, in the order of `LAYERS`."""
    makers = {
        "tracks": tracks,
        "centrelines": centrelines,
        "deviations": deviations,
        "first_fixes": first_fixes,
        "stations": stations,
    }
    return {name: makers[name](analysis) for name in LAYERS}


def write_geopackage(analysis: Analysis, path: Path) -> None:
    """Write all layers, empty ones too, with what their columns mean; the same analysis gives the same bytes.

    The date that the format asks for (when the contents last changed) is that of the newest fix.
    """
    import pyogrio

    pyogrio.set_gdal_config_options({"OGR_CURRENT_DATE": newest(analysis)})
    try:
        for name, frame in frames(analysis).items():
            pyogrio.write_dataframe(
                frame, path, layer=name, driver="GPKG", geometry_type=LAYERS[name], promote_to_multi=False,
                append=name != "tracks", layer_options={"SPATIAL_INDEX": "YES"},
            )  # fmt: skip
    finally:
        pyogrio.set_gdal_config_options({"OGR_CURRENT_DATE": None})
    add_descriptions(path, LAYERS)


def write_geoparquet(analysis: Analysis, folder: Path) -> list[Path]:
    """Write each layer as ``NAME.parquet`` (GeoParquet 1.0) into a folder; needs pyarrow.

    Raises
    ------
    OutputError
        When pyarrow is not installed.
    """
    from gpsq.exceptions import OutputError

    written = []
    for name, frame in frames(analysis).items():
        path = folder / f"{name}.parquet"
        try:
            put_parquet(frame, path)
        except ImportError as missing:
            raise OutputError(f"{path.name}: GeoParquet needs the package pyarrow, which is not installed") from missing
        written.append(path)
    return written


def put_parquet(frame: Any, path: Path) -> None:
    """Write a frame as Parquet; one with geometries as GeoParquet, the same bytes in any process."""
    if hasattr(frame, "set_crs"):
        frame = frame.set_crs(CRS_IN_FULL, allow_override=True)
    with path.open("wb") as file:  # the library takes no path with bytes that are no text
        frame.to_parquet(file, index=False)


def newest(analysis: Analysis) -> str:
    """Return the time of the newest fix as ISO 8601, or the first day of this century where no fix has a time."""
    times = [dated(trace.time) for trace in analysis.traces]
    known = [time[~np.isnat(time)] for time in times]
    latest = max((time.max() for time in known if len(time)), default=np.datetime64("2000-01-01", "ms"))
    return f"{np.datetime_as_string(latest, unit='ms')}Z"


def _track_line(trace: Trace, unbroken: list[IntArray]) -> Any:
    pieces = [cut_antimeridian(trace.lon_deg[part], trace.lat_deg[part]) for part in unbroken]
    return _multi_line([piece for own in pieces for piece in own])


def _multi_line(pieces: list[FloatArray]) -> Any:
    import shapely

    pieces = [piece for piece in pieces if len(piece) > 1]
    if not pieces:
        return None
    which = np.repeat(np.arange(len(pieces)), [len(piece) for piece in pieces])
    lines: Any = shapely.linestrings(np.vstack(pieces), indices=which)
    return shapely.multilinestrings(lines)


def _with_lines(analysis: Analysis) -> list[tuple[RouteResult, Centreline]]:
    """Return the routes that have a centreline, each with it."""
    return [(found, found.centreline) for found in analysis.routes if found.centreline is not None]


def _line_deg(found: RouteResult, line: Centreline) -> tuple[FloatArray, FloatArray]:
    return found.route.plane.to_degrees(line.xy_m)


def _median_m(values: FloatArray) -> float:
    known = values[np.isfinite(values)]
    return float(np.median(known)) if len(known) else float("nan")


def _joined(arrays: list[Any]) -> Any:
    return np.concatenate(arrays) if arrays else np.empty(0)


def _rounded(values: Any) -> FloatArray:
    rounded = np.round(np.asarray(values, float), 2) + 0.0
    rounded[~np.isfinite(rounded)] = np.nan
    return rounded


def _frame(rows: pd.DataFrame, geometry: Any) -> geopandas.GeoDataFrame:
    import geopandas

    zoned = rows.reset_index(drop=True)
    for name in zoned.columns:
        if zoned[name].dtype.kind == "M":
            zoned[name] = zoned[name].dt.tz_localize("UTC")
    return geopandas.GeoDataFrame(zoned, geometry=geopandas.GeoSeries(geometry, index=zoned.index, crs=CRS), crs=CRS)

"""Streets below maps and pictures: a local file of lines, clipped to what is shown; nothing is ever fetched."""

from __future__ import annotations

from functools import lru_cache
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

from gpsq.exceptions import OutputError

if TYPE_CHECKING:
    from gpsq.model import FloatArray
    from gpsq.plane import Plane
    from gpsq.results import Analysis

#: Streets are shown this far round the line, as a share of its extent, and this far at least.
AROUND_SHARE, AROUND_M = 0.6, 400.0
#: More points than this are no background any more.
MOST_POINTS = 60_000


def lines_m(analysis: Analysis, plane: Plane, around_m: FloatArray) -> list[FloatArray]:
    """Return the streets round a line as (k, 2) lines in its plane, none where the campaign names no streets."""
    if analysis.streets is None or not len(around_m):
        return []
    path = str(Path(analysis.folder, analysis.streets.file))
    rim = max(AROUND_M, AROUND_SHARE * float(np.ptp(around_m, axis=0).max()))
    low, high = around_m.min(axis=0) - rim, around_m.max(axis=0) + rim
    lon, lat = plane.to_degrees(np.array([low, high, [low[0], high[1]], [high[0], low[1]]]))
    return [plane.to_metres(*line.T) for line in lines_deg(path, lon.min(), lat.min(), lon.max(), lat.max())]


@lru_cache(maxsize=32)
def lines_deg(path: str, west: float, south: float, east: float, north: float) -> list[FloatArray]:
    """Return the (k, 2) longitude-latitude lines of a file of streets inside a box.

    Raises
    ------
    OutputError
        When the file cannot be read as lines.
    """
    import shapely

    found = _read(Path(path), (west, south, east, north))
    clipped = shapely.clip_by_rect(found, west, south, east, north)
    lines = shapely.get_parts(shapely.line_merge(clipped[~shapely.is_empty(clipped)]))
    lines = lines[shapely.get_num_coordinates(lines) > 1]
    tolerance = 0.0
    while shapely.get_num_coordinates(lines).sum() > MOST_POINTS and tolerance < 1e-3:
        tolerance = max(1e-5, 2 * tolerance)
        lines = shapely.simplify(lines, tolerance, preserve_topology=False)
    return [shapely.get_coordinates(line) for line in lines]


def _read(path: Path, box: tuple[float, float, float, float]) -> Any:
    import shapely
    from pyogrio.errors import DataSourceError
    from pyogrio.raw import read

    try:
        meta, _, shapes, _ = read(path, columns=[], bbox=None, force_2d=True)
        lines = shapely.from_wkb(shapes)
    except (DataSourceError, shapely.errors.GEOSException, ValueError, OSError) as failed:
        raise OutputError(f"{path.name}: cannot be read as lines: {failed}; expected GeoJSON or GeoPackage") from failed
    if meta["crs"] and meta["crs"] not in ("EPSG:4326", "OGC:CRS84"):
        raise OutputError(f"{path.name}: found positions in {meta['crs']}; expected longitude and latitude (EPSG:4326)")
    lines = shapely.get_parts(lines[~shapely.is_missing(lines)])
    lines = lines[shapely.get_type_id(lines) == 1]
    tree = shapely.STRtree(lines)
    return lines[np.sort(tree.query(shapely.box(*box)))]

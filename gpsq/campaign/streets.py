"""Streets to be drawn below maps: whether a file holds lines on earth; they are read where maps are drawn."""

from __future__ import annotations

from typing import TYPE_CHECKING

from gpsq import digests
from gpsq.results import Streets

if TYPE_CHECKING:
    from pathlib import Path

EXPECTED = "a GeoJSON or GeoPackage of lines, in longitude and latitude (EPSG:4326)"
ON_EARTH = frozenset({None, "EPSG:4326", "OGC:CRS84"})


def load(folder: Path, name: str, source: str) -> tuple[Streets | None, tuple[str, ...]]:
    """Return the streets that a campaign names, None where there are none, and a line on what is wrong with them."""
    if not name:
        return None, ()
    from pyogrio import read_info
    from pyogrio.errors import DataLayerError, DataSourceError

    try:
        found = read_info(folder / name)
    except (DataSourceError, DataLayerError, OSError):
        return None, (f"{name}: found nothing that can be read as lines; expected {EXPECTED}",)
    if found["crs"] not in ON_EARTH:
        return None, (f"{name}: found positions in {found['crs']}; expected {EXPECTED}",)
    if not any(kind in str(found["geometry_type"]) for kind in ("LineString", "Unknown", "GeometryCollection")):
        return None, (f"{name}: found {found['geometry_type']}; expected {EXPECTED}",)
    return Streets(name, digests.file_sha256(folder / name), source), ()

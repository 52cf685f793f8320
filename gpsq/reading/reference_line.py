"""Reference lines: surveyed, or a better receiver's, from GPX or GeoJSON."""

from __future__ import annotations

import json
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np

from gpsq.arrays import freeze, same_length
from gpsq.campaign import safe_files
from gpsq.exceptions import InputError, UnreadableFile
from gpsq.reading.archives import MOST_BYTES
from gpsq.reading.gpx import reader

if TYPE_CHECKING:
    from collections.abc import Mapping
    from pathlib import Path

    from gpsq.model import FloatArray


@dataclass(frozen=True, eq=False)
class ReferenceLine:
    """The line in `file`: `lon_deg`, `lat_deg` (n,), n ≥ 2. `of` names a route, or a recording that lies on it."""

    of: str
    file: str
    lon_deg: FloatArray
    lat_deg: FloatArray

    def __post_init__(self) -> None:
        same_length(self, ("lon_deg", "lat_deg"))
        freeze(self)


def load(folder: Path, references: Mapping[str, str]) -> tuple[tuple[ReferenceLine, ...], tuple[str, ...]]:
    """Return the reference lines that a campaign names, and one plain line for each file that holds none.

    Parameters
    ----------
    references : a route's name or a recording → the file of its line, below `folder`.
    """
    lines, problems = [], []
    for of, file in references.items():
        try:
            lines.append(ReferenceLine(of, file, *read_line(folder / file)))
        except UnreadableFile as error:
            problems.append(str(InputError(file, error.found, error.expected)))
    return tuple(lines), tuple(problems)


def read_line(path: Path) -> tuple[FloatArray, FloatArray]:
    """Return longitudes and latitudes, (n,) each, of the line in a GPX or GeoJSON file.

    Parameters
    ----------
    path : Path
        A GPX track or route, or the first LineString of a GeoJSON document (RFC 7946).

    Raises
    ------
    UnreadableFile
        When there is no line of two positions or more.
    """
    try:
        data = safe_files.read_bytes(path, MOST_BYTES)
    except OSError as error:
        found = error.strerror or "an error of the file system"
        raise UnreadableFile(path.name, found, "a readable file", "cannot_open") from error
    return reader.read_line(data, path.name) if reader.looks_like(data) else parse_geojson(data, path.name)


def parse_geojson(data: bytes, file: str) -> tuple[FloatArray, FloatArray]:
    """Return longitudes and latitudes of the first LineString in a GeoJSON document.

    Examples
    --------
    >>> lon, lat = parse_geojson(b'{"type": "LineString", "coordinates": [[3, 51], [4, 52]]}', "line.geojson")
    >>> lon.tolist(), lat.tolist()
    ([3.0, 4.0], [51.0, 52.0])
    """
    expected = "a GeoJSON LineString of two positions or more"
    try:
        line = _first_line(json.loads(data.decode("utf-8-sig")))
        positions = np.array([position[:2] for position in line], dtype=np.float64)
    except (ValueError, TypeError, RecursionError) as error:
        raise UnreadableFile(file, "text that is no GeoJSON line", expected, "no_line") from error
    if positions.ndim != 2 or len(positions) < 2 or not (np.abs(positions) <= (180.0, 90.0)).all():
        raise UnreadableFile(file, "no line, or positions out of range", expected, "no_line")
    return positions[:, 0], positions[:, 1]


def _first_line(node: Any) -> list[Any]:
    """Return the coordinates of the first LineString in a geometry, feature or collection, or an empty list."""
    if not isinstance(node, dict):
        return []
    if node.get("type") == "LineString" and isinstance(node.get("coordinates"), list):
        return list(node["coordinates"])
    parts = [node.get("geometry"), *(node.get("features") or []), *(node.get("geometries") or [])]
    return next((line for part in parts if (line := _first_line(part))), [])

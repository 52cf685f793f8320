"""What GDAL does not write into a GeoPackage: descriptions of its columns (OGC 12-128r19, annex F.9)."""

from __future__ import annotations

import sqlite3
from contextlib import closing
from typing import TYPE_CHECKING

from gpsq.output.tables import columns

if TYPE_CHECKING:
    from collections.abc import Iterable
    from pathlib import Path

_SCHEMA = """
CREATE TABLE gpkg_data_columns (table_name TEXT NOT NULL, column_name TEXT NOT NULL, name TEXT, title TEXT,
 description TEXT, mime_type TEXT, constraint_name TEXT, CONSTRAINT pk_gdc PRIMARY KEY (table_name, column_name),
 CONSTRAINT gdc_tn UNIQUE (table_name, name));
CREATE TABLE gpkg_data_column_constraints (constraint_name TEXT NOT NULL, constraint_type TEXT NOT NULL, value TEXT,
 min NUMERIC, min_is_inclusive BOOLEAN, max NUMERIC, max_is_inclusive BOOLEAN, description TEXT,
 CONSTRAINT gdcc_ntv UNIQUE (constraint_name, constraint_type, value));
"""
_EXTENSION = "INSERT INTO gpkg_extensions VALUES (?, NULL, 'gpkg_schema', ?, 'read-write')"
_DEFINITION = "http://www.geopackage.org/spec/#extension_schema"
_COLUMN = "INSERT INTO gpkg_data_columns (table_name, column_name, name, description) VALUES (?, ?, ?, ?)"


def add_descriptions(path: Path, layers: Iterable[str]) -> None:
    """Describe every column of the layers of a GeoPackage, by the schema extension of the standard.

    Raises
    ------
    sqlite3.Error
        When the file cannot be written.
    """
    with closing(sqlite3.connect(path)) as base, base:
        base.executescript(_SCHEMA)
        for table in ("gpkg_data_columns", "gpkg_data_column_constraints"):
            base.execute(_EXTENSION, (table, _DEFINITION))
        for layer in layers:
            meant = [(layer, c.name, c.name, c.meaning) for c in columns.of_file(layer)]
            base.executemany(_COLUMN, meant)

"""Recordings from (Geo)Parquet: a row for each fix, whole recordings in each file.

Columns: ``recording`` (its name; needed), ``geometry`` (WKB points, as GeoParquet writes them) or ``lon_deg`` and
``lat_deg``, and where known ``time`` (UTC), ``device``, ``ele_m``, ``hdop``, ``sat``, ``speed_mps``, ``segment``.
"""

from __future__ import annotations

import dataclasses
import json
from typing import TYPE_CHECKING, Any

import numpy as np

from gpsq import digests
from gpsq.campaign.timestamps import parse_times
from gpsq.exceptions import UnreadableFile
from gpsq.model import NAT, Unreadable
from gpsq.reading.listing import readable
from gpsq.reading.recording import FIX_UNSAID, Recording
from gpsq.reading.screen import Origin, make_trace

if TYPE_CHECKING:
    from pathlib import Path

    from gpsq.model import FloatArray, Trace
    from gpsq.settings import Settings

SUFFIX = ".parquet"
NUMBERS = ("ele_m", "hdop", "sat", "speed_mps")
EXPECTED = "columns recording, and geometry or lon_deg and lat_deg"
#: Rows of one file. A column of one value takes a few bytes in a file and eight a row in memory.
MOST_ROWS = 20_000_000


def read_parquet(path: Path, name: str, *, settings: Settings) -> list[Trace | Unreadable]:
    """Return the traces in one Parquet file, in order of their names, and what cannot be read of it.

    Parameters
    ----------
    path, name : where it lies, and what messages call it.
    """
    import pyarrow as pa

    try:
        columns = _columns(path, name)
        parts = _recordings(columns.pop("recording"))
    except UnreadableFile as error:
        return [_refused(error)]
    except (pa.ArrowException, OSError, ValueError) as error:
        return [_refused(UnreadableFile(name, str(error), "a Parquet file", "not_parquet"))]
    found: list[Trace | Unreadable] = []
    for known, which in parts:
        if known is None:
            without = f"{len(which)} rows without a recording's name"
            found.append(_refused(UnreadableFile(name, without, "one in each", "no_name")))
        else:
            found.append(_trace({k: column[which] for k, column in columns.items()}, readable(known), settings))
    return found


def _refused(error: UnreadableFile) -> Unreadable:
    return Unreadable(error.file, 0, error.reason, str(error))


# --- columns --------------------------------------------------------------------------------------------------------


def _columns(path: Path, name: str) -> dict[str, Any]:
    """Return the columns by name: arrays of texts, numbers or times, one entry a row."""
    import pyarrow.parquet as pq

    with path.open("rb") as file:  # the library takes no path with bytes that are no text
        stored = pq.ParquetFile(file)
        have, rows = stored.schema_arrow.names, stored.metadata.num_rows
        if not 0 < rows <= MOST_ROWS:
            reason = "too_large" if rows else "empty_file"
            raise UnreadableFile(name, f"{rows:,} rows", f"at least one and at most {MOST_ROWS:,}", reason)
        places = ["lon_deg", "lat_deg"] if {"lon_deg", "lat_deg"} <= set(have) else ["geometry"]
        needed = ["recording", *places]
        others = [k for k in ("time", "device", "segment", *NUMBERS) if k in have]
        wanted = [*needed, *others]
        if not set(needed) <= set(have) or any(have.count(k) > 1 for k in wanted):
            raise UnreadableFile(name, _named(have), EXPECTED + ", each once", "no_coordinate_columns")
        table = stored.read(columns=wanted)
    table.validate(full=True)
    found: dict[str, Any] = {k: _texts(table, k, name) for k in ("recording", "device") if k in wanted}
    found |= {k: _numbers(table, k, name) for k in (*NUMBERS, "segment") if k in wanted}
    found["time"] = _times(table, name) if "time" in wanted else np.full(rows, NAT)
    if places == ["geometry"]:
        return found | _points(table, name)
    return found | {k: _numbers(table, k, name) for k in places} | {"garbled": np.zeros(rows, dtype=bool)}


def _named(have: list[str]) -> str:
    return f"columns {', '.join(have[:20])}{' and more' if len(have) > 20 else ''}" if have else "no column"


def _cast(table: Any, column: str, name: str, to: Any, expected: str) -> Any:
    """Return a column as of another type, whole."""
    import pyarrow as pa
    import pyarrow.compute as pc

    cut = pc.CastOptions(to, allow_time_truncate=True)
    try:
        return pc.cast(table.column(column), options=cut).combine_chunks()
    except pa.ArrowException as error:
        found = f"a column {column} of {table.column(column).type}, not all of it {expected}"
        raise UnreadableFile(name, found, expected, "bad_column") from error


def _texts(table: Any, column: str, name: str) -> Any:
    """Return the texts of a column, None where there is none; a text of many rows is kept once, however long."""
    import pyarrow as pa

    texts = _cast(table, column, name, pa.string(), "texts").dictionary_encode()
    return np.array([*texts.dictionary.to_pylist(), None], dtype=object)[np.asarray(texts.indices.fill_null(-1))]


def _numbers(table: Any, column: str, name: str) -> FloatArray:
    import pyarrow as pa

    numbers = _cast(table, column, name, pa.float64(), "numbers")
    return np.array(numbers.to_numpy(zero_copy_only=False), dtype=np.float64)


def _times(table: Any, name: str) -> Any:
    """Return times in UTC; texts are read as those of other files, and numbers, which may count from anywhere, are not."""
    import pyarrow as pa

    kind = table.column("time").type
    if pa.types.is_string(kind) or pa.types.is_large_string(kind):
        return parse_times([text or "" for text in _texts(table, "time", name)]).time
    if not (pa.types.is_timestamp(kind) or pa.types.is_null(kind)):
        raise UnreadableFile(name, f"a column time of {kind}", "timestamps in UTC", "bad_column")
    times = _cast(table, "time", name, pa.timestamp("ms"), "timestamps in UTC, in years of four digits")
    return times.to_numpy(zero_copy_only=False).astype("datetime64[ms]")


def _points(table: Any, name: str) -> dict[str, Any]:
    """Return longitude and latitude of points in WKB, nan where there is none, and which of them are something else."""
    import pyarrow as pa
    import shapely

    wkb = _cast(table, "geometry", name, pa.binary(), "points in WKB")
    told = json.loads((table.schema.metadata or {}).get(b"geo", b"{}"))
    system = told.get("columns", {}).get("geometry", {}).get("crs")
    if system and not _is_geographic(system):
        called = system.get("name", "another coordinate system") if isinstance(system, dict) else system
        raise UnreadableFile(name, f"coordinates in {called}", "longitude and latitude on WGS 84", "bad_column")
    points = shapely.from_wkb(wkb.to_numpy(zero_copy_only=False), on_invalid="ignore")
    garbled = np.asarray(wkb.is_valid()) & (shapely.get_type_id(points) != shapely.GeometryType.POINT)
    return {"lon_deg": shapely.get_x(points), "lat_deg": shapely.get_y(points), "garbled": garbled}


def _is_geographic(system: Any) -> bool:
    """Whether a coordinate system, as PROJJSON (GeoParquet 1) or WKT (GeoParquet 0), is one of degrees."""
    kind = str(system.get("type", "") if isinstance(system, dict) else system)
    return kind.lower().startswith("geog")


# --- recordings -----------------------------------------------------------------------------------------------------


def _recordings(names: Any) -> list[tuple[str | None, Any]]:
    """Return each name, in order, with the numbers of its rows; rows without one come last, under None."""
    known = sorted({text for text in names if text is not None})
    place = {text: k for k, text in enumerate([*known, None])}
    of_row = np.array([place[text] for text in names], dtype=np.int64)
    order = np.argsort(of_row, kind="stable")
    which, first = np.unique(of_row[order], return_index=True)
    return [([*known, None][k], rows) for k, rows in zip(which, np.split(order, first[1:]), strict=True)]


def _trace(own: dict[str, Any], name: str, settings: Settings) -> Trace | Unreadable:
    count = len(own["time"])
    lon, lat, time = own["lon_deg"], own["lat_deg"], own["time"]
    numbers = {k: own.get(k, np.full(count, np.nan)) for k in NUMBERS}
    # beyond this no number of a segment is whole
    segment = np.clip(np.nan_to_num(own.get("segment", np.zeros(count))), -(2.0**53), 2.0**53).astype(np.int64)
    missing = np.where(own["garbled"], "unparseable_coordinate", "no_position")
    problem = np.where(np.isnan(lon) | np.isnan(lat), missing, "").astype(object)
    device = readable(own["device"][0] or "") if "device" in own else ""
    recording = Recording(
        name=name, creator=device, time=time, lon_deg=lon, lat_deg=lat, problem=problem,
        fix=np.full(count, FIX_UNSAID, dtype=np.int64), segment=segment, ele_m=numbers["ele_m"], hdop=numbers["hdop"],
        sat=numbers["sat"], speed_mps=numbers["speed_mps"],
    )  # fmt: skip
    made = make_trace(recording, Origin(name, 1, digests.digest(time, lon, lat, segment, *numbers.values())), settings)
    return dataclasses.replace(made, device=device)

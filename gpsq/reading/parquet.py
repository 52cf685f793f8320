"""Recordings from (Geo)Parquet: a row for each fix, whole recordings in each file.

Columns: ``recording`` (its name; needed), ``geometry`` (WKB points, as GeoParquet writes them) or ``lon_deg`` and
``lat_deg``, and where known ``time`` (UTC), ``device``, ``ele_m``, ``hdop``, ``sat``, ``speed_mps``, ``segment``.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np

from gpsq import digests
from gpsq.exceptions import UnreadableFile
from gpsq.model import NAT, Unreadable
from gpsq.reading.recording import FIX_UNSAID, Recording
from gpsq.reading.screen import Origin, make_trace

if TYPE_CHECKING:
    from pathlib import Path

    from gpsq.model import FloatArray, Trace
    from gpsq.settings import Settings

SUFFIX = ".parquet"
NUMBERS = ("ele_m", "hdop", "sat", "speed_mps")
EXPECTED = "columns recording, and geometry or lon_deg and lat_deg"


def read_parquet(path: Path, name: str, *, settings: Settings) -> list[Trace | Unreadable]:
    """Return the traces in one Parquet file, in order of their names, and what cannot be read of it.

    Parameters
    ----------
    path, name : where it lies, and what messages call it.
    """
    import pyarrow as pa
    import pyarrow.parquet as pq

    try:
        with path.open("rb") as file:  # the library takes no path with bytes that are no text
            rows = pq.read_table(file)
        lon, lat = _positions(rows, name)
        recording = _column(rows, "recording")
    except (pa.ArrowException, OSError) as error:
        refused = UnreadableFile(name, str(error), "a Parquet file", "not_parquet")
        return [Unreadable(name, 0, refused.reason, str(refused))]
    except UnreadableFile as refused:
        return [Unreadable(name, 0, refused.reason, str(refused))]
    order = np.argsort(recording.astype(str), kind="stable")
    names, first = np.unique(recording.astype(str)[order], return_index=True)
    return [
        _trace(rows, lon, lat, which, str(known), settings)
        for known, which in zip(names, np.split(order, first[1:]), strict=True)
    ]


def _positions(rows: Any, name: str) -> tuple[FloatArray, FloatArray]:
    have = set(rows.column_names)
    if "recording" in have and {"lon_deg", "lat_deg"} <= have:
        return _numbers(rows, "lon_deg"), _numbers(rows, "lat_deg")
    if "recording" in have and "geometry" in have:
        import shapely

        points = shapely.from_wkb(_column(rows, "geometry"), on_invalid="ignore")
        return np.asarray(shapely.get_x(points)), np.asarray(shapely.get_y(points))
    found = f"columns {', '.join(rows.column_names)}" if have else "no column"
    raise UnreadableFile(name, found, EXPECTED, "no_coordinate_columns")


def _trace(
    rows: Any, lon: FloatArray, lat: FloatArray, which: Any, name: str, settings: Settings
) -> Trace | Unreadable:
    import dataclasses

    own = rows.take(which)
    lon, lat, count = lon[which], lat[which], len(which)
    unknown = np.full(count, np.nan)
    time = np.full(count, NAT, dtype="datetime64[ms]")
    if "time" in own.column_names:
        time = _column(own, "time").astype("datetime64[ms]")
    numbers = {k: _numbers(own, k) if k in own.column_names else unknown.copy() for k in NUMBERS}
    segment = np.zeros(count, dtype=np.int64)
    if "segment" in own.column_names:
        segment = np.nan_to_num(_numbers(own, "segment")).astype(np.int64)
    problem = np.where(np.isnan(lon) | np.isnan(lat), "no_position", "").astype(object)
    device = str(_column(own, "device")[0] or "") if "device" in own.column_names else ""
    recording = Recording(
        name=name, creator=device, time=time, lon_deg=lon, lat_deg=lat, problem=problem,
        fix=np.full(count, FIX_UNSAID, dtype=np.int64), segment=segment, ele_m=numbers["ele_m"], hdop=numbers["hdop"],
        sat=numbers["sat"], speed_mps=numbers["speed_mps"],
    )  # fmt: skip
    made = make_trace(recording, Origin(name, 1, digests.digest(time, lon, lat, segment, *numbers.values())), settings)
    return dataclasses.replace(made, device=device)


def _column(rows: Any, name: str) -> Any:
    return rows.column(name).to_numpy(zero_copy_only=False)


def _numbers(rows: Any, name: str) -> FloatArray:
    import pyarrow as pa

    return np.array(rows.column(name).cast(pa.float64()).to_numpy(zero_copy_only=False), dtype=np.float64)

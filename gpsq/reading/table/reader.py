"""Reads delimited text (CSV): separator, decimal sign, columns and times are found out, and every guess is told."""

from __future__ import annotations

import csv
import re
from typing import TYPE_CHECKING

import numpy as np

from gpsq.exceptions import UnreadableFile
from gpsq.model import NAT
from gpsq.reading.numbers import parse_numbers
from gpsq.reading.recording import FIX_2D, FIX_3D, FIX_NONE, FIX_UNSAID, Recording
from gpsq.reading.table.columns import factor, meanings
from gpsq.reading.table.text import Sheet, decode, find_heading, first_cells, sheet
from gpsq.reading.table.times import Moments, moments

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from gpsq.model import FloatArray, IntArray

_FIRST_LOOK = 262_144
_ANGLE = re.compile(
    r"([NSEW+-]?)\s*(\d{1,3}(?:\.\d*)?)\s*[°ºd:\s]?\s*(?:(?<=[°ºd:\s])(\d{1,2}(?:\.\d*)?)\s*['′’m:\s]?\s*)?"
    r"(?:(?<=['′’m:\s])(\d{1,2}(?:\.\d*)?)\s*(?:[\"″”s]|''|′′)?\s*)?([NSEW]?)",
    re.IGNORECASE,
)
_NO_FIX = {"none", "no", "no fix", "nofix", "no_fix", "0", "v", "void", "invalid", "false", "n"}
_FIX_3D = {"3", "3d", "3d fix", "3d_fix"}
_FIX = {"1", "2", "2d", "2d fix", "4", "5", "dgps", "pps", "rtk", "sps", "gps", "a", "valid", "true", "fix", "yes", "y"}


def looks_like(data: bytes, file: str) -> bool:
    r"""Whether the bytes are a table with columns for latitude and longitude, or a file named as a table.

    The latter so that `read` can say which headings it found.

    Examples
    --------
    >>> looks_like(b"time,lat,lon\n", "ride.txt"), looks_like(b"x,y\n", "ride.txt"), looks_like(b"x,y\n", "ride.csv")
    (True, False, True)
    """
    text, _ = decode(data[:_FIRST_LOOK])
    if text.lstrip().startswith(("<", "{")):
        return False
    return file.casefold().endswith((".csv", ".tsv")) or find_heading(text) is not None


def read(data: bytes, file: str, time_zone: str | None = None, date_order: str | None = None) -> list[Recording]:
    r"""Read one table; every row below the heading is a point.

    Parameters
    ----------
    data : the file's bytes. file : its name, for messages.
    time_zone : IANA name for times that say no zone themselves; without it they are taken as UTC, and counted.
    date_order : "dmy", "mdy" or "ymd" for dates that could be read in two ways.

    Returns
    -------
    list of one `Recording`; its remarks and notes state each guess. `date_known` is False where the day is open
    or absent.

    Raises
    ------
    UnreadableFile
        When no columns for latitude and longitude are found, or no rows.
    InputError
        When `time_zone` or `date_order` is unknown.

    Examples
    --------
    >>> ride = read("Zeit;Breite;Länge\n14.05.2024 07:10:00;51,295;-3,725\n".encode(), "ride.csv")[0]
    >>> print(ride.time[0], ride.lat_deg[0])
    2024-05-14T07:10:00.000 51.295
    """
    table = _sheet(data, file)
    columns = meanings(table.headings)
    comma = _decimal_comma(table, columns)
    lat_deg, lat_problem = _angles(table.column(columns["lat"]), comma, "NS")
    lon_deg, lon_problem = _angles(table.column(columns["lon"]), comma, "EW")
    found = _moments(table, columns, time_zone, date_order)
    fix = _fixes(table, columns)
    problem = np.where(lat_problem != "", lat_problem, lon_problem)
    problem[fix == FIX_NONE] = "no_fix"
    truncated = table.ends_mid_line and len(table.rows[-1]) < len(table.headings)
    problem[-1:] = "truncated_element" if truncated else problem[-1:]
    values = {what: _values(table, columns, what, comma) for what in ("ele", "hdop", "sat", "speed")}
    return [
        Recording(
            name="",
            creator="",
            time=found.time,
            lon_deg=lon_deg,
            lat_deg=lat_deg,
            problem=problem,
            fix=fix,
            ele_m=values["ele"],
            hdop=values["hdop"],
            sat=values["sat"],
            speed_mps=values["speed"],
            segment=np.zeros(len(table.rows), np.int64),
            notes=tuple(found.notes),
            remarks=(_reading(table, columns, comma),),
            date_known=found.date_known,
            truncated=truncated,
            counts=found.counts,
        )
    ]


def _sheet(data: bytes, file: str) -> Sheet:
    text, encoding = decode(data)
    place = find_heading(text)
    if place is None:
        names = ", ".join(cell[:30] for cell in first_cells(text)[:20]) or "nothing"
        expected = "columns named for example latitude and longitude (or lat/lon, Breite/Länge), and time"
        raise UnreadableFile(file, f"the headings {names}", expected, "no_coordinate_columns")
    try:
        table = sheet(text, encoding, *place)
    except csv.Error as error:
        raise UnreadableFile(file, f"a table that breaks off ({error})", "rows of cells", "broken_table") from None
    if not table.rows:
        raise UnreadableFile(file, "a heading without rows", "one row for each point", "no_rows")
    _refuse_split_numbers(table, file)
    return table


def _refuse_split_numbers(table: Sheet, file: str) -> None:
    longer = sum(len([*filter(str.strip, row[len(table.headings) :])]) > 0 for row in table.rows)
    if longer > len(table.rows) / 2:
        found = f"more cells than the {len(table.headings)} headings in {longer} of {len(table.rows)} rows"
        expected = f"one cell for each heading; decimal commas need another separator than the {table.delimiter_name}"
        raise UnreadableFile(file, found, expected, "ragged_rows")


def _decimal_comma(table: Sheet, columns: dict[str, int]) -> bool:
    cells = [*table.column(columns["lat"])[:1000], *table.column(columns["lon"])[:1000]]
    commas = sum("," in cell for cell in cells)
    return commas > sum("." in cell for cell in cells)


def _with_point(cell: str, comma: bool) -> str:
    """Return the number with a decimal point; with decimal commas a full stop parts thousands."""
    if not comma or "," not in cell:
        return cell
    return cell.replace(".", "").replace(",", ".")


def _values(table: Sheet, columns: dict[str, int], what: str, comma: bool) -> FloatArray:
    if what not in columns:
        return np.full(len(table.rows), np.nan)
    values = parse_numbers([_with_point(cell, comma) for cell in table.column(columns[what])]).value
    values = values * factor(what, table.headings[columns[what]])
    return np.where(values > 0, values, np.nan) if what == "hdop" else values


def _angles(cells: list[str], comma: bool, letters: str) -> tuple[FloatArray, NDArray[np.object_]]:
    texts = [_with_point(cell, comma) for cell in cells]
    numbers = parse_numbers(texts)
    values, problem = numbers.value.copy(), numbers.problem.copy()
    for row in np.flatnonzero(problem == "unparseable_coordinate"):
        values[row] = _angle(texts[row], letters)
        problem[row] = "" if np.isfinite(values[row]) else problem[row]
    return values, problem


def _angle(text: str, letters: str) -> float:
    r"""Return the degrees of a text with a letter, or in degrees, minutes and seconds; nan where it is none.

    Examples
    --------
    >>> _angle("51°14'24\"N", "NS"), _angle("W 3 30.0", "EW"), _angle("51 N", "EW")
    (51.24, -3.5, nan)
    """
    found = _ANGLE.fullmatch(text)
    if not found:
        return np.nan
    before, *numbers, after = (part or "" for part in found.groups())
    side = (before + after).upper().strip("+-")
    degrees, minutes, seconds = (float(part) if part else 0.0 for part in numbers)
    if (side and side not in letters) or len(side) > 1 or minutes >= 60 or seconds >= 60:
        return np.nan
    size = degrees + minutes / 60 + seconds / 3600
    return -size if (side in ("S", "W")) != (before == "-") else size


def _moments(table: Sheet, columns: dict[str, int], time_zone: str | None, date_order: str | None) -> Moments:
    used = [columns[what] for what in ("time", "date") if what in columns]
    if not used:
        return Moments(np.full(len(table.rows), NAT), notes=["no column with times"])
    texts = table.column(used[0])
    if len(used) == 2 and _time_only(texts):
        texts = [f"{day} {clock}" if clock else "" for day, clock in zip(table.column(used[1]), texts, strict=True)]
    return moments(texts, " ".join(table.headings[place] for place in used), time_zone, date_order)


def _time_only(texts: list[str]) -> bool:
    said = [t for t in texts if t]
    return bool(said) and re.fullmatch(r"\d{1,2}[:h.]\d\d.*|\d{6}(\.\d+)?", said[0]) is not None


def _fixes(table: Sheet, columns: dict[str, int]) -> IntArray:
    if "fix" not in columns:
        return np.full(len(table.rows), FIX_UNSAID, np.int64)
    cells = [cell.casefold() for cell in table.column(columns["fix"])]
    # with 1, 2 and 3 alone the numbers are those of a receiver's mode, where 1 is no fix
    none = _NO_FIX | {"1"} if "3" in cells and "0" not in cells else _NO_FIX
    words = dict.fromkeys(_FIX, FIX_2D) | dict.fromkeys(_FIX_3D, FIX_3D) | dict.fromkeys(none, FIX_NONE)
    return np.array([words.get(cell, FIX_UNSAID) for cell in cells], np.int64)


def _reading(table: Sheet, columns: dict[str, int], comma: bool) -> str:
    names = "/".join(table.headings[place] for place in sorted(columns.values()))
    left = [h for place, h in enumerate(table.headings) if h and place not in columns.values()]
    unused = f"; not used: {', '.join(h[:30] for h in left[:20])}" if left else ""
    sign = "decimal comma" if comma else "decimal point"
    encoding = "" if table.encoding == "UTF-8" else f", {table.encoding}"
    return f"read as a table: {table.delimiter_name}, {sign}, columns {names}{encoding}{unused}"

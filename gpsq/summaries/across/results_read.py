"""What is read of a results folder to compare campaigns: its tables and its centrelines."""

from __future__ import annotations

import csv
import json
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any

import numpy as np

from gpsq.exceptions import InputError
from gpsq.settings import RESULTS
from gpsq.summaries.csv_cells import bare

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence
    from pathlib import Path

    from gpsq.model import FloatArray

Row = dict[str, str]
#: Columns without which nothing can be compared; older results have others.
NEEDED = {
    "tracks.csv": ("device", "route", "ride", "ttff_s", "censored", "xte_p68_m"),
    "devices.csv": ("device", "route"),
    "comparisons.csv": ("measure", "first", "second", "verdict"),
}


@dataclass(frozen=True, eq=False)
class Results:
    """The tables of one campaign, a row as text by column, and its centrelines in degrees by route.

    `withheld` are the pairs of devices whose errors the campaign itself does not compare, with the reason.
    """

    campaign: str
    devices: tuple[Row, ...]
    tracks: tuple[Row, ...]
    lines: Mapping[str, FloatArray]
    withheld: Mapping[tuple[str, str], str] = field(default_factory=dict)


def results_in(folder: Path) -> Path:
    """Return the results folder that a path means: itself, or the one within a campaign's folder."""
    inner = folder / RESULTS
    return inner if (inner / "run.json").is_file() and not (folder / "run.json").is_file() else folder


def read(folder: Path) -> Results:
    """Read what is compared of a results folder.

    Raises
    ------
    InputError
        Where it is none, or one of another version of gpsq.
    """
    run = _run_data(folder)
    drawn = folder / "centrelines.geojson"
    lines = _lines(drawn) if drawn.is_file() else {}
    title = str(run.get("title") or folder.resolve().parent.name)
    compared = _table(folder / "comparisons.csv") if (folder / "comparisons.csv").is_file() else ()
    return Results(title, _table(folder / "devices.csv"), _table(folder / "tracks.csv"), lines, _withheld(compared))


def _withheld(compared: Sequence[Row]) -> dict[tuple[str, str], str]:
    """Return the pairs whose cross-track errors are not compared, as their verdict says it."""
    mark = " are not compared in "
    return {
        (row["first"], row["second"]): row["verdict"].partition(mark)[2].partition(": ")[2]
        for row in compared
        if row["measure"] == "xte_p68_m" and mark in row["verdict"]
    }


def _lines(path: Path) -> dict[str, FloatArray]:
    """Return the drawn lines by their routes."""
    lines = {}
    found = _json(path)
    try:
        for feature in found.get("features", []):
            line = _line(feature.get("geometry") or {})
            if len(line) > 1:
                lines[str(feature["properties"]["route"])] = line
    except (AttributeError, IndexError, KeyError, TypeError, ValueError) as error:
        raise InputError(str(path), "no lines of routes", "GeoJSON as gpsq writes it") from error
    return lines


def _line(geometry: Mapping[str, Any]) -> FloatArray:
    """Return the (m, 2) places of a line, which comes in two parts where it crosses the antimeridian."""
    places = geometry.get("coordinates") or []
    parts = places if geometry.get("type") == "MultiLineString" else [places]
    return np.array([place[:2] for part in parts for place in part], dtype=float)


def _run_data(folder: Path) -> Mapping[str, Any]:
    if not (folder / "run.json").is_file():
        found = "no folder" if not folder.is_dir() else "no run.json"
        raise InputError(str(folder), found, "a results folder that gpsq analyse wrote")
    return _json(folder / "run.json")


def _json(path: Path) -> dict[str, Any]:
    try:
        found = json.loads(path.read_text(encoding="utf-8"))
    except (OSError, ValueError, RecursionError) as error:
        raise InputError(str(path), f"unreadable text ({type(error).__name__})", "JSON as gpsq writes it") from error
    if not isinstance(found, dict):
        raise InputError(str(path), f"a {type(found).__name__}", "a JSON object as gpsq writes it")
    return found


def _table(path: Path) -> tuple[Row, ...]:
    try:
        with path.open(encoding="utf-8", newline="") as text:
            rows = tuple(
                {k: bare(v) if isinstance(v, str) else v for k, v in row.items()} for row in csv.DictReader(text)
            )
    except (OSError, UnicodeDecodeError, csv.Error) as error:
        raise InputError(str(path), f"no readable table ({type(error).__name__})", "a table that gpsq wrote") from error
    missing = [name for name in NEEDED[path.name] if rows and name not in rows[0]]
    if missing:
        wanted = "a table that this version of gpsq wrote: run gpsq analyse again"
        raise InputError(str(path), f"no column {', '.join(missing)}", wanted)
    return rows


def number(row: Row, name: str, otherwise: float = float("nan")) -> float:
    """Return a figure of a row, `otherwise` where the cell is blank or no number."""
    text = row.get(name) or ""
    try:
        return float(text) if text else otherwise
    except ValueError:
        return otherwise

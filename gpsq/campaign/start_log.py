"""``rides.csv``: when and where a person started each device. Every problem is a line; sound rows are used."""

from __future__ import annotations

import csv
from dataclasses import dataclass, field
from datetime import UTC, datetime
from pathlib import PurePosixPath
from typing import TYPE_CHECKING
from zoneinfo import ZoneInfo

import numpy as np

from gpsq.campaign import safe_files
from gpsq.campaign.timestamps import parse_time
from gpsq.exceptions import InputError
from gpsq.model import NAT

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping, Sequence
    from pathlib import Path

    from gpsq.campaign.campaign_file import Campaign

FILE = "rides.csv"
REQUIRED = ("file", "device", "started")
OPTIONAL = ("start_lat", "start_lon", "start_state", "ride", "note")
STATES = ("hot", "warm", "cold")
#: A note may run over so many lines.
MOST_LINES = 20


@dataclass(frozen=True)
class StartEntry:
    """One row: what a person noted of one file; nan, NaT and "" where nothing is said."""

    file: str
    row: int
    device: str = ""
    started: np.datetime64 = NAT
    start_lat_deg: float = float("nan")
    start_lon_deg: float = float("nan")
    start_state: str = ""
    ride: str = ""
    note: str = ""


@dataclass(frozen=True)
class StartLog:
    """The sound rows by the file they name, and a line for every problem."""

    entries: Mapping[str, StartEntry] = field(default_factory=dict)
    problems: tuple[str, ...] = ()


def load(folder: Path, campaign: Campaign) -> StartLog:
    """Read ``rides.csv`` in `folder`; without one, return an empty log."""
    path = folder / FILE
    try:
        data = safe_files.read_bytes(path)
    except FileNotFoundError:
        return StartLog()
    except OSError as error:
        return StartLog(problems=(_problem(f"a file that cannot be read ({error.strerror})", "a readable file"),))
    return parse(data, campaign.time_zone)


def parse(data: bytes, time_zone: str | None = None) -> StartLog:
    r"""Read the bytes of a start log.

    Examples
    --------
    >>> log = parse(b"file,device,started\nmon.gpx,Watch,2024-05-13T07:00:00Z\ntue.gpx,Watch,soon\n")
    >>> [str(entry.started) for entry in log.entries.values()]
    ['2024-05-13T07:00:00.000', 'NaT']
    >>> print(log.problems[0])
    rides.csv: found 'soon' as started in row 2; expected a time such as 2024-05-14T07:10:00Z
    """
    text = data.decode("utf-8-sig", "replace")
    heading, _, _ = text.partition("\n")
    delimiter = max(",;\t", key=heading.count)
    rows, unclosed = _rows(text.replace("\0", ""), delimiter)
    if not rows:
        return StartLog(problems=(_problem("an empty file", f"the columns {', '.join(REQUIRED)}"),))
    names = [name.strip().lower() for name in rows[0]]
    problems = [*_column_problems(names), *unclosed]
    if "file" not in names:
        return StartLog(problems=tuple(problems))
    entries: dict[str, StartEntry] = {}
    for number, row in enumerate(rows[1:], start=1):
        if any(cell.strip() for cell in row):
            _add(entries, problems, dict(zip(names, (cell.strip() for cell in row), strict=False)), number, time_zone)
    return StartLog(entries, tuple(problems))


def _rows(text: str, delimiter: str) -> tuple[list[list[str]], list[str]]:
    """Return the rows of a table and a line for each quote that is not closed: it would swallow the rows below it.

    A quoted cell may hold line breaks where the row is then as long as the heading.
    """
    lines = text.splitlines()
    rows: list[list[str]] = []
    problems: list[str] = []
    at = 0
    while at < len(lines):
        width = len(rows[0]) if rows else 0
        taken = next((n for n in range(1, MOST_LINES + 1) if _is_row(lines[at : at + n], n, width, delimiter)), 0)
        if taken:
            rows.append(next(csv.reader(["\n".join(lines[at : at + taken])], delimiter=delimiter), []))
        else:
            problems.append(_problem(f"a quote that is not closed in row {len(rows)}", "each quote closed"))
            rows.append([cell.replace('"', "") for cell in lines[at].split(delimiter)])
        at += taken or 1
    return rows, problems


def _is_row(lines: Sequence[str], wanted: int, width: int, delimiter: str) -> bool:
    """Whether lines are one row by themselves: every quote closed.

    Several lines must be as many cells as the heading together, and none of the later ones by itself.
    """
    if len(lines) < wanted:
        return False
    try:
        row = next(csv.reader(["\n".join(lines)], delimiter=delimiter, strict=True), [])
    except csv.Error:
        return False
    return wanted == 1 or (len(row) == width and all(line.count(delimiter) < width - 1 for line in lines[1:]))


def _problem(found: str, expected: str) -> str:
    return str(InputError(FILE, found, expected))


def _column_problems(names: list[str]) -> list[str]:
    known = (*REQUIRED, *OPTIONAL)
    problems = [
        _problem(f"the unknown column {name!r}, which is not used", f"the columns {', '.join(known)}")
        for name in names
        if name not in known
    ]
    problems += [
        _problem(f"no column {name!r}", f"the columns {', '.join(REQUIRED)}") for name in REQUIRED if name not in names
    ]
    problems += [_problem(f"the column {name!r} twice", "each column once") for name in known if names.count(name) > 1]
    return problems


def _add(
    entries: dict[str, StartEntry], problems: list[str], row: dict[str, str], number: int, time_zone: str | None
) -> None:
    file = str(PurePosixPath(row["file"].replace("\\", "/"))) if row.get("file") else ""
    if not file:
        problems.append(_problem(f"no file in row {number}", "a path below the folder"))
    elif file in entries:
        problems.append(_problem(f"{file} again in row {number}; its first row is used", "each file once"))
    else:
        entries[file] = _entry(file, row, number, time_zone, problems)


def _entry(file: str, row: dict[str, str], number: int, time_zone: str | None, problems: list[str]) -> StartEntry:
    lat = _degrees(row, "start_lat", 90.0, number, problems)
    lon = _degrees(row, "start_lon", 180.0, number, problems)
    if np.isnan(lat) != np.isnan(lon):
        problems.append(_problem(f"one of start_lat and start_lon in row {number}", "both or none"))
        lat = lon = float("nan")
    state = row.get("start_state", "").lower()
    if state and state not in STATES:
        problems.append(_problem(f"{state!r} as start_state in row {number}", ", ".join(STATES)))
        state = ""
    return StartEntry(
        file=file,
        row=number,
        device=row.get("device", ""),
        started=_started(row.get("started", ""), number, time_zone, problems),
        start_lat_deg=lat,
        start_lon_deg=lon,
        start_state=state,
        ride=row.get("ride", ""),
        note=row.get("note", ""),
    )


def _degrees(row: dict[str, str], key: str, bound: float, number: int, problems: list[str]) -> float:
    text = row.get(key, "")
    if not text:
        return float("nan")
    try:
        value = float(text)
    except ValueError:
        value = float("nan")
    if abs(value) <= bound:
        return value
    problems.append(_problem(f"{text!r} as {key} in row {number}", f"degrees between {-bound:g} and {bound:g}"))
    return float("nan")


def _started(text: str, number: int, time_zone: str | None, problems: list[str]) -> np.datetime64:
    if not text:
        problems.append(_problem(f"no start in row {number}", "a time such as 2024-05-14T07:10:00Z"))
        return NAT
    time, has_zone = parse_time(text)
    if np.isnat(time):
        problems.append(_problem(f"{text!r} as started in row {number}", "a time such as 2024-05-14T07:10:00Z"))
        return NAT
    if has_zone:
        return time
    if time_zone is None:
        expected = "Z or an offset such as +02:00, or time_zone in campaign.toml"
        problems.append(_problem(f"{text!r} as started in row {number}, without a zone", expected))
        return NAT
    return _to_utc(time, text, number, ZoneInfo(time_zone), problems)


def _to_utc(time: np.datetime64, text: str, number: int, zone: ZoneInfo, problems: list[str]) -> np.datetime64:
    """Read a local time; one that happens twice or never, when clocks change, is refused and not guessed."""
    local: datetime = time.astype(datetime)
    first, second = (local.replace(tzinfo=zone, fold=fold).astimezone(UTC) for fold in (0, 1))
    if first != second:
        found = f"{text!r} as started in row {number}, when the clocks of {zone.key} change"
        problems.append(_problem(found, "Z or an offset such as +02:00"))
        return NAT
    return np.datetime64(first.replace(tzinfo=None), "ms")


def match(log: StartLog, files: Iterable[str]) -> tuple[dict[str, StartEntry], tuple[str, ...]]:
    """Find the recording that each row means: by its path below the folder, or by its bare name where only one has it.

    Returns
    -------
    tuple
        The entries by path, and a line for each row that means no file or several.
    """
    by_name: dict[str, list[str]] = {}
    known = sorted(set(files))
    for file in known:
        by_name.setdefault(PurePosixPath(file).name, []).append(file)
    found: dict[str, StartEntry] = {}
    problems = []
    for entry in log.entries.values():
        candidates = [entry.file] if entry.file in known else by_name.get(entry.file, [])
        if len(candidates) == 1 and candidates[0] not in found:
            found[candidates[0]] = entry
        else:
            problems.append(_unmatched(entry, candidates))
    return found, tuple(problems)


def _unmatched(entry: StartEntry, candidates: list[str]) -> str:
    if not candidates:
        return _problem(f"{entry.file!r} in row {entry.row}, which is no recording here", "a path below the folder")
    if len(candidates) == 1:
        return _problem(f"{candidates[0]} again in row {entry.row}; its first row is used", "each file once")
    return _problem(
        f"{entry.file!r} in row {entry.row}, which may be {' or '.join(candidates)}", "the path below the folder"
    )

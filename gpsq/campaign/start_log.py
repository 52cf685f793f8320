"""``rides.csv``: when and where a person started each device. Every problem is a line; sound rows are used."""

from __future__ import annotations

import codecs
from dataclasses import dataclass, field
from datetime import UTC, datetime
from pathlib import PurePosixPath
from typing import TYPE_CHECKING
from zoneinfo import ZoneInfo

import numpy as np

from gpsq.campaign import safe_files, start_table
from gpsq.campaign.start_table import Problem, read_table
from gpsq.campaign.timestamps import parse_time
from gpsq.campaign.written_times import read_clock, read_date, read_time
from gpsq.model import NAT

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence
    from pathlib import Path

    from gpsq.campaign.campaign_file import Campaign
    from gpsq.campaign.start_table import Row
    from gpsq.campaign.written_times import WrittenDate, WrittenTime

FILE = start_table.FILE
#: The columns that the page gives a new log.
USUAL = ("file", "device", "started")
STATES = ("hot", "warm", "cold")
_A_TIME = "a time such as 2024-05-14T07:10:00Z"
_DAY_FIRST = "the day first, or the year such as 2024-05-14"
_A_ZONE = "Z or an offset such as +02:00, or time_zone in campaign.toml"


@dataclass(frozen=True)
class StartEntry:
    """One row: what a person noted of one recording; nan, NaT and "" where nothing is said.

    `row` counts from 1 below the heading, `line` is that of the text; `written` is the start as it stands there, and
    `to_minute` tells that it has no seconds. Without `file` the row means the recording that begins after it.
    """

    file: str
    row: int
    device: str = ""
    started: np.datetime64 = NAT
    start_lat_deg: float = float("nan")
    start_lon_deg: float = float("nan")
    start_state: str = ""
    ride: str = ""
    note: str = ""
    line: int = 0
    written: str = ""
    to_minute: bool = False


@dataclass(frozen=True)
class StartLog:
    """The rows of which something can be used, and what is wrong; each row that says anything is among one of the two."""

    rows: tuple[StartEntry, ...] = ()
    problems: tuple[Problem, ...] = ()

    @property
    def entries(self) -> Mapping[str, StartEntry]:
        """The rows that name a file, by that name; the first, where several name it."""
        named: dict[str, StartEntry] = {}
        for entry in self.rows:
            if entry.file:
                named.setdefault(entry.file, entry)
        return named


@dataclass
class _Reading:
    """How times of one log are read; `month_first` where some date of it can only be read so."""

    time_zone: str | None
    in_utc: bool
    month_first: str = ""
    problems: list[Problem] = field(default_factory=list)

    def say(self, row: Row, found: str, expected: str, why: str = "") -> None:
        self.problems.append(Problem(found, expected, why, row.number, row.line))


def load(folder: Path, campaign: Campaign) -> StartLog:
    """Read ``rides.csv`` in `folder`; without one, return an empty log."""
    path = folder / FILE
    try:
        data = safe_files.read_bytes(path)
    except FileNotFoundError:
        return StartLog()
    except OSError as error:
        return StartLog(problems=(Problem(f"a file that cannot be read ({error.strerror})", "a readable file"),))
    return parse(data, campaign.time_zone)


def parse(data: bytes | str, time_zone: str | None = None) -> StartLog:
    r"""Read the text of a start log, as a file's bytes or as it was pasted.

    Parameters
    ----------
    data : bytes or str
        A table parted by commas, semicolons or tabs; a heading may be missing.
    time_zone : str, optional
        Name of the zone that times without one are in; without it they are refused.

    Examples
    --------
    >>> log = parse(b"date;pressed start\n14.5.2024;07:00:12\n15.5.2024;soon\n", "UTC")
    >>> [str(entry.started) for entry in log.rows]
    ['2024-05-14T07:00:12.000', 'NaT']
    >>> print(log.problems[0])
    rides.csv: found '15.5.2024 soon' as started in row 2; expected a time such as 2024-05-14T07:10:00Z
    """
    if isinstance(data, bytes) and data.startswith(b"PK\x03\x04"):
        return StartLog(problems=(Problem("a spreadsheet or an archive", "a table as text: save it as CSV"),))
    table = read_table(data if isinstance(data, str) else _decoded(data))
    reading = _Reading(time_zone, table.in_utc, _month_first(table.rows))
    rows = tuple(_entry(row, reading) for row in table.rows)
    return StartLog(rows, (*table.problems, *reading.problems))


def _decoded(data: bytes) -> str:
    if data.startswith((codecs.BOM_UTF16_LE, codecs.BOM_UTF16_BE)):
        return data.decode("utf-16", "replace")
    try:
        return data.decode("utf-8-sig")
    except UnicodeDecodeError:
        return data.decode("cp1252", "replace")


def without_seconds(log: StartLog) -> tuple[str, ...]:
    """Return a line on the starts that are known to the minute only, where there are any."""
    known = [entry for entry in log.rows if not np.isnat(entry.started)]
    count = sum(entry.to_minute for entry in known)
    which = f"{count} of {len(known)} starts have" if len(known) > 1 else "the start has"
    what = "no seconds, so the times to first fix from them may be up to 59 s too long"
    return (f"{FILE}: {which} {what}",) if count else ()


# --- one row ------------------------------------------------------------------------------------------------------


def _entry(row: Row, reading: _Reading) -> StartEntry:
    cells = row.cells
    lat, lon = _degrees(row, "start_lat", 90.0, reading), _degrees(row, "start_lon", 180.0, reading)
    if np.isnan(lat) != np.isnan(lon):
        reading.say(row, "one of start_lat and start_lon", "both or none")
        lat = lon = float("nan")
    state = cells.get("start_state", "").lower()
    if state and state not in STATES:
        reading.say(row, f"{state!r} as start_state", ", ".join(STATES))
        state = ""
    started, to_minute = _started(row, reading)
    return StartEntry(
        file=str(PurePosixPath(cells["file"].replace("\\", "/"))) if cells.get("file") else "",
        row=row.number,
        device=cells.get("device", ""),
        started=started,
        start_lat_deg=lat,
        start_lon_deg=lon,
        start_state=state,
        ride=cells.get("ride", ""),
        note=cells.get("note", ""),
        line=row.line,
        written=_written(row),
        to_minute=to_minute,
    )


def _degrees(row: Row, key: str, bound: float, reading: _Reading) -> float:
    text = row.cells.get(key, "")
    if not text:
        return float("nan")
    try:
        value = float(text)
    except ValueError:
        value = float("nan")
    if abs(value) <= bound:
        return value
    reading.say(row, f"{text!r} as {key}", f"degrees between {-bound:g} and {bound:g}")
    return float("nan")


# --- the start of one row -------------------------------------------------------------------------------------------


def _started(row: Row, reading: _Reading) -> tuple[np.datetime64, bool]:
    """Return the start of a row in UTC, NaT where it is refused, and whether it is known to the minute only."""
    text = _written(row)
    if not text:
        reading.say(row, "no start", _A_TIME)
        return NAT, False
    found = _read(row)
    why = _unclear(found.day, reading) if found and found.day else _why_unread(row)
    if found is None or found.day is None or why:
        reading.say(row, f"{text!r} as started", _DAY_FIRST if found else _A_TIME, why)
        return NAT, False
    zone = found.zone or ("Z" if reading.in_utc else "")
    time = parse_time(f"{found.day.iso}T{found.clock}{zone}")[0]
    if np.isnat(time):
        reading.say(row, f"{text!r} as started", _A_TIME)
    return (time if zone or np.isnat(time) else _in_zone(time, row, reading)), found.to_minute


def _written(row: Row) -> str:
    return " ".join(text for text in (row.cells.get("date", ""), row.cells.get("started", "")) if text)


def _read(row: Row) -> WrittenTime | None:
    """Return the start of a row: in one cell, or a date in one and a clock in another."""
    date, started = row.cells.get("date", ""), row.cells.get("started", "")
    if not date or not started:
        return read_time(date or started)
    day, clock = read_date(date), read_clock(started)
    if day and clock:
        return clock._replace(day=day)
    whole = read_time(started)
    return whole if whole and day == whole.day else None


def _why_unread(row: Row) -> str:
    date, started = row.cells.get("date", ""), row.cells.get("started", "")
    if read_clock(date or started):
        return "without a date"
    return "without a time of day" if not started and read_date(date) else ""


def _month_first(rows: Sequence[Row]) -> str:
    """Return a date of the log that can only be read with the month first, "" where none is."""
    days = ((row, found.day) for row in rows if (found := _read(row)))
    return next((_written(row) for row, day in days if day and not day.iso), "")


def _unclear(day: WrittenDate, reading: _Reading) -> str:
    """Return why the order of day and month is not clear, "" where it is."""
    if not day.iso:
        return "a date with the month first"
    if day.other and reading.month_first:
        return f"which is {day.iso}, or {day.other} with the month first as in {reading.month_first!r}"
    return ""


def _in_zone(time: np.datetime64, row: Row, reading: _Reading) -> np.datetime64:
    """Read a local time; one that happens twice or never, when clocks change, is refused and not guessed."""
    said = f"{_written(row)!r} as started"
    if reading.time_zone is None:
        reading.say(row, said, _A_ZONE, "without a zone")
        return NAT
    zone = ZoneInfo(reading.time_zone)
    local: datetime = time.astype("datetime64[ms]").astype(datetime)
    first, second = (local.replace(tzinfo=zone, fold=fold).astimezone(UTC) for fold in (0, 1))
    if first != second:
        often = "twice" if first < second else "never"
        reading.say(
            row, said, "Z or an offset such as +02:00", f"which comes {often}: the clocks of {zone.key} change then"
        )
        return NAT
    return np.datetime64(first.replace(tzinfo=None), "ms")

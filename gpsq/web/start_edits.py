"""``rides.csv``, changed by hand through the page: a start at a time, all else kept.

A log in the usual columns keeps its other rows and cells byte for byte. One that a person wrote otherwise (no names of
files, no heading) is put into the usual columns first, and lies beside as it was in ``rides.csv.old``.
"""

from __future__ import annotations

import csv
import io
from functools import partial
from typing import TYPE_CHECKING

import numpy as np

from gpsq.campaign import campaign_file, safe_files, start_log
from gpsq.campaign.start_matching import match
from gpsq.campaign.start_table import HEADINGS, column_of, delimiter_of
from gpsq.exceptions import CampaignError

if TYPE_CHECKING:
    from collections.abc import Callable, Mapping, Sequence
    from pathlib import Path

    from gpsq.campaign.start_log import StartEntry, StartLog
    from gpsq.campaign.start_matching import Match, Matches, Recording

    #: Which recording each row of a log means.
    Matching = Callable[[StartLog], Matches]

OLD = f"{start_log.FILE}.old"
#: A log that is written anew has these; a date stands with its time.
COLUMNS = tuple(name for name in HEADINGS if name != "date")


def set_starts(folder: Path, rows: Sequence[Mapping[str, str]], recordings: Sequence[Recording]) -> None:
    """Write starts of recordings into ``rides.csv``.

    Parameters
    ----------
    folder : Path
        Of the campaign.
    rows : sequence of mapping
        What is to stand in the row of a recording, by column: ``file``, a path below the folder; ``started``, ISO 8601 with
        ``Z`` or an offset, or without one where the campaign names its zone, or "", which takes the start back; others
        where there is something to say. ``device`` is for a new row only.
    recordings : sequence of Recording
        All of the campaign, to find the row that means each.

    Raises
    ------
    CampaignError
        When a time cannot be followed, or the log holds what could not be kept.
    OutputError
        When the folder cannot be written to.
    """
    used = {name for row in rows for name in row}
    with safe_files.locked(folder):
        told = campaign_file.load(folder)
        zone = told.time_zone
        found = partial(match, recordings=recordings, within_s=told.settings.start_bound_s)
        new = ",".join(name for name in COLUMNS if name in {*start_log.USUAL, *used}) + "\n"
        kept = safe_files.kept_text(folder / start_log.FILE, new)
        if "\0" in kept:
            raise CampaignError(start_log.FILE, "signs that are no text", "a table; it was left as it is")
        text = kept if used <= set(_columns(_records(kept)[0])) else in_usual_columns(kept, zone, found)
        for row in rows:
            text = _with(text, row, zone, found)
        if kept != new and not used <= set(_columns(_records(kept)[0])):
            safe_files.write_text(folder / OLD, kept)
        if text != kept:
            safe_files.write_text(folder / start_log.FILE, text)


def _with(text: str, row: Mapping[str, str], zone: str | None, found: Matching) -> str:
    """Return the text with one row changed or added, read again as the analysis will read it."""
    entry = _row_of(text, row["file"], zone, found)
    if entry is None and not row["started"]:
        return text
    changed = {name: value for name, value in row.items() if name != "device" or entry is None}
    text = with_row(text, entry.row if entry else None, changed)
    entry = _row_of(text, row["file"], zone, found)
    if row["started"].strip() and (entry is None or np.isnat(entry.started)):
        expected = "a time such as 2024-05-14T07:10:00+02:00" if zone is None else f"a time; without offset, in {zone}"
        raise CampaignError(start_log.FILE, f"{row['started']!r} as the start of {row['file']}", expected)
    return text


def _row_of(text: str, file: str, zone: str | None, found: Matching) -> StartEntry | None:
    """Return the row of a log's text that means a file, or the first of its tracks."""
    starts = found(start_log.parse(text.removeprefix("\ufeff"), zone)).starts
    return starts.get(min((key for key in starts if key[0] == file), default=("", 0)))


def with_row(text: str, row: int | None, cells: Mapping[str, str]) -> str:
    r"""Return a start log's text with cells of row `row` (1 is the first below the heading), or of a new one, changed.

    Examples
    --------
    >>> print(with_row("file,device,started,mood\na.gpx,A,,glad\n", 1, {"started": "2024-05-14T07:10:00Z"}), end="")
    file,device,started,mood
    a.gpx,A,2024-05-14T07:10:00Z,glad
    >>> print(with_row("file;Pressed start\n", None, {"file": "b;c.gpx", "started": ""}), end="")
    file;Pressed start
    "b;c.gpx";
    """
    lines = _records(text)
    end = "\r\n" if "\r\n" in text else "\n"
    delimiter = delimiter_of(lines[0])
    columns = _columns(lines[0])
    if row is None:
        lines[-1] += "" if lines[-1].endswith(("\n", "\r")) else end
        lines.append("")
        row = len(lines) - 1
    own = _cells(lines[row], delimiter)
    own += [""] * (len(columns) - len(own))
    whole = {"date": "", **cells} if "started" in cells else cells  # a start has its date with it
    for name, value in whole.items():
        if name in columns:
            own[columns.index(name)] = value
    lines[row] = _written(own, delimiter, end)
    return "".join(lines)


def in_usual_columns(text: str, zone: str | None, found: Matching) -> str:
    """Return a log's text with a heading, and in each row the file that it means where there is one.

    A start that cannot be read stays as it was written.
    """
    log = start_log.parse(text.removeprefix("\ufeff"), zone)
    rows = [_usual(one) for one in found(log).each]
    return "".join(_written(cells, ",", "\n") for cells in ([*COLUMNS], *rows))


def _usual(found: Match) -> list[str]:
    entry = found.entry
    started = entry.written if np.isnat(entry.started) else f"{entry.started}Z".replace(".000Z", "Z")
    lat, lon = ("" if np.isnan(v) else f"{v:.7f}" for v in (entry.start_lat_deg, entry.start_lon_deg))
    cells = {
        "file": found.recording.file if found.recording else entry.file, "device": entry.device, "started": started,
        "start_lat": lat, "start_lon": lon, "start_state": entry.start_state, "ride": entry.ride, "note": entry.note,
    }  # fmt: skip
    return [cells[name] for name in COLUMNS]


def _columns(heading: str) -> list[str]:
    """Return the column that each cell of a heading means; none where the first line is no heading."""
    return [column_of(head) for head in _cells(heading.removeprefix("\ufeff"), delimiter_of(heading))]


def _cells(line: str, delimiter: str) -> list[str]:
    return next(csv.reader(io.StringIO(line, newline=""), delimiter=delimiter), [])


def _written(cells: Sequence[str], delimiter: str, end: str) -> str:
    text = io.StringIO()
    csv.writer(text, delimiter=delimiter, lineterminator=end).writerow(cells)
    return text.getvalue()


def _records(text: str) -> list[str]:
    """Return the physical text of each record, its line end included; a quoted line break does not end one."""
    source = list(io.StringIO(text, newline=""))
    if not source:
        return ["\n"]
    reader = csv.reader(iter(source), delimiter=delimiter_of(source[0]))
    records, begin = [], 0
    try:
        for _ in reader:
            records.append("".join(source[begin : reader.line_num]))
            begin = reader.line_num
    except csv.Error as error:
        raise CampaignError(start_log.FILE, str(error), "a table with commas; it was left as it is") from error
    return records

"""The lines of a start log to cells by name, whatever parts them and whether or not a heading stands above them."""

from __future__ import annotations

import csv
import dataclasses
import re
from dataclasses import dataclass, field
from typing import TYPE_CHECKING

from gpsq.campaign.written_times import read_clock, read_date, read_time
from gpsq.exceptions import MOST_FOUND, InputError, one_line

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping, Sequence

FILE = "rides.csv"
#: Column → what people call it; spaces, hyphens and underscores, capitals and what stands in brackets make no difference.
HEADINGS = {
    "file": ("file", "file name", "filename", "recording"),
    "device": ("device", "unit", "receiver"),
    "date": ("date", "day"),
    "started": ("started", "pressed start", "start", "start pressed", "start time", "started at", "time"),
    "start_lat": ("start lat", "start latitude"),
    "start_lon": ("start lon", "start longitude"),
    "start_state": ("start state", "state"),
    "ride": ("ride",),
    "note": ("note", "notes", "remark", "remarks", "comment", "comments"),
}
_COLUMN = {word: column for column, words in HEADINGS.items() for word in words}
_KINDS = (".gpx", ".nmea", ".nma", ".log", ".txt", ".csv", ".gz", ".zip")
#: A note may run over so many lines.
MOST_LINES = 20
#: No heading is longer; a longer text would be searched again from each of its characters.
LONGEST_HEADING = 200


@dataclass(frozen=True)
class Problem:
    """What is wrong in a start log: in row `row` (1 is the first below the heading), at line `line` of the text; 0 for none."""

    found: str
    expected: str
    why: str = ""
    row: int = 0
    line: int = 0

    def __str__(self) -> str:
        return self.of_rows("")

    def of_rows(self, others: str) -> str:
        """Return the one line for a person, where the same holds of `others`, such as "rows 2 to 9"."""
        where = f" in row {self.row}" if self.row else ""
        why = f", {self.why}" if self.why else ""
        found = f"{one_line(self.found, MOST_FOUND // 2)}{where}{why}"
        return str(InputError(FILE, f"{found}{others and f'; the same in {others}'}", self.expected))


def lines(problems: Sequence[Problem]) -> tuple[str, ...]:
    """Return a line for each problem; one alone where more than two rows have the same.

    Examples
    --------
    >>> lines([Problem("'7:00' as started", "a date", "without one", row) for row in (1, 2, 3, 4)])
    ("rides.csv: found '7:00' as started in row 1, without one; the same in rows 2 to 4; expected a date",)
    """
    alike: dict[tuple[str, ...], list[Problem]] = {}
    for k, problem in enumerate(problems):
        kind = (problem.why or problem.found, problem.expected) if problem.row else (str(k),)
        alike.setdefault(kind, []).append(problem)
    said: list[str] = []
    for first, *others in alike.values():
        rows = [problem.row for problem in others]
        if len(rows) > 1:
            said.append(first.of_rows(f"rows {_listed(rows)}"))
        else:
            said += [str(problem) for problem in (first, *others)]
    return tuple(said)


def _listed(rows: Sequence[int]) -> str:
    """Return numbers in order, three and more that follow one another as "2 to 9".

    Examples
    --------
    >>> _listed([2, 3, 5, 6, 7, 9])
    '2, 3, 5 to 7 and 9'
    """
    runs: list[list[int]] = []
    for row in rows:
        if runs and row == runs[-1][-1] + 1:
            runs[-1].append(row)
        else:
            runs.append([row])
    said = [text for run in runs for text in ([f"{run[0]} to {run[-1]}"] if len(run) > 2 else map(str, run))]
    return " and ".join([", ".join(said[:-1]), said[-1]]) if len(said) > 1 else said[0]


@dataclass(frozen=True)
class Row:
    """The cells of one row by the name of their column."""

    number: int
    line: int
    cells: Mapping[str, str]


@dataclass(frozen=True)
class Table:
    """All rows that say anything; `in_utc` where the heading says that times are in UTC."""

    rows: tuple[Row, ...] = ()
    problems: tuple[Problem, ...] = ()
    in_utc: bool = False


@dataclass
class _Lines:
    """Rows of cells with the line each begins at, and what was wrong with them."""

    rows: list[tuple[int, list[str]]] = field(default_factory=list)
    problems: list[Problem] = field(default_factory=list)


def read_table(text: str) -> Table:
    r"""Read the text of a start log.

    Examples
    --------
    >>> table = read_table("Date;Pressed start\n4.5.2026;07:00:12\n")
    >>> dict(table.rows[0].cells)
    {'date': '4.5.2026', 'started': '07:00:12'}
    >>> dict(read_table("mon.gpx\t2026-05-04 07:00:12\train").rows[0].cells)
    {'file': 'mon.gpx', 'started': '2026-05-04 07:00:12', 'note': 'rain'}
    """
    lines = text.replace("\0", "").splitlines()
    top = next((k for k, line in enumerate(lines) if line.strip(",;\t \ufeff")), len(lines))
    if top == len(lines):
        return Table(problems=(Problem("an empty file", "a row for each start, such as 2024-05-14T07:10:00Z"),))
    delimiter = delimiter_of(lines[top])
    heading = _rows(lines[top : top + 1], delimiter, 0, top + 1)
    heads = heading.rows[0][1]
    columns = [column_of(head) for head in heads]
    if not any(columns):
        return _without_heading(lines, top, delimiter, heads)
    found = _rows(lines[top + 1 :], delimiter, len(columns), top + 2)
    rows = [_row(n, line, columns, cells, found) for n, (line, cells) in enumerate(found.rows, start=1) if any(cells)]
    unclosed = [dataclasses.replace(problem, row=0) for problem in heading.problems]
    problems = (*_column_problems(heads, columns, top + 1), *unclosed, *found.problems)
    in_utc = any(
        re.search(r"\b(utc|gmt)\b", head.lower().replace("_", " "))
        for head, column in zip(heads, columns, strict=True)
        if column == "started"
    )
    return Table(tuple(rows), problems, in_utc)


def delimiter_of(line: str) -> str:
    """Return what parts the cells of a line: the sign there is most of; a comma, which stands in dates too, last."""
    return max("\t;,", key=line.count) if set("\t;,") & set(line) else ","


def column_of(head: str) -> str:
    """Return the column that a heading means, "" where none.

    Examples
    --------
    >>> column_of("Pressed-start (local)"), column_of("mood")
    ('started', '')
    """
    return _COLUMN.get(_plain(head), "")


def _plain(head: str) -> str:
    bare = re.sub(r"\([^()]*\)|\[[^][]*\]", " ", head[:LONGEST_HEADING]).lower()
    return " ".join(re.sub(r"[\W_]+|\b(?:utc|gmt)\b", " ", bare.replace("_", " ")).split())


def _column_problems(heads: Sequence[str], columns: Sequence[str], line: int) -> list[Problem]:
    known = f"the columns {', '.join(HEADINGS)}"
    unknown = [
        Problem(f"the unknown column {head.strip()!r}, which is not used", known, line=line)
        for head, column in zip(heads, columns, strict=True)
        if head.strip() and not column
    ]
    twice = [
        Problem(f"the column {name!r} twice", "each column once", line=line)
        for name in HEADINGS
        if columns.count(name) > 1
    ]
    missing = [] if {"started", "date"} & set(columns) else [Problem("no column 'started'", known, line=line)]
    return [*unknown, *missing, *twice]


def _row(number: int, line: int, columns: Sequence[str], cells: Sequence[str], found: _Lines) -> Row:
    """Return a row; a cell beyond the heading is kept with a note that stands last, and named otherwise."""
    by_name: dict[str, str] = {}
    for name, text in zip(columns, cells, strict=False):
        by_name[name] = by_name.get(name) or text
    more = [text for text in cells[len(columns) :] if text]
    if more and columns[-1] == "note":
        by_name["note"] = ", ".join(text for text in (by_name["note"], *more) if text)
    elif more:
        problem = Problem(f"{more[0]!r} beyond the last column", "a cell for each column", row=number, line=line)
        found.problems.append(problem)
    by_name.pop("", None)
    return Row(number, line, by_name)


# --- lines to cells -----------------------------------------------------------------------------------------------


def _rows(lines: Sequence[str], delimiter: str, width: int, first_line: int) -> _Lines:
    """Return the rows of a table and a problem for each quote that is not closed: it would swallow the rows below it.

    A quoted cell may hold line breaks where the row is then as long as the heading.
    """
    found = _Lines()
    at = 0
    while at < len(lines):
        taken = next((n for n in range(1, MOST_LINES + 1) if _is_row(lines[at : at + n], n, width, delimiter)), 0)
        if taken:
            cells = next(csv.reader(["\n".join(lines[at : at + taken])], delimiter=delimiter), [])
        else:
            row = len(found.rows) + 1
            found.problems.append(
                Problem("a quote that is not closed", "each quote closed", row=row, line=first_line + at)
            )
            cells = [cell.replace('"', "") for cell in lines[at].split(delimiter)]
        found.rows.append((first_line + at, [cell.strip() for cell in cells]))
        at += taken or 1
    return found


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


# --- without a heading ---------------------------------------------------------------------------------------------


def _without_heading(lines: Sequence[str], top: int, delimiter: str, heads: Sequence[str]) -> Table:
    """Tell each cell by what it holds; a first line that holds no date and no clock is a heading that is not known."""
    problems: list[Problem] = []
    if not {"date", "started"} & set(_by_content(_whole_first(heads))[0]):
        said = delimiter.join(heads).strip()
        expected = f"headings such as {', '.join(HEADINGS)}, or none; the rows below are read by what they hold"
        problems.append(Problem(f"the headings {said!r}, which are not known", expected, line=top + 1))
        top += 1
    found = _rows(lines[top:], delimiter, 0, top + 1)
    rows = []
    for number, (line, cells) in enumerate(found.rows, start=1):
        if any(cells):
            by_name, second = _by_content(_whole_first(cells))
            rows.append(Row(number, line, by_name))
            if second:
                expected = "one date and one time in a row, or a heading above each column"
                problems.append(Problem(f"{second!r} as a second time", expected, row=number, line=line))
    return Table(tuple(rows), (*problems, *found.problems))


def _whole_first(cells: Sequence[str]) -> list[str]:
    """Return the cells with a time put together again that a comma stands in, such as "May 4, 2026 7:05"."""
    for number in range(min(3, len(cells)), 1, -1):
        name, text, rest = _kind(", ".join(cells[:number]))
        if name == "started" and not rest:
            return [text, *cells[number:]]
    return list(cells)


def _by_content(cells: Iterable[str]) -> tuple[dict[str, str], str]:
    """Return cells by the column that each is of, and the first date or clock too many, "" where there is none."""
    by_name: dict[str, str] = {}
    notes, second = [], ""
    for cell in (cell.strip(" \ufeff") for cell in cells):
        name, text, rest = _kind(cell)
        if name == "note" or name in by_name:
            notes.append(cell)
            second = second or (cell if name != "note" else "")
        elif text:
            by_name[name] = text
            notes += [rest] if rest else []
    if notes:
        by_name["note"] = ", ".join(note for note in notes if note)
    return by_name, second


def _kind(cell: str) -> tuple[str, str, str]:
    """Return which column a cell is of, its text, and what stands behind a date or a time in the same cell."""
    if cell.lower().endswith(_KINDS):
        return "file", cell, ""
    words = cell.split(" ")
    for end in range(len(words), 0, -1):
        text = " ".join(words[:end])
        rest = " ".join(words[end:]).strip()
        if read_time(text) or read_clock(text):
            return "started", text, rest
        if read_date(text):
            return "date", text, rest
    return "note", cell, ""

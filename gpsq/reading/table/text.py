"""Bytes of a delimited text to a heading and rows of cells: encoding, preamble, separator and quotes found out."""

from __future__ import annotations

import codecs
import csv
import io
import re
from dataclasses import dataclass

from gpsq.reading.table.columns import meanings

_DELIMITERS = {";": "semicolon", ",": "comma", "\t": "tab", "|": "bar"}
#: A heading stands within this many lines: title and comment lines may come first.
_PREAMBLE_LINES = 60
#: Longer lines are no heading of a table that a person or a logger wrote.
_LONGEST_HEADING = 4000


@dataclass(frozen=True)
class Sheet:
    """A table as text: `rows` below the heading, each with as many cells as it has."""

    headings: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]
    delimiter: str
    encoding: str
    ends_mid_line: bool

    @property
    def delimiter_name(self) -> str:
        """The separator in words."""
        return _DELIMITERS[self.delimiter]

    def column(self, place: int) -> list[str]:
        """Return the cells of one column, "" where a row is too short."""
        return [row[place].strip() if place < len(row) else "" for row in self.rows]


def decode(data: bytes) -> tuple[str, str]:
    r"""Return the text and the encoding that fits: by its mark, else UTF-8, else Latin-1 (as Windows writes it).

    Examples
    --------
    >>> decode("Höhe".encode("latin-1"))
    ('Höhe', 'Latin-1')
    >>> decode("Höhe".encode("utf-16"))
    ('Höhe', 'UTF-16')
    """
    if data.startswith((codecs.BOM_UTF16_LE, codecs.BOM_UTF16_BE)):
        return data.decode("utf-16", errors="replace"), "UTF-16"
    for name, zeros in (("utf-16-le", data[1:400:2]), ("utf-16-be", data[:400:2])):
        if len(zeros) > 4 and zeros.count(0) > 0.8 * len(zeros):
            return data.decode(name, errors="replace"), "UTF-16"
    try:
        return data.removeprefix(codecs.BOM_UTF8).decode("utf-8"), "UTF-8"
    except UnicodeDecodeError:
        return data.decode("cp1252", errors="replace"), "Latin-1"


def find_heading(text: str) -> tuple[int, str] | None:
    r"""Return where the heading begins in `text` and its delimiter, None where no line names latitude and longitude.

    Examples
    --------
    >>> find_heading("my ride\nZeit;Breite;Länge\n")
    (8, ';')
    """
    start = 0
    for line in _first_lines(text):
        if len(line) <= _LONGEST_HEADING:
            for delimiter in _DELIMITERS:
                if {"lat", "lon"} <= meanings(cells_of(line, delimiter)).keys():
                    return start, delimiter
        start += len(line)
    return None


def _first_lines(text: str) -> list[str]:
    return text[: _PREAMBLE_LINES * _LONGEST_HEADING].splitlines(keepends=True)[:_PREAMBLE_LINES]


def first_cells(text: str) -> tuple[str, ...]:
    """Return the cells of the first line that is neither blank nor a comment, split at the likeliest separator."""
    lines = [line for line in _first_lines(text) if line.strip() and not line.startswith("#")]
    line = lines[0][:_LONGEST_HEADING] if lines else ""
    return cells_of(line, max(_DELIMITERS, key=line.count))


def cells_of(line: str, delimiter: str) -> tuple[str, ...]:
    """Return the cells of one line; a comment sign ahead of a heading is no part of it."""
    rows = list(csv.reader([line.lstrip("# ").rstrip("\r\n")], delimiter=delimiter, skipinitialspace=True))
    return tuple(cell.strip() for cell in rows[0]) if rows else ()


def sheet(text: str, encoding: str, start: int, delimiter: str) -> Sheet:
    """Return the table whose heading begins at `start`; blank lines and comment lines are no rows."""
    body = text[start:].replace("\0", "")
    rows = [tuple(row) for row in _rows(body, delimiter) if any(cell.strip() for cell in row)]
    headings = cells_of(delimiter.join(_quoted(cell, delimiter) for cell in rows[0]), delimiter)
    kept = tuple(row for row in rows[1:] if not row[0].startswith("#"))
    return Sheet(headings, kept, delimiter, encoding, not body.endswith(("\n", "\r")))


def _quoted(cell: str, delimiter: str) -> str:
    return '"' + cell.replace('"', '""') + '"' if delimiter in cell or '"' in cell else cell


def _rows(body: str, delimiter: str) -> list[list[str]]:
    rows = list(csv.reader(io.StringIO(body, newline=""), delimiter=delimiter, skipinitialspace=True))
    if not any("\n" in cell or "\r" in cell for row in rows for cell in row):
        return rows
    # cells hold line ends, or a quote that is never closed swallows rows: the reading with more whole rows is right
    lines = re.split(r"\r\n|\r|\n", body)
    each = [row for line in lines for row in csv.reader([line], delimiter=delimiter, skipinitialspace=True)]
    return max(rows, each, key=lambda read: sum(len(row) == len(read[0]) for row in read))

"""Dates and clocks as a person writes them, put into the forms of ISO 8601. Months and weekdays are English words."""

from __future__ import annotations

import re
from datetime import date
from typing import NamedTuple

_WEEKDAY = r"(?:(?:mon|tues?|wed(?:nes)?|thu(?:r|rs)?|fri|sat(?:ur)?|sun)(?:day)?\.?,?\s+)?"
_MONTHS = ("jan", "feb", "mar", "apr", "may", "jun", "jul", "aug", "sep", "oct", "nov", "dec")
_MONTH = rf"(?P<{{}}>{'|'.join(_MONTHS)})[a-z]*\.?"
_DATES = tuple(
    re.compile(_WEEKDAY + pattern, re.IGNORECASE | re.ASCII)
    for pattern in (
        r"(?P<year>\d{4})(?P<sign>[-/.])(?P<month>\d{1,2})(?P=sign)(?P<day>\d{1,2})(?!\d)",
        r"(?P<year>(?:19|20)\d\d)(?P<month>\d\d)(?P<day>\d\d)(?!\d)",
        r"(?P<first>\d{1,2})(?P<sign>[-/.])\s?(?P<second>\d{1,2})(?P=sign)\s?(?P<year>\d{4}|\d\d)(?!\d)",
        rf"(?P<day>\d{{1,2}})(?:st|nd|rd|th|\.)?[\s-]+{_MONTH.format('name')},?[\s-]+(?P<year>\d{{4}})(?!\d)",
        rf"{_MONTH.format('name')}\s+(?P<day>\d{{1,2}})(?:st|nd|rd|th)?,?\s+(?P<year>\d{{4}})(?!\d)",
    )
)
_CLOCK = re.compile(
    r"(?P<hour>\d{1,2})(?P<sign>[:.])(?P<minute>\d\d)(?:(?P=sign)(?P<second>\d\d)(?:[.,](?P<fraction>\d{1,9}))?)?"
    r"(?:\s*(?P<half>[ap])\.?m\.?)?(?:\s*(?P<zone>Z|UTC|GMT|[+\-−]\d{1,2}(?::?\d\d)?))?",
    re.IGNORECASE | re.ASCII,
)
#: GPS time begins on 6 January 1980 (IS-GPS-200, 3.3.4); no recording is of a later century than the next.
_YEARS = range(1980, 2200)
_BETWEEN = re.compile(r"\s*[T,_]\s*|\s+", re.IGNORECASE)


class WrittenDate(NamedTuple):
    """A date as ``2026-05-04``, "" where there is none of the kind read.

    `other` is the date that the text means where the month stands first, "" where it can only be read in one way;
    `iso` is "" and `other` is not, where it is a date in no other way.
    """

    iso: str
    other: str = ""


class WrittenTime(NamedTuple):
    """What a text says of an instant: a date, a clock as ``07:00:12``, an offset; and whether the clock has seconds."""

    day: WrittenDate | None
    clock: str
    zone: str
    to_minute: bool


def read_date(text: str) -> WrittenDate | None:
    """Return the date that the whole of `text` is, None where it is none.

    Examples
    --------
    >>> [read_date(t).iso for t in ("2026-05-04", "4.5.26", "Mon 4 May 2026")]
    ['2026-05-04', '2026-05-04', '2026-05-04']
    >>> read_date("05/04/2026"), read_date("05/14/2026").other
    (WrittenDate(iso='2026-04-05', other='2026-05-04'), '2026-05-14')
    """
    found = _date_at_the_beginning(text.strip())
    return found[0] if found and not found[1] else None


def read_clock(text: str) -> WrittenTime | None:
    """Return the time of day that the whole of `text` is, None where it is none.

    Examples
    --------
    >>> [read_clock(t).clock for t in ("7:05", "07.05.30", "7:05 pm", "07:05:30,25")]
    ['07:05:00', '07:05:30', '19:05:00', '07:05:30.25']
    >>> read_clock("7:05 +2").zone, read_clock("25:00")
    ('+02:00', None)
    """
    match = _CLOCK.fullmatch(text.strip())
    if not match:
        return None
    hour, minute, second = int(match["hour"]), int(match["minute"]), int(match["second"] or 0)
    if match["half"]:
        if not 1 <= hour <= 12:
            return None
        hour = hour % 12 + (12 if match["half"].lower() == "p" else 0)
    if (hour > 23 and (hour, minute, second) != (24, 0, 0)) or minute > 59 or second > 60:
        return None
    fraction = f".{match['fraction']}" if match["fraction"] else ""
    clock = f"{hour:02d}:{minute:02d}:{second:02d}{fraction}"
    return WrittenTime(None, clock, _offset(match["zone"] or ""), match["second"] is None)


def read_time(text: str) -> WrittenTime | None:
    """Return the date and time of day that the whole of `text` is, None where it is not both.

    Examples
    --------
    >>> read_time("4.5.2026, 07:00:12 +02:00")
    WrittenTime(day=WrittenDate(iso='2026-05-04', other=''), clock='07:00:12', zone='+02:00', to_minute=False)
    >>> read_time("20260504T070012Z").clock
    '07:00:12'
    """
    found = _date_at_the_beginning(text.strip())
    if not found:
        return None
    day, rest = found
    between = _BETWEEN.match(rest)
    clock = _compact_clock(rest[between.end() :] if between else rest)
    return clock._replace(day=day) if clock and between else None


def _compact_clock(text: str) -> WrittenTime | None:
    """Read a clock, or the one without signs of the basic form of ISO 8601."""
    basic = re.fullmatch(r"(\d\d)(\d\d)(\d\d)?([.,]\d+)?(?!\d)(.*)", text, re.ASCII)
    return read_clock(
        f"{basic[1]}:{basic[2]}" + (f":{basic[3]}{basic[4] or ''}" if basic[3] else "") + basic[5] if basic else text
    )


def _date_at_the_beginning(text: str) -> tuple[WrittenDate, str] | None:
    for pattern in _DATES:
        match = pattern.match(text)
        if match:
            day = _date(match.groupdict())
            return (day, text[match.end() :]) if day.iso or day.other else None
    return None


def _date(parts: dict[str, str]) -> WrittenDate:
    year = int(parts["year"])
    if len(parts["year"]) == 2:
        year += 2000 if year < 80 else 1900
    if "first" in parts:
        first, second = int(parts["first"]), int(parts["second"])
        day_first, month_first = _iso(year, second, first), _iso(year, first, second)
        dotted = parts["sign"] == "."  # day first wherever it is written so (common practice)
        return WrittenDate(day_first, "" if dotted or month_first == day_first else month_first)
    month = _MONTHS.index(parts["name"].lower()) + 1 if "name" in parts else int(parts["month"])
    return WrittenDate(_iso(year, month, int(parts["day"])))


def _iso(year: int, month: int, day: int) -> str:
    try:
        return date(year, month, day).isoformat() if year in _YEARS else ""
    except ValueError:
        return ""


def _offset(text: str) -> str:
    """Return an offset from UTC as ``Z`` or ``+02:00``."""
    if not text or text.upper() in {"Z", "UTC", "GMT"}:
        return "Z" if text else ""
    digits = text[1:].replace(":", "")
    hours = digits[:2] if len(digits) in (2, 4) else digits[:1].rjust(2, "0")
    minutes = digits[len(digits) - 2 :] if len(digits) > 2 else "00"
    return f"{'+' if text[0] == '+' else '-'}{hours}:{minutes}"

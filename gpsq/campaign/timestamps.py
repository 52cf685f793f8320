"""Clock times as people and programs write them, to UTC."""

from __future__ import annotations

import re
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta, timezone

import numpy as np

from gpsq.model import NAT, TimeArray

#: The form of the GPX 1.1 schema (xsd:dateTime in UTC), up to milliseconds: read in one go.
_COMMON = re.compile(r"(?:[12]\d{3}-\d\d-\d\dT\d\d:\d\d:\d\d(?:\.\d{1,3})?Z\n)*", re.ASCII)

#: Every other form of ISO 8601-1:2019 with a date and a time of day, extended or basic.
_ANY = re.compile(
    r"(\d{4})-?(\d\d)-?(\d\d)[Tt\s]\s*(\d\d):?(\d\d)(?::?(\d\d)(?:[.,](\d+))?)?\s*(Z|UTC|GMT|[+\-−]\d\d(?::?\d\d)?)?",
    re.ASCII | re.IGNORECASE,
)
_OFFSET = re.compile(r"[Tt\s].*\d([+\-−](?:0\d|1[0-4])(?::?[0-5]\d)?)$", re.ASCII)
_LEAP = re.compile(r"[Tt\s]\s*\d\d:?\d\d:?60(?!\d)", re.ASCII)

#: No time is longer; a longer text would be searched again from each of its characters.
LONGEST = 100


@dataclass(frozen=True)
class ClockTimes:
    """Times read from text.

    Attributes
    ----------
    time : (n,) datetime64[ms] UTC, NaT where a text is no time.
    without_zone : how many had no zone and were taken as UTC.
    unreadable : how many texts could not be read.
    leap_seconds : how many stood for the 60th second of a minute.
    offset_min : the offset from UTC that all of them bear, in minutes; None where they say UTC, nothing, or not the same.
    """

    time: TimeArray
    without_zone: int = 0
    unreadable: int = 0
    leap_seconds: int = 0
    offset_min: int | None = None


def parse_times(texts: list[str]) -> ClockTimes:
    """Read `texts` as times in UTC; one without a zone is taken as UTC and counted.

    A leap second (23:59:60) becomes the last millisecond of its minute, so that it sorts between its neighbours.

    Examples
    --------
    >>> read = parse_times(["2024-05-14T09:10:01+02:00", "2024-05-14 07:10:02", "noon"])
    >>> read.time.astype(str).tolist(), read.without_zone, read.unreadable
    (['2024-05-14T07:10:01.000', '2024-05-14T07:10:02.000', 'NaT'], 1, 1)
    """
    if _COMMON.fullmatch("\n".join([*texts, ""])):
        try:
            return ClockTimes(np.array([t[:-1] for t in texts], dtype="datetime64[ms]"))
        except ValueError:  # the 60th second, the 30th of February: one by one below
            pass
    texts = [text if len(text) <= LONGEST else "" for text in texts]
    read = [parse_time(text) for text in texts]
    return ClockTimes(
        np.array([time for time, _ in read], dtype="datetime64[ms]"),
        sum(not zone and not np.isnat(time) for time, zone in read),
        sum(bool(np.isnat(time)) for time, _ in read),
        sum(bool(_LEAP.search(text)) for text in texts),
        _offset_min(texts),
    )


def _offset_min(texts: list[str]) -> int | None:
    found = {match[1] if (match := _OFFSET.search(text)) else "" for text in texts}
    if len(found) != 1 or "" in found:
        return None
    return round(_zone(found.pop()).utcoffset(None).total_seconds() / 60) or None


def parse_time(text: str) -> tuple[np.datetime64, bool]:
    """Return the time in UTC (NaT where `text` is none) and whether the text named its zone.

    Examples
    --------
    >>> parse_time("20240514T071008,375Z")
    (np.datetime64('2024-05-14T07:10:08.375'), True)
    """
    match = _ANY.fullmatch(text.strip())
    if not match:
        return NAT, False
    year, month, day, hour, minute = (int(part) for part in match.groups()[:5])
    second, fraction, zone = int(match[6] or 0), match[7] or "", match[8]
    millisecond = int((fraction + "000")[:3])
    if second == 60:
        second, millisecond = 59, 999
    extra_day = timedelta(days=1) if (hour, minute, second) == (24, 0, 0) else timedelta(0)
    try:
        moment = datetime(year, month, day, hour % 24 if extra_day else hour, minute, second, tzinfo=_zone(zone))
        moment = (moment + extra_day).astimezone(UTC)
    except (ValueError, OverflowError):
        return NAT, False
    return np.datetime64(moment.replace(tzinfo=None), "ms") + np.timedelta64(millisecond, "ms"), zone is not None


def _zone(text: str | None) -> timezone:
    if text is None or text.upper() in {"Z", "UTC", "GMT"}:
        return UTC
    sign = 1 if text[0] == "+" else -1
    digits = text[1:].replace(":", "")
    return timezone(sign * timedelta(hours=int(digits[:2]), minutes=int(digits[2:] or 0)))

"""Clock times where the rides were: of a zone by its name, or of an offset from UTC that the files themselves bear."""

from __future__ import annotations

import re
from collections import Counter
from datetime import UTC, datetime, timedelta, timezone, tzinfo
from typing import TYPE_CHECKING
from zoneinfo import ZoneInfo

import numpy as np

if TYPE_CHECKING:
    from collections.abc import Iterable

    from gpsq.model import Trace

_OFFSET = re.compile(r"([+-])(\d\d):(\d\d)")
#: Under this share of the recordings that bear an offset, theirs says nothing of the others.
MOST = 0.5
#: Days that are a zone's offset, and the sun's, from either end of the calendar: 3 January of year 1, 29 December 9999.
DAY_S = 86_400
FIRST_S = int(np.datetime64("0001-01-03", "s").astype("int64"))
LAST_S = int(np.datetime64("9999-12-29T23:59:59", "s").astype("int64"))


def zone_of(name: str) -> tzinfo:
    """Return the zone of a name of the time zone data or of an offset such as ``+02:00``; UTC for "".

    Examples
    --------
    >>> zone_of("+05:30"), zone_of("")
    (datetime.timezone(datetime.timedelta(seconds=19800)), datetime.timezone.utc)
    """
    offset = _OFFSET.fullmatch(name)
    if offset:
        size = timedelta(hours=int(offset[2]), minutes=int(offset[3]))
        return timezone(size if offset[1] == "+" else -size)
    return ZoneInfo(name) if name else UTC


def zone_in_words(name: str) -> str:
    """Return how a zone is called behind a time.

    Examples
    --------
    >>> zone_in_words(""), zone_in_words("+02:00"), zone_in_words("Europe/Paris")
    ('UTC', 'UTC+02:00', 'Europe/Paris')
    """
    return f"UTC{name}" if _OFFSET.fullmatch(name) else name or "UTC"


def local(time: np.datetime64, zone: tzinfo) -> datetime:
    """Return an instant as the clocks of a zone show it, to the second.

    Examples
    --------
    >>> import numpy as np
    >>> str(local(np.datetime64("2026-05-04T06:54:31", "ms"), zone_of("Europe/Paris")))
    '2026-05-04 08:54:31+02:00'
    """
    seconds = on_calendar_s(int(time.astype("datetime64[s]").astype("int64")))
    return datetime.fromtimestamp(seconds, UTC).astimezone(zone)


def on_calendar_s(seconds: int) -> int:
    """Return seconds since 1970, at the same time of the day on a day that every zone can show.

    A damaged date may lie in the first or the last days of the calendar, years 1 and 9999, or beyond.

    Examples
    --------
    >>> first = int(np.datetime64("0001-01-01T07:00:00", "s").astype("int64"))
    >>> str(datetime.fromtimestamp(on_calendar_s(first), UTC)), on_calendar_s(86_400)
    ('0001-01-03 07:00:00+00:00', 86400)
    """
    if FIRST_S <= seconds <= LAST_S:
        return seconds
    return (FIRST_S if seconds < FIRST_S else LAST_S - DAY_S + 1) + seconds % DAY_S


def clock_in_words(time: np.datetime64, name: str) -> str:
    """Return the time of day of an instant with its zone, the seconds of its minute as finely as they are known.

    Examples
    --------
    >>> import numpy as np
    >>> clock_in_words(np.datetime64("2026-05-04T06:54:31.250"), "+02:00")
    '08:54:31.250 (UTC+02:00)'
    """
    said = f"{local(time, zone_of(name)):%H:%M:%S}"
    thousandths = int(time.astype("datetime64[ms]").astype("int64")) % 1000
    return said + (f".{thousandths:03d}" if thousandths else "") + f" ({zone_in_words(name)})"


def offset_of_files(traces: Iterable[Trace]) -> str:
    """Return the one offset from UTC that the times of the files are written with, "" where they do not agree on one.

    Most recordings must bear it, and none another; one that only says UTC is no evidence against it.
    """
    offsets = Counter(trace.counts.get("utc_offset_min") for trace in traces)
    known = [offset for offset in offsets if offset is not None]
    if len(known) != 1 or offsets[known[0]] < MOST * offsets.total():
        return ""
    hours, minutes = divmod(abs(known[0]), 60)
    return f"{'+' if known[0] > 0 else '-'}{hours:02d}:{minutes:02d}"

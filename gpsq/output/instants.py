"""Instants as the results give them: in UTC in files, by the clocks of the place where a person reads."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from gpsq.campaign.local_time import local, zone_in_words, zone_of
from gpsq.model import NAT

if TYPE_CHECKING:
    from gpsq.model import TimeArray

#: Nothing that a receiver dated is older: GPS time begins on 6 January 1980 (IS-GPS-200, 3.3.4).
GPS_EPOCH = np.datetime64("1980-01-06", "ms")


def dated(times: TimeArray) -> TimeArray:
    """Return times in thousandths of a second; those without a date, which logs of the time of day give, are unknown.

    Examples
    --------
    >>> dated(np.array(["1970-01-01T06:50", "2026-05-04T06:50"], "M8[m]")).tolist()[0] is None
    True
    """
    known = times.astype("datetime64[ms]")
    known[known < GPS_EPOCH] = NAT
    return known


def iso_times(times: TimeArray) -> list[str]:
    """Return ISO 8601 times ending in ``Z``, with thousandths only where there are any, "" for unknown."""
    texts = np.datetime_as_string(dated(times)).tolist()
    return ["" if text == "NaT" else text.removesuffix(".000") + "Z" for text in texts]


def clock(time: np.datetime64, time_zone: str) -> str:
    """Return the time of day of an instant by the clocks of a zone, "" where it is unknown.

    Examples
    --------
    >>> clock(np.datetime64("2026-05-04T06:54:31", "ms"), "Europe/Paris")
    '08:54:31'
    """
    return "" if _undated(time) else f"{local(time, zone_of(time_zone)):%H:%M:%S}"


def day(time: np.datetime64, time_zone: str = "") -> str:
    """Return the day of an instant in a zone; "" where it is unknown.

    Examples
    --------
    >>> day(np.datetime64("2025-09-01T23:50", "ms"), "Europe/Paris"), day(np.datetime64("NaT"))
    ('2 September 2025', '')
    """
    if _undated(time):
        return ""
    found = local(time, zone_of(time_zone))
    return f"{found.day} {found:%B %Y}"


def between(first: np.datetime64, last: np.datetime64, time_zone: str) -> str:
    """Return the clock times of a stretch, with their zone; "" where one is unknown.

    Examples
    --------
    >>> between(np.datetime64("2026-05-04T06:54:31"), np.datetime64("2026-05-04T06:56:00"), "+02:00")
    '08:54:31 to 08:56:00 (UTC+02:00)'
    """
    said = [clock(time, time_zone) for time in (first, last)]
    return f"{' to '.join(said)} ({zone_in_words(time_zone)})" if all(said) else ""


def _undated(time: np.datetime64) -> bool:
    return bool(np.isnat(dated(np.array([time], "datetime64[ms]"))[0]))

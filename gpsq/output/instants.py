"""Instants as the results give them."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

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

"""Names and times that give nothing away: of files, rides, devices and deviations."""

from __future__ import annotations

import dataclasses
import re
from itertools import count
from typing import TYPE_CHECKING

import numpy as np

from gpsq.model import NAT

if TYPE_CHECKING:
    from collections.abc import Collection, Sequence

    from gpsq.model import Trace, Unreadable
    from gpsq.results import TraceResult

#: What looks like a serial number: five digits or more in a row, or a word of six signs or more with four digits in it.
SERIAL = re.compile(r"\d{5,}|\b(?=(?:\w*\d){4})\w{6,}\b")

#: Times before it have no date: logs of the time of day count from 1970. GPS time begins here (IS-GPS-200, 3.3.4).
OLDEST = np.datetime64("1980-01-06", "ms")


def device_names(traces: Sequence[Trace], unreadable: Sequence[Unreadable], chosen: Collection[str]) -> dict[str, str]:
    """Return the published name of each device.

    A person's own name for it is kept: from ``campaign.toml`` (`chosen`) or from its folder. One that came out of the
    files (their creator), or that looks like a serial number, becomes "device 1" and so on.
    """
    names = sorted({t.device for t in traces} | {u.device for u in unreadable if u.device})
    creators = {t.creator for t in traces}
    folders = {t.file.split("/")[0] for t in traces if "/" in t.file}
    kept = [
        name
        for name in names
        if (name in chosen or name in folders or name not in creators) and not SERIAL.search(name)
    ]
    neutral = (name for number in count(1) if (name := f"device {number}") not in kept)
    return {name: name if name in kept else next(neutral) for name in names}


def ride_names(traces: Sequence[Trace], results: Sequence[TraceResult]) -> dict[str, str]:
    """Return R01, R02, … for the rides, in order of time."""
    order = sorted(range(len(traces)), key=lambda i: (np.isnat(day := began(traces[i])), str(day), i))
    rides = list(dict.fromkeys(results[i].ride for i in order if results[i].ride))
    width = max(2, len(str(len(rides))))
    return {"": ""} | {ride: f"R{number:0{width}d}" for number, ride in enumerate(rides, 1)}


def file_names(traces: Sequence[Trace], devices: dict[str, str]) -> list[str]:
    """Return the device's name and a number for each recording, in order of time."""
    names = [""] * len(traces)
    so_far: dict[str, int] = {}
    for i in sorted(range(len(traces)), key=lambda i: (np.isnat(when := began(traces[i])), str(when), i)):
        device = devices[traces[i].device]
        so_far[device] = so_far.get(device, 0) + 1
        names[i] = f"{device} {so_far[device]:02d}"
    return names


def began(trace: Trace) -> np.datetime64:
    """Return the first time that a trace knows of itself."""
    known = trace.time[~np.isnat(trace.time)]
    candidates = (known[0] if len(known) else NAT, trace.started, trace.first_record, trace.file_time)
    return next((time for time in candidates if not np.isnat(time) and time >= OLDEST), NAT)


def day(time: np.datetime64) -> np.datetime64:
    """Return a time to the day, in UTC; unknown where it has no date.

    >>> str(day(np.datetime64("2025-03-03T07:41:09", "ms")))
    '2025-03-03'
    """
    if not np.isnat(time) and time < OLDEST:
        time = NAT
    return np.datetime64(str(np.datetime_as_string(time, unit="D")), "D")


def unreadable_names(unreadable: Sequence[Unreadable], devices: dict[str, str]) -> tuple[Unreadable, ...]:
    """Return the recordings that could not be read, under neutral names, with the code of the reason only."""
    return tuple(
        dataclasses.replace(
            lost,
            file=f"unreadable {number:02d}",
            track=1,
            points=0,
            set_aside=(),
            message=f"unreadable {number:02d}: {lost.reason.replace('_', ' ')}",
            sha256="",
            device=devices.get(lost.device, ""),
        )
        for number, lost in enumerate(unreadable, 1)
    )

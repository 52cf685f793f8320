"""A clock in the names of files: when each recording of a device was started, to the minute or the second.

What zone the clock is in need not be known: it is the whole number of quarter hours that puts every name shortly before
its recording's first fix.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from collections.abc import Sequence

    from gpsq.model import FloatArray, TimeArray

_GAP = r"[-_. T]*"
_CLOCK = r"(?P<h>[01]\d|2[0-3])[-_.:h]?(?P<mi>[0-5]\d)(?:[-_.:]?(?P<s>[0-5]\d))?(?!\d)"
_DAY = {
    "year first": r"(?<!\d)(?P<y>(?:19|20)\d\d)[-_.]?(?P<mo>0[1-9]|1[0-2])[-_.]?(?P<d>0[1-9]|[12]\d|3[01])",
    "day first": r"(?<!\d)(?P<d>0[1-9]|[12]\d|3[01])[-_.](?P<mo>0[1-9]|1[0-2])[-_.](?P<y>(?:19|20)\d\d)",
}
_NAMES = tuple(re.compile(day + _GAP + _CLOCK) for day in _DAY.values())
QUARTER_S = 900.0
#: Zones of the world, in quarter hours ahead of UTC (ISO 8601 offsets in use: −12:00 to +14:00).
ZONES = np.arange(-48, 57)
#: Names of fewer recordings agree on a zone by chance.
FEWEST_NAMES = 3


@dataclass(frozen=True)
class Clock:
    """A local time and how much later it may really be: a name without seconds was given within the minute."""

    time: np.datetime64
    within_s: float


def clock_in(name: str) -> Clock | None:
    """Return the clock in a file's name, None where there is none.

    Examples
    --------
    >>> clock_in("rides/2026-05-04_07-41.gpx")
    Clock(time=np.datetime64('2026-05-04T07:41:00'), within_s=59.0)
    >>> clock_in("04.05.2026 07.41.20 home.gpx")
    Clock(time=np.datetime64('2026-05-04T07:41:20'), within_s=0.0)
    >>> clock_in("20260504T074120.gpx") == clock_in("2026_05_04 0741-20.gpx")
    True
    >>> clock_in("2026-05-04 morning.gpx"), clock_in("ride-12-2026.gpx"), clock_in("2026-02-31_10-00.gpx")
    (None, None, None)
    """
    last = name.replace("\\", "/").rsplit("/", 1)[-1]
    for pattern in _NAMES:
        found = pattern.search(last)
        if found:
            part = found.groupdict(default="00")
            try:
                time = np.datetime64(f"{part['y']}-{part['mo']}-{part['d']}T{part['h']}:{part['mi']}:{part['s']}", "s")
            except ValueError:  # a day that its month does not have
                return None
            return Clock(time, 59.0 if found["s"] is None else 0.0)
    return None


def waits_s(clocks: Sequence[Clock], fixed: TimeArray, most_s: float) -> FloatArray | None:
    """Return the (n, 2) least and most seconds from the start to each first fix, None where the names do not tell.

    Parameters
    ----------
    clocks, fixed : (n,) the clock in each file's name, and its first fix. most_s : no start is further before its fix.

    Notes
    -----
    Names that all bear the minute of the first fix may be given by it, and say nothing.

    Examples
    --------
    >>> clocks = [Clock(np.datetime64(f"2026-05-0{d}T07:41:00"), 59.0) for d in (4, 5, 6)]
    >>> fixed = np.array([f"2026-05-0{d}T05:4{m}" for d, m in ((4, "1:30"), (5, "2:05"), (6, "1:59"))], "datetime64[s]")
    >>> waits_s(clocks, fixed, 1800.0).tolist()
    [[0.0, 30.0], [6.0, 65.0], [0.0, 59.0]]
    >>> waits_s(clocks[:2], fixed[:2], 1800.0) is None
    True
    """
    if len(clocks) < FEWEST_NAMES:
        return None
    ahead_s = np.array([(time - c.time) / np.timedelta64(1, "s") for time, c in zip(fixed, clocks, strict=True)])
    waited_s = ahead_s[None, :] + ZONES[:, None] * QUARTER_S
    fit = ((waited_s >= 0) & (waited_s < most_s)).all(axis=1)
    within_s = np.array([c.within_s for c in clocks])
    if not fit.any():
        return None
    most = waited_s[int(np.argmax(fit))]
    if (most <= within_s).all():
        return None
    return np.column_stack([np.maximum(most - within_s, 0.0), most])

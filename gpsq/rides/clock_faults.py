"""By how much clocks are wrong: by a time zone, a turn of the week count, or because nobody ever set them.

Any other offset between two recordings says that they are two rides, however alike they are.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from gpsq.rides.week_rollover import EXACT_S, ROLLOVER_S

if TYPE_CHECKING:
    from gpsq.model import BoolArray, FloatArray

#: Time zones are whole quarter hours and reach 14 hours (tz database: Pacific/Kiritimati, Asia/Kathmandu).
QUARTER_S, FURTHEST_S = 900.0, 14 * 3600.0
#: Beside its zone a clock is off by seconds: it counts without leap seconds, or was set by hand.
SECONDS_S = EXACT_S
#: Where clocks begin that were never set: Unix time, GPS time (IS-GPS-200, 3.3.4) and many a real-time clock.
EPOCHS = tuple(np.datetime64(day, "s").astype("int64").item() for day in ("1970-01-01", "1980-01-01", "2000-01-01"))
#: So long an unset clock may have run.
UNSET_S = 31 * 86_400.0


def clocks_have(offset_s: FloatArray | float, slack_s: float = SECONDS_S) -> BoolArray:
    """Mark the offsets that two clocks really have: a time zone's, or a whole turn of the week count.

    Parameters
    ----------
    offset_s : one clock minus the other, seconds. slack_s : what is left beside a whole quarter hour or turn.

    Examples
    --------
    >>> [bool(clocks_have(s)) for s in (-7_196.0, 962.0, 86_400.0, 1024 * 604_800.0, 12.0)]
    [True, False, False, True, False]
    """
    offset = np.asarray(offset_s, dtype=float)
    quarters = np.round(offset / QUARTER_S)
    zone = (quarters != 0) & (np.abs(offset) <= FURTHEST_S + slack_s)
    zone &= np.abs(offset - quarters * QUARTER_S) <= slack_s
    turns = np.round(offset / ROLLOVER_S)
    return np.asarray(zone | ((turns != 0) & (np.abs(offset - turns * ROLLOVER_S) <= slack_s)))


def never_set(begins_s: FloatArray) -> bool:
    """Whether all recordings of a clock begin in the month after a date from which unset clocks count.

    Parameters
    ----------
    begins_s : (n,) seconds since 1970 at which they begin.

    Examples
    --------
    >>> never_set(np.array([315_964_810.0, 315_970_000.0])), never_set(np.array([315_964_810.0, 1_700_000_000.0]))
    (True, False)
    """
    begins = np.asarray(begins_s, dtype=float)
    return any(bool(((begins >= epoch) & (begins < epoch + UNSET_S)).all()) for epoch in EPOCHS)

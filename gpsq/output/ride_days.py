"""How rides are called for people: by day and time, as shortly as tells them apart; by their names where no day is known.

Days and times are in the campaign's time zone, where it or its files name one, else in UTC.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from gpsq.arrays import NAT
from gpsq.campaign.local_time import local, zone_of
from gpsq.output.instants import dated
from gpsq.output.wording import cell

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable
    from datetime import datetime

    from gpsq.results import Analysis

DAYS = ("Mon", "Tue", "Wed", "Thu", "Fri", "Sat", "Sun")
MONTHS = ("Jan", "Feb", "Mar", "Apr", "May", "Jun", "Jul", "Aug", "Sep", "Oct", "Nov", "Dec")


def ride_starts(analysis: Analysis) -> dict[str, datetime]:
    """Return when each ride began, in the campaign's zone; rides without a date are left out."""
    pairs = [(t, r) for t, r in zip(analysis.traces, analysis.results, strict=True) if r.ride]
    times = [(r.first_fix.started, t.first_record, t.time[0] if len(t.time) else NAT) for t, r in pairs]
    # of all recordings at once, as many a picture asks; an unknown time is no least one
    first = np.fmin.reduce(dated(np.array(times, "datetime64[ms]").reshape(-1, 3)), axis=1)
    earliest: dict[str, np.datetime64] = {}
    for (_, result), time in zip(pairs, first, strict=True):
        if not np.isnat(time):
            earliest[result.ride] = min(time, earliest.get(result.ride, time))
    zone = zone_of(analysis.time_zone)
    return {ride: local(time, zone) for ride, time in earliest.items()}


def days_only(analysis: Analysis) -> bool:
    """Return whether all times are whole days, as in a publication, so that they say no time of day."""
    times = [dated(trace.time[:1]) for trace in analysis.traces if trace.accepted]
    known = [time[0] for time in times if not np.isnat(time[0])]
    return bool(known) and all(time == time.astype("datetime64[D]") for time in known)


def _clock(start: datetime) -> str:
    return f"{start:%H:%M}"


def _day(start: datetime) -> str:
    return f"{DAYS[start.weekday()]} {start.day} {MONTHS[start.month - 1]}"


#: Ways to say a start, the shortest first.
FORMS: tuple[Callable[[datetime], str], ...] = (
    lambda start: DAYS[start.weekday()],
    lambda start: f"{start.day} {MONTHS[start.month - 1]}",
    lambda start: f"{DAYS[start.weekday()]} {start:%H:%M}",
    lambda start: f"{start.day} {MONTHS[start.month - 1]} {start:%H:%M}",
)


def short_names(analysis: Analysis, rides: Iterable[str]) -> dict[str, str]:
    """Return for each of some rides the shortest form of its start that tells them apart, else its name."""
    starts, chosen = ride_starts(analysis), list(dict.fromkeys(rides))
    known = [ride for ride in chosen if ride in starts]
    one_day = len({starts[ride].date() for ride in known}) == 1 and len(known) > 1
    forms = FORMS[:2] if days_only(analysis) else ((_clock,) if one_day else FORMS)
    for form in forms:
        said = {ride: form(starts[ride]) for ride in known}
        if len(set(said.values())) == len(known):
            return {ride: said.get(ride, cell(ride)) for ride in chosen}
    return {ride: cell(ride) for ride in chosen}


def long_names(analysis: Analysis) -> dict[str, str]:
    """Return day and time of each ride, such as "Mon 4 May 07:43"; the ride's name where it has no date."""
    starts, whole_days = ride_starts(analysis), days_only(analysis)
    rides = dict.fromkeys(result.ride for result in analysis.results if result.ride)
    said = {
        ride: _day(starts[ride]) + ("" if whole_days else f" {starts[ride]:%H:%M}") for ride in rides if ride in starts
    }
    once = {text for text in said.values() if list(said.values()).count(text) == 1}
    return {
        ride: said[ride] if said.get(ride) in once else f"{cell(ride)}, {said[ride]}" if ride in said else cell(ride)
        for ride in rides
    }


def period(analysis: Analysis) -> str:
    """Return the days from the first ride to the last, "" where none is known.

    Two days of one month are "8–12 Sep 2025".
    """
    starts = sorted(ride_starts(analysis).values())
    if not starts:
        return ""
    return between_days(starts[0], starts[-1])


def between_days(first: datetime, last: datetime) -> str:
    """Return a period of days, nothing said twice.

    Examples
    --------
    >>> from datetime import datetime
    >>> between_days(datetime(2025, 9, 8), datetime(2025, 9, 12))
    '8–12 Sep 2025'
    >>> between_days(datetime(2025, 9, 8), datetime(2025, 10, 1)), between_days(datetime(2025, 9, 8), datetime(2025, 9, 8))
    ('8 Sep – 1 Oct 2025', '8 Sep 2025')
    """
    end = f"{last.day} {MONTHS[last.month - 1]} {last.year}"
    if first.date() == last.date():
        return end
    if (first.year, first.month) == (last.year, last.month):
        return f"{first.day}–{end}"
    begun = f"{first.day} {MONTHS[first.month - 1]}" + (f" {first.year}" if first.year != last.year else "")
    return f"{begun} – {end}"

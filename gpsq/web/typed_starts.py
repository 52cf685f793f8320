"""Starts as they are typed and shown on the page: a time of day, whose date is that of the recording."""

from __future__ import annotations

from datetime import UTC, date, datetime, timedelta, tzinfo
from typing import TYPE_CHECKING

import numpy as np

from gpsq.campaign.local_time import on_calendar_s, zone_of
from gpsq.campaign.start_matching import seconds
from gpsq.campaign.timestamps import parse_time
from gpsq.campaign.written_times import read_clock, read_time
from gpsq.exceptions import CampaignError, one_line
from gpsq.output.instants import dated
from gpsq.reading.starts import first_fix

if TYPE_CHECKING:
    from collections.abc import Sequence

    from gpsq.model import Trace
    from gpsq.settings import Settings

EXPECTED = "a time of day as hh:mm:ss, or with its date as 2024-05-14 07:10:00"


def read(typed: str, tracks: Sequence[Trace], zone: str | None, settings: Settings) -> str:
    """Return a typed start as ``rides.csv`` keeps it: ISO 8601 with its offset from UTC.

    A time of day alone gets the date of the recording, or the day before where only that comes before the first fix, as
    on a ride begun before midnight.

    Parameters
    ----------
    typed : str
        What the person typed.
    tracks : sequence of Trace
        Those of the one recording.
    zone : str or None
        Time zone that a text without an offset is in, by its IANA name or as an offset; None or "" where nobody has told.
    settings : Settings
        ``log_bound_s``: a start longer before the first fix belongs to another ride.

    Raises
    ------
    CampaignError
        When it is no time, has no zone, or cannot be the start of this recording.
    """
    found = [moment for moment in _meanings(typed, tracks, zone) if _fits(moment, tracks, settings)]
    if not found:
        raise _refused(typed, _meanings(typed, tracks, zone), tracks)
    if len(found) > 1 and found[0].replace(tzinfo=None) == found[1].replace(tzinfo=None):
        raise _problem(f"{typed!r}, when the clocks of {zone} change", "Z or an offset such as +02:00 behind it")
    return _iso(found[0])


def written(started: np.datetime64, zone: str | None) -> str:
    """Return an instant as ``rides.csv`` keeps it, with the offset of a time zone."""
    return _iso(_utc(started).astimezone(zone_of(zone or "")))


def _iso(moment: datetime) -> str:
    return moment.isoformat().replace("+00:00", "Z")


def _meanings(typed: str, tracks: Sequence[Trace], zone: str | None) -> list[datetime]:
    """Return every moment that the text may mean, the likeliest first; none that never was."""
    found = read_clock(typed) or read_time(typed)
    if found is None:
        raise _problem(f"{typed!r}", EXPECTED)
    own = datetime.fromisoformat(f"2000-01-01T00:00{found.zone}").tzinfo if found.zone else _known(typed, zone)
    days = [day for track in tracks for day in _days(track, own or UTC)]
    if found.day:
        days = [date.fromisoformat(day) for day in found.day if day]
    if not days:
        raise _problem(f"{typed!r} for a recording that has no date", "the date as well, as in 2024-05-14 07:10:00")
    of_day, _ = parse_time(f"2000-01-01T{found.clock}")
    moments = [m for day in dict.fromkeys(days) for m in _local(datetime.combine(day, _utc(of_day).time()), own or UTC)]
    return [moment.astimezone(zone_of(zone)) for moment in moments] if zone else moments


def _known(typed: str, zone: str | None) -> tzinfo:
    if not zone:
        raise _problem(f"{typed!r} without a time zone", "the time zone above, or Z (UTC) or an offset behind the time")
    return zone_of(zone)


def _local(wanted: datetime, zone: tzinfo) -> list[datetime]:
    """Return the moments at which clocks there show a time: two or none where they are being changed."""
    both = [wanted.replace(tzinfo=zone, fold=fold) for fold in (0, 1)]
    real = [moment for moment in both if moment.astimezone(UTC).astimezone(zone).replace(tzinfo=None) == wanted]
    return real[:1] if both[0].utcoffset() == both[1].utcoffset() else real


def _days(track: Trace, zone: tzinfo) -> list[date]:
    """Return the day of the first fix there and the day before."""
    until = dated(_until(track).reshape(1))[0]
    if np.isnat(until) or not track.date_known:
        return []
    day = _utc(until).astimezone(zone).date()
    return [day, day - timedelta(days=1)]


def _until(track: Trace) -> np.datetime64:
    return first_fix(track) if track.accepted else track.last_record


def _utc(moment: np.datetime64) -> datetime:
    seconds, ms = divmod(int(moment.astype("datetime64[ms]").astype(int)), 1000)
    return datetime(1970, 1, 1, tzinfo=UTC) + timedelta(seconds=on_calendar_s(seconds), milliseconds=ms)


def _fits(moment: datetime, tracks: Sequence[Trace], settings: Settings) -> bool:
    waits_s = [_wait_s(moment, track) for track in tracks]
    return any(not wait_s < 0 and not wait_s > settings.log_bound_s for wait_s in waits_s) or not waits_s


def _wait_s(moment: datetime, track: Trace) -> float:
    started = np.datetime64(moment.astimezone(UTC).replace(tzinfo=None), "ms")
    return seconds(_until(track), started) if track.date_known else float("nan")


def _refused(typed: str, meant: Sequence[datetime], tracks: Sequence[Trace]) -> CampaignError:
    """Say why a time that can be read cannot be followed."""
    if not meant:
        return _problem(f"{typed!r}, which clocks there skipped", "a time that there was")
    wait_s = min((_wait_s(moment, track) for moment in meant[:1] for track in tracks), key=abs)
    off = f"{abs(wait_s):.0f} s" if abs(wait_s) < 600 else f"{abs(wait_s) / 3600:.1f} h"
    side = "after" if wait_s < 0 else "before"
    return _problem(f"{typed!r}, {off} {side} the first fix", "a start shortly before it; is the time zone right?")


def _problem(found: str, expected: str) -> CampaignError:
    return CampaignError("start", one_line(found), expected)


def shown(started: np.datetime64, track: Trace, zone: str) -> str:
    """Return a start as the page shows it: a time of day, with its date where that is not the recording's own.

    `zone` is an IANA name, "" for UTC, which the text then says.
    """
    if np.isnat(started):
        return ""
    own: tzinfo = zone_of(zone or "")
    local = _utc(started).astimezone(own)
    text = f"{local:%H:%M:%S}" + (f".{local.microsecond // 1000:03d}" if local.microsecond else "")
    days = _days(track, own)
    day = "" if days and local.date() == days[0] else f"{local:%Y-%m-%d} "
    return day + text + ("" if zone else "Z")

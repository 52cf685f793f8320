"""Texts of date and time to moments: one decision for a whole column, and a sentence for every guess."""

from __future__ import annotations

import re
from dataclasses import dataclass, field
from typing import TYPE_CHECKING

import numpy as np

from gpsq.exceptions import InputError
from gpsq.model import NAT
from gpsq.reading.table.zones import named_zone, offsets_s

if TYPE_CHECKING:
    from collections.abc import Sequence
    from zoneinfo import ZoneInfo

    from gpsq.model import BoolArray, FloatArray, TimeArray

#: Days of a spreadsheet (ECMA-376 part 1, 18.17.4: serial 1 is 1900-01-01 and 1900 is taken for a leap year, so from
#: March 1900 on they count from 1899-12-30): 1970-01-01, and 1980 to 2099.
_SHEET_DAY_OF_1970, _SHEET_DAYS = 25_569, (29_221, 73_051)
#: The orders of day, month and year that a person may name.
DATE_ORDERS = ("dmy", "mdy", "ymd")

_ZONE = r"\s*(?P<zone>Z|UTC|GMT|(?:UTC|GMT)?\s?[+-]\d{1,2}(?::?\d\d)?)?\s*"
_CLOCK = r"(?P<h>\d{1,2})[:h.](?P<mi>\d\d)(?:[:m.](?P<s>\d\d)s?(?:[.,:](?P<f>\d+))?)?\s*(?P<half>[ap]\.?m\.?)?" + _ZONE
_DATE = r"(?P<a>\d{1,4}|[^\W\d_]{3,}\.?)(?P<sign>[-/.\s]+)(?P<b>\d{1,2}|[^\W\d_]{3,}\.?)[-/.,\s]+(?P<c>\d{1,4})"
_COMPACT = (
    r"(?P<a>(?:19|20)\d\d)(?P<b>\d\d)(?P<c>\d\d)[T\s]*(?P<h>\d\d)(?P<mi>\d\d)(?P<s>\d\d)(?:\.(?P<f>\d+))?" + _ZONE
)
_PATTERNS = tuple(
    re.compile(p, re.IGNORECASE)
    for p in (rf"(?:[^\W\d_]+,?\s+)?{_DATE}(?:[T,_\s]+{_CLOCK})?", _COMPACT, _CLOCK)
)  # fmt: skip
_NUMBER = re.compile(r"\d+(?:[.,]\d*)?")

#: Month names by their first letters, in English, German, French, Spanish, Italian and Dutch.
_MONTHS = {
    name: month
    for month, names in enumerate(
        ("jan gen ene", "feb fev", "mar mrz maa", "apr avr abr", "may mai mag mei", "jun juin giu", "jul juil lug",
         "aug aou ago", "sep set", "oct okt ott", "nov", "dec dez dic"), start=1)
    for name in names.split()
}  # fmt: skip

#: A clock set back for winter steps back one hour less the interval; a smaller step is a late row.
_CLOCK_CHANGE_S = (1200.0, 3600.0)


#: The year 2200: no recording is later.
_LATEST_MS = 7_258_118_400_000.0


@dataclass
class Moments:
    """Times of all rows with what had to be guessed; `counts` as in `Recording`."""

    time: TimeArray
    date_known: bool = True
    notes: list[str] = field(default_factory=list)
    counts: dict[str, int] = field(default_factory=dict)


@dataclass(frozen=True)
class _Parts:
    """Numbers of each row's text, nan where it has none: `a`, `b`, `c` of its date, `c` as a year and `last` as a day."""

    a: FloatArray
    b: FloatArray
    c: FloatArray
    last: FloatArray
    named: FloatArray
    clock_ms: FloatArray
    zone_s: FloatArray
    sign: str


def moments(texts: Sequence[str], heading: str, time_zone: str | None, date_order: str | None) -> Moments:
    """Return the moments of a column of texts (date and time already joined).

    Parameters
    ----------
    texts : one text a row, "" where there is none.
    heading : of the column; "UTC" or an offset in it counts for all rows.
    time_zone : IANA name, used for rows that say no zone themselves. date_order : one of `DATE_ORDERS`.

    Raises
    ------
    InputError
        When `time_zone` or `date_order` is unknown.
    """
    if date_order is not None and date_order not in DATE_ORDERS:
        raise InputError("date order", f"{date_order!r}", f"one of {', '.join(DATE_ORDERS)}")
    zone = None if time_zone is None else named_zone(time_zone)
    said = [t for t in texts if t]
    if said and sum(_NUMBER.fullmatch(t) is not None for t in said) > len(said) / 2 and not _is_compact(said):
        values = np.array([float(t.replace(",", ".")) if _NUMBER.fullmatch(t) else np.nan for t in texts])
        return _of_days(texts, values, heading, zone) if _are_days(values) else _of_numbers(texts, values)
    parts = _parts(texts)
    found = Moments(np.full(len(texts), NAT))
    # spreadsheets leave the clock out at midnight; a column without any clock has dates alone
    at_midnight = np.isnan(parts.clock_ms) & np.isfinite(parts.c) & (np.isfinite(parts.clock_ms).mean() > 0.5)
    local_ms = _dates(parts, date_order, found) + np.where(at_midnight, 0.0, parts.clock_ms)
    _say_unread(texts, local_ms, found)
    _settle_zones(local_ms, parts.zone_s, heading, zone, found)
    return found


def _is_compact(said: list[str]) -> bool:
    return all(_PATTERNS[1].fullmatch(t) for t in said[:50])


def _of_days(texts: Sequence[str], values: FloatArray, heading: str, zone: ZoneInfo | None) -> Moments:
    found = Moments(
        np.full(len(texts), NAT), notes=["times are numbers, taken as days of a spreadsheet, since 1899-12-30"]
    )
    local_ms = np.round((values - _SHEET_DAY_OF_1970) * 86_400_000.0)
    _say_unread(texts, local_ms, found)
    _settle_zones(local_ms, np.full(len(texts), np.nan), heading, zone, found)
    return found


def _of_numbers(texts: Sequence[str], values: FloatArray) -> Moments:
    middle = float(np.nanmedian(values))
    found = Moments(np.full(len(texts), NAT))
    # seconds since 1970 have passed 1e8 in 1973; every thousandfold of that is the next smaller unit
    names = ("seconds", "milliseconds", "microseconds", "nanoseconds")
    power = int(np.clip((np.log10(max(middle, 1.0)) - 8) // 3, 0, 3))
    found.date_known = middle >= 1e8
    since = f"{names[power]} since 1970" if found.date_known else "seconds from some start: the day is unknown"
    found.notes.append(f"times are numbers, taken as {since}")
    ms = values * 1000.0 / 1000.0**power
    ms[~(ms < _LATEST_MS)] = np.nan
    _say_unread(texts, ms, found)
    found.time[np.isfinite(ms)] = _stamp(ms[np.isfinite(ms)])
    return found


def _are_days(values: FloatArray) -> bool:
    """Return whether numbers are days as spreadsheets count them: of 1980 to 2099, and steps of less than three minutes.

    Seconds of one day may lie there too, but fixes come at most a hundred times a second (common practice).
    """
    known = values[np.isfinite(values)]
    steps = np.abs(np.diff(known))
    low, high = _SHEET_DAYS
    return bool(((known >= low) & (known < high)).all() and len(steps) and 0 < np.median(steps) < 180 / 86_400)


def _parts(texts: Sequence[str]) -> _Parts:
    columns: list[tuple[float, ...]] = []
    sign = ""
    nothing = (np.nan,) * 7
    for text in texts:
        match = next((m for m in (p.fullmatch(text) for p in _PATTERNS) if m), None) if text else None
        groups = match.groupdict() if match else {}
        sign = sign or (groups.get("sign") or "").strip()[:1]
        columns.append(_row(groups) if match else nothing)
    a, b, c, last, named, clock_ms, zone_s = np.array(columns, float).reshape(-1, 7).T
    return _Parts(a, b, c, last, named, clock_ms, zone_s, sign)


def _row(g: dict[str, str | None]) -> tuple[float, ...]:
    first, second, third = g.get("a"), g.get("b"), g.get("c")
    named = 0.0
    if first and not first.isdigit():
        first, second, named = second, first, 1.0
    if second and not second.isdigit():
        second, named = str(_month(second)), 1.0
    last = third if third and len(third) <= 2 else None
    return _float(first), _float(second), _year(third), _float(last), named, _clock_ms(g), _zone_s(g.get("zone"))


def _float(text: str | None) -> float:
    return float(text) if text and text.isdecimal() else np.nan


def _year(text: str | None) -> float:
    # two digits of the year: satellite navigation begins in 1980
    value = _float(text)
    return value + (2000 if value < 80 else 1900) if text and len(text) == 2 else value


def _month(name: str) -> float | str:
    bare = name.casefold().replace("é", "e").replace("û", "u").replace("ä", "a")
    return next((str(_MONTHS[bare[:n]]) for n in (4, 3) if bare[:n] in _MONTHS), "x")


def _clock_ms(g: dict[str, str | None]) -> float:
    if not g.get("h"):
        return np.nan
    hour, minute, second = float(g["h"] or 0), float(g["mi"] or 0), float(g.get("s") or 0)
    half = (g.get("half") or "").lower()[:1]
    if half:
        hour = hour % 12 + (12 if half == "p" else 0)
    if hour > 23 or minute > 59 or second > 60:
        return np.nan
    return 1000 * (3600 * hour + 60 * minute + second + float(f"0.{g.get('f') or 0}"))


def _zone_s(text: str | None) -> float:
    if not text:
        return np.nan
    digits = re.search(r"([+-])(\d{1,2}):?(\d\d)?", text)
    if not digits:
        return 0.0
    return (3600.0 * int(digits[2]) + 60.0 * int(digits[3] or 0)) * (-1 if digits[1] == "-" else 1)


def _dates(p: _Parts, date_order: str | None, found: Moments) -> FloatArray:
    """Return the milliseconds of midnight of each row; without any date, days run on from 1970-01-01."""
    dated = np.isfinite(p.c)
    if not dated.any():
        found.date_known = False
        found.notes.append("no date with the times: the day is unknown, durations hold")
        return _running_days(p.clock_ms)
    year_first = (p.a > 31) & np.isfinite(p.last)
    if year_first.any() or date_order == "ymd":
        return _midnight_ms(np.where(year_first | (date_order == "ymd"), _as_years(p.a), np.nan), p.b, p.last)
    if (p.named == 1).any():  # and not nan, of a row without a date
        return _midnight_ms(p.c, p.b, p.a)
    day_first, why = _day_first(p, date_order, found)
    if why:
        found.notes.append(why)
    return _midnight_ms(p.c, p.b, p.a) if day_first else _midnight_ms(p.c, p.a, p.b)


def _as_years(a: FloatArray) -> FloatArray:
    return np.where(a < 80, a + 2000, np.where(a < 100, a + 1900, a))


def _day_first(p: _Parts, date_order: str | None, found: Moments) -> tuple[bool, str]:
    if date_order in ("dmy", "mdy"):
        return date_order == "dmy", ""
    if (p.a > 12).any() or (p.b > 12).any():
        day_first = int((p.a > 12).sum()) >= int((p.b > 12).sum())
        number = int(np.nanmax(p.a if day_first else p.b))
        return day_first, f"dates are {'day' if day_first else 'month'} first: {number} is no month"
    day_ms, month_ms = _midnight_ms(p.c, p.b, p.a), _midnight_ms(p.c, p.a, p.b)
    if p.sign == ".":
        return True, "dates are day first, as is usual with full stops"
    if np.array_equal(day_ms, month_ms, equal_nan=True):
        return True, ""
    spans = [np.nanmax(ms) - np.nanmin(ms) for ms in (day_ms, month_ms)]
    if min(spans) > 0 and max(spans) > 20 * min(spans):
        return bool(spans[0] < spans[1]), f"dates are {'day' if spans[0] < spans[1] else 'month'} first: days follow on"
    found.date_known = False
    one, two = (str(_stamp(ms[np.isfinite(ms)][:1])[0])[:10] for ms in (day_ms, month_ms))
    return True, f"the dates may begin on {one} or {two} (day or month first): say which; durations hold either way"


def _midnight_ms(year: FloatArray, month: FloatArray, day: FloatArray) -> FloatArray:
    good = (month >= 1) & (month <= 12) & (day >= 1) & (year >= 1900) & (year < 2200)
    whole = np.where(good, (year - 1970) * 12 + month - 1, 0).astype("int64").astype("datetime64[M]")
    days = whole.astype("datetime64[D]") + np.where(good, day - 1, 0).astype("int64")
    good &= days.astype("datetime64[M]") == whole  # no day beyond its month's last
    return np.where(good, days.astype("datetime64[ms]").astype("int64").astype(float), np.nan)


def _running_days(clock_ms: FloatArray) -> FloatArray:
    """Return midnight of each row where times of day run on: a step back of over half a day is the next day."""
    timed = np.flatnonzero(np.isfinite(clock_ms))
    days = np.zeros(len(clock_ms))
    days[timed[1:]] = np.cumsum(np.diff(clock_ms[timed]) < -43_200_000)
    return days * 86_400_000.0


def _say_unread(texts: Sequence[str], local_ms: FloatArray, found: Moments) -> None:
    unread = np.flatnonzero(~np.isfinite(local_ms) & np.array([bool(t) for t in texts], bool))
    if len(unread):
        found.counts["times_unread"] = len(unread)
        found.notes.append(
            f"{len(unread)} times cannot be read, the first in row {unread[0] + 1}: {texts[unread[0]][:40]}"
        )


def _settle_zones(
    local_ms: FloatArray, zone_s: FloatArray, heading: str, zone: ZoneInfo | None, found: Moments
) -> None:
    known = np.isfinite(local_ms)
    said = re.compile(r"\b(UTC|GMT)\s?([+-]\d{1,2}(?::?\d\d)?)?|\bZ\b", re.IGNORECASE)
    in_heading = said.search(heading.replace("_", " "))
    zone_s = np.where(np.isnan(zone_s) & bool(in_heading), _zone_s(in_heading[0] if in_heading else ""), zone_s)
    bare = known & np.isnan(zone_s)
    shift_s = np.nan_to_num(zone_s)
    if bare.any() and zone is not None:
        shift_s[bare], open_hour = offsets_s(local_ms[bare], zone)
        if open_hour:
            found.notes.append("all times lie in the hour that comes twice when clocks go back: the first one is taken")
    elif bare.any():
        _assume_utc(local_ms, bare, found)
        known &= "step_back_row" not in found.counts
    found.time[known] = _stamp(local_ms[known] - 1000 * shift_s[known])


def _assume_utc(local_ms: FloatArray, bare: BoolArray, found: Moments) -> None:
    rows = np.flatnonzero(bare)
    steps_s = np.diff(local_ms[rows]) / 1000
    back = np.flatnonzero((-steps_s >= _CLOCK_CHANGE_S[0]) & (-steps_s <= _CLOCK_CHANGE_S[1]))
    if len(back):
        row, step_s = int(rows[back[0] + 1]) + 1, round(-float(steps_s[back[0]]))
        found.counts |= {"step_back_row": row, "step_back_s": step_s}
        found.notes.append(
            f"times step back {step_s} s at row {row}: local times over a clock change? Name the time zone; "
            "until then the times are not used and the duration is unknown"
        )
    else:
        found.counts["zone_assumed_utc"] = len(rows)
        found.notes.append(f"{len(rows)} times without a zone are taken as UTC")


def _stamp(ms: FloatArray) -> TimeArray:
    return np.round(ms).astype("int64").astype("datetime64[ms]")

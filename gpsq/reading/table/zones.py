"""Local times of a named zone to UTC, with the hour that comes twice decided by the order of the rows."""

from __future__ import annotations

from datetime import UTC, datetime
from typing import TYPE_CHECKING
from zoneinfo import ZoneInfo

import numpy as np

from gpsq.exceptions import InputError

if TYPE_CHECKING:
    from gpsq.model import BoolArray, FloatArray


def named_zone(name: str) -> ZoneInfo:
    """Return the zone of an IANA name; `InputError` where there is none."""
    try:
        return ZoneInfo(name)
    except (OSError, ValueError, LookupError):
        raise InputError("time zone", f"{name!r}", "an IANA name such as Europe/London") from None


def offsets_s(local_ms: FloatArray, zone: ZoneInfo) -> tuple[FloatArray, bool]:
    """Return zone minus UTC in seconds for local times (n,) in file order, and whether an hour stays open.

    When clocks go back an hour comes twice: of the two, the row order decides. It stays open where all times lie in it.

    Examples
    --------
    >>> local = np.array(["2024-10-27T01:59", "2024-10-27T01:00"], "datetime64[ms]").astype(float)
    >>> offsets_s(local, named_zone("Europe/London"))[0].tolist()
    [3600.0, 0.0]
    """
    first, second = (_each(local_ms, zone, fold) for fold in (0, 1))
    twice = first > second
    offset_s = first.copy()
    moment_s = local_ms / 1000
    _forward(moment_s, offset_s, second, twice)
    _backward(moment_s, offset_s, second, twice)
    return offset_s, bool(twice.all() and (offset_s == first).all())


def _forward(moment_s: FloatArray, offset_s: FloatArray, second: FloatArray, twice: BoolArray) -> None:
    for i in np.flatnonzero(twice):
        if i and moment_s[i] - offset_s[i] < moment_s[i - 1] - offset_s[i - 1]:
            offset_s[i] = second[i]


def _backward(moment_s: FloatArray, offset_s: FloatArray, second: FloatArray, twice: BoolArray) -> None:
    # a run that goes on smoothly after the hour was in its second coming
    for i in np.flatnonzero(twice)[::-1]:
        if i + 1 < len(twice) and moment_s[i] - second[i] <= moment_s[i + 1] - offset_s[i + 1]:
            offset_s[i] = second[i]


def _each(local_ms: FloatArray, zone: ZoneInfo, fold: int) -> FloatArray:
    # zones change on the quarter hour: ask once for each
    quarters, place = np.unique(local_ms // 900_000, return_inverse=True)
    offsets = [_offset_s(float(q) * 900, zone, fold) for q in quarters]
    return np.array(offsets, float)[place]


def _offset_s(local_s: float, zone: ZoneInfo, fold: int) -> float:
    local = datetime.fromtimestamp(local_s, UTC).replace(tzinfo=zone, fold=fold)
    offset = local.utcoffset()
    return offset.total_seconds() if offset is not None else 0.0

"""When each recording was started, by the best evidence there is (docs/method.md, section 2)."""

from __future__ import annotations

import dataclasses
from typing import TYPE_CHECKING, Any

import numpy as np

from gpsq.campaign.local_time import clock_in_words
from gpsq.campaign.start_matching import seconds

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from gpsq.campaign.start_log import StartEntry
    from gpsq.model import Trace
    from gpsq.settings import Settings


def with_starts(
    traces: Sequence[Trace], logged: Mapping[tuple[str, int], StartEntry], settings: Settings, time_zone: str = ""
) -> list[Trace]:
    """Give each trace its start: the log's, else its records before the fix, else its file's time.

    Parameters
    ----------
    traces : sequence of Trace
        Of one campaign, with their devices; ``started`` already tells of records before the fix.
    logged : mapping
        Row of the start log by file and track.
    settings : Settings
        ``start_bound_s`` and ``log_bound_s``.
    time_zone : str
        Whose clocks notes speak of.
    """
    early = {t.device for t in traces if _file_wait_s(t) > 0 and _file_wait_s(t) <= settings.start_bound_s}
    rows = [logged.get((t.file, t.track)) for t in traces]
    doubts = [_doubt(t, row, settings, time_zone) if row else "" for t, row in zip(traces, rows, strict=True)]
    return [
        _with_start(t, row, doubt, t.device in early, settings)
        for t, row, doubt in zip(traces, rows, doubts, strict=True)
    ]


def first_fix(trace: Trace) -> np.datetime64:
    """Return the time of the first accepted fix, NaT where there is none."""
    return trace.time[0] if trace.accepted else np.datetime64("NaT", "ms")


def _file_wait_s(trace: Trace) -> float:
    return seconds(first_fix(trace), trace.file_time)


def _with_start(trace: Trace, entry: StartEntry | None, doubt: str, writes_early: bool, settings: Settings) -> Trace:
    changes: dict[str, Any] = {}
    if entry:
        changes |= {
            "start_lat_deg": entry.start_lat_deg,
            "start_lon_deg": entry.start_lon_deg,
            "start_state": entry.start_state,
            "ride_label": entry.ride,
            "log_note": entry.note,
        }
        if doubt:
            changes["notes"] = (*trace.notes, doubt)
        elif not np.isnat(entry.started):
            return dataclasses.replace(trace, **changes, started=entry.started, start_basis="log")
    if trace.start_basis == "none" and _file_time_tells(trace, writes_early, settings):
        changes |= {"started": trace.file_time, "start_basis": "file time"}
    return dataclasses.replace(trace, **changes) if changes else trace


def _doubt(trace: Trace, entry: StartEntry, settings: Settings, time_zone: str) -> str:
    """Return why the log's start cannot be that of this recording, or ""."""
    until = first_fix(trace) if trace.accepted else trace.last_record
    wait_s = seconds(until, entry.started)
    if not trace.date_known and not np.isnat(entry.started):
        return "The day of this recording is unknown, so the start in rides.csv cannot be compared with it."
    if wait_s < 0:
        return (
            f"rides.csv gives {entry.written!r} as the start, {-wait_s:g} s after the first fix at "
            f"{clock_in_words(until, time_zone)}: the two clocks disagree, so the log's start is not used."
        )
    if wait_s > settings.log_bound_s:
        hours = f"{wait_s / 3600:.1f} h"
        return f"rides.csv gives {entry.written!r} as the start, {hours} before the first fix: it is taken to mean another ride."
    return ""


def contradicted(
    traces: Sequence[Trace], logged: Mapping[tuple[str, int], StartEntry], settings: Settings, time_zone: str = ""
) -> tuple[str, ...]:
    """Return a line for each start of the log that its recording contradicts, and that is therefore not used."""
    by_key = ((t, logged.get((t.file, t.track))) for t in traces)
    found = ((t, _doubt(t, entry, settings, time_zone)) for t, entry in by_key if entry)
    return tuple(f"{trace.label}: {doubt}" for trace, doubt in found if doubt)


def _file_time_tells(trace: Trace, writes_early: bool, settings: Settings) -> bool:
    """Whether the file time is a start; one equal to the first fix is, if the device writes earlier ones elsewhere."""
    wait_s = _file_wait_s(trace)
    if trace.records_before_fix or not trace.date_known:
        return False
    return 0 < wait_s <= settings.start_bound_s or (wait_s == 0 and writes_early)

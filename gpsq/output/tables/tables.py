"""The tables for people and programs: pandas frames, and the CSV files made of them.

An unknown value is blank. Text from the recordings is kept as it is, apart from control characters; in a CSV file a cell
that a spreadsheet would take for a formula is marked as text.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np
import pandas as pd

from gpsq.output.instants import dated, iso_times
from gpsq.output.tables import columns
from gpsq.output.tables.column import value
from gpsq.output.wording import cell
from gpsq.summaries.csv_cells import guarded

if TYPE_CHECKING:
    from collections.abc import Iterator

    from gpsq.model import Trace, Unreadable
    from gpsq.results import Analysis
    from gpsq.summary_types import DeviceSummary

Row = dict[str, Any]


def tracks(analysis: Analysis) -> pd.DataFrame:
    """Return a row for every recording found, scored or not, with the columns of ``tracks.csv``."""
    return _frame([*_track_rows(analysis), *_unreadable_rows(analysis)], "tracks")


def deviations(analysis: Analysis) -> pd.DataFrame:
    """Return a row for every deviation, with the columns of ``deviations.csv``."""
    rows = [
        {"deviation": found, "trace": analysis.traces[found.trace], "result": analysis.results[found.trace]}
        for found in analysis.deviations
    ]
    return _frame(rows, "deviations")


def devices(analysis: Analysis) -> pd.DataFrame:
    """Return a row for every device and route, and one for every device over all routes, as in ``devices.csv``."""
    return _frame([device_row(summary) for summary in analysis.summaries.devices], "devices")


def comparisons(analysis: Analysis) -> pd.DataFrame:
    """Return a row for every pair of devices that shared a ride and every measure, as in ``comparisons.csv``."""
    return _frame([{"row": row} for row in analysis.summaries.comparisons], "comparisons")


def reference(analysis: Analysis) -> pd.DataFrame:
    """Return a row for every route with a reference and device (blank: its centreline), as in ``reference.csv``."""
    return _frame([{"row": row} for row in analysis.summaries.reference], "reference")


def set_aside(analysis: Analysis) -> pd.DataFrame:
    """Return a row for every recording and reason that points were set aside for, as in ``set_aside.csv``."""
    found: list[Trace | Unreadable] = [*analysis.traces, *analysis.unreadable]
    rows = [{"trace": recording, "group": group} for recording in found for group in recording.set_aside]
    return _frame(rows, "set_aside")


def csv_text(frame: pd.DataFrame) -> str:
    r"""Return a frame as CSV: comma, dot decimals, ISO 8601 times in UTC, blank for unknown.

    Examples
    --------
    >>> csv_text(pd.DataFrame({"when": np.array(["2026-05-04T07:00:00.5", "NaT"], "M8[ms]"), "m": [1.5, float("nan")]}))
    'when,m\n2026-05-04T07:00:00.500Z,1.5\n,\n'
    """
    written = frame.copy()
    for name in frame.columns:
        if frame[name].dtype.kind == "M":
            written[name] = iso_times(frame[name].to_numpy(dtype="datetime64[ms]"))
        elif frame[name].dtype == "boolean":
            written[name] = frame[name].map({True: "true", False: "false"}, na_action="ignore").astype(object)
        elif frame[name].dtype.kind in "OSU" or frame[name].dtype == "str":
            written[name] = [guarded(value) if isinstance(value, str) else value for value in frame[name]]
    return str(written.to_csv(index=False, lineterminator="\n"))


def _track_rows(analysis: Analysis) -> Iterator[Row]:
    for trace, result in zip(analysis.traces, analysis.results, strict=True):
        first_fix = result.first_fix
        yield {
            "trace": trace,
            "result": result,
            "set_aside": trace.points - trace.accepted,
            "deviations": len(result.deviations) if result.deviations or result.crosstrack else None,
            "missed_is_minimum": first_fix.missed_is_minimum if np.isfinite(first_fix.missed_m) else None,
        }


def _unreadable_rows(analysis: Analysis) -> Iterator[Row]:
    for lost in analysis.unreadable:
        yield {
            "file": lost.file, "track": lost.track, "sha256": lost.sha256, "device": lost.device,
            "status": "unreadable", "reason": lost.message, "start_basis": "none", "points": lost.points,
            "accepted": 0, "set_aside": sum(group.points for group in lost.set_aside),
        }  # fmt: skip


def device_row(summary: DeviceSummary) -> Row:
    """Return what a row of ``devices.csv`` is of: the summary, and its figures by name."""
    return {"summary": summary, **summary.figures}


def _frame(rows: list[Row], file: str) -> pd.DataFrame:
    return pd.DataFrame({c.name: _column([value(c, row) for row in rows], c.kind) for c in columns.of_file(file)})


def _column(values: list[Any], kind: str) -> Any:
    """Return a column of the right type; kinds are text, time, count, bool, or the number of decimals of a figure."""
    if kind == "text":
        return pd.array(["" if value is None else cell(str(value)) for value in values], dtype="str")
    if kind == "time":
        if any(value is not None and value.dtype == "datetime64[D]" for value in values):  # known to the day only
            return pd.array(["" if value is None or np.isnat(value) else str(value) for value in values], dtype="str")
        return dated(
            np.array([np.datetime64("NaT", "ms") if value is None else value for value in values], "datetime64[ms]")
        )
    if kind == "count":
        return pd.array(values, dtype="Int64")
    if kind == "bool":
        return pd.array([None if value is None or value != value else bool(value) for value in values], dtype="boolean")
    figures = np.array([np.nan if value is None else value for value in values], float)
    figures[~np.isfinite(figures)] = np.nan
    return np.round(figures, int(kind)) + 0.0

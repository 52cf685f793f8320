"""The tables for people and programs: pandas frames, and the CSV files made of them.

An unknown value is blank. Text from the recordings is kept as it is, apart from control characters: a cell that begins
with ``=`` is a name and stays one, so a spreadsheet should be told to import text as text.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np
import pandas as pd

from gpsq.output.instants import dated, iso_times
from gpsq.output.wording import cell

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping

    from gpsq.model import CrossTrack, CurveDistances, FirstFix, SetAside, Trace, Unreadable
    from gpsq.results import Analysis, DeviceSummary
    from gpsq.summaries.reference import ReferenceFigures

Row = dict[str, Any]

TRACKS: dict[str, str] = {
    "file": "text", "track": "count", "sha256": "text", "device": "text", "ride": "text", "route": "text",
    "status": "text", "reason": "text", "started": "time", "start_basis": "text", "first_fix": "time",
    "ttff_s": "3", "ttff_at_least_s": "3", "censored": "bool", "hours_since_fix": "3", "start_state": "text",
    "settle_s": "3", "missed_m": "2", "missed_share": "4", "missed_is_minimum": "bool", "points": "count",
    "accepted": "count", "set_aside": "count", "interval_s": "3", "length_m": "2", "scored_m": "2", "xte_bias_m": "2",
    "xte_rms_m": "2", "xte_median_m": "2", "xte_p95_m": "2", "within_5m": "4", "within_10m": "4", "hausdorff_m": "2",
    "frechet_m": "2", "frechet_discrete_m": "2", "coverage": "4", "length_ratio": "5", "deviations": "count",
    "name": "text",
}  # fmt: skip
DEVIATIONS: dict[str, str] = {
    "id": "text", "event": "text", "file": "text", "track": "count", "device": "text", "ride": "text", "route": "text",
    "from_m": "2", "to_m": "2", "from_time": "time", "to_time": "time", "peak_m": "2", "side": "text", "extra_m": "2",
    "suggestion": "text", "evidence": "text", "flag": "text", "note": "text",
}  # fmt: skip
DEVICES: dict[str, str] = {
    "device": "text", "route": "text", "rides": "count", "ttff_median_s": "2", "ttff_low_s": "2", "ttff_high_s": "2",
    "fixed_in_30s": "4", "missed_median_m": "2", "xte_rms_m": "2", "xte_rms_low_m": "2", "xte_rms_high_m": "2",
    "xte_p95_m": "2", "bias_m": "2", "repeatability_m": "2", "frechet_median_m": "2", "fixed_in_10s": "4",
    "fixed_in_60s": "4", "missed_low_m": "2", "missed_high_m": "2", "repeatability_low_m": "2",
    "repeatability_high_m": "2", "hausdorff_median_m": "2", "xte_rms_plain_m": "2", "repeatability_plain_m": "2",
    "open_deviations": "count",
}  # fmt: skip
REFERENCE: dict[str, str] = {
    "route": "text", "device": "text", "reference": "text", "rides": "count", "shared_m": "1", "trueness_m": "2",
    "trueness_low_m": "2", "trueness_high_m": "2", "trueness_rms_m": "2", "repeatability_m": "2", "accuracy_m": "2",
    "within_95_m": "2", "nssda_95_m": "2", "nssda_radius_95_m": "2", "assumption_holds": "bool", "assumption": "text",
}  # fmt: skip
SET_ASIDE: dict[str, str] = {
    "file": "text",
    "track": "count",
    "reason": "text",
    "points": "count",
    "first_point": "count",
}

#: Columns of ``devices.csv`` that are a bound of a figure: which figure, and which end.
BOUNDS = {
    "ttff_low_s": ("ttff_median_s", "low"), "ttff_high_s": ("ttff_median_s", "high"),
    "missed_low_m": ("missed_median_m", "low"), "missed_high_m": ("missed_median_m", "high"),
    "xte_rms_low_m": ("xte_rms_m", "low"), "xte_rms_high_m": ("xte_rms_m", "high"),
    "repeatability_low_m": ("repeatability_m", "low"), "repeatability_high_m": ("repeatability_m", "high"),
}  # fmt: skip


def tracks(analysis: Analysis) -> pd.DataFrame:
    """Return a row for every recording found, scored or not, with the columns of ``tracks.csv``."""
    return _frame([*_track_rows(analysis), *_unreadable_rows(analysis)], TRACKS)


def deviations(analysis: Analysis) -> pd.DataFrame:
    """Return a row for every deviation, with the columns of ``deviations.csv``."""
    rows = []
    for deviation in analysis.deviations:
        trace, result = analysis.traces[deviation.trace], analysis.results[deviation.trace]
        whose = {"file": trace.file, "track": trace.track, "device": trace.device, "ride": result.ride}
        rows.append({**whose, **{name: getattr(deviation, name) for name in DEVIATIONS if name not in whose}})
    return _frame(rows, DEVIATIONS)


def devices(analysis: Analysis) -> pd.DataFrame:
    """Return a row for every device and route, and one for every device over all routes, as in ``devices.csv``."""
    return _frame([_device_row(summary) for summary in analysis.extra.get("devices", ())], DEVICES)


def reference(analysis: Analysis) -> pd.DataFrame:
    """Return a row for every route with a reference and device (blank: its centreline), as in ``reference.csv``."""
    return _frame([_reference_row(row) for row in analysis.extra.get("reference", ())], REFERENCE)


def set_aside(analysis: Analysis) -> pd.DataFrame:
    """Return a row for every recording and reason that points were set aside for, as in ``set_aside.csv``."""
    return _frame(list(_set_aside_rows(analysis)), SET_ASIDE)


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
    return str(written.to_csv(index=False, lineterminator="\n"))


def _track_rows(analysis: Analysis) -> Iterator[Row]:
    for trace, result in zip(analysis.traces, analysis.results, strict=True):
        yield {
            "file": trace.file, "track": trace.track, "sha256": trace.sha256, "device": trace.device,
            "name": trace.name, "ride": result.ride, "route": result.route, "status": result.status,
            "reason": result.reason, "points": trace.points, "accepted": trace.accepted,
            "set_aside": trace.points - trace.accepted, "interval_s": result.interval_s, "length_m": result.length_m,
            "deviations": len(result.deviations) if result.deviations or result.crosstrack else None,
            **_first_fix(result.first_fix), **_errors(result.crosstrack), **_curves(result.curves),
        }  # fmt: skip


def _first_fix(fix: FirstFix) -> Row:
    return {
        "started": fix.started, "start_basis": fix.basis, "first_fix": fix.first_fix, "ttff_s": fix.seconds,
        "ttff_at_least_s": fix.at_least_s, "censored": fix.censored, "hours_since_fix": fix.hours_since_fix,
        "start_state": fix.start_state, "settle_s": fix.settle_s, "missed_m": fix.missed_m,
        "missed_share": fix.missed_share,
        "missed_is_minimum": fix.missed_is_minimum if np.isfinite(fix.missed_m) else None,
    }  # fmt: skip


def _errors(errors: CrossTrack | None) -> Row:
    if errors is None:
        return {}
    return {
        "scored_m": errors.scored_m, "xte_bias_m": errors.bias_m, "xte_rms_m": errors.rms_m,
        "xte_median_m": errors.median_m, "xte_p95_m": errors.p95_m, "within_5m": errors.within_5m,
        "within_10m": errors.within_10m,
    }  # fmt: skip


def _curves(curves: CurveDistances | None) -> Row:
    names = ("hausdorff_m", "frechet_m", "frechet_discrete_m", "coverage", "length_ratio")
    return {} if curves is None else {name: getattr(curves, name) for name in names}


def _unreadable_rows(analysis: Analysis) -> Iterator[Row]:
    for lost in analysis.unreadable:
        yield {
            "file": lost.file, "track": lost.track, "sha256": lost.sha256, "device": lost.device,
            "status": "unreadable", "reason": lost.message, "start_basis": "none", "points": lost.points,
            "accepted": 0, "set_aside": _points(lost.set_aside),
        }  # fmt: skip


def _points(groups: tuple[SetAside, ...]) -> int:
    return sum(group.points for group in groups)


def _device_row(summary: DeviceSummary) -> Row:
    row: Row = {"device": summary.device, "route": summary.route, "rides": summary.rides}
    for name in DEVICES:
        figure, end = BOUNDS.get(name, (name, "value"))
        if figure in summary.figures:
            row[name] = getattr(summary.figures[figure], end)
    return row


def _reference_row(row: ReferenceFigures) -> Row:
    found = row.found
    return {
        "route": row.route, "device": row.device, "reference": row.file, "rides": row.rides, "shared_m": row.shared_m,
        "trueness_m": found.bias_m.value, "trueness_low_m": found.bias_m.low, "trueness_high_m": found.bias_m.high,
        "trueness_rms_m": found.systematic_m, "repeatability_m": found.precision_m, "accuracy_m": found.accuracy_m,
        "within_95_m": found.within_95_m, "nssda_95_m": found.standard_95_m, "nssda_radius_95_m": found.radius_95_m,
        "assumption_holds": found.assumption_holds, "assumption": found.assumption,
    }  # fmt: skip


def _set_aside_rows(analysis: Analysis) -> Iterator[Row]:
    found: list[Trace | Unreadable] = [*analysis.traces, *analysis.unreadable]
    for recording in found:
        for group in recording.set_aside:
            yield {
                "file": recording.file, "track": recording.track, "reason": group.reason,
                "points": group.points, "first_point": group.first_point,
            }  # fmt: skip


def _frame(rows: list[Row], columns: Mapping[str, str]) -> pd.DataFrame:
    return pd.DataFrame({name: _column([row.get(name) for row in rows], kind) for name, kind in columns.items()})


def _column(values: list[Any], kind: str) -> Any:
    """Return a column of the right type; kinds are text, time, count, bool, or the number of decimals of a figure."""
    if kind == "text":
        return pd.array(["" if value is None else cell(str(value)) for value in values], dtype="str")
    if kind == "time":
        if any(value is not None and value.dtype == "datetime64[D]" for value in values):  # known to the day only
            return pd.array(["" if value is None or np.isnat(value) else str(value) for value in values], dtype="str")
        return dated(np.array([np.datetime64("NaT") if value is None else value for value in values], "datetime64[ms]"))
    if kind == "count":
        return pd.array(values, dtype="Int64")
    if kind == "bool":
        return pd.array(values, dtype="boolean")
    figures = np.array([np.nan if value is None else value for value in values], float)
    figures[~np.isfinite(figures)] = np.nan
    return np.round(figures, int(kind)) + 0.0

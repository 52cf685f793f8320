"""What the page shows of an analysis, as plain values: figures in words, with what they were before."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np

from gpsq.campaign.local_time import clock_in_words, zone_in_words
from gpsq.output import wording
from gpsq.output.charts import all_charts
from gpsq.output.device_figures import figure, overall
from gpsq.output.drawing.looks import device_looks
from gpsq.output.report import sentences, sketches
from gpsq.output.report.cards import by_event, card
from gpsq.output.ride_days import long_names
from gpsq.output.tables import columns
from gpsq.output.tables.column import bounds, said
from gpsq.web import typed_starts

if TYPE_CHECKING:
    from collections.abc import Sequence

    from gpsq.model import Trace, Unreadable
    from gpsq.output.tables.column import Column
    from gpsq.results import Analysis, TraceResult
    from gpsq.summary_types import DeviceSummary

#: Events drawn on the page; the others stand in a table of the report.
MOST_CARDS = 200
#: Overlay pictures that stand before the tables; the others stand after them.
MOST_OVERLAYS = 2


@dataclass(frozen=True)
class Cell:
    """A figure in words, its bounds, what it was before the last change, and at first ("" where it is the same)."""

    value: str
    bounds: str
    before: str = ""
    first: str = ""


Figures = dict[tuple[str, str], str]


def of_analysis(
    analysis: Analysis, before: Figures, first: Figures | None = None, *, unmoved: bool = False
) -> dict[str, Any]:
    """Return what the page shows; `before` and `first` hold figures by device and name.

    `before` are those before the last change that altered any, `first` those of the first run since the page was opened;
    `unmoved`: the latest change altered none.
    """
    fix, errors = (_table(analysis, columns.shown(part), before, first or {}) for part in ("fix", "errors"))
    pictures = [(drawing.name, drawing.title) for drawing in all_charts.drawings(analysis)]
    return {
        "answer": sentences.answer(analysis),
        "said": [(s.device, sentences.of_device(s, analysis)) for s in overall(analysis).values()],
        "pictures": pictures,
        "overlays": min(MOST_OVERLAYS, sum(name.startswith("overlay-") for name, _ in pictures)),
        "looks": device_looks(analysis),
        "marks": sketches.MARKS,
        "fix": fix,
        "errors": errors,
        "unmoved": unmoved,
        "cards": [card(analysis, event) for event in by_event(analysis)[:MOST_CARDS]],
        "events": len(by_event(analysis)),
        "deviations": len(analysis.deviations),
        "undecided": sum(not d.flag for d in analysis.deviations),
        "recordings": _recordings(analysis),
        "unreadable": [wording.cell(lost.message) for lost in analysis.unreadable],
        "notes": [wording.cell(note) for note in analysis.notes],
        "lines": [_line(found) for found in analysis.routes if found.centreline is not None],
        "devices": devices(analysis),
        "title": analysis.title,
        "zone": "" if analysis.time_zone[:1] in {"+", "-"} else analysis.time_zone,
        "clocks": zone_in_words(analysis.time_zone) if analysis.time_zone else "Z: UTC",
        "ways": [(name, analysis.ways[name].name if name in analysis.ways else "") for name in _routes(analysis)],
    }


def _routes(analysis: Analysis) -> list[str]:
    return [found.route.name for found in analysis.routes]


def figures(analysis: Analysis) -> dict[tuple[str, str], str]:
    """Return every figure of every device in words, to be told apart from those of the next run."""
    wanted = columns.shown("fix", "errors")
    return {(d, c.name): said(c, figure(s, c.source)) for d, s in overall(analysis).items() for c in wanted}


def devices(analysis: Analysis) -> list[str]:
    """Return the names of all devices, also of those whose every recording is unreadable."""
    recordings: list[Trace | Unreadable] = [*analysis.traces, *analysis.unreadable]
    return sorted({r.device for r in recordings if r.device})


def _table(analysis: Analysis, wanted: Sequence[Column], before: Figures, first: Figures) -> dict[str, Any]:
    summaries = overall(analysis).values()
    kept = [c for c in wanted if any(np.isfinite(figure(s, c.source).value) for s in summaries)]
    rows = [(s.device, s.rides, [_cell(s, c, before, first) for c in kept]) for s in summaries]
    return {"heads": [c.heading for c in kept], "rows": rows}


def _cell(summary: DeviceSummary, column: Column, before: Figures, first: Figures) -> Cell:
    found = figure(summary, column.source)
    value = said(column, found)
    was, began = (known.get((summary.device, column.name), value) for known in (before, first))
    return Cell(
        value,
        bounds(column, found, summary.figures),
        was if was != value else "",
        began if began not in {value, was} else "",
    )


def _recordings(analysis: Analysis) -> list[dict[str, Any]]:
    names = long_names(analysis)
    return [
        _recording(trace, result, analysis.time_zone) | {"ride": names.get(result.ride) or "no ride"}
        for trace, result in zip(analysis.traces, analysis.results, strict=True)
    ]


def _recording(trace: Trace, result: TraceResult, zone: str) -> dict[str, Any]:
    fixed = clock_in_words(trace.time[0], zone) if trace.accepted and not np.isnat(trace.time[0]) else ""
    remarks = [result.reason, wording.stopped_early(result.ended_early_m), *trace.notes, trace.log_note]
    return {
        "trace": trace,
        "result": result,
        "first_fix": wording.first_fix(result.first_fix),
        "fixed_at": fixed,
        "logged": typed_starts.shown(trace.started, trace, zone) if trace.start_basis == "log" else "",
        "remarks": [wording.cell(text) for text in remarks if text],
    }


def _line(found: Any) -> dict[str, Any]:
    """Return a route's centreline in degrees, every tenth station, for the map on which private places are set."""
    xy_m = found.centreline.xy_m[:: max(1, len(found.centreline.xy_m) // 300)]
    lon, lat = found.route.plane.to_degrees(xy_m)
    return {"name": found.route.name, "line": np.column_stack([lat, lon]).round(6).tolist()}

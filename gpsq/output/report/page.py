"""``report.html``: one page that answers first and shows its grounds after; nothing from elsewhere, and a script only to copy."""

from __future__ import annotations

import shlex
from collections import Counter
from itertools import groupby
from typing import TYPE_CHECKING, Any

import numpy as np

from gpsq.campaign.local_time import zone_in_words
from gpsq.digests import version
from gpsq.output import run_file, wording
from gpsq.output.device_figures import MISSING, overall
from gpsq.output.drawing.looks import device_looks
from gpsq.output.drawing.margin import CUT
from gpsq.output.drawing.route_parts import hot_spots
from gpsq.output.report import findings, sentences, sketches
from gpsq.output.report.cards import by_event, card
from gpsq.output.report.glossary import GLOSSARY
from gpsq.output.ride_days import long_names, period
from gpsq.output.tables import columns
from gpsq.output.tables.column import bounds, said
from gpsq.output.templating import policy_of, render, template_text
from gpsq.output.wording import cell

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from gpsq.model import Trace, Unreadable
    from gpsq.output.drawing.rendering import Chart
    from gpsq.output.tables.column import Column
    from gpsq.results import Analysis, TraceResult
    from gpsq.summary_types import DeviceSummary, Interval

#: More cards than this are not looked at one by one; the table of deviations has them all.
MOST_CARDS = 60
#: What is said of so many recordings is said once, below the table.
SAID_ONCE = 3


def report_page(analysis: Analysis, charts: tuple[Chart, ...]) -> str:
    """Return the page; `charts` are those of `charts.figures`."""
    shown = {
        "policy": policy_of(template_text("copy.js")),
        "script": template_text("copy.js"),
        "css": template_text("look.css") + template_text("report.css"),
        "title": wording.title(analysis),
        "folder": shlex.quote(cell(analysis.folder)) if analysis.folder else "",
        "settings": analysis.settings,
        "looks": device_looks(analysis),
        "marks": sketches.MARKS,
        "words": wording,
        "charts": {chart.name: chart for chart in charts},
        "overlays": [chart.name for chart in charts if chart.name.startswith("overlay-")],
        "cut": CUT if analysis.published else "",
        "glossary": GLOSSARY,
    }
    groups = (_answer(analysis), _figures(analysis), _grounds(analysis), _recordings(analysis), _origin(analysis))
    for group in groups:
        shown |= group
    return render("report.html.j2", **shown)


def _answer(analysis: Analysis) -> dict[str, Any]:
    summaries = overall(analysis).values()
    return {
        "counts": run_file.counts(analysis),
        "when": _when(analysis),
        "answer": sentences.answer(analysis),
        "said": [(summary.device, sentences.of_device(summary, analysis)) for summary in summaries],
    }


def _figures(analysis: Analysis) -> dict[str, Any]:
    summaries = list(overall(analysis).values())
    return {
        "fix": _table(summaries, columns.shown("fix")),
        "errors": _table(summaries, columns.shown("errors")),
        "per_route": _per_route(analysis),
        "states": _states(analysis),
        "own_errors": list(findings.own_errors(analysis)),
        "comparisons": [sentences.sentence(found.verdict) for found in analysis.summaries.comparisons],
        "earlier": []
        if analysis.published
        else [sentences.sentence(found.verdict) for found in analysis.summaries.earlier],
        "hot_spots": _numbered(hot_spots(analysis)),
        "searches": list(findings.hot_spot_searches(analysis)),
        "waiting": sum(not deviation.flag for deviation in analysis.deviations),
        "reference_heads": findings.REFERENCE_HEADS,
        **findings.sections(analysis),
    }


def _grounds(analysis: Analysis) -> dict[str, Any]:
    return {
        "routes": [(wording.way(analysis, found.route.name), found) for found in analysis.routes],
        "cards": [card(analysis, event) for event in by_event(analysis)[:MOST_CARDS]],
        "deviations": len(analysis.deviations),
        "events": len(by_event(analysis)),
    }


def _recordings(analysis: Analysis) -> dict[str, Any]:
    return {
        **_rows(analysis),
        "unreadable": [_unreadable(lost) for lost in analysis.unreadable],
        "aside": _aside(analysis),
    }


def _origin(analysis: Analysis) -> dict[str, Any]:
    return {
        "version": version(),
        "libraries": run_file.library_versions(),
        "inputs": sorted(analysis.inputs.items()),
        "notes": [cell(note) for note in analysis.notes],
    }


def _when(analysis: Analysis) -> str:
    """Return the days of the rides, and whose clocks they are by."""
    days = period(analysis)
    return f"{days} ({zone_in_words(analysis.time_zone)})" if days and not analysis.published else days


def _table(summaries: list[DeviceSummary], wanted: Sequence[Column]) -> dict[str, Any]:
    """Heads and cells of a table of figures per device; a column that no device has is left out."""
    kept = _known(wanted, [summary.figures for summary in summaries])
    rows = [(summary.device, summary.rides, _cells(summary.figures, kept)) for summary in summaries]
    return {"heads": [column.heading for column in kept], "rows": rows}


def _known(wanted: Sequence[Column], figures: Sequence[Mapping[str, Interval]]) -> list[Column]:
    """Return the columns that any of the devices has a figure for."""
    return [c for c in wanted if any(np.isfinite(own.get(c.source, MISSING).value) for own in figures)]


def _per_route(analysis: Analysis) -> dict[str, Any]:
    """Return the chief figures of each device on each route, where there is more than one."""
    chosen = [s for s in analysis.summaries.devices if s.route]
    table = _table(chosen, columns.shown("route"))
    rows = [(wording.way(analysis, summary.route), *row) for summary, row in zip(chosen, table["rows"], strict=True)]
    return {"heads": table["heads"], "rows": rows if len({s.route for s in chosen}) > 1 else []}


def _states(analysis: Analysis) -> dict[str, Any]:
    """Return the time to first fix by start state, where there is more than one: only like is compared with like."""
    order = {"hot": 0, "warm": 1, "cold": 2}
    states = analysis.summaries.start_states
    chosen = sorted(states, key=lambda found: (order.get(found.state, 3), found.state, found.device))
    kept = _known(columns.shown("state"), [found.figures for found in chosen])
    rows = [(found.state, found.device, found.recordings, _cells(found.figures, kept)) for found in chosen]
    heads = [column.heading for column in kept]
    return {"heads": heads, "rows": rows if heads and len({found.state for found in chosen}) > 1 else []}


def _cells(figures: Mapping[str, Interval], wanted: Sequence[Column]) -> list[tuple[str, list[str]]]:
    """Return each figure in words, and its bounds or why it is unknown."""
    found = [(figures.get(column.source, MISSING), column) for column in wanted]
    return [(said(c, value), [below] if (below := bounds(c, value, figures)) else []) for value, c in found]


def _numbered(spots: Sequence[Any]) -> list[tuple[int, Any]]:
    """Return hot spots, which are in order of route and place, with their number on their route, as in the chart."""
    return [
        (number, spot) for _, own in groupby(spots, key=lambda spot: spot.route) for number, spot in enumerate(own, 1)
    ]


def _rows(analysis: Analysis) -> dict[str, Any]:
    """Return a row for every recording found, with remarks; what is said of several recordings is said once for all."""
    names = long_names(analysis)
    said = [_remarks(trace, result) for trace, result in zip(analysis.traces, analysis.results, strict=True)]
    counts = Counter(remark for remarks in said for remark in dict.fromkeys(remarks))
    shared = {remark for remark, count in counts.items() if count >= SAID_ONCE}
    rows = [
        {
            "trace": trace,
            "result": result,
            "ride": names.get(result.ride) or "–",
            "more": [remark for remark in remarks if remark not in shared],
        }
        for trace, result, remarks in zip(analysis.traces, analysis.results, said, strict=True)
    ]
    return {"rows": rows, "shared_remarks": [(remark, counts[remark]) for remark in counts if remark in shared]}


def _remarks(trace: Trace, result: TraceResult) -> list[str]:
    """Plain sentences beside a recording: why it is not scored, gaps, spikes, what was odd in the file."""
    said = [result.reason] if result.reason else []
    if result.gaps:
        longest = max((gap.seconds for gap in result.gaps if np.isfinite(gap.seconds)), default=float("nan"))
        more = f", the longest {wording.seconds(longest)}" if np.isfinite(longest) else ""
        said.append(f"{len(result.gaps)} gap{'s' * (len(result.gaps) > 1)}{more}")
    if result.spikes:
        largest = wording.metres(result.largest_spike_m)
        said.append(f"{result.spikes} spike{'s' * (result.spikes > 1)}, the largest {largest} off")
    said.append(wording.stopped_early(result.ended_early_m))
    return [cell(text) for text in (*said, *trace.notes, trace.log_note) if text]


def _unreadable(lost: Unreadable) -> str:
    return cell(lost.message if lost.message.startswith(lost.file) else f"{lost.file}: {lost.message}")


def _aside(analysis: Analysis) -> list[tuple[str, int, int]]:
    """Reason, points and recordings of all points that were set aside."""
    found: dict[str, list[int]] = {}
    everything: list[Trace | Unreadable] = [*analysis.traces, *analysis.unreadable]
    for group in (group for recording in everything for group in recording.set_aside):
        found.setdefault(group.reason, []).append(group.points)
    return [(reason.replace("_", " "), sum(points), len(points)) for reason, points in sorted(found.items())]

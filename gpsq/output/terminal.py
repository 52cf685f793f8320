"""The few lines a terminal shows: time to first fix and errors per device, and the deviations."""

from __future__ import annotations

from functools import partial
from typing import TYPE_CHECKING

import numpy as np

from gpsq.campaign.flags import CLEAR
from gpsq.output import wording
from gpsq.output.device_figures import figure, overall
from gpsq.output.report.cards import by_event
from gpsq.output.report.sentences import by_way, early, sampling, spikes
from gpsq.output.tables.column import rests_on, said, saying, says_anything
from gpsq.output.tables.columns import shown
from gpsq.output.wording import GAP, cell

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence

    from gpsq.model import Deviation
    from gpsq.output.tables.column import Column
    from gpsq.results import Analysis
    from gpsq.summary_types import DeviceSummary

Row = list[str]
#: The figure that says on how many rides the errors rest.
SCORED = "scored_rides"
#: Shown only where a device has no such time that is measured: the report has both.
WORKED_OUT, MEASURED = "ttff_estimate_median_s", "ttff_median_s"
DEVIATION_HEADS = ["event", "deviation", "recording", "route", "from", "to", "peak", "suggestion", "flag"]


def lines(analysis: Analysis) -> Iterator[str]:
    """Yield the time-to-fix table, the errors per device and a line on the deviations."""
    devices = overall(analysis).values()
    yield "Time to first fix"
    yield from columns(_figures(devices, "fix"))
    yield from _remarks(devices, partial(by_way, analysis=analysis))
    yield ""
    yield "Errors on the road, after settling"
    yield from columns(_figures(devices, "errors"))
    yield from _remarks(devices, sampling, spikes, partial(early, analysis=analysis))
    yield ""
    yield from _deviation_summary(analysis)


def _figures(devices: Iterable[DeviceSummary], part: str) -> list[Row]:
    """Return heads and a row per device: the columns of a part of the report that a terminal has room for."""
    devices = tuple(devices)
    wanted = [c for c in shown(part) if {"terminal", "terminal interval"} & set(c.parts)]
    if not any(map(_is_worked_out_alone, devices)):
        wanted = [c for c in wanted if c.name != WORKED_OUT]
    heads = ["device", "rides", *(c.short_heading for c in wanted)]
    return [heads, *([cell(d.device), _rides(d, part), *(_said(d, c) for c in wanted)] for d in devices)]


def _rides(device: DeviceSummary, part: str) -> str:
    """Return the rides of a device, of errors those that count: "9 of 10"."""
    scored = figure(device, SCORED)
    return f"{scored.value:.0f} of {scored.of}" if part == "errors" and scored.value < scored.of else str(device.rides)


def _is_worked_out_alone(device: DeviceSummary) -> bool:
    known = [np.isfinite(figure(device, name).value) for name in (WORKED_OUT, MEASURED)]
    return known == [True, False]


def _remarks(devices: Iterable[DeviceSummary], *remarks: Callable[[DeviceSummary], str]) -> Iterator[str]:
    """Yield what is said of each device beside its figures."""
    for device in devices:
        for said_of in (remark(device) for remark in remarks):
            if said_of:
                yield f"{cell(device.device)}: {said_of}".replace(GAP, " ")


def _said(device: DeviceSummary, column: Column) -> str:
    """Return a figure with its interval, and what it rests on where that is not all of the device's recordings."""
    found = figure(device, column.source)
    if not says_anything(found):
        return said(column, found)
    counted = figure(device, column.counted)
    inside = wording.between(found, saying(column)) if "terminal interval" in column.parts else ""
    rests = rests_on(column, device.figures) if counted.value < counted.of and column.counted != SCORED else ""
    beside = "; ".join(part for part in (inside, rests) if part)
    return said(column, found) + (f" ({beside})" if beside else "")


def _deviation_summary(analysis: Analysis) -> Iterator[str]:
    count = len(analysis.deviations)
    if not count:
        yield "No deviations from the routes."
        return
    open_ones = sum(not d.flag for d in analysis.deviations)
    yield f"{count} deviation{'s' if count > 1 else ''} from the routes, {open_ones} of them without your decision:"
    yield from deviation_lines(analysis)


def deviation_lines(analysis: Analysis) -> Iterator[str]:
    """Yield a table of all deviations by event, with what is suggested and what was decided."""
    if not analysis.deviations:
        yield "No deviations from the routes."
        return
    rows = [
        [
            d.event if d is own[0] else "",
            d.id,
            _recording(analysis, d.trace),
            wording.way_short(analysis, d.route),
            wording.metres(d.from_m),
            wording.metres(d.to_m),
            f"{wording.metres(d.peak_m)} {d.side}",
            d.suggestion,
            d.flag or "—",
        ]
        for own in by_event(analysis)
        for d in own
    ]
    yield from columns([DEVIATION_HEADS, *rows])


def decision_line(chosen: Mapping[str, Sequence[Deviation]], decision: str) -> str:
    """Return what was decided of which names; a name of an event or a ride says how many deviations it means."""
    counts = {
        name: f" ({len(own)} deviation{'s' * (len(own) > 1)})" for name, own in chosen.items() if own[0].id != name
    }
    said = ", ".join(name + counts.get(name, "") for name in chosen)
    return f"{said}: {'no longer flagged' if decision == CLEAR else decision}"


def _recording(analysis: Analysis, number: int) -> str:
    trace = analysis.traces[number]
    several = any(t.file == trace.file and t.track != trace.track for t in analysis.traces)
    return cell(trace.file) + (f" ({trace.track})" if several else "")


def columns(rows: Sequence[Row]) -> Iterator[str]:
    r"""Yield rows of text as aligned lines, a rule below the first.

    Examples
    --------
    >>> print("\n".join(columns([["a", "bb"], ["ccc", "d"]])))
    a    bb
    ---  --
    ccc  d
    """
    plain = [[text.replace(GAP, " ") for text in row] for row in rows]
    widths = [max(len(row[k]) for row in plain) for k in range(len(plain[0]))]
    for row in [plain[0], ["-" * width for width in widths], *plain[1:]]:
        yield "  ".join(text.ljust(width) for text, width in zip(row, widths, strict=True)).rstrip()

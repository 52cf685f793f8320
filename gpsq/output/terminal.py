"""The few lines a terminal shows: time to first fix and errors per device, and the deviations."""

from __future__ import annotations

from typing import TYPE_CHECKING

from gpsq.campaign.flags import CLEAR
from gpsq.output import wording
from gpsq.output.device_figures import figure, overall
from gpsq.output.report.cards import by_event
from gpsq.output.report.findings import waiting
from gpsq.output.wording import GAP, cell

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence

    from gpsq.model import Deviation
    from gpsq.results import Analysis, DeviceSummary

Row = list[str]
FIX_HEADS = ["device", "rides", "median time to first fix", "fixed in 30 s", "road missed, median", "of the route"]
ERROR_HEADS = ["device", "rides", "cross-track RMS", "95 % of road within", "repeatability", "Fréchet, median"]
DEVIATION_HEADS = ["event", "deviation", "recording", "route", "from", "to", "peak", "suggestion", "flag"]


def lines(analysis: Analysis) -> Iterator[str]:
    """Yield the time-to-fix table, the errors per device and a line on the deviations."""
    devices = overall(analysis).values()
    yield "Time to first fix"
    yield from columns([FIX_HEADS, *(_fix_row(d) for d in devices)])
    yield ""
    yield "Errors on the road, after settling"
    yield from columns([ERROR_HEADS, *(_error_row(d) for d in devices)])
    yield from _waiting_lines(devices)
    yield ""
    yield from _deviation_summary(analysis)


def _fix_row(device: DeviceSummary) -> Row:
    return [
        cell(device.device),
        str(device.rides),
        _said(device, "ttff_median_s", wording.seconds),
        _said(device, "fixed_in_30s", wording.share),
        _said(device, "missed_median_m", wording.metres, bounds=False),
        _said(device, "missed_share_median", wording.share, bounds=False),
    ]


def _error_row(device: DeviceSummary) -> Row:
    return [
        cell(device.device),
        str(device.rides),
        _said(device, "xte_rms_m", wording.metres),
        _said(device, "xte_p95_m", wording.metres, bounds=False),
        _said(device, "repeatability_m", wording.metres),
        _said(device, "frechet_median_m", wording.metres, bounds=False),
    ]


def _waiting_lines(devices: Iterable[DeviceSummary]) -> Iterator[str]:
    """Say which of the figures rest on deviations that wait for a decision: one detour can outweigh all else."""
    for name, what in (("xte_rms_m", "cross-track RMS"), ("repeatability_m", "repeatability")):
        for device in devices:
            if said := waiting(device, name):
                value = wording.metres(figure(device, name).value)
                yield f"{cell(device.device)}: {what} {value}; {said}".replace(GAP, " ")


def _said(device: DeviceSummary, name: str, say: Callable[[float], str], *, bounds: bool = True) -> str:
    found = figure(device, name)
    inside = wording.between(found, say) if bounds else ""
    return say(found.value) + (f" ({inside})" if inside else "")


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
            d.route,
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

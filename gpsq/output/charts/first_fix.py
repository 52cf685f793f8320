"""The picture of the start: how long each ride waited for its first fix, a row for each device and way."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import groupby
from typing import TYPE_CHECKING

import numpy as np

from gpsq.output import headlines, wording
from gpsq.output.device_figures import figure, overall
from gpsq.output.drawing.flags import CLOTH_IN, LEVEL_IN, draw_cloth, flag_text, flag_width_in
from gpsq.output.drawing.labels import two_stairs
from gpsq.output.drawing.looks import Look, device_looks
from gpsq.output.drawing.margin import of_all, write_margin
from gpsq.output.drawing.plot import Plot, swarm
from gpsq.output.drawing.rendering import Drawing
from gpsq.output.drawing.route_parts import device_summaries
from gpsq.output.drawing.sheet import (
    INK,
    LEAF,
    POINTS_PER_INCH,
    RULE,
    SMALL_PT,
    SOFT,
    TITLE_PT,
    TYPE_PT,
    Box,
    text_width_in,
)
from gpsq.output.ride_days import short_names

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from gpsq.model import FirstFix
    from gpsq.output.drawing.sheet import Sheet
    from gpsq.results import Analysis
    from gpsq.summary_types import DeviceSummary

#: More rows than this cannot be read at the size of a slide.
MOST_ROWS = {True: 10, False: 7}
TIMES_S = {True: (1, 2, 5, 10, 20, 30, 60, 120, 300, 600, 1800, 3600), False: (1, 3, 10, 30, 120, 600, 3600)}
MARK_PT = 8.0
#: Bars are no thicker than this; lanes lower than that bear no text.
MOST_BAR_IN, LEAST_LANE_IN = 0.14, 0.16
#: More flags than this in a row are marks alone.
MOST_FLAGS = 12
LEAST_FLAGS_IN = 0.5
KEY = "A mark for each ride; hollow with a line: at least this long. Upright bar: median."
KEY_INTERVAL = " Grey: its interval."
KEY_ESTIMATE = " Bar: worked out, from the least to the most; the start is not recorded."
AXIS = {
    True: "from the start of the recording to its first fix; the axis is logarithmic",
    False: "start to first fix; logarithmic axis",
}


@dataclass(frozen=True, eq=False)
class Row:
    """The rides of one device on one way, and its figures there."""

    device: str
    route: str
    days: tuple[str, ...]
    fixes: tuple[FirstFix, ...]
    summary: DeviceSummary | None

    @property
    def said(self) -> str:
        """How many came soon, and the median."""
        count, of = headlines.quick_count(self.fixes)
        unknown = sum(not np.isfinite(_drawn_s(fix)) for fix in self.fixes)
        middle = figure(self.summary, "ttff_median_s").value
        worked_out = sum(_is_estimate(fix) for fix in self.fixes)
        parts = [f"{count} of {of} in {wording.seconds(headlines.QUICK_S)}"] if of else []
        parts += [f"median {wording.seconds(middle)}"] if np.isfinite(middle) else []
        parts += [f"{worked_out} worked out"] if worked_out else []
        parts += [f"{unknown} unknown"] if unknown else []
        return ", ".join(parts)

    @property
    def said_briefly(self) -> str:
        """How many came soon, on which way."""
        count, of = headlines.quick_count(self.fixes)
        worked_out = sum(map(_is_estimate, self.fixes))
        said = f"{count} of {of}" if of else f"{worked_out} worked out" if worked_out else "unknown"
        return f"{wording.short(self.route, 16)} {said}"


def first_fix(analysis: Analysis) -> Drawing | None:
    """Return the picture of times to first fix; None where no start is known."""
    rows = _rows(analysis)
    if not rows:
        return None
    looks, summaries = device_looks(analysis), overall(analysis)
    fixes: dict[str, list[FirstFix]] = {}
    for row in rows:
        fixes.setdefault(row.device, []).extend(row.fixes)
    title = headlines.capital(headlines.of_devices(fixes)) or _worked_out(fixes, summaries)
    finding = " ".join(f"{wording.short(name)}: {_said(summaries.get(name), own)}." for name, own in fixes.items())

    def draw(sheet: Sheet) -> None:
        shown = rows[: MOST_ROWS[sheet.wide]]
        low = write_margin(sheet, analysis, of_all(analysis))
        most_in = sheet.width_in - 0.4
        y = sheet.paragraph(
            0.2, sheet.height_in - 0.36, title, most_in, lines=3, size_pt=TITLE_PT if sheet.wide else 13.0, bold=True
        )
        more = f" {len(rows) - len(shown)} more rows in the table." if len(rows) > len(shown) else ""
        key = (
            KEY
            + (KEY_ESTIMATE if any(map(_is_estimate, (fix for r in shown for fix in r.fixes))) else "")
            + (KEY_INTERVAL if any(np.isfinite(figure(r.summary, "ttff_median_s").low) for r in shown) else "")
            + more
        )
        y = sheet.paragraph(0.2, y - 0.24, key, most_in, lines=3, size_pt=SMALL_PT, colour=SOFT)
        _draw_rows(sheet, shown, looks, Box(0.3, low + 0.5, sheet.width_in - 0.3, y - 0.1))

    return Drawing("first-fix", title, finding, draw)


def _rows(analysis: Analysis) -> list[Row]:
    """Return devices and ways of which any time is known."""
    groups: dict[tuple[str, str], list[int]] = {}
    for i, (trace, result) in enumerate(zip(analysis.traces, analysis.results, strict=True)):
        if not result.duplicate_of:
            groups.setdefault((trace.device, result.route), []).append(i)
    summaries = {(s.device, s.route): s for s in device_summaries(analysis) if s.route}
    found = []
    for (device, route), numbers in sorted(groups.items()):
        rides = [analysis.results[i].ride for i in numbers]
        days = short_names(analysis, rides)
        fixes = tuple(analysis.results[i].first_fix for i in numbers)
        row = Row(device, route, tuple(days.get(r, "") for r in rides), fixes, summaries.get((device, route)))
        if any(np.isfinite(_drawn_s(fix)) for fix in fixes):
            found.append(row)
    return found


def _drawn_s(fix: FirstFix) -> float:
    """Where a recording stands on the axis: its time to fix, else the time it certainly took, else the one worked out."""
    known = [s for s in (fix.seconds, fix.at_least_s, fix.estimate_s) if np.isfinite(s)]
    return max(1.0, known[0]) if known else float("nan")


def _is_estimate(fix: FirstFix) -> bool:
    return bool(np.isfinite(fix.estimate_s) and not np.isfinite([fix.seconds, fix.at_least_s]).any())


def _said(summary: DeviceSummary | None, found: Sequence[FirstFix]) -> str:
    middle, with_estimates = figure(summary, "ttff_median_s"), figure(summary, "ttff_estimate_median_s")
    if not np.isfinite(middle.value) and np.isfinite(with_estimates.value):
        bounds = wording.between(with_estimates)
        about = f"median about {wording.seconds(with_estimates.value)}{f' ({bounds})' if bounds else ''}"
        return f"{about}, worked out; no start is recorded"
    said = [f"median {wording.seconds(middle.value)}" if np.isfinite(middle.value) else "median unknown"]
    if bounds := wording.between(middle):
        said[0] += f" ({bounds})"
    if never := sum(fix.censored for fix in found):
        said.append(f"{never} never fixed")
    if unknown := sum(not np.isfinite(_drawn_s(fix)) for fix in found):
        said.append(f"{unknown} with unknown start")
    return ", ".join(said)


def _worked_out(fixes: Mapping[str, Sequence[FirstFix]], summaries: Mapping[str, DeviceSummary]) -> str:
    """Return the finding where no start is recorded: the medians that are worked out."""
    medians = {name: figure(summaries.get(name), "ttff_estimate_median_s").value for name in fixes}
    said = headlines.least_and_most(medians, wording.seconds)
    return f"First fix after about {said} in the median, worked out" if said else "How long each ride waited for a fix"


def _draw_rows(sheet: Sheet, rows: Sequence[Row], looks: dict[str, Look], area: Box) -> None:
    times = [_drawn_s(fix) for row in rows for fix in row.fixes]
    times += [fix.estimate_high_s for row in rows for fix in row.fixes]
    high = max(10.0, *(s for s in times if np.isfinite(s))) * 1.35
    plot = Plot(sheet, area, (0.9, high), log=True)
    ticks = [t for t in TIMES_S[sheet.wide] if t <= high]
    labels = [("≤ " if t == 1 else "") + wording.seconds(t).removesuffix(f" 0{wording.GAP}min") for t in ticks]
    plot.x_axis(ticks, labels, AXIS[sheet.wide])
    strips = (
        [[row] for row in rows] if sheet.wide else [list(own) for _, own in groupby(rows, key=lambda row: row.device)]
    )
    top = area.top
    for own in strips:
        high_in = area.height * len(own) / len(rows)
        _draw_strip(plot, own, Box(area.left, top - high_in, area.right, top), looks[own[0].device])
        top -= high_in


def _draw_strip(plot: Plot, own: Sequence[Row], strip: Box, look: Look) -> None:
    """One device: its name and figures in words, and below them its marks, each way on a level of its own."""
    sheet, top = plot.sheet, strip.top - 0.16
    sheet.block(Box(strip.left, strip.top - 0.2, strip.right, strip.top - 0.015), LEAF)
    ways = " above ".join(wording.short(row.route, 12) for row in own if row.route)
    name = wording.short(own[0].device, 22) + (f", {ways}" if ways else "")
    said = own[0].said if len(own) == 1 else "; ".join(row.said_briefly for row in own)
    said_in = text_width_in(said, SMALL_PT)
    beside = said_in < 0.62 * strip.width
    most_in = strip.width - (said_in + 0.1 if beside else 0.0)
    sheet.write(strip.left, top, name, size_pt=TYPE_PT if sheet.wide else SMALL_PT, bold=True, most_in=most_in)
    if beside:
        sheet.write(strip.right, top, said, size_pt=SMALL_PT, anchor="end")
    high = (top - 0.05 - strip.bottom - 0.02) / len(own)
    for i, row in enumerate(own):
        room = Box(strip.left, top - 0.05 - (i + 1) * high, strip.right, top - 0.05 - i * high)
        _draw_interval(plot, row.summary, room)
        if any(map(_is_estimate, row.fixes)):
            _draw_lanes(plot, row, room, look)
        else:
            _draw_marks(plot, row, room, look)
    sheet.line([(strip.left, strip.bottom), (strip.right, strip.bottom)], RULE, 0.8)


def _draw_interval(plot: Plot, summary: DeviceSummary | None, room: Box) -> None:
    middle = figure(summary, "ttff_median_s")
    if not np.isfinite(middle.value):
        return
    if np.isfinite(middle.low):
        high = middle.high if np.isfinite(middle.high) else plot.x[1]
        left, right = plot.x_in(np.array([max(0.9, middle.low), high])).tolist()
        plot.sheet.block(Box(left, room.bottom, right, room.top), INK, alpha=0.10)
    at = float(plot.x_in(max(0.9, middle.value)))
    plot.sheet.line([(at, room.bottom), (at, room.top)], INK, 2.2)


def _draw_lanes(plot: Plot, row: Row, room: Box, look: Look) -> None:
    """Draw a lane for each ride, in order: a bar for a time that is worked out, a mark for one that is measured."""
    drawn = [i for i, fix in enumerate(row.fixes) if np.isfinite(_drawn_s(fix))]
    high = room.height / len(drawn)
    size_pt = min(MARK_PT, 0.7 * high * POINTS_PER_INCH)
    for lane, i in enumerate(drawn):
        fix, y = row.fixes[i], room.top - (lane + 0.5) * high
        begin = end = float(plot.x_in(_drawn_s(fix)))
        if _is_estimate(fix):
            begin, end = _draw_bar(plot, fix, y, min(MOST_BAR_IN, 0.6 * high), look)
        else:
            _draw_mark(plot, fix, end, y, room.right, look, size_pt)
        if high >= LEAST_LANE_IN:
            _write_beside(plot, f"{row.days[i]} {flag_text(fix)}", begin, end, y, room)


def _write_beside(plot: Plot, said: str, begin: float, end: float, y: float, room: Box) -> None:
    """Write what a lane shows after its bar, or before it where there is no room after it."""
    text_y = y - 0.36 * SMALL_PT / POINTS_PER_INCH
    if end + 0.1 + text_width_in(said, SMALL_PT) < room.right:
        plot.sheet.write(end + 0.1, text_y, said, size_pt=SMALL_PT)
    else:
        plot.sheet.write(begin - 0.1, text_y, said, size_pt=SMALL_PT, anchor="end")


def _draw_bar(plot: Plot, fix: FirstFix, y: float, thick_in: float, look: Look) -> tuple[float, float]:
    """Draw a time that is worked out, from its lower to its upper bound with a notch at it; return where the bar lies."""
    high_s = min(fix.estimate_high_s, plot.x[1])
    left, at, right = plot.x_in(np.maximum(1.0, [fix.estimate_low_s, fix.estimate_s, high_s])).tolist()
    plot.sheet.block(Box(left, y - thick_in / 2, right, y + thick_in / 2), look.colour, alpha=0.35)
    plot.sheet.line([(at, y - 0.8 * thick_in), (at, y + 0.8 * thick_in)], look.colour, 2.0)
    return float(left), float(right)


def _draw_marks(plot: Plot, row: Row, room: Box, look: Look) -> None:
    """Draw a mark for each ride, none over another; with its day on a flag where there is room for all of them."""
    times = np.array([_drawn_s(fix) for fix in row.fixes])
    drawn = np.flatnonzero(np.isfinite(times))
    x = plot.x_in(times[drawn])
    said = [f"{row.days[i]} {flag_text(row.fixes[i])}" for i in drawn]
    widths = np.array([flag_width_in(text, SMALL_PT) for text in said])
    most = max(1, int((room.height - 0.3) / LEVEL_IN))
    levels, to_left = two_stairs(x, widths, most, (0.1, plot.sheet.width_in - 0.1))
    if len(drawn) <= MOST_FLAGS and (levels >= 0).all() and room.height > LEAST_FLAGS_IN:
        for i in np.argsort(-levels):
            base = room.bottom + 0.24 + int(levels[i]) * LEVEL_IN
            left = float(x[i] - widths[i] * to_left[i])
            plot.sheet.line([(x[i], room.bottom + 0.1), (x[i], base + CLOTH_IN)], look.colour, 1.1)
            cloth = Box(left, base, left + float(widths[i]), base + CLOTH_IN)
            draw_cloth(plot.sheet, cloth, look.colour, said[i], SMALL_PT, to_left=bool(to_left[i]))
        heights, size_pt = np.full(len(drawn), room.bottom + 0.1), MARK_PT
    else:
        size_pt = min(MARK_PT, max(5.0, room.height * POINTS_PER_INCH / 2.5))
        swarmed = swarm(x, size_pt / POINTS_PER_INCH + 0.02)
        step = min(
            0.14, (room.height - size_pt / POINTS_PER_INCH) / (2 * float(np.abs(swarmed).max(initial=0.0)) or 1.0)
        )
        heights = (room.bottom + room.top) / 2 + swarmed * step
    for place, y, i in zip(x, heights, drawn, strict=True):
        _draw_mark(plot, row.fixes[i], float(place), float(y), room.right, look, size_pt)


def _draw_mark(plot: Plot, fix: FirstFix, x: float, y: float, right: float, look: Look, size_pt: float) -> None:
    """Draw a time that is measured; hollow, with a line to the right, where it is known only to be longer."""
    known = bool(np.isfinite(fix.seconds))
    if not known:
        plot.sheet.line([(x, y), (right, y)], look.colour, 1.4, dashes_pt=(1.5, 2.0))
    plot.sheet.mark(look.mark, x, y, size_pt, look.colour if known else LEAF, LEAF if known else look.colour)

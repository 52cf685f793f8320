"""The picture of what was missed: one road for each way, and on it a bar for each ride up to its first fix."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from gpsq.output import headlines, wording
from gpsq.output.device_figures import figure, overall
from gpsq.output.drawing.looks import Look, device_looks
from gpsq.output.drawing.margin import of_all, write_margin
from gpsq.output.drawing.plot import Plot, tick_text, whole_ticks
from gpsq.output.drawing.rendering import Drawing
from gpsq.output.drawing.sheet import INK, LEAF, POINTS_PER_INCH, RULE, SMALL_PT, SOFT, TITLE_PT, TYPE_PT, Box
from gpsq.output.ride_days import short_names
from gpsq.output.tables.column import says_anything
from gpsq.summaries.devices.first_fixes import median_is_bound

if TYPE_CHECKING:
    from collections.abc import Sequence

    from gpsq.output.drawing.sheet import Sheet
    from gpsq.results import Analysis, RouteResult

#: A road is drawn this many times as long as the median miss, and this long at least; longer misses run out of it.
REACH_FACTOR, LEAST_REACH_M = 4.0, 20.0
MOST_ROADS = {True: 4, False: 2}
#: Rows are no lower than this, so that their text can be read.
LEAST_ROW_IN = 0.17
KEY = "Ridden before the first fix, along the road; ≥: at least; what runs out of the picture was longer."
KEY_BOUNDS = " Thin line: as far as the place of the start is known."


@dataclass(frozen=True)
class Miss:
    """What one recording missed, with its bounds; `fixed` is False for one that never was."""

    device: str
    day: str
    missed_m: float
    at_least: bool
    fixed: bool
    low_m: float = float("nan")
    high_m: float = float("nan")

    @property
    def said(self) -> str:
        """The metres, and that they are a lower bound; or that there was no fix."""
        if not self.fixed:
            return "never fixed"
        return (f"≥{wording.GAP}" if self.at_least else "") + wording.metres(self.missed_m)


def missed(analysis: Analysis) -> Drawing | None:
    """Return the picture; None where nothing is known to be missed."""
    roads = [(found, own) for found in analysis.routes if (own := _misses(analysis, found))]
    if not roads:
        return None
    looks, summaries = device_looks(analysis), overall(analysis)
    names = list(dict.fromkeys(miss.device for _, own in roads for miss in own))
    found = {name: figure(summaries.get(name), "missed_median_m") for name in sorted(names)}
    medians = {name: own.value if says_anything(own) else float("nan") for name, own in found.items()}
    bound = {name for name, own in found.items() if own.at_least and says_anything(own)}
    least = "at least " if bound else ""
    said = headlines.least_and_most(medians)
    title = f"Road lost before the first fix: {least}{said} in the median" if said else "Road lost before the first fix"
    finding = " ".join(
        f"{wording.short(name)}: median {'at least ' if name in bound else ''}{wording.metres(value)} missed."
        for name, value in medians.items()
        if np.isfinite(value)
    )

    def draw(sheet: Sheet) -> None:
        low, most_in = write_margin(sheet, analysis, of_all(analysis)), sheet.width_in - 0.4
        y = sheet.paragraph(
            0.2, sheet.height_in - 0.36, title, most_in, lines=3, size_pt=TITLE_PT if sheet.wide else 13.0, bold=True
        )
        shown = roads[: MOST_ROADS[sheet.wide]]
        more = f" {len(roads) - len(shown)} more ways in the table." if len(roads) > len(shown) else ""
        bounds = KEY_BOUNDS if sheet.wide and any(np.isfinite(m.low_m) for _, own in shown for m in own) else ""
        y = sheet.paragraph(0.2, y - 0.24, KEY + bounds + more, most_in, lines=3, size_pt=SMALL_PT, colour=SOFT)
        if len(medians) > 1 and sheet.wide:
            y = sheet.legend({name: looks[name] for name in medians}, y - 0.26, marks=True)
        _draw_roads(sheet, shown, looks, Box(0.2, low + 0.05, sheet.width_in - 0.2, y - 0.1))

    return Drawing("missed", title, finding, draw)


def _misses(analysis: Analysis, found: RouteResult) -> list[Miss]:
    """Return what each recording of a way missed, by device and ride."""
    name = found.route.name
    numbers = [
        i for i, result in enumerate(analysis.results)
        if result.route == name and not result.duplicate_of and np.isfinite(result.first_fix.missed_m)
    ]  # fmt: skip
    days = short_names(analysis, [analysis.results[i].ride for i in numbers])
    misses = []
    for i in numbers:
        fix, ride = analysis.results[i].first_fix, analysis.results[i].ride
        misses.append(
            Miss(
                analysis.traces[i].device,
                days.get(ride, ""),
                fix.missed_m,
                fix.missed_is_minimum,
                not fix.censored,
                fix.missed_low_m,
                fix.missed_high_m,
            )
        )
    return sorted(misses, key=lambda miss: miss.device)


def _draw_roads(
    sheet: Sheet, roads: Sequence[tuple[RouteResult, list[Miss]]], looks: dict[str, Look], area: Box
) -> None:
    """Two side by side on the wide sheet, all one below the other on the square one."""
    columns = min(len(roads), 2) if sheet.wide else 1
    apart = 0.3 if sheet.wide else 0.0
    wide, high = (area.width + apart) / columns, area.height / -(-len(roads) // columns)
    for i, (found, own) in enumerate(roads):
        row, column = divmod(i, columns)
        left, top = area.left + column * wide, area.top - row * high
        _draw_road(sheet, found, own, looks, Box(left, top - high, left + wide - apart, top))


def _draw_road(sheet: Sheet, found: RouteResult, own: Sequence[Miss], looks: dict[str, Look], box: Box) -> None:
    line = found.centreline
    long = f", {wording.metres(line.length_m)}" if line is not None else ""
    sheet.write(
        box.left,
        box.top - 0.18,
        f"Route {wording.short(found.route.name, 28)}{long}",
        size_pt=TYPE_PT,
        bold=True,
        most_in=box.width,
    )
    near = np.array([miss.missed_m for miss in own])
    reach_m = max(LEAST_REACH_M, REACH_FACTOR * float(np.median(near)))
    reach_m = max(LEAST_REACH_M, 1.02 * float(near[near <= reach_m].max(initial=0.0)))
    rows = Box(box.left, box.bottom + 0.42, box.right, box.top - 0.27)
    devices = {miss.device for miss in own}
    each = rows.height / len(own) >= LEAST_ROW_IN and (sheet.wide or len(devices) == 1)
    names_in = 0.85 if each else 1.15
    plot = Plot(
        sheet, Box(rows.left + names_in, rows.bottom, rows.right - (1.05 if each else 0.75), rows.top), (0.0, reach_m)
    )
    ticks = whole_ticks(0.0, reach_m, 4)
    plot.x_axis(ticks, ["start" if t == 0 else tick_text(t) for t in ticks], "metres along the road")
    if each:
        _draw_bars(plot, own, looks, rows)
    else:
        _draw_devices(plot, own, looks, rows)


def _draw_bars(plot: Plot, own: Sequence[Miss], looks: dict[str, Look], rows: Box) -> None:
    """Draw a row for each recording: day, bar, metres."""
    high = min(0.6, rows.height / len(own))
    for i, miss in enumerate(own):
        middle = rows.top - (i + 0.5) * high
        text = middle - 0.36 * SMALL_PT / POINTS_PER_INCH
        if len(looks) > 1:
            plot.sheet.mark(looks[miss.device].mark, rows.left + 0.07, middle, 6.5, looks[miss.device].colour)
        plot.sheet.write(rows.left + 0.17, text, miss.day, size_pt=SMALL_PT, most_in=0.64)
        end = _bar(plot, miss, middle, min(0.24, 0.6 * high), looks[miss.device].colour)
        plot.sheet.write(end + 0.07, text, miss.said, size_pt=SMALL_PT, most_in=plot.sheet.width_in - end - 0.1)


def _bar(plot: Plot, miss: Miss, middle: float, thick: float, colour: str) -> float:
    """Draw a bar from the start to the first fix, cut where it runs out of the picture; return where it ends."""
    start, end = float(plot.x_in(0.0)), float(plot.x_in(miss.missed_m))
    if end > start:
        plot.sheet.block(Box(start, middle - thick / 2, end, middle + thick / 2), colour)
    if np.isfinite(miss.low_m + miss.high_m):
        low, high = plot.x_in(np.minimum([miss.low_m, miss.high_m], plot.x[1])).tolist()
        plot.sheet.line([(low, middle), (high, middle)], INK, 1.0)
        end = max(end, float(high))
    if miss.missed_m > plot.x[1]:
        cut = end - 0.22
        shape = [
            (cut, middle - thick),
            (cut + 0.07, middle - thick),
            (cut + 0.11, middle + thick),
            (cut + 0.04, middle + thick),
        ]
        plot.sheet.area(shape, LEAF)
    return end


def _draw_devices(plot: Plot, own: Sequence[Miss], looks: dict[str, Look], rows: Box) -> None:
    """Draw a row for each device: a tick for each recording, and the median in words."""
    names = list(dict.fromkeys(miss.device for miss in own))
    most = max(1, int(rows.height / LEAST_ROW_IN))
    shown = names if len(names) <= most else names[: most - 1]
    high = min(0.5, rows.height / min(len(names), most))
    if len(names) > len(shown):
        low = rows.top - (len(shown) + 0.5) * high - 0.36 * SMALL_PT / POINTS_PER_INCH
        plot.sheet.write(rows.left, low, f"{len(names) - len(shown)} more in the table", size_pt=SMALL_PT, colour=SOFT)
    for i, name in enumerate(shown):
        middle, text = rows.top - (i + 0.5) * high, rows.top - (i + 0.5) * high - 0.36 * SMALL_PT / POINTS_PER_INCH
        values = np.array([miss.missed_m for miss in own if miss.device == name])
        least = np.array([miss.at_least for miss in own if miss.device == name])
        plot.sheet.write(rows.left, text, name, size_pt=SMALL_PT, most_in=1.08)
        plot.sheet.line([(plot.box.left, middle), (plot.box.right, middle)], RULE, 0.8)
        for at in plot.x_in(values):
            plot.sheet.line(
                [(at, middle - 0.32 * high), (at, middle + 0.32 * high)], looks[name].colour, 1.4, alpha=0.55
            )
        median = float(np.median(values))
        at = float(plot.x_in(median))
        plot.sheet.line([(at, middle - 0.42 * high), (at, middle + 0.42 * high)], INK, 2.2)
        said = (f"≥{wording.GAP}" if median_is_bound(values, least) else "") + wording.metres(median)
        plot.sheet.write(plot.box.right + 0.08, text, said, size_pt=SMALL_PT)

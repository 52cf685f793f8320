"""Pictures of the cross-track error: where on the road it grows, and how it is distributed, per device."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np

from gpsq.output import headlines, wording
from gpsq.output.device_figures import figure, overall
from gpsq.output.drawing.looks import Look, device_looks
from gpsq.output.drawing.margin import of_all, write_margin
from gpsq.output.drawing.plot import Plot, tick_text, whole_ticks
from gpsq.output.drawing.rendering import Drawing
from gpsq.output.drawing.route_parts import hot_spots
from gpsq.output.drawing.sheet import (
    INK,
    LEAF,
    SMALL_PT,
    SOFT,
    TITLE_PT,
    TYPE_PT,
    Box,
    dashes,
    text_width_in,
)

if TYPE_CHECKING:
    from collections.abc import Sequence

    from gpsq.model import Centreline, CrossTrack, FloatArray
    from gpsq.output.drawing.sheet import Sheet
    from gpsq.results import Analysis, RouteResult

MOST_ROUTES = {True: 3, False: 2}
#: The route is drawn in at most this many stretches; a finer line could not be told from noise at this width.
MOST_BINS = 160
#: Quantiles of the distribution that are drawn; the last hundredth rests on single places.
QUANTILES = np.linspace(0.0, 0.99, 100)
KEY_ALONG = (
    "Line: median offset of a device, left of travel up. Grey band: usual spread. Grey block: where most scatter is."
)
KEY_SHARE = (
    "Higher is better: more of the road within that distance of the centreline, which is made without the ride judged."
)
#: Added where ends are cut: what is told of a device is of all it recorded.
OF_THE_WHOLE = " Marks: of the whole road; curves: of the part shown."

Offsets = dict[str, list["CrossTrack"]]


def along(analysis: Analysis) -> Drawing | None:
    """Return each device's median cross-track error along each route, over the spread band of all."""
    panels = [
        (found, found.centreline, offsets)
        for found in analysis.routes
        if (offsets := _offsets(analysis, found)) and found.centreline
    ]
    if not panels:
        return None
    panels.sort(key=lambda panel: -sum(map(len, panel[2].values())))
    looks = device_looks(analysis)
    finding = " ".join(_said_of_route(analysis, found) for found, *_ in panels)
    title = _title_along(analysis)

    def draw(sheet: Sheet) -> None:
        low, y = _head(sheet, analysis, title, KEY_ALONG)
        chosen = panels[: MOST_ROUTES[sheet.wide]]
        named = {name: looks[name] for name in sorted({name for *_, offsets in chosen for name in offsets})}
        top = sheet.legend(named, y - 0.26, size_pt=TYPE_PT if sheet.wide else SMALL_PT) - 0.08
        height = (top - low - 0.36) / len(chosen)
        for i, (found, line, offsets) in enumerate(chosen):
            bottom = top - (i + 1) * height
            plot_box = Box(0.62, bottom + 0.2, sheet.width_in - 0.25, bottom + height - 0.24)
            name = f"Route {found.route.name}"
            said = sheet.write(
                0.2, bottom + height - 0.19, name, bold=True, size_pt=SMALL_PT, most_in=0.4 * sheet.width_in
            )
            plot = _profile(sheet, plot_box, line, _spots(analysis, found), offsets, looks, last=i == len(chosen) - 1)
            _name_spots(plot, _spots(analysis, found), said.right)

    return Drawing("error-along-route", title, finding, draw)


def _head(sheet: Sheet, analysis: Analysis, title: str, key: str) -> tuple[float, float]:
    """Write margin, title and key; return between which heights the sheet is free."""
    low, most_in = write_margin(sheet, analysis, of_all(analysis)), sheet.width_in - 0.4
    size_pt = TITLE_PT if sheet.wide else 13.0
    y = sheet.paragraph(0.2, sheet.height_in - 0.36, title, most_in, lines=3, size_pt=size_pt, bold=True)
    return low, sheet.paragraph(0.2, y - 0.24, key, most_in, lines=3, size_pt=SMALL_PT, colour=SOFT)


def _title_along(analysis: Analysis) -> str:
    spots = sorted(hot_spots(analysis), key=lambda spot: -spot.spread_m)
    if not spots:
        return "No place on the road stands out by more than chance"
    worst = spots[0]
    where = f"{_km(worst.from_m)} to {_km(worst.to_m)}{wording.GAP}km"
    return f"Recordings scatter most at {where} of route {wording.short(worst.route, 20)}: spread {wording.metres(worst.spread_m)}"


def _km(metres: float) -> str:
    return f"{metres / 1000:.2f}"


def _offsets(analysis: Analysis, found: RouteResult) -> Offsets:
    offsets: Offsets = {}
    for i in found.route.members:
        errors = analysis.results[i].crosstrack
        if errors is not None and errors.scored.any():
            offsets.setdefault(analysis.traces[i].device, []).append(errors)
    return offsets


def _said_of_route(analysis: Analysis, found: RouteResult) -> str:
    spots = _spots(analysis, found)
    if not spots:
        return f"Route {wording.short(found.route.name)}: no place stands out."
    places = ", ".join(f"{wording.metres(s.from_m)} to {wording.metres(s.to_m)}" for s in spots)
    return f"Route {wording.short(found.route.name)}: recordings scatter most at {places}."


def _profile(
    sheet: Sheet,
    box: Box,
    line: Centreline,
    spots: Sequence[Any],
    offsets: Offsets,
    looks: dict[str, Look],
    *,
    last: bool,
) -> Plot:
    """Draw the offsets of the devices along a route, over the spread of all recordings."""
    edges = np.linspace(line.along_m[0], line.along_m[-1], min(MOST_BINS, len(line.along_m)) + 1)
    middle_km = (edges[1:] + edges[:-1]) / 2000.0
    spread = _binned_median(line.along_m, line.spread_m, edges)
    own = {name: _median_of(errors, edges) for name, errors in offsets.items()}
    plot = Plot(sheet, box, (edges[0] / 1000, edges[-1] / 1000), _limits([spread, *own.values()]))
    for spot in spots:
        left, right = plot.x_in(np.array([spot.from_m, spot.to_m]) / 1000).tolist()
        sheet.block(Box(left, box.bottom, right, box.top), INK, alpha=0.10)
    known = np.isfinite(spread)
    upper, lower = plot.place(middle_km[known], spread[known]), plot.place(middle_km[known], -spread[known])
    sheet.area(np.vstack([upper, lower[::-1]]), INK, alpha=0.12)
    levels = whole_ticks(*plot.y, about=4)
    plot.y_axis(levels, [f"{tick_text(level)}{wording.GAP}m" for level in levels])
    for name, values in own.items():
        for part in _runs(values):
            sheet.line(
                plot.place(middle_km[part], values[part]), looks[name].colour, 1.8, dashes_pt=dashes(looks[name])
            )
    ticks = whole_ticks(*plot.x, about=6)
    plot.x_axis(ticks, [tick_text(tick) for tick in ticks], "kilometres along the road" if last else "", rules=False)
    return plot


def _spots(analysis: Analysis, found: RouteResult) -> list[Any]:
    return [spot for spot in hot_spots(analysis) if spot.route == found.route.name]


def _median_of(errors: Sequence[CrossTrack], edges: FloatArray) -> FloatArray:
    along_m = np.concatenate([e.along_m[e.scored] for e in errors])
    return _binned_median(along_m, np.concatenate([e.offset_m[e.scored] for e in errors]), edges)


def _limits(curves: Sequence[FloatArray]) -> tuple[float, float]:
    """Return limits either way that nearly all values are within."""
    size = np.abs(np.concatenate(curves))
    limit = float(np.nanquantile(size, 0.995)) if np.isfinite(size).any() else 1.0
    limit = max(2.0, 1.25 * limit)
    return -limit, limit


def _runs(values: FloatArray) -> list[np.ndarray[tuple[int], np.dtype[np.int64]]]:
    """Return the numbers of each unbroken stretch of known values."""
    known = np.flatnonzero(np.isfinite(values))
    return np.split(known, np.flatnonzero(np.diff(known) > 1) + 1) if len(known) else []


def _name_spots(plot: Plot, spots: Sequence[Any], free: float) -> None:
    """Write the spread at the places of most scatter above them, where it finds room right of `free`."""
    for spot in spots:
        said = wording.metres(spot.spread_m)
        at = float(plot.x_in((spot.from_m + spot.to_m) / 2000))
        half = text_width_in(said, SMALL_PT, bold=True) / 2
        if at - half > free + 0.08 and at + half < plot.sheet.width_in - 0.1:
            plot.sheet.write(at, plot.box.top + 0.05, said, size_pt=SMALL_PT, bold=True, anchor="middle")
            free = at + half


def _binned_median(along_m: FloatArray, value: FloatArray, edges: FloatArray) -> FloatArray:
    """Median of the values in each stretch, nan where there is none."""
    known = np.isfinite(value) & (along_m >= edges[0]) & (along_m <= edges[-1])
    which = np.minimum(np.searchsorted(edges, along_m[known], side="right") - 1, len(edges) - 2)
    order = np.lexsort((value[known], which))
    groups, sorted_values = which[order], value[known][order]
    start = np.searchsorted(groups, np.arange(len(edges) - 1))
    count = np.searchsorted(groups, np.arange(len(edges) - 1), side="right") - start
    median = np.full(len(edges) - 1, np.nan)
    some = count > 0
    low, high = start[some] + (count[some] - 1) // 2, start[some] + count[some] // 2
    median[some] = (sorted_values[low] + sorted_values[high]) / 2
    return median


def distribution(analysis: Analysis) -> Drawing | None:
    """Return the share of the road within each size of cross-track error, per device."""
    sizes: dict[str, list[FloatArray]] = {}
    for trace, result in zip(analysis.traces, analysis.results, strict=True):
        if result.crosstrack is not None and result.crosstrack.scored.any():
            sizes.setdefault(trace.device, []).append(np.abs(result.crosstrack.offset_m[result.crosstrack.scored]))
    if not sizes:
        return None
    looks, summaries = device_looks(analysis), overall(analysis)
    curves = {name: np.nanquantile(np.concatenate(sizes[name]), QUANTILES) for name in sorted(sizes)}
    within = {
        name: _within_95_m(curve, figure(summaries.get(name), "xte_p95_m").value) for name, curve in curves.items()
    }
    finding = " ".join(_said_of_device(name, curve, within[name]) for name, curve in curves.items())
    title = f"95{wording.GAP}% of the road within {headlines.least_and_most(within)} of the centreline"

    def draw(sheet: Sheet) -> None:
        low, y = _head(sheet, analysis, title, KEY_SHARE + (OF_THE_WHOLE if analysis.published else ""))
        top = (
            sheet.legend({name: looks[name] for name in curves}, y - 0.26, size_pt=TYPE_PT if sheet.wide else SMALL_PT)
            - 0.2
        )
        largest = max(6.0, 1.15 * max(within.values()))
        plot = Plot(sheet, Box(0.7, low + 0.42, sheet.width_in - 0.3, top), (0.0, largest), (0.0, 100.0))
        levels = [0.0, 25.0, 50.0, 75.0, 95.0]
        plot.y_axis(levels, [f"{level:g}{wording.GAP}%" for level in levels])
        ticks = whole_ticks(0.0, largest, 6)
        plot.x_axis(ticks, [tick_text(tick) for tick in ticks], "metres from the centreline")
        for name, curve in curves.items():
            inside = curve <= largest
            places = plot.place(curve[inside], 100 * QUANTILES[inside])
            sheet.line(places, looks[name].colour, 2.4, dashes_pt=dashes(looks[name]))
        _name_95(plot, within, looks)

    return Drawing("error-distribution", title, finding, draw)


def _name_95(plot: Plot, within: dict[str, float], looks: dict[str, Look]) -> None:
    """Mark where each curve reaches 95 %, and write the metres above it where there is room."""
    free, y = -np.inf, float(plot.y_in(95.0))
    for name, value in sorted(within.items(), key=lambda item: item[1]):
        at, said = float(plot.x_in(value)), wording.metres(value)
        half = text_width_in(said, SMALL_PT, bold=True) / 2
        plot.sheet.mark(looks[name].mark, at, y, 8.0, looks[name].colour, LEAF)
        if at - half > free:
            plot.sheet.write(at, y + 0.1, said, size_pt=SMALL_PT, bold=True, anchor="middle")
            free = at + half + 0.06


def _within_95_m(curve: FloatArray, p95_m: float) -> float:
    return p95_m if np.isfinite(p95_m) else float(np.interp(0.95, QUANTILES, curve))


def _said_of_device(name: str, curve: FloatArray, p95_m: float) -> str:
    half = wording.metres(float(np.interp(0.5, QUANTILES, curve)))
    return f"{wording.short(name)}: half of the road within {half}, 95{wording.GAP}% within {wording.metres(p95_m)}."

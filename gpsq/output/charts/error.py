"""Charts of the cross-track error: where on the route it grows, and how it is distributed, per device."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from gpsq.output import wording
from gpsq.output.charts.sheet import INK, RULE, SOFT, TYPE_PT, Drawing, Sheet, dashes
from gpsq.output.device_figures import figure, overall
from gpsq.output.drawing.looks import Look, device_looks
from gpsq.output.drawing.route_parts import hot_spots

if TYPE_CHECKING:
    from matplotlib.axes import Axes

    from gpsq.model import CrossTrack, FloatArray
    from gpsq.results import Analysis, RouteResult

TITLE_ALONG = "Where on the route the error grows"
TITLE_SHARE = "How much of the road lies how near"
MOST_ROUTES = {True: 3, False: 2}
#: The route is drawn in at most this many stretches; a finer line could not be told from noise at this width.
MOST_BINS = 160
#: Quantiles of the distribution that are drawn; the last hundredth rests on single places.
QUANTILES = np.linspace(0.0, 0.99, 100)

Offsets = dict[str, list["CrossTrack"]]


def along(analysis: Analysis) -> Drawing | None:
    """Return each device's median cross-track error along each route, over the spread band of all."""
    panels = [
        (found, offsets) for found in analysis.routes if (offsets := _offsets(analysis, found)) and found.centreline
    ]
    if not panels:
        return None
    panels.sort(key=lambda panel: -sum(map(len, panel[1].values())))
    looks = device_looks(analysis)
    finding = " ".join(_said_of_route(analysis, found) for found, _ in panels)

    def draw(sheet: Sheet) -> None:
        sheet.headline(
            TITLE_ALONG,
            "Median offset of each device, left of travel up"
            + ("; grey: spread of all recordings" if sheet.wide else ""),
        )
        chosen = panels[: MOST_ROUTES[sheet.wide]]
        named = {name: looks[name] for name in sorted({name for _, offsets in chosen for name in offsets})}
        top = sheet.legend(named, sheet.height_in - 0.92) - 0.1
        height = (top - 0.3) / len(chosen)
        for i, (found, offsets) in enumerate(chosen):
            bottom = top - (i + 1) * height + 0.3
            axes = sheet.axes(0.75, bottom, sheet.width_in - 1.0, height - 0.6)
            sheet.write(
                0.75,
                bottom + height - 0.56,
                wording.short(f"Route {found.route.name}", 60 if sheet.wide else 40),
                fontweight="bold",
            )
            _profile(axes, analysis, found, offsets, looks)
        axes.set_xlabel("kilometres along the route", color=SOFT, fontsize=TYPE_PT - 1)

    return Drawing("error-along-route", TITLE_ALONG, finding, draw)


def _offsets(analysis: Analysis, found: RouteResult) -> Offsets:
    offsets: Offsets = {}
    for i in found.route.members:
        errors = analysis.results[i].crosstrack
        if errors is not None and errors.scored.any():
            offsets.setdefault(analysis.traces[i].device, []).append(errors)
    return offsets


def _said_of_route(analysis: Analysis, found: RouteResult) -> str:
    spots = [spot for spot in hot_spots(analysis) if spot.route == found.route.name]
    if not spots:
        return f"Route {wording.short(found.route.name)}: no place stands out."
    places = ", ".join(f"{wording.metres(s.from_m)} to {wording.metres(s.to_m)}" for s in spots)
    return f"Route {wording.short(found.route.name)}: recordings scatter most at {places}."


def _profile(axes: Axes, analysis: Analysis, found: RouteResult, offsets: Offsets, looks: dict[str, Look]) -> None:
    line = found.centreline
    if line is None:
        return
    edges = np.linspace(line.along_m[0], line.along_m[-1], min(MOST_BINS, len(line.along_m)) + 1)
    middle_km = (edges[1:] + edges[:-1]) / 2000.0
    spread = _binned_median(line.along_m, line.spread_m, edges)
    axes.fill_between(middle_km, -spread, spread, color=INK, alpha=0.13, lw=0)
    axes.axhline(0, color=SOFT, lw=0.8)
    reach = [spread]
    for name, errors in offsets.items():
        own = _binned_median(
            np.concatenate([e.along_m[e.scored] for e in errors]),
            np.concatenate([e.offset_m[e.scored] for e in errors]),
            edges,
        )
        axes.plot(middle_km, own, color=looks[name].colour, ls=dashes(looks[name]), lw=1.8)
        reach.append(np.abs(own))
    size = np.concatenate(reach)
    limit = float(np.nanquantile(size, 0.995)) if np.isfinite(size).any() else 1.0
    limit = max(2.0, 1.25 * limit)
    axes.set(xlim=(edges[0] / 1000, edges[-1] / 1000), ylim=(-limit, limit))
    axes.locator_params(axis="y", nbins=5)
    axes.set_ylabel("metres", color=SOFT, fontsize=TYPE_PT - 1)
    axes.grid(axis="y", color=RULE, lw=0.6)
    for number, spot in enumerate((s for s in hot_spots(analysis) if s.route == found.route.name), 1):
        axes.axvspan(spot.from_m / 1000, spot.to_m / 1000, color=INK, alpha=0.1, lw=0)
        axes.text(
            (spot.from_m + spot.to_m) / 2000,
            limit * 0.97,
            str(number),
            color=INK,
            ha="center",
            va="top",
            fontweight="bold",
        )


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
    finding = " ".join(
        _said_of_device(name, curve, figure(summaries.get(name), "xte_p95_m").value) for name, curve in curves.items()
    )

    def draw(sheet: Sheet) -> None:
        sheet.headline(
            TITLE_SHARE,
            "Higher is better: more of the road"
            + (" within that distance of the centreline" if sheet.wide else " is that near"),
        )
        top = sheet.legend({name: looks[name] for name in curves}, sheet.height_in - 0.92) - 0.12
        axes = sheet.axes(0.75, 0.62, sheet.width_in - 1.0, top - 0.62)
        largest = max(12.0, 1.05 * max(float(curve[95]) for curve in curves.values()))
        for name, curve in curves.items():
            axes.plot(curve, 100 * QUANTILES, color=looks[name].colour, ls=dashes(looks[name]), lw=2.4)
        axes.set(xlim=(0, largest), ylim=(0, 100))
        axes.set_yticks([0, 25, 50, 75, 95], ["0 %", "25 %", "50 %", "75 %", "95 %"])
        axes.grid(color=RULE, lw=0.6)
        axes.set_xlabel("metres from the centreline", color=SOFT, fontsize=TYPE_PT - 1)

    return Drawing("error-distribution", TITLE_SHARE, finding, draw)


def _said_of_device(name: str, curve: FloatArray, p95_m: float) -> str:
    p95_m = p95_m if np.isfinite(p95_m) else float(np.interp(0.95, QUANTILES, curve))
    half = wording.metres(float(np.interp(0.5, QUANTILES, curve)))
    return f"{wording.short(name)}: half of the road within {half}, 95{wording.GAP}% within {wording.metres(p95_m)}."

"""Charts of the start: how long each device took to its first fix, and what of the route that lost."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np

from gpsq.output import wording
from gpsq.output.charts.sheet import INK, LEAF, MARKERS, RULE, SOFT, TYPE_PT, Drawing, Sheet
from gpsq.output.device_figures import figure, overall
from gpsq.output.drawing.looks import Look, device_looks
from gpsq.output.drawing.route_parts import head_span_m, stretch_m

if TYPE_CHECKING:
    from matplotlib.axes import Axes

    from gpsq.model import FirstFix, FloatArray
    from gpsq.results import Analysis
    from gpsq.summary_types import DeviceSummary

#: More rows or columns than this cannot be read at the size of a slide.
MOST_DEVICES = 8
MOST_ROWS = {True: 10, False: 8}
MOST_COLUMNS = {True: 10, False: 5}
TITLE_FIX = "How long each ride waited for a fix"
TITLE_MISSED = "What was missed before the fix"
TIMES_S = {True: (1, 2, 5, 10, 20, 30, 60, 120, 300, 600, 1800, 3600), False: (1, 3, 10, 30, 120, 600, 3600)}


def time_to_fix(analysis: Analysis) -> Drawing | None:
    """Return a strip of times to first fix per device, a mark for every ride; None where no start is known."""
    fixes = _fixes(analysis)
    shown = {name: found for name, found in fixes.items() if any(np.isfinite(_drawn_s(fix)) for fix in found)}
    if not shown:
        return None
    looks, summaries = device_looks(analysis), overall(analysis)
    chosen = dict(sorted(shown.items(), key=lambda item: (-len(item[1]), item[0]))[:MOST_DEVICES])
    chosen = {name: chosen[name] for name in sorted(chosen)}
    finding = " ".join(f"{wording.short(name)}: {_said(summaries.get(name), found)}." for name, found in chosen.items())
    more = f" {len(shown) - len(chosen)} further devices are in the table." if len(shown) > len(chosen) else ""

    def draw(sheet: Sheet) -> None:
        sheet.headline(TITLE_FIX, "A mark for each ride; further left is faster")
        side = 0.35 if sheet.wide else 0.2
        axes = sheet.axes(side, 0.62, sheet.width_in - 2 * side, sheet.height_in - 1.42)
        axes.set_ylim(-len(chosen), 0)
        _time_axis(axes, [_drawn_s(fix) for found in chosen.values() for fix in found], TIMES_S[sheet.wide])
        unit = "from the start of the recording; " if sheet.wide else ""
        axes.set_xlabel(f"{unit}hollow with a line: at least this long", color=SOFT, fontsize=TYPE_PT - 1)
        for row, (name, found) in enumerate(chosen.items()):
            _strip(axes, row, name, found, looks[name], summaries.get(name), sheet.wide)

    return Drawing("time-to-fix", TITLE_FIX, finding + more, draw)


def _fixes(analysis: Analysis) -> dict[str, list[FirstFix]]:
    found: dict[str, list[FirstFix]] = {}
    for trace, result in zip(analysis.traces, analysis.results, strict=True):
        found.setdefault(trace.device, []).append(result.first_fix)
    return found


def _drawn_s(fix: FirstFix) -> float:
    """Where a recording stands on the axis: its time to fix, else the time it certainly took."""
    return float(np.maximum(1.0, fix.seconds if np.isfinite(fix.seconds) else fix.at_least_s))


def _said(summary: DeviceSummary | None, found: list[FirstFix]) -> str:
    middle = figure(summary, "ttff_median_s")
    said = [f"median {wording.seconds(middle.value)}" if np.isfinite(middle.value) else "median unknown"]
    if bounds := wording.between(middle):
        said[0] += f" ({bounds})"
    if never := sum(fix.censored for fix in found):
        said.append(f"{never} never fixed")
    if unknown := sum(not np.isfinite(_drawn_s(fix)) for fix in found):
        said.append(f"{unknown} with unknown start")
    return ", ".join(said)


def _time_axis(axes: Axes, seconds: list[float], times_s: tuple[int, ...]) -> None:
    largest = max(10.0, *(s for s in seconds if np.isfinite(s)))
    axes.set_xscale("log")
    axes.set_xlim(0.9, largest * 1.35)
    ticks = [t for t in times_s if t <= largest * 1.35]
    axes.set_xticks(ticks, [("≤ " if t == 1 else "") + wording.seconds(t).replace("1 h 0 min", "1 h") for t in ticks])
    axes.minorticks_off()
    axes.set_yticks([])
    for tick in ticks:
        axes.axvline(tick, color=RULE, lw=0.7, zorder=0)


def _strip(
    axes: Axes, row: int, name: str, found: list[FirstFix], look: Look, summary: DeviceSummary | None, wide: bool
) -> None:
    """One device: name and median in words, the interval as a bar, a mark per ride."""
    times = np.array([_drawn_s(fix) for fix in found])
    known = np.array([np.isfinite(fix.seconds) for fix in found])
    drawn = np.isfinite(times)
    level = -row - 0.66 + 0.1 * (np.argsort(np.argsort(times)) % 3 - 1)
    _row_text(axes, row, wording.short(name, 26), wording.short(_said(summary, found), 90 if wide else 52), wide)
    kind: Any = {"marker": MARKERS[look.mark], "ms": 8, "mew": 1.4, "ls": "none", "mec": look.colour, "zorder": 3}
    axes.plot(times[known & drawn], level[known & drawn], mfc=look.colour, **kind)
    open_ended = drawn & ~known
    axes.hlines(level[open_ended], times[open_ended], axes.get_xlim()[1], color=look.colour, lw=1.4, ls=(0, (1, 1.5)))
    axes.plot(times[open_ended], level[open_ended], mfc=LEAF, **kind)
    middle = figure(summary, "ttff_median_s")
    if np.isfinite(middle.value):
        high = middle.high if np.isfinite(middle.high) else axes.get_xlim()[1]
        if np.isfinite(middle.low):
            axes.plot(
                [max(0.9, middle.low), high],
                [-row - 0.66] * 2,
                color=INK,
                lw=7,
                alpha=0.18,
                solid_capstyle="butt",
                zorder=1,
            )
        axes.plot([max(0.9, middle.value)] * 2, [-row - 0.85, -row - 0.47], color=INK, lw=2.4, zorder=4)
    axes.axhline(-row - 1, color=RULE, lw=0.7)


def _row_text(axes: Axes, row: int, name: str, said: str, wide: bool) -> None:
    """Name and figures of a device above its strip: side by side, or one below the other where there is no room."""
    across = axes.get_yaxis_transform()
    axes.text(0.005, -row - (0.3 if wide else 0.2), name, color=INK, fontweight="bold", transform=across)
    if wide:
        axes.text(0.995, -row - 0.3, said, color=INK, ha="right", transform=across)
    else:
        axes.text(0.005, -row - 0.38, said, color=INK, fontsize=TYPE_PT - 2, transform=across)


def missed(analysis: Analysis) -> Drawing | None:
    """Return small drawings of the route, one per ride and device, each with the head that was missed."""
    rows = _heads(analysis)
    if not rows:
        return None
    looks = device_looks(analysis)
    summaries = overall(analysis)
    finding = " ".join(
        f"{wording.short(name)}: median {wording.metres(figure(summaries.get(name), 'missed_median_m').value)} missed."
        for name in dict.fromkeys(device for device, *_ in rows)
    )
    most = max(len(cells) for *_, cells in rows)

    def draw(sheet: Sheet) -> None:
        kept, columns = rows[: MOST_ROWS[sheet.wide]], min(most, MOST_COLUMNS[sheet.wide])
        cut = f"; {columns} of up to {most} rides" if most > columns else ""
        cut += f", {len(kept)} of {len(rows)} rows" if len(rows) > len(kept) else ""
        sheet.headline(
            TITLE_MISSED,
            "Thick: ridden before the first fix; ≥: at least; routes turned to run left to right" + cut
            if sheet.wide
            else "Thick: ridden before the first fix; ≥: at least" + cut,
        )
        _grid(sheet, kept, columns, looks)

    return Drawing("missed", TITLE_MISSED, finding, draw)


@dataclass(frozen=True, eq=False)
class Cell:
    """One small drawing: the route's line, the head of it that was missed, how long that is, whether a fix ended it."""

    line_m: FloatArray
    head_m: FloatArray
    text: str
    fixed: bool


def _heads(analysis: Analysis) -> list[tuple[str, str, list[Cell]]]:
    """Return device, route, and a small drawing for each ride."""
    rows: dict[tuple[str, str], list[Cell]] = {}
    for trace, result in zip(analysis.traces, analysis.results, strict=True):
        found = analysis.route_named(result.route)
        if found is None or found.centreline is None or not wording.says_missed(result.first_fix):
            continue
        span = head_span_m(trace, result, found)
        head = stretch_m(found, *span) if span else np.empty((0, 2))
        text = ("≥ " if result.first_fix.missed_is_minimum else "") + wording.metres(result.first_fix.missed_m)
        rows.setdefault((trace.device, result.route), []).append(
            Cell(found.centreline.xy_m, head, text, not result.first_fix.censored)
        )
    return [(device, route, cells) for (device, route), cells in sorted(rows.items())]


def _grid(sheet: Sheet, rows: list[tuple[str, str, list[Cell]]], columns: int, looks: dict[str, Look]) -> None:
    from matplotlib.collections import LineCollection
    from matplotlib.lines import Line2D

    left, top = (2.1 if sheet.wide else 1.2), sheet.height_in - 0.8
    width, height = (sheet.width_in - left - 0.15) / columns, (top - 0.1) / len(rows)
    type_pt = TYPE_PT - (0 if sheet.wide else 1.5) - (1.5 if columns > 6 else 0)
    lines, heads, colours = [], [], []
    ends: dict[str, list[FloatArray]] = {}
    for row, (device, route, cells) in enumerate(rows):
        bottom = top - (row + 1) * height
        sheet.write(
            0.2,
            bottom + height / 2,
            wording.short(device, 20 if sheet.wide else 11),
            fontweight="bold",
            fontsize=type_pt,
        )
        sheet.write(
            0.2,
            bottom + height / 2 - 0.2,
            wording.short(route, 24 if sheet.wide else 13),
            color=SOFT,
            fontsize=type_pt - 1,
        )
        for column, cell in enumerate(cells[:columns]):
            box = (left + column * width + 0.08, bottom + 0.26, width - 0.16, height - 0.34)
            lines.append(_placed(cell.line_m, cell.line_m, box))
            if len(cell.head_m):
                heads.append(_placed(cell.head_m, cell.line_m, box))
                colours.append(looks[device].colour)
            if len(cell.head_m) and cell.fixed:
                ends.setdefault(device, []).append(heads[-1][-1])
            sheet.write(box[0] + box[2] / 2, bottom + 0.07, cell.text, ha="center", fontsize=type_pt - 1)
    inches: Any = {"transform": sheet.figure.dpi_scale_trans}
    sheet.figure.add_artist(LineCollection(lines, colors=SOFT, lw=1.0, **inches))
    sheet.figure.add_artist(LineCollection(heads, colors=colours, lw=4.5, capstyle="butt", **inches))
    for device, places in ends.items():
        look = looks[device]
        x, y = np.array(places).T
        kind: Any = {"marker": MARKERS[look.mark], "mfc": look.colour, "mec": LEAF, "ms": 7, "mew": 0.8, "ls": "none"}
        sheet.figure.add_artist(Line2D(x, y, **kind, **inches))


def _turned(line_m: FloatArray, whole_m: FloatArray) -> FloatArray:
    """Turn a line as the whole route is turned so that it runs from left to right, along its longest extent."""
    centred = whole_m - whole_m.mean(axis=0)
    along = np.linalg.svd(centred, full_matrices=False)[2][0]
    if (whole_m[-1] - whole_m[0]) @ along < 0:
        along = -along
    return np.asarray((line_m - whole_m.mean(axis=0)) @ np.column_stack([along, [-along[1], along[0]]]))


def _placed(line_m: FloatArray, whole_m: FloatArray, box: tuple[float, float, float, float]) -> FloatArray:
    """Fit a line into a box as the whole route fits, one scale for both directions."""
    line_m, whole_m = _turned(line_m, whole_m), _turned(whole_m, whole_m)
    low, high = whole_m.min(axis=0), whole_m.max(axis=0)
    size = np.maximum(high - low, 1e-6)
    scale = min(box[2] / size[0], box[3] / size[1])
    step = max(1, len(line_m) // 400)
    kept = np.vstack([line_m[:-1:step], line_m[-1:]])
    return np.asarray((kept - (low + high) / 2) * scale + [box[0] + box[2] / 2, box[1] + box[3] / 2])

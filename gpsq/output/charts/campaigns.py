"""One figure of every device tested: time to first fix against repeatability, with intervals, a panel per course."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from gpsq.output import wording
from gpsq.output.charts.sheet import MARKERS, RULE, SOFT, TYPE_PT, Chart, Drawing, Sheet, rendered
from gpsq.output.drawing.looks import Look, look

if TYPE_CHECKING:
    from collections.abc import Iterable

    from matplotlib.axes import Axes

    from gpsq.summaries.campaigns import Compared, Entry
    from gpsq.summary_types import Interval

TITLE = "Time to first fix against repeatability"
BELOW = "Lower left is better; bars: interval, where there is one"
#: Marks of campaigns that are written below their point, so that two at one place can be read.
EVEN_MARKS = frozenset(f"({number})" for number in range(2, 100, 2))
#: Panels of the wide and the square sheet; courses beyond them are in the table.
MOST_COURSES = {True: 3, False: 1}


def compare_chart(compared: Compared) -> Chart | None:
    """Return the figure of a comparison, or None where no device has both a time to first fix and a repeatability."""
    courses: dict[str, list[Entry]] = {}
    for entry in compared.entries:
        if np.isfinite([entry.ttff_s.value, entry.repeatability_m.value]).all():
            courses.setdefault(entry.course, []).append(entry)
    if not courses:
        return None
    looks = compare_looks(compared)

    def draw(sheet: Sheet) -> None:
        _draw(sheet, courses, looks)

    return rendered([Drawing("compare", TITLE, _finding(courses), draw)])[0]


def compare_looks(compared: Compared) -> dict[str, Look]:
    """Return the look of every device, in the order of their names."""
    return {name: look(i) for i, name in enumerate(sorted({entry.device for entry in compared.entries}))}


def campaign_marks(entries: Iterable[Entry]) -> dict[tuple[str, str], str]:
    """Return a number in brackets for each campaign and route of one course, "" where there is only one."""
    own = list(dict.fromkeys((entry.campaign, entry.route) for entry in entries))
    return {key: f"({number})" if len(own) > 1 else "" for number, key in enumerate(own, 1)}


def _draw(sheet: Sheet, courses: dict[str, list[Entry]], looks: dict[str, Look]) -> None:
    sheet.headline(TITLE, BELOW)
    shown = sorted(courses.items(), key=lambda item: -len(item[1]))[: MOST_COURSES[sheet.wide]]
    named = {name: looks[name] for name in sorted({e.device for _, own in shown for e in own})}
    top = sheet.legend(named, sheet.height_in - 0.92, marks=True) - 0.3
    width = (sheet.width_in - 0.3) / len(shown)
    for i, (course, entries) in enumerate(shown):
        axes = sheet.axes(0.2 + i * width + 0.55, 0.75, width - 0.75, top - 1.0)
        axes.set_title(wording.short(course, 30), fontsize=TYPE_PT, loc="left", fontweight="bold")
        _panel(axes, entries, looks)
        if i == 0:
            axes.set_ylabel("repeatability, m", color=SOFT, fontsize=TYPE_PT - 1)
    if len(courses) > len(shown):
        sheet.write(0.2, 0.12, f"{len(courses) - len(shown)} more in the table", color=SOFT, fontsize=TYPE_PT - 1)


def _panel(axes: Axes, entries: list[Entry], looks: dict[str, Look]) -> None:
    marks = campaign_marks(entries)
    for entry in entries:
        own = looks[entry.device]
        x, y = max(entry.ttff_s.value, 1.0), entry.repeatability_m.value
        axes.errorbar(
            [x], [y], xerr=_bars(entry.ttff_s, x), yerr=_bars(entry.repeatability_m, y), fmt=MARKERS[own.mark],
            color=own.colour, markersize=9, elinewidth=1.6, capsize=3,
        )  # fmt: skip
        mark = marks[entry.campaign, entry.route]
        beside = (6, -13 if mark in EVEN_MARKS else 6)
        axes.annotate(mark, (x, y), beside, textcoords="offset points", color=SOFT, fontsize=TYPE_PT - 1)
    axes.set_xscale("log")
    axes.margins(x=0.14, y=0.1)
    axes.set_ylim(bottom=0.0)
    low, high = axes.get_xlim()
    ticks = [t for t in (1, 2, 5, 10, 20, 30, 60, 120, 300, 600) if low <= t <= high]
    axes.set_xticks(ticks, [str(t) for t in ticks])
    axes.minorticks_off()
    axes.grid(axis="y", color=RULE, lw=0.7)
    axes.set_axisbelow(True)
    axes.set_xlabel("median time to first fix, s", color=SOFT, fontsize=TYPE_PT - 1)


def _bars(figure: Interval, at: float) -> np.ndarray[tuple[int, int], np.dtype[np.float64]]:
    """Return the lengths of the bars either way; nought where a bound does not exist."""
    ends = np.array([[at - max(figure.low, 1e-3)], [figure.high - at]])
    return np.asarray(np.maximum(np.nan_to_num(ends), 0.0), dtype=float)


def _finding(courses: dict[str, list[Entry]]) -> str:
    said = []
    for course, entries in courses.items():
        best = min(entries, key=lambda e: e.repeatability_m.value)
        quick = min(entries, key=lambda e: e.ttff_s.value)
        repeats = f"{wording.short(best.device)} repeats best ({wording.metres(best.repeatability_m.value)})"
        fixes = f"{wording.short(quick.device)} fixes first ({wording.seconds(quick.ttff_s.value)})"
        name = wording.short(course)
        said.append(f"{name[:1].upper()}{name[1:]}: {repeats}, {fixes}.")
    return " ".join(said)

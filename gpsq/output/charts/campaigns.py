"""One figure of every device tested: time to first fix against repeatability, with intervals, a panel per course."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from gpsq.digests import version
from gpsq.output import wording
from gpsq.output.drawing.labels import beside
from gpsq.output.drawing.looks import Look, look
from gpsq.output.drawing.plot import Plot, tick_text, whole_ticks
from gpsq.output.drawing.rendering import Chart, Drawing, rendered
from gpsq.output.drawing.sheet import POINTS_PER_INCH, SMALL_PT, SOFT, TITLE_PT, TYPE_PT, Box, text_width_in

if TYPE_CHECKING:
    from collections.abc import Iterable

    from gpsq.output.drawing.sheet import Sheet
    from gpsq.summaries.campaigns import Compared, Entry
    from gpsq.summary_types import Interval

KEY = "Lower left is better. Bars: interval, where there is one. The level axis is logarithmic."
#: Panels of the wide and the square sheet; courses beyond them are in the table.
MOST_COURSES = {True: 3, False: 1}
TIMES_S = (1, 2, 5, 10, 20, 30, 60, 120, 300, 600)
MARK_PT = 9.0


def compare_chart(compared: Compared) -> Chart | None:
    """Return the figure of a comparison, or None where no device has both a time to first fix and a repeatability."""
    courses: dict[str, list[Entry]] = {}
    for entry in compared.entries:
        if np.isfinite([entry.ttff_s.value, entry.repeatability_m.value]).all():
            courses.setdefault(entry.course, []).append(entry)
    if not courses:
        return None
    looks = compare_looks(compared)
    title = _title(courses)

    def draw(sheet: Sheet) -> None:
        _draw(sheet, title, courses, looks)

    return rendered([Drawing("compare", title, _finding(courses), draw)])[0]


def compare_looks(compared: Compared) -> dict[str, Look]:
    """Return the look of every device, in the order of their names."""
    return {name: look(i) for i, name in enumerate(sorted({entry.device for entry in compared.entries}))}


def campaign_marks(entries: Iterable[Entry]) -> dict[tuple[str, str], str]:
    """Return a number in brackets for each campaign and route of one course, "" where there is only one."""
    own = list(dict.fromkeys((entry.campaign, entry.route) for entry in entries))
    return {key: f"({number})" if len(own) > 1 else "" for number, key in enumerate(own, 1)}


def _draw(sheet: Sheet, title: str, courses: dict[str, list[Entry]], looks: dict[str, Look]) -> None:
    shown = sorted(courses.items(), key=lambda item: -len(item[1]))[: MOST_COURSES[sheet.wide]]
    most_in, hidden = sheet.width_in - 0.4, len(courses) - len(shown)
    y = sheet.paragraph(
        0.2, sheet.height_in - 0.36, title, most_in, lines=3, size_pt=TITLE_PT if sheet.wide else 13.0, bold=True
    )
    more = f" {hidden} more course{'s' if hidden > 1 else ''} in the table." if hidden else ""
    y = sheet.paragraph(0.2, y - 0.24, KEY + more, most_in, lines=2, size_pt=SMALL_PT, colour=SOFT)
    named = {name: looks[name] for name in sorted({e.device for _, own in shown for e in own})}
    top = sheet.legend(named, y - 0.26, marks=True, size_pt=TYPE_PT if sheet.wide else SMALL_PT) - 0.3
    _margin(sheet, courses)
    width = (sheet.width_in - 0.2) / len(shown)
    for i, (course, entries) in enumerate(shown):
        left = 0.2 + i * width
        name = wording.short(course, 60)
        sheet.write(left, top, name[:1].upper() + name[1:], size_pt=SMALL_PT, bold=True, most_in=width - 0.2)
        _panel(sheet, Box(left + 0.5, 0.85, left + width - 0.2, top - 0.3), entries, looks)


def _margin(sheet: Sheet, courses: dict[str, list[Entry]]) -> None:
    """Write how many campaigns, devices and rides, and the source."""
    own = [entry for entries in courses.values() for entry in entries]
    names = list(dict.fromkeys(wording.short(entry.campaign, 24) for entry in own))
    said = "; ".join(names) if len(names) < 4 else f"{len(names)} campaigns"
    counts = f"{said} · {len({e.device for e in own})} devices · {sum(e.rides for e in own)} rides of devices"
    most_in = sheet.width_in - 0.4
    sheet.write(0.2, 0.29, counts, size_pt=SMALL_PT, colour=SOFT, most_in=most_in)
    sheet.write(
        0.2,
        0.13,
        f"Source: own recordings, measured by gpsq {version()}",
        size_pt=SMALL_PT,
        colour=SOFT,
        most_in=most_in,
    )


def _panel(sheet: Sheet, box: Box, entries: list[Entry], looks: dict[str, Look]) -> None:
    times = np.array([[max(e.ttff_s.value, 1.0), e.ttff_s.low, e.ttff_s.high] for e in entries])
    spreads = np.array([[e.repeatability_m.value, e.repeatability_m.high] for e in entries])
    low, high = max(0.9, float(np.nanmin(times)) / 1.4), float(np.nanmax(times)) * 1.5
    plot = Plot(sheet, box, (low, high), (0.0, 1.15 * float(np.nanmax(spreads))), log=True)
    levels = whole_ticks(*plot.y)
    plot.y_axis(levels, [f"{tick_text(level)}{wording.GAP}m" for level in levels])
    ticks = [t for t in TIMES_S if low <= t <= high]
    plot.x_axis(ticks, [wording.seconds(t) for t in ticks], "median time to first fix; up: repeatability", rules=False)
    marks, taken = campaign_marks(entries), []
    for entry in entries:
        own = looks[entry.device]
        x, y = float(plot.x_in(max(entry.ttff_s.value, 1.0))), float(plot.y_in(entry.repeatability_m.value))
        _bars(plot, entry.ttff_s, entry.repeatability_m, (x, y), own.colour)
        sheet.mark(own.mark, x, y, MARK_PT, own.colour)
        half = MARK_PT / 2 / POINTS_PER_INCH
        taken.append(Box(x - half, y - half, x + half, y + half))
    for i, entry in enumerate(entries):
        others = taken[:i] + taken[i + 1 :]  # its own point lies under its leader
        taken += _mark(plot, entry, marks[entry.campaign, entry.route], others)


def _bars(plot: Plot, time: Interval, spread: Interval, at: tuple[float, float], colour: str) -> None:
    """Draw the interval each way, where there is one."""
    x, y = at
    if np.isfinite([time.low, time.high]).all():
        left, right = plot.x_in(np.array([max(time.low, 1e-3), time.high])).tolist()
        plot.sheet.line([(left, y), (right, y)], colour, 1.6)
    if np.isfinite([spread.low, spread.high]).all():
        low, high = plot.y_in(np.array([spread.low, spread.high])).tolist()
        plot.sheet.line([(x, low), (x, high)], colour, 1.6)


def _mark(plot: Plot, entry: Entry, mark: str, taken: list[Box]) -> list[Box]:
    """Write the campaign's number beside a point; return where it stands."""
    x, y = float(plot.x_in(max(entry.ttff_s.value, 1.0))), float(plot.y_in(entry.repeatability_m.value))
    size = (text_width_in(mark, SMALL_PT), 1.2 * SMALL_PT / POINTS_PER_INCH)
    box = beside(np.array([x, y]), size, plot.box.grown(0.1), taken, np.empty((0, 2))) if mark else None
    if box is None:
        return []
    low = box.bottom + 0.26 * SMALL_PT / POINTS_PER_INCH
    return [plot.sheet.write(box.left, low, mark, size_pt=SMALL_PT, colour=SOFT)]


def _title(courses: dict[str, list[Entry]]) -> str:
    """Return who repeats best and who fixes first on the course that most devices rode."""
    course, entries = max(courses.items(), key=lambda item: len(item[1]))
    best = min(entries, key=lambda e: e.repeatability_m.value)
    quick = min(entries, key=lambda e: e.ttff_s.value)
    where = f" on {wording.short(course, 30)}" if len(courses) > 1 else ""
    return (
        f"{wording.short(quick.device, 20)} is fixed after {wording.seconds(quick.ttff_s.value)}, "
        f"{wording.short(best.device, 20)} repeats to {wording.metres(best.repeatability_m.value)}{where}"
    )


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

"""One figure of every device tested: its errors as a ratio to those of the device that was carried along, with intervals."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from gpsq.digests import version
from gpsq.output import wording
from gpsq.output.drawing.looks import Look, look
from gpsq.output.drawing.plot import Plot, tick_text
from gpsq.output.drawing.rendering import Chart, Drawing, rendered
from gpsq.output.drawing.sheet import SMALL_PT, SOFT, TITLE_PT, TYPE_PT, Box
from gpsq.summary_types import Interval

if TYPE_CHECKING:
    from collections.abc import Iterable

    from gpsq.output.drawing.sheet import Sheet
    from gpsq.summaries.across.campaigns import Compared, Entry

KEY = "{carried} is 1; further left is better. Bars: 95 % intervals. The axis is logarithmic."
#: Up to so many devices are named in the title, with their ratios.
MOST_NAMED = 2
MARK_PT = 9.0
#: Devices of the wide and the square sheet; the others are in the table.
MOST_ROWS = {True: 12, False: 8}
TICKS = (0.1, 0.2, 0.3, 0.5, 0.7, 1.0, 1.5, 2.0, 3.0, 5.0, 10.0)
#: Those of an axis so many times as high as low: with the others there would be no room for the 1 on the square sheet.
FAR, FAR_TICKS = 30.0, (0.01, 0.03, 0.1, 0.3, 1.0, 3.0, 10.0, 30.0)
NOBODY = "No device was carried along, so figures of one campaign say nothing of those of another."


def compare_chart(compared: Compared) -> Chart | None:
    """Return the figure of a comparison, or None where no device can be held against another."""
    ratios = against_carried(compared)
    if not ratios:
        return None
    looks = compare_looks(compared)
    title = _title(compared.carried, ratios)
    key = KEY.format(carried=wording.short(compared.carried, 24))
    devices, campaigns = ({getattr(e, name) for e in compared.entries} for name in ("device", "campaign"))
    margin = f"{len(campaigns)} campaign{'s' * (len(campaigns) > 1)} · {len(devices)} devices"

    def draw(sheet: Sheet) -> None:
        _draw(sheet, title, key, ratios, looks, margin)

    return rendered([Drawing("compare", title, finding(compared), draw)])[0]


def _title(carried: str, ratios: dict[str, Interval]) -> str:
    """Return how many of the devices err less and more than the one carried along, and how many cannot be told apart."""
    if len(ratios) <= MOST_NAMED:
        named = ", ".join(f"{wording.short(name, 16)} {_briefly(ratio)}" for name, ratio in ratios.items())
        return f"Cross-track error against {wording.short(carried, 16)}: {named}"
    less = sum(r.high < 1 for r in ratios.values())
    more = sum(r.low > 1 for r in ratios.values())
    open_ones = len(ratios) - less - more
    parts = [f"{n} err{'s' * (n == 1)} {what}" for n, what in ((less, "less"), (more, "more")) if n]
    parts += [f"{open_ones} cannot be told apart from it"] if open_ones else []
    return f"Against {wording.short(carried, 20)}: {', '.join(parts)}"


def _briefly(ratio: Interval) -> str:
    apart = np.isfinite(ratio.low) and not ratio.low <= 1 <= ratio.high
    return f"{ratio.value:.2f} times" if apart else f"not told apart ({ratio.value:.2f} times)"


def against_carried(compared: Compared) -> dict[str, Interval]:
    """Return the ratio of each device's error to that of the device carried along, by name, the smallest first."""
    found: dict[str, Interval] = {}
    for b in compared.bridges:
        if not b.is_ratio or compared.carried not in (b.first, b.second) or not np.isfinite(b.found.value):
            continue
        if b.second == compared.carried:
            found[b.first] = b.found
        else:
            found[b.second] = Interval(1 / b.found.value, 1 / b.found.high, 1 / b.found.low, b.found.method)
    return dict(sorted(found.items(), key=lambda item: (item[1].value, item[0])))


def finding(compared: Compared) -> str:
    """Return what the figure says, of all devices of the table."""
    ratios = against_carried(compared)
    if not ratios:
        return NOBODY
    said = [f"{wording.short(name)} {_said(ratio)}" for name, ratio in ratios.items()]
    devices = {entry.device for entry in compared.entries}
    others = sorted(devices - set(ratios) - {compared.carried})
    why: dict[str, list[str]] = {}
    for name in others:
        why.setdefault(_why_not(compared, name), []).append(wording.short(name))
    rest = [f"{', '.join(names)}: not comparable{reason}" for reason, names in why.items()]
    return f"Cross-track error against {wording.short(compared.carried)}: {'; '.join([*said, *rest])}."


def _why_not(compared: Compared, name: str) -> str:
    """Return why a device is not held against the one carried along, as the comparison of the two says it."""
    pair = {name, compared.carried}
    methods = [b.found.method for b in compared.bridges if b.is_ratio and {b.first, b.second} == pair]
    return "".join(f", {method.removeprefix('none: ')}" for method in methods[:1] if method)


def _said(ratio: Interval) -> str:
    bounds = f" ({ratio.low:.2f} to {ratio.high:.2f})" if np.isfinite(ratio.low) else " (too few rides for an interval)"
    if np.isfinite(ratio.low) and not ratio.low <= 1 <= ratio.high:
        return f"{ratio.value:.2f} times as large{bounds}"
    return f"cannot be told apart, ratio {ratio.value:.2f}{bounds}"


def compare_looks(compared: Compared) -> dict[str, Look]:
    """Return the look of every device, in the order of their names."""
    return {name: look(i) for i, name in enumerate(sorted({entry.device for entry in compared.entries}))}


def campaign_marks(entries: Iterable[Entry]) -> dict[tuple[str, str], str]:
    """Return a number in brackets for each campaign and route of one course, "" where there is only one."""
    own = list(dict.fromkeys((entry.campaign, entry.route) for entry in entries))
    return {key: f"({number})" if len(own) > 1 else "" for number, key in enumerate(own, 1)}


def _draw(sheet: Sheet, title: str, key: str, ratios: dict[str, Interval], looks: dict[str, Look], margin: str) -> None:
    most_in = sheet.width_in - 0.4
    size = TITLE_PT if sheet.wide else 13.0
    y = sheet.paragraph(0.2, sheet.height_in - 0.36, title, most_in, lines=3, size_pt=size, bold=True)
    shown = dict(list(ratios.items())[: MOST_ROWS[sheet.wide]])
    hidden = len(ratios) - len(shown)
    more = f" {hidden} more in the table." if hidden else ""
    y = sheet.paragraph(0.2, y - 0.24, key + more, most_in, lines=2, size_pt=SMALL_PT, colour=SOFT)
    sheet.write(0.2, 0.29, margin, size_pt=SMALL_PT, colour=SOFT, most_in=most_in)
    source = f"Source: own recordings, measured by gpsq {version()}"
    sheet.write(0.2, 0.13, source, size_pt=SMALL_PT, colour=SOFT, most_in=most_in)
    side = 2.4 if sheet.wide else 1.5
    _rows(sheet, Box(side, 0.95, sheet.width_in - 0.3, y - 0.25), shown, looks)


def _rows(sheet: Sheet, box: Box, ratios: dict[str, Interval], looks: dict[str, Look]) -> None:
    ends = np.array([[r.value, r.low, r.high] for r in ratios.values()])
    known = ends[np.isfinite(ends) & (ends > 0)]
    low, high = min(0.66, float(known.min()) / 1.15), max(1.5, float(known.max()) * 1.15)
    plot = Plot(sheet, box, (low, high), (-len(ratios) + 0.5, 0.5), log=True)
    ticks = [t for t in (TICKS if high <= FAR * low else FAR_TICKS) if low <= t <= high]
    plot.x_axis(ticks, [tick_text(t) for t in ticks], "ratio of cross-track errors")
    one = float(plot.x_in(1.0))
    sheet.line([(one, box.bottom), (one, box.top)], SOFT, 1.2)
    for row, (name, ratio) in enumerate(ratios.items()):
        x, y, own = float(plot.x_in(ratio.value)), float(plot.y_in(-row)), looks[name]
        sheet.write(
            box.left - 0.12, y - 0.05, wording.short(name, 24), size_pt=TYPE_PT if sheet.wide else SMALL_PT, anchor="end",
            most_in=box.left - 0.25,
        )  # fmt: skip
        if np.isfinite([ratio.low, ratio.high]).all():
            sheet.line([(v, y) for v in plot.x_in(np.array([ratio.low, ratio.high])).tolist()], own.colour, 2.0)
        sheet.mark(own.mark, x, y, MARK_PT, own.colour)
        sheet.write(x, y + 0.12, f"{ratio.value:.2f}", size_pt=SMALL_PT, bold=True, anchor="middle")

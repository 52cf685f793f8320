"""One figure of every device tested: its errors as a ratio to those of the device that was carried along, with intervals."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from gpsq.output import wording
from gpsq.output.charts.sheet import MARKERS, RULE, SOFT, TYPE_PT, Chart, Drawing, Sheet, rendered
from gpsq.output.drawing.looks import Look, look
from gpsq.summary_types import Interval

if TYPE_CHECKING:
    from collections.abc import Iterable

    from matplotlib.axes import Axes

    from gpsq.summaries.across.campaigns import Compared, Entry

TITLE = "Cross-track error against the device carried along"
#: Devices of the wide and the square sheet; the others are in the table.
MOST_ROWS = {True: 12, False: 8}
TICKS = (0.1, 0.2, 0.3, 0.5, 0.7, 1.0, 1.5, 2.0, 3.0, 5.0, 10.0)
NOBODY = "No device was carried along, so figures of one campaign say nothing of those of another."


def compare_chart(compared: Compared) -> Chart | None:
    """Return the figure of a comparison, or None where no device can be held against another."""
    ratios = against_carried(compared)
    if not ratios:
        return None
    looks = compare_looks(compared)

    def draw(sheet: Sheet) -> None:
        _draw(sheet, compared.carried, ratios, looks)

    return rendered([Drawing("compare", TITLE, finding(compared), draw)])[0]


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
    rest = [f"{', '.join(map(wording.short, others))}: not comparable, no device was carried along"] if others else []
    return f"Cross-track error against {wording.short(compared.carried)}: {'; '.join([*said, *rest])}."


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


def _draw(sheet: Sheet, carried: str, ratios: dict[str, Interval], looks: dict[str, Look]) -> None:
    sheet.headline(TITLE, f"{wording.short(carried)} is 1; further left is better; bars: 95 % intervals")
    shown = dict(list(ratios.items())[: MOST_ROWS[sheet.wide]])
    side = 2.4 if sheet.wide else 1.75
    axes = sheet.axes(side, 0.75, sheet.width_in - side - 0.3, sheet.height_in - 1.65)
    axes.axvline(1.0, color=SOFT, lw=1.2)
    for row, (name, ratio) in enumerate(shown.items()):
        own = looks[name]
        ends = [[max(ratio.value - ratio.low, 0.0)], [max(ratio.high - ratio.value, 0.0)]]
        bars = ends if np.isfinite(ends).all() else None
        axes.errorbar(
            [ratio.value], [-row], xerr=bars, fmt=MARKERS[own.mark], color=own.colour, markersize=9, elinewidth=1.8, capsize=3,
        )  # fmt: skip
    axes.set_ylim(-len(shown) + 0.4, 0.6)
    axes.set_yticks([-row for row in range(len(shown))], [wording.short(n, 24 if sheet.wide else 15) for n in shown])
    _ratio_axis(axes)
    if len(ratios) > len(shown):
        sheet.write(0.2, 0.12, f"{len(ratios) - len(shown)} more in the table", color=SOFT, fontsize=TYPE_PT - 1)


def _ratio_axis(axes: Axes) -> None:
    axes.set_xscale("log")
    axes.margins(x=0.12)
    low, high = axes.get_xlim()
    low, high = min(low, 0.66), max(high, 1.55)
    axes.set_xlim(low, high)
    ticks = [t for t in TICKS if low <= t <= high]
    axes.set_xticks(ticks, [f"{t:g}" for t in ticks])
    axes.minorticks_off()
    axes.grid(axis="x", color=RULE, lw=0.7)
    axes.set_axisbelow(True)
    axes.set_xlabel("ratio of cross-track errors", color=SOFT, fontsize=TYPE_PT - 1)

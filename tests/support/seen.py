"""What a reader sees of a picture: its bars, marks and words read back from the sheet, and campaigns to draw.

A capital of DejaVu Sans is 0.729 of its size high (the font's own table OS/2), so the middle of a line of type stands 0.365
of it above its foot.
"""

from __future__ import annotations

import dataclasses
import re
from itertools import combinations

import numpy as np
from by_hand import by_hand
from output_sample import sample
from starts_of_sample import unknown_starts, worked_out

from gpsq.output.charts.first_fix import first_fix
from gpsq.output.charts.missed import missed
from gpsq.output.drawing.labels import overlap
from gpsq.output.drawing.rendering import SQUARE, WIDE, drawn_sheet
from gpsq.output.drawing.sheet import LEAF, MARKS, Line

SIZES = {"wide": WIDE[:2], "square": SQUARE[:2]}
MIDDLE = 0.729 / 2 / 72


def with_fixes(analysis, **fields):
    """The same campaign, whose first fixes have other figures: a list each, one for each recording."""
    results = [
        dataclasses.replace(
            result, first_fix=dataclasses.replace(result.first_fix, **{k: own[i] for k, own in fields.items()})
        )
        for i, result in enumerate(analysis.results)
    ]
    return dataclasses.replace(analysis, results=tuple(results))


def hours():
    """Two devices, five rides out and five back: one waited for an hour and more."""
    found = sample(devices=("Amber", "Basalt"), rides=(5, 5))
    waited = [2.0, 45.0, 3900.0, 7.0, 600.0, *np.linspace(20.0, 90.0, 15)]
    return with_fixes(found, seconds=waited, censored=[False] * 20, at_least_s=[np.nan] * 20)


def many():
    """Twelve devices, two rides each way."""
    found = sample(devices=tuple("abcd"), rides=(6, 6))
    names = [f"unit {t.device}{int(r.ride[-1]) % 3}" for t, r in zip(found.traces, found.results, strict=True)]
    traces = [dataclasses.replace(t, device=name) for t, name in zip(found.traces, names, strict=True)]
    return dataclasses.replace(found, traces=tuple(traces))


CAMPAIGNS = {
    "by hand": by_hand,
    "week": sample,
    "lone": lambda: sample(devices=("Amber",), rides=(5, 5)),
    "worked out": lambda: worked_out(unknown_starts(sample(devices=("Amber",), rides=(5, 5)))),
    "hours": hours,
    "many": many,
}
CHARTS = {"first fix": first_fix, "missed": missed}


def drawn(chart, analysis, shape):
    return drawn_sheet(CHARTS[chart](analysis), *SIZES[shape])


def lines(sheet, **wanted):
    found = [item for item in sheet.items if isinstance(item, Line)]
    return [line for line in found if all(getattr(line, name) == value for name, value in wanted.items())]


def box(line):
    return (*line.xy_in.min(axis=0), *line.xy_in.max(axis=0))


def middle(line):
    return (line.xy_in.min(axis=0) + line.xy_in.max(axis=0)) / 2


def middle_of(text):
    return text.y_in + MIDDLE * text.size_pt


def bars(sheet, colour, alpha):
    """Filled blocks, from the top down."""
    found = [line for line in lines(sheet, fill=colour, alpha=alpha) if len(line.xy_in) == 4 and not line.colour]
    return sorted(found, key=lambda line: -middle(line)[1])


def marks(sheet, kind, colour):
    """Marks of a device: full, or hollow with its colour around."""
    return [
        line for line in lines(sheet, width_pt=1.0, closed=True)
        if {line.fill, line.colour} == {colour, LEAF} and len(line.xy_in) == len(MARKS[kind])
    ]  # fmt: skip


def device_of(text, looks):
    """The device whose name text begins with, however much of it there is."""
    begins = re.split("[,\N{HORIZONTAL ELLIPSIS}]", text.text)[0]
    return next((name for name in looks if begins and name.startswith(begins)), None)


def all_can_be_seen(sheet):
    """Lines and text lie on the sheet, lines as thick and type as large as can be seen, and no text over another."""
    high = (sheet.width_in, sheet.height_in)
    for line in lines(sheet):
        assert (line.xy_in >= 0.0).all(), line
        assert (line.xy_in <= high).all(), line
        assert 0.05 <= line.alpha <= 1.0
        assert line.fill or line.width_pt >= 0.5, "half a point is the thinnest line that is printed (common practice)"
    for text in sheet.texts:
        assert min(text.box) > 0.0, text
        assert (np.array(text.box[2:]) < high).all(), text
        assert text.size_pt >= 9.0
    for one, other in combinations(sheet.texts, 2):
        assert not overlap(one.box, other.box), (one.text, other.text)

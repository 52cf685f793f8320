"""Small drawings of the ground for the report, as plain SVG: a cut-out for each event.

They need no script, follow the page's light and dark look, and hold no text from the recordings.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from gpsq.output.drawing.lines import parts, parts_between, thin_line
from gpsq.output.drawing.looks import device_looks, state
from gpsq.output.drawing.route_parts import stretch_m
from gpsq.output.drawing.views import whole_length_m

if TYPE_CHECKING:
    from collections.abc import Sequence

    from gpsq.model import Deviation, FloatArray, IntArray
    from gpsq.results import Analysis, RouteResult

#: Units of the drawings, about pixels on a desktop.
CARD_BOX = (320.0, 200.0)
MARGIN = 24.0
#: Lines are thinned to this, for drawing only: a third of the width of the thinnest.
THIN = 0.4
MARKS = {
    "disc": "M-6 0a6 6 0 1 0 12 0a6 6 0 1 0-12 0Z",
    "triangle": "M0-7L6.5 5H-6.5Z",
    "square": "M-5.5-5.5h11v11h-11Z",
    "diamond": "M0-7.5L7.5 0L0 7.5L-7.5 0Z",
    "wedge": "M0 7L6.5-5H-6.5Z",
    "cross": "M-2.5-7h5v4.5h4.5v5h-4.5v4.5h-5v-4.5h-4.5v-5h4.5Z",
}


@dataclass(frozen=True)
class Stroke:
    """A line of a drawing: its SVG path, the style class, colour ("" for the page's own) and dashes."""

    path: str
    kind: str
    colour: str = ""
    dashes: str = ""


@dataclass(frozen=True)
class Sketch:
    """A drawing: size in units, lines from the lowest up, and the scale bar's length in units and in metres."""

    width: float
    height: float
    strokes: tuple[Stroke, ...]
    bar: float
    bar_m: float


@dataclass(frozen=True)
class _Frame:
    """Places metres of a plane on the sheet, north up."""

    low_m: FloatArray
    scale: float
    width: float
    height: float

    @classmethod
    def round(cls, xy_m: FloatArray, box: tuple[float, float]) -> _Frame:
        low, high = xy_m.min(axis=0), xy_m.max(axis=0)
        size = np.maximum(high - low, 20.0)
        scale = float(min((box[0] - 2 * MARGIN) / size[0], (box[1] - 2 * MARGIN) / size[1]))
        width, height = np.clip(size * scale + 2 * MARGIN, np.array(box) * [0.45, 0.35], box)
        spare = np.array([width, height]) / scale - (high - low)
        return cls(low - spare / 2, scale, float(width), float(height))

    def place(self, xy_m: FloatArray) -> FloatArray:
        sheet = (np.asarray(xy_m).reshape(-1, 2) - self.low_m) * self.scale
        return np.column_stack([sheet[:, 0], self.height - sheet[:, 1]])

    def path(self, xy_m: FloatArray, *, closed: bool = False) -> str:
        """Return the SVG path of a line, in tenths of a unit."""
        if len(xy_m) < 2:
            return ""
        tenths = np.rint(self.place(thin_line(xy_m, THIN / self.scale)) * 10).astype(int)
        steps = np.diff(tenths, axis=0)
        steps = steps[(steps != 0).any(axis=1)]
        start = f"M{_tenth(tenths[0, 0])} {_tenth(tenths[0, 1])}"
        return (
            start + "l" + " ".join(f"{_tenth(x)} {_tenth(y)}" for x, y in steps.tolist()) + ("Z" if closed else "")
            if len(steps)
            else start + "h0"
        )

    def bar(self) -> tuple[float, float]:
        """Return the length of a scale bar in units and in metres: 1, 2 or 5 times a power of ten."""
        length_m = whole_length_m(self.width / 4 / self.scale)
        return length_m * self.scale, length_m


def _tenth(value: int) -> str:
    return f"{value / 10:g}"


def of_event(analysis: Analysis, event: Sequence[Deviation]) -> Sketch | None:
    """Return the stretch of an event with all its recordings, the centreline beside it and some of the way before and after."""
    found = analysis.route_named(event[0].route)
    if found is None or found.centreline is None:
        return None
    off = [(d, _ways_m(analysis, found, d)) for d in event]
    if not any(ways for _, ways in off):
        return None
    from_m, to_m = min(d.from_m for d in event), max(d.to_m for d in event)
    reach_m = max(100.0, 0.5 * (to_m - from_m))
    line = stretch_m(found, from_m - reach_m, to_m + reach_m)
    frame = _Frame.round(np.vstack([line, *(way for _, ways in off for way in ways)]), CARD_BOX)
    strokes = [Stroke(frame.path(line), "line")]
    strokes += [Stroke(frame.path(way), f"off {state(d.flag)}") for d, ways in off for way in ways]
    for d in event:
        strokes += _beside(analysis, found, d, line, reach_m, frame)
    return Sketch(frame.width, frame.height, tuple(s for s in strokes if s.path), *frame.bar())


def _beside(
    analysis: Analysis, found: RouteResult, deviation: Deviation, line: FloatArray, reach_m: float, frame: _Frame
) -> list[Stroke]:
    """Return a recording as far as it runs near a stretch of the line."""
    trace = analysis.traces[deviation.trace]
    look = device_looks(analysis)[trace.device]
    whole = found.route.plane.to_metres(trace.lon_deg, trace.lat_deg)
    middle = (line.min(axis=0) + line.max(axis=0)) / 2
    near = np.abs(whole - middle).max(axis=1) < 3 * reach_m + np.ptp(line, axis=0).max()
    dashes = " ".join(map(str, look.dashes))
    unbroken = parts(trace, analysis.results[deviation.trace])
    runs = [run for part in unbroken for run in _runs(whole, part[near[part]])]
    return [Stroke(frame.path(run), "track", look.colour, dashes) for run in runs]


def _runs(whole_m: FloatArray, near: IntArray) -> list[FloatArray]:
    """Return the parts of a line that are near, each unbroken, at most a few hundred points of it."""
    if len(near) == 0:
        return []
    runs = np.split(near, np.flatnonzero(np.diff(near) > 1) + 1)
    return [whole_m[run[:: max(1, len(run) // 300)]] for run in runs]


def _ways_m(analysis: Analysis, found: RouteResult, deviation: Deviation) -> list[FloatArray]:
    """Return the places of a deviation, of each unbroken part that has any."""
    trace, result = analysis.traces[deviation.trace], analysis.results[deviation.trace]
    unbroken = parts_between(trace, result, deviation.from_point, deviation.to_point)
    return [found.route.plane.to_metres(trace.lon_deg[part], trace.lat_deg[part]) for part in unbroken]

"""The ground of an overlay picture: a panel with streets, centreline, rides, the road ridden before the fixes, and flags."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING

import numpy as np

from gpsq.output import wording
from gpsq.output.drawing.flags import draw_cloth
from gpsq.output.drawing.labels import along_leader, beside
from gpsq.output.drawing.lines import thin_line
from gpsq.output.drawing.route_parts import band_m
from gpsq.output.drawing.sheet import INK, POINTS_PER_INCH, RULE, SMALL_PT, SOFT, STREET, Box, text_width_in
from gpsq.output.drawing.views import whole_length_m

if TYPE_CHECKING:
    from collections.abc import Sequence

    from gpsq.model import FloatArray
    from gpsq.output.drawing.sheet import Sheet
    from gpsq.output.drawing.views import View
    from gpsq.output.overlay.rides import LeftRoad, Overlay, Ridden

#: Lines are thinned to this on the sheet, for drawing only.
THIN_IN = 0.25 / POINTS_PER_INCH
#: Places of lines that labels keep clear of are taken this often.
SAMPLE_IN = 0.06
#: Lines are drawn this far beyond a panel's edge, where they are cut.
RIM_IN = 0.2


@dataclass
class Panel:
    """A part of a sheet that shows ground: where it is, how metres come to it, and what is taken already."""

    sheet: Sheet
    box: Box
    view: View
    taken: list[Box] = field(default_factory=list)
    samples_in: list[FloatArray] = field(default_factory=list)

    def place(self, xy_m: FloatArray) -> FloatArray:
        """Return places on the sheet."""
        return self.view.place(xy_m)

    def line(self, xy_m: FloatArray, colour: str, width_pt: float, *, alpha: float = 1.0, covers: bool = False) -> None:
        """Draw a line that is cut at the panel's edge; `covers`: labels keep clear of it."""
        if not self.near(xy_m):
            return
        for part in inside_runs(self.place(xy_m), self.box.grown(RIM_IN)):
            thinned = thin_line(part, THIN_IN)
            self.sheet.line(thinned, colour, width_pt, alpha=alpha, within=self.box)
            if covers:
                self.samples_in.append(sampled(thinned))

    def near(self, xy_m: FloatArray) -> bool:
        """Return whether any of a line may be inside the panel."""
        if len(xy_m) < 2:
            return False
        (west, east), (south, north) = ((axis.min(), axis.max()) for axis in xy_m.T)
        places = self.place(np.array([(west, south), (east, north), (west, north), (east, south)]))
        low, high = places.min(axis=0), places.max(axis=0)
        return bool(
            low[0] < self.box.right and high[0] > self.box.left and low[1] < self.box.top and high[1] > self.box.bottom
        )

    @property
    def lines_in(self) -> FloatArray:
        """Places of lines to keep clear of, (n, 2)."""
        return np.vstack(self.samples_in) if self.samples_in else np.empty((0, 2))


def inside_runs(xy_in: FloatArray, box: Box) -> list[FloatArray]:
    """Return the stretches of a line that are inside a box, each with the place before and the one after.

    Examples
    --------
    >>> way = np.array([[-2.0, 0.5], [-1.0, 0.5], [0.5, 0.5], [3.0, 0.5], [4.0, 0.5]])
    >>> [run.tolist() for run in inside_runs(way, Box(0.0, 0.0, 1.0, 1.0))]
    [[[-1.0, 0.5], [0.5, 0.5], [3.0, 0.5]]]
    """
    x, y = xy_in.T
    inside = (x >= box.left) & (x <= box.right) & (y >= box.bottom) & (y <= box.top)
    # a step over the whole box has both ends outside
    crosses = (np.minimum(x[1:], x[:-1]) < box.right) & (np.maximum(x[1:], x[:-1]) > box.left)
    crosses &= (np.minimum(y[1:], y[:-1]) < box.top) & (np.maximum(y[1:], y[:-1]) > box.bottom)
    kept = inside.copy()
    kept[1:] |= crosses
    kept[:-1] |= crosses
    numbers = np.flatnonzero(kept)
    runs = np.split(numbers, np.flatnonzero(np.diff(numbers) > 1) + 1) if len(numbers) else []
    return [xy_in[run] for run in runs if len(run) > 1]


def sampled(xy_in: FloatArray) -> FloatArray:
    """Return places along a line, near one another."""
    if len(xy_in) < 2:
        return xy_in
    along = np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(xy_in, axis=0).T))])
    at = np.arange(0.0, along[-1] + SAMPLE_IN, SAMPLE_IN)
    return np.column_stack([np.interp(at, along, xy_in[:, 0]), np.interp(at, along, xy_in[:, 1])])


def draw_ground(panel: Panel, overlay: Overlay, streets_m: Sequence[FloatArray]) -> None:
    """Draw streets, band, centreline and rides, the lowest first."""
    for street in streets_m:
        panel.line(street, STREET, 1.4)
    band = band_m(overlay.found)
    if len(band):
        panel.sheet.area(panel.place(thin_line(band, THIN_IN / panel.view.scale)), INK, alpha=0.09, within=panel.box)
    panel.line(overlay.line_m, RULE, 3.2, covers=True)
    for off in overlay.left_road:
        for way in off.places_m:
            panel.line(way, INK, 6.0, alpha=0.10)
    for ride in overlay.drawn:
        for piece in ride.pieces_m:
            panel.line(piece, overlay.looks[ride.device].colour, 1.0, alpha=0.5, covers=len(overlay.drawn) < 20)


def draw_heads(panel: Panel, overlay: Overlay) -> None:
    """Draw the road ridden before each first fix as dots, a lane for each device beside the line."""
    for lane, (device, look) in enumerate(overlay.looks.items()):
        ways = [r.head_m for r in (*overlay.rides, *overlay.never_fixed) if r.device == device and len(r.head_m) > 1]
        for way in sorted(ways, key=len):
            head = panel.place(thin_line(way, THIN_IN / panel.view.scale))
            panel.sheet.line(
                moved_left(head, (2.6 + 3.0 * lane) / POINTS_PER_INCH), look.colour, 2.4, alpha=0.75,
                dashes_pt=(0.1, 4.4), round_ends=True, within=panel.box,
            )  # fmt: skip


def moved_left(xy_in: FloatArray, by_in: float) -> FloatArray:
    """Return a line moved to the left of travel on the sheet."""
    from gpsq.geometry.polyline import left_normals

    return np.asarray(xy_in + by_in * left_normals(xy_in)) if len(xy_in) > 1 else xy_in


def draw_outline(panel: Panel, places_m: FloatArray, turn: FloatArray) -> None:
    """Outline in a panel the ground that another one shows larger."""
    turned = places_m @ turn.T
    rim = 5.0 / POINTS_PER_INCH / panel.view.scale
    (left, low), (right, high) = turned.min(axis=0) - rim, turned.max(axis=0) + rim
    corners = np.array([(left, low), (right, low), (right, high), (left, high), (left, low)])
    panel.sheet.line(panel.place(corners @ turn), SOFT, 0.8, within=panel.box)


# ---- flags ----


def draw_flag(panel: Panel, overlay: Overlay, ride: Ridden, cloth: Box | None, size_pt: float) -> None:
    """Draw a flag at a first fix: the device's mark at its foot, a mast, and a notched cloth with its text."""
    look = overlay.looks[ride.device]
    x, y = panel.place(ride.fix_m)[0].tolist()
    if cloth is not None:
        panel.sheet.line([(x, y), (x, cloth.top if cloth.bottom >= y else cloth.bottom)], look.colour, 1.1)
        draw_cloth(panel.sheet, cloth, look.colour, ride.flag, size_pt, to_left=cloth.left < x - 0.01)
        panel.taken.append(cloth)
    panel.sheet.mark(look.mark, x, y, 6.5 if cloth is not None else 4.0, look.colour)


# ---- labels and signs ----


def label(
    panel: Panel, anchor_m: FloatArray, text: str, *, colour: str = INK, bold: bool = False, size_pt: float = SMALL_PT,
    leader: bool = True,
) -> bool:  # fmt: skip
    """Write text beside a place, with a leader to it; return whether there was room."""
    place = panel.place(anchor_m)[0]
    size = (text_width_in(text, size_pt, bold=bold) + 0.06, 1.25 * size_pt / POINTS_PER_INCH)
    box = beside(place, size, panel.box.grown(-0.03), panel.taken, panel.lines_in)
    if box is None:
        return False
    if leader:
        end = np.clip(place, [box.left, box.bottom], [box.right, box.top])
        panel.sheet.line([place, end], SOFT, 0.7)
        panel.taken += along_leader(place, box)
    panel.sheet.write(
        box.left + 0.03, box.bottom + 0.27 * size_pt / POINTS_PER_INCH, text, size_pt=size_pt, colour=colour, bold=bold
    )
    panel.taken.append(box)
    return True


def name_left_road(panel: Panel, overlay: Overlay, off: LeftRoad) -> bool:
    """Name a stretch off the road, at the place of its recordings furthest from the line."""
    places = np.vstack(off.places_m)
    if not len(places):
        return False
    line = overlay.line_m
    step = max(1, len(places) // 60)
    far = [float(np.hypot(*(line - place).T).min()) for place in places[::step]]
    return label(panel, places[::step][int(np.argmax(far))], off.said if panel.sheet.wide else off.said_briefly)


def draw_ends(panel: Panel, overlay: Overlay, *, cut: bool = False) -> None:
    """Mark start and finish of the route by bars across it, and write which is which; or that more is hidden there."""
    line = overlay.line_m
    if len(line) < 2:
        return
    places = panel.place(line)
    words = ("shown from", "shown to") if cut else ("start", "finish")
    for word, at, inward, bars in ((words[0], 0, 1, 1), (words[1], -1, -2, 2)):
        way = places[inward] - places[at]
        way = way / max(float(np.hypot(*way)), 1e-9)
        across = 0.07 * np.array([-way[1], way[0]])
        for bar in range(bars):
            middle = places[at] + 0.035 * bar * way
            panel.sheet.line([middle - across, middle + across], INK, 1.6)
        label(panel, line[at], word, bold=True, leader=False)


def draw_direction(panel: Panel, overlay: Overlay) -> None:
    """Draw arrowheads along the centreline, the way that is ridden."""
    inner = thin_line(overlay.line_m, THIN_IN / panel.view.scale)
    places = panel.place(inner)
    if len(places) < 2:
        return
    along = np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(places, axis=0).T))])
    for about in along[-1] * np.array([0.2, 0.4, 0.6, 0.8]):
        at = _straightest(along, places, about + np.linspace(-0.08, 0.08, 9) * along[-1])
        tip, tail = (np.array([np.interp(at + d, along, places[:, k]) for k in (0, 1)]) for d in (0.05, -0.05))
        way = (tip - tail) / max(float(np.hypot(*(tip - tail))), 1e-9)
        left = np.array([-way[1], way[0]])
        head = [tip - 0.09 * way + 0.06 * left, tip, tip - 0.09 * way - 0.06 * left]
        panel.sheet.line(head, SOFT, 1.3, within=panel.box)


def _straightest(along: FloatArray, places: FloatArray, choices: FloatArray) -> float:
    """Return where along a line it bends least over a quarter of an inch."""
    ends = [np.column_stack([np.interp(choices + d, along, places[:, k]) for k in (0, 1)]) for d in (-0.13, 0.0, 0.13)]
    bend = np.hypot(*(ends[0] + ends[2] - 2 * ends[1]).T)
    return float(choices[np.argmin(bend)])


def draw_scale(panel: Panel) -> None:
    """Draw a scale bar and an arrow to the north, in the corner with the fewest lines."""
    most_in = min(1.2, panel.box.width / 3)
    box = _emptiest(panel, most_in + 1.0, 0.34)
    draw_bar(panel, box.left + 0.42, box.bottom + 0.09, most_in)
    _north(panel, np.array([box.left + 0.2, box.bottom + 0.17]))
    panel.taken.append(box)


def draw_bar(panel: Panel, x_in: float, y_in: float, most_in: float) -> None:
    """Draw a scale bar of whole length, its length written behind it."""
    length_m = whole_length_m(most_in / panel.view.scale)
    end_in = x_in + length_m * panel.view.scale
    panel.sheet.line([(x_in, y_in + 0.09), (x_in, y_in), (end_in, y_in), (end_in, y_in + 0.09)], INK, 1.4)
    said = f"{length_m / 1000:g}{wording.GAP}km" if length_m >= 1000 else f"{length_m:g}{wording.GAP}m"
    panel.sheet.write(end_in + 0.07, y_in, said, size_pt=SMALL_PT)


def _north(panel: Panel, middle: FloatArray) -> None:
    north = panel.view.north
    east = np.array([north[1], -north[0]])
    foot = middle - 0.15 * north
    panel.sheet.line([foot, middle + 0.02 * north], INK, 1.4)
    for side in (-1, 1):
        panel.sheet.line([foot + 0.07 * side * east, foot], INK, 1.4)
    at = middle + 0.11 * north
    panel.sheet.write(float(at[0]), float(at[1]) - 0.045, "N", size_pt=SMALL_PT, bold=True, anchor="middle")


def _emptiest(panel: Panel, wide: float, high: float) -> Box:
    """Return the corner of the panel that covers the fewest lines and labels."""
    box = panel.box.grown(-0.04)
    corners = [
        Box(left, bottom, left + wide, bottom + high)
        for bottom in (box.bottom, box.top - high)
        for left in (box.left, box.right - wide)
    ]
    lines = panel.lines_in

    def cost(corner: Box) -> float:
        inside = (
            (lines[:, 0] > corner.left)
            & (lines[:, 0] < corner.right)
            & (lines[:, 1] > corner.bottom)
            & (lines[:, 1] < corner.top)
        )
        return float(inside.sum())

    return min(corners, key=cost)

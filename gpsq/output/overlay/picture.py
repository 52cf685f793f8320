"""The sheet of an overlay picture: title, key, the whole way, and the first stretch enlarged where fixes crowd there."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from gpsq.output import wording
from gpsq.output.drawing.flags import CLOTH_IN, LEVEL_IN, flag_width_in
from gpsq.output.drawing.labels import along_leader, on_mast, two_stairs
from gpsq.output.drawing.lines import thin_line
from gpsq.output.drawing.margin import counted, write_margin
from gpsq.output.drawing.rendering import Drawing
from gpsq.output.drawing.route_parts import stretch_m
from gpsq.output.drawing.sheet import (
    LEADING,
    POINTS_PER_INCH,
    RULE,
    SMALL_PT,
    SOFT,
    TITLE_PT,
    TYPE_PT,
    Box,
    wrapped,
)
from gpsq.output.drawing.views import fitted, left_to_right
from gpsq.output.overlay import ground, titles
from gpsq.output.overlay.ground import Panel
from gpsq.output.overlay.rides import MOST_NAMED, overlays
from gpsq.output.wording import short

if TYPE_CHECKING:
    from collections.abc import Sequence

    from gpsq.model import BoolArray, FloatArray, IntArray
    from gpsq.output.drawing.sheet import Sheet
    from gpsq.output.drawing.views import View
    from gpsq.output.overlay.rides import Overlay, Ridden
    from gpsq.results import Analysis

#: A first stretch that is this share of the way or more needs no picture of its own.
WHOLE_SHARE = 0.6
#: The first stretch reaches to the last fix within this many times the median way missed, but not beyond.
NEAR_FACTOR = 3.0
LEAST_STRETCH_M = 40.0
#: First fixes that all lie nearer the start than a receiver scatters show nothing when they are enlarged.
SCATTER_M = 15.0
#: A turned sheet must show the way so much larger than one with north up.
WORTH_TURNING = 1.25
#: The first stretch must be shown so much larger than the whole way.
WORTH_ENLARGING = 2.5
#: The lowest flag flies this far above the highest foot of a mast.
MAST_IN = 0.12
#: Shares of the first stretch's box that its road may take, the largest first.
ROAD_SHARES = (0.62, 0.5, 0.4, 0.32, 0.25, 0.18)
#: Lines of what is said below the picture, at most.
MOST_ASIDES = 2
#: Flags that carry a label, at most.
MOST_FLAGS = {True: 18, False: 12}


def drawings(analysis: Analysis) -> list[Drawing]:
    """Return the overlay pictures of an analysis."""
    return [_drawing(analysis, overlay) for overlay in overlays(analysis)]


def _drawing(analysis: Analysis, overlay: Overlay) -> Drawing:
    said = titles.finding(overlay)

    def draw(sheet: Sheet) -> None:
        draw_overlay(sheet, analysis, overlay)

    return Drawing(f"overlay-{overlay.name}", said, f"{said}. {titles.key(overlay)}", draw)


def draw_overlay(sheet: Sheet, analysis: Analysis, overlay: Overlay) -> None:
    """Draw the whole picture."""
    from gpsq.output.drawing.streets import lines_m

    recordings = len(overlay.rides) + len(overlay.never_fixed)
    more = f"Streets: {analysis.streets.source or 'source not given'}" if analysis.streets else ""
    counts = counted(overlay.ride_count, recordings)
    alone = f"{short(next(iter(overlay.looks)), 24)}, " if len(overlay.looks) == 1 else ""
    low = write_margin(sheet, analysis, alone + counts, more)
    y = sheet.height_in - 0.36
    y = sheet.paragraph(
        0.2,
        y,
        titles.finding(overlay),
        sheet.width_in - 0.4,
        lines=2 if sheet.wide else 3,
        size_pt=TITLE_PT if sheet.wide else 13.0,
        bold=True,
    )
    y = sheet.paragraph(
        0.2,
        y - 0.24,
        titles.key(overlay),
        sheet.width_in - 0.4,
        lines=2 if sheet.wide else 3,
        size_pt=SMALL_PT,
        colour=SOFT,
    )
    if len(overlay.looks) > 1:
        y = sheet.legend(
            overlay.looks,
            y - 0.25,
            marks=True,
            said=titles.device_counts(overlay),
            size_pt=TYPE_PT if sheet.wide else SMALL_PT,
        )
    # What finds no flag is known only once it is drawn; room is kept as if nothing did.
    most = wrapped("; ".join(titles.asides(overlay, overlay.rides)), SMALL_PT, sheet.width_in - 0.4)
    top = low + 0.07 + max(0, len(most[:MOST_ASIDES]) - 1) * LEADING * SMALL_PT / POINTS_PER_INCH
    area = Box(0.2, top + 0.2, sheet.width_in - 0.2, y - 0.1)
    near = near_flags(overlay)
    main, inset = boxes(area, overlay, bool(near), sheet.wide)
    streets = lines_m(analysis, overlay.found.route.plane, overlay.line_m)
    stairs = near_stairs(overlay, inset, near, MOST_FLAGS[sheet.wide]) if inset else None
    if stairs and stairs.view.scale < WORTH_ENLARGING * whole_view(overlay, main).scale:
        near, main, stairs = [], area, None
    lost = _draw_near(Panel(sheet, inset, stairs.view), overlay, near, stairs, streets) if inset and stairs else []
    lost += _draw_whole(sheet, overlay, main, near, streets, cut=analysis.published)
    notes = titles.asides(overlay, lost)
    sheet.paragraph(
        0.2, top, "; ".join(notes), sheet.width_in - 0.4, lines=MOST_ASIDES, size_pt=SMALL_PT, colour=SOFT
    )  # fmt: skip


def near_flags(overlay: Overlay) -> list[Ridden]:
    """Return the rides whose first fix lies in the first stretch, none where that is most of the way anyhow."""
    along_m = overlay.along_m
    known = [ride for ride in overlay.rides if len(ride.fix_m) and np.isfinite(ride.station_m)]
    if len(known) < 2:
        return []
    gone = np.array([ride.station_m - along_m[0] for ride in known])
    reach_m = max(LEAST_STRETCH_M, NEAR_FACTOR * float(np.median(gone)))
    near = [ride for ride, m in zip(known, gone, strict=True) if m <= reach_m]
    furthest = max(ride.station_m for ride in near) - along_m[0]
    whole_m = along_m[-1] - along_m[0]
    return near if furthest > SCATTER_M and max(furthest, LEAST_STRETCH_M) < WHOLE_SHARE * whole_m else []


def boxes(area: Box, overlay: Overlay, with_near: bool, wide: bool) -> tuple[Box, Box | None]:
    """Share the area between the whole way and the first stretch, so that the whole way is drawn large."""
    if not with_near:
        return area, None
    turned = overlay.line_m @ left_to_right(overlay.line_m).T
    length, breadth = np.maximum(np.ptp(turned, axis=0), 1.0)
    needed = min(0.55 * area.height, breadth / length * (area.width - 0.5) + (1.0 if wide else 0.65))
    if not wide or breadth / length < 0.42:
        split = area.top - max((0.4 if wide else 0.3) * area.height, needed)
        return Box(area.left, split, area.right, area.top), Box(area.left, area.bottom, area.right, split - 0.1)
    split = area.left + 0.56 * area.width
    return Box(area.left, area.bottom, split, area.top), Box(split + 0.1, area.bottom, area.right, area.top)


def _turn(xy_m: FloatArray, box: Box) -> FloatArray:
    """Return north up, or turned left to right where that shows the way much larger."""
    turn = left_to_right(xy_m)
    size = (box.width - 0.7, box.height - 0.5)
    scales = [fitted(xy_m, t, size, (0.0, 0.0)).scale for t in (np.eye(2), turn)]
    return turn if scales[1] > WORTH_TURNING * scales[0] else np.eye(2)


def whole_view(overlay: Overlay, box: Box, also_m: Sequence[FloatArray] = ()) -> View:
    """Return how the whole way lies in its box, with all that left it, and other places."""
    aside = [way for off in overlay.left_road for way in off.places_m] + [ride.head_m for ride in overlay.rides]
    everything = np.vstack([overlay.line_m, *aside, *also_m])
    middle = ((box.left + box.right) / 2, (box.bottom + box.top) / 2)
    return fitted(everything, _turn(everything, box), (box.width - 0.7, box.height - 0.5), middle)


def _draw_whole(
    sheet: Sheet, overlay: Overlay, box: Box, near: Sequence[Ridden], streets: Sequence[FloatArray], *, cut: bool
) -> list[Ridden]:
    """Draw the whole way; return the rides whose flags found no room."""
    others = [ride for ride in overlay.rides if len(ride.fix_m) and ride not in near]
    stairs = None if near or len(others) < 2 else whole_stairs(overlay, box, others, MOST_FLAGS[sheet.wide])
    panel = Panel(sheet, box, stairs.view if stairs else whole_view(overlay, box))
    ground.draw_ground(panel, overlay, streets)
    ground.draw_direction(panel, overlay)
    ground.draw_heads(panel, overlay)
    for ride in near:
        ground.draw_flag(panel, overlay, ride, None, SMALL_PT)
    if near:
        ground.draw_outline(panel, *near_ground(overlay, near))
    lost = _fly(panel, overlay, others, stairs) if stairs else []
    ground.draw_scale(panel)
    ground.draw_ends(panel, overlay, cut=cut)
    if stairs is None:
        lost = _fly_late(panel, overlay, others)
    for off in overlay.left_road[:MOST_NAMED]:
        ground.name_left_road(panel, overlay, off)
    return lost


def _fly_late(panel: Panel, overlay: Overlay, shown: Sequence[Ridden]) -> list[Ridden]:
    """Fly the flags of the whole way, those fixed last first; return those that found no room."""
    lost = []
    for number, ride in enumerate(sorted(shown, key=lambda r: -r.station_m)):
        foot = panel.place(ride.fix_m)[0]
        size = (flag_width_in(ride.flag, SMALL_PT), CLOTH_IN)
        room = number < MOST_FLAGS[panel.sheet.wide]
        cloth = on_mast(foot, size, panel.box.grown(-0.03), panel.taken, panel.lines_in) if room else None
        if cloth is None:
            lost.append(ride)
        else:
            panel.taken += along_leader(foot, cloth)
        ground.draw_flag(panel, overlay, ride, cloth, SMALL_PT)
    return lost


def near_ground(overlay: Overlay, near: Sequence[Ridden]) -> tuple[FloatArray, FloatArray]:
    """Return the places that the first stretch has to show, and how it is turned: the way from left to right."""
    begin_m = float(overlay.along_m[0])
    end_m = max(begin_m + LEAST_STRETCH_M, 1.03 * max(ride.station_m for ride in near))
    stretch = stretch_m(overlay.found, begin_m, end_m)
    return np.vstack([stretch, _fixes(near), *(ride.head_m for ride in near)]), left_to_right(stretch)


@dataclass(frozen=True, eq=False)
class Stairs:
    """How ground lies in a box so that there is room above it for flags on masts: their levels, sides and lowest edge."""

    view: View
    levels: IntArray
    to_left: BoolArray
    widths_in: FloatArray
    lowest_in: float


def near_stairs(overlay: Overlay, box: Box, near: Sequence[Ridden], most: int) -> Stairs:
    """Return how the first stretch lies in its box."""
    places, turn = near_ground(overlay, near)
    return stairs_in(box, places, _fixes(near), turn, _widths(near), most)


def _fixes(rides: Sequence[Ridden]) -> FloatArray:
    """Return where rides were first fixed, (n, 2)."""
    return np.vstack([ride.fix_m for ride in rides])


def _widths(rides: Sequence[Ridden]) -> FloatArray:
    return np.array([flag_width_in(ride.flag, SMALL_PT) for ride in rides])


def _draw_near(
    panel: Panel, overlay: Overlay, near: Sequence[Ridden], stairs: Stairs, streets: Sequence[FloatArray]
) -> list[Ridden]:
    """Draw the first stretch with its flags on masts; return the rides whose flags found no room."""
    box = panel.box
    panel.sheet.block(box, "", edge=RULE, edge_pt=1.0)
    ground.draw_ground(panel, overlay, streets)
    ground.draw_heads(panel, overlay)
    length_m = max(ride.station_m for ride in near) - float(overlay.along_m[0])
    heading = f"The first {wording.metres(length_m)}, enlarged"
    said = panel.sheet.write(box.left + 0.08, box.top - 0.2, heading, size_pt=SMALL_PT, bold=True)
    ground.draw_bar(panel, said.right + 0.2, box.top - 0.2, 1.0)
    return _fly(panel, overlay, near, stairs)


def _fly(panel: Panel, overlay: Overlay, rides: Sequence[Ridden], stairs: Stairs) -> list[Ridden]:
    """Fly flags on masts, the highest first; return the rides whose flags found no room."""
    feet = panel.place(_fixes(rides))
    for i in np.argsort(-stairs.levels).tolist():
        x, wide = float(feet[i, 0]), float(stairs.widths_in[i])
        left, base = x - wide if stairs.to_left[i] else x, stairs.lowest_in + int(stairs.levels[i]) * LEVEL_IN
        cloth = Box(left, base, left + wide, base + CLOTH_IN) if stairs.levels[i] >= 0 else None
        ground.draw_flag(panel, overlay, rides[i], cloth, SMALL_PT)
    return [rides[i] for i in np.flatnonzero(stairs.levels < 0).tolist()]


def whole_stairs(overlay: Overlay, box: Box, rides: Sequence[Ridden], most: int) -> Stairs:
    """Return how the whole way lies in its box with room above it for flags."""
    pieces = [thin_line(piece, 1.0) for ride in overlay.drawn for piece in ride.pieces_m]
    places = np.vstack([overlay.line_m, *pieces])
    fixes = _fixes(rides)
    return stairs_in(box, places, fixes, _turn(overlay.line_m, box), _widths(rides), most)


def stairs_in(
    box: Box, places: FloatArray, fixes: FloatArray, turn: FloatArray, widths: FloatArray, most: int
) -> Stairs:
    """Return how ground lies in a box as large as leaves room for all flags, or with as many as find room."""
    side = float(widths.max()) + 0.12
    wide = max(box.width - 2 * side, 0.4 * box.width)
    for share in ROAD_SHARES:
        high = share * (box.height - 0.4)
        view = fitted(places, turn, (wide, high), (box.left + box.width / 2, box.bottom + 0.12 + high / 2))
        feet, ground_in = view.place(fixes), view.place(places)
        below = _beside_nearest(ground_in[:, 0], feet[:, 0]) < side
        lowest = float(max(feet[:, 1].max(), ground_in[below, 1].max(initial=0.0))) + MAST_IN
        room = max(1, int((box.top - 0.26 - lowest) / LEVEL_IN))
        levels, to_left = two_stairs(feet[:, 0], widths, min(most, room), (box.left, box.right))
        if (levels >= 0).all():
            break
    return Stairs(view, levels, to_left, widths, lowest)


def _beside_nearest(places: FloatArray, feet: FloatArray) -> FloatArray:
    """Return how far each place lies from the nearest foot.

    >>> _beside_nearest(np.array([-1.0, 1.5, 3.0, 9.0]), np.array([4.0, 0.0])).tolist()
    [1.0, 1.5, 1.0, 5.0]
    """
    feet = np.sort(feet)
    after = np.searchsorted(feet, places)
    either = np.abs(places - feet[np.clip([after - 1, after], 0, len(feet) - 1)])
    return np.asarray(either.min(axis=0))

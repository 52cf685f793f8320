"""What stands still in a film of a ride, and what moves over it at a moment."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from gpsq.geometry.polyline import along_m
from gpsq.measures.lead import beginning_of
from gpsq.output import wording
from gpsq.output.drawing.margin import counted, write_margin
from gpsq.output.drawing.sheet import LEAF, POINTS_PER_INCH, RULE, SMALL_PT, SOFT, STREET, TITLE_PT, TYPE_PT, Box, Sheet
from gpsq.output.overlay import ground, picture
from gpsq.output.overlay.ground import Panel
from gpsq.output.ride_days import long_names

if TYPE_CHECKING:
    from collections.abc import Sequence

    from gpsq.model import FloatArray
    from gpsq.output.overlay.rides import Overlay
    from gpsq.output.replay.moments import Moments, Runner
    from gpsq.results import Analysis

ROW_IN = 0.23
MOST_ROWS = 6


@dataclass(frozen=True, eq=False)
class Stage:
    """A film's ground: the sheet that stands still, its panels, and where the rows of the devices and the clock stand."""

    still: Sheet
    overlay: Overlay
    runners: tuple[Runner, ...]
    moments: Moments
    panels: tuple[Panel, ...]
    rows_in: float


def set_up(
    analysis: Analysis,
    overlay: Overlay,
    ride: str,
    runners: Sequence[Runner],
    moments: Moments,
    size_in: tuple[float, float],
) -> Stage:
    """Return the stage of a ride: title, ground, margin."""
    from gpsq.output.drawing.streets import lines_m

    sheet = Sheet(*size_in)
    more = f"Streets: {analysis.streets.source}" if analysis.streets else ""
    low = write_margin(sheet, analysis, counted(1, len(overlay.rides) + len(overlay.never_fixed)), more)
    route = wording.short(overlay.found.route.name, 24)
    title = f"{long_names(analysis).get(ride, ride)}, route {route}"
    y = sheet.height_in - 0.38
    sheet.write(0.2, y, title, size_pt=TITLE_PT, bold=True, most_in=sheet.width_in - 3.4)
    rows = y - 0.3
    top = rows - ROW_IN * min(len(overlay.looks), MOST_ROWS)
    area = Box(0.2, low + 0.05, sheet.width_in - 0.2, top)
    near = picture.near_flags(overlay)
    main, inset = picture.boxes(area, overlay, bool(near), wide=True)
    streets = lines_m(analysis, overlay.found.route.plane, overlay.line_m)
    ways = [runner.xy_m for runner in runners]
    larger = picture.near_stairs(overlay, inset, near, 1).view if inset else None
    if larger and larger.scale < picture.WORTH_ENLARGING * picture.whole_view(overlay, main, ways).scale:
        main, inset = area, None
    panels = [Panel(sheet, main, picture.whole_view(overlay, main, ways))]
    if inset and larger:
        panels.append(Panel(sheet, inset, larger))
        sheet.block(inset, "", edge=RULE, edge_pt=1.0)
        said = sheet.write(
            inset.left + 0.08, inset.top - 0.2, "The first stretch, enlarged", size_pt=SMALL_PT, bold=True
        )
        ground.draw_bar(panels[1], said.right + 0.2, inset.top - 0.2, 1.0)
    for panel in panels:
        _still(panel, overlay, streets)
    ground.draw_direction(panels[0], overlay)
    ground.draw_scale(panels[0])
    ground.draw_ends(panels[0], overlay)
    return Stage(sheet, overlay, tuple(runners), moments, tuple(panels), rows)


def _still(panel: Panel, overlay: Overlay, streets: Sequence[FloatArray]) -> None:
    for street in streets:
        panel.line(street, STREET, 1.4)
    panel.line(overlay.line_m, RULE, 4.0, covers=True)


def moving(stage: Stage, film_s: float) -> Sheet:
    """Return a clear sheet with what moves: clock, ways ridden so far, devices, flags of those that have a fix."""
    s = stage.moments.of(film_s)
    sheet = Sheet(stage.still.width_in, stage.still.height_in)
    _clock(sheet, stage, s, film_s)
    for row, runner in enumerate(stage.runners[:MOST_ROWS]):
        _row(sheet, stage, runner, s, stage.rows_in - row * ROW_IN)
    for still in stage.panels:
        panel = Panel(sheet, still.box, still.view)
        for lane, runner in enumerate(stage.runners):
            _run(panel, stage, runner, s, lane)
    return sheet


def _clock(sheet: Sheet, stage: Stage, s: float, film_s: float) -> None:
    minutes, seconds = divmod(int(s), 60)
    since = (
        "since the start"
        if any(runner.knows_start for runner in stage.runners)
        else "since the first fix; start unknown"
    )
    right = sheet.width_in - 0.2
    sheet.write(right, sheet.height_in - 0.42, f"{minutes}:{seconds:02d}", size_pt=22.0, bold=True, anchor="end")
    speed = f"{since}, {stage.moments.speed(film_s):.0f} times as fast"
    sheet.write(right, sheet.height_in - 0.62, speed, size_pt=SMALL_PT, colour=SOFT, anchor="end")


def _row(sheet: Sheet, stage: Stage, runner: Runner, s: float, y_in: float) -> None:
    """Write one device and what it knows by now."""
    look, fixed = stage.overlay.looks[runner.device], runner.at(s) is not None
    sheet.mark(look.mark, 0.3, y_in + 0.05, 9.0, look.colour if fixed else RULE, LEAF if fixed else SOFT)
    after = f" after {runner.flag}" if runner.knows_start else ""
    missed = f", {runner.missed} missed" if runner.missed else ""
    said = f"fixed{after}{missed}" if fixed else "no fix yet"
    size_pt = TYPE_PT if len(stage.runners) <= MOST_ROWS else SMALL_PT
    sheet.write(
        0.45, y_in, f"{wording.short(runner.device, 24)}: {said}", size_pt=size_pt, most_in=sheet.width_in - 3.6
    )


def _run(panel: Panel, stage: Stage, runner: Runner, s: float, lane: int) -> None:
    """Draw one device: dotted and grey along the road while it has no fix, then its own way; a mast where it was fixed."""
    look, place = stage.overlay.looks[runner.device], runner.at(s)
    waited = _waited(stage, runner, s)
    if len(waited) > 1:
        dotted = ground.moved_left(panel.place(waited), (2.6 + 3.0 * lane) / POINTS_PER_INCH)
        panel.sheet.line(dotted, SOFT, 2.4, dashes_pt=(0.1, 4.6), round_ends=True, within=panel.box)
    if place is None:
        at = panel.place(waited[-1:] if len(waited) else stage.overlay.line_m[:1])[0].tolist()
        if _inside(panel, at):
            panel.sheet.mark(look.mark, at[0], at[1], 9.0, RULE, SOFT)
        return
    for way in runner.ways(s):
        panel.line(way, look.colour, 2.2, alpha=0.8)
    foot, at = panel.place(runner.xy_m[:1])[0].tolist(), panel.place(place)[0].tolist()
    if _inside(panel, foot):
        _flag(panel, foot, look.colour)
    if _inside(panel, at):
        panel.sheet.mark(look.mark, at[0], at[1], 11.0, look.colour)


def _inside(panel: Panel, at: Sequence[float]) -> bool:
    box = panel.box
    return box.left <= at[0] <= box.right and box.bottom <= at[1] <= box.top


def _flag(panel: Panel, foot: Sequence[float], colour: str) -> None:
    """Draw a small flag without text."""
    x, y = foot
    top = y + 0.3
    panel.sheet.line([(x, y), (x, top)], colour, 1.4, within=panel.box)
    cloth = [(x, top), (x + 0.2, top), (x + 0.15, top - 0.06), (x + 0.2, top - 0.12), (x, top - 0.12)]
    panel.sheet.area(cloth, colour, within=panel.box)


def _waited(stage: Stage, runner: Runner, s: float) -> FloatArray:
    """Return the road ridden without a fix until then: evenly in time, as nobody knows better; all of it once fixed."""
    head = next((r.head_m for r in stage.overlay.rides if r.device == runner.device and len(r.head_m) > 1), None)
    if head is None:
        return np.empty((0, 2))
    share = min(1.0, s / runner.seconds[0]) if runner.seconds[0] > 0 else 1.0
    return beginning_of(head, share * float(along_m(head)[-1]))

"""A whole overlay picture: how the sheet is shared, where flags fly, and what is written, wide and square."""

from __future__ import annotations

from dataclasses import replace
from itertools import combinations
from types import SimpleNamespace

import numpy as np
import pytest
from by_hand import by_hand
from output_sample import sample

from gpsq.output import wording
from gpsq.output.drawing.sheet import TITLE_PT, Box, Sheet
from gpsq.output.drawing.views import View, fitted
from gpsq.output.overlay import ground, picture
from gpsq.output.overlay.ground import Panel
from gpsq.output.overlay.rides import overlays

SIZES = ((10.0, 5.625), (4.5, 4.5))
AREA = Box(0.2, 0.4, 9.8, 4.4)


def lines_of(*places):
    return SimpleNamespace(line_m=np.array(places, float), left_road=(), rides=())


def apart(one, other):
    return (
        one.right <= other.left + 0.02
        or other.right <= one.left + 0.02
        or one.top <= other.bottom + 0.02
        or other.top <= one.bottom + 0.02
    )


def drawn(analysis, size, monkeypatch, number=0):
    """Return a picture's sheet, and each flag with its panel, ride and cloth."""
    flags, right = [], ground.draw_flag
    monkeypatch.setattr(
        ground, "draw_flag", lambda p, o, r, cloth, pt: flags.append((p, r, cloth)) or right(p, o, r, cloth, pt)
    )
    sheet, overlay = Sheet(*size), overlays(analysis)[number]
    picture.draw_overlay(sheet, analysis, overlay)
    return sheet, overlay, flags


@pytest.mark.parametrize("size", SIZES)
@pytest.mark.parametrize("rides", [(5, 5), (3, 2), (12, 2)])
def test_flags_fly_over_their_fixes_and_text_stands_apart(size, rides, monkeypatch):
    sheet, overlay, flags = drawn(sample(rides=rides), size, monkeypatch)
    assert {(r.device, r.ride) for _, r, _ in flags} == {(r.device, r.ride) for r in overlay.rides}
    flown = [(p, r, cloth) for p, r, cloth in flags if cloth is not None]
    assert len(flown) >= min(3, len(overlay.rides))
    for panel, ride, cloth in flown:
        x = panel.place(ride.fix_m)[0, 0]
        assert min(abs(cloth.left - x), abs(cloth.right - x)) < 1e-6 or not cloth.left <= x <= cloth.right
        assert panel.box.left - 0.01 <= cloth.left
        assert cloth.right <= panel.box.right + 0.01
        assert panel.box.bottom <= cloth.bottom
        assert cloth.top <= panel.box.top
    assert all(apart(a[2], b[2]) for a, b in combinations(flown, 2) if a[0] is b[0])
    for text in sheet.texts:
        assert (
            text.box.left >= 0.05,
            text.box.bottom >= 0.0,
            text.box.right <= size[0] - 0.05,
            text.box.top <= size[1],
        ) == (True,) * 4
    title, key = sheet.texts[2], sheet.texts[-1]
    assert title.size_pt == (TITLE_PT if size[0] > size[1] else 13.0)
    assert key.y_in > 0.13


def test_a_lone_device_is_named_in_the_margin(monkeypatch):
    for devices, named in ((("Amber",), True), (("Amber", "Basalt"), False)):
        sheet, _, _ = drawn(sample(devices=devices), SIZES[0], monkeypatch)
        assert ("Amber, " in sheet.texts[0].text) is named


def test_where_the_first_stretch_is_enlarged_its_fixes_carry_no_flag_on_the_whole_way(monkeypatch):
    monkeypatch.setattr(picture, "WORTH_ENLARGING", 0.1)
    sheet, overlay, flags = drawn(sample(rides=(5, 5)), SIZES[0], monkeypatch)
    panels = {id(p): p for p, *_ in flags}
    whole, near = sorted(panels.values(), key=lambda p: p.view.scale)
    assert near.view.scale > whole.view.scale
    assert apart(near.box, whole.box)
    inset = {(r.device, r.ride) for p, r, _ in flags if p is near}
    on_whole = {(r.device, r.ride) for p, r, cloth in flags if p is whole and cloth is not None}
    assert inset == {(r.device, r.ride) for r in picture.near_flags(overlay)}
    assert not inset & on_whole
    reach_m = max(ride.station_m for ride in picture.near_flags(overlay)) - overlay.along_m[0]
    assert f"The first {wording.metres(reach_m)}, enlarged" in [text.text for text in sheet.texts]


# ---- how the area is shared ----
def test_without_a_first_stretch_the_whole_way_has_the_area():
    assert picture.boxes(AREA, lines_of((0, 0), (900, 0)), False, True) == (AREA, None)


@pytest.mark.parametrize("wide", [True, False])
def test_a_flat_way_lies_above_its_first_stretch(wide):
    main, inset = picture.boxes(AREA, lines_of((0, 0), (500, 9), (1000, 0)), True, wide)
    assert (main.left, main.right, main.top) == (AREA.left, AREA.right, AREA.top)
    assert (inset.left, inset.right, inset.bottom) == (AREA.left, AREA.right, AREA.bottom)
    assert main.bottom - inset.top == pytest.approx(0.1)
    assert main.height == pytest.approx((0.4 if wide else 0.3) * AREA.height)


@pytest.mark.parametrize(
    ("high", "wide", "height"),
    [(300, True, 0.55 * 4.0), (100, True, 0.1 * 9.1 + 1.0), (100, False, 0.1 * 9.1 + 0.65), (900, False, 0.55 * 4.0)],
)
def test_a_broader_way_has_the_height_that_it_needs_but_not_much_over_half(high, wide, height):
    """Of 4 in of height and 9.6 in of width."""
    main, _ = picture.boxes(AREA, lines_of((0, 0), (0, high), (1000, 0), (1000, high)), True, wide)
    assert main.height == pytest.approx(height, rel=0.02)


def test_a_compact_way_lies_beside_its_first_stretch_on_a_wide_sheet():
    main, inset = picture.boxes(AREA, lines_of((0, 0), (0, 800), (1000, 0), (1000, 800)), True, True)
    assert (main.left, main.bottom, main.top) == (AREA.left, AREA.bottom, AREA.top)
    assert main.width == pytest.approx(0.56 * AREA.width)
    assert (inset.left - main.right, inset.right) == (pytest.approx(0.1), AREA.right)


def test_the_whole_way_lies_in_the_middle_of_its_box_with_all_that_left_it():
    overlay = lines_of((0, 0), (1000, 0))
    view = picture.whole_view(overlay, AREA)
    assert view.place(np.array([500.0, 0.0]))[0] == pytest.approx([5.0, 2.4])
    overlay.left_road = (SimpleNamespace(places_m=(np.array([[0.0, 400.0]]),)),)
    overlay.rides = (SimpleNamespace(head_m=np.array([[-200.0, 0.0]])),)
    ends = picture.whole_view(overlay, AREA, [np.array([[0.0, -100.0]])]).place(
        np.array([[-200.0, -100.0], [1000.0, 400.0]])
    )
    assert ends.mean(axis=0) == pytest.approx([5.0, 2.4])
    assert (ends >= [AREA.left, AREA.bottom]).all()
    assert (ends <= [AREA.right, AREA.top]).all()


# ---- flags on masts ----
def test_flags_fly_at_their_levels_to_their_sides(monkeypatch):
    flown = []
    monkeypatch.setattr(ground, "draw_flag", lambda p, o, r, cloth, pt: flown.append((r.ride, cloth)))
    panel = Panel(Sheet(10.0, 5.0), AREA, View(np.eye(2), 0.01, np.zeros(2), (5.0, 2.0)))
    rides = [SimpleNamespace(ride=f"R{k}", fix_m=np.array([[100.0 * k, 7.0]])) for k in range(3)]
    stairs = picture.Stairs(
        panel.view, np.array([0, 1, -1]), np.array([True, False, False]), np.array([0.8, 0.9, 1.0]), 3.0
    )
    assert picture._fly(panel, None, rides, stairs) == [rides[2]]
    level, high = picture.LEVEL_IN, picture.CLOTH_IN
    assert flown == [
        ("R1", pytest.approx(Box(6.0, 3.0 + level, 6.9, 3.0 + level + high))),
        ("R0", pytest.approx(Box(4.2, 3.0, 5.0, 3.0 + high))),
        ("R2", None),
    ]


def test_ground_is_as_large_as_leaves_room_for_the_flags():
    places, fixes = np.array([[0.0, 0.0], [0.0, 300.0], [300.0, 300.0]]), np.array([[0.0, 0.0], [300.0, 300.0]])
    box, widths = Box(0.0, 0.0, 8.0, 4.4), np.array([0.8, 0.8])
    stairs = picture.stairs_in(box, places, fixes, np.eye(2), widths, 18)
    assert stairs.levels.tolist() == [0, 0]
    assert stairs.view.scale == pytest.approx(0.62 * 4.0 / 300.0)
    crowd = np.column_stack([np.linspace(0.0, 40.0, 14), np.zeros(14)])
    crowded = picture.stairs_in(box, places, crowd, np.eye(2), np.full(14, 0.8), 18)
    assert crowded.view.scale < stairs.view.scale
    assert (crowded.levels >= 0).all()
    size = (8.0 - 2 * 0.92, 0.18 * 4.0)
    assert crowded.view.scale >= fitted(places, np.eye(2), size, (0.0, 0.0)).scale


def test_flags_apart_from_one_another_share_a_level():
    fixes = np.array([[0.0, 0.0], [30.0, 0.0], [400.0, 0.0]])
    stairs = picture.stairs_in(AREA, np.array([[-150.0, 0.0], [500.0, 0.0]]), fixes, np.eye(2), np.full(3, 0.9), 18)
    assert stairs.levels.max() <= 1
    assert stairs.levels[2] == 0


def test_few_flags_of_the_whole_way_fly_on_masts(monkeypatch):
    monkeypatch.setattr(picture, "near_flags", lambda _: [])
    asked, right = [], picture.whole_stairs
    monkeypatch.setattr(
        picture, "whole_stairs", lambda o, b, rides, most: asked.append((len(rides), most)) or right(o, b, rides, most)
    )
    for size in SIZES:
        drawn(by_hand(), size, monkeypatch)
    assert asked == [(2, 18), (2, 12)]
    one = overlays(replace(by_hand()))[1]
    picture.draw_overlay(Sheet(*SIZES[0]), by_hand(), one)
    assert len(asked) == 2  # one alone flies where there is room


def test_who_leaves_the_road_by_far_is_within_the_whole_picture_all_the_same():
    overlay = overlays(by_hand())[0]
    far = overlay.line_m + np.array([0.0, 900.0])
    overlay = replace(overlay, drawn=(*overlay.drawn, replace(overlay.drawn[0], pieces_m=(far,))))
    sheet = Sheet(*SIZES[0])
    view = picture.whole_stairs(overlay, AREA, overlay.rides, 18).view
    x_in, y_in = Panel(sheet, AREA, view).place(np.vstack([overlay.line_m, far])).T
    assert (AREA.left <= x_in.min(), x_in.max() <= AREA.right) == (True, True)
    assert (AREA.bottom <= y_in.min(), y_in.max() <= AREA.top) == (True, True)

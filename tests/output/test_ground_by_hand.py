"""The ground of a picture: what lies where and how long a bar is, on panels of which every place is known."""

from __future__ import annotations

from dataclasses import replace
from types import SimpleNamespace

import numpy as np
import pytest
from by_hand import by_hand

from gpsq.output.drawing.sheet import INK, RULE, SOFT, STREET, Box, Line, Sheet
from gpsq.output.drawing.views import View
from gpsq.output.overlay import ground, picture
from gpsq.output.overlay.ground import Panel
from gpsq.output.overlay.rides import overlays

TURNED = np.array([[0.0, 1.0], [-1.0, 0.0]])  # north is to the right


def panel(scale=0.01, turn=None, box=Box(1.0, 1.0, 5.0, 4.0), sheet=(10.0, 5.0)):  # noqa: B008  # a tuple
    """Return a panel of 4 by 3 in, a hundred metres to an inch, with (0, 0) in its middle."""
    return Panel(Sheet(*sheet), box, View(np.eye(2) if turn is None else turn, scale, np.zeros(2), (3.0, 2.5)))


def lines(of, colour=None):
    return [i for i in of.sheet.items if isinstance(i, Line) and i.colour and colour in (None, i.colour)]


def said(of):
    return [t.text.replace("\xa0", " ").replace("\u202f", " ") for t in of.sheet.texts]


@pytest.fixture(scope="module")
def out():
    return overlays(by_hand())[0]


def road(out, line_m, **more):
    """Return the overlay with another line, 100 m a place, and nothing else but what is given."""
    fields = {"line_m": np.array(line_m, float), "left_road": (), "drawn": (), "rides": (), "never_fixed": ()} | more
    found = SimpleNamespace(centreline=None, route=out.found.route)
    along_m = np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(fields["line_m"], axis=0).T))])
    return SimpleNamespace(**fields, along_m=along_m, looks=out.looks, found=found)


EAST = [(-150.0, 0.0), (-50.0, 0.0), (50.0, 0.0), (150.0, 0.0)]


# ---- lines ----
def test_a_line_is_cut_to_what_is_near_the_panel():
    own = panel()
    own.line(np.array([[-900.0, 0.0], [900.0, 0.0]]), INK, 2.0, covers=True)  # over the whole box in one step
    own.line(np.array([[-900.0, 400.0], [900.0, 400.0]]), INK, 1.0, covers=True)  # above it
    own.line(np.array([[0.0, 0.0]]), INK, 1.0)
    (drawn,) = lines(own)
    assert drawn.xy_in == pytest.approx(np.array([[-6.0, 2.5], [12.0, 2.5]]))
    assert (drawn.within, drawn.width_pt) == (own.box, 2.0)
    assert own.lines_in[0] == pytest.approx([-6.0, 2.5])
    assert np.diff(own.lines_in[:, 0]).max() == pytest.approx(0.06)
    other = panel()
    other.line(np.array([[-50.0, 0.0], [50.0, 0.0]]), INK, 1.0)
    assert other.lines_in.shape == (0, 2)


@pytest.mark.parametrize(
    ("way", "near"),
    [
        ([(-300, 0), (-201, 0)], False), ([(-300, 0), (-199, 0)], True), ([(201, 0), (300, 0)], False),
        ([(0, 151), (0, 300)], False), ([(0, 149), (0, 300)], True), ([(0, -300), (0, -151)], False),
        ([(0, -300), (0, -149)], True), ([(0, 0)], False),
    ],
)  # fmt: skip
def test_what_lies_beyond_an_edge_is_not_near(way, near):
    assert panel().near(np.array(way, float)) is near


def test_on_a_turned_panel_any_corner_of_a_line_may_be_the_one_that_is_near():
    """Turned by 45 degrees the bend lies 100 m below the middle and both ends 383 m below it."""
    turn = np.array([[1.0, 1.0], [-1.0, 1.0]]) / np.sqrt(2.0)
    bend = np.array([(71.0, -471.0), (71.0, -71.0), (471.0, -71.0)])
    assert panel(turn=turn).near(bend)
    assert not panel(turn=turn).near(np.add(bend, [100.0, -100.0]))


def test_runs_inside_a_box_hold_the_places_before_and_after():
    box = Box(0.0, 0.0, 1.0, 1.0)
    way = np.array(
        [[-2, 0.5], [-1, 0.5], [0.2, 0.5], [0.8, 0.5], [2, 0.5], [3, 0.5], [3, 3], [0.5, 3], [0.5, -1], [0, -2]]
    )
    assert [run.tolist() for run in ground.inside_runs(way, box)] == [way[1:5].tolist(), way[7:9].tolist()]
    assert ground.inside_runs(way[5:7], box) == []
    corner = np.array([[0.0, 0.0], [1.0, 1.0]])
    assert [run.tolist() for run in ground.inside_runs(corner, box)] == [corner.tolist()]


def test_places_along_a_line_are_six_hundredths_of_an_inch_apart():
    places = ground.sampled(np.array([[0.0, 0.0], [0.3, 0.0], [0.3, 0.4]]))
    assert np.hypot(*np.diff(places, axis=0).T)[:-2] == pytest.approx(0.06, abs=0.02)
    assert places[[0, 5, -1]] == pytest.approx(np.array([[0.0, 0.0], [0.3, 0.0], [0.3, 0.4]]))
    assert ground.sampled(places[:1]).shape == (1, 2)


def test_streets_line_and_rides_lie_one_over_the_other(out):
    own = panel()
    ride = SimpleNamespace(device="Basalt", pieces_m=(np.array([[0.0, 0.0], [0.0, 90.0]]),))
    off = SimpleNamespace(places_m=(np.array([[0.0, 0.0], [40.0, -50.0]]),))
    ground.draw_ground(own, road(out, EAST, drawn=(ride,), left_road=(off,)), [np.array([[-90.0, 70.0], [90.0, 70.0]])])
    basalt = out.looks["Basalt"].colour
    assert [(i.colour, i.width_pt) for i in lines(own)] == [(STREET, 1.4), (RULE, 3.2), (INK, 6.0), (basalt, 1.0)]
    assert lines(own)[-1].xy_in == pytest.approx(np.array([[3.0, 2.5], [3.0, 3.4]]))
    covered = own.lines_in  # labels keep clear of the line and of the ride, not of streets
    assert covered[:, 1].max() == pytest.approx(3.4)
    assert {round(float(y), 6) for x, y in covered if x < 2.9} == {2.5}


def test_the_road_before_a_fix_is_dotted_left_of_travel_a_lane_for_each_device(out):
    own = panel()
    heads = {"Amber": np.array([[-100.0, 0.0], [0.0, 0.0]]), "Basalt": np.array([[-100.0, 0.0], [90.0, 0.0]])}
    rides = tuple(SimpleNamespace(device=d, head_m=head) for d, head in heads.items())
    ground.draw_heads(
        own,
        road(out, EAST, rides=rides[:1], never_fixed=(*rides[1:], SimpleNamespace(device="Amber", head_m=EAST[:1]))),
    )
    amber, basalt = lines(own)
    assert amber.xy_in == pytest.approx(np.array([[2.0, 2.5 + 2.6 / 72], [3.0, 2.5 + 2.6 / 72]]))
    assert basalt.xy_in == pytest.approx(np.array([[2.0, 2.5 + 5.6 / 72], [3.9, 2.5 + 5.6 / 72]]))
    assert [i.colour for i in (amber, basalt)] == [out.looks[d].colour for d in heads]


def test_the_outline_holds_what_another_panel_shows_larger():
    own = panel()
    ground.draw_outline(own, np.array([[0.0, 0.0], [0.0, 80.0], [20.0, 40.0]]), TURNED)
    (outline,) = lines(own, SOFT)
    rim = 5.0 / 72
    assert outline.xy_in.min(axis=0) == pytest.approx([3.0 - rim, 2.5 - rim])
    assert outline.xy_in.max(axis=0) == pytest.approx([3.2 + rim, 3.3 + rim])
    assert outline.xy_in[0] == pytest.approx(outline.xy_in[-1])


# ---- signs ----
@pytest.mark.parametrize(
    ("scale", "most_in", "length_in", "words"),
    [
        (0.01, 1.2, 1.0, "100 m"),
        (0.01, 0.6, 0.5, "50 m"),
        (0.001, 2.5, 2.0, "2 km"),
        (0.0011, 1.0, 0.55, "500 m"),
        (0.1, 1.0, 1.0, "10 m"),
    ],
)
def test_a_bar_is_as_long_as_it_says(scale, most_in, length_in, words):
    own = panel(scale)
    ground.draw_bar(own, 2.0, 3.0, most_in)
    (bar,) = lines(own)
    assert bar.xy_in[[1, 2]] == pytest.approx(np.array([[2.0, 3.0], [2.0 + length_in, 3.0]]))
    assert said(own) == [words]
    assert own.sheet.texts[0].x_in == pytest.approx(2.0 + length_in + 0.07)


@pytest.mark.parametrize(("turn", "north"), [(None, (0.0, 1.0)), (TURNED, (1.0, 0.0))])
def test_the_arrow_points_north_and_n_stands_at_its_head(turn, north):
    own = panel(turn=turn)
    ground._north(own, np.array([2.0, 2.0]))
    shaft = lines(own)[0].xy_in
    assert (shaft[1] - shaft[0]) / np.hypot(*(shaft[1] - shaft[0])) == pytest.approx(north)
    assert shaft - 2.0 == pytest.approx(np.array([[-0.15], [0.02]]) * north)
    sides = [i.xy_in[0] - shaft[0] for i in lines(own)[1:]]
    assert sides[0] == pytest.approx(-sides[1])
    assert np.hypot(*sides[0]) == pytest.approx(0.07)
    assert sides[0] @ np.array(north) == pytest.approx(0.0)
    (letter,) = own.sheet.texts
    assert np.array([letter.x_in, letter.y_in + 0.045]) - 2.0 == pytest.approx(0.11 * np.array(north))


def test_the_scale_stands_in_the_corner_with_the_fewest_lines(out):
    own = panel()
    for way in ([(-190, -140), (190, -140)], [(-190, 140), (0, 140)]):
        own.line(np.array(way, float), INK, 1.0, covers=True)
    ground.draw_scale(own)
    assert own.taken[-1].right == pytest.approx(5.0 - 0.04)
    assert own.taken[-1].top == pytest.approx(4.0 - 0.04)
    assert said(own) == ["100 m", "N"]


@pytest.mark.parametrize("way", [EAST, EAST[::-1]])
def test_arrowheads_point_the_way_that_is_ridden(out, way):
    own = panel()
    ground.draw_direction(own, road(out, way))
    ahead = np.sign(way[-1][0] - way[0][0])
    heads = [i.xy_in for i in lines(own)]
    assert len(heads) == 4
    for left, tip, right in heads:
        assert (tip[0] - left[0]) * ahead == pytest.approx(0.09)
        assert tip[1] == pytest.approx(2.5)
        assert (left[1] - right[1]) * ahead == pytest.approx(0.12)
        assert right[0] == pytest.approx(left[0])
    shares = [(head[1][0] - 3.0) * ahead / 3.0 + 0.5 for head in heads]
    assert shares == pytest.approx([0.2, 0.4, 0.6, 0.8], abs=0.11)
    ground.draw_direction(own, road(out, way[:1]))
    assert len(lines(own)) == 4


def test_an_arrowhead_is_as_open_on_a_road_that_leads_anywhere(out):
    """To the north-east: its two strokes are as long, and lean as far to either side of the road as on one to the east."""
    own = panel()
    slope = np.array(EAST) @ np.array([[0.6, 0.8], [-0.8, 0.6]])
    ground.draw_direction(own, road(out, slope))
    for left, tip, right in (i.xy_in for i in lines(own)):
        assert [np.hypot(*(end - tip)) for end in (left, right)] == pytest.approx([np.hypot(0.09, 0.06)] * 2)
        assert np.hypot(*(left - right)) == pytest.approx(0.12)


def test_an_arrowhead_stands_where_the_line_bends_least():
    along = np.linspace(0.0, 2.0, 201)
    bent = np.column_stack([np.minimum(along, 1.0), np.maximum(along - 1.0, 0.0)])
    assert ground._straightest(along, bent, np.array([1.0, 1.05, 1.3])) == 1.3
    assert ground._straightest(along, bent, np.array([0.5, 1.0])) == 0.5


@pytest.mark.parametrize(("cut", "words"), [(False, ["start", "finish"]), (True, ["shown from", "shown to"])])
def test_a_bar_marks_the_start_two_the_finish_and_a_cut_way_says_so(out, cut, words):
    own = panel()
    ground.draw_ends(own, road(out, EAST), cut=cut)
    assert said(own) == words
    bars = [i.xy_in for i in lines(own, INK)]
    assert [round(float(b[0, 0]), 3) for b in bars] == [1.5, 4.5, 4.465]
    for bar in bars:
        assert np.ptp(bar[:, 1]) == pytest.approx(0.14)
        assert bar[:, 1].mean() == pytest.approx(2.5)
    start, finish = own.sheet.texts
    assert abs(start.box.left + start.box.right - 3.0) < abs(start.box.left + start.box.right - 9.0)
    assert abs(finish.box.left + finish.box.right - 9.0) < abs(finish.box.left + finish.box.right - 3.0)
    ground.draw_ends(own, road(out, EAST[:1]))
    assert len(own.sheet.texts) == 2


def test_bars_lie_across_a_way_that_is_neither_level_nor_upright(out):
    own = panel()
    ground.draw_ends(own, road(out, [(-90.0, -60.0), (90.0, 120.0)]))
    for bar in (i.xy_in for i in lines(own, INK)):
        assert (bar[1] - bar[0]) @ [1.0, 1.0] == pytest.approx(0.0)
        assert np.hypot(*(bar[1] - bar[0])) == pytest.approx(0.14)


# ---- flags and names ----
def test_a_flag_stands_at_the_first_fix_with_its_mast_to_the_cloth(out):
    own, ride = panel(), replace(out.rides[0], fix_m=np.array([[50.0, -20.0]]))
    look_of, cloth = out.looks[ride.device], Box(3.5, 3.4, 4.4, 3.6)
    ground.draw_flag(own, out, ride, cloth, 9.0)
    mast = lines(own, look_of.colour)[0]
    assert mast.xy_in == pytest.approx(np.array([[3.5, 2.3], [3.5, 3.6]]))
    assert own.taken == [cloth]
    assert said(own) == ["Mon 23 s"]
    for left, notch in ((3.5, 4.4), (2.6, 2.6)):  # a cloth to the right of its mast, and one to the left
        other = panel()
        ground.draw_flag(other, out, ride, Box(left, 3.4, left + 0.9, 3.6), 9.0)
        (shape,) = (i.xy_in for i in other.sheet.items if isinstance(i, Line) and i.fill and len(i.xy_in) == 5)
        (point,) = (x for x, y in shape.tolist() if abs(y - 3.5) < 1e-9)
        assert abs(point - notch) < 0.1 < abs(point - 3.5), "the notch is at the end away from the mast"
    low = panel()
    ground.draw_flag(low, out, ride, Box(3.5, 1.2, 4.4, 1.4), 9.0)
    assert lines(low, look_of.colour)[0].xy_in == pytest.approx(np.array([[3.5, 2.3], [3.5, 1.2]]))
    bare = panel()
    ground.draw_flag(bare, out, ride, None, 9.0)
    assert (bare.taken, said(bare)) == ([], [])
    (mark,) = [i for i in bare.sheet.items if isinstance(i, Line) and i.fill]
    assert (mark.xy_in.min(axis=0) + mark.xy_in.max(axis=0)) / 2 == pytest.approx([3.5, 2.3], abs=0.01)


def test_a_stretch_off_the_road_is_named_where_it_is_furthest(out):
    own = panel()
    off = SimpleNamespace(
        places_m=(np.array([[0.0, 10.0], [30.0, 80.0], [60.0, 20.0]]),), said="Mon: far", said_briefly="far"
    )
    assert ground.name_left_road(own, road(out, EAST), off) is True
    assert lines(own)[0].xy_in[0] == pytest.approx([3.3, 3.3])
    assert said(own) == ["Mon: far"]
    square = panel(sheet=(5.0, 5.0))
    ground.name_left_road(square, road(out, EAST), off)
    assert said(square) == ["far"]
    assert ground.name_left_road(own, road(out, EAST), SimpleNamespace(places_m=(np.empty((0, 2)),))) is False


def test_where_there_is_no_room_nothing_is_written():
    own = panel(box=Box(2.9, 2.4, 3.1, 2.6))
    assert ground.label(own, np.array([0.0, 0.0]), "a long name of a place") is False
    assert own.sheet.items == []


# ---- which flags fly where ----
def flown(out, *stations_m, line_m=5000.0):
    ride = out.rides[0]
    rides = tuple(replace(ride, ride=f"R{k}", station_m=m) for k, m in enumerate(stations_m))
    return SimpleNamespace(rides=rides, along_m=np.array([100.0, 100.0 + line_m]))


@pytest.mark.parametrize(
    ("gone_m", "line_m", "near"),
    [
        ((10, 20, 30, 1000), 5000, 3),  # three times the median of 25 m
        ((10, 20, 75, 1000), 5000, 3), ((30, 30, 90, 1000), 5000, 3), ((30, 30, 91, 1000), 5000, 3),
        ((30, 30, 30, 91), 5000, 3), ((5, 5, 40), 5000, 3), ((5, 5, 41), 5000, 0),  # 40 m at least; 5 m is scatter
        ((15, 15), 5000, 0), ((16, 16), 5000, 2), ((40,), 5000, 0),
        ((59, 59), 100, 2), ((60, 60), 100, 0), ((20, 20), 67, 2), ((20, 20), 66, 0),  # under six tenths of the way
    ],
)  # fmt: skip
def test_the_first_stretch_holds_fixes_that_are_near_one_another_and_far_from_the_end(out, gone_m, line_m, near):
    assert len(picture.near_flags(flown(out, *(100.0 + m for m in gone_m), line_m=line_m))) == near


def test_rides_without_a_fix_or_a_station_are_not_near(out):
    overlay = flown(out, 150.0, 160.0, np.nan)
    bare = replace(overlay.rides[0], fix_m=np.empty((0, 2)))
    assert picture.near_flags(overlay) == list(overlay.rides[:2])
    assert picture.near_flags(SimpleNamespace(rides=(bare, *overlay.rides[1:]), along_m=overlay.along_m)) == []


def test_a_way_is_turned_only_where_that_shows_it_much_larger():
    box = Box(0.0, 0.0, 4.7, 3.5)  # 4.0 by 3.0 in are drawn on
    assert picture._turn(np.array([[0.0, 0.0], [0.0, 1000.0]]), box) == pytest.approx(TURNED)
    wide = np.array([[0.0, 0.0], [1000.0, 0.0]])
    assert picture._turn(wide, box).tolist() == np.eye(2).tolist()
    for high_m, turned in ((1000.0, True), (700.0, False)):  # of 600 m from west to east
        way = np.array([[0.0, 0.0], [0.0, high_m], [600.0, high_m * 0.5]])
        assert (picture._turn(way, box).tolist() != np.eye(2).tolist()) is turned


def test_the_flags_of_the_whole_way_fly_the_latest_first_and_no_more_than_find_room(out, monkeypatch):
    rides = flown(out, 150.0, 350.0, 250.0).rides
    at = [replace(r, fix_m=np.array([[120.0 * k - 120.0, 0.0]])) for k, r in enumerate(rides)]
    own = panel()
    assert picture._fly_late(own, out, at) == []
    assert len(own.sheet.texts) == 3
    monkeypatch.setitem(picture.MOST_FLAGS, True, 2)
    few = panel()
    assert [r.station_m for r in picture._fly_late(few, out, at)] == [150.0]
    assert len(few.sheet.texts) == 2


def test_flags_on_masts_stand_above_their_fixes_in_levels(out):
    """Two fixes an inch apart and one beside the first: no cloth lies over another, and all ground lies in the box."""
    box = Box(1.0, 1.0, 9.0, 5.0)
    fixes = np.array([[0.0, 0.0], [30.0, 0.0], [400.0, 0.0]])
    stairs = picture.stairs_in(box, np.array([*EAST, (500.0, 0.0)]), fixes, np.eye(2), np.array([0.9, 0.9, 0.9]), 18)
    assert (stairs.levels >= 0).all()
    feet = stairs.view.place(fixes)
    assert stairs.lowest_in == pytest.approx(feet[:, 1].max() + picture.MAST_IN)
    ends = stairs.view.place(np.array([*EAST, (500.0, 0.0)]))
    assert (ends[:, 0].min() >= box.left, ends[:, 0].max() <= box.right) == (True, True)
    cloths = [
        (x - 0.9 if left else x, level)
        for (x, _), left, level in zip(feet.tolist(), stairs.to_left, stairs.levels, strict=True)
    ]
    for i, (x, level) in enumerate(cloths):
        assert all(level != other or abs(x - at) >= 0.9 for at, other in cloths[:i])
    few = picture.stairs_in(box, np.array(EAST), fixes, np.eye(2), np.array([0.9, 0.9, 0.9]), 1)
    assert (few.levels < 0).sum() >= 1

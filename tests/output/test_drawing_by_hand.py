"""Where things stand on a sheet: views, axes, labels, lines and what is played, each in closed form or by hand."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from by_hand import FOUND, NAN, by_hand
from hypothesis import given
from hypothesis import strategies as st
from trace_maker import MONDAY, trace_on

from gpsq.model import FirstFix, Gap
from gpsq.output.drawing import labels, lines, looks, plot, route_parts, timing, views
from gpsq.output.drawing.margin import counted, of_all
from gpsq.output.drawing.sheet import Box, Sheet
from gpsq.results import TraceResult

NAT = np.datetime64("NaT", "ms")


# --- views ------------------------------------------------------------------------------------------------------------
def test_a_way_is_turned_to_run_from_left_to_right():
    """Its ends decide which side is right; nothing is mirrored (determinant 1)."""
    for end in ([30.0, 0.0], [-30.0, 0.0], [0.0, 50.0], [-30.0, -40.0]):
        line = np.array([7.0, -3.0]) + np.outer([0.0, 0.5, 1.0], end)
        for shown in (line, line[[0, 2]]):
            turn = views.left_to_right(shown)
            assert np.linalg.det(turn) == pytest.approx(1.0)
            assert (line[-1] - line[0]) @ turn.T == pytest.approx([np.hypot(*end), 0.0], abs=1e-9)
    assert views.left_to_right(np.zeros((1, 2))).tolist() == [[1, 0], [0, 1]]
    bent = np.array([[0.0, 0.0], [10.0, 1.0], [20.0, -1.0], [30.0, 0.0]])  # level as a whole, whatever its bends
    assert abs(np.degrees(np.arctan2(*views.left_to_right(bent)[0][::-1]))) < 3.0


def test_a_view_shows_all_within_its_size_about_its_middle():
    """400 by 100 m in 8 by 4 inches: 1 inch is 50 m; turned by a quarter 400 m are upright, and 4 inches are for them."""
    box = np.array([[100.0, 10.0], [500.0, 110.0], [300.0, 60.0]])
    view = views.fitted(box, np.eye(2), (8.0, 4.0), (5.0, 3.0))
    assert view.scale == pytest.approx(0.02)
    assert view.place(box) == pytest.approx(np.array([[1.0, 2.0], [9.0, 4.0], [5.0, 3.0]]))
    assert view.north.tolist() == [0.0, 1.0]
    quarter = np.array([[0.0, 1.0], [-1.0, 0.0]])  # what was north is to the right
    turned = views.fitted(box, quarter, (8.0, 4.0), (5.0, 3.0))
    assert turned.scale == pytest.approx(0.01)
    assert turned.place(box) == pytest.approx(np.array([[4.5, 5.0], [5.5, 1.0], [5.0, 3.0]]))
    assert turned.north.tolist() == [1.0, 0.0]
    near = views.fitted(np.array([[0.0, 0.0], [3.0, 0.0]]), np.eye(2), (8.0, 4.0), (5.0, 3.0))
    assert near.scale == pytest.approx(8.0 / 30.0)  # three metres are not blown up to eight inches


@pytest.mark.parametrize(
    ("most", "whole"), [(730, 500), (500, 500), (499, 200), (199, 100), (1.9, 1), (0.49, 0.2), (5000, 5000)]
)
def test_whole_lengths(most, whole):
    assert views.whole_length_m(most) == pytest.approx(whole)


# --- axes -------------------------------------------------------------------------------------------------------------
BOX = Box(1.0, 2.0, 5.0, 4.0)


def test_values_stand_where_the_axis_says():
    even = plot.Plot(Sheet(8.0, 4.5), BOX, (10.0, 30.0), (-1.0, 3.0))
    assert even.x_in(np.array([10.0, 15.0, 30.0, 5.0, 99.0])).tolist() == [1.0, 2.0, 5.0, 1.0, 5.0]
    assert even.y_in(np.array([-1.0, 1.0, 3.0, -9.0, 9.0])).tolist() == [2.0, 3.0, 4.0, 2.0, 4.0]
    assert even.place(np.array([20.0]), np.array([0.0])).tolist() == [[3.0, 2.5]]
    log = plot.Plot(Sheet(8.0, 4.5), BOX, (1.0, 100.0), log=True)
    assert log.x_in(np.array([1.0, 10.0, 100.0, 0.1])) == pytest.approx([1.0, 3.0, 5.0, 1.0])
    assert float(log.y_in(0.25)) == 2.5


@pytest.mark.parametrize(("low", "high", "about", "ticks"), [
    (0.0, 11.0, 5, [0, 2, 4, 6, 8, 10]), (-2.0, 2.0, 4, [-2, -1, 0, 1, 2]), (0.3, 0.9, 5, [0.3, 0.4, 0.5, 0.6, 0.7, 0.8, 0.9]),

    (0.0, 1000.0, 2, [0, 500, 1000]), (95.0, 105.0, 5, [96, 98, 100, 102, 104]), (0.0, 0.0, 5, [0.0]),
])  # fmt: skip
def test_round_ticks(low, high, about, ticks):
    found = plot.whole_ticks(low, high, about)
    assert found == pytest.approx(ticks)
    assert [plot.tick_text(t) for t in (0.5, -2.0, 100.0)] == ["0.5", "−2", "100"]


def test_ticks_are_written_below_and_left_where_there_is_room():
    sheet = Sheet(8.0, 4.5)
    axes = plot.Plot(sheet, BOX, (0.0, 10.0), (0.0, 10.0))
    axes.x_axis([0.0, 0.1, 10.0], ["nought", "a tenth", "ten"], "metres")
    assert [(t.text, t.x_in, t.y_in) for t in sheet.texts] == [
        ("nought", 1.0, pytest.approx(1.83)), ("ten", 5.0, pytest.approx(1.83)), ("metres", 1.0, pytest.approx(1.65)),
    ]  # fmt: skip
    ruled = [line.xy_in.tolist() for line in sheet.items if not hasattr(line, "text")]
    assert ruled == [[[1, 2], [5, 2]], [[1, 2], [1, 4]], [[1.04, 2], [1.04, 4]], [[5, 2], [5, 4]]]
    bare = Sheet(8.0, 4.5)
    plot.Plot(bare, BOX, (0.0, 10.0)).x_axis([0.0, 10.0], ["0", "10"], "x", rules=False)
    assert len(bare.items) - len(bare.texts) == 1
    up = Sheet(8.0, 4.5)
    plot.Plot(up, BOX, (0.0, 1.0), (0.0, 10.0)).y_axis([5.0], ["five"])
    assert [item.xy_in.tolist() for item in up.items if not hasattr(item, "text")] == [[[1, 3], [5, 3]]]
    assert [(t.text, t.x_in, t.anchor) for t in up.texts] == [("five", 0.94, "end")]


def test_marks_that_would_touch_are_moved_up_and_down_in_turn():
    assert plot.swarm(np.array([0.0, 0.05, 0.06, 0.07, 0.1, 1.0]), 0.1).tolist() == [0, 1, -1, 2, 0, 0]
    assert plot.swarm(np.array([1.0, 0.0]), 0.1).tolist() == [0, 0]


# --- labels -----------------------------------------------------------------------------------------------------------
@given(st.lists(st.tuples(st.integers(0, 60), st.integers(5, 20)), min_size=1, max_size=14), st.integers(1, 6))
def test_no_flag_lies_over_another_nor_over_a_higher_mast(flags, most):
    """Cloths are as high as a level; the mast of each reaches from the foot to its cloth."""
    x, width = (np.array(v, float) / 10 for v in zip(*flags, strict=True))
    levels, left = labels.two_stairs(x, width, most, (-0.5, 6.5))
    assert levels.max() < most
    shown = np.flatnonzero(levels >= 0)
    cloth = {i: (x[i] - width[i], x[i]) if left[i] else (x[i], x[i] + width[i]) for i in shown}
    for i in shown:
        assert cloth[i][0] >= -0.5 - 1e-9
        assert cloth[i][1] <= 6.5 + 1e-9
        for k in shown:
            apart = cloth[i][1] <= cloth[k][0] + 1e-9 or cloth[k][1] <= cloth[i][0] + 1e-9
            assert i == k or apart or levels[i] != levels[k]
            if i != k and levels[k] > levels[i]:  # the higher flag's mast crosses no lower cloth
                assert not cloth[i][0] + 1e-9 < x[k] < cloth[i][1] - 1e-9


def test_flags_that_touch_nobody_fly_low_and_what_needs_too_much_height_is_left_out():
    assert labels.mast_levels(np.array([0.0, 1.0]), np.array([0.96, 1.0]), 3).tolist() == [0, 0]
    assert labels.mast_levels(np.array([0.0, 1.0]), np.array([0.98, 1.0]), 3).tolist() == [1, 0]
    assert labels.mast_levels(np.zeros(4), np.ones(4), 3).tolist() == [-1, 2, 1, 0]


def test_a_label_stands_at_the_nearest_free_place():
    """In the open it is a reach of .16 inches away; where boxes are taken or lines run, further."""
    inside, anchor, nothing = Box(0.0, 0.0, 8.0, 4.0), np.array([4.0, 2.0]), np.empty((0, 2))
    free = labels.beside(anchor, (0.8, 0.2), inside, [], nothing)
    assert free is not None
    ends = np.clip(anchor, free[:2], free[2:])
    assert np.hypot(*(ends - anchor)) <= 0.16 + 1e-9
    assert (free.width, free.height) == pytest.approx((0.8, 0.2))
    taken = [Box(3.0, 1.0, 5.0, 1.95), Box(3.0, 2.05, 5.0, 3.0)]
    other = labels.beside(anchor, (0.8, 0.2), inside, taken, nothing)
    assert other is not None
    assert not any(labels.overlap(other, box.grown(0.029)) for box in taken)
    assert np.hypot(*(np.clip(anchor, other[:2], other[2:]) - anchor)) > 0.5
    line = np.column_stack([np.linspace(0, 8, 801), np.full(801, 2.1)])
    beside = labels.beside(anchor, (0.8, 0.2), inside, [], line)
    assert beside is not None
    assert not (beside.bottom < 2.1 < beside.top)
    assert labels.beside(anchor, (9.0, 0.2), inside, [], nothing) is None
    assert labels.beside(anchor, (0.8, 0.2), inside, [inside], nothing) is None


def leader(anchor, box):
    return np.linspace(anchor, np.clip(anchor, box[:2], box[2:]), labels.LEADER_PLACES)


def test_the_shortest_leader_goes_first_and_crosses_nothing():
    """In the open the shortest of sixteen directions; a small box on its way sends the label elsewhere."""
    inside, anchor, nothing = Box(0.0, 0.0, 8.0, 4.0), np.array([4.0, 2.0]), np.empty((0, 2))
    free = labels.beside(anchor, (0.8, 0.2), inside, [], nothing)
    angle = np.arange(16) * np.pi / 8
    middles = anchor + np.column_stack([np.cos(angle) * (0.16 + 0.4), np.sin(angle) * (0.16 + 0.1)])
    reaches = [np.hypot(*np.maximum(np.abs(middle - anchor) - [0.4, 0.1], 0.0)) for middle in middles]
    assert np.hypot(*(leader(anchor, free)[-1] - anchor)) == pytest.approx(min(reaches))
    halfway = leader(anchor, free)[7]
    small = Box(halfway[0] - 0.02, halfway[1] - 0.02, halfway[0] + 0.02, halfway[1] + 0.02)
    other = labels.beside(anchor, (0.8, 0.2), inside, [small], nothing)
    places = leader(anchor, other)
    assert not ((np.abs(places - halfway) < 0.02).all(axis=1)).any()
    assert other != free


def test_a_long_leader_crosses_nothing_that_is_taken():
    """Lines all around keep the label an inch away; a small box on half its way is far from the label itself."""
    inside, anchor = Box(0.0, 0.0, 8.0, 8.0), np.array([4.0, 4.0])
    crowd = np.stack(np.meshgrid(np.arange(3.1, 4.95, 0.08), np.arange(3.1, 4.95, 0.08)), axis=-1).reshape(-1, 2)
    for place, size in ((labels.beside, (0.8, 0.2)), (labels.on_mast, (0.3, 0.2))):
        free = place(anchor, size, inside, [], crowd)
        halfway = leader(anchor, free)[7]
        small = Box(halfway[0] - 0.04, halfway[1] - 0.04, halfway[0] + 0.04, halfway[1] + 0.04)
        assert not labels.overlap(free, small.grown(0.2))
        other = place(anchor, size, inside, [small], crowd)
        assert other is not None
        assert not (np.abs(leader(anchor, other) - halfway) < 0.04).all(axis=1).any()


def test_rather_all_flags_higher_than_one_left_out():
    """To the left there is room for no flag: one flies to the right on each of two levels."""
    levels, left = labels.two_stairs(np.array([0.0, 0.1]), np.ones(2), 5, (-0.5, 2.0))
    assert (levels.tolist(), left.tolist()) == ([1, 0], [False, False])


def test_a_flag_on_its_mast_stands_over_or_below_its_foot():
    inside, foot, nothing = Box(0.0, 0.0, 8.0, 4.0), np.array([7.8, 0.1]), np.empty((0, 2))
    flag = labels.on_mast(foot, (1.0, 0.2), inside, [], nothing)
    assert flag == pytest.approx((6.8, 0.26, 7.8, 0.46))  # no room to the right, none below
    high = labels.on_mast(np.array([1.0, 3.9]), (1.0, 0.2), inside, [], nothing)
    assert high == pytest.approx((1.0, 3.54, 2.0, 3.74))
    taken = [Box(6.0, 0.3, 7.7, 0.5)]
    assert labels.on_mast(foot, (1.0, 0.2), inside, taken, nothing) == pytest.approx((6.8, 0.65, 7.8, 0.85))


def test_leaders_are_kept_free_too():
    boxes = labels.along_leader(np.array([0.0, 0.0]), Box(2.0, 0.0, 3.0, 1.0))
    assert len(boxes) == labels.LEADER_PLACES
    assert boxes[0] == pytest.approx((-0.01, -0.01, 0.01, 0.01))
    assert boxes[-1] == pytest.approx((1.99, -0.01, 2.01, 0.01))
    for one, other, share in ((Box(0, 0, 1, 1), Box(0.9, 0.9, 2, 2), True), (Box(0, 0, 1, 1), Box(0, 1, 1, 2), False),
                              (Box(0, 0, 1, 1), Box(-1, 0, 0, 1), False), (Box(0, 0, 9, 9), Box(4, 4, 5, 5), True)):  # fmt: skip
        assert labels.overlap(one, other) == labels.overlap(other, one) == share


# --- lines ------------------------------------------------------------------------------------------------------------
def result(**more):
    fix = more.pop("fix", FirstFix("none"))
    return TraceResult(0, "R1", "A", "scored", "", fix, 1.0, 1.0, **more)


def test_lines_break_at_segments_and_gaps_and_stretches_keep_their_breaks():
    trace = trace_on(np.zeros((8, 2)), segment=np.array([0, 0, 0, 1, 1, 1, 1, 1]), point=np.arange(8) + 10)
    gapped = result(gaps=(Gap(4, 75.0, 121.0), Gap(7, 75.0, 1.0)))
    assert [p.tolist() for p in lines.parts(trace, gapped)] == [[0, 1, 2], [3, 4], [5, 6, 7]]
    assert [p.tolist() for p in lines.parts_between(trace, gapped, 12, 15)] == [[2], [3, 4], [5]]
    assert [p.tolist() for p in lines.parts_between(trace, gapped, 15, 16)] == [[5, 6]]
    assert lines.parts(trace_on(np.zeros((0, 2))), result()) == []


def test_parts_of_two_fixes_are_drawn_and_of_one_not():
    """Amber's six fixes are one part, Basalt's gap leaves two of its five on the one side and three on the other."""
    owner, pieces = lines._pieces(by_hand(), 12.0)
    assert (owner, [len(piece) for piece in pieces]) == ([0, 1, 1, 3], [6, 2, 3, 3])


def test_lines_are_cut_at_the_antimeridian_both_ways():
    """RFC 7946, 3.1.9: from 178 E to 178 W crosses at half the way; a place on the line itself is no piece of its own."""
    east = lines.cut_antimeridian(np.array([170.0, 178.0, -178.0, -170.0]), np.array([0.0, 2.0, 4.0, 5.0]))
    assert [p.tolist() for p in east] == [[[170, 0], [178, 2], [180, 3]], [[-180, 3], [-178, 4], [-170, 5]]]
    west = lines.cut_antimeridian(np.array([-179.0, 178.0]), np.array([0.0, 3.0]))
    assert [p.tolist() for p in west] == [[[-179, 0], [-180, 1]], [[180, 1], [178, 3]]]
    on_it = lines.cut_antimeridian(np.array([179.0, 180.0, -179.0]), np.array([0.0, 1.0, 2.0]))
    assert [p.tolist() for p in on_it] == [[[179, 0], [180, 1]], [[-180, 1], [-179, 2]]]
    whole = lines.cut_antimeridian(np.array([10.0, 11.0, 11.0]), np.array([1.0, 2.0, 2.0]))
    assert [p.tolist() for p in whole] == [[[10, 1], [11, 2]]]
    wide = lines.cut_antimeridian(
        np.array([-90.0, 90.0]), np.array([0.0, 0.0])
    )  # 180 degrees are not the short way round
    assert len(wide) == 1


def test_longitudes_lie_near_where_they_are_drawn():
    assert lines.unwrap(np.array([179.0, -179.0]), 170.0).tolist() == [179.0, 181.0]
    assert lines.unwrap(np.array([-179.0, 179.0]), 170.0).tolist() == [181.0, 179.0]
    assert lines.unwrap(np.array([10.0, 12.0]), -170.0).tolist() == [-350.0, -348.0]
    assert lines.unwrap(np.empty(0), 5.0).size == 0
    empty, first = trace_on(np.zeros((0, 2))), trace_on(np.zeros((2, 2)))
    assert lines.middle_lon_deg([empty, first]) == pytest.approx(-28.0)
    assert lines.middle_lon_deg([empty]) == 0.0
    east = trace_on(np.array([[0.0, 0.0], [9000.0, 0.0]]))
    assert lines.middle_lon_deg([empty, east, first]) == pytest.approx(-28.0)


def test_thinned_lines_are_no_further_off_than_is_said():
    """Of 1,000 places of a bent line those are left that half a metre needs; with a budget of 20 it is thinned further."""
    s = np.linspace(0, 10, 1000)
    trace = trace_on(np.column_stack([s * 100, 50 * np.sin(s)]))
    analysis = by_hand(traces=(trace,), results=(result(),))
    found = lines.thin(analysis, 0.5, 600_000)
    assert (found.points, found.drawn, found.tolerance_m) == (1000, sum(len(p) for p in found.lines[0]), 0.5)
    assert 20 < found.drawn < 100
    few = lines.thin(analysis, 0.5, 20)
    assert few.drawn <= 20
    assert few.tolerance_m == pytest.approx(0.5 * 1.5 ** np.round(np.log(few.tolerance_m / 0.5) / np.log(1.5)))
    import shapely

    for thinned in (found, few):
        line = shapely.LineString(thinned.lines[0][0] * [111_320 * np.cos(np.radians(40.0)), 111_320])
        places = np.column_stack([trace.lon_deg, trace.lat_deg]) * [111_320 * np.cos(np.radians(40.0)), 111_320]
        assert shapely.distance(line, shapely.points(places)).max() <= thinned.tolerance_m * 1.01
    none = lines.thin(by_hand(traces=(trace_on(np.zeros((1, 2))),), results=(result(),)), 0.5, 10)
    assert (none.lines, none.points, none.drawn) == (((),), 1, 0)
    assert len(lines.thin_line(np.array([[0.0, 0.0], [5.0, 0.6], [10.0, 0.0]]), 0.5)) == 3
    assert len(lines.thin_line(np.array([[0.0, 0.0], [5.0, 0.6]]), 9.0)) == 2


# --- what is played, looks, parts of a route ----------------------------------------------------------------------------
def test_a_recording_is_played_from_its_start():
    trace = trace_on(np.column_stack([np.zeros(3), [0.0, 111.0, 222.0]]), start_s=30.0, interval_s=10.0)
    logged = result(fix=FirstFix("log", started=trace.time[0] - np.timedelta64(25, "s"), seconds=25.0))
    assert timing.elapsed_s(trace, logged).tolist() == [25.0, 35.0, 45.0]
    assert timing.elapsed_s(trace, result()).tolist() == [0.0, 10.0, 20.0]
    late = result(fix=FirstFix("log", started=trace.time[1]))
    assert timing.elapsed_s(trace, late).tolist() == [0.0, 10.0, 20.0]
    back = replace(trace, time=trace.time[[0, 2, 1]])
    still = replace(trace, time=trace.time[[0, 0, 0]])
    unknown = replace(trace, time=np.array([MONDAY, NAT, MONDAY]))
    assert [timing.elapsed_s(t, result()) for t in (back, still, unknown, trace_on(np.zeros((1, 2))))] == [None] * 4
    shown = timing.played(trace, logged, -28.0, 1_000_000, many=2)
    assert (shown["from"], shown["step"], shown["known"]) == (25.0, 10.0, True)
    assert shown["at"] == pytest.approx([40_000_000, -28_000_000, 1000, 0, 1000, 0], abs=1)
    assert timing.played(still, logged, -28.0, 1_000_000, many=2) is None
    long = trace_on(np.zeros((500, 2)))
    for many, count in ((200, 240), (201, 60)):
        steps = timing.played(long, result(), -28.0, 1_000_000, many=many)
        assert (len(steps["at"]), steps["step"], steps["known"]) == (
            2 * count,
            pytest.approx(499 / (count - 1), abs=1e-3),
            False,
        )


def test_thirty_six_devices_look_each_its_own():
    seen = [looks.look(number) for number in range(36)]
    assert len(set(seen)) == 36
    assert looks.look(36) == looks.look(0)
    assert [look.colour for look in seen[:6]] == list(looks.OKABE_ITO)
    assert [look.mark for look in seen[:6]] == list(looks.MARKS)
    assert (seen[6].colour, seen[6].mark, seen[7].mark) == (looks.OKABE_ITO[0], "triangle", "square")
    assert list(looks.device_looks(by_hand())) == ["Amber", "Basalt"]
    lost = replace(by_hand().unreadable[0], device="Aa")
    assert list(looks.device_looks(by_hand(unreadable=(lost, replace(lost, device=""))))) == ["Aa", "Amber", "Basalt"]
    assert [looks.state(flag) for flag in ("", "error", "intentional")] == ["unflagged", "error", "intentional"]


def test_parts_of_a_route_by_hand():
    """The line of the way out, with a station each hundred metres or so: half of the way from 101 to 203 m and on to 306 m."""
    found = by_hand().routes[0]
    line = found.centreline
    part = route_parts.stretch_m(found, 152.0, 306.0)
    assert part == pytest.approx(np.array([(line.xy_m[1] + line.xy_m[2]) / 2, line.xy_m[2], line.xy_m[3]]))
    assert route_parts.stretch_m(found, -50.0, 101.0)[[0, -1]] == pytest.approx(line.xy_m[:2])
    assert route_parts.stretch_m(found, 515.0, 999.0)[[0, -1]] == pytest.approx(line.xy_m[5:])
    lineless = replace(found, centreline=None)
    assert route_parts.stretch_m(lineless, 0.0, 9.0).shape == route_parts.band_m(lineless).shape == (0, 2)
    assert route_parts.block_m(lineless, 0.0, 9.0, 5.0).shape == (0, 2)


def test_bands_and_blocks_are_as_wide_as_is_said():
    found = by_hand().routes[0]
    straight = np.column_stack([np.arange(7) * 100.0, np.zeros(7)])
    spread = np.array([1.0, 2.0, NAN, 4.0, 5.0, 6.0, 7.0])
    level = replace(found, centreline=replace(found.centreline, xy_m=straight, spread_m=spread))
    band = route_parts.band_m(level)
    assert band[:7, 1].tolist() == [1, 2, 0, 4, 5, 6, 7]
    assert band[7:, 1].tolist() == [-7, -6, -5, -4, 0, -2, -1]
    block = route_parts.block_m(level, 101.0, 306.0, 12.0)
    assert block.tolist() == [[100, 12], [200, 12], [300, 12], [300, -12], [200, -12], [100, -12]]


def test_hot_spots_come_in_order_and_deviations_by_event():
    turned = replace(by_hand().summaries, hot_spots=by_hand().summaries.hot_spots[::-1])
    assert [spot.from_m for spot in route_parts.hot_spots(by_hand(summaries=turned))] == [203.0, 515.0]
    nameless = replace(FOUND[1], event="")
    assert [[d.id for d in own] for own in route_parts.excursions(FOUND)] == [["d0a", "d1b"], ["d1c"]]
    assert [[d.id for d in own] for own in route_parts.excursions((FOUND[0], nameless, FOUND[2]))] == [
        ["d0a"],
        ["d1b"],
        ["d1c"],
    ]


def test_how_many_rides_and_recordings():
    assert [counted(5, 5), counted(1, 1), counted(1, 3), counted(0, 2)] == [
        "5 rides", "1 ride", "1 ride, 3 recordings", "0 rides, 2 recordings",
    ]  # fmt: skip
    assert of_all(by_hand()) == "3 rides, 4 recordings"

"""What moves in a film at a moment: clock, rows of the devices, ways ridden, dots, masts, on a stage made by hand."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from by_hand import by_hand
from output_sample import sample

from gpsq.output.drawing.sheet import RULE, Box, Line, Sheet
from gpsq.output.drawing.views import View
from gpsq.output.overlay import picture
from gpsq.output.overlay.ground import Panel
from gpsq.output.overlay.rides import overlays
from gpsq.output.replay import film, stage
from gpsq.output.replay.moments import Moments, Runner
from gpsq.output.replay.stage import Stage

#: 400 m from (0, -50) on, on 4 in from (1, 1) on, north up.
VIEW = View(np.eye(2), 0.01, np.array([0.0, -50.0]), (1.0, 1.0))


@pytest.fixture(scope="module")
def out():
    return overlays(by_hand())[0]


def runner(device="Amber", first_s=10.0, **more):
    """Return a device fixed after 10 s, 100 m along a road to the east, that rides on at 5 m/s for 20 s."""
    seconds = first_s + np.arange(5) * 5.0
    fields = {"knows_start": True, "flag": "10 s", "missed": "100 m", "piece": np.zeros(5, dtype=np.int64)} | more
    return Runner(device, seconds, np.column_stack([100.0 + 25.0 * np.arange(5), np.zeros(5)]), **fields)


def set_up(out, *runners, heads=()):
    """Return a stage of 10 by 5 in with one panel of 4 by 1 in; `heads` are the ways ridden before the fixes."""
    heads = dict(heads)
    rides = tuple(replace(ride, head_m=np.array(heads.get(ride.device, np.empty((0, 2))))) for ride in out.rides)
    panel = Panel(Sheet(10.0, 5.0), Box(1.0, 1.0, 5.0, 2.0), VIEW)
    return Stage(Sheet(10.0, 5.0), replace(out, rides=rides), runners, Moments(120.0, 60.0), (panel,), 4.0)


def texts(page):
    return [text.text.replace("\xa0", " ") for text in page.texts]


def test_the_clock_says_the_ride_s_time_and_from_when_it_counts(out):
    page = Sheet(10.0, 5.0)
    stage._clock(page, set_up(out, runner()), 125.9, 8.0)
    assert texts(page) == ["2:05", "since the start, 8 times as fast"]
    assert [(t.x_in, t.anchor) for t in page.texts] == [(9.8, "end"), (9.8, "end")]
    page = Sheet(10.0, 5.0)
    stage._clock(page, set_up(out, runner(knows_start=False)), 59.0, 1.0)
    assert texts(page) == ["0:59", "since the first fix; start unknown, 10 times as fast"]
    page = Sheet(10.0, 5.0)
    stage._clock(page, set_up(out, runner(knows_start=False), runner()), 0.0, 1.0)
    assert texts(page)[1].startswith("since the start")


@pytest.mark.parametrize(
    ("more", "s", "said"),
    [
        ({}, 9.9, "Amber: no fix yet"),
        ({}, 10.0, "Amber: fixed after 10 s, 100 m missed"),
        ({"missed": ""}, 12.0, "Amber: fixed after 10 s"),
        ({"knows_start": False}, 12.0, "Amber: fixed, 100 m missed"),
        ({"knows_start": False, "missed": ""}, 12.0, "Amber: fixed"),
    ],
)
def test_a_row_says_what_its_device_knows_by_now(out, more, s, said):
    one, page = runner(**more), Sheet(10.0, 5.0)
    stage._row(page, set_up(out, one), one, s, 3.0)
    assert texts(page) == [said]
    assert (page.texts[0].x_in, page.texts[0].y_in) == (0.45, 3.0)
    (mark,) = [item for item in page.items if isinstance(item, Line)]
    assert mark.xy_in.mean(axis=0) == pytest.approx([0.3, 3.05], abs=0.02)
    assert (mark.fill == out.looks["Amber"].colour) is (s >= 10.0)


def test_the_road_waited_on_grows_evenly_until_the_fix(out):
    """Its way before the fix has 100 m: after 4 of 10 s it is 40 m of it, then all; without one it is none."""
    one = runner()
    staged = set_up(out, one, heads={"Amber": [[0.0, 0.0], [60.0, 0.0], [60.0, 40.0]]})
    lengths = [np.hypot(*np.diff(stage._waited(staged, one, s), axis=0).T).sum() for s in (4.0, 8.0, 10.0, 99.0)]
    assert lengths == pytest.approx([40.0, 80.0, 100.0, 100.0])
    at_once = runner(first_s=0.0)
    assert np.hypot(*np.diff(stage._waited(staged, at_once, 0.0), axis=0).T).sum() == pytest.approx(100.0)
    assert stage._waited(staged, runner("Basalt"), 5.0).shape == (0, 2)


@pytest.mark.parametrize(
    ("at", "inside"),
    [
        ((1.0, 1.0), True),
        ((5.0, 2.0), True),
        ((0.99, 1.5), False),
        ((5.01, 1.5), False),
        ((3.0, 0.99), False),
        ((3.0, 2.01), False),
    ],
)
def test_what_lies_in_a_panel_or_on_its_edge_is_drawn(at, inside):
    assert stage._inside(Panel(Sheet(10.0, 5.0), Box(1.0, 1.0, 5.0, 2.0), VIEW), at) is inside


def test_a_flag_without_text_flies_on_its_mast():
    page = Sheet(10.0, 5.0)
    stage._flag(Panel(page, Box(1.0, 1.0, 5.0, 2.0), VIEW), (2.0, 1.2), "red")
    mast, cloth = page.items
    assert mast.xy_in == pytest.approx(np.array([[2.0, 1.2], [2.0, 1.5]]))
    assert cloth.xy_in[:, 1].max() == pytest.approx(1.5)
    assert cloth.xy_in[:, 1].min() == pytest.approx(1.38)
    assert cloth.xy_in[:, 0].max() == pytest.approx(2.2)
    assert cloth.xy_in[:, 0].min() == pytest.approx(2.0)
    assert (mast.colour, cloth.fill) == ("red", "red")


def run(out, one, s, **heads):
    """Return what is drawn of a device at a moment: its lines and marks by kind, in inches."""
    page = Sheet(10.0, 5.0)
    staged = set_up(out, one, heads=heads)
    stage._run(Panel(page, Box(1.0, 1.0, 5.0, 2.0), VIEW), staged, one, s, 0)
    lines = [item for item in page.items if isinstance(item, Line)]
    dotted = [line for line in lines if line.dashes_pt]
    marks = [line for line in lines if line.closed and line.width_pt == 1.0]
    ways = [line for line in lines if not line.closed and not line.dashes_pt and line.alpha == 0.8]
    masts = [line for line in lines if not line.closed and line.width_pt == 1.4]
    return dotted, marks, ways, masts


def test_before_its_fix_a_device_waits_in_grey_where_its_dots_have_come(out):
    dotted, marks, ways, masts = run(out, runner(), 5.0, Amber=[[0.0, 0.0], [100.0, 0.0]])
    assert [line.xy_in[:, 0].tolist() for line in dotted] == [pytest.approx([1.0, 1.5])]
    assert dotted[0].xy_in[:, 1] == pytest.approx(1.5 + 2.6 / 72.0)
    assert [mark.xy_in.mean(axis=0).tolist() for mark in marks] == [pytest.approx([1.5, 1.5], abs=0.02)]
    assert marks[0].fill != out.looks["Amber"].colour
    assert (ways, masts) == ([], [])
    nowhere = run(out, runner(), 5.0)
    assert (nowhere[0], nowhere[2], nowhere[3]) == ([], [], [])


def test_after_its_fix_a_device_draws_its_way_from_the_mast_of_its_fix_on(out):
    dotted, marks, ways, masts = run(out, runner(), 17.5, Amber=[[0.0, 0.0], [100.0, 0.0]])
    assert [line.xy_in[[0, -1], 0].tolist() for line in dotted] == [pytest.approx([1.0, 2.0])]
    assert [line.xy_in[[0, -1], 0].tolist() for line in ways] == [pytest.approx([2.0, 2.375])]
    assert ways[0].colour == out.looks["Amber"].colour
    assert [line.xy_in.tolist() for line in masts] == [[pytest.approx([2.0, 1.5]), pytest.approx([2.0, 1.8])]]
    assert marks[-1].xy_in.mean(axis=0) == pytest.approx([2.375, 1.5], abs=0.02)
    assert marks[-1].fill == out.looks["Amber"].colour
    far = replace(runner(), xy_m=runner().xy_m + np.array([0.0, 900.0]))
    assert run(out, far, 17.5) == ([], [], [], [])


def test_each_device_has_its_row_and_each_panel_its_runners(out):
    staged = set_up(out, *[runner()] * 7)
    page = stage.moving(staged, 3.0)  # of 60 s in 6 s of film: 30 s
    assert texts(page)[0] == "0:30"
    rows = [(t.text.split(":")[0], round(t.y_in, 3)) for t in page.texts[2:]]
    assert rows == [("Amber", round(4.0 - 0.23 * k, 3)) for k in range(6)]


def test_the_first_stretch_is_enlarged_below_the_whole_way(monkeypatch):
    """Three devices of one ride, fixed 25, 90 and 330 m along 1,500 m: two of them near one another."""
    analysis = sample()
    found = film.stage_of(analysis, "out 2")
    whole, near = found.panels
    assert near.view.scale > picture.WORTH_ENLARGING * whole.view.scale
    assert (whole.box.bottom > near.box.top, whole.box.left, near.box.right) == (True, 0.2, 9.8)
    assert whole.box.top == pytest.approx(found.rows_in - 3 * stage.ROW_IN)
    said = texts(found.still)
    assert "The first stretch, enlarged" in said
    assert {"start", "finish", "N"} <= set(said)
    (heading,) = (t for t in found.still.texts if t.text == "The first stretch, enlarged")
    (length,) = (t for t in found.still.texts if t.text.endswith("m") and abs(t.y_in - heading.y_in) < 0.01)
    (bar,) = (
        i for i in found.still.items if isinstance(i, Line) and len(i.xy_in) == 4 and i.xy_in[1, 1] == length.y_in
    )
    number, unit = length.text.replace("\u202f", "\xa0").split("\xa0")
    length_m = float(number) * {"m": 1.0, "km": 1000.0}[unit]
    assert np.ptp(bar.xy_in[:, 0]) == pytest.approx(length_m * near.view.scale)
    roads = [i.within for i in found.still.items if isinstance(i, Line) and i.colour == RULE and i.width_pt == 4.0]
    assert roads == [whole.box, near.box], "the line of all lies below either"
    for text in found.still.texts:
        assert (text.box.left >= 0.19, text.box.right <= 9.81, text.box.bottom >= 0.0, text.box.top <= 5.6) == (
            True,
        ) * 4
    monkeypatch.setattr(picture, "WORTH_ENLARGING", 1.1 * near.view.scale / whole.view.scale)
    (alone,) = film.stage_of(analysis, "out 2").panels
    assert alone.box == Box(0.2, near.box.bottom, 9.8, whole.box.top)


def test_a_long_name_of_a_route_is_cut_in_the_title():
    analysis, long = sample(), "x" * 40
    routes = [replace(r, route=replace(r.route, name=long)) if r.route.name == "out" else r for r in analysis.routes]
    results = [replace(r, route=long) if r.route == "out" else r for r in analysis.results]
    titles = texts(film.stage_of(replace(analysis, routes=tuple(routes), results=tuple(results)), "out 2").still)
    (title,) = (title for title in titles if ", route " in title)
    assert title.partition(", route ")[2] == "x" * 12 + "…" + "x" * 11


def test_a_title_ends_before_the_clock_however_long_a_ride_is_called(monkeypatch):
    monkeypatch.setattr(stage, "long_names", lambda _: {"out 2": "y" * 90})
    (title,) = [text for text in film.stage_of(sample(), "out 2").still.texts if text.text.startswith("yyy")]
    assert "…" in title.text
    assert title.box.right <= 10.0 - 3.2

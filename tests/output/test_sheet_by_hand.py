"""The sheet that pictures are drawn on, its margin and its flags, where each letter is a tenth of an inch wide."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
import shapely
from by_hand import by_hand

from gpsq.digests import version
from gpsq.model import FirstFix
from gpsq.output.drawing import flags, margin, sheet
from gpsq.output.drawing.looks import device_looks
from gpsq.output.drawing.sheet import Box, Sheet, Text

NAN = float("nan")


@pytest.fixture(autouse=True)
def letters(monkeypatch):
    """A letter of any type is a tenth of an inch wide, a bold one 0.2."""
    for module in (sheet, margin, flags):
        monkeypatch.setattr(
            module, "text_width_in", lambda text, size_pt, *, bold=False: len(text) * (0.2 if bold else 0.1)
        )


def plain(text):
    return text.replace("\xa0", " ").replace("\u202f", " ")


def written(page):
    return [(plain(t.text), round(t.x_in, 6), round(t.y_in, 6), t.anchor) for t in page.texts]


# ---- the sheet ----
def test_a_box_and_where_text_stands():
    box = Box(1.0, 2.0, 4.0, 8.0)
    assert (box.width, box.height) == (3.0, 6.0)
    assert box.grown(0.5) == Box(0.5, 1.5, 4.5, 8.5)
    for anchor, left in (("start", 5.0), ("middle", 4.0), ("end", 3.0)):
        found = Text(5.0, 1.0, "x", 72.0, "c", False, anchor, 2.0).box
        assert (found.left, found.right) == (left, left + 2.0)
        assert (found.bottom, found.top) == (pytest.approx(1.0 - 0.24), pytest.approx(1.0 + 0.93))


def test_a_sheet_is_wide_where_it_is_wider_than_high():
    assert (Sheet(8.0, 4.5).wide, Sheet(4.5, 4.5).wide, Sheet(4.5, 8.0).wide) == (True, False, False)


def test_a_line_has_two_places_and_an_area_three():
    page = Sheet(8.0, 4.5)
    page.line([(0, 0)], "red")
    page.area([(0, 0), (1, 1)], "red")
    assert page.items == []
    page.line([(0, 0), (1, 1)], "red", 2.0, dashes_pt=(1.0,))
    page.area([(0, 0), (1, 1), (1, 0)], "blue", edge="green", edge_pt=0.5)
    line, area = page.items
    assert (line.colour, line.width_pt, line.dashes_pt, line.closed, line.fill) == ("red", 2.0, (1.0,), False, "")
    assert (area.colour, area.width_pt, area.closed, area.fill) == ("green", 0.5, True, "blue")


def test_a_block_is_filled_or_edged():
    page = Sheet(8.0, 4.5)
    page.block(Box(1, 2, 3, 4), "blue")
    page.block(Box(1, 2, 3, 4), "", edge="red", edge_pt=1.0)
    filled, edged = page.items
    corners = [[1, 2], [3, 2], [3, 4], [1, 4]]
    assert (filled.xy_in.tolist(), filled.fill, filled.closed) == (corners, "blue", True)
    assert (edged.xy_in.tolist(), edged.colour, edged.closed) == ([*corners, corners[0]], "red", False)


def test_a_mark_stands_about_its_place():
    page = Sheet(8.0, 4.5)
    page.mark("square", 2.0, 1.0, 72.0, "blue")
    assert page.items[0].xy_in == pytest.approx(np.array([[1.55, 0.55], [2.45, 0.55], [2.45, 1.45], [1.55, 1.45]]))


def test_text_is_cut_in_its_middle_where_it_is_too_wide():
    page = Sheet(8.0, 4.5)
    assert page.write(1.0, 1.0, "one  two\nthree") == page.texts[0].box
    page.write(1.0, 1.0, " ")
    assert [t.text for t in page.texts] == ["one two three"]
    assert sheet.fitted("abcdefghij", 11.0, 1.0) == "abcdefghij"
    assert len(sheet.fitted("abcdefghij", 11.0, 0.9)) == 9
    assert sheet.fitted("abcdefghij", 11.0, 0.52) == "ab…ij"
    assert len(sheet.fitted("abcdefghij", 11.0, 0.9, bold=True)) == 4


def test_text_is_broken_between_words():
    assert sheet.wrapped("one two three", 11.0, 0.71) == ["one two", "three"]
    assert sheet.wrapped("one two three", 11.0, 0.69) == ["one", "two", "three"]
    assert sheet.wrapped("incomprehensible to us", 11.0, 0.5) == ["incomprehensible", "to us"]
    assert sheet.wrapped("one two three", 11.0, 0.71, bold=True) == ["one", "two", "three"]
    assert sheet.wrapped("a b c d", 11.0, 0.5) == ["a b c", "d"]


def test_a_paragraph_goes_down_by_124_per_cent_of_its_size_and_its_last_line_is_cut():
    page = Sheet(8.0, 4.5)
    low = page.paragraph(1.0, 4.0, "one two three four", 0.8, lines=2, size_pt=72.0)
    assert low == pytest.approx(4.0 - 1.24)
    (first, second) = page.texts
    assert (first.text, first.y_in, second.y_in) == ("one two", 4.0, pytest.approx(2.76))
    assert len(second.text) == 8
    assert second.text.startswith("thr")
    assert Sheet(8.0, 4.5).paragraph(1.0, 4.0, "one", 0.8, lines=2, size_pt=72.0) == 4.0
    three = Sheet(8.0, 4.5)
    assert three.paragraph(1.0, 4.0, "one two three four", 0.8, lines=3, size_pt=72.0) == pytest.approx(4.0 - 2.48)
    assert [t.text for t in three.texts] == ["one two", "three", "four"]


def looks():

    return device_looks(by_hand())


def test_the_key_of_the_devices_goes_on_in_a_next_row_where_there_is_no_room():
    """Each has 0.42 in for its line and 0.1 a letter, and 0.2 to the next; from the right edge 0.15 stay free."""
    each = looks()
    assert list(each) == ["Amber", "Basalt"]
    page = Sheet(3.0, 2.0)
    assert page.legend(each, 1.5) == 1.5
    assert written(page) == [("Amber", 0.62, 1.5, "start"), ("Basalt", 1.74, 1.5, "start")]
    lines = [item for item in page.items if not isinstance(item, Text)]
    assert [line.xy_in[:, 0].tolist() for line in lines] == [
        [0.2, pytest.approx(0.54)],
        [pytest.approx(1.32), pytest.approx(1.66)],
    ]
    assert [line.xy_in[0, 1] for line in lines] == [1.55, 1.55]
    narrow = Sheet(2.4, 2.4)
    low = narrow.legend(each, 1.5, size_pt=72.0, marks=True, said={"Amber": "five!"})
    assert low == pytest.approx(1.5 - 1.55)
    assert written(narrow) == [("five!", 0.62, 1.5, "start"), ("Basalt", 0.62, -0.05, "start")]
    assert [len(item.xy_in) > 2 for item in narrow.items if not isinstance(item, Text)] == [True, True]


# ---- the margin ----
@pytest.mark.parametrize(
    ("rides", "recordings", "said"),
    [
        (1, 1, "1 ride"),
        (5, 5, "5 rides"),
        (1, 3, "1 ride, 3 recordings"),
        (2, 1, "2 rides, 1 recordings"),
        (0, 0, "0 rides"),
    ],
)
def test_how_many_rides_and_recordings(rides, recordings, said):
    assert margin.counted(rides, recordings) == said


def test_the_margin_says_campaign_counts_days_and_source():
    whole = by_hand()
    assert margin.of_all(whole) == "3 rides, 4 recordings"
    source = f"Source: own recordings, measured by gpsq {version()}"
    page = Sheet(20.0, 5.0)
    assert margin.write_margin(page, whole, "3 rides") == pytest.approx(0.29)
    left, right = page.texts
    assert (left.x_in, left.y_in, left.anchor) == (0.2, 0.13, "start")
    assert plain(left.text).startswith("Quay and weir · 3 rides · ")
    assert (right.text, right.x_in, right.y_in, right.anchor) == (source, pytest.approx(19.8), 0.13, "end")
    two = Sheet(8.0, 5.0)  # both do not fit beside each other
    assert margin.write_margin(two, replace(whole, published=True), "", "More") == pytest.approx(0.13 + 2 * 0.16)
    assert [(t.x_in, pytest.approx(t.y_in), t.anchor) for t in two.texts] == [
        (0.2, 0.29, "start"),
        (0.2, 0.13, "start"),
    ]
    assert plain(two.texts[0].text).startswith("Quay and weir · ")
    assert "3 rides" not in two.texts[0].text
    assert two.texts[1].text.endswith("fixes moved along the road. More")
    square = Sheet(5.0, 5.0)
    high = margin.write_margin(square, whole, "3 rides")
    assert high == pytest.approx(0.13 + len(square.texts) * 0.16)
    assert 2 < len(square.texts) <= 4
    assert " ".join(t.text for t in square.texts).endswith(version())
    assert [t.y_in for t in square.texts] == pytest.approx([0.13 + 0.16 * k for k in range(len(square.texts))][::-1])


# ---- flags ----
@pytest.mark.parametrize(
    ("fix", "said"),
    [
        (FirstFix("log", seconds=26.2, at_least_s=5.0, estimate_s=7.0, missed_m=9.0), "26 s"),
        (FirstFix("log", at_least_s=90.0, estimate_s=7.0, missed_m=9.0), "≥ 90 s"),
        (FirstFix("log", estimate_s=7.0, missed_m=9.0), "≈ 7 s"),
        (FirstFix("log", missed_m=65.0), "65 m"),
        (FirstFix("log", missed_m=65.0, missed_is_minimum=True), "≥ 65 m"),
        (FirstFix("none"), ""),
    ],
)
def test_what_a_flag_says_of_a_first_fix(fix, said):
    assert plain(flags.flag_text(fix)) == said


@pytest.mark.parametrize(
    ("to_left", "edge", "text_in"),
    [
        (False, [[1.0, 1.0], [2.0, 1.0], [1.94, 1.1], [2.0, 1.2], [1.0, 1.2]], 1.06),
        (True, [[2.0, 1.0], [1.0, 1.0], [1.06, 1.1], [1.0, 1.2], [2.0, 1.2]], 1.12),
    ],
)
def test_a_cloth_is_notched_away_from_its_mast(to_left, edge, text_in):
    page = Sheet(8.0, 4.5)
    flags.draw_cloth(page, Box(1.0, 1.0, 2.0, 1.2), "red", "5 s", 10.0, to_left=to_left)
    cloth, text = page.items
    assert cloth.xy_in == pytest.approx(np.array(edge))
    assert cloth.colour == "red"
    assert (text.text, text.x_in, text.y_in) == ("5 s", pytest.approx(text_in), pytest.approx(1.1 - 0.36 * 10.0 / 72.0))
    assert flags.flag_width_in("12345", 10.0) == pytest.approx(0.5 + 0.12 + 0.06)


def test_marks_are_alike_left_and_right_and_about_as_large_and_none_is_another():
    """Each is its own mirror image, lies about its place, and covers about as much as the disc of the same size."""
    shapes = {}
    for kind, corners in sheet.MARKS.items():
        mirrored = {(round(-x, 9) + 0.0, round(y, 9) + 0.0) for x, y in corners}
        assert mirrored == {(round(x, 9) + 0.0, round(y, 9) + 0.0) for x, y in corners}, kind
        shape = shapely.Polygon(corners)
        assert shape.is_valid, kind
        assert 0.6 * np.pi < shape.area < 1.25 * np.pi, kind
        assert shape.contains(shapely.Point(0.0, 0.0)), kind
        shapes[kind] = shape
    assert len({shape.normalize().wkt for shape in shapes.values()}) == len(shapes)


def test_the_key_shows_marks_in_the_middle_of_where_lines_would_be():
    page = Sheet(8.0, 4.5)
    page.legend(device_looks(by_hand()), 1.5, marks=True)
    marks = [item.xy_in for item in page.items if not isinstance(item, Text)]
    assert [(m.min(axis=0)[0] + m.max(axis=0)[0]) / 2 for m in marks] == pytest.approx([0.37, 1.49])


def test_dashes_on_a_sheet_are_half_as_long_as_on_the_map():
    look = replace(device_looks(by_hand())["Amber"], dashes=(6, 3))
    assert sheet.dashes(look) == (3.0, 1.5)

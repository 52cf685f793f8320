"""A sheet as SVG and as pixels: what stands where, in which colour and how thick, on sheets with one thing each."""

from __future__ import annotations

import io
import re

import numpy as np
import pytest
from lxml import etree
from PIL import Image

from gpsq.output.drawing import rendering
from gpsq.output.drawing.rendering import Canvas, Chart, Drawing, following, pixels, png, svg_text
from gpsq.output.drawing.sheet import INK, LEAF, RULE, SOFT, STREET, Box, Sheet

NS = {"s": "http://www.w3.org/2000/svg"}
PAPER = (255, 253, 248)


def elements(page, name="a-10"):
    """Return all that is drawn on a sheet of its SVG, but for the paper."""
    root = etree.fromstring(svg_text(page, name, "A <title>").encode())
    return root, root.xpath("s:path[position()>1] | s:text", namespaces=NS)


def style_of(element):
    return dict(part.split(":") for part in element.get("style").split(";"))


# ---- SVG ----
def test_a_sheet_is_as_wide_and_high_in_points():
    root, drawn = elements(Sheet(10.0, 5.0))
    assert (root.get("viewBox"), root.get("width"), root.get("height")) == ("0 0 720 360", "720pt", "360pt")
    assert root.xpath("string(s:title)", namespaces=NS) == "A <title>"
    assert drawn == []
    (paper,) = root.xpath("s:path", namespaces=NS)
    assert (paper.get("d"), paper.get("style")) == ("M0 0H720V360H0Z", f"fill:{LEAF}")


def test_a_line_has_its_places_from_the_top_and_its_looks():
    page = Sheet(10.0, 5.0)
    page.line([(1.0, 1.0), (2.0, 4.0)], "#123456", 2.5, alpha=0.5, dashes_pt=(3.0, 1.5), round_ends=True)
    page.line([(1.0, 1.0), (2.0, 4.0)], "#123456")
    first, second = elements(page)[1]
    assert first.get("d") == "M72 288L144 72"
    assert style_of(first) == {
        "fill": "none", "stroke": "#123456", "stroke-width": "2.5", "stroke-linejoin": "round", "stroke-linecap": "round",
        "stroke-dasharray": "3 1.5", "opacity": "0.5",
    }  # fmt: skip
    assert style_of(second) == {"fill": "none", "stroke": "#123456", "stroke-width": "1", "stroke-linejoin": "round"}


def test_places_are_written_to_a_hundredth_of_a_point():
    page = Sheet(10.0, 5.0)
    page.line([(0.123456, 0.0), (1.0, 4.654321)])
    assert elements(page)[1][0].get("d") == "M8.89 360L72 24.89"


def test_an_area_is_closed_and_cut_where_it_is_to_be():
    page = Sheet(10.0, 5.0)
    box, other = Box(1.0, 2.0, 4.0, 3.0), Box(0.0, 0.0, 1.0, 1.0)
    for within in (box, other, box):
        page.area([(0, 0), (5, 0), (5, 5)], "#abcdef", within=within)
    root, drawn = elements(page, "Über all!")
    assert [e.get("d") for e in drawn] == ["M0 360L360 360L360 0Z"] * 3
    assert [style_of(e) for e in drawn] == [{"fill": "#abcdef"}] * 3
    assert [e.get("clip-path") for e in drawn] == ["url(#-ber-all--0)", "url(#-ber-all--1)", "url(#-ber-all--0)"]
    clips = root.xpath("s:defs/s:clipPath", namespaces=NS)
    assert [c.get("id") for c in clips] == ["-ber-all--0", "-ber-all--1"]
    assert dict(clips[0][0].attrib) == {"x": "72.00", "y": "144.00", "width": "216.00", "height": "72.00"}


def test_text_is_text_at_its_place_and_of_its_width():
    page = Sheet(10.0, 5.0)
    page.write(1.0, 2.0, "<Quay> & weir", size_pt=9.0)
    page.write(3.0, 2.0, "bold", bold=True, anchor="end")
    plain, bold = elements(page)[1]
    assert (plain.text, plain.get("x"), plain.get("y"), plain.get("text-anchor")) == (
        "<Quay> & weir",
        "72.00",
        "216.00",
        None,
    )
    assert plain.get("lengthAdjust") == "spacingAndGlyphs"  # in another font letters grow or shrink, not the gaps alone
    assert float(plain.get("textLength")) == pytest.approx(page.texts[0].width_in * 72.0, abs=0.01)
    assert style_of(plain) == {"font-size": "9px", "fill": INK}
    assert bold.get("text-anchor") == "end"
    assert style_of(bold)["font-weight"] == "bold"


def chart():
    def draw(page):
        page.line([(1.0, 1.0), (2.0, 1.0)], INK)
        page.write(1.0, 2.0, "{$`")

    (found,) = rendering.rendered([Drawing("first", "Title", "Finding", draw)])
    return found


def test_a_chart_comes_wide_and_square_as_svg_and_png():
    """1920 by 1080 and 1080 by 1080 pixels."""
    found = chart()
    assert (found.name, found.title, found.finding) == ("first", "Title", "Finding")
    sizes = [Image.open(io.BytesIO(data)).size for data in (found.wide_png, found.square_png)]
    assert sizes == [(1920, 1080), (1080, 1080)]
    assert Image.open(io.BytesIO(found.wide_png)).info["dpi"] == pytest.approx((192, 192), abs=0.1)
    assert 'viewBox="0 0 720 405"' in found.wide_svg
    assert 'viewBox="0 0 324 324"' in found.square_svg


def test_inside_a_page_a_chart_takes_the_pages_colours_and_has_no_title():
    found = chart()
    wide, square = found.inline(wide=True), found.inline(wide=False)
    assert wide.startswith('<svg viewBox="0 0 720 405" aria-hidden="true" focusable="false">')
    assert square.startswith('<svg viewBox="0 0 324 324"')
    assert "<title>" not in wide
    assert "stroke:var(--ink)" in wide
    assert INK not in wide
    assert LEAF not in wide
    assert "&#123;&#36;&#96;" in wide
    assert "repr" not in repr(found)
    assert "png" not in repr(Chart("a", "b", "c", "", "", b"", b""))


def test_each_colour_of_the_sheet_follows_its_own_of_the_page():
    shades = {INK: "ink", SOFT: "soft", RULE: "rule", LEAF: "leaf", STREET: "street"}

    def draw(page):
        for k, colour in enumerate([*shades, "#0072B2"]):
            page.line([(1.0, 1.0 + k / 9), (2.0, 1.0 + k / 9)], colour)

    (found,) = rendering.rendered([Drawing("first", "Title", "Finding", draw)])
    wanted = [*(f"var(--{name})" for name in shades.values()), "#0072B2"]
    assert re.findall(r"stroke:([^;]+)", found.inline(wide=True)) == wanted


def test_a_file_that_follows_the_look_brings_its_colours_along():
    said = following(chart().wide_svg)
    assert said.count("<style>") == 1
    assert said.index("<style>") < said.index("<defs>")
    assert "--ink" in said[said.index("<style>") : said.index("</style>")]
    assert "stroke:var(--ink)" in said


# ---- pixels ----
def colour_at(page, x_in, y_in, dpi=100):
    found = pixels(page, dpi)
    assert found.shape == (round(page.height_in * dpi), round(page.width_in * dpi), 4)
    return tuple(int(v) for v in found[int((page.height_in - y_in) * dpi), int(x_in * dpi), :3])


def test_the_paper_is_filled_to_its_corners():
    page = Sheet(2.0, 1.0)
    assert {colour_at(page, x, y) for x in (0.005, 1.99) for y in (0.005, 0.99)} == {PAPER}


def test_an_area_is_filled_inside_its_edge_and_cut():
    page = Sheet(4.0, 2.0)
    page.block(Box(1.0, 0.5, 3.0, 1.5), "#ff0000")
    assert colour_at(page, 2.0, 1.0) == (255, 0, 0)
    assert colour_at(page, 1.02, 0.52) == (255, 0, 0)  # no edge is drawn
    assert colour_at(page, 0.98, 1.0) == PAPER
    assert (pixels(page, 100)[:, :, :3] != PAPER).any(axis=2).sum() == 200 * 100
    cut = Sheet(4.0, 2.0)
    cut.area([(1, 0.5), (3, 0.5), (3, 1.5), (1, 1.5)], "#ff0000", within=Box(0.0, 0.0, 2.0, 2.0))
    assert (colour_at(cut, 1.5, 1.0), colour_at(cut, 2.5, 1.0)) == ((255, 0, 0), PAPER)


def test_a_line_is_as_thick_as_asked_for_with_gaps_where_it_is_dashed():
    """36 points are half an inch; dashes of 36 and gaps of 36 points begin with a dash."""
    page = Sheet(4.0, 2.0)
    page.line([(0.5, 1.0), (3.5, 1.0)], "#0000ff", 36.0)
    assert [colour_at(page, 2.0, y) for y in (0.72, 0.78, 1.22, 1.28)] == [PAPER, (0, 0, 255), (0, 0, 255), PAPER]
    assert colour_at(page, 0.4, 1.0) == PAPER
    dashed = Sheet(4.0, 2.0)
    dashed.line([(0.5, 1.0), (3.5, 1.0)], "#0000ff", 10.0, dashes_pt=(36.0, 36.0))
    assert [colour_at(dashed, x, 1.0) == (0, 0, 255) for x in (0.75, 1.25, 1.75, 2.25)] == [True, False, True, False]
    assert colour_at(dashed, 0.507, 1.0) == colour_at(dashed, 0.993, 1.0) == (0, 0, 255)
    rounded = Sheet(4.0, 2.0)
    rounded.line([(0.5, 1.0), (3.5, 1.0)], "#0000ff", 36.0, round_ends=True)
    assert colour_at(rounded, 0.4, 1.0) == (0, 0, 255)
    faint = Sheet(4.0, 2.0)
    faint.line([(0.5, 1.0), (3.5, 1.0)], "#000000", 36.0, alpha=0.5)
    assert np.abs(np.array(colour_at(faint, 2.0, 1.0)) - np.array(PAPER) / 2).max() < 3


def test_text_stands_where_it_was_measured():
    page = Sheet(4.0, 2.0)
    box = page.write(2.0, 1.0, "Hxxxg", size_pt=36.0, anchor="middle")
    painted = (np.array(pixels(page, 100))[:, :, :3] != PAPER).any(axis=2)
    rows, columns = np.flatnonzero(painted.any(axis=1)), np.flatnonzero(painted.any(axis=0))
    assert (columns[0] / 100, columns[-1] / 100) == pytest.approx((box.left, box.right), abs=0.06)
    assert box.bottom - 0.02 <= 2.0 - rows[-1] / 100 < 1.0
    assert 1.3 < 2.0 - rows[0] / 100 <= box.top + 0.02


def test_bold_text_has_more_ink_in_pixels_too():
    inks = []
    for bold in (False, True):
        page = Sheet(2.0, 1.0)
        page.write(0.2, 0.5, "HHHHHH", bold=bold)
        inks.append(int((pixels(page, 100)[..., :3].sum(axis=2) < 300).sum()))
    assert inks[1] > 1.2 * inks[0] > 0


def test_signs_of_formulas_in_a_name_are_drawn_as_they_are():
    page = Sheet(4.0, 2.0)
    box = page.write(2.0, 1.0, "$x_1^2$", size_pt=36.0, anchor="middle")
    columns = np.flatnonzero((np.array(pixels(page, 100))[:, :, :3] != PAPER).any(axis=(0, 2)))
    assert (columns[0] / 100, columns[-1] / 100) == pytest.approx((box.left, box.right), abs=0.06)


def test_one_drawing_after_another_stands_on_the_ground_that_is_kept():
    ground, first, second = Sheet(2.0, 1.0), Sheet(2.0, 1.0), Sheet(2.0, 1.0)
    ground.block(Box(0.0, 0.0, 0.5, 1.0), "#ff0000")
    first.block(Box(0.5, 0.0, 1.0, 1.0), "#00ff00")
    second.block(Box(1.0, 0.0, 1.5, 1.0), "#0000ff")
    canvas = Canvas(2.0, 1.0, 50)
    canvas.keep(ground.items)

    def row(painted):
        return [tuple(int(v) for v in painted[25, x, :3]) for x in (12, 37, 62, 87)]

    assert row(canvas.over(first.items)) == [(255, 0, 0), (0, 255, 0), PAPER, PAPER]
    assert row(canvas.over(second.items)) == [(255, 0, 0), PAPER, (0, 0, 255), PAPER]
    canvas.keep([])
    assert row(canvas.over([])) == [PAPER] * 4
    assert Image.open(io.BytesIO(png(canvas.over([]), 50))).mode == "RGB"


@pytest.mark.parametrize("shape", [(1, 1, 4), (7, 5, 4), (3, 260, 3)])
def test_a_png_holds_the_very_pixels_without_alpha(shape):
    """Read back by Pillow, which also checks the sum of each chunk; 100 dots per inch are 3,937 per metre."""
    painted = np.random.default_rng(5).integers(0, 256, shape, dtype=np.uint8)
    packed = png(painted, 100)
    Image.open(io.BytesIO(packed)).verify()
    read = Image.open(io.BytesIO(packed))
    np.testing.assert_array_equal(np.asarray(read), painted[:, :, :3])
    assert (read.mode, read.size) == ("RGB", (shape[1], shape[0]))
    assert packed[packed.index(b"pHYs") + 4 :][:9] == (3937).to_bytes(4, "big") * 2 + b"\x01"


def test_new_canvases_are_paper_all_over_and_opaque():
    painted = Canvas(0.4, 0.2, 50).over([])
    assert {tuple(pixel) for pixel in painted.reshape(-1, 4).tolist()} == {(*PAPER, 255)}

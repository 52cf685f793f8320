"""Whether a reader tells the lines of devices apart: by what of a dash is ink and what is paper, not by its numbers."""

from __future__ import annotations

from itertools import combinations, product

import numpy as np
import pytest

from gpsq.output.drawing import looks, sheet

DASHED = [dashes for dashes in looks.DASHES if dashes]


def strokes_and_gaps(dashes):
    return np.array(dashes[0::2], float), np.array(dashes[1::2], float)


def unlike(one, other):
    """Return how many times as long the longest stroke or gap of one is as of the other; as many strokes a turn or not."""
    longest = [[part.max() for part in strokes_and_gaps(dashes)] for dashes in (one, other)]
    ratio = np.exp(np.abs(np.log(longest[0]) - np.log(longest[1])).max())
    return ratio if len(one) == len(other) else np.inf


def test_one_line_is_solid_and_all_others_are_made_of_strokes_and_gaps():
    assert looks.DASHES[0] == ()
    assert all(len(dashes) % 2 == 0 for dashes in DASHED)
    assert len(DASHED) == len(looks.OKABE_ITO) - 1 == len(looks.MARKS) - 1


@pytest.mark.parametrize("dashes", DASHED)
def test_a_dash_keeps_its_colour_and_its_gaps(dashes):
    """Half of it is ink, so that its colour is seen; a quarter is paper, so that it is not taken for a solid line.

    On the sheet dashes are drawn half as large. A gap of less than a point, a third of a millimetre, closes up in print,
    and a stroke of less than half a point is not printed at all (common practice).
    """
    strokes, _ = strokes_and_gaps(dashes)
    assert 0.5 <= strokes.sum() / sum(dashes) <= 0.75
    drawn = sheet.dashes(looks.Look("#000000", dashes, "disc"))
    assert min(drawn[0::2]) >= 0.5
    assert min(drawn[1::2]) >= 1.0


@pytest.mark.parametrize("dashes", DASHED)
def test_a_dash_has_a_rhythm(dashes):
    """Its gaps are all alike, and its strokes are long ones and short ones, the one twice the other at least."""
    strokes, gaps = strokes_and_gaps(dashes)
    assert len(set(gaps)) == 1
    lengths = sorted(set(strokes))
    assert len(lengths) <= 2
    assert lengths[-1] == lengths[0] or lengths[-1] >= 2 * lengths[0]


@pytest.mark.parametrize("dashes", DASHED)
def test_the_key_shows_a_whole_turn_of_each_dash(dashes):
    """A swatch is drawn by `legend`; a turn that did not fit in would look like another line there."""
    own = sheet.Sheet(10.0, 5.0)
    own.legend({"a": looks.Look("#000000", dashes, "disc")}, 1.0)
    (line,) = [item for item in own.items if isinstance(item, sheet.Line)]
    assert np.ptp(line.xy_in[:, 0]) * sheet.POINTS_PER_INCH >= 2 * sum(line.dashes_pt)


def test_dashes_of_as_many_strokes_differ_half_again():
    """Of lengths seen at a glance, not side by side, half as long again is told apart with ease (common practice)."""
    for one, other in combinations(DASHED, 2):
        assert unlike(one, other) > 1.5, (one, other)


def test_a_point_more_or_less_makes_no_dash_look_like_another():
    """Viewers round dashes to their pixels: each stays nearer to itself than to any other."""
    for k, dashes in enumerate(DASHED):
        others = DASHED[:k] + DASHED[k + 1 :]
        for place, more in product(range(len(dashes)), (-1, 1)):
            near = tuple(max(0.5, part + more * (i == place)) for i, part in enumerate(dashes))
            assert unlike(near, dashes) < min(unlike(near, other) for other in others), (dashes, near)


def linear(colour):
    parts = np.array([int(colour[k : k + 2], 16) for k in (1, 3, 5)]) / 255.0
    return np.where(parts <= 0.04045, parts / 12.92, ((parts + 0.055) / 1.055) ** 2.4)


def luminance(colour):
    """WCAG 2.2, relative luminance."""
    return float(linear(colour) @ [0.2126, 0.7152, 0.0722])


@pytest.mark.parametrize("colour", [sheet.INK, sheet.SOFT])
def test_words_stand_out_from_the_sheet(colour):
    """WCAG 2.2, 1.4.6: seven to one is enough for anyone but the blind; 1.4.3 asks 4.5."""
    light, dark = luminance(sheet.LEAF), luminance(colour)
    assert (light + 0.05) / (dark + 0.05) >= (7.0 if colour == sheet.INK else 4.5)


#: What is left of linear red, green and blue where one kind of cone is missing: Viénot, Brettel and Mollon (1999), from memory.
SEEN = {
    "by all": np.eye(3),
    "without long cones": np.array([[0.11238, 0.88762, 0.0], [0.11238, 0.88762, 0.0], [0.00401, -0.00401, 1.0]]),
    "without middle cones": np.array([[0.29275, 0.70725, 0.0], [0.29275, 0.70725, 0.0], [-0.02234, 0.02234, 1.0]]),
}


def lab(colour, cones):
    """CIE 1976 L*a*b*, D65, of a colour of sRGB (IEC 61966-2-1) as it is seen."""
    rgb = np.clip(cones @ linear(colour), 0.0, 1.0)
    xyz = np.array([[0.4124, 0.3576, 0.1805], [0.2126, 0.7152, 0.0722], [0.0193, 0.1192, 0.9505]]) @ rgb
    f = np.cbrt(xyz / [0.9505, 1.0, 1.089])
    return np.array([116 * f[1] - 16, 500 * (f[0] - f[1]), 200 * (f[1] - f[2])])


@pytest.mark.parametrize("cones", SEEN)
def test_colours_of_devices_are_told_apart_with_any_kind_of_cones(cones):
    """A difference of 2.3 is just seen (Mahy, Van Eycken and Oosterlinck 1994); four times that is seen at a glance."""
    for one, other in combinations(looks.OKABE_ITO, 2):
        assert np.linalg.norm(lab(one, SEEN[cones]) - lab(other, SEEN[cones])) > 4 * 2.3, (one, other)
    for colour in looks.OKABE_ITO:
        assert np.linalg.norm(lab(colour, SEEN[cones]) - lab(sheet.LEAF, SEEN[cones])) > 8 * 2.3, colour

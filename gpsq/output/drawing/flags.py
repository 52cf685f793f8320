"""The mark of a first fix: a small flag on a mast, on its notched cloth the day and the seconds."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from gpsq.output import wording
from gpsq.output.drawing.sheet import LEAF, POINTS_PER_INCH, text_width_in

if TYPE_CHECKING:
    from gpsq.model import FirstFix
    from gpsq.output.drawing.sheet import Box, Sheet

#: Size of a flag's cloth beyond its text, its height, and how far one flies above the next.
CLOTH_PAD_IN, CLOTH_IN, NOTCH_IN = 0.06, 0.19, 0.06
LEVEL_IN = CLOTH_IN + 0.035


def flag_text(fix: FirstFix) -> str:
    r"""Return seconds to the first fix, ≈ where they are worked out, else the metres that were missed, else nothing.

    Examples
    --------
    >>> from gpsq.model import FirstFix
    >>> flag_text(FirstFix("log", seconds=26.2)), flag_text(FirstFix("none", missed_m=65.0)), flag_text(FirstFix("none"))
    ('26\xa0s', '65\xa0m', '')
    """
    if np.isfinite(fix.seconds):
        return wording.seconds(fix.seconds)
    if np.isfinite(fix.at_least_s):
        return f"≥{wording.GAP}{wording.seconds(fix.at_least_s)}"
    if np.isfinite(fix.estimate_s):
        return f"≈{wording.GAP}{wording.seconds(fix.estimate_s)}"
    if wording.says_missed(fix):
        return (f"≥{wording.GAP}" if fix.missed_is_minimum else "") + wording.metres(fix.missed_m)
    return ""


def flag_width_in(text: str, size_pt: float) -> float:
    """Return the width of a flag's cloth."""
    return text_width_in(text, size_pt) + 2 * CLOTH_PAD_IN + NOTCH_IN


def draw_cloth(sheet: Sheet, cloth: Box, colour: str, text: str, size_pt: float, *, to_left: bool) -> None:
    """Draw a cloth with its text, notched where it is away from the mast."""
    middle = (cloth.bottom + cloth.top) / 2
    mast, end, notch = (
        (cloth.right, cloth.left, cloth.left + NOTCH_IN)
        if to_left
        else (cloth.left, cloth.right, cloth.right - NOTCH_IN)
    )
    edge = [(mast, cloth.bottom), (end, cloth.bottom), (notch, middle), (end, cloth.top), (mast, cloth.top)]
    sheet.area(edge, LEAF, edge=colour, edge_pt=1.1)
    sheet.write(
        cloth.left + CLOTH_PAD_IN + (NOTCH_IN if to_left else 0.0),
        middle - 0.36 * size_pt / POINTS_PER_INCH,
        text,
        size_pt=size_pt,
    )

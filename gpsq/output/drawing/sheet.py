"""The sheet that pictures are drawn on: lines, areas, marks and text at places in inches, from its lower left corner up.

A sheet only remembers what is on it and where every piece of text stands; `gpsq.output.drawing.rendering` makes SVG and
pixels of it. So text is measured before it is placed, and nothing needs to lie over anything else.
"""

from __future__ import annotations

import logging
import re
from dataclasses import dataclass, field
from functools import lru_cache
from typing import TYPE_CHECKING, Any, NamedTuple

import numpy as np

from gpsq.output.wording import cell, short

#: Where the library of letters cannot keep what it finds is no news to who waits for a report.
for _name in ("matplotlib", "matplotlib.font_manager"):
    logging.getLogger(_name).addFilter(lambda record: not re.search("cache|mkdir", str(record.msg)))

if TYPE_CHECKING:
    from collections.abc import Sequence

    from matplotlib.font_manager import FontProperties

    from gpsq.model import FloatArray
    from gpsq.output.drawing.looks import Look

#: The colours of the pages' light look; inside a page they follow its dark look too.
INK, SOFT, RULE, LEAF, STREET = "#1c2428", "#545c5f", "#cdc7b8", "#fffdf8", "#e4dfd2"
#: Size of type in points; on a video of 1080 lines it is 29 lines high or more.
TYPE_PT, SMALL_PT, TITLE_PT = 11.0, 9.0, 15.0
FONT = "DejaVu Sans"
#: Height of letters above and below the line they stand on, as shares of the size of type (DejaVu Sans).
ABOVE, BELOW = 0.93, 0.24
POINTS_PER_INCH = 72.0
#: From line to line, in sizes of the type.
LEADING = 1.24

#: Marks about the origin, in half their width.
MARKS: dict[str, tuple[tuple[float, float], ...]] = {
    "disc": tuple((float(np.sin(a)), float(np.cos(a))) for a in np.linspace(0, 2 * np.pi, 24, endpoint=False)),
    "triangle": ((0.0, 1.2), (1.1, -0.8), (-1.1, -0.8)),
    "square": ((-0.9, -0.9), (0.9, -0.9), (0.9, 0.9), (-0.9, 0.9)),
    "diamond": ((0.0, 1.25), (1.25, 0.0), (0.0, -1.25), (-1.25, 0.0)),
    "wedge": ((0.0, -1.2), (1.1, 0.8), (-1.1, 0.8)),
    "cross": (
        (-0.4, 1.2), (0.4, 1.2), (0.4, 0.4), (1.2, 0.4), (1.2, -0.4), (0.4, -0.4),
        (0.4, -1.2), (-0.4, -1.2), (-0.4, -0.4), (-1.2, -0.4), (-1.2, 0.4), (-0.4, 0.4),
    ),
}  # fmt: skip


class Box(NamedTuple):
    """An upright rectangle in inches."""

    left: float
    bottom: float
    right: float
    top: float

    @property
    def width(self) -> float:
        """Width in inches."""
        return self.right - self.left

    @property
    def height(self) -> float:
        """Height in inches."""
        return self.top - self.bottom

    def grown(self, by_in: float) -> Box:
        """Return the box with a rim of that width.

        Examples
        --------
        >>> Box(1.0, 1.0, 2.0, 2.0).grown(0.5)
        Box(left=0.5, bottom=0.5, right=2.5, top=2.5)
        """
        return Box(self.left - by_in, self.bottom - by_in, self.right + by_in, self.top + by_in)


@dataclass(frozen=True, eq=False)
class Line:
    """A line or an area: (n, 2) places in inches; `colour` "" draws no line, `fill` "" fills nothing."""

    xy_in: FloatArray
    colour: str = INK
    width_pt: float = 1.0
    alpha: float = 1.0
    dashes_pt: tuple[float, ...] = ()
    round_ends: bool = False
    closed: bool = False
    fill: str = ""
    within: Box | None = None


@dataclass(frozen=True)
class Text:
    """Text on one line: where it begins, in the middle or ends, by `anchor`, on the line it stands on."""

    x_in: float
    y_in: float
    text: str
    size_pt: float
    colour: str
    bold: bool
    anchor: str
    width_in: float

    @property
    def box(self) -> Box:
        """Where the text stands, with the height of a line of type."""
        left = self.x_in - {"start": 0.0, "middle": 0.5, "end": 1.0}[self.anchor] * self.width_in
        size_in = self.size_pt / POINTS_PER_INCH
        return Box(left, self.y_in - BELOW * size_in, left + self.width_in, self.y_in + ABOVE * size_in)


@dataclass
class Sheet:
    """An empty sheet of one of the two shapes."""

    width_in: float
    height_in: float
    items: list[Line | Text] = field(default_factory=list)

    @property
    def wide(self) -> bool:
        """Whether it is the 16:9 sheet."""
        return self.width_in > self.height_in

    @property
    def texts(self) -> list[Text]:
        """All text on the sheet."""
        return [item for item in self.items if isinstance(item, Text)]

    def line(
        self, xy_in: FloatArray | Sequence[Any], colour: str = INK, width_pt: float = 1.0, *,
        alpha: float = 1.0, dashes_pt: tuple[float, ...] = (), round_ends: bool = False, within: Box | None = None,
    ) -> None:  # fmt: skip
        """Draw a line through (n, 2) places, cut at the edges of `within`."""
        places = np.asarray(xy_in, float).reshape(-1, 2)
        if len(places) > 1:
            self.items.append(Line(places, colour, width_pt, alpha, dashes_pt, round_ends, within=within))

    def area(
        self, xy_in: FloatArray | Sequence[Any], fill: str, *, alpha: float = 1.0, edge: str = "",
        edge_pt: float = 0.0, within: Box | None = None,
    ) -> None:  # fmt: skip
        """Fill the area inside (n, 2) places."""
        places = np.asarray(xy_in, float).reshape(-1, 2)
        if len(places) > 2:
            self.items.append(Line(places, edge, edge_pt, alpha, closed=True, fill=fill, within=within))

    def block(self, box: Box, fill: str, *, alpha: float = 1.0, edge: str = "", edge_pt: float = 0.0) -> None:
        """Fill a box; `fill` "" only draws its edge."""
        corners = [(box.left, box.bottom), (box.right, box.bottom), (box.right, box.top), (box.left, box.top)]
        if fill:
            self.area(corners, fill, alpha=alpha, edge=edge, edge_pt=edge_pt)
        else:
            self.line([*corners, corners[0]], edge, edge_pt, alpha=alpha)

    def mark(self, kind: str, x_in: float, y_in: float, size_pt: float, fill: str, edge: str = LEAF) -> None:
        """Draw a mark of a device about a place."""
        half = size_pt / 2.0 / POINTS_PER_INCH
        self.area(np.array(MARKS[kind]) * half + [x_in, y_in], fill, edge=edge, edge_pt=1.0)

    def write(
        self, x_in: float, y_in: float, text: str, *, size_pt: float = TYPE_PT, colour: str = INK, bold: bool = False,
        anchor: str = "start", most_in: float = float("inf"),
    ) -> Box:  # fmt: skip
        """Write one line of text, shortened in its middle where it is wider than `most_in`; return where it stands."""
        said = fitted(text, size_pt, most_in, bold=bold)
        written = Text(x_in, y_in, said, size_pt, colour, bold, anchor, text_width_in(said, size_pt, bold=bold))
        if said.strip():
            self.items.append(written)
        return written.box

    def paragraph(
        self, x_in: float, y_in: float, text: str, most_in: float, *, lines: int, size_pt: float = TYPE_PT,
        colour: str = INK, bold: bool = False,
    ) -> float:  # fmt: skip
        """Write text on up to so many lines from `y_in` down; return the height of its last line."""
        rows = wrapped(text, size_pt, most_in, bold=bold)
        if len(rows) > lines:
            rows = [*rows[: lines - 1], " ".join(rows[lines - 1 :])]
        leading = LEADING * size_pt / POINTS_PER_INCH
        for i, row in enumerate(rows):
            self.write(x_in, y_in - i * leading, row, size_pt=size_pt, colour=colour, bold=bold, most_in=most_in)
        return y_in - max(0, len(rows) - 1) * leading

    def swatch(self, x_in: float, y_in: float, look: Look, *, marked: bool = False) -> None:
        """Draw a short piece of a device's line, or its mark."""
        if marked:
            self.mark(look.mark, x_in + 0.17, y_in, 9.0, look.colour)
        else:
            self.line([(x_in, y_in), (x_in + 0.34, y_in)], look.colour, 2.2, dashes_pt=dashes(look))

    def legend(
        self, looks: dict[str, Look], y_in: float, *, marks: bool = False, said: dict[str, str] | None = None,
        size_pt: float = TYPE_PT,
    ) -> float:  # fmt: skip
        """Write the key of the devices in rows from `y_in` down; return the height of its last row."""
        x_in = 0.2
        for name, look in looks.items():
            label = (said or {}).get(name) or short(name, 24 if self.wide else 18)
            width_in = 0.42 + text_width_in(label, size_pt)
            if x_in > 0.2 and x_in + width_in > self.width_in - 0.15:
                x_in, y_in = 0.2, y_in - 1.55 * size_pt / POINTS_PER_INCH
            self.swatch(x_in, y_in + 0.05, look, marked=marks)
            self.write(x_in + 0.42, y_in, label, size_pt=size_pt, most_in=self.width_in - x_in - 0.57)
            x_in += width_in + 0.2
        return y_in


def dashes(look: Look) -> tuple[float, ...]:
    """Return the dashes of a device on a sheet, in points."""
    return tuple(part / 2 for part in look.dashes)


@lru_cache(maxsize=4096)
def text_width_in(text: str, size_pt: float, *, bold: bool = False) -> float:
    """Return how wide text is, in inches.

    Examples
    --------
    >>> text_width_in("MM", 11.0) == 2 * text_width_in("M", 11.0)
    True
    """
    import warnings

    from matplotlib.textpath import text_to_path

    with warnings.catch_warnings():
        # A name may hold signs that the font lacks; the viewer's fonts have them.
        warnings.filterwarnings("ignore", message="Glyph .* missing from")
        width, _, _ = text_to_path.get_text_width_height_descent(text, font(bold=bold), False)
    return float(width) / 10.0 * size_pt / POINTS_PER_INCH


@lru_cache(maxsize=2)
def font(*, bold: bool) -> FontProperties:
    """Return the font of ten points that text is measured in."""
    from matplotlib.font_manager import FontProperties

    return FontProperties(family=FONT, size=10.0, weight="bold" if bold else "normal")


def fitted(text: str, size_pt: float, most_in: float, *, bold: bool = False) -> str:
    """Return text on one line that is no wider than `most_in`, cut in its middle where need be.

    Examples
    --------
    >>> fitted("a rather long name of a device", 11.0, 1.0)
    'a rat…evice'
    """
    said = _spaced(text)
    if text_width_in(said, size_pt, bold=bold) <= most_in:
        return said
    low, high = 1, len(said)
    while low < high:
        middle = (low + high + 1) // 2
        fits = text_width_in(short(said, middle), size_pt, bold=bold) <= most_in
        low, high = (middle, high) if fits else (low, middle - 1)
    return short(said, low)


def _spaced(text: str) -> str:
    """Return text on one line; no-break spaces stay."""
    return re.sub(r"[ \t\r\n]+", " ", cell(text)).strip(" ")


def wrapped(text: str, size_pt: float, most_in: float, *, bold: bool = False) -> list[str]:
    """Return text broken between words into lines of `most_in` at most; a longer word stands alone.

    Examples
    --------
    >>> wrapped("one two three", 11.0, 0.7)
    ['one two', 'three']
    """
    rows: list[str] = []
    row_in = 0.0
    for word in _spaced(text).split(" "):
        word_in = text_width_in(word, size_pt, bold=bold)  # words come again and again, longer pieces do not
        longer_in = row_in + text_width_in(" ", size_pt, bold=bold) + word_in
        if rows and longer_in <= most_in:
            rows[-1], row_in = f"{rows[-1]} {word}", longer_in
        else:
            rows.append(word)
            row_in = word_in
    return rows

"""The sheet that charts are drawn on: sizes, colours, type, and how a drawing becomes SVG and PNG.

matplotlib is used through its objects, without pyplot and its global state, and only when a chart is drawn.
"""

from __future__ import annotations

import io
import re
import warnings
from concurrent.futures import Executor, Future, ThreadPoolExecutor
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any

import numpy as np

from gpsq.output.templating import SPELLED_OUT
from gpsq.output.wording import short

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence

    from matplotlib.axes import Axes
    from matplotlib.figure import Figure
    from numpy.typing import NDArray

    from gpsq.output.drawing.looks import Look

#: The colours of the pages' light look; inside a page they follow its dark look too.
INK, SOFT, RULE, LEAF = "#1c2428", "#545c5f", "#cdc7b8", "#fffdf8"
THEMED = {INK: "var(--ink)", SOFT: "var(--soft)", RULE: "var(--rule)", LEAF: "var(--leaf)"}

#: Width and height in inches, and dots per inch of the PNG (1920 × 1080 and 1080 × 1080).
WIDE = (10.0, 5.625, 192)
SQUARE = (4.5, 4.5, 240)
#: Size of type in points; on a video of 1080 lines it is 29 lines high or more.
TYPE_PT = 11.0
MARKERS = {"disc": "o", "triangle": "^", "square": "s", "diamond": "D", "wedge": "v", "cross": "P"}

_OPTIONS: Any = {
    "svg.fonttype": "none",
    "text.parse_math": False,
    "axes.unicode_minus": True,
    "font.family": ["DejaVu Sans"],
    "font.size": TYPE_PT,
    "path.simplify": True,
    "text.hinting": "no_hinting",  # letters are large enough without, and are drawn faster
}


@dataclass(frozen=True)
class Sheet:
    """An empty figure of one of the two shapes; lengths are inches from its lower left corner."""

    figure: Figure
    width_in: float
    height_in: float

    @property
    def wide(self) -> bool:
        """Whether it is the 16:9 sheet."""
        return self.width_in > self.height_in

    def axes(self, left_in: float, bottom_in: float, width_in: float, height_in: float) -> Axes:
        """Return axes with only a bottom line, in soft type."""
        box = (
            left_in / self.width_in,
            bottom_in / self.height_in,
            width_in / self.width_in,
            height_in / self.height_in,
        )
        axes = self.figure.add_axes(box, facecolor="none")
        for side in ("top", "right", "left"):
            axes.spines[side].set_visible(False)
        axes.spines["bottom"].set_color(SOFT)
        axes.tick_params(colors=SOFT, labelcolor=INK, labelsize=TYPE_PT, length=3)
        axes.minorticks_off()
        return axes

    def write(self, x_in: float, y_in: float, text: str, **look: Any) -> None:
        """Put text on the sheet, its lower left corner at a place in inches unless told otherwise."""
        settings = {"color": INK, "fontsize": TYPE_PT, "va": "baseline", **look}
        self.figure.text(x_in / self.width_in, y_in / self.height_in, text, **settings)

    def headline(self, title: str, *below: str) -> None:
        """Write the title and the lines under it at the top of the sheet."""
        self.write(0.2, self.height_in - 0.36, title, fontsize=TYPE_PT + 3, fontweight="bold")
        for i, line in enumerate(below):
            self.write(0.2, self.height_in - 0.62 - 0.2 * i, line, color=SOFT, fontsize=TYPE_PT - 1)

    def legend(self, looks: dict[str, Look], y_in: float, *, marks: bool = False) -> float:
        """Write the key of the devices in rows from `y_in` down; return the height of its last row."""
        x_in = 0.2
        for name, look in looks.items():
            label = short(name, 24 if self.wide else 18)
            width_in = 0.62 + 0.09 * len(label)
            if x_in > 0.2 and x_in + width_in > self.width_in - 0.1:
                x_in, y_in = 0.2, y_in - 0.24
            self._swatch(x_in, y_in + 0.05, look, marks)
            self.write(x_in + 0.42, y_in, label)
            x_in += width_in + 0.15
        return y_in

    def _swatch(self, x_in: float, y_in: float, look: Look, marks: bool) -> None:
        from matplotlib.lines import Line2D

        ends = [x_in / self.width_in, (x_in + 0.34) / self.width_in]
        line = Line2D(ends, [y_in / self.height_in] * 2, color=look.colour, lw=2.2, ls=dashes(look))
        if marks:
            line.set(marker=MARKERS[look.mark], markevery=[0], markersize=7, linestyle="none")
        self.figure.add_artist(line)


def dashes(look: Look) -> Any:
    """Return the line style of a device as matplotlib wants it."""
    return (0, tuple(part / 2 for part in look.dashes)) if look.dashes else "-"


@dataclass(frozen=True)
class Chart:
    """A chart in two shapes, as SVG and PNG, with its finding in words for those who do not see it."""

    name: str
    title: str
    finding: str
    wide_svg: str
    square_svg: str
    wide_png: bytes = field(repr=False)
    square_png: bytes = field(repr=False)

    def inline(self, *, wide: bool) -> str:
        """Return the SVG for a page: colours follow the page, and no name in it meets that of another chart."""
        svg = self.wide_svg if wide else self.square_svg
        svg = svg[svg.index("<svg") :]
        for colour, variable in THEMED.items():
            svg = svg.replace(colour, variable)
        svg = re.sub(r'<metadata>.*?</metadata>|<style type="text/css">.*?</style>', "", svg, flags=re.DOTALL)
        svg = re.sub(r' id="(?:figure|axes|patch|text|line2d|matplotlib\.axis|xtick|ytick|\w+Collection)_\d+"', "", svg)
        svg = svg.translate(SPELLED_OUT)
        return re.sub(
            r'^<svg [^>]*viewBox="([^"]+)"[^>]*>', r'<svg viewBox="\1" aria-hidden="true" focusable="false">', svg
        )


@dataclass(frozen=True)
class Drawing:
    """What a chart module hands on: names and words, and how to draw it on a sheet."""

    name: str
    title: str
    finding: str
    draw: Callable[[Sheet], None]


def rendered(drawings: Sequence[Drawing]) -> tuple[Chart, ...]:
    """Draw charts on both sheets; the same drawings give the same bytes. PNGs are packed while the next is drawn."""
    with ThreadPoolExecutor(max_workers=1) as packer:
        drawn = [(drawing, _both_sheets(drawing, packer)) for drawing in drawings]
        return tuple(
            Chart(drawing.name, drawing.title, drawing.finding, wide, square, wide_png.result(), square_png.result())
            for drawing, ((wide, wide_png), (square, square_png)) in drawn
        )


def _both_sheets(drawing: Drawing, packer: Executor) -> list[tuple[str, Future[bytes]]]:
    import matplotlib as mpl

    with mpl.rc_context(_OPTIONS), warnings.catch_warnings():
        # A name may hold signs that the font lacks; the viewer's fonts have them.
        warnings.filterwarnings("ignore", message="Glyph .* missing from")
        return [_drawn(drawing, packer, *shape) for shape in (WIDE, SQUARE)]


def _drawn(
    drawing: Drawing, packer: Executor, width_in: float, height_in: float, dpi: int
) -> tuple[str, Future[bytes]]:
    import matplotlib as mpl
    from matplotlib.backends.backend_agg import FigureCanvasAgg
    from matplotlib.figure import Figure

    figure = Figure(figsize=(width_in, height_in), facecolor=LEAF)
    drawing.draw(Sheet(figure, width_in, height_in))
    mpl.rcParams["svg.hashsalt"] = f"{drawing.name} {width_in}"  # no name within one page twice
    svg = io.StringIO()
    figure.savefig(svg, format="svg", metadata={"Date": None, "Creator": None, "Format": None, "Type": None})
    figure.set_dpi(dpi)
    canvas: Any = FigureCanvasAgg(figure)
    canvas.draw()
    return svg.getvalue(), packer.submit(_png, np.asarray(canvas.buffer_rgba()), dpi)


def _png(pixels: NDArray[np.uint8], dpi: int) -> bytes:
    from PIL import Image

    packed = io.BytesIO()
    Image.fromarray(pixels).convert("RGB").save(packed, "PNG", compress_level=1, dpi=(dpi, dpi))
    return packed.getvalue()

"""From a drawing to its files: both shapes of sheet, each as SVG (W3C, SVG 1.1) and as PNG; the same bytes each time."""

from __future__ import annotations

import re
import struct
import warnings
import zlib
from concurrent.futures import Future, ThreadPoolExecutor
from dataclasses import dataclass, field
from functools import lru_cache
from typing import TYPE_CHECKING, Any
from xml.sax.saxutils import escape

import numpy as np

from gpsq.output.drawing.sheet import FONT, INK, LEAF, POINTS_PER_INCH, RULE, SOFT, STREET, Line, Sheet, Text
from gpsq.output.templating import SPELLED_OUT, template_text

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable, Sequence
    from concurrent.futures import Executor

    from numpy.typing import NDArray

    from gpsq.model import FloatArray
    from gpsq.output.drawing.sheet import Box

METRES_PER_INCH = 0.0254
#: Width and height in inches, and dots per inch of the PNG (1920 × 1080 and 1080 × 1080).
WIDE = (10.0, 5.625, 192)
SQUARE = (4.5, 4.5, 240)
_BARE = np.array([*bytes.fromhex(LEAF[1:]), 255], dtype=np.uint8)
THEMED = {INK: "var(--ink)", SOFT: "var(--soft)", RULE: "var(--rule)", LEAF: "var(--leaf)", STREET: "var(--street)"}

_OPTIONS: Any = {
    "text.hinting": "no_hinting",  # letters are large enough without, and are drawn faster
    "path.simplify": True,
}


@dataclass(frozen=True)
class Drawing:
    """What a chart module hands on: names and words, and how to draw it on a sheet."""

    name: str
    title: str
    finding: str
    draw: Callable[[Sheet], None]


@dataclass(frozen=True)
class Chart:
    """A picture in two shapes, as SVG and PNG, with its finding in words for those who do not see it."""

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
        svg = _themed(svg[svg.index("<svg") :])
        svg = re.sub(r"<title>.*?</title>\n", "", svg).translate(SPELLED_OUT)
        return re.sub(
            r'^<svg [^>]*viewBox="([^"]+)"[^>]*>', r'<svg viewBox="\1" aria-hidden="true" focusable="false">', svg
        )


def following(svg: str) -> str:
    """Return an SVG file whose colours follow the look, light or dark, of who opens it: for pages that show it as a picture."""
    looks, _, _ = template_text("look.css").partition("*{")
    return _themed(svg).replace("<defs>", f"<style>{escape(looks)}</style>\n<defs>", 1)


def _themed(svg: str) -> str:
    for colour, variable in THEMED.items():
        svg = svg.replace(colour, variable)
    return svg


def rendered(drawings: Sequence[Drawing]) -> tuple[Chart, ...]:
    """Draw charts on both sheets. PNGs are packed while the next is drawn."""
    with ThreadPoolExecutor(max_workers=1) as packer:
        drawn = [(drawing, [_files(drawing, packer, *shape) for shape in (WIDE, SQUARE)]) for drawing in drawings]
        return tuple(
            Chart(drawing.name, drawing.title, drawing.finding, wide, square, wide_png.result(), square_png.result())
            for drawing, ((wide, wide_png), (square, square_png)) in drawn
        )


def drawn_sheet(drawing: Drawing, width_in: float, height_in: float) -> Sheet:
    """Return a sheet of that size with the drawing on it."""
    sheet = Sheet(width_in, height_in)
    drawing.draw(sheet)
    return sheet


def _files(
    drawing: Drawing, packer: Executor, width_in: float, height_in: float, dpi: int
) -> tuple[str, Future[bytes]]:
    sheet = drawn_sheet(drawing, width_in, height_in)
    return svg_text(sheet, f"{drawing.name}-{width_in:g}", drawing.title), packer.submit(png, pixels(sheet, dpi), dpi)


# ---- SVG ----


def svg_text(sheet: Sheet, name: str, title: str) -> str:
    """Return the sheet as SVG; `name` begins the names inside it. Text stays text, at the width it was measured at."""
    width, height = sheet.width_in * POINTS_PER_INCH, sheet.height_in * POINTS_PER_INCH
    windows = list(dict.fromkeys(item.within for item in sheet.items if isinstance(item, Line) and item.within))
    own = re.sub(r"[^a-z0-9]+", "-", name.lower())
    clips = {box: f"{own}-{i}" for i, box in enumerate(windows)}
    body = [
        _svg_line(item, height, clips) if isinstance(item, Line) else _svg_text(item, height) for item in sheet.items
    ]
    defs = "".join(f'<clipPath id="{clips[box]}">{_svg_box(box, height)}</clipPath>' for box in windows)
    return "\n".join([
        '<?xml version="1.0" encoding="utf-8"?>',
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {width:g} {height:g}" width="{width:g}pt" '
        f'height="{height:g}pt" font-family="{FONT}, Verdana, sans-serif" role="img">',
        f"<title>{escape(title)}</title>",
        f"<defs>{defs}</defs>",
        f'<path d="M0 0H{width:g}V{height:g}H0Z" style="fill:{LEAF}"/>',
        *body,
        "</svg>",
        "",
    ])  # fmt: skip


def _svg_line(item: Line, height: float, clips: dict[Box, str]) -> str:
    style = [f"fill:{item.fill or 'none'}"]
    if item.colour:
        style += [f"stroke:{item.colour}", f"stroke-width:{item.width_pt:g}", "stroke-linejoin:round"]
        style += ["stroke-linecap:round"] if item.round_ends else []
    if item.dashes_pt:
        style.append("stroke-dasharray:" + " ".join(f"{part:g}" for part in item.dashes_pt))
    if item.alpha < 1.0:
        style.append(f"opacity:{item.alpha:g}")
    clip = f' clip-path="url(#{clips[item.within]})"' if item.within else ""
    return f'<path d="{_svg_path(item.xy_in, height)}{"Z" if item.closed else ""}" style="{";".join(style)}"{clip}/>'


def _svg_path(xy_in: FloatArray, height: float) -> str:
    """Return a path in hundredths of a point."""
    xy = np.round(xy_in * [POINTS_PER_INCH, -POINTS_PER_INCH] + [0.0, height], 2)
    return "M" + "L".join(f"{x:g} {y:g}" for x, y in xy.tolist())


def _svg_box(box: Box, height: float) -> str:
    x, y = box.left * POINTS_PER_INCH, height - box.top * POINTS_PER_INCH
    wide, high = box.width * POINTS_PER_INCH, box.height * POINTS_PER_INCH
    return f'<rect x="{x:.2f}" y="{y:.2f}" width="{wide:.2f}" height="{high:.2f}"/>'


def _svg_text(item: Text, height: float) -> str:
    x, y = item.x_in * POINTS_PER_INCH, height - item.y_in * POINTS_PER_INCH
    anchor = f' text-anchor="{item.anchor}"' if item.anchor != "start" else ""
    weight = ";font-weight:bold" if item.bold else ""
    return (
        f'<text x="{x:.2f}" y="{y:.2f}"{anchor} textLength="{item.width_in * POINTS_PER_INCH:.2f}" '
        f'lengthAdjust="spacingAndGlyphs" style="font-size:{item.size_pt:g}px;fill:{item.colour}{weight}">'
        f"{escape(item.text)}</text>"
    )


# ---- pixels ----


class Canvas:
    """A picture of (height, width, 4) pixels on which one drawing after another stands over the same ground."""

    def __init__(self, width_in: float, height_in: float, dpi: int) -> None:
        from matplotlib.backends import backend_agg

        maker: Any = backend_agg.RendererAgg
        self._dpi, self._height = dpi, height_in * dpi
        self._renderer = maker(round(width_in * dpi), round(height_in * dpi), dpi)
        self._picture: NDArray[np.uint8] = np.asarray(self._renderer.buffer_rgba())
        self._ground = _BARE

    def keep(self, items: Iterable[Line | Text]) -> None:
        """Make these the ground of what is drawn from now on."""
        self._ground = _BARE
        self._ground = self.over(items).copy()

    def over(self, items: Iterable[Line | Text]) -> NDArray[np.uint8]:
        """Return the ground with these over it: the picture itself, which the next drawing takes."""
        self._picture[:] = self._ground
        self._paint(items)
        return self._picture

    def _paint(self, items: Iterable[Line | Text]) -> None:
        import matplotlib as mpl

        with mpl.rc_context(_OPTIONS), warnings.catch_warnings():
            # A name may hold signs that the font lacks; the viewer's fonts have them.
            warnings.filterwarnings("ignore", message="Glyph .* missing from")
            for item in items:
                if isinstance(item, Line):
                    _paint_line(self._renderer, item, self._dpi)
                else:
                    _paint_text(self._renderer, item, self._dpi, self._height)


def pixels(sheet: Sheet, dpi: int) -> NDArray[np.uint8]:
    """Return the sheet as (height, width, 4) pixels."""
    return Canvas(sheet.width_in, sheet.height_in, dpi).over(sheet.items)


def _paint_line(renderer: Any, item: Line, dpi: int) -> None:
    from matplotlib.colors import to_rgba
    from matplotlib.path import Path
    from matplotlib.transforms import Bbox, IdentityTransform

    context = renderer.new_gc()
    context.set_alpha(item.alpha)
    context.set_foreground(item.colour or item.fill)
    context.set_linewidth(item.width_pt if item.colour else 0.0)
    context.set_capstyle("round" if item.round_ends else "butt")
    context.set_joinstyle("round")
    if item.dashes_pt:
        context.set_dashes(0, list(item.dashes_pt))
    if item.within:
        context.set_clip_rectangle(Bbox.from_extents(*(edge * dpi for edge in item.within)))
    places = np.vstack([item.xy_in, item.xy_in[:1]]) if item.closed else item.xy_in
    path = Path(places * dpi, closed=item.closed)
    path.should_simplify = not item.closed and len(places) > 128
    renderer.draw_path(context, path, IdentityTransform(), to_rgba(item.fill) if item.fill else None)
    context.restore()


def _paint_text(renderer: Any, item: Text, dpi: int, height: float) -> None:
    context = renderer.new_gc()
    context.set_foreground(item.colour)
    left = item.box.left * dpi
    renderer.draw_text(context, left, height - item.y_in * dpi, item.text, _sized(item.size_pt, item.bold), 0.0)
    context.restore()


@lru_cache(maxsize=64)
def _sized(size_pt: float, bold: bool) -> Any:
    from matplotlib.font_manager import FontProperties

    return FontProperties(family=FONT, size=size_pt, weight="bold" if bold else "normal")


def png(painted: NDArray[np.uint8], dpi: int) -> bytes:
    """Return pixels, (height, width, 3 or more), as PNG (W3C, Portable Network Graphics, third edition, 2025), without alpha.

    Rows are packed as they are: large plain surfaces grow by the filters that libraries put before the packing, and the
    trial of all filters on each row takes as long as all the rest.
    """
    height, width = painted.shape[:2]
    rows = np.zeros((height, 1 + 3 * width), dtype=np.uint8)  # each begins with the number of its filter, 0 for none
    rows[:, 1:] = painted[:, :, :3].reshape(height, -1)
    per_metre = round(dpi / METRES_PER_INCH)
    chunks = {
        b"IHDR": struct.pack(">IIBBBBB", width, height, 8, 2, 0, 0, 0),  # eight bits, red green blue
        b"pHYs": struct.pack(">IIB", per_metre, per_metre, 1),
        b"IDAT": zlib.compress(rows.tobytes(), level=1),
        b"IEND": b"",
    }
    packed = (struct.pack(">I", len(d)) + k + d + struct.pack(">I", zlib.crc32(k + d)) for k, d in chunks.items())
    return b"\x89PNG\r\n\x1a\n" + b"".join(packed)

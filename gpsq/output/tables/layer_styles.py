"""A plain style for each layer, as styled layer descriptors for any GIS (OGC 05-078r4, with OGC 05-077r4)."""

from __future__ import annotations

FOLDER = "styles"
#: Colour and width or size in pixels of each layer, from the lowest to the highest in a map.
LOOKS = {
    "stations": ("point", "#545c5f", 3.0, ""),
    "centrelines": ("line", "#1c2428", 2.0, ""),
    "deviations": ("line", "#1c2428", 7.0, "12 6"),
    "tracks": ("line", "#0072B2", 1.2, ""),
    "first_fixes": ("point", "#D55E00", 8.0, ""),
}


def files() -> dict[str, str | bytes]:
    """Return the style of every layer by the name of its file."""
    return {f"{FOLDER}/{layer}.sld": style(layer) for layer in LOOKS}


def style(layer: str) -> str:
    """Return the style of a layer as a styled layer descriptor, version 1.1."""
    kind, colour, size, dashes = LOOKS[layer]
    symbolizer = _line(colour, size, dashes) if kind == "line" else _point(colour, size)
    return (
        '<?xml version="1.0" encoding="UTF-8"?>'
        '<StyledLayerDescriptor version="1.1.0" xmlns="http://www.opengis.net/sld" '
        'xmlns:se="http://www.opengis.net/se">'
        f"<NamedLayer><se:Name>{layer}</se:Name><UserStyle><se:Name>gpsq</se:Name><se:FeatureTypeStyle><se:Rule>"
        f"{symbolizer}</se:Rule></se:FeatureTypeStyle></UserStyle></NamedLayer></StyledLayerDescriptor>"
    )


def _line(colour: str, width: float, dashes: str) -> str:
    dashed = f'<se:SvgParameter name="stroke-dasharray">{dashes}</se:SvgParameter>' if dashes else ""
    return (
        f'<se:LineSymbolizer><se:Stroke><se:SvgParameter name="stroke">{colour}</se:SvgParameter>'
        f'<se:SvgParameter name="stroke-width">{width}</se:SvgParameter>{dashed}</se:Stroke></se:LineSymbolizer>'
    )


def _point(colour: str, size: float) -> str:
    return (
        "<se:PointSymbolizer><se:Graphic><se:Mark><se:WellKnownName>circle</se:WellKnownName>"
        f'<se:Fill><se:SvgParameter name="fill">{colour}</se:SvgParameter></se:Fill></se:Mark>'
        f"<se:Size>{size}</se:Size></se:Graphic></se:PointSymbolizer>"
    )

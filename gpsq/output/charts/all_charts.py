"""The pictures of an analysis: overlays of each way, time to first fix, what was missed, errors on the road."""

from __future__ import annotations

from typing import TYPE_CHECKING

from gpsq.output.charts import error, first_fix, missed
from gpsq.output.drawing.rendering import rendered
from gpsq.output.overlay import picture

if TYPE_CHECKING:
    from gpsq.output.drawing.rendering import Chart, Drawing
    from gpsq.results import Analysis

FOLDER = "figures"


def drawings(analysis: Analysis) -> list[Drawing]:
    """Return all pictures that the analysis has data for, in the order of the report."""
    return [*picture.drawings(analysis), *_of_figures(analysis)]


def _of_figures(analysis: Analysis) -> list[Drawing]:
    makers = (first_fix.first_fix, missed.missed, error.along, error.distribution)
    return [made for make in makers if (made := make(analysis)) is not None]


def overlays(analysis: Analysis, part: int = 0, parts: int = 1) -> tuple[Chart, ...]:
    """Return the pictures of each way, drawn; they show nothing of the summaries. Dealt out in turn, of so many `parts`."""
    return rendered(picture.drawings(analysis)[part::parts])


def figures(analysis: Analysis, drawn: tuple[Chart, ...] | None = None) -> tuple[Chart, ...]:
    """Return all pictures, drawn; `drawn` are the `overlays` where these are there already."""
    return (*(overlays(analysis) if drawn is None else drawn), *rendered(_of_figures(analysis)))


def files(charts: tuple[Chart, ...]) -> dict[str, str | bytes]:
    """Return the files of the charts by name: 16:9 and square, SVG and PNG."""
    found: dict[str, str | bytes] = {}
    for chart in charts:
        found[f"{FOLDER}/{chart.name}.svg"] = chart.wide_svg
        found[f"{FOLDER}/{chart.name}.png"] = chart.wide_png
        found[f"{FOLDER}/{chart.name}-square.svg"] = chart.square_svg
        found[f"{FOLDER}/{chart.name}-square.png"] = chart.square_png
    return found

"""The charts of an analysis: time to first fix, what was missed, error along the route, distribution of the error."""

from __future__ import annotations

from typing import TYPE_CHECKING

from gpsq.output.charts import error, first_fix
from gpsq.output.charts.sheet import rendered

if TYPE_CHECKING:
    from gpsq.output.charts.sheet import Chart
    from gpsq.results import Analysis

FOLDER = "figures"


def figures(analysis: Analysis) -> tuple[Chart, ...]:
    """Return all charts that the analysis has data for, in the order of the report."""
    makers = (first_fix.time_to_fix, first_fix.missed, error.along, error.distribution)
    return rendered([made for make in makers if (made := make(analysis)) is not None])


def files(charts: tuple[Chart, ...]) -> dict[str, str | bytes]:
    """Return the files of the charts by name: 16:9 and square, SVG and PNG."""
    found: dict[str, str | bytes] = {}
    for chart in charts:
        found[f"{FOLDER}/{chart.name}.svg"] = chart.wide_svg
        found[f"{FOLDER}/{chart.name}.png"] = chart.wide_png
        found[f"{FOLDER}/{chart.name}-square.svg"] = chart.square_svg
        found[f"{FOLDER}/{chart.name}-square.png"] = chart.square_png
    return found

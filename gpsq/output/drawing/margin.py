"""What stands in the margin of every picture: campaign, how many, when, source; and that ends were cut, where they were."""

from __future__ import annotations

from typing import TYPE_CHECKING

from gpsq.digests import version
from gpsq.output import wording
from gpsq.output.drawing.sheet import SMALL_PT, SOFT, text_width_in, wrapped
from gpsq.output.ride_days import period

if TYPE_CHECKING:
    from gpsq.output.drawing.sheet import Sheet
    from gpsq.results import Analysis

#: Said in every picture of a publication.
CUT = "ends cut, first fixes moved along the road"
#: Height of the margin's rows from the lower edge, in inches.
ROW_IN = 0.16
LOWEST_IN = 0.13


def counted(rides: int, recordings: int) -> str:
    """Return how many rides and recordings.

    Examples
    --------
    >>> counted(5, 5), counted(1, 3)
    ('5 rides', '1 ride, 3 recordings')
    """
    said = f"{rides} ride{'s' if rides != 1 else ''}"
    return said if recordings == rides else f"{said}, {recordings} recordings"


def of_all(analysis: Analysis) -> str:
    """Return how many rides and recordings a campaign has."""
    return counted(len({r.ride for r in analysis.results if r.ride}), len(analysis.traces))


def write_margin(sheet: Sheet, analysis: Analysis, counts: str, more: str = "") -> float:
    """Write the margin along the lower edge; return the height above which the sheet is free."""
    source = f"Source: own recordings, measured by gpsq {version()}"
    if analysis.published:
        source += f"; {CUT}"
    if more:
        source += f". {more}"
    parts = [wording.short(wording.title(analysis), 60), counts, period(analysis)]
    rows = [" · ".join(part for part in parts if part), source]
    most_in = sheet.width_in - 0.4
    if not sheet.wide:
        rows = [row for text in rows for row in wrapped(text, SMALL_PT, most_in)][:4]
    elif sum(text_width_in(row, SMALL_PT) for row in rows) + 0.2 < most_in:
        sheet.write(0.2, LOWEST_IN, rows[0], size_pt=SMALL_PT, colour=SOFT)
        sheet.write(sheet.width_in - 0.2, LOWEST_IN, rows[1], size_pt=SMALL_PT, colour=SOFT, anchor="end")
        return LOWEST_IN + ROW_IN
    for i, row in enumerate(rows):
        sheet.write(0.2, LOWEST_IN + (len(rows) - 1 - i) * ROW_IN, row, size_pt=SMALL_PT, colour=SOFT, most_in=most_in)
    return LOWEST_IN + len(rows) * ROW_IN

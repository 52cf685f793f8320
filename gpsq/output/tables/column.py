"""What a column is: its name, unit, heading and meaning, where its value is found and how it is said."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any

import numpy as np

from gpsq.output import wording
from gpsq.summary_types import Interval

if TYPE_CHECKING:
    from collections.abc import Callable, Mapping


@dataclass(frozen=True)
class Column:
    """One column of a table.

    Attributes
    ----------
    name : of the column, with its unit.
    kind : how it is kept: text, time, count, bool, or the number of decimals of a figure.
    meaning : what it is, in words; "" takes the name.
    source : where it is found, as a path from what the row is of ("result.first_fix.seconds"); of a device's figures
        the name alone, or with the end of its interval ("ttff_median_s.low").
    unit : s, m, km, share, ratio, count or "" (none, or the name says it); figures are said accordingly.
    heading : above it where people read it; `brief` the same where there is little room.
    parts : where it is shown beside its file: "fix" and "errors" (tables of report and page), "state" and "route" (the
        same by start state and by route), "terminal" (with its interval: "terminal interval"), "compare", and
        "first_fixes" (that layer).
    counted : name of the figure that says how many recordings or rides a device's figure rests on, of how many.
    """

    name: str
    kind: str
    meaning: str
    source: str
    unit: str = ""
    heading: str = ""
    brief: str = ""
    parts: tuple[str, ...] = ()
    counted: str = ""

    @property
    def short_heading(self) -> str:
        """Return the heading for where there is little room."""
        return self.brief or self.heading


def text(name: str, meaning: str, source: str, *parts: str) -> Column:
    """Return a column of text."""
    return Column(name, "text", meaning, source, parts=parts)


def with_bounds(column: Column, stem: str = "") -> tuple[Column, Column, Column]:
    """Return a figure's column and those of its bounds, ``STEM_low_UNIT`` and ``STEM_high_UNIT``."""
    stem = stem or column.name.removesuffix(f"_{column.unit}")
    low, high = (
        replace(
            column,
            name=f"{stem}_{end}" + (f"_{column.unit}" if column.unit in ("s", "m") else ""),
            meaning=f"{side} bound of {column.name}",
            source=f"{column.source}.{end}",
            heading="",
            brief="",
            parts=(),
        )
        for end, side in (("low", "lower"), ("high", "upper"))
    )
    return column, low, high


def value(column: Column, row: Mapping[str, Any]) -> Any:
    """Return what stands in a row for a column, None where it is not known.

    Parameters
    ----------
    row : what the row is of, by the first word of the columns' sources; or the value itself by the column's name.

    Examples
    --------
    >>> bound = Column("ttff_low_s", "2", "", "ttff_median_s.low")
    >>> value(bound, {"ttff_median_s": Interval(9.0, 4.0, 12.0)}), value(bound, {})
    (4.0, None)
    """
    first, *path = [column.name] if column.name in row else column.source.split(".")
    found = row.get(first)
    for name in path:
        if found is None:
            return None
        found = getattr(found, name)
    return found.value if isinstance(found, Interval) else found


def said(column: Column, figure: Interval) -> str:
    """Return a figure as it is shown: a share or a count of something as "6 of 10", all others as `saying` says; ≥ for a bound.

    Examples
    --------
    >>> said(Column("missed_median_m", "2", "", "", "m"), Interval(42.0, at_least=True)).replace(wording.GAP, " ")
    '≥ 42 m'
    >>> said(Column("fixed_in_10s", "4", "", "", "share"), Interval(0.6, of=10))
    '6 of 10'
    """
    if figure.of and column.unit in ("share", "count") and np.isfinite(figure.value):
        count = figure.value * (figure.of if column.unit == "share" else 1)
        return f"{count:.0f} of {figure.of}"
    if not says_anything(figure):
        return wording.UNKNOWN
    least = f"≥{wording.GAP}" if figure.at_least and np.isfinite(figure.value) else ""
    return least + saying(column)(figure.value)


def says_anything(figure: Interval) -> bool:
    """Return whether a figure is known; "at least nothing" is not.

    Examples
    --------
    >>> says_anything(Interval(0.0)), says_anything(Interval(0.04, at_least=True)), says_anything(Interval(7.5, at_least=True))
    (True, False, True)
    """
    return bool(np.isfinite(figure.value)) and not (figure.at_least and figure.value < wording.NOTHING_M)


def bounds(column: Column, figure: Interval, figures: Mapping[str, Interval] | None = None) -> str:
    """Return the bounds of a figure, its range where it has none, or why it is unknown; and what it rests on.

    Parameters
    ----------
    figures : all figures of the same device, among which is how many recordings this one rests on; None leaves that out.
    """
    if not np.isfinite(figure.value):
        return wording.cell(figure.method.split(";")[0].removeprefix("none: "))
    inside = wording.between(figure, saying(column))
    ranged = wording.cell(figure.method.split(";")[0]) if figure.method.startswith("range") else ""
    return ", ".join(part for part in (inside or ranged, rests_on(column, figures or {})) if part)


def rests_on(column: Column, figures: Mapping[str, Interval]) -> str:
    """Return on how many recordings or rides a figure rests, of how many; "" where that is not told or stands in it.

    Examples
    --------
    >>> rests_on(Column("ttff_median_s", "2", "", "", "s", counted="ttff_known"), {"ttff_known": Interval(10.0, of=12)})
    'from 10 of 12'
    """
    found = figures.get(column.counted)
    return f"from {found.value:.0f} of {found.of}" if found and found.of and np.isfinite(found.value) else ""


def saying(column: Column) -> Callable[[float], str]:
    """Return how a figure of a column is said: in seconds, metres, as a ratio, a share or a number."""
    ways = {"s": wording.seconds, "m": wording.metres, "share": wording.share, "ratio": _ratio, "km": _kilometres}
    return ways.get(column.unit, _number)


def _kilometres(value: float) -> str:
    return wording.metres(1000 * value)


def _ratio(value: float) -> str:
    return f"{value:.3f}" if np.isfinite(value) else wording.UNKNOWN


def _number(value: float) -> str:
    if not np.isfinite(value):
        return wording.UNKNOWN
    return f"{value:.0f}" if abs(value) >= 99.5 else f"{value:.2g}"

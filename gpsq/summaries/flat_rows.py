"""A result as one flat row of a table: an interval becomes three columns."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import fields
from typing import TYPE_CHECKING, Any

from gpsq.summary_types import Interval

if TYPE_CHECKING:
    from _typeshed import DataclassInstance

#: Endings of a name that are a unit and stay last.
UNITS = ("m", "m2", "s")


def flat_row(result: DataclassInstance) -> dict[str, Any]:
    """Return the fields of a result by name, intervals as value, ``_low`` and ``_high`` before the unit.

    Examples
    --------
    >>> from gpsq.summary_types import ErrorVariance
    >>> row = flat_row(ErrorVariance("a", "", 3, Interval(4.0, 1.0, 9.0), 2.0))
    >>> [(name, row[name]) for name in ("variance_m2", "variance_low_m2", "variance_high_m2", "sd_m")]
    [('variance_m2', 4.0), ('variance_low_m2', 1.0), ('variance_high_m2', 9.0), ('sd_m', 2.0)]
    """
    row: dict[str, Any] = {}
    for field in fields(result):
        value = getattr(result, field.name)
        for name, part in value.items() if isinstance(value, Mapping) else [(field.name, value)]:
            row |= _columns(name, part) if isinstance(part, Interval) else {name: part}
    return row


def _columns(name: str, figure: Interval) -> dict[str, float]:
    stem, _, unit = name.rpartition("_")
    low, high = (f"{stem}_{end}_{unit}" if stem and unit in UNITS else f"{name}_{end}" for end in ("low", "high"))
    return {name: figure.value, low: figure.low, high: figure.high}

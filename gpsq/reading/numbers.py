"""Numbers as files write them: with decimal commas, blanks, rubbish, and codes that mean "unknown"."""

from __future__ import annotations

import re
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import NDArray

    from gpsq.model import FloatArray

_NUMBER = re.compile(r"[+-]?(?:\d+\.?\d*|\.\d+)(?:[eE][+-]?\d+)?", re.ASCII)
_NOT_FINITE = re.compile(r"[+-]?(?:nan|inf|infinity)", re.IGNORECASE)


@dataclass(frozen=True)
class Numbers:
    """Numbers read from text.

    Attributes
    ----------
    value : (n,) nan where there is no finite number.
    problem : (n,) "" or no_position (absent or blank), not_finite, unparseable_coordinate.
    commas : how many were written with a decimal comma.
    """

    value: FloatArray
    problem: NDArray[np.object_]
    commas: int = 0


def parse_numbers(texts: Sequence[str | None]) -> Numbers:
    """Read `texts` (None where the file has nothing) as numbers; one comma is a decimal comma.

    Examples
    --------
    >>> read = parse_numbers(["51.5", "51,5", None, "abc", "NaN"])
    >>> read.value.tolist()[:2], read.commas, read.problem.tolist()[2:]
    ([51.5, 51.5], 1, ['no_position', 'unparseable_coordinate', 'not_finite'])
    """
    try:
        value = np.array(texts, dtype=np.float64)
    except (TypeError, ValueError):
        value = None
    if value is not None and np.isfinite(value).all() and "_" not in "".join(filter(None, texts)):
        return Numbers(value, np.full(len(texts), "", dtype=object))
    read = [_parse_number(text) for text in texts]
    return Numbers(
        np.array([r[0] for r in read], dtype=np.float64),
        np.array([r[1] for r in read], dtype=object),
        sum("," in text for text, r in zip(texts, read, strict=True) if text and not r[1]),
    )


def _parse_number(text: str | None) -> tuple[float, str]:
    if text is None or not text.strip():
        return np.nan, "no_position"
    plain = text.strip().replace("−", "-")
    if plain.count(",") == 1 and "." not in plain:
        plain = plain.replace(",", ".")
    if _NOT_FINITE.fullmatch(plain):
        return np.nan, "not_finite"
    if not _NUMBER.fullmatch(plain):
        return np.nan, "unparseable_coordinate"
    value = float(plain)
    return (value, "") if np.isfinite(value) else (np.nan, "not_finite")

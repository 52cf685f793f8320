"""Which lines may share a way, without comparing every two: the cells of space that they pass through.

A cell is a cube of earth-centred space. Two lines that run within a distance of one another for a share of the shorter
one pass through the same cells, or through touching ones, for at least that share of its places.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from gpsq.model import BoolArray, FloatArray, IntArray

_AROUND = np.stack(np.meshgrid([-1, 0, 1], [-1, 0, 1], [-1, 0, 1], indexing="ij"), axis=-1).reshape(-1, 3)
#: Numbers of cells are packed in 21 bits each: cells of a metre reach around the earth.
_BITS = 21


@dataclass(frozen=True, eq=False)
class Cells:
    """The cells of one line: `own`, how many of its `places` lie in each, and `near`, those and all that touch them."""

    own: IntArray
    places: IntArray
    near: IntArray


def cells_of(xyz_m: FloatArray, size_m: float) -> Cells:
    """Return the cells of (n, 3) earth-centred places.

    Examples
    --------
    >>> cells = cells_of(np.zeros((4, 3)), 100.0)
    >>> len(cells.own), cells.places.tolist(), len(cells.near)
    (1, [4], 27)
    """
    number = np.floor(xyz_m / size_m).astype(np.int64) + (1 << (_BITS - 1))
    own, places = np.unique(_packed(number), return_counts=True)
    return Cells(own, places, np.unique(own[:, None] + _packed(_AROUND)))


def _packed(number: IntArray) -> IntArray:
    """Return (n, 3) numbers as one each; the packed sum is the sum of the packed."""
    return np.asarray((number[:, 0] << (2 * _BITS)) + (number[:, 1] << _BITS) + number[:, 2])


def most_shared(one: Cells, other: Cells) -> float:
    """Return the largest share of the places of either line that can lie near the other: a bound, never too small.

    Examples
    --------
    >>> here, far = cells_of(np.zeros((2, 3)), 100.0), cells_of(np.full((2, 3), 1000.0), 100.0)
    >>> most_shared(here, here), most_shared(here, far)
    (1.0, 0.0)
    """
    return max(_share_near(one, other), _share_near(other, one))


def _share_near(one: Cells, other: Cells) -> float:
    return float(one.places[is_near(one, other)].sum() / one.places.sum())


def is_near(one: Cells, other: Cells) -> BoolArray:
    """Return which of the own cells of one line are near the other line."""
    at = np.minimum(np.searchsorted(other.near, one.own), len(other.near) - 1)
    return np.asarray(other.near[at] == one.own)


@dataclass
class CellIndex:
    """Which items have been put where: the items near any of the cells asked for."""

    items: dict[int, set[int]] = field(default_factory=dict)

    def put(self, item: int, cells: Cells) -> None:
        """Remember an item by the cells it is near."""
        for cell in cells.near.tolist():
            self.items.setdefault(cell, set()).add(item)

    def near(self, cells: Cells) -> set[int]:
        """Return the items that are near one of the line's own cells."""
        found: set[int] = set()
        for cell in cells.own.tolist():
            found |= self.items.get(cell, _NOBODY)
        return found


_NOBODY: frozenset[int] = frozenset()

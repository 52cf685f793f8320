"""The numbers of a running line's stations from round to round: where paths along it lie after it was mended and resampled."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from gpsq.geometry import polyline

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import NDArray

    from gpsq.model import FloatArray, IntArray

#: Paths are looked for near where they were, unless an end was carried on by more stations than this: places beyond an end
#: go on along what it was carried on by at about one a station.
CARRIED_STATIONS = 40


def numbered_anew(moved: FloatArray, mended: FloatArray, resampled: FloatArray) -> FloatArray | None:
    """Return (m,) the numbers of a line's stations after it was mended and resampled; of one that is gone, between others'.

    None where the line was led another way in between: of who runs there the path tells only where he left and came back.
    """
    along = polyline.along_m(mended)
    number = along * ((len(resampled) - 1) / along[-1])
    if np.array_equal(mended, moved):
        return np.asarray(number)
    _, old, new = np.intersect1d(_as_complex(moved), _as_complex(mended), return_indices=True)
    old, new = np.sort(old), np.sort(new)
    if (np.diff(new) > 1).any():
        return None
    return np.asarray(np.interp(np.arange(len(moved)), old, number[new]))


def _as_complex(xy_m: FloatArray) -> NDArray[np.complex128]:
    return np.ascontiguousarray(xy_m).view(np.complex128)[:, 0]


def carried_over(paths: Sequence[IntArray], number: FloatArray | None, count: int) -> list[IntArray] | None:
    """Return near where paths run along a line of `count` stations numbered anew; None where that cannot be told.

    Places beyond an end are counted on from it, one a station, along what the line was carried on by there.
    """
    if number is None or number[0] > CARRIED_STATIONS or count - 1 - number[-1] > CARRIED_STATIONS:
        return None
    nearest, found = np.rint(number).astype(np.int64), []
    for path in paths:
        at = np.arange(len(path))
        before = np.searchsorted(path, 0, side="right") - 1 - at
        after = at - np.searchsorted(path, len(number) - 1, side="left")
        near = nearest[path] - np.maximum(before, 0) + np.maximum(after, 0)
        found.append(np.clip(near, 0, count - 1))
    return found


def along_new(values: FloatArray, number: FloatArray | None, count: int) -> FloatArray | None:
    """Return (count,) values of stations along the line on which they were numbered anew; None where that is not known."""
    return None if number is None else np.asarray(np.interp(np.arange(count), number, values))


def shifted(path: IntArray, kept: slice, count: int) -> IntArray:
    """Return a path with its stations numbered along the part of the line that is kept."""
    first, last, _ = kept.indices(count)
    return np.asarray(np.clip(path - first, 0, last - first - 1))

"""From metres of a plane to places on a sheet: north up, or turned so that the way runs from left to right."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from gpsq.model import FloatArray

#: Less ground than this is never spread over a whole sheet.
LEAST_M = 30.0


@dataclass(frozen=True, eq=False)
class View:
    """Places metres of a plane on a sheet.

    `turn` (2, 2) is a rotation, `scale` inches for a metre, `middle_m` the place that comes to `middle_in`.
    """

    turn: FloatArray
    scale: float
    middle_m: FloatArray
    middle_in: tuple[float, float]

    def place(self, xy_m: FloatArray) -> FloatArray:
        """Return (n, 2) places in inches of (n, 2) metres."""
        turned: FloatArray = (np.asarray(xy_m, float).reshape(-1, 2) - self.middle_m) @ self.turn.T
        return np.asarray(turned * self.scale + self.middle_in)

    @property
    def north(self) -> FloatArray:
        """Direction of north on the sheet, (2,)."""
        return np.asarray(self.turn @ np.array([0.0, 1.0]))


def left_to_right(xy_m: FloatArray) -> FloatArray:
    """Return the rotation that turns a line's longest extent level, its end to the right; a turn, never a mirror.

    Examples
    --------
    >>> north_bound = np.array([[0.0, 0.0], [0.0, 10.0]])
    >>> (north_bound @ left_to_right(north_bound).T).round(6).tolist()[1]
    [10.0, 0.0]
    """
    if len(xy_m) < 2:
        return np.eye(2)
    centred = xy_m - xy_m.mean(axis=0)
    along = np.linalg.svd(centred, full_matrices=False)[2][0] if len(xy_m) > 2 else xy_m[1] - xy_m[0]
    along = along / max(float(np.hypot(*along)), 1e-12)
    if (xy_m[-1] - xy_m[0]) @ along < 0:
        along = -along
    return np.array([[along[0], along[1]], [-along[1], along[0]]])


def fitted(xy_m: FloatArray, turn: FloatArray, size_in: tuple[float, float], middle_in: tuple[float, float]) -> View:
    """Return the view that shows all of (n, 2) places within a size, about a place on the sheet."""
    turned = xy_m @ turn.T
    low, high = turned.min(axis=0), turned.max(axis=0)
    size_m = np.maximum(high - low, 1e-9)
    scale = float(min(size_in[0] / size_m[0], size_in[1] / size_m[1], max(size_in) / LEAST_M))
    return View(turn, scale, np.asarray((low + high) / 2 @ turn), middle_in)


def whole_length_m(most_m: float) -> float:
    """Return the longest whole length, 1, 2 or 5 times a power of ten, that is no longer than `most_m`.

    Examples
    --------
    >>> [whole_length_m(m) for m in (730.0, 130.0, 4.2)]
    [500.0, 100.0, 2.0]
    """
    power = 10.0 ** np.floor(np.log10(most_m))
    return float(max(step * power for step in (1, 2, 5) if step * power <= most_m))

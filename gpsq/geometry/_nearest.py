"""The nearest place on a stretch of a line, compiled."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from gpsq.geometry._compiled import compiled

if TYPE_CHECKING:
    from gpsq.model import FloatArray, IntArray


@compiled
def nearest(
    points: FloatArray, line: FloatArray, along: FloatArray, low: IntArray, high: IntArray
) -> tuple[FloatArray, FloatArray]:  # pragma: no cover - compiled
    """Return along and signed offset of the nearest place on segments `low` to `high` for each point."""
    best_along, best_offset = np.empty(len(points)), np.full(len(points), np.inf)
    for i in range(len(points)):
        for j in range(low[i], high[i] + 1):
            leg_x, leg_y = line[j + 1, 0] - line[j, 0], line[j + 1, 1] - line[j, 1]
            to_x, to_y = points[i, 0] - line[j, 0], points[i, 1] - line[j, 1]
            size = leg_x * leg_x + leg_y * leg_y
            share = min(max((to_x * leg_x + to_y * leg_y) / (size if size != 0.0 else 1.0), 0.0), 1.0)
            away_x, away_y = to_x - share * leg_x, to_y - share * leg_y
            distance = np.sqrt(away_x * away_x + away_y * away_y)
            if distance < abs(best_offset[i]):
                best_offset[i] = -distance if leg_x * to_y - leg_y * to_x < 0 else distance
                best_along[i] = along[j] + share * np.sqrt(size)
    return best_along, best_offset

"""A plot on a sheet: values to places, ticks, and what the axes mean."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from gpsq.output.drawing.sheet import POINTS_PER_INCH, RULE, SMALL_PT, SOFT, text_width_in

if TYPE_CHECKING:
    from collections.abc import Sequence

    from gpsq.model import FloatArray
    from gpsq.output.drawing.sheet import Box, Sheet


@dataclass(frozen=True)
class Plot:
    """A box on a sheet with an axis each way; `log`: the level axis is logarithmic."""

    sheet: Sheet
    box: Box
    x: tuple[float, float]
    y: tuple[float, float] = (0.0, 1.0)
    log: bool = False

    def x_in(self, values: FloatArray | float) -> FloatArray:
        """Return places along the level axis; what lies beyond its ends comes to the ends."""
        low, high = np.log(self.x) if self.log else np.array(self.x)
        inside = np.clip(np.asarray(values, float), *self.x)
        share = ((np.log(inside) if self.log else inside) - low) / (high - low)
        return np.asarray(self.box.left + share * self.box.width)

    def y_in(self, values: FloatArray | float) -> FloatArray:
        """Return places along the upright axis; what lies beyond its ends comes to the ends."""
        low, high = self.y
        share = (np.clip(np.asarray(values, float), low, high) - low) / (high - low)
        return np.asarray(self.box.bottom + share * self.box.height)

    def place(self, x: FloatArray, y: FloatArray) -> FloatArray:
        """Return (n, 2) places of (n,) values each way."""
        return np.column_stack([self.x_in(x), self.y_in(y)])

    def x_axis(self, ticks: Sequence[float], labels: Sequence[str], title: str, *, rules: bool = True) -> None:
        """Draw the level axis with its ticks, those that find room, and its title below."""
        sheet, bottom = self.sheet, self.box.bottom
        sheet.line([(self.box.left, bottom), (self.box.right, bottom)], SOFT, 0.9)
        free = -np.inf
        for at, label in zip(self.x_in(np.array(ticks)), labels, strict=True):
            if rules:
                sheet.line([(at, bottom), (at, self.box.top)], RULE, 0.7)
            half = text_width_in(label, SMALL_PT) / 2
            if at - half > free and at + half < sheet.width_in - 0.05:
                sheet.write(float(at), bottom - 0.17, label, size_pt=SMALL_PT, anchor="middle")
                free = float(at) + half + 0.06
        sheet.write(self.box.left, bottom - 0.35, title, size_pt=SMALL_PT, colour=SOFT, most_in=self.box.width)

    def y_axis(self, ticks: Sequence[float], labels: Sequence[str]) -> None:
        """Draw level rules with their labels to the left."""
        for at, label in zip(self.y_in(np.array(ticks)), labels, strict=True):
            self.sheet.line([(self.box.left, at), (self.box.right, at)], RULE, 0.7)
            low = float(at) - 0.36 * SMALL_PT / POINTS_PER_INCH
            self.sheet.write(self.box.left - 0.06, low, label, size_pt=SMALL_PT, anchor="end")


def whole_ticks(low: float, high: float, about: int = 5) -> list[float]:
    """Return round values from low to high, about so many.

    Examples
    --------
    >>> whole_ticks(0.0, 11.0), whole_ticks(-2.0, 2.0, 4)
    ([0.0, 2.0, 4.0, 6.0, 8.0, 10.0], [-2.0, -1.0, 0.0, 1.0, 2.0])
    """
    rough = max(high - low, 1e-9) / about
    power = 10.0 ** np.floor(np.log10(rough))
    step = float(min((step * power for step in (1, 2, 5, 10)), key=lambda step: abs(np.log(step / rough))))
    first = np.ceil(low / step - 1e-9)
    count = int(np.floor(high / step + 1e-9) - first) + 1
    return [float(round((first + i) * step, 9)) + 0.0 for i in range(count)]


def tick_text(value: float) -> str:
    """Return a tick's value as short as it is exact, with a true minus sign."""
    return f"{value:g}".replace("-", "\N{MINUS SIGN}")


def swarm(x_in: FloatArray, apart_in: float) -> FloatArray:
    """Return a level for each of (n,) places, 0, 1, −1, 2, …, so that no two on one level are nearer than `apart_in`.

    Examples
    --------
    >>> swarm(np.array([0.0, 0.05, 0.06, 1.0]), 0.1).tolist()
    [0.0, 1.0, -1.0, 0.0]
    """
    levels = np.zeros(len(x_in))
    last: dict[float, float] = {}
    for i in np.argsort(x_in, kind="stable"):
        choices = (sign * k for k in range(len(x_in) + 1) for sign in ((1.0, -1.0) if k else (1.0,)))
        levels[i] = next(c for c in choices if x_in[i] - last.get(c, -np.inf) >= apart_in)
        last[levels[i]] = float(x_in[i])
    return levels

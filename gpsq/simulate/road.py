"""Roads of an invented town: streets on a bent grid, and the lines that are ridden on them.

Everything is laid out on a square grid of streets, then bent by one smooth map of the plane and turned, so that
streets beside one another stay beside one another. Lengths and offsets are measured on the finished lines. Nothing
here comes from `gpsq.geometry.polyline`: the truth must not share the code that it judges.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from gpsq.model import FloatArray
    from gpsq.simulate.spec import CampaignSpec

#: Corners are rounded over this length of road; the axis then turns with some 5 m of radius, the inner lane tighter.
CORNER_M = 15


@dataclass(frozen=True)
class Bend:
    """The map from the grid to the town: two waves and a turn."""

    size_m: tuple[float, float]
    wave_m: tuple[float, float]
    phase: tuple[float, float]
    turn: float

    @classmethod
    def drawn(cls, rng: np.random.Generator) -> Bend:
        """Return a random one: streets that change heading by up to some 15 degrees."""
        size, wave, phase = rng.uniform(15, 50, 2), rng.uniform(1200, 2600, 2), rng.uniform(0, 2 * np.pi, 2)
        pairs = [(float(a), float(b)) for a, b in (size, wave, phase)]
        return cls(pairs[0], pairs[1], pairs[2], float(rng.uniform(0, 2 * np.pi)))

    def apply(self, xy: FloatArray) -> FloatArray:
        """Return (n, 2) places in the town for (n, 2) places on the grid."""
        x = xy[:, 0] + self.size_m[0] * np.sin(2 * np.pi * xy[:, 1] / self.wave_m[0] + self.phase[0])
        y = xy[:, 1] + self.size_m[1] * np.sin(2 * np.pi * xy[:, 0] / self.wave_m[1] + self.phase[1])
        c, s = np.cos(self.turn), np.sin(self.turn)
        return np.column_stack([c * x - s * y, s * x + c * y])


def arc_length(xy: FloatArray) -> FloatArray:
    """Return (n,) metres from the beginning of a line to each of its (n, 2) points."""
    return np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(xy, axis=0).T))])


def at_arc_length(xy: FloatArray, along_m: FloatArray) -> FloatArray:
    """Return (k, 2) places at (k,) metres along a line."""
    s = arc_length(xy)
    return np.column_stack([np.interp(along_m, s, xy[:, 0]), np.interp(along_m, s, xy[:, 1])])


def by_the_metre(xy: FloatArray) -> FloatArray:
    """Return a line with a point every metre (a little less, so that the end is kept)."""
    length_m = arc_length(xy)[-1]
    return at_arc_length(xy, np.linspace(0.0, length_m, int(np.ceil(length_m)) + 1))


def left_normals(xy: FloatArray) -> FloatArray:
    """Return (n, 2) unit vectors to the left of travel."""
    tangent = np.gradient(xy, axis=0)
    tangent /= np.hypot(*tangent.T)[:, None]
    return np.column_stack([-tangent[:, 1], tangent[:, 0]])


def _rounded(xy: FloatArray) -> FloatArray:
    weights = np.hanning(CORNER_M + 2)[1:-1]
    weights /= weights.sum()
    pad = CORNER_M // 2
    before = xy[0] - (xy[1] - xy[0]) * np.arange(pad, 0, -1)[:, None]
    after = xy[-1] + (xy[-1] - xy[-2]) * np.arange(1, pad + 1)[:, None]
    padded = np.concatenate([before, xy, after])
    return np.column_stack([np.convolve(padded[:, k], weights, mode="valid") for k in (0, 1)])


def ridden_line(corners: FloatArray, bend: Bend, lane_m: float) -> FloatArray:
    """Return the line that is ridden, a point a metre, from the corners of the streets on the grid.

    `lane_m` is the offset from the streets' axis, + to the left of travel.
    """
    axis = by_the_metre(bend.apply(_rounded(by_the_metre(corners))))
    return by_the_metre(axis + lane_m * left_normals(axis))


def street_corners(rng: np.random.Generator, length_m: float, shape: str) -> FloatArray:
    """Return (k, 2) corners on the grid of a way through town of about `length_m`."""
    return _loop(rng, length_m) if shape == "loop" else _across(rng, length_m)


def _across(rng: np.random.Generator, length_m: float) -> FloatArray:
    corners = [np.zeros(2)]
    left_m, side = length_m, 1.0
    while left_m > 0:
        run = min(left_m, rng.choice([300.0, 450.0, 700.0, 1000.0, 1200.0]) + rng.uniform(-40, 40))
        run = left_m if left_m - run < 250.0 else run
        corners.append(corners[-1] + [run, 0.0])
        left_m -= run
        cross = min(left_m, rng.uniform(110, 380))
        if cross > 100.0 and left_m - cross > 250.0:
            side = -side if rng.random() < 0.65 else side
            corners.append(corners[-1] + [0.0, side * cross])
            left_m -= cross
    return np.array(corners)


def _loop(rng: np.random.Generator, length_m: float) -> FloatArray:
    wide = length_m * rng.uniform(0.28, 0.34)
    high = (length_m - 2 * wide) / 2
    first, second = np.sort(rng.uniform(0.3, 0.7, 2)) * wide
    step = rng.uniform(100, 180)
    near = rng.uniform(40, 90)
    there = [(0, 0), (first, 0), (first, step), (wide, step), (wide, high)]
    again = [(second, high), (second, high - step), (-near, high - step), (-near, near)]
    return np.array(there + again, dtype=float)


def leg_lengths(corners: FloatArray) -> FloatArray:
    """Return (k − 1,) lengths of the straight pieces between (k, 2) corners."""
    return np.asarray(np.hypot(*np.diff(corners, axis=0).T))


def parallel_street(corners: FloatArray, leg: int, from_m: float, to_m: float, off_m: float) -> FloatArray:
    """Return corners of the way that takes the street `off_m` to the left of a leg, between two distances along it."""
    along = (corners[leg + 1] - corners[leg]) / leg_lengths(corners)[leg]
    aside = off_m * np.array([-along[1], along[0]])
    leave, join = corners[leg] + from_m * along, corners[leg] + to_m * along
    return np.concatenate([corners[: leg + 1], [leave, leave + aside, join + aside, join], corners[leg + 1 :]])


def round_the_block(corners: FloatArray, corner: int, before_m: float, after_m: float) -> FloatArray:
    """Return corners of the way that goes round a block by its other side, from before to after one corner."""
    here, lengths = corners[corner], leg_lengths(corners)
    leave = here - before_m * (here - corners[corner - 1]) / lengths[corner - 1]
    join = here + after_m * (corners[corner + 1] - here) / lengths[corner]
    return np.concatenate([corners[:corner], [leave, leave + join - here, join], corners[corner + 1 :]])


def with_spur(corners: FloatArray, leg: int, at_m: float, deep_m: float, drive_left: bool) -> FloatArray:
    """Return corners of the way that also goes up a side street and back down the same street."""
    along = (corners[leg + 1] - corners[leg]) / leg_lengths(corners)[leg]
    up = np.array([-along[1], along[0]])
    # The turn goes away from the ridden side, so that the line does not fold: left where people ride on the right.
    apart = 2.0 * np.array([-up[1], up[0]]) * (-1.0 if drive_left else 1.0)
    foot = corners[leg] + at_m * along
    tip = foot + deep_m * up
    return np.concatenate([corners[: leg + 1], [foot, tip, tip + apart, foot + apart], corners[leg + 1 :]])


def corners_each_way(rng: np.random.Generator, spec: CampaignSpec) -> dict[str, FloatArray]:
    """Return the corners of the way out and of the way back."""
    spur_m = rng.uniform(280, 420) if spec.spur else 0.0
    out = street_corners(rng, max(spec.length_m - 2 * spur_m, 2000.0), spec.shape)
    back = out[::-1]
    if spec.back == "parallel street":
        leg = int(np.argmax(leg_lengths(back)))
        long_m = leg_lengths(back)[leg]
        off_m = spec.parallel_m * rng.choice([-1.0, 1.0])
        back = parallel_street(back, leg, 0.12 * long_m, rng.uniform(0.7, 0.88) * long_m, off_m)
    ways = {"out": out, "back": back}
    if spec.spur:
        for name, way in ways.items():
            leg = int(np.argsort(leg_lengths(way))[-2])
            ways[name] = with_spur(way, leg, 0.5 * leg_lengths(way)[leg], spur_m, spec.drive_left)
    return {name: ways[name] for name in spec.directions}

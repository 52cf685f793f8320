"""A hundred sets of short, far-apart segments: a few noisy, unevenly sampled tracks of one shape, invented."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from gpsq.geometry import polyline

if TYPE_CHECKING:
    from gpsq.model import FloatArray


def segment_set(seed: int) -> tuple[FloatArray, list[FloatArray]]:
    """Return the true shape (n, 2) of 60 to 600 m, and 2 to 10 tracks of it: 8 to 60 fixes, 1 to 6 % of its length off.

    Each track has an offset of its own, an error that wanders, and white noise; it begins and ends a little early or late.
    """
    rng = np.random.default_rng((seed, 94))
    length_m = float(np.exp(rng.uniform(np.log(60.0), np.log(600.0))))
    share = np.linspace(0.0, 1.0, 400)
    heading = rng.uniform(0.0, 2.0 * np.pi) + sum(
        rng.normal(0.0, 0.9 / k) * np.sin(np.pi * k * share + rng.uniform(0.0, 2.0 * np.pi)) for k in (1, 2, 3)
    )
    legs = length_m / 399 * np.column_stack([np.cos(heading), np.sin(heading)])
    shape = np.vstack([np.zeros(2), np.cumsum(legs[1:], axis=0)])
    off_m = length_m * rng.uniform(0.01, 0.06)
    return shape, [_track(rng, shape, length_m, off_m) for _ in range(int(rng.integers(2, 11)))]


def _track(rng: np.random.Generator, shape: FloatArray, length_m: float, off_m: float) -> FloatArray:
    count = int(rng.integers(8, 60))
    ends = np.clip(rng.normal(0.0, 0.01, 2), -0.03, 0.03)
    share = np.sort(np.concatenate([[max(ends[0], 0.0), 1.0 - max(ends[1], 0.0)], rng.beta(0.8, 0.8, count - 2)]))
    places = polyline.at_along(shape, np.linspace(0.0, 1.0, len(shape)), share)
    knots = rng.normal(0.0, 0.6 * off_m, (6, 2))
    wander = np.column_stack([np.interp(share, np.linspace(0, 1, 6), knots[:, axis]) for axis in (0, 1)])
    return np.asarray(places + rng.normal(0.0, 0.7 * off_m, 2) + wander + rng.normal(0.0, 0.3 * off_m, places.shape))


def mean_by_share(tracks: list[FloatArray], count: int = 200) -> FloatArray:
    """Return the plain mean of the tracks' places at the same shares of their ways, without any code under test."""
    shares = np.linspace(0.0, 1.0, count)
    total = np.zeros((count, 2))
    for xy in tracks:
        along = np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(xy, axis=0).T))])
        total += np.column_stack([np.interp(shares * along[-1], along, xy[:, axis]) for axis in (0, 1)])
    return np.asarray(total / len(tracks))


def off_shape_m(line: FloatArray, shape: FloatArray) -> float:
    """Return the mean distance between a line and a shape at the same shares of their ways, in metres."""
    return float(np.hypot(*(mean_by_share([line]) - mean_by_share([shape])).T).mean())

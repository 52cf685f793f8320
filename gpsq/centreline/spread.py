"""What is known of a line at each station: support, spread, and a confidence band from whole rides."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from gpsq.geometry import polyline
from gpsq.model import Centreline

if TYPE_CHECKING:
    from collections.abc import Sequence

    from gpsq.centreline.strands import Strand
    from gpsq.geometry.alignment import Abreast
    from gpsq.model import BoolArray, FloatArray

#: Under three rides nothing can be said of spread between rides.
LEAST_RIDES = 3
#: From median absolute deviation to standard deviation of normal noise.
MAD_TO_SD = 1.4826
#: Resamples of rides behind the confidence band.
BAND_RESAMPLES = 400


def described(
    xy_m: FloatArray,
    along_m: FloatArray,
    places: Sequence[Abreast],
    strands: Sequence[Strand],
    keep: BoolArray,
    left_out: str,
) -> Centreline:
    """Return the line with its support, spread and confidence band from the places of the strands kept."""
    offset = np.full((int(keep.sum()), len(xy_m)), np.nan)
    normal = polyline.left_normals(np.where(np.isnan(xy_m), 0.0, xy_m))
    for row, k in enumerate(np.flatnonzero(keep)):
        across = (places[int(k)].xy_m - xy_m) * normal
        offset[row] = across[:, 0] + across[:, 1]
    rows: dict[str, list[int]] = {}
    for row, k in enumerate(np.flatnonzero(keep)):
        rows.setdefault(strands[int(k)].ride, []).append(row)
    by_ride = np.array([_mean_over(offset[own]) for _, own in sorted(rows.items())])
    there = ~np.isnan(offset)
    return Centreline(
        xy_m=xy_m,
        along_m=along_m,
        support=there.sum(axis=0),
        rides=(~np.isnan(by_ride)).sum(axis=0),
        spread_m=_spread(offset),
        # the band is drawn about the whole line; making it for every line without a ride would cost as much as the lines
        band_m=np.full(len(xy_m), np.nan) if left_out else _band(by_ride),
        left_out=left_out,
    )


def blank(centreline: Centreline, left_out: str) -> Centreline:
    """Return a line of the same stations of which nothing is known: every trace belongs to the ride left out."""
    count = len(centreline.along_m)
    nothing, nobody = np.full(count, np.nan), np.zeros(count, dtype=np.int64)
    return Centreline(
        np.full((count, 2), np.nan), centreline.along_m, nobody, nobody.copy(), nothing, nothing.copy(), left_out
    )


def _mean_over(rows: FloatArray) -> FloatArray:
    """Return the mean of each column over the rows that have a value; nan where none has."""
    there = (~np.isnan(rows)).sum(axis=0)
    return np.where(there > 0, np.nansum(rows, axis=0) / np.maximum(there, 1), np.nan)


def _spread(offset_m: FloatArray) -> FloatArray:
    """Return (m,) the robust standard deviation of the offsets, 1.4826 times the median absolute one; nan under two."""
    there = (~np.isnan(offset_m)).sum(axis=0)
    size = np.sort(np.abs(offset_m), axis=0)
    low, high = np.maximum(there - 1, 0) // 2, np.maximum(there, 1) // 2
    columns = np.arange(offset_m.shape[1])
    middle = (size[low, columns] + size[np.minimum(high, len(size) - 1), columns]) / 2
    return np.where(there >= 2, MAD_TO_SD * middle, np.nan)


def _band(by_ride_m: FloatArray) -> FloatArray:
    """Return (m,) the half-width of the 95 % band of the mean line from resampling whole rides; nan under three."""
    count = len(by_ride_m)
    if count < LEAST_RIDES:
        return np.full(by_ride_m.shape[1], np.nan)
    draws = np.random.default_rng(0).multinomial(count, np.full(count, 1 / count), size=BAND_RESAMPLES).astype(float)
    there = ~np.isnan(by_ride_m)
    # summed in one order, whatever the number of threads that multiply matrices here or on another machine
    means = np.einsum("ij,jk->ik", draws, np.where(there, by_ride_m, 0.0))
    means /= _numbers(draws, there)
    low, high = _quantiles(means)
    return np.where(there.sum(axis=0) >= LEAST_RIDES, (high - low) / 2 * np.sqrt(count / (count - 1)), np.nan)


def _numbers(draws: FloatArray, there: BoolArray) -> FloatArray:
    """Return (d, m) how many rides of each draw have a value at each station; nan where none has."""
    number = np.full((len(draws), there.shape[1]), float(len(there)))
    partly = np.flatnonzero(~there.all(axis=0))
    some = np.einsum("ij,jk->ik", draws, there[:, partly])
    number[:, partly] = np.where(some > 0, some, np.nan)
    return number


def _quantiles(means: FloatArray) -> tuple[FloatArray, FloatArray]:
    ordered = np.sort(means, axis=0)  # nan last
    there = (~np.isnan(means)).sum(axis=0)
    columns = np.arange(means.shape[1])
    last = np.maximum(there - 1, 0)
    return ordered[np.round(0.025 * last).astype(int), columns], ordered[np.round(0.975 * last).astype(int), columns]

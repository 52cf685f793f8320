"""Offsets of many traces at the stations of one route, as one table: rows are traces or rides, columns stations."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from typing import TYPE_CHECKING, Any
from weakref import WeakKeyDictionary

import numpy as np

from gpsq.arrays import mean_of_known
from gpsq.statistics.robust import robust_sd

if TYPE_CHECKING:
    from collections.abc import Sequence

    from gpsq.model import BoolArray, Deviation, FloatArray, IntArray, Trace
    from gpsq.results import RouteResult, TraceResult

#: A ride further off than this many robust standard deviations no longer pulls at a centreline made of medians.
PULL_LIMIT = 3.0


@dataclass(frozen=True, eq=False)
class StationTable:
    """Scored offsets of the traces of one route.

    `along_m` (m,) stations; `offset_m` (k, m) signed offsets from each trace's left-out centreline, nan where
    not scored; `trace`, `ride`, `device` (k,) say whose they are. `deviating` (k, m) marks what lies in a deviation.
    """

    route: str
    along_m: FloatArray
    offset_m: FloatArray
    trace: tuple[int, ...]
    ride: tuple[str, ...]
    device: tuple[str, ...]
    deviating: BoolArray

    def of(self, device: str) -> BoolArray:
        """Return which rows belong to the device."""
        return np.array([d == device for d in self.device], dtype=bool)

    @cached_property
    def common_m(self) -> FloatArray:
        """(k, m) offsets as they would be from one line common to all rides (`on_common_line`)."""
        return on_common_line(self)


_kept: WeakKeyDictionary[RouteResult, tuple[tuple[Sequence[Any], Sequence[Any]], StationTable | None]] = (
    WeakKeyDictionary()
)


def station_table(route: RouteResult, traces: Sequence[Trace], results: Sequence[TraceResult]) -> StationTable | None:
    """Collect the scored offsets of a route; None where nothing of it was scored.

    A table is kept as long as its route is and the same recordings are asked for: every figure begins with it.
    """
    asked_for = (traces, results)
    kept = _kept.get(route)
    if kept is None or any(one is not other for one, other in zip(kept[0], asked_for, strict=True)):
        kept = _kept[route] = (asked_for, _collected(route, traces, results))
    return kept[1]


def _collected(route: RouteResult, traces: Sequence[Trace], results: Sequence[TraceResult]) -> StationTable | None:
    members = [results[i] for i in route.route.members]
    scored = [r for r in members if r.crosstrack is not None and not r.duplicate_of]
    if route.centreline is None or not scored:
        return None
    along = route.centreline.along_m
    table = np.full((len(scored), len(along)), np.nan)
    for row, result in zip(table, scored, strict=True):
        cross = result.crosstrack
        assert cross is not None  # noqa: S101  # for the type checker: filtered above
        row[_columns(along, cross.along_m[cross.scored])] = cross.offset_m[cross.scored]
    numbers = tuple(r.trace for r in scored)
    devices = tuple(traces[i].device for i in numbers)
    deviating = np.array([_inside(along, r.deviations) for r in scored])
    return StationTable(route.route.name, along, table, numbers, tuple(r.ride for r in scored), devices, deviating)


def _inside(along_m: FloatArray, deviations: Sequence[Deviation]) -> BoolArray:
    inside = np.zeros(len(along_m), dtype=bool)
    for found in deviations:
        inside |= (along_m >= found.from_m) & (along_m <= found.to_m)
    return inside


def _columns(along_m: FloatArray, wanted_m: FloatArray) -> IntArray:
    """Return the column of each wanted station: the nearest one."""
    edges = (along_m[1:] + along_m[:-1]) / 2
    return np.searchsorted(edges, wanted_m).astype(np.int64)


def by_ride(table: StationTable, offset_m: FloatArray, rows: BoolArray) -> tuple[tuple[str, ...], FloatArray]:
    """Return one row per ride from the chosen rows: two recordings of one ride are joined, not counted twice."""
    rides = tuple(dict.fromkeys(r for r, take in zip(table.ride, rows, strict=True) if take))
    labels = np.array(table.ride)
    return rides, np.array([mean_of_known(offset_m[rows & (labels == ride)]) for ride in rides])


def on_common_line(table: StationTable) -> FloatArray:
    """Return the offsets as they would be from one line common to all rides, (k, m).

    Each trace is judged against a centreline without its own ride, so each ride has another line, and the noise of
    those lines is in the offsets. For a mean of n rides the line without ride i lies off the common one by
    −(ride i − common line) / (n − 1), and the ride's own offset m_i from its left-out line is n/(n − 1) times its
    offset from the common line; together they mean that m_i / n must be taken off. With one device the variance over
    rides then is the one of ISO 5725-2, and the mean square of the left-out offsets is larger by 1 + 1/(n − 1).

    A centreline of medians follows nearly the same rule, but a ride far off does not pull at it: m_i is limited at
    `PULL_LIMIT` robust standard deviations. Devices count within a ride by the inverse of their typical square
    offset, as they do in the centreline.
    """
    labels = np.array(table.ride)
    known = np.isfinite(table.offset_m)
    offset = np.where(known, table.offset_m, 0.0)
    weight = known / _typical_square(table.offset_m)[:, None]
    rides = list(dict.fromkeys(table.ride))
    member = np.array([labels == ride for ride in rides], dtype=float)
    mass = member @ weight
    ride_mean = np.divide(member @ (weight * offset), mass, out=np.zeros_like(mass), where=mass > 0)
    count = (mass > 0).sum(axis=0)
    limit = PULL_LIMIT * robust_sd(ride_mean[mass > 0]) if (mass > 0).any() else 0.0
    share = np.clip(ride_mean, -limit, limit) / np.maximum(count, 1)
    row_of_ride = [rides.index(ride) for ride in table.ride]
    return np.asarray(table.offset_m - share[row_of_ride], dtype=float)


def _typical_square(offset_m: FloatArray) -> FloatArray:
    """Median square offset of each row, never nought."""
    square = np.array([np.median(row[np.isfinite(row)] ** 2) if np.isfinite(row).any() else 1.0 for row in offset_m])
    return np.asarray(np.maximum(square, 0.01), dtype=float)


def effective_stations(residual_m: FloatArray) -> float:
    """Return how many independent places a route's stations are worth, from the correlation along the route.

    Parameters
    ----------
    residual_m : (n, m) offsets less their mean over rides; nan counts as no evidence.

    Returns
    -------
    float
        1 / mean of the squared correlation over all pairs of stations, at least 1: what the variance of a sample
        variance of a stationary series rests on (Bayley & Hammersley 1946, J. R. Stat. Soc. Suppl. 8:184–197).

    Examples
    --------
    >>> round(effective_stations(np.ones((2, 50))), 6)
    1.0
    """
    known = np.isfinite(residual_m)
    values = np.where(known, residual_m, 0.0)
    m = values.shape[1]
    products, pairs = (_autosum(a) for a in (values, known.astype(float)))
    covariance = np.divide(products, pairs, out=np.zeros(m), where=pairs > 0.5)
    if not covariance[0] > 0:
        return 1.0
    weight = np.where(np.arange(m) == 0, 1.0, 2.0) * pairs
    return max(1.0, float(weight.sum() / (weight * np.clip(covariance / covariance[0], -1, 1) ** 2).sum()))


def _autosum(rows: FloatArray) -> FloatArray:
    """Sum over rows of the products at each lag from 0 to m − 1."""
    m = rows.shape[1]
    padded = 1 << (2 * m - 1).bit_length()  # a power of two is quick whatever the number of stations
    power = (np.abs(np.fft.rfft(rows, padded, axis=1)) ** 2).sum(axis=0)
    lags: FloatArray = np.fft.irfft(power, padded)[:m]
    return lags


def sd_over_rides(offset_m: FloatArray) -> float:
    """Return the standard deviation about the mean over rides, pooled over all stations; nan where no station has two.

    Examples
    --------
    >>> round(sd_over_rides(np.array([[1.0, 7.0], [3.0, np.nan]])), 3)  # √((1 − 2)² + (3 − 2)²) of the first station alone
    1.414
    """
    degrees = np.maximum(np.isfinite(offset_m).sum(axis=0) - 1, 0).sum()
    square_m2 = float(np.nansum((offset_m - mean_of_known(offset_m)) ** 2))
    return float(np.sqrt(square_m2 / degrees)) if degrees else float("nan")

"""Several devices on the same rides: errors ride by ride, and repeatability with what each ride weighs in it.

Rides of one device are no independent trials of its repeatability: each is held against the middle of the others, so one
bad ride makes all of them look worse. Compared ride by ride, two identical devices were called different in 8 to 14 % of
campaigns instead of 5 (`docs/validation.md`). So each ride is left out of everything in turn, also of the middles, and its
weight is what that changes: a pseudo-value (Tukey 1958, Ann. Math. Stat. 29:614; Miller 1974, Biometrika 61:1–15).
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from gpsq.summaries import sampling
from gpsq.summaries.devices.repeatability import ONE_SD, Pooled, blocks_left_out, from_others, from_others_in_turn
from gpsq.summaries.station_table import by_ride

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping, Sequence

    from gpsq.model import BoolArray, FloatArray
    from gpsq.results import RouteResult
    from gpsq.summaries.station_table import StationTable

#: Errors are compared ride by ride over this many stations at least.
FEWEST_STATIONS = 20
#: With two rides each is held against the other alone: nothing is left where one is left out.
FEWEST_RIDES = 3


@dataclass(frozen=True, eq=False)
class SharedRides:
    """Rides of one route that several devices recorded, (devices, rides, stations), nan where not scored.

    `offset_m` are errors from the line made without the ride, `common_m` from one line common to all rides; `counted`
    (rides, stations) says where all devices are scored and may be compared; `lost` counts the shared rides with
    no road in common; `thinned` says that only stations near the fixes of the device that records most rarely count.
    """

    offset_m: FloatArray
    common_m: FloatArray
    counted: BoolArray
    lost: int = 0
    thinned: bool = False

    @property
    def rides(self) -> int:
        """How many rides these are."""
        return int(self.offset_m.shape[1])

    def of(self, rides: BoolArray) -> SharedRides:
        """Return some of the rides."""
        lost = self.lost + int((~rides).sum())
        return SharedRides(self.offset_m[:, rides], self.common_m[:, rides], self.counted[rides], lost, self.thinned)


def shared_rides(
    table: StationTable, route: RouteResult, devices: Sequence[str], interval_s: Mapping[str, float]
) -> SharedRides:
    """Return the rides of a route that all the devices recorded, and where on them they are compared.

    `interval_s` are the devices' usual seconds between fixes (`gpsq.summaries.sampling`).
    """
    slow = sampling.slower(devices, interval_s)
    keep = sampling.masked(table, route, slow) if slow else np.ones(table.offset_m.shape, dtype=bool)
    joined = [
        [by_ride(table, values, table.of(d)) for d in devices]
        for values in (table.offset_m, table.common_m, np.where(keep, 0.0, np.nan))
    ]
    names = [ride for ride in joined[0][0][0] if all(ride in own for own, _ in joined[0])]
    shape = (len(devices), len(names), table.offset_m.shape[1])
    offset_m, common_m, marks = (
        np.array([[rows[own.index(ride)] for ride in names] for own, rows in of], dtype=float).reshape(shape)
        for of in joined
    )
    found = SharedRides(offset_m, common_m, np.isfinite(offset_m + marks).all(axis=0), thinned=bool(slow))
    return found.of(np.asarray(found.counted.any(axis=1)))


def log_errors(own: SharedRides) -> FloatArray:
    """Return (rides, devices) logarithms of the size that 68 % of a ride's compared stations keep.

    Rides with little road in common are left out, and those on which a device has no error at all.
    """
    least = min(FEWEST_STATIONS, own.counted.shape[1] / 2)
    sizes = [
        np.quantile(np.abs(rows[:, where]), ONE_SD, axis=1)
        for rows, where in zip(own.offset_m.swapaxes(0, 1), own.counted, strict=True)
        if where.sum() >= least
    ]
    found = np.array(sizes).reshape(-1, len(own.offset_m))
    return np.asarray(np.log(found[(found > 0).all(axis=1)]), dtype=float)


def pseudo_values(routes: Sequence[SharedRides]) -> FloatArray:
    """Return (rides, devices) what each ride makes of the logarithm of the repeatability; their mean is that logarithm.

    A value is the logarithm over all rides and n − 1 times what leaving the ride out takes from it. Of hundreds of rides
    blocks are left out, `MOST_BLOCKS` a route at most. Routes with one shared ride say nothing; under three rides in all
    there is no row.
    """
    enough = [own for own in routes if own.rides > 1]
    of_device = [Pooled(sizes) for sizes in zip(*map(_all_sizes, enough), strict=True)]
    without = [
        _logarithms([pooled.with_other(k, sizes) for pooled, sizes in zip(of_device, left_out, strict=True)])
        for k, own in enumerate(enough)
        for left_out in _each_left_out(own)
    ]
    if len(without) < FEWEST_RIDES:
        return np.empty((0, 0))
    whole, left = _logarithms([pooled.one_sd for pooled in of_device]), np.array(without)
    found = whole + (len(left) - 1) * (left.mean(axis=0) - left)
    return np.asarray(found if np.isfinite(found).all() else np.empty((0, 0)), dtype=float)


def _all_sizes(own: SharedRides) -> list[FloatArray]:
    return _sizes(own.counted, [from_others(rows) for rows in own.common_m])


def _each_left_out(own: SharedRides) -> Iterator[list[FloatArray]]:
    kept = blocks_left_out(own.rides)
    of_devices = zip(*(from_others_in_turn(rows, kept) for rows in own.common_m), strict=True)
    return (_sizes(own.counted, found) for found in of_devices)


def _sizes(counted: BoolArray, distances: Sequence[FloatArray]) -> list[FloatArray]:
    """Return for each device its distances from the middle of its other rides, where all devices have one."""
    where = counted & np.all([np.isfinite(rows) for rows in distances], axis=0)
    return [np.abs(rows[where]) for rows in distances]


def _logarithms(one_sd: Sequence[float]) -> FloatArray:
    """Return (devices,) logarithms of the repeatability over all routes, nan where there is none."""
    found = np.array(one_sd)
    return np.asarray(np.log(np.where(found > 0, found, np.nan)), dtype=float)

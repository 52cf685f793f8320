"""Each device's own error when three or more ride together: the three-cornered hat.

The devices of a ride share the rider's line, so the difference of two of them holds only their own errors. From the
variances of all differences each device's variance follows, if the errors of different devices are independent
(Gray & Allan 1974, Proc. 28th Annual Symposium on Frequency Control, 243–246). What all devices have in common (the
sky, a wall that reflects for all of them) cannot be seen, and a negative variance means that independence does not
hold or that the rides are too few.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from gpsq.statistics import intervals
from gpsq.summaries import sampling
from gpsq.summaries.station_table import by_ride, station_table
from gpsq.summary_types import ErrorVariance, Interval

if TYPE_CHECKING:
    from collections.abc import Sequence

    from gpsq.model import FloatArray, Trace
    from gpsq.results import RouteResult, TraceResult
    from gpsq.settings import Settings

FEWEST_DEVICES = 3
#: With three rides Student's interval of a skewed variance holds the truth too seldom (90 % instead of 95 %).
FEWEST_RIDES_FOR_INTERVAL = 4


def error_variances(
    traces: Sequence[Trace], results: Sequence[TraceResult], routes: Sequence[RouteResult], settings: Settings
) -> tuple[ErrorVariance, ...]:
    """Return each device's error variance from the rides that at least three devices recorded, by route and over all.

    A constant offset between two devices is not part of it, nor are deviations: they are counted apart, and a single one
    of a hundred metres would outweigh all else and make the variance of another device negative. Where devices record at
    different intervals, stations near the fixes of the rarest count alone. The interval is Student's over rides.
    """
    per_route: dict[str, dict[str, FloatArray]] = {}
    interval_s = sampling.usual_intervals(traces, results)
    for route in routes:
        table = station_table(route, traces, results)
        if table is None or len(set(table.device)) < FEWEST_DEVICES:
            continue
        devices = sorted(set(table.device))
        slow = sampling.slower(devices, interval_s)
        keep = sampling.masked(table, route, slow) if slow else np.ones(table.offset_m.shape, dtype=bool)
        usual_m = np.where(table.deviating | ~keep, np.nan, table.offset_m)
        rides = {d: by_ride(table, usual_m, table.of(d)) for d in devices}
        names = sorted({ride for own, _ in rides.values() for ride in own})
        cube = np.array([[_row(rides[d], ride, len(table.along_m)) for ride in names] for d in devices])
        per_route[table.route] = dict(zip(devices, hat(cube), strict=True))
    return tuple(_rows(per_route, settings.confidence))


def hat(offset_m: FloatArray) -> FloatArray:
    """Return the error variance of each device on each ride, in square metres.

    Parameters
    ----------
    offset_m : (devices, rides, stations) offsets, those of one ride from one line; nan where a device has none.

    Returns
    -------
    (devices, rides) variances; nan on rides with fewer than three devices.

    Examples
    --------
    >>> rng = np.random.default_rng(1)
    >>> noise = rng.standard_normal((3, 4, 5000)) * np.array([1.0, 2.0, 3.0])[:, None, None]
    >>> hat(noise).mean(axis=1).round().tolist()
    [1.0, 4.0, 9.0]
    """
    square, mean = _pair_moments(offset_m)
    square -= _squared_bias(mean)[:, :, None]
    variances = np.full(offset_m.shape[:2], np.nan)
    for ride in range(offset_m.shape[1]):
        present = np.flatnonzero(np.isfinite(square[:, :, ride]).any(axis=1))
        pair = square[:, :, ride][np.ix_(present, present)]
        if len(present) >= FEWEST_DEVICES and np.isfinite(pair).all():
            variances[present, ride] = _corners(pair)
    return variances


def _pair_moments(offset_m: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Mean square and mean of the differences of each pair on each ride, over the stations all its devices have."""
    devices, rides, _ = offset_m.shape
    square = np.full((devices, devices, rides), np.nan)
    mean = square.copy()
    for ride in range(rides):
        present = np.flatnonzero(np.isfinite(offset_m[:, ride]).any(axis=1))
        shared = np.isfinite(offset_m[present, ride]).all(axis=0)
        if len(present) < FEWEST_DEVICES or not shared.any():
            continue
        rows = offset_m[present, ride][:, shared]
        for a, i in enumerate(present):
            difference = rows - rows[a]
            square[i, present, ride] = (difference**2).mean(axis=1)
            mean[i, present, ride] = difference.mean(axis=1)
    return square, mean


def _squared_bias(mean: FloatArray) -> FloatArray:
    """Square of each pair's constant offset, less the noise of a mean over few rides; nan under two rides."""
    known = np.isfinite(mean)
    n = known.sum(axis=2)
    enough = n > 1
    total = np.where(known, mean, 0.0).sum(axis=2)
    centre = np.divide(total, n, out=np.full(n.shape, np.nan), where=enough)
    squares = np.where(known, (mean - centre[:, :, None]) ** 2, 0.0).sum(axis=2)
    noise = np.divide(squares, n * (n - 1), out=np.full(n.shape, np.nan), where=enough)
    return np.asarray(centre**2 - noise, dtype=float)


def _corners(pair: FloatArray) -> FloatArray:
    """Solve pair[a, b] = v[a] + v[b] for v by least squares; for three devices this is the hat's own formula."""
    n = len(pair)
    rows = pair.sum(axis=1) - np.diag(pair)
    return np.asarray((rows - rows.sum() / (2 * (n - 1))) / (n - 2), dtype=float)


def _row(rides: tuple[tuple[str, ...], FloatArray], ride: str, stations: int) -> FloatArray:
    names, rows = rides
    return rows[names.index(ride)] if ride in names else np.full(stations, np.nan)


def _rows(per_route: dict[str, dict[str, FloatArray]], confidence: float) -> list[ErrorVariance]:
    found = []
    for device in sorted({d for own in per_route.values() for d in own}):
        own = {route: values[device] for route, values in per_route.items() if device in values}
        everything = np.concatenate(list(own.values()))
        for route, values in {"": everything, **own}.items():
            known = values[np.isfinite(values)]
            if len(known):
                found.append(_error_variance(device, route, known, confidence))
    return found


def _error_variance(device: str, route: str, variances: FloatArray, confidence: float) -> ErrorVariance:
    variance = intervals.mean(variances, confidence)
    if len(variances) < FEWEST_RIDES_FOR_INTERVAL:
        few = f"none: {len(variances)} ride{'s' * (len(variances) > 1)}, at least {FEWEST_RIDES_FOR_INTERVAL} needed"
        variance = Interval(variance.value, method=few)
    if variance.value < 0:
        note = "its variance comes out negative: the errors of the devices are not independent"
        if not variance.high < 0:
            note += ", or the rides are too few to tell it from nought"
        return ErrorVariance(device, route, len(variances), variance, np.nan, note)
    return ErrorVariance(device, route, len(variances), variance, float(np.sqrt(variance.value)))

"""Which device repeats best and how sure that place is, and whether places differ for one device."""

from __future__ import annotations

from itertools import combinations
from typing import TYPE_CHECKING

import numpy as np

from gpsq.statistics import intervals
from gpsq.summaries import sampling
from gpsq.summaries.devices.shared_rides import pseudo_values, shared_rides
from gpsq.summaries.station_table import station_table
from gpsq.summary_types import DevicePlace, Interval, RouteRatio

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from gpsq.model import FloatArray, Trace
    from gpsq.results import RouteResult, TraceResult
    from gpsq.settings import Settings
    from gpsq.summaries.devices.shared_rides import SharedRides
    from gpsq.summaries.station_table import StationTable
    from gpsq.summary_types import DeviceSummary

#: Under this many shared rides no place is told: it would be chance.
FEWEST_RIDES = 5


def compare_places(summaries: Sequence[DeviceSummary]) -> tuple[RouteRatio, ...]:
    """Return for each device and pair of its routes how much worse it repeats itself on the one than on the other.

    Summaries of several campaigns can be given together, if their routes have different names.
    """
    own: dict[str, dict[str, Interval]] = {}
    for summary in summaries:
        if summary.route:
            own.setdefault(summary.device, {})[summary.route] = summary.figures["repeatability_m"]
    return tuple(
        _route_ratio(device, first, second, intervals.ratio(figures[first], figures[second]))
        for device, figures in sorted(own.items())
        for first, second in combinations(figures, 2)
    )


def _route_ratio(device: str, first: str, second: str, found: Interval) -> RouteRatio:
    if not np.isfinite(found.low):
        return RouteRatio(device, first, second, found, f"{device}: nothing can be said of {first} and {second}")
    known = f"{found.value:.2f} ({found.low:.2f} to {found.high:.2f})"
    if found.low <= 1 <= found.high:
        said = f"{device}: {first} and {second} cannot be told apart, ratio {known}"
    else:
        said = f"{device} scatters {'more' if found.value > 1 else 'less'} on {first} than on {second}, ratio {known}"
    return RouteRatio(device, first, second, found, said)


def rank_by_repeatability(
    traces: Sequence[Trace], results: Sequence[TraceResult], routes: Sequence[RouteResult], settings: Settings
) -> tuple[DevicePlace, ...]:
    """Rank the devices by repeatability over all their rides, best first, with how sure the places are.

    Notes
    -----
    The logarithm of each device's repeatability over the rides that all of them recorded (five at least) and the stations
    that all of them have; the road of a ride is in all of them and cancels, so rides of all routes count together.
    `first_share` is the probability of being the smallest that Student's distribution about them gives, with the
    covariance that leaving out rides in turn shows; for two devices that of the test of the pair. Places keep the level
    all at once: from the simultaneous intervals of all pairs (Bonferroni), a device's best place is one behind those that
    are shown to be better, its worst one before those shown to be worse (Al Mohamad, Goeman & van Zwet 2022, Biometrics
    78:1103–1113).
    """
    interval_s = sampling.usual_intervals(traces, results)
    tables = [(t, route) for route in routes if (t := station_table(route, traces, results)) is not None]
    names = sorted({d for t, _ in tables for d in t.device})
    while len(names) > 1:
        shared = _shared(tables, names, interval_s)
        rides = _count(shared)
        values = pseudo_values(shared) if rides >= FEWEST_RIDES else np.empty((0, 0))
        if len(values):
            return tuple(_places(names, values, rides, settings))
        # where too few rides are shared by all, the device goes without which most are shared
        names = max(
            (list(left) for left in combinations(names, len(names) - 1)),
            key=lambda left: _count(_shared(tables, left, interval_s)),
        )
    return ()


def _shared(
    tables: Sequence[tuple[StationTable, RouteResult]], names: Sequence[str], interval_s: Mapping[str, float]
) -> list[SharedRides]:
    return [shared_rides(t, route, names, interval_s) for t, route in tables if set(names) <= set(t.device)]


def _count(shared: Sequence[SharedRides]) -> int:
    return sum(own.rides for own in shared if own.rides > 1)


def _places(names: Sequence[str], logs: FloatArray, rides: int, settings: Settings) -> list[DevicePlace]:
    mean = logs.mean(axis=0)
    better = _shown_better(logs, settings.confidence)
    first = share_first(logs, settings.resamples, settings.seed)
    order = np.argsort(np.argsort(mean)) + 1
    rows = [
        DevicePlace(
            "", device, rides, float(np.exp(mean[i])), int(order[i]), float(first[i]),
            1 + int(better[:, i].sum()), len(names) - int(better[i].sum()),
        )
        for i, device in enumerate(names)
    ]  # fmt: skip
    return sorted(rows, key=lambda row: row.place)


def _shown_better(logs: FloatArray, confidence: float) -> np.ndarray[tuple[int, int], np.dtype[np.bool_]]:
    """Return (devices, devices) whether the first is shown to be better than the second, all pairs at once."""
    count = logs.shape[1]
    level = 1 - (1 - confidence) / max(count * (count - 1) / 2, 1)
    better = np.zeros((count, count), dtype=bool)
    for a, b in combinations(range(count), 2):
        found = intervals.mean(logs[:, a] - logs[:, b], level)
        better[a, b], better[b, a] = found.high < 0, found.low > 0
    return better


def share_first(logs: FloatArray, draws: int, seed: int) -> FloatArray:
    """Return the probability that each device is the best: of the means drawn from their Student distribution.

    Examples
    --------
    >>> logs = np.log([[1.0, 3.0], [1.2, 2.9], [0.9, 3.1], [1.1, 3.0], [1.0, 2.8]])
    >>> share_first(logs, 500, 1).tolist()
    [1.0, 0.0]
    """
    rides, count = logs.shape
    rng = np.random.default_rng(seed)
    centred = (logs - logs.mean(axis=0)) / np.sqrt(rides * (rides - 1))
    # rides − 1 free rows: a normal mixture of them has their covariance, and the root of chi square makes it Student's
    normal = rng.standard_normal((draws, rides)) @ centred
    scale = np.sqrt((rides - 1) / rng.chisquare(rides - 1, draws))[:, None]
    drawn = logs.mean(axis=0) + normal * scale
    return np.asarray(np.bincount(drawn.argmin(axis=1), minlength=count) / draws, dtype=float)

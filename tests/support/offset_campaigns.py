"""Campaigns of random offsets with a known answer, made at the level of stations: no files, no geometry, quick.

The centreline without a ride is the robust middle of the other rides' traces at each station, so its noise is in the offsets as it
is in a real run. Errors follow an autoregressive process along the route (correlation length `reach_m`), a part of the
variance is common to a whole ride of a device, the rider's own line is common to the devices of a ride.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from scipy.signal import lfilter

from gpsq.model import Centreline, CrossTrack, FirstFix, Route, Trace
from gpsq.plane import Plane
from gpsq.results import RouteResult, TraceResult

STEP_M = 5.0
NOWHERE = np.empty(0)


@dataclass(frozen=True)
class Truth:
    """What a campaign is made from: one receiver error (m) and one median time to first fix (s) per device."""

    error_m: tuple[float, ...]
    bias_m: tuple[float, ...]
    rider_m: float = 1.0
    reach_m: float = 80.0
    ride_share: float = 0.2
    unequal: float = 0.0
    stations: int = 400
    ttff_median_s: tuple[float, ...] = ()
    ttff_log_sd: float = 0.6

    @property
    def repeatability_m(self) -> tuple[float, ...]:
        """Spread of one device's rides about their mean: its own error and the rider's line."""
        return tuple(float(np.hypot(e, self.rider_m)) for e in self.error_m)

    def fixed_share(self, device: int, limit_s: float) -> float:
        """True share fixed within the limit: times are lognormal."""
        from scipy.stats import norm

        return float(norm.cdf(np.log(limit_s / self.ttff_median_s[device]) / self.ttff_log_sd))


def along_route(shape: tuple[int, ...], reach_m: float, rng: np.random.Generator) -> np.ndarray:
    """Unit-variance errors with an exponential correlation along the last axis."""
    step = np.exp(-STEP_M / reach_m)
    shocks = rng.standard_normal(shape) * np.sqrt(1 - step**2)
    shocks[..., 0] /= np.sqrt(1 - step**2)
    return lfilter([1], [1, -step], shocks, axis=-1)


def positions(truth: Truth, rides: int, rng: np.random.Generator) -> np.ndarray:
    """True offsets from the road, (devices, rides, stations)."""
    devices = len(truth.error_m)
    shape = (devices, rides, truth.stations)
    error = np.sqrt(1 - truth.ride_share) * along_route(shape, truth.reach_m, rng)
    error += np.sqrt(truth.ride_share) * rng.standard_normal((devices, rides, 1))
    # A ride under a bad sky is worse for all its length; the factor's mean square is 1.
    factor = np.exp(truth.unequal * rng.standard_normal((devices, rides, 1)) - truth.unequal**2)
    rider = truth.rider_m * along_route((1, rides, truth.stations), 50.0, rng)
    return rider + np.array(truth.error_m)[:, None, None] * factor * error + np.array(truth.bias_m)[:, None, None]


def left_out_offsets(true_m: np.ndarray) -> np.ndarray:
    """Offsets from the robust middle of the other rides' traces: the mean of those near their median, as in a real run."""
    offsets = np.empty_like(true_m)
    for ride in range(true_m.shape[1]):
        others = np.delete(true_m, ride, axis=1).reshape(-1, true_m.shape[2])
        away = np.abs(others - np.median(others, axis=0))
        near = away <= 3 * 1.4826 * np.median(away)
        count = near.sum(axis=0)
        middle = np.where(near, others, 0.0).sum(axis=0) / np.maximum(count, 1)
        offsets[:, ride] = true_m[:, ride] - np.where(count > 0, middle, np.median(others, axis=0))
    return offsets


def waits(truth: Truth, rides: int, rng: np.random.Generator) -> np.ndarray:
    """Times to first fix in seconds, (devices, rides), lognormal."""
    median = np.array(truth.ttff_median_s)[:, None]
    return median * np.exp(truth.ttff_log_sd * rng.standard_normal((len(truth.ttff_median_s), rides)))


def trace(device: str, number: int) -> Trace:
    """A recording with nothing in it but its name: statistics look at results only."""
    return Trace(
        f"{device}/{number}.gpx", 1, "", device, "", f"{device}{number}", np.empty(0, "M8[ms]"), *[NOWHERE] * 6,
        np.empty(0, np.int64), np.empty(0, np.int64), 0,
    )  # fmt: skip


def crosstrack(offset_m: np.ndarray, along_m: np.ndarray | None = None) -> CrossTrack:
    """Figures of one row of offsets; nan is not scored."""
    known = offset_m[np.isfinite(offset_m)]
    size = np.abs(known)
    return CrossTrack(
        np.arange(len(offset_m)) * STEP_M if along_m is None else along_m, offset_m, np.isfinite(offset_m),
        float(np.median(known)), float(np.sqrt(np.mean(known**2))), float(np.median(size)),
        float(np.quantile(size, 0.95)), float(np.mean(size <= 5)), float(np.mean(size <= 10)), known.size * STEP_M,
    )  # fmt: skip


def campaign(
    offsets: np.ndarray, ttff_s: np.ndarray | None = None, route: str = "A", first: int = 0
) -> tuple[tuple[Trace, ...], tuple[TraceResult, ...], tuple[RouteResult, ...]]:
    """Wrap offsets (devices, rides, stations) and times as one route; `first` numbers its first trace."""
    devices, rides, stations = offsets.shape
    traces, results = [], []
    for d in range(devices):
        for r in range(rides):
            number = first + len(traces)
            wait = np.nan if ttff_s is None else float(ttff_s[d, r])
            fix = FirstFix("log", seconds=wait)
            traces.append(trace(f"device {d + 1}", number))
            results.append(
                TraceResult(
                    number, f"ride {route}{r + 1}", route, "scored", "", fix, 1.0, 1.0, (), crosstrack(offsets[d, r])
                )
            )
    line = np.arange(stations) * STEP_M
    flat = np.zeros(stations)
    centreline = Centreline(
        np.column_stack([line, flat]),
        line,
        np.full(stations, len(traces)),
        np.full(stations, rides),
        flat + 1.0,
        flat + 1.0,
    )
    members = tuple(range(first, first + len(traces)))
    plane = Plane.centred_on(np.array([10.0]), np.array([50.0]))
    way = Route(route, plane, members, tuple(np.empty((0, 2)) for _ in members))
    return (
        tuple(traces),
        tuple(results),
        (RouteResult(way, centreline, tuple(f"ride {route}{r + 1}" for r in range(rides))),),
    )


def with_fix(result: TraceResult, **values: object) -> TraceResult:
    """Return the result with other values of its first fix."""
    return replace(result, first_fix=replace(result.first_fix, **values))  # type: ignore[arg-type]  # names are the caller's

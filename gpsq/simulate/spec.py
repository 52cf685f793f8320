"""What a simulated campaign consists of: who rides where, with which receivers, and what goes wrong."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass

#: Ways in which a recording can show when it was started. The first six hold evidence, the others say nothing.
SHOWS_START = (
    "log",  # a row in rides.csv
    "no-fix points",  # points marked <fix>none</fix> at the last known position
    "zero points",  # points at 0,0
    "frozen points",  # the last known position again and again, then a jump
    "file time",  # metadata time is the start
    "back-fill",  # the device draws a straight line from the start to its first fix
    "file time at fix",  # metadata time is the first fix
    "file time later",  # metadata time is the end of the ride or the export
    "nothing",
)
RECORDING_STYLES = ("steady", "smart")
#: Shares of the variance and time constants in s. A quiet receiver filters its positions, so that they change slowly
#: and lengthen a track by no more than the published 3 % or so; a rough one's jump about from second to second as well.
QUIET = ((0.55, 250.0), (0.35, 60.0), (0.10, 15.0))
ROUGH = ((0.30, 120.0), (0.30, 15.0), (0.25, 3.0), (0.15, 0.0))


@dataclass(frozen=True)
class DeviceSpec:
    """One receiver.

    Attributes
    ----------
    name : as the folder or the ``creator`` of its files says.
    sigma_m : standard deviation of its error per axis under open sky; 1.5 to 8 m is the published range of consumer
        receivers (Schipperijn et al. 2014; Merry & Bettinger 2019).
    correlation : pairs of (share of the variance, time constant in s; 0 is white noise), shares summing to 1.
    ride_spread : relative standard deviation of `sigma_m` from ride to ride.
    style, interval_s : "steady" writes every `interval_s`; "smart" writes on turns, after distance, or at the latest
        after ten intervals.
    shows_start : one of `SHOWS_START`. start_mix : probabilities of a hot, warm and cold start.
    first_fix_error_m : scale of the extra error of a warm first fix, which then decays.
    decimals : of its degrees. quality : writes fix, sat and hdop. elevation : writes ele.
    """

    name: str
    sigma_m: float = 3.0
    correlation: tuple[tuple[float, float], ...] = QUIET
    ride_spread: float = 0.15
    style: str = "steady"
    interval_s: int = 1
    shows_start: str = "log"
    start_mix: tuple[float, float, float] = (0.4, 0.5, 0.1)
    first_fix_error_m: float = 12.0
    decimals: int = 7
    quality: bool = False
    elevation: bool = True

    def __post_init__(self) -> None:
        if self.shows_start not in SHOWS_START:
            raise ValueError(f"shows_start must be one of {SHOWS_START}, but is {self.shows_start!r}")
        if self.style not in RECORDING_STYLES:
            raise ValueError(f"style must be one of {RECORDING_STYLES}, but is {self.style!r}")
        for what, shares in (("correlation", [s for s, _ in self.correlation]), ("start_mix", self.start_mix)):
            if min(shares) < 0 or abs(sum(shares) - 1.0) > 1e-9:
                raise ValueError(f"{what} must be shares that sum to 1, but are {list(shares)}")


@dataclass(frozen=True)
class CampaignSpec:
    """A week (or less, or more) of rides out and back with several receivers.

    Attributes
    ----------
    lon_deg, lat_deg : where the ride begins. days : rides each way. directions : ("out", "back") or one of them.
    length_m : of the road, about. shape : "across" town, or a "loop" that ends near its start.
    back : "same street" or "parallel street" (part of the way back on a street `parallel_m` beside the way out).
    spur : part of the way leads up a street and back down the same one. drive_left : which side is ridden on.
    lane_m : from the road's axis to the line that is ridden; lateral_m : standard deviation of the rider about it.
    lights : sets of traffic lights. canyon_share, canyon_factor : share of the road between high buildings, and how
        much larger the errors are there. tunnel : every receiver loses its fix in a tunnel.
    detours, detour_off_m, detour_long_m : rides that take another road, how far off it lies, how much of the route it
        replaces.
    faults, late_starts, never_fixed, unlogged, slow_fixes : numbers of recordings with a receiver fault, begun at
        another place, without any fix, missing in the start log, with a fix only after minutes.
    all_late : no receiver ever starts hot. common_bias_m : offset of every fix to the left of travel.
    shared_sigma_m : error that all receivers of a ride have in common. far_memory : what the receivers remember as
        their last position lies kilometres away. layout : files "by device" or "by day".
    """

    title: str
    lon_deg: float
    lat_deg: float
    devices: tuple[DeviceSpec, ...]
    days: int = 5
    directions: tuple[str, ...] = ("out", "back")
    first_day: dt.date = dt.date(2025, 3, 3)
    length_m: float = 7000.0
    shape: str = "across"
    back: str = "parallel street"
    parallel_m: float = 80.0
    spur: bool = False
    drive_left: bool = False
    lane_m: float = 2.0
    lateral_m: float = 0.6
    cruise_mps: float = 5.5
    lights: int = 8
    canyon_share: float = 0.1
    canyon_factor: float = 2.0
    tunnel: bool = False
    detours: int = 1
    detour_off_m: tuple[float, float] = (75.0, 180.0)
    detour_long_m: tuple[float, float] = (350.0, 800.0)
    faults: int = 1
    late_starts: int = 0
    never_fixed: int = 0
    unlogged: int = 1
    slow_fixes: int = 0
    all_late: bool = False
    common_bias_m: float = 0.0
    shared_sigma_m: float = 0.0
    far_memory: bool = True
    layout: str = "by device"

    def __post_init__(self) -> None:
        if not self.devices or self.days < 1:
            raise ValueError("a campaign needs at least one device and one day")
        if len({d.name for d in self.devices}) < len(self.devices):
            raise ValueError("every device needs a name of its own")
        if self.length_m < 2500.0:
            raise ValueError(f"length_m must be at least 2500 m, but is {self.length_m}")

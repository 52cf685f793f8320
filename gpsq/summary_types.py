"""The types of what is summed up over recordings: of a device, a pair of devices, a place, a reference line.

They stand below the stages that make them, so that a whole analysis can hold them in one type, `Summaries`.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Mapping


@dataclass(frozen=True)
class Interval:
    """A figure with its interval: nan bounds where none exists; `method` says how it was found or why it is absent.

    Of a share or a count, `of` is how many there were. `at_least` marks a lower bound, which has no interval.
    """

    value: float
    low: float = float("nan")
    high: float = float("nan")
    method: str = ""
    of: int = 0
    at_least: bool = False


@dataclass(frozen=True)
class DeviceSummary:
    """Figures of one device on one route (`route` "" for all its routes); columns as in ``devices.csv``."""

    device: str
    route: str
    rides: int
    figures: Mapping[str, Interval]


@dataclass(frozen=True)
class StateSummary:
    """Time to first fix of one device within one start state (hot, warm, cold, unknown)."""

    device: str
    state: str
    recordings: int
    figures: Mapping[str, Interval]


@dataclass(frozen=True)
class PairedComparison:
    """The difference between two devices on the rides that both recorded.

    `measure` is ``ttff_s``, ``missed_m``, ``xte_p68_m`` or ``repeatability_m``. `difference` is the median over rides of
    first less second, in the measure's unit; of the last two the ratio of first to second (`is_ratio`). A device that never
    fixed counts as infinitely late. `p` is two-sided, `p_adjusted` allows for all comparisons made (Benjamini–Hochberg),
    `test` names the test. `detectable` is the smallest true difference (ratio) that so many rides as these show with 80 %
    power in that test. `left_out` says which shared rides could not be used. `verdict` is a sentence; `shown` says whether
    it names one as better.
    """

    measure: str
    first: str
    second: str
    rides: int
    difference: Interval
    is_ratio: bool
    p: float
    p_adjusted: float
    test: str
    detectable: float
    left_out: str
    shown: bool
    verdict: str


@dataclass(frozen=True)
class OffsetBetween:
    """How far `first` lies east and north of `second` on the rides that both recorded, in metres."""

    first: str
    second: str
    rides: int
    east_m: Interval
    north_m: Interval


@dataclass(frozen=True)
class ErrorVariance:
    """One device's own error on one route ("" for all): `variance_m2`, and `sd_m`, nan where that is negative."""

    device: str
    route: str
    rides: int
    variance_m2: Interval
    sd_m: float
    note: str = ""


@dataclass(frozen=True)
class HotSpot:
    """A stretch where traces spread more than chance makes any; shares are of the route's squared error and its length."""

    route: str
    from_m: float
    to_m: float
    spread_m: float
    times_typical: float
    share_of_error: float
    share_of_length: float


@dataclass(frozen=True)
class HotSpotSearch:
    """What was looked for on a route: a stretch of `would_show_m` with three times the error would have been seen in 8 of 10.

    `would_show_m` is infinite where no stretch would; `spots` counts those that were named.
    """

    route: str
    rides: int
    spots: int
    would_show_m: float


@dataclass(frozen=True)
class DevicePlace:
    """Place of a device by repeatability (1 is best), from the rides that all of the devices recorded (`route` "": all).

    `first_share` is the probability of being the best of them that Student's distribution of the paired ratios gives; with
    the confidence of the setting all places lie between `best` and `worst` at once.
    """

    route: str
    device: str
    rides: int
    repeatability_m: float
    place: int
    first_share: float
    best: int
    worst: int


@dataclass(frozen=True)
class RouteRatio:
    """Repeatability of one device on one route over that on another; the interval says whether the places differ."""

    device: str
    first: str
    second: str
    ratio: Interval
    verdict: str


@dataclass(frozen=True)
class QualityClass:
    """Root mean square offset of a device's fixes with `low` < figure ≤ `high`; `quantity` is hdop or sat."""

    device: str
    quantity: str
    low: float
    high: float
    fixes: int
    rides: int
    rms_m: float


@dataclass(frozen=True)
class QualityTrend:
    """Rank correlation of a device's error with a quality figure, taken in each ride; the median over rides."""

    device: str
    quantity: str
    rides: int
    correlation: Interval


@dataclass(frozen=True)
class DistanceBias:
    """Recorded length over the centreline's, what noise across the track adds to it, and the likely reason."""

    device: str
    ratio: Interval
    from_noise: float
    reason: str


@dataclass(frozen=True)
class AgainstReference:
    """Errors of one device, or of a centreline, against a reference line; offsets are + to the left of travel.

    `bias_m` median offset of a ride, its mean over rides with its interval; `systematic_m` root mean square of the mean
    over rides at each station, free of noise as far as rides allow (trueness along the route); `precision_m` spread over
    rides about that mean (nan for one row); `accuracy_m` root mean square offset; `within_95_m` the size that 95 % of the
    offsets keep, counted; `standard_95_m` the same by the accuracy standard, 1.96 times the root mean square;
    `radius_95_m` its horizontal figure, 2.4477 times, which takes the error along the track to be as large as that
    across. `assumption` says whether these two may be used.
    """

    rides: int
    bias_m: Interval
    systematic_m: float
    precision_m: float
    accuracy_m: float
    within_95_m: float
    standard_95_m: float
    radius_95_m: float
    assumption_holds: bool
    assumption: str


@dataclass(frozen=True)
class ReferenceFigures:
    """Errors against the line in `file`: of a device (`device` "" for the centreline) on a route ("" for all routes).

    `rides` are those that the figures rest on; `shared_m` is the length of the reference that they cover.
    """

    route: str
    device: str
    file: str
    rides: int
    shared_m: float
    found: AgainstReference


@dataclass(frozen=True)
class AgainstEarlier:
    """A device against one of an earlier campaign: the ratio of their errors by way of devices carried along with both.

    `ratio` is over 1 where `device` errs more now than `other` did then, nan where they cannot be compared; `via` the devices
    carried along, "" for none; `rides_now`, `rides_then` those it rests on.
    """

    device: str
    other: str
    campaign: str
    ratio: Interval
    via: str
    rides_now: int
    rides_then: int
    verdict: str = ""


@dataclass(frozen=True)
class Summaries:
    """All figures over recordings; a field is empty where nothing of its kind could be said, or none were made."""

    devices: tuple[DeviceSummary, ...] = ()
    start_states: tuple[StateSummary, ...] = ()
    comparisons: tuple[PairedComparison, ...] = ()
    error_variances: tuple[ErrorVariance, ...] = ()
    hot_spots: tuple[HotSpot, ...] = ()
    hot_spot_searches: tuple[HotSpotSearch, ...] = ()
    offsets_between: tuple[OffsetBetween, ...] = ()
    ranks: tuple[DevicePlace, ...] = ()
    route_ratios: tuple[RouteRatio, ...] = ()
    quality_classes: tuple[QualityClass, ...] = ()
    quality_trends: tuple[QualityTrend, ...] = ()
    distance_biases: tuple[DistanceBias, ...] = ()
    reference: tuple[ReferenceFigures, ...] = ()
    earlier: tuple[AgainstEarlier, ...] = ()

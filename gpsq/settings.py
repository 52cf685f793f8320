"""Every threshold of gpsq in one frozen object, each with its unit and the reason for its value; where results lie."""

from __future__ import annotations

import dataclasses
from dataclasses import dataclass, field, fields
from typing import Any

#: Name of the results folder within a campaign's.
RESULTS = "gpsq-results"


def _setting(default: Any, unit: str, low: float, high: float, why: str) -> Any:
    return field(default=default, metadata={"unit": unit, "low": low, "high": high, "why": why})


@dataclass(frozen=True)
class Settings:
    """All thresholds; pass it explicitly, never change it.

    Each field's metadata holds its unit, the range that is accepted, and why the value was chosen.

    Raises
    ------
    ValueError
        When a value lies outside its range; the text names the setting, the range and what came.

    Examples
    --------
    >>> Settings().gap_s
    60.0
    >>> Settings(gap_s=-1)
    Traceback (most recent call last):
    ...
    ValueError: gap_s must lie between 1 and 86400 s, but is -1
    """

    # reading
    gap_s: float = _setting(
        60.0,
        "s",
        1,
        86_400,
        "sampling up to once a minute is normal; a longer silence is no data (common practice), or one of three intervals "
        "where the recording itself is sampled more slowly",
    )
    start_bound_s: float = _setting(
        1800.0,
        "s",
        0,
        86_400,
        "a file time further before the first fix is no start of this ride",
    )
    log_bound_s: float = _setting(
        14_400.0,
        "s",
        60,
        86_400,
        "a start in the log further before the first fix belongs to another ride",
    )
    frozen_min_points: int = _setting(
        3,
        "points",
        2,
        1000,
        "the same coordinates this often before a jump are a remembered position, not a fix",
    )
    speed_limit_mps: float = _setting(
        60.0,
        "m/s",
        5,
        400,
        "216 km/h: no rider, and no car on an ordinary road, is faster",
    )
    frozen_jump_m: float = _setting(
        100.0,
        "m",
        10,
        10_000,
        "a remembered position nearer than this to the first fix cannot be told from one",
    )
    frozen_jump_factor: float = _setting(
        4.0,
        "1",
        1,
        100,
        "the jump off a remembered position is this many times faster than the fast tenth of the ride",
    )
    outlier_jump_m: float = _setting(
        500.0,
        "m",
        50,
        100_000,
        "a smaller error of the first fixes is measured, not set aside; a network's mast is further off",
    )
    outlier_max_points: int = _setting(
        3,
        "points",
        1,
        100,
        "a longer excursion in mid-ride is a fault to be shown, not an outlier",
    )
    spike_m: float = _setting(
        30.0, "m", 5, 10_000, "a fix this far off for a moment is told of: wider than a wide street"
    )

    # routes and rides
    pair_step_m: float = _setting(25.0, "m", 1, 500, "step of the comparison that finds traces of one route")
    pair_near_m: float = _setting(
        60.0,
        "m",
        5,
        1000,
        "two traces of one road lie this near each other even in a street canyon",
    )
    pair_share: float = _setting(
        0.6,
        "1",
        0.1,
        1,
        "this share of the shorter trace must lie near the other, in order of travel",
    )
    ride_overlap_share: float = _setting(
        0.5,
        "1",
        0.1,
        1,
        "devices on one rider run at the same time for at least this share of the shorter trace",
    )

    # centreline
    step_m: float = _setting(
        5.0,
        "m",
        0.5,
        100,
        "distance between the stations of a centreline: about one second of cycling",
    )
    align_cap_m: float = _setting(
        60.0,
        "m",
        5,
        1000,
        "beyond this a place of a trace no longer pulls at the line: it is a detour",
    )

    # first fix and settling
    settle_band_m: float = _setting(
        15.0,
        "m",
        1,
        500,
        "a trace this near its centreline is usable for navigation on a street (common practice)",
    )
    settle_hold_s: float = _setting(30.0, "s", 1, 600, "and must stay there this long")
    hot_start_s: float = _setting(
        10.0,
        "s",
        1,
        600,
        "a trace fixed within this time of its start shows where the ride begins",
    )

    # deviations
    deviation_band_m: float = _setting(30.0, "m", 2, 1000, "floor of the band: wider than a wide street")
    ride_band_m: float = _setting(
        16.0,
        "m",
        2,
        1000,
        "floor of the band for what three devices of a ride agree on: their errors part them, a road does not",
    )
    deviation_spread_factor: float = _setting(
        4.0,
        "1",
        1,
        20,
        "band in units of the route's own spread, where that is wider than the floor",
    )
    deviation_min_m: float = _setting(60.0, "m", 5, 10_000, "shorter excursions are noise of the receiver")

    # statistics
    confidence: float = _setting(0.95, "1", 0.5, 0.999, "customary level of the intervals")
    resamples: int = _setting(
        2000,
        "resamples",
        100,
        100_000,
        "resampling of rides; enough for two digits of a 95 % interval",
    )
    seed: int = _setting(20_240, "1", 0, 2**31, "start of the random numbers, so that a run can be repeated")

    def __post_init__(self) -> None:
        for f in fields(self):
            value = getattr(self, f.name)
            if isinstance(value, bool) or not isinstance(value, int | float):
                raise ValueError(f"{f.name} must be a number, but is {value!r}")
            if not f.metadata["low"] <= value <= f.metadata["high"]:
                low, high, unit = f.metadata["low"], f.metadata["high"], f.metadata["unit"]
                raise ValueError(f"{f.name} must lie between {low} and {high} {unit}, but is {value}")

    def with_values(self, **values: float) -> Settings:
        """Return a copy with the named settings changed; an unknown name raises `ValueError`.

        Examples
        --------
        >>> Settings().with_values(step_m=2.0).step_m
        2.0
        """
        known = {f.name for f in fields(self)}
        for name in values:
            if name not in known:
                raise ValueError(f"{name} is no setting; known are {', '.join(sorted(known))}")
        changes: dict[str, Any] = dict(values)
        return dataclasses.replace(self, **changes)

    def rows(self) -> list[tuple[str, float, str, str]]:
        """Return (name, value, unit, why) for each setting, in order, for the report and ``run.json``."""
        return [(f.name, getattr(self, f.name), f.metadata["unit"], f.metadata["why"]) for f in fields(self)]

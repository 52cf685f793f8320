"""The data types that the stages hand to one another.

All lengths are metres, all durations seconds, all clock times UTC (``datetime64[ms]``).
A value that cannot be known is ``nan``, ``NaT`` or ``None``, never zero.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING, NamedTuple

import numpy as np

from gpsq.arrays import NAT, BoolArray, FloatArray, IntArray, SharesUnknown, TimeArray, freeze, same_length
from gpsq.exceptions import GeometryError

if TYPE_CHECKING:
    from collections.abc import Mapping

    from gpsq.plane import Plane

__all__ = [
    "CANNOT_BE_TOLD", "ESTIMATE_BASES", "FLAGS", "NAT", "PLACE_BASES", "RECEIVER_ERROR", "ROUTE_CHOICE", "START_BASES",
    "SUGGESTIONS", "BoolArray", "Centreline", "CrossTrack", "CurveDistances", "Deviation", "FirstFix", "Flag", "FloatArray",
    "Gap", "IntArray", "Route", "SetAside", "Spike", "TimeArray", "Trace", "Unreadable",
]  # fmt: skip

#: How the start of a recording is known, best evidence first.
START_BASES = ("log", "points before fix", "file time", "none")
#: How the place of a start is known, and how a time to first fix is worked out where the start is not known.
PLACE_BASES = ("log", "hot start", "seen setting off", "way back", "none")
ESTIMATE_BASES = ("companion", "file name", "road")
ROUTE_CHOICE, RECEIVER_ERROR, CANNOT_BE_TOLD = SUGGESTIONS = ("route choice", "receiver error", "cannot be told")
FLAGS = ("intentional", "error")


@dataclass(frozen=True)
class SetAside:
    """Points of one recording left out for one reason.

    `reason` is one of no_position, null_island, not_finite, out_of_range, unparseable_coordinate, no_fix,
    frozen_before_fix, outlier_jump, truncated_element, straight_backfill, outside_passes. `first_point` counts from 0 in the file.
    """

    reason: str
    points: int
    first_point: int


class Spike(NamedTuple):
    """`fixes` that went off and back within seconds, after point `after_point` of the file (from 0), by up to `metres`."""

    after_point: int
    fixes: int
    metres: float


@dataclass(frozen=True)
class Gap:
    """A silence or a segment break: after accepted point `after_point` (from 0), for `seconds` (nan) and `metres`."""

    after_point: int
    seconds: float
    metres: float


@dataclass(frozen=True, eq=False)
class Trace(SharesUnknown, columns=("ele_m", "hdop", "sat", "speed_mps")):
    """One recording by one device: its accepted fixes in time order, and what the file says about its start.

    Attributes
    ----------
    file : path below the campaign's folder, ``/`` between parts. track : 1, 2, … within the file.
    sha256 : of the document's bytes (unpacked, where it came compressed).
    time : (n,) datetime64[ms] UTC, NaT where unknown. lon_deg, lat_deg : (n,) WGS 84.
    ele_m, hdop, sat, speed_mps : (n,) nan where absent (speed as recorded by the device).
    segment : (n,) number of the segment. point : (n,) number of the point in its recording, from 0.
    points : number of points in the recording, kept or not. spikes : fixes that were off for a moment, kept or not.
    set_aside : why the others were left out. first_record, last_record : first and last time of any record, good or bad.
    records_before_fix : records without a position before the first position.
    clock_jumps_at_fix : the fix set the clock, so times before say nothing. fix_declared : the file says which are fixes.
    file_time : the document's own time. started, start_basis : best evidence of the start (see `START_BASES`).
    start_lat_deg, start_lon_deg, start_state (hot, warm, cold), ride_label : from the start log, "" where it says none.
    extras : means of further values found (heart rate and so on), by name. notes : plain sentences on what was odd.
    remarks : plain sentences on what is only worth knowing (they make no warning).
    truncated : the file was cut off, so its end is unknown and its length is "at least".
    counts : what was met beside the points, by name (times without a zone, damaged sentences and so on).
    first_3d_fix : of those declared so. date_known : False where times differ rightly, but the day is unknown.
    """

    file: str
    track: int
    name: str
    device: str
    creator: str
    sha256: str
    time: TimeArray
    lon_deg: FloatArray
    lat_deg: FloatArray
    ele_m: FloatArray
    hdop: FloatArray
    sat: FloatArray
    speed_mps: FloatArray
    segment: IntArray
    point: IntArray
    points: int
    set_aside: tuple[SetAside, ...] = ()
    first_record: np.datetime64 = NAT
    last_record: np.datetime64 = NAT
    records_before_fix: int = 0
    clock_jumps_at_fix: bool = False
    fix_declared: bool = False
    file_time: np.datetime64 = NAT
    started: np.datetime64 = NAT
    start_basis: str = "none"
    start_lat_deg: float = float("nan")
    start_lon_deg: float = float("nan")
    start_state: str = ""
    ride_label: str = ""
    log_note: str = ""
    extras: Mapping[str, float] = field(default_factory=dict)
    notes: tuple[str, ...] = ()
    remarks: tuple[str, ...] = ()
    truncated: bool = False
    date_known: bool = True
    first_3d_fix: np.datetime64 = NAT
    counts: Mapping[str, int] = field(default_factory=dict)
    spikes: tuple[Spike, ...] = ()

    def __post_init__(self) -> None:
        same_length(self, ("time", "lon_deg", "lat_deg", "ele_m", "hdop", "sat", "speed_mps", "segment", "point"))
        if len(self.time) + sum(s.points for s in self.set_aside) != self.points:
            raise GeometryError(f"{self.file}: accepted and set-aside points do not add up to {self.points}")
        if self.start_basis not in START_BASES:
            raise ValueError(f"start_basis must be one of {START_BASES}, but is {self.start_basis!r}")
        self.share_unknown()
        freeze(self)

    @property
    def accepted(self) -> int:
        """Number of accepted fixes."""
        return len(self.time)

    @property
    def timed(self) -> bool:
        """Whether every accepted fix has a time."""
        return self.accepted > 0 and not bool(np.isnat(self.time).any())

    @property
    def key(self) -> tuple[str, int]:
        """What the recording is known by, whatever its file is called: content hash and track number."""
        return self.sha256, self.track

    @property
    def label(self) -> str:
        """What sentences call the recording: its file, and its track where that is not the first."""
        return self.file if self.track == 1 else f"{self.file} (track {self.track})"


@dataclass(frozen=True)
class Unreadable:
    """A file, or one recording in it, that gives no trace: `reason` is a code, `message` the one line for a person."""

    file: str
    track: int
    reason: str
    message: str
    sha256: str = ""
    device: str = ""
    points: int = 0
    set_aside: tuple[SetAside, ...] = ()


@dataclass(frozen=True)
class FirstFix:
    """Start, first fix, settling and what was missed, of one trace; ``nan``/``NaT`` where it cannot be known.

    `at_least_s` is a lower bound where `seconds` is unknown; `censored` marks a trace that never fixed. `station_m` is where
    on the route's centreline the rider was then, and `stood_s` how long he still stood there. `missed_m` counts from the
    place of the start, known by `place_basis` (see `PLACE_BASES`), and is as sure as that place: `missed_low_m`,
    `missed_high_m`. `estimate_s` is worked out, not measured (see `ESTIMATE_BASES`), never without its bounds;
    `estimate_high_s` is infinite where nothing bounds it.
    """

    basis: str
    started: np.datetime64 = NAT
    first_fix: np.datetime64 = NAT
    seconds: float = float("nan")
    at_least_s: float = float("nan")
    censored: bool = False
    settle_s: float = float("nan")
    missed_m: float = float("nan")
    missed_share: float = float("nan")
    missed_is_minimum: bool = False
    hours_since_fix: float = float("nan")
    start_state: str = "unknown"
    missed_low_m: float = float("nan")
    missed_high_m: float = float("nan")
    place_basis: str = "none"
    station_m: float = float("nan")
    stood_s: float = float("nan")
    estimate_s: float = float("nan")
    estimate_low_s: float = float("nan")
    estimate_high_s: float = float("nan")
    estimate_basis: str = ""


@dataclass(frozen=True, eq=False)
class Route:
    """One way in one direction.

    `members` are the numbers of its traces in the campaign, `xy_m` their (n_i, 2) positions in `plane`, in that order.
    """

    name: str
    plane: Plane
    members: tuple[int, ...]
    xy_m: tuple[FloatArray, ...]

    def __post_init__(self) -> None:
        same_length(self, ("members", "xy_m"))
        for xy in self.xy_m:
            xy.setflags(write=False)


@dataclass(frozen=True, eq=False)
class Centreline:
    """Consensus line of a route at equal steps.

    `xy_m` (m, 2), `along_m` (m,) station, `support` (m,) traces that reach it, `rides` (m,) rides that reach it,
    `spread_m` (m,) robust standard deviation across the line, `band_m` (m,) half-width of the confidence band from
    resampling whole rides (nan under three rides, and where a ride is left out), `left_out` names that ride ("" for none).
    """

    xy_m: FloatArray
    along_m: FloatArray
    support: IntArray
    rides: IntArray
    spread_m: FloatArray
    band_m: FloatArray
    left_out: str = ""

    def __post_init__(self) -> None:
        same_length(self, ("xy_m", "along_m", "support", "rides", "spread_m", "band_m"))
        freeze(self)

    @property
    def length_m(self) -> float:
        """Length of the line in metres."""
        return float(self.along_m[-1] - self.along_m[0])


@dataclass(frozen=True, eq=False)
class CrossTrack:
    """Errors of one trace against a line.

    `along_m` (k,) stations of the route's centreline, `offset_m` (k,) signed, + left of travel, nan where not covered;
    `scored` (k,) those that count, `scored_m` their length. Figures are over them: `bias_m` median, `rms_m`, `median_m`,
    `p68_m` and `p95_m` of the absolute value, `within_5m` and `within_10m` shares.
    """

    along_m: FloatArray
    offset_m: FloatArray
    scored: BoolArray
    bias_m: float
    rms_m: float
    median_m: float
    p95_m: float
    within_5m: float
    within_10m: float
    scored_m: float
    before_settling_rms_m: float = float("nan")
    p68_m: float = float("nan")

    def __post_init__(self) -> None:
        same_length(self, ("along_m", "offset_m", "scored"))
        freeze(self)


@dataclass(frozen=True)
class CurveDistances:
    """Hausdorff and Fréchet distances of a trace from its left-out centreline, over the stretch both share.

    `from_trace_m` and `from_line_m` are the two directed Hausdorff distances; `at_m` the station of the largest.
    `coverage` is the share of the centreline that the trace follows in order, `length_ratio` recorded length / centreline length.
    """

    hausdorff_m: float
    from_trace_m: float
    from_line_m: float
    at_m: float
    frechet_m: float
    frechet_discrete_m: float
    coverage: float
    length_ratio: float


@dataclass(frozen=True)
class Deviation:
    """A stretch where a trace stays away from its left-out centreline.

    `id` and `event` are names that rest on the recordings alone; the recordings of one ride that leave the line together
    have one `event`. `from_point`/`to_point` are points of the recording (from 0). `side` is "left" or "right" of travel,
    `suggestion` one of `SUGGESTIONS`, `flag` "" or one of `FLAGS`. `extra_m` is how much longer the way is than the line.
    """

    id: str
    trace: int
    route: str
    from_m: float
    to_m: float
    from_time: np.datetime64
    to_time: np.datetime64
    from_point: int
    to_point: int
    peak_m: float
    side: str
    extra_m: float
    suggestion: str
    evidence: str
    flag: str = ""
    note: str = ""
    event: str = ""

    @property
    def counts_as(self) -> str:
        """What it counts as in the figures, one of `SUGGESTIONS`: the person's decision, or the suggestion until there is one."""
        return {"intentional": ROUTE_CHOICE, "error": RECEIVER_ERROR}.get(self.flag, self.suggestion)


@dataclass(frozen=True)
class Flag:
    """A person's decision about a stretch of one recording, in time or, where it has none, in points."""

    sha256: str
    track: int
    from_time: np.datetime64
    to_time: np.datetime64
    from_point: int
    to_point: int
    flag: str
    note: str = ""
    file: str = ""

    def __post_init__(self) -> None:
        if self.flag not in FLAGS:
            raise ValueError(f"flag must be one of {FLAGS}, but is {self.flag!r}")

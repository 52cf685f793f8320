"""The data types of finished results: of each trace, device and route, and of a whole campaign.

They stand on the types of `gpsq.model`, which know nothing of them.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING

from gpsq.arrays import FloatArray, freeze, same_length
from gpsq.summary_types import Summaries

if TYPE_CHECKING:
    from collections.abc import Mapping

    from gpsq.model import (
        Centreline,
        CrossTrack,
        CurveDistances,
        Deviation,
        FirstFix,
        Flag,
        Gap,
        Route,
        Trace,
        Unreadable,
    )
    from gpsq.settings import Settings


@dataclass(frozen=True, eq=False)
class Lead:
    """The way from the place of a start to where it meets the centreline, (k, 2) in the route's plane: in no recording."""

    xy_m: FloatArray

    def __post_init__(self) -> None:
        freeze(self)


@dataclass(frozen=True)
class TraceResult:
    """All that is known of one trace: `status` is "scored" or "not scored", with the `reason`; None where not measured.

    `vanished` are deviations that decisions on others made vanish: nothing is shown of them, but their names still hold.
    `duplicate_of` names the recording that this one repeats; it then counts nowhere. `spikes` counts the times that fixes
    went off and came back within seconds, kept or set aside (None where times are unknown, so that nothing tells).
    `ended_early_m` is how far before the usual end of its route a recording stopped, nan where it did not. `lead` is the way
    to the centreline where the recording was started before it.
    """

    trace: int
    ride: str
    route: str
    status: str
    reason: str
    first_fix: FirstFix
    length_m: float
    interval_s: float
    gaps: tuple[Gap, ...] = ()
    crosstrack: CrossTrack | None = None
    curves: CurveDistances | None = None
    deviations: tuple[Deviation, ...] = ()
    vanished: tuple[Deviation, ...] = ()
    duplicate_of: str = ""
    spikes: int | None = None
    largest_spike_m: float = float("nan")
    ended_early_m: float = float("nan")
    lead: Lead | None = None


@dataclass(frozen=True)
class DevicesApart:
    """Two devices whose usual lines on a route lie `apart_m` from each other, more than both scatter.

    `first_scatter_m`, `second_scatter_m` : standard deviation per axis of each about its own usual line.
    """

    first: str
    second: str
    apart_m: float
    first_scatter_m: float
    second_scatter_m: float

    @property
    def pair(self) -> frozenset[str]:
        """The names of the two."""
        return frozenset((self.first, self.second))


@dataclass(frozen=True, eq=False)
class RouteResult:
    """A route with its centreline (None where no line could be made), and the devices that lie apart on it."""

    route: Route
    centreline: Centreline | None
    rides: tuple[str, ...]
    reason: str = ""
    apart: tuple[DevicesApart, ...] = ()


@dataclass(frozen=True)
class Way:
    """How a route is called for people: `name` such as "out, mornings, north-east", `short` such as "out"; "" where unknown."""

    name: str
    short: str = ""


@dataclass(frozen=True)
class Streets:
    """A local file of lines to be drawn below pictures: its path from the campaign's folder, its digest, and whose it is."""

    file: str
    sha256: str
    source: str


@dataclass(frozen=True)
class EarlierResults:
    """A results folder of an earlier campaign: as the person names it, where it lies, and the digest of what is read of it."""

    name: str
    folder: str
    sha256: str


@dataclass(frozen=True, eq=False)
class Analysis:
    """Everything one run found. `results[i]` belongs to `traces[i]`.

    `time_zone` is the campaign's, or an offset such as ``+02:00`` that its files agree on, "" for UTC; `streets` are drawn
    below maps; `ways` are what routes are called; `published` marks a copy whose ends are cut.
    """

    folder: str
    title: str
    settings: Settings
    traces: tuple[Trace, ...]
    unreadable: tuple[Unreadable, ...]
    routes: tuple[RouteResult, ...]
    results: tuple[TraceResult, ...]
    deviations: tuple[Deviation, ...]
    flags: tuple[Flag, ...]
    inputs: Mapping[str, str]
    notes: tuple[str, ...] = ()
    summaries: Summaries = field(default_factory=Summaries)
    time_zone: str = ""
    streets: Streets | None = None
    ways: Mapping[str, Way] = field(default_factory=dict)
    published: bool = False

    def __post_init__(self) -> None:
        same_length(self, ("traces", "results"))

    def route_named(self, name: str) -> RouteResult | None:
        """Return the route of that name, or None."""
        return next((r for r in self.routes if r.route.name == name), None)

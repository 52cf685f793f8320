"""Which traces are one way in one direction (a route), and which are one trip (a ride).

Traces are compared by what they share, in order of travel, not by their ends, because a late fix cuts the head off.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from gpsq.arrays import norms
from gpsq.geometry import alignment, polyline
from gpsq.geometry.cells import CellIndex, Cells, cells_of, is_near, most_shared
from gpsq.model import FloatArray, IntArray, Route, Trace
from gpsq.plane import Plane
from gpsq.rides.places import places_m
from gpsq.rides.unbroken import runs_of

if TYPE_CHECKING:
    from collections.abc import Collection, Iterator, Mapping, Sequence

    from gpsq.settings import Settings

#: Comparing routes of a few hundred metres at street width would find the way back on the way out.
NEAR_SHARE_OF_EXTENT = 0.15
#: So many members stand for a group when others are compared with it; up to the larger number while they lead …
LEAST_STANDING_FOR, MOST_STANDING_FOR = 3, 6
#: … over new ground, which is this share of their cells.
NEW_GROUND = 0.05
#: A recording that reaches no further stands where it is and goes no way: so much do fixes of one place scatter.
STANDS_M = 10.0
#: Shares counted in cells and in places differ by less than this.
SHARE_IN_DOUBT = 0.1
#: What follows in one line's steps may be so many times as long in the other's.
WELL_OVER = 2.0
#: A trace is compared in so many steps at most: 500 km at the usual step.
MOST_STEPS = 20_000
#: Two devices on one rider are never further apart than this at one instant (common practice: a bad fix in a street).
TOGETHER_M = 150.0
#: Instants at which two traces are compared to tell whether they were one trip.
INSTANTS = 60


def group_routes(
    traces: Sequence[Trace],
    settings: Settings,
    many: Collection[int] = frozenset(),
    shapes: Sequence[Shape | None] | None = None,
) -> tuple[Route, ...]:
    """Return the routes of a campaign, in order of their first recording; every trace of two fixes or more is in one.

    Two traces belong together when at least `pair_share` of one lies within `pair_near_m` of the other in the same
    order of travel; routes are the connected sets. Recordings of `many` passes are one way with their like only: a
    single pass lies anywhere along them, and would seem to have missed all that comes before. `shapes` are what
    `shape_of` gives of each trace, where they are known.
    """
    each = [shape_of(trace, settings) for trace in traces] if shapes is None else shapes
    usable = {i: shape for i, shape in enumerate(each) if shape is not None and shape.extent_m > STANDS_M}
    kinds = ([i for i in usable if i in many], [i for i in usable if i not in many])
    groups = [group for kind in kinds for group in _connected(kind, usable, traces, settings)]
    groups.sort(key=lambda members: min(_when(traces[i]) for i in members))
    return tuple(_route(_letter(k), members, traces) for k, members in enumerate(groups))


def _letter(number: int) -> str:
    """Return A, B, … Z, AA, AB and so on.

    >>> [_letter(n) for n in (0, 25, 26, 701, 702)]
    ['A', 'Z', 'AA', 'ZZ', 'AAA']
    """
    name = ""
    number += 1
    while number:
        number, rest = divmod(number - 1, 26)
        name = chr(ord("A") + rest) + name
    return name


def _when(trace: Trace) -> tuple[bool, int, str, int]:
    known = trace.time[~np.isnat(trace.time)]
    return len(known) == 0, int(known[0].astype("int64")) if len(known) else 0, trace.file, trace.track


def _route(name: str, members: list[int], traces: Sequence[Trace]) -> Route:
    plane = Plane.centred_on(
        np.concatenate([traces[i].lon_deg for i in members]), np.concatenate([traces[i].lat_deg for i in members])
    )
    return Route(
        name, plane, tuple(members), tuple(plane.to_metres(traces[i].lon_deg, traces[i].lat_deg) for i in members)
    )


class Shape:
    """A trace at coarse steps in earth-centred metres."""

    def __init__(self, trace: Trace, settings: Settings) -> None:
        xyz = places_m(trace)
        self.low, self.high = xyz.min(axis=0), xyz.max(axis=0)
        self.extent_m = float(np.sqrt(((self.high - self.low) ** 2).sum()))
        self.step_m, self.length_m = settings.pair_step_m, float(polyline.along_m(xyz)[-1])
        if self.extent_m > 0:
            self.step_m = min(settings.pair_step_m, max(1.0, self.extent_m / 40.0))
            self.step_m = max(self.step_m, self.length_m / MOST_STEPS)
        self.runs = runs_of(trace, settings.gap_s)
        self.xyz = xyz
        self._steps: dict[float, polyline.Steps] = {}

    def steps(self, step_m: float) -> polyline.Steps:
        """Return the trace at equal steps, kept for the next comparison."""
        if step_m not in self._steps:
            self._steps[step_m] = polyline.equal_steps(self.xyz, self.runs, step_m)
        return self._steps[step_m]


def shape_of(trace: Trace, settings: Settings) -> Shape | None:
    """Return the shape of a trace, at the steps in which it is looked at first; None where it goes no way."""
    if trace.accepted < 2:
        return None
    shape = Shape(trace, settings)
    shape.steps(shape.step_m)
    return shape


class Groups:
    """Sets of traces that are one way, each known by a few of its members.

    A trace is compared with the members that stand for a group, not with all: routes have hundreds of traces. Those are
    its first members and such as lead over ground of their own. Traces come longest first, so the order of files is of
    no account.
    """

    def __init__(self, shapes: Mapping[int, Shape], settings: Settings) -> None:
        self.shapes, self.settings = shapes, settings
        self.cells: dict[int, Cells] = {}
        self.index = CellIndex()
        self.members: dict[int, list[int]] = {}
        self.standing_for: dict[int, list[int]] = {}
        self.group: dict[int, int] = {}

    def add(self, i: int) -> None:
        """Put a trace into the group it belongs to, or into one of its own; groups that it belongs to become one."""
        cells = self._cells(i)
        near = self.index.near(cells)
        homes = [g for g in sorted({self.group[j] for j in near}) if self._belongs(i, cells, near, g)]
        home = homes[0] if homes else i
        members, known = self.members.setdefault(home, []), self.standing_for.setdefault(home, [])
        for other in homes[1:]:
            members += self.members[other]
            known += self.standing_for.pop(other)
            self.group.update((j, home) for j in self.members.pop(other))
        members.append(i)
        self.group[i] = home
        if len(known) < (MOST_STANDING_FOR if self._leads_elsewhere(cells, known) else LEAST_STANDING_FOR):
            known.append(i)
            self.cells[i] = cells
            self.index.put(i, cells)

    def _cells(self, i: int) -> Cells:
        shape = self.shapes[i]
        # places that are near lie in touching cells, though either line is looked at in steps
        return cells_of(shape.steps(shape.step_m).xy_m, self.settings.pair_near_m + self.settings.pair_step_m)

    def _belongs(self, i: int, cells: Cells, near: set[int], group: int) -> bool:
        least = self.settings.pair_share - SHARE_IN_DOUBT
        likely = (j for j in self.standing_for[group] if j in near and most_shared(cells, self.cells[j]) >= least)
        return any(_one_way(self.shapes[j], self.shapes[i], self.settings) for j in likely)

    def _leads_elsewhere(self, cells: Cells, known: Sequence[int]) -> bool:
        trodden = np.zeros(len(cells.own), dtype=bool)
        for j in known:
            trodden |= is_near(cells, self.cells[j])
        return float(1.0 - trodden.mean()) > NEW_GROUND


def _connected(
    usable: Sequence[int], shapes: Mapping[int, Shape], traces: Sequence[Trace], settings: Settings
) -> list[list[int]]:
    """Return the connected sets of traces that are one way."""
    groups = Groups(shapes, settings)
    for i in sorted(usable, key=lambda i: (-shapes[i].extent_m, _when(traces[i])[:2], traces[i].key)):
        groups.add(i)
    return [sorted(members) for members in groups.members.values()]


def _one_way(a: Shape, b: Shape, settings: Settings) -> bool:
    near_m = min(settings.pair_near_m, NEAR_SHARE_OF_EXTENT * min(a.extent_m, b.extent_m))
    if (a.low > b.high + near_m).any() or (b.low > a.high + near_m).any():
        return False
    step_m = max(min(a.step_m, b.step_m), max(a.length_m, b.length_m) / MOST_STEPS)
    shorter, longer = sorted((a.steps(step_m), b.steps(step_m)), key=len)
    there, share = _same_order(shorter, longer, step_m, near_m, settings.pair_share)
    if there or share * len(shorter) * WELL_OVER < settings.pair_share * len(longer):
        return there
    return _same_order(longer, shorter, step_m, near_m, settings.pair_share)[0]


def _same_order(
    inner: polyline.Steps, outer: polyline.Steps, step_m: float, near_m: float, least_share: float
) -> tuple[bool, float]:
    """Return whether enough of `inner` follows `outer`, and follows it better than it follows the way back.

    The share that follows it is the second of the two.
    """
    there = _follows(inner, outer.xy_m, step_m, near_m)
    share = float((there > 0).mean())
    if share < least_share:
        return False, share
    back = _follows(inner, outer.xy_m[::-1], step_m, near_m)
    return bool(there.sum() >= back.sum()), share


def _follows(inner: polyline.Steps, outer_m: FloatArray, step_m: float, near_m: float) -> FloatArray:
    """Return for each place of `inner` how well it matches `outer_m` in order: 1 at the same place, 0 beyond near."""
    path = alignment.in_order(
        inner.xy_m, inner.piece, outer_m, step_m=step_m, cap_m=near_m, coarse=alignment.ROUGH_PLACES
    )
    return np.maximum(0.0, 1.0 - (norms(inner.xy_m - outer_m[path]) / near_m) ** 2)


def group_rides(traces: Sequence[Trace], settings: Settings, ahead_s: Sequence[float]) -> tuple[int, ...]:
    """Return the number of the ride each trace belongs to, counted from 0 in order of time.

    Traces are one ride when the start log names one, or when they run at the same time for most of the shorter one and
    stay together; what the log names differently is never one, whoever else was with both. `ahead_s` is how far each
    trace's clock is known to be ahead; it is used here and changes no time.
    """
    spans = [_span_s(trace, ahead) for trace, ahead in zip(traces, ahead_s, strict=True)]
    ride, label = np.arange(len(traces)), [trace.ride_label for trace in traces]
    order = sorted(range(len(traces)), key=lambda i: (spans[i] is None, spans[i] or (0.0, 0.0), _when(traces[i])))
    for i, likely in _may_be_one_trip(order, spans, traces):
        others = likely[ride[likely] != ride[i]]
        while len(others):
            j, others = int(others[-1]), others[:-1]
            first, second = sorted((int(ride[i]), int(ride[j])))
            named_apart = label[first] and label[second] and label[first] != label[second]
            if not named_apart and _one_trip(traces, i, j, spans, settings, ahead_s):
                ride[ride == second] = first
                label[first] = label[first] or label[second]
                others = others[ride[others] != first]
    numbers: dict[int, int] = {}
    for i in order:
        numbers.setdefault(int(ride[i]), len(numbers))
    return tuple(numbers[number] for number in ride.tolist())


def _may_be_one_trip(
    order: Sequence[int], spans: Sequence[tuple[float, float] | None], traces: Sequence[Trace]
) -> Iterator[tuple[int, IntArray]]:
    """Yield each trace, in `order` of beginning, with those before it that may be of its ride.

    That is the first of its label and of its content, and whatever runs at the same time and comes near at all.
    """
    first: dict[str | tuple[str, int], int] = {}
    ends_s = np.array([-np.inf if span is None else span[1] for span in spans])
    low_m, high_m = _reached_m(traces)
    running = np.empty(0, dtype=np.int64)
    for i in order:
        names = (name for name in (traces[i].ride_label, traces[i].key) if name)
        yield i, np.array([j for name in names if (j := first.setdefault(name, i)) != i], dtype=np.int64)
        if (span := spans[i]) is not None:
            running = running[ends_s[running] >= span[0]]
            near = (low_m[running] <= high_m[i]) & (high_m[running] >= low_m[i])
            yield i, running[near.all(axis=1)]
            running = np.append(running, i)


def _reached_m(traces: Sequence[Trace]) -> tuple[FloatArray, FloatArray]:
    """Return the (n, 3) least and largest earth-centred places that a companion of each trace can be at."""
    low_m, high_m = np.full((len(traces), 3), -np.inf), np.full((len(traces), 3), np.inf)
    for i, trace in enumerate(traces):
        if trace.accepted:
            xyz = places_m(trace)
            low_m[i], high_m[i] = xyz.min(axis=0) - TOGETHER_M, xyz.max(axis=0) + TOGETHER_M
    return low_m, high_m


def _span_s(trace: Trace, ahead_s: float) -> tuple[float, float] | None:
    first, last = (trace.time[0], trace.time[-1]) if trace.timed else (trace.first_record, trace.last_record)
    if np.isnat(first) or np.isnat(last):
        return None
    return (_seconds(first) - ahead_s, _seconds(last) - ahead_s)


def _seconds(time: np.datetime64) -> float:
    return float(time.astype("datetime64[ms]").astype("int64")) / 1000.0


def _one_trip(
    traces: Sequence[Trace],
    i: int,
    j: int,
    spans: Sequence[tuple[float, float] | None],
    settings: Settings,
    ahead_s: Sequence[float],
) -> bool:
    a, b, span_a, span_b = traces[i], traces[j], spans[i], spans[j]
    if a.key == b.key or (a.ride_label and a.ride_label == b.ride_label):
        return True
    if span_a is None or span_b is None:
        return False
    low, high = max(span_a[0], span_b[0]), min(span_a[1], span_b[1])
    shorter = min(span_a[1] - span_a[0], span_b[1] - span_b[0])
    if high < low or high - low < settings.ride_overlap_share * shorter:
        return False
    if a.accepted == 0 or b.accepted == 0:
        return True
    instants = np.linspace(low, high, INSTANTS)
    apart = _at(a, instants, ahead_s[i]) - _at(b, instants, ahead_s[j])
    return bool(np.median(norms(apart)) <= TOGETHER_M)


def _at(trace: Trace, instants_s: FloatArray, ahead_s: float) -> FloatArray:
    time_s = trace.time.astype("datetime64[ms]").astype("int64") / 1000.0 - ahead_s
    return polyline.at_along(places_m(trace), time_s, instants_s)

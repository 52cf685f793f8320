"""A campaign's traces put in order before any is measured: passes, clocks, copies, rides, routes, each recording by itself.

None of it depends on what a person decides about deviations.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import partial
from typing import TYPE_CHECKING, Any

from gpsq.rides import clocks, copies, passes, recording_figures, routes

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable, Mapping, Sequence

    from gpsq.model import Route, Trace
    from gpsq.rides.copies import Companion
    from gpsq.rides.recording_figures import Recorded
    from gpsq.settings import Settings


@dataclass(frozen=True, eq=False)
class Arranged:
    """Traces in order.

    `rides` names the ride of each trace, `twins` the earlier recording that a trace repeats, `alone` holds what is known
    of each by itself; `cutting` and `notes` are sentences.
    """

    traces: tuple[Trace, ...]
    rides: tuple[str, ...]
    twins: Mapping[int, str]
    routes: tuple[Route, ...]
    alone: tuple[Recorded, ...]
    cutting: tuple[str, ...]
    notes: tuple[str, ...]


def arrange(
    traces: Sequence[Trace], settings: Settings, *, cut: bool = False, each: Callable[..., Iterable[Any]] = map
) -> Arranged:
    """Put traces in order.

    Parameters
    ----------
    cut : cut recordings that hold many passes; without it they are only told of.
    each : the built-in map, or one that looks at several traces at a time.
    """
    cutting: tuple[str, ...] = ()
    if cut:
        found_passes = list(each(partial(passes.find_passes, settings=settings), traces))
        traces, cutting, _ = passes.cut(traces, settings, asked=True, found=found_passes)
    looked_at = each(partial(_look_at, settings=settings, cut=cut), traces)  # and meanwhile at all of them together
    offsets, found = clocks.estimate_offsets(traces), copies.compare(traces)
    rides = _ride_names(traces, routes.group_rides(traces, settings, _ahead_s(traces, offsets, found)))
    of_each, alone, shapes = zip(*looked_at, strict=True) if traces else ((), (), ())
    many: frozenset[int] = frozenset()
    if not cut:
        traces, cutting, many = passes.cut(traces, settings, asked=False, found=of_each)
    return Arranged(
        traces=tuple(traces),
        rides=rides,
        twins=_twins(traces, found),
        routes=routes.group_routes(traces, settings, many, shapes),
        alone=alone,
        cutting=cutting,
        notes=_told(traces, offsets, found),
    )


def _look_at(
    trace: Trace, settings: Settings, *, cut: bool
) -> tuple[tuple[passes.Pass, ...], Recorded, routes.Shape | None]:
    """Return what is known of a recording by itself: its passes unless it was cut, its figures, and its shape."""
    own = () if cut else passes.find_passes(trace, settings)
    return own, recording_figures.measure(trace, settings), routes.shape_of(trace, settings)


def _ahead_s(traces: Sequence[Trace], offsets: Sequence[clocks.ClockOffset], found: Sequence[Companion]) -> list[float]:
    """Return how far each recording's clock is ahead of the common one: its device's, or else by weeks its own."""
    device: dict[str, float] = {}
    for offset in offsets:
        device[offset.device] = offset.offset_s + device.get(offset.reference_device, 0.0)
    ahead_s = [device.get(trace.device, 0.0) for trace in traces]
    for c in found:
        if c.kind == "week_rollover" and traces[c.trace].device not in device:
            ahead_s[c.trace] = ahead_s[c.other] + c.ahead_s
    return ahead_s


def _told(
    traces: Sequence[Trace], offsets: Sequence[clocks.ClockOffset], found: Sequence[Companion]
) -> tuple[str, ...]:
    """Return what was found, in sentences; what is said of a device is not said again of each of its recordings."""
    said = {offset.device for offset in offsets if offset.is_week_rollover}
    single = (c for c in found if c.kind != "week_rollover" or traces[c.trace].device not in said)
    return (*(o.sentence() for o in offsets), *dict.fromkeys(c.note for c in single))


def _ride_names(traces: Sequence[Trace], numbers: Sequence[int]) -> tuple[str, ...]:
    """Return the ride each trace belongs to: as named in the start log, else R01, R02, … in order of time."""
    width = max(2, len(str(max(numbers, default=0) + 1)))
    labels = {number: t.ride_label for number, t in zip(numbers, traces, strict=True) if t.ride_label}
    return tuple(labels.get(number, f"R{number + 1:0{width}d}") for number in numbers)


def _twins(traces: Sequence[Trace], found: Sequence[Companion]) -> dict[int, str]:
    """Return for each recording that repeats an earlier one the name of that one."""
    twins: dict[int, str] = {}
    for companion in found:
        if companion.kind == "same_recording" and not {companion.trace, companion.other} & set(twins):
            twins[companion.trace] = traces[companion.other].label
    return twins

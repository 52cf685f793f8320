"""What report, page and terminal show alike: deviations by event, what a name means, and the card of an event."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from gpsq.exceptions import InputError
from gpsq.measures import events
from gpsq.model import CANNOT_BE_TOLD
from gpsq.output import instants, wording
from gpsq.output.drawing.looks import state
from gpsq.output.drawing.route_parts import excursions, shared
from gpsq.output.headlines import capital
from gpsq.output.report import sketches

if TYPE_CHECKING:
    from collections.abc import Sequence

    from gpsq.model import Deviation
    from gpsq.results import Analysis


def by_event(analysis: Analysis) -> list[tuple[Deviation, ...]]:
    """Return the deviations of each event, in the order in which they are found."""
    return [tuple(own) for own in excursions(analysis.deviations)]


def meant(analysis: Analysis, names: Sequence[str]) -> dict[str, list[Deviation]]:
    """Return the deviations that a person means by each name of an event, a deviation or a ride.

    A name that was shown before holds, even where a decision made since has let its deviation vanish.

    Raises
    ------
    InputError
        When a name means nothing, or there is none.
    """
    everything = [d for r in analysis.results for d in (*r.deviations, *r.vanished)]
    found = events.chosen(names, everything, {r.trace: r.ride for r in analysis.results})
    unknown = [name for name, own in found.items() if not own]
    if unknown or not found:
        known = ", ".join(dict.fromkeys(d.event for d in analysis.deviations)) or "none: there are none"
        what = f"the deviation{'s' if len(unknown) > 1 else ''} {', '.join(unknown)}".strip()
        raise InputError(
            "gpsq flag", what if unknown else "no name", f"one of {known}, a deviation of theirs or its ride"
        )
    return found


@dataclass(frozen=True)
class Part:
    """One recording of an event: its deviation, its times, how far off it was, and the grounds of the suggestion."""

    found: Deviation
    device: str
    file: str
    times: str
    said: str
    grounds: str


@dataclass(frozen=True)
class Card:
    """An event as it is shown: a title of day, way and size, what is suggested, and its recordings.

    `state` is what was decided of all of them, or that nothing was, or not of all.
    """

    event: str
    title: str
    state: str
    ride: str
    route: str
    suggestion: str
    parts: tuple[Part, ...]
    sketch: sketches.Sketch | None

    @property
    def ids(self) -> tuple[str, ...]:
        """Names of its deviations."""
        return tuple(part.found.id for part in self.parts)

    @property
    def grounds(self) -> str:
        """What speaks for the suggestion, where it is the same for all recordings; else "", and each has its own."""
        found = {part.grounds for part in self.parts}
        return self.parts[0].grounds if len(found) == 1 else ""

    @property
    def note(self) -> str:
        """The person's words on it; those on its recordings where they differ."""
        return "; ".join(dict.fromkeys(part.found.note for part in self.parts if part.found.note))


def card(analysis: Analysis, event: Sequence[Deviation]) -> Card:
    """Return what the card of an event shows."""
    return Card(
        event=event[0].event or event[0].id,
        title=title(analysis, event),
        state=state(shared(event, "flag")),
        ride=analysis.results[event[0].trace].ride,
        route=event[0].route,
        suggestion=suggested(event),
        parts=tuple(_part(analysis, d) for d in event),
        sketch=sketches.of_event(analysis, event),
    )


def _part(analysis: Analysis, deviation: Deviation) -> Part:
    trace = analysis.traces[deviation.trace]
    times = instants.between(deviation.from_time, deviation.to_time, analysis.time_zone)
    said = (
        f"Up to {wording.metres(deviation.peak_m)} to the {deviation.side}, from {wording.metres(deviation.from_m)} to "
        f"{wording.metres(deviation.to_m)} along the route; {wording.longer(deviation.extra_m)} the centreline."
    )
    grounds = f"{deviation.evidence[:1].upper()}{deviation.evidence[1:]}." if deviation.evidence else ""
    return Part(deviation, trace.device, trace.label, times or "times unknown", said, grounds)


def title(analysis: Analysis, event: Sequence[Deviation]) -> str:
    """Return a title that a person knows an event by: its day, its way, how far off and for how long."""
    largest = max(event, key=lambda d: d.peak_m)
    long_m = max(d.to_m for d in event) - min(d.from_m for d in event)
    day = instants.day(largest.from_time, analysis.time_zone)
    way = wording.on_way(analysis, largest.route)
    where = f"{day}, {way}" if day else capital(way)
    return f"{where}: {wording.metres(largest.peak_m)} to the {largest.side} for {wording.metres(long_m)}"


def suggested(event: Sequence[Deviation]) -> str:
    """Return what is suggested of an event: what is of all its recordings, else that it cannot be told."""
    found = {d.suggestion for d in event}
    return found.pop() if len(found) == 1 else CANNOT_BE_TOLD

"""From the time of a film to the time of a ride: the start, where first fixes come, runs slower than the rest."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from gpsq.output.drawing.timing import elapsed_s

if TYPE_CHECKING:
    from collections.abc import Sequence

    from gpsq.model import FloatArray, IntArray, Trace
    from gpsq.results import TraceResult

#: How long a film is, whatever the ride; its first part is this long where the start runs slower; and it stands at the end.
FILM_S, START_S, STAND_S = 15.0, 6.0, 1.5
#: The start reaches a little beyond the last first fix that comes within this share of the ride.
START_SHARE, BEYOND = 0.25, 1.15
#: Clocks of devices on one ride that are further apart than this are off, and each is taken from its own beginning.
CLOCKS_OFF_S = 1800.0


@dataclass(frozen=True, eq=False)
class Runner:
    """One recording of a ride as it is played: seconds of each fix from the ride's beginning, and (n, 2) places.

    `piece` (n,) numbers the unbroken parts, from 0: nothing was ridden between two, as far as anyone knows.
    """

    device: str
    seconds: FloatArray
    xy_m: FloatArray
    knows_start: bool
    flag: str
    missed: str
    piece: IntArray

    def at(self, s: float) -> FloatArray | None:
        """Return where it was, (2,), None before its first fix; its last place after its end."""
        if s < self.seconds[0]:
            return None
        return np.array([np.interp(s, self.seconds, self.xy_m[:, k]) for k in (0, 1)])

    def ways(self, s: float) -> list[FloatArray]:
        """Return the ways ridden from the first fix until then, (k, 2), one for each unbroken part."""
        place, gone = self.at(s), int(np.searchsorted(self.seconds, s, side="right"))
        if place is None:
            return []
        piece = self.piece[:gone]
        found = [self.xy_m[:gone][piece == number] for number in range(int(piece[-1]) + 1)]
        if gone < len(self.piece) and self.piece[gone] == piece[-1]:
            found[-1] = np.vstack([found[-1], place])
        return found


@dataclass(frozen=True)
class Moments:
    """The length of a ride, and the end of its slow part, in seconds of the ride."""

    ride_s: float
    slow_s: float

    def of(self, film_s: float) -> float:
        """Return the time of the ride at a time of the film.

        Examples
        --------
        >>> moments = Moments(900.0, 60.0)
        >>> [moments.of(s) for s in (0.0, 3.0, 6.0, 13.5, 15.0)]
        [0.0, 30.0, 60.0, 900.0, 900.0]
        """
        return float(np.interp(film_s, [0.0, START_S, FILM_S - STAND_S], [0.0, self.slow_s, self.ride_s]))

    def speed(self, film_s: float) -> float:
        """Return how many times faster than the ride the film runs."""
        if film_s < START_S:
            return self.slow_s / START_S
        return (self.ride_s - self.slow_s) / (FILM_S - STAND_S - START_S)


def moments(runners: Sequence[Runner]) -> Moments:
    """Return how the film of a ride runs."""
    ride_s = max(float(runner.seconds[-1]) for runner in runners)
    fixes = [float(r.seconds[0]) for r in runners if r.seconds[0] <= START_SHARE * ride_s]
    slow_s = BEYOND * max(fixes, default=0.0)
    even_s = ride_s * START_S / (FILM_S - STAND_S)
    return Moments(ride_s, min(max(slow_s, ride_s / 60.0), even_s))


def beginnings_s(traces: Sequence[Trace], results: Sequence[TraceResult]) -> list[FloatArray | None]:
    """Return seconds of each fix of each recording from the beginning of their ride, None for one without times."""
    own = [elapsed_s(trace, result) for trace, result in zip(traces, results, strict=True)]
    begun = [
        trace.time[0].astype("datetime64[ms]").astype(np.int64) / 1000.0 - seconds[0]
        for trace, seconds in zip(traces, own, strict=True)
        if seconds is not None
    ]
    if not begun or max(begun) - min(begun) > CLOCKS_OFF_S:
        return own
    first = min(begun)
    offsets = iter(begun)
    return [None if seconds is None else seconds + (next(offsets) - first) for seconds in own]

"""How devices look, the same in charts, map and report: a colour, a line style and a mark each; what a state is called.

The colours are Okabe and Ito's (2008), told apart with any kind of colour vision; yellow is left out, as it cannot be
seen on white. Line style and mark say the same a second time.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from gpsq.results import Analysis

OKABE_ITO = ("#0072B2", "#D55E00", "#009E73", "#CC79A7", "#E69F00", "#56B4E9")
#: Dashes in points, on and off; () is a solid line.
DASHES: tuple[tuple[int, ...], ...] = ((), (7, 3), (2, 2), (9, 3, 2, 3), (12, 4), (4, 2, 1, 2, 1, 2))
MARKS = ("disc", "triangle", "square", "diamond", "wedge", "cross")

UNFLAGGED = "unflagged"


@dataclass(frozen=True)
class Look:
    """The look of one device."""

    colour: str
    dashes: tuple[int, ...]
    mark: str


def device_looks(analysis: Analysis) -> dict[str, Look]:
    """Return the look of every device, in the order of their names; combinations repeat only after 36 devices."""
    names = {trace.device for trace in analysis.traces} | {lost.device for lost in analysis.unreadable if lost.device}
    return {name: look(i) for i, name in enumerate(sorted(names))}


def look(number: int) -> Look:
    """Return the look of the device of that number, from 0.

    Examples
    --------
    >>> look(1)
    Look(colour='#D55E00', dashes=(7, 3), mark='triangle')
    >>> look(6).colour == look(0).colour, look(6).dashes == look(0).dashes
    (True, False)
    """
    turn, place = divmod(number, len(OKABE_ITO))
    second = (place + turn) % len(DASHES)
    return Look(OKABE_ITO[place], DASHES[second], MARKS[second])


def state(flag: str) -> str:
    """Return the state of a deviation with that flag."""
    return flag or UNFLAGGED

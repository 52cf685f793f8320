"""Every device ever tested: several results folders side by side, and what of them can be compared.

Figures of different days are figures under different skies. Devices that rode together are compared ride by ride; others
only by way of a device that was carried along with both (`gpsq.summaries.across.bridges`).
"""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING

from gpsq.exceptions import InputError
from gpsq.summaries.across import bridges, results_read
from gpsq.summaries.across.results_read import number
from gpsq.summaries.across.same_course import courses

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

    from gpsq.settings import Settings
    from gpsq.summaries.across.bridge_verdicts import Bridge
    from gpsq.summaries.across.results_read import Results, Row

CAUTION = (
    "The table sets figures side by side; it does not compare them. Other days are another sky and other roads are other "
    "surroundings: what can be said of two devices stands below it."
)


@dataclass(frozen=True)
class Entry:
    """One device of one campaign on one course; `figures` is its row of ``devices.csv``, as text by column."""

    course: str
    campaign: str
    route: str
    device: str
    start_states: str
    figures: Row


@dataclass(frozen=True)
class Compared:
    """The entries by course, campaign and device; what each pair of devices comes to; what must be said.

    `carried` is the device that most others can be held against, "" where none shared a ride with another. `problems` has a
    plain line for each folder that could not be read.
    """

    entries: tuple[Entry, ...]
    bridges: tuple[Bridge, ...] = ()
    carried: str = ""
    notes: tuple[str, ...] = ()
    problems: tuple[str, ...] = ()


def compare_campaigns(folders: Sequence[Path], settings: Settings) -> Compared:
    """Read results folders, or campaigns that hold one, and set their devices side by side.

    Raises
    ------
    InputError
        Where none of the folders is a results folder.
    """
    read, problems = [], []
    for folder in folders:
        try:
            read.append(results_read.read(results_read.results_in(Path(folder))))
        except InputError as error:
            problems.append(error)
    if not read:
        raise problems[0] if problems else InputError("gpsq compare", "no folder", "one results folder or more")
    results = _named_apart(read)
    lines = {(i, route): line for i, r in enumerate(results) for route, line in r.lines.items()}
    course_of = courses(lines, settings)
    entries = [
        _entry(row, r, course_of.get((i, row["route"]), f"{r.campaign}: {row['route']}"))
        for i, r in enumerate(results)
        for row in r.devices
        if row["route"]
    ]
    order = {name: k for k, name in enumerate(dict.fromkeys(e.course for e in entries))}
    entries.sort(key=lambda e: order[e.course])
    found = bridges.between_all(results, settings)
    carried = bridges.carried_most(results, found)
    said = (CAUTION, *_undecided(results))
    return Compared(tuple(entries), found, carried, said, tuple(str(problem) for problem in problems))


def _named_apart(results: Sequence[Results]) -> list[Results]:
    """Give campaigns of one title a number."""
    named, seen = [], Counter[str]()
    for r in results:
        seen[r.campaign] += 1
        named.append(r if seen[r.campaign] == 1 else replace(r, campaign=f"{r.campaign} ({seen[r.campaign]})"))
    return named


def _entry(row: Row, results: Results, course: str) -> Entry:
    tracks = [t for t in results.tracks if (t["device"], t["route"]) == (row["device"], row["route"])]
    states = Counter(
        t.get("start_state") or "unknown" for t in tracks if t.get("ttff_s") or t.get("censored") == "true"
    )
    said = ", ".join(f"{n} {state}" for state, n in sorted(states.items()))
    return Entry(course, results.campaign, row["route"], row["device"], said, row)


def _undecided(results: Sequence[Results]) -> Iterator[str]:
    """Say which campaigns have deviations of which nobody knows what they are."""
    for r in results:
        count = sum(number(row, "undecided", 0.0) for row in r.devices if row["route"])
        if count > 0:
            wait, they = ("deviations wait", "they count") if count > 1 else ("deviation waits", "it counts")
            yield f"{r.campaign}: {count:.0f} {wait} for a decision; until then {they} in the errors."

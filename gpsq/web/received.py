"""What was dropped onto the page: a line for each file, and what was noticed in several of them said once."""

from __future__ import annotations

import re
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

#: Notes of one recording that are worth a line.
MOST_NOTES = 2


@dataclass(eq=False)
class Received:
    """One dropped file: the name it came with, what became of it, what was seen in it, and what is to be noted."""

    given: str
    said: str
    outcome: str = "kept"
    seen: str = ""
    notes: list[str] = field(default_factory=list)

    def unread(self, why: str) -> None:
        """Say why nothing could be read."""
        self.outcome, self.seen = "unread", why

    def read(self, records: Sequence[Mapping[str, Any]]) -> None:
        """Say what was found in it, by the records of `gpsq.pipeline.check`."""
        lost = [record for record in records if record["outcome"] == "error"]
        self.outcome = "unread" if len(lost) == len(records) else "read"
        self.notes = [note for record in records for note in record["notes"][:MOST_NOTES]]
        if len(records) == 1:
            self.seen = str(records[0]["message"])
            return
        unread = f", {len(lost)} of which cannot be read: {lost[0]['message']}" if lost else ""
        self.seen = f"{len(records)} recordings{unread}"


def noticed(received: Sequence[Received]) -> list[str]:
    """Return each note once: with the file where it is of one, else with the number of files.

    Notes that differ in nothing but their figures are of one kind; the first stands for all.

    Examples
    --------
    >>> files = [Received(f"{day}.gpx", "kept", notes=[f"Gap of {n} s.", "No start."]) for n, day in enumerate(("mon", "tue"), 8)]
    >>> noticed([*files, Received("wed.gpx", "kept", notes=["A single fix."])])
    ['mon.gpx: Gap of 8 s. The like in 1 more file.', '2 files: No start.', 'wed.gpx: A single fix.']
    """
    kinds: dict[str, list[tuple[str, str]]] = {}
    for line in received:
        for note in line.notes:
            kinds.setdefault(re.sub(r"\d+(?:\.\d+)?", "#", note), []).append((line.given, note))
    return [_once(found) for found in kinds.values()]


def _once(found: Sequence[tuple[str, str]]) -> str:
    given, note = found[0]
    files = len({name for name, _ in found})
    if files == 1:
        return f"{given}: {note}"
    if all(other == note for _, other in found):
        return f"{files} files: {note}"
    return f"{given}: {note} The like in {files - 1} more file{'s' if files > 2 else ''}."

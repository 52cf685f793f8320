"""What an analysis ends with on the terminal: where it falls short, and how to mend what is missing most."""

from __future__ import annotations

import shlex
from typing import TYPE_CHECKING

import numpy as np

from gpsq.output.instants import dated
from gpsq.output.wording import cell
from gpsq.summaries.fair_test import shortfalls

if TYPE_CHECKING:
    from collections.abc import Iterator
    from pathlib import Path

    from gpsq.results import Analysis

#: So many of its shortfalls are told of a campaign; `gpsq check` has them all.
MOST_TOLD = 3


def where_it_falls_short(analysis: Analysis) -> Iterator[str]:
    """Yield a heading and the shortfalls that matter most; nothing where there is none."""
    found = shortfalls(analysis)
    if found:
        more = len(found) - MOST_TOLD
        yield ""
        folder = shlex.quote(cell(analysis.folder))
        yield "Where it falls short of a fair test" + (f" ({more} more: gpsq check {folder})" if more > 0 else "")
        yield from (f"- {cell(sentence)}" for sentence in found[:MOST_TOLD])


def row_to_copy(analysis: Analysis, log: Path) -> Iterator[str]:
    """Yield how to say when recordings were started, with a row to copy, where that is known of none."""
    if not all(np.isnat(trace.started) for trace in analysis.traces):
        return
    days = dated(np.array([time for trace in analysis.traces for time in trace.time[:1]], "datetime64[ms]"))
    known = days[~np.isnat(days)]
    day = np.datetime64(known.min(), "D") if len(known) else "yyyy-mm-dd"
    zone = "" if analysis.time_zone else " Z"
    clock = f"in {analysis.time_zone}" if zone == "" else "Z is UTC; your own clock has an offset such as +02:00"
    yield (
        f"No start is known, so no time to first fix is measured: write when you pressed start into {log}, a line for "
        f"each ride such as {day} hh:mm:ss{zone} ({clock})."
    )

"""A start log pasted into the page: which recording each line means, before anything is kept."""

from __future__ import annotations

import dataclasses
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from gpsq.campaign import start_log
from gpsq.campaign.start_matching import match
from gpsq.campaign.start_table import Problem
from gpsq.output import wording
from gpsq.reading.folder import recordings_meant
from gpsq.web import typed_starts

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from gpsq.campaign.campaign_file import Campaign
    from gpsq.campaign.start_log import StartLog
    from gpsq.campaign.start_matching import Match
    from gpsq.model import Trace, Unreadable


@dataclass(frozen=True)
class Line:
    """One line as it was pasted, the file that it means ("" for none), and what is to be said of it."""

    text: str
    file: str
    said: str


@dataclass(frozen=True)
class Pasted:
    """What a pasted log says.

    `rows` are what is kept of it, in the columns of ``rides.csv``; `problems` are those of no line; `zone` is to be kept
    with it, "" where none is needed or one is kept already; `without` are recordings that are still without a start.
    """

    text: str = ""
    lines: tuple[Line, ...] = ()
    rows: tuple[Mapping[str, str], ...] = ()
    problems: tuple[str, ...] = ()
    zone: str = ""
    without: tuple[str, ...] = ()


def look(
    text: str, traces: Sequence[Trace], unreadable: Sequence[Unreadable], campaign: Campaign, page_zone: str = ""
) -> Pasted:
    """Return what a pasted log says.

    Parameters
    ----------
    text : str
        As pasted.
    traces, unreadable : sequences
        All recordings.
    campaign : Campaign
        As its file says.
    page_zone : str
        The time zone that the page shows, for a campaign that has none.
    """
    zone = campaign.time_zone or page_zone or None
    log = start_log.parse(text, zone)
    each = match(log, recordings_meant([*traces, *unreadable], campaign), campaign.settings.start_bound_s).each
    doubted = [_doubted(found, campaign.settings.log_bound_s) for found in each]
    kept = [found for found in doubted if found.recording and not found.problem]
    needs_zone = not campaign.time_zone and _known(log) > _known(start_log.parse(text, None))
    meant = {found.recording.file for found in kept if found.recording}
    without = dict.fromkeys(t.file for t in traces if t.start_basis == "none" and t.file not in meant)
    return Pasted(
        text,
        tuple(_lines(text, doubted, log.problems)),
        tuple(_row(found, zone) for found in kept),
        tuple(_said(problem) for problem in log.problems if not problem.row),
        page_zone if needs_zone and kept else "",
        tuple(without),
    )


def _known(log: StartLog) -> int:
    return sum(not np.isnat(entry.started) for entry in log.rows)


def _doubted(found: Match, bound_s: float) -> Match:
    """Return a match with why it cannot be: a row may name a recording that had its fix before, or hours later."""
    if found.recording is None or found.problem:
        return found
    wait_s = found.waited_s
    if np.isnat(found.entry.started):
        problem = Problem("no start that can be read", "a date and a time")
    elif wait_s < 0:
        problem = Problem(f"a start {-wait_s:.0f} s after the first fix", "one before it; is the time zone right?")
    elif wait_s > bound_s:
        problem = Problem(f"a start {wait_s / 3600:.1f} h before the first fix", "one shortly before it")
    else:
        return found
    return dataclasses.replace(found, problem=problem)


def _lines(text: str, each: Sequence[Match], problems: Sequence[Problem]) -> list[Line]:
    """Return every line of which something is said, in their order."""
    written = text.splitlines()
    of_line: dict[int, list[str]] = {}
    for problem in problems:
        if problem.row:
            of_line.setdefault(problem.line, []).append(_said(problem))
    lines = []
    for found in each:
        line = found.entry.line
        file = found.recording.file if found.recording and not found.problem else ""
        said = [_waited(found)] if file else [_said(found.problem)] if found.problem else []
        lines.append((line, file, dict.fromkeys([*of_line.pop(line, []), *said])))
    lines += [(line, "", dict.fromkeys(said)) for line, said in of_line.items()]
    return [
        Line(written[line - 1].strip(), file, "; ".join(said)) for line, file, said in sorted(lines, key=lambda x: x[0])
    ]


def _waited(found: Match) -> str:
    if np.isnan(found.waited_s):
        return "never fixed"
    about = "up to " if found.entry.to_minute else ""
    return f"{about}{wording.seconds(found.waited_s)} to the first fix"


def _said(problem: Problem) -> str:
    why = f", {problem.why}" if problem.why else ""
    return f"found {problem.found}{why}; expected {problem.expected}"


def _row(found: Match, zone: str | None) -> dict[str, str]:
    """Return what is kept of a row, by column of ``rides.csv``."""
    entry = found.entry
    place = {"start_lat": entry.start_lat_deg, "start_lon": entry.start_lon_deg}
    row = {
        "file": found.recording.file if found.recording else "",
        "device": entry.device,
        "started": typed_starts.written(entry.started, zone),
        **{name: f"{value:.7f}" for name, value in place.items() if np.isfinite(value)},
        "start_state": entry.start_state, "ride": entry.ride, "note": entry.note,
    }  # fmt: skip
    return {name: value for name, value in row.items() if value}

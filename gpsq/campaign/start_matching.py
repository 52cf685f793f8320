"""Which recording each row of a start log means: the one it names, or the one that begins after it."""

from __future__ import annotations

from collections import defaultdict
from dataclasses import dataclass, field
from pathlib import PurePosixPath
from typing import TYPE_CHECKING, Any, NamedTuple

import numpy as np

from gpsq.campaign.device_names import UNKNOWN_DEVICE
from gpsq.campaign.start_table import Problem
from gpsq.model import NAT

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping, Sequence

    from gpsq.campaign.start_log import StartEntry, StartLog
    from gpsq.model import BoolArray, TimeArray, Trace

_SECOND = np.timedelta64(1, "s")


class Recording(NamedTuple):
    """What a row may mean: a recording and when it begins.

    `begins` is the time of its first record of any kind, `fixed` of its first fix, `ends` of its last record; NaT where
    unknown. `device` is its name before the start log has a say.
    """

    file: str
    track: int = 1
    device: str = ""
    begins: np.datetime64 = NAT
    fixed: np.datetime64 = NAT
    ends: np.datetime64 = NAT

    @property
    def until(self) -> np.datetime64:
        """The latest that it can have been started: its first fix, or its end where it never was fixed."""
        return self.ends if np.isnat(self.fixed) else self.fixed

    @property
    def key(self) -> tuple[str, int]:
        """Its file and track."""
        return self.file, self.track

    @property
    def label(self) -> str:
        """What sentences call it."""
        return self.file if self.track <= 1 else f"{self.file} (track {self.track})"


@dataclass(frozen=True)
class Match:
    """A row with the recording that it means, or why there is none."""

    entry: StartEntry
    recording: Recording | None = None
    problem: Problem | None = None

    @property
    def waited_s(self) -> float:
        """Seconds from the start to the first fix; nan where one is unknown."""
        return seconds(self.recording.fixed, self.entry.started) if self.recording else float("nan")


@dataclass(frozen=True)
class Matches:
    """All rows of a log in order, each with what it means.

    `starts` are the rows by (file, track) of the recording that they mean, `devices` the names that they give to files.
    """

    each: tuple[Match, ...] = ()
    starts: Mapping[tuple[str, int], StartEntry] = field(default_factory=dict)
    devices: Mapping[tuple[str, int], str] = field(default_factory=dict)

    @property
    def problems(self) -> tuple[Problem, ...]:
        """Why rows mean no recording."""
        return tuple(match.problem for match in self.each if match.problem)


def seconds(later: np.datetime64, earlier: np.datetime64) -> float:
    """Return `later` − `earlier` in seconds, nan where one is unknown.

    Examples
    --------
    >>> seconds(np.datetime64("2024-05-14T07:10:42"), np.datetime64("2024-05-14T07:10:00"))
    42.0
    """
    return float((later - earlier) / _SECOND)


def recording_of(trace: Trace) -> Recording:
    """Return what a row may mean of a trace; one whose day is unknown has no times to be found by."""
    fixed = trace.time[0] if trace.accepted else NAT
    begins, ends = trace.first_record, trace.last_record
    if not trace.date_known:
        begins = fixed = ends = NAT
    elif np.isnat(begins):
        begins = fixed
    return Recording(trace.file, trace.track, trace.device, begins, fixed, ends)


def match(log: StartLog, recordings: Iterable[Recording], within_s: float = 1800.0) -> Matches:
    """Find the recording that each row means.

    A row with a file means that one, by its path below the folder or by its bare name where only one has it; of several
    tracks in the file the one that begins next. A row without means the one recording, of the row's device where it
    names one, that begins at most `within_s` after it and after no later row.

    Parameters
    ----------
    log : StartLog
        As read.
    recordings : iterable of Recording
        All of the campaign, also those without times.
    within_s : float
        How long a device may search before its recording begins.

    Returns
    -------
    Matches
        One for each row, in order.

    Examples
    --------
    >>> from gpsq.campaign.start_log import parse
    >>> fixed = np.datetime64("2026-05-04T07:00:37", "ms")
    >>> found = match(parse("2026-05-04 07:00:12Z"), [Recording("mon.gpx", 1, "watch", fixed, fixed)])
    >>> found.each[0].recording.file, found.each[0].waited_s
    ('mon.gpx', 25.0)
    """
    known = sorted(recordings, key=lambda r: r.key)
    by_name = _by_name(log.rows, known)
    taken = {m.recording.key for m in by_name.values() if m.recording}
    by_time = _by_time(log.rows, [r for r in known if r.key not in taken], known, within_s)
    each = tuple((by_name | by_time)[row] for row in range(len(log.rows)))
    starts = {m.recording.key: m.entry for m in each if m.recording}
    return Matches(each, starts, _devices(each, known))


def _devices(each: Sequence[Match], known: Sequence[Recording]) -> dict[tuple[str, int], str]:
    """Return the device that the log names for each recording: one named with a file holds for all of its tracks."""
    named = [m for m in each if m.recording and m.entry.device]
    whole = {m.recording.file: m.entry.device for m in reversed(named) if m.recording and m.entry.file}
    own = {m.recording.key: m.entry.device for m in named if m.recording}
    return {r.key: whole[r.file] for r in known if r.file in whole} | own


# --- rows that name a file ------------------------------------------------------------------------------------------


def _by_name(rows: Sequence[StartEntry], known: Sequence[Recording]) -> dict[int, Match]:
    of_file: dict[str, list[Recording]] = defaultdict(list)
    files_of: dict[str, list[str]] = defaultdict(list)
    for recording in known:
        of_file[recording.file].append(recording)
    for file in of_file:
        files_of[PurePosixPath(file).name].append(file)
    files = {file: _Tracks.of(recordings) for file, recordings in of_file.items()}
    found: dict[int, Match] = {}
    for number, entry in enumerate(rows):
        if entry.file:
            meant = [entry.file] if entry.file in files else files_of.get(entry.file, [])
            own = files[meant[0]].next_after(entry.started) if len(meant) == 1 else None
            found[number] = Match(entry, own) if own else _unnamed(entry, meant)
    return found


@dataclass(frozen=True, eq=False)
class _Tracks:
    """The recordings of a file, and which of them no row has meant yet."""

    recordings: Sequence[Recording]
    until: TimeArray
    free: BoolArray

    @classmethod
    def of(cls, recordings: Sequence[Recording]) -> _Tracks:
        return cls(recordings, _instants(r.until for r in recordings), np.ones(len(recordings), dtype=bool))

    def next_after(self, started: np.datetime64) -> Recording | None:
        """Take the one that begins next after a start, else the one that began least before it; None where all are taken."""
        if not self.free.any():
            return None
        wait_s = np.where(self.free, (self.until - started) / _SECOND, np.nan)
        after_s = np.where(wait_s >= 0, wait_s, np.inf)
        before_s = np.where(wait_s < 0, -wait_s, np.inf)
        first = next((s for s in (after_s, before_s) if np.isfinite(s).any()), np.where(self.free, 0.0, np.inf))
        at = int(np.argmin(first))
        self.free[at] = False
        return self.recordings[at]


def _instants(times: Iterable[np.datetime64]) -> TimeArray:
    return np.array(list(times), dtype="datetime64[ms]")


def _unnamed(entry: StartEntry, files: Sequence[str]) -> Match:
    if not files:
        return _none(entry, repr(entry.file), "a path below the folder", "which is no recording here")
    if len(files) == 1:
        return _none(entry, f"{files[0]} again", "each file once", "its first row is used")
    return _none(entry, repr(entry.file), "the path below the folder", f"which may be {' or '.join(files)}")


def _none(entry: StartEntry, found: str, expected: str, why: str) -> Match:
    return Match(entry, problem=Problem(found, expected, why, entry.row, entry.line))


# --- rows that name a time only -------------------------------------------------------------------------------------


def _by_time(
    rows: Sequence[StartEntry], free: Sequence[Recording], known: Sequence[Recording], within_s: float
) -> dict[int, Match]:
    """Give each recording to the last row before it: whoever starts a device again ends what it was searching for."""
    names = {r.device.casefold() for r in known if not r.device.startswith(UNKNOWN_DEVICE)}
    nameless = [n for n, entry in enumerate(rows) if not entry.file]
    timed = sorted((n for n in nameless if not np.isnat(rows[n].started)), key=lambda n: rows[n].started)
    started = _instants(rows[n].started for n in timed)
    own: dict[int, list[Recording]] = {n: [] for n in timed}
    for recording in free:
        soon = _begins_soon(recording.begins, recording.until, started, within_s)
        fits = [timed[k] for k in np.flatnonzero(soon).tolist() if _is_of_device(rows[timed[k]], recording, names)]
        if fits:
            last = rows[fits[-1]].started
            own[next(n for n in fits if rows[n].started == last)].append(recording)
    found = {n: Match(rows[n]) for n in nameless}
    begins, until = _instants(r.begins for r in known), _instants(r.until for r in known)
    for n in timed:
        if len(own[n]) == 1:
            found[n] = Match(rows[n], own[n][0])
            continue
        soon = _begins_soon(begins, until, rows[n].started, within_s)
        fitting = [known[k] for k in np.flatnonzero(soon).tolist() if _is_of_device(rows[n], known[k], names)]
        found[n] = _unfound(rows[n], own[n] or fitting, known, (begins, until), within_s)
    return found


def _begins_soon(begins: Any, until: Any, started: Any, within_s: float) -> BoolArray:
    """Whether recordings begin soon enough after starts; one of the two is one instant, the other many."""
    return np.asarray(((begins - started) / _SECOND <= within_s) & ((until - started) / _SECOND >= 0))


def _is_of_device(entry: StartEntry, recording: Recording, names: set[str]) -> bool:
    """Whether a row may mean a recording's device: it names that one, or none that recordings here have."""
    device = entry.device.casefold()
    return device not in names or recording.device.casefold() == device


def _unfound(
    entry: StartEntry,
    fitting: Sequence[Recording],
    known: Sequence[Recording],
    times: tuple[TimeArray, TimeArray],
    within_s: float,
) -> Match:
    said = repr(entry.written)
    if len(fitting) == 1:
        why = f"and {fitting[0].label}, which begins after it, belongs to another row"
        return _none(entry, said, "a recording for each row", why)
    if fitting:
        files = " or ".join(r.label for r in fitting)
        return _none(entry, said, "a column file or device that tells which", f"which may be the start of {files}")
    bound = f"{within_s / 60:g} min"
    return _none(entry, said, f"a start at most {bound} before its recording", _nearest(entry, known, *times))


def _nearest(entry: StartEntry, known: Sequence[Recording], begins: TimeArray, until: TimeArray) -> str:
    apart_s = np.where(np.isnat(until), np.nan, (begins - entry.started) / _SECOND)
    if np.isnan(apart_s).all():
        return "and no recording here has a known time"
    at = int(np.nanargmin(np.abs(apart_s)))
    return f"after which no recording begins: the nearest, {known[at].label}, begins {_apart(float(apart_s[at]))}"


def _apart(apart_s: float) -> str:
    size = abs(apart_s)
    units = ((86_400.0, "days"), (3600.0, "h"), (60.0, "min"), (1.0, "s"))
    length, unit = next(((length, unit) for length, unit in units if size >= 2 * length), units[-1])
    return f"{size / length:.{0 if unit == 's' else 1}f} {unit} {'later' if apart_s > 0 else 'earlier'}"

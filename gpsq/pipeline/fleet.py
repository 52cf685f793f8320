"""A fleet's recordings, too many to hold at once: sorted into routes first, then analysed route by route.

Only the routes in work are in memory, and a few shapes of every other. Each finished route is a partition of Parquet
files; a run that was stopped goes on with the routes that are missing. Recordings of different routes are never
compared, so a clock that is wrong is found only where devices share a route.
"""

from __future__ import annotations

import contextlib
import dataclasses
import json
import shutil
from dataclasses import dataclass
from functools import partial
from typing import TYPE_CHECKING, Any

from gpsq import digests
from gpsq.campaign import safe_files, start_log
from gpsq.campaign.device_folders import by_folder_or_file
from gpsq.campaign.start_matching import Recording, match
from gpsq.exceptions import InputError, NothingToAnalyse, OutputError
from gpsq.model import Trace
from gpsq.output.tables import layers, tables
from gpsq.pipeline import executors
from gpsq.pipeline.fleet_routes import NO_ROUTE, Place, Sorted, sort_out, traces_in
from gpsq.pipeline.fleet_source import files_of, meaning_none, told_beside
from gpsq.pipeline.stages import analyse_traces
from gpsq.reading.folder import named, recordings_meant
from gpsq.summaries.summarise import summaries

if TYPE_CHECKING:
    from collections.abc import Callable, Collection, Mapping
    from concurrent.futures import Executor
    from pathlib import Path

    from gpsq.campaign.campaign_file import Campaign
    from gpsq.campaign.start_log import StartEntry
    from gpsq.model import Flag
    from gpsq.results import Analysis

WORK, STATE, TOLD = "work", "sorted.json", "fleet.json"
NO_PARQUET = "Python with the package pyarrow (pip install 'gpsq[cluster]')"
WANTED = "recordings of rides"
#: Of a fleet in which nothing can be read, so many lines say why.
MOST_TOLD = 20
#: Columns that name a route or a ride, which without the number of their part would be those of one route alone.
OWN_NAMES = ("route", "ride")


@dataclass(frozen=True)
class Fleet:
    """What a run found: numbers of recordings, of those that cannot be read, and of routes.

    `notes` are lines on what was left out, and on what the person wrote beside the recordings that cannot be followed.
    """

    recordings: int
    unreadable: int
    routes: int
    notes: tuple[str, ...] = ()


def run(
    source: Path,
    out: Path,
    *,
    executor: Executor | None = None,
    on_progress: Callable[[str, int, int], None] | None = None,
) -> Fleet:
    """Analyse all recordings of a folder, or of Parquet files, route by route.

    Parameters
    ----------
    source : a folder of recordings, or a Parquet file or a folder of them (see `gpsq.reading.parquet`).
    out : folder of the results: ``tracks``, ``devices``, ``centrelines`` and so on, each with a partition a route.
    executor : reads files and analyses routes side by side; without one, the cores of this machine do.

    Raises
    ------
    InputError
        When there is nothing to analyse, or pyarrow is missing.
    OutputError
        When `out` holds files of another kind, or cannot be written.
    """
    _need_pyarrow()
    tell = on_progress or (lambda what, done, of: None)
    source, out = source.absolute(), out.absolute()
    given = files_of(source, out)
    files, told = given.files, told_beside(source if source.is_dir() else source.parent)
    campaign, closed = told.campaign, [(u.file, u.track, u.message) for u in given.unreadable]
    stamps = {name: _stamp(path) for name, path in files.items()}
    asked = digests.digest(digests.code(), campaign, told.log, told.decisions, stamps, closed)
    try:
        with contextlib.ExitStack() as stack:
            engine = executor or stack.enter_context(this_machine(files.values()))
            found = _sorted_before(out, asked)
            if found is None:
                found = sort_out(files, campaign, engine, partial(tell, "sorting recordings"))
                found.unreadable += closed
                if not found.parts:
                    lines = tuple(line for _, _, line in found.unreadable[:MOST_TOLD])
                    raise NothingToAnalyse(str(source), f"{len(files)} files, none readable", WANTED, lines)
                _begin(out, asked, found)
            names = sorted({file for places in found.parts.values() for _, file, _ in places})
            rows = match(told.log, map(Recording, names))
            entries = {f: dataclasses.replace(entry, file=f) for (f, _), entry in rows.starts.items() if entry.file}
            _analyse(found, files, _Part(out, campaign, told.decisions), entries, engine, tell)
            return _finished(out, asked, found, (*given.notes, *told.problems, *meaning_none(rows)))
    except OSError as failed:
        raise OutputError(f"{failed.filename or out}: cannot be written: {failed.strerror or failed}") from failed


def this_machine(files: Collection[Path]) -> executors.Local:
    """Return the cores of this machine; a batch of short recordings is not much, all batches together may be."""
    local = executors.Local()
    if local.is_much((path,) for path in files):
        local.worth_a_pool = 0
    return local


def _need_pyarrow() -> None:
    try:
        import pyarrow  # noqa: F401 - only asked whether it is there
    except ImportError as missing:
        raise InputError("gpsq fleet", "no package pyarrow", NO_PARQUET) from missing


def _stamp(path: Path) -> tuple[int, int]:
    try:
        status = path.stat()
    except OSError:
        return 0, 0
    return status.st_size, status.st_mtime_ns


# --- what was done before -----------------------------------------------------------------------------------------


def _sorted_before(out: Path, asked: str) -> Sorted | None:
    """Return how an earlier run of the same sorted the recordings, None where there was none."""
    for path in (out / WORK / STATE, out / TOLD):
        with contextlib.suppress(OSError, ValueError, KeyError, TypeError):
            told = json.loads(path.read_text("utf-8"))
            if told["asked"] == asked:
                parts = {int(number): [tuple(place) for place in places] for number, places in told["parts"].items()}
                return Sorted(parts, [tuple(line) for line in told["unreadable"]])
    return None


def _begin(out: Path, asked: str, found: Sorted) -> None:
    """Clear away results of anything else, and write down how the recordings are sorted."""
    ours = (out / TOLD).is_file() or (out / WORK / STATE).is_file()
    if out.is_dir() and not ours and not _was_stopped_at_once(out):
        raise OutputError(f"{out}: found files that gpsq did not write; expected an empty folder or earlier results")
    (out / TOLD).unlink(missing_ok=True)
    for place in [out / WORK, *(out.glob("*/part=*"))]:
        shutil.rmtree(place, ignore_errors=not place.exists())
    (out / WORK).mkdir(parents=True)
    safe_files.write_text(out / WORK / STATE, _as_json(asked, found))


def _was_stopped_at_once(out: Path) -> bool:
    """Whether a folder is empty, or holds nothing but the beginning of a file that says how recordings are sorted."""
    within = [path.relative_to(out).as_posix() for path in out.rglob("*")]
    return all(name == WORK or name.startswith(f"{WORK}/.{STATE}.") for name in within)


def _as_json(asked: str, found: Sorted) -> str:
    told = {"asked": asked, "parts": found.parts, "unreadable": found.unreadable}
    return json.dumps({"gpsq": digests.code(), **told}, ensure_ascii=True)


def _finished(out: Path, asked: str, found: Sorted, notes: tuple[str, ...]) -> Fleet:
    safe_files.write_text(out / TOLD, _as_json(asked, found))
    shutil.rmtree(out / WORK, ignore_errors=True)
    return Fleet(found.recordings, len(found.unreadable), len(set(found.parts) - {NO_ROUTE}), notes)


# --- route by route -----------------------------------------------------------------------------------------------


def _analyse(
    found: Sorted,
    files: Mapping[str, Path],
    part: _Part,
    entries: Mapping[str, StartEntry],
    executor: Executor,
    tell: Callable[[str, int, int], None],
) -> None:
    left = [number for number in found.parts if not part.is_done(number)]
    tell("analysing routes", len(found.parts) - len(left), len(found.parts))
    jobs = [_job(number, found.parts[number], files, entries) for number in left]
    answers = executor.map(part.analyse, *zip(*jobs, strict=True)) if jobs else iter(())
    for done, _ in enumerate(answers, start=1 + len(found.parts) - len(left)):
        tell("analysing routes", done, len(found.parts))


def _job(
    number: int, places: list[Place], files: Mapping[str, Path], entries: Mapping[str, StartEntry]
) -> tuple[int, list[Path], list[Place], dict[str, StartEntry]]:
    paths = [files[name].absolute() for name in dict.fromkeys(name for name, _, _ in places)]
    return number, paths, places, {file: entries[file] for _, file, _ in places if file in entries}


@dataclass(frozen=True, eq=False)
class _Part:
    """Analyses one route and writes its partition; what is the same for all routes is its own."""

    out: Path
    campaign: Campaign
    decisions: tuple[Flag, ...]

    def is_done(self, number: int) -> bool:
        return not (self.out / WORK).is_dir() or self._mark(number).is_file()

    def analyse(self, number: int, paths: list[Path], places: list[Place], entries: dict[str, StartEntry]) -> int:
        """Read the recordings of a route, analyse them and write what was found; return how many there were."""
        wanted, names = set(places), dict.fromkeys(name for name, _, _ in places)
        read = (
            (name, r) for path, name in zip(paths, names, strict=True) for r in traces_in(path, name, self.campaign)
        )
        traces = [r for name, r in read if isinstance(r, Trace) and (name, r.file, r.track) in wanted]
        log = start_log.StartLog(tuple(entries.values()))
        devices = by_folder_or_file(traces)
        matches = match(log, recordings_meant(traces, self.campaign, devices))
        traces = sorted(named(traces, devices, matches, self.campaign), key=lambda t: (t.file, t.track))
        analysis = analyse_traces(traces, self.campaign.settings, self.decisions)
        self._write(number, dataclasses.replace(analysis, summaries=summaries(analysis)))
        return len(traces)

    def _write(self, number: int, analysis: Analysis) -> None:
        frames: dict[str, Any] = layers.frames(analysis)
        frames |= {"devices": tables.devices(analysis), "set_aside": tables.set_aside(analysis)}
        for name, frame in frames.items():
            if len(frame):
                place = self.out / name / f"part={number:06d}"
                place.mkdir(parents=True, exist_ok=True)
                layers.put_parquet(_of_part(frame, number), place / ".aside")
                (place / ".aside").replace(place / "part.parquet")
        self._mark(number).touch()

    def _mark(self, number: int) -> Path:
        return self.out / WORK / f"{number:06d}.done"


def _of_part(frame: Any, number: int) -> Any:
    """Return a frame whose routes and rides bear the number of their part."""
    named_here = [name for name in OWN_NAMES if name in frame.columns]
    return frame.assign(**{name: frame[name].map(lambda v: f"{number}-{v}", na_action="ignore") for name in named_here})

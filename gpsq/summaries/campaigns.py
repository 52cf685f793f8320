"""Every device ever tested: several results folders side by side, in one table.

Cross-track errors depend on the road and the sky above it, so they are only compared between campaigns that rode the
same course (their centrelines follow one another). Times to first fix depend on the start state, which the table shows.
"""

from __future__ import annotations

import csv
import json
from collections import Counter
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

from gpsq.exceptions import InputError
from gpsq.settings import RESULTS
from gpsq.statistics.bootstrap import draw_counts, share_first
from gpsq.summaries.csv_cells import bare
from gpsq.summaries.flat_rows import flat_row
from gpsq.summaries.same_course import courses
from gpsq.summary_types import Interval

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator, Mapping, Sequence

    from gpsq.model import FloatArray
    from gpsq.settings import Settings

Row = dict[str, str]
CAUTION = (
    "Cross-track errors are comparable within one course only: each has its own road and sky. Times to first fix are "
    "comparable within one start state only."
)


@dataclass(frozen=True)
class Entry:
    """One device of one campaign on one course.

    `first_ttff_share` and `first_error_share` say how often it would come first on its course if other rides had been
    drawn: by median time to first fix and by cross-track RMS; nan where it has nothing to be ranked by.
    """

    course: str
    campaign: str
    route: str
    device: str
    rides: int
    start_states: str
    ttff_s: Interval
    fixed_in_30s: float
    repeatability_m: Interval
    xte_rms_m: Interval
    first_ttff_share: float = float("nan")
    first_error_share: float = float("nan")


@dataclass(frozen=True)
class Compared:
    """The entries, best repeatability first within a course, and what must be said about them.

    `problems` has a plain line for each folder that could not be read.
    """

    entries: tuple[Entry, ...]
    notes: tuple[str, ...]
    problems: tuple[str, ...] = ()

    def rows(self) -> list[dict[str, Any]]:
        """Return one flat row per entry, for a table or a CSV file."""
        return [flat_row(entry) for entry in self.entries]


@dataclass(frozen=True)
class _Results:
    campaign: str
    devices: tuple[Row, ...]
    tracks: tuple[Row, ...]
    lines: Mapping[str, FloatArray]


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
            read.append(_read(_results_in(Path(folder))))
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
    ranked = [
        e for course in dict.fromkeys(e.course for e in entries) for e in _ranked(course, entries, results, settings)
    ]
    said = (*_notes(ranked), *_waiting(results))
    return Compared(tuple(ranked), said, tuple(str(problem) for problem in problems))


def _results_in(folder: Path) -> Path:
    inner = folder / RESULTS
    return inner if (inner / "run.json").is_file() and not (folder / "run.json").is_file() else folder


def _read(folder: Path) -> _Results:
    run = _run_data(folder)
    lines = {}
    drawn = folder / "centrelines.geojson"
    if drawn.is_file():
        for feature in _json(drawn).get("features", []):
            line = _line(feature.get("geometry") or {})
            if len(line) > 1:
                lines[str(feature["properties"]["route"])] = line
    title = str(run.get("title") or folder.resolve().parent.name)
    return _Results(title, _table(folder / "devices.csv"), _table(folder / "tracks.csv"), lines)


def _line(geometry: Mapping[str, Any]) -> FloatArray:
    """Return the (m, 2) places of a line, which comes in two parts where it crosses the antimeridian."""
    places = geometry.get("coordinates") or []
    parts = places if geometry.get("type") == "MultiLineString" else [places]
    return np.array([place[:2] for part in parts for place in part], dtype=float)


def _run_data(folder: Path) -> Mapping[str, Any]:
    if not (folder / "run.json").is_file():
        found = "no folder" if not folder.is_dir() else "no run.json"
        raise InputError(str(folder), found, "a results folder that gpsq analyse wrote")
    return _json(folder / "run.json")


def _json(path: Path) -> dict[str, Any]:
    try:
        found = json.loads(path.read_text(encoding="utf-8"))
    except (OSError, ValueError) as error:
        raise InputError(str(path), f"unreadable text ({type(error).__name__})", "JSON as gpsq writes it") from error
    if not isinstance(found, dict):
        raise InputError(str(path), f"a {type(found).__name__}", "a JSON object as gpsq writes it")
    return found


def _table(path: Path) -> tuple[Row, ...]:
    try:
        with path.open(encoding="utf-8", newline="") as text:
            rows = tuple(
                {k: bare(v) if isinstance(v, str) else v for k, v in row.items()} for row in csv.DictReader(text)
            )
    except (OSError, UnicodeDecodeError, csv.Error) as error:
        raise InputError(str(path), f"no readable table ({type(error).__name__})", "a table that gpsq wrote") from error
    if rows and not {"device", "route"} <= rows[0].keys():
        raise InputError(str(path), "other columns", "a table with the columns device and route")
    return rows


def _named_apart(results: Sequence[_Results]) -> list[_Results]:
    """Give campaigns of one title a number."""
    named, seen = [], Counter[str]()
    for r in results:
        seen[r.campaign] += 1
        named.append(r if seen[r.campaign] == 1 else replace(r, campaign=f"{r.campaign} ({seen[r.campaign]})"))
    return named


def _entry(row: Row, results: _Results, course: str) -> Entry:
    tracks = [t for t in results.tracks if (t["device"], t["route"]) == (row["device"], row["route"])]
    states = Counter(
        t.get("start_state") or "unknown" for t in tracks if t.get("ttff_s") or t.get("censored") == "true"
    )
    return Entry(
        course, results.campaign, row["route"], row["device"], int(_number(row, "rides", 0)),
        ", ".join(f"{n} {state}" for state, n in sorted(states.items())),
        _interval(row, "ttff_median_s", "ttff_low_s", "ttff_high_s"), _number(row, "fixed_in_30s"),
        _interval(row, "repeatability_m", "repeatability_low_m", "repeatability_high_m"),
        _interval(row, "xte_rms_m", "xte_rms_low_m", "xte_rms_high_m"),
    )  # fmt: skip


def _number(row: Row, name: str, otherwise: float = float("nan")) -> float:
    text = row.get(name) or ""
    try:
        return float(text) if text else otherwise
    except ValueError:
        return otherwise


def _interval(row: Row, *names: str) -> Interval:
    value, low, high = (_number(row, name) for name in names)
    return Interval(value, low, high)


def _ranked(course: str, entries: Iterable[Entry], results: Sequence[_Results], settings: Settings) -> list[Entry]:
    here = [e for e in entries if e.course == course]
    drawn = [_drawn(e, results, settings) for e in here]
    firsts = [share_first(np.column_stack([d[k] for d in drawn])) if len(here) > 1 else None for k in (0, 1)]
    ranked = []
    for i, entry in enumerate(here):
        shares = [
            float(first[i]) if first is not None and not np.isnan(drawn[i][k]).all() else float("nan")
            for k, first in enumerate(firsts)
        ]
        ranked.append(replace(entry, first_ttff_share=shares[0], first_error_share=shares[1]))
    return sorted(ranked, key=lambda e: (not np.isfinite(e.repeatability_m.value), e.repeatability_m.value))


def _drawn(entry: Entry, results: Sequence[_Results], settings: Settings) -> tuple[FloatArray, FloatArray]:
    """Median time to first fix and cross-track RMS of an entry when its campaign's rides are drawn again.

    Devices of one campaign get the same draws, as they shared the rides.
    """
    own = next(r for r in results if r.campaign == entry.campaign)
    on_route = [t for t in own.tracks if t["route"] == entry.route]
    rides = sorted({t["ride"] for t in on_route})
    counts = draw_counts(len(rides), settings.resamples, settings.seed)
    waits = np.full(len(rides), np.nan)
    square, length = np.zeros(len(rides)), np.zeros(len(rides))
    for track in (t for t in on_route if t["device"] == entry.device):
        ride = rides.index(track["ride"])
        waits[ride] = np.inf if track.get("censored") == "true" else _number(track, "ttff_s")
        rms, metres = _number(track, "xte_rms_m"), _number(track, "scored_m")
        if np.isfinite(rms * metres):
            square[ride], length[ride] = square[ride] + rms**2 * metres, length[ride] + metres
    ridden = counts @ length
    rms_drawn = np.sqrt(np.divide(counts @ square, ridden, out=np.full(len(counts), np.nan), where=ridden > 0))
    return _medians(waits, counts), np.asarray(rms_drawn, dtype=float)


def _medians(values: FloatArray, counts: FloatArray) -> FloatArray:
    """Lower median of the known values, each as often as it was drawn; nan where none was."""
    known = np.flatnonzero(~np.isnan(values))
    if not known.size:
        return np.full(len(counts), np.nan)
    order = known[np.argsort(values[known])]
    running = np.cumsum(counts[:, order], axis=1)
    total = running[:, -1:]
    median = values[order][np.argmax(running >= total / 2, axis=1)]
    return np.asarray(np.where(total[:, 0] > 0, median, np.nan), dtype=float)


def _notes(entries: Sequence[Entry]) -> list[str]:
    notes = [CAUTION]
    for course in dict.fromkeys(e.course for e in entries):
        campaigns = list(dict.fromkeys(e.campaign for e in entries if e.course == course))
        if len(campaigns) > 1:
            said = "other days have other skies, so small differences say little."
            notes.append(f"{course}: ridden in {', '.join(campaigns)}; {said}")
    return notes


def _waiting(results: Sequence[_Results]) -> Iterator[str]:
    """Say which campaigns have deviations without a decision: one detour can outweigh all else."""
    for r in results:
        count = sum(_number(row, "open_deviations", 0.0) for row in r.devices if row["route"])
        if count > 0:
            wait = "deviations wait" if count > 1 else "deviation waits"
            yield f"{r.campaign}: {count:.0f} {wait} for a decision; until then its cross-track errors hold them."

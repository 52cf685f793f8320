"""One campaign on the desk: its folder, what was found in it, what was dropped, and what is being done."""

from __future__ import annotations

import contextlib
import os
import secrets
import threading
from concurrent.futures import Future
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from gpsq.campaign import campaign_file, flags, leftovers
from gpsq.campaign.device_names import UNKNOWN_DEVICE
from gpsq.exceptions import CampaignError, InputError, OutputError
from gpsq.measures import events
from gpsq.model import FLAGS
from gpsq.output.report.cards import meant
from gpsq.reading.folder import recordings_meant
from gpsq.settings import RESULTS
from gpsq.web import campaign_edits, dropped_files, page_data, pasted_log, start_edits, typed_starts
from gpsq.web.jobs import Line
from gpsq.web.received import Received

if TYPE_CHECKING:
    from collections.abc import Mapping
    from pathlib import Path
    from typing import IO

    from gpsq.campaign.start_matching import Recording
    from gpsq.results import Analysis

#: Lines on dropped files that the page still shows.
MOST_LINES = 500


@dataclass(frozen=True, eq=False)
class Results:
    """What one run found: its number on this desk, the analysis, the map's page, and what the page shows."""

    number: int
    analysis: Analysis
    map_page: str
    shown: Mapping[str, Any]


class Desk:
    """The campaign in one folder, for one page. Everything that lasts lies in the folder, as plain files."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder.absolute()
        self.token = secrets.token_urlsafe(32)
        self.results: Results | None = None
        self.problem = ""
        self.received: list[Received] = []
        self.published: tuple[str, ...] | None = None
        self.preview: tuple[str, ...] = ()
        self.pasted = pasted_log.Pasted()
        self._written = 0
        self._writing: tuple[int, Future[Any]] = 0, Future()
        self._number = 0
        self._first: dict[tuple[str, str], str] = {}
        self._before: dict[tuple[str, str], str] = {}
        self._now: dict[tuple[str, str], str] = {}
        self._seen_files: frozenset[tuple[str, int, int]] = frozenset()
        self._lock = threading.Lock()
        self.analyst, self.reader = Line(), Line()

    # ---- doing ----
    def open(self) -> None:
        """Make ready, and begin with what lies in the folder."""
        leftovers.sweep(self.folder)
        self.analyst.put("wake")
        self.refresh()

    def close(self) -> None:
        """Let the computing processes go."""
        self.analyst.close()
        self.reader.close()

    def refresh(self) -> None:
        """Analyse again if files were added or changed since, by whatever way."""
        files = _files(self.folder)
        if files != self._seen_files and (files or self.results):
            self.analyse()

    def analyse(self) -> Future[Any]:
        """Ask for an analysis; one that waits already will see the same files."""
        self._seen_files = _files(self.folder)
        answer = self.analyst.put("analyse", str(self.folder), once=True)
        answer.add_done_callback(self._found)
        return answer

    def _found(self, answer: Future[Any]) -> None:
        with self._lock:
            if error := answer.exception():
                self.problem = str(error)
                return
            analysis, map_page = answer.result()
            if self.results and self.results.analysis is analysis:
                return  # two requests shared one run
            self._number += 1
            self.problem, self.preview = "", ()
            unmoved = self._note_figures(page_data.figures(analysis))
            shown = page_data.of_analysis(analysis, self._before, self._first, unmoved=unmoved)
            self.results = Results(self._number, analysis, map_page, shown)

    def _note_figures(self, now: dict[tuple[str, str], str]) -> bool:
        """Keep the figures from before the last change that altered any, and the first ones; return if none was altered."""
        unmoved = now == self._now
        if self._now and not unmoved:
            self._before = self._now
        self._first = self._first or now
        self._now = now
        return unmoved

    def receive(self, given: str, content: IO[bytes]) -> Received:
        """Store one dropped file and have it looked into."""
        self.check_folder()
        stored = dropped_files.store(self.folder, given, content)
        line = Received(given, stored.said, "new" if stored.is_new else "known" if stored.file else "left out")
        self.received = [*self.received, line][-MOST_LINES:]
        if stored.is_new and stored.file not in dropped_files.BESIDE:
            line.outcome = "being read"
            answer = self.reader.put("read", str(self.folder), stored.file)
            answer.add_done_callback(lambda done: _seen(line, done))
        return line

    def flag(self, ids: list[str], decision: str, note: str) -> Future[Any]:
        """Keep a decision about deviations on the disk, then analyse."""
        self.check_folder()
        if decision not in flags.DECISIONS:
            raise InputError("decision", decision, f"{', '.join(FLAGS)} or clear")
        analysis = self.analysis
        chosen = events.each_once(meant(analysis, ids))
        flags.change(self.folder, lambda kept: flags.decided(kept, chosen, analysis.traces, decision, note))
        return self.analyse()

    def set_start(self, file: str, typed: str, page_zone: str = "") -> Future[Any]:
        """Write the start of a recording into the start log, then analyse.

        `page_zone` is the time zone that the page shows; where the campaign has none and the start needs one, it is kept.
        """
        self.check_folder()
        analysis = self.analysis
        known = {t.file for t in analysis.traces} | {u.file for u in analysis.unreadable}
        if file not in known:
            raise InputError("recording", file, "one that the page shows now")
        names = campaign_edits.found_names(self.folder, analysis.traces, analysis.unreadable)
        device = "" if names[file].startswith(UNKNOWN_DEVICE) else names[file]
        started = self._read_start(file, typed, page_zone) if typed.strip() else ""
        start_edits.set_starts(self.folder, [{"file": file, "device": device, "started": started}], self._recordings())
        return self.analyse()

    def _recordings(self) -> list[Recording]:
        told = campaign_file.load(self.folder)
        return recordings_meant([*self.analysis.traces, *self.analysis.unreadable], told)

    def look_at_log(self, text: str, page_zone: str = "") -> None:
        """Find out what a pasted start log says; nothing is kept."""
        self.check_folder()
        told = campaign_file.load(self.folder)
        if page_zone:
            campaign_file.check_zone(page_zone)
        self.pasted = pasted_log.look(text, self.analysis.traces, self.analysis.unreadable, told, page_zone)

    def keep_log(self) -> Future[Any]:
        """Keep the starts that were looked at last, then analyse."""
        self.check_folder()
        if not self.pasted.rows:
            raise InputError("start log", "no line that fits a recording", "one line or more")
        if self.pasted.zone:
            campaign_edits.describe(self.folder, "time_zone", self.pasted.zone)
        start_edits.set_starts(self.folder, self.pasted.rows, self._recordings())
        self.pasted = pasted_log.Pasted()
        return self.analyse()

    def _read_start(self, file: str, typed: str, page_zone: str) -> str:
        told = campaign_file.load(self.folder)
        tracks = [trace for trace in self.analysis.traces if trace.file == file]
        try:
            return typed_starts.read(typed, tracks, told.time_zone or self.analysis.time_zone, told.settings)
        except CampaignError:
            if told.time_zone or self.analysis.time_zone or not page_zone:
                raise
        campaign_file.check_zone(page_zone)
        started = typed_starts.read(typed, tracks, page_zone, told.settings)
        campaign_edits.describe(self.folder, "time_zone", page_zone)
        return started

    def name_way(self, route: str, name: str) -> Future[Any]:
        """Give a route a name of its own, or take it back with "", then analyse."""
        self.check_folder()
        if self.analysis.route_named(route) is None:
            raise InputError("way", route, "one that the page shows now")
        campaign_edits.name_way(self.folder, route, name, self.analysis)
        return self.analyse()

    def describe(self, key: str, value: str) -> Future[Any]:
        """Write title or time zone into the campaign's file, then analyse."""
        self.check_folder()
        campaign_edits.describe(self.folder, key, value)
        return self.analyse()

    def rename(self, old: str, new: str) -> Future[Any]:
        """Give a device another name, then analyse."""
        self.check_folder()
        analysis = self.analysis
        if old not in page_data.devices(analysis):
            raise InputError("device", old, "one that the page shows now")
        campaign_edits.rename_device(self.folder, old, new, analysis.traces, analysis.unreadable)
        return self.analyse()

    def cancel(self) -> None:
        """Take back what is being computed."""
        self.analyst.cancel()

    # ---- what there is ----
    @property
    def analysis(self) -> Analysis:
        """The latest analysis."""
        if self.results is None:
            raise OutputError("There are no results yet.")
        return self.results.analysis

    def check_folder(self) -> None:
        """Refuse in one plain line when the folder is gone."""
        if not self.folder.is_dir():
            raise OutputError(f"{self.folder}: the folder is no longer there; move it back, or start gpsq serve anew.")

    def places(self) -> tuple[list[campaign_file.PrivatePlace], str]:
        """Return the private places, and why they cannot be read, or ""."""
        try:
            return list(campaign_file.load(self.folder).private_places), ""
        except CampaignError as error:
            return [], str(error)

    def write(self) -> Future[Any]:
        """Write report and tables of the latest analysis, where that is not done yet."""
        number = self.results.number if self.results else 0
        if number == self._written and (self.folder / RESULTS).is_dir():
            done: Future[Any] = Future()
            done.set_result(None)
            return done
        with self._lock:
            of, answer = self._writing
            if of == number and not answer.done():  # the pictures of one page are asked for all at once
                return answer
            answer = self.analyst.put("write", str(self.folder), str(self.folder / RESULTS), once=True)
            self._writing = number, answer
        answer.add_done_callback(lambda done: self._wrote(done, number))
        return answer

    def _wrote(self, answer: Future[Any], number: int) -> None:
        if not answer.exception():
            self._written = number

    def publish(self) -> Future[Any]:
        """Write results fit to publish into a folder of their own."""
        self.check_folder()
        answer = self.analyst.put("publish", str(self.folder), str(self.folder / dropped_files.PUBLISHED), once=True)
        answer.add_done_callback(self._publication)
        return answer

    def look_at_cuts(self) -> Future[Any]:
        """Find out what publishing would show and cut, in lines; nothing is published."""
        self.check_folder()
        answer = self.analyst.put("preview", str(self.folder), once=True)
        answer.add_done_callback(self._previewed)
        return answer

    def _previewed(self, answer: Future[Any]) -> None:
        if not answer.exception():
            self.preview = tuple(answer.result())

    def _publication(self, answer: Future[Any]) -> None:
        if not answer.exception():
            self.published = tuple(answer.result())


def _seen(line: Received, answer: Future[Any]) -> None:
    if error := answer.exception():
        line.unread(str(error))
    else:
        line.read(answer.result())


def _files(folder: Path) -> frozenset[tuple[str, int, int]]:
    """Return names, sizes and times of all files of the campaign: what tells that something changed."""
    found = []
    for here, folders, names in os.walk(folder):
        folders[:] = [f for f in folders if not f.startswith(".") and f not in (RESULTS, dropped_files.PUBLISHED)]
        for name in (n for n in names if not n.startswith(".")):
            with contextlib.suppress(OSError):
                status = os.stat(os.path.join(here, name))  # noqa: PTH116, PTH118 - walked a thousand times, Path is slow
                found.append((os.path.join(here, name), status.st_size, status.st_mtime_ns))  # noqa: PTH118 - as above
    return frozenset(found)

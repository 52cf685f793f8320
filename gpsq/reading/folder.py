"""A folder of recordings to traces: every file once, whatever links, archives and strangers lie among them."""

from __future__ import annotations

import dataclasses
import hashlib
import os
from dataclasses import dataclass, field
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING

from gpsq import digests
from gpsq.campaign import campaign_file as campaigns
from gpsq.campaign import start_log
from gpsq.campaign.campaign_file import Campaign
from gpsq.campaign.device_names import device_of
from gpsq.exceptions import NothingToAnalyse, UnreadableFile
from gpsq.model import Trace, Unreadable
from gpsq.reading.archives import documents
from gpsq.reading.document import read_document
from gpsq.reading.listing import Found, cannot_open, find_files, is_no_recording, may_be_something_else
from gpsq.reading.screen import Origin, make_trace
from gpsq.reading.starts import with_starts

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable, Mapping, Sequence
    from concurrent.futures import Executor

    from gpsq.reading.archives import Member
    from gpsq.settings import Settings


@dataclass(frozen=True, eq=False)
class Readings:
    """All that a folder holds.

    Attributes
    ----------
    traces : in order of (file, track). unreadable : one for each file or track that gives none.
    inputs : file → SHA-256 of its document.
    problems : lines on ``rides.csv``. notes : lines on links and on files passed over.
    """

    traces: tuple[Trace, ...]
    unreadable: tuple[Unreadable, ...]
    inputs: Mapping[str, str]
    campaign: Campaign = field(default_factory=Campaign)
    problems: tuple[str, ...] = ()
    notes: tuple[str, ...] = ()


def read_folder(
    folder: Path, *, executor: Executor | None = None, on_progress: Callable[[int, int], None] | None = None
) -> Readings:
    """Read every recording below `folder`.

    Parameters
    ----------
    folder : Path
        With ``rides.csv`` and ``campaign.toml``, where there are any.
    executor : Executor, optional
        Reads files side by side; the results are the same.
    on_progress : callable, optional
        Told (files done, files in all) after each file.

    Raises
    ------
    NothingToAnalyse
        When `folder` is no folder.
    CampaignError
        When ``campaign.toml`` cannot be followed.
    """
    folder = Path(folder)
    if not folder.is_dir():
        raise NothingToAnalyse(str(folder), "no folder of that name", "a folder of recordings")
    campaign = campaigns.load(folder)
    log = start_log.load(folder, campaign)
    listing = find_files(folder, not_recordings=frozenset({*campaign.reference.values(), campaign.streets}))
    task = partial(read_file, settings=campaign.settings, time_zone=campaign.time_zone)
    results = _read_all(listing.files, task, executor, on_progress)
    traces = [r for r in results if isinstance(r, Trace)]
    refused: list[Unreadable] = [r for r in results if isinstance(r, Unreadable)]
    unreadable = [*listing.unreadable, *(r for r in refused if not may_be_something_else(r))]
    found: list[Trace | Unreadable] = [*traces, *unreadable]
    entries, problems = start_log.match(log, [r.file for r in found])
    return Readings(
        traces=tuple(sorted(named(traces, entries, campaign), key=lambda t: (t.file, t.track))),
        unreadable=tuple(sorted(_named_too(unreadable, entries, campaign), key=lambda u: (u.file, u.track))),
        inputs=_inputs(folder, found),
        campaign=campaign,
        problems=(*log.problems, *problems),
        notes=(*listing.notes, *_passed_over(refused)),
    )


def read_file(
    path: Path, name: str, *, settings: Settings, time_zone: str | None = None, date_order: str | None = None
) -> list[Trace | Unreadable]:
    """Read one file: every recording in it, or in the archive that it is.

    Parameters
    ----------
    path : Path
        Where it lies.
    name : str
        What it is called in results, ``/`` between parts.
    settings : Settings
        Thresholds.
    time_zone, date_order : str, optional
        For tables whose times have no zone or whose dates are ambiguous.

    Returns
    -------
    list
        A `Trace` for every recording with a name for its device still to come, an `Unreadable` for every one without.
    """
    try:
        data = path.read_bytes()
    except OSError as error:
        return [cannot_open(name, error)]
    results: list[Trace | Unreadable] = []
    for member in documents(data, name):
        if member.file == name or not is_no_recording(member.file):
            results += _read_member(member, settings, time_zone, date_order)
    if not results:
        error_ = UnreadableFile(name, "an archive without a recording", "recordings", "no_tracks")
        results.append(Unreadable(name, 0, error_.reason, str(error_)))
    return results


def _read_member(
    member: Member, settings: Settings, time_zone: str | None, date_order: str | None
) -> list[Trace | Unreadable]:
    if member.error:
        return [Unreadable(member.file, 0, member.error.reason, str(member.error))]
    sha256 = hashlib.sha256(member.data).hexdigest()
    try:
        recordings = read_document(member.data, member.file, time_zone, date_order)
    except UnreadableFile as error:
        refusal = _cut_off(member.file) if member.cut else error
        return [Unreadable(member.file, 0, refusal.reason, str(refusal), sha256)]
    results = [
        make_trace(recording, Origin(member.file, number, sha256), settings)
        for number, recording in enumerate(recordings, start=1)
        if recording.points
    ]
    return _marked_cut(results) if member.cut else results


def _cut_off(file: str) -> UnreadableFile:
    found = "a compressed file that is cut off or damaged, and nothing usable before that"
    return UnreadableFile(file, found, "a whole one", "compressed_cut_off")


def _marked_cut(results: list[Trace | Unreadable]) -> list[Trace | Unreadable]:
    """Say of the last recording of a cut stream that its end is missing."""
    last = results[-1]
    if isinstance(last, Trace):
        note = (
            "The compressed file is cut off or damaged; what could be unpacked was read, and the ride's end is unknown."
        )
        results[-1] = dataclasses.replace(last, truncated=True, notes=(note, *last.notes))
    return results


def _read_all(
    files: list[Found],
    task: Callable[[Path, str], list[Trace | Unreadable]],
    executor: Executor | None,
    on_progress: Callable[[int, int], None] | None,
) -> list[Trace | Unreadable]:
    paths, names = [f.path for f in files], [f.name for f in files]
    results: list[Trace | Unreadable] = []
    batches: Iterable[list[Trace | Unreadable]]
    batches = executor.map(task, paths, names) if executor else map(task, paths, names)
    for done, batch in enumerate(batches, start=1):
        results += batch
        if on_progress:
            on_progress(done, len(files))
    return results


def named(traces: Sequence[Trace], entries: Mapping[str, start_log.StartEntry], campaign: Campaign) -> list[Trace]:
    """Give each trace its device and its start."""
    known = [
        dataclasses.replace(
            t, device=t.device or device_of(t.file, t.creator, _logged_device(entries, t.file), campaign.devices)
        )
        for t in traces
    ]
    return with_starts(known, entries, campaign.settings)


def _named_too(
    unreadable: list[Unreadable], entries: Mapping[str, start_log.StartEntry], campaign: Campaign
) -> list[Unreadable]:
    return [
        dataclasses.replace(u, device=device_of(u.file, "", _logged_device(entries, u.file), campaign.devices))
        for u in unreadable
    ]


def _logged_device(entries: Mapping[str, start_log.StartEntry], file: str) -> str:
    return entries[file].device if file in entries else ""


def _inputs(folder: Path, results: Iterable[Trace | Unreadable]) -> dict[str, str]:
    inputs = {r.file: r.sha256 for r in results if r.sha256}
    for name in (start_log.FILE, campaigns.FILE):
        path = folder / name
        if path.is_file() and os.access(path, os.R_OK):
            inputs[name] = digests.file_sha256(path)
    return inputs


def _passed_over(refused: list[Unreadable]) -> tuple[str, ...]:
    strangers = [r.file for r in refused if may_be_something_else(r)]
    names = sorted(file for file in strangers if not file.lower().endswith(".txt"))
    return (f"Passed over, since they are no recordings that gpsq reads: {', '.join(names)}.",) if names else ()

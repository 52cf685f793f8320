"""A folder of recordings to traces: every file once, whatever links, archives and strangers lie among them."""

from __future__ import annotations

import contextlib
import dataclasses
import hashlib
from dataclasses import dataclass, field
from functools import cached_property
from pathlib import Path
from typing import TYPE_CHECKING

from gpsq import digests
from gpsq.campaign import campaign_file as campaigns
from gpsq.campaign import earlier, flags, safe_files, start_log, start_matching, start_table, streets
from gpsq.campaign.campaign_file import Campaign
from gpsq.campaign.device_folders import FoundDevices, found_devices
from gpsq.campaign.device_names import device_of
from gpsq.campaign.local_time import offset_of_files
from gpsq.campaign.start_matching import Matches, Recording, recording_of
from gpsq.exceptions import NothingToAnalyse, UnreadableFile
from gpsq.model import Trace, Unreadable
from gpsq.reading import reference_line
from gpsq.reading.archives import MOST_BYTES, documents
from gpsq.reading.document import read_document
from gpsq.reading.listing import (
    MOST_NAMED,
    Found,
    cannot_open,
    find_files,
    is_no_recording,
    kinds,
    may_be_something_else,
)
from gpsq.reading.screen import Origin, make_trace
from gpsq.reading.starts import contradicted, with_starts

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable, Mapping, Sequence

    from gpsq.model import Flag
    from gpsq.reading.archives import Member
    from gpsq.reading.reference_line import ReferenceLine
    from gpsq.results import EarlierResults, Streets
    from gpsq.settings import Settings


@dataclass(frozen=True, eq=False)
class Readings:
    """All that a campaign's folder holds; nothing is read after it.

    Attributes
    ----------
    folder : as it was asked for.
    traces : in order of (file, track). unreadable : one for each file or track that gives none.
    inputs : file → SHA-256 of its document.
    flags : the person's decisions about deviations. references : the reference lines that can be read.
    streets : the file of streets to be drawn below maps, or None. earlier : results of earlier campaigns to compare with.
    problems : lines on ``rides.csv``, ``flags.csv`` and reference lines. notes : lines on links and on files passed over.
    others : names of files that are of no kind that is read.
    """

    folder: str
    traces: tuple[Trace, ...]
    unreadable: tuple[Unreadable, ...]
    inputs: Mapping[str, str]
    campaign: Campaign = field(default_factory=Campaign)
    flags: tuple[Flag, ...] = ()
    references: tuple[ReferenceLine, ...] = ()
    streets: Streets | None = None
    earlier: tuple[EarlierResults, ...] = ()
    problems: tuple[str, ...] = ()
    notes: tuple[str, ...] = ()
    others: tuple[str, ...] = ()

    @property
    def time_zone(self) -> str:
        """Whose clocks the campaign goes by: as named in ``campaign.toml``, else the offset of the files, else "" for UTC."""
        return self.campaign.time_zone or offset_of_files(self.traces)

    @cached_property
    def traces_digest(self) -> str:
        """A digest of the traces, by which what rests on them is known again."""
        return digests.digest([digests.lasting(trace) for trace in self.traces])


@dataclass(frozen=True, eq=False)
class Listed:
    """A campaign's folder before its recordings are read: which files may be some, and what the person wrote beside them.

    `problems` are lines on ``flags.csv`` and reference lines, `others` files that are no recordings by their names.
    """

    folder: Path
    files: tuple[Found, ...]
    unreadable: tuple[Unreadable, ...]
    notes: tuple[str, ...]
    campaign: Campaign
    log: start_log.StartLog
    flags: tuple[Flag, ...]
    references: tuple[ReferenceLine, ...]
    streets: Streets | None
    earlier: tuple[EarlierResults, ...]
    problems: tuple[str, ...]
    others: tuple[str, ...] = ()

    def readings(self, results: Iterable[Trace | Unreadable]) -> Readings:
        """Return all that the folder holds, from what its files gave: each trace with its device and its start."""
        results = list(results)
        traces = [r for r in results if isinstance(r, Trace)]
        refused = [r for r in results if isinstance(r, Unreadable)]
        strangers = [r.file for r in refused if may_be_something_else(r)]
        unreadable = [*self.unreadable, *(r for r in refused if not may_be_something_else(r))]
        found: list[Trace | Unreadable] = [*traces, *unreadable]
        bound_s = self.campaign.settings.start_bound_s
        time_zone = self.campaign.time_zone or offset_of_files(traces)
        devices = found_devices(traces)
        matches = start_matching.match(self.log, recordings_meant(found, self.campaign, devices), bound_s)
        return Readings(
            folder=str(self.folder),
            traces=tuple(
                sorted(named(traces, devices, matches, self.campaign, time_zone), key=lambda t: (t.file, t.track))
            ),
            unreadable=tuple(
                sorted(_named_too(unreadable, devices, matches, self.campaign), key=lambda u: (u.file, u.track))
            ),
            inputs=_inputs(self.folder, found),
            campaign=self.campaign,
            flags=self.flags,
            references=self.references,
            streets=self.streets,
            earlier=self.earlier,
            problems=(
                *start_table.lines((*self.log.problems, *matches.problems)),
                *start_log.without_seconds(self.log),
                *contradicted(traces, matches.starts, self.campaign.settings, time_zone),
                *self.problems,
            ),
            notes=(*self.notes, *devices.notes, *_passed_over(strangers)),
            others=(*self.others, *strangers),
        )


def list_folder(folder: Path) -> Listed:
    """Find the files below a folder that may be recordings, and read what the person wrote beside them.

    Raises
    ------
    NothingToAnalyse
        When `folder` is no folder.
    CampaignError
        When ``campaign.toml`` cannot be followed.
    """
    if not folder.is_dir():
        raise NothingToAnalyse(str(folder), "no folder of that name", "a folder of recordings")
    campaign = campaigns.load(folder)
    listing = find_files(folder, not_recordings=frozenset({*campaign.reference.values(), campaign.streets}))
    decisions, unclear = flags.load(folder)
    references, no_lines = reference_line.load(folder, campaign.reference)
    town, no_town = streets.load(folder, campaign.streets, campaign.streets_source)
    before, no_results = earlier.load(folder, campaign.compare)
    return Listed(
        folder=folder,
        files=tuple(listing.files),
        unreadable=tuple(listing.unreadable),
        notes=listing.notes,
        campaign=campaign,
        log=start_log.load(folder, campaign),
        flags=decisions,
        references=references,
        streets=town,
        earlier=before,
        problems=(*unclear, *no_lines, *no_town, *no_results),
        others=listing.others,
    )


def read_folder(
    folder: Path,
    *,
    each: Callable[..., Iterable[list[Trace | Unreadable]]] = map,
    on_progress: Callable[[int, int], None] | None = None,
) -> Readings:
    """Read all that a campaign's folder holds.

    Parameters
    ----------
    folder : Path
        Recordings at any depth, with ``rides.csv``, ``campaign.toml`` and ``flags.csv`` where there are any.
    each : callable, optional
        The built-in map, or one that reads several files at a time; it is given `read_file` and lists of its arguments.
    on_progress : callable, optional
        Told (files done, files in all) after each file.

    Raises
    ------
    NothingToAnalyse
        When `folder` is no folder.
    CampaignError
        When ``campaign.toml`` cannot be followed.
    """
    listed = list_folder(Path(folder))
    told = listed.campaign
    number = len(listed.files)
    paths, names = [f.path for f in listed.files], [f.name for f in listed.files]
    results: list[Trace | Unreadable] = []
    batches = each(read_file, paths, names, [told.settings] * number, [told.time_zone] * number)
    for done, batch in enumerate(batches, start=1):
        results += batch
        if on_progress:
            on_progress(done, number)
    return listed.readings(results)


def read_file(
    path: Path, name: str, settings: Settings, time_zone: str | None = None, date_order: str | None = None
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
        data = safe_files.read_bytes(path, MOST_BYTES, pipes=True)
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


def recordings_meant(
    found: Sequence[Trace | Unreadable], campaign: Campaign, devices: FoundDevices | None = None
) -> list[Recording]:
    """Return what rows of a start log may mean, each with the name of its device before the log has a say."""
    devices = devices or found_devices([r for r in found if isinstance(r, Trace)])
    return [
        recording_of(r)._replace(device=device_of(r.file, devices.names[r.file, r.track], "", campaign.devices))
        if isinstance(r, Trace)
        else Recording(r.file, r.track)
        for r in found
    ]


def named(
    traces: Sequence[Trace], devices: FoundDevices, matches: Matches, campaign: Campaign, time_zone: str = ""
) -> list[Trace]:
    """Give each trace its device and its start."""
    known = [
        dataclasses.replace(t, device=t.device or _device(t, devices.names[t.file, t.track], matches, campaign))
        for t in traces
    ]
    return with_starts(known, matches.starts, campaign.settings, time_zone or campaign.time_zone or "")


def _device(trace: Trace, found: str, matches: Matches, campaign: Campaign) -> str:
    return device_of(trace.file, found, matches.devices.get((trace.file, trace.track), ""), campaign.devices)


def _named_too(
    unreadable: list[Unreadable], devices: FoundDevices, matches: Matches, campaign: Campaign
) -> list[Unreadable]:
    logged = {file: device for (file, _), device in matches.devices.items()}
    return [
        dataclasses.replace(
            u, device=device_of(u.file, devices.of_file(u.file), logged.get(u.file, ""), campaign.devices)
        )
        for u in unreadable
    ]


def _inputs(folder: Path, results: Iterable[Trace | Unreadable]) -> dict[str, str]:
    inputs = {r.file: r.sha256 for r in results if r.sha256}
    for name in (start_log.FILE, campaigns.FILE):
        with contextlib.suppress(OSError):  # told where it was to be read
            inputs[name] = hashlib.sha256(safe_files.read_bytes(folder / name)).hexdigest()
    return inputs


def _passed_over(strangers: Sequence[str]) -> tuple[str, ...]:
    names = sorted(file for file in strangers if not file.lower().endswith(".txt"))
    more = f" and {len(names) - MOST_NAMED} more ({kinds(names)} in all)" if len(names) > MOST_NAMED else ""
    listed = ", ".join(names[:MOST_NAMED])
    return (f"Passed over, since they are no recordings that gpsq reads: {listed}{more}.",) if names else ()

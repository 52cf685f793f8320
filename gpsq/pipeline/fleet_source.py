"""What there is to a fleet: its files, what the person wrote beside them, and what is left out of either."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from gpsq.campaign import campaign_file as campaigns
from gpsq.campaign import flags, start_log, start_table
from gpsq.exceptions import NothingToAnalyse
from gpsq.reading.listing import MOST_NAMED, find_files, kinds
from gpsq.reading.parquet import SUFFIX

if TYPE_CHECKING:
    from collections.abc import Collection, Iterator
    from pathlib import Path

    from gpsq.campaign.campaign_file import Campaign
    from gpsq.campaign.start_matching import Matches
    from gpsq.model import Flag, Unreadable


@dataclass(frozen=True)
class Source:
    """The files of recordings by name, those that cannot be opened, and lines on what was left out."""

    files: dict[str, Path]
    unreadable: tuple[Unreadable, ...] = ()
    notes: tuple[str, ...] = ()


@dataclass(frozen=True)
class Beside:
    """What the person wrote beside the recordings, and lines on what cannot be followed of it."""

    campaign: Campaign
    log: start_log.StartLog
    decisions: tuple[Flag, ...]
    problems: tuple[str, ...]


def files_of(source: Path, out: Path) -> Source:
    """Return the files of recordings: the Parquet files, where there are any."""
    if source.is_file():
        return Source({source.name: source})
    if not source.is_dir():
        raise NothingToAnalyse(str(source), "nothing of that name", "a folder of recordings, or a Parquet file")
    references = frozenset(campaigns.load(source).reference.values())
    listing = find_files(source, references)
    found = {f.name: f.path for f in listing.files if not f.path.is_relative_to(out)}
    taken = {name: path for name, path in found.items() if path.suffix == SUFFIX} or found
    return Source(taken, tuple(listing.unreadable), (*listing.notes, *_left(taken, found)))


def _left(taken: Collection[str], found: Collection[str]) -> Iterator[str]:
    left = [name for name in found if name not in taken]
    if left:
        shown = ", ".join(left[:MOST_NAMED]) + (f" and {len(left) - MOST_NAMED} more" if len(left) > MOST_NAMED else "")
        yield (
            f"Where there are Parquet files ({len(taken)} here) they alone are taken, so {shown} ({kinds(left)}) was left "
            "out: put recordings of the other kind into a folder of their own, and analyse that too."
        )


def told_beside(folder: Path) -> Beside:
    """Return what the person wrote beside the recordings."""
    campaign = campaigns.load(folder)
    log, (decisions, unclear) = start_log.load(folder, campaign), flags.load(folder)
    return Beside(
        campaign, log, decisions, (*start_table.lines(log.problems), *start_log.without_seconds(log), *unclear)
    )


def meaning_none(rows: Matches) -> Iterator[str]:
    """Yield lines on rows that name a file which is not there; a row without a file is not looked at here."""
    named_files = [match_.problem for match_ in rows.each if match_.problem and match_.entry.file]
    yield from start_table.lines(named_files)
    without = sum(not match_.entry.file for match_ in rows.each)
    if without:
        rows_name = "row names" if without == 1 else "rows name"
        yield f"{start_log.FILE}: {without} {rows_name} no file, and of a fleet such rows are not used."

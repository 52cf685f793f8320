"""A person's decisions about deviations: read, written, and matched again after a re-run.

Kept in ``flags.csv`` beside the rides, plain text that may be edited by hand. A flag is known by the recording's content
hash and the time interval (its points where the recording has no times), since stations shift when rides are added.
"""

from __future__ import annotations

import csv
import dataclasses
import io
from typing import TYPE_CHECKING

import numpy as np

from gpsq.campaign import safe_files
from gpsq.campaign.stretches import ridden_between
from gpsq.exceptions import CampaignError
from gpsq.model import FLAGS, NAT, BoolArray, Deviation, Flag, IntArray, Trace

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator, Sequence
    from pathlib import Path

FILE_NAME = "flags.csv"
COLUMNS = ("sha256", "track", "from_time", "to_time", "from_point", "to_point", "flag", "note", "file")
#: What a person may say of a deviation: what it was, or that an earlier decision is taken back.
CLEAR = "clear"
DECISIONS = (*FLAGS, CLEAR)
#: Columns that an older table, or one made by hand, need not have.
_MAY_BE_MISSING = ("note", "file")
EXPECTED = f"parted by commas, with the columns {', '.join(COLUMNS)}"
#: A deviation is the one that was flagged when they share this much of the shorter.
SAME_SHARE = 0.5


def load(folder: Path) -> tuple[tuple[Flag, ...], tuple[str, ...]]:
    """Return the flags of a campaign, and one plain line for each row that cannot be followed.

    A missing file means no flags.
    """
    try:
        text = safe_files.read_bytes(folder / FILE_NAME).decode("utf-8-sig")
    except FileNotFoundError:
        return (), ()
    except (OSError, UnicodeDecodeError) as error:
        why = getattr(error, "strerror", None) or str(error)
        return (), (str(CampaignError(FILE_NAME, f"a file that cannot be read ({why})", "a table in UTF-8")),)
    flags, problems = [], []
    try:
        for number, row in _rows(text):
            try:
                flags.append(_flag(row))
            except (ValueError, TypeError, KeyError) as error:
                where = f"{FILE_NAME} line {number}"
                problems.append(str(CampaignError(where, str(error), "one flag as gpsq writes it")))
    except csv.Error as error:
        problems.append(str(CampaignError(FILE_NAME, str(error), f"a table of flags as gpsq writes it, {EXPECTED}")))
    return tuple(flags), tuple(problems)


def _rows(text: str) -> Iterator[tuple[int, dict[str, str]]]:
    """Yield each row with the number of its line; a table that is no table of flags raises `csv.Error`."""
    heading = text.partition("\n")[0]
    table = csv.DictReader(io.StringIO(text, newline=""), strict=True, restkey="more cells than there are columns")
    names = [name.strip() for name in table.fieldnames or ()]
    if missing := [name for name in COLUMNS if name not in names and name not in _MAY_BE_MISSING]:
        if not text.strip():
            return
        parted = max(";\t", key=heading.count)
        if parted in heading:
            raise csv.Error(f"columns parted by {'semicolons' if parted == ';' else 'tabs'}")
        raise csv.Error(f"a table without the column{'s' * (len(missing) > 1)} {', '.join(missing)}")
    table.fieldnames = names
    first = 2
    try:
        for row in table:
            if table.restkey in row:
                raise csv.Error(f"{table.restkey} in line {first}")
            yield first, row
            first = table.line_num + 1
    except csv.Error as error:
        if "line" in str(error):
            raise
        raise csv.Error(f"a quote that is not closed, or closed too early, from line {first} on") from error


def _flag(row: dict[str, str]) -> Flag:
    if row.get("flag") not in FLAGS:
        raise ValueError(f"flag {row.get('flag')!r}, which is none of {', '.join(FLAGS)}")
    return Flag(
        sha256=row["sha256"],
        track=int(row["track"]),
        from_time=_time(row["from_time"]),
        to_time=_time(row["to_time"]),
        from_point=int(row["from_point"]),
        to_point=int(row["to_point"]),
        flag=row["flag"],
        note=row.get("note") or "",
        file=row.get("file") or "",
    )


def _time(text: str) -> np.datetime64:
    return np.datetime64(text.strip().removesuffix("Z"), "ms") if text.strip() else NAT


def save(folder: Path, flags: Sequence[Flag]) -> None:
    """Write the flags of a campaign in one step; what a person keeps in further columns stays with its flag.

    Raises
    ------
    CampaignError
        When there is a file of that name that is no table of flags.
    OutputError
        When the folder cannot be written to.
    """
    more = _further_columns(folder)
    columns = [*COLUMNS, *dict.fromkeys(name for row in more.values() for name in row)]
    text = io.StringIO()
    writer = csv.DictWriter(text, columns, restval="", lineterminator="\n")
    writer.writeheader()
    for flag in sorted(flags, key=lambda f: (f.file, f.track, f.from_point)):
        row = dataclasses.asdict(flag)
        row["from_time"], row["to_time"] = _text(flag.from_time), _text(flag.to_time)
        row["note"] = "\n".join(flag.note.replace("\r\n", "\n").split("\r"))  # a bare return ends no quoted cell
        writer.writerow(more.get(_stretch(flag), {}) | row)
    safe_files.write_text(folder / FILE_NAME, text.getvalue())


def _stretch(flag: Flag) -> tuple[str, int, int, int]:
    return flag.sha256, flag.track, flag.from_point, flag.to_point


def _further_columns(folder: Path) -> dict[tuple[str, int, int, int], dict[str, str]]:
    """Return what stands in columns that gpsq does not know, by the stretch of each flag."""
    try:
        text = safe_files.read_bytes(folder / FILE_NAME).decode("utf-8-sig")
        rows = [(_stretch(_flag(row)), row) for _, row in _rows(text)]
    except FileNotFoundError:
        return {}
    except (OSError, ValueError, TypeError, KeyError, csv.Error) as error:
        why = getattr(error, "strerror", None) or str(error)
        raise CampaignError(FILE_NAME, why, f"a table of flags as gpsq writes it, {EXPECTED}") from error
    return {key: {name: v for name, v in row.items() if name not in COLUMNS} for key, row in rows}


def _text(time: np.datetime64) -> str:
    return "" if np.isnat(time) else f"{np.datetime_as_string(time, unit='ms')}Z"


def change(folder: Path, decide: Callable[[tuple[Flag, ...]], Sequence[Flag]]) -> None:
    """Read, change and write the flags under the campaign's lock, so that no decision is lost between two writers.

    Raises
    ------
    CampaignError
        When the file holds rows that cannot be followed: they would be lost.
    OutputError
        When the folder cannot be written to.
    """
    with safe_files.locked(folder):
        flags, problems = load(folder)
        if problems:
            raise CampaignError(FILE_NAME, problems[0], "a table that can be kept; mend or remove it first")
        save(folder, decide(flags))


def decided(
    flags: Sequence[Flag], deviations: Sequence[Deviation], traces: Sequence[Trace], flag: str, note: str
) -> list[Flag]:
    """Return the flags after a decision on some deviations; `flag` "clear" takes an earlier decision back.

    A decision that takes the place of an earlier one keeps its stretch: the flag itself may have moved the ends that were
    found since.
    """
    earlier = {d.id: f for d in deviations for f in flags if same(f, d, traces[d.trace])}
    kept = [f for f in flags if not any(same(f, d, traces[d.trace]) for d in deviations)]
    if flag == CLEAR:
        return kept
    new = [earlier.get(d.id) or _flag_on(d, traces[d.trace]) for d in deviations]
    return kept + [dataclasses.replace(f, flag=flag, note=note) for f in new]


def _flag_on(deviation: Deviation, trace: Trace) -> Flag:
    return Flag(
        sha256=trace.sha256,
        track=trace.track,
        from_time=deviation.from_time,
        to_time=deviation.to_time,
        from_point=deviation.from_point,
        to_point=deviation.to_point,
        flag=FLAGS[0],
        file=trace.file,
    )


def same(flag: Flag, deviation: Deviation, trace: Trace) -> bool:
    """Return whether a flag was set on this deviation: same content, and most of the shorter interval shared."""
    if (flag.sha256, flag.track) != trace.key:
        return False
    ours, theirs = ridden_between(trace, deviation.from_point, deviation.to_point), np.zeros(trace.accepted, dtype=bool)
    theirs[fixes_of(flag, trace)] = True
    return bool(theirs.any()) and int((ours & theirs).sum()) >= SAME_SHARE * min(int(ours.sum()), int(theirs.sum()))


def fixes_of(flag: Flag, trace: Trace) -> IntArray:
    """Return the numbers of the accepted fixes in a flag's interval, by time or, where it has none, by point."""
    if np.isnat(flag.from_time) or np.isnat(flag.to_time) or not trace.timed:
        inside = ridden_between(trace, flag.from_point, flag.to_point)
    else:
        inside = (trace.time >= flag.from_time) & (trace.time <= flag.to_time)
    return np.flatnonzero(inside).astype(np.int64)


def counting(trace: Trace, flags: Sequence[Flag], kinds: tuple[str, ...] = FLAGS) -> BoolArray:
    """Return (n,) which fixes of a trace lie outside all flagged intervals of the given kinds."""
    counts = np.ones(trace.accepted, dtype=bool)
    for flag in flags:
        if (flag.sha256, flag.track) == trace.key and flag.flag in kinds:
            counts[fixes_of(flag, trace)] = False
    return counts


def marked(deviation: Deviation, trace: Trace, flags: Sequence[Flag]) -> Deviation:
    """Return the deviation with the person's decision on it, if there is one."""
    for flag in flags:
        if same(flag, deviation, trace):
            return dataclasses.replace(deviation, flag=flag.flag, note=flag.note)
    return deviation

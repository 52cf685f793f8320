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
from gpsq.exceptions import CampaignError
from gpsq.model import FLAGS, NAT, BoolArray, Deviation, Flag, IntArray, Trace

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence
    from pathlib import Path

FILE_NAME = "flags.csv"
COLUMNS = ("sha256", "track", "from_time", "to_time", "from_point", "to_point", "flag", "note", "file")
#: What a person may say of a deviation: what it was, or that an earlier decision is taken back.
CLEAR = "clear"
DECISIONS = (*FLAGS, CLEAR)
#: A deviation is the one that was flagged when they share this much of the shorter.
SAME_SHARE = 0.5


def load(folder: Path) -> tuple[tuple[Flag, ...], tuple[str, ...]]:
    """Return the flags of a campaign, and one plain line for each row that cannot be followed.

    A missing file means no flags.
    """
    try:
        text = (folder / FILE_NAME).read_text(encoding="utf-8-sig")
    except FileNotFoundError:
        return (), ()
    except (OSError, UnicodeDecodeError) as error:
        return (), (str(CampaignError(FILE_NAME, f"a file that cannot be read ({error})", "a table in UTF-8")),)
    flags, problems = [], []
    for number, row in enumerate(csv.DictReader(io.StringIO(text)), start=2):
        try:
            flags.append(_flag(row))
        except (ValueError, TypeError, KeyError) as error:
            problems.append(str(CampaignError(f"{FILE_NAME} line {number}", str(error), "one flag as gpsq writes it")))
    return tuple(flags), tuple(problems)


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
    """Write the flags of a campaign in one step.

    Raises
    ------
    OutputError
        When the folder cannot be written to.
    """
    text = io.StringIO()
    writer = csv.DictWriter(text, COLUMNS, lineterminator="\n")
    writer.writeheader()
    for flag in sorted(flags, key=lambda f: (f.file, f.track, f.from_point)):
        row = dataclasses.asdict(flag)
        row["from_time"], row["to_time"] = _text(flag.from_time), _text(flag.to_time)
        writer.writerow(row)
    safe_files.write_text(folder / FILE_NAME, text.getvalue())


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
    ours = (deviation.from_point, deviation.to_point)
    theirs = _points(flag, trace)
    if theirs is None:
        return False
    shared = min(ours[1], theirs[1]) - max(ours[0], theirs[0]) + 1
    return shared >= SAME_SHARE * (min(ours[1] - ours[0], theirs[1] - theirs[0]) + 1)


def _points(flag: Flag, trace: Trace) -> tuple[int, int] | None:
    fixes = fixes_of(flag, trace)
    return (int(trace.point[fixes[0]]), int(trace.point[fixes[-1]])) if len(fixes) else None


def fixes_of(flag: Flag, trace: Trace) -> IntArray:
    """Return the numbers of the accepted fixes in a flag's interval, by time or, where it has none, by point."""
    if np.isnat(flag.from_time) or np.isnat(flag.to_time) or not trace.timed:
        inside = (trace.point >= flag.from_point) & (trace.point <= flag.to_point)
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

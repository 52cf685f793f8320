"""Reads NMEA 0183 logs: one recording a log, one point an epoch.

The library parses sentences; joining them to epochs, dating them and saying what is a fix is done here. Facts of the
format are as in the public description "NMEA Revealed" by the gpsd project.
"""

from __future__ import annotations

import re
from datetime import date
from typing import TYPE_CHECKING

import numpy as np

from gpsq.exceptions import UnreadableFile
from gpsq.reading.nmea.epochs import ESTIMATED, MANUAL, SIMULATED, Claim, Epoch, claim, join
from gpsq.reading.nmea.sentences import Tally, decode, sentences
from gpsq.reading.recording import FIX_2D, FIX_NONE, Recording

if TYPE_CHECKING:
    from gpsq.model import BoolArray, FloatArray, IntArray, TimeArray

_FIRST_LOOK = 65_536
_SENTENCE = re.compile(r"\$[A-Z]{2}(GGA|RMC|GNS|GLL|GSA|GSV|ZDA|VTG),")

_DAY_MS = 86_400_000
#: A step back of up to this is late data, a larger one the next day (a log has no reason to go back hours).
_BACK_MS = 3_600_000
#: Records without a fix come every second or few; a longer step before the fix is the clock being set.
_JUMP_S = 60.0
#: ... unless the log is that sparse: then a step of this many usual steps.
_JUMP_STEPS = 5.0


def looks_like(data: bytes) -> bool:
    r"""Whether the bytes are an NMEA 0183 log.

    Examples
    --------
    >>> looks_like(b"\x00\xffrubbish\r\n$GPGGA,123519,4807.038,N,01131.000,E,1,08,0.9,545.4,M,46.9,M,,*47")
    True
    >>> looks_like(b"<gpx></gpx>")
    False
    """
    text = decode(data[:_FIRST_LOOK])
    return not text.lstrip().startswith("<") and _SENTENCE.search(text) is not None


def read(data: bytes, file: str) -> list[Recording]:
    """Read one log; every epoch of GGA, GNS, RMC or GLL is a point.

    Parameters
    ----------
    data : the log's bytes.
    file : its name, for messages.

    Returns
    -------
    list of one `Recording`. Status V and quality 0 are `FIX_NONE` with problem ``no_fix``, whatever position is
    printed. `date_known` is False where no sentence gives a date (days then count from 1970-01-01, and only
    differences hold). `clock_jumps_at_fix` is True where the time before the first fix says nothing: the clock
    jumps, or gives no time at all.

    Raises
    ------
    UnreadableFile
        When no sound sentence with a position or its absence is found.

    Examples
    --------
    >>> log = b"$GPGGA,123519,4807.038,N,01131.000,E,1,08,0.9,545.4,M,46.9,M,,*47"
    >>> float(read(log, "a.nmea")[0].lat_deg[0])
    48.1173
    """
    tally = Tally()
    epochs = join(sentences(decode(data), tally), tally.counts)
    if not epochs:
        bad = tally.counts["bad_checksum_sentences"]
        found = f"no sound GGA, GNS, RMC or GLL sentence ({bad} with a wrong checksum)"
        raise UnreadableFile(file, found, "an NMEA 0183 log with positions", "no_positions")
    return [_recording(epochs, tally)]


def _recording(epochs: list[Epoch], tally: Tally) -> Recording:
    claims = [claim(e) for e in epochs]
    fix, quality_notes = _fixes(claims)
    time, date_known = _times(epochs, fix)
    jumps = _clock_jumps(time, fix)
    lat_deg, lon_deg = _column(claims, "lat_deg"), _column(claims, "lon_deg")
    placed = np.isfinite(lat_deg) & np.isfinite(lon_deg)
    _count_lost(epochs, tally)
    notes = _log_notes(tally) + quality_notes + _fix_notes(fix, placed) + _time_notes(time, fix, jumps, date_known)
    return Recording(
        name="",
        creator="",
        time=time,
        lon_deg=lon_deg,
        lat_deg=lat_deg,
        problem=_problems(fix, placed, epochs),
        fix=fix,
        ele_m=_column(claims, "ele_m"),
        hdop=_column(claims, "hdop"),
        sat=_column(claims, "sat"),
        speed_mps=_column(claims, "speed_mps"),
        segment=np.zeros(len(epochs), np.int64),
        notes=tuple(notes),
        clock_jumps_at_fix=jumps,
        date_known=date_known,
        truncated=tally.ends_in_fragment,
        counts={name: n for name, n in tally.counts.items() if n},
    )


def _column(claims: list[Claim], name: str) -> FloatArray:
    return np.array([getattr(c, name) for c in claims], float)


def _problems(fix: IntArray, placed: BoolArray, epochs: list[Epoch]) -> np.ndarray[tuple[int], np.dtype[np.object_]]:
    problem = np.full(len(fix), "", object)
    written = np.array([any(s.value("lat") for s in e.said.values()) for e in epochs])
    problem[~placed & ~written] = "no_position"
    problem[~placed & written] = "unparseable_coordinate"
    problem[fix == FIX_NONE] = "no_fix"
    return problem


def _fixes(claims: list[Claim]) -> tuple[IntArray, list[str]]:
    """Return what each epoch is worth as a fix, and the sentences that say why a claim was not believed."""
    fix = np.array([c.fix for c in claims], np.int64)
    quality = np.array([c.quality for c in claims], np.int64)
    sat = _column(claims, "sat")
    notes = []
    empty = (fix > FIX_NONE) & (sat == 0) & (quality == 0)
    # a receiver that always writes 0 does not fill the field in
    if empty.any() and (sat[fix > FIX_NONE] > 0).any():
        fix[empty] = FIX_NONE
        notes.append(f"{_n(empty.sum(), 'epoch')} with a fix claimed from 0 satellites, not taken for fixes")
    by_hand = (fix > FIX_NONE) & np.isin(quality, (ESTIMATED, MANUAL))
    measured = (fix >= FIX_2D) & ~by_hand
    early = by_hand & (np.cumsum(measured) == 0)
    fix[early] = FIX_NONE
    for code, words in ((ESTIMATED, "dead reckoning"), (MANUAL, "typed in by hand"), (SIMULATED, "from a simulator")):
        if (quality == code).any():
            notes.append(f"{_n((quality == code).sum(), 'epoch')} {words} (quality {code}), not measured by satellites")
    if early.any():
        notes.append(f"{_n(early.sum(), 'epoch')} of these before the first satellite fix, not taken for fixes")
    return fix, notes


def _times(epochs: list[Epoch], fix: IntArray) -> tuple[TimeArray, bool]:
    """Return the time of each epoch, NaT without a clock, and whether any date is known.

    An epoch without a date takes the day that lies nearest after its neighbour with one; dates said together with
    a fix are preferred, since a receiver without one may say any date.
    """
    clock = np.array([np.nan if e.clock_ms is None else e.clock_ms for e in epochs], float)
    day = np.array([np.nan if e.day is None else e.day - date(1970, 1, 1).toordinal() for e in epochs], float)
    dated = np.isfinite(clock) & np.isfinite(day)
    anchors = dated & (fix != FIX_NONE) if (dated & (fix != FIX_NONE)).any() else dated
    running = _unwrapped(clock)
    moment = np.where(dated, clock + day * _DAY_MS, np.nan)
    if anchors.any():
        nearest = _nearest_before(anchors)
        moment = np.where(dated, moment, moment[nearest] + running - running[nearest])
    else:
        moment = running
    time = np.full(len(epochs), np.datetime64("NaT", "ms"), "datetime64[ms]")
    known = np.isfinite(moment)
    time[known] = np.round(moment[known]).astype("int64").astype("datetime64[ms]")
    return time, bool(anchors.any())


def _unwrapped(clock: FloatArray) -> FloatArray:
    """Return times of day made to run on over midnight."""
    running = clock.copy()
    timed = np.flatnonzero(np.isfinite(clock))
    step = np.diff(clock[timed]) % _DAY_MS
    step[step >= _DAY_MS - _BACK_MS] -= _DAY_MS
    running[timed[1:]] = clock[timed[:1]] + np.cumsum(step)
    return running


def _nearest_before(anchors: BoolArray) -> IntArray:
    """Return for each epoch the last anchor up to it, or the first anchor."""
    places = np.flatnonzero(anchors)
    return places[np.maximum(np.searchsorted(places, np.arange(len(anchors)), side="right") - 1, 0)]


def _clock_jumps(time: TimeArray, fix: IntArray) -> bool:
    """Whether the time between the first record and the first fix cannot be believed."""
    fixes = np.flatnonzero(fix != FIX_NONE)
    if len(fixes) == 0 or fixes[0] == 0:
        return False
    if np.isnat(time[0]):
        return True
    timed = time[~np.isnat(time)]
    steps_s = np.diff(timed) / np.timedelta64(1, "s")
    before_s = np.diff(time[: fixes[0] + 1][~np.isnat(time[: fixes[0] + 1])]) / np.timedelta64(1, "s")
    usual_s = float(np.median(np.abs(steps_s))) if len(steps_s) else 0.0
    return bool((before_s < 0).any() or (before_s > max(_JUMP_S, _JUMP_STEPS * usual_s)).any())


def _count_lost(epochs: list[Epoch], tally: Tally) -> None:
    seen = {s.value("timestamp") for e in epochs for s in e.said.values()}
    lost = len([t for t in tally.bad_times if t not in seen])
    if lost:
        tally.counts["epochs_lost"] = lost


def _log_notes(tally: Tally) -> list[str]:
    counts = tally.counts
    lost = f"; {_n(counts['epochs_lost'], 'epoch')} lost with them" if counts["epochs_lost"] else ""
    words = {
        "bad_checksum_sentences": ("sentence", f"with a wrong checksum, not used{lost}"),
        "fragments": ("fragment", "of sentences without a checksum, not used"),
        "garbage_lines": ("line", "without an NMEA sentence, passed over"),
        "lines_with_other_text": ("line", "with other text ahead of the sentence"),
        "repeated_sentences": ("sentence", "letter for letter as before, used once"),
        "without_checksum": ("sentence", "used although the log has no checksums, so damage cannot be seen"),
    }
    return [f"{_n(counts[name], noun)} {rest}" for name, (noun, rest) in words.items() if counts[name]]


def _fix_notes(fix: IntArray, placed: BoolArray) -> list[str]:
    none = fix == FIX_NONE
    if none.all():
        return [f"the receiver never fixes: {_n(none.sum(), 'epoch')}, all without a fix (status V or quality 0)"]
    if not none.any():
        return []
    printed = none & placed
    also = f", {printed.sum()} of them with a position printed, which is not used" if printed.any() else ""
    return [f"{none.sum()} of {_n(len(fix), 'epoch')} without a fix (status V or quality 0){also}"]


def _time_notes(time: TimeArray, fix: IntArray, jumps: bool, date_known: bool) -> list[str]:
    notes = []
    if jumps:
        before = _n(int(np.argmax(fix != FIX_NONE)), "epoch")
        cause = "no clock before the fix" if np.isnat(time[0]) else "the clock jumps before the fix sets it"
        notes.append(f"{cause}: time to first fix unknown, after {before} without a fix")
    if not date_known and not np.isnat(time).all():
        notes.append("no sentence gives a date: the day is unknown, durations hold")
    return notes


def _n(count: int, noun: str) -> str:
    return f"{count} {noun}" + ("s" if count != 1 else "")

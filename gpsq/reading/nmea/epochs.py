"""Joins the sentences of one instant to an epoch, and says for each epoch what the receiver claims."""

from __future__ import annotations

import re
from dataclasses import dataclass, field
from datetime import date
from typing import TYPE_CHECKING

from gpsq.reading.nmea.sentences import POSITION_KINDS, Sentence
from gpsq.reading.recording import FIX_2D, FIX_3D, FIX_NONE, FIX_UNSAID

if TYPE_CHECKING:
    from collections import Counter
    from collections.abc import Iterable

NAN = float("nan")
#: Metres per second in a knot: 1,852 m an hour, by definition.
KNOT_MPS = 1852 / 3600

#: Quality codes of GGA that are positions without satellites, and their letters in mode fields.
ESTIMATED, MANUAL, SIMULATED = 6, 7, 8
_MODES = {"E": ESTIMATED, "M": MANUAL, "S": SIMULATED}

#: Epochs this far back may still receive a sentence: receivers send one instant within a second or two.
_REACH = 3

_CLOCK = re.compile(r"(\d\d)(\d\d)(\d\d)(\.\d*)?")
_ANGLE = re.compile(r"(\d{1,3})(\d\d(?:\.\d*)?)")


@dataclass
class Epoch:
    """The sentences of one instant: `clock_ms` since midnight and `day` (proleptic ordinal), None where not given."""

    clock_ms: int | None
    day: int | None = None
    said: dict[tuple[str, str], Sentence] = field(default_factory=dict)
    mode: int = 0
    mode_hdop: float = NAN


@dataclass(frozen=True)
class Claim:
    """What one epoch says: position (nan where none), `fix`, `quality` (6, 7, 8 or 0) and the values beside it."""

    lat_deg: float
    lon_deg: float
    fix: int
    quality: int
    ele_m: float
    hdop: float
    sat: float
    speed_mps: float


def clock_ms(text: str) -> int | None:
    """Return the milliseconds since midnight of ``hhmmss.sss``, None where it is none; second 60 is a leap second.

    Examples
    --------
    >>> clock_ms("000001.5"), clock_ms("240000"), clock_ms("")
    (1500, None, None)
    """
    found = _CLOCK.fullmatch(text)
    if not found:
        return None
    hour, minute, second = int(found[1]), int(found[2]), int(found[3])
    if hour > 23 or minute > 59 or second > 60:
        return None
    return 1000 * (3600 * hour + 60 * minute + second) + round(1000 * float(f"0{found[4] or ''}"))


def degrees(text: str, letter: str) -> float:
    """Return the signed degrees of ``dddmm.mmm`` with its letter N, S, E or W; nan where they give no angle.

    Examples
    --------
    >>> degrees("4533.35", "N"), degrees("16708.1", "W"), degrees("4567.0", "N")
    (45.55583333333333, -167.135, nan)
    """
    found = _ANGLE.fullmatch(text)
    if not found or not letter or letter not in "NSEW" or float(found[2]) >= 60:
        return NAN
    size = int(found[1]) + float(found[2]) / 60
    return -size if letter in "SW" else size


def number(text: str) -> float:
    """Return the number, nan where there is none.

    Examples
    --------
    >>> number("0.9"), number(""), number("1_0")
    (0.9, nan, nan)
    """
    return float(text) if re.fullmatch(r"[+-]?\d+\.?\d*|[+-]?\.\d+", text) else NAN


def join(sentences: Iterable[Sentence], counts: Counter[str]) -> list[Epoch]:
    """Return the epochs in the order of the log.

    Sentences are of one instant when they give the same time of day and come close to one another; a second sentence
    of the same kind and talker opens an epoch of its own (a clock that stands still, or no clock at all), unless
    it repeats a timed fix letter for letter.
    """
    epochs: list[Epoch] = []
    held: list[Sentence] = []
    mode_comes_first = False
    for sentence in sentences:
        if sentence.kind == "GSA":
            # a log that opens with GSA belongs to a receiver that sends it ahead of the position
            mode_comes_first = mode_comes_first or not epochs
            held.append(sentence)
        elif sentence.kind == "ZDA":
            _add_date(epochs, sentence)
        else:
            _add(epochs, sentence, counts)
        if epochs and not (mode_comes_first and sentence.kind == "GSA"):
            _add_modes(epochs[-1], held)
    return epochs


def _add(epochs: list[Epoch], sentence: Sentence, counts: Counter[str]) -> None:
    clock = clock_ms(sentence.value("timestamp"))
    key = sentence.talker, sentence.kind
    near = [e for e in reversed(epochs[-_REACH:]) if e.clock_ms == clock]
    near = near[:1] if clock is None else near
    if clock is not None and _verdict(sentence) != FIX_NONE and any(_same(e, key, sentence) for e in near):
        counts["repeated_sentences"] += 1
        return
    epoch = next((e for e in near if key not in e.said), None)
    if epoch is None or (clock is None and epoch is not epochs[-1]):
        epoch = Epoch(clock)
        epochs.append(epoch)
    epoch.said[key] = sentence
    if sentence.kind == "RMC":
        epoch.day = _day_of_rmc(sentence) or epoch.day


def _same(epoch: Epoch, key: tuple[str, str], sentence: Sentence) -> bool:
    return key in epoch.said and epoch.said[key].text == sentence.text


def _add_modes(epoch: Epoch, held: list[Sentence]) -> None:
    for sentence in held:
        mode = sentence.value("mode_fix_type")
        epoch.mode = max(epoch.mode, int(mode) if mode in {"1", "2", "3"} else 0)
        epoch.mode_hdop = number(sentence.value("hdop"))
    held.clear()


def _add_date(epochs: list[Epoch], sentence: Sentence) -> None:
    clock = clock_ms(sentence.value("timestamp"))
    day = _day(sentence.value("year"), sentence.value("month"), sentence.value("day"))
    if clock is None or not epochs:
        return
    if epochs[-1].clock_ms is None:
        epochs[-1].clock_ms = clock
    for epoch in epochs[-_REACH:]:
        if epoch.clock_ms == clock:
            epoch.day = epoch.day or day


def _day_of_rmc(sentence: Sentence) -> int | None:
    text = sentence.value("datestamp")
    if not re.fullmatch(r"\d{6}", text):
        return None
    # two digits of the year: GPS time begins in 1980
    century = "19" if text[4:] >= "80" else "20"
    return _day(century + text[4:], text[2:4], text[:2])


def _day(year: str, month: str, day: str) -> int | None:
    try:
        return date(int(year), int(month), int(day)).toordinal()
    except (ValueError, OverflowError):
        return None


def _verdict(sentence: Sentence) -> int:
    """Return FIX_UNSAID, FIX_NONE, FIX_2D for a satellite fix, or the code of another position (6, 7, 8)."""
    if sentence.kind == "GGA":
        return _of_quality(sentence.value("gps_qual"))
    if sentence.kind == "GNS":
        return _of_modes(sentence.value("mode_indicator"))
    if sentence.value("status") != "A":
        return FIX_NONE
    return _of_modes(sentence.value("mode_indicator" if sentence.kind == "RMC" else "faa_mode"), FIX_2D)


def _of_quality(text: str) -> int:
    if not text.isdecimal():
        return FIX_UNSAID
    quality = int(text)
    if quality in (ESTIMATED, MANUAL, SIMULATED):
        return quality
    return FIX_2D if quality else FIX_NONE


def _of_modes(modes: str, unsaid: int = FIX_UNSAID) -> int:
    used = modes.replace("N", "")
    if not used:
        return FIX_NONE if modes else unsaid
    return FIX_2D if set(used) - set(_MODES) else max(_MODES[m] for m in used)


def claim(epoch: Epoch) -> Claim:
    """Return what an epoch says, from the combined solution (talker GN) where there is one.

    Any sentence of the solution that says void or quality 0 decides: there is no fix, whatever position is printed.
    """
    ranked = sorted(epoch.said.values(), key=_rank)
    chosen = [s for s in ranked if s.talker == ranked[0].talker]
    verdicts = [_verdict(s) for s in chosen]
    lat_deg, lon_deg = _position(chosen)
    return Claim(
        lat_deg, lon_deg, _fix(verdicts, epoch.mode), max((v for v in verdicts if v >= ESTIMATED), default=0),
        _first(ranked, {"GGA": "altitude", "GNS": "altitude"}),
        _positive(_first(ranked, {"GGA": "horizontal_dil", "GNS": "hdop"}), epoch.mode_hdop),
        _first(ranked, {"GGA": "num_sats", "GNS": "num_sats"}),
        KNOT_MPS * _first(ranked, {"RMC": "spd_over_grnd"}),
    )  # fmt: skip


def _rank(sentence: Sentence) -> tuple[int, str, int]:
    # next to the combined solution the one of the oldest constellation, so that one log stays with one solution
    system = ("GN", "GP").index(sentence.talker) if sentence.talker in ("GN", "GP") else 2
    return system, sentence.talker, POSITION_KINDS.index(sentence.kind)


def _fix(verdicts: list[int], mode: int) -> int:
    if FIX_NONE in verdicts:
        return FIX_NONE
    if max(verdicts) == FIX_UNSAID:
        return FIX_UNSAID
    return FIX_3D if mode == 3 else FIX_2D


def _position(chosen: list[Sentence]) -> tuple[float, float]:
    for sentence in chosen:
        lat_deg = degrees(sentence.value("lat"), sentence.value("lat_dir"))
        lon_deg = degrees(sentence.value("lon"), sentence.value("lon_dir"))
        if lat_deg == lat_deg and lon_deg == lon_deg:
            return lat_deg, lon_deg
    return NAN, NAN


def _first(ranked: list[Sentence], names: dict[str, str]) -> float:
    values = (number(s.value(names[s.kind])) for s in ranked if s.kind in names)
    return next((v for v in values if v == v), NAN)


def _positive(value: float, other: float) -> float:
    # a dilution of precision is never zero: receivers write 0.0 for "not known"
    return next((v for v in (value, other) if v > 0), NAN)

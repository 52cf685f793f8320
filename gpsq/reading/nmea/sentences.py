"""Bytes of an NMEA 0183 log to checked sentences, with a count of everything that is no sound sentence."""

from __future__ import annotations

import codecs
import re
from collections import Counter
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any

import pynmea2

if TYPE_CHECKING:
    from collections.abc import Iterator

#: Sentence types that say where or when; all others are only checked.
POSITION_KINDS = ("GGA", "GNS", "RMC", "GLL")
USED_KINDS = (*POSITION_KINDS, "ZDA", "GSA")

#: A sentence without a checksum counts as whole when it has this many fields (NMEA 0183 2.00 and later).
LEAST_FIELDS = {"GGA": 14, "GNS": 12, "RMC": 11, "GLL": 6, "ZDA": 6, "GSA": 17}

# a talker that begins with P would be a maker's own sentence
_HEAD = re.compile(r"([A-OQ-Z][A-Z])([A-Z]{3}),")
_MAKERS_OWN = re.compile(r"P[A-Z]{3,}")
_CHECKSUM = re.compile(r"\*[0-9A-Fa-f]{2}")
_CHECKED = re.compile(r"([^*]*)\*([0-9A-Fa-f]{2})(.*)", re.DOTALL)


@dataclass(frozen=True)
class Sentence:
    """One sound sentence: `talker` and `kind` (GGA, RMC, …), its parsed `message`, and its `text` for comparison."""

    talker: str
    kind: str
    message: Any
    text: str

    def value(self, name: str) -> str:
        """Return the text of a field by the parser's name for it, "" where the sentence ends before it.

        Examples
        --------
        >>> Sentence("GP", "GLL", pynmea2.parse("$GPGLL,4916.45,N,12311.12,W"), "").value("status")
        ''
        """
        place = self.message.name_to_idx[name]
        data = self.message.data
        return str(data[place]).strip() if place < len(data) else ""


@dataclass
class Tally:
    """What stood in the log beside sound sentences."""

    counts: Counter[str] = field(default_factory=Counter)
    bad_times: set[str] = field(default_factory=set)
    ends_in_fragment: bool = False


def decode(data: bytes) -> str:
    r"""Return the text of a log; bytes that are no text stay one character each, so nothing raises.

    Examples
    --------
    >>> decode("$GPZDA".encode("utf-16"))
    '$GPZDA'
    """
    if data.startswith((codecs.BOM_UTF16_LE, codecs.BOM_UTF16_BE)):
        return data.decode("utf-16", errors="replace")
    return data.removeprefix(codecs.BOM_UTF8).decode("latin-1")


def sentences(text: str, tally: Tally) -> Iterator[Sentence]:
    """Yield the sound sentences of the kinds in `USED_KINDS`, in order; count everything else in `tally`.

    A sentence whose checksum fails is never used. One without a checksum is used only when no sentence of the whole
    log has one (early receivers): elsewhere it is the rest of a sentence that was cut off.
    """
    bare_allowed = not _CHECKSUM.search(text)
    for line in re.split(r"[\r\n\0]+", text):
        yield from _of_line(line, bare_allowed, tally)
    tally.ends_in_fragment &= not text.endswith(("\n", "\r"))


def _of_line(line: str, bare_allowed: bool, tally: Tally) -> Iterator[Sentence]:
    before, *parts = line.split("$")
    if not parts:
        _count_other(line, tally)
        return
    if before.strip():
        tally.counts["lines_with_other_text"] += 1
    for part in parts:
        yield from _of_part(part, bare_allowed, tally)


def _count_other(line: str, tally: Tally) -> None:
    # '!' opens an encapsulated sentence (another instrument), '#' a comment of the logger
    if line.strip() and not line.startswith(("!", "#")):
        tally.counts["garbage_lines"] += 1


def _of_part(part: str, bare_allowed: bool, tally: Tally) -> Iterator[Sentence]:
    checked = _CHECKED.match(part)
    body = checked[1] if checked else part.strip()
    head = _HEAD.match(body)
    kind = head[2] if head else ""
    tally.ends_in_fragment = not checked and not bare_allowed
    if checked and pynmea2.NMEASentence.checksum(body) != int(checked[2], 16):
        _count_bad(body, kind, tally)
    elif not checked and not (bare_allowed and "*" not in body and body.count(",") >= LEAST_FIELDS.get(kind, 1)):
        tally.counts["fragments"] += not _MAKERS_OWN.match(body)
    elif head and kind in USED_KINDS:
        tally.counts["without_checksum"] += not checked
        tally.counts[f"sentences_{head[1]}{kind}"] += 1
        yield Sentence(head[1], kind, pynmea2.parse(body), body)
    elif maker := _MAKERS_OWN.match(body):
        tally.counts[f"sentences_{maker[0][:4]}"] += 1


def _count_bad(body: str, kind: str, tally: Tally) -> None:
    tally.counts["bad_checksum_sentences"] += 1
    if kind in POSITION_KINDS:
        fields = body.split(",")
        place = 5 if kind == "GLL" else 1
        tally.bad_times.add(fields[place] if place < len(fields) else "")

"""Reading on where XML breaks: the damaged point is set aside, the next one begins anew.

One mechanism serves every kind of break: cut-off files, several documents in one, damaged tags, stray ends.
Texts that no XML parser takes (control characters, bare ampersands) are cleaned once, for the whole file.
"""

from __future__ import annotations

import html
import re
import xml.parsers.expat as expat  # documents with entities were refused before, see gpsq.reading.text
from dataclasses import dataclass

from gpsq.reading.gpx.handlers import Sink, new_parser

#: Where reading can begin again: the start tag of a document, a track, a segment or a point.
_RESUME = re.compile(rb"<(?:[\w.-]+:)?(gpx|trkseg|trkpt|trk)(?=[\s/>])")
_POINT = re.compile(rb"<(?:[\w.-]+:)?trkp|</(?:[\w.-]+:)?trkpt\s*>")
_LEVELS = ("gpx", "trk", "trkseg")
#: The root has ended and something follows it.
_JUNK = expat.errors.XML_ERROR_JUNK_AFTER_DOC_ELEMENT

#: XML 1.0 (fifth edition), production 2: no other control characters, written raw or as a reference.
_CONTROL = re.compile(rb"[\x00-\x08\x0b\x0c\x0e-\x1f]|\xef\xbf[\xbe\xbf]|\xed[\xa0-\xbf][\x80-\xbf]")
_REFERENCE = re.compile(rb"&(#\d{1,9};|#[xX][0-9a-fA-F]{1,8};|[A-Za-z][\w.-]{0,31};)?")
_OWN_ENTITIES = frozenset({b"amp;", b"lt;", b"gt;", b"quot;", b"apos;"})


def clean(data: bytes) -> tuple[bytes, list[str]]:
    """Remove characters that XML forbids, and mend ampersands that begin no reference.

    Examples
    --------
    >>> clean(b"Tide&#x13; Mill & Co &uuml;ber")[0].decode()
    'Tide Mill &amp; Co über'
    """
    data, control = _CONTROL.subn(b"", data)
    odd = {"control": control, "ampersand": 0}

    def mend(match: re.Match[bytes]) -> bytes:
        whole, name = match[0], match[1]
        if name in _OWN_ENTITIES:
            return whole
        if name is None:
            odd["ampersand"] += 1
            return b"&amp;"
        return _mended(whole, name, odd)

    data = _REFERENCE.sub(mend, data)
    notes = []
    if odd["control"]:
        notes.append(f"{odd['control']} control characters that XML forbids were removed.")
    if odd["ampersand"]:
        notes.append(f"{odd['ampersand']} ampersands that begin no XML reference were read as text.")
    return data, notes


def _mended(whole: bytes, name: bytes, odd: dict[str, int]) -> bytes:
    if name.startswith(b"#"):
        number = int(name[2:-1], 16) if name[1:2] in b"xX" else int(name[1:-1])
        if number in (9, 10, 13) or 32 <= number < 0xD800 or 0xE000 <= number < 0xFFFE or 0x10000 <= number < 0x110000:
            return whole
        odd["control"] += 1
        return b""
    odd["ampersand"] += 1
    known = html.unescape(whole.decode("ascii", "replace"))
    return b"&amp;" + name if known.startswith("&") else known.encode()


@dataclass(frozen=True)
class Fault:
    """A break of the XML at byte `index`; `resumed` tells whether reading could go on behind it."""

    index: int
    message: str
    resumed: bool


def salvage(data: bytes) -> tuple[Sink, list[str]]:
    """Read `data` (UTF-8) past every break of its XML; return what was seen, and plain notes."""
    data, notes = clean(data)
    sink, faults, position, context = Sink(), [], 0, b""
    while error := _parse_from(data, position, context, sink):
        index, message = error
        resume = _RESUME.search(data, index if message == _JUNK and index > position else index + 1)
        faults.append(Fault(index, message, resume is not None))
        _account(sink, data[_token_start(data, position, index) : resume.start() if resume else len(data)])
        if resume is None:
            break
        position, context = resume.start(), _enter(sink, resume[1].decode())
    if sink.stack:
        sink.cut()
    return sink, [*notes, *_describe(data, faults, sink)]


def _parse_from(data: bytes, position: int, context: bytes, sink: Sink) -> tuple[int, str] | None:
    """Parse from byte `position`, inside the opening tags of `context`, to the end (None) or the next break.

    The pieces grow, so that neither many breaks nor one huge element costs more than a pass or two over the data.
    """
    parser = new_parser(sink, context)
    size, at = 4096, position
    try:
        while at < len(data):
            parser.Parse(data[at : at + size], False)
            at, size = at + size, size * 2
        parser.Parse(b"", True)
    except expat.ExpatError as error:
        return max(position, position + parser.ErrorByteIndex - len(context)), expat.ErrorString(error.code)
    return None


def _token_start(data: bytes, position: int, index: int) -> int:
    """Return where the tag that holds byte `index` begins, or `index` where none does."""
    start = data.rfind(b"<", position, index)
    return index if start < 0 or b">" in data[start:index] else start


def _account(sink: Sink, skipped: bytes) -> None:
    """Count the point that a break has cost: the open one, or one that stands in the skipped bytes."""
    if sink.inside_point:
        sink.break_point()
    elif _POINT.search(skipped):
        sink.lost_point()


def _enter(sink: Sink, level: str) -> bytes:
    """Bring `sink` to where a tag of `level` may stand; return the opening tags that lead there."""
    if level == "gpx" and sink.stack:
        sink.cut()
    if level in {"gpx", "trk"}:
        sink.track = None
    elif level == "trkpt" and sink.tracks:
        sink.track = sink.tracks[-1]
    parents = _LEVELS[: _LEVELS.index(level)] if level in _LEVELS else _LEVELS
    sink.stack[:] = parents
    return b"".join(f"<{sink.qualified[name]}>".encode() for name in parents)


def _describe(data: bytes, faults: list[Fault], sink: Sink) -> list[str]:
    notes = []
    if sink.documents > 1:
        notes.append(f"The file holds {sink.documents} GPX documents, one after the other; each was read.")
    damage = [f for f in faults if f.message != _JUNK and (f.resumed or not sink.stack)]
    if damage:
        line = data.count(b"\n", 0, damage[0].index) + 1
        places = "one place" if len(damage) == 1 else f"{len(damage)} places"
        notes.append(
            f"The XML is broken in {places}, first in line {line} ({damage[0].message}); reading went on behind it."
        )
    if faults and faults[-1].message == _JUNK and not faults[-1].resumed:
        notes.append("What stands after the end of the document is no GPX and was passed over.")
    return notes

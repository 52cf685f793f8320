"""Points of a document that are written alike are taken by a pattern made of the first one, all else by the XML parser.

A device writes all its points in one way: the same tags in the same order, with other values between them. The parser takes
the first point; what follows is taken as long as it is that point again, letter by letter, but for its values, which are
short and hold no sign that means anything in XML. So what the pattern takes is a row of whole elements, the parser goes on
behind it as if it had not been there, and finds whatever else there is to find, broken XML too. It takes half the time.

All of it is bounded: a point's length and its values', the ways of writing that are followed, the text looked at at a time;
where points are alike only now and then, no more is tried for a while.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from typing import TYPE_CHECKING

from gpsq.reading.gpx.handlers import Sink, new_parser

if TYPE_CHECKING:
    from collections.abc import Sequence

    from gpsq.reading.gpx.columns import Columns

_BEGINS = b"<trkpt "
#: Bytes of a point at most, ways of writing in a document, points that make a run, bytes to go on without one, and at a time.
_MOST_BYTES, _MOST_FORMS, _LEAST, _WITHOUT, _AT_A_TIME = 4_096, 8, 16, 65_536, 262_144
#: A value: nothing that ends it, is left out or stands for something else in XML.
_VALUE = r"[0-9A-Za-z.+:-]{1,64}"
_HEAD = re.compile(rf'<trkpt +(lat|lon)="({_VALUE})" +(lat|lon)="({_VALUE})" */?>')
_LEAF = re.compile(rf"<([\w.:-]+)[^<>]*>({_VALUE})</\1>")
_POINT = re.compile(r"<trkpt [^<>]*(?:/>|>[^!?&]*</trkpt>)\s*", re.ASCII)


def parse(data: bytes) -> Sink:
    """Return what a document holds.

    Raises
    ------
    xml.parsers.expat.ExpatError
        Where it is no well-formed XML.
    """
    sink, known, at = Sink(), dict[str, re.Pattern[str]](), 0
    parser = new_parser(sink)
    here = data.find(_BEGINS)
    while here >= 0 and (after := data.find(_BEGINS, here + 1)) >= 0:
        parser.Parse(data[at:here], False)
        before = _where(sink)
        parser.Parse(data[here:after], False)
        form = _form(data[here:after], sink, known) if _has_one_more(sink, before) else None
        at = form.take(data, after) if form else after
        is_run = at - after >= _LEAST * (after - here)
        here = data.find(_BEGINS, at if is_run else at + _WITHOUT)
    parser.Parse(data[at:], True)
    return sink


def _where(sink: Sink) -> tuple[Columns | None, int, int]:
    """Return the open track, how many points it has, and how many elements are open."""
    return sink.track, len(sink.track.lat) if sink.track else 0, len(sink.stack)


def _has_one_more(sink: Sink, before: tuple[Columns | None, int, int]) -> bool:
    """Whether the sink stands where it stood, with one point more: what begins like one may lie in a comment."""
    track, points, depth = before
    is_same = track is None or track is sink.track
    return sink.track is not None and is_same and _where(sink)[1:] == (points + 1, depth)


@dataclass(frozen=True)
class _Form:
    """How points of a track are written: a pattern, names of the values that it finds, and texts that are the same in each.

    Where the pattern finds no such point it finds all the rest, as its last value: so points that it finds follow each other.
    """

    track: Columns
    pattern: re.Pattern[str]
    lat_first: bool
    names: tuple[str, ...]
    same: tuple[tuple[str, str], ...]

    def take(self, data: bytes, at: int) -> int:
        """Add the points that follow to the track, and return where what follows is no such point."""
        while text := data[at : at + _AT_A_TIME].decode("latin-1"):
            *rows, last = self.pattern.findall(text)
            rest = len(last[-1])
            rows += [last] * (not rest)
            if not rows:
                break
            at += len(text) - rest
            self._add(rows)
        return at

    def _add(self, rows: Sequence[tuple[str, ...]]) -> None:
        first, second, *columns, _ = zip(*rows, strict=True)
        points = range(len(self.track.lat), len(self.track.lat) + len(rows))
        self.track.lat.extend(first if self.lat_first else second)
        self.track.lon.extend(second if self.lat_first else first)
        self.track.segment.extend([self.track.segments] * len(rows))
        own = dict(zip(self.names, columns, strict=True)) | {name: (text,) * len(rows) for name, text in self.same}
        for name, texts in own.items():
            self.track.values[name][0].extend(points)
            self.track.values[name][1].extend(texts)


def _form(written: bytes, sink: Sink, known: dict[str, re.Pattern[str]]) -> _Form | None:
    """Return how the point is written that the sink has just taken, None where it is not to be followed."""
    text = written.decode("latin-1")  # a letter for each byte
    head = _HEAD.match(text) if len(text) <= _MOST_BYTES else None
    values = _values(sink.track) if sink.track else None
    if not head or values is None or not _POINT.fullmatch(text):
        return None
    leaves = list(_LEAF.finditer(text, head.end()))
    names = tuple(leaf[1].rpartition(":")[2] for leaf in leaves)
    pattern = _pattern(text, [head.span(2), head.span(4), *(leaf.span(2) for leaf in leaves)])
    if not sink.track or not set(names) <= values.keys() or (pattern not in known and len(known) >= _MOST_FORMS):
        return None
    if pattern not in known:
        known[pattern] = re.compile(pattern)
    same = tuple((name, value) for name, value in values.items() if name not in names)
    return _Form(sink.track, known[pattern], head[1] == "lat", names, same)


def _values(track: Columns) -> dict[str, str] | None:
    """Return the values of a track's last point by name, None where it has two of one name."""
    last = len(track.lat) - 1
    own = [(name, points[-2:], texts[-1]) for name, (points, texts) in track.values.items() if points[-1] == last]
    return None if any(points == [last, last] for _, points, _ in own) else {name: text for name, _, text in own}


def _pattern(text: str, spans: Sequence[tuple[int, int]]) -> str:
    """Return the text as a pattern, with any value at the places of its own; what is not the text is the rest."""
    ends = [0, *(end for _, end in spans)]
    starts = [*(start for start, _ in spans), len(text)]
    point = f"({_VALUE})".join(re.escape(text[end:start]) for end, start in zip(ends, starts, strict=True))
    return rf"{point}|((?s:.+))"

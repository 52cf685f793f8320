"""What the XML parser's handlers see of a GPX document, collected as texts."""

from __future__ import annotations

import xml.parsers.expat as expat  # documents with entities are refused before, see gpsq.reading.text
from dataclasses import dataclass, field

from gpsq.reading.gpx.columns import Columns

STRUCTURE = ("gpx", "trk", "trkseg", "trkpt")


@dataclass
class Sink:
    """What the parser's handlers have seen so far; plain lists, since a million points pass through."""

    tracks: list[Columns] = field(default_factory=list)
    stack: list[str] = field(default_factory=list)
    text: list[str] = field(default_factory=list)
    local: dict[str, str] = field(default_factory=dict)
    qualified: dict[str, str] = field(default_factory=lambda: {name: name for name in STRUCTURE})
    attributes: set[str] = field(default_factory=set)
    track: Columns | None = None
    inside_point: bool = False
    documents: int = 0
    waypoints: int = 0
    route: list[tuple[str | None, str | None]] = field(default_factory=list)
    creator: str = ""
    file_time: str = ""

    def cut(self) -> None:
        """Mark the last track as cut off: the document ends before its root is closed."""
        if self.tracks:
            self.tracks[-1].truncated = True

    def start(self, name: str, attributes: dict[str, str]) -> None:
        """Take a start tag (expat's StartElementHandler)."""
        local = self.local.get(name) or self._new_name(name)
        self.stack.append(local)
        self.text.clear()
        if local == "trkpt":
            (self.track or self._new_track()).add(attributes.get("lat"), attributes.get("lon"))
            self.inside_point = True
        elif not self.inside_point:
            self._open(local, attributes)

    def end(self, name: str) -> None:
        """Take an end tag (expat's EndElementHandler)."""
        local = self.stack.pop()
        if self.inside_point:
            if local == "trkpt":
                self.inside_point = False
            elif self.text:
                self.track.put(local, "".join(self.text))  # type: ignore[union-attr]  # inside a point there is a track
        else:
            self._close(local)
        self.text.clear()

    def break_point(self) -> None:
        """Mark the open point, if any, as unfinished: the XML broke in it."""
        if self.inside_point and self.track:
            self.track.broken.add(len(self.track.lat) - 1)
        self.inside_point = False

    def lost_point(self) -> None:
        """Add a point that stands here but cannot be read at all."""
        track = self.track or self._new_track()
        track.add(None, None)
        track.broken.add(len(track.lat) - 1)

    def _new_name(self, name: str) -> str:
        local = name.rpartition(":")[2]
        self.local[name] = local
        if local in self.qualified:
            self.qualified[local] = name
        return local

    def _new_track(self) -> Columns:
        self.track = Columns(self.documents, self.creator, self.file_time)
        self.tracks.append(self.track)
        return self.track

    def _open(self, local: str, attributes: dict[str, str]) -> None:
        self.attributes.update(attributes)
        if local == "trk":
            self._new_track()
        elif local == "trkseg" and self.track:
            self.track.segments += 1
        elif local == "gpx":
            self.documents += 1
            self.creator, self.file_time, self.track = attributes.get("creator", ""), "", None
        elif local == "wpt":
            self.waypoints += 1
        elif local == "rtept":
            self.route.append((attributes.get("lat"), attributes.get("lon")))

    def _close(self, local: str) -> None:
        parent = self.stack[-1] if self.stack else ""
        if local == "name" and parent == "trk" and self.track:
            self.track.name = "".join(self.text).strip()
        elif local == "time" and parent in {"metadata", "gpx"}:
            self.file_time = "".join(self.text).strip()
        elif local == "trk":
            self.track = None


def new_parser(sink: Sink, context: bytes = b"") -> expat.XMLParserType:
    """Return an expat parser that feeds `sink`, already inside the opening tags of `context`."""
    parser = expat.ParserCreate("utf-8")
    parser.buffer_text = True
    parser.Parse(context, False)
    parser.StartElementHandler = sink.start
    parser.EndElementHandler = sink.end
    parser.CharacterDataHandler = sink.text.append
    return parser

"""GPX 1.0 and 1.1 to recordings: one streaming reader, for sound and for broken files.

Elements are known by their local name, whatever prefix, namespace or version the file gives them.
Sound files go through in one pass, in which `gpsq.reading.gpx.runs` takes points that are written alike; where the XML
breaks, `gpsq.reading.gpx.salvage` goes on behind the break with the same handlers. Both use expat, the C parser of the
standard library: it fetches nothing, and a document that declares entities is refused before it starts.
"""

from __future__ import annotations

import xml.parsers.expat as expat  # documents with entities are refused first, see refuse_entities
from typing import TYPE_CHECKING

import numpy as np

from gpsq.exceptions import UnreadableFile
from gpsq.reading.gpx import runs
from gpsq.reading.gpx.columns import to_recording
from gpsq.reading.gpx.salvage import salvage
from gpsq.reading.numbers import parse_numbers
from gpsq.reading.text import refuse_entities, refuse_what_is_no_xml, to_utf8

if TYPE_CHECKING:
    from gpsq.model import FloatArray
    from gpsq.reading.gpx.handlers import Sink
    from gpsq.reading.recording import Recording


def looks_like(data: bytes) -> bool:
    """Whether `data` may be XML in any encoding.

    Examples
    --------
    >>> looks_like(b"<gpx>"), looks_like(b"$GPGGA,")
    (True, False)
    """
    head = data[:400].replace(b"\0", b"").lstrip(b"\xef\xbb\xbf\xff\xfe \t\r\n")
    return head.startswith(b"<")


def holds_points(data: bytes) -> bool:
    """Whether `data`, though it does not begin like XML, holds GPX points: its head may be lost."""
    return b"<trkpt" in data or b":trkpt" in data


def read(data: bytes, file: str) -> list[Recording]:
    """Read a GPX document; one recording per track, in file order, empty ones too.

    Parameters
    ----------
    data : bytes
        The document, unpacked.
    file : str
        Its name, for messages.

    Raises
    ------
    UnreadableFile
        When it holds no track points or must not be read.

    Examples
    --------
    >>> ride = b'<gpx><trk><trkseg><trkpt lat="51.5" lon="-3.5"/></trkseg></trk></gpx>'
    >>> read(ride, "ride.gpx")[0].lat_deg.tolist()
    [51.5]
    """
    sink, notes = _parse(data, file)
    if not any(track.lat for track in sink.tracks):
        raise _no_points(sink, file)
    return _recordings(sink, notes)


def read_line(data: bytes, file: str) -> tuple[FloatArray, FloatArray]:
    """Return longitudes and latitudes, (n,) each, of the first track of a GPX document, or else of its route.

    Raises
    ------
    UnreadableFile
        When it holds no line of two positions or more.

    Examples
    --------
    >>> lon, lat = read_line(b'<gpx><rte><rtept lat="51" lon="3"/><rtept lat="52" lon="4"/></rte></gpx>', "line.gpx")
    >>> lon.tolist(), lat.tolist()
    ([3.0, 4.0], [51.0, 52.0])
    """
    sink, _ = _parse(data, file)
    track = next((t for t in sink.tracks if t.lat), None)
    lat, lon = (track.lat, track.lon) if track else zip(*sink.route, strict=True) if sink.route else ([], [])
    lat_deg, lon_deg = parse_numbers(lat).value, parse_numbers(lon).value
    good = (np.abs(lat_deg) <= 90) & (np.abs(lon_deg) <= 180)
    if good.sum() < 2:
        raise UnreadableFile(file, f"{int(good.sum())} positions", "a line of two or more", "no_line")
    return lon_deg[good], lat_deg[good]


def _parse(data: bytes, file: str) -> tuple[Sink, list[str]]:
    """Return what the document holds and what was odd about it."""
    refuse_what_is_no_xml(data, file)
    document = to_utf8(data)
    refuse_what_is_no_xml(document.data, file)
    refuse_entities(document.data, file)
    notes = [*document.notes]
    try:
        sink = runs.parse(document.data)
    except expat.ExpatError:
        sink, faults = salvage(document.data)
        notes += faults
    return sink, notes + _undeclared(sink, document.data)


def _recordings(sink: Sink, notes: list[str]) -> list[Recording]:
    """Make the recordings; notes on the whole file go to the first that holds points."""
    filled = [i for i, track in enumerate(sink.tracks) if track.lat]
    empty = len(sink.tracks) - len(filled)
    remarks = (f"{empty} of the file's {len(sink.tracks)} tracks hold no points.",) if empty else ()
    return [
        to_recording(
            track,
            tuple(notes) if i == filled[0] else (),
            remarks if i == filled[0] else (),
        )
        for i, track in enumerate(sink.tracks)
    ]


def _undeclared(sink: Sink, data: bytes) -> list[str]:
    used = {name.partition(":")[0] for name in (*sink.local, *sink.attributes) if ":" in name} - {"xml", "xmlns"}
    missing = sorted(prefix for prefix in used if f"xmlns:{prefix}".encode() not in data)
    return (
        [f"The prefix {', '.join(missing)} is used but never declared; elements were read by their local names."]
        if missing
        else []
    )


def _no_points(sink: Sink, file: str) -> UnreadableFile:
    if sink.route:
        found, reason = f"a planned route ({len(sink.route)} points) and no recorded track", "route_only"
    elif sink.waypoints:
        found, reason = f"{sink.waypoints} waypoints and no track", "waypoints_only"
    elif sink.documents or sink.tracks:
        found, reason = "a GPX document without any track points", "no_tracks"
    else:
        found, reason = "XML that is no GPX", "not_gpx"
    return UnreadableFile(file, found, "a recorded track", reason)

"""One document's bytes to recordings, by what they are and not by what they are called."""

from __future__ import annotations

from typing import TYPE_CHECKING

from gpsq.exceptions import UnreadableFile
from gpsq.reading.gpx import reader as gpx
from gpsq.reading.text import refuse_what_is_no_xml

if TYPE_CHECKING:
    from gpsq.reading.recording import Recording


def read_document(
    data: bytes, file: str, time_zone: str | None = None, date_order: str | None = None
) -> list[Recording]:
    """Read one unpacked document of any format.

    Parameters
    ----------
    data : bytes
        Its content.
    file : str
        Its name, for messages.
    time_zone, date_order : str, optional
        How to read times without a zone, and dates such as 03/05/2024, in tables.

    Raises
    ------
    UnreadableFile
        When it is no recording or gives no points.
    """
    if not data.strip(b" \t\r\n\0"):
        refuse_what_is_no_xml(data, file)
    if gpx.looks_like(data):
        return gpx.read(data, file)
    from gpsq.reading.nmea import reader as nmea

    if nmea.looks_like(data):
        return nmea.read(data, file)
    from gpsq.reading.table import reader as table

    if table.looks_like(data, file):
        return table.read(data, file, time_zone, date_order)
    if gpx.holds_points(data):
        return gpx.read(data, file)
    raise UnreadableFile(
        file,
        "content in no format that gpsq reads",
        "GPX, NMEA 0183 or a table with latitude and longitude",
        "unknown_format",
    )

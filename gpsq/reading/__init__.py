"""Files to traces: the only place that touches XML, NMEA 0183, tables and archives.

`read_folder` reads a campaign, `read_file` one file; `docs/inputs.md` tells what is done about every kind of oddity.
"""

from gpsq.reading.folder import Readings, read_file, read_folder

__all__ = ["Readings", "read_file", "read_folder"]

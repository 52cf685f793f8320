"""The centrelines as GPX 1.1, for programs and devices that take no GeoJSON."""

from __future__ import annotations

from typing import TYPE_CHECKING

from gpsq.output.tables import layers

if TYPE_CHECKING:
    import gpxpy.gpx
    from shapely.geometry import LineString

    from gpsq.results import Analysis

#: Points that lie on the line without being named are left out: at most this far off, 2e-6 degrees, 0.2 m.
THINNED_DEG = 2e-6
CAUTION = "Centrelines of repeated rides, thinned to 0.2 m. Not for navigation or safety of life."


def centrelines_gpx(analysis: Analysis) -> str:
    """Return a GPX 1.1 document with a track for each route that has a centreline, a segment for each unbroken part.

    Times and heights are absent: a centreline has none.
    """
    import gpxpy.gpx

    document = gpxpy.gpx.GPX()
    document.creator = "gpsq"
    document.name = analysis.title or None
    document.description = CAUTION
    for row in layers.centrelines(analysis).itertuples():
        track = gpxpy.gpx.GPXTrack(f"Route {row.route}", f"{row.rides} rides, {row.length_m} m")
        track.segments = [_segment(part) for part in (row.geometry.geoms if row.geometry else ())]
        document.tracks.append(track)
    return str(document.to_xml(version="1.1"))


def _segment(line: LineString) -> gpxpy.gpx.GPXTrackSegment:
    import gpxpy.gpx

    places = line.simplify(THINNED_DEG).coords
    return gpxpy.gpx.GPXTrackSegment([gpxpy.gpx.GPXTrackPoint(round(lat, 7), round(lon, 7)) for lon, lat in places])

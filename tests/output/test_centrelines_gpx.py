"""The centrelines as GPX: the line that the other layers show, in a document that a library for the format reads."""

from __future__ import annotations

import dataclasses
from typing import TYPE_CHECKING

import gpxpy
import numpy as np
import pytest
import shapely
from lxml import etree
from output_sample import HOSTILE, sample

from gpsq.output.tables import layers
from gpsq.output.tables.centrelines_gpx import centrelines_gpx
from gpsq.reading.gpx.reader import read_line

if TYPE_CHECKING:
    from gpxpy.gpx import GPX


def read(text: str) -> GPX:
    return gpxpy.parse(text)


def line_of(document: GPX, number: int) -> list[shapely.LineString]:
    return [
        shapely.LineString([(p.longitude, p.latitude) for p in segment.points])
        for segment in document.tracks[number].segments
    ]


def test_each_route_is_a_track_with_the_line_of_the_layer() -> None:
    """Thinned to 2e-6 degrees and rounded to 1e-7: no point of either line lies further from the other."""
    analysis = sample()
    document = read(centrelines_gpx(analysis))
    assert [t.name for t in document.tracks] == ["Route out", "Route back"]
    for number, whole in enumerate(layers.centrelines(analysis).geometry):
        thinned = shapely.MultiLineString(line_of(document, number))
        assert shapely.hausdorff_distance(whole, thinned, densify=0.01) < 2.2e-6
        assert len(thinned.geoms) == len(whole.geoms)


def test_it_says_what_it_is_not_for_and_claims_no_times() -> None:
    document = read(centrelines_gpx(sample()))
    assert "Not for navigation or safety of life" in str(document.description)
    assert all(p.point.time is None and p.point.elevation is None for p in document.get_points_data())


def test_it_is_gpx_of_the_first_version_one_and_reads_as_a_reference_line() -> None:
    """GPX 1.1 schema (topografix.com/GPX/1/1): root element, version, order of name and description in metadata."""
    data = centrelines_gpx(sample()).encode("utf-8")
    root = etree.fromstring(data)
    assert root.tag == "{http://www.topografix.com/GPX/1/1}gpx"
    assert root.get("version") == "1.1"
    assert [etree.QName(e).localname for e in root[0]] == ["name", "desc"]
    lon, lat = read_line(data, "centrelines.gpx")
    assert lon[0] == pytest.approx(12.0, abs=0.1)
    assert lat[0] == pytest.approx(47.0, abs=0.1)


def test_a_line_over_the_antimeridian_comes_in_parts() -> None:
    document = read(centrelines_gpx(sample(lon_deg=180.0)))
    for segment in document.tracks[0].segments:
        assert np.ptp([p.longitude for p in segment.points]) < 0.1
    assert len(document.tracks[0].segments) == 2


def test_names_are_text_whatever_they_hold() -> None:
    for title in HOSTILE:
        assert read(centrelines_gpx(dataclasses.replace(sample(), title=title))).name == title


def test_without_a_centreline_there_is_no_track() -> None:
    assert read(centrelines_gpx(dataclasses.replace(sample(), routes=()))).tracks == []

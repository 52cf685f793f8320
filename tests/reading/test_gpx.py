"""GPX: the streaming reader against gpxpy where files are sound, and against known answers where they are not."""

from __future__ import annotations

from typing import TYPE_CHECKING

import gpxpy
import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from gpsq.exceptions import UnreadableFile
from gpsq.reading.gpx import reader
from gpsq.reading.recording import FIX_2D, FIX_3D, FIX_NONE, FIX_UNSAID

if TYPE_CHECKING:
    from pathlib import Path

    from gpsq.reading.recording import Recording

HEAD = '<?xml version="1.0" encoding="UTF-8"?>\n<gpx version="1.1" creator="maker" xmlns="http://www.topografix.com/GPX/1/1"><trk><name>Ride</name><trkseg>\n'
FOOT = "</trkseg></trk></gpx>\n"


def point(i: int, inner: str = "") -> str:
    return f'<trkpt lat="51.{i:04d}" lon="-3.1">{inner}<time>2024-01-01T00:00:{i:02d}Z</time></trkpt>\n'


def ride(n: int = 20) -> str:
    return HEAD + "".join(point(i) for i in range(n)) + FOOT


def read(text: str | bytes) -> list[Recording]:
    return reader.read(text if isinstance(text, bytes) else text.encode(), "ride.gpx")


def one(text: str | bytes) -> Recording:
    (recording,) = read(text)
    return recording


# sound files: gpxpy is the oracle


def assert_like_gpxpy(data: bytes) -> int:
    """Compare every point with gpxpy; return how many there were."""
    parsed = gpxpy.parse(data)
    ours = [r for r in reader.read(data, "x.gpx") if r.points]
    theirs = [t for t in parsed.tracks if any(s.points for s in t.segments)]
    assert [r.name for r in ours] == [(t.name or "").strip() for t in theirs]
    for recording, track in zip(ours, theirs, strict=True):
        points = [p for s in track.segments for p in s.points]
        assert recording.lat_deg.tolist() == [p.latitude for p in points]
        assert recording.lon_deg.tolist() == [p.longitude for p in points]
        np.testing.assert_array_equal(recording.ele_m, [np.nan if p.elevation is None else p.elevation for p in points])
        for time, p in zip(recording.time, points, strict=True):
            if p.time is not None and p.time.tzinfo is not None:
                utc = p.time.astimezone(gpxpy.gpxfield.SimpleTZ()).replace(tzinfo=None)
                assert time == np.datetime64(utc, "ms")
        sizes = [len(s.points) for s in track.segments if s.points]
        assert np.bincount(recording.segment).tolist() == sizes
    return sum(r.points for r in ours)


@pytest.mark.open_data
def test_every_sound_sample_reads_as_gpxpy_reads_it(shared: Path) -> None:
    """gpx_samples (other parsers' own test files), a real walk, and the shared cases that gpxpy can read."""
    samples = [p for p in (shared / "data/gpx_samples").rglob("*.gpx") if p.stat().st_size < 100_000]
    files = [*samples, shared / "data/park_passes/FC/phone/pos.gpx", *(shared / "inputs").glob("*/*.gpx")]
    compared = points = 0
    for file in files:
        data = file.read_bytes()
        try:
            reader.read(data, "x.gpx")
            gpxpy.parse(data)
        except (UnreadableFile, gpxpy.gpx.GPXException, UnicodeDecodeError):
            continue  # nothing to compare: refused by us for want of points, or beyond gpxpy
        if "NaN" in data.decode("utf-8", "replace") or file.parent.name in {
            "17-unusable-coordinates",
            "24-elevation-unknown",
        }:
            continue  # gpxpy takes NaN, latitude 91 and an elevation of -32768 for numbers
        points += assert_like_gpxpy(data)
        compared += 1
    assert compared > 70
    assert points > 3_000


@settings(max_examples=60, deadline=None)
@given(
    st.lists(
        st.tuples(
            st.floats(-90, 90, allow_nan=False).map(lambda v: round(v, 7)),
            st.floats(-180, 180, allow_nan=False).map(lambda v: round(v, 7)),
            st.one_of(st.none(), st.floats(-400, 9000, allow_nan=False).map(lambda v: round(v, 2))),
            st.one_of(st.none(), st.datetimes()),
        ),
        min_size=1,
        max_size=30,
    ),
    st.integers(1, 3),
)
def test_what_gpxpy_writes_reads_back(points: list[tuple[float, float, float | None, object]], segments: int) -> None:
    document = gpxpy.gpx.GPX()
    track = gpxpy.gpx.GPXTrack(name="a < b & c")
    document.tracks.append(track)
    for part in range(segments):
        segment = gpxpy.gpx.GPXTrackSegment()
        for lat, lon, ele, time in points[part::segments]:
            segment.points.append(gpxpy.gpx.GPXTrackPoint(lat, lon, ele, time))
        track.segments.append(segment)
    data = document.to_xml().encode()
    assert assert_like_gpxpy(data) == len(points)


# broken files: what is read is known from how they were broken


def test_a_file_cut_anywhere_keeps_every_complete_point() -> None:
    """Cut a ride of 20 points after every byte: complete points stay, the one in the cut is counted, order is kept."""
    whole = ride().encode()
    first = whole.index(b"</trkpt>") + len(b"</trkpt>")
    for size in range(first, len(whole) - len(FOOT) + 1):
        recording = one(whole[:size])
        good = recording.problem == ""
        assert good.sum() == whole[:size].count(b"</trkpt>")
        assert recording.lat_deg[good].tolist() == [float(f"51.{i:04d}") for i in range(int(good.sum()))]
        assert recording.truncated
        begun = whole[:size].count(b"<trkp")
        assert recording.points == max(begun, int(good.sum()))


@pytest.mark.parametrize(
    ("broken", "good"),
    [
        pytest.param(('lat="51.0010"', 'lat="51.0010'), 19, id="a quotation mark is lost"),
        pytest.param(('<trkpt lat="51.0010"', '<trkp# lat="51.0010"'), 19, id="a tag's name is damaged"),
        pytest.param(('<trkpt lat="51.0010"', 'trkpt lat="51.0010"'), 19, id="a bracket is lost"),
        pytest.param(("00:00:10Z</time></trkpt>", "00:00:10Z</tXme></trkpt>"), 19, id="an end tag is damaged"),
        pytest.param(("00:00:10Z</time>", "00:00:10Z<!-- </time>"), 19, id="a comment is never closed"),
        pytest.param(("00:00:10Z</time></trkpt>", f"00:00:10Z</time></trkpt>{FOOT}"), 20, id="the end comes early"),
        pytest.param((FOOT, FOOT + "</gpx>"), 20, id="one end too many"),
        pytest.param((FOOT, FOOT + "\0" * 400), 20, id="zero bytes after the end"),
        pytest.param((FOOT, "\0" * 4096), 20, id="zero bytes instead of the end"),
        pytest.param(("<name>Ride</name>", "<name>Quay & Sons</name>"), 20, id="a bare ampersand"),
        pytest.param(("<name>Ride</name>", "<name>\x13Ride&#x0b;</name>"), 20, id="control characters"),
        pytest.param(('xmlns="http://www.topografix.com/GPX/1/1"', ""), 20, id="no namespace"),
    ],
)  # fmt: skip
def test_one_break_costs_one_point_at_most(broken: tuple[str, str], good: int) -> None:
    text = ride().replace(*broken)
    assert text != ride()
    recording = one(text)
    kept = recording.problem == ""
    assert kept.sum() == good
    assert recording.points == 20
    if good == 19:
        assert np.flatnonzero(~kept).tolist() == [10]
        assert recording.notes
    assert (np.diff(recording.lat_deg[kept]) > 0).all()


def test_an_ampersand_and_a_named_letter_are_read_as_text() -> None:
    assert one(ride().replace("Ride", "Quay & Sons &uuml;ber &lt;x&gt;")).name == "Quay & Sons über <x>"


def test_a_cut_document_followed_by_another_gives_both() -> None:
    cut = ride()[: ride().index("51.0007") + 4]
    first, second = read(cut + ride(5))
    assert (first.points, int((first.problem == "").sum()), first.truncated) == (8, 7, True)
    assert (second.points, second.truncated) == (5, False)
    assert "2 GPX documents" in " ".join(first.notes)


def test_a_document_without_its_head_is_read() -> None:
    text = ride()
    recording = one(text[text.index('<trkpt lat="51.0003"') :])
    assert (recording.problem == "").sum() == 17


def test_prefixed_elements_are_known_by_their_local_names() -> None:
    text = (
        ride()
        .replace("<trk", "<g:trk")
        .replace("</trk", "</g:trk")
        .replace("<gpx", "<g:gpx")
        .replace("</gpx", "</g:gpx")
    )
    declared = one(text.replace("xmlns=", "xmlns:g="))
    assert (declared.points, declared.notes) == (20, ())
    undeclared = one(text)
    assert undeclared.points == 20
    assert "prefix g" in undeclared.notes[0]


@pytest.mark.parametrize(
    "encoding", ["utf-8-sig", "utf-16", "utf-16-le", "utf-16-be", "utf-32", "iso-8859-1", "windows-1252"]
)
def test_encodings_give_the_same_ride(encoding: str) -> None:
    text = ride().replace("Ride", "Höhenweg").replace('encoding="UTF-8"', f'encoding="{encoding.removesuffix("-sig")}"')
    assert one(text.encode(encoding)).name == "Höhenweg"


def test_a_few_damaged_bytes_do_not_change_the_encoding() -> None:
    data = ride().replace("Ride", "Höhenweg Süd").encode().replace(b"lat=", b"lat=", 1) + b"\xff"
    assert one(data).name == "Höhenweg Süd"


def test_entities_are_refused_in_any_encoding(tmp_path: Path) -> None:
    secret = tmp_path / "secret.txt"
    secret.write_text("CANARY", encoding="utf-8")
    text = ride().replace("<gpx", f'<!DOCTYPE gpx [<!ENTITY x SYSTEM "{secret}">]><gpx', 1).replace("Ride", "&x;")
    for data in (text.encode(), text.encode("utf-16"), text.replace("UTF-8", "UTF-7").encode("utf-7")):
        with pytest.raises(UnreadableFile, match="entities") as refusal:
            read(data)
        assert refusal.value.reason == "entities_refused"


def test_a_document_type_is_not_fetched() -> None:
    text = ride().replace("<gpx", '<!DOCTYPE gpx SYSTEM "http://127.0.0.1:9/gpx.dtd"><gpx', 1)
    assert one(text).points == 20


@pytest.mark.parametrize(
    ("text", "reason"),
    [
        ("", "empty_file"),
        (" \n\n", "empty_file"),
        ("\0" * 100, "empty_file"),
        ('<?xml version="1.0"?>\n', "empty_file"),
        ("<!DOCTYPE html><html><body>Sign in</body></html>", "html_page"),
        ("<html><gpx></gpx></html>", "html_page"),
        ("<svg xmlns='http://www.w3.org/2000/svg'/>", "not_gpx"),
        ("<gpx><metadata/></gpx>", "no_tracks"),
        ("<gpx><trk><trkseg/></trk></gpx>", "no_tracks"),
        ("<gpx><rte><rtept lat='1' lon='2'/></rte></gpx>", "route_only"),
        ("<gpx><wpt lat='1' lon='2'/></gpx>", "waypoints_only"),
    ],
)
def test_what_holds_no_track_is_refused_in_one_line(text: str, reason: str) -> None:
    with pytest.raises(UnreadableFile) as refusal:
        read(text)
    assert refusal.value.reason == reason
    assert str(refusal.value).startswith("ride.gpx: found ")
    assert "\n" not in str(refusal.value)


def test_fix_types_are_read_as_the_schema_and_as_bare_digits() -> None:
    """GPX 1.1 fixType: none, 2d, 3d, dgps, pps; bare digits are common practice."""
    kinds = ["none", "2d", "3d", "dgps", "pps", "3", "2", "NONE", "good"]
    text = HEAD + "".join(point(i, f"<fix>{kind}</fix>") for i, kind in enumerate(kinds)) + FOOT
    expected = [FIX_NONE, FIX_2D, FIX_3D, FIX_3D, FIX_3D, FIX_3D, FIX_2D, FIX_NONE, FIX_UNSAID]
    assert one(text).fix.tolist() == expected


def test_values_are_found_whatever_their_namespace_and_the_first_counts() -> None:
    inner = '<extensions><a:x xmlns:a="urn:a"><a:hr>131</a:hr><a:speed>5.2</a:speed></a:x><hr>7</hr></extensions>'
    recording = one(HEAD + point(0, inner) + point(1) + FOOT)
    assert recording.speed_mps[0] == 5.2
    assert np.isnan(recording.speed_mps[1])
    np.testing.assert_array_equal(recording.extras["hr"], [131, np.nan])


def test_codes_for_unknown_are_no_values() -> None:
    """-9999, -32768 and 32767 for a height and -1 for a speed are common practice among exporters."""
    heights = ["-9999", "-32768", "32767", "0", "-430.5", "4810"]
    text = HEAD + "".join(point(i, f"<ele>{ele}</ele><speed>-1</speed>") for i, ele in enumerate(heights)) + FOOT
    np.testing.assert_array_equal(one(text).ele_m, [np.nan, np.nan, np.nan, 0, -430.5, 4810])
    assert np.isnan(one(text).speed_mps).all()
    assert "3 elevations give no height" in " ".join(one(text).notes)


def test_tracks_are_numbered_as_in_the_file() -> None:
    text = "<gpx><trk><name>A</name></trk><trk><name>B</name><trkseg>" + point(0) + "</trkseg></trk></gpx>"
    assert [(r.name, r.points) for r in read(text)] == [("A", 0), ("B", 1)]
    assert "1 of the file's 2 tracks hold no points." in read(text)[1].remarks


def test_the_documents_time_is_read_in_both_versions() -> None:
    gpx11 = ride().replace("<trk>", "<metadata><time>2024-01-01T00:00:00Z</time></metadata><trk>", 1)
    gpx10 = ride().replace("<trk>", "<time>2024-01-01T00:00:00Z</time><trk>", 1)
    for text in (gpx11, gpx10):
        assert one(text).file_time == np.datetime64("2024-01-01T00:00:00")


def test_the_time_of_one_document_is_not_that_of_the_next() -> None:
    dated = ride().replace("<trk>", "<metadata><time>2024-01-01T00:00:00Z</time></metadata><trk>", 1)
    first, second = read(dated + ride())
    assert first.file_time == np.datetime64("2024-01-01T00:00:00")
    assert np.isnat(second.file_time)


def test_points_outside_a_segment_or_a_track_are_not_lost() -> None:
    assert one("<gpx><trk>" + point(0) + "</trk></gpx>").points == 1
    assert one("<gpx>" + point(0) + point(1) + "</gpx>").points == 2


# ---------------------------------------------------------------- lines


def line(text: str) -> list[tuple[float, float]]:
    """Return longitudes and latitudes of the line in a document."""
    lon_deg, lat_deg = reader.read_line(text.encode(), "line.gpx")
    return list(zip(lon_deg.tolist(), lat_deg.tolist(), strict=True))


def track(*places: tuple[float, float]) -> str:
    inner = "".join(f'<trkpt lat="{lat}" lon="{lon}"/>' for lon, lat in places)
    return f"<trk><trkseg>{inner}</trkseg></trk>"


def test_an_empty_track_hides_no_line_behind_it() -> None:
    assert line(f"<gpx>{track()}{track((3.0, 51.0), (4.0, 52.0))}</gpx>") == [(3.0, 51.0), (4.0, 52.0)]


def test_of_two_lines_the_first_is_taken() -> None:
    assert line(f"<gpx>{track((3.0, 51.0), (4.0, 52.0))}{track((5.0, 51.0), (6.0, 52.0))}</gpx>")[0] == (3.0, 51.0)


def test_a_place_off_the_earth_is_on_no_line() -> None:
    """WGS 84: latitudes to 90°, longitudes to 180°."""
    odd = track((3.0, 51.0), (3.5, 120.0), (3.5, -90.1), (181.0, 51.0), (180.0, 90.0))
    assert line(f"<gpx>{odd}</gpx>") == [(3.0, 51.0), (180.0, 90.0)]
    with pytest.raises(UnreadableFile, match="found 1 positions"):
        line(f"<gpx>{track((3.0, 51.0), (3.5, 120.0))}</gpx>")

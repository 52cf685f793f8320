"""GPX value by value, and its damage byte by byte: what is kept, what is lost, and what is said of it."""

from __future__ import annotations

import numpy as np
import pytest
from test_gpx import FOOT, HEAD, one, point, read, ride

from gpsq.exceptions import UnreadableFile
from gpsq.reading.document import read_document
from gpsq.reading.gpx import columns, reader, salvage
from gpsq.reading.gpx.handlers import Sink
from gpsq.reading.recording import FIX_2D, FIX_NONE, FIX_UNSAID
from gpsq.reading.text import refuse_entities, refuse_what_is_no_xml, to_utf8

PLACE = '<trkpt lat="51.5" lon="-3.5">'


def points(*inner: str) -> str:
    return HEAD + "".join(f"{PLACE}{text}</trkpt>" for text in inner) + FOOT


# values


def test_every_value_is_that_of_its_point_and_name() -> None:
    text = (
        '<gpx creator=" maker "><metadata><time> 2024-05-14T07:00:00Z </time><name>no</name></metadata><trk><name> Ride </name>'
        '<trkseg><trkpt lat="51.25" lon="-3.75"><ele>20.5</ele><time>2024-05-14T07:10:00Z</time><hdop>0.9</hdop><sat>7</sat>'
        "<fix>2d</fix><speed>4.5</speed><hr>131</hr><cmt>5</cmt></trkpt></trkseg><trkseg/><trkseg>"
        '<trkpt lat="51.5" lon="-3.5"><speed>0</speed><time>2024-05-14T07:10:02Z</time><ele>-1000</ele><hr>x</hr><hr>7</hr></trkpt>'
        "</trkseg></trk></gpx>"
    )
    found = one(text)
    assert (found.name, found.creator, str(found.file_time)) == ("Ride", "maker", "2024-05-14T07:00:00.000")
    assert (found.lat_deg.tolist(), found.lon_deg.tolist()) == ([51.25, 51.5], [-3.75, -3.5])
    assert found.ele_m.tolist() == [20.5, -1000.0]
    assert (found.hdop[0], found.sat[0], found.speed_mps.tolist()) == (0.9, 7.0, [4.5, 0.0])
    assert np.isnan([found.hdop[1], found.sat[1]]).all()
    assert (found.fix.tolist(), found.segment.tolist(), found.problem.tolist()) == (
        [FIX_2D, FIX_UNSAID],
        [0, 1],
        ["", ""],
    )
    assert [str(t) for t in found.time] == ["2024-05-14T07:10:00.000", "2024-05-14T07:10:02.000"]
    assert list(found.extras) == ["hr"]  # a comment is text, whatever stands in it
    assert found.extras["hr"][0] == 131.0
    assert np.isnan(found.extras["hr"][1])  # the first of two counts
    assert (found.notes, found.remarks, found.counts, found.truncated) == ((), (), {}, False)


@pytest.mark.parametrize(
    ("fix", "code"), [("0", FIX_NONE), ("1", FIX_NONE), ("2", FIX_2D), (" None ", FIX_NONE), ("4", FIX_UNSAID)]
)
def test_bare_digits_of_a_fix(fix: str, code: int) -> None:
    assert one(points(f"<fix>{fix}</fix>")).fix.tolist() == [code]


@pytest.mark.parametrize(
    ("ele", "known"),
    [("-1000", True), ("-1000.1", False), ("20000", True), ("20000.1", False), ("0", True), ("x", False)],
)
def test_no_road_is_so_low_or_high(ele: str, known: bool) -> None:
    found = one(points(f"<ele>{ele}</ele>"))
    assert np.isfinite(found.ele_m[0]) == known
    assert found.notes == (() if known else ("1 elevations give no height and are unknown, not zero.",))
    assert one(points("")).notes == ()


@pytest.mark.parametrize(("speed", "known"), [("-1", False), ("0", True), ("-0.1", False)])
def test_a_speed_below_zero_is_none(speed: str, known: bool) -> None:
    assert np.isfinite(one(points(f"<speed>{speed}</speed>")).speed_mps[0]) == known


def test_what_was_odd_in_times_and_numbers_is_told_in_order() -> None:
    inner = [
        "<time>2024-05-14T07:10:00</time><ele>20,5</ele>", "<time>noon</time><ele>21,5</ele>",
        "<time>2016-12-31T23:59:60Z</time><ele>x</ele>",
        "<time>2024-05-14T07:10:01</time>", "<time> </time>",
    ]  # fmt: skip
    found = one(points(*inner).replace('lat="51.5"', 'lat="51,5"', 2))
    assert found.notes == (
        "2 coordinates are written with a decimal comma and were read as such.",
        "2 of 5 times name no zone and were taken as UTC.",
        "2 of 5 times cannot be read and are unknown.",
        "1 times name a leap second (23:59:60) and were read as 23:59:59.999.",
        "2 elevations are written with a decimal comma and were read as such.",
        "1 elevations give no height and are unknown, not zero.",
    )
    assert found.counts == {"zone_assumed_utc": 2}
    offset = one(points("<time>2024-05-14T09:10:00+02:00</time>"))
    assert (offset.counts, offset.notes) == ({"utc_offset_min": 120}, ())


@pytest.mark.parametrize(
    ("lat", "lon", "problem"),
    [
        ('lat="51"', 'lon="3"', ""), ("", 'lon="3"', "no_position"), ('lat="51"', "", "no_position"), ("", "", "no_position"),
        ('lat="x"', "", "unparseable_coordinate"), ("", 'lon="x"', "unparseable_coordinate"),
        ('lat="nan"', 'lon="3"', "not_finite"),
        ('lat="nan"', 'lon="x"', "not_finite"), ('lat="51"', 'lon="inf"', "not_finite"),
    ],
)  # fmt: skip
def test_a_text_that_is_no_number_says_more_than_a_missing_one(lat: str, lon: str, problem: str) -> None:
    assert one(f"{HEAD}<trkpt {lat} {lon}/>{FOOT}").problem.tolist() == [problem]


@pytest.mark.parametrize(("names", "kept"), [(64, 64), (65, 64)])
def test_only_so_many_names_of_values_are_kept(names: int, kept: int) -> None:
    found = one(points("".join(f"<v{k}>{k}</v{k}>" for k in range(names))))
    assert len(found.extras) == kept
    assert found.extras["v63"][0] == 63.0
    track = columns.Columns(1, "", "")
    track.add("1", "2")
    track.put("a", "5")
    track.add("3", "4")
    track.put("a", "6")
    assert (track.values, track.lat, track.lon, track.segment) == (
        {"a": ([0, 1], ["5", "6"])},
        ["1", "3"],
        ["2", "4"],
        [0, 0],
    )


def test_the_name_and_the_time_are_those_of_track_and_document() -> None:
    text = (
        "<gpx><metadata><author><name>A</name></author><time>2024-05-14T07:00:00Z</time></metadata><wpt lat='1' lon='2'>"
        "<name>W</name><time>2020-01-01T00:00:00Z</time></wpt><trk><link><name>L</name></link><name>T</name><trkseg>"
        f"{PLACE}<name>P</name></trkpt></trkseg></trk><trk><trkseg>{PLACE}</trkpt></trkseg></trk></gpx>"
    )
    first, second = read(text)
    assert (first.name, second.name) == ("T", "")
    assert str(first.file_time)[:19] == str(second.file_time)[:19] == "2024-05-14T07:00:00"


def test_notes_on_the_file_stand_with_the_first_track_that_holds_points() -> None:
    full = f"<trkseg>{PLACE}</trkpt></trkseg></trk>"
    text = f"<gpx><trk/><trk><name>a & b</name>{full}<trk/><trk>{full}</gpx>"
    found = read(text)
    assert [bool(r.notes) for r in found] == [False, True, False, False]
    assert [r.remarks for r in found] == [(), ("2 of the file's 4 tracks hold no points.",), (), ()]


def test_what_stands_beside_points_and_names_is_neither() -> None:
    beside = points("", "").replace("</trkpt>", "</trkpt><extensions><a>5</a></extensions>")
    described = beside.replace("</name>", "</name><cmt>C</cmt><desc>D</desc><link><text>T</text></link>")
    assert (one(described).name, one(described).segment.tolist()) == ("Ride", [0, 0])


def test_text_between_elements_is_of_none() -> None:
    found = one(points("1<ele>20.5</ele>2<speed>4</speed>3").replace("<name>Ride", "4<name>Ride"))
    assert (found.ele_m[0], found.speed_mps[0], found.name) == (20.5, 4.0, "Ride")


# documents that are none


def test_why_a_document_holds_no_track() -> None:
    def why(text: str) -> str:
        with pytest.raises(UnreadableFile) as caught:
            read(text)
        return caught.value.found

    assert (
        why("<gpx><wpt/><wpt/><rte><rtept/><rtept/><rtept/></rte></gpx>")
        == "a planned route (3 points) and no recorded track"
    )
    assert why("<gpx><wpt/><wpt/></gpx>") == "2 waypoints and no track"
    assert why("<gpx/>") == why("<trk/>") == "a GPX document without any track points"
    assert why("<kml/>") == "XML that is no GPX"


def test_what_looks_like_xml() -> None:
    for data in (b"\xef\xbb\xbf <gpx>", b"\xff\xfe<\0g\0", b"\r\n\t<", b"\0<"):
        assert reader.looks_like(data)
    for data in (b"", b"x<gpx>", b"$GPGGA", b" " * 400 + b"<gpx>"):
        assert not reader.looks_like(data)
    assert reader.holds_points(b'x <trkpt lat="1"')
    assert reader.holds_points(b"x <g:trkpt ")
    assert not reader.holds_points(b"x trkpt")


def test_a_line_is_a_track_before_a_route() -> None:
    route = '<rte><rtept lat="1" lon="2"/><rtept lat="3" lon="4"/></rte>'
    lon, lat = reader.read_line(f"<gpx>{route}</gpx>".encode(), "l.gpx")
    assert (lon.tolist(), lat.tolist()) == ([2.0, 4.0], [1.0, 3.0])
    both = f'<gpx>{route}<trk><trkseg><trkpt lat="5" lon="6"/><trkpt lat="x" lon="6"/><trkpt lat="7" lon="8"/></trkseg></trk></gpx>'
    assert reader.read_line(both.encode(), "l.gpx")[1].tolist() == [5.0, 7.0]
    for text, found in (("<gpx/>", 0), (both.replace('lat="7"', 'lat="97"'), 1)):
        with pytest.raises(UnreadableFile, match=f"found {found} positions; expected a line of two or more"):
            reader.read_line(text.encode(), "l.gpx")


def test_each_format_is_known_by_its_content() -> None:
    log = b"$GPGGA,123519,4807.038,N,01131.000,E,1,08,0.9,545.4,M,46.9,M,,*47"
    assert [r.points for r in read_document(log, "a.gpx")] == [1]
    assert read_document(b"lat,lon\n1,2\n", "a.gpx")[0].remarks[0].startswith("read as a table")
    assert read_document(b"x " + PLACE.encode() + b"</trkpt>", "a.txt")[0].lat_deg.tolist() == [51.5]
    assert read_document(ride(3).encode(), "a.csv")[0].points == 3
    (zoned,) = read_document(b"time,lat,lon\n2024-05-14 09:10,1,2\n", "a", "Europe/Paris")
    assert str(zoned.time[0])[11:16] == "07:10"
    (ordered,) = read_document(b"time,lat,lon\n03/05/2024 09:10Z,1,2\n", "a", None, "mdy")
    assert str(ordered.time[0])[:10] == "2024-03-05"
    for data, reason in (
        (b"hello", "unknown_format"),
        (b"", "empty_file"),
        (b" \n", "empty_file"),
        (b"\0\0", "empty_file"),
    ):
        with pytest.raises(UnreadableFile) as caught:
            read_document(data, "a.txt")
        assert caught.value.reason == reason


# encodings


def test_how_bytes_become_utf8() -> None:
    text = "<a>Süd</a>"
    for codec in ("utf-8-sig", "utf-16", "utf-32", "utf-16-le", "utf-16-be"):
        assert to_utf8(text.encode(codec)) == to_utf8(text.encode())
    assert to_utf8(text.encode()).notes == ()
    declared = "<?xml version='1.0' encoding='{}'?>" + text
    for name in ("UTF-8", "utf8", "UTF-16", "ucs-2", "US-ASCII", "no-such"):
        assert to_utf8(declared.format(name).encode()).data.decode().endswith(text)
    assert to_utf8(declared.format("ISO-8859-1").encode("latin-1")).data.decode().endswith(text)
    assert to_utf8(b"\n" + declared.format("cp1252").encode("cp1252")).data.decode().endswith(text)
    cyrillic = "<?xml version='1.0' encoding='ISO-8859-5'?><a>Дорога</a>"
    assert to_utf8(cyrillic.encode("iso-8859-5")).data == cyrillic.encode()
    lying = to_utf8(declared.format("UTF-8").encode("cp1252"))
    assert lying.data.decode().endswith(text)
    assert lying.notes == ("The text is not in the encoding that the file declares; it was read as Windows-1252.",)
    odd = to_utf8("<a>Süd Nörd</a>".encode() + b"\xff")
    assert odd.notes == ("1 bytes are no characters in UTF-8 and were replaced.",)
    even = to_utf8("<a>ü</a>".encode() + b"\xff")
    assert even.notes[0].endswith("it was read as Windows-1252.")
    cut = to_utf8("<a>Süd</a>".encode("utf-16")[:-1])
    assert cut.notes == ("Some bytes are no characters in the file's encoding and were replaced.",)


def test_what_is_no_document_is_refused() -> None:
    def reason(data: bytes) -> str:
        with pytest.raises(UnreadableFile) as caught:
            refuse_what_is_no_xml(data, "a.gpx")
        return f"{caught.value.reason}: {caught.value.found}"

    assert reason(b"") == reason(b" \r\n\t") == "empty_file: an empty file"
    assert reason(b"\0 \0") == "empty_file: nothing but zero bytes"
    assert reason(b" <?xml version='1.0'?> \n") == "empty_file: an XML declaration and nothing else"
    for page in (b"<!DOCTYPE HTML>", b"<html>", b"<?xml?><!-- x --> <!-- y --><body class='a'>", b"<head>"):
        assert reason(page).startswith("html_page")
    for sound in (b"<gpx/>", b"<header/>", b"<?xml version='1.0'?><gpx/>", b"<gpx><html></html></gpx>"):
        refuse_what_is_no_xml(sound, "a.gpx")
    with pytest.raises(UnreadableFile, match="entities"):
        refuse_entities(b"<!DOCTYPE x [<!entity a 'b'>]>", "a.gpx")
    refuse_entities(b"<!ENTITYX>", "a.gpx")


# damage


@pytest.mark.parametrize(
    ("text", "cleaned", "control", "ampersands"),
    [
        ("a&amp;b&lt;&gt;&quot;&apos;", "a&amp;b&lt;&gt;&quot;&apos;", 0, 0), ("a & b &c", "a &amp; b &amp;c", 0, 2),
        ("&uuml;&unknown;", "ü&amp;unknown;", 0, 2), ("&#13;&#10;&#9;&#32;", "&#13;&#10;&#9;&#32;", 0, 0),
        ("&#12;&#31;&#0;&#x1F;", "", 4, 0), ("&#xD7FF;&#xE000;&#xFFFD;", "&#xD7FF;&#xE000;&#xFFFD;", 0, 0),
        ("&#x10FFFF;&#x10000;", "&#x10FFFF;&#x10000;", 0, 0),
        ("&#xD800;&#xDFFF;&#xFFFE;&#xFFFF;&#x110000;", "", 5, 0), ("a\x08b\x0bc\x0cd\x0ee\x1ff\x00g", "abcdefg", 6, 0),
        ("a\tb\nc\rd", "a\tb\nc\rd", 0, 0), ("\ufffe\uffff\ufffd", "\ufffd", 2, 0), ("&#65;&#X41;", "&#65;&#X41;", 0, 0),
    ],
)  # fmt: skip
def test_characters_that_xml_forbids(text: str, cleaned: str, control: int, ampersands: int) -> None:
    """XML 1.0 (fifth edition), productions 2 and 68."""
    data, notes = salvage.clean(text.encode())
    assert data.decode() == cleaned
    said = [f"{control} control characters that XML forbids were removed."] if control else []
    said += [f"{ampersands} ampersands that begin no XML reference were read as text."] if ampersands else []
    assert notes == said


def test_what_is_said_of_breaks() -> None:
    broken = ride(8).replace('lat="51.0003"', 'lat="51.0003', 1)
    (note,) = one(broken).notes
    assert note.startswith("The XML is broken in one place, first in line 6 (")
    assert note.endswith("); reading went on behind it.")
    twice = broken.replace('<trkpt lat="51.0006"', 'trkpt lat="51.0006"', 1).replace(
        "00:00:06Z</time>", "00:00:06Z</tXme>"
    )
    assert "The XML is broken in 2 places, first in line 6 (" in one(twice).notes[0]
    junk = ride(3) + "what follows"
    assert one(junk).notes == ("What stands after the end of the document is no GPX and was passed over.",)
    both = one(
        "\n" + ride(8)[ride(8).index("<gpx") :].replace('lat="51.0003"', 'lat="51.0003', 1) + "what follows"
    ).notes
    assert both[0].startswith("The XML is broken in one place, first in line 6 (")
    assert both[1:] == one(junk).notes
    first, second = read(ride(3) + ride(2))
    assert first.notes == ("The file holds 2 GPX documents, one after the other; each was read.",)
    assert (first.points, second.points, first.truncated, second.truncated, second.notes) == (3, 2, False, False, ())


def test_what_is_said_of_a_cut_file() -> None:
    whole = ride(5)
    cut = one(whole[: whole.index("51.0003") + 3])
    assert cut.notes == (
        "The file is cut off: 3 complete points were kept and 1 unfinished dropped; where the ride ended is unknown, so its "
        "length and duration are at least those given.",
    )
    assert cut.problem.tolist() == ["", "", "", "truncated_element"]
    assert cut.truncated


def test_of_two_tracks_the_last_is_the_one_that_is_cut() -> None:
    two = f"<gpx><trk><trkseg>{point(0)}</trkseg></trk><trk><trkseg>{point(1)}"
    assert [r.truncated for r in read(two)] == [False, True]


def test_a_track_goes_on_behind_a_break_and_a_new_one_is_one() -> None:
    broken = (
        f"<gpx><trk><name>A</name><trkseg>{point(0)}<trkpt lat='51.1 lon='3'/>{point(2)}</trkseg><trkseg>{point(3)}"
    )
    broken += f"</trkseg></trk><trk><name>B</name><trkseg>{point(4)}</trkseg></trk></gpx>"
    first, second = read(broken)
    assert (first.name, first.points, first.problem.tolist()) == ("A", 4, ["", "truncated_element", "", ""])
    assert first.segment.tolist() == [0, 0, 0, 1]
    assert (second.name, second.points) == ("B", 1)
    later = broken.replace(point(4), f"{point(4)}<trkpt lat='51.1 lon='3'/>{point(5)}")
    assert [r.points for r in read(later)] == [4, 3]
    prefixed = (
        broken.replace("<trk", "<g:trk")
        .replace("</trk", "</g:trk")
        .replace("<gpx", "<g:gpx")
        .replace("</gpx", "</g:gpx")
    )
    assert [(r.points, r.notes[:1]) for r in read(prefixed)] == [(4, first.notes), (1, second.notes)]  # broken once too


def test_where_the_tag_of_a_byte_begins() -> None:
    data = b"<a><b c='d'>text<e"
    assert [salvage._token_start(data, 0, index) for index in (5, 14, 18)] == [3, 14, 16]
    assert salvage._token_start(data, 4, 6) == 6


def test_a_point_is_lost_once() -> None:
    sink = Sink()
    sink.start("trkpt", {"lat": "1", "lon": "2"})
    sink.break_point()
    assert (sink.tracks[0].broken, sink.inside_point) == ({0}, False)
    sink.break_point()
    salvage._account(sink, b"<x></x>")
    assert sink.tracks[0].lat == ["1"]
    salvage._account(sink, b"..</g:trkpt >..")
    assert (sink.tracks[0].lat, sink.tracks[0].broken) == (["1", None], {0, 1})
    salvage._account(sink, b"<g:trkp")
    assert len(sink.tracks[0].lat) == 3


def test_long_files_break_where_they_break() -> None:
    """Over the pieces in which they are read: 4096 bytes, twice as many, and so on."""
    long = HEAD + "".join(f'<trkpt lat="{40 + k / 1000:.3f}" lon="-3.1"></trkpt>\n' for k in range(3000)) + FOOT
    broken = long.replace('lat="41.500"', 'lat="41.500', 1)
    found = one(broken)
    assert found.points == 3000
    assert np.flatnonzero(found.problem != "").tolist() == [1500]
    assert f"first in line {broken[: broken.index('41.500')].count(chr(10)) + 1} (" in found.notes[0]

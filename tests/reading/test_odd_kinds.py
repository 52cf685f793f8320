"""Odd kinds of file, each answered by points and plain notes, or by one plain line; never by a traceback.

What is expected follows from how each file was made: 30 sound points, unless the oddity takes some away. Checksums of
NMEA sentences are computed from their own bytes (NMEA 0183, 5.3.1).
"""

from __future__ import annotations

import gzip
import io
import warnings
import zipfile
from typing import TYPE_CHECKING

import numpy as np
import pytest

from gpsq.model import Trace, Unreadable
from gpsq.reading import read_file
from gpsq.settings import Settings

if TYPE_CHECKING:
    from collections.abc import Callable
    from pathlib import Path

NS = 'xmlns="http://www.topografix.com/GPX/1/1"'
XML = '<?xml version="1.0" encoding="UTF-8"?>'
ROOT = f'<gpx version="1.1" creator="x" {NS}>'
N = 30


def lat(i: int) -> str:
    return f"{51 + i / 1e4:.5f}"


def lon(i: int) -> str:
    return f"{-3.1 - i / 1e4:.5f}"


def clock(i: int) -> str:
    return f"2024-05-06T07:00:{i:02d}Z"


def points(
    lat: Callable[[int], str] = lat, lon: Callable[[int], str] = lon, time: Callable[[int], str] = clock, more: str = ""
) -> str:
    one = '<trkpt lat="{}" lon="{}"><time>{}</time>{}</trkpt>'
    return "".join(one.format(lat(i), lon(i), time(i), more) for i in range(N))


def gpx(body: str = "", head: str = XML, root: str = ROOT, **kind: Callable[[int], str] | str) -> bytes:
    inside = body or points(**kind)  # type: ignore[arg-type]
    return f"{head}{root}<trk><trkseg>{inside}</trkseg></trk></gpx>".encode()


def sentence(body: str, wrong: int = 0) -> str:
    check = 0
    for byte in body.encode():
        check ^= byte
    return f"${body}*{check ^ wrong:02X}\r\n"


def rmc(i: int, talker: str = "GP", wrong: int = 0, north: str = "N", status: str = "A", date: str = "060524") -> str:
    place = f"5112.{1000 + 3 * i:04d},{north},00336.{5000 - 3 * i:04d},W"
    return sentence(f"{talker}RMC,0700{i:02d}.00,{status},{place},10.0,90.0,{date},,", wrong)


def log(line: Callable[[int], str]) -> bytes:
    return "".join(line(i) for i in range(N)).encode()


def table(head: str, row: Callable[[int], str]) -> bytes:
    return (head + "".join(row(i) for i in range(N))).encode()


def plain_row(i: int) -> str:
    return f"{lat(i)},{lon(i)},{clock(i)}\n"


def zipped(members: dict[str, bytes], method: int = zipfile.ZIP_DEFLATED) -> bytes:
    held = io.BytesIO()
    with zipfile.ZipFile(held, "w", method) as archive:
        for name, data in members.items():
            archive.writestr(name, data)
    return held.getvalue()


def twice_named() -> bytes:
    held = io.BytesIO()
    with zipfile.ZipFile(held, "w") as archive, warnings.catch_warnings():
        warnings.simplefilter("ignore")
        archive.writestr("a.gpx", gpx())
        archive.writestr("a.gpx", gpx())
    return held.getvalue()


def protected() -> bytes:
    data = bytearray(zipped({"a.gpx": gpx()}))
    data[6] |= 1
    data[data.index(b"PK\x01\x02") + 8] |= 1
    return bytes(data)


PREFIXED = points().replace("<trkpt", "<g:trkpt").replace("</trkpt", "</g:trkpt").replace("time>", "g:time>")
PREFIXED = PREFIXED.replace("</g:g:", "</g:").replace("<g:g:", "<g:")
TAGGED = points().replace("<time>", "<time><![CDATA[").replace("</time>", "]]></time>")

#: Kinds that give all their thirty points.
WHOLE: dict[str, bytes] = {
    "utf32.gpx": gpx().decode().encode("utf-32"),
    "utf16-without-mark.gpx": gpx().decode().encode("utf-16-le"),
    "unknown-encoding.gpx": gpx(head='<?xml version="1.0" encoding="klingon"?>'),
    "xml-1.1.gpx": gpx(head='<?xml version="1.1"?>'),
    "two-marks.gpx": b"\xef\xbb\xbf\xef\xbb\xbf" + gpx(),
    "empty-lines-first.gpx": b"\n\n\n" + gpx(),
    "zeros-after.gpx": gpx() + bytes(500),
    "other-namespace.gpx": gpx(root='<gpx version="2.7" xmlns="urn:x:y">'),
    "prefix.gpx": (
        '<g:gpx xmlns:g="http://www.topografix.com/GPX/1/1" version="1.1"><g:trk><g:trkseg>'
        f"{PREFIXED}</g:trkseg></g:trk></g:gpx>"
    ).encode(),
    "huge-attribute.gpx": gpx(root=f'<gpx version="1.1" creator="{"A" * 500_000}" {NS}>'),
    "many-attributes.gpx": gpx(root="<gpx " + " ".join(f'a{i}="1"' for i in range(5000)) + f" {NS}>"),
    "deep.gpx": gpx("<a>" * 2000 + "</a>" * 2000 + points()),
    "cdata.gpx": gpx(TAGGED),
    "instruction.gpx": gpx("<?run this?>" + points()),
    "stylesheet.gpx": gpx(head='<?xml version="1.0"?><?xml-stylesheet href="http://127.0.0.1/x.xsl"?>'),
    "included.gpx": gpx('<xi:include xmlns:xi="http://www.w3.org/2001/XInclude" href="/etc/passwd"/>' + points()),
    "long-comment.gpx": gpx(f"<!--{'x' * 300_000}-->" + points()),
    "nested-tracks.gpx": gpx("<trk><trkseg>" * 100 + points() + "</trkseg></trk>" * 100),
    "empty-segments.gpx": gpx("</trkseg><trkseg>" * 500 + points()),
    "right-to-left.gpx": gpx(root=f'<gpx version="1.1" creator="\u202egnp.exe" {NS}>'),
    "exponents.gpx": gpx(lat=lambda i: f"{(51 + i / 1e4) / 10:.6f}e1"),
    "plus.gpx": gpx(lat=lambda i: f"+{lat(i)}"),
    "commas.gpx": gpx(lat=lambda i: lat(i).replace(".", ",")),
    "long-number.gpx": gpx(lat=lambda i: f"51.{'0' * 2000}{i}"),
    "other-digits.gpx": gpx(lat=lambda i: "٥١.٠"),
    "poles.gpx": gpx(lat=lambda i: "90", lon=str),
    "heights-no-numbers.gpx": gpx(more="<ele>high</ele><hdop>-5</hdop><sat>many</sat><speed>NaN</speed>"),
    "heights-without-end.gpx": gpx(more="<ele>1e308</ele><hdop>1e308</hdop><sat>1e308</sat><speed>1e308</speed>"),
    "year-9876.gpx": gpx(time=lambda i: f"9876-05-06T07:00:{i:02d}Z"),
    "year-0.gpx": gpx(time=lambda i: f"0000-01-01T00:00:{i:02d}Z"),
    "year-292278995.gpx": gpx(time=lambda i: f"292278995-01-01T00:00:{i:02d}Z"),
    "zone-99.gpx": gpx(time=lambda i: f"2024-05-06T07:00:{i:02d}+99:99"),
    "shuffled.gpx": gpx(time=lambda i: clock(7 * i % 30)),
    "backwards.gpx": gpx(time=lambda i: clock(59 - i)),
    "one-moment.gpx": gpx(time=lambda i: clock(0)),
    "no-checksums.nmea": log(lambda i: rmc(i).split("*")[0] + "\r\n"),
    "returns-only.nmea": log(lambda i: rmc(i).replace("\r\n", "\r")),
    "glued.nmea": log(lambda i: rmc(i).strip()),
    "talkers.nmea": log(lambda i: rmc(i, ("GP", "GN", "GL", "BD")[i % 4])),
    "binary-between.nmea": log(rmc).replace(b"\r\n", b"\r\n\xb5b\x01\x07\x00\xff\x00"),
    "long-line.nmea": log(rmc) + b"$GPRMC," + b"9" * 300_000 + b"\r\n",
    "no-such-day.nmea": log(lambda i: rmc(i, date="310299")),
    "headings.csv": table("Zeit,Breite,Länge\n", lambda i: f"{clock(i)},{lat(i)},{lon(i)}\n"),
    "tabs.csv": table("lat\tlon\ttime\n", lambda i: plain_row(i).replace(",", "\t")),
    "bars.csv": table("lat|lon|time\n", lambda i: plain_row(i).replace(",", "|")),
    "quoted.csv": table('"lat","lon","time"\n', lambda i: f'"{lat(i)}","{lon(i)}","{clock(i)}"\n'),
    "separator-said.csv": table("sep=;\nlat;lon;time\n", lambda i: plain_row(i).replace(",", ";")),
    "formula.csv": table("lat,lon,time,name\n", lambda i: plain_row(i).strip() + ",=cmd|x\n"),
    "utf16.csv": table("lat,lon,time\n", plain_row).decode().encode("utf-16"),
    "days.csv": table("lat,lon,time\n", lambda i: f"{lat(i)},{lon(i)},{45418.25 + i / 86400:.8f}\n"),
    "stored.zip": zipped({"a.gpx": gpx()}, zipfile.ZIP_STORED),
    "lzma.zip": zipped({"a.gpx": gpx()}, zipfile.ZIP_LZMA),
    "two-parts.gpx.gz": gzip.compress(gpx()[:500]) + gzip.compress(gpx()[500:]),
    "junk-after.gpx.gz": gzip.compress(gpx()) + b"junk",
}

#: Kinds that give less: how many points stay, of how many.
PARTLY: dict[str, tuple[bytes, int, int]] = {
    "attribute-twice.gpx": (gpx().replace(b'<trkpt lat="51.00100"', b'<trkpt lat="51.0" lat="51.00100"'), 29, 30),
    "minus-zero.gpx": (gpx(lat=lambda i: "-0.0", lon=lambda i: "-0.0"), 0, 30),
    "every-third-wrong.nmea": (log(lambda i: rmc(i, wrong=i % 3 == 0)), 20, 20),
    "void.nmea": (log(lambda i: rmc(i, status="V")), 0, 30),
}

#: Kinds that give nothing, and what is said of them.
NOTHING: dict[str, tuple[bytes, str]] = {
    "ebcdic.gpx": (gpx().decode().encode("cp037"), "content in no format"),
    "capitals.gpx": (gpx().upper(), "XML that is no GPX"),
    "hexadecimal.gpx": (gpx(lat=lambda i: "0x33"), "no usable position (30 unparseable coordinate)"),
    "underscores.gpx": (gpx(lat=lambda i: f"5_1.{i}"), "no usable position (30 unparseable coordinate)"),
    "infinite.gpx": (gpx(lat=lambda i: "inf"), "no usable position (30 not finite)"),
    "beyond-numbers.gpx": (gpx(lat=lambda i: "1e400"), "no usable position (30 not finite)"),
    "north-of-north.gpx": (gpx(lat=lambda i: "95.1"), "no usable position (30 out of range)"),
    "round-twice.gpx": (gpx(lon=lambda i: "540"), "no usable position (30 out of range)"),
    "all-wrong.nmea": (
        log(lambda i: rmc(i, wrong=1)),
        "no sound GGA, GNS, RMC or GLL sentence (30 with a wrong checksum)",
    ),
    "hemisphere-x.nmea": (log(lambda i: rmc(i, north="X")), "no usable position (30 unparseable coordinate)"),
    "y-x.csv": (table("y,x,t\n", plain_row), "the headings y, x, t"),
    "no-heading.csv": (table("", plain_row), "the headings 51.00000"),
    "ragged.csv": (table("lat,lon,time\n", lambda i: plain_row(i).strip() + ",x" * (i % 4) + "\n"), "more cells than"),
    "heading-only.csv": (b"lat,lon,time\n", "a heading without rows"),
    "no-numbers.csv": (table("lat,lon,time\n", lambda i: "nan,nan,\n"), "no usable position (30 not finite)"),
    "archives-inside.zip": (zipped({"a.zip": zipped({"b.gpx": gpx()})}), "an archive inside an archive"),
    "empty.zip": (zipped({}), "an archive without a recording"),
    "protected.zip": (protected(), "a protected member"),
    "cut.zip": (zipped({"a.gpx": gpx()})[:-40], "an archive that is damaged or cut off"),
    "twice-packed.gpx.gz": (gzip.compress(gzip.compress(gpx())), "an archive inside an archive"),
    "picture.gpx": (b"\x89PNG\r\n\x1a\n" + bytes(300), "content in no format"),
    "spaces.gpx": (b"  \n", "an empty file"),
    "zeros.gpx": (bytes(1000), "nothing but zero bytes"),
}


def read(folder: Path, name: str, data: bytes) -> list[Trace | Unreadable]:
    (folder / name).write_bytes(data)
    found = list(read_file(folder / name, name, settings=Settings()))
    for one in found:
        lines = [one.message] if isinstance(one, Unreadable) else [*one.notes, *one.remarks]
        for line in lines:
            assert line.isprintable()
            assert "nan" not in line.split()
            assert len(line) < 500
    return found


@pytest.mark.parametrize("name", WHOLE)
def test_all_points_are_read(tmp_path: Path, name: str) -> None:
    (trace,) = read(tmp_path, name, WHOLE[name])
    assert isinstance(trace, Trace)
    assert (trace.accepted, trace.points) == (N, N)


@pytest.mark.parametrize("name", PARTLY)
def test_the_sound_points_are_read(tmp_path: Path, name: str) -> None:
    data, accepted, of = PARTLY[name]
    (trace,) = read(tmp_path, name, data)
    assert isinstance(trace, Trace)
    assert (trace.accepted, trace.points) == (accepted, of)


@pytest.mark.parametrize("name", NOTHING)
def test_one_plain_line_says_why_nothing_is_read(tmp_path: Path, name: str) -> None:
    data, said = NOTHING[name]
    (lost,) = read(tmp_path, name, data)
    assert isinstance(lost, Unreadable)
    where, _, found = lost.message.partition(": found ")
    assert where.partition(".zip/")[0].removesuffix(".zip") == name.removesuffix(".zip")
    assert found.startswith(said)
    assert "; expected " in lost.message


def test_every_member_of_an_archive_is_answered(tmp_path: Path) -> None:
    found = read(tmp_path, "slip.zip", zipped({"../../x.gpx": gpx(), "ok.gpx": gpx(), "a\nb\x1b[2J.gpx": gpx()}))
    assert [isinstance(one, Trace) for one in found].count(True) == 2
    (lost,) = [one for one in found if isinstance(one, Unreadable)]
    assert "leads out of the archive" in lost.message
    assert len(read(tmp_path, "same.zip", twice_named())) == 2


def test_times_that_no_receiver_writes_are_named(tmp_path: Path) -> None:
    (trace,) = read(tmp_path, "far.gpx", WHOLE["year-9876.gpx"])
    assert isinstance(trace, Trace)
    assert "30 of 30 times lie before 1980 or after 2099, the first in 9876: a clock that was not set?" in trace.notes
    (early,) = read(tmp_path, "early.gpx", gpx(time=lambda i: f"1970-01-01T00:00:{i:02d}Z" if i < 3 else clock(i)))
    assert isinstance(early, Trace)
    assert any(note.startswith("3 of 30 times lie before 1980") and "1970" in note for note in early.notes)
    (sound,) = read(tmp_path, "sound.gpx", gpx())
    assert isinstance(sound, Trace)
    assert not [note for note in sound.notes if "1980" in note]


def test_days_of_a_spreadsheet_are_times(tmp_path: Path) -> None:
    """45418 is 2024-05-06 (ECMA-376 part 1, 18.17.4; Python's own calendar agrees), a quarter of a day 06:00."""
    (trace,) = read(tmp_path, "days.csv", WHOLE["days.csv"])
    assert isinstance(trace, Trace)
    assert trace.time[0] == np.datetime64("2024-05-06T06:00:00.000")
    assert np.abs(np.diff(trace.time) / np.timedelta64(1, "ms") - 1000).max() <= 2
    assert trace.date_known
    assert any("days of a spreadsheet" in note for note in trace.notes)
    seconds = table("lat,lon,time\n", lambda i: f"{lat(i)},{lon(i)},{45418.25 + i:.2f}\n")
    (of_day,) = read(tmp_path, "seconds.csv", seconds)
    assert isinstance(of_day, Trace)
    assert not of_day.date_known
    assert of_day.time[-1] - of_day.time[0] == np.timedelta64(29, "s")

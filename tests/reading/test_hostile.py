"""Files made to break a reader: mutated by the hundred, nested, huge, compressed bombs. GPSQ_FUZZ=20000 runs more."""

from __future__ import annotations

import gzip
import io
import json
import os
import random
import zipfile
from typing import TYPE_CHECKING

import numpy as np
import pytest

from gpsq.model import Trace, Unreadable
from gpsq.pipeline.check import inspect_paths
from gpsq.reading import read_file
from gpsq.settings import Settings

if TYPE_CHECKING:
    from collections.abc import Callable
    from pathlib import Path

MUTATIONS = int(os.environ.get("GPSQ_FUZZ", "400"))
#: Bombs are a tenth of their size unless the long run is asked for.
SCALE = 1 if "GPSQ_FUZZ" in os.environ else 10
HEAD = (
    '<?xml version="1.0" encoding="UTF-8"?>\n'
    '<gpx version="1.1" xmlns="http://www.topografix.com/GPX/1/1"><trk><name>R</name><trkseg>'
)
FOOT = "</trkseg></trk></gpx>"


def point(i: int) -> str:
    time = f"2024-01-01T00:{i // 60:02d}:{i % 60:02d}Z"
    inner = f"<ele>1.5</ele><time>{time}</time><hdop>0.9</hdop>"
    return f'<trkpt lat="{51 + i / 1e4:.5f}" lon="-3.{i:04d}">{inner}</trkpt>\n'


def samples() -> dict[str, bytes]:
    """Return one sound file of every format; NMEA checksums from the sentences' own bytes (NMEA 0183, 5.3.1)."""
    gpx = (HEAD + "".join(point(i) for i in range(40)) + FOOT).encode()
    nmea = b"".join(sentence(i) for i in range(30))
    table = "time;lat;lon;ele\n" + "".join(f"2024-01-01T00:00:{i:02d}Z;51,{i:04d};-3,1;7,5\n" for i in range(30))
    archive = io.BytesIO()
    with zipfile.ZipFile(archive, "w", zipfile.ZIP_DEFLATED) as file:
        file.writestr("mon.gpx", gpx)
        file.writestr("tue.nmea", nmea)
    return {
        "a.gpx": gpx,
        "wide.gpx": gpx.decode().encode("utf-16"),
        "two.gpx": gpx + gpx,
        "b.nmea": nmea,
        "c.csv": table.encode(),
        "d.gpx.gz": gzip.compress(gpx),
        "e.zip": archive.getvalue(),
    }


def sentence(i: int) -> bytes:
    bodies = [
        f"GPGGA,0700{i:02d}.00,5112.{i:04d},N,00336.0000,W,{int(i > 4)},08,0.9,12.0,M,50.0,M,,",
        f"GPRMC,0700{i:02d}.00,{'A' if i > 4 else 'V'},5112.{i:04d},N,00336.0000,W,10.0,90.0,140524,,",
    ]
    lines = []
    for body in bodies:
        check = 0
        for character in body.encode():
            check ^= character
        lines.append(f"${body}*{check:02X}\r\n")
    return "".join(lines).encode()


def flip(data: bytearray, rng: random.Random) -> bytearray:
    for _ in range(rng.randint(1, 12)):
        data[rng.randrange(len(data))] = rng.randrange(256)
    return data


def cut(data: bytearray, rng: random.Random) -> bytearray:
    start, stop = sorted(rng.choices(range(len(data) + 1), k=2))
    return data[:start] if rng.random() < 0.5 else data[:start] + data[stop:]


def splice(data: bytearray, rng: random.Random) -> bytearray:
    start, stop = sorted(rng.choices(range(len(data) + 1), k=2))
    at = rng.randrange(len(data) + 1)
    return data[:at] + data[start : min(stop, start + 2000)] * rng.randint(1, 3) + data[at:]


PIECES = [
    b"\0" * 50, b"<", b">", b"&", b"]]>", b"<![CDATA[", b"<!--", b"-->", b"<?x", b"</trkseg>", b"</gpx>", b"<trkpt>",
    b"<trk><trkseg>", b'<trkpt lat="1e400" lon="nan">', b"<!DOCTYPE gpx>", b"<!ENTITY a 'b'>", b"&#0;", b"&#xD800;",
    b"$GPGGA,,,,,*00\r\n", b"\n;;;,,,\t\n", b'"', b"99999999999999999999", b"-", b"9999-12-31T23:59:59Z",
    b"\xed\xa0\x80", b"\xff\xfe", b"<trkpt lat='0' lon='0'/>",
]  # fmt: skip


def insert(data: bytearray, rng: random.Random) -> bytearray:
    for _ in range(rng.randint(1, 4)):
        at = rng.randrange(len(data) + 1)
        data = data[:at] + rng.choice(PIECES) + data[at:]
    return data


MUTATORS: list[Callable[[bytearray, random.Random], bytearray]] = [flip, cut, splice, insert]


def assert_accounted(path: Path, name: str) -> None:
    """Check that every point of every recording is accounted for and in order, and that messages are one line."""
    for result in read_file(path, name, settings=Settings()):
        if isinstance(result, Unreadable):
            assert result.message
            assert "\n" not in result.message
            assert sum(s.points for s in result.set_aside) == result.points
            continue
        assert result.accepted + sum(s.points for s in result.set_aside) == result.points
        assert len(np.unique(result.point)) == result.accepted
        if not any("put in order" in note for note in result.notes):
            assert (np.diff(result.point) > 0).all()
        assert np.isfinite(result.lat_deg).all()
        assert all("\n" not in note for note in (*result.notes, *result.remarks))
    json.dumps(inspect_paths([path], Settings()), allow_nan=False)


@pytest.mark.filterwarnings("error")
@pytest.mark.parametrize("name", list(samples()))
def test_mutated_files_give_points_or_one_line(tmp_path: Path, name: str) -> None:
    rng = random.Random(name)
    whole = samples()[name]
    path = tmp_path / name
    for number in range(MUTATIONS // len(samples())):
        data = bytearray(whole)
        for _ in range(rng.randint(1, 3)):
            data = rng.choice(MUTATORS)(data, rng) or data
        path.write_bytes(data)
        try:
            assert_accounted(path, name)
        except BaseException:  # keep the file that broke it, whatever it broke
            (tmp_path / f"broken-{number}").write_bytes(data)
            print(f"mutation {number} of {name}: {tmp_path / f'broken-{number}'}")  # noqa: T201  # for the person who debugs
            raise


def gpx(points: str) -> bytes:
    return f"{HEAD}{points}{FOOT}".encode()


def bombs() -> dict[str, bytes]:
    first, last, place = point(0), point(1), '<trkpt lat="51" lon="3">'
    nest, many = "<a>" * 10_000 + "x" + "</a>" * 10_000, 50_000_000 // SCALE
    names = "".join(f"<n{i}>1</n{i}>" for i in range(100_000 // SCALE))
    clock = "<time>2024-01-01T00:00:00Z</time></trkpt>"
    wild = "".join(f'<trkpt lat="{(-1) ** i * 50}" lon="{i % 7}">{clock}' for i in range(20_000))
    frozen = "".join(f'<trkpt lat="{i // 3 % 90}" lon="3">{clock}' for i in range(20_000))
    return {
        "deep": gpx(first + nest + last),
        "deep in a point": gpx(first.replace("<ele>", f"<extensions>{nest}</extensions><ele>")),
        "deep and never closed": (HEAD + first + "<a>" * 10_000).encode(),
        "points in points": (HEAD + place * 10_000).encode(),
        "one huge element": gpx(f"{first}<cmt>{'x' * many}</cmt>{last}"),
        "one huge value": gpx(f'<trkpt lat="{"1" * many}" lon="3"/>{last}'),
        "an attribute never closed": (HEAD + first + '<trkpt lat="' + "1" * many).encode(),
        "many names": gpx(f"{place}{names}</trkpt>"),
        "many breaks": gpx(f"{place}</x>" * (20_000 // SCALE)),
        "many documents": gpx(first) * (5_000 // SCALE),
        "ampersands": gpx(first).replace(b"R", b"&" * (1_000_000 // SCALE)),
        "entities": b'<!DOCTYPE gpx [<!ENTITY a "ha">]><gpx>' + b"&a;" * 100_000 + b"</gpx>",
        "zeros": b"\0" * many,
        "wild jumps": gpx(wild),
        "frozen again and again": gpx(frozen),
    }


@pytest.mark.parametrize("name", list(bombs()))
def test_bombs_give_points_or_one_line(tmp_path: Path, name: str) -> None:
    path = tmp_path / "x.gpx"
    path.write_bytes(bombs()[name])
    assert_accounted(path, "x.gpx")


def test_what_stands_round_a_deep_nest_is_kept(tmp_path: Path) -> None:
    path = tmp_path / "x.gpx"
    path.write_bytes(bombs()["deep"])
    (result,) = read_file(path, "x.gpx", settings=Settings())
    assert isinstance(result, Trace)
    assert result.accepted == 2


@pytest.mark.parametrize("end", ["*", "*6", "*G1", "**"])
def test_a_checksum_that_is_cut_makes_a_fragment_in_a_log_without_checksums(tmp_path: Path, end: str) -> None:
    bare = [line.split(b"*")[0].decode() for i in range(30) for line in sentence(i).splitlines()]
    bare[20] += end
    path = tmp_path / "b.nmea"
    path.write_text("\r\n".join(bare), encoding="ascii")
    (result,) = read_file(path, "b.nmea", settings=Settings())
    assert isinstance(result, Trace)
    assert result.points == 30
    assert result.counts["fragments"] == 1


def test_a_year_beyond_all_numbers_is_no_date(tmp_path: Path) -> None:
    path = tmp_path / "b.nmea"
    path.write_bytes(sentence(10) + b"$GPZDA,070011.00,14,05,99999999999999999999,00,00\r\n" + sentence(12))
    assert_accounted(path, "b.nmea")
    bare = "".join(line.split("*")[0] + "\r\n" for i in range(20) for line in sentence(i).decode().splitlines())
    path.write_text(bare + "$GPZDA,070019.00,14,05,99999999999999999999,00,00\r\n", encoding="ascii")
    assert_accounted(path, "b.nmea")

"""Bounds on what compressed files and archives unpack to, each met at its edge, with bounds that are small."""

from __future__ import annotations

import gzip
import io
import random
import zipfile

import pytest

from gpsq.reading import archives
from gpsq.reading.archives import documents

MOST, SMALL, RATIO = 100_000, 1_000, 50
AS_THEY_ARE = (archives.MOST_BYTES, archives._SMALL_BYTES, archives.MOST_RATIO, archives._MOST_MEMBERS)


@pytest.fixture(autouse=True)
def _small_bounds(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(archives, "MOST_BYTES", MOST)
    monkeypatch.setattr(archives, "_SMALL_BYTES", SMALL)
    monkeypatch.setattr(archives, "MOST_RATIO", RATIO)
    monkeypatch.setattr(archives, "_MOST_MEMBERS", 3)


def noise(size: int) -> bytes:
    """Text that hardly shrinks, so that the ratio is no matter."""
    return bytes(random.Random(size).choices(range(32, 127), k=size))


def zipped(*members: tuple[str, bytes]) -> bytes:
    held = io.BytesIO()
    with zipfile.ZipFile(held, "w", zipfile.ZIP_DEFLATED) as archive:
        for name, data in members:
            archive.writestr(name, data)
    return held.getvalue()


def reasons(data: bytes) -> list[str]:
    return [member.error.reason if member.error else "" for member in documents(data, "x")]


@pytest.mark.parametrize(("size", "reason"), [(MOST, ""), (MOST + 1, "too_large")])
def test_a_document_has_a_largest_size(size: int, reason: str) -> None:
    assert reasons(noise(size)) == [reason]
    assert reasons(gzip.compress(b"x" + noise(size - 1))) == [reason]
    assert reasons(gzip.compress(noise(size // 2)) + gzip.compress(noise(size - size // 2))) == [reason]


def test_the_members_of_an_archive_have_one_size_together(monkeypatch: pytest.MonkeyPatch) -> None:
    one, other = ("a.gpx", noise(45_000)), ("b.gpx", noise(45_001))
    assert reasons(zipped(one, other)) == ["", ""]
    halves = ("a.gpx", b"ab" * 30_000), ("b.gpx", b"ba" * 30_000)
    monkeypatch.setattr(archives, "MOST_RATIO", 10**6)
    assert reasons(zipped(*halves)) == ["", "too_large"]


def test_a_ratio_that_no_recording_has_is_refused_unless_it_is_small() -> None:
    assert reasons(gzip.compress(bytes([65]) * 50_000)) == ["too_large"]
    assert reasons(zipped(("a.gpx", b"A" * 50_000))) == ["too_large"]
    assert reasons(gzip.compress(b"A" * SMALL)) == [""]
    assert reasons(zipped(("a.gpx", b"A" * SMALL))) == [""]


def test_an_archive_has_a_largest_number_of_members_and_folders_are_none() -> None:
    files = [(f"{k}.gpx", b"x") for k in range(4)]
    assert reasons(zipped(("folder/", b""), *files[:3])) == ["", "", ""]
    assert reasons(zipped(*files)) == ["too_large"]


def test_what_is_left_of_a_stream_that_is_cut_off_is_handed_on_and_marked() -> None:
    data = gzip.compress(noise(5_000))
    (whole,), (cut,) = documents(data, "x"), documents(data[:-1000], "x")
    assert (whole.cut, cut.cut) == (False, True)
    assert 0 < len(cut.data) < 5_000
    assert whole.data.startswith(cut.data)
    assert reasons(data[:5]) == ["compressed_cut_off"]
    assert reasons(data[:10] + b"\xff\xff\xff\xff") == ["compressed_damaged"]


@pytest.mark.parametrize("inner", [gzip.compress(b"<gpx/>"), zipped(("a.gpx", b"<gpx/>"))], ids=["gzip", "zip"])
def test_one_archive_in_another_is_refused(inner: bytes) -> None:
    assert reasons(gzip.compress(inner)) == ["nested_archive"]
    assert reasons(zipped(("a.zip", zipped(("b.gpx", b"<gpx/>"))))) == ["nested_archive"]
    assert reasons(zipped(("a.gpx.gz", gzip.compress(b"<gpx/>")))) == [""]


def said(data: bytes) -> list[str]:
    return [str(member.error) for member in documents(data, "x")]


def test_the_bounds_are_those_of_the_papers() -> None:
    """docs/inputs.md: 256 MiB, 200 times, 5,000 members; what is small enough to do no harm is 4 MiB."""
    assert AS_THEY_ARE == (268_435_456, 4_194_304, 200, 5000)


def test_sizes_are_said_in_mebibytes(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(archives, "MOST_BYTES", 3 * 2**20)
    assert said(bytes(6 * 2**20)) == ["x: found 6 MiB; expected at most 3 MiB"]
    bomb = "x: found data that unpack to more than 50 times their size or 3 MiB; expected a compressed recording"
    assert said(gzip.compress(bytes(60_000))) == [bomb]


def test_a_member_is_refused_for_what_it_is() -> None:
    """Its content does not fit its checksum (APPNOTE 4.4.7), or its flag says that it is encrypted (4.4.4, bit 0)."""
    plain = zipped(("ä.gpx", noise(500)), ("b.gpx", b"<gpx/>"))
    damaged = bytearray(plain)
    damaged[80] ^= 0xFF  # behind the local header of 30 bytes and the name
    expected = "expected one that can be unpacked"
    assert said(bytes(damaged)) == [f"x/ä.gpx: found a damaged member; {expected}", "None"]
    protected = bytearray(plain)
    protected[6] |= 1  # in the local header
    protected[plain.index(b"PK\x01\x02") + 8] |= 1  # in the central directory
    assert said(bytes(protected)) == [f"x/ä.gpx: found a protected member; {expected}", "None"]


def test_an_archive_without_an_end_is_named() -> None:
    whole = zipped(("a.gpx", b"<gpx/>"))
    assert said(whole[:-10]) == ["x: found an archive that is damaged or cut off; expected a whole zip archive"]


@pytest.mark.parametrize(
    ("name", "label"),
    [("./a/./b.gpx", "x/a/b.gpx"), ("a/./../b.gpx", "x/a/b.gpx"), ("/a//b.gpx", "x/a/b.gpx"), ("a\\b.gpx", "x/a/b.gpx"),
     (".", "x/unnamed"), ("2024-05-14T07:10.gpx", "x/2024-05-14T07:10.gpx")],
)  # fmt: skip
def test_a_name_within_an_archive_is_a_label_below_it(name: str, label: str) -> None:
    assert [(m.file, m.error) for m in documents(zipped((name, b"<gpx/>")), "x")] == [(label, None)]


@pytest.mark.parametrize("name", ["../b.gpx", "a/../../b.gpx", "..\\b.gpx", "./../b.gpx"])
def test_a_name_that_leads_out_is_refused(name: str) -> None:
    found = f"found a member named {name!r}, which leads out of the archive; expected a name below it"
    (member,) = documents(zipped((name, b"<gpx/>")), "x")
    assert str(member.error) == f"{member.file}: {found}"
    assert member.file in ("x/b.gpx", "x/a/b.gpx")

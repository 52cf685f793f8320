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

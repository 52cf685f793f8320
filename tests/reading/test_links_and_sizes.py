"""Links that lead nowhere, in circles or out of the folder, and files of any size: one line each, the rest goes on."""

from __future__ import annotations

import contextlib
import errno
import os
import resource
import shutil
from pathlib import Path
from typing import Any

import pytest
from small_rides import gpx, write

from gpsq import cli
from gpsq.campaign import safe_files
from gpsq.reading import folder as reading_folder
from gpsq.reading import read_folder
from gpsq.reading.archives import MOST_BYTES
from gpsq.reading.listing import find_files, kinds

COMPANIONS = ("campaign.toml", "rides.csv", "flags.csv")


@pytest.fixture
def tangled(tmp_path: Path) -> Path:
    """A campaign of one ride, and of links: to themselves, to nothing, in a ring, out of the folder, round in circles."""
    folder = tmp_path / "rides"
    write(
        tmp_path,
        **{
            "elsewhere/wed.gpx": gpx("2024-05-16T07:00:00"),
            "rides/mon.gpx": gpx(),
            "rides/sub/tue.gpx": gpx("2024-05-15T07:00:00"),
        },
    )
    links = {
        "self.gpx": "self.gpx", "one.gpx": "two.gpx", "two.gpx": "one.gpx", "nothing.gpx": "gone.gpx",
        "out.gpx": "../elsewhere/wed.gpx", "up": "..", "here": ".", "sub/back": "../sub", "loop": "loop",
        "root": "/", "below.gpx": "mon.gpx/tue.gpx",
    }  # fmt: skip
    for name, target in links.items():
        (folder / name).symlink_to(target)
    os.mkfifo(folder / "pipe.gpx")
    return folder


def test_each_link_is_a_line_and_the_rest_is_read(tangled: Path) -> None:
    readings = read_folder(tangled)
    assert [t.file for t in readings.traces] == ["mon.gpx", "out.gpx", "sub/tue.gpx"]
    said = {u.file: u.reason for u in readings.unreadable}
    assert said == {
        "self.gpx": "link_in_a_circle", "one.gpx": "link_in_a_circle", "two.gpx": "link_in_a_circle",
        "loop": "link_in_a_circle", "nothing.gpx": "link_to_nothing", "below.gpx": "cannot_open",
        "pipe.gpx": "no_file",
    }  # fmt: skip
    assert all(u.message.startswith(f"{u.file}: found ") and "\n" not in u.message for u in readings.unreadable)


def test_a_link_to_what_holds_the_folder_is_not_followed_and_said(tangled: Path) -> None:
    notes = find_files(tangled).notes
    assert sum("holds this folder" in note for note in notes) == 2  # up and root; `here` is the folder itself


@pytest.mark.parametrize("arguments", [["analyse"], ["check"], ["flag"], ["publish", "--out", "{out}"]])
def test_no_command_ends_in_a_traceback(
    tangled: Path, tmp_path: Path, arguments: list[str], capsys: pytest.CaptureFixture[str]
) -> None:
    command, *options = [part.format(out=tmp_path / "out") for part in arguments]
    with pytest.raises(SystemExit) as status:
        cli.main([command, str(tangled), *options])
    assert status.value.code in (cli.WELL, cli.PARTLY)
    told = capsys.readouterr()
    assert "Traceback" not in told.err
    if command != "flag":
        assert "self.gpx: found a link that leads to itself; expected a readable file" in told.err + told.out


@pytest.mark.parametrize("name", COMPANIONS)
def test_a_companion_that_is_a_link_to_itself_is_named(
    tangled: Path, name: str, capsys: pytest.CaptureFixture[str]
) -> None:
    (tangled / name).symlink_to(name)
    with contextlib.suppress(SystemExit):
        cli.main(["analyse", str(tangled), "--out", str(tangled.parent / "out")])
    assert f"{name}: found a file that cannot be read (Too many levels of symbolic links)" in capsys.readouterr().err


def test_a_folder_that_may_not_be_looked_into_is_a_line_and_the_others_are_read(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    write(
        tmp_path, **{"a/mon.gpx": gpx(), "b/tue.gpx": gpx("2024-05-15T07:00:00"), "c/wed.gpx": gpx("2024-05-16T07:00")}
    )
    look = os.scandir

    def refused(path: Path) -> Any:
        if Path(path).name == "b":
            raise PermissionError(errno.EACCES, os.strerror(errno.EACCES), str(path))
        return look(path)

    monkeypatch.setattr(os, "scandir", refused)
    listing = find_files(tmp_path)
    assert [found.name for found in listing.files] == ["a/mon.gpx", "c/wed.gpx"]
    assert [u.message for u in listing.unreadable] == ["b: found permission denied; expected a readable file"]


def test_kinds_are_counted_in_words() -> None:
    assert kinds(["a.jpg"]) == "1 picture"
    assert kinds(["a.jpg", "b.svg", "c.fit", "d"]) == "2 pictures, 1 named .fit, 1 without an ending"


BETWEEN = {
    "is deleted": (Path.unlink, "vanished: found nothing any more, though it was there when the folder was listed"),
    "is emptied": (lambda path: path.write_bytes(b""), "empty_file: found an empty file"),
    "becomes a folder": (lambda path: (path.unlink(), path.mkdir()), "cannot_open: found Is a directory"),
    "leads to itself": (
        lambda path: (path.unlink(), path.symlink_to(path.name)),
        "link_in_a_circle: found a link that",
    ),
    "grows": (lambda path: sparse(path, 5 * 2**30), "too_large: found 5,120 MiB"),
    "goes with its folder": (lambda path: shutil.rmtree(path.parent), "vanished: found nothing any more"),
}


@pytest.mark.parametrize("what", BETWEEN)
def test_what_happens_between_listing_and_reading_is_a_line(
    tmp_path: Path, what: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A folder is being copied, synchronised or tidied while it is analysed; the other recordings are read."""
    change, said = BETWEEN[what]

    def listed(folder: Path, **asked: Any) -> Any:
        found = find_files(folder, **asked)
        change(tmp_path / "sub/tue.gpx")
        return found

    write(tmp_path, **{"mon.gpx": gpx(), "sub/tue.gpx": gpx("2024-05-15T07:00:00"), "wed.gpx": gpx("2024-05-16T07:00")})
    monkeypatch.setattr(reading_folder, "find_files", listed)
    readings = read_folder(tmp_path)
    assert [t.file for t in readings.traces] == ["mon.gpx", "wed.gpx"]
    (refused,) = readings.unreadable
    assert f"{refused.reason}: {refused.message.removeprefix('sub/tue.gpx: ')}".startswith(said)


def test_half_a_file_is_read_as_half_a_ride(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Cut off after it was listed: the points that are there, and a note, as for a file that was always so."""

    def listed(folder: Path, **asked: Any) -> Any:
        found = find_files(folder, **asked)
        os.truncate(tmp_path / "mon.gpx", (tmp_path / "mon.gpx").stat().st_size // 2)
        return found

    write(tmp_path, **{"mon.gpx": gpx()})
    monkeypatch.setattr(reading_folder, "find_files", listed)
    (trace,) = read_folder(tmp_path).traces
    assert trace.truncated
    assert 10 <= trace.accepted < 20


def sparse(path: Path, size: int) -> None:
    with path.open("wb") as file:
        file.truncate(size)


@pytest.mark.parametrize("name", ["big.gpx", "big.csv", "big.nmea", "big.gpx.gz", "big.zip"])
def test_size_is_asked_before_anything_is_read(tmp_path: Path, name: str, monkeypatch: pytest.MonkeyPatch) -> None:
    """A sparse file of 5 GB takes no room on the disk, and must take neither time nor memory."""
    write(tmp_path, **{"mon.gpx": gpx()})
    sparse(tmp_path / name, 5 * 2**30)
    before_kib = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
    readings = read_folder(tmp_path)
    assert [t.file for t in readings.traces] == ["mon.gpx"]
    assert [u.message for u in readings.unreadable] == [f"{name}: found 5,120 MiB; expected at most 256 MiB"]
    assert resource.getrusage(resource.RUSAGE_SELF).ru_maxrss - before_kib < 64 * 1024


@pytest.mark.parametrize("name", COMPANIONS)
def test_companions_are_bounded_too(tmp_path: Path, name: str, capsys: pytest.CaptureFixture[str]) -> None:
    write(tmp_path, **{"mon.gpx": gpx()})
    sparse(tmp_path / name, 5 * 2**30)
    before_kib = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
    with contextlib.suppress(SystemExit):
        cli.main(["analyse", str(tmp_path)])
    assert f"{name}: found a file that cannot be read (5,120 MiB, which is more than" in capsys.readouterr().err
    assert resource.getrusage(resource.RUSAGE_SELF).ru_maxrss - before_kib < 128 * 1024


def test_a_file_that_grows_is_read_to_the_bound(tmp_path: Path) -> None:
    path = tmp_path / "x"
    path.write_bytes(b"x" * 1000)
    assert safe_files.read_bytes(path, 1000) == b"x" * 1000
    with pytest.raises(OSError, match="more than"):
        safe_files.read_bytes(path, 999)
    with pytest.raises(OSError, match="more than"):  # a device says size 0 and never ends
        safe_files.read_bytes(type(path)("/dev/zero"), 999)
    assert MOST_BYTES == 256 * 2**20

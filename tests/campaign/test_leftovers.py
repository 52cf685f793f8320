"""What killed runs left is swept by the next run of any command that reads the campaign; what lives is left alone."""

from __future__ import annotations

import io
import multiprocessing
import os
import signal
import tempfile
import time
from typing import TYPE_CHECKING

import pytest
from small_rides import gpx, write

from gpsq import cli
from gpsq.campaign import flags, leftovers, safe_files
from gpsq.output import folder_swap
from gpsq.privacy import secret
from gpsq.web import dropped_files

if TYPE_CHECKING:
    from pathlib import Path

pytestmark = pytest.mark.skipif(os.name != "posix", reason="SIGKILL and locks of files are ways of posix systems")

LEFT = (
    ".gpsq-part-a1", ".flags.csv.abcd1234", ".rides.csv.abcd1234", ".campaign.toml.abcd1234", "..gpsq-names.csv.abcd1234",
    "..gpsq-private.toml.abcd1234",
)  # fmt: skip
KEPT = (
    "flags.csv",
    ".gpsq-private.toml",
    ".gpsq-names.csv",
    ".hidden",
    ".flags.csv",
    "gpsq-part-b",
    safe_files.LOCK_NAME,
)


class Slow:
    """Content that never comes to its end."""

    def read(self, size: int) -> bytes:
        time.sleep(0.01)
        return b"x" * 2**16  # more than waits in memory: what is written is seen on the disk at once


def drop_for_ever(folder: Path) -> None:
    dropped_files.store(folder, "mon.gpx", Slow())  # type: ignore[arg-type]  # reading is all that is asked of it


def decide_for_ever(folder: Path) -> None:
    with safe_files.locked(folder):
        (folder / ".flags.csv.living").write_text("x")
        time.sleep(600)


def replace_for_ever(folder: Path) -> None:
    with folder_swap.replaced(folder / "for-all") as aside:
        (aside / "report.html").write_text("x")
        time.sleep(600)


WRITERS = {
    drop_for_ever: ".gpsq-part-*", decide_for_ever: ".flags.csv.living", replace_for_ever: ".for-all.new-*/report.html",
}  # fmt: skip


def sweep(folder: Path) -> None:
    leftovers.sweep(folder)
    folder_swap.clear(folder)


def test_what_is_left_goes_and_all_else_stays(tmp_path: Path) -> None:
    for name in (*LEFT, *KEPT):
        (tmp_path / name).write_bytes(b"x")
    (tmp_path / ".gpsq-results.new-123").mkdir()
    (tmp_path / ".for-all.old-123").mkdir()
    (tmp_path / ".for-all.old-123" / "report.html").write_text("earlier")
    sweep(tmp_path)
    assert {path.name for path in tmp_path.iterdir()} == {*KEPT, "for-all"}
    assert (tmp_path / "for-all" / "report.html").read_text() == "earlier"


@pytest.mark.parametrize("writer", list(WRITERS), ids=lambda writer: writer.__name__)
def test_a_living_writer_is_left_alone_and_a_killed_one_swept(tmp_path: Path, writer) -> None:  # type: ignore[no-untyped-def]
    process = multiprocessing.get_context("fork").Process(target=writer, args=(tmp_path,), daemon=True)
    process.start()
    deadline = time.monotonic() + 120.0
    # it writes only once it holds its lock
    while not any(path.stat().st_size for path in tmp_path.glob(WRITERS[writer])):
        assert time.monotonic() < deadline
        time.sleep(0.01)
    sweep(tmp_path)
    assert list(tmp_path.glob(WRITERS[writer]))
    assert process.pid is not None
    os.kill(process.pid, signal.SIGKILL)
    process.join()
    sweep(tmp_path)
    assert {path.name for path in tmp_path.iterdir()} <= {safe_files.LOCK_NAME}


def test_a_part_that_is_swept_before_it_is_locked_is_made_anew(tmp_path: Path, monkeypatch) -> None:  # type: ignore[no-untyped-def]
    make, made = tempfile.mkstemp, []

    def swept_at_first(**where: str) -> tuple[int, str]:
        made.append(make(**where))
        if len(made) == 1:
            leftovers.sweep(tmp_path)
        return made[-1]

    monkeypatch.setattr(tempfile, "mkstemp", swept_at_first)
    stored = dropped_files.store(tmp_path, "mon.gpx", io.BytesIO(b"<gpx/>"))
    assert (stored.file, stored.is_new) == ("mon.gpx", True)
    assert (tmp_path / "mon.gpx").read_bytes() == b"<gpx/>"
    assert not list(tmp_path.glob(".gpsq-part-*"))


@pytest.mark.parametrize("command", ["analyse", "flag", "publish"])
def test_every_command_that_reads_the_campaign_sweeps(tmp_path: Path, command: str) -> None:
    write(tmp_path, **{"rides/mon.gpx": gpx(n=60), "rides/.gpsq-lock": "", **{f"rides/{name}": "x" for name in LEFT}})
    options = ["--out", str(tmp_path / "out")] if command == "publish" else []
    with pytest.raises(SystemExit):
        cli.main([command, str(tmp_path / "rides"), "--quiet", *options])
    assert not [name for name in LEFT if (tmp_path / "rides" / name).exists()]


def test_names_are_those_of_the_writers() -> None:
    assert secret.NAME == leftovers.ZONES
    assert f".{flags.FILE_NAME}.abcd1234" in LEFT


def test_without_locks_a_part_of_a_day_ago_has_no_writer(tmp_path: Path, monkeypatch) -> None:  # type: ignore[no-untyped-def]
    """Where the system has no such locks: a day is 86,400 s, give or take what writing the file takes."""
    part = tmp_path / ".gpsq-part-a1"
    part.write_bytes(b"x")
    monkeypatch.setattr(leftovers.os, "name", "nt")
    now = time.time()
    for age_s, is_left in ((86_385.0, False), (86_415.0, True), (0.0, False), (200_000.0, True)):
        os.utime(part, (now - age_s, now - age_s))
        with leftovers._nobodys(part, part) as found:
            assert found is is_left


def test_a_part_stays_locked_after_its_file_is_closed(tmp_path: Path) -> None:
    """It is closed before it gets its name: a sweep in between must not take it."""
    number, part = leftovers.locked_part(tmp_path)
    assert part.name.startswith(leftovers.PART)
    with leftovers.held(number):
        os.close(number)
        leftovers.sweep(tmp_path)
        assert part.exists()
    leftovers.sweep(tmp_path)
    assert not part.exists()

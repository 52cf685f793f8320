"""Small files: read within bounds, replaced whole or not at all, one writer at a time."""

from __future__ import annotations

import errno
import os
import stat
import threading
from pathlib import Path

import pytest

from gpsq.campaign import safe_files, start_log
from gpsq.campaign.campaign_file import Campaign
from gpsq.exceptions import CampaignError, OutputError

fcntl = pytest.importorskip("fcntl", reason="locks of files are a way of posix systems")


@pytest.mark.parametrize("size", [0, 1, 999, 1000])
def test_what_fits_is_read_whole(tmp_path: Path, size: int, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(safe_files, "_BLOCK_BYTES", 100)
    (tmp_path / "x").write_bytes(bytes(range(250)) * 4)
    os.truncate(tmp_path / "x", size)
    assert safe_files.read_bytes(tmp_path / "x", 1000) == (bytes(range(250)) * 4)[:size]


def test_what_does_not_fit_is_said_with_its_size(tmp_path: Path) -> None:
    with (tmp_path / "x").open("wb") as file:
        file.truncate(48 * 2**20)
    with pytest.raises(OSError, match="48 MiB, which is more than 16 MiB") as refused:
        safe_files.read_bytes(tmp_path / "x")
    assert (refused.value.errno, refused.value.filename) == (errno.EFBIG, str(tmp_path / "x"))
    assert safe_files.MOST_COMPANION_BYTES == 16_777_216


@pytest.mark.parametrize(("sent", "fits"), [(250, True), (300, True), (301, False), (5000, False)])
def test_a_pipe_that_tells_no_size_is_read_to_its_end_or_the_bound(
    tmp_path: Path, sent: int, fits: bool, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(safe_files, "_BLOCK_BYTES", 100)
    os.mkfifo(tmp_path / "pipe")

    def write() -> None:
        try:
            (tmp_path / "pipe").write_bytes(b"x" * sent)
        except BrokenPipeError:
            return

    writer = threading.Thread(target=write, daemon=True)  # no refusal leaves it waiting for a reader for ever
    writer.start()
    if fits:
        assert safe_files.read_bytes(tmp_path / "pipe", 300, pipes=True) == b"x" * sent
    else:
        with pytest.raises(OSError, match="which is more than 0 MiB"):
            safe_files.read_bytes(tmp_path / "pipe", 300, pipes=True)
    writer.join()


def test_a_text_that_is_kept_is_read_or_said_to_be_none(tmp_path: Path) -> None:
    path = tmp_path / "campaign.toml"
    assert safe_files.kept_text(path, "new") == "new"
    path.write_bytes("title = 'ä'\r\n".encode())
    assert safe_files.kept_text(path, "new") == "title = 'ä'\r\n"
    path.write_bytes(b"\xe4")
    with pytest.raises(
        CampaignError, match=r"campaign.toml: found text that is not UTF-8; expected UTF-8; it was left"
    ):
        safe_files.kept_text(path, "new")
    with path.open("wb") as file:
        file.truncate(17 * 2**20)
    with pytest.raises(CampaignError, match=r"found a file that cannot be read \(17 MiB, which is more than 16 MiB\)"):
        safe_files.kept_text(path, "new")
    path.unlink()
    path.mkdir()
    with pytest.raises(
        CampaignError, match=r"found a file that cannot be read \(Is a directory\); expected a readable"
    ):
        safe_files.kept_text(path, "new")


def test_a_text_takes_the_place_of_another_with_its_own_rights(tmp_path: Path) -> None:
    path = tmp_path / "flags.csv"
    for text, mode in (("ä\r\n", 0o644), ("b\n", 0o600)):
        safe_files.write_text(path, text, mode=mode)
        assert path.read_bytes() == text.encode()
        assert stat.S_IMODE(path.stat().st_mode) == mode
    safe_files.write_text(path, "c")
    assert stat.S_IMODE(path.stat().st_mode) == 0o644
    assert [p.name for p in tmp_path.iterdir()] == ["flags.csv"]


@pytest.mark.parametrize("what", ["fsync", "fdopen"])
def test_what_cannot_be_written_leaves_the_text_there_was(
    tmp_path: Path, what: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    path = tmp_path / "flags.csv"
    path.write_text("earlier")

    def full(*_: object, **__: object) -> None:
        raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))

    monkeypatch.setattr(safe_files.os, what, full)
    with pytest.raises(OutputError, match=r"flags.csv: cannot be written: No space left on device"):
        safe_files.write_text(path, "later")
    assert [(p.name, p.read_text()) for p in tmp_path.iterdir()] == [("flags.csv", "earlier")]
    with pytest.raises(OutputError, match="cannot be written: No such file"):
        safe_files.write_text(tmp_path / "gone" / "flags.csv", "later")


def test_what_is_written_reaches_the_disk_before_its_name_does(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Both are asked of the system, in this order: the file while it has another name, then the folder."""
    asked, fsync = [], os.fsync

    def noted(number: int) -> None:
        asked.append((stat.S_ISDIR(os.fstat(number).st_mode), (tmp_path / "flags.csv").exists()))
        fsync(number)

    monkeypatch.setattr(safe_files.os, "fsync", noted)
    safe_files.write_text(tmp_path / "flags.csv", "x")
    assert asked == [(False, False), (True, True)]


def test_one_writer_at_a_time_holds_the_lock(tmp_path: Path) -> None:
    def is_free() -> bool:
        number = os.open(tmp_path / safe_files.LOCK_NAME, os.O_RDWR)
        try:
            fcntl.flock(number, fcntl.LOCK_EX | fcntl.LOCK_NB)
        except BlockingIOError:
            return False
        finally:
            os.close(number)
        return True

    with safe_files.locked(tmp_path):
        assert not is_free()
    assert is_free()
    with pytest.raises(ZeroDivisionError), safe_files.locked(tmp_path):
        raise ZeroDivisionError
    assert is_free()
    with (
        pytest.raises(OutputError, match="gone: cannot be written: No such file"),
        safe_files.locked(tmp_path / "gone"),
    ):
        pytest.fail("there is no lock to hold")


def test_a_pipe_in_a_folder_is_refused_and_not_waited_for(tmp_path: Path) -> None:
    os.mkfifo(tmp_path / "rides.csv")
    assert start_log.load(tmp_path, Campaign()).problems[0].found == "a file that cannot be read (it is a pipe)"
    with pytest.raises(OSError, match="it is a pipe"):
        safe_files.read_bytes(tmp_path / "rides.csv")


def test_a_pipe_that_a_person_names_is_read(tmp_path: Path) -> None:
    reading, writing = os.pipe()
    os.write(writing, b"text")
    os.close(writing)
    assert safe_files.read_bytes(Path(f"/dev/fd/{reading}"), pipes=True) == b"text"
    os.close(reading)


def test_a_name_that_no_system_holds_is_no_file(tmp_path: Path) -> None:
    """NAME_MAX is 255 bytes on Linux and macOS (limits.h)."""
    assert not safe_files.is_file(tmp_path / ("x" * 300))
    (tmp_path / "x").touch()
    assert safe_files.is_file(tmp_path / "x")


@pytest.mark.parametrize(
    ("text", "found"),
    [
        ("a = [", r"\(at end of document\); expected TOML"),  # Python's own words, with the place
        ("a = 1\nb = c\n", r"\(at line 2, column 5\); expected TOML"),
        (f"a = {'1' * 5000}", "found a number of thousands of digits; expected TOML"),
        (f"a = {'[' * 200_000}", "found brackets nested without end; expected TOML"),
    ],
)
def test_what_is_no_toml_is_said_in_a_line(text: str, found: str) -> None:
    with pytest.raises(CampaignError, match=found) as refused:
        safe_files.toml_table(text, "campaign.toml")
    assert str(refused.value).startswith("campaign.toml: found ")
    assert "\n" not in str(refused.value)


def test_a_file_aside_that_is_gone_does_not_hide_why_the_disk_refused(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def gone_and_full(_: int) -> None:
        for aside in tmp_path.iterdir():
            aside.unlink()
        raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))

    monkeypatch.setattr(safe_files.os, "fsync", gone_and_full)
    with pytest.raises(OutputError, match="No space left"):
        safe_files.write_text(tmp_path / "flags.csv", "later")


def test_the_lock_is_for_its_owner_to_write_and_no_program(tmp_path: Path) -> None:
    before = os.umask(0)
    try:
        with safe_files.locked(tmp_path):
            assert stat.S_IMODE((tmp_path / safe_files.LOCK_NAME).stat().st_mode) == 0o644
    finally:
        os.umask(before)

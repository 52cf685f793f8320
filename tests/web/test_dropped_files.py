"""Dropped files: safe names, nothing replaced, the same content known again, and one plain sentence where it fails."""

from __future__ import annotations

import errno
import hashlib
import io
import os
from typing import TYPE_CHECKING

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from gpsq.campaign import leftovers
from gpsq.exceptions import OutputError
from gpsq.reading.listing import find_files
from gpsq.web import dropped_files

if TYPE_CHECKING:
    from pathlib import Path

GPX = b'<gpx xmlns="http://www.topografix.com/GPX/1/1"><trk><trkseg><trkpt lat="1" lon="2"/></trkseg></trk></gpx>'


def put(folder: Path, given: str, content: bytes = GPX) -> dropped_files.Stored:
    return dropped_files.store(folder, given, io.BytesIO(content))


def content_of(folder: Path) -> dict[str, bytes]:
    return {
        p.relative_to(folder).as_posix(): p.read_bytes() for p in folder.rglob("*") if p.is_file() and p.name[0] != "."
    }


def test_a_file_is_stored_as_it_is(tmp_path):
    stored = put(tmp_path, "bar-unit/mon.gpx")
    assert (stored.file, stored.is_new) == ("bar-unit/mon.gpx", True)
    assert content_of(tmp_path) == {"bar-unit/mon.gpx": GPX}


def test_what_became_of_each_is_told_in_a_line(tmp_path, monkeypatch):
    """A file that got another name or place says which."""
    monkeypatch.setattr(dropped_files, "MOST_BYTES", 2**20)
    told = (
        ("mon.gpx", GPX, "stored."),
        ("bar/tue.gpx", GPX + b" ", "stored."),
        ("bar/mon.gpx", GPX, "is the same as mon.gpx, which is here already."),
        ("mon.gpx", GPX + b"\n", "stored as mon-2.gpx."),
        ("week/bar/2024-05-14/wed.gpx", GPX + b"  ", "stored as bar/wed.gpx."),
        ("a:b.gpx", GPX + b"   ", "stored as a_b.gpx."),
        ("week/rides.csv", b"file,started\n", "stored as rides.csv."),
        (
            "rides.csv",
            b"file;started\n",
            "was left out: this campaign has a rides.csv already, and it is never replaced.",
        ),
        ("Thumbs.db", b"x", "is no recording by its name and was left out."),
        ("..", b"x", "has no usable name and was left out."),
        ("big.gpx", b" " * (2**20 + 1), "is larger than 1 MiB, which no ride is; it was left out."),
    )
    for name, content, said in told:
        assert put(tmp_path, name, content).said == said, name


def test_a_second_file_of_that_name_gets_a_number_and_replaces_nothing(tmp_path):
    put(tmp_path, "mon.gpx")
    assert put(tmp_path, "mon.gpx", GPX + b"\n").file == "mon-2.gpx"
    assert content_of(tmp_path) == {"mon.gpx": GPX, "mon-2.gpx": GPX + b"\n"}


def test_the_same_content_is_known_again_under_any_name(tmp_path):
    put(tmp_path, "bar-unit/mon.gpx")
    again = put(tmp_path, "other/tuesday.gpx")
    assert (again.file, again.is_new) == ("bar-unit/mon.gpx", False)
    assert "bar-unit/mon.gpx, which is here already" in again.said
    assert len(content_of(tmp_path)) == 1


def test_content_put_there_by_other_means_is_known_too(tmp_path):
    (tmp_path / "mine").mkdir()
    (tmp_path / "mine" / "ride.gpx").write_bytes(GPX)
    assert not put(tmp_path, "mon.gpx").is_new


def test_the_name_it_came_with_is_kept(tmp_path):
    stored = put(tmp_path, "box\n1/Mon: out?.gpx")
    assert stored.file == "box_1/Mon_ out_.gpx"
    assert dropped_files.original_names(tmp_path) == {"box_1/Mon_ out_.gpx": "box\\n1/Mon: out?.gpx"}


@pytest.mark.parametrize(
    ("given", "file"),
    [
        ("../../../etc/cron.gpx", "etc/cron.gpx"),
        ("..\\..\\windows\\ride.gpx", "windows/ride.gpx"),
        ("/absolute/ride.gpx", "absolute/ride.gpx"),
        ("C:\\rides\\ride.gpx", "rides/ride.gpx"),
        ("week 20/bar-unit/2024-05-14/ride.gpx", "bar-unit/ride.gpx"),
        ("2024-05-14/ride.gpx", "ride.gpx"),
        ("gpsq-results/ride.gpx", "_gpsq-results/ride.gpx"),
        ("gpsq-published/ride.gpx", "_gpsq-published/ride.gpx"),
        ("aux/nul.gpx", "_aux/_nul.gpx"),
        ("ride\0.gpx", "ride_.gpx"),
        ("\ud800ride.gpx", "_ride.gpx"),
        ("r" * 400 + ".gpx", "r" * 100 + ".gpx"),
    ],
)
def test_names_are_made_safe(tmp_path, given, file):
    assert put(tmp_path, given).file == file
    assert list(content_of(tmp_path)) == [file]


@given(
    st.text(max_size=60)
    | st.lists(st.sampled_from(["..", ".", "", "~", "a", "con", "b.gpx"]), max_size=8).map("/".join)
)
def test_no_name_leads_out_of_the_folder(given):
    sub, name = dropped_files.safe_place(given)
    for part in filter(None, (sub, name)):
        assert part not in {".", ".."}
        assert not part.startswith(".")
        assert not set(part) & set('/\\:*?"<>|\0')
        assert part.isprintable()
        assert len(part.encode()) <= 204  # 200 and a mark before a reserved name


@pytest.mark.parametrize("given", ["", "..", "/", ".", "...", "\\"])
def test_no_name_at_all_is_left_out(tmp_path, given):
    assert put(tmp_path, given).file == ""
    assert content_of(tmp_path) == {}


@pytest.mark.parametrize(
    "given", ["notes.md", ".hidden.gpx", "a/.git/x.gpx", "__MACOSX/x.gpx", "photo.jpg", "run.json"]
)
def test_what_is_no_recording_by_name_is_left_out(tmp_path, given):
    stored = put(tmp_path, given)
    assert (stored.file, stored.is_new) == ("", False)
    assert "no recording" in stored.said
    assert content_of(tmp_path) == {}


def test_the_files_beside_recordings_are_taken_once_and_never_replaced(tmp_path):
    assert put(tmp_path, "week/rides.csv", b"file,device,started\n").file == "rides.csv"
    second = put(tmp_path, "rides.csv", b"file,device,started\nx.gpx,a,\n")
    assert second.file == ""
    assert "never replaced" in second.said
    assert (tmp_path / "rides.csv").read_bytes() == b"file,device,started\n"


@pytest.mark.parametrize("name", ["rides.csv", "campaign.toml", "flags.csv"])
def test_the_files_beside_recordings_leave_the_folder_they_were_dropped_with(tmp_path, name):
    """In a device's folder nothing would read them."""
    assert put(tmp_path, f"bar-unit/{name}", b"# beside").file == name
    assert content_of(tmp_path) == {name: b"# beside"}


@pytest.mark.parametrize("own", ["gpsq-results", "gpsq-published"])
def test_a_recording_that_gpsq_wrote_itself_is_no_twin(tmp_path, own):
    """Results are written anew, so what lies among them is not here already."""
    (tmp_path / own).mkdir()
    (tmp_path / own / "centrelines.gpx").write_bytes(GPX)
    stored = put(tmp_path, "mon.gpx")
    assert (stored.file, stored.is_new) == ("mon.gpx", True)


def test_a_link_to_elsewhere_is_gone_round(tmp_path):
    outside, folder = tmp_path / "outside", tmp_path / "folder"
    outside.mkdir()
    folder.mkdir()
    (folder / "bar-unit").symlink_to(outside, target_is_directory=True)
    (folder / "mon.gpx").symlink_to(outside / "new.gpx")
    assert put(folder, "bar-unit/mon.gpx").file == "bar-unit-2/mon.gpx"
    assert put(folder, "mon.gpx", GPX + b" ").file == "mon-2.gpx"
    assert list(outside.iterdir()) == []


def test_a_file_in_the_way_of_a_folder_is_gone_round(tmp_path):
    put(tmp_path, "bar-unit")
    assert put(tmp_path, "bar-unit/mon.gpx", GPX + b" ").file == "bar-unit-2/mon.gpx"


def test_too_large_a_file_is_left_out(tmp_path, monkeypatch):
    monkeypatch.setattr(dropped_files, "MOST_BYTES", 2**20)
    stored = put(tmp_path, "big.gpx", b"x" * (2**20 + 1))
    assert "larger than 1 MiB" in stored.said
    assert [path for path in tmp_path.iterdir() if path.name != ".gpsq-lock"] == []


def test_too_many_files_are_left_out(tmp_path, monkeypatch):
    monkeypatch.setattr(dropped_files, "MOST_FILES", 2)
    said = [put(tmp_path, f"{i}.gpx", GPX + b" " * i).said for i in range(3)]
    assert "holds 2 files, which is the most" in said[2]
    assert len(content_of(tmp_path)) == 2


@pytest.mark.parametrize(
    ("number", "words"), [(errno.ENOSPC, "No space left"), (errno.EROFS, "Read-only"), (errno.EACCES, "denied")]
)
def test_a_full_disk_and_a_folder_that_cannot_be_written_give_one_sentence(tmp_path, monkeypatch, number, words):
    def refusing(*_: object) -> int:
        raise OSError(number, os.strerror(number))

    monkeypatch.setattr(os, "fsync", refusing)
    with pytest.raises(OutputError, match=words) as refusal:
        put(tmp_path, "mon.gpx")
    assert "\n" not in str(refusal.value)
    assert not list(tmp_path.glob("*.gpx*"))
    assert not list(tmp_path.glob(f"{leftovers.PART}*"))


def test_a_file_that_cannot_be_read_keeps_no_other_of_its_length_out(tmp_path, monkeypatch):
    """Somebody else's, or one that is deleted while its content is compared."""
    put(tmp_path, "mon.gpx", GPX.replace(b'lat="1"', b'lat="3"'))

    def refused(path):
        raise PermissionError(errno.EACCES, os.strerror(errno.EACCES), str(path))

    monkeypatch.setattr(dropped_files.digests, "file_sha256", refused)
    assert put(tmp_path, "tue.gpx").file == "tue.gpx"


@pytest.mark.parametrize("kept", [b"no,names\n1,2\n", b"\xff\xfe\x00", b'file,original_name\n"' + b"x" * 200_000])
def test_names_that_were_kept_and_cannot_be_read_are_no_names(tmp_path, kept):
    (tmp_path / dropped_files.NAMES).write_bytes(kept)
    assert dropped_files.original_names(tmp_path) == {}
    assert put(tmp_path, "mon.gpx").is_new


def test_a_long_name_is_cut_to_what_fits_and_keeps_its_ending():
    most = dropped_files.MOST_SIGNS
    assert dropped_files.safe_part("a" * 300 + ".gpx") == "a" * most + ".gpx"
    assert dropped_files.safe_part("a" * 300 + "." + "b" * 10) == "a" * most + "." + "b" * 10
    assert dropped_files.safe_part("a" * 300 + "." + "b" * 11) == "a" * most
    assert dropped_files.safe_part("\N{BICYCLE}" * 300 + ".gpx") == "\N{BICYCLE}" * 49 + ".gpx"  # 200 bytes
    assert dropped_files.MOST_FILES == 5000


def test_a_folder_that_is_gone_gives_one_sentence(tmp_path):
    with pytest.raises(OutputError, match=r"mon\.gpx: cannot be stored"):
        put(tmp_path / "gone", "mon.gpx")


def test_two_contents_of_one_length_are_two_recordings(tmp_path):
    """Nothing but the content tells two drops apart: not their name, not their size."""
    one, other = GPX.replace(b'lat="1"', b'lat="3"'), GPX
    assert len(one) == len(other)
    assert put(tmp_path, "mon.gpx", one).is_new
    assert put(tmp_path, "tue.gpx", other).is_new
    assert put(tmp_path, "mon.gpx", other).file == "tue.gpx"
    assert sorted(content_of(tmp_path).values()) == sorted([one, other])


@settings(max_examples=40)
@given(st.lists(st.tuples(st.sampled_from(["a.gpx", "b/a.gpx", "b", "b/b/a.gpx"]), st.integers(0, 3)), max_size=8))
def test_whatever_is_dropped_every_content_is_kept_once(tmp_path_factory, drops):
    folder = tmp_path_factory.mktemp("drops")
    contents = [GPX.replace(b'lat="1"', b'lat="%d"' % number) for number in range(4)]  # all of one length
    for name, number in drops:
        put(folder, name, contents[number])
    kept = [hashlib.sha256(content).hexdigest() for content in content_of(folder).values()]
    assert sorted(kept) == sorted({hashlib.sha256(contents[n]).hexdigest() for _, n in drops})
    assert {f.name for f in find_files(folder).files} == set(content_of(folder))

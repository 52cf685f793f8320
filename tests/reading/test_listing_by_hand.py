"""Which files of a folder are looked into, which are told of, and what a folder gives, on folders laid out by hand."""

from __future__ import annotations

import errno
import gzip
import hashlib
import os
from typing import TYPE_CHECKING

import numpy as np
import pytest
from small_rides import gpx, write, zipped

from gpsq import digests
from gpsq.campaign.campaign_file import Campaign
from gpsq.model import Trace, Unreadable
from gpsq.reading.folder import _marked_cut, _passed_over, list_folder, read_file, read_folder, recordings_meant
from gpsq.reading.listing import cannot_open, find_files, is_no_recording, kinds, may_be_something_else
from gpsq.settings import RESULTS, Settings

if TYPE_CHECKING:
    from pathlib import Path


# ---- names ----
def test_files_of_other_kinds_are_told_of_and_the_campaigns_own_are_not(tmp_path: Path) -> None:
    write(
        tmp_path,
        **{
            "mon.gpx": gpx(), "photo.JPG": "x", "SOURCE.md": "x", "sub/Readme first": "x", "line.gpx": gpx(),
            "rides.csv": "x", "campaign.toml": "x", "flags.csv": "x", "run.json": "x", "sub/Rides.CSV": "x",
            ".hidden.gpx": "x", ".git/config.toml": "x", "__MACOSX/mon.pdf": "x", "sub/tue.xyz": "x", "sub/.photo.jpg": "x",
        },
    )  # fmt: skip
    found = find_files(tmp_path, frozenset({"line.gpx"}))
    assert found.others == ("SOURCE.md", "line.gpx", "photo.JPG", "sub/Readme first")
    assert [f.name for f in found.files] == ["mon.gpx", "sub/tue.xyz"]
    assert (found.unreadable, found.links, found.not_entered, found.unread) == ([], {}, (), ("sub/Rides.CSV",))


@pytest.mark.parametrize("ending", [
    "md", "toml", "json", "geojson", "gpkg", "html", "htm", "pdf", "mp4", "mov", "avi", "mp3", "wav", "py", "sh", "bat", "r",
    "ipynb", "js", "css", "doc", "docx", "odt", "xls", "xlsx", "ods", "ppt", "pptx", "ini", "cfg", "yml", "yaml", "lock",
    "db", "sqlite", "bak", "tmp", "part", "sha256", "asc", "png", "jpg", "jpeg", "gif", "svg", "webp", "heic", "tif", "tiff",
])  # fmt: skip
def test_what_is_no_recording_by_its_ending(ending: str) -> None:
    assert is_no_recording(f"mon/x.{ending.upper()}")
    assert not is_no_recording(f"mon/x{ending}")


@pytest.mark.parametrize(("name", "told"), [
    ("license", True), ("LICENCE.txt", True), ("copying", True), ("notice.txt", True), ("changelog", True), ("authors", True),
    ("a/readme.gpx", True), ("my readme.gpx", False), ("rides.csv", True), ("myrides.csv", False), ("mon/.x/y.gpx", True),
    ("a.b/c.gpx", False), ("__MACOSX/c.gpx", True), ("a/__MACOSX/c.gpx", True), ("x__MACOSX/c.gpx", False), ("x.gpx", False),
])  # fmt: skip
def test_what_is_no_recording_by_its_name(name: str, told: bool) -> None:
    assert is_no_recording(name) is told


def test_kinds_are_told_by_number_the_most_first() -> None:
    assert kinds(["a.fit", "b.png", "c.FIT", "d.jpg", "e.fit", "f"]) == "3 named .fit, 2 pictures, 1 without an ending"
    assert kinds([]) == ""


@pytest.mark.parametrize(("file", "reason", "perhaps"), [
    ("x.xyz", "unknown_format", True), ("x.txt", "not_gpx", True), ("x", "html_page", True), ("x.csv", "empty_file", True),
    ("x.csv", "no_coordinate_columns", True), ("x.csv", "no_tracks", False), ("x.GPX", "not_gpx", False),
    ("x.nmea", "unknown_format", False), ("x.gpx.gz", "empty_file", False), ("x.nmea.gz", "empty_file", False),
    ("x.csv.gz", "empty_file", False), ("x.zip", "unknown_format", False), ("x.gz", "unknown_format", True),
])  # fmt: skip
def test_what_was_perhaps_never_meant_as_a_recording(file: str, reason: str, perhaps: bool) -> None:
    assert may_be_something_else(Unreadable(file, 0, reason, "")) is perhaps


# ---- what cannot be opened ----
@pytest.mark.parametrize(("error", "reason", "found"), [
    (OSError(errno.EACCES, "x", "f"), "permission_denied", "found permission denied; expected a readable file"),
    (OSError(errno.ELOOP, "x", "f"), "link_in_a_circle", "found a link that leads to itself; expected a readable file"),
    (OSError(errno.EIO, "Input/output error", "f"), "cannot_open", "found Input/output error; expected a readable file"),
    (OSError("odd"), "cannot_open", "found an error of the file system; expected a readable file"),
    (OSError(errno.EFBIG, "5 MiB, which is more than 4 MiB", "f"), "too_large", "found 5 MiB; expected at most 4 MiB"),
])  # fmt: skip
def test_what_the_system_does_not_hand_out_is_one_line(error: OSError, reason: str, found: str) -> None:
    said = cannot_open("mon.gpx", error)
    assert (said.file, said.track, said.reason, said.message) == ("mon.gpx", 0, reason, f"mon.gpx: {found}")


def test_nothing_is_a_link_to_nothing_or_a_file_that_was_there(tmp_path: Path) -> None:
    link = tmp_path / "link.gpx"
    link.symlink_to("gone.gpx")
    assert cannot_open("x", FileNotFoundError(errno.ENOENT, "x", str(link))).reason == "link_to_nothing"
    assert cannot_open("x", FileNotFoundError(errno.ENOENT, "x", str(tmp_path / "gone"))).reason == "vanished"
    assert cannot_open("x", FileNotFoundError(errno.ENOENT, "x")).reason == "link_to_nothing"


# ---- links and folders ----
def test_a_real_file_comes_before_links_to_it_and_each_is_read_once(tmp_path: Path) -> None:
    write(tmp_path, **{"z.gpx": gpx(), "m/a.gpx": gpx(lat=51.3)})
    (tmp_path / "a.gpx").symlink_to("z.gpx")
    (tmp_path / "b").symlink_to("m")
    os.link(tmp_path / "m" / "a.gpx", tmp_path / "m" / "b.gpx")
    found = find_files(tmp_path)
    assert [(f.name, f.linked) for f in found.files] == [("m/a.gpx", False), ("z.gpx", False)]
    assert found.links == {"a.gpx": "z.gpx", "m/b.gpx": "m/a.gpx"}
    assert found.notes == (
        "m/b.gpx is the same file as m/a.gpx and counts once.", "a.gpx is the same file as z.gpx and counts once.",
    )  # fmt: skip


def test_what_lies_in_a_linked_folder_is_linked(tmp_path: Path) -> None:
    write(tmp_path, **{"far/deep/a.gpx": gpx(), "rides/b.gpx": gpx(lat=51.3)})
    (tmp_path / "rides" / "there").symlink_to("../far")
    (tmp_path / "rides" / "up").symlink_to("..")
    found = find_files(tmp_path / "rides")
    assert [(f.name, f.linked) for f in found.files] == [("b.gpx", False), ("there/deep/a.gpx", True)]
    assert found.not_entered == ("up",)
    assert found.notes == ("up leads to a folder that holds this folder, and was not followed.",)


def test_earlier_results_are_not_entered_but_where_they_are_asked_for(tmp_path: Path) -> None:
    write(tmp_path, **{
        f"{RESULTS}/a.gpx": gpx(), "old/run.json": "{}", "old/tracks.csv": "x", "old/b.gpx": gpx(), "half/run.json": "{}",
        "half/c.gpx": gpx(), "other/tracks.csv": "x", "other/d.gpx": gpx(),
    })  # fmt: skip
    assert [f.name for f in find_files(tmp_path).files] == ["half/c.gpx", "other/d.gpx", "other/tracks.csv"]
    assert [f.name for f in find_files(tmp_path / RESULTS).files] == ["a.gpx"]
    assert [f.name for f in find_files(tmp_path / "old").files] == ["b.gpx", "tracks.csv"]


def test_a_pipe_is_told_of_where_it_is_called_a_recording(tmp_path: Path) -> None:
    os.mkfifo(tmp_path / "a.gpx")
    os.mkfifo(tmp_path / "b.xyz")
    found = find_files(tmp_path)
    assert found.files == []
    assert [u.message for u in found.unreadable] == [
        "a.gpx: found no file but a pipe, a socket or a device; expected a readable file"
    ]
    assert found.unreadable[0].reason == "no_file"


# ---- a folder ----
def test_strangers_are_passed_over_six_by_name_and_texts_in_silence() -> None:
    assert _passed_over([]) == ()
    assert _passed_over(["b.TXT"]) == ()
    six = ["f.fit", "e", "d.bin", "c.xyz", "b.xyz", "a.jpg"]
    assert _passed_over([*six, "n.txt"]) == (
        "Passed over, since they are no recordings that gpsq reads: a.jpg, b.xyz, c.xyz, d.bin, e, f.fit.",
    )
    assert _passed_over([*six, "g.xyz", "h.xyz"]) == (
        "Passed over, since they are no recordings that gpsq reads: a.jpg, b.xyz, c.xyz, d.bin, e, f.fit and 2 more "
        "(4 named .xyz, 1 picture, 1 named .bin, 1 without an ending, 1 named .fit in all).",
    )


def test_all_that_a_folder_holds(tmp_path: Path) -> None:
    write(
        tmp_path,
        **{
            "watch/tue.gpx": gpx("2024-05-15T07:00:30"), "watch/mon.gpx": gpx(), "bad.gpx": "\x01\x02", "odd.bin": "\x01\x02",
            "photo.jpg": "x", "rides.csv": "file,device,started\nbad.gpx,clock,\n", "phone/empty.gpx": "",
        },
    )  # fmt: skip
    told: list[tuple[int, int]] = []
    found = read_folder(tmp_path, on_progress=lambda done, of: told.append((done, of)))
    assert found.folder == str(tmp_path)
    assert [(t.file, t.device) for t in found.traces] == [("watch/mon.gpx", "watch"), ("watch/tue.gpx", "watch")]
    assert [(u.file, u.device) for u in found.unreadable] == [("bad.gpx", "clock"), ("phone/empty.gpx", "phone")]
    assert found.others == ("photo.jpg", "odd.bin")
    assert found.notes == ("Passed over, since they are no recordings that gpsq reads: odd.bin.",)
    assert told == [(1, 5), (2, 5), (3, 5), (4, 5), (5, 5)]
    names = {"rides.csv", "watch/mon.gpx", "watch/tue.gpx", "bad.gpx", "phone/empty.gpx"}
    assert set(found.inputs) <= names
    for name in ("rides.csv", "watch/mon.gpx", "bad.gpx"):
        assert found.inputs[name] == hashlib.sha256((tmp_path / name).read_bytes()).hexdigest()
    assert found.traces_digest == digests.digest([digests.digest(trace) for trace in found.traces])
    assert (found.flags, found.references, found.streets, found.earlier) == ((), (), None, ())


def test_times_go_by_the_zone_of_the_campaign_else_by_that_of_the_files(tmp_path: Path) -> None:
    write(tmp_path, **{"mon.gpx": gpx().replace("Z</time>", "+02:00</time>")})
    found = read_folder(tmp_path)
    assert (found.time_zone, str(found.traces[0].time[0])) == ("+02:00", "2024-05-14T05:00:30.000")
    write(tmp_path, **{"campaign.toml": 'time_zone = "Europe/Berlin"\n'})
    assert read_folder(tmp_path).time_zone == "Europe/Berlin"
    (tmp_path / "mon.gpx").unlink()
    rows = "time,lat,lon\n" + "".join(f"2024-05-14T07:00:{s:02d},51.2,{-3.6 + s * 7e-5:.6f}\n" for s in range(30))
    write(tmp_path, **{"mon.csv": rows})
    assert str(read_folder(tmp_path).traces[0].time[-1]) == "2024-05-14T05:00:29.000"


def test_what_the_person_wrote_is_read_before_the_recordings(tmp_path: Path) -> None:
    write(
        tmp_path,
        **{
            "line.gpx": gpx(), "mon.gpx": gpx(), "gone.txt": "x", "flags.csv": "nonsense\n1\n", "empty.gpx": "<gpx></gpx>",
            "campaign.toml": '[reference]\nA = "line.gpx"\nB = "empty.gpx"\n[settings]\nstep_m = 7\n',
        },
    )  # fmt: skip
    listed = list_folder(tmp_path)
    assert [f.name for f in listed.files] == ["gone.txt", "mon.gpx"]
    assert listed.campaign.settings.step_m == 7.0
    assert [line.file for line in listed.references] == ["line.gpx"]
    assert listed.others == ("empty.gpx", "line.gpx")
    assert len(listed.problems) == 2
    assert "flags.csv" in listed.problems[0]
    assert "empty.gpx" in listed.problems[1]
    assert read_folder(tmp_path).problems == listed.problems


def of_file(tmp_path: Path, name: str, data: bytes, **how: str) -> list[Trace | Unreadable]:
    (tmp_path / name).write_bytes(data)
    return read_file(tmp_path / name, name, Settings(), **how)


def test_dates_are_read_in_the_order_asked_for(tmp_path: Path) -> None:
    rows = "time,lat,lon\n" + "".join(f"03/05/2024 07:00:{s:02d},51.2,{-3.6 + s * 7e-5:.6f}\n" for s in range(30))
    days = {
        order: str(of_file(tmp_path, "a.csv", rows.encode(), time_zone="Europe/Berlin", date_order=order)[0].time[0])
        for order in ("dmy", "mdy")
    }
    assert days == {"dmy": "2024-05-03T05:00:00.000", "mdy": "2024-03-05T06:00:00.000"}


def test_members_that_are_no_recordings_are_passed_over_and_an_archive_of_them_is_said(tmp_path: Path) -> None:
    (only,) = of_file(tmp_path, "a.zip", zipped(**{"x/README.md": b"x", "y.jpg": b"x"}))
    assert (only.file, only.track, only.reason) == ("a.zip", 0, "no_tracks")
    assert only.message == "a.zip: found an archive without a recording; expected recordings"
    found = of_file(tmp_path, "b.zip", zipped(**{"mon.gpx": gpx().encode(), "y.jpg": b"x", "bad.gpx": b"\x01"}))
    assert sorted(r.file for r in found) == ["b.zip/bad.gpx", "b.zip/mon.gpx"]
    (named,) = of_file(tmp_path, "readme.gpx", gpx().encode())  # asked for by name, it is read
    assert isinstance(named, Trace)


def test_recordings_of_a_file_are_numbered_and_those_without_points_left_out(tmp_path: Path) -> None:
    one = gpx()
    track = one[one.index("<trk>") : one.index("</gpx>")]
    three = one.replace("</gpx>", "<trk><trkseg></trkseg></trk>" + track.replace("51.2", "51.3") + "</gpx>")
    found = of_file(tmp_path, "a.gpx", three.encode())
    assert [r.track for r in found if isinstance(r, Trace)] in ([1, 3], [1, 2])
    assert all(r.sha256 == hashlib.sha256(three.encode()).hexdigest() for r in found)


def test_of_a_cut_stream_the_last_recording_has_no_known_end(tmp_path: Path) -> None:
    noise = "".join(f"<!-- {os.urandom(20).hex()} -->" for _ in range(400))
    data = gzip.compress(gpx(n=300).replace("</trkseg>", f"</trkseg>{noise}").encode())
    (found,) = of_file(tmp_path, "a.gpx.gz", data[: len(data) * 3 // 4])
    assert isinstance(found, Trace)
    assert found.truncated
    assert found.notes[0].startswith("The compressed file is cut off or damaged")
    refused = Unreadable("a.gpx.gz", 2, "no_usable_points", "x")
    assert _marked_cut([found, refused]) == [found, refused]
    early = gzip.compress(f"{noise}{gpx()}".encode())
    (nothing,) = of_file(tmp_path, "b.gpx.gz", early[: len(early) // 2])
    assert (nothing.reason, nothing.track) == ("compressed_cut_off", 0)
    assert nothing.message == (
        "b.gpx.gz: found a compressed file that is cut off or damaged, and nothing usable before that; expected a whole one"
    )


def test_a_campaign_of_no_file_has_the_usual_settings(tmp_path: Path) -> None:
    assert read_folder(tmp_path).campaign.settings == Campaign().settings
    assert np.array_equal(read_folder(tmp_path).traces, ())


def test_a_web_page_is_known_behind_comments_and_comments_alone_are_none(tmp_path: Path) -> None:
    """Sixty comments could be parted into comments in 2⁵⁹ ways: whoever tries them all never ends."""
    comments = "<!-- nothing --> " * 60
    (page,) = of_file(tmp_path, "a.gpx", f"{comments}<html><body>sign in</body></html>".encode())
    assert page.reason == "html_page"
    (none,) = of_file(tmp_path, "b.gpx", f"{comments}<!-- cut".encode())
    assert (none.reason, none.message) == ("not_gpx", "b.gpx: found XML that is no GPX; expected a recorded track")


def test_a_file_that_is_gone_is_one_line(tmp_path: Path) -> None:
    (gone,) = read_file(tmp_path / "mon.gpx", "mon.gpx", Settings())
    assert (gone.file, gone.track, gone.reason) == ("mon.gpx", 0, "vanished")


def test_of_a_cut_stream_all_recordings_but_the_last_have_their_end(tmp_path: Path) -> None:
    one, noise = gpx(n=40), "".join(f"<!-- {os.urandom(20).hex()} -->" for _ in range(400))
    track = one[one.index("<trk>") : one.index("</gpx>")]
    data = gzip.compress(one.replace("</gpx>", track.replace("51.2", "51.3") + noise + "</gpx>").encode())
    found = of_file(tmp_path, "a.gpx.gz", data[: len(data) * 3 // 4])
    assert [(r.track, r.truncated) for r in found if isinstance(r, Trace)] == [(1, False), (2, True)]


def test_a_member_that_is_refused_is_of_no_track(tmp_path: Path) -> None:
    (refused,) = of_file(tmp_path, "a.zip", zipped(**{"../mon.gpx": gpx().encode()}))
    assert refused.track == 0


def test_rows_of_a_log_mean_recordings_by_their_devices_whoever_asks(tmp_path: Path) -> None:
    write(tmp_path, **{"watch/mon.gpx": gpx(), "phone/tue.gpx": gpx("2024-05-15T07:00:30"), "bad.gpx": "\x01"})
    found = read_folder(tmp_path)
    meant = recordings_meant([*found.traces, *found.unreadable], found.campaign)
    assert [(r.file, r.track, r.device) for r in meant] == [
        ("phone/tue.gpx", 1, "phone"), ("watch/mon.gpx", 1, "watch"), ("bad.gpx", 0, ""),
    ]  # fmt: skip


@pytest.mark.parametrize(("zone", "said"), [("", "+02:00"), ('time_zone = "Europe/Berlin"\n', "Europe/Berlin")])
def test_what_contradicts_the_log_is_said_by_the_clocks_of_the_campaign(tmp_path: Path, zone: str, said: str) -> None:
    """The files are written at +02:00: their first fix at 07:00:30 there is before the start that was written down."""
    rows = "file,started\nmon.gpx,2024-05-14T07:09:30+02:00\n"
    write(tmp_path, **{"mon.gpx": gpx().replace("Z</time>", "+02:00</time>"), "rides.csv": rows, "campaign.toml": zone})
    found = read_folder(tmp_path)
    lines = [*found.problems, *found.traces[0].notes]
    assert ["at 07:00:30" in line and f"{said})" in line for line in lines] == [True, True]

"""Folders: what is read, what is passed over, devices, starts, archives, links."""

from __future__ import annotations

import concurrent.futures
import dataclasses
import gzip
import hashlib
from typing import TYPE_CHECKING

import numpy as np
import pytest
from small_rides import gpx, write, zipped
from trace_maker import road, trace_on

from gpsq.campaign import flags
from gpsq.campaign.device_folders import found_devices
from gpsq.campaign.device_names import is_date
from gpsq.exceptions import NothingToAnalyse
from gpsq.model import Trace, Unreadable
from gpsq.reading import read_file, read_folder
from gpsq.reading.archives import MOST_BYTES, documents
from gpsq.reading.listing import find_files
from gpsq.settings import Settings

if TYPE_CHECKING:
    from pathlib import Path


# what is read


def test_company_and_earlier_results_are_passed_over_without_noise(tmp_path: Path) -> None:
    write(
        tmp_path,
        **{
            "mon.gpx": gpx(),
            "SOURCE.md": "<trkpt>",
            "LICENSE": "free",
            "photo.jpg": "x",
            "flags.csv": ",".join(flags.COLUMNS) + "\n",
            ".hidden/tue.gpx": gpx(),
            "._mon.gpx": "x",
            "gpsq-results/centrelines.gpx": gpx(),
            "old/run.json": "{}",
            "old/tracks.csv": "file,lat,lon\na,1,2\n",
            "old/x.gpx": gpx(),
            "notes.txt": "rode to work",
        },
    )
    readings = read_folder(tmp_path)
    assert [t.file for t in readings.traces] == ["mon.gpx"]
    assert (readings.unreadable, readings.problems, readings.notes) == ((), (), ())


def test_a_table_is_a_recording_only_with_latitude_and_longitude(tmp_path: Path) -> None:
    write(
        tmp_path, **{"weather.csv": "day,rain\nmon,2\n", "ride.csv": "time,lat,lon\n2024-05-14T07:00:00Z,51.2,-3.6\n"}
    )
    readings = read_folder(tmp_path)
    assert [t.file for t in readings.traces] == ["ride.csv"]
    assert readings.unreadable == ()


def test_files_are_judged_by_content_and_strangers_are_named_once(tmp_path: Path) -> None:
    write(tmp_path, **{"ride.txt": gpx(), "ride.bin": "\x01\x02\x03", "bad.gpx": "\x01\x02\x03"})
    readings = read_folder(tmp_path)
    assert [t.file for t in readings.traces] == ["ride.txt"]
    assert [u.file for u in readings.unreadable] == ["bad.gpx"]
    assert readings.notes == ("Passed over, since they are no recordings that gpsq reads: ride.bin.",)


def test_a_missing_folder_is_refused(tmp_path: Path) -> None:
    with pytest.raises(NothingToAnalyse, match="no folder of that name"):
        read_folder(tmp_path / "nowhere")


def test_an_executor_changes_nothing_and_progress_is_told(tmp_path: Path) -> None:
    write(tmp_path, **{f"{day}.gpx": gpx() for day in "abcde"})
    seen: list[tuple[int, int]] = []
    with concurrent.futures.ProcessPoolExecutor(2) as executor:
        side_by_side = read_folder(
            tmp_path, each=executor.map, on_progress=lambda done, total: seen.append((done, total))
        )
    alone = read_folder(tmp_path)
    assert [t.key for t in side_by_side.traces] == [t.key for t in alone.traces]
    assert seen == [(i, 5) for i in range(1, 6)]


def test_inputs_are_known_by_their_hash(tmp_path: Path) -> None:
    write(tmp_path, **{"mon.gpx": gpx(), "rides.csv": "file,device,started\n"})
    readings = read_folder(tmp_path)
    assert readings.inputs["mon.gpx"] == hashlib.sha256(gpx().encode()).hexdigest() == readings.traces[0].sha256
    assert set(readings.inputs) == {"mon.gpx", "rides.csv"}


def test_a_reference_line_is_no_ride(tmp_path: Path) -> None:
    write(tmp_path, **{"mon.gpx": gpx(), "line.gpx": gpx(), "campaign.toml": '[reference]\n"R1" = "line.gpx"\n'})
    assert [t.file for t in read_folder(tmp_path).traces] == ["mon.gpx"]


def test_a_link_to_a_folder_outside_is_read_and_a_linked_folder_counts_once(tmp_path: Path) -> None:
    write(tmp_path, **{"outside/mon.gpx": gpx(), "rides/watch/tue.gpx": gpx()})
    (tmp_path / "rides/a-link").symlink_to("watch")
    (tmp_path / "rides/other").symlink_to("../outside")
    readings = read_folder(tmp_path / "rides")
    assert [t.file for t in readings.traces] == ["other/mon.gpx", "watch/tue.gpx"]


def test_names_with_control_characters_and_broken_bytes_are_told_apart(tmp_path: Path) -> None:
    for name in (b"a\nb.gpx", b"a\xffb.gpx", b"a\xfeb.gpx"):
        (tmp_path / name.decode("utf-8", "surrogateescape")).write_text(gpx(), encoding="utf-8")
    names = {f.name for f in find_files(tmp_path).files}
    assert names == {"a\\nb.gpx", "a\\xffb.gpx", "a\\xfeb.gpx"}
    assert "\\xff" in "".join(sorted(t.file for t in read_folder(tmp_path).traces)).encode().decode()


# archives


def read_bytes(tmp_path: Path, name: str, data: bytes) -> list[object]:
    (tmp_path / name).write_bytes(data)
    return list(read_file(tmp_path / name, name, settings=Settings()))


def test_an_archive_gives_its_members_and_nothing_is_written(tmp_path: Path) -> None:
    data = zipped(
        **{
            "mon.gpx": gpx().encode(),
            "a/../sat.gpx": gpx().encode(),
            "/root/tue.gpx.gz": gzip.compress(gpx().encode()),
            "__MACOSX/._mon.gpx": b"x",
            "README.md": b"x",
            "empty/": b"",
        }
    )
    results = read_bytes(tmp_path, "week.zip", data)
    assert all(isinstance(r, Trace) for r in results)
    assert [r.file for r in results if isinstance(r, Trace)] == [
        "week.zip/mon.gpx",
        "week.zip/a/sat.gpx",
        "week.zip/root/tue.gpx.gz",
    ]
    assert sorted(p.name for p in tmp_path.rglob("*")) == ["week.zip"]


@pytest.mark.parametrize(
    "name", ["../x.gpx", "../../x.gpx", "a/../../x.gpx", "..\\x.gpx", "./../x.gpx", "../notes.csv"]
)
def test_a_member_whose_name_climbs_out_is_refused_by_name_and_the_others_are_read(tmp_path: Path, name: str) -> None:
    bad, good = read_bytes(tmp_path, "week.zip", zipped(**{name: gpx().encode(), "mon.gpx": gpx().encode()}))
    assert isinstance(bad, Unreadable)
    assert isinstance(good, Trace)
    assert (bad.reason, good.file) == ("unsafe_name", "week.zip/mon.gpx")
    assert repr(name) in bad.message
    assert ".." not in bad.file


@pytest.mark.parametrize("size", [60, 300, 800])
def test_a_cut_gzip_gives_what_unpacks(tmp_path: Path, size: int) -> None:
    rng = np.random.default_rng(1)
    noisy = "".join(f'<trkpt lat="{51 + v:.7f}" lon="3"/>' for v in rng.random(200))
    data = gzip.compress(f"<gpx><trk><trkseg>{noisy}</trkseg></trk></gpx>".encode())
    (result,) = read_bytes(tmp_path, "ride.gpx.gz", data[:size])
    if isinstance(result, Trace):
        assert result.truncated
        assert 0 < result.accepted < 200
        assert "compressed file is cut off" in result.notes[0]
    else:
        assert size == 60


@pytest.mark.parametrize(
    ("data", "reason"),
    [
        (gzip.compress(b"\0" * 50_000_000), "too_large"),
        (zipped(a=b"\0" * 50_000_000), "too_large"),
        (gzip.compress(gzip.compress(b"<gpx/>")), "nested_archive"),
        (zipped(**{"inner.zip": zipped(a=b"x")}), "nested_archive"),
        (zipped(**{"mon.gpx": gpx().encode()})[:200], "archive_damaged"),
        (zipped(), "no_tracks"),
        (gzip.compress(b"x" * 100)[:12], "compressed_cut_off"),
    ],
    ids=["gzip bomb", "zip bomb", "gzip in gzip", "zip in zip", "cut zip", "empty zip", "cut gzip"],
)
def test_bombs_and_broken_archives_get_one_line(tmp_path: Path, data: bytes, reason: str) -> None:
    (result,) = read_bytes(tmp_path, "x.zip", data)
    assert not isinstance(result, Trace)
    assert result.reason == reason  # type: ignore[attr-defined]  # an Unreadable
    assert "\n" not in result.message  # type: ignore[attr-defined]


def test_an_archive_of_bombs_cannot_add_up() -> None:
    """Each member alone is within bounds; together they may not unpack to more than the bound either."""
    data = zipped(**{f"{i}.gpx": b"<gpx>" + bytes(range(256)) * 14_000 for i in range(90)})
    members = list(documents(data, "x.zip"))
    assert sum(len(m.data) for m in members) <= MOST_BYTES
    assert any(m.error and m.error.reason == "too_large" for m in members)


# devices


def test_the_device_is_found_in_the_order_of_the_contract(tmp_path: Path) -> None:
    write(
        tmp_path,
        **{
            "rides.csv": "file,device,started\nwatch/logged.gpx,Logged,\n",
            "campaign.toml": '[devices]\n"maker" = "Renamed"\n"watch/over.gpx" = "By file"\n',
            "watch/logged.gpx": gpx(),
            "watch/plain.gpx": gpx(),
            "watch/over.gpx": gpx(),
            "2024-05-14/dated.gpx": gpx(),
            "mercredi/day.gpx": gpx(creator=""),
        },
    )
    assert {t.file: t.device for t in read_folder(tmp_path).traces} == {
        "watch/logged.gpx": "Logged",
        "watch/plain.gpx": "watch",
        "watch/over.gpx": "By file",
        "2024-05-14/dated.gpx": "Renamed",
        "mercredi/day.gpx": "unknown device",
    }


def test_an_archive_is_no_device() -> None:
    traces = [
        trace_on(road(100), day=k, file=file) for k, file in enumerate(["week.zip/watch/mon.gpx", "week.zip/mon.gpx"])
    ]
    found = found_devices([dataclasses.replace(t, creator="maker") for t in traces])
    assert [found.names[t.file, 1] for t in traces] == ["watch", "maker"]


@pytest.mark.parametrize(
    "name", ["Monday", "dienstag", "mié", "Śr", "2024-05-14", "14.5.2024", "20240514", "week 3", "Tue 14 May"]
)
def test_dates_and_weekdays_are_no_devices(name: str) -> None:
    assert is_date(name)


@pytest.mark.parametrize("name", ["watch", "watch-2", "phone 1", "handheld", "action-camera", "Monday watch", "x"])
def test_other_names_are_devices(name: str) -> None:
    assert not is_date(name)

"""Which device made each recording: sub-folders, sites with sub-folders, and files that cannot be of one device."""

from __future__ import annotations

import dataclasses
from typing import TYPE_CHECKING

import numpy as np
import pytest
from trace_maker import MONDAY, road, shifted_left, trace_on

from gpsq.campaign.device_folders import found_devices
from gpsq.plane import Plane
from gpsq.reading import read_folder

if TYPE_CHECKING:
    from pathlib import Path

    from gpsq.model import Trace

#: Two places a few hundred kilometres apart.
HERE, THERE = Plane(2.0, 48.0), Plane(8.0, 50.0)


def made(
    file: str, day: int = 0, start_s: float = 0.0, *, aside_m: float = 0.0, creator: str = "", **changes: object
) -> Trace:
    """Return a recording of 400 s; `aside_m` makes it another receiver's of the same walk."""
    changes = {"plane": HERE} | changes
    line = shifted_left(road(), aside_m)
    return trace_on(line, day=day, start_s=start_s, file=file, creator=creator, device="", **changes)  # type: ignore[arg-type]


def devices(*traces: Trace) -> dict[str, str]:
    return {file: name for (file, _), name in found_devices(traces).names.items()}


# folders


def test_a_sub_folder_is_the_device() -> None:
    week = [
        made(f"{name}/day{day}.gpx", day, aside_m=aside) for day in (0, 1) for name, aside in (("watch", 0), ("bar", 3))
    ]
    assert set(devices(*week).values()) == {"watch", "bar"}
    assert found_devices(week).notes == ()


def test_below_a_site_its_sub_folders_are_the_devices() -> None:
    """Two parks, the same receivers in both, all carried at once; the devices are not the parks."""
    sites = [
        made(f"{site}/{name}/pos.gpx", day, aside_m=aside)
        for day, site in enumerate(("free", "trees"))
        for name, aside in (("watch", 0.0), ("phone", 3.0), ("module", -4.0))
    ]
    assert set(devices(*sites).values()) == {"watch", "phone", "module"}


def test_a_site_where_one_receiver_was_carried_alone_goes_with_its_neighbours() -> None:
    both = [made("free/watch/a.gpx"), made("free/phone/a.gpx", aside_m=3.0)]
    assert devices(*both, made("trees/phone/b.gpx", 3))["trees/phone/b.gpx"] == "phone"


def test_sub_folders_of_different_days_do_not_make_a_site() -> None:
    months = [made("watch/May/a.gpx"), made("watch/June/a.gpx", 30), made("bar/May/a.gpx", aside_m=3.0)]
    assert devices(*months) == {"watch/May/a.gpx": "watch", "watch/June/a.gpx": "watch", "bar/May/a.gpx": "bar"}


def test_what_differs_above_already_is_no_site() -> None:
    two = [made("watch/left/a.gpx"), made("bar/right/a.gpx", aside_m=3.0)]
    assert set(devices(*two).values()) == {"watch", "bar"}


def test_copies_in_a_sub_folder_do_not_make_a_site() -> None:
    """The same points at the same instants, written by another program."""
    original = made("watch/gpx/a.gpx")
    copy = dataclasses.replace(original, file="watch/csv/a.csv", sha256="0" * 64)
    assert set(devices(original, copy).values()) == {"watch"}


def test_a_day_with_a_folder_for_each_device_is_a_site_and_a_day_alone_is_no_device() -> None:
    days = [
        made("2026-05-04/watch/a.gpx"),
        made("2026-05-04/bar/a.gpx", aside_m=3.0),
        made("2026-05-05/watch/b.gpx", 1),
    ]
    assert devices(*days) == {
        "2026-05-04/watch/a.gpx": "watch", "2026-05-04/bar/a.gpx": "bar", "2026-05-05/watch/b.gpx": "watch",
    }  # fmt: skip
    assert devices(made("2026-05-04/out/a.gpx", creator="maker")) == {"2026-05-04/out/a.gpx": "maker"}


def test_a_folder_of_several_devices_at_once_is_none() -> None:
    found = found_devices(
        [made(f"all/{name}.gpx", aside_m=aside, creator=name) for name, aside in (("watch", 0.0), ("phone", 3.0))]
    )
    assert set(found.names.values()) == {"watch", "phone"}
    assert found.notes == ("The recordings in all were made at the same time, so all is not taken for one device.",)


def test_one_doubled_recording_among_many_leaves_its_folder_a_device() -> None:
    many = [made(f"watch/{day}.gpx", day) for day in range(6)]
    assert set(devices(*many, made("watch/again.gpx", aside_m=3.0)).values()) == {"watch"}


# files that name no device


def test_nameless_recordings_of_one_region_are_one_device() -> None:
    found = found_devices([made(f"{day}.csv", day) for day in range(3)])
    assert set(found.names.values()) == {"unknown device"}
    assert found.notes == ()


def test_nameless_recordings_at_the_same_time_are_not_pooled() -> None:
    found = found_devices([made("a.csv"), made("b.csv", plane=THERE)])
    assert found.names == {("a.csv", 1): "unknown device (a.csv)", ("b.csv", 1): "unknown device (b.csv)"}
    (note,) = found.notes
    assert note.startswith("2 recordings name no device and cannot be taken for one")
    assert note.endswith('so they count as 2. To name them, put the files of each device into a folder of its own, or write '
                         'under [devices] in campaign.toml: "a.csv" = "a name"')  # fmt: skip


def test_nameless_recordings_of_regions_far_apart_are_a_device_each() -> None:
    """Paris and Frankfurt: some 480 km."""
    found = devices(made("a.csv"), made("b.csv", 1), made("c.csv", 2, plane=THERE))
    assert found == {
        "a.csv": "unknown device (a.csv)", "b.csv": "unknown device (a.csv)", "c.csv": "unknown device (c.csv)",
    }  # fmt: skip


@pytest.mark.parametrize(
    ("first", "second", "pooled"),
    [
        ({"sentences_GPRMC": 90, "sentences_GPGGA": 90}, {"sentences_GPRMC": 20, "sentences_GPGGA": 21}, True),
        ({"sentences_GPRMC": 90}, {"sentences_GPRMC": 60, "sentences_GPZDA": 1}, True),
        ({"sentences_GPRMC": 90}, {"sentences_GNRMC": 90}, False),
        ({"sentences_GPRMC": 90}, {"sentences_GPRMC": 90, "sentences_GPGGA": 90}, False),
    ],
)
def test_receivers_that_speak_differently_are_not_pooled(
    first: dict[str, int], second: dict[str, int], pooled: bool
) -> None:
    found = devices(made("a.nmea", counts=first), made("b.nmea", 1, counts=second))
    assert (len(set(found.values())) == 1) == pooled


def test_a_recording_that_never_fixed_goes_with_its_like() -> None:
    lost = trace_on(np.empty((0, 2)), device="", file="lost.csv", plane=HERE, points=0, last_record=MONDAY)
    assert set(devices(made("a.csv", 1), lost).values()) == {"unknown device"}


# real recordings


@pytest.mark.open_data
def test_the_parks_are_no_devices(shared: Path) -> None:
    found = read_folder(shared / "data" / "park_passes")
    by_folder: dict[str, set[str]] = {}
    for trace in found.traces:
        by_folder.setdefault(trace.file.rpartition("/")[0], set()).add(trace.device)
    for folder, names in by_folder.items():
        if "/" in folder:
            assert names == {folder.split("/")[1]}
    assert not {"FC", "MC", "continuous"} & {t.device for t in found.traces}


@pytest.mark.open_data
def test_seventeen_logs_of_many_receivers_are_not_one(shared: Path) -> None:
    """Their source names a different receiver for each."""
    found = read_folder(shared / "data" / "nmea_logs")
    assert len({t.device for t in found.traces}) == len(found.traces)
    assert any("recordings name no device and cannot be taken for one" in note for note in found.notes)

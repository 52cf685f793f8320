"""Which recording a row of the start log means, by its name or by its time; what means none or several is named."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from gpsq.campaign import start_log, start_matching
from gpsq.campaign.start_matching import Matches, Recording

SEVEN = np.datetime64("2024-05-14T07:00:00", "ms")


def after(seconds: float) -> np.datetime64:
    return SEVEN + np.timedelta64(round(seconds * 1000), "ms")


def recording(
    file: str, begins_s: float, *, device: str = "watch", searches_s: float = 0.0, track: int = 1
) -> Recording:
    """Return a recording of an hour; nan for how long it searches is one that is never fixed."""
    fixed = after(begins_s + searches_s) if np.isfinite(searches_s) else np.datetime64("NaT", "ms")
    return Recording(file, track, device, after(begins_s), fixed, after(begins_s + 3600))


def matches(rows: str, *recordings: Recording, heading: str = "started") -> Matches:
    return start_matching.match(start_log.parse(f"{heading}\n{rows}", "UTC"), recordings)


def meant(found: Matches) -> list[str]:
    return [m.recording.label if m.recording else "" for m in found.each]


def said(found: Matches) -> list[str]:
    return [str(problem) for problem in found.problems]


# by time


def test_a_row_means_the_recording_that_begins_after_it() -> None:
    found = matches(
        "2024-05-14 07:00:00\n2024-05-14 17:00:00\n", recording("out.gpx", 25), recording("back.gpx", 36_007)
    )
    assert meant(found) == ["out.gpx", "back.gpx"]
    assert [m.waited_s for m in found.each] == [25.0, 7.0]
    assert found.problems == ()
    assert set(found.starts) == {("out.gpx", 1), ("back.gpx", 1)}


@pytest.mark.parametrize(("begins_s", "found"), [(0, True), (1800, True), (1800.5, False), (-0.5, False)])
def test_a_recording_belongs_to_a_row_from_that_instant_up_to_half_an_hour_after(begins_s: float, found: bool) -> None:
    """The bound stands in the contract of the start log: at most 30 min after it."""
    assert bool(matches("2024-05-14 07:00:00", recording("out.gpx", begins_s)).starts) == found


def test_a_row_within_the_search_is_meant_too_and_one_after_the_fix_is_not() -> None:
    searching = recording("out.gpx", -5, searches_s=60)
    assert meant(matches("2024-05-14 07:00:00", searching)) == ["out.gpx"]
    assert meant(matches("2024-05-14 07:00:56", searching)) == [""]


def test_a_recording_that_is_never_fixed_has_its_start_and_no_wait() -> None:
    (found,) = matches("2024-05-14 07:00:00", recording("out.gpx", 2, searches_s=np.nan)).each
    assert found.recording
    assert np.isnan(found.waited_s)


@pytest.mark.parametrize(
    ("begins_s", "apart"),
    [(7207, "2.0 h later"), (-3593, "59.9 min earlier"), (-30, "30 s earlier"), (86_400 * 3, "3.0 days later")],
)
def test_a_row_that_no_recording_follows_is_named_with_the_nearest(begins_s: float, apart: str) -> None:
    assert said(matches("2024-05-14 07:00:00", recording("out.gpx", begins_s))) == [
        f"rides.csv: found '2024-05-14 07:00:00' in row 1, after which no recording begins: the nearest, out.gpx, begins "
        f"{apart}; expected a start at most 30 min before its recording"
    ]


def test_a_row_that_two_recordings_follow_is_named() -> None:
    found = matches("2024-05-14 07:00:00", recording("a.gpx", 20), recording("b.gpx", 1500))
    assert said(found) == [
        "rides.csv: found '2024-05-14 07:00:00' in row 1, which may be the start of a.gpx or b.gpx; expected a column "
        "file or device that tells which"
    ]
    assert not found.starts


def test_a_later_row_takes_the_recording_that_follows_it() -> None:
    """Whoever presses start again has ended what was searching: 25 min apart, each row has its own."""
    two = (recording("a.gpx", 20), recording("b.gpx", 1530))
    assert meant(matches("2024-05-14 07:25:00\n2024-05-14 07:00:00", *two)) == ["b.gpx", "a.gpx"]
    alone = matches("2024-05-14 07:00:00\n2024-05-14 07:25:00", two[1])
    assert meant(alone) == ["", "b.gpx"]
    assert "and b.gpx, which begins after it, belongs to another row; expected a recording" in said(alone)[0]


def test_of_two_equal_rows_the_first_is_used_and_the_second_named() -> None:
    found = matches("2024-05-14 07:00:00\n2024-05-14 07:00:00", recording("a.gpx", 20))
    assert meant(found) == ["a.gpx", ""]
    assert len(found.problems) == 1


def test_the_device_tells_which_of_two_recordings_is_meant() -> None:
    two = (recording("a.gpx", 20, device="Watch"), recording("b.gpx", 21, device="bar"))
    found = matches("watch,2024-05-14 07:00:00\nbar,2024-05-14 07:00:05", *two, heading="device,started")
    assert meant(found) == ["a.gpx", "b.gpx"]
    assert [m.waited_s for m in found.each] == [20.0, 16.0]
    assert "which may be the start of a.gpx or b.gpx" in said(matches("2024-05-14 07:00:00", *two))[0]


def test_a_device_that_no_recording_has_yet_names_the_one_recording() -> None:
    found = matches("my watch,2024-05-14 07:00:00", recording("a.gpx", 20), heading="device,started")
    assert found.devices == {("a.gpx", 1): "my watch"}


def test_a_row_that_names_a_file_takes_it_from_those_that_name_none() -> None:
    two = (recording("a.gpx", 20), recording("b.gpx", 1500))
    found = matches(",2024-05-14 07:00:00\nb.gpx,2024-05-14 07:24:00", *two, heading="file,started")
    assert meant(found) == ["a.gpx", "b.gpx"]


def test_recordings_without_times_are_meant_by_name_only() -> None:
    found = matches(",2024-05-14 07:00:00\na.gpx,2024-05-14 07:24:00", Recording("a.gpx"), heading="file,started")
    assert meant(found) == ["", "a.gpx"]
    assert "and no recording here has a known time" in said(found)[0]


starts_s = st.lists(st.integers(0, 10_000), min_size=1, max_size=6, unique=True)


@given(starts_s, st.lists(st.integers(0, 12_000), max_size=6, unique=True))
def test_each_row_means_one_recording_or_is_named_and_no_recording_has_two(rows: list[int], begins: list[int]) -> None:
    """Checked against the rule itself, spelled out row by row over plain integers."""
    text = "\n".join(str(after(r)).replace("T", " ") for r in rows)
    found = matches(text, *(recording(f"{b}.gpx", b) for b in begins))
    for row, match in zip(rows, found.each, strict=True):
        own = [b for b in begins if 0 <= b - row <= 1800 and not any(row < other <= b for other in rows)]
        assert (match.recording.file if match.recording else "") == (f"{own[0]}.gpx" if len(own) == 1 else "")
        assert (match.recording is None) == (match.problem is not None)


# by name


def test_rows_are_matched_by_path_or_by_a_bare_name_that_is_unique() -> None:
    log = "watch/mon.gpx,A,\ntue.gpx,B,\nmon.gpx,C,\ngone.gpx,D,\nphone\\wed.gpx,E,"
    files = ["watch/mon.gpx", "phone/mon.gpx", "phone/tue.gpx", "phone/wed.gpx"]
    found = matches(log, *map(Recording, files), heading="file,device,started")
    assert {file: device for (file, _), device in found.devices.items()} == {
        "watch/mon.gpx": "A",
        "phone/tue.gpx": "B",
        "phone/wed.gpx": "E",
    }
    assert "'mon.gpx' in row 3, which may be phone/mon.gpx or watch/mon.gpx" in said(found)[0]
    assert "'gone.gpx' in row 4, which is no recording here" in said(found)[1]


def test_a_file_named_twice_is_said_and_its_first_row_used() -> None:
    found = matches("a.gpx,First,\na.gpx,Second,", Recording("a.gpx"), heading="file,device,started")
    assert found.devices == {("a.gpx", 1): "First"}
    assert "a.gpx again in row 2, its first row is used" in said(found)[0]


def test_in_a_file_of_several_tracks_each_row_means_the_one_that_begins_next() -> None:
    tracks = (recording("all.gpx", 36_010, track=2), recording("all.gpx", 20, track=1))
    found = matches(
        "all.gpx,2024-05-14 17:00:00,W\nall.gpx,2024-05-14 07:00:00,", *tracks, heading="file,started,device"
    )
    assert meant(found) == ["all.gpx (track 2)", "all.gpx"]
    assert found.devices == {("all.gpx", 1): "W", ("all.gpx", 2): "W"}
    assert meant(matches("2024-05-14 17:00:00", *tracks)) == ["all.gpx (track 2)"]


def test_many_rows_and_recordings_are_not_looked_at_two_by_two(monkeypatch: pytest.MonkeyPatch) -> None:
    """A year of rides: a row for each, by time alone, and by a file that holds them all."""
    looked_at: list[object] = []
    compare = start_matching._is_of_device
    monkeypatch.setattr(start_matching, "_is_of_device", lambda *a: looked_at.append(a) or compare(*a))
    count = 400
    starts = np.datetime64("2024-01-01T07:00:00", "ms") + np.arange(count) * np.timedelta64(12, "h")
    recordings = [Recording("all.gpx", k, "", t, t, t) for k, t in enumerate(starts + np.timedelta64(20, "s"), start=1)]
    for head, named in (("started", ""), ("file,started", "all.gpx,")):
        log = start_log.parse("\n".join([head, *(f"{named}{start}Z" for start in starts[::-1])]))
        found = start_matching.match(log, recordings)
        assert [m.recording.track for m in found.each if m.recording] == list(range(count, 0, -1))
    assert len(looked_at) <= 2 * count

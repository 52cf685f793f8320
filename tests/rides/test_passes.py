"""Continuous recordings cut into passes: hand-noted truth, made-up ways, and books that must balance."""

from __future__ import annotations

import csv
from dataclasses import replace
from datetime import datetime
from itertools import pairwise
from typing import TYPE_CHECKING

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from gpsq.model import SetAside, Spike, Trace
from gpsq.plane import Plane
from gpsq.reading import read_file
from gpsq.rides.passes import _turns, cut, find_passes, split, suggest
from gpsq.settings import Settings

if TYPE_CHECKING:
    from pathlib import Path

DEFAULT = Settings()
#: SOURCE.md of the recordings: the handheld's clock is 7,196 s behind.
CLOCK_S = {"handheld": -7196.0, "watch-1": 0.0, "watch-2": 0.0}


def made(xy_m: np.ndarray, step_s: float = 1.0, noise_m: float = 0.0, timed: bool = True) -> Trace:
    """Return a trace of fixes at `xy_m` (n, 2), metres east and north of a place in the northern hemisphere."""
    xy_m = np.asarray(xy_m, float) + np.random.default_rng(1).normal(0, noise_m, (len(xy_m), 2))
    lon_deg, lat_deg = Plane.centred_on([-3.6], [51.2]).to_degrees(xy_m)
    n, nan = len(xy_m), np.full(len(xy_m), np.nan)
    start = np.datetime64("2024-05-14T07:00:00", "ms")
    time = start + (np.arange(n) * step_s * 1000).astype("timedelta64[ms]")
    time = time if timed else np.full(n, np.datetime64("NaT", "ms"))
    return Trace(
        file="made.gpx", track=1, name="", device="d", creator="", sha256="0", time=time, lon_deg=lon_deg,
        lat_deg=lat_deg,
        ele_m=nan, hdop=nan, sat=nan, speed_mps=nan, segment=np.zeros(n, np.int64), point=np.arange(n), points=n,
        first_record=time[0], last_record=time[-1], started=time[0], start_basis="points before fix",
    )  # fmt: skip


def way(*corners: tuple[float, float], speed_mps: float = 4.0) -> np.ndarray:
    """Return fixes along straight lines between corners, one a second."""
    legs = [
        np.linspace(a, b, max(int(np.hypot(b[0] - a[0], b[1] - a[1]) / speed_mps), 1), endpoint=False)
        for a, b in pairwise(corners)
    ]
    return np.vstack([*legs, [corners[-1]]])


def circle(laps: float, radius_m: float = 100.0) -> np.ndarray:
    angle = np.linspace(0, 2 * np.pi * laps, int(laps * 150))
    return radius_m * np.column_stack([np.cos(angle), np.sin(angle)])


# ---------------------------------------------------------------- hand-noted truth


def noted(shared: Path) -> list[np.datetime64]:
    """Return the start of the first pass and the end of each, in UTC."""
    with (shared / "data" / "park_passes" / "continuous" / "passes.csv").open(newline="") as table:
        rows = list(csv.DictReader(table))
    texts = [rows[0]["started"], *(row["ended"] for row in rows)]
    return [np.datetime64(int(datetime.fromisoformat(t).timestamp() * 1000), "ms") for t in texts]


@pytest.mark.open_data
@pytest.mark.parametrize("device", sorted(CLOCK_S))
def test_hand_noted_passes(shared: Path, device: str) -> None:
    path = shared / "data" / "park_passes" / "continuous" / f"{device}.gpx"
    (trace,) = read_file(path, path.name, settings=DEFAULT)
    assert isinstance(trace, Trace)
    passes = find_passes(trace, DEFAULT)
    assert len(passes) == 20
    assert [p.direction for p in passes] == [1, 2] * 10
    bounds = np.array([passes[0].from_time, *(p.to_time for p in passes)])
    off_s = (bounds - np.array(noted(shared))) / np.timedelta64(1, "s") - CLOCK_S[device]
    assert np.abs(off_s[:-1]).max() <= 20
    # the last end was noted on the full minute, some two minutes after the walker came to a stand at the place
    # of the first start: between our end and the noted one, nothing moves any more
    assert -120 <= off_s[-1] <= 20
    after = slice(passes[-1].last_point, trace.accepted)
    home_m = Plane.centred_on(trace.lon_deg, trace.lat_deg).to_metres(trace.lon_deg[after], trace.lat_deg[after])
    assert np.ptp(home_m, axis=0).max() < 30
    assert "20 passes" in str(suggest(trace, DEFAULT))


@pytest.mark.open_data
def test_recordings_already_cut_hold_one_pass_each(shared: Path) -> None:
    path = shared / "data" / "park_passes" / "FC" / "watch-2" / "pos.gpx"
    traces = read_file(path, path.name, settings=DEFAULT)
    assert len(traces) == 10
    for trace in traces:
        assert isinstance(trace, Trace)
        assert len(find_passes(trace, DEFAULT)) == 1
        assert suggest(trace, DEFAULT) is None


@pytest.mark.open_data
def test_out_and_back_case(shared: Path) -> None:
    counts = {}
    for name in ("both.gpx", "out-only.gpx"):
        (trace,) = read_file(shared / "inputs" / "29-out-and-back" / name, name, settings=DEFAULT)
        assert isinstance(trace, Trace)
        counts[name] = [p.direction for p in find_passes(trace, DEFAULT)]
    assert counts == {"both.gpx": [1, 2], "out-only.gpx": [1]}


# ---------------------------------------------------------------- made-up ways


@pytest.mark.parametrize("noise_m", [0.0, 4.0])
@pytest.mark.parametrize(
    ("xy_m", "directions"),
    [
        (way((0, 0), (900, 0), (900, 700), (2000, 900)), [1]),  # one way
        (circle(1), [1]),  # a loop, once
        (way((0, 0), (500, 0), (500, 500), (0, 500), (0, 0)), [1]),
        (way((0, 0), (800, 0), (750, 0), (2000, 0)), [1]),  # turned back for 50 m
        (way((0, 0), (800, 0), (800, 300), (1200, 300), (1200, 0), (2000, 0)), [1]),  # a detour
        (way((0, 0), (900, 0), (900, 700), (900, 0), (0, 0)), [1, 2]),  # out and back round a corner
        (way(*[(0, 0), (300, 40)] * 4, (0, 0)), [1, 2] * 4),
        (circle(3), [1, 1, 1]),
        (circle(5.0, 60.0), [1] * 5),
        (np.vstack([way((-180, 0), (100, 0)), circle(4), way((100, 0), (-180, 0))]), [1] * 4),  # to the track and home
        (
            np.vstack([way((0, 0), (300, 0)), np.tile([[300.0, 0.0]], (200, 1)), way((300, 0), (0, 0))]),
            [1, 2],
        ),  # standing
        (np.zeros((300, 2)), [1]),  # never moved
    ],
)
def test_made_up_ways(xy_m: np.ndarray, directions: list[int], noise_m: float) -> None:
    passes = find_passes(made(xy_m, noise_m=noise_m), DEFAULT)
    assert [p.direction for p in passes] == directions


def test_a_pass_ends_on_arrival_and_standing_belongs_to_the_next() -> None:
    xy_m = np.vstack([way((0, 0), (300, 0)), np.tile([[300.0, 0.0]], (200, 1)), way((300, 0), (0, 0))])
    first, second = find_passes(made(xy_m), DEFAULT)
    assert abs(first.last_point - 75) <= 12
    assert second.first_point == first.last_point + 1


def test_without_times_and_without_fixes() -> None:
    passes = find_passes(made(way((0, 0), (900, 0), (0, 0)), timed=False), DEFAULT)
    assert [p.direction for p in passes] == [1, 2]
    assert all(np.isnat(p.from_time) for p in passes)


# ---------------------------------------------------------------- cutting


def balanced(trace: Trace, parts: tuple[Trace, ...]) -> None:
    assert sum(part.points for part in parts) == trace.points
    inside = np.concatenate([part.point for part in parts])
    assert (np.diff(inside) > 0).all()
    outside = sum(s.points for part in parts for s in part.set_aside if s.reason == "outside_passes")
    assert len(inside) + outside == trace.accepted


def test_parts_keep_the_books() -> None:
    trace = made(np.vstack([way((-180, 0), (100, 0)), circle(4), way((100, 0), (-180, 0))]))
    parts = split(trace, find_passes(trace, DEFAULT), first_track=5)
    balanced(trace, parts)
    assert [part.track for part in parts] == [5, 6, 7, 8]
    # the approach is cut off, so nothing is known of the start any more
    assert all(part.start_basis == "none" and np.isnat(part.started) for part in parts)
    assert all(part.first_record == part.time[0] for part in parts)
    assert parts[-1].last_record == parts[-1].time[-1]


def test_first_part_keeps_the_start() -> None:
    trace = made(way((0, 0), (900, 0), (0, 0)))
    first, second = split(trace, find_passes(trace, DEFAULT))
    assert (first.start_basis, second.start_basis) == ("points before fix", "none")
    assert (first.track, second.track) == (1, 2)
    balanced(trace, (first, second))


def test_spikes_go_with_the_pass_that_they_were_made_on() -> None:
    trace = made(way((0, 0), (900, 0), (0, 0)))
    trace = replace(trace, spikes=(Spike(int(trace.point[20]), 1, 90.0), Spike(int(trace.point[-20]), 2, 250.0)))
    first, second = split(trace, find_passes(trace, DEFAULT))
    assert ([s.metres for s in first.spikes], [s.metres for s in second.spikes]) == ([90.0], [250.0])


def test_files_of_several_recordings_keep_their_numbers_apart() -> None:
    there_and_back = way(*[(0, 0), (300, 40)] * 2, (0, 0))
    file = [replace(made(xy), track=n) for n, xy in enumerate([there_and_back, way((0, 0), (900, 0))], start=1)]
    parts, told, _ = cut(file, DEFAULT, asked=True)
    assert [part.track for part in parts] == [2, 3, 4, 5, 6]
    assert told == ("made.gpx was cut into 4 passes, its tracks 3 to 6.",)
    assert parts[0].points == file[1].points
    alone, _, _ = cut(file[:1], DEFAULT, asked=True)
    assert [part.track for part in alone] == [1, 2, 3, 4]


def test_the_ride_that_the_log_names_is_many_rides_once_cut() -> None:
    """Passes under one name would be one ride, and out and back would be compared with themselves."""
    labelled = replace(made(way((0, 0), (900, 0), (0, 0))), ride_label="Monday")
    parts, _, _ = cut([labelled], DEFAULT, asked=True)
    assert [part.ride_label for part in parts] == ["", ""]
    whole, _, _ = cut([replace(made(way((0, 0), (900, 0))), ride_label="Monday")], DEFAULT, asked=True)
    assert [trace.ride_label for trace in whole] == ["Monday"]


def test_a_pass_in_the_middle_of_a_recording_is_no_start_of_the_device() -> None:
    first, second = split(
        made(way((0, 0), (900, 0), (0, 0))), find_passes(made(way((0, 0), (900, 0), (0, 0))), DEFAULT)
    )
    assert (first.start_state, second.start_state) == ("", "unknown")


@given(st.lists(st.integers(0, 9), min_size=1, max_size=40), st.integers(1, 6))
def test_turns_are_those_of_looking_at_every_point(heights: list[int], least: int) -> None:
    """The oracle goes through all points; only extremes and the ends of flat stretches are looked at in the package."""
    low = high = 0
    found: list[int] = []
    rising: bool | None = None
    for place, value in enumerate(heights):
        low, high = (place if value < heights[low] else low), (place if value > heights[high] else high)
        if rising is not False and heights[high] - value >= least:
            found, rising, low = [*found, high], False, place
        elif rising is not True and value - heights[low] >= least:
            found, rising, high = [*found, low], True, place
    expected = found + ([high if rising else low] if rising is not None else [])
    assert _turns(np.array(heights, dtype=float), float(least)) == expected


@settings(max_examples=40, deadline=None)
@given(st.integers(1, 6), st.integers(0, 60), st.integers(2, 20), st.integers(0, 2**16))
def test_points_add_up(legs: int, lost: int, step: int, seed: int) -> None:
    random = np.random.default_rng(seed)
    whole = made(way(*[(0.0, 0.0), (400.0, 100.0)] * 3, speed_mps=step)[: 60 * legs], noise_m=float(seed % 30))
    keep = np.sort(random.permutation(whole.accepted)[: max(whole.accepted - lost, 1)])
    arrays = {
        name: getattr(whole, name)[keep]
        for name in ("time", "lon_deg", "lat_deg", "ele_m", "hdop", "sat", "speed_mps", "segment", "point")
    }
    gone = np.setdiff1d(np.arange(whole.accepted), keep)
    aside = tuple(SetAside("no_fix", 1, int(point)) for point in gone)
    trace = Trace(**{**vars(whole), **arrays, "set_aside": aside})
    parts = split(trace, find_passes(trace, DEFAULT))
    balanced(trace, parts)

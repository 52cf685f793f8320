"""Where a trace leaves stations out, and how they are filled: by hand."""

from __future__ import annotations

import numpy as np
import pytest

from gpsq.geometry import alignment
from gpsq.geometry.alignment import _excursions, abreast, in_order
from gpsq.geometry.polyline import Steps

LINE = np.column_stack([5.0 * np.arange(41.0), np.zeros(41)])


@pytest.mark.parametrize(
    ("stations", "piece", "found"),
    [
        ([0, 1, -1, -1, 5, 6], [0] * 6, [(1, 4)]),  # away for two places, three stations on
        ([0, 1, 6, 7], [0] * 4, [(1, 2)]),  # five stations on from one place to the next
        ([0, 1, 5, 6], [0] * 4, []),  # four: a corner cut
        ([0, -1, 0, 1], [0] * 4, []),  # away, and back at the same station
        ([0, -1, 1, 2], [0] * 4, [(0, 2)]),
        ([0, 1, 6, 7], [0, 0, 1, 1], []),  # broken
        ([0, 1, 6, 7], [1, 1, 0, 0], []),
        ([0, -1, 2, 3, -1, 5, 6, 12, 13], [0] * 9, [(0, 2), (3, 5), (6, 7)]),
        ([-1, -1, 4, 5, -1], [0] * 5, []),
        ([-1, -1], [0] * 2, []),
    ],
)
def test_where_a_trace_leaves_stations_out(stations, piece, found):
    assert list(_excursions(np.array(stations), np.array(piece))) == found


def test_a_single_place_is_at_its_nearest_station_and_none_at_none():
    assert in_order(np.array([[26.0, 3.0]]), np.array([0]), LINE, step_m=5.0, cap_m=60.0).tolist() == [5]
    assert in_order(np.empty((0, 2)), np.empty(0, int), LINE, step_m=5.0, cap_m=60.0).shape == (0,)
    assert in_order(LINE[:3], np.zeros(3, int), LINE[:0], step_m=5.0, cap_m=60.0).tolist() == [0, 0, 0]


@pytest.mark.parametrize("aside_m", [70.0, 300.0])
def test_an_excursion_beside_the_line_is_filled_in_step(aside_m):
    """From station 10 to 30 the trace runs so far aside, a place each 5 m as on the line: each station has its own place."""
    y = np.where((np.arange(41) > 10) & (np.arange(41) < 30), aside_m, 0.0)
    steps = Steps(np.column_stack([LINE[:, 0], y]), np.arange(41.0) / 4.0, np.zeros(41, dtype=np.int64))
    stations = np.where(y > 0, -1, np.arange(41))
    found = abreast(steps, stations, LINE, with_excursions=True)
    assert found.vertex == pytest.approx(np.arange(41) / 4.0)
    assert found.xy_m == pytest.approx(steps.xy_m)
    assert found.matched.tolist() == (y == 0.0).tolist()
    bare = abreast(steps, stations, LINE, with_excursions=False)
    assert np.flatnonzero(np.isnan(bare.vertex)).tolist() == list(range(11, 30))


def test_a_long_excursion_is_filled_by_some_of_its_places():
    """A thousand places aside of a hundred stations: ten places a station, the vertex goes on evenly."""
    x = np.concatenate([[0.0], np.linspace(5.0, 495.0, 999), [500.0]])
    y = np.concatenate([[0.0], np.full(999, 90.0), [0.0]])
    line = np.column_stack([5.0 * np.arange(101.0), np.zeros(101)])
    steps = Steps(np.column_stack([x, y]), np.arange(1001.0), np.zeros(1001, dtype=np.int64))
    stations = np.concatenate([[0], np.full(999, -1), [100]])
    found = abreast(steps, stations, line, with_excursions=True)
    assert np.isfinite(found.vertex).all()
    assert (np.diff(found.vertex) >= 0).all()
    assert found.vertex[50] == pytest.approx(500.0, abs=12.0)
    assert found.xy_m[1:-1, 0] == pytest.approx(line[1:-1, 0], abs=6.0)


def test_a_very_long_excursion_is_followed_by_every_second_of_a_thousand_places(monkeypatch):
    counts, right = [], alignment.best_path
    monkeypatch.setattr(
        alignment, "best_path", lambda places, *more: counts.append(len(places)) or right(places, *more)
    )
    line = np.column_stack([5.0 * np.arange(101.0), np.zeros(101)])
    x = np.concatenate([np.zeros(1500), np.linspace(0.0, 500.0, 1001)])
    steps = Steps(np.column_stack([x, np.full(2501, 90.0)]), np.arange(2501.0), np.zeros(2501, dtype=np.int64))
    xy, vertex = np.full((101, 2), np.nan), np.full(101, np.nan)
    alignment._follow_excursion(steps, 1500, 2500, 0, 100, line, xy, vertex)
    assert counts == [501]
    assert vertex[1:-1] == pytest.approx(1500.0 + 10.0 * np.arange(1, 100), abs=10.0)


def test_where_one_stood_before_an_excursion_stays_the_middle_of_its_places():
    x = np.concatenate([LINE[:10, 0], [50.0, 50.0, 50.0], LINE[11:, 0]])
    y = np.where((x > 50.0) & (x < 150.0), 70.0, 0.0)
    steps = Steps(np.column_stack([x, y]), np.arange(43.0), np.zeros(43, dtype=np.int64))
    stations = np.where(y > 0, -1, np.rint(x / 5.0).astype(int))
    found = abreast(steps, stations, LINE, with_excursions=True)
    assert found.vertex[[9, 10, 30]].tolist() == [9.0, 11.0, 32.0]


def test_a_gap_of_ten_stations_is_passed_over_rather_than_waited_for():
    """Passing one over costs a fiftieth of a match, and a place 5 m from its station (5 / 60)² = 0.007 of one.

    From 1 to 9: 2 (1 − 0.007) − 7 · 0.02 = 1.846; from 0 to 10 1.82, from 2 to 8 1.844, from 0 to 1 1.44.
    """
    places, piece = LINE[[0, 10]], np.zeros(2, dtype=int)
    assert in_order(places, piece, LINE, step_m=5.0, cap_m=60.0).tolist() == [1, 9]
    assert in_order(places, piece, LINE, step_m=5.0, cap_m=60.0, near=np.array([0, 9])).tolist() == [1, 9]

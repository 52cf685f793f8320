"""Where a trace leaves stations out, and how they are filled: by hand."""

from __future__ import annotations

import numpy as np
import pytest

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

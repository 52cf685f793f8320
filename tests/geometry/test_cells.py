"""Cells of space: what is near is never missed, and what is told is a bound."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from gpsq.geometry.cells import CellIndex, cells_of, is_near, most_shared

SIZE_M = 100.0


def line(*x_m):
    return cells_of(np.column_stack([np.array(x_m, float), np.full(len(x_m), 50.0), np.full(len(x_m), 50.0)]), SIZE_M)


def test_places_are_counted_in_their_cells():
    found = line(10.0, 99.9, 100.0, 350.0, 20.0)
    assert sorted(found.places.tolist()) == [1, 1, 3]
    assert len(found.near) == 27 + 9 + 18  # cells 0, 1 and 3 of a row: columns −1 to 4


def test_shares_by_hand():
    """Of four places three lie in cells that touch the other line's; of its two places one does."""
    one, other = line(50.0, 150.0, 250.0, 950.0), line(350.0, 5000.0)
    assert is_near(one, other).tolist() == [False, False, True, False]
    assert most_shared(one, other) == 0.5
    assert most_shared(line(50.0, 150.0, 250.0, 950.0), line(150.0, 5000.0)) == 0.75
    assert most_shared(line(50.0), line(250.0)) == 0.0
    assert most_shared(line(50.0), line(150.0)) == 1.0


coordinates = st.floats(-6.4e6, 6.4e6)


@given(st.tuples(coordinates, coordinates, coordinates), st.tuples(*[st.floats(-1, 1)] * 3))
def test_what_lies_within_a_cells_size_is_near_anywhere_on_earth(place, direction):
    away = np.array(direction) * SIZE_M * 0.999
    one, other = (cells_of(np.array([place]) + shift, SIZE_M) for shift in (0.0, away))
    assert is_near(one, other).all()
    far = cells_of(np.array([place]) + np.array([0.0, 2.01 * SIZE_M, 0.0]), SIZE_M)
    assert not is_near(one, far).any()
    assert not is_near(one, cells_of(np.array([place]) + np.array([2.01 * SIZE_M, 0.0, 0.0]), SIZE_M)).any()
    assert not is_near(one, cells_of(np.array([place]) - np.array([0.0, 0.0, 2.01 * SIZE_M]), SIZE_M)).any()


def test_the_index_gives_all_that_are_near():
    index = CellIndex()
    for number, own in enumerate((line(50.0), line(150.0, 250.0), line(950.0))):
        index.put(number, own)
    assert index.near(line(50.0)) == {0, 1}
    assert index.near(line(350.0)) == {1}
    assert index.near(line(650.0)) == set()
    assert index.near(line(350.0, 850.0)) == {1, 2}


@pytest.mark.parametrize("size_m", [1.0, 1000.0])
def test_no_two_cells_are_taken_for_one(size_m):
    numbers = np.array([[a, b, c] for a in (-1, 0, 1) for b in (-1, 0, 1) for c in (-1, 0, 1)], float)
    assert len(cells_of((numbers + 0.5) * size_m * 6000, size_m).own) == 27

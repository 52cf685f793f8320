"""Each row less the median of the rows of other groups, against numpy's median of those rows."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from gpsq.summaries.devices.others import less_the_middle_in_turn, sizes_from_others

if TYPE_CHECKING:
    from gpsq.arrays import FloatArray, IntArray


def by_numpy(rows: FloatArray, group: IntArray) -> FloatArray:
    found = np.full(rows.shape, np.nan)
    for k, own in enumerate(group):
        for j in range(rows.shape[1]):
            others = rows[group != own, j]
            others = others[np.isfinite(others)]
            found[k, j] = rows[k, j] - np.median(others) if len(others) else np.nan
    return found


def drawn(seed: int, n: int, m: int, groups: int, unknown: float) -> tuple[FloatArray, IntArray]:
    """Return rows in which values come again, and some are not known."""
    rng = np.random.default_rng(seed)
    rows = rng.integers(-9, 9, (n, m)) / 4.0 if seed % 2 else rng.normal(size=(n, m))
    rows[rng.random((n, m)) < unknown] = np.nan
    return rows, np.unique(rng.integers(0, groups, n), return_inverse=True)[1]


def sizes_by_numpy(rows: FloatArray, group: IntArray, ride: IntArray, usual: FloatArray) -> FloatArray:
    size = np.abs(by_numpy(rows, group)) / usual[:, None]
    found = np.full((ride.max() + 1, rows.shape[1]), np.nan)
    for r in range(len(found)):
        for j, column in enumerate(size[ride == r].T):
            known = column[np.isfinite(column)]
            found[r, j] = np.cumsum(known)[-1] / len(known) if len(known) else np.nan
    return found


@settings(max_examples=150, deadline=None)
@given(st.integers(0, 2**32), st.integers(1, 40), st.integers(1, 6), st.integers(1, 12), st.sampled_from([0, 0.2, 0.8]))
def test_sizes_are_as_numpy_has_them(seed: int, n: int, m: int, groups: int, unknown: float) -> None:
    """Rides are parts of a group, in any order."""
    rows, group = drawn(seed, n, m, groups, unknown)
    rng = np.random.default_rng(seed)
    ride = np.unique(group * 2 + rng.integers(0, 2, n), return_inverse=True)[1]
    usual = rng.uniform(0.5, 3.0, n)
    wanted = sizes_by_numpy(rows, group, ride, usual)
    assert np.array_equal(sizes_from_others(rows.T, group, ride, usual), wanted, equal_nan=True)


def test_many_rows_of_large_and_small_groups() -> None:
    rows, group = drawn(4, 900, 2, 300, 0.1)
    group[:200] = 0
    group = np.unique(group, return_inverse=True)[1]
    wanted = sizes_by_numpy(rows, group, group, np.ones(900))
    assert np.array_equal(sizes_from_others(rows.T, group, group, np.ones(900)), wanted, equal_nan=True)


def test_pages_are_each_as_one_alone() -> None:
    pages = np.stack([drawn(seed, 7, 5, 3, 0.2)[0] for seed in range(4)])
    group = np.array([0, 0, 1, 2, 2, 1, 0])
    found = sizes_from_others(pages.swapaxes(1, 2), group, group, np.ones(7))
    assert np.array_equal(
        found, np.stack([sizes_by_numpy(page, group, group, np.ones(7)) for page in pages]), equal_nan=True
    )
    assert found.shape == (4, 3, 5)


def test_infinite_is_not_known() -> None:
    alone = np.arange(3)
    found = sizes_from_others(np.array([[np.inf, 1.0, 3.0]]), alone, alone, np.ones(3))
    assert found.ravel().tolist() == pytest.approx([np.nan, 2.0, 2.0], nan_ok=True)


@settings(max_examples=60, deadline=None)
@given(st.integers(0, 2**32), st.integers(1, 12), st.integers(1, 6), st.sampled_from([0, 0.2, 0.8]))
def test_rows_left_out_in_turn_are_as_if_they_were_not_there(seed: int, n: int, m: int, unknown: float) -> None:
    rows, _ = drawn(seed, n, m, 3, unknown)
    kept = np.random.default_rng(seed).random((4, n)) < 0.7
    for some, found in zip(kept, less_the_middle_in_turn(rows, kept), strict=True):
        assert np.array_equal(found[some], by_numpy(rows[some], np.arange(some.sum())), equal_nan=True)
        assert np.isnan(found[~some]).all()


def test_an_infinite_row_is_left_out_in_turn_as_an_unknown_one() -> None:
    rows = np.array([[np.inf], [1.0], [3.0], [5.0]])
    (found,) = less_the_middle_in_turn(rows, np.array([[True, True, True, False]]))
    assert found.ravel().tolist() == pytest.approx([np.nan, -2.0, 2.0, np.nan], nan_ok=True)

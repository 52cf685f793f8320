"""Each row less the median of the rows of other groups, against numpy's median of those rows."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from gpsq.summaries.devices.others import less_the_middle_in_turn, less_the_middle_of_others

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


@settings(max_examples=150, deadline=None)
@given(st.integers(0, 2**32), st.integers(1, 40), st.integers(1, 6), st.integers(1, 12), st.sampled_from([0, 0.2, 0.8]))
def test_as_numpy_has_it(seed: int, n: int, m: int, groups: int, unknown: float) -> None:
    rows, group = drawn(seed, n, m, groups, unknown)
    assert np.array_equal(less_the_middle_of_others(rows, group), by_numpy(rows, group), equal_nan=True)


def test_many_rows_of_large_and_small_groups() -> None:
    rows, group = drawn(4, 900, 2, 300, 0.1)
    group[:200] = 0
    assert np.array_equal(less_the_middle_of_others(rows, group), by_numpy(rows, group), equal_nan=True)


def test_pages_are_each_as_one_alone() -> None:
    pages = np.stack([drawn(seed, 7, 5, 3, 0.2)[0] for seed in range(4)])
    group = np.array([0, 0, 1, 2, 2, 1, 0])
    found = less_the_middle_of_others(pages, group)
    assert np.array_equal(found, np.stack([by_numpy(page, group) for page in pages]), equal_nan=True)
    assert found.shape == pages.shape


def test_infinite_is_not_known_to_others() -> None:
    found = less_the_middle_of_others(np.array([[np.inf], [1.0], [3.0]]), np.array([0, 1, 2]))
    assert found.ravel().tolist() == pytest.approx([np.inf, -2.0, 2.0])


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

"""How kernels are compiled: one kind of array for all, told once, kept on disk where there is a place for it."""

from __future__ import annotations

import numba
import numpy as np
import pytest
from numba.core.caching import NullCache

from gpsq.geometry import _compiled
from gpsq.geometry._compiled import NOUGHT, compiled, read_only, tell_once


def test_whatever_comes_in_one_kind_of_array_goes_to_the_kernels():
    """One layout, one type and no writing: numba compiles once for all of these."""
    grid = np.arange(12.0).reshape(3, 4)
    kinds = {
        str(numba.typeof(read_only(given, np.float64)))
        for given in (grid, grid[:, ::2], grid.T, grid.astype(np.float32), np.asfortranarray(grid), grid.tolist())
    }
    assert kinds == {"readonly array(float64, 2d, C)"}


@pytest.mark.parametrize("locked", [False, True])
@pytest.mark.parametrize("dtype", [np.float64, np.int64])
@pytest.mark.parametrize("step", [1, 2])
def test_values_stay_as_they_are_and_so_does_what_was_given(locked, dtype, step):
    given = np.arange(6, dtype=dtype)[::step]
    given.setflags(write=not locked)
    found = read_only(given, np.float64)
    assert found.tolist() == [float(k) for k in range(0, 6, step)]
    assert (found.dtype, found.flags.c_contiguous, found.flags.writeable) == (np.float64, True, False)
    assert given.flags.writeable is not locked
    assert (found is given) == (locked and dtype is np.float64 and step == 1)
    assert np.shares_memory(found, given) == (dtype is np.float64 and step == 1)


def test_whole_numbers_are_made_of_others_where_they_are_asked_for():
    locked = np.array([1.0, 2.0])
    locked.setflags(write=False)
    assert read_only(locked, np.int64).dtype == np.int64
    assert read_only(locked.astype(np.int32), np.int64).dtype == np.int64


def test_that_code_is_compiled_is_told_once(monkeypatch):
    listeners, said = {}, []
    monkeypatch.setattr(_compiled.event, "register", lambda kind, own: listeners.setdefault(kind, []).append(own))
    has_begun = tell_once(said.append)
    silent = tell_once(None)
    assert list(listeners) == ["numba:compile"]  # numba's name for it (its manual, "Event API")
    assert (said, has_begun(), silent()) == ([], False, False)
    for _ in range(3):
        for listener in listeners["numba:compile"]:
            listener.on_start(None)
            listener.on_end(None)
    assert said == ["Numerical code is being compiled, once; later runs begin at once."]
    assert has_begun()
    assert silent()


def increased(value):
    return value + 1


def test_a_kernel_is_kept_on_disk_and_where_there_is_no_place_compiled_anew(monkeypatch):
    kept = compiled(increased)
    assert kept.py_func is increased
    assert not isinstance(kept._cache, NullCache)
    assert not kept.targetoptions.get("fastmath"), "the order of its arithmetic stays"

    def without_a_place(**options):
        if options.get("cache"):
            raise RuntimeError("cannot cache function: no locator available")
        raise AssertionError(options)

    right = _compiled.njit
    monkeypatch.setattr(_compiled, "njit", lambda **o: without_a_place(**o) if o.get("cache") else right(**o))
    anew = compiled(increased)
    assert not anew.targetoptions.get("fastmath"), "nor does it change where nothing is kept"
    assert isinstance(anew._cache, NullCache)
    assert anew(2) == 3


def test_a_counter_begins_at_nought_as_a_number_of_sixty_four_bits():
    assert (NOUGHT, type(NOUGHT)) == (0, np.int64)

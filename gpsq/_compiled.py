"""Compile a numerical kernel at its first call and keep the result on disk for later runs."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any, TypeVar, cast

import numpy as np
from numba import njit

if TYPE_CHECKING:
    from collections.abc import Callable

#: A zero to start a counter with: numba compiles a callee once more for a 0 that is written out.
NOUGHT = np.int64(0)

Kernel = TypeVar("Kernel", bound="Callable[..., Any]")


def compiled(function: Kernel) -> Kernel:
    """Return `function` compiled by numba, without liberties in the order of its arithmetic.

    The compiled code is kept beside the source, or in the user's cache folder; where neither can be written
    it is compiled anew in each run.
    """
    try:
        return cast("Kernel", njit(cache=True)(function))
    except RuntimeError:  # numba's word for "no place for the cache"
        return cast("Kernel", njit(function))

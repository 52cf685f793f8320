"""Compile a numerical kernel at its first call and keep the result on disk for later runs."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any, TypeVar, cast

import numpy as np
from numba import njit
from numba.core import event

if TYPE_CHECKING:
    from collections.abc import Callable

#: A zero to start a counter with: numba compiles a callee once more for a 0 that is written out.
NOUGHT = np.int64(0)

Kernel = TypeVar("Kernel", bound="Callable[..., Any]")


def read_only(array: Any, dtype: Any) -> Any:
    """Return an array as a view that is contiguous and cannot be written to.

    numba compiles a kernel once for each layout of memory and once more for arrays that may not be written to; one kind
    for all callers means one compiled version.

    Examples
    --------
    >>> read_only([1, 2], np.int64).flags.writeable
    False
    """
    if (
        isinstance(array, np.ndarray)
        and array.dtype == dtype
        and array.flags.c_contiguous
        and not array.flags.writeable
    ):
        return array
    view = np.ascontiguousarray(array, dtype=dtype).view()
    view.setflags(write=False)
    return view


def tell_once(say: Callable[[str], None] | None) -> Callable[[], bool]:
    """Have `say` told, once, when code is compiled in this process because no earlier run has kept it.

    Returns what answers whether that was so.
    """

    class Listener(event.Listener):
        told = False

        def on_start(self, _: Any) -> None:
            if not self.told:
                self.told = True
                if say:
                    say("Numerical code is being compiled, once; later runs begin at once.")

        def on_end(self, _: Any) -> None:
            pass

    listen: Any = event.register
    listener = Listener()
    listen("numba:compile", listener)
    return lambda: listener.told


def compiled(function: Kernel) -> Kernel:
    """Return `function` compiled by numba, without liberties in the order of its arithmetic.

    A division by nought gives infinity or nan, as numpy's does: looking for it before each would keep several from being
    done at once.

    The compiled code is kept beside the source, or in the user's cache folder; where neither can be written
    it is compiled anew in each run.
    """
    try:
        return cast("Kernel", njit(cache=True, error_model="numpy")(function))
    except RuntimeError:  # numba's word for "no place for the cache"
        return cast("Kernel", njit(error_model="numpy")(function))

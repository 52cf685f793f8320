"""Tests of paired differences: sign flips, Student's, and what many of them together allow to be said."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from gpsq.statistics.intervals import MOST_FOR_ALL_SUBSETS, RANDOM_SUBSETS

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.random import Generator

    from gpsq.model import FloatArray

#: Means that differ by less than this share are the same but for rounding.
SAME_SHARE = 100 * np.finfo(float).eps


def sign_flip_p(differences: FloatArray, rng: Generator) -> float:
    """Return the two-sided p of paired differences having their centre at nought, whatever their distribution.

    Every difference might as well have had the other sign: p is twice the share of sign flips whose mean lies as far out
    on one side as the mean that was found (Ernst 2004, Stat. Sci. 19:676–685). Of a random choice of flips the one that
    was found counts too (Phipson & Smyth 2010, Stat. Appl. Genet. Mol. Biol. 9:39).

    Parameters
    ----------
    differences : (n,) one for each pair. rng : draws the flips where there are more than 2**`MOST_FOR_ALL_SUBSETS`.

    Examples
    --------
    >>> sign_flip_p(np.array([1.0, 2.0, 3.0, 4.0, 5.0, 6.0]), np.random.default_rng(1))
    0.03125
    """
    n, observed = len(differences), float(np.mean(differences))
    if n <= MOST_FOR_ALL_SUBSETS:
        flipped, also_found = (np.arange(2**n)[:, None] >> np.arange(n)) & 1, 0
    else:
        both = np.broadcast_to(np.arange(2), (RANDOM_SUBSETS, n, 2))
        flipped, also_found = rng.permuted(both, axis=-1)[:, :, 0], 1
    means = np.mean(np.where(flipped, -differences, differences), axis=1)
    margin = abs(SAME_SHARE * observed)
    tail = min(np.count_nonzero(means <= observed + margin), np.count_nonzero(means >= observed - margin))
    return float(min(1.0, 2 * (tail + also_found) / (len(means) + also_found)))


def student_p(differences: FloatArray) -> float:
    """Return the two-sided p of Student's paired test; not all differences may be the same.

    Examples
    --------
    >>> round(student_p(np.array([1.0, 2.0, 3.0])), 4)
    0.0742
    """
    from scipy.special import stdtr

    n = len(differences)
    t = np.mean(differences) / np.sqrt(np.var(differences, ddof=1) / n)
    return float(2 * stdtr(n - 1, -abs(t)))


def adjusted(p: Sequence[float]) -> FloatArray:
    """Return p values adjusted so that those under a level are false discoveries at that rate at most.

    Benjamini & Hochberg 1995, J. R. Stat. Soc. B 57:289–300.

    Examples
    --------
    >>> adjusted([0.5, 0.6, 0.1, 0.001]).tolist()
    [0.6, 0.6, 0.2, 0.004]
    """
    values = np.asarray(p, dtype=float)
    order = np.argsort(values)
    m = len(values)
    steps = values[order] * (m / np.arange(1, m + 1))
    found = np.empty(m)
    found[order] = np.minimum.accumulate(steps[::-1])[::-1]
    return np.clip(found, 0.0, 1.0)

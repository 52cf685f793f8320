"""Which centrelines of different campaigns are one course: they follow one another, in the same direction."""

from __future__ import annotations

from typing import TYPE_CHECKING, TypeVar

import numpy as np

from gpsq.arrays import norms
from gpsq.plane import Plane, to_earth_centred
from gpsq.statistics.rank_correlation import rank_correlation

if TYPE_CHECKING:
    from collections.abc import Hashable, Mapping

    from gpsq.model import FloatArray
    from gpsq.settings import Settings

Key = TypeVar("Key", bound="Hashable")

#: Lines that begin further apart than this are not compared, as no plane holds two ends of the earth.
FAR_M = 110_000.0


def courses(lines: Mapping[Key, FloatArray], settings: Settings) -> dict[Key, str]:
    """Return a name for the course of each line; lines of one course have the same name.

    Parameters
    ----------
    lines : (m, 2) longitudes and latitudes in degrees, in order of travel, m ≥ 2.

    Examples
    --------
    >>> from gpsq.settings import Settings
    >>> road = np.column_stack([np.linspace(10, 10.01, 200), np.full(200, 50.0)])
    >>> courses({"a": road, "b": road + 1e-5, "back": road[::-1]}, Settings())
    {'a': 'course 1', 'b': 'course 1', 'back': 'course 2'}
    """
    found: dict[Key, str] = {}
    firsts: dict[str, FloatArray] = {}
    for key, line in lines.items():
        name = next((n for n, first in firsts.items() if _one_course(first, line, settings)), None)
        if name is None:
            name = f"course {len(firsts) + 1}"
            firsts[name] = line
        found[key] = name
    return found


def _one_course(first: FloatArray, second: FloatArray, settings: Settings) -> bool:
    """Return whether most of the shorter line lies near the other and runs the same way."""
    from scipy.spatial import cKDTree

    begun_m = to_earth_centred(*np.stack([first[0], second[0]]).T)
    if norms(np.diff(begun_m, axis=0))[0] > FAR_M:
        return False
    plane = Plane.centred_on(*np.vstack([first, second]).T)
    short, long = sorted((plane.to_metres(*line.T) for line in (first, second)), key=len)
    distance, nearest = cKDTree(long).query(short)
    near = np.asarray(distance <= settings.pair_near_m)
    if near.mean() < settings.pair_share or near.sum() < 3:
        return False
    return rank_correlation(np.arange(len(short))[near], np.asarray(nearest)[near]) > 0

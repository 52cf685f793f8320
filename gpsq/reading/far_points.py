"""Points so far from all others that a damaged digit put them there, where no time can prove it."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from gpsq.arrays import norms
from gpsq.geometry.polyline import FEW_LEGS, far_legs
from gpsq.plane import to_earth_centred

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from gpsq.model import FloatArray, TimeArray
    from gpsq.settings import Settings


def mark_far(
    reason: NDArray[np.object_], time: TimeArray, lon_deg: FloatArray, lat_deg: FloatArray, settings: Settings
) -> None:
    """Mark the few points that only far legs lead to and from, unless their times allow them.

    Parameters
    ----------
    reason : (n,) why each point is no fix, "" where it is one; "outlier_jump" is written into it.
    time, lon_deg, lat_deg : (n,) points in order of travel; times may be NaT.
    settings : Settings
        ``outlier_max_points``, ``speed_limit_mps``.
    """
    left = np.flatnonzero(reason == "")
    if len(left) < FEW_LEGS:
        return
    legs_m = norms(np.diff(to_earth_centred(lon_deg[left], lat_deg[left]), axis=0))
    with np.errstate(invalid="ignore"):
        possible = legs_m <= settings.speed_limit_mps * np.diff(time[left]) / np.timedelta64(1, "s")
    far = np.flatnonzero(far_legs(legs_m) & ~possible)
    edges = np.concatenate([[0], far + 1, [len(left)]])
    sizes = np.diff(edges)
    for first, size in zip(edges[:-1], sizes, strict=True):
        if size <= settings.outlier_max_points and size < sizes.max():
            reason[left[first : first + size]] = "outlier_jump"

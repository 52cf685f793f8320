"""Points so far from all others that a damaged digit put them there, where no time can prove it."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from gpsq.arrays import norms
from gpsq.geometry.polyline import FAR_M, FEW_LEGS, far_legs
from gpsq.plane import to_earth_centred

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from gpsq.model import FloatArray, TimeArray
    from gpsq.settings import Settings

#: More than so many damaged digits are none.
_MOST_CHUNKS = 50


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
    xyz = to_earth_centred(lon_deg[left], lat_deg[left])
    legs_m = norms(np.diff(xyz, axis=0))
    with np.errstate(invalid="ignore"):
        possible = legs_m <= settings.speed_limit_mps * np.diff(time[left]) / np.timedelta64(1, "s")
    far = np.flatnonzero(far_legs(legs_m) & ~possible)
    chunk = np.searchsorted(far, np.arange(len(left)))
    size = np.bincount(chunk)
    few = (size <= settings.outlier_max_points) & (size < size.max())
    if not few.any() or few.sum() > _MOST_CHUNKS:
        return
    many = xyz[~few[chunk]]
    for number in np.flatnonzero(few):
        members = np.flatnonzero(chunk == number)
        if norms(many - xyz[members[0]]).min() > FAR_M:  # else it lies before or behind a damaged one
            reason[left[members]] = "outlier_jump"

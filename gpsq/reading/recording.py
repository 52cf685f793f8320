"""What a reader hands on: one recording as it stands in the file, every point of it, before anything is set aside."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING

from gpsq.exceptions import GeometryError
from gpsq.model import NAT, FloatArray, IntArray, TimeArray

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

#: What a file says of one record: nothing, no fix, a fix, a three-dimensional fix.
FIX_UNSAID, FIX_NONE, FIX_2D, FIX_3D = -1, 0, 2, 3


@dataclass(frozen=True, eq=False)
class Recording:
    """One recording as read: arrays have one entry per point of the file, in file order.

    Attributes
    ----------
    name, creator : as written in the file ("" where absent).
    time : datetime64[ms] UTC, NaT where absent or unreadable.
    lon_deg, lat_deg : as written, nan where they give no number.
    problem : "" or the reason why the point has no usable coordinates (no_position, not_finite,
        unparseable_coordinate, truncated_element); values out of range and 0,0 are judged later, for all formats alike.
    fix : FIX_UNSAID, FIX_NONE, FIX_2D or FIX_3D, as the file declares it.
    ele_m, hdop, sat, speed_mps : nan where absent. segment : number of the segment, from 0.
    file_time : the document's own time. extras : further values by name, (n,) each.
    notes : plain sentences on what was odd; remarks : on what is only worth knowing.
    clock_jumps_at_fix : times before the first fix come from a clock that the fix then set.
    date_known : False where times have the right differences but the day is unknown or ambiguous.
    truncated : the file was cut off.
    counts : what was met beside the points, by name (bad_checksum_sentences and so on).
    """

    name: str
    creator: str
    time: TimeArray
    lon_deg: FloatArray
    lat_deg: FloatArray
    problem: NDArray[np.object_]
    fix: IntArray
    ele_m: FloatArray
    hdop: FloatArray
    sat: FloatArray
    speed_mps: FloatArray
    segment: IntArray
    file_time: np.datetime64 = NAT
    extras: dict[str, FloatArray] = field(default_factory=dict)
    notes: tuple[str, ...] = ()
    remarks: tuple[str, ...] = ()
    clock_jumps_at_fix: bool = False
    date_known: bool = True
    truncated: bool = False
    counts: dict[str, int] = field(default_factory=dict)

    def __post_init__(self) -> None:
        names = ("time", "lon_deg", "lat_deg", "problem", "fix", "ele_m", "hdop", "sat", "speed_mps", "segment")
        if len({len(getattr(self, name)) for name in names}) > 1:
            raise GeometryError("Recording: arrays must have one length")

    @property
    def points(self) -> int:
        """Number of points in the file, good or bad."""
        return len(self.time)

"""The true answers of a simulated campaign, found without any code that they are meant to judge."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from gpsq.simulate.receiver import canyon_factor
from gpsq.simulate.road import arc_length, left_normals

if TYPE_CHECKING:
    from gpsq.model import BoolArray, FloatArray, IntArray
    from gpsq.simulate.plan import Town
    from gpsq.simulate.ride import Motion
    from gpsq.simulate.spec import CampaignSpec, DeviceSpec

STATION_STEP_M = 5.0
#: A fix belongs to the road within so many metres of the rider's own station.
WINDOW_M = 80.0
GAP_S = 60.0
SETTLED_M, SETTLED_FOR_S = 15.0, 30.0


@dataclass(frozen=True, eq=False)
class Offsets:
    """True cross-track error of a recording: `offset_m` (k,) at `station_m` (k,), + left, nan where not recorded.

    `second` (k,) is when the rider passed; `on_detour` (k,) marks the stations that the rider went round.
    """

    station_m: FloatArray
    offset_m: FloatArray
    second: FloatArray
    on_detour: BoolArray

    def rms_m(self, chosen: BoolArray | None = None) -> float:
        """Return the root mean square over the chosen stations, nan where there is none."""
        used = self.offset_m[np.isfinite(self.offset_m) & (True if chosen is None else chosen)]
        return float(np.sqrt(np.mean(used**2))) if len(used) else float("nan")


def true_offsets(motion: Motion, road_m: FloatArray, second: IntArray, xy_m: FloatArray, segment: IntArray) -> Offsets:
    """Return the signed distances of a recorded line from the road, at equal steps of the road.

    At each station the recorded line is read at the moment when the rider passed (straight between fixes), and its
    distance from the nearest place of the road within `WINDOW_M` of that station is taken.
    """
    length_m = arc_length(road_m)[-1]
    station = np.arange(STATION_STEP_M / 2, length_m, STATION_STEP_M)
    passed = np.interp(station, motion.station_m, np.arange(len(motion.station_m), dtype=float))
    detour = motion.way.detour_m or (1.0, 0.0)
    on_detour = (station > detour[0]) & (station < detour[1])
    offset = np.full(len(station), np.nan)
    if len(second) >= 2:
        place, covered = _recorded_at(passed, second, xy_m, segment)
        reach = np.where(on_detour, WINDOW_M + detour[1] - detour[0], WINDOW_M)
        for wide in (False, True):
            chosen = covered & (on_detour == wide)
            if chosen.any():
                offset[chosen] = _signed_distance(place[chosen], road_m, station[chosen], float(reach[chosen][0]))
    return Offsets(station, offset, passed, on_detour)


def _recorded_at(
    passed: FloatArray, second: IntArray, xy_m: FloatArray, segment: IntArray
) -> tuple[FloatArray, BoolArray]:
    place = np.column_stack([np.interp(passed, second, xy_m[:, k]) for k in (0, 1)])
    after = np.clip(np.searchsorted(second, passed), 1, len(second) - 1)
    silent = (second[after] - second[after - 1] > GAP_S) | (segment[after] != segment[after - 1])
    inside = (passed >= second[0]) & (passed <= second[-1])
    return place, inside & ~silent


def _signed_distance(place: FloatArray, road_m: FloatArray, station: FloatArray, reach_m: float) -> FloatArray:
    step_m = arc_length(road_m)[-1] / (len(road_m) - 1)
    around = np.arange(-int(reach_m / step_m), int(reach_m / step_m) + 1)
    index = np.clip(np.round(station / step_m).astype(int)[:, None] + around, 0, len(road_m) - 1)
    east2, north2 = ((place[:, None, axis] - road_m[:, axis][index]) ** 2 for axis in (0, 1))
    nearest = index[np.arange(len(place)), np.argmin(east2 + north2, axis=1)]
    off = place - road_m[nearest]
    return np.asarray((off * left_normals(road_m)[nearest]).sum(axis=1))


def settle_seconds(motion: Motion, road_m: FloatArray, second: IntArray, xy_m: FloatArray) -> float:
    """Return seconds from the first fix until fixes stay within 15 m of the road for 30 s; nan if they never do."""
    if not len(second):
        return float("nan")
    off = np.abs(_signed_distance(xy_m, road_m, motion.station_m[second], WINDOW_M))
    for k in np.flatnonzero(off <= SETTLED_M):
        until = np.searchsorted(second, second[k] + SETTLED_FOR_S, side="right")
        if (off[k:until] <= SETTLED_M).all():
            return float(second[k] - second[0])
    return float("nan")


def device_rms_m(spec: CampaignSpec, device: DeviceSpec, town: Town, direction: str) -> float:
    """Return the expected cross-track RMS of a device's settled recordings about the mean ridden line of one road.

    The receiver's error, its spread from ride to ride, canyons, the error shared by the ride and the rider's own
    offset; sparse recording, faults and detours not counted.
    """
    station = np.arange(0.0, arc_length(town.roads[direction])[-1], STATION_STEP_M)
    worse = canyon_factor(town.canyons[direction], station, spec.canyon_factor)
    own = device.sigma_m**2 * np.exp(2.0 * device.ride_spread**2) * np.mean(worse**2)
    return float(np.sqrt(own + spec.shared_sigma_m**2 + spec.lateral_m**2))

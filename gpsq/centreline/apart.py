"""Devices whose usual lines lie apart by more than their own scatters: which of them is right no track can tell."""

from __future__ import annotations

from itertools import combinations
from typing import TYPE_CHECKING

import numpy as np

from gpsq.arrays import norms
from gpsq.centreline.group_medians import medians_of_groups
from gpsq.centreline.weights import MEDIAN_LOSS, OFFSET_STATIONS, averaged, ridden_often
from gpsq.results import DevicesApart

if TYPE_CHECKING:
    from gpsq.centreline.weights import Places
    from gpsq.model import BoolArray, FloatArray

#: Medians of a few rides differ by chance; they lie apart from this many standard deviations of that difference on.
CHANCE = 2.5
#: Two devices must share this many stations, or little can be said of how far they lie apart.
LEAST_STATIONS = 20


def devices_apart(places: Places, variance_m2: FloatArray, devices: tuple[str, ...]) -> tuple[DevicesApart, ...]:
    """Return the pairs of devices that lie apart, each carried on two rides or more.

    Parameters
    ----------
    places : the places of all strands. variance_m2 : (t,) each one's own scatter per axis. devices : names in order.
    """
    everyone = np.ones(len(variance_m2), dtype=bool)
    there = ~np.isnan(places.xy_m[:, :, 0])
    often = np.flatnonzero(ridden_often(places, everyone))
    if len(often) < 2:
        return ()
    median, number = medians_of_groups(places.xy_m, there, places.device, len(devices))
    usual = np.array([variance_m2[places.device == d].mean() for d in range(len(devices))])
    found = []
    for a, b in combinations(often.tolist(), 2):
        both = (number[:, a] > 1) & (number[:, b] > 1)
        if both.sum() < LEAST_STATIONS:
            continue
        apart_m = _apart_m(median[:, a] - median[:, b], both)
        own_m = (float(np.sqrt(usual[a])), float(np.sqrt(usual[b])))
        chance_m = float(np.sqrt(MEDIAN_LOSS * np.median(usual[a] / number[both, a] + usual[b] / number[both, b])))
        if apart_m > max(sum(own_m), CHANCE * chance_m):
            found.append(DevicesApart(devices[a], devices[b], apart_m, *own_m))
    return tuple(found)


def _apart_m(difference_m: FloatArray, both: BoolArray) -> float:
    """Return the usual length of the difference between two lines, averaged over the stations around."""
    known = np.where(both[:, None], difference_m, 0.0)
    share = averaged(both.astype(float), OFFSET_STATIONS)
    around = averaged(known, OFFSET_STATIONS)[both] / share[both][:, None]
    return float(np.median(norms(around)))

"""Devices on one ride whose clocks disagree: how far apart they are, from where the devices were when.

Two devices on one rider are at one place at one moment. The offset that makes their recordings do so, through the
whole campaign, is the offset of their clocks, if it is one that clocks have: two people who walk alike on two days, or
one who comes by again four minutes later, have such an offset too. All recordings of two devices vote together, and
the best offset must be clearly better than the next one. Devices that meet at the times written are never doubted. No
time is changed here: the numbers serve to find out which recordings are one ride.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from gpsq.arrays import norms
from gpsq.geometry.polyline import along_m, at_along
from gpsq.rides.clock_faults import SECONDS_S, clocks_have, never_set
from gpsq.rides.places import places_m
from gpsq.rides.week_rollover import ROLLOVER_S, turns

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence

    from gpsq.model import FloatArray, Trace

#: Devices on one rider lie this near each other, in a street canyon too; beyond it a place counts as simply elsewhere.
_NEAR_M = 60.0
#: Votes for an offset come from places this near each other.
_VOTE_M = 30.0
#: Votes are cast by places this far apart along the way, so that standing still does not outvote riding.
_VOTE_STEP_M = 15.0
_VOTERS = 600
_VOTE_BIN_S = 4.0
_VOTE_REACH = 5
#: This many offsets with most votes are tried in full, none of them nearer to another than this.
_CANDIDATES = 12
#: Of these the best ones are refined.
_REFINED = 4
_APART_S = 40.0
#: Two recordings run together when they are near for this share of the time that both run.
_NEAR_SHARE = 0.8
#: Instants at which two recordings are compared.
_INSTANTS = 40
#: The best offset must explain this many times as much as the next.
_CLEARLY = 1.15
#: One pair of recordings is enough when it lasts this long, or when the offset is a turn of the week count.
_LONG_S = 600.0
#: Of the recordings that run at the same time, once an offset is taken off, so many run together.
_TOGETHER_SHARE = 0.8
_DAY_S = 86_400.0


@dataclass(frozen=True)
class ClockOffset:
    """How far one device's clock is ahead of another's.

    Attributes
    ----------
    device, reference_device : names.
    offset_s : this device's clock minus the reference's, seconds; negative where it is behind.
    spread_s : robust standard deviation over the pairs of recordings, nan for one pair.
    pairs : recordings of the device that lie on one of the reference's with this offset.
    is_week_rollover : the offset is an exact multiple of 1024 weeks, which no other clock error gives by chance.
    """

    device: str
    reference_device: str
    offset_s: float
    spread_s: float
    pairs: int
    is_week_rollover: bool

    def sentence(self) -> str:
        """Return the finding as a sentence for the person.

        Examples
        --------
        >>> ClockOffset("handheld", "watch", -7196.0, 1.2, 10, False).sentence()
        'The clock of handheld is 7196 s behind that of watch (10 recordings agree): used for pairing, no time changes.'
        """
        way = "ahead of" if self.offset_s > 0 else "behind"
        size = f"{abs(self.offset_s):.0f} s"
        if self.is_week_rollover:
            size = f"exactly {abs(self.offset_s) / _DAY_S:.0f} days (1024 weeks: the count of GPS weeks ran over)"
        count = f"{self.pairs} recording{'s agree' if self.pairs != 1 else ' agrees'}"
        return (
            f"The clock of {self.device} is {size} {way} that of {self.reference_device} ({count}): "
            "used for pairing, no time changes."
        )


@dataclass(frozen=True)
class _Track:
    """One recording as seconds and earth-centred metres."""

    time_s: FloatArray
    xyz_m: FloatArray

    @property
    def lasts_s(self) -> float:
        return float(self.time_s[-1] - self.time_s[0])


@dataclass(frozen=True)
class _Fit:
    """How well an offset explains one device by another: 0 nowhere together, 1 everywhere exactly.

    `matched` are the recordings that run together with one of the other's, of the `met` that run at the same time.
    """

    offset_s: float
    agreement: float
    matched: tuple[int, ...]
    met: int


def estimate_offsets(
    traces: Sequence[Trace], clock_of: Callable[[Trace], str] = lambda trace: trace.device
) -> tuple[ClockOffset, ...]:
    """Return the clock offsets that the recordings prove, one for each device whose clock disagrees.

    Parameters
    ----------
    traces : recordings; those without times or with an open date are left out.
    clock_of : what has one clock through the campaign: the device, unless said otherwise.

    Returns
    -------
    tuple, ordered by device. Devices that agree with the reference are absent, and so are devices that no offset which
    clocks have (`gpsq.rides.clock_faults`) explains clearly better than every other. The reference is the device with
    most recordings among the largest group of devices that agree (the later clock in a tie).
    """
    devices: dict[str, list[_Track]] = {}
    for trace in traces:
        if trace.timed and trace.date_known and trace.accepted > 1:
            devices.setdefault(clock_of(trace), []).append(_track(trace))
    groups = _agreeing(devices)
    found = [_against(name, groups[0], devices) for group in groups[1:] for name in group]
    return tuple(sorted((f for f in found if f), key=lambda f: f.device))


def _track(trace: Trace) -> _Track:
    time_s = trace.time.astype("datetime64[ms]").astype("int64") / 1000.0
    return _Track(time_s, places_m(trace))


def _agreeing(devices: dict[str, list[_Track]]) -> list[list[str]]:
    """Return the devices in groups whose clocks agree, the largest group first."""
    groups: list[list[str]] = []
    for name in sorted(devices):
        home = [g for g in groups if any(_agree(devices[name], devices[other]) for other in g)]
        groups = [g for g in groups if g not in home] + [[n for g in home for n in g] + [name]]
    ranked = [_ranked(group, devices) for group in groups]
    return sorted(ranked, key=lambda g: (len(g), _standing(g[0], g, devices)), reverse=True)


def _ranked(group: list[str], devices: dict[str, list[_Track]]) -> list[str]:
    return sorted(group, key=lambda name: _standing(name, group, devices), reverse=True)


def _standing(name: str, group: list[str], devices: dict[str, list[_Track]]) -> tuple[float, int, float]:
    """Return what makes a device the reference: it agrees best, has most recordings, and shows the later date."""
    tracks = devices[name]
    agreement = sum(_fit(tracks, devices[other], 0.0).agreement * len(tracks) for other in group if other != name)
    return agreement, len(tracks), float(np.median([t.time_s[0] for t in tracks]))


def _agree(one: list[_Track], other: list[_Track]) -> bool:
    """Whether two clocks are right enough for pairing: recordings run together at the times written."""
    return bool(_fit(one, other, 0.0).matched)


def _apart_m(one: _Track, other: _Track, offset_s: float) -> FloatArray:
    """Return the distances at instants of the shorter recording, once `offset_s` is taken off the clock of `one`.

    Infinite where the other one does not run; empty where they share less than half.
    """
    low = max(one.time_s[0] - offset_s, other.time_s[0])
    high = min(one.time_s[-1] - offset_s, other.time_s[-1])
    shorter_s = min(one.lasts_s, other.lasts_s)
    if high - low < max(0.5 * shorter_s, 1.0):
        return np.empty(0)
    instants = np.linspace(low, high, _INSTANTS)
    apart = at_along(one.xyz_m, one.time_s, instants + offset_s) - at_along(other.xyz_m, other.time_s, instants)
    alone = np.full(round(_INSTANTS * (shorter_s / (high - low) - 1.0)), np.inf)
    return np.concatenate([norms(apart), alone])


def _overlapping(track: _Track, others: list[_Track], offset_s: float) -> list[_Track]:
    low, high = track.time_s[0] - offset_s, track.time_s[-1] - offset_s
    return [o for o in others if o.time_s[0] < high and o.time_s[-1] > low]


def _fit(one: list[_Track], other: list[_Track], offset_s: float) -> _Fit:
    """Return how well `one` lies on `other` after `offset_s`; a recording is matched when near for most of its time."""
    best, together, met = [0.0] * len(one), [False] * len(one), 0
    for number, track in enumerate(one):
        apart = [_apart_m(track, o, offset_s) for o in _overlapping(track, other, offset_s)]
        shared = [apart_m for apart_m in apart if len(apart_m)]
        met += bool(shared)
        for apart_m in shared:
            best[number] = max(best[number], float(1.0 - np.minimum(apart_m, _NEAR_M).mean() / _NEAR_M))
            together[number] |= bool((apart_m[np.isfinite(apart_m)] < _NEAR_M).mean() >= _NEAR_SHARE)
    agreement = sum(best) / len(one)
    return _Fit(offset_s, agreement, tuple(np.flatnonzero(together).tolist()), met)


def _against(name: str, group: list[str], devices: dict[str, list[_Track]]) -> ClockOffset | None:
    """Return the offset of a device against the first of the agreeing devices that explains it."""
    for reference in group:
        found = _offset(devices[name], devices[reference])
        if found is not None:
            return _named(name, reference, found, devices)
    return None


def _offset(one: list[_Track], other: list[_Track]) -> _Fit | None:
    anything = never_set(_begins(one)) != never_set(_begins(other))
    offsets = _candidates(one, other, anything=anything)
    rough = sorted((_fit(one, other, o) for o in offsets), key=lambda f: f.agreement, reverse=True)
    fits = [_refined(one, other, f.offset_s) for f in rough[:_REFINED]]
    fits = sorted((f for f in fits if anything or clocks_have(f.offset_s)), key=lambda f: f.agreement, reverse=True)
    if not fits or not _believable(fits[0], one):
        return None
    rivals = [f.agreement for f in fits[1:] if abs(f.offset_s - fits[0].offset_s) > _APART_S]
    return fits[0] if fits[0].agreement >= _CLEARLY * max(rivals, default=0.0) else None


def _begins(tracks: list[_Track]) -> FloatArray:
    return np.array([track.time_s[0] for track in tracks])


def _believable(fit: _Fit, one: list[_Track]) -> bool:
    if len(fit.matched) < _TOGETHER_SHARE * fit.met:
        return False
    if turns(fit.offset_s):
        return len(fit.matched) >= 1
    return len(fit.matched) >= 2 or any(one[i].lasts_s >= _LONG_S for i in fit.matched)


def _candidates(one: list[_Track], other: list[_Track], *, anything: bool) -> list[float]:
    """Return the offsets with most votes: each place of `one` votes for the times at which `other` came by.

    Only offsets that clocks have are voted for, unless one of the clocks was never set and may show `anything`.
    """
    from scipy.spatial import cKDTree

    voters_s, voters_m = _places(one)
    passers_s, passers_m = _places(other)
    chosen = np.unique(np.linspace(0, len(voters_s) - 1, _VOTERS).astype(int))
    near = cKDTree(passers_m).query_ball_point(voters_m[chosen], _VOTE_M)
    counts = [len(n) for n in near]
    if not sum(counts):
        return []
    votes_s = np.repeat(voters_s[chosen], counts) - passers_s[np.concatenate([n for n in near if n]).astype(int)]
    if not anything:
        votes_s = votes_s[clocks_have(votes_s, SECONDS_S + _VOTE_BIN_S * _VOTE_REACH)]
    return _peaks(votes_s)


def _places(tracks: list[_Track]) -> tuple[FloatArray, FloatArray]:
    """Return times and places of all recordings, thinned to equal steps along the way."""
    times, places = [], []
    for track in tracks:
        along = along_m(track.xyz_m)
        first = np.unique(along // _VOTE_STEP_M, return_index=True)[1]
        times.append(track.time_s[first])
        places.append(track.xyz_m[first])
    return np.concatenate(times), np.concatenate(places)


def _peaks(votes_s: FloatArray) -> list[float]:
    bins, counts = np.unique(np.round(votes_s / _VOTE_BIN_S).astype(np.int64), return_counts=True)
    # one meeting spreads its votes over the time that it takes to cross the circle: sum over neighbours
    up_to = np.concatenate([[0], np.cumsum(counts)])
    low, high = np.searchsorted(bins, bins - _VOTE_REACH), np.searchsorted(bins, bins + _VOTE_REACH, side="right")
    total = up_to[high] - up_to[low]
    peaks: list[float] = []
    for place in np.argsort(-total, kind="stable"):
        offset_s = float(bins[place]) * _VOTE_BIN_S
        if all(abs(offset_s - p) > _APART_S for p in peaks):
            peaks.append(offset_s)
        if len(peaks) == _CANDIDATES:
            break
    return peaks


def _refined(one: list[_Track], other: list[_Track], offset_s: float) -> _Fit:
    """Return the best fit near an offset: first in steps of 4 s, then of 1 s."""
    best = _fit(one, other, offset_s)
    for reach_s, step_s in ((24.0, 4.0), (3.0, 1.0)):
        around = best.offset_s + np.arange(-reach_s, reach_s + step_s / 2, step_s)
        best = max((_fit(one, other, float(o)) for o in around), key=lambda f: f.agreement)
    return best


def _named(name: str, reference: str, fit: _Fit, devices: dict[str, list[_Track]]) -> ClockOffset:
    each = [_refined([devices[name][i]], devices[reference], fit.offset_s).offset_s for i in fit.matched]
    middle = float(np.median(each))
    spread = 1.4826 * float(np.median(np.abs(np.array(each) - middle))) if len(each) > 1 else float("nan")
    whole = turns(middle)
    return ClockOffset(name, reference, whole * ROLLOVER_S if whole else middle, spread, len(each), whole != 0)

"""Secret zones: circles, moved at random off the places they hide, that no published coordinate lies in.

A circle round a home can be inverted: the tracks that end on it give its centre. So a zone's centre lies well off the
place it hides, by a random vector, and a zone is only taken when the guesses that anyone would try (carry the visible
line on, fit a circle, take the middle of the ends) miss the place. Zones are kept, and tried again with every new line:
a straight road to a place may point at it from beyond a zone that a winding one fits.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache
from typing import TYPE_CHECKING

import numpy as np

from gpsq.arrays import norms
from gpsq.plane import Plane, to_earth_centred

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence

    from gpsq.model import BoolArray, FloatArray

#: Every guess must miss the hidden place by this much, so that by 100 m at least it misses the true one.
MISS_M = 200.0
#: Zones that are kept need a further one only when a guess comes nearer than this: a line is never quite as it was.
KEPT_MISS_M = 150.0
#: The hidden places lie at least this deep inside their zone.
DEPTH_M = 150.0
#: Radius of a zone round the end of a route: as small as will do, as large as it takes.
RADIUS_M = (450.0, 1450.0)
#: A private place's zone reaches this far beyond it, after the shift.
BEYOND_M = (50.0, 250.0)
SHIFT_M = (250.0, 420.0)
#: Candidates that are looked at. Of those that pass, the first is taken, so that what is taken stays random.
TRIES = 800
#: Where none passes, a later one is taken only if it is better by this, so that what is taken stays random.
JUST_AS_GOOD_M = 40.0
#: The visible line is carried on by the direction of its last metres, over each of these lengths …
TAILS_M = (15.0, 30.0, 50.0, 75.0, 100.0, 150.0, 200.0, 250.0, 300.0, 400.0)
#: … as far as this, or along the bend that it has over each of these lengths, this far.
CARRIED_ON_M = 2500.0
BENDS_M = (100.0, 150.0, 200.0, 300.0, 400.0)
BENT_ON_M = 1500.0
#: The line is made anew from what is shown and may begin this much later: just past a corner, that turns its direction.
LATER_M = (0.0, 10.0, 30.0)
#: Coordinates stay this far from a zone, so that smoothed lines and bands drawn about them stay outside too.
MARGIN_M = 30.0
#: A line that ends within this of a zone's rim was cut by it.
AT_RIM_M = 40.0


@dataclass(frozen=True)
class Zone:
    """A circle that no published coordinate lies in."""

    lat_deg: float
    lon_deg: float
    radius_m: float


@dataclass(frozen=True, eq=False)
class Hidden:
    """A place to hide: (k, 2) `lon_lat_deg` where it may be, and the (m, 2) `lines_deg` that begin there, outwards.

    `radius_m` is how far about each position must be hidden.
    """

    lon_lat_deg: FloatArray
    lines_deg: tuple[FloatArray, ...]
    radius_m: float = 0.0


def inside(zones: Sequence[Zone], lon_lat_deg: FloatArray, margin_m: float = 0.0) -> BoolArray:
    """Return (n,) which of (n, 2) positions lie in any of the zones, or within `margin_m` of one.

    Examples
    --------
    >>> inside([Zone(50.0, 10.0, 500.0)], np.array([[10.0, 50.0], [10.01, 50.0]])).tolist()
    [True, False]
    """
    places = to_earth_centred(lon_lat_deg[:, 0], lon_lat_deg[:, 1])
    found = np.zeros(len(places), dtype=bool)
    for zone in zones:
        centre = to_earth_centred(np.array([zone.lon_deg]), np.array([zone.lat_deg]))
        found |= norms(places - centre) <= zone.radius_m + margin_m
    return found


def longest(out: BoolArray) -> tuple[int, int]:
    """Return the first and last number of the longest run of True, (0, -1) where there is none.

    >>> longest(np.array([True, False, True, True, False]))
    (2, 3)
    """
    edges = np.flatnonzero(np.diff(np.concatenate([[0], out.astype(int), [0]])))
    runs = [(int(a), int(b) - 1) for a, b in zip(edges[::2], edges[1::2], strict=True)]
    return max(runs, key=lambda run: run[1] - run[0], default=(0, -1))


def covers(zone: Zone, hidden: Hidden) -> bool:
    """Return whether a zone already hides all of a place, deeply enough."""
    depth_m = hidden.radius_m if hidden.radius_m else DEPTH_M / 2
    return bool(inside([zone], hidden.lon_lat_deg, -depth_m).all())


def missed_by_m(zones: Sequence[Zone], hidden: Hidden) -> float:
    """Return by how much the nearest of the obvious guesses misses a place that these zones hide."""
    _, places_m, circles_m, lines_m = _in_metres(zones, hidden)
    return _missed_by_m(circles_m, places_m, lines_m, _pointing(lines_m, places_m))


def _in_metres(zones: Sequence[Zone], hidden: Hidden) -> tuple[Plane, FloatArray, FloatArray, list[FloatArray]]:
    """Return a plane, the places, the zones as (k, 3) centres and radii, and the lines of which they leave anything."""
    plane = Plane.centred_on(*hidden.lon_lat_deg.T)
    centres = plane.to_metres(np.array([z.lon_deg for z in zones]), np.array([z.lat_deg for z in zones]))
    circles_m = np.column_stack([centres, [z.radius_m for z in zones]])
    lines_m = [plane.to_metres(*line.T) for line in hidden.lines_deg]
    return plane, plane.to_metres(*hidden.lon_lat_deg.T), circles_m, [x for x in lines_m if _out(circles_m, x).any()]


def _out(circles_m: FloatArray, line_m: FloatArray) -> BoolArray:
    """Return which positions of a line lie outside all circles and may be shown."""
    away = line_m[:, None, :] - circles_m[None, :, :2]
    return np.asarray((np.hypot(away[..., 0], away[..., 1]) > circles_m[:, 2] + MARGIN_M).all(axis=1))


def drawn(hidden: Hidden, rng: np.random.Generator, kept: Sequence[Zone] = ()) -> tuple[Zone, float]:
    """Return a random zone that hides a place, and by how much the nearest of the obvious guesses misses it.

    Where no candidate makes all guesses miss by `MISS_M` (a long straight road), the best one is returned. `kept` are
    the zones that there are besides.
    """
    plane, places_m, circles_m, lines_m = _in_metres(kept, hidden)
    candidate = _about_private_place if hidden.radius_m else _about_end
    best: tuple[float, FloatArray, float] | None = None
    pointing_m = _pointing(lines_m, places_m)
    for number in range(TRIES):
        centre_m, radius_m = candidate(places_m, hidden.radius_m, number / TRIES, rng)
        miss_m = _missed_by_m(np.vstack([circles_m, [*centre_m, radius_m]]), places_m, lines_m, pointing_m)
        if best is None or miss_m >= MISS_M or miss_m > best[0] + JUST_AS_GOOD_M:
            best = (miss_m, centre_m, radius_m)
        if miss_m >= MISS_M:
            break
    if best is None:
        raise AssertionError("no candidate was looked at")
    lon, lat = plane.to_degrees(best[1][None, :])
    return Zone(round(float(lat[0]), 6), round(float(lon[0]), 6), round(best[2], 1)), best[0]


def _about_end(places_m: FloatArray, _: float, progress: float, rng: np.random.Generator) -> tuple[FloatArray, float]:
    """Draw a circle that holds the end of a route: its radius first, then a shift that leaves the end deep inside.

    Small circles are tried first: `progress` through the tries, from 0 to 1, lets them grow.
    """
    middle_m, reach_m = _middle(places_m)
    grown_m = progress**2 * (RADIUS_M[1] - RADIUS_M[0])
    low_m = max(RADIUS_M[0], SHIFT_M[0] + DEPTH_M + reach_m + 50.0) + grown_m / 2
    radius_m = float(rng.uniform(low_m, low_m + 200.0 + grown_m / 2))
    return middle_m + _shift(rng, SHIFT_M[0], radius_m - DEPTH_M - reach_m), radius_m


def _about_private_place(
    places_m: FloatArray, radius_m: float, _: float, rng: np.random.Generator
) -> tuple[FloatArray, float]:
    """Draw a circle that holds the whole of a private place."""
    middle_m, reach_m = _middle(places_m)
    shift_m = _shift(rng, *SHIFT_M)
    return middle_m + shift_m, float(reach_m + radius_m + np.hypot(*shift_m) + rng.uniform(*BEYOND_M))


def _middle(places_m: FloatArray) -> tuple[FloatArray, float]:
    middle_m = (places_m.min(axis=0) + places_m.max(axis=0)) / 2
    return middle_m, float(np.hypot(*(places_m - middle_m).T).max())


def _shift(rng: np.random.Generator, low_m: float, high_m: float) -> FloatArray:
    far_m, angle = rng.uniform(low_m, max(low_m, high_m)), rng.uniform(0.0, 2.0 * np.pi)
    return far_m * np.array([np.cos(angle), np.sin(angle)])


def _missed_by_m(
    circles_m: FloatArray,
    places_m: FloatArray,
    lines_m: Sequence[FloatArray],
    pointing_m: Callable[[int, int, int], float],
) -> float:
    """Return by how much the best of the obvious guesses misses the places; the last circle is the one on trial."""
    shown, guesses, edges = [], [], []
    for number, line in enumerate(lines_m):
        out = _out(circles_m, line)
        if not out.any():
            return 0.0
        first, last = longest(out)
        edges += [line[first], line[last]]
        if out[0]:
            guesses += _middles_of_gaps(line, out)
        else:
            shown.append((number, first, last))
    guesses += _centres(circles_m, edges)
    if shown:
        ends = np.array([lines_m[number][first] for number, first, _ in shown])
        guesses += [*ends, ends.mean(axis=0)]
    points = np.array(guesses).reshape(-1, 2)
    nearest_m = float(np.hypot(*(points[:, None, :] - places_m[None, :, :]).transpose(2, 0, 1)).min(initial=np.inf))
    if nearest_m < MISS_M and shown:  # worse than a line that points at the place, whose distance must still be guessed
        return 0.0
    return min([nearest_m, *(pointing_m(*part) for part in shown)])


def _pointing(lines_m: Sequence[FloatArray], places_m: FloatArray) -> Callable[[int, int, int], float]:
    """Return what tells how near the continuations of a part of a line come to the places; many circles cut at one position.

    The part is given by the line's number and the first and last position that are shown.
    """

    @cache
    def nearest_m(number: int, first: int, last: int) -> float:
        line_m = lines_m[number][first : last + 1]
        starts, stops = (np.vstack(side) for side in zip(*(_tails(_from(line_m, m)) for m in LATER_M), strict=True))
        return _from_segments_m(starts, stops, places_m)

    return nearest_m


def _centres(circles_m: FloatArray, edges: Sequence[FloatArray]) -> list[FloatArray]:
    """Return the centre of the last circle, and of each other at whose rim a line breaks off: those can be fitted."""
    if len(circles_m) == 0:
        return []
    at = np.array(edges).reshape(-1, 1, 2) - circles_m[None, :, :2]
    off_rim_m = np.abs(np.hypot(at[..., 0], at[..., 1]) - circles_m[:, 2] - MARGIN_M)
    seen = np.flatnonzero((off_rim_m[:, :-1] < AT_RIM_M).any(axis=0))
    return list(circles_m[[*seen, -1], :2])


def _from(line_m: FloatArray, later_m: float) -> FloatArray:
    """Return a line without its first metres."""
    near = np.hypot(*(line_m - line_m[0]).T) >= later_m
    return line_m[int(np.argmax(near)) :]


def _tails(line_m: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Return (k, 2) starts and stops of the straight pieces of all continuations of a line, straight and bent."""
    along = np.concatenate([[0.0], np.cumsum(norms(np.diff(line_m, axis=0)))])
    at_m = np.concatenate([TAILS_M, np.divide(BENDS_M, 2), BENDS_M])
    places = np.column_stack([np.interp(at_m, along, line_m[:, axis]) for axis in (0, 1)])
    of_tails, of_halves, of_bends = np.split(places, [len(TAILS_M), len(TAILS_M) + len(BENDS_M)])
    ahead = line_m[0] + _ways(line_m[0], of_tails) * CARRIED_ON_M
    near, far = _ways(line_m[0], of_halves), _ways(of_halves, of_bends)
    turn = np.arctan2(far[:, 0] * near[:, 1] - far[:, 1] * near[:, 0], (far * near).sum(axis=1)) / np.divide(BENDS_M, 2)
    on_m = np.add.outer(np.divide(BENDS_M, 4), np.arange(0.0, BENT_ON_M, 50.0))
    heading = np.arctan2(near[:, 1], near[:, 0])[:, None] + turn[:, None] * on_m
    arcs = line_m[0] + 50.0 * np.cumsum(np.stack([np.cos(heading), np.sin(heading)], axis=2), axis=1)
    begun = np.concatenate([np.broadcast_to(line_m[0], (len(arcs), 1, 2)), arcs[:, :-1]], axis=1)
    starts = np.concatenate([np.broadcast_to(line_m[0], ahead.shape), begun.reshape(-1, 2)])
    return starts, np.concatenate([ahead, arcs.reshape(-1, 2)])


def _ways(place_m: FloatArray, later_m: FloatArray) -> FloatArray:
    """Return the unit vectors back along a line, from its later places to its places."""
    back = place_m - later_m
    return back / np.maximum(norms(back), 1e-9)[:, None]


def _middles_of_gaps(line_m: FloatArray, out: BoolArray) -> list[FloatArray]:
    """Return the middles of the stretches of a line that a zone takes out of it, along the line and straight across."""
    edges = np.flatnonzero(np.diff(out.astype(int)))
    gaps = [(int(a), int(b) + 1) for a, b in zip(edges[::2], edges[1::2], strict=False)]
    return [place for a, b in gaps for place in (line_m[(a + b) // 2], (line_m[a] + line_m[b]) / 2)]


def _from_segments_m(starts: FloatArray, stops: FloatArray, places_m: FloatArray) -> float:
    """Return how near (k, 2) segments come to any of (n, 2) places."""
    ways = stops - starts
    to_place = places_m - starts[:, None, :]
    share = np.einsum("kni,ki->kn", to_place, ways) / np.maximum((ways**2).sum(axis=1), 1e-9)[:, None]
    off = to_place - np.clip(share, 0.0, 1.0)[:, :, None] * ways[:, None, :]
    return float(np.sqrt(np.einsum("kni,kni->kn", off, off).min()))

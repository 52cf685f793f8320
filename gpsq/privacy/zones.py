"""Secret zones: circles, moved at random off the places they hide, that no published coordinate lies in.

A circle round a home can be inverted: the tracks that end on it give its centre. So a zone's centre lies well off the
place it hides, by a random vector, and a zone is only taken when the guesses that anyone would try (carry the visible
line on, fit a circle, take the middle of the ends) miss the place.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from gpsq.plane import Plane, to_earth_centred

if TYPE_CHECKING:
    from collections.abc import Sequence

    from gpsq.model import BoolArray, FloatArray

#: Every guess must miss the hidden place by this much; a little more than the 200 m that is promised.
MISS_M = 260.0
#: The hidden places lie at least this deep inside their zone.
DEPTH_M = 150.0
#: Radius of a zone round the end of a route, and the share of the shortest route there that it may take.
RADIUS_M = (500.0, 1300.0)
RADIUS_SHARE = 0.28
#: A private place's zone reaches this far beyond it, after the shift.
BEYOND_M = (50.0, 250.0)
SHIFT_M = (MISS_M, 420.0)
#: Candidates that are looked at. Of those that pass, the first is taken, so that what is taken stays random.
TRIES = 800
#: The visible line is carried on by the direction of its last metres, over each of these lengths …
TAILS_M = (20.0, 50.0, 100.0, 200.0, 400.0)
#: … as far as this.
CARRIED_ON_M = 4000.0
#: Coordinates stay this far from a zone, so that smoothed lines and bands drawn about them stay outside too.
MARGIN_M = 30.0


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


def inside(zones: Sequence[Zone], lon_deg: FloatArray, lat_deg: FloatArray, margin_m: float = 0.0) -> BoolArray:
    """Return (n,) which positions lie in any of the zones, or within `margin_m` of one.

    Examples
    --------
    >>> inside([Zone(50.0, 10.0, 500.0)], np.array([10.0, 10.01]), np.array([50.0, 50.0])).tolist()
    [True, False]
    """
    places = to_earth_centred(lon_deg, lat_deg)
    found = np.zeros(len(places), dtype=bool)
    for zone in zones:
        centre = to_earth_centred(np.array([zone.lon_deg]), np.array([zone.lat_deg]))
        found |= ((places - centre) ** 2).sum(axis=1) <= (zone.radius_m + margin_m) ** 2
    return found


def covers(zone: Zone, hidden: Hidden) -> bool:
    """Return whether a zone already hides all of a place, deeply enough."""
    depth_m = hidden.radius_m if hidden.radius_m else DEPTH_M / 2
    return bool(inside([zone], *hidden.lon_lat_deg.T, margin_m=-depth_m).all())


def drawn(hidden: Hidden, rng: np.random.Generator) -> tuple[Zone, float]:
    """Return a random zone that hides a place, and by how much the nearest of the obvious guesses misses it.

    Where no candidate makes all guesses miss by `MISS_M` (a long straight road), the best one is returned.
    """
    plane = Plane.centred_on(*hidden.lon_lat_deg.T)
    places_m = plane.to_metres(*hidden.lon_lat_deg.T)
    lines_m = [plane.to_metres(*line.T) for line in hidden.lines_deg]
    candidate = _about_private_place if hidden.radius_m else _about_end
    best: tuple[float, FloatArray, float] | None = None
    for _ in range(TRIES):
        centre_m, radius_m = candidate(places_m, lines_m, hidden.radius_m, rng)
        miss_m = _nearest_guess_m(centre_m, radius_m, places_m, lines_m)
        if best is None or min(miss_m, MISS_M) > best[0]:
            best = (min(miss_m, MISS_M), centre_m, radius_m)
        if miss_m >= MISS_M:
            break
    if best is None:
        raise AssertionError("no candidate was looked at")
    lon, lat = plane.to_degrees(best[1][None, :])
    return Zone(round(float(lat[0]), 6), round(float(lon[0]), 6), round(best[2], 1)), best[0]


def _about_end(
    places_m: FloatArray, lines_m: Sequence[FloatArray], _: float, rng: np.random.Generator
) -> tuple[FloatArray, float]:
    """Draw a circle that holds the end of a route: its radius first, then a shift that leaves the end deep inside."""
    middle_m, reach_m = _middle(places_m)
    shortest_m = min((_length_m(line) for line in lines_m), default=np.inf)
    low_m = max(RADIUS_M[0], MISS_M + DEPTH_M + reach_m + 50.0)
    radius_m = float(rng.uniform(low_m, max(low_m + 100.0, min(RADIUS_M[1], RADIUS_SHARE * shortest_m))))
    return middle_m + _shift(rng, MISS_M + min(reach_m, 50.0), radius_m - DEPTH_M - reach_m), radius_m


def _about_private_place(
    places_m: FloatArray, lines_m: Sequence[FloatArray], radius_m: float, rng: np.random.Generator
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


def _length_m(line_m: FloatArray) -> float:
    return float(np.hypot(*np.diff(line_m, axis=0).T).sum())


def _nearest_guess_m(
    centre_m: FloatArray, radius_m: float, places_m: FloatArray, lines_m: Sequence[FloatArray]
) -> float:
    """Return how near the best of the obvious guesses comes to any of the places."""
    rays, ends, guesses = [], [], [centre_m]
    for line in lines_m:
        out = np.hypot(*(line - centre_m).T) > radius_m
        if not out.any():
            continue
        first = int(np.argmax(out))
        if out[0]:
            guesses += _middles_of_gaps(line, out)
            continue
        ends.append(line[first])
        rays += _tails(line[first:])
    if ends:
        guesses += [*ends, np.mean(ends, axis=0)]
    points = np.array(guesses)
    nearest = float(np.hypot(*(points[:, None, :] - places_m[None, :, :]).transpose(2, 0, 1)).min())
    return min([nearest, *(_from_segment_m(start, end, places_m) for start, end in rays)])


def _tails(line_m: FloatArray) -> list[tuple[FloatArray, FloatArray]]:
    """Return the straight continuations of a visible line beyond its beginning."""
    along = np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(line_m, axis=0).T))])
    found = []
    for tail_m in TAILS_M:
        back = line_m[0] - line_m[min(int(np.searchsorted(along, tail_m)), len(line_m) - 1)]
        size = float(np.hypot(*back))
        if size > 0:
            found.append((line_m[0], line_m[0] + back / size * CARRIED_ON_M))
    return found


def _middles_of_gaps(line_m: FloatArray, out: BoolArray) -> list[FloatArray]:
    """Return the middles of the stretches of a line that a zone takes out of it, along the line and straight across."""
    edges = np.flatnonzero(np.diff(out.astype(int)))
    gaps = [(int(a), int(b) + 1) for a, b in zip(edges[::2], edges[1::2], strict=False)]
    return [place for a, b in gaps for place in (line_m[(a + b) // 2], (line_m[a] + line_m[b]) / 2)]


def _from_segment_m(start: FloatArray, end: FloatArray, places_m: FloatArray) -> float:
    way = end - start
    share = np.clip((places_m - start) @ way / (way @ way), 0.0, 1.0)
    return float(np.hypot(*(places_m - start - share[:, None] * way).T).min())

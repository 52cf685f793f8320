"""Large campaigns for measuring speed: many rides on a few roads, quickly made; the answers play no part here.

``python tests/benchmarks/campaigns.py FOLDER RECORDINGS FIXES ROUTES`` writes one.
"""

from __future__ import annotations

import sys
from pathlib import Path

import numpy as np

DEVICES = ("bar-unit", "pocket-unit", "bag-unit")
#: Two of a hundred rides take another road for a while; receivers start up to this many seconds late.
DETOUR_SHARE, LATEST_START_S = 0.02, 60
METRES_PER_DEGREE = 111_200.0
#: Roads stand half a degree apart, so many of them one north of the other before the next column begins.
ROADS_NORTH = 50


def road(number: int, metres: int) -> np.ndarray:
    """Return a winding road by the metre; odd numbers are the way back on the road before, on the other side."""
    turn = np.random.default_rng(1 + number // 2).normal(0, 0.01, metres).cumsum() * 0.6
    way = np.column_stack([np.cos(turn), np.sin(turn)]).cumsum(axis=0)
    across = np.column_stack([-np.sin(turn), np.cos(turn)])
    return way - 2.0 * across if number % 2 == 0 else (way + 2.0 * across)[::-1]


def ride(way: np.ndarray, fixes: int, rng: np.random.Generator) -> np.ndarray:
    """Return (fixes, 2) places of a rider, one a second, who stops now and then and seldom takes another road."""
    speed = np.clip(5.0 + rng.normal(0, 0.02, fixes).cumsum() * 0.2, 3.0, 7.0)
    speed[rng.integers(0, fixes, 8)[:, None] + np.arange(20)[None, :] - fixes] = 0.0
    at = np.cumsum(speed) * (0.995 * (len(way) - 1) / speed.sum())
    places = np.column_stack([np.interp(at, np.arange(len(way)), way[:, k]) for k in (0, 1)])
    if rng.random() < DETOUR_SHARE:
        first = int(rng.integers(fixes // 4, fixes // 2))
        places[first : first + fixes // 8, 1] += 120.0
    return places


def recording(places: np.ndarray, sigma_m: float, rng: np.random.Generator) -> np.ndarray:
    """Return what a receiver makes of the places: an error that wanders within a minute."""
    fixes = len(places)
    knots = rng.normal(0, sigma_m, (fixes // 30 + 2, 2))
    wander = np.column_stack([np.interp(np.arange(fixes) / 30, np.arange(len(knots)), knots[:, k]) for k in (0, 1)])
    return places + wander + rng.normal(0, 0.3, (fixes, 2))


def document(lat: np.ndarray, lon: np.ndarray, time: np.ndarray, device: str) -> bytes:
    """Return a GPX document as most devices write it."""
    rows = "\n".join(
        f'<trkpt lat="{a:.7f}" lon="{b:.7f}"><ele>12.3</ele><time>{t}Z</time></trkpt>'
        for a, b, t in zip(lat.tolist(), lon.tolist(), time.astype(str).tolist(), strict=True)
    )
    return (
        f'<gpx version="1.1" creator="{device}" xmlns="http://www.topografix.com/GPX/1/1">'
        f"<trk><trkseg>{rows}</trkseg></trk></gpx>"
    ).encode()


def write(folder: Path, recordings: int, fixes: int, routes: int) -> None:
    """Write `recordings` files of about `fixes` points each on `routes` roads, three devices a ride."""
    folder.mkdir(parents=True, exist_ok=True)
    roads = [road(k, int(fixes * 4.5)) for k in range(routes)]
    for number in range(recordings):
        trip, device = divmod(number, len(DEVICES))
        route = trip % routes
        rng = np.random.default_rng([7, trip])
        places = ride(roads[route], fixes, rng)
        rng = np.random.default_rng([8, number])
        late = int(rng.integers(0, LATEST_START_S))
        seen = recording(places, (2.0, 3.0, 5.0)[device], rng)[late:]
        east, north = divmod(route // 2, ROADS_NORTH)
        lat = 40.0 + 0.5 * north + seen[:, 1] / METRES_PER_DEGREE
        lon = -30.0 + 1.5 * east + seen[:, 0] / (METRES_PER_DEGREE * np.cos(np.radians(lat)))
        time = np.datetime64("2024-03-04T06:00:00") + 2 * fixes * trip + late + np.arange(len(seen))
        place = folder / DEVICES[device]
        place.mkdir(exist_ok=True)
        (place / f"{trip:05d}.gpx").write_bytes(document(lat, lon, time, DEVICES[device]))


if __name__ == "__main__":
    write(Path(sys.argv[1]), *(int(word) for word in sys.argv[2:5]))

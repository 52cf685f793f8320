"""Who runs beside whom: the same answers as from all pairs, without looking at all pairs."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import pytest
from trace_maker import road, shifted_left, trace_on

from gpsq.campaign import device_folders
from gpsq.campaign.device_folders import COPY_M, TOGETHER, Beside, _within_reach
from gpsq.plane import geodesic_inverse_m, to_earth_centred

if TYPE_CHECKING:
    from gpsq.model import Trace


def recordings(rng: np.random.Generator, count: int) -> list[Trace]:
    """Recordings of 40 to 100 s in ten minutes, many of them copies or nearly so, a few without times."""
    made = []
    for k in range(count):
        points = int(rng.choice([40, 70, 100]))
        aside_m = float(rng.choice([0.0, 0.0, 0.3, 0.6, 5.0]))
        trace = trace_on(
            shifted_left(road(5.0 * (points - 1)), aside_m),
            start_s=float(rng.choice([0, 0, 10, 45, 60, 300])),
            file=f"{k:02d}.gpx",
            track=int(rng.integers(1, 3)),
        )
        made.append(trace)
    made.append(trace_on(np.empty((0, 2)), file="lost.gpx", points=0))
    return made


def are_a_pair(a: Trace, b: Trace) -> bool:
    """Whether two run beside one another, worked out from the two alone."""
    if not (a.accepted and b.accepted) or (a.sha256, a.track) == (b.sha256, b.track):
        return False
    at = [trace.time.astype("datetime64[ms]").astype(np.int64).astype(float) for trace in (a, b)]
    first, last = max(t[0] for t in at), min(t[-1] for t in at)
    if last - first < TOGETHER * min(t[-1] - t[0] for t in at) or last <= first:
        return False
    instants = np.linspace(first, last, 7)
    places = [np.interp(instants, t, d) for t, x in zip(at, (a, b), strict=True) for d in (x.lon_deg, x.lat_deg)]
    return bool(geodesic_inverse_m(*places).max() >= COPY_M)


@pytest.mark.parametrize("case", range(8))
def test_the_answers_are_those_of_all_pairs(case: int) -> None:
    rng = np.random.default_rng(case)
    traces = recordings(rng, 3 * case + 2)
    numbers = rng.permutation(len(traces))[: len(traces) - case // 2].tolist()
    pairs = [(a, b) for a in numbers for b in numbers if a < b and are_a_pair(traces[a], traces[b])]
    assert Beside(traces).of(numbers) == {k for pair in pairs for k in pair}
    part_of = {k: "xyz"[int(rng.integers(0, 3))] for k in numbers}
    parts = {name: [k for k in numbers if part_of[k] == name] for name in "xyz"}
    assert Beside(traces).between(parts) == any(part_of[a] != part_of[b] for a, b in pairs)


@pytest.mark.parametrize("aside_m", [0.0, 4.0], ids=["copies", "other receivers"])
def test_many_recordings_of_one_time_are_not_compared_two_by_two(
    aside_m: float, monkeypatch: pytest.MonkeyPatch
) -> None:
    compared: list[object] = []
    compare = device_folders._are_copies
    monkeypatch.setattr(device_folders, "_are_copies", lambda a, b: compared.append(a) or compare(a, b))
    count = 200
    traces = [trace_on(shifted_left(road(200.0), aside_m * k), file=f"{k}.gpx") for k in range(count)]
    assert Beside(traces).of(range(count)) == (set(range(count)) if aside_m else set())
    assert len(compared) <= 2 * count


def test_places_within_reach_by_way_of_others_are_one_region() -> None:
    """A degree of latitude is some 111 km; 1.79 degrees at the equator are under 200 km, 1.82 over."""
    lat_deg = np.array([0.0, 3.58, 1.79, 40.0, 5.40, 40.0])
    regions = _within_reach(to_earth_centred(np.zeros(6), lat_deg))
    assert [region.tolist() for region in regions] == [[0, 1, 2], [3, 5], [4]]
    assert list(_within_reach(np.empty((0, 3)))) == []

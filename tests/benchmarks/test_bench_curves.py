"""How fast the curve measures are, each beside its peer in the same run.

Skipped in a normal test run; measure with ``pytest tests/benchmarks -o addopts= --benchmark-only`` (some six minutes,
most of them spent by the slowest peer). GEOS has no continuous Fréchet distance, so gpsq's continuous one stands beside
GEOS' discrete one.
"""

from __future__ import annotations

import statistics
import time

import curvesimilarities
import numpy as np
import pytest
import shapely
import similaritymeasures

from gpsq.geometry.curve_distances import discrete_frechet_m, frechet_m, hausdorff_m

SIZES = (2_000, 8_000, 20_000, 200_000)


def ride(vertices: int, seed: int, road: int = 1) -> np.ndarray:
    """Ride a winding road with a fix every 5 m, each within a slowly wandering error of 3 m."""
    turn = np.random.default_rng(road).normal(0, 0.08, vertices).cumsum()
    way = 5.0 * np.column_stack([np.cos(turn), np.sin(turn)]).cumsum(axis=0)
    error = np.random.default_rng(seed).normal(0, 3.0, (vertices // 10 + 2, 2))
    at = np.linspace(0, len(error) - 1, vertices)
    return way + np.column_stack([np.interp(at, np.arange(len(error)), error[:, k]) for k in (0, 1)])


def hard_cases(vertices: int = 1_800) -> dict[str, tuple[np.ndarray, np.ndarray]]:
    a, b = ride(vertices, 2), ride(vertices, 3)
    third = vertices // 3
    detour, spike = b.copy(), b.copy()
    detour[third : 2 * third, 1] += np.interp(np.linspace(0, 3, third), [0, 1, 2, 3], [0, 1_000, 1_000, 0])
    spike[vertices // 2] += (0, 3_000)
    stop = np.random.default_rng(4).normal(0, 2, (third, 2))
    with_stops = [np.vstack([v[:third], v[third] + stop, v[2 * third : 2 * third + third // 2],
                             v[2 * third + third // 2] + stop]) for v in (a, b)]  # fmt: skip
    turns = [2 * np.pi * laps * np.linspace(0, 1, vertices) for laps in (10, 11)]
    laps = [
        500 * np.column_stack([np.cos(t), np.sin(t)]) + np.random.default_rng(5).normal(0, 2, (vertices, 2))
        for t in turns
    ]
    return {
        "detour of 1 km": (a, detour),
        "reversed": (a, b[::-1]),
        "long stops": (with_stops[0], with_stops[1]),
        "stop in one alone": (a, with_stops[1]),
        "10 and 11 laps": (laps[0], laps[1]),
        "spike of 3 km": (a, spike),
        "turned back half-way": (a, np.vstack([b[: 2 * third], b[2 * third : third : -1], b[third:]])),
        "out and back": (np.vstack([a, a[::-1]]), np.vstack([b, b[::-1]])),
        "another road": (a, ride(vertices, 3, road=7)),
    }


@pytest.mark.benchmark(group="continuous Fréchet to 1 cm, similar lines")
@pytest.mark.parametrize("vertices", SIZES)
def test_continuous(benchmark, vertices):
    benchmark(frechet_m, ride(vertices, 2), ride(vertices, 3))


@pytest.mark.benchmark(group="discrete Fréchet, similar lines")
@pytest.mark.parametrize("vertices", SIZES)
def test_discrete(benchmark, vertices):
    benchmark(discrete_frechet_m, ride(vertices, 2), ride(vertices, 3))


@pytest.mark.benchmark(group="Hausdorff, similar lines")
@pytest.mark.parametrize("vertices", SIZES)
def test_hausdorff(benchmark, vertices):
    benchmark(hausdorff_m, ride(vertices, 2), ride(vertices, 3))


@pytest.mark.benchmark(group="discrete Fréchet, similar lines")
@pytest.mark.parametrize("vertices", [2_000, 8_000])
def test_geos_discrete(benchmark, vertices):
    a, b = shapely.LineString(ride(vertices, 2)), shapely.LineString(ride(vertices, 3))
    benchmark.pedantic(shapely.frechet_distance, (a, b), rounds=5, warmup_rounds=1)


@pytest.mark.benchmark(group="Hausdorff, similar lines")
@pytest.mark.parametrize("vertices", [2_000, 8_000])
def test_geos_hausdorff(benchmark, vertices):
    a, b = shapely.LineString(ride(vertices, 2)), shapely.LineString(ride(vertices, 3))
    benchmark.pedantic(shapely.hausdorff_distance, (a, b), rounds=5, warmup_rounds=1)


@pytest.mark.benchmark(group="discrete Fréchet, similar lines")
@pytest.mark.parametrize("vertices", [2_000, 8_000])
def test_curvesimilarities_discrete(benchmark, vertices):
    benchmark.pedantic(curvesimilarities.dfd, (ride(vertices, 2), ride(vertices, 3)), rounds=5, warmup_rounds=1)


@pytest.mark.benchmark(group="continuous Fréchet to 1 cm, similar lines")
@pytest.mark.parametrize("vertices", [250])
def test_curvesimilarities_continuous(benchmark, vertices):
    benchmark.pedantic(curvesimilarities.fd, (ride(vertices, 2), ride(vertices, 3)), rounds=5, warmup_rounds=1)


@pytest.mark.benchmark(group="discrete Fréchet, similar lines")
@pytest.mark.parametrize("vertices", [8_000])
def test_similaritymeasures_discrete(benchmark, vertices):
    benchmark.pedantic(similaritymeasures.frechet_dist, (ride(vertices, 2), ride(vertices, 3)), rounds=5)


@pytest.mark.benchmark(group="continuous Fréchet to 1 cm, hard cases of 1,800 vertices")
@pytest.mark.parametrize("name", hard_cases())
def test_hard(benchmark, name):
    benchmark(frechet_m, *hard_cases()[name])


@pytest.mark.benchmark(group="growth")
@pytest.mark.parametrize("measure", [frechet_m, discrete_frechet_m, hausdorff_m], ids=lambda f: f.__name__)
def test_growth(benchmark, measure):
    """Record the exponent of growth from 2,000 to 200,000 vertices: the slope of log(time) on log(vertices)."""
    medians = [_median_s(measure, ride(n, 2), ride(n, 3)) for n in SIZES]
    exponent = float(np.polyfit(np.log(SIZES), np.log(medians), 1)[0])
    benchmark.extra_info.update(exponent=exponent, medians_s=dict(zip(map(str, SIZES), medians, strict=True)))
    benchmark(measure, ride(SIZES[0], 2), ride(SIZES[0], 3))


def _median_s(measure, a, b, rounds=7):
    measure(a, b)
    spent = []
    for _ in range(rounds):
        start = time.perf_counter()
        measure(a, b)
        spent.append(time.perf_counter() - start)
    return statistics.median(spent)

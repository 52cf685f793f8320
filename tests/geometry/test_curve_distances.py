"""Hausdorff and Fréchet distances against independent programmes, and what must hold for any lines.

The judges: a textbook dynamic programme (below), `curvesimilarities` (exact continuous and discrete Fréchet distance),
`similaritymeasures` (discrete), and shapely for the distance of a point from a line. GEOS 3.14's Fréchet distance is no
judge: it is wrong on some inputs. `curvesimilarities` 0.3.0 is wrong on lines of a single segment and gets them in two.
Both faults have a test below.
``GPSQ_LONG=1`` runs 2,000 random pairs instead of 300, and roads of twice the length.
"""

from __future__ import annotations

import math
import os

import curvesimilarities
import numpy as np
import pytest
import shapely
import similaritymeasures
from hypothesis import given, settings
from hypothesis import strategies as st

from gpsq.exceptions import GeometryError
from gpsq.geometry import curve_distances
from gpsq.geometry._hausdorff import directed_hausdorff_kernel
from gpsq.geometry.curve_distances import directed_hausdorff, discrete_frechet_m, frechet_m, hausdorff_m

PAIRS, LONGER = (2000, 2) if os.environ.get("GPSQ_LONG") else (120, 1)
TOLERANCE_M = 0.01


@st.composite
def lines(draw, most=40):
    """Draw a line: on a coarse grid (repeats, ties, overlaps), anywhere, or a walk."""
    count = draw(st.integers(1, most))
    seed = draw(st.integers(0, 2**32 - 1))
    rng = np.random.default_rng(seed)
    kind = draw(st.sampled_from(["grid", "anywhere", "walk"]))
    if kind == "grid":
        return rng.integers(0, 5, (count, 2)) * 10.0
    if kind == "anywhere":
        return rng.uniform(-100, 100, (count, 2))
    return rng.normal(0, 10, (count, 2)).cumsum(axis=0)


@st.composite
def pairs(draw, most=40):
    """Draw two lines, unrelated or the second a noisy, unevenly sampled run of the first with stops."""
    a = draw(lines(most))
    if draw(st.booleans()):
        return a, draw(lines(most))
    rng = np.random.default_rng(draw(st.integers(0, 2**32 - 1)))
    at = np.sort(rng.uniform(0, max(len(a) - 1, 0), rng.integers(1, most + 1)))
    at[rng.random(len(at)) < 0.3] = at[0]  # a stop
    at.sort()
    b = np.column_stack([np.interp(at, np.arange(len(a)), a[:, k]) for k in (0, 1)])
    return a, b + rng.normal(0, 3, b.shape)


def textbook_discrete_frechet(a, b):
    """Eiter & Mannila 1994 as printed: c[i, j] = max(d, min(c[i-1, j], c[i-1, j-1], c[i, j-1]))."""
    c = np.full((len(a) + 1, len(b) + 1), np.inf)
    c[0, 0] = 0.0
    for i, p in enumerate(a):
        for j, q in enumerate(b):
            c[i + 1, j + 1] = max(math.dist(p, q), min(c[i, j], c[i, j + 1], c[i + 1, j]))
    return c[-1, -1]


def two_or_more(line):
    """A single point as a segment of no length, for libraries that refuse single points."""
    return np.repeat(line, 2, axis=0) if len(line) == 1 else line


def one_layout(line):
    """The line as the library was compiled for first: it is compiled again for every other layout in memory."""
    return np.ascontiguousarray(line, dtype=float)


def exact_frechet(a, b):
    """The continuous distance by `curvesimilarities`, to 0.1 µm: it needs at least two segments a line to be right."""
    lines = (one_layout(finer(two_or_more(line), 2) if len(line) < 3 else line) for line in (a, b))
    return curvesimilarities.fd(*lines, 0.0, 1e-7)


def exact_discrete_frechet(a, b):
    return curvesimilarities.dfd(one_layout(a), one_layout(b))


def finer(line, times):
    """The same way with every segment cut into `times` equal parts."""
    at = np.linspace(0, len(line) - 1, (len(line) - 1) * times + 1)
    return np.column_stack([np.interp(at, np.arange(len(line)), line[:, k]) for k in (0, 1)])


def longest_edge(line):
    return float(np.hypot(*np.diff(line, axis=0).T).max(initial=0.0))


@settings(max_examples=PAIRS, deadline=None)
@given(pairs())
def test_discrete_is_the_textbook_programme(pair):
    assert discrete_frechet_m(*pair) == pytest.approx(textbook_discrete_frechet(*pair), abs=1e-9)


@settings(max_examples=PAIRS, deadline=None)
@given(pairs())
def test_continuous_agrees_with_an_exact_library_to_the_centimetre(pair):
    exact = exact_frechet(*pair)
    found = frechet_m(*pair, tolerance_m=TOLERANCE_M)
    assert found - 1e-6 <= exact <= found + TOLERANCE_M + 1e-6


@settings(max_examples=60, deadline=None)
@given(pairs(most=12))
def test_discrete_agrees_with_two_libraries(pair):
    a, b = (two_or_more(line) for line in pair)
    found = discrete_frechet_m(a, b)
    assert found == pytest.approx(exact_discrete_frechet(a, b), abs=1e-9)
    assert found == pytest.approx(similaritymeasures.frechet_dist(a, b), abs=1e-9)


def test_continuous_follows_from_the_textbook_programme_on_fine_steps():
    """Without any library: on steps of length h the discrete distance exceeds the continuous by at most h."""
    rng = np.random.default_rng(3)
    for _ in range(20):
        a, b = rng.normal(0, 10, (6, 2)).cumsum(axis=0), rng.normal(0, 10, (5, 2)).cumsum(axis=0)
        fine_a, fine_b = finer(a, 16), finer(b, 16)
        above = textbook_discrete_frechet(fine_a, fine_b)
        found = frechet_m(a, b, tolerance_m=1e-6)
        assert found <= above + 1e-9
        assert found >= above - max(longest_edge(fine_a), longest_edge(fine_b)) - 1e-5


@settings(max_examples=100, deadline=None)
@given(pairs())
def test_directed_hausdorff_is_what_dense_sampling_finds(pair):
    a, b = (two_or_more(line) for line in pair)
    dense = finer(a, 400)
    sampled = shapely.distance(shapely.points(dense), shapely.LineString(b)).max()
    found, place = directed_hausdorff(a, b)
    assert sampled - 2e-6 <= found <= sampled + longest_edge(dense) / 2 + 1e-9
    here = shapely.Point(place)
    assert here.distance(shapely.LineString(b)) == pytest.approx(found, abs=1e-9)
    assert here.distance(shapely.LineString(a)) == pytest.approx(0.0, abs=1e-9)


@settings(max_examples=100, deadline=None)
@given(pairs(), st.floats(-1e5, 1e5), st.floats(-1e5, 1e5))
def test_what_must_hold_for_any_lines(pair, east, north):
    a, b = pair
    hausdorff, continuous, discrete = hausdorff_m(a, b), frechet_m(a, b), discrete_frechet_m(a, b)
    edge = max(longest_edge(a), longest_edge(b))
    assert hausdorff <= continuous <= discrete + 1e-9
    assert discrete <= continuous + TOLERANCE_M + edge + 1e-9  # Eiter & Mannila 1994
    shift = np.array([east, north])
    moved_a, moved_b = a + shift, b + shift
    for same_a, same_b in ((b, a), (a[::-1], b[::-1]), (moved_a, moved_b)):
        assert hausdorff_m(same_a, same_b) == pytest.approx(hausdorff, abs=3e-6)
        assert frechet_m(same_a, same_b) == pytest.approx(continuous, abs=TOLERANCE_M + 1e-6)
        assert discrete_frechet_m(same_a, same_b) == pytest.approx(discrete, abs=1e-6)
    assert hausdorff_m(finer(a, 3), b) == pytest.approx(hausdorff, abs=3e-6)
    assert frechet_m(finer(a, 3), finer(b, 2)) == pytest.approx(continuous, abs=TOLERANCE_M + 1e-6)


@settings(max_examples=100, deadline=None)
@given(pairs(), st.floats(0, 200))
def test_limit_is_answered_with_the_value_or_with_more(pair, at_most_m):
    value, limited = frechet_m(*pair), frechet_m(*pair, at_most_m=at_most_m)
    if math.isinf(limited):
        assert value + TOLERANCE_M > at_most_m
    else:
        assert limited <= at_most_m
        assert limited == pytest.approx(value, abs=TOLERANCE_M + 1e-6)


def street(count, seed, noise_seed):
    """A winding road ridden twice with a slowly wandering error: more than one tile of the kernels."""
    turn = np.random.default_rng(seed).normal(0, 0.08, count).cumsum()
    road = 5.0 * np.column_stack([np.cos(turn), np.sin(turn)]).cumsum(axis=0)
    error = np.random.default_rng(noise_seed).normal(0, 3.0, (count // 10 + 2, 2))
    at = np.linspace(0, len(error) - 1, count)
    return road + np.column_stack([np.interp(at, np.arange(len(error)), error[:, k]) for k in (0, 1)])


def long_pairs(n=150 * LONGER):
    a, b = street(n, 1, 2), street(n, 1, 3)
    detour = b.copy()
    detour[n // 2 - 30 : n // 2 + 30, 1] += np.interp(np.arange(60), [0, 20, 40, 59], [0, 1000, 1000, 0])
    spike = b.copy()
    spike[n // 2] += (0, 3000)
    lap = np.linspace(0, 2 * np.pi, n // 10)
    circle = 60 * np.column_stack([np.cos(lap), np.sin(lap)])
    stop = np.random.default_rng(4).normal(0, 2, (n // 2, 2))
    early, late = n // 3, 2 * n // 3
    far, turned = street(2 * n, 1, 2), street(2 * n, 1, 3)  # shorter, it misses an entry from the left of a free block
    return {
        "same road": (a, b),
        "reversed": (a, b[::-1]),
        "detour": (a, detour),
        "spike": (a, spike),
        "stops": tuple(
            np.vstack([line[:at], line[at - 1] + stood, line[at:]])
            for line, at, stood in ((a, early, stop), (b, late, stop[::-1]))
        ),
        "laps": (np.tile(circle, (10, 1)), np.tile(circle, (11, 1)) + 1),
        "turned back": (far, np.vstack([turned[: 2 * late], turned[2 * late : 2 * early : -1], turned[2 * early :]])),
        "half": (a, b[: n // 2]),
        "another road": (a, street(n, 9, 9)),
        "cloud": (np.random.default_rng(5).normal(0, 50, (200, 2)), np.random.default_rng(6).normal(0, 50, (230, 2))),
        "point": (a[:1], b),
    }


@pytest.mark.parametrize("name", long_pairs())
def test_lines_of_many_tiles(name):
    a, b = long_pairs()[name]
    exact = exact_frechet(a, b)
    found = frechet_m(a, b)
    assert found - 1e-6 <= exact <= found + TOLERANCE_M + 1e-6
    assert discrete_frechet_m(a, b) == pytest.approx(exact_discrete_frechet(a, b), abs=1e-9)


def test_where_geos_3_14_goes_wrong():
    # GEOS 3.14 answers 7.0711; GEOS 3.13.1 and the textbook programme 6.7082 (= √45)
    a = [(5, 8), (5, 2), (2, 2), (8, 3), (6, 8), (7, 1)]
    assert discrete_frechet_m(a, [(8, 5), (3, 1), (1, 3)]) == pytest.approx(math.sqrt(45), abs=1e-12)


def test_where_curvesimilarities_0_3_0_goes_wrong():
    # it answers 104.488 for this segment: the leash from the last low corner back to the segment's start, which the
    # walker has left long before. On fine steps the textbook programme comes down to our value from above.
    a = np.array([(10.0, 10.0), (0.0, 20.0)])
    b = np.array([(2.4, 90.1), (-71.2, 89.7), (-37.6, -15.3), (65.5, -18.2), (9.9, -94.5), (50.7, 7.6)])
    found = frechet_m(a, b, tolerance_m=1e-6)
    fine_a, fine_b = finer(a, 128), finer(b, 128)
    above = textbook_discrete_frechet(fine_a, fine_b)
    assert above - max(longest_edge(fine_a), longest_edge(fine_b)) <= found <= above
    assert found == pytest.approx(exact_frechet(a, b), abs=1e-5)
    assert found > 108


def test_identical_lines_are_no_distance_apart():
    a = street(500, 1, 2)
    assert (hausdorff_m(a, a), frechet_m(a, a), discrete_frechet_m(a, a)) == (0.0, 0.0, 0.0)


def test_single_points():
    assert directed_hausdorff([(3, 4)], [(0, 0)])[0] == 5.0
    assert hausdorff_m([(0, 3)], [(-10, 0), (10, 0)]) == pytest.approx(math.hypot(10, 3))
    assert frechet_m([(0, 3)], [(-10, 0), (10, 0)]) == pytest.approx(math.hypot(10, 3))
    assert discrete_frechet_m([(3, 4)], [(0, 0)]) == 5.0


def test_two_points_of_no_length_and_repeated_vertices():
    a = np.repeat([(0.0, 0.0), (100.0, 0.0)], 50, axis=0)
    b = np.repeat([(0.0, 3.0), (100.0, 3.0)], 70, axis=0)
    assert (hausdorff_m(a, b), frechet_m(a, b), discrete_frechet_m(a, b)) == (3.0, 3.0, 3.0)


def test_place_of_the_greatest_distance():
    distance_m, place_m = directed_hausdorff([(0, 0), (40, 0), (50, 15), (60, 0), (100, 0)], [(0, 0), (100, 0)])
    assert distance_m == 15.0
    assert place_m.tolist() == [50.0, 15.0]


def test_integers_and_lists_are_taken_and_the_input_is_left_alone():
    a = np.array([[0, 0], [10, 0]])
    assert frechet_m(a, [[0, 2], [10, 2]]) == 2.0
    assert a.dtype.kind == "i"


def test_frozen_arrays_need_no_further_compilation():
    """The arrays of traces are read-only, another type to the compiler."""
    a, b = street(100, 1, 2), street(100, 1, 3)
    hausdorff_m(a, b)
    before = len(directed_hausdorff_kernel.signatures)
    a.setflags(write=False)
    assert hausdorff_m(a, b) == hausdorff_m(a.copy(), b)
    assert len(directed_hausdorff_kernel.signatures) == before == 1


@pytest.mark.parametrize("measure", [hausdorff_m, frechet_m, discrete_frechet_m, directed_hausdorff])
@pytest.mark.parametrize(
    ("bad", "said"),
    [
        (np.empty((0, 2)), r"b must have shape \(n, 2\) with n >= 1, but has \(0, 2\)"),
        (np.zeros((4, 3)), r"but has \(4, 3\)"),
        (np.zeros(4), r"but has \(4,\)"),
        ([(0.0, math.nan)], "b must be finite, but 1 of its numbers are not"),
        ([(0.0, math.inf), (math.nan, 1.0)], "2 of its numbers"),
        ([("north", 1)], "b must be numbers"),
        ([(0, 1), (2,)], "b must be numbers"),
    ],
)
def test_lines_that_cannot_be_measured(measure, bad, said):
    with pytest.raises(GeometryError, match=said):
        measure([(0.0, 0.0), (1.0, 0.0)], bad)


@pytest.mark.parametrize("tolerance_m", [0.0, -1.0, math.nan])
def test_tolerance_must_be_above_zero(tolerance_m):
    with pytest.raises(ValueError, match="tolerance_m must be above 0 m"):
        frechet_m([(0, 0)], [(1, 1)], tolerance_m=tolerance_m)


def test_limit_must_be_a_number():
    with pytest.raises(ValueError, match="at_most_m must be a number"):
        frechet_m([(0, 0)], [(1, 1)], at_most_m=math.nan)


def test_waking_calls_each_kernel_that_a_measurement_calls(monkeypatch):
    """So that no measurement has to wait for one of them to be compiled."""
    called = []

    def noted(name):
        right = getattr(curve_distances, name)
        return lambda *given: (called.append(name), right(*given))[1]

    kernels = ["bracket", "directed_hausdorff_kernel", "discrete_kernel", "greedy"]
    for name in kernels:
        monkeypatch.setattr(curve_distances, name, noted(name))
    curve_distances.wake()
    woken, called = sorted(set(called)), []
    for measure in (frechet_m, discrete_frechet_m, directed_hausdorff):
        measure([(0, 0), (50, 9), (100, 0)], [(0, 3), (100, 3)])
    assert woken == sorted(set(called)) == kernels

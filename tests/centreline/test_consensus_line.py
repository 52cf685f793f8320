"""The consensus line against closed forms: what must come out when the answer is known."""

from __future__ import annotations

import numpy as np
import pytest
from trace_maker import road, shifted_left, smooth_noise

from gpsq.centreline import consensus_line
from gpsq.centreline.robust_middle import smooth
from gpsq.centreline.strands import strand
from gpsq.geometry import polyline
from gpsq.settings import Settings

SETTINGS = Settings()


def consensus(lines, rides=None, runs=None, settings=SETTINGS):
    strands = [
        strand(
            np.asarray(xy, float),
            (runs or {}).get(k, [(0, len(xy))]),
            (rides or [f"R{n}" for n in range(len(lines))])[k],
            np.ones(len(xy), dtype=bool),
            settings,
        )
        for k, xy in enumerate(lines)
    ]
    return consensus_line.make(strands, settings)


def off(line_m, truth_m):
    """Return the distance of each station of a line from a finely drawn truth."""
    fine = polyline.resample(truth_m, 0.5)
    return np.array([np.sqrt(((fine - place) ** 2).sum(axis=1).min()) for place in line_m])


def inner(found, cut=4):
    return found.centreline.xy_m[cut:-cut]


def test_identical_tracks_give_that_track():
    found = consensus([road()] * 4)
    assert off(inner(found), road()).max() < 0.25
    assert found.centreline.length_m == pytest.approx(polyline.along_m(road())[-1], rel=2e-3)


def test_two_parallel_lines_give_the_middle():
    """Closed form: the mean of two parallel lines at ± d is the line between them."""
    found = consensus([shifted_left(road(), 4.0), shifted_left(road(), -4.0)])
    assert off(inner(found), road()).max() < 0.6


def test_several_parallel_lines_give_the_mean_offset():
    """Closed form: the mean of lines at offsets o_i lies at mean(o_i), none of them being far off."""
    offsets = np.array([-3.0, -1.0, 0.0, 2.0, 5.0])
    found = consensus([shifted_left(road(), o) for o in offsets])
    assert off(inner(found), shifted_left(road(), float(offsets.mean()))).max() < 0.6


def test_concentric_arcs_give_the_arc_between():
    """Closed form: of arcs of radius r1 and r2 it is the arc of (r1 + r2) / 2."""
    angle = np.linspace(0, np.pi / 2, 200)
    arcs = [radius * np.column_stack([np.cos(angle), np.sin(angle)]) for radius in (395.0, 405.0)]
    found = consensus(arcs)
    assert np.hypot(*inner(found).T) == pytest.approx(400.0, abs=0.5)


@pytest.mark.parametrize("count", [6, 12])
def test_the_noise_of_the_line_falls_with_the_number_of_traces(count):
    """Closed form: independent lateral noise σ leaves σ / √n, 1.2533 times that for a median."""
    rng = np.random.default_rng(5)
    sd_m = 4.0
    found = consensus([shifted_left(road(6000), smooth_noise(rng, 1201, sd_m)) for _ in range(count)])
    rms = np.sqrt(np.mean(off(inner(found), road(6000)) ** 2))
    assert 0.6 * sd_m / np.sqrt(count) < rms < 1.5 * sd_m / np.sqrt(count)


def test_order_of_the_traces_does_not_matter():
    rng = np.random.default_rng(6)
    lines = [shifted_left(road(), smooth_noise(rng, 401, 3.0)) for _ in range(6)]
    first = consensus(lines)
    second = consensus(lines[::-1], rides=[f"R{n}" for n in range(6)][::-1])
    assert off(inner(second), first.centreline.xy_m).max() < 0.6


def test_reversing_all_traces_reverses_the_line():
    rng = np.random.default_rng(7)
    lines = [shifted_left(road(), smooth_noise(rng, 401, 3.0)) for _ in range(6)]
    there, back = consensus(lines), consensus([xy[::-1] for xy in lines])
    assert off(inner(back), there.centreline.xy_m).max() < 1.0
    assert np.hypot(*(back.centreline.xy_m[-1] - there.centreline.xy_m[0])) < 15


def test_a_finer_trace_does_not_weigh_more():
    rng = np.random.default_rng(8)
    lines = [shifted_left(road(), smooth_noise(rng, 401, 3.0)) for _ in range(5)]
    finer = [polyline.resample(lines[0], 0.5), *lines[1:]]
    assert off(inner(consensus(finer)), consensus(lines).centreline.xy_m).max() < 0.6


def test_a_detour_does_not_move_the_line():
    rng = np.random.default_rng(9)
    lines = [shifted_left(road(), smooth_noise(rng, 401, 2.0)) for _ in range(5)]
    bump = 120.0 * np.clip(np.minimum(np.arange(401) - 150, 250 - np.arange(401)) / 15.0, 0, 1)
    lines[0] = shifted_left(road(), bump)
    found = consensus(lines)
    assert off(inner(found), road()).max() < 6.0
    assert found.centreline.length_m == pytest.approx(2000.0, rel=0.015)


def test_late_starts_leave_the_beginning_to_those_who_have_it():
    rng = np.random.default_rng(10)
    lines = [shifted_left(road(), smooth_noise(rng, 401, 2.0)) for _ in range(6)]
    late = [xy[150:] for xy in lines[:4]] + lines[4:]
    found = consensus(late)
    assert np.hypot(*(found.centreline.xy_m[0] - road()[0])) < 15
    assert found.centreline.support[5] == 2
    assert found.centreline.support[-20] == 6


def test_waiting_adds_neither_length_nor_weight():
    rng = np.random.default_rng(11)
    lines = [shifted_left(road(), smooth_noise(rng, 401, 2.0)) for _ in range(4)]
    plain = consensus(lines)
    waits = [
        np.vstack([xy[:200], xy[200] + rng.normal(0, 2.0, (90, 2)).cumsum(axis=0) * 0.05, xy[200:]]) for xy in lines
    ]
    assert consensus(waits).centreline.length_m == pytest.approx(plain.centreline.length_m, rel=5e-3)


def test_noise_does_not_lengthen_the_line():
    rng = np.random.default_rng(12)
    lines = [road() + rng.normal(0, 4.0, (401, 2)) for _ in range(8)]
    recorded = np.median([polyline.along_m(xy)[-1] for xy in lines])
    found = consensus(lines).centreline.length_m
    assert recorded > 2600
    assert found == pytest.approx(2000.0, rel=0.03)


def test_a_break_of_all_traces_is_bridged_without_support():
    lines = [np.vstack([xy[:180], xy[240:]]) for xy in [shifted_left(road(), o) for o in (-1.0, 0.0, 1.0)]]
    found = consensus(lines, runs={k: [(0, 180), (180, len(lines[0]))] for k in range(3)})
    assert (found.centreline.support[185:225] == 0).all()
    assert (found.centreline.support[20:170] == 3).all()


def test_leaving_a_ride_out_leaves_out_all_its_traces():
    lines = [shifted_left(road(), o) for o in (0.0, 0.0, 0.0, 9.0, 9.0)]
    found = consensus(lines, rides=["R1", "R2", "R3", "R4", "R4"])
    without = found.without("R4")
    assert without.left_out == "R4"
    assert (without.support <= 3).all()
    assert off(without.xy_m[4:-4], road()).max() < 0.3


def test_leaving_out_the_only_ride_leaves_nothing():
    without = consensus([road()], rides=["R1"]).without("R1")
    assert np.isnan(without.xy_m).all()
    assert (without.support == 0).all()


def test_a_ride_with_many_devices_weighs_as_one():
    lines = [shifted_left(road(), o) for o in (6.0,) * 6 + (0.0, 0.5, -0.5)]
    found = consensus(lines, rides=["R1"] * 6 + ["R2", "R3", "R4"])
    assert off(inner(found), road()).mean() < 2.5


def test_the_spread_is_a_standard_deviation():
    rng = np.random.default_rng(13)
    found = consensus([shifted_left(road(6000), smooth_noise(rng, 1201, 4.0)) for _ in range(14)])
    assert np.nanmedian(found.centreline.spread_m) == pytest.approx(4.0, rel=0.25)
    assert np.nanmedian(found.centreline.band_m) == pytest.approx(1.96 * 4.0 / np.sqrt(14), rel=0.35)


def test_smoothing_keeps_ends_and_straight_lines():
    line = np.column_stack([np.arange(50.0), 2 * np.arange(50.0)])
    assert smooth(line, 2.0) == pytest.approx(line, abs=1e-9)


def test_a_route_of_a_few_hundred_metres_is_drawn_finely():
    assert consensus_line.step_for([road(200.0)], SETTINGS) < 2.5
    assert consensus_line.step_for([road(8000.0)], SETTINGS) == SETTINGS.step_m

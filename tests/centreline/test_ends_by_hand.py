"""Where a line is led another way or cut back, and the middle of two, on places made by hand."""

from __future__ import annotations

import numpy as np
import pytest

from gpsq.centreline.ends import _way_past, rerouted, without_spurs
from gpsq.centreline.robust_middle import robust_middle
from gpsq.centreline.strands import passed_by, strand
from gpsq.geometry.alignment import Abreast
from gpsq.settings import Settings

STEP_M = 5.0
SETTINGS = Settings(step_m=STEP_M)


def middle(places_m, weights):
    places = np.array([places_m], float)
    nowhere = np.zeros(places.shape[:2], dtype=bool)
    return robust_middle(places, np.array([weights], float), np.array([[1.0, 9.0]]), nowhere, 5.0)[0]


def test_two_places_count_by_their_weights():
    """Weights 1 and 3, 4 m apart: the mean lies 1 m from the heavier."""
    assert middle([[0.0, 0.0], [4.0, 0.0]], [1.0, 3.0]) == pytest.approx([3.0, 0.0])
    assert middle([[0.0, 0.0], [4.0, 0.0]], [3.0, 1.0]) == pytest.approx([1.0, 0.0])


def test_of_two_roads_the_middle_is_neither():
    """30 m apart two places are two receivers on one road; further apart the line stays where the heavier is."""
    assert middle([[0.0, 0.0], [30.0, 0.0]], [1.0, 1.0])[0] == pytest.approx(15.0)
    assert middle([[0.0, 0.0], [31.0, 0.0]], [3.0, 1.0])[0] == pytest.approx(0.0, abs=0.5)


def test_a_trace_on_a_road_of_its_own_is_elsewhere_all_along():
    """Five on the road, 2 m apart, and one 60 m beside them for 300 stations: the middle is that of the five everywhere."""
    across = np.array([-4.0, -2.0, 0.0, 2.0, 4.0, 60.0])
    places = np.stack(np.broadcast_arrays(5.0 * np.arange(300.0)[:, None], across), axis=2)
    found = robust_middle(places, np.ones((300, 6)), places[:, 2], np.zeros((300, 6), dtype=bool), 5.0)
    assert np.abs(found[:, 1]).max() < 0.01


def straight(count=100):
    return np.column_stack([STEP_M * np.arange(count), np.zeros(count)])


def around(low, high, away_m):
    """Return a line of 100 stations that goes round by a detour between two of them, and the stations of its detour."""
    out = np.column_stack([np.full(9, STEP_M * low), np.linspace(away_m / 9, away_m, 9)])
    along = np.column_stack([STEP_M * np.arange(low, high + 1), np.full(high - low + 1, away_m)])
    back = np.column_stack([np.full(9, STEP_M * high), np.linspace(away_m, away_m / 9, 9)])
    line = np.vstack([straight()[: low + 1], out, along, back, straight()[high:]])
    return line, slice(low + 1, low + 1 + 18 + len(along))


def abreast_of(line, detour, *, on_it):
    """Return the places of a ride on a line: on its detour, or straight past it and abreast of nothing there."""
    vertex = np.arange(len(line), dtype=float)
    if not on_it:
        gap = detour.stop - detour.start
        vertex[detour] = np.nan
        vertex[detour.stop :] -= gap
    known = ~np.isnan(vertex)
    return Abreast(np.where(known[:, None], line, np.nan), vertex, known)


def strands_of(*ways):
    return [
        strand(
            way,
            [(0, len(way))],
            f"r{k}",
            np.ones(len(way), dtype=bool),
            SETTINGS,
            device="a",
            age_s=np.full(len(way), np.inf),
        )
        for k, way in enumerate(ways)
    ]


def led_past(line, strands, places, weights):
    passed = np.column_stack([passed_by(s, p) for s, p in zip(strands, places, strict=True)])
    return rerouted(line, strands, places, weights, passed, STEP_M)


@pytest.mark.parametrize(("straight_ones", "goes_past"), [(6, True), (2, True), (1, False)])
def test_a_detour_that_more_pass_by_than_ride_is_led_past(straight_ones, goes_past):
    """The line began with the one that made a detour of 100 m; those who ride straight on are more, or just as many."""
    line, detour = around(40, 60, 100.0)
    past = np.delete(line, np.arange(detour.start, detour.stop), axis=0)
    strands = strands_of(line, *[past] * straight_ones)
    places = [abreast_of(line, detour, on_it=k == 0) for k in range(len(strands))]
    found = led_past(line, strands, places, np.ones((len(line), len(strands))))
    assert bool(np.abs(found[:, 1]).max() < 3.0) is goes_past
    assert found[0] == pytest.approx(line[0])
    assert found[-1] == pytest.approx(line[-1])


def test_a_way_past_that_is_a_gap_is_no_way():
    """Two that ride straight past recorded nothing from where the detour leaves to where it joins."""
    line, detour = around(40, 60, 100.0)
    past = np.delete(line, np.arange(detour.start, detour.stop), axis=0)
    broken = [
        strand(past, [(0, 41), (41, len(past))], f"b{k}", np.ones(len(past), dtype=bool), SETTINGS, device="a")
        for k in range(2)
    ]
    strands = [*strands_of(line), *broken]
    places = [abreast_of(line, detour, on_it=k == 0) for k in range(3)]
    found = led_past(line, strands, places, np.ones((len(line), 3)))
    assert np.abs(found[:, 1]).max() == 100.0
    ways = [_way_past(s, places[1], detour.start, detour.stop) for s in (*strands_of(past), broken[0])]
    assert [way is None for way in ways] == [False, True]


def test_a_heavy_ride_on_the_detour_outweighs_light_ones_past_it():
    line, detour = around(40, 60, 100.0)
    past = np.delete(line, np.arange(detour.start, detour.stop), axis=0)
    strands = strands_of(line, past, past)
    places = [abreast_of(line, detour, on_it=k == 0) for k in range(3)]
    weights = np.tile([5.0, 1.0, 1.0], (len(line), 1))
    assert np.abs(led_past(line, strands, places, weights)[:, 1]).max() == pytest.approx(100.0)


def test_a_head_that_doubles_the_line_goes():
    """Twenty stations 4 m beside the line and the other way, with a fifth of its support, parted by three of nobody's."""
    road = straight()
    head = road[23:3:-1] + np.array([0.0, 4.0])
    line = np.vstack([head, np.full((3, 2), [5.0, 2.0]), road])
    weight = np.concatenate([np.full(20, 1.0), np.zeros(3), np.full(100, 5.0)])
    assert without_spurs(line, weight, STEP_M)[0] == pytest.approx(road[0])
    turned = without_spurs(line[::-1], weight[::-1], STEP_M)
    assert turned[-1] == pytest.approx(road[0])


def test_a_head_that_many_ride_or_that_leads_elsewhere_stays():
    road = straight()
    beside = road[23:3:-1] + np.array([0.0, 4.0])
    weight = np.concatenate([np.full(20, 4.0), np.zeros(3), np.full(100, 5.0)])
    line = np.vstack([beside, np.full((3, 2), [5.0, 2.0]), road])
    assert len(without_spurs(line, weight, STEP_M)) == len(line)
    elsewhere = np.column_stack([np.full(20, -20.0), STEP_M * np.arange(24, 4, -1)])
    away = np.vstack([elsewhere, np.full((3, 2), [-10.0, 5.0]), road])
    few = np.concatenate([np.full(20, 2.0), np.zeros(3), np.full(100, 5.0)])
    assert len(without_spurs(away, few, STEP_M)) == len(away)


def two_detours():
    """Return a line with a detour over stations 20 to 30 and one over 60 to 80, and where either is."""
    first, one = around(20, 30, 80.0)
    second, two = around(60, 80, 100.0)
    more = len(first) - len(straight())
    line = np.vstack([first[: len(first) - 60], second[40:]])
    return line, (one, slice(two.start + more, two.stop + more))


def test_each_of_two_detours_is_led_past():
    line, detours = two_detours()
    on = np.zeros(len(line), dtype=bool)
    for detour in detours:
        on[detour] = True
    past = line[~on]
    assert np.abs(past[:, 1]).max() == 0.0
    vertex = np.where(on, np.nan, np.cumsum(~on) - 1.0)
    straight_on = Abreast(np.where(on[:, None], np.nan, line), vertex, ~on)
    places = [
        Abreast(line.copy(), np.arange(float(len(line))), np.ones(len(line), dtype=bool)),
        straight_on,
        straight_on,
    ]
    found = led_past(line, strands_of(line, past, past), places, np.ones((len(line), 3)))
    assert np.abs(found[:, 1]).max() < 3.0
    assert found[:, 0] == pytest.approx(np.sort(found[:, 0]))
    assert found[[0, -1]] == pytest.approx(line[[0, -1]])


def test_of_several_ways_past_the_middle_one_by_length_is_taken():
    """Past the detour one rides straight, one 20 m aside, one has a spike of 300 m: the way is the second's."""
    line, detour = around(40, 60, 100.0)
    past = np.delete(line, np.arange(detour.start, detour.stop), axis=0)
    chord = np.column_stack([STEP_M * np.linspace(40.0, 60.0, 21)[1:-1], np.zeros(19)])
    ways = []
    for away_m in (0.0, 20.0, 300.0):
        bump = away_m * np.clip(np.minimum(np.arange(1, 20), np.arange(19, 0, -1)) / 2.0, 0.0, 1.0)
        ways.append(np.vstack([past[:41], chord + np.column_stack([np.zeros(19), bump]), past[41:]]))
    straight_on = abreast_of(line, detour, on_it=False)
    vertex = np.where(np.arange(len(line)) >= detour.stop, straight_on.vertex + 19.0, straight_on.vertex)
    by = Abreast(straight_on.xy_m, vertex, straight_on.matched)
    strands = strands_of(*(ways[k] for k in (2, 0, 1)))
    steps_at = [np.searchsorted(s.steps.xy_m[:, 0], 0.0) for s in strands]
    assert steps_at == [0, 0, 0]
    found = led_past(line, strands, [by] * 3, np.ones((len(line), 3)))
    assert np.abs(found[:, 1]).max() == pytest.approx(20.0, abs=0.5)


def test_one_station_of_nobodys_at_the_very_beginning_is_no_head():
    road = straight()
    weight = np.where(np.arange(100) == 0, 0.0, 5.0)
    assert len(without_spurs(road, weight, STEP_M)) >= 99


def test_a_way_that_leads_past_two_hundred_metres_more_than_the_stretch_is_none():
    """Two that are abreast of the first and the last station alone, 7 m aside, say nothing of a detour in the middle."""
    line, detour = around(40, 60, 100.0)
    past = np.delete(line, np.arange(detour.start, detour.stop), axis=0)
    far = straight(101) + np.array([0.0, 7.0])
    vertex = np.full(len(line), np.nan)
    vertex[0], vertex[-1] = 0.0, 100.0
    far_off = Abreast(np.where(np.isnan(vertex)[:, None], np.nan, line), vertex, ~np.isnan(vertex))
    places = [abreast_of(line, detour, on_it=True), abreast_of(line, detour, on_it=False), far_off, far_off]
    found = led_past(line, strands_of(line, past, far, far), places, np.ones((len(line), 4)))
    assert np.abs(found[:, 1]).max() < 3.0
    assert len(found) < len(line)

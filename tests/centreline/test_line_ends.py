"""Ends of a line carried on and cut back, and spurs taken off, on places counted out by hand: stations 5 m apart."""

from __future__ import annotations

import tracemalloc

import numpy as np
import pytest

from gpsq.centreline import ends
from gpsq.centreline.consensus_line import MOST_STATIONS as MOST
from gpsq.centreline.ends import extended, trimmed, usual_reach, without_spurs
from gpsq.centreline.strands import strand
from gpsq.geometry.alignment import Abreast
from gpsq.settings import Settings

STEP_M = 5.0
SETTINGS = Settings(step_m=STEP_M)
ROAD = np.column_stack([STEP_M * np.arange(100.0), np.zeros(100)])
ASIDE = np.array([0.0, 4.0])


def ridden(first, last, *, joins=None, leaves=None, counts_from=0, breaks_after=None, off_m=0.0):
    """Return a trace that rides the road from one station to another, beyond the line too, and where it is abreast.

    It is abreast of the stations `joins` to `leaves`, and `off_m` beside the road all along.
    """
    x = STEP_M * np.arange(float(first), last + 1.0)
    xy = np.column_stack([x, np.full(len(x), off_m)])
    fit = np.arange(len(xy)) >= counts_from
    runs = [(0, len(xy))] if breaks_after is None else [(0, breaks_after + 1), (breaks_after + 1, len(xy))]
    s = strand(xy, runs, "r", fit, SETTINGS, device="a")
    low, high = max(first, 0) if joins is None else joins, min(last, 99) if leaves is None else leaves
    at = np.arange(100)
    vertex = np.where((at >= low) & (at <= high), at - float(first), np.nan)
    known = ~np.isnan(vertex)
    return s, Abreast(np.where(known[:, None], ROAD + np.array([0.0, off_m]), np.nan), vertex, known)


def zigzag(steps_a_station):
    """Return a trace that takes so many steps for every station of the line, from end to end and 40 m beyond either."""
    n = 100 * steps_a_station
    xy = np.column_stack([np.full(n + 16, 0.0), STEP_M * (np.arange(n + 16.0) % 2)])
    xy[:, 0] = np.concatenate(
        [-5.0 * np.arange(8.0, 0.0, -1.0), np.linspace(0.0, 495.0, n), 500.0 + 5.0 * np.arange(8.0)]
    )
    vertex = 8.0 + steps_a_station * np.arange(100.0)
    s = strand(xy, [(0, len(xy))], "r", np.ones(len(xy), dtype=bool), SETTINGS, device="a")
    each = np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(xy, axis=0).T))])
    assert each[-1] > 5.0 * n * 0.9
    return s, Abreast(ROAD.copy(), vertex, np.ones(100, dtype=bool))


def both(found):
    return [s for s, _ in found], [p for _, p in found]


def ends_m(line):
    return line[[0, -1], 0].tolist()


@pytest.mark.parametrize(
    ("stations", "begins"), [([7], -35.0), ([6], -30.0), ([5], 0.0), ([3, 3], -15.0), ([2, 2], 0.0), ([7, 4], -35.0)]
)
def test_a_line_is_carried_on_where_one_trace_leads_30_m_further_or_two_15_m(stations, begins):
    """Both at the head and, mirrored, at the end."""
    heads = extended(ROAD, *both([ridden(-n, 99) for n in stations]), SETTINGS, MOST)
    assert ends_m(heads) == [begins, 495.0]
    tails = extended(ROAD, *both([ridden(0, 99 + n) for n in stations]), SETTINGS, MOST)
    assert ends_m(tails) == [0.0, 495.0 - begins]
    for line in (heads, tails):
        assert set(np.diff(line[:, 0])) <= {0.0, STEP_M}  # the place at which a trace joins may stand twice


def test_no_trace_carries_the_line_on_beyond_its_most_stations():
    assert ends_m(extended(ROAD, *both([ridden(0, 400)]), SETTINGS, 150))[1] == pytest.approx(150 * 5.0, abs=10.0)
    assert ends_m(extended(ROAD, *both([ridden(-300, 99)]), SETTINGS, 150))[0] == pytest.approx(-50 * 5.0, abs=10.0)
    assert len(extended(ROAD, *both([ridden(0, 400)]), SETTINGS, 60)) <= len(ROAD)


def test_long_overhangs_are_held_against_each_other_in_little_memory():
    """Each place against each would be 300 MB."""
    away = np.column_stack([5.0 * np.arange(4000), np.zeros(4000)])
    overhangs = [(99, away), (99, away + np.array([0.0, 3.0])), (99, away + np.array([0.0, 900.0]))]
    tracemalloc.start()
    supported = [ends._supported(o, overhangs, 20.0) for o in overhangs]
    _, most_bytes = tracemalloc.get_traced_memory()
    tracemalloc.stop()
    assert supported == [True, True, False]
    assert most_bytes < 20e6


def test_both_ends_are_carried_on_in_one_round():
    assert ends_m(extended(ROAD, *both([ridden(-8, 109)]), SETTINGS, MOST)) == [-40.0, 545.0]
    assert ends_m(extended(ROAD, *both([ridden(-8, 99), ridden(0, 107)]), SETTINGS, MOST)) == [-40.0, 535.0]


@pytest.mark.parametrize(("joins", "carried_on"), [(6, True), (7, False)])
def test_a_trace_that_joins_the_line_late_carries_no_end_on(joins, carried_on):
    """Six stations are 30 m; what is gained is counted from the end of the line."""
    head = extended(ROAD, *both([ridden(-10, 99, joins=joins)]), SETTINGS, MOST)
    tail = extended(ROAD, *both([ridden(0, 109, leaves=99 - joins)]), SETTINGS, MOST)
    assert ends_m(head)[0] == (-50.0 if carried_on else 0.0)
    assert ends_m(tail)[1] == (545.0 if carried_on else 495.0)


def test_what_is_gained_is_beyond_the_end_of_the_line():
    """Two that join 5 stations in and reach 2 beyond the end gain 10 m, though 35 m lie outward of where they join."""
    assert ends_m(extended(ROAD, *both([ridden(-2, 99, joins=5)] * 2), SETTINGS, MOST)) == [0.0, 495.0]
    assert ends_m(extended(ROAD, *both([ridden(0, 101, leaves=94)] * 2), SETTINGS, MOST)) == [0.0, 495.0]


@pytest.mark.parametrize("off_m", [SETTINGS.settle_band_m - 1.0, SETTINGS.settle_band_m + 1.0])
def test_a_trace_beside_the_line_carries_no_end_on(off_m):
    carried_on = off_m < SETTINGS.settle_band_m
    assert len(extended(ROAD, *both([ridden(-8, 99, off_m=off_m)]), SETTINGS, MOST)) == (108 if carried_on else 100)


def test_only_what_counts_in_one_piece_carries_an_end_on():
    """Of twelve stations beyond the head the first four may not count, or lie before a break: eight are left."""
    assert ends_m(extended(ROAD, *both([ridden(-12, 99, counts_from=4)]), SETTINGS, MOST))[0] == -40.0
    assert ends_m(extended(ROAD, *both([ridden(-12, 99, breaks_after=3)]), SETTINGS, MOST))[0] == -40.0


def test_a_trace_much_longer_than_the_line_carries_no_end_on():
    """Two steps a station: noise. The same trace with one a station does."""
    assert ends_m(extended(ROAD, *both([ridden(-8, 107)]), SETTINGS, MOST)) == [-40.0, 535.0]
    assert ends_m(extended(ROAD, *both([zigzag(2)]), SETTINGS, MOST)) == [0.0, 495.0]


def test_ends_that_nobody_follows_go():
    assert ends_m(trimmed(ROAD, *both([ridden(5, 90), ridden(5, 90)]), STEP_M)) == [25.0, 450.0]
    assert len(trimmed(ROAD, *both([ridden(0, 99)]), STEP_M)) == 100


@pytest.mark.parametrize(("alone", "goes"), [(5, True), (6, False)])
def test_an_end_that_one_trace_alone_follows_goes_if_it_is_under_30_m(alone, goes):
    two = both([ridden(20 - alone, 70 + alone), ridden(20, 70)])
    assert ends_m(trimmed(ROAD, *two, STEP_M)) == ([100.0, 350.0] if goes else [70.0, 380.0])


def test_a_lone_trace_is_followed_to_its_ends():
    assert ends_m(trimmed(ROAD, *both([ridden(3, 96)]), STEP_M)) == [15.0, 480.0]


@pytest.mark.parametrize(("long", "goes"), [(5, True), (6, False)])
def test_scraps_at_the_ends_go(long, goes):
    """Followed for a few stations, for ten by nobody, and then on."""
    low, main, high = ridden(0, long - 1), ridden(long + 10, 89 - long), ridden(100 - long, 99)
    kept = trimmed(ROAD, *both([low, main, high]), STEP_M)
    assert ends_m(kept) == ([STEP_M * (long + 10), STEP_M * (89 - long)] if goes else [0.0, 495.0])


def test_a_trace_that_is_noise_holds_no_end():
    assert ends_m(trimmed(ROAD, *both([zigzag(2), ridden(10, 80), ridden(10, 80)]), STEP_M)) == [50.0, 400.0]
    assert ends_m(trimmed(ROAD, *both([zigzag(2)]), STEP_M)) == [0.0, 495.0]


def test_a_line_of_which_hardly_anything_would_be_left_stays():
    assert usual_reach([ridden(50, 50)[1]], STEP_M) == slice(None)
    assert usual_reach([ridden(50, 51)[1]], STEP_M) == slice(50, 52)
    assert len(trimmed(ROAD, *both([ridden(50, 50)]), STEP_M)) == 100


def weights_of(*stretches):
    return np.concatenate([np.full(count, float(weight)) for count, weight in stretches])


@pytest.mark.parametrize(("weight", "goes"), [(1.4, True), (1.6, False)])
def test_a_spur_beside_what_is_still_to_come_goes(weight, goes):
    """Ten stations 4 m beside the next ten of the road: the first three only lead there. 1.5 is 0.3 of the road's 5."""
    line = np.vstack([ROAD[:51], ROAD[51:61] + ASIDE, ROAD[51:]])
    left = without_spurs(line, weights_of((51, 5), (10, weight), (49, 5)), STEP_M)
    expected = np.vstack([ROAD[:51], ROAD[51:54] + ASIDE, ROAD[51:]]) if goes else line
    assert left.tolist() == expected.tolist()
    turned = without_spurs(line[::-1], weights_of((49, 5), (10, weight), (51, 5)), STEP_M)
    assert turned[::-1].tolist() == expected.tolist()


def test_a_spur_back_along_what_has_gone_by_goes():
    """Ten stations back beside the last ten of the road, which then goes on: the whole of it lies behind."""
    line = np.vstack([ROAD[:51], ROAD[50:40:-1] + ASIDE, ROAD[51:]])
    weight = weights_of((51, 5), (10, 1), (49, 5))
    assert without_spurs(line, weight, STEP_M).tolist() == ROAD.tolist()
    assert without_spurs(line[::-1], weight[::-1], STEP_M).tolist() == ROAD[::-1].tolist()


@pytest.mark.parametrize(("from_station", "kept"), [(3, 0), (1, 2), (0, 3)])
def test_a_scrap_at_an_end_goes_from_there_to_its_end(from_station, kept):
    """Eight stations beside the road before it begins; those at most two stations along it may lead to its beginning."""
    scrap = ROAD[from_station : from_station + 8] + ASIDE
    line = np.vstack([scrap, ROAD])
    # what lies before the last station that runs beside goes with it
    assert len(without_spurs(line, weights_of((8, 1), (100, 5)), STEP_M)) == 100
    turned = np.vstack([scrap[::-1], ROAD])
    left = without_spurs(turned, weights_of((8, 1), (100, 5)), STEP_M)
    assert len(left) == 100 + kept
    end = without_spurs(turned[::-1], weights_of((100, 5), (8, 1)), STEP_M)
    assert len(end) == 100 + kept


@pytest.mark.parametrize(("aside_m", "goes"), [(29.0, True), (31.0, False)])
def test_a_lonely_stretch_30_m_from_the_road_is_another_road(aside_m, goes):
    line = np.vstack([ROAD[:51], ROAD[51:61] + np.array([0.0, aside_m]), ROAD[51:]])
    assert (len(without_spurs(line, weights_of((51, 5), (10, 1), (49, 5)), STEP_M)) < len(line)) is goes


@pytest.mark.parametrize(("at", "goes"), [(80, True), (95, False)])
def test_what_is_lonely_is_so_beside_the_best_supported_within_200_m(at, goes):
    """The road weighs 5 up to station 50 and 1.6 beyond; a spur of 1 is lonely within 40 stations of the former alone."""
    line = np.vstack([ROAD[:at], ROAD[at - 1 : at - 7 : -1] + ASIDE, ROAD[at:]])
    left = without_spurs(line, weights_of((51, 5), (at - 51, 1.6), (6, 1), (100 - at, 1.6)), STEP_M)
    assert left.tolist() == (ROAD if goes else line).tolist()


def test_each_of_two_spurs_goes():
    """One back along what has gone by at station 31, another at station 71."""
    line = np.vstack([ROAD[:31], ROAD[30:22:-1] + ASIDE, ROAD[31:71], ROAD[70:62:-1] + ASIDE, ROAD[71:]])
    weight = weights_of((31, 5), (8, 1), (40, 5), (8, 1), (29, 5))
    assert without_spurs(line, weight, STEP_M).tolist() == ROAD.tolist()


def test_two_that_lead_on_together_stand_before_one_that_leads_further_elsewhere():
    """Ten stations straight on, twice, and twenty to the left: only half of the ten lie within 30 m of those."""
    left = np.vstack([np.column_stack([np.zeros(20), STEP_M * np.arange(20.0, 0.0, -1.0)]), ROAD])
    s = strand(left, [(0, 120)], "r", np.ones(120, dtype=bool), SETTINGS, device="a")
    turning = s, Abreast(ROAD.copy(), 20.0 + np.arange(100.0), np.ones(100, dtype=bool))
    line = extended(ROAD, *both([turning, ridden(-10, 99), ridden(-10, 99)]), SETTINGS, MOST)
    assert line[0].tolist() == [-50.0, 0.0]
    assert extended(ROAD, *both([turning]), SETTINGS, MOST)[0].tolist() == [0.0, 100.0]


@pytest.mark.parametrize("gap", [None, 40, 41])
def test_a_head_that_doubles_the_road_is_what_lies_before_the_first_stations_that_nobody_follows(gap):
    """Eight stations drawn back along the road by one of ten traces; further on the road may have a gap of its own."""
    head = np.column_stack([np.arange(40.0, 0.0, -5.0), np.ones(8)])
    line = np.vstack([head, [[0.0, 1.0], [0.0, 0.5]], np.column_stack([np.arange(0.0, 400.0, 5.0), np.zeros(80)])])
    weight = np.concatenate([np.ones(8), np.zeros(2), np.full(80, 10.0)])
    if gap is not None:
        weight[gap : gap + 2] = 0.0
    assert ends._doubling_head(line, weight, 40) == 10
    assert ends._doubling_head(line, np.where(weight == 1.0, 9.0, weight), 40) == 0, "what many draw is road"

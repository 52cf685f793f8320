"""Zones that are kept from earlier publications, against roads that came later; and the guesses they must fool, by hand."""

from __future__ import annotations

import dataclasses
from functools import cache
from typing import TYPE_CHECKING

import numpy as np
import pytest
from trace_maker import HARBOUR, smooth_noise, trace_on

from gpsq.pipeline import publish
from gpsq.pipeline.stages import analyse_traces
from gpsq.privacy import Zone, publication, secret, zones
from gpsq.privacy.ends import line_deg, zones_for
from gpsq.privacy.zones import Hidden, drawn, missed_by_m
from gpsq.settings import Settings

if TYPE_CHECKING:
    from pathlib import Path

    from gpsq.model import FloatArray, Trace
    from gpsq.results import Analysis

HOME = np.zeros(2)
SETTINGS = Settings().with_values(step_m=10.0, resamples=100)


def walked(corners: list[tuple[float, float]], step_m: float = 20.0) -> FloatArray:
    """Return places along a road through corners."""
    parts = []
    for start, stop in zip(np.array(corners, float)[:-1], np.array(corners, float)[1:], strict=True):
        count = max(2, int(np.hypot(*(stop - start)) / step_m))
        parts.append(start + (stop - start) * np.linspace(0.0, 1.0, count, endpoint=False)[:, None])
    return np.vstack([*parts, np.array(corners[-1:], float)])


def rides(road: FloatArray, first_day: int) -> list[Trace]:
    """Return three rides along a road from home."""
    rng = np.random.default_rng(first_day)
    return [
        trace_on(
            road + np.column_stack([smooth_noise(rng, len(road), 2.0) for _ in "xy"]), day=first_day + k, interval_s=4.0
        )
        for k in range(3)
    ]


HOUSE_END = [(0, 0), (0, 300), (500, 300), (500, 900), (-100, 900), (-100, 1600), (900, 1600)]
WORK = np.array([2500, 6500])
WINDING = walked([*HOUSE_END, *(tuple(WORK - corner) for corner in HOUSE_END[::-1])])
#: Straight from home for 1.3 km, beyond any zone that the winding road got by its luck, then well away from that line.
CORNERED = walked(
    [
        (0, 0),
        (-1300, 0),
        (-1300, -1600),
        (-2600, -1600),
        (-2600, -4000),
        *(tuple(np.array([-3000, -7000]) - corner) for corner in HOUSE_END[::-1]),
    ]
)

ROADS = {
    "winding": WINDING,
    "straight west": walked([(0, 0), (-6000, -2000)]),
    "straight south": walked([(0, 0), (3000, -5500)]),
    "cornered": CORNERED,
}


@cache
def analysed(*names: str) -> Analysis:
    """Return the analysis of three rides on each road."""
    return analyse_traces([t for k, name in enumerate(names) for t in rides(ROADS[name], 10 * k)], SETTINGS)


def carried_on_miss_m(analysis: Analysis) -> float:
    """Return how near any shown line, carried on straight by its last 15 to 400 m, comes to home."""
    nearest = np.inf
    for found in analysis.routes:
        if len(where := line_deg(found)) < 2:
            continue
        line = HARBOUR.to_metres(*where.T)
        line = line if np.hypot(*line[0]) < np.hypot(*line[-1]) else line[::-1]
        along = np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(line, axis=0).T))])
        for tail_m in (15.0, 60.0, 150.0, 400.0):
            back = line[0] - line[min(int(np.searchsorted(along, tail_m)), len(line) - 1)]
            way = back / np.hypot(*back)
            ahead = max(0.0, float(-line[0] @ way))
            nearest = min(nearest, float(np.hypot(*(line[0] + ahead * way))))
    return nearest


def published_first(seed: int) -> tuple[Zone, ...]:
    """Return the zones of a campaign that knows the winding road only."""
    kept, said = zones_for(analysed("winding"), (), (), np.random.default_rng(seed))
    assert not said
    return kept


def test_straight_roads_that_come_later_are_not_passed_over_in_silence() -> None:
    """Home lies on the continuation of either: no cut hides that, and the person is told, at every publication."""
    kept = published_first(1)
    grown = analysed("winding", "straight west", "straight south")
    found, said = zones_for(grown, (), kept, np.random.default_rng(2))
    assert found[: len(kept)] == kept
    assert carried_on_miss_m(publication(grown, found).analysis) < 100.0
    assert [line for line in said if line.count("beginning of route") == 3 and "whoever carries the shown line" in line]
    again, said_again = zones_for(grown, (), found, np.random.default_rng(3))
    assert (again, said_again) == (found, said)


@pytest.mark.parametrize("seed", range(3))
def test_a_later_road_that_can_be_hidden_gets_a_further_cut(seed: int) -> None:
    kept = published_first(seed)
    grown = analysed("winding", "cornered")
    assert carried_on_miss_m(publication(grown, kept).analysis) < 100.0
    found, said = zones_for(grown, (), kept, np.random.default_rng(seed))
    assert found[: len(kept)] == kept
    assert len(found) > len(kept)
    assert not [line for line in said if "beginning" in line]
    assert carried_on_miss_m(publication(grown, found).analysis) > 100.0
    assert zones_for(grown, (), found, np.random.default_rng(9))[0] == found


def test_zones_of_later_roads_are_kept_beside_the_first(tmp_path: Path) -> None:
    """Were they drawn anew at each publication, who has several would find the place where they overlap."""
    publish._without_private(analysed("winding"), tmp_path, np.random.default_rng(0))
    first = secret.load(tmp_path)
    publish._without_private(analysed("winding", "cornered"), tmp_path, np.random.default_rng(0))
    both = secret.load(tmp_path)
    assert both[: len(first)] == first
    assert len(both) > len(first)
    publish._without_private(analysed("winding", "cornered"), tmp_path, np.random.default_rng(5))
    assert secret.load(tmp_path) == both


# ---- guesses, by hand ----


def metres(*lines: FloatArray) -> tuple[FloatArray, ...]:
    return tuple(np.column_stack(HARBOUR.to_degrees(line)) for line in lines)


def zone_at(x_m: float, y_m: float, radius_m: float) -> Zone:
    lon, lat = HARBOUR.to_degrees(np.array([[x_m, y_m]]))
    return Zone(float(lat[0]), float(lon[0]), radius_m)


def at_home(*lines: FloatArray, radius_m: float = 0.0) -> Hidden:
    return Hidden(np.column_stack(HARBOUR.to_degrees(HOME[None, :])), metres(*lines), radius_m)


def test_a_line_that_points_at_the_place_only_after_its_first_metres_is_tried() -> None:
    """Its first 25 m lead aside; from 30 m on it points straight at the place, 900 m before it."""
    line = walked([(0, 0), (0, -600), (930, -600), (930, -25), (930, 0), (5000, 0)], 5.0)
    aside = zone_at(300.0, -400.0, 703.0)
    out = zones._out(np.array([[300.0, -400.0, 703.0]]), line)
    first = line[zones.longest(out)[0]]
    assert abs(first[0] - 930.0) < 10.0
    assert -30.0 < first[1] <= -10.0
    assert missed_by_m([aside], at_home(line)) < 25.0


def test_the_middle_of_two_ends_is_tried() -> None:
    """Two lines break off 500 m left and right of the place and lead away at right angles: the place lies in between."""
    left = walked([(0, 0), (-300, -300), (-500, -60), (-500, 4000)], 5.0)
    right = walked([(0, 0), (300, -300), (500, -60), (500, 4000)], 5.0)
    zone = zone_at(0.0, -330.0, 570.0)
    assert missed_by_m([zone], at_home(left, right)) == 0.0
    assert missed_by_m([zone], at_home(left)) > 300.0


def test_the_centre_of_a_circle_at_whose_rim_a_line_breaks_off_is_tried() -> None:
    line = walked([(0, 0), (0, 500), (400, 500), (400, 900), (1500, 900), (1500, 5000)], 5.0)
    assert missed_by_m([zone_at(20.0, 20.0, 900.0)], at_home(line)) == 0.0
    far = dataclasses.replace(zone_at(20.0, 20.0, 100.0))
    larger = zone_at(350.0, 200.0, 1100.0)
    assert missed_by_m([far, larger], at_home(line)) == missed_by_m([larger], at_home(line))


def test_a_line_that_kept_zones_swallow_says_nothing() -> None:
    line = walked([(0, 0), (0, 800)], 5.0)
    assert missed_by_m([zone_at(300.0, 300.0, 2000.0)], at_home(line)) > 300.0


def test_a_further_zone_is_drawn_with_those_that_are_kept_in_mind() -> None:
    kept = zone_at(350.0, 100.0, 700.0)
    further, miss_m = drawn(at_home(CORNERED), np.random.default_rng(4), [kept])
    assert miss_m >= zones.MISS_M
    assert missed_by_m([kept, further], at_home(CORNERED)) == pytest.approx(miss_m, abs=1.0)

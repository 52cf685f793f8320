"""Where a consensus begins: traces of which it can be said by hand which the others follow best."""

from __future__ import annotations

import numpy as np
import pytest

from gpsq.centreline.medoid import _followed, _spaced, extent_m, medoid
from gpsq.centreline.strands import strand
from gpsq.settings import Settings

SETTINGS = Settings(step_m=5.0)


def along(x_m, y_m=0.0):
    x = np.asarray(x_m, float)
    return np.column_stack([x, np.broadcast_to(np.asarray(y_m, float), len(x))])


def best_of(*ways):
    strands = [
        strand(w, [(0, len(w))], f"r{k}", np.ones(len(w), bool), SETTINGS, device="a") for k, w in enumerate(ways)
    ]
    return medoid(strands, list(range(len(ways))), SETTINGS)


ROAD = np.arange(0.0, 601.0, 5.0)


@pytest.mark.parametrize("middle", [0, 1, 2])
def test_of_three_side_by_side_the_middle_one(middle):
    """10 m apart: the others lie 10 m from the middle one, and 10 and 20 m from either of the outer ones."""
    ways = [along(ROAD, -10.0), along(ROAD, 10.0)]
    ways.insert(middle, along(ROAD))
    assert best_of(*ways) == middle


def test_not_one_that_starts_late_or_stops_early():
    """Half of the others' way lies beyond it, though what it has is in the middle of them."""
    assert best_of(along(ROAD[:60]), along(ROAD, 2.0), along(ROAD, -3.0)) != 0
    assert best_of(along(ROAD[60:]), along(ROAD, 2.0), along(ROAD, -3.0)) != 0


def test_not_one_that_makes_a_detour():
    there = along(ROAD)
    detour = np.vstack([there[:50], along(np.full(39, 250.0), 5.0 * np.arange(1.0, 40.0)),
                        along(np.arange(255.0, 350.0, 5.0), 200.0), along(np.full(39, 350.0), 200.0 - 5.0 * np.arange(1.0, 40.0)),
                        there[70:]])  # fmt: skip
    assert best_of(detour, along(ROAD, 4.0), along(ROAD, -4.0)) != 0


def test_not_one_that_is_rough_though_it_passes_near_everything():
    """It runs between the two others, 12 m from either, in a zigzag 1.4 times as long as they."""
    zigzag = along(ROAD, np.where(np.arange(len(ROAD)) % 2 == 0, 2.5, -2.5))
    assert best_of(zigzag, along(ROAD, 12.0), along(ROAD, -14.0)) != 0


def test_of_those_that_the_others_follow_alike_the_longest():
    """All of the short one lies on either of the long ones; a fifth of a long one lies beyond the short one."""
    assert best_of(along(ROAD[:100]), along(ROAD)) == 1
    assert best_of(along(ROAD), along(ROAD[:100])) == 0


def test_the_only_one_is_it():
    assert best_of(along(ROAD)) == 0


def test_a_trace_10_m_beside_a_line_follows_it_by_a_thirty_sixth_less():
    """Worth 1 − (d / 60)² wherever it is within 60 m; it is as long as the line on that stretch."""
    assert SETTINGS.align_cap_m == 60.0
    gain, longer = _followed(along(ROAD, 10.0), along(ROAD), 5.0, 5.0, SETTINGS)
    assert gain == pytest.approx(1.0 - 1.0 / 36.0)
    assert longer == pytest.approx(0.0, abs=1e-12)


def test_what_lies_beyond_the_cap_is_worth_nothing():
    """The last 60 of 121 places lie 100 m off: 61 of 121 are worth 1. Where nothing is matched, no length is known."""
    away = along(ROAD, np.where(np.arange(121) < 61, 0.0, 100.0))
    gain, longer = _followed(away, along(ROAD), 5.0, 5.0, SETTINGS)
    assert gain == pytest.approx(61 / 121)
    assert longer == pytest.approx(0.0, abs=1e-12)
    assert _followed(along(ROAD, 100.0), along(ROAD), 5.0, 5.0, SETTINGS) == (0.0, 0.0)


def test_a_line_that_winds_is_longer_than_a_trace_that_does_not():
    """Each 5 m step of the line takes 3 m of the trace: longer by ln(5 / 3)."""
    zigzag = along(3.0 * np.arange(101.0), np.where(np.arange(101) % 2 == 0, 2.0, -2.0))
    assert _followed(along(np.arange(0.0, 301.0, 3.0)), zigzag, 5.0, 5.0, SETTINGS)[1] == pytest.approx(
        np.log(5 / 3), rel=0.01
    )


def test_of_many_some_are_looked_at_evenly_spread():
    assert _spaced([3, 1, 2], 3) == [3, 1, 2]
    assert _spaced(list(range(100)), 5) == [0, 24, 49, 74, 99]


def test_the_extent_is_the_diagonal_of_the_box():
    s = strand(np.array([[0.0, 1.0], [30.0, 41.0]]), [(0, 2)], "r", np.ones(2, bool), SETTINGS, device="a")
    assert extent_m(s) == pytest.approx(50.0)

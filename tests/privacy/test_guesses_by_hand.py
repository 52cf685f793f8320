"""Which guesses at a hidden place are tried: the directions and bends of the first metres that are shown, each by hand."""

from __future__ import annotations

import itertools
import math

import numpy as np
import pytest

from gpsq.privacy import zones

#: Over so many metres the visible line is carried on straight, and along its bend; and from so much later.
STRAIGHT_M = (15, 30, 50, 75, 100, 150, 200, 250, 300, 400)
BENT_M = (100, 150, 200, 300, 400)
LATER_M = (0, 10, 30)


def by_the_metre(corners):
    """Return a line with a place each metre or less, corners and all."""
    pieces = [np.linspace(a, b, int(np.ceil(math.dist(a, b))) + 1)[:-1] for a, b in itertools.pairwise(corners)]
    return np.vstack([*pieces, corners[-1:]])


@pytest.mark.parametrize("length_m", STRAIGHT_M)
def test_a_line_that_points_at_the_place_over_so_many_metres_gives_it_away(length_m):
    """It swings to the left and is back on the axis after just so many metres; the place lies 500 m behind, on the axis."""
    c = math.cos(0.7) * length_m
    line = by_the_metre(np.array([[0.0, 0.0], [c / 2, math.sin(0.7) * length_m / 2], [1.5 * c, -math.sin(0.7) * length_m / 2],
                                  [1.5 * c, -900.0]]))  # fmt: skip
    assert zones._from_segments_m(*zones._tails(line), np.array([[-500.0, 0.0]])) < 0.01
    assert zones._from_segments_m(*zones._tails(line), np.array([[-2499.9, 0.0]])) < 0.01
    assert zones._from_segments_m(*zones._tails(line), np.array([[-2600.0, 0.0]])) > 90.0


def test_a_line_is_carried_on_along_its_bends():
    """By the definition: from the directions over both halves of a length, so much turn a metre, in steps of 50 m."""
    line = by_the_metre(
        np.array([[0.0, 0.0], [40.0, 30.0], [120.0, 20.0], [200.0, 130.0], [420.0, 60.0], [500.0, 300.0]])
    )
    along = np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(line, axis=0).T))])
    starts, stops = (ends[len(STRAIGHT_M) :].reshape(len(BENT_M), -1, 2) for ends in zones._tails(line))
    assert starts.shape[1] == 30  # 1,500 m
    for length_m, begun, ended in zip(BENT_M, starts, stops, strict=True):
        half, whole = ([float(np.interp(m, along, line[:, k])) for k in (0, 1)] for m in (length_m / 2, length_m))
        near, far = math.atan2(-half[1], -half[0]), math.atan2(half[1] - whole[1], half[0] - whole[0])
        turn = ((near - far + math.pi) % (2 * math.pi) - math.pi) / (length_m / 2)
        x = y = 0.0
        for k in range(30):
            assert begun[k] == pytest.approx((x, y))
            heading = near + turn * (length_m / 4 + 50.0 * k)
            x, y = x + 50.0 * math.cos(heading), y + 50.0 * math.sin(heading)
            assert ended[k] == pytest.approx((x, y))


def test_the_line_may_begin_some_metres_later(monkeypatch):
    begun = []
    monkeypatch.setattr(
        zones, "_tails", lambda line: begun.append(line[0].tolist()) or (np.zeros((1, 2)), np.ones((1, 2)))
    )
    line = np.column_stack([np.arange(2000.0), np.zeros(2000)])
    place = np.array([[0.0, 350.0]])
    pointing_m = zones._pointing([line], place)
    for _ in range(2):  # what is cut off at one position is carried on once
        assert zones._missed_by_m(np.array([[0.0, 0.0, 500.0]]), place, [line], pointing_m) == math.hypot(1, 349)
    assert begun == [[531.0 + later_m, 0.0] for later_m in LATER_M]  # 30 m of margin about the zone


def test_the_middle_of_a_gap_is_a_guess_on_a_line_that_is_shown_on_both_sides():
    """A circle of 584 m about a point 300 m beside the road cuts a gap with its middle at 2,000 m: whoever looks there finds it."""
    line = np.column_stack([np.arange(0.0, 4001.0, 2.0), np.zeros(2001)])
    circle = np.array([[2000.0, 300.0, 584.0]])
    at_the_middle, beside = ([[2000.0, 0.0]], [[2000.0, -250.0]])
    found = [zones._missed_by_m(circle, np.array(place), [line], lambda *_: 999.0) for place in (at_the_middle, beside)]
    assert found == pytest.approx([0.0, 250.0], abs=3.0)


def test_each_part_of_each_line_is_carried_on_by_itself():
    """East along the axis, and north: each points back at its own beginning, whatever was asked before."""
    far = np.arange(0.0, 900.0, 5.0)
    lines = [np.column_stack([far, 0 * far]), np.column_stack([0 * far, far])]
    pointing_m = zones._pointing(lines, np.array([[-40.0, 7.0]]))
    assert pointing_m(0, 20, 179) == pytest.approx(7.0)
    assert pointing_m(1, 20, 179) == pytest.approx(40.0)
    assert pointing_m(0, 20, 179) == pytest.approx(7.0)
    for first, last, away_m in ((0, 179, 7.0), (20, 20, math.hypot(140.0, 7.0))):  # a single place points nowhere
        assert pointing_m(0, first, last) == pytest.approx(away_m, abs=0.01)


@pytest.mark.parametrize(
    ("stop", "place", "away_m"),
    [
        ((0.5, 0.0), (0.5, 3.0), 3.0),
        ((0.5, 0.0), (4.5, 3.0), 5.0),
        ((0.0, 0.0), (3.0, 4.0), 5.0),
        ((9.0, 0.0), (-3.0, 4.0), 5.0),
    ],
)
def test_how_near_a_short_piece_comes_to_a_place(stop, place, away_m):
    assert zones._from_segments_m(np.zeros((1, 2)), np.array([stop]), np.array([place])) == pytest.approx(away_m)

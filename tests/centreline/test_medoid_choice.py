"""Which trace a consensus begins with, where what each is worth to the others is given: what is asked, and what is made of it."""

from __future__ import annotations

import numpy as np
import pytest

from gpsq.centreline import medoid as module
from gpsq.centreline.strands import strand
from gpsq.settings import Settings

SETTINGS = Settings(step_m=5.0, pair_step_m=20.0)


def strand_of(xy_m):
    return strand(xy_m, [(0, len(xy_m))], "r", np.ones(len(xy_m), bool), SETTINGS, device="a")


def straight(number, length_m):
    """Return a trace along the x axis, its number the y of all its places."""
    x = np.arange(0.0, length_m + 1.0, 5.0)
    return strand_of(np.column_stack([x, np.full(len(x), float(number))]))


@pytest.fixture
def asked(monkeypatch):
    """Return what is asked of `_followed`, as (trace, line, places, steps), and answer by `asked.worth`."""

    class Asked(list):
        worth = staticmethod(lambda _trace, _line: (1.0, 0.0))

    found = Asked()

    def followed(xy_m, line_m, step_m, stations_m, _settings):
        trace, line = int(xy_m[0, 1]), int(line_m[0, 1])
        found.append((trace, line, len(line_m), step_m, stations_m))
        return found.worth(trace, line)

    monkeypatch.setattr(module, "_followed", followed)
    return found


def chosen(strands, usable=None):
    return module.medoid(strands, list(range(len(strands))) if usable is None else usable, SETTINGS)


@pytest.mark.parametrize(
    ("length_m", "step_m", "places", "stations_m"),
    [(600, 15.0, 41, 15.0), (680, 17.0, 46, 15.0), (720, 18.0, 37, 20.0), (100, 5.0, 21, 5.0), (2000, 20.0, 101, 20.0)],
)
def test_traces_are_compared_at_a_fortieth_of_the_first_ones_extent(asked, length_m, step_m, places, stations_m):
    """Between the step of the line and that of pairs; of the places at 5 m every so many are taken as come nearest to it."""
    chosen([straight(0, 50), straight(1, length_m), straight(2, length_m)], [1, 2])
    assert asked == [(2, 1, places, step_m, stations_m), (1, 2, places, step_m, stations_m)]
    asked.clear()
    chosen([straight(0, length_m), straight(1, 50)])
    assert asked[0][2:] == (places, step_m, stations_m)


def test_of_sixty_traces_twelve_are_tried_each_by_twenty_three(asked):
    chosen([straight(k, 100) for k in range(60)])
    lines, traces = {line for _, line, *_ in asked}, {trace for trace, *_ in asked}
    assert (len(lines), len(traces), len(asked)) == (12, 24, 12 * 23)
    assert {0, 59} <= lines
    assert all(trace != line for trace, line, *_ in asked)


def test_the_score_is_the_mean_followed_less_the_median_of_how_much_longer(asked):
    """0.9 less 0.3, 0.7 less nothing (longer, as long, shorter), 0.8 less 0.2, and 0.5: the second, by 0.1."""
    worth = {
        0: [(0.9, -0.3)] * 4,
        1: [(0.4, 9.0), (1.0, 0.0), (1.0, 0.0), (0.4, -9.0)],
        2: [(0.8, 0.2)] * 4,
        3: [(0.5, 0.0)] * 4,
    }
    asked.worth = lambda trace, line: worth[line][trace]
    worth[1][0], worth[1][2], worth[1][3] = (0.1, 9.0), (1.0, 0.0), (1.0, -9.0)
    strands = [straight(k, 100) for k in range(4)]
    assert chosen(strands) == 1
    assert chosen(strands, [0, 2, 3]) in (0, 2)
    worth[2] = [(0.8, 0.15)] * 4
    assert chosen(strands, [0, 2, 3]) == 2
    assert chosen(strands, [3, 2, 0]) == 2


def test_of_those_worth_the_same_the_longest_else_the_first(asked):
    """Even where all that one is longer by is its last step: the other turns back half way between two places."""
    asked.worth = lambda _trace, _line: (-0.5, 0.0)
    x = np.concatenate([np.arange(0.0, 586.0, 5.0), [590.0, 590.0, 590.0]])
    turns = np.column_stack([x, np.r_[np.ones(len(x) - 3), 1.0, 6.0, 11.0]])
    strands = [straight(0, 600), strand_of(turns)]
    assert chosen(strands) == 0
    assert chosen(strands[::-1]) == 1
    assert chosen([straight(0, 600), straight(1, 600)]) == 0

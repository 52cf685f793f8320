"""One round of a running line in closed form: how far it moves, where its paths lie afterwards, and what it is left with."""

from __future__ import annotations

import numpy as np
import pytest

from gpsq.centreline import consensus_line
from gpsq.centreline.consensus_line import (
    _middle,
    _moved_m,
    _places,
    _with_length,
    line_of_parts,
    step_for,
    step_of_start,
)
from gpsq.centreline.numbering import along_new, carried_over, numbered_anew, shifted
from gpsq.centreline.strands import strand
from gpsq.centreline.weights import Counted
from gpsq.geometry import polyline
from gpsq.settings import Settings

LINE = np.column_stack([5.0 * np.arange(61.0), np.zeros(61)])
#: Of a line smoothed by a Gaussian of half a station: what a station keeps, and what its neighbour gets of it.
KEEPS = 1.0 / (1.0 + 2.0 * np.exp(-2.0) + 2.0 * np.exp(-8.0))
GIVES = KEEPS * np.exp(-2.0)


def one_trace(y_m, weight, variance_m2):
    places = np.column_stack([LINE[:, 0], y_m])[:, None, :]
    return Counted(places, np.asarray(weight, float)[:, None], np.array([variance_m2]))


def moved(y_m, weight, variance_m2=1.0):
    passed = np.zeros((61, 1), dtype=bool)
    return _middle(LINE, one_trace(y_m, weight, variance_m2), passed)[:, 1]


def aside(metres, station=30):
    return np.where(np.arange(61) == station, metres, 0.0)


def test_a_station_moves_to_its_place_and_is_smoothed():
    """A scatter of 1 m is under half a step: moves are not averaged."""
    found = moved(aside(12.0), np.ones(61))
    assert found[30] == pytest.approx(12.0 * KEEPS)
    assert found[[29, 31]] == pytest.approx(12.0 * GIVES)


def test_moves_are_averaged_over_twice_the_scatter():
    """A scatter of 5 m is a step either way: the move of one station of three is a third of it at each."""
    found = moved(aside(12.0), np.ones(61), 25.0)
    assert found[30] == pytest.approx(4.0 * (KEEPS + 2.0 * GIVES))
    assert found[29] == pytest.approx(4.0 * (KEEPS + GIVES + KEEPS * np.exp(-8.0)))
    assert found[27] == pytest.approx(4.0 * KEEPS * np.exp(-8.0), abs=1e-9)


def test_corners_stay_where_nothing_moves():
    bent = np.vstack([LINE, np.column_stack([np.full(40, 300.0), 5.0 * np.arange(1.0, 41.0)])])
    places = bent[:, None, :]
    found = _middle(bent, Counted(places, np.ones((101, 1)), np.array([100.0])), np.zeros((101, 1), dtype=bool))
    assert np.hypot(*(found - bent).T).max() < 1.0
    assert np.hypot(*(found - bent).T)[60] == pytest.approx(5.0 * np.sqrt(2.0) * GIVES, rel=0.02)


def test_a_station_of_little_weight_hardly_moves_by_itself():
    """0.06 of the weight around: it is trusted for a fifth, and moves with its neighbours, who stay, for the rest."""
    weight = np.ones(61)
    weight[30] = 0.06
    kernel = np.exp(-0.5 * (np.arange(-12, 13) / 4.0) ** 2)
    mean = 12.0 * 0.06 / (kernel.sum() - 0.94)
    assert moved(aside(12.0), weight)[30] == pytest.approx((0.2 * 12.0 + 0.8 * mean) * KEEPS)


def test_where_no_trace_runs_the_line_goes_along_with_its_neighbours():
    """Ten stations of no place between others that all move by 8 m: they move by 8 m too."""
    gap = (np.arange(61) >= 25) & (np.arange(61) < 35)
    found = moved(np.where(gap, np.nan, 8.0), np.where(gap, 0.0, 1.0))
    assert found[26:34] == pytest.approx(8.0, abs=1e-6)


@pytest.mark.parametrize(("by_m", "expected"), [((0.0, 0.3), 0.3), ((2.0, 0.0), 0.0), ((0.0, -0.05), 0.05)])
def test_a_line_moves_sideways(by_m, expected):
    """Along itself it does not move, but for its end."""
    assert _moved_m(LINE, LINE + np.array(by_m)) == pytest.approx(expected, abs=1e-9)


def test_a_line_has_moved_where_one_station_in_ten_has():
    """At the 95th percentile: four stations of 61 a metre aside are no move, eight are."""
    few, many = LINE.copy(), LINE.copy()
    few[20:23, 1], many[20:28, 1] = 1.0, 1.0
    assert _moved_m(LINE, few) == pytest.approx(0.0, abs=1e-9)
    assert _moved_m(LINE, many) == pytest.approx(1.0)


def test_a_line_of_other_length_is_looked_for_at_the_same_share_of_the_way():
    assert _moved_m(LINE, LINE[::2] + np.array([0.0, 0.4])) == pytest.approx(0.4)


@pytest.mark.parametrize("stations", [2, 5, 61, 200])
def test_of_a_line_only_legs_that_are_there_are_looked_at(monkeypatch, stations):
    """61 stations have 60 legs, from number 0 to 59: where one that is not there is asked for, what is read is nobody's."""
    asked, right = [], polyline.nearest_on_line

    def nearest_on_line(points, line, low, high):
        asked.append((low, high))
        return right(points, line, low, high)

    monkeypatch.setattr(polyline, "nearest_on_line", nearest_on_line)
    assert _moved_m(LINE, LINE[np.linspace(0, 60, stations).astype(int)]) == pytest.approx(0.0, abs=1e-9)
    ((low, high),) = asked
    assert len(low) == len(high) == stations
    assert (low.min(), high.max()) == (0, 59)
    assert (low <= high).all()


#: Stations at 0, 10, 30 and 40 m, and a station each 5 m of it.
UNEVEN = np.array([[0.0, 0.0], [10.0, 0.0], [30.0, 0.0], [40.0, 0.0]])


def each_5_m(first_m, last_m):
    x = np.arange(first_m, last_m + 1.0, 5.0)
    return np.column_stack([x, np.zeros(len(x))])


def test_stations_are_numbered_anew_by_distance_along_the_line():
    assert numbered_anew(UNEVEN, UNEVEN, each_5_m(0.0, 40.0)).tolist() == [0.0, 2.0, 6.0, 8.0]


def test_along_a_line_that_was_carried_on_they_count_from_its_new_beginning():
    """15 m more before and 10 m after; of the two stations in the middle one is gone: it lies between the others."""
    mended = np.vstack([[[-15.0, 0.0], [-5.0, 0.0]], UNEVEN[[0, 1, 3]], [[50.0, 0.0]]])
    assert numbered_anew(UNEVEN, mended, each_5_m(-15.0, 50.0)).tolist() == [3.0, 5.0, 8.0, 11.0]


@pytest.mark.parametrize("kept", [[2, 3], [3]])
def test_a_line_that_was_led_another_way_is_not_numbered_anew(kept):
    """Also where as many stations are new as are gone, or more: who runs there was beside them all."""
    mended = np.vstack([UNEVEN[:1], [[10.0, 4.0], [15.0, 5.0]], UNEVEN[kept]])
    assert numbered_anew(UNEVEN, mended, each_5_m(0.0, 45.0)) is None
    assert carried_over([np.array([0, 1])], None, 9) is None
    assert along_new(np.ones(4), None, 9) is None


def test_stations_cut_off_are_numbered_as_the_end_that_is_left():
    assert numbered_anew(UNEVEN, UNEVEN[1:3], each_5_m(10.0, 30.0)).tolist() == [0.0, 0.0, 4.0, 4.0]


def test_stations_are_known_again_wherever_they_lie():
    """A line that runs west, and crosses its own way: the order of their coordinates is not that of the stations."""
    line = np.array([[9.0, 1.0], [4.0, 1.0], [-1.0, 1.0], [-1.0, 6.0], [4.0, 6.0], [4.0, -4.0]])
    onward = np.vstack([[[14.0, 1.0]], line])
    assert numbered_anew(line, onward, np.zeros((8, 2))).tolist() == pytest.approx([1, 2, 3, 4, 5, 7])


def test_paths_are_carried_over_to_the_new_numbers():
    found = carried_over([np.array([0, 1, 1, 2]), np.array([2])], np.array([0.0, 1.6, 6.0]), 7)
    assert [path.tolist() for path in found] == [[0, 2, 2, 6], [6]]


def test_places_beyond_an_end_are_counted_on_one_a_station():
    """Three stations more before and two after: of four places at the old first station the last is at it still."""
    path = np.array([0, 0, 0, 0, 1, 2, 2, 2, 2])
    (found,) = carried_over([path], np.array([3.0, 4.0, 5.0]), 8)
    assert found.tolist() == [0, 1, 2, 3, 4, 5, 6, 7, 7]
    (found,) = carried_over([np.zeros(6, dtype=int)], np.array([3.0, 4.0, 5.0]), 8)
    assert found.tolist() == [0, 0, 0, 1, 2, 3]


@pytest.mark.parametrize(
    ("first", "after", "known"), [(40.0, 40, True), (40.5, 40, False), (40.0, 41, False), (0.0, 0, True)]
)
def test_of_a_line_that_was_carried_on_far_nothing_is_known(first, after, known):
    number = np.array([first, first + 1.0, first + 2.0])
    assert (carried_over([np.array([0, 1])], number, int(first + 0.5) + 3 + after) is not None) is known


def test_what_places_are_worth_lies_between_what_those_before_and_after_were():
    assert along_new(np.array([2.0, 4.0, 8.0]), np.array([0.0, 2.0, 6.0]), 7).tolist() == [2, 3, 4, 5, 6, 7, 8]


def test_stations_are_numbered_along_the_part_that_is_kept():
    path = np.array([0, 3, 4, 7, 9])
    assert shifted(path, slice(3, 8), 10).tolist() == [0, 0, 1, 4, 4]
    assert shifted(path, slice(None), 10).tolist() == path.tolist()


@pytest.mark.parametrize(
    ("length_m", "step_m"), [(5_000.0, 5.0), (300.0, 3.0), (50.0, 1.0), (150_000.0, 5.0), (300_000.0, 10.0)]
)
def test_a_step_is_a_hundredth_of_a_short_way_and_a_thirty_thousandth_of_a_long_one(length_m, step_m):
    way = np.array([[0.0, 0.0], [length_m, 0.0]])
    assert step_for([way], Settings(step_m=5.0)) == pytest.approx(step_m)
    assert step_for([way, way, np.array([[0.0, 0.0], [900_000.0, 0.0]])], Settings(step_m=5.0)) == pytest.approx(
        max(step_m, 1.0) if length_m >= 500 else 5.0
    )


def test_the_extent_of_a_short_way_is_that_of_the_box_about_it():
    """300 m by 100 m: a hundredth of √(300² + 100²) = 316 m."""
    way = np.array([[0.0, 40.0], [150.0, 100.0], [300.0, 0.0]])
    assert step_for([way], Settings(step_m=5.0)) == pytest.approx(3.1623, abs=1e-4)


def test_of_two_lengths_the_shorter_sets_the_step():
    """One that leads far away must not coarsen the line: the middle one of an even number is the lower."""
    ways = [np.array([[0.0, 0.0], [length_m, 0.0]]) for length_m in (900_000.0, 5_000.0)]
    assert step_for(ways, Settings(step_m=5.0)) == 5.0
    assert step_for([], Settings(step_m=5.0)) == 1.0


def test_the_trace_that_a_line_starts_from_has_thirty_thousand_stations_at_most():
    assert step_of_start([along(0.0, 300.0)], Settings(step_m=5.0)) == pytest.approx(300.0 / 30_000)
    assert step_of_start([along(0.0, 0.0)], Settings(step_m=5.0)) == step_of_start([], Settings()) == 0.0


def along(first_m, last_m, left_m=0.0, counts=None):
    """Return a strand with a fix each 5 m along the line, so far to its left."""
    x = np.arange(first_m, last_m + 1.0, 5.0)
    fit = np.ones(len(x), dtype=bool) if counts is None else counts(x)
    return strand(np.column_stack([x, np.full(len(x), left_m)]), [(0, len(x))], "R", fit, Settings(step_m=5.0))


def test_the_line_of_parts_is_the_middle_of_those_that_are_there():
    """Two parts 2 m left and right over the same 300 m, and one in the middle over the half of it."""
    found = line_of_parts([along(0.0, 300.0, 2.0), along(0.0, 300.0, -2.0), along(0.0, 150.0)], Settings(step_m=5.0))
    assert found.shape[1] == 2
    assert found[[0, -1], 0] == pytest.approx([0.0, 300.0], abs=1.0)
    assert found[:, 1] == pytest.approx(0.0, abs=1e-6)
    assert line_of_parts([along(0.0, 0.0)], Settings(step_m=5.0)) is None


def test_two_steps_that_count_are_a_length_one_is_none():
    def one_of_two(x):
        return x < 5.0

    assert _with_length([along(0.0, 5.0), along(0.0, 5.0, 0.0, one_of_two), along(0.0, 0.0), along(0.0, 300.0)]) == [
        0,
        3,
    ]


def test_what_does_not_count_has_no_place_on_the_line():
    """From 100 m to 150 m nothing counts: there is no place there, and none of it at any other station."""
    s = along(0.0, 300.0, 1.0, lambda x: (x < 100.0) | (x >= 150.0))
    (place,) = _places([s], [np.arange(61)], LINE, Settings(step_m=5.0))
    assert np.flatnonzero(np.isnan(place.vertex)).tolist() == list(range(20, 30))
    known = ~np.isnan(place.vertex)
    assert place.vertex[known] == pytest.approx(np.flatnonzero(known))
    (late,) = _places([along(0.0, 300.0, 1.0, lambda x: x >= 20.0)], [np.arange(61)], LINE, Settings(step_m=5.0))
    assert np.isnan(late.vertex[:4]).all()
    assert late.vertex[4:] == pytest.approx(np.arange(4.0, 61.0))


LINES = {"same": LINE, "longer": np.vstack([LINE, LINE[-1:] + 5.0]), "shorter": LINE[:-1]}


@pytest.mark.parametrize(
    ("lengths", "last"),
    [
        (("longer", "same", "same"), "rerouted"), (("shorter", "same", "same"), "rerouted"),
        (("same", "shorter", "same"), "without_spurs"), (("same", "longer", "same"), "without_spurs"),
        (("same", "same", "shorter"), "trimmed"), (("same", "same", "same"), "trimmed"),
    ],
)  # fmt: skip
def test_a_round_mends_one_thing_as_places_belong_to_the_line_as_it_was(monkeypatch, lengths, last):
    asked = []
    names = ("rerouted", "without_spurs", "trimmed")
    for name, length in zip(names, lengths, strict=True):

        def mended(line, *given, name=name, length=length):
            asked.append(name)
            assert name != "without_spurs" or len(given[0]) == len(line)  # the weight of all traces at each station
            return LINES[length]

        monkeypatch.setattr(consensus_line.ends, name, mended)
    monkeypatch.setattr(consensus_line.ends, "extended", lambda *_: LINES["longer"])
    weight, passed = np.ones((61, 1)), np.zeros((61, 1), dtype=bool)
    for number, expected in ((2, LINES["longer"]), (3, LINES[lengths[names.index(last)]])):
        found = consensus_line._mended(LINE, [], [], weight, passed, Settings(step_m=5.0), number)
        assert found is expected
    assert asked == list(names[: names.index(last) + 1])


@pytest.mark.parametrize(("moved_m", "rounds"), [(0.05, 6), (0.0999, 6), (0.1, 12), (3.0, 12)])
def test_a_line_has_settled_where_it_moves_less_than_a_decimetre(monkeypatch, moved_m, rounds):
    """Not before two rounds after the last that carries its ends on, and after twelve in any case."""
    lines, right = [], consensus_line._mended
    monkeypatch.setattr(consensus_line, "_moved_m", lambda *_: moved_m)
    monkeypatch.setattr(consensus_line, "_mended", lambda *given: lines.append(0) or right(*given))
    line_of_parts([along(0.0, 300.0, 2.0), along(0.0, 300.0, -2.0)], Settings(step_m=5.0))
    assert len(lines) == rounds


def test_where_a_trace_leaves_a_line_its_excursion_is_filled_in():
    """From 100 m to 200 m it runs 90 m aside, beyond the cap: there it is abreast of the line all the same, not matched."""
    x = np.arange(0.0, 301.0, 5.0)
    y = np.where((x > 100.0) & (x < 200.0), 90.0, 0.0)
    aside_m = strand(np.column_stack([x, y]), [(0, len(x))], "R", np.ones(len(x), dtype=bool), Settings(step_m=5.0))
    found = consensus_line.aligned(aside_m, LINE, Settings(step_m=5.0))
    assert np.isfinite(found.xy_m).all()
    assert not found.matched[25:36].any()
    assert found.xy_m[30] == pytest.approx([150.0, 90.0], abs=6.0)

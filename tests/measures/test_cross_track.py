"""Cross-track error and curve distances of a trace, against closed forms."""

from __future__ import annotations

import numpy as np
import pytest
from trace_maker import road, shifted_left, trace_on

from gpsq.geometry.alignment import Abreast
from gpsq.measures import cross_track
from gpsq.model import Centreline
from gpsq.pipeline.stages import analyse_traces
from gpsq.settings import Settings


def week(offset_m):
    """Return an analysis of a trace at `offset_m` to the left of three others on the road itself."""
    others = [trace_on(road(), device="b", day=day) for day in range(1, 4)]
    return analyse_traces([trace_on(shifted_left(road(), offset_m), device="a"), *others], Settings())


@pytest.mark.parametrize("offset_m", [6.0, -6.0])
def test_a_parallel_trace_is_off_by_its_distance_with_its_sign(offset_m):
    """Closed form: bias ± d (+ to the left of travel), RMS, Hausdorff and Fréchet distance d."""
    result = week(offset_m).results[0]
    assert result.crosstrack.bias_m == pytest.approx(offset_m, abs=0.1)
    assert result.crosstrack.rms_m == pytest.approx(6.0, abs=0.1)
    assert (result.crosstrack.within_5m, result.crosstrack.within_10m) == (0.0, 1.0)
    assert result.curves.hausdorff_m == pytest.approx(6.0, abs=0.5)
    assert result.curves.frechet_m == pytest.approx(6.0, abs=0.5)
    assert result.curves.frechet_discrete_m >= result.curves.frechet_m - 0.02
    assert result.curves.coverage == pytest.approx(1.0, abs=0.02)


def test_a_late_fix_is_not_the_distance():
    found = analyse_traces(
        [
            trace_on(road()[150:], device="a", start_s=150.0),
            *[trace_on(road(), device="b", day=d) for d in range(1, 4)],
        ],
        Settings(),
    )
    curves = found.results[0].curves
    assert curves.frechet_m < 1.0
    assert curves.coverage == pytest.approx(250 / 400, abs=0.02)


def test_standing_still_counts_once():
    rng = np.random.default_rng(3)
    waiting = road()[200] + rng.normal(0, 0.3, (600, 2)) + [0.0, 12.0]
    ridden = np.vstack([road()[:200], waiting, road()[200:]])
    found = analyse_traces(
        [trace_on(ridden, device="a"), *[trace_on(road(), device="b", day=d) for d in range(1, 4)]], Settings()
    )
    assert found.results[0].crosstrack.rms_m < 2.0  # 600 of 1001 fixes are 12 m off, on a few metres of road


def test_gaps_are_no_data():
    ridden = np.vstack([road()[:150], road()[250:]])
    time = np.concatenate([np.arange(150), np.arange(250, 401)])
    trace = trace_on(
        ridden, device="a", time=np.datetime64("2025-06-02T07:00:00", "ms") + time * np.timedelta64(1000, "ms")
    )
    found = analyse_traces([trace, *[trace_on(road(), device="b", day=d) for d in range(1, 4)]], Settings())
    result = found.results[0]
    assert np.isnan(result.crosstrack.offset_m[155:245]).all()
    assert result.crosstrack.scored_m == pytest.approx(1500, abs=30)
    assert result.curves.length_ratio == pytest.approx(1.0, abs=0.02)
    assert [(g.after_point, g.seconds) for g in result.gaps] == [(149, 101.0)]


def test_an_excursion_is_measured_from_the_line_it_passes_by():
    """A block ridden round at 150 m: the far side is 150 m off, wherever the order of travel maps it."""
    line = np.column_stack([np.arange(0.0, 2000.0, 5.0), np.zeros(400)])
    round_the_block = np.vstack(
        [line[:150], [[745.0, y] for y in np.arange(5.0, 150, 5)], [[x, 150.0] for x in np.arange(745.0, 1250, 5)],
         [[1245.0, y] for y in np.arange(145.0, 0, -5)], line[250:]]
    )  # fmt: skip
    found = analyse_traces(
        [trace_on(round_the_block, device="a"), *[trace_on(line, device="b", day=d) for d in range(1, 4)]], Settings()
    )
    d = found.deviations[0]
    assert d.peak_m == pytest.approx(150.0, abs=2)
    assert d.extra_m == pytest.approx(300.0, abs=15)
    assert (d.from_m, d.to_m) == pytest.approx((745.0, 1245.0), abs=25)


def test_nothing_covered_gives_nothing():
    line = Centreline(
        road(100.0), np.arange(21) * 5.0, np.zeros(21, int), np.zeros(21, int), np.full(21, np.nan), np.full(21, np.nan)
    )
    place = Abreast(np.full((21, 2), np.nan), np.full(21, np.nan), np.zeros(21, bool))
    errors = cross_track.measure(cross_track.offsets(place, line), line.along_m, np.ones(21, bool), np.ones(21, bool))
    assert np.isnan([errors.rms_m, errors.bias_m, errors.p95_m, errors.within_5m]).all()
    assert errors.scored_m == 0.0
    curves = cross_track.distances(road(100.0), place, line, np.ones(21, bool), np.array([], dtype=int))
    assert np.isnan([curves.frechet_m, curves.hausdorff_m]).all()
    assert curves.coverage == 0.0


# ---- closed forms ----


def measured(offset_m, scored=None, settled=None):
    offset_m = np.asarray(offset_m, dtype=float)
    every = np.ones(len(offset_m), dtype=bool)
    masks = (every if mask is None else np.array(mask, dtype=bool) for mask in (scored, settled))
    return cross_track.measure(offset_m, 5.0 * np.arange(len(offset_m)), *masks)


def test_every_figure_of_offsets_from_0_to_100():
    """Linear quantiles of 0, 1, …, 100 are 100 times the share; Σk² = 100·101·201/6, so the mean square is 3350."""
    found = measured(-np.arange(101.0))
    assert (found.bias_m, found.median_m, found.p68_m, found.p95_m) == pytest.approx((-50.0, 50.0, 68.27, 95.0))
    assert found.rms_m == pytest.approx(np.sqrt(3350.0))
    assert (found.within_5m, found.within_10m) == pytest.approx((6 / 101, 11 / 101))
    assert found.scored_m == 505.0


def test_shares_within_5_and_10_metres():
    found = measured([4.0, -7.0, 12.0, -30.0])
    assert (found.within_5m, found.within_10m) == (0.25, 0.5)


def test_what_does_not_count_is_in_no_figure_before_settling_or_after():
    """100 m off on another road, once before settling and once after; 3 and 4 m before it have a mean square of 12.5."""
    found = measured(
        [100.0, 3.0, -4.0, 100.0, 6.0, np.nan], scored=[0, 1, 1, 0, 1, 1], settled=[0, 0, 0, 1, 1, 1]
    )  # fmt: skip
    assert found.before_settling_rms_m == pytest.approx(np.sqrt(12.5))
    assert (found.rms_m, found.p95_m, found.scored_m) == (6.0, 6.0, 5.0)
    assert found.scored.tolist() == [False, False, False, False, True, False]


def beside(line_m, place_m, vertex, matched):
    """Return distances of a trace whose fixes are its places, abreast of a line at its vertices."""
    count = len(line_m)
    some, none = np.zeros(count, int), np.full(count, np.nan)
    along_m = np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(line_m, axis=0).T))])
    line = Centreline(line_m, along_m, some, some, none, none)
    place = Abreast(place_m, vertex, matched)
    return cross_track.distances(place_m, place, line, ~np.isnan(vertex), np.array([], dtype=int))


def spiked(height_m):
    """Return a road of 21 stations east, the middle one so far to the north, and the same without."""
    flat = np.column_stack([np.arange(0.0, 420.0, 20.0), np.zeros(21)])
    up = flat.copy()
    up[10, 1] = height_m
    return flat, up


def test_the_two_directed_distances_are_told_apart():
    """A trace that cuts off a spike of the line lies near the line everywhere, but the spike lies far from the trace.

    From the trace: the foot of the spike's base on its sides, 20 · 100 / √(20² + 100²) = 19.61 m from its middle vertex.
    """
    flat, up = spiked(100.0)
    follows = np.arange(21.0)
    cuts = beside(up, flat, follows, np.ones(21, bool))
    assert (cuts.hausdorff_m, cuts.from_line_m) == pytest.approx((100.0, 100.0), abs=0.01)
    assert cuts.from_trace_m == pytest.approx(2000 / np.hypot(20, 100), abs=0.01)
    assert cuts.at_m == pytest.approx(9 * 20 + np.hypot(20, 100))
    strays = beside(flat, up, follows, np.ones(21, bool))
    assert (strays.hausdorff_m, strays.from_trace_m) == pytest.approx((100.0, 100.0), abs=0.01)
    assert strays.from_line_m == pytest.approx(2000 / np.hypot(20, 100), abs=0.01)
    assert (strays.at_m, strays.frechet_m) == pytest.approx((200.0, 100.0), abs=0.01)
    assert strays.length_ratio == pytest.approx((360 + 2 * np.hypot(20, 100)) / 400)
    assert cuts.length_ratio == pytest.approx(400 / (360 + 2 * np.hypot(20, 100)))


def test_the_greatest_distance_is_where_it_is_also_on_a_second_stretch():
    """A fix at 100 m is not abreast, so there are two stretches; the road's spike of 100 m, or the trace's, is at 200 m."""
    flat, up = spiked(100.0)
    follows = np.where(np.arange(21) == 5, np.nan, np.arange(21.0))
    strays = beside(flat, up, follows, ~np.isnan(follows))
    assert (strays.hausdorff_m, strays.at_m) == pytest.approx((100.0, 200.0), abs=0.01)
    cuts = beside(up, flat, follows, ~np.isnan(follows))
    assert (cuts.hausdorff_m, cuts.at_m) == pytest.approx((100.0, 9 * 20 + np.hypot(20, 100)), abs=0.01)


def test_an_excursion_is_not_covered():
    """A quarter of the stations is passed by in order alone: coverage is what the trace follows."""
    flat, _ = spiked(0.0)
    matched = np.arange(21) >= 5
    assert beside(flat, flat, np.arange(21.0), matched).coverage == pytest.approx(16 / 21)


def test_the_discrete_distance_is_between_vertices_alone():
    """Two parallel lines 3 m apart, their vertices 4 m out of step: 5 m between vertices, 3 m between the lines' middles."""
    line = np.column_stack([np.arange(0.0, 88.0, 8.0), np.zeros(11)])
    found = beside(line, line + np.array([4.0, 3.0]), np.arange(11.0), np.ones(11, bool))
    assert found.frechet_discrete_m == pytest.approx(5.0, abs=0.01)
    assert found.hausdorff_m == pytest.approx(5.0, abs=0.01)


# ---- offsets on an excursion, and where the line is not known ----
def corner():
    """Return a road of 41 stations, 5 m apart: 100 m east, then 100 m north."""
    east = np.column_stack([np.arange(0.0, 105.0, 5.0), np.zeros(21)])
    return np.vstack([east, np.column_stack([np.full(20, 100.0), np.arange(5.0, 105.0, 5.0)])])


def offsets(place_m, matched, line_m=None):
    line_m = corner() if line_m is None else line_m
    count = len(line_m)
    line = Centreline(
        line_m, 5.0 * np.arange(count), np.zeros(count, int), np.zeros(count, int), *[np.full(count, np.nan)] * 2
    )
    return cross_track.offsets(Abreast(place_m, np.arange(float(count)), matched), line)


@pytest.mark.parametrize(("last", "away_m"), [(21, 10.0), (19, np.hypot(10.0, 10.0))])
def test_an_excursion_is_as_far_off_as_the_nearest_part_that_it_passes_by(last, away_m):
    """A place 30 m left of the road east lies 10 m left of the road north, if that is among those passed by.

    Five stations on either side are: station 21 + 5 is 30 m up the road north, 19 + 5 is 20 m up.
    """
    place_m, matched = corner(), np.ones(41, dtype=bool)
    matched[10 : last + 1] = False
    place_m[10 : last + 1] = [90.0, 30.0]
    place_m[last + 1] += [3.0, 3.0]
    found = offsets(place_m, matched)
    assert found[10 : last + 1] == pytest.approx(away_m)
    assert found[:10] == pytest.approx(0.0, abs=1e-9)
    # the first station behind it is measured across the line again
    assert found[last + 1] == pytest.approx(-3.0 if last == 21 else 0.0, abs=1e-6)
    assert found[last + 2 :] == pytest.approx(0.0, abs=1e-9)


def test_where_the_line_is_not_known_there_is_no_offset_and_beside_it_there_is():
    line_m = np.column_stack([np.arange(0.0, 100.0, 5.0), np.zeros(20)])
    line_m[8:11] = np.nan
    found = offsets(np.column_stack([np.arange(0.0, 100.0, 5.0), np.full(20, 4.0)]), np.ones(20, bool), line_m)
    assert np.isnan(found[8:11]).all()
    assert np.delete(found, slice(8, 11)) == pytest.approx(4.0)
    assert np.isnan(offsets(corner(), np.ones(41, bool), np.full((41, 2), np.nan))).all()


def test_a_station_that_does_not_count_parts_two_stretches():
    """The spike of the trace stands at the one station that is out; two stations are the shortest stretch."""
    flat, up = spiked(100.0)
    some, none = np.zeros(21, int), np.full(21, np.nan)
    line = Centreline(flat, 20.0 * np.arange(21), some, some, none, none)
    place, breaks = Abreast(up, np.arange(21.0), np.ones(21, bool)), np.array([], dtype=int)
    counted = np.arange(21) != 10
    assert cross_track.distances(up, place, line, counted, breaks).hausdorff_m == pytest.approx(0.0, abs=1e-9)
    two = (np.arange(21) == 9) | (np.arange(21) == 10)
    assert cross_track.distances(up, place, line, two, breaks).hausdorff_m == pytest.approx(100.0, abs=0.01)
    one = np.arange(21) == 10
    assert np.isnan(cross_track.distances(up, place, line, one, breaks).hausdorff_m)
    # a break of the trace after fix 9 parts them too, and nothing is drawn over it
    whole = np.ones(21, bool)
    assert cross_track.distances(up, place, line, whole, np.array([9, 10])).hausdorff_m == pytest.approx(0.0, abs=1e-9)

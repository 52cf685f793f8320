"""Where devices err: planted hot spots, planted quality figures, and lengths with a known bias."""

from __future__ import annotations

import tracemalloc
from dataclasses import replace

import numpy as np
import pytest
from offset_campaigns import STEP_M, Truth, along_route, campaign, crosstrack, left_out_offsets, positions

from gpsq.model import CurveDistances
from gpsq.settings import Settings
from gpsq.summaries import hot_spots
from gpsq.summaries.devices.distance_bias import distance_biases
from gpsq.summaries.devices.quality import error_by_quality
from gpsq.summaries.hot_spots import BIN_M, _binned, search


def _recorded(trace, hdop):
    """The recording with as many fixes as there are figures; positions are not looked at."""
    n, nothing = len(hdop), np.full(len(hdop), np.nan)
    never = np.full(n, np.datetime64("NaT", "ms"))
    return replace(
        trace, time=never, lon_deg=nothing, lat_deg=nothing, ele_m=nothing, hdop=hdop, sat=nothing,
        speed_mps=nothing, segment=np.zeros(n, int), point=np.arange(n), points=n,
    )  # fmt: skip


def _with_spread(routes, spread_m):
    return (replace(routes[0], centreline=replace(routes[0].centreline, spread_m=spread_m)),)


def _searched(true_m, spread_m=None):
    traces, results, routes = campaign(left_out_offsets(true_m))
    spread = true_m.std(axis=(0, 1)) if spread_m is None else spread_m
    return search(traces, results, _with_spread(routes, spread), Settings())


def test_a_planted_hot_spot_is_found_with_its_share_of_the_error():
    rng = np.random.default_rng(1)
    true = positions(Truth((2.0, 2.0), (0.0, 0.0), stations=400), 6, rng)
    true[:, :, 200:240] *= 4
    spots, told = _searched(true)
    (top,) = spots
    assert top.from_m == pytest.approx(1000, abs=80)
    assert top.to_m == pytest.approx(1200, abs=80)
    assert top.share_of_error > 0.4
    assert top.share_of_length == pytest.approx(0.1, abs=0.05)
    assert (told[0].spots, told[0].rides) == (1, 6)
    assert np.isnan(told[0].would_show_m)


def test_how_far_a_hot_spot_is_off_is_found_in_the_median_of_several_campaigns():
    """Four times the error, in nine campaigns: one scatters by a sixth, their median by less than a tenth."""
    times = []
    for seed in range(9):
        true = positions(Truth((2.0, 2.0), (0.0, 0.0), stations=400), 6, np.random.default_rng(seed))
        true[:, :, 200:240] *= 4
        times.append(_searched(true)[0][0].times_typical)
    assert np.median(times) == pytest.approx(4.0, rel=0.1)


def test_even_noise_names_no_place_and_says_what_would_have_been_seen():
    # At most 5 in 100 may name one; of 20, three or more would be one chance in thirteen at exactly that rate.
    rng = np.random.default_rng(2)
    found = [_searched(positions(Truth((2.5, 3.0, 5.0), (0.0,) * 3, stations=500), 5, rng)) for _ in range(20)]
    assert sum(bool(spots) for spots, _ in found) <= 2
    seen = [told[0].would_show_m for spots, told in found if not spots]
    assert np.median(seen) <= 200


def test_one_ride_on_another_road_makes_no_place():
    rng = np.random.default_rng(3)
    true = positions(Truth((2.0, 2.0), (0.0, 0.0), stations=400), 6, rng)
    true[:, 2, 100:160] += 120.0
    assert _searched(true)[0] == ()


def test_a_canyon_of_two_hundred_metres_is_found():
    rng = np.random.default_rng(4)
    found = 0
    for _ in range(5):
        true = positions(Truth((2.5, 3.0, 5.0), (0.0,) * 3, stations=500), 5, rng)
        true[:, :, 300:340] *= 3
        found += any(s.from_m < 1700 and s.to_m > 1500 for s in _searched(true)[0])
    assert found >= 4


def test_many_routes_share_the_chance_that_is_allowed():
    """With twelve the rarest height of 200 shifts is not rare enough: 1 − 0.025/12 needs 479 of them."""
    rng = np.random.default_rng(8)
    ways = [
        campaign(left_out_offsets(positions(Truth((2.0,), (0.0,), stations=80), 3, rng)), route=f"W{k}", first=3 * k)
        for k in range(12)
    ]
    spots, told = search(*(sum(part, ()) for part in zip(*ways, strict=True)), Settings())
    assert len(told) == 12
    assert len(spots) <= 1
    assert all(
        np.isinf(found.would_show_m) for found in told if not found.spots
    )  # three rides of 400 m would show none


def test_a_part_of_the_routes_is_searched_as_in_the_whole():
    """Each of five keeps its share of the chance, whoever searches it, and none is left out or searched twice."""
    rng = np.random.default_rng(8)
    ways = [
        campaign(left_out_offsets(positions(Truth((2.0,), (0.0,), stations=80), 4, rng)), route=f"W{k}", first=4 * k)
        for k in range(5)
    ]
    given = (*(sum(part, ()) for part in zip(*ways, strict=True)), Settings())
    whole, parts = hot_spots.by_route(*given), [hot_spots.by_route(*given, part, 2) for part in (0, 1)]
    assert [told.route for _, told in whole] == ["W0", "W1", "W2", "W3", "W4"]
    assert parts == [whole[0::2], whole[1::2]]


def test_twice_as_many_routes_take_twice_the_work(monkeypatch):
    """A height that is rare enough for 60 of them would take 2,399 shifts of each; its tail takes as many for 30."""
    counted, heights = [], hot_spots._heights
    monkeypatch.setattr(hot_spots, "_heights", lambda size: counted.append(size.size) or heights(size))
    rng, work = np.random.default_rng(8), []
    for routes in (30, 60):
        ways = [
            campaign(positions(Truth((2.0,), (0.0,), stations=40), 3, rng), route=f"W{k}", first=3 * k)
            for k in range(routes)
        ]
        spots, told = search(*(sum(part, ()) for part in zip(*ways, strict=True)), Settings())
        assert len(told) == routes
        assert len(spots) <= 1
        work.append(sum(counted))
        counted.clear()
    assert work[1] == pytest.approx(2 * work[0], rel=0.02)


def test_a_height_that_is_rarer_than_any_drawn_is_gumbels():
    """Of 1,000 draws about 3 with scale 0.2 the closed form is 3 − 0.2 · ln(−ln 0.99975) = 4.659."""
    drawn = np.random.default_rng(4).gumbel(3.0, 0.2, (50, 1000))
    found = [hot_spots._reached_by_chance(some, 0.99975) for some in drawn]
    assert np.median(found) == pytest.approx(3 - 0.2 * np.log(-np.log(0.99975)), rel=0.02)
    assert all(height >= some.max() for height, some in zip(found, drawn, strict=True))
    assert np.isnan(hot_spots._reached_by_chance(np.array([1.0, np.nan, 2.0]), 0.999))


def test_two_rides_are_not_searched():
    rng = np.random.default_rng(5)
    assert _searched(positions(Truth((2.0, 2.0), (0.0, 0.0)), 2, rng)) == ((), ())


def _of(offset_m, ride, usual_m=None):
    usual = np.ones(len(offset_m)) if usual_m is None else np.array(usual_m)
    return hot_spots._Search(offset_m, offset_m, np.array(ride), usual, BIN_M, 0.4)


def test_a_moved_ride_keeps_its_values_and_moves_with_its_devices():
    moved = hot_spots._shifted(_of(np.arange(12.0).reshape(3, 4), [0, 0, 1]), np.array([[1, 2], [0, 3]]))
    assert moved.swapaxes(1, 2).tolist() == [
        [[3, 0, 1, 2], [7, 4, 5, 6], [10, 11, 8, 9]],
        [[0, 1, 2, 3], [4, 5, 6, 7], [9, 10, 11, 8]],
    ]


def test_rows_are_held_against_the_median_of_other_rides():
    """Of two recordings of a ride the mean counts, each in units of what is usual for it."""
    rng = np.random.default_rng(6)
    rows = rng.normal(size=(7, 30))
    rows[rng.uniform(size=rows.shape) < 0.2] = np.nan
    ride, usual = np.array([0, 0, 1, 1, 2, 3, 3]), np.array([1.0, 2.0, 3.0, 1.0, 2.0, 3.0, 0.5])
    found = hot_spots._from_others(_of(rows, ride, usual), rows.T)
    size = np.full(rows.shape, np.nan)
    for k, row in enumerate(rows):
        others = rows[ride != ride[k]]
        middle = np.array([np.median(c[np.isfinite(c)]) if np.isfinite(c).any() else np.nan for c in others.T])
        size[k] = np.abs(row - middle) / usual[k]
    for r in range(4):
        own = size[ride == r]
        wanted = [c[np.isfinite(c)].mean() if np.isfinite(c).any() else np.nan for c in own.T]
        assert found[r] == pytest.approx(np.array(wanted), nan_ok=True)
    both = hot_spots._from_others(_of(rows, ride, usual), np.stack([rows.T, rows.T[::-1]]))
    assert np.array_equal(
        both, np.stack([found, found[:, ::-1]]), equal_nan=True
    )  # many at a time are each as one alone


def test_recordings_that_hardly_overlap_name_no_place_and_nothing_else():
    """Two stations of every bin are known, less than half of it: there is no place to compare with another."""
    true = positions(Truth((2.0, 2.0), (0.0, 0.0), stations=400), 6, np.random.default_rng(1))
    traces, results, routes = campaign(true)
    thin = [
        replace(r, crosstrack=replace(r.crosstrack, scored=np.arange(400) % 5 < 2)) if r.crosstrack else r
        for r in results
    ]
    spots, (told,) = search(traces, thin, _with_spread(routes, true.std(axis=(0, 1))), Settings())
    assert (spots, told.spots, told.would_show_m) == ((), 0, float("inf"))


def test_bins_of_a_long_road_take_the_memory_of_its_rows():
    """150 km at 5 m in bins of 25 m; the mean of five stations, none where fewer than half of them are known."""
    along = np.arange(30_000) * 5.0
    rows = np.random.default_rng(3).normal(size=(4, 30_000))
    rows[0, :3], rows[1, :2] = np.nan, np.nan
    tracemalloc.start()
    found = _binned(rows, along, BIN_M)
    peak = tracemalloc.get_traced_memory()[1]
    tracemalloc.stop()
    assert peak < 20 * rows.nbytes
    assert found[2:] == pytest.approx(rows[2:].reshape(2, 6000, 5).mean(axis=2))
    assert np.isnan(found[0, 0])
    assert found[1, 0] == pytest.approx(rows[1, 2:5].mean())


def test_error_follows_hdop_where_it_was_planted():
    rng = np.random.default_rng(2)
    hdop = np.tile(np.where(np.arange(200) < 100, 0.8, 4.0), (1, 6, 1))
    offsets = hdop * rng.standard_normal((1, 6, 200))
    traces, results, routes = campaign(offsets)
    line = routes[0].centreline.xy_m
    route = replace(routes[0].route, xy_m=tuple(line + 0.5 for _ in traces))
    recorded = tuple(_recorded(t, hdop[0, i]) for i, t in enumerate(traces))
    classes, trends = error_by_quality(recorded, results, (replace(routes[0], route=route),))
    assert [(c.low, c.high, c.fixes, c.rides) for c in classes] == [(0, 1, 600, 6), (2, 5, 600, 6)]
    assert [c.rms_m for c in classes] == pytest.approx([0.8, 4.0], rel=0.1)
    assert [(t.quantity, t.rides) for t in trends] == [("hdop", 6)]
    # An error at hdop 4 is larger than one at .8 with probability 1 − 2/π · atan .2 = .8743; between two groups of one size
    # the rank correlation is √3/2 · (2 · .8743 − 1) = .648.
    assert trends[0].correlation.value == pytest.approx(0.648, abs=0.05)


def test_no_quality_figures_give_no_rows():
    assert error_by_quality(*campaign(np.ones((1, 3, 50)))) == ((), ())


def _stretched(true_m, step_m):
    """The campaign searched on a road whose stations lie `step_m` apart."""
    traces, results, routes = campaign(left_out_offsets(true_m))
    line = routes[0].centreline
    far = [
        replace(r, crosstrack=replace(r.crosstrack, along_m=r.crosstrack.along_m / STEP_M * step_m)) for r in results
    ]
    route = replace(
        routes[0], centreline=replace(line, along_m=line.along_m / STEP_M * step_m, spread_m=true_m.std(axis=(0, 1)))
    )
    return search(traces, far, (route,), Settings())


def test_a_road_twenty_times_as_long_takes_the_same_work(monkeypatch):
    """Counted are the figures of which heights are made: 2,001 stations over 10 km, and as many over 200 km."""
    counted = []
    heights = hot_spots._heights
    monkeypatch.setattr(hot_spots, "MOST_BINS", 400)
    monkeypatch.setattr(hot_spots, "_heights", lambda size: counted.append(size.size) or heights(size))
    true = positions(Truth((2.0,), (0.0,), stations=2001), 3, np.random.default_rng(7))
    work = []
    for step_m in (5.0, 100.0):
        _stretched(true, step_m)
        work.append(sum(counted))
        counted.clear()
    assert work[0] >= 200 * 3 * 400  # 200 shifts of three rides
    assert work[1] <= work[0]


def test_up_to_a_hundred_kilometres_bins_are_blocks_of_houses():
    assert [hot_spots._bin_m(np.array([5.0, 5.0 + length])) for length in (50.0, 1e5, 2e5, 3e6)] == [25, 25, 50, 750]


def test_a_place_on_a_long_road_is_found_where_it_lies(monkeypatch):
    """10 km in 100 bins of 100 m, as longer roads in 4,000: errors are four times as large from 5 to 6 km."""
    monkeypatch.setattr(hot_spots, "MOST_BINS", 100)
    true = positions(Truth((2.0, 2.0), (0.0, 0.0), stations=2001), 6, np.random.default_rng(1))
    true[:, :, 1000:1200] *= 4
    spots = _stretched(true, 5.0)[0]
    assert spots
    assert all(4900 <= spot.from_m < spot.to_m <= 6100 for spot in spots)
    assert all(spot.from_m % 100 == 0 and spot.to_m % 100 == 95 for spot in spots)


def test_each_of_two_places_on_a_way_is_found(monkeypatch):
    """From 2 to 3 km and from 7 to 8 km errors are five times as large as elsewhere on 10 km."""
    monkeypatch.setattr(hot_spots, "MOST_BINS", 100)
    true = positions(Truth((2.0, 2.0), (0.0, 0.0), stations=2001), 8, np.random.default_rng(1))
    for first in (400, 1400):
        true[:, :, first : first + 200] *= 5
    spots = _stretched(true, 5.0)[0]
    places = {1: (1900, 3100), 2: (6900, 8100)}
    found = [next(k for k, (low, high) in places.items() if low <= spot.from_m < spot.to_m <= high) for spot in spots]
    assert set(found) == {1, 2}


def test_a_stretch_shorter_than_a_bin_is_not_said_to_be_seen(monkeypatch):
    """2 km in 10 bins of 200 m: at 50 and 100 m nothing could be planted, and so nothing is tried."""
    monkeypatch.setattr(hot_spots, "MOST_BINS", 10)
    monkeypatch.setattr(hot_spots, "TIMES", 1e6)
    monkeypatch.setattr(hot_spots, "SEEN_IN", 0.0)
    true = positions(Truth((2.0, 2.0), (0.0, 0.0), stations=401), 6, np.random.default_rng(9))
    (told,) = _stretched(true, 5.0)[1]
    assert told.would_show_m == 200


def _biased(offset_m, ratio, fixes):
    traces, results, _ = campaign(offset_m[None])
    curves = CurveDistances(1, 1, 1, 0, 1, 1, 1, ratio)
    length = offset_m.shape[1] * STEP_M
    recorded = tuple(_recorded(t, np.full(fixes, np.nan)) for t in traces)
    shown = tuple(replace(r, curves=curves, length_m=length) for r in results)
    return distance_biases(recorded, shown, Settings())[0]


def test_noise_explains_the_length_it_adds():
    # Offsets with error 2 m and correlation ρ between fixes 10 m apart. Ranacher et al. 2016 for one axis:
    # E[d²] = d₀² + 2σ²(1 − ρ), so d ≈ d₀ + σ²(1 − ρ)/d₀.
    rng = np.random.default_rng(3)
    rho = np.exp(-10 / 80)
    offsets = 2.0 * along_route((6, 2000), 80.0, rng)
    expected = 4 * (1 - rho) / 10**2
    found = _biased(offsets, 1 + expected, 1001)
    assert found.from_noise == pytest.approx(expected, rel=0.15)
    assert found.reason.endswith("all of it")


def test_a_short_track_with_little_noise_cut_corners():
    found = _biased(np.zeros((3, 100)) + 0.1, 0.96, 50)
    assert found.ratio.value == pytest.approx(0.96)
    assert "corners cut" in found.reason


def test_crosstrack_helper_counts_only_what_is_known():
    assert crosstrack(np.array([1.0, np.nan, -1.0])).scored.sum() == 2


def test_sizes_become_normal_scores_of_their_ranks_along_the_road():
    """Quartiles of the normal distribution are 0.6745, thirds 0.4307 from its middle (tables of it, any handbook)."""
    scores = hot_spots._scores(np.array([[30.0, 1.0, 2.0], [1.0, np.nan, 0.5]]))
    assert scores == pytest.approx(np.array([[0.6745, -0.6745, 0.0], [0.4307, np.nan, -0.4307]]), abs=1e-4, nan_ok=True)


def test_sizes_are_means_of_two_bins_where_both_are_known():
    smoothed = hot_spots._smoothed(np.array([[2.0, 4.0, np.nan, 8.0, 4.0]]))
    assert smoothed == pytest.approx(np.array([[2.0, 3.0, np.nan, 8.0, 6.0]]), nan_ok=True)


def test_heights_by_hand():
    """Two rides rank the bins alike, whatever their usual size; of the third, with two devices, the first bin is unknown.

    Scaled and smoothed the first two are 1, 3, 7 and the third unknown, 3, 2: scores ∓0.6745 and 0, and ±0.4307.
    """
    size_m = np.array([[1.0, 5.0, 9.0], [4.0, 20.0, 36.0], [np.nan, 2.0, 1.0], [np.nan, 8.0, 2.0]])
    found = _of(size_m, [0, 1, 2, 2], [1.0, 4.0, 1.0, 2.0])
    expected = [-2 * 0.67449 / 2**0.5, 0.43073 / 3**0.5, (2 * 0.67449 - 0.43073) / 3**0.5]
    assert hot_spots._heights(hot_spots._of_rides(found)) == pytest.approx(expected, abs=1e-4)
    assert hot_spots._hot(found, hot_spots._of_rides(found)).tolist() == [False, False, True]


def test_what_would_be_seen_is_tried_with_three_times_the_error(monkeypatch):
    tried: list[np.ndarray] = []

    def never(found, size_m):
        tried.append(size_m)
        return np.zeros((len(size_m), size_m.shape[-1]), dtype=bool)

    monkeypatch.setattr(hot_spots, "_from_others", lambda found, offset_m: np.abs(offset_m).swapaxes(-1, -2))
    monkeypatch.setattr(hot_spots, "_hot", never)
    found = hot_spots._Search(-np.ones((3, 70)), np.ones((3, 70)), np.arange(3), np.ones(3), BIN_M, 1.0)
    assert hot_spots._would_show_m(found, np.random.default_rng(1)) == float("inf")
    for size_m, bins in zip(tried, (2, 4, 8, 16, 32), strict=True):
        assert set(np.unique(size_m)) == {1.0, 3.0}
        assert ((size_m == 3.0).sum(axis=-1) == bins).all()


def test_what_is_usual_is_each_devices_own():
    true = positions(Truth((1.0, 8.0), (0.0, 0.0), stations=200), 6, np.random.default_rng(3))
    traces, results, routes = campaign(left_out_offsets(true))
    found = hot_spots._search(hot_spots.station_table(routes[0], traces, results), 0.05, np.random.default_rng(0))
    each = sorted(set(found.usual_m.tolist()))
    assert len(each) == 2
    assert each == [pytest.approx(np.nanmedian(found.size_m[found.usual_m == usual])) for usual in each]
    assert each[1] > 4.0 * each[0]

"""Figures per device: against published tables and against campaigns with a known answer."""

from __future__ import annotations

from dataclasses import asdict, replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from offset_campaigns import Truth, campaign, crosstrack, left_out_offsets, positions, trace, waits, with_fix

from gpsq.model import NAT, Deviation, FirstFix
from gpsq.results import TraceResult
from gpsq.settings import Settings
from gpsq.statistics import intervals, survival
from gpsq.summaries import device_figures
from gpsq.summaries.device_figures import by_start_state, summarise

# 6-mercaptopurine against placebo, weeks in remission: Freireich et al. 1963, Blood 21:699–716;
# Gehan 1965, Biometrika 52:203–223.
SIX_MP = [6, 6, 6, 6, 7, 9, 10, 10, 11, 13, 16, 17, 19, 20, 22, 23, 25, 32, 32, 34, 35]
SIX_MP_CENSORED = [0, 0, 0, 1, 0, 1, 0, 1, 1, 0, 0, 1, 1, 1, 0, 0, 1, 1, 1, 1, 1]
PLACEBO = [1, 1, 2, 2, 3, 4, 4, 5, 5, 8, 8, 8, 8, 11, 11, 12, 12, 15, 17, 22, 23]


def six_mp() -> survival.Interval:
    return survival.median_time(np.array(SIX_MP, float), np.array(SIX_MP_CENSORED, bool))


def test_kaplan_meier_medians_of_the_leukaemia_trial():
    # Medians 23 and 8 weeks: the survfit output of R quoted in textbooks on this trial (recomputed).
    assert six_mp().value == 23
    assert survival.median_time(np.array(PLACEBO, float), np.zeros(21, bool)).value == 8


def test_kaplan_meier_curve_of_the_leukaemia_trial():
    # S(t) as R's survfit prints it for the 6-MP group.
    curve = survival._Curve(np.array(SIX_MP, float), np.array(SIX_MP_CENSORED, bool))
    at = [list(curve.at).index(t) for t in (6, 7, 10, 13, 16, 22, 23)]
    assert curve.share[at] == pytest.approx([0.857, 0.807, 0.753, 0.690, 0.627, 0.538, 0.448], abs=5e-4)


def test_median_interval_with_censoring_is_where_the_log_log_band_crosses_one_half():
    # Log-log lower bounds 0.503 at 10 weeks and 0.432 at 13 (recomputed from Greenwood errors 0.0963 and 0.1068);
    # the upper bound stays above one half (0.680 at 23 weeks), so the interval has no upper end.
    result = six_mp()
    assert result.low == 13
    assert np.isnan(result.high)


def test_median_interval_without_censoring_is_by_order_statistics():
    # Ranks 6 and 16 of 21: binomial tail P(X ≤ 5 | 21, ½) = 0.0133, doubled 2.7 %; at 6 it would be 7.8 %.
    result = survival.median_time(np.array(PLACEBO, float), np.zeros(21, bool))
    assert (result.low, result.high) == (4, 12)


@pytest.mark.parametrize(
    ("n", "ranks"),
    # Standard table of distribution-free intervals of a median at 95 % (exact binomial arithmetic).
    [(5, None), (6, (1, 6)), (9, (2, 8)), (10, (2, 9)), (12, (3, 10)), (20, (6, 15)), (30, (10, 21))],
)
def test_ranks_of_the_median_interval(n, ranks):
    assert intervals.median_ranks(n) == ranks


@pytest.mark.parametrize(
    ("k", "n", "low", "high"),
    # Newcombe 1998, Stat. Med. 17:857–872, Table I, method 3 (Wilson score).
    [(81, 263, 0.2553, 0.3662), (15, 148, 0.0624, 0.1605), (0, 20, 0.0, 0.1611), (1, 29, 0.0061, 0.1718)],
)
def test_wilson_interval_is_newcombes(k, n, low, high):
    result = intervals.proportion(k, n)
    assert (result.low, result.high) == pytest.approx((low, high), abs=5e-5)


def test_interval_of_a_mean_is_students():
    # Mouse data, treatment (Efron & Tibshirani 1993, p. 11): mean 86.86, standard error 25.24; t(0.975, 6) = 2.4469.
    result = intervals.mean(np.array([94.0, 197, 16, 38, 99, 141, 23]))
    assert result.value == pytest.approx(86.857, abs=5e-4)
    assert (result.high - result.low) / 2 / 2.4469 == pytest.approx(25.235, abs=2e-3)


def test_a_time_not_reached_by_half_of_the_rides_is_unknown_and_not_zero():
    result = survival.median_time(np.array([10.0, 600, 600]), np.array([False, True, True]))
    assert np.isnan(result.value)


def test_a_ride_that_never_fixed_lengthens_the_median_and_leaves_it_exact():
    seconds, lost = np.array([10.0, 20, 30, 40, 50, 60, 900]), np.array([0, 0, 0, 0, 0, 0, 1], bool)
    result = survival.median_time(seconds, lost)
    assert result.value == 40
    assert result.low == 10
    assert np.isnan(result.high)  # rank 7 is the ride that never fixed


def test_five_rides_give_a_range_and_no_interval():
    result = survival.median_time(np.array([8.0, 12, 9, 40, 11]), np.zeros(5, bool))
    assert result.value == 11
    assert np.isnan([result.low, result.high]).all()
    assert "range 8–40 of 5 rides" in result.method


def test_share_leaves_out_a_recording_that_stopped_before_the_limit():
    seconds, lost = np.array([5.0, 40.0, 20.0, 900.0]), np.array([False, False, True, True])
    assert survival.share_within(30, seconds, lost).value == pytest.approx(1 / 3)


@given(st.lists(st.floats(0.1, 1e4), min_size=6, max_size=40))
def test_median_interval_encloses_the_median(values):
    result = intervals.median(np.array(values))
    assert result.low <= result.value <= result.high
    assert result.value == pytest.approx(np.median(values))


# --- repeatability -------------------------------------------------------------------------------------------------


def test_repeatability_of_three_straight_rides_is_their_standard_deviation():
    # Rides at −1, 0, +1 m: standard deviation 1 m. Left-out means: 0.5, 0, −0.5, so offsets are −1.5, 0, 1.5 and their
    # mean square 1.5 = 1 × (1 + 1/(n−1)).
    true = np.array([-1.0, 0.0, 1.0])[None, :, None] * np.ones((1, 3, 20))
    summary = summarise(*campaign(left_out_offsets(true)), Settings())[0]
    assert summary.figures["repeatability_m"].value == pytest.approx(1.0)
    assert summary.figures["xte_rms_m"].value ** 2 == pytest.approx(1.5)


def test_an_offset_shared_by_all_rides_is_no_part_of_repeatability():
    rng = np.random.default_rng(5)
    truth = Truth((2.0, 2.0, 2.0), (0.0, 0.0, 6.0))
    got = [_repeatability(truth, 5, rng) for _ in range(30)]
    assert np.median(got, axis=0) == pytest.approx(truth.repeatability_m, rel=0.1)


@pytest.mark.parametrize("rides", [3, 5, 10])
def test_repeatability_is_found_within_ten_per_cent(rides):
    rng = np.random.default_rng(rides)
    truth = Truth((1.5, 3.0, 6.0), (0.5, -1.0, 1.0))
    got = [_repeatability(truth, rides, rng) for _ in range(40)]
    assert np.median(got, axis=0) == pytest.approx(truth.repeatability_m, rel=0.1)


def _repeatability(truth: Truth, rides: int, rng: np.random.Generator) -> list[float]:
    parts = campaign(left_out_offsets(positions(truth, rides, rng)))
    return [s.figures["repeatability_m"].value for s in summarise(*parts, Settings()) if s.route == "A"]


def test_a_detour_on_one_ride_does_not_spoil_the_others():
    rng = np.random.default_rng(8)
    true = positions(Truth((2.0, 2.0), (0.0, 0.0), rider_m=0.5), 6, rng)
    true[:, 0, 100:140] += 120.0
    parts = campaign(left_out_offsets(true))
    without = left_out_offsets(true)
    without[:, 0, 100:140] = np.nan
    cleaned = summarise(*campaign(without), Settings())[0].figures["repeatability_m"].value
    assert cleaned == pytest.approx(2.06, rel=0.15)
    assert summarise(*parts, Settings())[0].figures["repeatability_m"].value > 3 * cleaned


def test_interval_stands_only_from_three_rides_on():
    rng = np.random.default_rng(2)
    offsets = left_out_offsets(positions(Truth((2.0, 3.0), (0.0, 0.0)), 3, rng))
    offsets[1, 2] = np.nan
    traces, results, routes = campaign(np.where(np.isnan(offsets), 1.0, offsets))
    results = (*results[:5], replace(results[5], crosstrack=None, status="not scored", reason="no fix"))
    figures = {s.device: s.figures["repeatability_m"] for s in summarise(traces, results, routes, Settings())}
    assert figures["device 1"].low < figures["device 1"].value < figures["device 1"].high
    assert np.isnan(figures["device 2"].low)
    assert "at least 3" in figures["device 2"].method


# --- the table -----------------------------------------------------------------------------------------------------


def test_every_figure_of_the_contract_is_there():
    rng = np.random.default_rng(4)
    truth = Truth((2.0, 3.0), (0.0, 0.0), ttff_median_s=(10.0, 30.0))
    parts = campaign(left_out_offsets(positions(truth, 6, rng)), waits(truth, 6, rng))
    summaries = summarise(*parts, Settings())
    assert [(s.device, s.route, s.rides) for s in summaries] == [
        ("device 1", "", 6), ("device 1", "A", 6), ("device 2", "", 6), ("device 2", "A", 6),
    ]  # fmt: skip
    wanted = {
        "ttff_median_s", "fixed_in_10s", "fixed_in_30s", "fixed_in_60s", "missed_median_m", "missed_share_median",
        "settle_median_s", "xte_rms_m", "xte_p95_m", "bias_m", "repeatability_m", "hausdorff_median_m",
        "frechet_median_m", "length_ratio_median", "ttff_known", "ttff_censored", "xte_rms_plain_m",
        "repeatability_plain_m", "open_deviations", "spikes",
    }  # fmt: skip
    assert all(set(s.figures) == wanted for s in summaries)


def test_a_recording_that_was_not_scored_still_counts_for_the_first_fix():
    results = tuple(
        TraceResult(i, f"ride {i}", "", "not scored", "a lone trace", FirstFix("log", seconds=s), 1.0, 1.0)
        for i, s in enumerate([5.0, 15.0, 45.0])
    )
    figures = summarise(tuple(trace("device 1", i) for i in range(3)), results, (), Settings())[0].figures
    assert figures["ttff_median_s"].value == 15
    assert figures["fixed_in_30s"].value == pytest.approx(2 / 3)
    assert np.isnan(figures["xte_rms_m"].value)
    assert "no ride was scored" in figures["xte_rms_m"].method


def test_unknown_starts_are_counted_and_said():
    traces, results, routes = campaign(np.ones((1, 4, 10)), np.array([[5.0, 6.0, np.nan, 7.0]]))
    figures = summarise(traces, results, routes, Settings())[0].figures
    assert figures["ttff_known"].value == 3
    assert "start known for 3 of 4 recordings" in figures["ttff_median_s"].method


def test_a_mix_of_start_states_is_said_and_split():
    traces, results, routes = campaign(np.ones((1, 4, 10)), np.array([[5.0, 6.0, 40.0, 50.0]]))
    states = ("hot", "hot", "cold", "cold")
    results = tuple(with_fix(r, start_state=s) for r, s in zip(results, states, strict=True))
    assert (
        "different start states are mixed"
        in summarise(traces, results, routes, Settings())[0].figures["ttff_median_s"].method
    )
    split = {s.state: s.figures["ttff_median_s"].value for s in by_start_state(traces, results, Settings())}
    assert split == {"hot": 5.5, "cold": 45.0}


def test_a_lower_bound_of_the_distance_missed_is_said():
    traces, results, routes = campaign(np.ones((1, 3, 10)))
    results = tuple(with_fix(r, missed_m=50.0, missed_is_minimum=True) for r in results)
    assert "at least" in summarise(traces, results, routes, Settings())[0].figures["missed_median_m"].method


def test_figures_over_all_routes_pool_the_rides():
    rng = np.random.default_rng(3)
    one = campaign(left_out_offsets(positions(Truth((2.0,), (0.0,)), 5, rng)))
    two = campaign(left_out_offsets(positions(Truth((2.0,), (0.0,)), 4, rng)), route="B", first=5)
    joined = tuple(a + b for a, b in zip(one, two, strict=True))
    by_route = {s.route: s for s in summarise(*joined, Settings())}
    assert by_route[""].rides == 9
    low, high = sorted(by_route[r].figures["repeatability_m"].value for r in "AB")
    assert low < by_route[""].figures["repeatability_m"].value < high


def test_two_recordings_of_one_ride_count_as_one_ride():
    traces, results, routes = campaign(np.arange(3.0)[None, :, None] * np.ones((1, 3, 10)))
    half = [np.where(np.arange(10) < 5, 2.0, np.nan), np.where(np.arange(10) < 5, np.nan, 2.0)]
    joined = (
        *results[:2],
        replace(results[2], crosstrack=crosstrack(half[0])),
        replace(results[2], trace=3, crosstrack=crosstrack(half[1])),
    )
    route = replace(routes[0].route, members=(0, 1, 2, 3), xy_m=(np.empty((0, 2)),) * 4)
    whole = summarise(traces, results, routes, Settings())[1]
    split = summarise((*traces, traces[2]), joined, (replace(routes[0], route=route),), Settings())[1]
    assert split.rides == whole.rides == 3
    np.testing.assert_equal(asdict(split.figures["xte_rms_m"]), asdict(whole.figures["xte_rms_m"]))


# --- stretches that wait for a decision, copies, single rides ------------------------------------------------------


def _with_detour(flag: str = "", suggestion: str = "route choice"):
    rng = np.random.default_rng(11)
    true = positions(Truth((2.0,), (0.0,), rider_m=0.5, ride_share=0.0, reach_m=30.0), 5, rng)
    true[0, 2, 100:140] += 120.0
    traces, results, routes = campaign(left_out_offsets(true))
    found = Deviation(
        "d1", 2, "A", 500.0, 695.0, NAT, NAT, 0, 1, 120.0, "left", 10.0, suggestion, "smooth", flag
    )  # fmt: skip
    results = tuple(replace(r, deviations=(found,)) if r.trace == 2 else r for r in results)
    return summarise(traces, results, routes, Settings())[1].figures


def test_a_stretch_that_may_be_the_riders_choice_is_no_part_of_repeatability_until_decided():
    waiting = _with_detour()
    assert waiting["repeatability_m"].value == pytest.approx(2.06, rel=0.15)
    assert "without undecided stretches of 1 recording" in waiting["repeatability_m"].method
    assert waiting["xte_rms_m"].value > 10
    assert "of the mean square comes from undecided stretches" in waiting["xte_rms_m"].method
    for error in (_with_detour("error"), _with_detour(suggestion="receiver error")):
        assert error["repeatability_m"].value > 10
        assert "undecided" not in error["repeatability_m"].method


def test_the_errors_without_open_deviations_stand_beside_those_with_them():
    waiting = _with_detour()
    assert waiting["open_deviations"].value == 1
    assert waiting["xte_rms_plain_m"].value == pytest.approx(2.06, rel=0.25)
    # A fault that waits for a decision is part of the repeatability, but not of the plain one.
    fault = _with_detour(suggestion="receiver error")
    assert fault["repeatability_m"].value > 10
    assert fault["repeatability_plain_m"].value == pytest.approx(2.06, rel=0.25)
    decided = _with_detour("error")
    assert decided["open_deviations"].value == 0
    assert decided["xte_rms_plain_m"] == decided["xte_rms_m"]
    assert decided["repeatability_plain_m"] == decided["repeatability_m"]


def test_a_figure_that_rests_on_one_ride_gets_no_interval():
    found = _with_detour("error")["repeatability_m"]
    assert np.isnan([found.low, found.high]).all()
    assert "single rides outweigh the others" in found.method


def test_a_recording_that_repeats_another_counts_nowhere():
    traces, results, routes = campaign(np.arange(3.0)[None, :, None] * np.ones((1, 3, 10)), np.array([[5.0, 6.0, 7.0]]))
    copies = (*results[:2], replace(results[2], duplicate_of="a.gpx"))
    figures = summarise(traces, copies, routes, Settings())[0].figures
    assert figures["ttff_known"].value == 2
    assert figures["ttff_median_s"].value == 5.5


@given(st.lists(st.integers(1, 30), min_size=2, max_size=9), st.integers(0, 1000))
def test_percentile_without_each_block_is_that_of_the_values_left(sizes, seed):
    """Against numpy's quantile of what is left; equal values among them."""
    rng = np.random.default_rng(seed)
    values = np.sort(rng.integers(0, 20, sum(sizes)).astype(float))
    block = rng.permutation(np.repeat(np.arange(len(sizes)), sizes))
    for b in range(len(sizes)):
        found = device_figures._p95_without(values, np.flatnonzero(block == b))
        assert found == pytest.approx(np.quantile(values[block != b], 0.95))

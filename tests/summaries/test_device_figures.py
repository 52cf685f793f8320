"""Figures per device: against published tables and against campaigns with a known answer."""

from __future__ import annotations

from dataclasses import asdict, replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import settings as given_settings
from hypothesis import strategies as st
from offset_campaigns import Truth, campaign, crosstrack, left_out_offsets, positions, trace, waits, with_fix

from gpsq.model import NAT, Deviation, FirstFix
from gpsq.results import TraceResult
from gpsq.settings import Settings
from gpsq.statistics import intervals, survival
from gpsq.summaries.device_figures import by_start_state, summarise
from gpsq.summaries.station_table import on_common_line, station_table

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
        "ttff_known", "ttff_never", "ttff_median_s", "fixed_in_10s", "fixed_in_30s", "fixed_in_60s", "usable_median_s",
        "missed_median_m", "missed_worst_m", "missed_is_minimum", "scored_rides", "scored_km", "xte_median_m", "xte_p68_m",
        "xte_p95_m", "xte_rms_m", "bias_m", "offset_body_m", "offset_ground_m", "repeatability_m", "receiver_errors",
        "receiver_errors_per_100km", "receiver_error_recordings", "route_choices", "undecided", "spikes",
        "hausdorff_median_m", "frechet_median_m",
    }  # fmt: skip
    assert all(wanted <= set(s.figures) for s in summaries)
    assert [bool(np.isnan(s.figures["bias_m"].value)) for s in summaries] == [True, False, True, False]


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


# --- deviations, copies, offsets -----------------------------------------------------------------------------------


def deviation(number, suggestion, flag=""):
    return Deviation(f"d{number}", number, "A", 50.0, 120.0, NAT, NAT, 0, 1, 60.0, "left", 1.0, suggestion, "", flag)


def _with_deviations(*found):
    traces, results, routes = campaign(np.ones((1, 4, 2001)))
    own = {d.trace: tuple(x for x in found if x.trace == d.trace) for d in found}
    results = tuple(replace(r, deviations=own.get(r.trace, ())) for r in results)
    return summarise(traces, results, routes, Settings())[0].figures


def test_receiver_errors_are_counted_per_hundred_kilometres_decided_or_suggested():
    found = _with_deviations(
        deviation(0, "receiver error"), deviation(0, "route choice", "error"), deviation(1, "receiver error", "intentional"),
        deviation(2, "route choice"), deviation(3, "cannot be told"),
    )  # fmt: skip
    assert {n: found[n].value for n in ("receiver_errors", "route_choices", "undecided", "scored_rides")} == {
        "receiver_errors": 2, "route_choices": 2, "undecided": 1, "scored_rides": 4,
    }  # fmt: skip
    assert found["scored_km"].value == pytest.approx(4 * 10.005)
    rate = found["receiver_errors_per_100km"]
    assert rate.value == pytest.approx(2 / 0.4002)
    assert (rate.low, rate.high) == pytest.approx((0.2422 / 0.4002, 7.2247 / 0.4002), rel=1e-3)  # Garwood's limits of 2
    share = found["receiver_error_recordings"]
    assert (share.value, share.of) == (0.25, 4)


def test_no_receiver_error_has_an_upper_bound():
    found = _with_deviations()["receiver_errors_per_100km"]
    assert (found.value, found.low) == (0.0, 0.0)
    assert found.high == pytest.approx(3.6889 / 0.4002, rel=1e-3)


def test_deciding_as_suggested_changes_no_count():
    open_ones = (deviation(0, "receiver error"), deviation(1, "route choice"))
    decided = (deviation(0, "receiver error", "error"), deviation(1, "route choice", "intentional"))
    assert _with_deviations(*open_ones) == _with_deviations(*decided)


def test_a_recording_that_repeats_another_counts_nowhere():
    traces, results, routes = campaign(np.arange(3.0)[None, :, None] * np.ones((1, 3, 10)), np.array([[5.0, 6.0, 7.0]]))
    copies = (*results[:2], replace(results[2], duplicate_of="a.gpx"))
    figures = summarise(traces, copies, routes, Settings())[0].figures
    assert figures["ttff_known"].value == 2
    assert figures["ttff_median_s"].value == 5.5


def test_never_and_within_are_counts_of_all_that_are_known():
    traces, results, routes = campaign(np.ones((1, 6, 10)), np.array([[5.0, 8.0, 20.0, 45.0, np.nan, np.nan]]))
    results = (*results[:4], with_fix(results[4], censored=True, at_least_s=900.0), results[5])
    found = summarise(traces, results, routes, Settings())[0].figures
    assert (found["ttff_known"].value, found["ttff_never"].value, found["ttff_never"].of) == (5, 1, 5)
    assert [(found[f"fixed_in_{s}s"].value, found[f"fixed_in_{s}s"].of) for s in (10, 30, 60)] == [
        (0.4, 5), (0.6, 5), (0.8, 5),
    ]  # fmt: skip


def test_start_to_usable_is_never_under_the_time_to_first_fix():
    """The one that never fixed is not usable either; one whose settling is not known took at least its time to fix.

    By hand: fixed after 2, 4, 6, 8, never: median 6. Usable after 3, 4+, 9, 8, never+ (+ at least): Kaplan–Meier 1, 4/5
    after 3, 4/5 · 2/3 after 8, 4/5 · 1/3 after 9: the curve falls under one half at 9.
    """
    traces, results, routes = campaign(np.ones((1, 5, 10)), np.array([[2.0, 4.0, 6.0, 8.0, np.nan]]))
    settled = [1.0, np.nan, 3.0, 0.0, np.nan]
    results = tuple(with_fix(r, settle_s=s) for r, s in zip(results, settled, strict=True))
    results = (*results[:4], with_fix(results[4], censored=True, at_least_s=900.0))
    found = summarise(traces, results, routes, Settings())[0].figures
    assert (found["ttff_median_s"].value, found["usable_median_s"].value) == (6.0, 9.0)
    assert found["usable_median_s"].method.endswith("settled on 3 of 5")


def test_where_most_never_fixed_no_time_to_usable_is_told():
    """Two of five fixed, after 4 s, and three had not after 5 s: no median. Of those under way at 6 and 7 s all are usable."""
    traces, results, routes = campaign(np.ones((1, 5, 10)), np.array([[4.0, 4.0, np.nan, np.nan, np.nan]]))
    fixed = [with_fix(r, settle_s=s) for r, s in zip(results[:2], (2.0, 3.0), strict=True)]
    never = [with_fix(r, censored=True, at_least_s=5.0) for r in results[2:]]
    found = summarise(traces, (*fixed, *never), routes, Settings())[0].figures
    assert np.isnan(found["ttff_median_s"].value)
    assert np.isnan(found["usable_median_s"].value)


@given(
    st.lists(st.tuples(st.floats(1, 99), st.one_of(st.none(), st.floats(0, 50)), st.booleans()), min_size=1, max_size=9)
)
@given_settings(max_examples=40, deadline=None)
def test_usable_comes_after_fixed_whatever_is_known(starts):
    traces, results, routes = campaign(np.ones((1, len(starts), 4)), np.array([[s for s, _, _ in starts]]))
    results = tuple(
        with_fix(r, seconds=np.nan, censored=True, at_least_s=s)
        if never
        else with_fix(r, settle_s=np.nan if settle is None else settle)
        for r, (s, settle, never) in zip(results, starts, strict=True)
    )
    found = summarise(traces, results, routes, Settings())[0].figures
    fixed, usable = found["ttff_median_s"].value, found["usable_median_s"].value
    assert np.isnan(usable) or usable >= fixed - 1e-9


def test_the_worst_and_the_bound_of_the_road_missed():
    traces, results, routes = campaign(np.ones((1, 5, 10)))
    missed = [10.0, 20.0, 30.0, 400.0, 500.0]
    high_bound = tuple(
        with_fix(r, missed_m=m, missed_is_minimum=m == 500.0) for r, m in zip(results, missed, strict=True)
    )
    low_bound = tuple(
        with_fix(r, missed_m=m, missed_is_minimum=m == 10.0) for r, m in zip(results, missed, strict=True)
    )
    high, low = (summarise(traces, r, routes, Settings())[0].figures for r in (high_bound, low_bound))
    assert (high["missed_median_m"].value, high["missed_worst_m"].value) == (30.0, 500.0)
    assert (high["missed_is_minimum"].value, low["missed_is_minimum"].value) == (0.0, 1.0)


def test_of_an_even_number_a_bound_at_the_upper_middle_makes_the_median_one():
    traces, results, routes = campaign(np.ones((1, 4, 10)))
    for bounded, minimum in ((20.0, 1.0), (30.0, 1.0), (400.0, 0.0)):
        known = tuple(
            with_fix(r, missed_m=m, missed_is_minimum=m == bounded)
            for r, m in zip(results, [10.0, 20.0, 30.0, 400.0], strict=True)
        )
        assert summarise(traces, known, routes, Settings())[0].figures["missed_is_minimum"].value == minimum


def test_a_copy_enters_no_table_of_stations():
    traces, results, routes = campaign(np.array([1.0, 2.0, 9.0])[None, :, None] * np.ones((1, 3, 10)))
    copies = (*results[:2], replace(results[2], duplicate_of="a.gpx"))
    table = station_table(routes[0], traces, copies)
    assert table.trace == (0, 1)


def test_a_ride_far_off_pulls_at_the_common_line_no_more_than_three_spreads_do():
    """Rides at 1, −1, 2, −2 and 100 m: robust spread 1.4826 · 2 = 2.9652, so the last counts as 8.8956 of its 100."""
    traces, results, routes = campaign(np.array([1.0, -1.0, 2.0, -2.0, 100.0])[None, :, None] * np.ones((1, 5, 4)))
    found = on_common_line(station_table(routes[0], traces, results))
    assert found[:, 0] == pytest.approx([0.8, -0.8, 1.6, -1.6, 100 - 8.8956 / 5])


def test_the_two_ways_are_told_apart_where_their_times_differ():
    out = campaign(np.ones((1, 5, 10)), np.array([[4.0, 5.0, 6.0, 5.0, 4.0]]))
    back = campaign(np.ones((1, 5, 10)), np.array([[50.0, 80.0, 60.0, 70.0, 90.0]]), route="B", first=5)
    joined = tuple(a + b for a, b in zip(out, back, strict=True))
    # All of one way sooner than all of the other: 2 of the 252 ways of dealing ten times are as far out.
    assert summarise(*joined, Settings())[0].figures["ttff_ways_p"].value == pytest.approx(2 / 252)
    alike = campaign(np.ones((1, 5, 10)), np.array([[4.0, 5.0, 6.0, 5.0, 4.0]]), route="B", first=5)
    joined = tuple(a + b for a, b in zip(out, alike, strict=True))
    assert summarise(*joined, Settings())[0].figures["ttff_ways_p"].value > 0.5


def test_the_interval_of_what_was_missed_holds_the_bounds_of_the_places():
    """Of six rides the first and the last value bound the median: the least of the low values, the most of the high ones."""
    traces, results, routes = campaign(np.ones((1, 6, 10)), np.array([[2.0, 4.0, 6.0, 8.0, 9.0, 11.0]]))
    missed = [50.0, 60.0, 70.0, 80.0, 90.0, 100.0]

    def found(low_m, high_m):
        fixed = tuple(
            with_fix(r, missed_m=m, missed_low_m=m + low_m, missed_high_m=m + high_m)
            for r, m in zip(results, missed, strict=True)
        )
        figure = summarise(traces, fixed, routes, Settings())[0].figures["missed_median_m"]
        return figure.value, figure.low, figure.high

    assert found(np.nan, np.nan) == (75.0, 50.0, 100.0)
    assert found(-20.0, 35.0) == (75.0, 30.0, 135.0)

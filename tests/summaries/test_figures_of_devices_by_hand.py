"""Figures of one device, each kind by hand: first fixes, deviations, recorded length, and what the receiver said of itself."""

from __future__ import annotations

from dataclasses import replace
from itertools import pairwise

import numpy as np
import pytest
from by_hand import by_hand
from offset_campaigns import campaign, crosstrack
from trace_maker import trace_on

from gpsq.model import CurveDistances, FirstFix
from gpsq.settings import Settings
from gpsq.summaries import device_figures
from gpsq.summaries.device_figures import by_start_state, summarise
from gpsq.summaries.devices import deviation_counts, distance_bias, first_fixes, road_within
from gpsq.summaries.devices.quality import error_by_quality

# --- first fixes, word by word ---------------------------------------------------------------------------------------


def fixes(*values):
    """Return results of one device with these first fixes."""
    _, results, _ = campaign(np.ones((1, len(values), 4)))
    return [replace(r, first_fix=FirstFix("log", **v)) for r, v in zip(results, values, strict=True)]


def test_what_is_said_of_starts():
    hot, cold = {"seconds": 5.0, "start_state": "hot"}, {"censored": True, "at_least_s": 90.0, "start_state": "cold"}
    unknown = {"seconds": np.nan}
    for starts, said in (
        ([hot], "start known for 1 of 1 recording; start state 1 hot"),
        ([hot, hot], "start known for 2 of 2 recordings; start state 2 hot"),
        ([unknown], "start known for 0 of 1 recording"),
        (
            [hot, cold, hot, unknown],
            "start known for 3 of 4 recordings, 1 without a fix to the end; start state 1 cold, 2 hot; "
            "different start states are mixed",
        ),
    ):
        found = first_fixes.times(fixes(*starts), Settings())
        assert (found["ttff_known"].method, found["ttff_never"].method) == (said, said)
        assert found["fixed_in_30s"].method.endswith(f"; {said}")
    assert np.isnan(first_fixes.times(fixes(unknown), Settings())["ttff_never"].value)


@pytest.mark.parametrize(("fix", "trial"), [
    ({"seconds": 5.0}, True), ({"censored": True, "at_least_s": 9.0}, True), ({"censored": True}, False),
    ({"at_least_s": 9.0}, False), ({}, False),
])  # fmt: skip
def test_what_counts_as_a_start(fix, trial):
    """A recording begun late tells only that it took longer than so much: no wait in vain, and no time."""
    (result,) = fixes(fix)
    assert first_fixes.is_trial(result) is trial


def test_few_rides_have_a_range_in_the_unit_of_their_figure():
    found = first_fixes.road_missed(
        fixes(*({"seconds": 1.0, "settle_s": s, "missed_m": m, "missed_share": p} for s, m, p in (
            (9.4, 120.4, 0.1234), (14.4, 80.4, 0.0821), (12.4, 99.4, 0.2),
        ))), Settings(),
    )  # fmt: skip
    few = "of 3 rides; no 95 % interval exists for so few"
    assert [found[n].method for n in ("settle_median_s", "missed_median_m", "missed_share_median")] == [
        f"range 9–14 {few}", f"range 80–120 {few}", f"range 0.082–0.200 {few}",
    ]  # fmt: skip
    assert [found[n].value for n in ("settle_median_s", "missed_median_m", "missed_share_median")] == [
        12.4,
        99.4,
        0.1234,
    ]
    assert np.isnan([found["missed_median_m"].low, found["missed_median_m"].high]).all()
    assert (found["missed_known"].value, found["missed_known"].of) == (3, 3)
    nothing = first_fixes.road_missed(fixes({}), Settings())
    assert (nothing["missed_worst_m"].method, nothing["missed_known"].value) == ("none: known for no ride", 0)
    assert np.isnan([nothing["missed_worst_m"].value, nothing["missed_is_minimum"].value]).all()
    assert not nothing["missed_worst_m"].at_least


def test_a_bound_in_the_median_is_said_of_metres_and_share():
    two = [{"missed_m": 50.0, "missed_share": 0.1, "missed_is_minimum": True}, {"missed_m": 70.0, "missed_share": 0.2}]
    found = first_fixes.road_missed(fixes(*two), Settings())
    for name in ("missed_median_m", "missed_share_median"):
        assert found[name].at_least
        assert found[name].method.endswith("; at least: no trace shows where some rides began")
    assert found["missed_worst_m"].at_least  # a bound may be the worst, however small
    apart = first_fixes.road_missed(fixes(two[1], two[1], {"missed_m": 90.0, "missed_is_minimum": True}), Settings())
    assert (apart["missed_median_m"].at_least, apart["missed_worst_m"].at_least) == (False, True)


def test_times_worked_out_stand_beside_those_measured():
    """Measured 10 and never in 90 s; worked out 20 (15 to 30) and 40 (30 to no end): half are left from 20 to 40."""
    worked = [
        {"estimate_s": 20.0, "estimate_low_s": 15.0, "estimate_high_s": 30.0, "estimate_basis": "road"},
        {"estimate_s": 40.0, "estimate_low_s": 30.0, "estimate_high_s": np.inf, "estimate_basis": "companion"},
    ]
    measured = [{"seconds": 10.0}, {"censored": True, "at_least_s": 90.0}]
    found = first_fixes.times(fixes(*measured, *worked, {}), Settings())["ttff_estimate_median_s"]
    assert (found.value, found.of) == (30.0, 4)
    assert "; 2 of 4 worked out (companion, road), the others measured; start known for 2 of 5" in found.method
    none = first_fixes.times(fixes(*measured, {"seconds": 5.0} | worked[0]), Settings())["ttff_estimate_median_s"]
    assert np.isnan(none.value)  # measured goes before worked out
    assert none.method.startswith("none: no time is worked out; ")


def test_bounds_of_times_worked_out_are_those_of_their_low_and_high_values():
    """Six of them: the least of the low values, the largest of the high ones; one without an end leaves none above."""
    six = [
        {
            "estimate_s": 10.0 * k,
            "estimate_low_s": 10.0 * k - 4,
            "estimate_high_s": 10.0 * k + 7,
            "estimate_basis": "road",
        }
        for k in range(1, 7)
    ]
    found = first_fixes.times(fixes(*six), Settings())["ttff_estimate_median_s"]
    assert (found.value, found.low, found.high) == (35.0, 6.0, 67.0)
    six[5]["estimate_high_s"] = np.inf
    assert np.isnan(first_fixes.times(fixes(*six), Settings())["ttff_estimate_median_s"].high)


def test_the_two_ways_ridden_most_are_held_against_one_another_from_three_starts_on():
    def differ(**waits):
        own = [(route, s) for route, values in waits.items() for s in values]
        results = fixes(*({"seconds": s} if np.isfinite(s) else {"censored": True, "at_least_s": 9.0} for _, s in own))
        return first_fixes.ways_differ([replace(r, route=route) for r, (route, _) in zip(results, own, strict=True)])

    assert differ(A=[1.0, 2.0, 3.0], B=[4.0, 5.0, np.inf], C=[9.0, 9.0]).value == pytest.approx(2 / 20)
    few = differ(A=[1.0, 2.0, 3.0], B=[4.0, 5.0])
    assert np.isnan(few.value)
    assert few.method == "none: too few starts on two ways"
    # ties share their rank: 1 and 2 halves against 2, 3, 4; one of 20 deals is as far out, and one as good as it
    assert differ(A=[1.0, 1.0, 2.0], B=[2.0, 3.0, 4.0]).value == pytest.approx(2 * 2 / 20)
    # ten and ten are dealt 184,756 ways: of 5,000 drawn none is as far out, and the one found counts
    assert differ(A=np.arange(10.0), B=np.arange(10.0) + 50).value == pytest.approx(2 / 5001)


# --- deviations and spikes, word by word ---------------------------------------------------------------------------


def test_the_largest_spike_is_that_of_whoever_leaves_the_road_too():
    """Amber has two of 33 m at most and Basalt one of 72 m, each beside a deviation; a third recording has none."""
    found = deviation_counts.spikes(by_hand().results)
    assert (found.value, found.method) == (3.0, "in 2 of 3 recordings, the largest 72 m")


def test_spikes_are_summed_over_recordings_that_have_times():
    _, results, _ = campaign(np.ones((1, 4, 4)))

    def said(*counts):
        own = [replace(r, spikes=n, largest_spike_m=size) for r, (n, size) in zip(results, counts, strict=False)]
        found = deviation_counts.spikes(own)
        return found.value, found.method

    assert said((2, 33.4), (0, np.nan), (1, 71.6), (None, 99.0)) == (3.0, "in 2 of 3 recordings, the largest 72 m")
    assert said((0, np.nan)) == (0.0, "in 0 of 1 recording")
    value, method = said((None, np.nan))
    assert (np.isnan(value), method) == (True, "none: no recording has times")


def test_without_a_scored_ride_no_count_of_deviations_is_known():
    _, results, _ = campaign(np.ones((1, 3, 4)))
    unscored = [
        replace(results[0], crosstrack=None),
        replace(results[1], crosstrack=replace(results[1].crosstrack, scored_m=0.0)),
    ]
    found = deviation_counts.figures(unscored, 0.95)
    for name in ("receiver_errors", "route_choices", "undecided", "receiver_error_recordings"):
        assert (np.isnan(found[name].value), found[name].method) == (True, "none: no ride was scored")
    assert (found["scored_rides"].value, found["scored_rides"].of, found["scored_km"].value) == (0, 2, 0.0)
    # two recordings of one ride are one ride; one without a ride counts by itself
    joined = [results[0], replace(results[1], ride=results[0].ride), replace(results[2], ride="")]
    found = deviation_counts.figures([*joined, unscored[0]], 0.95)
    assert (found["scored_rides"].value, found["scored_rides"].of) == (2, 2)
    assert found["receiver_errors"].method == ""


# --- the road within ---------------------------------------------------------------------------------------------------


def test_half_two_thirds_and_95_per_cent_of_the_road():
    """Sizes 0 … 100, to both sides and over two rides: 50, 68.27 and 95, and √(100 · 201/6)."""
    both = np.where(np.arange(101) % 2, -1.0, 1.0) * np.arange(101.0)
    found = road_within.figures([np.append(both[:40], np.nan), both[40:]], 0.95)
    assert [found[n].value for n in ("xte_median_m", "xte_p68_m", "xte_p95_m")] == pytest.approx([50.0, 68.27, 95.0])
    assert found["xte_rms_m"].value == pytest.approx(np.sqrt(100 * 201 / 6))
    assert found["xte_rms_m"].method == "no interval: one fault outweighs all else in it"
    for rows in ([], [np.array([np.nan])]):
        nothing = road_within.figures(rows, 0.95)
        assert {name: (np.isnan(f.value), f.method) for name, f in nothing.items()} == dict.fromkeys(
            ("xte_median_m", "xte_p68_m", "xte_p95_m", "xte_rms_m"), (True, "none: no ride was scored")
        )


# --- recorded length --------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(("excess", "noise", "said"), [
    (0.013, 0.007, "recorded +1.3%, of which noise across the track explains +0.7%; the rest (+0.6%) fits noise along the "
                   "track, wandering at stops or changes too short to see"),
    (-0.02, 0.004, "recorded -2.0%, of which noise across the track explains +0.4%; the rest (-2.4%) fits corners cut by "
                   "smoothing or long steps between fixes"),
    (0.0119, 0.007, "recorded +1.2%, of which noise across the track explains +0.7%, which is all of it"),
    (0.0021, 0.007, "recorded +0.2%, of which noise across the track explains +0.7%, which is all of it"),
    (0.01, np.nan, "not known: too few stations"),
])  # fmt: skip
def test_why_a_length_differs(excess, noise, said):
    assert distance_bias._reason(excess, noise) == said


def test_length_that_noise_adds_by_hand():
    """Offsets 0, 3, 0, 3, … at each 5 m; with a fix each 5 m each step is 3 m across: 9/(2 · 25). At 10 m nothing changes."""
    _, results, _ = campaign(np.array([[[0.0, 3.0] * 20]]))
    result = replace(results[0], length_m=195.0)
    assert distance_bias._lengthening(result, 40) == pytest.approx(9 / 50)
    assert distance_bias._lengthening(result, 20) == 0.0  # 195/19 m are two stations, as nearly as can be
    assert distance_bias._lengthening(replace(result, length_m=20.0), 40) == pytest.approx(
        9 / 50
    )  # one station at least
    assert (
        distance_bias._lengthening(replace(result, length_m=7.9 * 19), 20) == 0.0
    )  # 7.9 m are nearer to two than to one
    assert distance_bias._lengthening(replace(result, length_m=5.0), 2) == pytest.approx(9 / 50)
    assert np.isnan(distance_bias._lengthening(result, 1))
    assert np.isnan(distance_bias._lengthening(replace(result, crosstrack=None), 40))
    gaps = np.array([0.0, 3.0, np.nan, 3.0, 4.0])
    cross = replace(crosstrack(gaps), offset_m=gaps)
    assert distance_bias._lengthening(replace(result, crosstrack=cross, length_m=20.0), 5) == pytest.approx(5 / 50)
    assert np.isnan(distance_bias._lengthening(replace(result, crosstrack=crosstrack(np.array([1.0]))), 5))
    lone = replace(crosstrack(gaps[2:4]), offset_m=gaps[2:4])
    assert np.isnan(distance_bias._lengthening(replace(result, crosstrack=lone), 5))
    pair = replace(crosstrack(np.array([1.0, 3.0])), offset_m=np.array([1.0, 3.0]))
    assert distance_bias._lengthening(replace(result, crosstrack=pair, length_m=5.0), 2) == pytest.approx(4 / 50)


def test_length_of_each_device_is_the_median_over_its_scored_recordings():
    traces, results, _ = campaign(np.array([[[0.0, 3.0] * 20] * 3, [[0.0] * 40] * 3]))
    traces = tuple(trace_on(np.zeros((40, 2)), device=t.device) for t in traces)
    ratios = [1.02, 1.05, 1.04, 0.97, 0.99, 2.0]
    results = [
        replace(r, length_m=195.0, curves=CurveDistances(*[1.0] * 7, ratio), duplicate_of="x" if ratio == 2.0 else "")
        for r, ratio in zip(results, ratios, strict=True)
    ]
    first, second = distance_bias.distance_biases(traces, results, Settings())
    assert (first.device, first.ratio.value, first.from_noise) == ("device 1", 1.04, pytest.approx(0.18))
    assert (second.device, second.ratio.value, second.from_noise) == ("device 2", pytest.approx(0.98), 0.0)
    assert second.ratio.method.startswith("range 0.970–0.990 of 2 rides")
    assert second.reason.startswith("recorded -2.0%")
    unscored = [replace(r, curves=None) if r.trace < 3 else r for r in results]
    assert [b.device for b in distance_bias.distance_biases(traces, unscored, Settings())] == ["device 2"]
    bare = [replace(r, curves=None) for r in results]
    assert distance_bias.distance_biases(traces, bare, Settings()) == ()


# --- what the receiver said of itself ---------------------------------------------------------------------------------


def said_of_itself(offset_m, hdop=None, sat=None, xy_m=None):
    """Return classes and trends of one device's rides: offsets at 5 m, a fix beside each station, hdop and satellites."""
    traces, results, routes = campaign(np.asarray(offset_m, float)[None])
    line = routes[0].centreline.xy_m
    places = [line + np.array([0.4, 7.0]) for _ in traces] if xy_m is None else xy_m
    own = [
        {k: np.asarray(v[i], float) for k, v in (("hdop", hdop), ("sat", sat)) if v is not None}
        for i in range(len(traces))
    ]
    traces = tuple(trace_on(xy, device=t.device, **more) for t, xy, more in zip(traces, places, own, strict=True))
    return error_by_quality(traces, results, (replace(routes[0], route=replace(routes[0].route, xy_m=tuple(places))),))


@pytest.mark.parametrize(("quantity", "edges"), [("hdop", [0, 1, 2, 5, 10, np.inf]), ("sat", [0, 4, 6, 8, 12, np.inf])])
def test_classes_of_the_receivers_own_figures(quantity, edges):
    """Ten fixes at each upper edge, whose class it is, and ten just above it; the error of each is its own number."""
    inside = [edges[k] for k in range(1, 5)] + [edge + 0.01 for edge in edges[1:5]]
    figure = np.repeat([0.01, *sorted(inside)], 10)
    size = np.repeat(np.arange(1.0, 10.0), 10)
    classes, _ = said_of_itself([size, size], **{quantity: [figure, figure]})
    assert [(c.device, c.quantity, c.low, c.high, c.fixes, c.rides) for c in classes] == [
        ("device 1", quantity, low, high, 20 if np.isinf(high) else 40, 2) for low, high in pairwise(edges)
    ]
    pairs = [(1, 2), (3, 4), (5, 6), (7, 8), (9, 9)]
    assert [c.rms_m for c in classes] == pytest.approx([np.sqrt((a**2 + b**2) / 2) for a, b in pairs])


def test_ten_fixes_are_needed_of_a_recording_and_of_a_class():
    size = np.arange(20.0)
    for known, told in ((10, True), (9, False)):
        some = np.where(np.arange(20) < known, 0.5 + 0.01 * np.arange(20), np.nan)
        classes, trends = said_of_itself([size], hdop=[some])
        assert (bool(classes), bool(trends)) == (told, told)
        unscored = np.where(np.arange(20) < known, size, np.nan)
        _, results, routes = campaign(size[None, None])
        cut = replace(results[0], crosstrack=crosstrack(unscored))
        route = replace(routes[0].route, xy_m=(routes[0].centreline.xy_m,))
        own = (trace_on(routes[0].centreline.xy_m, device="device 1", hdop=np.linspace(0.5, 0.9, 20)),)
        classes, _ = error_by_quality(own, (cut,), (replace(routes[0], route=route),))
        assert [c.fixes for c in classes] == ([10] if told else [])
    half = np.where(np.arange(20) < 11, 0.5, 3.0)  # eleven in one class, nine in another
    assert [(c.low, c.fixes) for c in said_of_itself([size], hdop=[half])[0]] == [(0, 11)]


def test_a_class_counts_the_rides_that_have_fixes_in_it():
    size = np.full(20, 3.0)
    classes, _ = said_of_itself([size, size, 2 * size], hdop=[np.full(20, 0.5), np.full(20, 0.7), np.full(20, 3.0)])
    assert [(c.low, c.fixes, c.rides, c.rms_m) for c in classes] == [(0, 40, 2, 3.0), (2, 20, 1, 6.0)]


def test_the_trend_is_the_median_rank_correlation_of_rides_that_vary():
    """One ride with the error rising as hdop does, one falling, one rising; one with constant hdop, one without error."""
    up, flat = np.arange(1.0, 21.0), np.full(20, 0.8)
    size = [up, -up[::-1], up, up, np.zeros(20)]
    _, (trend,) = said_of_itself(size, hdop=[up, up, 2 * up, flat, up])
    assert (trend.device, trend.quantity, trend.rides, trend.correlation.value) == (
        "device 1",
        "hdop",
        3,
        pytest.approx(1.0),
    )
    assert said_of_itself(size[3:], hdop=[flat, up])[1] == ()


def test_a_fix_takes_the_error_of_the_nearest_station():
    """Ten fixes at every second station, 2 m before it: they have the errors of these."""
    size = np.where(np.arange(20) % 2, 1.0, 5.0)
    at = np.column_stack([np.arange(0, 20, 2) * 5.0 - 2.0, np.zeros(10)])
    (found,), _ = said_of_itself([size], hdop=[np.full(10, 0.5)], xy_m=[at])
    assert (found.fixes, found.rms_m) == (10, 5.0)


def test_recordings_that_say_nothing_hide_none_that_do():
    """One unscored, one with other fixes than places, one without hdop, and a route without a line come before the one."""
    size, hdop = np.full(20, 3.0), np.full(20, 0.5)
    _, results, routes = campaign(np.array([[size] * 4]))
    line = routes[0].centreline.xy_m
    said = (hdop, hdop, np.full(20, np.nan), hdop)
    own = tuple(trace_on(line, device="device 1", hdop=h) for h in said)
    places = (line, line[:15], line, line)
    results = (replace(results[0], crosstrack=None), *results[1:])
    route = replace(routes[0], route=replace(routes[0].route, xy_m=places))
    lineless = replace(route, centreline=None)
    (found,), _ = error_by_quality(own, results, (lineless, route))
    assert (found.fixes, found.rides) == (20, 1)
    unscored = tuple(replace(r, crosstrack=None) for r in results)
    assert error_by_quality(own, unscored, (route,)) == ((), ())


# --- which recordings are whose -----------------------------------------------------------------------------------------


def test_each_device_has_its_own_recordings_and_a_route_without_table_hides_no_other():
    """Two devices on two routes, of which the first has no line; what is of both ways stands over all routes only."""
    one = campaign(np.array([[[1.0] * 30] * 3, [[4.0] * 30] * 3]), np.array([[5.0] * 3, [50.0] * 3]))
    two = campaign(
        np.array([[[2.0] * 30] * 3, [[6.0] * 30] * 3]), np.array([[7.0] * 3, [70.0] * 3]), route="B", first=6
    )
    traces, results, routes = (a + b for a, b in zip(one, two, strict=True))
    results = [
        replace(r, interval_s=1.04 + k % 3, curves=CurveDistances(*[10.04 + k % 3] * 7, 1.0))
        for k, r in enumerate(results)
    ]
    lineless = (replace(routes[0], centreline=None), routes[1])
    found = {(s.device, s.route): s for s in summarise(traces, results, lineless, Settings())}
    assert list(found) == [(d, r) for d in ("device 1", "device 2") for r in ("", "A", "B")]
    assert {key: s.rides for key, s in found.items()} == {key: 3 if key[1] else 6 for key in found}
    medians = {key: s.figures["ttff_median_s"].value for key, s in found.items()}
    assert medians == {
        ("device 1", ""): 6.0, ("device 1", "A"): 5.0, ("device 1", "B"): 7.0,
        ("device 2", ""): 60.0, ("device 2", "A"): 50.0, ("device 2", "B"): 70.0,
    }  # fmt: skip
    assert {key: s.figures["xte_median_m"].value for key, s in found.items() if key[1] != "A"} == {
        ("device 1", ""): 2.0, ("device 1", "B"): 2.0, ("device 2", ""): 6.0, ("device 2", "B"): 6.0,
    }  # fmt: skip
    few = "of 3 rides; no 95 % interval exists for so few"
    texts = {
        n: found["device 1", "A"].figures[n].method
        for n in ("interval_median_s", "frechet_median_m", "hausdorff_median_m")
    }
    assert texts == {
        "interval_median_s": f"range 1.0–3.0 {few}", "frechet_median_m": f"range 10.0–12.0 {few}",
        "hausdorff_median_m": f"range 10.0–12.0 {few}",
    }  # fmt: skip
    assert found["device 1", ""].figures["bias_m"].method.startswith("none: over both ways")
    assert found["device 1", "B"].figures["bias_m"].value == 2.0
    assert found["device 1", "B"].figures["ttff_ways_p"].method == "none: one way alone"


def test_body_and_ground_are_over_all_routes_only():
    """Out and back on one road: the second route's line is the first's the other way round."""
    one, two = campaign(np.full((1, 3, 200), 4.0)), campaign(np.full((1, 3, 200), 1.0), route="B", first=3)
    line = two[2][0].centreline
    back = replace(two[2][0], centreline=replace(line, xy_m=line.xy_m[::-1].copy()))
    found = {s.route: s.figures for s in summarise(one[0] + two[0], one[1] + two[1], (one[2][0], back), Settings())}
    assert (found[""]["offset_body_m"].value, found[""]["offset_ground_m"].value) == (2.5, 1.5)
    for route in ("A", "B"):
        assert found[route]["offset_body_m"].method == "none: no road was ridden both ways"


def test_start_states_are_groups_of_a_device():
    _, results, _ = one = campaign(np.ones((2, 2, 10)), np.array([[5.0, 50.0], [9.0, 90.0]]))
    states = ("hot", "cold", "hot", "hot")
    results = [replace(r, first_fix=replace(r.first_fix, start_state=s)) for r, s in zip(results, states, strict=True)]
    copied = [*results, replace(results[0], trace=3, duplicate_of="x")]
    found = [
        (s.device, s.state, s.recordings, s.figures["ttff_median_s"].value)
        for s in by_start_state(one[0], copied, Settings())
    ]
    assert found == [("device 1", "cold", 1, 50.0), ("device 1", "hot", 1, 5.0), ("device 2", "hot", 2, 49.5)]


def test_every_interval_is_of_the_confidence_that_is_set(monkeypatch):
    """Nothing stands at 95 % beside others at 80 %."""
    asked = []

    def answers(name):
        return lambda *given: asked.append((name, given[-1])) or {}

    for module, name in (
        (first_fixes, "times"), (first_fixes, "road_missed"), (road_within, "figures"), (device_figures.repeatability, "figure"),
        (deviation_counts, "figures"), (device_figures.offsets, "of_body_and_ground"), (device_figures, "_medians"),
    ):  # fmt: skip
        monkeypatch.setattr(module, name, answers(name))
    monkeypatch.setattr(deviation_counts, "spikes", lambda _: None)
    settings = Settings(confidence=0.8)
    device_figures._figures([], [], {}, settings)
    assert asked == [
        ("times", settings), ("road_missed", settings), ("figures", 0.8), ("figure", 0.8), ("figures", 0.8),
        ("of_body_and_ground", 0.8), ("_medians", 0.8),
    ]  # fmt: skip

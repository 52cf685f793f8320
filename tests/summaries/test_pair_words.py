"""The verdict of a comparison word by word, on both sides of each limit, and which rides it rests on."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from offset_campaigns import Truth, campaign, crosstrack, left_out_offsets, positions, waits, with_fix

from gpsq.model import FirstFix
from gpsq.settings import Settings
from gpsq.summaries import device_pairs
from gpsq.summaries.device_pairs import compare_pairs
from gpsq.summaries.pair_verdicts import with_verdict
from gpsq.summary_types import Interval, PairedComparison

NAN, INF = float("nan"), float("inf")
TIME = PairedComparison(
    "ttff_s", "A", "B", 9, Interval(6.0, 2.0, 10.0), False, 0.01, 0.02, "sign test", NAN, "", False, ""
)
RATIO = replace(TIME, measure="xte_p68_m", is_ratio=True, difference=Interval(1.5, 1.2, 1.9))
LATER = "A fixes later than B: in the median 6.0 s (95 % interval 2.0 to 10.0 s, sign test, p = 0.010, 9 rides)"
APART = "A and B cannot be told apart in time to first fix: in the median 6.0 s (95 % interval "
MORE = "A errs more than B: ratio 1.50 (95 % interval 1.20 to 1.90, sign test, p = 0.010, 9 rides)"


@pytest.mark.parametrize(
    ("base", "changes", "verdict", "shown"),
    [
        (TIME, {}, LATER, True),
        (TIME, {"left_out": "rides left out: 2"}, LATER[:-1] + "; rides left out: 2)", True),
        # the p of the comparison alone, and that allowed for all, at the level and just beyond
        (TIME, {"p": 0.05}, LATER.replace("0.010", "0.050"), True),
        (TIME, {"p": 0.051}, f"{APART}2.0 to 10.0 s, sign test, p = 0.051, 9 rides)", False),
        (TIME, {"p_adjusted": 0.05}, LATER, True),
        (TIME, {"p_adjusted": 0.051}, f"{LATER}; among 4 comparisons such a difference may be chance", False),
        (TIME, {"p_adjusted": 0.3}, f"{LATER}; among 4 comparisons such a difference may be chance", False),
        # an interval that touches nought, or a ratio of one
        (TIME, {"difference": Interval(6.0, 0.0, 10.0)}, f"{APART}0.0 to 10.0 s, sign test, p = 0.010, 9 rides)", False),
        (TIME, {"difference": Interval(0.6, 0.2, 0.9)},
         "A fixes later than B: in the median 0.6 s (95 % interval 0.2 to 0.9 s, sign test, p = 0.010, 9 rides)", True),
        (TIME, {"difference": Interval(-6.0, -10.0, 0.0)},
         "A and B cannot be told apart in time to first fix: in the median -6.0 s (95 % interval -10.0 to 0.0 s, sign test, "
         "p = 0.010, 9 rides)", False),
        (RATIO, {}, MORE, True),
        (RATIO, {"difference": Interval(1.5, 1.0, 1.9)},
         "A and B cannot be told apart in cross-track error: ratio 1.50 (95 % interval 1.00 to 1.90, sign test, p = 0.010, "
         "9 rides)", False),
        (RATIO, {"difference": Interval(0.5, 0.3, 0.9)},
         "A errs less than B: ratio 0.50 (95 % interval 0.30 to 0.90, sign test, p = 0.010, 9 rides)", True),
        # what so many rides would have missed is said where nothing is shown
        (TIME, {"p": 0.2, "detectable": 7.0},
         f"{APART}2.0 to 10.0 s, sign test, p = 0.200, 9 rides); a true difference under 7.0 s is likely to be missed with so "
         "many rides", False),
        (RATIO, {"p": 0.2, "detectable": 1.4, "difference": Interval(1.1, 0.9, 1.4)},
         "A and B cannot be told apart in cross-track error: ratio 1.10 (95 % interval 0.90 to 1.40, sign test, p = 0.200, "
         "9 rides); a true ratio under 1.40 is likely to be missed with so many rides", False),
        # one usable ride, none, two
        (TIME, {"rides": 1}, "nothing can be said of time to first fix: A and B share 1 usable ride", False),
        (TIME, {"rides": 0}, "nothing can be said of time to first fix: A and B share 0 usable rides", False),
        (TIME, {"rides": 2}, LATER.replace("9 rides", "2 rides"), True),
        (TIME, {"difference": Interval(6.0)},
         "A and B share too few rides to be told apart in time to first fix: in the median 6.0 s (sign test, p = 0.010, "
         "9 rides)", False),
        # bounds and middles without end
        (TIME, {"difference": Interval(6.0, 2.0, INF)}, LATER.replace("2.0 to 10.0 s", "over 2.0 s"), True),
        (TIME, {"difference": Interval(-6.0, -INF, -2.0)},
         "A fixes sooner than B: in the median -6.0 s (95 % interval under -2.0 s, sign test, p = 0.010, 9 rides)", True),
        (TIME, {"difference": Interval(NAN, -INF, INF)},
         "A and B cannot be told apart in time to first fix: in the median of no known size (95 % interval without ends, sign "
         "test, p = 0.010, 9 rides)", False),
        (TIME, {"difference": Interval(NAN, 2.0, INF)},
         "A fixes later than B: in the median of no known size (95 % interval over 2.0 s, sign test, p = 0.010, 9 rides)", True),
        (TIME, {"difference": Interval(INF, 2.0, INF)},
         "A fixes later than B: in the median without end (95 % interval over 2.0 s, sign test, p = 0.010, 9 rides)", True),
        (TIME, {"difference": Interval(-INF, -INF, -2.0)},
         "A fixes sooner than B: in the median without end (95 % interval under -2.0 s, sign test, p = 0.010, 9 rides)", True),
    ],
)  # fmt: skip
def test_the_verdict_word_by_word(base, changes, verdict, shown):
    found = with_verdict(replace(base, **changes), Settings(), 4)
    assert (found.verdict, found.shown) == (verdict, shown)


def test_what_is_withheld_says_why():
    found = with_verdict(RATIO, Settings(), 4, "they lie 14 m apart")
    assert (found.verdict, found.shown) == ("A and B are not compared in cross-track error: they lie 14 m apart", False)


# ---- first fixes ----
def fix(seconds=NAN, *, never=False, missed_m=NAN, least=False, state="hot"):
    return FirstFix(
        "log", seconds=seconds, censored=never, missed_m=missed_m, missed_is_minimum=least, start_state=state
    )


@pytest.mark.parametrize(
    ("first", "second", "seconds", "metres"),
    [
        (fix(9.0, missed_m=40.0), fix(4.0, missed_m=70.0), 5.0, -30.0),
        (fix(never=True), fix(4.0, missed_m=70.0), INF, INF),
        (fix(4.0, missed_m=70.0), fix(never=True), -INF, -INF),
        (fix(never=True), fix(never=True), 0.0, 0.0),
        (fix(9.0, missed_m=40.0, least=True), fix(4.0, missed_m=70.0, least=True), 5.0, -30.0),
        (fix(9.0, missed_m=40.0, least=True), fix(4.0, missed_m=70.0), 5.0, NAN),
        (fix(missed_m=40.0), fix(4.0, missed_m=70.0), NAN, -30.0),
    ],
)
def test_how_two_first_fixes_of_a_ride_differ(first, second, seconds, metres):
    np.testing.assert_equal(device_pairs._seconds_apart(first, second), seconds)
    np.testing.assert_equal(device_pairs._metres_apart(first, second), metres)


def test_rides_left_out_are_counted_by_what_they_lack():
    hot, unknown = [(fix(), fix())], [(fix(state="unknown"), fix(state="unknown"))]
    said = device_pairs._left_out
    assert said(0, 0, "ttff_s", hot) == ""
    assert said(3, 2, "ttff_s", hot) == "rides left out: 3 with different start states, 2 where a start is unknown"
    assert said(0, 1, "missed_m", hot) == (
        "rides left out: 1 where the road missed is unknown of one, or bounded below only"
    )
    doubt = "some start states are unknown, so hot and cold starts may be compared"
    assert said(0, 0, "ttff_s", unknown) == doubt
    assert said(1, 0, "ttff_s", unknown) == f"rides left out: 1 with different start states; {doubt}"


def test_of_eight_shared_rides_three_began_in_other_states():
    rng = np.random.default_rng(2)
    truth = Truth((2.0, 2.0), (0.0, 0.0), ttff_median_s=(10.0, 90.0))
    traces, results, routes = campaign(left_out_offsets(positions(truth, 8, rng)), waits(truth, 8, rng))
    results = tuple(with_fix(r, start_state="cold" if r.trace < 3 else "hot") for r in results)
    found = {c.measure: c for c in compare_pairs(traces, results, routes, Settings())}
    assert (found["ttff_s"].rides, found["ttff_s"].left_out) == (5, "rides left out: 3 with different start states")
    assert (found["xte_p68_m"].rides, found["xte_p68_m"].left_out) == (8, "")
    assert set(found) == {"ttff_s", "xte_p68_m", "repeatability_m"}  # nothing is known of the road missed


# ---- errors ----
def test_what_is_said_of_rides_with_little_road_in_common():
    said = device_pairs._said
    assert said(0, 0, False) == ""
    assert said(2, 0, False) == "rides left out: 2 with little road in common"
    assert said(2, 1, False) == "rides left out: 2 with little road in common, 1 alone on a way"
    assert said(0, 1, False) == "rides left out: 1 alone on a way"
    assert said(0, 0, True) == "compared where the one that records more rarely has fixes"
    assert said(1, 0, True) == (
        "rides left out: 1 with little road in common; compared where the one that records more rarely has fixes"
    )


def test_two_rides_of_which_little_is_shared_are_told_over_both_routes():
    rng = np.random.default_rng(5)
    parts = []
    for route, first in (("A", 0), ("B", 10)):
        traces, results, routes = campaign(rng.normal(0, 2, (2, 5, 60)), route=route, first=first)
        short = np.where(np.arange(60) < 15, results[0].crosstrack.offset_m, np.nan)
        parts.append((traces, (replace(results[0], crosstrack=crosstrack(short)), *results[1:]), routes))
    joined = tuple(a + b for a, b in zip(*parts, strict=True))
    found = {c.measure: c for c in compare_pairs(*joined, Settings())}["xte_p68_m"]
    assert (found.rides, found.left_out) == (8, "rides left out: 2 with little road in common")

"""How far off is usual: from what lies near the line, bounded by what others do, by place, and by ride."""

from __future__ import annotations

import numpy as np
import pytest
from courses import ALONG_M, COUNT, STEP_M, course
from hypothesis import given
from hypothesis import strategies as st
from trace_maker import smooth_noise

from gpsq.measures import usual_spread
from gpsq.model import Centreline

SIGMA_M = 4.0


def noise(seed, sigma_m=SIGMA_M, count=4000):
    return np.random.default_rng(seed).normal(0.0, sigma_m, count)


@given(share=st.floats(0.0, 0.6), away_m=st.floats(60.0, 500.0), seed=st.integers(0, 9))
def test_a_spread_comes_from_what_is_near_the_line(share, away_m, seed):
    """Whatever part of the way up to six tenths is off, and however far: the spread stays that of the rest."""
    offset = noise(seed)
    offset[: int(share * len(offset))] += away_m
    assert usual_spread.near_spread_m(offset) == pytest.approx(SIGMA_M, rel=0.06)


def test_no_offset_gives_no_spread_and_a_perfect_one_the_least():
    assert np.isnan(usual_spread.near_spread_m(np.full(10, np.nan)))
    assert usual_spread.near_spread_m(np.zeros(10)) == usual_spread.LEAST_SPREAD_M


def usual(**sigmas):
    """Return what is usual of rides a, b, … with one device each, named by its first letter, of these spreads."""
    made = [course(noise(k, s, COUNT), k) for k, s in enumerate(sigmas.values())]
    rides = {name: [c] for name, c in zip(sigmas, made, strict=True)}
    return usual_spread.usual(rides, STEP_M), made


def test_a_lone_recording_is_believed_up_to_twice_what_the_others_are():
    found, made = usual(a=3.0, b=3.0, c=3.0, d=5.0, e=30.0)
    others = np.median([usual_spread.near_spread_m(c.offset_m) for c in made[:4]])
    assert found.of_trace_m[3] == pytest.approx(5.0, rel=0.05)
    assert found.of_trace_m[4] == pytest.approx(2.0 * others)


def test_a_devices_usual_spread_holds_for_its_quiet_day_and_bounds_its_rough_one():
    made = [course(noise(k, s, COUNT), k, device="amber") for k, s in enumerate((4.0, 4.0, 1.0, 7.0, 20.0))]
    found = usual_spread.usual({str(k): [c] for k, c in enumerate(made)}, STEP_M).of_trace_m
    assert found[2] == pytest.approx(4.0, rel=0.05)
    assert found[3] == pytest.approx(7.0, rel=0.05)
    assert found[4] == pytest.approx(2.0 * 4.0, rel=0.08)


def test_a_device_is_bounded_by_its_own_rides_before_those_of_others():
    """A receiver of 8 m beside quiet ones of 2 m: its ride of 14 m is a bad day of its own, not one of theirs."""
    rough = [course(noise(k, s, COUNT), k, device="amber") for k, s in enumerate((8.0, 8.0, 8.0, 14.0))]
    quiet = [course(noise(k, 2.0, COUNT), k, device=f"quiet {k}") for k in range(4, 12)]
    found = usual_spread.usual({str(c.number): [c] for c in (*rough, *quiet)}, STEP_M).of_trace_m
    assert found[3] == pytest.approx(14.0, rel=0.05)


def test_a_trace_that_has_no_offset_anywhere_has_no_spread():
    """Nor has its device another ride: nothing is known, and no library warns of it."""
    unknown = course(np.full(COUNT, np.nan), 0, device="amber")
    quiet = [course(noise(k, 2.0, COUNT), k, device=f"quiet {k}") for k in (1, 2)]
    found = usual_spread.usual({str(c.number): [c] for c in (unknown, *quiet)}, STEP_M).of_trace_m
    assert np.isnan(found[0])
    assert found[1] == pytest.approx(2.0, rel=0.15)


def test_a_place_where_all_scatter_is_rough_and_one_where_two_of_five_are_elsewhere_is_not():
    rng, street = np.random.default_rng(3), (ALONG_M >= 1000) & (ALONG_M < 1400)
    offsets = [smooth_noise(rng, COUNT, 3.0, 0.8) * np.where(street, 3.0, 1.0) for _ in range(8)]
    rough = usual_spread.usual({str(k): [course(o, k)] for k, o in enumerate(offsets)}, STEP_M).rough
    assert np.median(rough[street]) == pytest.approx(3.0, rel=0.3)
    assert np.median(rough[~street]) < 1.3
    assert rough.min() >= 1.0
    offsets = [smooth_noise(rng, COUNT, 3.0, 0.8) + np.where(street & (k < 2), 100.0, 0.0) for k in range(5)]
    rough = usual_spread.usual({str(k): [course(o, k)] for k, o in enumerate(offsets)}, STEP_M).rough
    assert np.median(rough[street]) < 3.0


def line(spread_m, rides, band_m=np.nan):
    count = len(rides)
    xy = np.column_stack([STEP_M * np.arange(count), np.zeros(count)])
    spread = np.broadcast_to(np.asarray(spread_m, float), count).copy()
    return Centreline(xy, xy[:, 0].copy(), np.array(rides), np.array(rides), spread, np.full(count, band_m))


def test_a_line_is_the_surer_the_more_rides_it_has():
    """Standard error of a mean: 6 m over 4 rides is 3 m, over 9 rides 2 m."""
    assert usual_spread.line_sd_m(line(6.0, [4] * 20))[10] == pytest.approx(3.0)
    assert usual_spread.line_sd_m(line(6.0, [9] * 20))[10] == pytest.approx(2.0)


def test_a_line_whose_traces_disagree_is_in_doubt_there_only():
    spread = np.full(200, 4.0)
    spread[80:120] = 74.0
    found = usual_spread.line_sd_m(line(spread, [2] * 200))
    assert found[100] == pytest.approx(74.0 / np.sqrt(2.0))
    assert found[20] == pytest.approx(4.0 / np.sqrt(2.0))


def test_a_wider_confidence_band_of_the_line_counts():
    assert usual_spread.line_sd_m(line(4.0, [4] * 20, band_m=19.6))[10] == pytest.approx(10.0)
    assert usual_spread.line_sd_m(line(4.0, [4] * 20, band_m=1.0))[10] == pytest.approx(2.0)


def test_a_stretch_that_one_trace_reaches_is_as_doubtful_as_usual():
    spread = np.full(40, 4.0)
    spread[30:] = np.nan
    rides = [4] * 30 + [1] * 10
    assert usual_spread.line_sd_m(line(spread, rides))[39] == pytest.approx(4.0)


def test_what_a_device_is_always_off_to_one_side_is_taken_from_its_ride():
    """One device runs 14 m to the left all week: on the ride that both are 40 m off, it shows 40 m too, not 54."""
    detour = np.where((ALONG_M > 800) & (ALONG_M < 1200), 40.0, 0.0)
    rides = {
        str(day): [course(base, 2 * day, device="amber"), course(base + 14.0, 2 * day + 1, device="basalt")]
        for day in range(4)
        for base in [detour if day == 1 else np.zeros(COUNT)]
    }
    plain, less = usual_spread.usual(rides, STEP_M).together["1"]
    assert (plain.offset_m[200], plain.offset_m[20]) == (47.0, 7.0)
    assert (less.offset_m[200], less.offset_m[20]) == (40.0, 0.0)


def test_few_rides_tell_little_of_what_is_usual():
    """Student's factors at 99 %, two-sided, from any table: 9.925 for 2 degrees of freedom, 4.604 for 4, 3.250 for 9."""
    for rides, factor in ((3, 9.925), (5, 4.604), (10, 3.250)):
        assert usual_spread.ride_limit_m([2.0] * rides) == pytest.approx(2.0 * factor, abs=0.002)
    assert usual_spread.ride_limit_m([2.0]) == np.inf


def test_half_of_the_rides_on_roads_of_their_own_do_not_tell_what_is_usual():
    assert usual_spread.ride_limit_m([2.0] * 5 + [30.0] * 5) == pytest.approx(2.0 * 3.250, abs=0.002)


@pytest.mark.parametrize(("days", "well_known"), [(7, False), (8, True)])
def test_from_eight_rides_on_a_place_is_known_by_itself(days, well_known):
    """Both devices read 10 m to the left on the last third of the road on every ride: the line is wrong there, not they."""
    shift = np.where(ALONG_M > 1400, 10.0, 0.0)
    rides = {str(d): [course(shift, 2 * d + k, device=name) for k, name in enumerate("ab")] for d in range(days)}
    plain, less = usual_spread.usual(rides, STEP_M).together["0"]
    assert (plain.well_known, less.well_known) == (well_known, well_known)
    assert (plain.offset_m[300], less.offset_m[300]) == (10.0, 0.0 if well_known else 10.0)


def test_a_ride_that_one_device_recorded_has_no_common_course():
    rides = {str(day): [course(np.zeros(COUNT), day)] for day in range(4)}
    assert usual_spread.usual(rides, STEP_M).together == {}


@given(
    st.lists(
        st.tuples(st.sampled_from("abc"), st.sampled_from([0.5, 1.0, 1.25, 3.0, 9.0, float("nan")])),
        min_size=1,
        max_size=9,
    )
)
def test_bounds_are_those_of_the_formula_taken_for_each_trace_alone(traces):
    """Its device's median, or its own, up to twice the median of the device's others, or of all others."""
    everyone = [course(np.zeros(COUNT), k, device=device) for k, (device, _) in enumerate(traces)]
    own = [sd for _, sd in traces]
    found = usual_spread._bounded_m(everyone, dict(enumerate(own)))
    for k, (device, sd) in enumerate(traces):
        of_device = [x for j, (d, x) in enumerate(traces) if d == device and x == x and j != k]
        of_all = [x for j, x in enumerate(own) if x == x and j != k]
        bound = 2.0 * np.median(of_device or of_all) if of_device or of_all else np.inf
        usual = [np.median([*of_device, *([sd] if sd == sd else [])])] if of_device or sd == sd else []
        expected = [min(x, bound) for x in (*usual, sd) if x == x]
        assert found[k] == pytest.approx(max(expected, default=float("nan")), nan_ok=True)

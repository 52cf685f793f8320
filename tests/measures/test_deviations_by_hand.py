"""Where a stretch begins and ends, how far off it is, and what a trace is charged with: each bound met just so and missed."""

from __future__ import annotations

import dataclasses

import numpy as np
import pytest
from courses import ALONG_M, COUNT, course, plateau

from gpsq.geometry.alignment import Abreast
from gpsq.measures import deviations
from gpsq.measures.evidence import Stretch
from gpsq.measures.usual_spread import Together, Usual
from gpsq.model import Centreline
from gpsq.settings import Settings

NAN = float("nan")
SETTINGS = Settings(deviation_band_m=30.0, deviation_min_m=100.0, deviation_spread_factor=4.0, ride_band_m=15.0)
QUIET = np.zeros(COUNT)


def between(*ranges):
    """Return (401,) which stations lie from one to another, both included."""
    there = np.zeros(COUNT, bool)
    for low, high in ranges:
        there[low : high + 1] = True
    return there


def stretches(outside, away, along_m=ALONG_M):
    return deviations.stretches(outside, away, along_m, SETTINGS)


def test_a_stretch_reaches_from_where_it_leaves_to_where_it_is_back():
    assert stretches(between((100, 119)), between((90, 130))) == [(90, 130)]
    assert stretches(between((0, 19), (381, 400)), between((0, 30), (370, 400))) == [(0, 30), (370, 400)]
    assert stretches(between(), between((90, 130))) == []


def test_it_counts_from_100_m_outside_on():
    """20 stations of 5 m, wherever on the stretch they lie; 19 are too few."""
    assert stretches(between((100, 118)), between((90, 130))) == []
    assert stretches(between((100, 109), (120, 129)), between((90, 130))) == [(90, 130)]
    assert stretches(between((0, 0)), between((0, 0)), ALONG_M[:1]) == []
    assert stretches(between((100, 109)), between((90, 130)), 2.0 * ALONG_M) == [(90, 130)]


def test_two_under_50_m_apart_are_one():
    """From station 130 to 139 are 45 m, to 140 are 50. One that is not outside anywhere joins nothing."""
    far = between((100, 120), (145, 165))
    assert stretches(far, between((90, 130), (139, 170))) == [(90, 170)]
    assert stretches(far, between((90, 130), (140, 170))) == [(90, 130), (140, 170)]
    assert stretches(between((100, 120)), between((90, 130), (139, 170))) == [(90, 130)]
    three = between((90, 110), (115, 125), (130, 140))
    assert stretches(three, three) == [(90, 140)]


def test_beyond_the_band_is_outside_and_beyond_half_of_it_not_yet_back():
    outside, away = deviations._beyond(np.array([30.0, -30.1, 15.0, -15.1, NAN]), np.full(5, 30.0))
    assert outside.tolist() == [False, True, False, False, False]
    assert away.tolist() == [True, True, False, True, False]


def beside(of_trace_m=2.0, rough=1.0, rides=None):
    usual = Usual({0: of_trace_m}, np.broadcast_to(rough, COUNT) * np.ones(COUNT), {}, {})
    return deviations.Beside("r", rides or {}, usual, SETTINGS)


@pytest.mark.parametrize(
    ("spread_m", "rough", "doubt_m", "band_m"),
    [
        (2.0, 1.0, 0.0, 30.0),
        (10.0, 1.0, 0.0, 40.0),
        (10.0, 2.0, 0.0, 80.0),
        (2.0, 3.0, 9.0, 36.0),
        (10.0, 1.0, 9.0, 40.0),
    ],
)
def test_its_own_band_is_four_of_its_spreads_there_or_of_the_lines_and_30_m_at_least(spread_m, rough, doubt_m, band_m):
    def outside(off_m):
        doubt = np.full(COUNT, doubt_m)
        return deviations._alone(course(np.full(COUNT, off_m)), doubt, beside(spread_m, rough))

    assert not outside(band_m)[0].any()
    assert outside(band_m + 0.1)[0].all()
    assert not outside(band_m / 2)[1].any()
    assert outside(band_m / 2 + 0.1)[1].all()


def with_ride(own_m, joint_m, *, most_m=5.0, known=True, devices=3, rough=1.0, doubt_m=0.0, of_trace_m=None):
    """Return whether a trace so far off is outside, and away, with a ride whose devices together are so far off."""
    ones = np.ones(COUNT)
    offsets = dict.fromkeys(range(devices), (own_m if of_trace_m is None else of_trace_m) * ones)
    together = Together(joint_m * ones, most_m, known, offsets)
    found = deviations._with_ride(course(own_m * ones), together, doubt_m * ones, beside(rough=rough))
    return tuple(bool(mask.all()) for mask in found)


@pytest.mark.parametrize(("devices", "band_m"), [(3, 15.0), (12, 7.5), (2, 15.0 * np.sqrt(1.5))])
def test_a_ride_of_three_devices_is_judged_by_15_m_of_more_by_less(devices, band_m):
    assert with_ride(band_m + 0.1, band_m + 0.1, devices=devices) == (True, True)
    assert with_ride(band_m, band_m - 0.1, devices=devices) == (False, True)
    # what is usual of rides is not known: the band of a trace holds
    assert with_ride(29.9, 29.9, devices=devices, known=False) == (False, True)
    assert with_ride(30.1, 30.1, devices=devices, known=False) == (True, True)


def test_the_ride_may_be_off_by_what_rides_are_and_the_line_is():
    assert with_ride(50.0, 50.1, most_m=50.0)[0]
    assert not with_ride(50.0, 50.0, most_m=50.0)[0]
    assert with_ride(50.1, 50.1, most_m=25.0, rough=2.0)[0]
    assert not with_ride(50.0, 50.0, most_m=25.0, rough=2.0)[0]
    assert with_ride(48.1, 48.1, doubt_m=12.0)[0]
    assert not with_ride(48.0, 48.0, doubt_m=12.0)[0]


def test_it_goes_with_its_ride_within_10_m_or_half_of_how_far_that_is_off():
    assert with_ride(26.0, 16.0) == (True, True)
    assert with_ride(26.5, 16.0) == (False, False)
    assert with_ride(60.0, 40.0) == (True, True)
    assert with_ride(60.5, 40.0) == (False, False)
    assert with_ride(20.0, 40.0) == (True, True)
    assert with_ride(19.5, 40.0) == (False, False)
    assert with_ride(16.0, NAN) == (False, False)
    assert with_ride(16.0, 16.0, of_trace_m=NAN) == (False, False)


def test_it_must_be_off_itself_by_over_half_of_the_band():
    """Less what its device is always off it goes with its ride, 16 m off; as it is, it lies 7.5 m off, half of 15."""
    assert with_ride(7.5, 16.0, of_trace_m=16.0) == (False, True)
    assert with_ride(7.6, 16.0, of_trace_m=16.0) == (True, True)


def place(vertex):
    vertex = np.asarray(vertex, float)
    return Abreast(np.zeros((len(vertex), 2)), vertex, ~np.isnan(vertex))


def test_a_stretch_takes_in_the_fixes_of_the_station_before_and_after():
    at = place([0.0, 1.5, 3.2, NAN, 6.5, 8.0, 9.5])
    assert deviations.fixes_between(at, 2, 4) == (1, 8)
    assert deviations.fixes_between(at, 4, 4) == (6, 8)
    assert deviations.fixes_between(at, 0, 0) == (0, 2)
    assert deviations.fixes_between(at, 6, 6) == (8, 10)


def line():
    ones, nothing = np.ones(COUNT, dtype=np.int64), np.full(COUNT, NAN)
    xy = np.column_stack([ALONG_M, np.zeros(COUNT)])
    return Centreline(xy, ALONG_M.copy(), ones, ones.copy(), nothing, nothing.copy())


@pytest.mark.parametrize("side", [1.0, -1.0])
def test_what_is_said_of_a_stretch(side):
    """Off by 60 m from station 160 to 240, the ramps of 50 m long; one place, at 200, is off by 61 m."""
    offset = side * plateau(60.0)
    offset[200] = side * 61.0
    there = course(offset, 7, point=3 * np.arange(COUNT))
    usual = Usual({7: 2.5}, np.where(np.arange(COUNT) == 240, 2.0, 1.0), {}, {})
    judged = deviations.Beside("north", {}, usual, SETTINGS)
    stretch = deviations._stretch(there, 150, 240, QUIET, judged, by_itself=True)
    assert (stretch.low, stretch.high, stretch.first, stretch.last) == (150, 240, 149, 241)
    assert (stretch.spread_m, stretch.by_itself) == (5.0, True)
    assert deviations._stretch(there, 150, 239, QUIET, judged, by_itself=False).spread_m == 2.5
    found = deviations._described(stretch, line(), "north", ("receiver error", "it says so"))
    assert (found.trace, found.route, found.suggestion, found.evidence) == (7, "north", "receiver error", "it says so")
    assert (found.from_m, found.to_m, found.from_point, found.to_point) == (750.0, 1200.0, 447, 723)
    assert (found.from_time, found.to_time) == (there.trace.time[149], there.trace.time[241])
    assert (found.peak_m, found.side) == (61.0, "left" if side > 0 else "right")
    # 10 legs up a ramp of 6 in 5, 1 down it, 2 of the peak, 79 level ones, less 90 of 5 m
    assert found.extra_m == pytest.approx(11 * np.hypot(5.0, 6.0) + 2 * np.hypot(5.0, 1.0) + 79 * 5.0 - 450.0)


def test_the_peak_is_looked_for_on_the_stretch_alone():
    offset = np.zeros(COUNT)
    offset[150:201], offset[[149, 201]] = 40.0, 90.0
    there = course(offset)
    stretch = deviations._stretch(there, 150, 200, QUIET, beside(), by_itself=True)
    assert deviations._described(stretch, line(), "r", ("", "")).peak_m == 40.0
    offset[[150, 200]] = 50.0, -60.0
    stretch = deviations._stretch(course(offset), 150, 200, QUIET, beside(), by_itself=True)
    found = deviations._described(stretch, line(), "r", ("", ""))
    assert (found.peak_m, found.side) == (60.0, "right")


def test_an_excursion_lies_where_it_goes_round_the_line():
    """Twice the area between: 100 m by 80 m; places that are not known are left out."""
    there = course(np.full(COUNT, 80.0), covered=between((0, 99), (105, 400)))
    far = dataclasses.replace(there, place=dataclasses.replace(there.place, matched=np.zeros(COUNT, bool)))
    stretch = Stretch(far, 80, 100, 80, 100, 3.0, QUIET, 30.0)
    area = 2 * 80.0 * (95.0 + 100.0) / 2
    assert deviations._left_m(stretch, line(), 90) == pytest.approx(area)


@dataclasses.dataclass(frozen=True)
class Ends:
    """Of a deviation what its name is made of."""

    from_point: int
    to_point: int
    id: str = ""


def test_a_name_is_that_of_the_quarter_kilometre_its_middle_lies_in():
    """Fixes 5 m apart: from 0 to 99 the middle is at 247.5 m, part 0; to 100 at 250 m, part 1. A part that is taken
    already leads to the next that is free."""
    there = course(QUIET)

    def parts(*ends):
        names = [d.id for d in deviations.named([Ends(*e) for e in ends], there)]
        known = [deviations.deviation_id(there.trace.key, part) for part in range(20)]
        return [known.index(name) for name in names]

    assert parts((0, 99)) == [0]
    assert parts((0, 100)) == [1]
    assert parts((100, 110), (0, 20), (2, 8), (10, 14), (300, 310)) == [2, 0, 1, 3, 6]


def test_a_name_is_the_beginning_of_a_digest_of_the_recording_and_the_part():
    """SHA-256 of the text `ab 1 3`, as any program gives it."""
    assert deviations.deviation_id(("ab", 1), 3) == "de5a27"


@pytest.mark.parametrize(("own_m", "by_itself"), [(20.0, False), (31.0, True)])
def test_a_stretch_that_only_the_ride_shows_is_not_by_itself(monkeypatch, own_m, by_itself):
    """All three devices are off by as much: over 15 m as a ride; over 30 m each is off by itself too. Judged beside the
    others of the ride and all other rides, and told with its own name."""
    asked = []
    monkeypatch.setattr(deviations, "judged", lambda *given: asked.append(given) or ("route choice", "all of them"))
    own = [course(plateau(own_m), number) for number in range(3)]
    rides = {"tuesday": own, "monday": [course(QUIET, 3)], "friday": [course(QUIET, 4)]}
    together = Together(plateau(own_m), 5.0, True, {k: plateau(own_m) for k in range(3)})
    usual = Usual(dict.fromkeys(range(5), 2.0), np.ones(COUNT), {"tuesday": (together,)}, {})
    judged_beside = deviations.Beside("r", rides, usual, SETTINGS)
    (found,) = deviations.find(own[1], "tuesday", line(), judged_beside)
    (stretch, companions, others), *more = asked
    assert more == []
    assert stretch.by_itself is by_itself
    assert companions == [own[0], own[2]]
    assert others == {"monday": rides["monday"], "friday": rides["friday"]}
    assert (found.suggestion, found.peak_m, len(found.id)) == ("route choice", own_m, 6)
    assert deviations.find(rides["monday"][0], "monday", line(), judged_beside) == ()


def test_a_stretch_is_by_itself_to_its_very_last_station(monkeypatch):
    """Outside on 20 stations, its last among them: 100 m, no less."""
    asked = []
    monkeypatch.setattr(deviations, "judged", lambda stretch, *_: asked.append(stretch) or ("", ""))
    there = course(np.where(between((100, 119)), 31.0, 0.0))
    usual = Usual({0: 2.0}, np.ones(COUNT), {}, {})
    (found,) = deviations.find(there, "r", line(), deviations.Beside("r", {"r": [there]}, usual, SETTINGS))
    assert (found.from_m, found.to_m, asked[0].by_itself) == (500.0, 595.0, True)

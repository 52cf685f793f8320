"""The lone tester's week: one device, both ways, one flat folder, files that begin at the first fix; the truth kept aside."""

from __future__ import annotations

import re

import numpy as np
import pytest
from lone_scores import batteries, estimated, missed, scored_week, suggestions
from lone_week import KINDS, SEARCHES, lone_week


@pytest.mark.parametrize("kind", KINDS)
def test_nothing_in_a_lone_week_says_how_long_the_device_searched(kind):
    week = lone_week(3, kind)
    assert len(week.documents) == 12
    for name, text in week.documents.items():
        truth = week.truth[name]
        assert "/" not in name
        assert "<metadata>" not in text
        first = np.datetime64(re.search(r"<time>(.*?)Z</time>", text)[1])
        assert (first - truth.started) / np.timedelta64(1, "s") == truth.ttff_s > 0
        assert re.search(r"<trkpt .*?>", text)[0] != '<trkpt lat="0.000000" lon="0.000000">'


def test_a_lone_week_has_one_ride_of_each_odd_kind_and_is_always_the_same():
    week = lone_week(5)
    truths = week.truth.values()
    assert [sum(getattr(t, what) for t in truths) for what in ("detour", "excursion")] == [1, 1]
    (dead,) = [t for t in truths if t.ended_early_m]
    assert 400 < dead.ended_early_m < 2500
    assert lone_week(5).documents == week.documents
    assert lone_week(6).documents != week.documents


@pytest.mark.parametrize(("search", "bounds"), SEARCHES.items())
def test_who_searches_longer_misses_more_road(search, bounds):
    truths = list(lone_week(2, search=search).truth.values())
    assert all(bounds[0] - 1 < t.ttff_s < bounds[1] + 1 for t in truths)
    ridden_s = np.array([max(t.ttff_s - 6.0, 0.0) for t in truths])
    assert (np.array([t.missed_m for t in truths]) >= 2.0 * ridden_s - 30.0).all()
    assert max(t.missed_m for t in truths) < 7.0 * bounds[1]


def test_a_file_named_by_the_clock_bears_the_minute_in_which_start_was_pressed():
    for name, truth in lone_week(4, named_by_clock=True).truth.items():
        local = truth.started + np.timedelta64(2, "h")
        assert name == str(local)[:16].replace("T", "_").replace(":", "-") + ".gpx"


@pytest.fixture(scope="module")
def plain():
    """Three weeks, one for each way of searching; ``tests/validation/lone_weeks.py`` scores as many as wanted."""
    return [ride for seed, search in enumerate(SEARCHES) for ride in scored_week(200 + seed, search=search)]


def test_the_road_missed_is_known_to_some_metres_and_nothing_exact_is_wrong(plain):
    median_m, most_m = missed(plain)
    assert sum(ride.is_bound for ride in plain) <= len(plain) / 4
    assert median_m <= 15.0
    assert most_m <= 45.0
    assert not any(ride.is_wrong for ride in plain)
    assert np.mean([ride.holds for ride in plain]) >= 0.9


def test_a_time_is_worked_out_to_some_seconds_and_none_is_called_measured(plain):
    off_s, holds = estimated(plain)
    assert sum(ride.is_estimated for ride in plain) >= 0.75 * len(plain)
    assert off_s <= 6.0
    assert holds >= 0.85
    assert all(np.isnan(ride.result.first_fix.seconds) for ride in plain)
    widths = [r.result.first_fix.estimate_high_s - r.result.first_fix.estimate_low_s for r in plain if r.is_estimated]
    assert np.median(widths) <= 45.0, "bounds that hold everything say nothing"


def test_a_battery_that_died_is_found_and_no_other(plain):
    assert batteries(plain) == (3, 3, 0)


def test_no_excursion_is_a_choice_of_road_and_no_detour_an_error_of_the_receiver(plain):
    detours = suggestions(plain, "detour")
    assert len(detours) >= 3
    assert "receiver error" not in detours
    assert "route choice" not in suggestions(plain, "excursion")


@pytest.mark.parametrize(("kind", "seed"), [(kind, 210 + i) for i, kind in enumerate(KINDS[1:])])
def test_where_the_end_of_the_way_back_is_no_place_of_the_start_nothing_exact_is_wrong(kind, seed):
    rides = scored_week(seed, kind)
    assert not [(r.truth.file, r.missed_off_m) for r in rides if r.is_wrong]
    assert np.mean([ride.holds for ride in rides]) >= 0.9
    if kind == "three parking places":
        assert all(ride.is_bound for ride in rides)
    if kind == "waits a minute":
        worked_out = [ride.result.first_fix for ride in rides if ride.is_estimated]
        assert all(np.isinf(fix.estimate_high_s) for fix in worked_out)


def test_a_clock_in_the_name_narrows_the_bounds():
    by_road, by_name = (scored_week(221, named_by_clock=named) for named in (False, True))
    widths = [
        np.median(
            [r.result.first_fix.estimate_high_s - r.result.first_fix.estimate_low_s for r in rides if r.is_estimated]
        )
        for rides in (by_road, by_name)
    ]
    assert widths[1] < widths[0]
    assert estimated(by_name)[1] >= 0.85

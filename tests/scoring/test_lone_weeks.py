"""The lone tester's week: one device, both ways, one flat folder, files that begin at the first fix; the truth kept aside."""

from __future__ import annotations

import re

import numpy as np
import pytest
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

"""Several campaigns side by side, from results folders written by hand: what may be compared, and what not."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from written_results import ROAD, one, results

from gpsq.exceptions import InputError
from gpsq.settings import Settings
from gpsq.statistics import paired
from gpsq.summaries.across import bridges
from gpsq.summaries.across.bridge_verdicts import SAME_RIDES, Bridge, verdict
from gpsq.summaries.across.bridges import between_all, carried_most, over_time
from gpsq.summaries.across.campaigns import compare_campaigns
from gpsq.summaries.across.results_read import Results, read
from gpsq.summary_types import Interval


def tracks(errors, *, route="A", state="hot", waits=None, interval_s=1.0):
    """Return rows of tracks: for each device a size of error and a wait for each ride; nan is not known, inf never."""
    rows = []
    for device, own in errors.items():
        for ride, size in enumerate(own):
            wait = np.nan if waits is None else waits[device][ride]
            rows.append({
                "device": device, "route": route, "ride": f"R{ride}", "start_state": state, "interval_s": f"{interval_s}",
                "xte_p68_m": f"{size}" if np.isfinite(size) else "", "ttff_s": f"{wait}" if np.isfinite(wait) else "",
                "censored": "true" if np.isinf(wait) else "false",
            })  # fmt: skip
    return tuple(rows)


def year(name, errors, **more):
    return Results(name, (), tracks(errors, **more), {})


def pair(results_of, first, second, measure="xte_p68_m", state=""):
    found = between_all(results_of, Settings())
    return next(b for b in found if (b.first, b.second, b.measure, b.state) == (first, second, measure, state))


def drawn(rng, own, rides, sky=1.0):
    """Sizes of error of devices whose own are given: each ride and the sky of the year are common to all."""
    ride = sky * np.exp(0.2 * rng.standard_normal(rides))
    return {d: size * ride * np.exp(0.25 * rng.standard_normal(rides)) for d, size in own.items()}


def test_devices_of_one_ride_are_compared_ride_by_ride():
    found = pair([year("one", {"a": [2.0, 4.0, 3.0], "b": [1.0, 2.0, 1.5]})], "a", "b")
    assert (found.via, found.rides_first, found.found.value) == (SAME_RIDES, 3, pytest.approx(2.0))
    assert found.verdict.startswith("a errs more than b: ratio 2.00")


@pytest.mark.parametrize("confidence", [0.5, 0.95])
def test_times_of_the_same_rides_differ_within_the_campaigns_own_level(confidence):
    later = dict(enumerate((20.0, 31.0, 45.0, 12.0, 60.0, 38.0, 27.0, 51.0)))
    waits = {"one": {"a": later, "b": {ride: 10.0 + 2.0 * ride for ride in later}}}
    found = bridges._of_waits("a", "b", "", waits, Settings(confidence=confidence))
    apart = np.array([later[ride] - 10.0 - 2.0 * ride for ride in later])
    assert found.found == paired.median_difference(apart, confidence)


def test_devices_of_two_years_are_compared_by_way_of_one_carried_along():
    before = year("old", {"old": [2.0, 4.0, 8.0], "ref": [1.0, 2.0, 4.0]}, route="A")
    after = year("new", {"new": [3.0, 6.0, 3.0], "ref": [3.0, 6.0, 3.0]}, route="other road")
    found = pair([before, after], "new", "old")
    assert (found.via, found.campaigns) == ("ref", "new, old")
    assert found.found.value == pytest.approx(0.5)  # equal to the reference, which is half of the old one
    assert found.found.high < 1
    assert found.verdict.startswith("new errs less than old: ratio 0.50")
    assert "by way of ref" in found.verdict


def test_bridged_intervals_hold_the_truth_where_direct_ones_would_not():
    """Identical devices, the second sky 1.4 times worse; 92 of 100 asked, 60 drawn here: under 51 is one in a hundred."""
    rng = np.random.default_rng(1)
    held = direct = 0
    for _ in range(60):
        before = year("old", drawn(rng, {"old": 2.0, "ref": 2.0}, 9))
        after = year("new", drawn(rng, {"new": 2.0, "ref": 2.0}, 9, sky=1.4))
        found = pair([before, after], "new", "old").found
        held += found.low <= 1 <= found.high
        logs = [np.log([float(t["xte_p68_m"]) for t in r.tracks if t["device"] != "ref"]) for r in (before, after)]
        unbridged = paired.ratio(logs[1] - logs[0])
        direct += unbridged.low <= 1 <= unbridged.high
    assert held >= 51
    assert direct < 40


def test_a_device_half_again_as_bad_is_found_over_two_years():
    rng = np.random.default_rng(2)
    found = 0
    for _ in range(30):
        before = year("old", drawn(rng, {"old": 2.0, "ref": 2.0, "ref 2": 2.5}, 10))
        after = year("new", drawn(rng, {"new": 3.0, "ref": 2.0, "ref 2": 2.5}, 10, sky=1.4))
        b = pair([before, after], "new", "old")
        assert b.via == "ref and ref 2"
        found += b.found.low > 1
    assert found >= 24


def test_without_a_device_carried_along_nothing_is_claimed():
    before, after = year("old", {"a": [2.0] * 6, "b": [1.0] * 6}), year("new", {"c": [3.0] * 6, "d": [9.0] * 6})
    found = between_all([before, after], Settings())
    none = [b for b in found if {b.first, b.second} & {"a", "b"} and {b.first, b.second} & {"c", "d"}]
    assert len(none) == 4
    for b in none:
        assert np.isnan(b.found.value)
        assert b.verdict.endswith("not comparable: no device was carried along")


def test_one_of_the_two_themselves_is_not_what_was_carried_along():
    """The first rode in both campaigns, and never with the second."""
    before = year("old", {"a": [2.0, 3.0, 4.0]})
    after = year("new", {"a": [2.0, 3.0, 4.0]})
    others = tuple({**t, "device": "b", "ride": f"other {k}"} for k, t in enumerate(after.tracks))
    found = pair([before, replace(after, tracks=(*after.tracks, *others))], "a", "b")
    assert found.verdict.endswith("not comparable: no device was carried along")


def test_three_bridges_are_put_together():
    rng = np.random.default_rng(3)
    old = [year(f"old {k}", drawn(rng, {"old": 4.0, "ref": 2.0}, 5)) for k in range(3)]
    new = [year(f"new {k}", drawn(rng, {"new": 2.0, "ref": 2.0}, 5)) for k in range(3)]
    found = pair([*old, *new], "new", "old")
    assert "random effects over 3 bridges" in found.found.method
    assert (found.rides_first, found.rides_second) == (15, 15)
    assert found.found.value == pytest.approx(0.5, rel=0.25)


def test_bridges_that_share_rides_are_not_put_together():
    """Six campaigns of the old device and one of the new: its rides are in all six bridges, so they are no six trials.

    Taken as such the interval held the truth in 78 of 100 cases; 92 are asked, and of 60 under 51 would be one in a hundred.
    """
    rng = np.random.default_rng(4)
    held = 0
    for _ in range(60):
        old = [year(f"old {k}", drawn(rng, {"old": 2.0, "ref": 2.0}, 8)) for k in range(6)]
        found = pair([*old, year("new", drawn(rng, {"new": 2.0, "ref": 2.0}, 8, sky=1.4))], "new", "old")
        assert (found.rides_first, found.rides_second) == (8, 8)
        held += found.found.low <= 1 <= found.found.high
    assert held >= 51


def test_devices_that_a_campaign_does_not_compare_are_not_compared_across_campaigns_either():
    """Two that lie 14 m apart: which of them is right cannot be known, so neither may be held against the other."""
    why = "they lie 14 m apart, and which is right cannot be known without a surveyed line"
    rows = {"a": [2.0, 3.0, 4.0], "b": [8.0, 9.0, 9.5], "ref": [2.0, 2.5, 3.0]}
    apart = replace(year("one", rows), withheld={("a", "b"): why})
    found = pair([apart, year("two", {"b": [2.0, 3.0, 3.0], "ref": [2.0, 3.0, 4.0]})], "a", "b")
    assert np.isnan(found.found.value)
    assert found.verdict == f"a and b, cross-track error: not comparable: {why}"
    assert pair([apart], "a", "ref").via == SAME_RIDES
    # and one that lies apart from either is no bridge
    away = replace(year("one", {"a": [2.0, 3.0, 4.0], "ref": [8.0, 9.0, 9.5]}), withheld={("a", "ref"): why})
    bridged = pair([away, year("two", {"c": [2.0, 3.0, 3.0], "ref": [2.0, 3.0, 4.0]})], "a", "c")
    assert bridged.verdict.endswith("not comparable: what was carried along (ref) is no measure of both")


def test_a_device_that_records_at_another_interval_is_no_bridge():
    """Its error against either holds what sampling does, and that does not cancel."""
    before = year("old", {"old": [2.0, 4.0, 8.0], "ref": [1.0, 2.0, 4.0]})
    rows = (*tracks({"new": [3.0, 6.0, 3.0]}, interval_s=2.4), *tracks({"ref": [3.0, 6.0, 3.0]}))
    assert pair([before, Results("new", (), rows, {})], "new", "old").via == "ref"
    slow = (*tracks({"new": [3.0, 6.0, 3.0]}, interval_s=7.0), *tracks({"ref": [3.0, 6.0, 3.0]}, interval_s=1.0))
    alike = Results("old", (), tracks({"old": [2.0, 4.0, 8.0]}, interval_s=7.0) + tracks({"ref": [1.0, 2.0, 4.0]}), {})
    found = pair([alike, Results("new", (), slow, {})], "new", "old")
    assert found.verdict.endswith("not comparable: what was carried along (ref) is no measure of both")


def test_what_a_campaign_does_not_compare_is_read_from_its_results(tmp_path):
    folder = one(tmp_path, "a")
    head, row = (
        "measure,first,second,verdict",
        "xte_p68_m,a,b,a and b are not compared in cross-track error: they lie 14 m apart",
    )
    (folder / "comparisons.csv").write_text(f"{head}\n{row}\nttff_s,a,b,a fixes later than b\n")
    assert read(folder).withheld == {("a", "b"): "they lie 14 m apart"}
    (folder / "comparisons.csv").unlink()
    assert read(folder).withheld == {}


def test_times_from_unknown_start_states_say_so():
    waits = {"a": [5.0, 6.0, 7.0, 8.0, 9.0, 10.0], "b": [25.0, 26.0, 27.0, 28.0, 29.0, 30.0]}
    years = [year("one", {d: [1.0] * 6 for d in waits}, waits=waits, state="unknown")]
    assert "hot and cold starts may be compared" in pair(years, "a", "b", "ttff_s", "unknown").verdict
    hot = [year("one", {d: [1.0] * 6 for d in waits}, waits=waits)]
    assert "hot and cold starts may be compared" not in pair(hot, "a", "b", "ttff_s", "hot").verdict


def test_the_level_of_an_interval_is_said_as_it_was_set():
    found = between_all(
        [year("one", {"a": [2.0, 4.0, 3.1], "b": [1.0, 2.0, 1.5]})], replace(Settings(), confidence=0.9)
    )
    assert "(90 % interval" in found[0].verdict


def test_devices_that_record_at_other_intervals_are_not_compared():
    one_year = year("one", {"a": [2.0] * 4})
    slow = year("two", {"b": [2.0] * 4}, interval_s=20.0)
    found = pair([one_year, slow], "a", "b")
    assert found.verdict.endswith("not comparable: a records every 1 s, b every 20 s")


def test_times_are_compared_within_a_start_state_and_never_is_late():
    waits = {"a": [5.0, 6.0, 7.0, 8.0, 9.0, 10.0], "b": [25.0, 26.0, 27.0, 28.0, np.inf, 30.0]}
    hot = year("one", {d: [1.0] * 6 for d in waits}, waits=waits)
    found = pair([hot], "a", "b", "ttff_s", "hot")
    assert (found.found.value, found.found.low, found.found.high) == (-20.0, -np.inf, -20.0)
    assert found.verdict.startswith("a fixes sooner than b from hot starts")
    cold = year("two", {"c": [1.0] * 6}, waits={"c": [60.0] * 6}, state="cold")
    states = {b.state for b in between_all([hot, cold], Settings()) if b.measure == "ttff_s"}
    assert states == {"hot"}  # c has no hot start and a and b no cold one: nothing to hold against


def test_where_neither_device_ever_fixed_there_is_no_difference():
    waits = {"a": [5.0, 6.0, 7.0, 8.0, 9.0, np.inf], "b": [25.0, 26.0, 27.0, 28.0, 29.0, np.inf]}
    found = pair([year("one", {d: [1.0] * 6 for d in waits}, waits=waits)], "a", "b", "ttff_s", "hot")
    assert (found.found.value, found.found.low, found.found.high) == (-20.0, -20.0, 0.0)


def test_times_of_two_years_are_bridged_as_a_difference_of_medians():
    before = {"old": [12.0, 13, 14, 15, 16, 17, 18], "ref": [10.0] * 7}
    after = {"new": [40.0, 41, 42, 43, 44, 45, 46], "ref": [30.0] * 7}
    years = [year(n, {d: [1.0] * 7 for d in w}, waits=w) for n, w in (("old", before), ("new", after))]
    found = pair(years, "new", "old", "ttff_s", "hot")
    assert (found.via, found.found.value) == ("ref", 8.0)
    # Both medians with the bounds 3 either way (smallest and largest of seven): √(3² + 3²).
    assert (found.found.low, found.found.high) == pytest.approx((8 - np.sqrt(18), 8 + np.sqrt(18)))


def test_the_device_that_most_are_held_against_is_the_one_carried_along():
    years = [year("old", {"a": [2.0] * 4, "ref": [2.0] * 4}), year("new", {"b": [2.0] * 3, "ref": [2.0] * 3})]
    assert carried_most(years, between_all(years, Settings())) == "ref"
    # one that only one campaign has was not carried along, however many it can be held against
    apart = {("d", "ref"): "they lie apart"}
    before = replace(year("old", {d: [2.0] * 4 for d in ("a", "b", "d", "ref")}), withheld=apart)
    years = [before, year("new", {"ref": [2.0] * 4})]
    assert carried_most(years, between_all(years, Settings())) == "ref"
    assert carried_most([before], between_all([before], Settings())) == "a"
    lone = [year("old", {"a": [2.0] * 4}), year("new", {"b": [2.0] * 4})]
    assert carried_most(lone, between_all(lone, Settings())) == ""


def test_of_two_bridges_the_one_with_more_rides_is_taken():
    """By way of the first five rides a is 3 times b; by way of the other three 1/2; of the campaigns nothing is in common."""
    five, three = np.array([1.0, 2.0, 4.0, 2.0, 1.0]), np.array([1.0, 3.0, 2.0])
    years = [
        year("p1", {"a": 6 * three, "r": 12 * three}), year("p2", {"b": three, "r": three}),
        year("q1", {"a": 3 * five, "r": five}), year("q2", {"b": five, "r": five}),
    ]  # fmt: skip
    found = pair(years, "a", "b")
    assert (found.via, found.campaigns, found.rides_first, found.rides_second) == ("r", "q1, q2", 5, 5)
    assert found.found.value == pytest.approx(3.0)


def test_two_devices_carried_along_are_one_bridge_by_their_mean():
    """On the logarithm: a less the mean of r and s, and b less it; the sizes of r and s differ by 4, so their mean is 2 r."""
    one_ride = np.array([1.0, 2.0, 4.0])
    years = [
        year("old", {"a": 6 * one_ride, "r": one_ride, "s": 4 * one_ride}),
        year("new", {"b": 5 * one_ride[::-1], "r": 5 * one_ride[::-1], "s": 20 * one_ride[::-1]}),
    ]
    found = pair(years, "a", "b")
    assert (found.via, found.rides_first, found.rides_second) == ("r and s", 3, 3)
    assert found.found.value == pytest.approx(3.0 / 0.5)


def test_a_device_now_against_one_of_before():
    """By way of r: now 3 times r, then 1.5 times it; the figure does not depend on which rides were shared, only this and that."""
    ride = np.array([1.0, 2.0, 4.0, 2.0])
    now = year("now", {"a": 3 * ride, "r": ride, "old": ride})
    then = year("then", {"old": 1.5 * ride[:3], "a": 6 * ride[:3], "r": ride[:3]})
    found = over_time("a", "old", now, then, Settings())
    assert (found.via, found.campaigns, found.rides_first, found.rides_second) == ("r", "now, then", 4, 3)
    assert found.found.value == pytest.approx(2.0)
    itself = over_time("a", "a", now, then, Settings())
    assert (itself.via, itself.found.value) == ("old and r", pytest.approx(3.0 / np.sqrt(6.0 / 1.5 * 6.0)))
    lone = over_time("a", "old", year("now", {"a": ride}), then, Settings())
    assert (lone.via, lone.campaigns, lone.rides_first, lone.rides_second) == ("", "", 0, 0)
    assert lone.found.method == "none: no device was carried along"
    rarely = year("then", {"old": 1.5 * ride, "r": ride}, interval_s=20.0)
    slow = over_time("a", "old", now, rarely, Settings())
    assert (slow.found.method, slow.via, slow.rides_first, slow.rides_second) == (
        "none: one records every 1 s, the other every 20 s", "", 0, 0,
    )  # fmt: skip


def test_three_rides_are_needed_together_and_over_a_bridge():
    two, three = [1.0, 2.0], [1.0, 2.0, 4.0]
    few = pair([year("one", {"a": two, "b": two})], "a", "b")
    assert few.verdict == "a and b, cross-track error: not comparable: too few rides together"
    assert (few.via, few.campaigns, few.rides_first, few.rides_second) == ("", "", 0, 0)
    over = pair([year("one", {"a": three, "r": three}), year("two", {"b": two, "r": two})], "a", "b")
    assert over.verdict.endswith("not comparable: what was carried along (r) is no measure of both")
    assert (over.via, over.rides_first, over.rides_second) == ("", 0, 0)
    withheld = replace(year("one", {"a": three, "b": three}), withheld={("a", "b"): "they lie 14 m apart"})
    apart = pair([withheld], "a", "b")
    assert (apart.verdict, apart.rides_first, apart.rides_second) == (
        "a and b, cross-track error: not comparable: they lie 14 m apart", 0, 0,
    )  # fmt: skip
    lone = pair([year("one", {"a": three}), year("two", {"b": three})], "a", "b")
    assert lone.verdict.endswith("not comparable: no device was carried along")


def test_of_equals_the_device_with_most_rides_was_carried_most_and_of_those_the_first_by_name():
    def most(**rides):
        years = [year(n, {d: [2.0] * k for d, k in rides.items()}) for n in ("old", "new")]
        return carried_most(years, between_all(years, Settings()))

    assert most(a=4, b=6) == "b"
    assert most(b=4, a=4) == "a"
    assert most(a=4, b=6, c=5) == "b"


def test_times_by_way_of_the_device_with_most_rides():
    """Of r there are three rides each year, of s four: new less s 11, old less s 1; over r it would be 5."""
    before = {"old": [11.0, 21.0, 31.0, 41.0], "r": [4.0, 14.0, 24.0, np.nan], "s": [10.0, 20.0, 30.0, 40.0]}
    after = {"new": [12.0, 13.0, 14.0, 15.0], "r": [0.0, 1.0, 2.0, np.nan], "s": [1.0, 2.0, 3.0, 4.0]}
    years = [year(n, {d: [1.0] * 4 for d in w}, waits=w) for n, w in (("old", before), ("new", after))]
    found = pair(years, "new", "old", "ttff_s", "hot")
    assert (found.via, found.campaigns, found.found.value) == ("s", "new, old", 10.0)
    assert (found.rides_first, found.rides_second) == (4, 4)
    assert found.verdict == (
        "new and old, time to first fix, hot starts: difference 10.0 s, too few rides to tell them apart "
        "(by way of s, 4 rides)"
    )
    alone = [year("old", {"old": [1.0] * 4}, waits={"old": before["old"]}), years[1]]
    none = pair(alone, "new", "old", "ttff_s", "hot")
    assert (none.via, none.rides_first, none.rides_second) == ("", 0, 0)
    assert none.verdict == "new and old, time to first fix, hot starts: not comparable: no device was carried along"


RATIO = Bridge("a", "b", "xte_p68_m", "", "r", "old, new", Interval(1.5, 1.2, 1.9), 5, 5)
WAIT = Bridge("a", "b", "ttff_s", "cold", SAME_RIDES, "new", Interval(-6.0, -9.0, -2.0), 7, 7)


@pytest.mark.parametrize(("found", "said"), [
    (RATIO, "a errs more than b: ratio 1.50 (95 % interval 1.20 to 1.90; by way of r, 5 rides)"),
    (replace(RATIO, found=Interval(0.5, 0.4, 0.9), rides_second=6),
     "a errs less than b: ratio 0.50 (95 % interval 0.40 to 0.90; by way of r, 5 and 6 rides)"),
    (replace(RATIO, found=Interval(1.1, 0.9, 1.3)),
     "a and b cannot be told apart, cross-track error: ratio 1.10 (95 % interval 0.90 to 1.30; by way of r, 5 rides)"),
    (replace(RATIO, found=Interval(1.5, 1.0, 1.9), via=SAME_RIDES),
     "a and b cannot be told apart, cross-track error: ratio 1.50 (95 % interval 1.00 to 1.90; the same rides, 5 rides)"),
    (replace(RATIO, found=Interval(1.5), rides_first=6),
     "a and b, cross-track error: ratio 1.50, too few rides to tell them apart (by way of r, 6 and 5 rides)"),
    (replace(RATIO, found=Interval(float("nan"), method="none: nobody rode"), via=""),
     "a and b, cross-track error: not comparable: nobody rode"),
    (WAIT, "a fixes sooner than b from cold starts: difference -6.0 s (95 % interval -9.0 s to -2.0 s; the same rides, 7 rides)"),
    (replace(WAIT, found=Interval(6.0, 0.5, np.inf)),
     "a fixes later than b from cold starts: difference 6.0 s (95 % interval 0.5 s to any time; the same rides, 7 rides)"),
    (replace(WAIT, found=Interval(-0.5, -1.5, 0.0), state="unknown"),
     "a and b cannot be told apart, time to first fix, unknown starts: difference -0.5 s (95 % interval -1.5 s to 0.0 s; "
     "the same rides, 7 rides; their states are not known, so hot and cold starts may be compared)"),
    (replace(WAIT, found=Interval(-0.5, -0.9, -0.1)),
     "a fixes sooner than b from cold starts: difference -0.5 s (95 % interval -0.9 s to -0.1 s; the same rides, 7 rides)"),
    (replace(WAIT, found=Interval(np.nan, -np.inf, 5.0)),
     "a and b cannot be told apart, time to first fix, cold starts: difference unknown (95 % interval any time to 5.0 s; "
     "the same rides, 7 rides)"),
])  # fmt: skip
def test_every_form_of_the_sentence(found, said):
    assert verdict(found, 0.95).verdict == said


# --- folders -------------------------------------------------------------------------------------------------------


def test_entries_hold_the_rows_of_the_devices_table_by_course(tmp_path):
    folders = [
        one(tmp_path, "a", "Week 1"),
        one(tmp_path, "b", "Week 2", ROAD[20:] + 1e-5, quick=1),
        one(tmp_path, "c", "Way back", ROAD[::-1]),
        one(tmp_path, "d", "Other town", ROAD + np.array([0.0, 0.2])),
    ]
    found = compare_campaigns(folders, Settings())
    courses = {e.campaign: e.course for e in found.entries}
    assert courses["Week 1"] == courses["Week 2"]
    assert len(set(courses.values())) == 3
    assert [e.course for e in found.entries] == sorted(
        (e.course for e in found.entries), key=list(courses.values()).index
    )
    assert found.entries[0].start_states == "6 hot"
    assert found.entries[0].figures["repeatability_low_m"] == "2"
    assert any("another sky" in note for note in found.notes)


def test_the_order_of_rides_and_folders_changes_nothing(tmp_path):
    """Draws that went in lockstep once moved a share from 20 to 35 % by relabelling rides."""
    folders = [one(tmp_path, "a", "Week 1"), one(tmp_path, "b", "Week 2", ROAD, quick=1)]
    once = {(b.first, b.second, b.measure): b.found.value for b in compare_campaigns(folders, Settings()).bridges}
    text = (folders[1] / "tracks.csv").read_text().splitlines()
    renamed = [line.replace(",R1,", ",Rx,").replace(",R6,", ",R1,").replace(",Rx,", ",R6,") for line in text]
    (folders[1] / "tracks.csv").write_text("\n".join([text[0], *reversed(renamed[1:])]) + "\n")
    again = {
        (b.first, b.second, b.measure): b.found.value for b in compare_campaigns(folders[::-1], Settings()).bridges
    }
    assert again == pytest.approx(once)


def test_two_campaigns_of_one_title_are_told_apart(tmp_path):
    found = compare_campaigns([one(tmp_path, "a"), one(tmp_path, "b")], Settings())
    assert {e.campaign for e in found.entries} == {"Week 1", "Week 1 (2)"}


def test_a_lone_device_is_held_against_nobody(tmp_path):
    row = ["alone,A,6,5,,,1,3.3,,,3,2,4"]
    rides = [f"q{i}.gpx,1,alone,R{i},A,{5 + i},false,hot,1,3" for i in range(6)]
    found = compare_campaigns([results(tmp_path / "a", "Week 1", ROAD, row, rides)], Settings())
    assert (found.bridges, found.carried) == ((), "")


@pytest.mark.parametrize(
    ("spoil", "said"),
    [
        (lambda f: (f / "run.json").unlink(), "no run.json; expected a results folder"),
        (lambda f: (f / "run.json").write_text("{"), "expected JSON as gpsq writes it"),
        (lambda f: (f / "run.json").write_text("[]"), "expected a JSON object"),
        (lambda f: (f / "devices.csv").unlink(), "expected a table that gpsq wrote"),
        (
            lambda f: (f / "tracks.csv").write_text("a,b\n1,2\n"),
            "no column device, route, ride, .*run gpsq analyse again",
        ),
        (lambda f: (f / "tracks.csv").write_bytes(b"device,route\n\xff\xfe,A\n"), "expected a table that gpsq wrote"),
    ],
)
def test_a_folder_that_is_no_results_folder_is_refused_in_one_line(tmp_path, spoil, said):
    folder = one(tmp_path, "a")
    spoil(folder)
    with pytest.raises(InputError, match=said) as caught:
        compare_campaigns([folder], Settings())
    assert "\n" not in str(caught.value)


def test_a_missing_folder_is_refused(tmp_path):
    with pytest.raises(InputError, match="found no folder"):
        compare_campaigns([tmp_path / "nowhere"], Settings())


def test_missing_centrelines_keep_campaigns_apart(tmp_path):
    folders = [one(tmp_path, "a", "Week 1"), one(tmp_path, "b", "Week 2")]
    (folders[1] / "centrelines.geojson").unlink()
    assert len({e.course for e in compare_campaigns(folders, Settings()).entries}) == 2


@pytest.mark.parametrize(
    ("rides_of_y", "via", "rides"), [(6, ("X",), 8), (8, ("X", "Y"), 8), (9, ("Y",), 9), (4, ("X",), 8)]
)
def test_a_bridge_goes_over_the_devices_that_share_most_rides_and_of_those_over_most_devices(rides_of_y, via, rides):
    """A in May, B in June, X with both on eight rides of each, Y on some of them."""
    log = {f"R{k}": 0.1 * k for k in range(9)}
    eight, of_y = ({ride: log[ride] for ride in list(log)[:count]} for count in (8, rides_of_y))
    errors = {"may": {"A": log, "X": eight, "Y": of_y}, "june": {"B": log, "X": eight, "Y": of_y}}
    (span,) = bridges._spans("A", "B", errors, {})
    assert (span.via, span.campaigns, len(span.first), len(span.second)) == (via, ("may", "june"), rides, rides)
    assert list(bridges._spans("A", "B", errors, {frozenset(("A", "X")): "", frozenset(("Y", "B")): ""})) == []

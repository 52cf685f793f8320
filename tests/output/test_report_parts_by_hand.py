"""What stands in the report in some campaigns only: one route or several, states in order, published copies, many cards."""

from __future__ import annotations

from dataclasses import replace
from types import SimpleNamespace

import numpy as np
import pytest
from by_hand import by_hand

from gpsq.output.drawing.margin import CUT
from gpsq.output.report import page
from gpsq.summary_types import Interval, StateSummary

NAN = float("nan")


@pytest.fixture(scope="module")
def whole():
    return by_hand()


def with_summaries(whole, **changes):
    return replace(whole, summaries=replace(whole.summaries, **changes))


def test_states_stand_from_hot_to_cold_and_others_after_them(whole):
    fix = {"ttff_median_s": Interval(12.0, 8.0, 16.0)}
    states = [
        StateSummary(device, state, 3, fix)
        for device in ("b", "a")
        for state in ("unknown", "cold", "assisted", "warm", "hot")
    ]
    rows = page._states(with_summaries(whole, start_states=tuple(states)))["rows"]
    order = ("hot", "warm", "cold", "assisted", "unknown")
    assert [row[:3] for row in rows] == [(state, device, 3) for state in order for device in "ab"]
    only_hot = tuple(s for s in states if s.state == "hot")
    assert page._states(with_summaries(whole, start_states=only_hot))["rows"] == []  # nothing to tell apart
    unknown = tuple(replace(s, figures={}) for s in states)
    assert page._states(with_summaries(whole, start_states=unknown)) == {"heads": [], "rows": []}


def test_devices_are_told_route_by_route_only_where_there_are_several(whole):
    assert len({row[0] for row in page._per_route(whole)["rows"]}) == 2
    one = tuple(s for s in whole.summaries.devices if s.route in {"", "out"})
    assert page._per_route(with_summaries(whole, devices=one))["rows"] == []


def test_a_published_copy_says_that_it_is_cut_and_nothing_of_earlier_campaigns_or_clocks(whole):
    earlier = (SimpleNamespace(verdict="a errs less than in spring: ratio 0.80"),)
    own = replace(with_summaries(whole, earlier=earlier), time_zone="Europe/Vienna")
    copy = replace(own, published=True)
    assert page._figures(own)["earlier"] == ["a errs less than in spring: ratio 0.80."]
    assert page._figures(copy)["earlier"] == []
    assert page._when(own).endswith(" (Europe/Vienna)")
    assert page._when(own).startswith(page._when(copy))
    assert "(" not in page._when(copy)
    for analysis, said in ((whole, False), (replace(whole, published=True), True)):
        assert (CUT in page.report_page(analysis, ())) is said


def test_sixty_deviations_have_a_card_and_more_are_counted(whole, monkeypatch):
    event = page.by_event(whole)[0]
    for count, cards in ((60, 60), (61, 60), (2, 2)):
        monkeypatch.setattr(page, "by_event", lambda _, count=count: [event] * count)
        grounds = page._grounds(whole)
        assert (len(grounds["cards"]), grounds["events"]) == (cards, count)


def remarks(whole, **changes):
    return [text.replace("\xa0", " ") for text in page._remarks(whole.traces[0], replace(whole.results[0], **changes))]


def test_gaps_and_spikes_are_told_by_number_and_size(whole):
    bare = {"reason": "", "gaps": (), "spikes": None, "ended_early_m": NAN}
    common = remarks(whole, **bare)
    gap = whole.results[1].gaps[0]
    for changes, said in (
        ({"gaps": (replace(gap, seconds=75.0),)}, ["1 gap, the longest 75 s"]),
        ({"gaps": (replace(gap, seconds=75.0), replace(gap, seconds=90.0))}, ["2 gaps, the longest 90 s"]),
        ({"gaps": (replace(gap, seconds=NAN),)}, ["1 gap"]),
        ({"spikes": 0}, []),
        ({"spikes": 1, "largest_spike_m": 41.0}, ["1 spike, the largest 41 m off"]),
        ({"spikes": 2, "largest_spike_m": 41.0}, ["2 spikes, the largest 41 m off"]),
        ({"reason": "too short"}, ["too short"]),
    ):
        assert remarks(whole, **(bare | changes)) == [*said, *common]


def test_what_is_said_of_three_recordings_is_said_once(whole):
    for count, shared in ((3, True), (2, False)):
        results = [replace(r, reason="too short" if k < count else "") for k, r in enumerate(whole.results)]
        found = page._rows(replace(whole, results=tuple(results)))
        assert (("too short", count) in found["shared_remarks"]) is shared
        assert sum("too short" in row["more"] for row in found["rows"]) == (0 if shared else count)


def test_a_recording_of_no_ride_has_a_dash_in_its_place(whole):
    results = tuple(replace(r, ride="") for r in whole.results)
    assert {row["ride"] for row in page._rows(replace(whole, results=results))["rows"]} == {"–"}


def test_a_file_that_could_not_be_read_is_named_once():
    lost = SimpleNamespace(file="a.gpx", message="a.gpx: found a web page")
    assert page._unreadable(lost) == "a.gpx: found a web page"
    assert page._unreadable(SimpleNamespace(file="a.gpx", message="no XML")) == "a.gpx: no XML"


def test_points_set_aside_are_summed_by_reason():
    one, four, other = (
        SimpleNamespace(reason=reason, points=points)
        for reason, points in (("null_island", 3), ("null_island", 4), ("frozen", 1))
    )
    some = [SimpleNamespace(set_aside=[one]), SimpleNamespace(set_aside=[four, other])]
    found = page._aside(SimpleNamespace(traces=some, unreadable=[some[0]]))
    assert found == [("frozen", 1, 1), ("null island", 10, 3)]


def test_hot_spots_are_numbered_on_each_route():
    spots = [SimpleNamespace(route=name) for name in ("a", "a", "b", "a")]
    assert [number for number, _ in page._numbered(spots)] == [1, 2, 1, 1]


def test_a_column_that_no_device_has_is_left_out(whole):
    assert page._known([SimpleNamespace(source="x")], [{}, {"x": Interval(np.nan)}]) == []
    assert len(page._known([SimpleNamespace(source="x")], [{}, {"x": Interval(0.0)}])) == 1

"""What is left of an analysis that is published, part by part, on the analysis in which every figure is another number."""

from __future__ import annotations

import dataclasses
from pathlib import Path

import numpy as np
import pytest
from by_hand import at, by_hand
from straight_rides import ENDS, analysed, x_m, zone

from gpsq.model import Gap, SetAside, Spike, Unreadable
from gpsq.privacy import publication
from gpsq.privacy.publication import (
    NOTES,
    _deviation,
    _gaps,
    _may_be_told,
    _moved,
    _numbered,
    _renamed,
    _result,
    _trace,
)
from gpsq.results import Streets


@pytest.fixture(scope="module")
def whole():
    return by_hand()


def part_of(trace, fixes):
    """Return a trace of these fixes alone, by the model's own fields."""
    names = ("time", "lon_deg", "lat_deg", "ele_m", "hdop", "sat", "speed_mps", "segment", "point")
    chosen = np.array(fixes, dtype=np.int64)
    return dataclasses.replace(
        trace,
        **{name: getattr(trace, name)[chosen] for name in names},
        points=len(chosen) + sum(group.points for group in trace.set_aside),
    )


def test_of_a_whole_nothing_private_is_left():
    private = dataclasses.replace(
        analysed(), folder="week", title="Quay", streets=Streets("maps/streets.gpkg", "f6" * 32, "invented"),
        inputs={"a": "b"}, notes=("Jane rode.",),
        unreadable=(Unreadable("a/thu.gpx", 3, "html_page", "a/thu.gpx: found a web page", "e5" * 32, "a"),),
    )  # fmt: skip
    gone = by_hand().deviations[:1]
    private = dataclasses.replace(
        private, results=tuple(dataclasses.replace(r, vanished=gone) for r in private.results)
    )
    found = publication(private, ENDS)
    analysis = found.analysis
    assert [r.vanished for r in analysis.results] == [()] * 4
    assert found.remarks == ()
    assert (analysis.folder, analysis.title, analysis.published) == ("", "Quay", True)
    assert (analysis.flags, dict(analysis.inputs), analysis.notes) == ((), {}, NOTES)
    assert analysis.settings is private.settings
    assert analysis.streets == Streets(str(Path("week/maps/streets.gpkg").absolute()), "f6" * 32, "invented")
    assert [t.file for t in analysis.traces] == ["a 01", "a 02", "a 03", "a 04"]
    reach = [(x_m(t).min(), x_m(t).max()) for t in analysis.traces]
    expected = [(500.0, 2400.0), (500.0, 2400.0), (900.0, 2400.0), (500.0, 1900.0)]
    assert np.array(reach) == pytest.approx(np.array(expected), abs=21.0)
    assert [r.ride for r in analysis.results] == ["R01", "R02", "R03", "R04"]
    assert [r.length_m for r in analysis.results] == pytest.approx(
        [t.accepted * 10.0 - 10.0 for t in analysis.traces], abs=0.1
    )
    assert [u.file for u in analysis.unreadable] == ["unreadable 01"]
    assert [r.route.members for r in analysis.routes] == [(0, 1, 2, 3)]
    assert analysis.deviations == tuple(d for r in analysis.results for d in r.deviations)
    assert analysis.summaries.ranks == private.summaries.ranks
    assert [d.device for d in analysis.summaries.devices] == [d.device for d in private.summaries.devices]


def test_a_route_of_which_nothing_is_shown_is_said():
    found = publication(analysed(), (zone(1500.0, 5000.0),))
    assert found.remarks == (
        f"route {analysed().routes[0].route.name}: not shown: too little of it is left between the cuts; "
        "its figures are published.",
    )
    assert [t.accepted for t in found.analysis.traces] == [0, 0, 0, 0]
    assert found.analysis.streets is None
    assert [r.rides for r in found.analysis.routes] == [("R01", "R02", "R03", "R04")]
    assert np.isnan([r.length_m for r in found.analysis.results]).all()


def test_a_shown_recording_says_nothing_but_where_it_was_on_which_day(whole):
    trace = dataclasses.replace(
        whole.traces[1], ele_m=np.arange(5.0), hdop=np.arange(5.0), sat=np.arange(5.0), speed_mps=np.arange(5.0),
        segment=np.array([0, 0, 1, 1, 1]), log_note="in the bag", extras={"heart_rate": 131.0}, notes=("odd",),
        start_lat_deg=47.0, start_lon_deg=12.0, ride_label="to Jane", truncated=True, name="x", spikes=(Spike(1, 1.0, 9.0),),
    )  # fmt: skip
    found = _trace(trace, part_of(trace, [1, 2, 3]), "Basalt 01")
    assert (found.file, found.track, found.name, found.device, found.creator, found.sha256) == (
        "Basalt 01", 1, "", "Basalt", "", "",
    )  # fmt: skip
    assert found.time.astype(str).tolist() == ["2026-05-04"] * 3
    assert found.lon_deg.tolist() == trace.lon_deg[1:4].tolist()
    assert found.lat_deg.tolist() == trace.lat_deg[1:4].tolist()
    assert np.isnan([found.ele_m, found.hdop, found.sat, found.speed_mps]).all()
    assert (found.segment.tolist(), found.point.tolist(), found.points) == ([0, 1, 1], [0, 1, 2], 3)
    assert (str(found.started), found.start_basis, found.truncated) == ("2026-05-04", "points before fix", True)
    assert (found.log_note, found.ride_label, dict(found.extras), found.notes, found.spikes) == ("", "", {}, (), ())
    assert np.isnan([found.start_lat_deg, found.start_lon_deg]).all()
    assert (np.isnat(found.first_record), np.isnat(found.last_record)) == (True, True)


def test_of_a_recording_that_is_not_shown_only_points_before_its_fix_are_told(whole):
    found = _trace(whole.traces[0], None, "Amber 01")
    assert (found.accepted, found.points) == (0, 4)
    assert found.set_aside == (SetAside("no_fix", 4, 0),)


def test_points_set_aside_are_told_before_the_first_fix_and_between_shown_ones(whole):
    """Its fixes are the points 0 to 4; shown are 1 to 3. Of a pair of points the first one counts."""
    trace = dataclasses.replace(whole.traces[1], point=np.array([5, 10, 20, 30, 40]))
    shown = part_of(trace, [1, 2, 3])
    told = [n for n in (0, 4, 6, 11, 29, 31, 45) if _may_be_told(SetAside("outlier_jump", 1, n), trace, shown)]
    assert told == [0, 4, 11, 29]
    assert not _may_be_told(SetAside("outside_passes", 1, 11), trace, shown)
    nothing = part_of(trace, [])
    assert [n for n in (0, 4, 6, 11) if _may_be_told(SetAside("outlier_jump", 1, n), trace, nothing)] == [0, 4]
    never = whole.traces[2]
    assert not _may_be_told(never.set_aside[0], never, part_of(never, []))


@pytest.mark.parametrize(("first_point", "moved"), [(0, 0), (11, 1), (25, 2), (99, 3)])
def test_points_set_aside_are_counted_among_those_that_are_shown(first_point, moved):
    found = _moved(SetAside("outlier_jump", 7, first_point), np.array([10, 20, 30]))
    assert found == SetAside("outlier_jump", 7, moved)


def test_gaps_between_shown_fixes_are_told_by_their_number_among_these():
    """Shown are the fixes 3, 4, 5, 8 and 9: the gaps after 3 and 8 lie within, those after 2, 5, 7 and 9 do not."""
    gaps = [Gap(k, 10.0 + k, 100.0 + k) for k in (2, 3, 5, 7, 8, 9)]
    found = _gaps(gaps, np.array([3, 4, 5, 8, 9]))
    assert found == [Gap(0, 13.0, 103.0), Gap(3, 18.0, 108.0)]


def test_a_deviation_is_told_by_the_numbers_of_shown_fixes_without_time_or_note(whole):
    """It lies from point 1 to 2 of its recording, of which the points from 1 on are shown."""
    of = dataclasses.replace(whole.deviations[1], note="at Jane's house")
    found = _deviation(of, part_of(whole.traces[1], [1, 2, 3]))
    assert (found.from_point, found.to_point, found.note) == (0, 1, "")
    assert (np.isnat(found.from_time), np.isnat(found.to_time)) == (True, True)
    kept = ("route", "from_m", "to_m", "max_offset_m", "side", "cause", "evidence", "event", "id")
    assert [getattr(found, n) for n in kept if hasattr(of, n)] == [getattr(of, n) for n in kept if hasattr(of, n)]
    later = _deviation(of, part_of(whole.traces[1], [0, 1, 2, 3]))
    assert (later.from_point, later.to_point) == (1, 2)
    longer = _deviation(dataclasses.replace(of, to_point=4), part_of(whole.traces[1], [0, 1, 2, 3, 4]))
    assert (longer.from_point, longer.to_point) == (1, 4)


def test_deviations_are_numbered_through_all_recordings_and_events_with_them(whole):
    """Events 77, 77, 88 of the first recordings, and 77 again of the last, become 1, 1, 2 and 1."""
    last = dataclasses.replace(whole.results[3], deviations=(whole.deviations[0],))
    found = _numbered([*whole.results[:3], last])
    assert [[(d.id, d.event) for d in result.deviations] for result in found] == [
        [("D01", "E01")], [("D02", "E01"), ("D03", "E02")], [], [("D04", "E01")],
    ]  # fmt: skip
    assert [result.ride for result in found] == ["R01", "R01", "R02", "R03"]


RIDES = {"R01": "N1", "R02": "N2", "R03": "N3"}


def test_of_a_recording_that_is_not_shown_length_gaps_and_deviations_are_withheld(whole):
    found = _result(whole.results[1], RIDES, {"": ""}, None)
    assert (found.trace, found.ride, found.route, found.status, found.reason) == (1, "N1", "out", "scored", "")
    assert (found.interval_s, found.ended_early_m, found.spikes, found.largest_spike_m) == (11.375, 219.17, 1, 71.5)
    assert np.isnan(found.length_m)
    assert (found.gaps, found.deviations, found.vanished, found.duplicate_of) == ((), (), (), "")
    assert found.crosstrack.rms_m == 9.4
    assert found.curves.frechet_m == 20.1
    assert str(found.first_fix.started) == "2026-05-04"


def test_a_copy_is_told_by_the_published_name_of_the_other(whole):
    copy = dataclasses.replace(
        whole.results[3], duplicate_of="amber/mon.gpx", reason="the same recording as amber/mon.gpx"
    )
    found = _result(copy, RIDES, {"": "", "amber/mon.gpx": "Amber 01"}, None)
    assert (found.duplicate_of, found.reason) == ("Amber 01", "the same recording as Amber 01")
    unknown = _result(copy, RIDES, {"": ""}, None)
    assert (unknown.duplicate_of, unknown.reason) == ("another recording", "the same recording as another recording")
    other = _result(whole.results[3], RIDES, {"": ""}, None)
    assert other.reason == "only 1 ride on this route: cross-track error needs 3"


def test_of_a_shown_recording_length_gaps_and_deviations_are_those_of_the_part(whole):
    trace, fixes = part_of(whole.traces[1], [1, 2, 3]), np.array([1, 2, 3])
    measured = dataclasses.make_dataclass("Measured", ("crosstrack", "curves", "deviations"))(
        dataclasses.replace(whole.results[0].crosstrack, rms_m=5.61), None, whole.deviations[1:2]
    )
    found = _result(whole.results[1], RIDES, {"": ""}, (trace, fixes, measured, 321.5))
    assert found.length_m == 321.5
    assert found.gaps == (Gap(0, 75.0, 121.0),)
    assert [(d.from_point, d.to_point, d.note) for d in found.deviations] == [(0, 1, "")]
    assert found.crosstrack.rms_m == 5.6
    assert found.curves is None
    assert (found.spikes, np.isnan(found.largest_spike_m)) == (0, True)


def test_devices_that_keep_their_names_are_said_nothing_of(whole):
    same, said = _renamed(whole, ())
    assert same is whole
    assert said == []


def test_a_device_named_by_its_creator_gets_a_number_everywhere(whole):
    """Amber's recordings lie in no folder of its name and say that name themselves."""
    traces = tuple(
        dataclasses.replace(t, file=t.file.replace("/", " "), creator="Amber" if t.device == "Amber" else "invented")
        for t in whole.traces
    )
    found, said = _renamed(dataclasses.replace(whole, traces=traces), ("Basalt",))
    assert [t.device for t in found.traces] == ["device 1", "Basalt", "device 1", "Basalt"]
    assert [u.device for u in found.unreadable] == ["device 1"]
    assert said == [
        "'Amber' is published as 'device 1': it comes from the files or looks like a serial number; for another name, put "
        'under [devices] in campaign.toml: "Amber" = "a name of your choice"'
    ]
    assert {row.device for row in found.summaries.reference} <= {"device 1", "Basalt", ""}
    assert len(found.summaries.reference) == len(whole.summaries.reference)
    assert {row.device for row in found.summaries.devices} == {"device 1", "Basalt"}
    nobody = dataclasses.replace(whole.unreadable[0], device="")
    assert _renamed(dataclasses.replace(whole, traces=traces, unreadable=(nobody,)), ())[0].unreadable[0].device == ""


def test_a_time_without_a_date_is_no_day(whole):
    early = dataclasses.replace(whole.traces[3], started=at("1970-01-01T07:00"), start_basis="log")
    found = _trace(early, None, "x")
    assert np.isnat(found.started)

"""What `gpsq check` says of recordings and figures made by hand: every value of a record is another, and each sentence is read."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from by_hand import at, by_hand
from small_rides import gpx, write

from gpsq.exceptions import InputError
from gpsq.model import Gap, SetAside, Unreadable
from gpsq.pipeline import check
from gpsq.rides.recording_figures import Recorded
from gpsq.settings import Settings

NAN = float("nan")
SETTINGS = Settings().with_values(gap_s=20.0)
MEASURED = Recorded(
    distance_m=501.25, distance_without_gaps_m=490.5, distance_with_gaps_m=622.75, duration_s=29.0, elapsed_s=50.0,
    recorded_s=24.5, interval_s=5.5, speed_mean_mps=20.4591836734, speed_max_mps=31.2, gaps=(Gap(6, 4.5, 121.4567891),),
    standing_points=3, standing_s=7.5, wander_m=2.25, spikes=2, largest_spike_m=33.4,
)  # fmt: skip
NOTHING_MEASURED = Recorded(*[NAN] * 9, (), 0, 0.0, NAN, None, NAN)  # type: ignore[arg-type]


@pytest.fixture
def monday(monkeypatch):
    """A recording in which nothing is like anything else; what is measured of it stands above."""
    monkeypatch.setattr(check, "measure", lambda trace, settings: MEASURED)
    monkeypatch.setattr(check, "suggest", lambda trace, settings: "")
    return replace(
        by_hand().traces[0], device="Amber", ele_m=np.array([NAN, 10.0, 20.0, 45.0, NAN, NAN]),
        hdop=np.array([1.0, 2.0, NAN, NAN, NAN, 4.5]), speed_mps=np.array([3.0, 5.0, NAN, NAN, NAN, NAN]),
        sat=np.array([9.0] * 6), records_before_fix=4, first_3d_fix=at("2026-05-04T07:00:52"), truncated=True,
        counts={"no zone": 7}, extras={"pulse": 121.5, "power": NAN},
    )  # fmt: skip


RECORD = {
    "file": "amber/mon.gpx", "track": 1, "name": "Monday morning", "outcome": "ok-warn", "points": 10, "accepted": 6,
    "rejected": 4, "reasons": {"no_fix": 4}, "timed": 6, "started": "2026-05-04T07:00:07Z", "start_basis": "log",
    "first_fix": "2026-05-04T07:00:30Z", "ttff_s": 23.0, "ttff_at_least_s": None, "distance_m": 501.25,
    "duration_s": 29.0, "recorded_s": 24.5, "interval_s": 5.5,
    "gaps": [{"after_point": 6, "seconds": 4.5, "metres": 121.456789}], "speed_mean_mps": 20.459184,
    "distance_without_gaps_m": 490.5, "distance_with_gaps_m": 622.75, "elapsed_s": 50.0, "speed_max_mps": 31.2,
    "standing_points": 3, "standing_s": 7.5, "wander_m": 2.25, "spikes": 2, "largest_spike_m": 33.4,
    "device": "Amber", "sha256": "a1" * 32, "suspected": [], "truncated": True, "date_known": True,
    "clock_jumps_at_fix": False, "records_before_fix": 4, "first_record": "2026-05-04T07:00:09Z",
    "last_record": "2026-05-04T07:00:59Z", "first_time": "2026-05-04T07:00:30Z", "last_time": "2026-05-04T07:00:59Z",
    "ttff_3d_s": 45.0, "ele_known": 3, "ele_min_m": 10.0, "ele_max_m": 45.0, "ele_mean_m": 25.0, "hdop_mean": 2.5,
    "recorded_speed_mean_mps": 4.0, "counts": {"no zone": 7}, "extras": {"pulse": 121.5, "power": None},
    "message": "6 of 10 points are fixes, at least 501.2 m, at least 29 s, first fix after 23 s (log).",
    "notes": [
        "4 of 10 points are marked as no fix by the device itself and were set aside, first point 0 (counted from 0).",
        "Gap of 4.5 s and 121 m (straight) after point 6: no data, not ridden, not a stop.",
        "A gap is a new segment, a silence of more than 20 s and three usual intervals, or an outage of the receiver; "
        "with the gaps bridged straight the way is at least 622.8 m.",
        "Off and back within seconds: 2 spikes, the largest 33 m.",
        "Standing still for 7.5 s (3 points); 2.2 m of the length are scatter there.",
    ],
}  # fmt: skip


def test_every_value_of_a_record_is_the_one_it_is_called(monday):
    assert check._inspect(monday, SETTINGS) == RECORD


def test_a_recording_without_a_fix_has_a_bound_and_nothing_measured(monkeypatch):
    monkeypatch.setattr(check, "measure", lambda trace, settings: NOTHING_MEASURED)
    record = check._inspect(by_hand().traces[2], SETTINGS)
    assert (record["ttff_s"], record["ttff_at_least_s"], record["timed"], record["rejected"]) == (None, 613.5, 0, 17)
    assert [record[name] for name in ("first_time", "ele_min_m", "hdop_mean", "spikes", "largest_spike_m")] == [
        None
    ] * 5
    assert record["message"] == "0 of 17 points are fixes, length unknown, duration unknown, time to first fix unknown."
    assert record["notes"] == [
        "17 of 17 points have no position and were set aside, first point 0 (counted from 0).",
        "The device recorded but never had a fix.",
    ]


def said_of(trace, measured=NOTHING_MEASURED):
    return check._odd(trace), check._worth_knowing(trace, measured, SETTINGS)


def test_what_is_said_only_where_it_is_so(monkeypatch):
    monkeypatch.setattr(check, "suggest", lambda trace, settings: "Cut it.")
    fixed_already = (
        "Already fixed at the first record: the file does not say how long the device searched."  # docs/inputs.md
    )
    trace = replace(by_hand().traces[3], notes=("odd",), remarks=("known",))  # three fixes, from no known start
    assert said_of(trace) == (["odd"], ["known", fixed_already, "Cut it."])
    assert said_of(replace(trace, records_before_fix=1))[1] == ["known", "Cut it."]
    assert said_of(replace(trace, started=trace.time[0], start_basis="log"))[1] == ["known", "Cut it."]
    half = np.array([trace.time[0], np.datetime64("NaT"), trace.time[2]])
    unknown = "1 of 3 fixes have no usable time: duration, speed and time to first fix are unknown."
    assert said_of(replace(trace, time=half)) == ([unknown, "odd"], ["known", "Cut it."])
    columns = ("time", "lon_deg", "lat_deg", "ele_m", "hdop", "sat", "speed_mps", "segment", "point")
    single = replace(trace, points=1, **{name: getattr(trace, name)[:1] for name in columns})
    assert said_of(single)[0] == ["A single fix: length, duration and speed need two.", "odd"]
    outage = replace(NOTHING_MEASURED, gaps=(Gap(1, NAN, 75.4),), spikes=1, largest_spike_m=71.5)
    told = said_of(trace, outage)[1]
    assert told[2] == "Gap of an unknown time and 75 m (straight) after point 1: no data, not ridden, not a stop."
    assert told[4] == "Off and back within seconds: 1 spike, the largest 72 m."


def test_a_whole_recording_is_no_lower_bound_and_well():
    trace = replace(by_hand().traces[3], name="")
    record = check._inspect(trace, SETTINGS)
    assert record["outcome"] == "ok"
    assert record["message"].startswith("3 of 3 points are fixes, ")
    assert "at least" not in record["message"]
    assert record["message"].endswith("63 s, time to first fix unknown.")


def test_what_gives_no_trace_is_a_record_too():
    """It has the fields of the contract, the counts of its points, and nothing else that is known."""
    set_aside = (SetAside("no_fix", 4, 1), SetAside("null_island", 1, 0))
    lost = Unreadable("a.gpx", 2, "torn", "a.gpx: found half", "e5" * 32, "Amber", 5, set_aside)
    told = {
        "file": "a.gpx", "track": 2, "name": "", "outcome": "error", "message": "a.gpx: found half", "points": 5,
        "accepted": 0, "rejected": 5, "reasons": {"no_fix": 4, "null_island": 1}, "timed": 0, "start_basis": "none",
        "gaps": [], "notes": [], "reason": "torn", "suspected": [], "sha256": "e5" * 32,
    }  # fmt: skip
    assert check._refused(lost) == dict.fromkeys(check.FIELDS) | told


def test_a_paragraph_names_its_track_and_its_name_where_there_are_any():
    record = {"file": "a.gpx", "track": 1, "name": "", "outcome": "ok", "message": "m", "notes": ["one", "two"]}
    other = record | {"track": 2, "name": "Way", "notes": []}
    lost = record | {"outcome": "error", "message": "a.gpx: found half", "track": 2}
    assert check.describe([record, other, lost]) == (
        "a.gpx: m\n  - one\n  - two\n\na.gpx, track 2 “Way”: m\n\na.gpx: found half"
    )


def test_copies_and_links_are_told_at_the_recording_they_are_of(tmp_path):
    """b.gpx is a.gpx with another maker's name; c.gpx is a link; notes.txt was never meant as a recording."""
    write(
        tmp_path, **{"a.gpx": gpx(), "b.gpx": gpx(creator="other"), "z.gpx": "?", "notes.txt": "Dear diary"}
    )  # fmt: skip
    (tmp_path / "c.gpx").symlink_to(tmp_path / "a.gpx")
    records = check.inspect_paths([tmp_path], Settings())
    names = [Path(r["file"]).name for r in records]
    assert names == ["a.gpx", "b.gpx", "z.gpx"]
    assert records[0]["file"] == f"{tmp_path}/a.gpx"
    assert [r["outcome"] for r in records] == ["ok-warn", "ok-warn", "error"]
    assert [r["device"] for r in records[:2]] == ["maker", "other"]
    assert records[0]["suspected"] == ["same_file"]
    assert records[0]["notes"][-1] == f"{tmp_path}/c.gpx is the same file as {tmp_path}/a.gpx and counts once."
    (kind,) = records[1]["suspected"]
    assert kind != "same_file"
    assert str(tmp_path / "a.gpx") in records[1]["notes"][-1]
    assert (records[2]["file"], records[2]["accepted"]) == (f"{tmp_path}/z.gpx", 0)


def test_a_single_file_that_is_no_recording_is_told_and_one_of_a_folder_is_not(tmp_path):
    """Whoever names a file asks about it."""
    write(tmp_path, **{"notes.txt": "Dear diary"})
    assert check.inspect_paths([tmp_path], Settings()) == []
    (record,) = check.inspect_paths([tmp_path / "notes.txt"], Settings())
    assert (record["outcome"], record["file"]) == ("error", f"{tmp_path}/notes.txt")


@pytest.mark.parametrize(
    ("how", "said"),
    [
        ({"time_zone": "Mars/Base"}, "--zone: found Mars/Base; expected a name of the IANA time zone data such as Europe/London"),
        ({"time_zone": "/etc"}, "--zone: found /etc; expected a name of the IANA time zone data such as Europe/London"),
        ({"date_order": "ydm"}, "--date-order: found ydm; expected dmy, mdy or ymd"),
    ],
)  # fmt: skip
def test_a_zone_or_an_order_that_is_none_is_refused(how, said):
    with pytest.raises(InputError) as refused:
        check.inspect_paths([], Settings(), **how)
    assert str(refused.value) == said


def test_zone_and_order_of_dates_reach_the_table(tmp_path):
    """5 June, 7 in the morning in Paris in summer is 05:00 UTC; written month first it is 6 May."""
    write(tmp_path, **{"a.csv": "time,lat,lon\n05/06/2024 07:00:00,51.2,-3.6\n05/06/2024 07:00:05,51.2,-3.6004\n"})
    for path in (tmp_path, tmp_path / "a.csv"):
        for order, day in (("dmy", "2024-06-05"), ("mdy", "2024-05-06")):
            (record,) = check.inspect_paths([path], Settings(), "Europe/Paris", order)
            assert record["first_fix"] == f"{day}T05:00:00Z"


def test_milliseconds_stand_where_there_are_any():
    assert check._iso(at("2026-05-04T07:00:12.500")) == "2026-05-04T07:00:12.500Z"
    assert check._iso(at("2026-05-04T07:00:12")) == "2026-05-04T07:00:12Z"
    assert check._number(0.12345678) == 0.123457
    assert check._number(float("inf")) is None


def test_why_points_were_set_aside_is_said_in_words():
    """Each reason there is, with as many points as its place in this list, and no other."""
    words = {
        "no_position": "have no position",
        "null_island": "stand at 0,0, which means no position",
        "not_finite": "have coordinates that are no finite numbers",
        "out_of_range": "lie outside the range of latitude and longitude",
        "unparseable_coordinate": "have coordinates that are no numbers",
        "no_fix": "are marked as no fix by the device itself",
        "frozen_before_fix": "repeat a remembered position before the first fix",
        "outlier_jump": "lie where no rider can have been",
        "truncated_element": "are unfinished or damaged in the file",
        "straight_backfill": "were filled in on a straight line before the first fix",
    }
    aside = tuple(SetAside(reason, k + 2, 7 * k) for k, reason in enumerate(words))
    assert said_of(replace(by_hand().traces[0], points=71, set_aside=aside))[0] == [
        f"{k + 2} of 71 points {said} and were set aside, first point {7 * k} (counted from 0)."
        for k, said in enumerate(words.values())
    ]
    assert set(check.REASONS) == set(words)

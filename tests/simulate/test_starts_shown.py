"""What a simulated recording shows of its start, its true answers, and what is written, worked by hand."""

from __future__ import annotations

import csv
import json
from types import SimpleNamespace

import numpy as np
import pytest

from gpsq.simulate import CampaignSpec, DeviceSpec, make_campaign, write
from gpsq.simulate.ride import Motion, way_on
from gpsq.simulate.showing import show_start
from gpsq.simulate.truth import settle_seconds, true_offsets
from gpsq.simulate.writing import log_text


def spec_of(*devices, **more):
    return CampaignSpec("Test", 11.0, 47.0, devices or (DeviceSpec("one"), DeviceSpec("two")), **more)


def straight(length_m):
    return np.column_stack([np.arange(length_m + 1.0), np.zeros(length_m + 1)])


# ---- what is shown of a start ----
def heard(on_s=10, fix_s=40, off_s=500, xy_m=None):
    xy_m = np.column_stack([5.0 * np.arange(60.0) ** 1.1, np.arange(60.0) ** 2]) if xy_m is None else xy_m
    return SimpleNamespace(on_s=on_s, fix_s=fix_s, off_s=off_s, fixes=SimpleNamespace(xy_m=xy_m))


def shown(how, listening, memory=(0.0, 0.0), *, logged=True, interval_s=1, decimals=7):
    device = DeviceSpec("one", shows_start=how, interval_s=interval_s, decimals=decimals)
    session = SimpleNamespace(device=device, logged=logged)
    return show_start(np.random.default_rng(1), session, listening, np.array(memory))


def test_points_before_the_fix_are_at_the_memory_or_at_nought_and_declared_or_not():
    for how, declared, place in (
        ("no-fix points", True, (-9000.0, 3.0)), ("frozen points", False, (-9000.0, 3.0)), ("zero points", False, (np.nan, np.nan)),
    ):  # fmt: skip
        found = shown(how, heard(), (-9000.0, 3.0), interval_s=3)
        assert found.second.tolist() == list(range(10, 40, 3))
        assert found.declared is declared
        assert found.file_second is None
        assert found.evidence == "yes"
        np.testing.assert_equal(found.xy_m, np.tile(place, (10, 1)))
    assert shown("no-fix points", heard(fix_s=None, off_s=60)).second.tolist() == list(range(10, 60))


@pytest.mark.parametrize(
    ("how", "second", "evidence"),
    [("log", None, "yes"), ("file time", 10, "yes"), ("file time at fix", 40, "no"), ("nothing", None, "no")],
)
def test_what_holds_no_points_has_none(how, second, evidence):
    found = shown(how, heard())
    assert (len(found.second), found.declared, found.file_second, found.evidence) == (0, False, second, evidence)


def test_evidence_of_a_log_and_of_a_file_time():
    assert shown("log", heard(), logged=False).evidence == "no"
    assert shown("file time", heard(fix_s=10 + 1800)).evidence == "yes"
    assert shown("file time", heard(fix_s=10 + 1801)).evidence == "no"
    assert shown("file time", heard(fix_s=None)).evidence == "no"
    assert 500 <= shown("file time later", heard()).file_second < 30_500


def test_a_frozen_start_is_evident_where_nobody_could_have_gone_so_fast():
    """From the memory to the first fix in the last second: more than 100 m/s is a jump; two points are no pattern."""
    fix = np.zeros((60, 2))
    for far_m, wait_s, evidence in (
        (101.0, 30, "yes"),
        (100.0, 30, "doubtful"),
        (101.0, 3, "yes"),
        (9000.0, 2, "doubtful"),
    ):
        assert shown("frozen points", heard(fix_s=10 + wait_s, xy_m=fix), (far_m, 0.0)).evidence == evidence
    assert shown("frozen points", heard(fix_s=None), (9000.0, 0.0)).evidence == "doubtful"
    assert shown("frozen points", heard(xy_m=fix), (150.0, 0.0), interval_s=2).evidence == "doubtful"  # in two seconds


def test_a_back_fill_is_even_steps_from_the_start_to_the_fix():
    xy_m = heard().fixes.xy_m + np.array([90.0, 30.0])
    found = shown("back-fill", heard(xy_m=xy_m))
    assert found.second.tolist() == list(range(10, 40))
    assert (found.declared, found.file_second) == (False, None)
    np.testing.assert_allclose(found.xy_m, np.arange(30)[:, None] * [3.0, 1.0], atol=1e-9)


@pytest.mark.parametrize(
    ("wait_s", "step_m", "even", "evidence"),
    [
        (30, 3.0, 3, "yes"), (6, 3.0, 3, "doubtful"), (10, 3.0, 3, "yes"), (9, 3.0, 3, "doubtful"),  # three times 3
        (10, 0.056, 3, "yes"), (10, 0.055, 3, "doubtful"),  # five units of the seventh decimal, 1.11 cm each
        (30, 3.0, 9, "yes"), (30, 3.0, 10, "doubtful"), (25, 3.0, 9, "doubtful"),
    ],
)  # fmt: skip
def test_a_back_fill_is_evident_where_no_ride_goes_as_straight(wait_s, step_m, even, evidence):
    """Fixes of which so many in a row lie in even steps; otherwise the way bends at every fix."""
    bent = np.column_stack([10.0 * np.arange(40.0), 3.0 * (np.arange(40) // 2 % 2)])
    bent[::2, 1] += np.arange(20) % 3
    at = np.arange(5, 5 + even)
    bent[at] = bent[5] + (at - 5)[:, None] * [10.0, 7.0]
    bent += [wait_s * step_m, 0.0] - bent[0]
    assert shown("back-fill", heard(fix_s=10 + wait_s, xy_m=bent)).evidence == evidence


# ---- truth ----
def on_straight(length_m=2000, speed=5.0):
    road, clock = straight(length_m), np.arange(int(length_m / speed) + 1.0)
    return Motion(way_on(road), np.column_stack([clock * speed, 0 * clock]), clock * speed, clock * speed), road


def test_the_seconds_until_a_recording_follows_the_road():
    motion, road = on_straight()
    second = np.arange(100, 200)
    for away_m, far_s, settled in ((15.0, 20, 0.0), (15.1, 20, 20.0), (14.9, 20, 0.0)):
        off = np.where(np.arange(100) < far_s, away_m, 1.0)
        assert settle_seconds(motion, road, second, motion.xy_m[second] + np.column_stack([0 * off, off])) == settled
    again = np.zeros(100)
    again[[0, 31, 62]] = 16.0  # 30 s within are enough, 29 are not
    assert settle_seconds(motion, road, second, motion.xy_m[second] + np.column_stack([0 * again, again])) == 63.0
    again[31] = 0.0
    assert settle_seconds(motion, road, second, motion.xy_m[second] + np.column_stack([0 * again, again])) == 1.0
    assert np.isnan(settle_seconds(motion, road, second, motion.xy_m[second] + [0.0, 50.0]))
    assert np.isnan(settle_seconds(motion, road, second[:0], motion.xy_m[:0]))


def test_two_fixes_are_a_recording_and_one_is_none():
    motion, road = on_straight()
    for count, known in ((1, 0), (2, 40)):  # 200 m in 40 s
        second = np.array([100, 140])[:count]
        found = true_offsets(motion, road, second, motion.xy_m[second] + [0.0, 2.0], np.zeros(count, int)).offset_m
        assert np.isfinite(found).sum() == known
        assert found[np.isfinite(found)] == pytest.approx(2.0)


# ---- whole campaigns ----
def test_weekends_are_free_and_what_a_ride_shares_is_its_own():
    campaign = make_campaign(spec_of(DeviceSpec("one"), days=12, directions=("out",), detours=0, faults=0, lights=0), 3)
    days = [np.datetime64(ride.label[:10]) for ride in campaign.rides]
    assert [int((day - days[0]).astype(int)) for day in days] == [0, 1, 2, 3, 4, 7, 8, 9, 10, 11, 14, 15]


def test_receivers_of_a_ride_share_an_error_that_others_do_not():
    """Two nearly perfect receivers on two rides, with 8 m in common: they err alike on a ride, and not from ride to ride."""
    devices = (DeviceSpec("a", 0.01, start_mix=(1.0, 0.0, 0.0)), DeviceSpec("b", 0.01, start_mix=(1.0, 0.0, 0.0)))
    spec = spec_of(*devices, days=2, directions=("out",), detours=0, faults=0, shared_sigma_m=8.0, canyon_share=0.0)
    a1, b1, a2, _ = (r.offsets.offset_m[100:-100] for r in make_campaign(spec, 3).recordings)
    assert np.nanmedian(np.abs(a1 - b1)) < 0.2
    assert np.nanmedian(np.abs(a1 - a2)) > 1.0
    # and slowly, with a time constant of 600 s: over 300 m, some 55 s, it changes by 8 m (2 (1 − e⁻⁰·⁰⁹))½ = 3.4 m
    assert np.nanstd(a1[60:] - a1[:-60]) < 5.0


def test_each_recording_is_written_in_its_segments_and_its_folder(tmp_path):
    device = DeviceSpec("a", shows_start="zero points", start_mix=(0.0, 1.0, 0.0))
    spec = spec_of(device, days=8, directions=("out",), detours=0, faults=0, tunnel=True, layout="by day")
    campaign = make_campaign(spec, 5)
    write(campaign, tmp_path / "deep" / "er")
    segments = set()
    for recording in campaign.recordings:
        text = (tmp_path / "deep" / "er" / recording.file).read_text(encoding="utf-8")
        count = len(np.unique(recording.heard.fixes.segment))
        segments.add(count)
        assert text.count("<trkseg>") == text.count("</trkseg>") == count
        assert text.count("<trkpt") == len(recording.prelude.second) + len(recording.lon_deg)
        assert text.count('lat="0.0000000" lon="0.0000000"') == len(recording.prelude.second) > 0
        assert text.index("0.0000000") < text.index("</trkseg>")  # before the first fix, in its segment
    assert segments == {1, 2}
    assert json.loads((tmp_path / "deep" / "er" / "truth.json").read_text())["title"] == "Test"


def test_the_log_says_which_rides_were_begun_late_and_where():
    spec = spec_of(DeviceSpec("one"), days=6, directions=("out",), detours=0, faults=0, late_starts=4, unlogged=0)
    campaign = make_campaign(spec, 4)
    rows = {row["file"]: row for row in csv.DictReader(log_text(campaign).splitlines())}
    late = [r for r in campaign.recordings if r.session.late_m > 0]
    assert {file for file, row in rows.items() if row["note"] == "begun late"} == {r.file for r in late}
    assert {row["note"] for row in rows.values()} == {"begun late", ""}
    placed = [r for r in late if r.session.log_has_place]
    assert 0 < len(placed) < len(rows)
    assert {file for file, row in rows.items() if row["start_lat"]} == {r.file for r in placed}
    for recording in placed:
        lon, lat = campaign.plane.to_degrees(recording.ride.motion.xy_m[recording.heard.on_s][None, :])
        row = rows[recording.file]
        assert (float(row["start_lon"]), float(row["start_lat"])) == pytest.approx((lon[0], lat[0]), abs=6e-6)

"""The simulator: errors against published values, truth against independent geometry, files against GPX 1.1."""

from __future__ import annotations

import csv
import dataclasses
import json
import math
import tomllib
from pathlib import Path

import numpy as np
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st
from lxml import etree

from gpsq.simulate import (
    SHOWS_START,
    CampaignSpec,
    DeviceSpec,
    drawn_spec,
    make_campaign,
    plan,
    standard_spec,
    truth_of,
    write,
)
from gpsq.simulate.answers import recording_truth
from gpsq.simulate.campaign import rounded_degrees
from gpsq.simulate.noise import correlated_errors, fault_shape, settling, time_to_first_fix
from gpsq.simulate.ride import BRAKE_MPS2, GAIN_MPS2, Motion, speed_limits, way_on
from gpsq.simulate.road import Bend, arc_length, by_the_metre, ridden_line
from gpsq.simulate.truth import device_rms_m, true_offsets

RULES = Path(__file__).parents[1] / "support" / "gpx11_rules.xsd"


def spec_of(*devices: DeviceSpec, **more: object) -> CampaignSpec:
    return CampaignSpec("Test", 11.0, 47.0, devices or (DeviceSpec("one"),), **more)


@pytest.fixture(scope="module")
def week():
    devices = (
        DeviceSpec("one", 2.0),
        DeviceSpec("two", 3.5, style="smart", shows_start="no-fix points"),
        DeviceSpec("three", 5.0, interval_s=3, shows_start="frozen points", decimals=6),
    )
    return make_campaign(spec_of(*devices, detours=2, faults=1, never_fixed=1, late_starts=1, tunnel=True), 5)


# Errors


@pytest.mark.open_data
def test_noise_lengthens_tracks_as_published(shared: Path) -> None:
    """Ranacher et al. 2016, IJGIS 30(2):316-333: E[d²] = d₀² + 4σ²(1 − ρ), and the mean of d is Rician.

    The table holds both for seven cases; the simulator's errors ride on a receiver that moves d₀ a second.
    """
    with (shared / "reference" / "distance_bias_cases.csv").open(encoding="utf-8") as table:
        cases = [{k: float(v or "nan") for k, v in row.items()} for row in csv.DictReader(table)]
    assert len(cases) == 7
    for k, case in enumerate(cases):
        rho = case["rho_consecutive"]
        correlation = ((1.0, -1.0 / math.log(rho) if rho > 0 else 0.0),)
        error = correlated_errors(np.random.default_rng(k), 120_000, case["sigma_per_axis_m"], correlation)
        step = np.diff(error, axis=0) + np.array([case["true_step_m"], 0.0])
        assert np.mean((step**2).sum(axis=1)) == pytest.approx(case["E_d2"], rel=0.012)
        assert np.mean(np.hypot(*step.T)) == pytest.approx(case["E_d_rice"], rel=0.006)


def test_the_bias_of_a_sum_of_processes_follows_the_same_formula() -> None:
    """With several time constants ρ is the mean of the single ones, weighted by their shares of the variance."""
    correlation = DeviceSpec("x").correlation
    rho = sum(share * (math.exp(-1.0 / tau) if tau else 0.0) for share, tau in correlation)
    step = np.diff(correlated_errors(np.random.default_rng(3), 200_000, 3.0, correlation), axis=0) + np.array(
        [5.0, 0.0]
    )
    assert np.mean((step**2).sum(axis=1)) == pytest.approx(25.0 + 4 * 9.0 * (1 - rho), rel=0.01)


@pytest.mark.parametrize("sigma", [2.0, 5.0, 8.0])
def test_recorded_lengths_lie_in_the_published_range(sigma: float) -> None:
    """Distance bias of −9 to some +3 %: Gilgen-Ammann et al. 2020, JMIR mHealth 8(6):e17118, over eight receivers."""
    campaign = make_campaign(spec_of(DeviceSpec("a", sigma), days=2, detours=0, faults=0, canyon_share=0.0), 2)
    for recording in campaign.recordings:
        second = recording.heard.fixes.second
        moving = np.diff(recording.ride.motion.station_m)[second[:-1]] > 1.0
        recorded = np.hypot(*np.diff(recording.heard.fixes.xy_m, axis=0).T)
        true = np.hypot(*np.diff(recording.ride.motion.xy_m, axis=0).T)[second[:-1]]
        assert -0.09 < recorded[moving].sum() / true[moving].sum() - 1.0 < 0.04


@given(st.floats(1.5, 8.0), st.floats(2.0, 60.0), st.integers(0, 2**31))
@settings(max_examples=15, deadline=None)
def test_errors_have_the_standard_deviation_and_correlation_asked_for(sigma: float, tau: float, seed: int) -> None:
    error = correlated_errors(np.random.default_rng(seed), 20_000, sigma, ((1.0, tau),))
    # The number of independent values is about n / 2τ; five standard errors of a standard deviation.
    tolerance = 5.0 / math.sqrt(2 * 2 * 20_000 / (2 * tau))
    assert np.sqrt(np.mean(error**2)) == pytest.approx(sigma, rel=tolerance)
    assert np.mean(error[1:] * error[:-1]) / np.mean(error**2) == pytest.approx(math.exp(-1 / tau), abs=0.02)


@pytest.mark.open_data
def test_consumer_receivers_err_as_published(shared: Path) -> None:
    """Median distances from the true lane of 0.7 m (open) to 5.2 m (street canyon); Schipperijn et al. 2014.

    A device of σ across the road has a median absolute cross-track error of 0.6745 σ (normal).
    """
    with (shared / "reference" / "consumer_gps_benchmarks.csv").open(encoding="utf-8") as table:
        published = {row["what"]: row["value"] for row in csv.DictReader(table)}
    low, high = float(published["median error open area"]), float(published["median error urban canyon"])
    for sigma in (1.5, 3.0, 7.5):
        devices = tuple(DeviceSpec(f"d{k}", sigma, ride_spread=0.0) for k in range(4))
        campaign = make_campaign(spec_of(*devices, detours=0, faults=0, days=3, canyon_share=0.0), 11)
        median = np.nanmedian(np.abs(np.concatenate([r.offsets.offset_m for r in campaign.recordings])))
        assert low < median < high * 1.05
        assert median == pytest.approx(0.6745 * math.hypot(sigma, 0.6), rel=0.12)


def test_a_new_fix_settles() -> None:
    extra = settling(np.random.default_rng(1), np.array([0.0, 10.0, 300.0]), 20.0)
    size = np.hypot(*extra.T)
    assert 6.0 <= size[0] <= 30.0
    assert size[0] > size[1] > size[2]
    assert size[2] < 1e-3


def test_fault_shapes() -> None:
    at = np.array([-1.0, 0.0, 50.0, 100.0, 101.0])
    assert fault_shape("drift", at, 100.0) == pytest.approx([0, 0, 1, 0, 0], abs=1e-12)
    assert fault_shape("jump", at, 100.0).tolist() == [0, 1, 1, 1, 0]


def test_times_to_first_fix_follow_the_broadcast_message() -> None:
    """At least 18 s (three subframes) without ephemeris: NAVSTAR GPS User Equipment Introduction 1996, figure 1-5."""
    rng = np.random.default_rng(1)
    times = {state: np.array([time_to_first_fix(rng, state) for _ in range(2000)]) for state in ("hot", "warm", "cold")}
    assert times["hot"].min() >= 1
    assert np.median(times["hot"]) < 5
    assert times["warm"].min() >= 18
    assert times["cold"].min() > 18
    assert np.median(times["hot"]) < np.median(times["warm"]) < np.median(times["cold"])


# Rides


def test_a_rider_keeps_to_cruise_gain_and_braking() -> None:
    road = by_the_metre(np.array([[0.0, 0.0], [400.0, 0.0], [400.0, 400.0]]))
    speed = speed_limits(road, 6.0, np.array([200.0]))
    change = np.diff(speed**2) / (2 * np.diff(arc_length(road)))
    assert speed.max() == pytest.approx(6.0)
    assert speed[[0, 200, -1]].tolist() == [0.0, 0.0, 0.0]
    assert change.max() <= GAIN_MPS2 + 1e-9
    assert change.min() >= -BRAKE_MPS2 - 1e-9
    assert speed[399] < 3.0  # the corner is sharp


def test_a_waiting_rider_stands_while_the_receiver_wanders() -> None:
    campaign = make_campaign(spec_of(days=1, detours=0, faults=0, lights=12), 3)
    recording = campaign.recordings[0]
    still = np.diff(recording.ride.motion.along_m) == 0.0
    assert still.sum() > 30
    written = recording.heard.fixes
    standing = still[np.minimum(written.second, len(still) - 1)]
    assert np.hypot(*written.xy_m[standing].std(axis=0)) > 0.0
    assert len(np.unique(written.xy_m[standing], axis=0)) == standing.sum()


def test_true_offsets_agree_with_independent_geometry(week) -> None:
    """The distance of each written fix from the road by shapely bounds the true offset at the stations nearby."""
    for recording in week.recordings[:6]:
        road = shapely.LineString(week.town.roads[recording.ride.plan.direction])
        fixes = recording.heard.fixes
        if len(fixes.second) < 100 or recording.session.device.style == "smart":
            continue
        away = shapely.distance(shapely.points(fixes.xy_m), road)
        station = recording.ride.motion.station_m[fixes.second]
        known = np.isfinite(recording.offsets.offset_m) & ~recording.offsets.on_detour
        near = np.interp(station, recording.offsets.station_m[known], np.abs(recording.offsets.offset_m)[known])
        moving = np.gradient(station) > 2.0
        assert np.median(np.abs(near - away)[moving]) < 0.35
        assert np.sqrt(np.mean(near[moving] ** 2)) == pytest.approx(np.sqrt(np.mean(away[moving] ** 2)), rel=0.1)


def test_offsets_are_positive_to_the_left() -> None:
    """A common bias of 3 m to the left moves the mean offset of the same campaign by 3 m."""
    spec = spec_of(days=2, detours=0, faults=0)
    plain, biased = (make_campaign(dataclasses.replace(spec, common_bias_m=b), 9) for b in (0.0, 3.0))
    for one, other in zip(plain.recordings, biased.recordings, strict=True):
        moved = np.nanmedian(other.offsets.offset_m - one.offsets.offset_m)
        assert moved == pytest.approx(3.0, abs=0.1)


def test_left_is_left() -> None:
    """Riding east, fixes 5 m further north lie to the left, and the right lane lies to the south."""
    east = np.column_stack([np.arange(0.0, 1001.0), np.zeros(1001)])
    second = np.arange(200)
    motion = Motion(way_on(east), np.column_stack([second * 5.0, np.zeros(200)]), second * 5.0, second * 5.0)
    offsets = true_offsets(motion, east, second, motion.xy_m + np.array([0.0, 5.0]), np.zeros(200, dtype=int))
    assert offsets.rms_m() == pytest.approx(5.0)
    assert np.nanmin(offsets.offset_m) == pytest.approx(5.0)
    straight = Bend((0.0, 0.0), (1000.0, 1000.0), (0.0, 0.0), 0.0)
    assert ridden_line(np.array([[0.0, 0.0], [500.0, 0.0]]), straight, -2.0)[:, 1] == pytest.approx(-2.0)


def test_a_gap_is_no_data() -> None:
    east = np.column_stack([np.arange(0.0, 1001.0), np.zeros(1001)])
    second = np.array([0, 10, 20, 90, 100])
    clock = np.arange(200)
    motion = Motion(way_on(east), np.column_stack([clock * 5.0, np.zeros(200)]), clock * 5.0, clock * 5.0)
    offsets = true_offsets(motion, east, second, motion.xy_m[second], np.array([0, 0, 0, 0, 1]))
    known = offsets.station_m[np.isfinite(offsets.offset_m)]
    assert known.max() < 100.0  # 70 s of silence, then a new segment
    assert len(known) == 20


def test_devices_err_as_their_expected_rms_says() -> None:
    devices = tuple(DeviceSpec(f"d{k}", 3.0) for k in range(4))
    campaign = make_campaign(spec_of(*devices, days=10, detours=0, faults=0, first_day=standard_spec(1).first_day), 4)
    for direction, road in campaign.town.roads.items():
        held = [r.offsets.rms_m() for r in campaign.recordings if r.ride.plan.direction == direction]
        assert len(road) > 5000
        expected = device_rms_m(campaign.spec, devices[0], campaign.town, direction)
        assert math.sqrt(np.mean(np.square(held))) == pytest.approx(expected, rel=0.1)


# Campaigns


def test_the_same_seed_gives_the_same_bytes_and_another_does_not(tmp_path: Path) -> None:
    spec = spec_of(DeviceSpec("a"), DeviceSpec("b", shows_start="back-fill"), days=1, detours=1)
    for name, seed in (("one", 1), ("again", 1), ("other", 2)):
        write(make_campaign(spec, seed), tmp_path / name)
    one, again, other = (
        {p.relative_to(tmp_path / name): p.read_bytes() for p in (tmp_path / name).rglob("*.*") if p.is_file()}
        for name in ("one", "again", "other")
    )
    assert one == again
    assert one.keys() == other.keys()
    assert all(one[name] != other[name] for name in one if name.suffix == ".gpx")


def test_detours_are_long_and_far_enough_and_shared_by_all_devices(week) -> None:
    found = truth_of(week)["detours"]
    assert len(found) == 2
    for detour in found:
        assert detour["to_m"] - detour["from_m"] >= 300.0
        assert detour["peak_m"] >= 60.0
        assert len(detour["files"]) >= 2
        for recording in week.recordings:
            if recording.file in detour["files"]:
                off = np.abs(recording.offsets.offset_m[recording.offsets.on_detour])
                assert np.nanmax(off) == pytest.approx(detour["peak_m"], abs=30.0)


def test_a_fault_is_in_one_recording_only(week) -> None:
    (fault,) = truth_of(week)["faults"]
    ride = next(r.ride.label for r in week.recordings if r.file == fault["file"])
    for recording in week.recordings:
        if recording.ride.label == ride and len(recording.lon_deg):
            o = recording.offsets
            inside = (o.station_m > fault["from_m"]) & (o.station_m < fault["to_m"])
            far = np.nanmax(np.abs(o.offset_m[inside]))
            assert (far > 50.0) == (recording.file == fault["file"])


def test_a_tunnel_silences_every_device(week) -> None:
    for recording in week.recordings:
        low, high = week.town.tunnels[recording.ride.plan.direction]
        station = recording.ride.motion.station_m[recording.heard.fixes.second]
        assert not ((station > low) & (station < high)).any()


def test_truth_of_starts(week) -> None:
    rows = truth_of(week)["recordings"]
    assert sum(r["never_fixed"] for r in rows) == 1
    assert sum(r["begun_late_m"] > 0 for r in rows) == 1
    for row in rows:
        if row["never_fixed"]:
            assert row["ttff_s"] is row["missed_m"] is row["first_fix"] is None
        else:
            gone = np.datetime64(row["first_fix"][:-1]) - np.datetime64(row["started"][:-1])
            assert gone.astype(int) == row["ttff_s"] > 0
            assert 0 <= row["missed_m"] <= row["fix_station_m"] + 0.01


@pytest.mark.parametrize(("fix_s", "ttff_s"), [(117, 100.0), (None, None)])
def test_the_true_time_to_first_fix_is_what_came_not_what_was_planned(week, fix_s, ttff_s) -> None:
    """Seven seconds were planned; a tunnel made it a hundred, or the ride ended first."""
    one = week.recordings[0]
    heard = dataclasses.replace(one.heard, on_s=17, fix_s=fix_s)
    planned = dataclasses.replace(one.session, ttff_s=7)
    assert recording_truth(dataclasses.replace(one, heard=heard, session=planned))["ttff_s"] == ttff_s


@pytest.mark.parametrize("how", SHOWS_START)
def test_each_way_of_showing_the_start_is_in_the_file(how: str, tmp_path: Path) -> None:
    device = DeviceSpec("one", shows_start=how, start_mix=(0.0, 1.0, 0.0))
    campaign = make_campaign(spec_of(device, days=2, detours=0, faults=0, unlogged=0), 8)
    write(campaign, tmp_path)
    for recording in campaign.recordings:
        document = etree.parse(str(tmp_path / recording.file))
        etree.XMLSchema(etree.parse(str(RULES))).assertValid(document)
        names = {"g": "http://www.topografix.com/GPX/1/1"}
        times = [np.datetime64(t.text[:-1]) for t in document.iterfind(".//g:trkpt/g:time", names)]
        file_time = [np.datetime64(t.text[:-1]) for t in document.iterfind("g:metadata/g:time", names)]
        started = recording.ride.epoch + np.timedelta64(recording.heard.on_s, "s")
        fixed = recording.ride.epoch + np.timedelta64(recording.heard.fix_s, "s")
        assert times == sorted(set(times))
        assert (times[0] == started) == (how in ("no-fix points", "zero points", "frozen points", "back-fill"))
        assert file_time[:1] == {"file time": [started], "file time at fix": [fixed]}.get(how, file_time[:1])
        assert bool(file_time) == how.startswith("file time")
        evident = how in ("log", "no-fix points", "zero points", "frozen points", "file time", "back-fill")
        assert recording.prelude.evidence == ("yes" if evident else "no")
    assert (tmp_path / "rides.csv").exists() == (how == "log")


def test_the_log_tells_local_time_with_its_offset(tmp_path: Path) -> None:
    campaign = make_campaign(spec_of(days=2, detours=0, faults=0, unlogged=1), 8)
    write(campaign, tmp_path)
    rows = list(csv.DictReader((tmp_path / "rides.csv").read_text(encoding="utf-8").splitlines()))
    assert len(rows) == 3
    truth = {r["file"]: r for r in json.loads((tmp_path / "truth.json").read_text(encoding="utf-8"))["recordings"]}
    for row in rows:
        assert row["started"].endswith("+01:00")
        utc = np.datetime64(row["started"][:-6]) - np.timedelta64(1, "h")
        assert f"{utc}Z" == truth[row["file"]]["started"]
    assert [name for name, r in truth.items() if r["evidence"] == "no"] == list(
        truth.keys() - {r["file"] for r in rows}
    )


def test_reference_lines_are_the_true_roads(tmp_path: Path) -> None:
    campaign = make_campaign(spec_of(days=1, detours=0, faults=0, common_bias_m=3.0), 4)
    write(campaign, tmp_path, reference=True)
    named = tomllib.loads((tmp_path / "campaign.toml").read_text(encoding="utf-8"))["reference"]
    assert named == {
        "one/2025-03-03-out.gpx": "road-out.geojson",
        "one/2025-03-03-back.gpx": "road-back.geojson",
    }
    for direction, road in campaign.town.roads.items():
        line = json.loads((tmp_path / f"road-{direction}.geojson").read_text(encoding="utf-8"))
        xy = campaign.plane.to_metres(*np.array(line["coordinates"]).T)
        assert (
            shapely.hausdorff_distance(shapely.LineString(xy), shapely.LineString(road)) < 1.5
        )  # a point every 5 m cuts corners
        assert np.hypot(*(xy[0] - road[0])) < 0.02  # in the direction of travel


@given(st.integers(0, 10_000))
@settings(max_examples=4, deadline=None)
def test_drawn_campaigns_are_valid_anywhere_on_earth(seed: int) -> None:
    import tempfile

    campaign = make_campaign(dataclasses.replace(drawn_spec(seed), length_m=4500.0, tunnel=False), seed)
    schema = etree.XMLSchema(etree.parse(str(RULES)))
    with tempfile.TemporaryDirectory() as folder:
        write(campaign, Path(folder))
        for path in Path(folder).rglob("*.gpx"):
            schema.assertValid(etree.parse(str(path)))


def test_a_longitude_that_rounds_to_180_is_written_as_its_equal() -> None:
    lon, lat = rounded_degrees(np.array([179.99999999, -179.99999999, 179.9999]), np.zeros(3), 7)
    assert lon.tolist() == [-180.0, -180.0, 179.9999]
    assert lat.tolist() == [0.0, 0.0, 0.0]


@pytest.mark.parametrize(("lon", "lat"), [(179.9995, 68.0), (-179.9999, -45.0), (20.0, 80.0)])
def test_campaigns_across_the_antimeridian_and_far_north(lon: float, lat: float, tmp_path: Path) -> None:
    spec = dataclasses.replace(spec_of(days=1, detours=0, faults=0), lon_deg=lon, lat_deg=lat)
    campaign = make_campaign(spec, 1)
    write(campaign, tmp_path)
    for recording in campaign.recordings:
        etree.XMLSchema(etree.parse(str(RULES))).assertValid(etree.parse(str(tmp_path / recording.file)))
        assert ((recording.lon_deg >= -180) & (recording.lon_deg < 180)).all()
        back = campaign.plane.to_metres(recording.lon_deg, recording.lat_deg)
        assert np.abs(back - recording.heard.fixes.xy_m).max() < 0.02


@pytest.mark.parametrize(
    ("change", "message"),
    [
        ({"shows_start": "telepathy"}, "shows_start must be one of"),
        ({"style": "lazy"}, "style must be one of"),
        ({"start_mix": (0.5, 0.5, 0.5)}, "start_mix must be shares that sum to 1"),
        ({"correlation": ((0.5, 3.0),)}, "correlation must be shares that sum to 1"),
    ],
)
def test_impossible_devices_are_refused(change: dict, message: str) -> None:
    with pytest.raises(ValueError, match=message):
        DeviceSpec("x", **change)


def test_impossible_campaigns_are_refused() -> None:
    with pytest.raises(ValueError, match="a name of its own"):
        spec_of(DeviceSpec("a"), DeviceSpec("b"), DeviceSpec("a", interval_s=2.0))
    with pytest.raises(ValueError, match="at least one device"):
        CampaignSpec("x", 0.0, 0.0, ())
    with pytest.raises(ValueError, match="length_m must be at least"):
        spec_of(length_m=100.0)
    with pytest.raises(ValueError, match="no place for a detour"):
        make_campaign(spec_of(detour_long_m=(6000.0, 6500.0)), 1)


@pytest.mark.parametrize("seed", range(6))
def test_standard_campaigns_are_what_the_requirements_speak_of(seed: int) -> None:
    """5 days, 2 directions, 3 devices, 6 to 9 km, and each way some recording that misses nearly nothing."""
    campaign = make_campaign(standard_spec(seed), seed)
    assert len(campaign.recordings) == 30
    for direction, road in campaign.town.roads.items():
        assert 6000.0 <= arc_length(road)[-1] <= 9000.0
        first = min(r.missed_m for r in campaign.recordings if r.ride.plan.direction == direction and r.heard.fix_s)
        assert first < 5.0


@given(st.integers(0, 2**32), st.floats(500.0, 9000.0), st.booleans())
def test_a_fault_lies_between_head_and_tail_where_these_leave_room(seed: int, length_m: float, tunnelled: bool) -> None:
    """And never within a tunnel or its 900 m before it, unless the road is too short for anything else."""
    tunnel = (0.4 * length_m, 0.4 * length_m + 500.0) if tunnelled else None
    fault = plan._fault(np.random.default_rng(seed), length_m, tunnel)
    assert plan.HEAD_M <= fault.from_m <= max(plan.HEAD_M, length_m - plan.TAIL_M - 900.0)
    if tunnel is not None and length_m > 7000.0:
        assert not tunnel[0] - 900.0 < fault.from_m < tunnel[1] + 100.0

"""What is planned and drawn of a simulated campaign, and the demo that comes with gpsq: limits and numbers worked by hand."""

from __future__ import annotations

from collections import Counter
from types import SimpleNamespace

import numpy as np
import pytest

from gpsq.exceptions import OutputError
from gpsq.simulate import CampaignSpec, DeviceSpec, answers, drawn_spec, plan, shipped_demo, standard_spec
from gpsq.simulate.ride import Way, way_on
from gpsq.simulate.road import (
    corners_each_way,
    leg_lengths,
    parallel_street,
    round_the_block,
    street_corners,
    with_spur,
)

SEEDS = range(60)
SQUARE = np.array([[0.0, 0.0], [1000.0, 0.0], [1000.0, 800.0], [400.0, 800.0]])


def spec_of(*devices, **more):
    return CampaignSpec("Test", 11.0, 47.0, devices or (DeviceSpec("one"), DeviceSpec("two")), **more)


def straight(length_m):
    return np.column_stack([np.arange(length_m + 1.0), np.zeros(length_m + 1)])


# ---- what is planned ----
def test_a_town_has_lights_canyons_and_a_tunnel_where_they_are_said_to_be():
    for seed in SEEDS:
        rng = np.random.default_rng(seed)
        town = plan.make_town(
            rng, spec_of(lights=9, tunnel=True, length_m=3000.0, canyon_share=0.1 if seed % 2 else 0.3)
        )
        for name, road in town.roads.items():
            length = np.hypot(*np.diff(road, axis=0).T).sum()
            assert len(town.lights[name]) == 9
            assert 200.0 <= town.lights[name][0] <= town.lights[name][-1] <= length - 100.0
            assert (np.diff(town.lights[name]) >= 0).all()
            low, high = town.tunnels[name]
            assert 0.45 * length <= low <= 0.6 * length
            assert 450.0 <= high - low <= 600.0
            canyons = town.canyons[name]
            assert len(canyons) == (1 if seed % 2 else 2)  # under 600 m in one piece, else in two
            assert 0.15 * length <= canyons[0][0] <= 0.4 * length
            whole = sum(b - a for a, b in canyons)
            assert whole == pytest.approx((0.1 if seed % 2 else 0.3) * length) or canyons[-1][1] == length
    assert plan.make_town(np.random.default_rng(1), spec_of(canyon_share=0.0)).canyons == {"out": (), "back": ()}
    assert plan.make_town(np.random.default_rng(1), spec_of()).tunnels == {}


def test_most_rides_of_a_direction_keep_to_its_road():
    """At most half of the days less one take a detour, so that nobody need ask which way is the usual one."""
    for days, asked, most in ((5, 9, 4), (6, 9, 4), (3, 9, 2), (1, 9, 2), (5, 1, 1), (5, 0, 0)):
        spec = spec_of(days=days, detours=asked, faults=0)
        town = plan.make_town(np.random.default_rng(5), spec)
        rides = plan.plan_rides(np.random.default_rng(5), spec, town)
        gone = Counter(ride.direction for ride in rides if ride.way.detour_m is not None)
        assert gone.total() == most
        assert max(gone.values(), default=0) <= max(1, (days - 1) // 2)


def test_so_many_recordings_begin_late_never_fix_are_slow_and_are_not_logged():
    spec = spec_of(days=20, detours=0, faults=3, late_starts=4, never_fixed=2, slow_fixes=5, unlogged=6)
    town = plan.make_town(np.random.default_rng(5), spec)
    sessions = [s for r in plan.plan_rides(np.random.default_rng(7), spec, town) for s in r.sessions]
    never = [s for s in sessions if s.ttff_s is None]
    late = [s for s in sessions if s.late_m > 0]
    slow = [s for s in sessions if s.ttff_s is not None and s.ttff_s >= 180 and s.state == "cold"]
    faulty, unlogged = [s for s in sessions if s.fault], [s for s in sessions if not s.logged]
    assert (len(never), len(late), len(faulty), len(unlogged)) == (2, 4, 3, 6)
    assert {s.state for s in never} == {"cold"}
    assert all(400.0 <= s.late_m <= 1000.0 for s in late)
    assert len(slow) >= 5
    one_thing = never + late + faulty + unlogged
    assert len({id(s) for s in one_thing}) == len(one_thing)
    assert any(s.log_has_place for s in late) or len(late) < 3
    assert not any(s.log_has_place for s in sessions if s.late_m == 0)


def test_where_all_are_late_none_starts_hot():
    device = DeviceSpec("one", start_mix=(0.9, 0.1, 0.0))
    rng = np.random.default_rng(1)
    states = Counter(plan._session(rng, spec_of(device, all_late=True), device).state for _ in range(50))
    assert states == {"warm": 50}
    states = Counter(plan._session(rng, spec_of(device), device).state for _ in range(200))
    assert states["hot"] > 150
    assert states["cold"] == 0
    assert {plan._session(rng, spec_of(device), device).press_s for _ in range(200)} == set(range(9))


class Drawn:
    """In place of a generator: round a corner, the first there is, with 35 % of the detour before it."""

    def random(self):
        return 0.9

    def integers(self, *_):
        return 1

    def uniform(self, *_):
        return 0.35


@pytest.mark.parametrize(
    ("before_m", "after_m", "found"), [(231, 411, True), (229, 411, False), (231, 409, False), (411, 231, False)]
)
def test_a_way_round_a_block_leaves_neither_of_its_two_streets(before_m, after_m, found):
    """Of 600 m round a block, 210 m lie along the first street and 390 m along the second; each is to be 20 m longer."""
    corners = np.array([[0.0, 0.0], [before_m, 0.0], [before_m, after_m]])
    assert (plan._other_corners(Drawn(), corners, 100.0, 600.0) is not None) is found


def a_town(length_m, tunnel=None):
    tunnels = {} if tunnel is None else {"out": tunnel}
    return SimpleNamespace(roads={"out": straight(length_m)}, tunnels=tunnels)


@pytest.mark.parametrize(
    ("detour", "tunnel", "fits"),
    [
        ((1100.0, 1400.0), None, True), ((1099.0, 1400.0), None, False), ((1100.0, 1399.0), None, False),
        ((4000.0, 4500.0), None, True), ((4000.0, 4501.0), None, False),
        ((2000.0, 2399.0), (2500.0, 3000.0), True), ((2000.0, 2401.0), (2500.0, 3000.0), False),
        ((3101.0, 3500.0), (2500.0, 3000.0), True), ((3099.0, 3500.0), (2500.0, 3000.0), False),
        (None, None, False),
    ],
)  # fmt: skip
def test_a_detour_keeps_away_from_the_ends_and_from_a_tunnel(detour, tunnel, fits):
    """1,100 m of head, 500 m of tail of a road of 5 km, 100 m about a tunnel, and at least 300 m of detour."""
    assert plan._fits(Way(straight(10), np.arange(11.0), detour), a_town(5000, tunnel), "out") is fits


def test_how_far_a_detour_leads_off():
    road = straight(3000)
    other = np.vstack([road[:1000], road[1000:1600] + np.array([0.0, 90.0]), road[1600:]])
    assert plan.peak_off_m(way_on(road, other), road) == pytest.approx(90.0, abs=0.1)
    assert plan.peak_off_m(way_on(road), road) == 0.0


# ---- roads ----
def test_a_street_beside_a_block_and_a_spur_by_hand():
    assert leg_lengths(SQUARE).tolist() == [1000.0, 800.0, 600.0]
    beside = parallel_street(SQUARE, 1, 100.0, 300.0, 70.0)  # 70 m to the left of a way north: to the west
    assert beside.tolist() == [
        [0, 0],
        [1000, 0],
        [1000, 100],
        [930, 100],
        [930, 300],
        [1000, 300],
        [1000, 800],
        [400, 800],
    ]
    block = round_the_block(SQUARE, 1, 200.0, 150.0)
    assert block.tolist() == [[0, 0], [800, 0], [800, 150], [1000, 150], [1000, 800], [400, 800]]
    block = round_the_block(SQUARE, 2, 200.0, 150.0)
    assert block.tolist() == [[0, 0], [1000, 0], [1000, 600], [850, 600], [850, 800], [400, 800]]
    spur = with_spur(SQUARE, 1, 400.0, 300.0, drive_left=False)  # up a street to the west, back 2 m beside it
    assert spur.tolist() == [
        [0, 0],
        [1000, 0],
        [1000, 400],
        [700, 400],
        [700, 398],
        [1000, 398],
        [1000, 800],
        [400, 800],
    ]
    assert with_spur(SQUARE, 1, 400.0, 300.0, drive_left=True)[4].tolist() == [700.0, 402.0]


def test_a_loop_is_as_long_as_asked_for_and_ends_beside_its_start():
    for seed in SEEDS:
        corners = street_corners(np.random.default_rng(seed), 7000.0, "loop")
        assert leg_lengths(corners).sum() == pytest.approx(7000.0)
        assert 40.0 * np.sqrt(2) <= np.hypot(*corners[-1]) <= 90.0 * np.sqrt(2)
        assert (np.diff(corners, axis=0) == 0.0).any(axis=1).all()  # on the grid
        assert 0.28 * 7000.0 <= corners[:, 0].max() <= 0.34 * 7000.0


def test_each_way_has_its_spur_and_the_way_back_its_street():
    for seed in range(10):
        rng = np.random.default_rng(seed)
        ways = corners_each_way(rng, spec_of(spur=True, back="same street"))
        plain = corners_each_way(np.random.default_rng(seed), spec_of(back="same street"))
        for corners in ways.values():
            short = np.flatnonzero(np.abs(leg_lengths(corners) - 2.0) < 1e-6)
            assert len(short) == 1
            assert 280.0 <= leg_lengths(corners)[short[0] - 1] <= 420.0
        assert plain["back"].tolist() == plain["out"][::-1].tolist()
        beside = corners_each_way(np.random.default_rng(seed), spec_of(parallel_m=75.0))
        assert (np.abs(leg_lengths(beside["back"]) - 75.0) < 1e-9).sum() == 2


# ---- specifications ----
def test_a_campaign_of_one_day_or_of_2500_m_is_taken_and_less_is_not():
    assert spec_of(days=1, length_m=2500.0).days == 1
    with pytest.raises(ValueError, match="at least one device and one day"):
        spec_of(days=0)
    with pytest.raises(ValueError, match=r"length_m must be at least 2500 m, but is 2499\.9"):
        spec_of(length_m=2499.9)
    with pytest.raises(ValueError, match="shares that sum to 1"):
        DeviceSpec("x", start_mix=(-0.5, 1.0, 0.5))


def ranges(specs, name):
    values = [getattr(spec, name) for spec in specs]
    return min(values), max(values)


#: What a drawn campaign may have: least and most, and how near to both 400 draws come.
DRAWN = {
    "lon_deg": (-180, 180, 9), "lat_deg": (-48, 70, 2), "length_m": (6100, 8700, 40), "parallel_m": (60, 100, 1),
    "lane_m": (1.0, 3.0, 0.05), "cruise_mps": (4.5, 6.5, 0.05), "lights": (3, 11, 0), "days": (3, 7, 0),
    "canyon_factor": (1.5, 2.5, 0.05), "lateral_m": (0.3, 1.0, 0.02), "shared_sigma_m": (0.0, 0.5, 0),
    "canyon_share": (0.0, 0.25, 0), "detours": (0, 2, 0), "faults": (0, 2, 0), "late_starts": (0, 2, 0),
    "never_fixed": (0, 1, 0), "slow_fixes": (0, 3, 0),
}  # fmt: skip
#: Shares of drawn campaigns, and of their devices; 400 draws err by 0.075 at most, three standard errors.
SHARES = {"all_late": 0.15, "far_memory": 0.7, "spur": 0.2, "drive_left": 0.4, "tunnel": 0.2}


def test_drawn_campaigns_are_as_various_as_they_are_said_to_be():
    specs = [drawn_spec(seed) for seed in range(400)]
    for name, (low, high, near) in DRAWN.items():
        least, most = ranges(specs, name)
        assert low <= least <= low + near, name
        assert high - near <= most <= high, name
    for name, share in SHARES.items():
        assert np.mean([getattr(spec, name) for spec in specs]) == pytest.approx(share, abs=0.075), name
    for name, value, share in (("shape", "loop", 0.15), ("back", "same street", 0.5), ("layout", "by day", 0.25)):
        assert np.mean([getattr(spec, name) == value for spec in specs]) == pytest.approx(share, abs=0.075), name
    devices = [device for spec in specs for device in spec.devices]
    others = [device for spec in specs for device in spec.devices[1:]]
    assert np.mean([len(d.correlation) == 4 for d in others]) == pytest.approx(0.12, abs=0.05)
    assert {d.sigma_m > 6.0 for d in devices if len(d.correlation) == 4} == {True}
    least, most = ranges([d for d in devices if len(d.correlation) == 3], "sigma_m")
    assert (least, most) == (pytest.approx(1.5, abs=0.05), pytest.approx(5.0, abs=0.05))
    assert {d.interval_s for d in devices if d.style == "smart"} == {1}
    assert {d.interval_s for d in devices if d.style == "steady"} == {1, 2, 3, 5}
    for name, value, share in (
        ("style", "smart", 0.25), ("quality", True, 0.4), ("elevation", True, 0.8), ("decimals", 5, 0.15), ("decimals", 7, 0.5),
    ):  # fmt: skip
        assert np.mean([getattr(d, name) == value for d in devices]) == pytest.approx(share, abs=0.06), (name, value)
    assert {spec.devices[0].start_mix for spec in specs} == {(0.8, 0.15, 0.05)}
    assert {spec.detour_off_m for spec in specs} == {(66.0, 90.0), (80.0, 180.0), (150.0, 300.0)}
    assert {spec.detour_long_m for spec in specs} == {(320.0, 450.0), (400.0, 800.0)}
    few = [spec for spec in specs if len(spec.devices) * spec.days * 2 < 12]
    assert {spec.detours for spec in few} == {1}
    assert {spec.detours for spec in specs if len(spec.devices) * spec.days * 2 == 12} == {0, 1, 2}


def test_standard_campaigns_are_another_draw():
    specs = [standard_spec(seed) for seed in range(40)]
    assert {(len(spec.devices), spec.days) for spec in specs} == {(3, 5)}
    assert len({spec.length_m for spec in specs} | {drawn_spec(seed).length_m for seed in range(40)}) == 80
    assert all(len({d.shows_start for d in spec.devices}) == 3 for spec in specs)


# ---- the demo that comes with gpsq ----
@pytest.fixture
def shipped(tmp_path, monkeypatch):
    source = tmp_path / "shipped"
    (source / "unit").mkdir(parents=True)
    (source / "unit" / "a.gpx").write_text("a")
    (source / "rides.csv").write_text("log")
    monkeypatch.setattr(shipped_demo, "PLACES", (tmp_path / "none", source))
    return source


def test_the_demo_is_put_into_a_folder_and_what_is_there_stays(shipped, tmp_path):
    target = tmp_path / "far" / "away"
    for _ in range(2):
        shipped_demo.put(target)
        files = {p.relative_to(target).as_posix(): p.read_text() for p in target.rglob("*") if p.is_file()}
        assert files == {"unit/a.gpx": "a", "rides.csv": "log"}
    (target / "rides.csv").write_text("mine")
    (target / "unit" / "a.gpx").unlink()
    shipped_demo.put(target)
    assert ((target / "rides.csv").read_text(), (target / "unit" / "a.gpx").read_text()) == ("mine", "a")


def test_the_demo_lies_in_the_package_or_in_the_checkout():
    assert shipped_demo.PLACES[0].parent.name == "gpsq"
    assert (shipped_demo.PLACES[1] / "truth.json").is_file()


def test_half_a_file_of_the_demo_never_stays(shipped, tmp_path, monkeypatch):
    def breaks(_, aside):
        aside.write_text("half")
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(shipped_demo.shutil, "copyfile", breaks)
    with pytest.raises(OutputError, match="target: cannot be written: No space left on device"):
        shipped_demo.put(tmp_path / "target")
    assert not [p for p in (tmp_path / "target").rglob("*") if p.is_file()]


def test_without_a_copy_the_demo_is_made(tmp_path, monkeypatch):
    made = []
    monkeypatch.setattr(shipped_demo, "PLACES", (tmp_path / "none",))
    monkeypatch.setattr("gpsq.simulate.demo.demo_campaign", lambda: "campaign")
    monkeypatch.setattr("gpsq.simulate.writing.write", lambda campaign, folder: made.append((campaign, folder)))
    shipped_demo.put(tmp_path / "new")
    assert made == [("campaign", tmp_path / "new")]


# ---- what is told of it ----
@pytest.mark.parametrize(("fix_s", "recorded"), [(None, False), (99, True), (100, False)])
def test_a_fault_is_recorded_by_whom_had_a_fix_before_it(fix_s, recorded):
    """At 10 m/s the fault begins at 1000 m, after 100 s."""
    motion = SimpleNamespace(station_m=np.arange(0.0, 3000.0, 10.0))
    ride = SimpleNamespace(motion=motion, epoch=np.datetime64("2026-05-04T07:00:00", "s"))
    told = answers.fault_truth(
        SimpleNamespace(file="a.gpx", ride=ride, heard=SimpleNamespace(fix_s=fix_s)),
        plan.Fault("jump", 1000.0, 60.0, 90.0),
    )
    assert (told["recorded"], told["from_m"], told["to_m"]) == (recorded, 1000.0, 1600.0)
    assert (told["from_time"], told["to_time"]) == ("2026-05-04T07:01:40Z", "2026-05-04T07:02:40Z")


def test_of_a_standard_campaign_the_first_device_mostly_starts_hot():
    specs = [standard_spec(seed) for seed in SEEDS]
    assert all(spec.devices[0].start_mix == max(d.start_mix for d in spec.devices) for spec in specs)
    assert {spec.devices[0].start_mix[0] for spec in specs} == {0.8}

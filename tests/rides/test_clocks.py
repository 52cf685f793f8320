"""Clocks that disagree: known offsets of real recordings, traps of regular passes, and what must not be claimed."""

from __future__ import annotations

import dataclasses
from typing import TYPE_CHECKING

import numpy as np
import pytest
from hypothesis import assume, example, given
from hypothesis import strategies as st

from gpsq.model import Trace
from gpsq.plane import Plane
from gpsq.reading import read_file
from gpsq.rides.arrange import arrange
from gpsq.rides.clock_faults import never_set
from gpsq.rides.clocks import ROLLOVER_S, ClockOffset, estimate_offsets
from gpsq.settings import Settings

if TYPE_CHECKING:
    from pathlib import Path

DEFAULT = Settings()


def read(path: Path, device: str) -> list[Trace]:
    found = read_file(path, path.name, settings=DEFAULT)
    return [dataclasses.replace(t, device=device) for t in found if isinstance(t, Trace)]


def later(traces: list[Trace], device: str, seconds: float) -> list[Trace]:
    """Return the traces with one device's clock put forward."""
    step = np.timedelta64(int(seconds * 1000), "ms")
    return [dataclasses.replace(t, time=t.time + step) if t.device == device else t for t in traces]


def ride(device: str, start: str, seed: int, shift_s: float = 0.0, pace: int = 0, site_m: float = 0.0) -> Trace:
    """Return a ride round some corners; the pace and the stops are those of `pace`, the noise that of `seed`."""
    speed = np.random.default_rng(pace).choice([0.0, 4.0, 6.0], 900, p=[0.2, 0.4, 0.4])
    along = np.cumsum(np.repeat(speed[::30], 30))
    xy_m = np.column_stack([along, site_m + 300 * np.sin(along / 400)]) + np.random.default_rng(seed).normal(
        0, 3, (900, 2)
    )
    lon_deg, lat_deg = Plane.centred_on([-3.6], [51.2]).to_degrees(xy_m)
    time = np.datetime64(start, "ms") + ((np.arange(900) + shift_s) * 1000).astype("timedelta64[ms]")
    nan = np.full(900, np.nan)
    return Trace(
        file=f"{device}/{start}.gpx", track=1, name="", device=device, creator="", sha256=f"{device}{start}", time=time,
        lon_deg=lon_deg, lat_deg=lat_deg, ele_m=nan, hdop=nan, sat=nan, speed_mps=nan,
        segment=np.zeros(900, np.int64), point=np.arange(900), points=900,
    )  # fmt: skip


@pytest.fixture(scope="module")
def park(shared: Path) -> list[Trace]:
    folder = shared / "data" / "park_passes" / "FC"
    return [t for device in sorted(folder.iterdir()) for t in read(device / "pos.gpx", device.name)]


# ---------------------------------------------------------------- known offsets


@pytest.mark.open_data
def test_known_offsets_of_the_park(park: list[Trace]) -> None:
    # SOURCE.md: the handheld is 7,196 s behind watch-2; the phone's local time (+02:00) is marked Z
    found = {o.device: o for o in estimate_offsets(park)}
    assert set(found) == {"handheld", "phone"}
    assert {o.reference_device for o in found.values()} == {"watch-2"}
    assert found["handheld"].offset_s == pytest.approx(-7196, abs=5)
    # the phone records every 8 to 21 s, and its hours are its zone: seconds beside them are its own
    assert found["phone"].offset_s == pytest.approx(7200, abs=15)
    assert all(o.pairs == 10 and o.spread_s < 10 for o in found.values())
    assert "7195 s behind that of watch-2" in found["handheld"].sentence() or "7194" in found["handheld"].sentence()


@pytest.mark.open_data
@pytest.mark.parametrize("seconds", [900, 1810, -2690, 3600, -7200, 14 * 3600, -5.75 * 3600])
def test_regular_passes_are_no_trap(park: list[Trace], seconds: float) -> None:
    # passes come every 240 s or so, every other one the same way: only the sequence as a whole can tell
    traces = later([t for t in park if t.device in ("watch-1", "watch-2")], "watch-1", seconds)
    (found,) = estimate_offsets(traces)
    sign = 1 if found.device == "watch-1" else -1
    assert found.offset_s * sign == pytest.approx(seconds, abs=5)
    assert found.pairs == 10


@pytest.mark.open_data
@pytest.mark.parametrize("seconds", [240, 480, 485, -480, -960, 1924, 86_400, 15 * 3600, 26 * 3600])
def test_an_offset_that_no_clock_has_is_none(park: list[Trace], seconds: float) -> None:
    traces = later([t for t in park if t.device in ("watch-1", "watch-2")], "watch-1", seconds)
    assert estimate_offsets(traces) == ()


@pytest.mark.open_data
def test_weeks_that_ran_over(shared: Path) -> None:
    folder = shared / "inputs" / "14-week-rollover"
    traces = read(folder / "new-device.gpx", "new") + read(folder / "old-device.gpx", "old")
    (found,) = estimate_offsets(traces)
    # case.toml: clock_offset_to_new_device_s = -619315200, which is 1024 weeks
    assert np.isnan(found.spread_s)  # of one pair there is none
    same = dataclasses.replace(found, spread_s=0.0)
    assert same == ClockOffset("old", "new", -619315200.0, 0.0, 1, is_week_rollover=True)
    assert -found.offset_s == ROLLOVER_S == 7168 * 86400
    assert "7168 days" in found.sentence()
    by_file = [dataclasses.replace(t, device="same") for t in traces]
    assert estimate_offsets(by_file) == ()
    assert len(estimate_offsets(by_file, clock_of=lambda t: t.file)) == 1


@pytest.mark.open_data
def test_continuous_recordings(shared: Path) -> None:
    folder = shared / "data" / "park_passes" / "continuous"
    traces = [t for name in ("handheld", "watch-1", "watch-2") for t in read(folder / f"{name}.gpx", name)]
    (found,) = estimate_offsets(traces)
    assert (found.device, found.pairs) == ("handheld", 1)
    assert found.offset_s == pytest.approx(-7196, abs=5)
    assert np.isnan(found.spread_s)


# ---------------------------------------------------------------- nothing to claim


@pytest.mark.open_data
def test_clocks_that_agree(shared: Path) -> None:
    folder = shared / "data" / "highway_loop"
    devices = [d for d in sorted(folder.iterdir()) if d.is_dir()]
    traces = [t for device in devices for path in sorted(device.glob("*.gpx")) for t in read(path, device.name)]
    assert len(traces) == 12
    assert estimate_offsets(traces) == ()


@pytest.mark.open_data
def test_swapped_axes_are_no_clock(shared: Path) -> None:
    folder = shared / "inputs" / "19-swapped-lat-lon"
    assert estimate_offsets([t for n in "abc" for t in read(folder / f"{n}.gpx", n)]) == ()


def test_same_hours_on_other_days_are_no_clock() -> None:
    # two devices that never rode together: the same road at the same hour, on other days
    traces = [ride("a", f"2024-05-{13 + d}T07:00:00", d, pace=d) for d in range(4)]
    traces += [ride("b", f"2024-05-{20 + d}T07:00:20", 10 + d, pace=d) for d in range(4)]
    assert estimate_offsets(traces) == ()


def test_other_roads_and_nothing() -> None:
    traces = [ride("a", "2024-05-13T07:00:00", 1), ride("b", "2024-05-13T08:00:00", 2, site_m=5000.0)]
    assert estimate_offsets(traces) == ()
    assert estimate_offsets(()) == ()
    assert estimate_offsets(traces[:1]) == ()
    undated = [dataclasses.replace(t, date_known=False) for t in traces]
    assert estimate_offsets(undated) == ()


@pytest.mark.parametrize("shift_s", [885.0, -3600.0, 3 * 3600.0 + 7, -ROLLOVER_S, 2 * ROLLOVER_S])
def test_made_up_campaign(shift_s: float) -> None:
    days = ["2024-05-13T07:01:00", "2024-05-14T07:03:30", "2024-05-15T06:58:00", "2024-05-16T07:10:00"]
    traces = [ride("a", day, n, pace=n) for n, day in enumerate(days)]
    traces += [ride("b", day, 20 + n, shift_s=shift_s, pace=n) for n, day in enumerate(days[1:], start=1)]
    (found,) = estimate_offsets(traces)
    assert (found.device, found.reference_device, found.pairs) == ("b", "a", 3)
    assert found.offset_s == pytest.approx(shift_s, abs=2)
    assert found.is_week_rollover == (abs(shift_s) >= ROLLOVER_S)
    assert all(t.time[0] == ride(t.device, t.file[2:-4], 0).time[0] for t in traces if t.device == "a")


def rides_of(traces: list[Trace]) -> list[set[str]]:
    """Return the labels of the recordings of each ride, as a campaign puts them together."""
    arranged = arrange(traces, DEFAULT)
    rides: dict[str, set[str]] = {}
    for trace, name in zip(arranged.traces, arranged.rides, strict=True):
        rides.setdefault(name, set()).add(f"{trace.device} {trace.track}")
    return list(rides.values())


DAYS = ("2024-05-13T07:01:00", "2024-05-14T07:03:30", "2024-05-15T06:58:00")


@given(days=st.integers(-15_000, 15_000), beside_s=st.integers(-40, 40))
@example(days=105, beside_s=8_543)  # 9,080,743 s
@example(days=1, beside_s=0)
def test_shifting_the_dates_of_one_device_never_makes_one_ride_of_two_days(days: int, beside_s: int) -> None:
    """Two people walk alike on other days; but turns of the week count, the only fault of whole days, are found."""
    assume(days % 7168 not in (0, 1, 7167))
    traces = [ride("a", day, n, pace=n) for n, day in enumerate(DAYS)]
    traces += [ride("b", day, 20 + n, shift_s=86_400.0 * days + beside_s, pace=n) for n, day in enumerate(DAYS)]
    assume(not any(never_set(np.array([t.time[0].astype("int64") / 1000])) for t in traces))
    assert estimate_offsets(traces) == ()
    assert all(len(ride_) == 1 for ride_ in rides_of(traces))


@given(quarters=st.integers(-56, 56), beside_s=st.integers(-25, 25))
def test_every_zone_is_found_and_seconds_beside_it_are_kept(quarters: int, beside_s: int) -> None:
    assume(abs(quarters) > 1)
    shift_s = 900.0 * quarters + beside_s
    traces = [ride("a", day, n, pace=n) for n, day in enumerate(DAYS)]
    traces += [ride("b", day, 20 + n, shift_s=shift_s, pace=n) for n, day in enumerate(DAYS)]
    (found,) = estimate_offsets(traces)
    sign = 1 if found.device == "b" else -1
    assert (sign * found.offset_s, found.pairs) == (pytest.approx(shift_s, abs=2), 3)
    assert all(len(ride_) == 2 for ride_ in rides_of(traces))


def passes_of(park: list[Trace], device: str, first: int, last: int) -> list[Trace]:
    return [t for t in park if t.device == device and first <= t.track <= last]


@pytest.mark.open_data
@pytest.mark.parametrize("other", ["watch-1", "module", "handheld", "phone"])
def test_passes_of_two_devices_that_never_walked_together_stay_apart(park: list[Trace], other: str) -> None:
    traces = [*passes_of(park, "watch-2", 1, 4), *passes_of(park, other, 5, 8)]
    assert estimate_offsets(traces) == ()
    assert len(rides_of(traces)) == 8


@pytest.mark.open_data
@pytest.mark.parametrize("other", ["watch-1", "module", "handheld", "phone"])
def test_the_passes_that_two_devices_share_are_found(park: list[Trace], other: str) -> None:
    """Six passes each, two of them walked with both; the clocks of handheld and phone are hours off."""
    traces = [*passes_of(park, "watch-2", 1, 6), *passes_of(park, other, 5, 10)]
    shared = [r for r in rides_of(traces) if len(r) == 2]
    assert sorted(shared, key=sorted) == [{"watch-2 5", f"{other} 5"}, {"watch-2 6", f"{other} 6"}]


def test_a_clock_that_was_never_set_may_show_anything() -> None:
    """Its recordings count from 1980; whatever the seconds between, they pair with those of the same rides."""
    traces = [ride("a", day, n, pace=n) for n, day in enumerate(DAYS)]
    shift_s = float((np.datetime64("1980-01-06T00:00:41") - np.datetime64(DAYS[0])) / np.timedelta64(1, "s"))
    unset = [ride("b", day, 20 + n, shift_s=shift_s, pace=n) for n, day in enumerate(DAYS)]
    (found,) = estimate_offsets([*traces, *unset])
    assert (found.device, found.pairs) == ("b", 3)
    assert found.offset_s == pytest.approx(shift_s, abs=2)
    assert all(len(r) == 2 for r in rides_of([*traces, *unset]))
    assert (
        estimate_offsets([*unset, *(dataclasses.replace(t, device="c", time=t.time + 7_000_000) for t in unset)]) == ()
    )


def test_devices_that_meet_at_the_times_written_are_not_doubted() -> None:
    """One ride is shared as written; an hour off, the other two would lie on each other: those are two people."""
    traces = [ride("a", day, n, pace=n) for n, day in enumerate(DAYS)]
    traces += [ride("b", DAYS[0], 20, pace=0)]
    traces += [ride("b", day, 20 + n, shift_s=3600.0, pace=n) for n, day in enumerate(DAYS[1:], start=1)]
    assert estimate_offsets(traces) == ()


def test_seconds_alone_are_not_looked_for() -> None:
    """Two who drive 25 s apart, 500 m from each other, are two."""
    seconds = np.arange(900)
    for shift_s in (12.0, 25.0):
        traces = []
        for device, late_s in (("a", 0.0), ("b", shift_s)):
            for day in DAYS:
                slow = ride(device, day, len(traces), shift_s=late_s, pace=1)
                lon_deg, lat_deg = Plane.centred_on([-3.6], [51.2]).to_degrees(
                    np.column_stack([20.0 * seconds, 300 * np.sin(seconds / 40)])
                )
                traces.append(dataclasses.replace(slow, lon_deg=lon_deg, lat_deg=lat_deg))
        assert estimate_offsets(traces) == ()


def test_an_offset_that_explains_two_rides_of_five_is_none() -> None:
    """An hour off two of them lie on each other; the three others would run at the same time elsewhere."""
    days = [*DAYS, "2024-05-16T07:10:00", "2024-05-17T07:05:00"]
    traces = [ride("a", day, n, pace=n) for n, day in enumerate(days)]
    away_m = (0.0, 0.0, 5000.0, 5000.0, 5000.0)
    traces += [
        ride("b", day, 20 + n, shift_s=3600.0, pace=n, site_m=metres)
        for n, (day, metres) in enumerate(zip(days, away_m, strict=True))
    ]
    assert estimate_offsets(traces) == ()
    assert len(estimate_offsets([t for t in traces if t.device == "a" or t.lat_deg[0] < 51.21])) == 1


def test_sentence() -> None:
    one = ClockOffset("a", "b", 120.4, float("nan"), 1, is_week_rollover=False)
    assert one.sentence().startswith("The clock of a is 120 s ahead of that of b (1 recording agrees)")


def part_of(trace: Trace, last: int) -> Trace:
    """Return a recording that was stopped after so many fixes, one a second."""
    names = ("time", "lon_deg", "lat_deg", "ele_m", "hdop", "sat", "speed_mps", "segment", "point")
    return dataclasses.replace(trace, **{name: getattr(trace, name)[:last] for name in names}, points=last)


def test_one_short_pair_is_no_proof_and_a_long_one_is() -> None:
    """Five minutes at another hour may be another ride; eleven minutes of the same stops and starts are one."""
    pair = [ride("a", DAYS[0], 1), ride("b", DAYS[0], 2, shift_s=3600.0)]
    assert estimate_offsets([part_of(t, 300) for t in pair]) == ()
    (found,) = estimate_offsets([part_of(t, 660) for t in pair])
    assert (abs(found.offset_s), found.pairs) == (pytest.approx(3600.0, abs=2), 1)


def test_two_offsets_that_explain_as_much_claim_nothing() -> None:
    """One device rode the same way at the same pace an hour before and an hour after the other says it did."""
    once = [ride("b", "2024-05-13T07:01:00", 3)]
    early, late = ride("a", "2024-05-13T06:01:00", 1), ride("a", "2024-05-13T08:01:00", 2)
    assert estimate_offsets([early, late, *once]) == ()
    assert len(estimate_offsets([early, *once])) == 1

"""Where rides start: from the log, from hot starts, from the end of the way back; roads and rides laid out by hand."""

from __future__ import annotations

import dataclasses

import numpy as np
import pytest
from there_and_back import ROAD, both_ways, outward, stood
from trace_maker import HARBOUR, MONDAY, shifted_left, smooth_noise, trace_on

from gpsq.pipeline.stages import analyse_traces
from gpsq.settings import Settings


def test_rides_start_where_those_of_the_way_back_end():
    pairs, found = outward(both_ways())
    for (fix, result), cut in zip(pairs, (60, 66, 74, 82), strict=True):
        assert fix.place_basis == "way back"
        assert fix.missed_m == pytest.approx(5.0 * cut, abs=12.0)
        assert fix.missed_low_m < 5.0 * cut < fix.missed_high_m
        assert not fix.missed_is_minimum
        assert np.isnan(fix.seconds)
        assert result.lead.xy_m[0] == pytest.approx(_place(found, result), abs=8.0)


def _place(found, result):
    """Return where the road begins, in the plane of the result's route."""
    plane = found.route_named(result.route).route.plane
    lon, lat = HARBOUR.to_degrees(ROAD[:1])
    return plane.to_metres(lon, lat)[0]


def test_ends_that_scatter_are_no_place_and_what_is_missed_is_a_bound_without_bounds():
    pairs, _ = outward(both_ways(stops_m=(2500.0, 2440.0, 2380.0, 2500.0)))
    for fix, result in pairs:
        assert (fix.place_basis, fix.missed_is_minimum, result.lead) == ("none", True, None)
        assert np.isnan([fix.missed_low_m, fix.missed_high_m]).all()
        assert fix.missed_m < 5.0 * 82 - 250.0


def test_two_rides_back_are_too_few():
    traces = [t for t in both_ways() if t.file not in ("back2.gpx", "back3.gpx")]
    assert all(fix.place_basis == "none" for fix, _ in outward(traces)[0])


def test_one_that_stopped_early_is_no_end_of_the_way_and_is_told_of():
    pairs, found = outward(both_ways(stops_m=(2500.0, 2496.0, 1500.0, 2500.0)))
    assert all(fix.place_basis == "way back" for fix, _ in pairs)
    early = {t.file: r.ended_early_m for t, r in zip(found.traces, found.results, strict=True)}
    assert early.pop("back2.gpx") == pytest.approx(1000.0, abs=10.0)
    assert np.isnan(list(early.values())).all()


def test_the_logs_place_before_the_line_is_added_to_it():
    lon, lat = HARBOUR.to_degrees(ROAD[[10]])
    place = {"start_lat_deg": float(lat[0]), "start_lon_deg": float(lon[0])}
    for fix, _ in outward(both_ways(out=place))[0]:
        assert (fix.place_basis, fix.missed_is_minimum) == ("log", False)
    missed = [fix.missed_m for fix, _ in outward(both_ways(out=place))[0]]
    assert missed == pytest.approx([5.0 * (cut - 10) for cut in (60, 66, 74, 82)], abs=8.0)
    # without rides back nobody knows the road between: as the crow flies, and at least
    alone = [t for t in both_ways(out=place) if t.file.startswith("out")]
    found = analyse_traces(alone, Settings())
    assert all(r.first_fix.missed_is_minimum for r in found.results)
    straight_m = float(np.hypot(*(ROAD[60] - ROAD[10])))
    nearest = min(r.first_fix.missed_m for r in found.results)
    assert nearest == pytest.approx(straight_m, abs=8.0)


def test_the_way_back_leads_from_the_logs_place_even_where_its_rides_end_here_and_there():
    lon, lat = HARBOUR.to_degrees(ROAD[[10]])
    place = {"start_lat_deg": float(lat[0]), "start_lon_deg": float(lon[0])}
    pairs = outward(both_ways(stops_m=(2500.0, 2440.0, 2380.0, 2500.0), out=place))[0]
    assert [(fix.place_basis, fix.missed_is_minimum) for fix, _ in pairs] == [("log", False)] * 4
    assert [fix.missed_m for fix, _ in pairs] == pytest.approx([5.0 * (cut - 10) for cut in (60, 66, 74, 82)], abs=8.0)


def test_one_that_begins_half_an_hour_down_the_road_began_there():
    """A kilometre an hour: 2 km down the road are two hours of searching, which no device takes; 300 m are 18 minutes."""
    rng = np.random.default_rng(5)
    slow = {"interval_s": 18.0}
    lines = [shifted_left(ROAD, smooth_noise(rng, len(ROAD), 1.0)) for _ in range(4)]
    traces = [
        trace_on(line[cut:], day=day, **slow)
        for day, (line, cut) in enumerate(zip(lines, (0, 2, 60, 400), strict=True))
    ]
    fixes = [r.first_fix for r in analyse_traces(traces, Settings()).results]
    assert np.isfinite([f.missed_m for f in fixes[:3]]).all()
    assert np.isnan(fixes[3].missed_m)
    known = dataclasses.replace(traces[3], started=traces[3].time[0] - np.timedelta64(2, "h"), start_basis="log")
    assert analyse_traces([*traces[:3], known], Settings()).results[3].first_fix.missed_m == pytest.approx(
        2000.0, abs=15.0
    )


def test_a_recording_fixed_at_once_shows_the_place_before_any_way_back():
    traces = both_ways(fixed_at=(4, 66, 74, 82))
    start = {"started": MONDAY - np.timedelta64(2, "s"), "start_basis": "log"}
    traces[0] = dataclasses.replace(traces[0], **start)
    fixes = [fix for fix, _ in outward(traces)[0]]
    assert all(fix.place_basis == "hot start" for fix in fixes)
    assert [fix.missed_m for fix in fixes] == pytest.approx([0.0, 310.0, 350.0, 390.0], abs=10.0)


def test_who_is_seen_setting_off_there_narrows_the_bounds():
    wide = outward(both_ways())[0][3][0]
    traces = both_ways(fixed_at=(2, 66, 74, 82))
    traces[0] = stood(traces[0], 40)
    fixes = [fix for fix, _ in outward(traces)[0]]
    assert [fix.place_basis for fix in fixes] == ["way back"] * 4
    assert fixes[0].stood_s == pytest.approx(37.0, abs=4.0)
    assert fixes[0].missed_m < 12.0
    assert fixes[3].missed_high_m - fixes[3].missed_low_m < 50.0
    assert wide.missed_high_m - wide.missed_low_m > 120.0


def test_who_sets_off_before_the_end_of_the_way_back_shows_where_rides_start():
    traces = both_ways(fixed_at=(0, 66, 74, 82), stops_m=(2400.0, 2396.0, 2404.0, 2399.0))
    traces[0] = stood(traces[0], 40)
    fixes = [fix for fix, _ in outward(traces)[0]]
    assert [fix.place_basis for fix in fixes] == ["seen setting off"] * 4
    assert fixes[3].missed_m == pytest.approx(410.0, abs=12.0)


@pytest.mark.parametrize("stops_m", [(2500.0, 2496.0, 2503.0, 2492.0), (2400.0, 2396.0, 2404.0, 2399.0)])
def test_who_is_first_fixed_while_waiting_at_a_light_down_the_road_shows_no_start(stops_m):
    """One sets off at the start, two stand 330 and 410 m on: the place and its bounds are those of the one."""
    traces = both_ways(fixed_at=(2, 66, 74, 82), stops_m=stops_m)
    traces[0] = stood(traces[0], 40)
    alone = [fix for fix, _ in outward(traces)[0]]
    for k in (2, 6):
        traces[k] = stood(traces[k], 40)
    for fix, before in zip([fix for fix, _ in outward(traces)[0]], alone, strict=True):
        assert fix.place_basis == before.place_basis
        assert fix.missed_m == pytest.approx(before.missed_m, abs=4.0)
        assert fix.missed_high_m - fix.missed_low_m == pytest.approx(
            before.missed_high_m - before.missed_low_m, abs=8.0
        )


def test_who_is_seen_riding_before_the_end_of_the_way_back_makes_it_a_bound():
    fixes = [fix for fix, _ in outward(both_ways((4, 66, 74, 82), (2400.0, 2396.0, 2404.0, 2399.0)))[0]]
    assert all((fix.place_basis, fix.missed_is_minimum) == ("none", True) for fix in fixes)
    assert fixes[3].missed_m == pytest.approx(390.0, abs=15.0)

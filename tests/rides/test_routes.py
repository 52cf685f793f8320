"""Routes and rides: what belongs together, and what does not."""

from __future__ import annotations

import numpy as np
import pytest
from trace_maker import HARBOUR, road, shifted_left, smooth_noise, trace_on

from gpsq.pipeline.stages import analyse_traces
from gpsq.plane import Plane
from gpsq.rides.routes import group_rides
from gpsq.settings import Settings

SETTINGS = Settings()


def commute(plane=HARBOUR, days=4, devices=("a", "b"), seed=1, order=slice(None), step_m=5.0):
    """Return out and back of several days along one road, several devices at once."""
    rng = np.random.default_rng(seed)
    traces = []
    for day in range(days):
        for way, start_s in (("out", 0.0), ("back", 30_000.0)):
            for device in devices:
                line = shifted_left(road(3000), smooth_noise(rng, 601, 2.0))
                line = line if way == "out" else line[::-1]
                traces.append(
                    trace_on(
                        line, device=device, day=day, start_s=start_s, plane=plane, file=f"{device}/{day}-{way}.gpx"
                    )
                )
    return traces[order]


def summary(found):
    """Return the figures of each recording by file, which must not depend on how the campaign is turned or moved."""
    return {
        t.file: (
            r.crosstrack.rms_m,
            r.curves.frechet_m,
            r.curves.hausdorff_m,
            r.curves.length_ratio,
            r.first_fix.missed_m,
        )
        for t, r in zip(found.traces, found.results, strict=True)
    }


def close(one, other, rel=0.02, abs_m=0.12):
    for file, figures in one.items():
        assert other[file] == pytest.approx(figures, rel=rel, abs=abs_m), file


def test_out_and_back_are_two_routes_and_co_recorded_traces_one_ride():
    found = analyse_traces(commute(), SETTINGS)
    assert [len(r.route.members) for r in found.routes] == [8, 8]
    rides = {}
    for trace, result in zip(found.traces, found.results, strict=True):
        rides.setdefault(result.ride, set()).add(trace.device)
    assert len(rides) == 8
    assert all(devices == {"a", "b"} for devices in rides.values())


def test_another_road_is_another_route():
    elsewhere = [trace_on(road(3000) + np.array([0.0, 900.0]), device="a", day=day) for day in range(5, 8)]
    found = analyse_traces([*commute(), *elsewhere], SETTINGS)
    assert sorted(len(r.route.members) for r in found.routes) == [3, 8, 8]


def test_a_late_fix_does_not_part_a_trace_from_its_route():
    traces = commute()
    late = trace_on(road(3000)[480:], device="c", day=1, start_s=480.0)
    found = analyse_traces([*traces, late], SETTINGS)
    assert found.results[-1].route == found.results[0].route


def test_a_lone_trace_is_a_route_of_its_own_and_says_so():
    found = analyse_traces([trace_on(road())], SETTINGS)
    assert found.results[0].status == "not scored"
    assert found.results[0].reason == "the only recording on its road: nothing to compare it with"


def test_under_three_rides_there_are_no_errors():
    found = analyse_traces(commute(days=2), SETTINGS)
    assert {r.reason for r in found.results} == {"only 2 rides on this route: cross-track error needs 3"}
    assert all(r.crosstrack is None for r in found.results)


def test_the_same_recording_twice_counts_once():
    traces = commute(devices=("a",))
    copy = {f: getattr(traces[0], f) for f in ("time", "lon_deg", "lat_deg", "points", "point", "segment")}
    again = trace_on(
        road(3000), file="z/export.gpx", **copy, **dict.fromkeys(("ele_m", "hdop", "sat", "speed_mps"), traces[0].ele_m)
    )
    found = analyse_traces([*traces, again], SETTINGS)
    assert found.results[-1].status == "not scored"
    assert "same recording" in found.results[-1].reason
    assert found.results[-1].duplicate_of
    route = found.route_named(found.results[0].route)
    assert route.centreline.support.max() == 4


def test_the_order_of_the_recordings_does_not_matter():
    close(
        summary(analyse_traces(commute(), SETTINGS)),
        summary(analyse_traces(commute(order=slice(None, None, -1)), SETTINGS)),
    )


@pytest.mark.parametrize("plane", [Plane(180.0, -17.0), Plane(25.0, 70.0), Plane(-179.99, 70.0), Plane(10.0, 89.0)])
def test_the_place_on_earth_does_not_matter(plane):
    """Across the antimeridian, at 70° north and near the pole the figures are those of the middle of an ocean."""
    close(summary(analyse_traces(commute(), SETTINGS)), summary(analyse_traces(commute(plane=plane), SETTINGS)))


def test_riding_everything_backwards_gives_the_same_figures():
    there = analyse_traces(commute(), SETTINGS)
    turned = [
        trace_on(HARBOUR.to_metres(t.lon_deg, t.lat_deg)[::-1], device=t.device, file=t.file, time=t.time)
        for t in commute()
    ]
    back = analyse_traces(turned, SETTINGS)
    one, other = summary(there), summary(back)
    for file in one:
        assert other[file][:4] == pytest.approx(one[file][:4], rel=0.06, abs=0.3)
    biases = [(a.crosstrack.bias_m, b.crosstrack.bias_m) for a, b in zip(there.results, back.results, strict=True)]
    assert all(a == pytest.approx(-b, abs=0.3) for a, b in biases)


def test_a_trace_sampled_more_finely_keeps_its_figures():
    traces = commute()
    xy = HARBOUR.to_metres(traces[0].lon_deg, traces[0].lat_deg)
    finer = np.column_stack([np.interp(np.arange(0, 600.2, 0.25), np.arange(601), xy[:, k]) for k in (0, 1)])
    again = trace_on(finer, device="a", interval_s=0.25, file=traces[0].file)
    close(
        summary(analyse_traces(traces, SETTINGS)),
        summary(analyse_traces([again, *traces[1:]], SETTINGS)),
        rel=0.04,
        abs_m=0.2,
    )


def rides(*traces):
    return group_rides(traces, SETTINGS, [0.0] * len(traces))


@pytest.mark.parametrize(("behind_s", "together"), [(0.0, True), (25.0, True), (35.0, False), (200.0, False)])
def test_who_is_a_kilometre_behind_rides_alone(behind_s, together):
    """At 5 m/s: 125 m apart is one rider with a bad fix, 175 m and 1 km are two who ride at one time."""
    found = rides(trace_on(road(), device="a"), trace_on(road(), device="b", start_s=behind_s))
    assert found == ((0, 0) if together else (0, 1))


def test_who_names_a_ride_decides_which_it_is():
    here = {"ride_label": "Monday"}
    assert rides(trace_on(road(), **here), trace_on(road(), device="b", ride_label="Tuesday")) == (0, 1)
    assert rides(trace_on(road(), **here), trace_on(road(), device="b", start_s=7200.0, **here)) == (0, 0)
    assert rides(trace_on(road(), **here), trace_on(road(), device="b")) == (0, 0)


def test_most_of_the_shorter_must_run_at_the_same_time():
    """Half of each is shared where 0.5 is asked for; a quarter is too little."""
    whole = trace_on(road())
    shares = (SETTINGS.ride_overlap_share - 0.1, SETTINGS.ride_overlap_share + 0.1)
    for share, found in zip(shares, ((0, 1), (0, 0)), strict=True):
        first = int(401 * (1 - share))
        longer = np.vstack([road()[first:], road()[-1] + 5.0 * np.column_stack([np.arange(first), np.zeros(first)])])
        assert rides(whole, trace_on(longer, device="b", start_s=float(first))) == found

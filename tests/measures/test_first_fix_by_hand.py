"""Where and how a recording begins, worked by hand: standing, setting off, and the station of each fix."""

from __future__ import annotations

import numpy as np
import pytest
from trace_maker import MONDAY, road, trace_on

from gpsq.geometry.alignment import Abreast
from gpsq.measures import first_fix
from gpsq.model import NAT, FirstFix

#: An easy rider gains speed by 0.7 m/s each second.
GAIN = 0.7


def at_seconds(x_m, seconds, **changes):
    """Return a trace along the x axis with its fixes at these seconds, and its places."""
    xy = np.column_stack([np.asarray(x_m, float), np.zeros(len(x_m))])
    time = MONDAY + (np.asarray(seconds, float) * 1000).astype("timedelta64[ms]")
    return trace_on(xy, time=time, first_record=time[0], **changes), xy


def stood(x_m, seconds):
    return first_fix.standing_s(*at_seconds(x_m, seconds))


def test_from_rest_a_rider_takes_the_root_until_at_speed():
    """25 m at 0.7 m/s² take √(50 / 0.7) s if the usual speed is not reached in them; that is reached at √35 = 5.92 m/s."""
    assert first_fix.from_rest_s(25.0, 6.0) == pytest.approx(np.sqrt(50.0 / GAIN))
    assert first_fix.from_rest_s(25.0, 5.9) == pytest.approx(25.0 / 5.9 + 5.9 / (2 * GAIN))
    assert first_fix.from_rest_s(0.0, 5.0) == 0.0
    assert first_fix.from_rest_s(-3.0, 5.0) == 0.0


def test_who_stood_40_s_is_seen_to():
    """5 m/s from second 40 on: more than 25 m away at second 46, less 25 / 5 + 5 / 1.4 s for the way there from rest."""
    x = np.concatenate([np.zeros(41), 5.0 * np.arange(1.0, 30.0)])
    assert stood(x, np.arange(70.0)) == pytest.approx(46.0 - 5.0 - 5.0 / 1.4)


def test_the_usual_speed_is_that_of_the_moving_legs_only():
    """Legs of 0.5 m/s are standing: without them the median is 10 m/s, and 25 m are gained from rest all the way."""
    x = np.concatenate([0.5 * np.arange(11.0), 5.0 + 10.0 * np.arange(1.0, 6.0)])
    assert stood(x, np.arange(16.0)) == pytest.approx(13.0 - np.sqrt(50.0 / GAIN))
    assert stood([0.0, 3.0, 6.0, 36.0], [0.0, 0.5, 1.0, 31.0]) == pytest.approx(31.0 - np.sqrt(50.0 / GAIN))


def test_who_was_off_at_once_did_not_stand():
    assert stood(5.0 * np.arange(20.0), np.arange(20.0)) == 0.0


def test_who_never_leaves_or_never_moves_tells_nothing():
    assert np.isnan(stood(np.arange(26.0), np.arange(26.0)))
    assert not np.isnan(stood(np.arange(27.0), np.arange(27.0)))
    assert np.isnan(stood([0.0, 30.0], [0.0, 60.0]))
    assert np.isnan(stood([0.0], [0.0]))
    assert stood([0.0, 40.0], [0.0, 20.0]) == pytest.approx(20.0 - (25.0 / 2.0 + 2.0 / 1.4))
    _, xy = at_seconds(5.0 * np.arange(20.0), np.arange(20.0))
    untimed = trace_on(xy, time=np.full(20, NAT))
    assert not untimed.timed
    assert np.isnan(first_fix.standing_s(untimed, xy))


def test_the_station_of_the_fix_is_the_middle_one_while_standing():
    """Away at second 6 and 5 m/s before that from rest: stood until 40 s less, so that seconds 0 to 37 count."""
    x = np.concatenate([np.zeros(41), 5.0 * np.arange(1.0, 30.0)])
    trace, xy = at_seconds(x, np.arange(70.0))
    station = np.concatenate([np.arange(38.0), np.full(32, 900.0)])
    found = first_fix.on_line(FirstFix(basis="none"), trace, xy, station, 12.0)
    assert (found.station_m, found.settle_s) == (18.5, 12.0)
    assert found.stood_s == pytest.approx(46.0 - 5.0 - 5.0 / 1.4)


def test_the_station_of_who_did_not_stand_is_the_first():
    trace, xy = at_seconds(5.0 * np.arange(20.0), np.arange(20.0))
    found = first_fix.on_line(FirstFix(basis="none"), trace, xy, 7.0 + 5.0 * np.arange(20.0), 0.0)
    assert (found.station_m, found.stood_s) == (7.0, 0.0)


STATES = pytest.mark.parametrize(
    ("hours", "state"), [(0.0, "hot"), (4.0, "hot"), (4.001, "warm"), (4320.0, "warm"), (4320.01, "cold")]
)


@STATES
def test_four_hours_are_hot_and_180_days_are_warm(hours, state):
    one, _ = at_seconds([0.0, 5.0], [0.0, 1.0])
    later, _ = at_seconds([0.0, 5.0], [1.0 + 3600.0 * hours, 2.0 + 3600.0 * hours])
    found = first_fix.start_states([later, one])
    assert found[0] == (pytest.approx(hours), state)
    assert found[1][1] == "unknown"


def test_hours_are_counted_from_the_last_fix_before_not_from_the_first_of_all():
    """Three rides begun 0, 24 and 25 hours after the first: the third one hour after the second."""
    rides = [at_seconds([0.0, 5.0], [3600.0 * hours, 3600.0 * hours + 1.0])[0] for hours in (0.0, 24.0, 25.0)]
    assert [round(hours, 2) for hours, _ in first_fix.start_states(rides)[1:]] == [24.0, 1.0]
    assert [state for _, state in first_fix.start_states(rides)] == ["unknown", "warm", "hot"]


@pytest.mark.parametrize(("degrees", "state"), [(0.898, "hot"), (0.899, "cold")])
def test_a_hundred_kilometres_away_is_cold(degrees, state):
    """On the equator of WGS 84 a degree of longitude is 111.3195 km: 0.898 are 99.96 km, 0.899 are 100.08 km."""
    one, _ = at_seconds([0.0, 5.0], [0.0, 1.0])
    zero = np.zeros(2)
    one = trace_on(np.zeros((2, 2)), lon_deg=zero, lat_deg=zero)
    moved = trace_on(np.zeros((2, 2)), start_s=60.0, lon_deg=zero + degrees, lat_deg=zero)
    assert first_fix.start_states([one, moved])[1][1] == state


def test_a_recording_begins_with_its_start_else_its_first_record_else_its_first_fix():
    trace, _ = at_seconds([0.0, 5.0], [0.0, 1.0])
    second = np.timedelta64(1, "s")
    assert first_fix._begins(trace_on(road(), started=MONDAY - 9 * second, first_record=MONDAY - 5 * second)) == (
        MONDAY - 9 * second
    )
    assert first_fix._begins(trace_on(road(), started=NAT, first_record=MONDAY - 5 * second)) == MONDAY - 5 * second
    assert first_fix._begins(trace_on(road(), started=NAT, first_record=NAT)) == MONDAY
    gone = trace.time.copy()
    gone[0] = NAT
    assert np.isnat(first_fix._begins(trace_on(np.zeros((2, 2)), started=NAT, first_record=NAT, time=gone)))


#: 300 m east, then back west beside it, 6 m further north: a hairpin.
HAIRPIN = np.vstack(
    [
        np.column_stack([5.0 * np.arange(61.0), np.zeros(61)]),
        np.column_stack([300.0 - 5.0 * np.arange(61.0), np.full(61, 6.0)]),
    ]
)


def offsets(xy_m, vertex, line_m=HAIRPIN):
    """Return stations and offsets of fixes that lie abreast of the stations where `vertex` is not nan."""
    vertex = np.asarray(vertex, float)
    place = Abreast(np.full((len(vertex), 2), np.nan), vertex, ~np.isnan(vertex))
    return first_fix.fix_offsets(np.asarray(xy_m, float), place, line_m)


def abreast(stations, count=122):
    """Return (count,) the fix, in order, that lies abreast of each of these stations; nan elsewhere."""
    vertex = np.full(count, np.nan)
    vertex[list(stations)] = np.arange(float(len(stations)))
    return vertex


def test_a_fix_lies_on_the_leg_that_the_order_of_travel_says():
    """4 m north of the way out is 2 m from the way back: the foot within two stations of where it should be stands."""
    station, offset = offsets([[280.0, 0.0], [290.0, 4.0], [295.0, 0.0]], abreast([56, 58, 59]))
    assert station == pytest.approx([280.0, 290.0, 295.0])
    assert offset == pytest.approx([0.0, 4.0, 0.0])


def test_a_foot_is_looked_for_eight_stations_either_way():
    """A straight road: fixes are 40 m further on than their place, or 45, where the window ends at the ninth."""
    line = np.column_stack([5.0 * np.arange(101.0), np.zeros(101)])
    for away_m, found_m in ((35.0, 235.0), (80.0, 245.0), (-35.0, 165.0), (-80.0, 155.0)):
        xy = [[0.0, 0.0], [200.0 + away_m, 1.0], [400.0, 0.0]]
        assert offsets(xy, abreast([0, 40, 80], 101), line)[0][1] == pytest.approx(found_m, abs=5.01)


def test_before_the_line_begins_stations_are_negative_up_to_100_m():
    line = np.column_stack([5.0 * np.arange(101.0), np.zeros(101)])
    xy = [[-140.0, 0.0], [-60.0, 3.0], [0.0, 0.0], [5.0, 0.0]]
    vertex = np.full(101, np.nan)
    vertex[[0, 1]] = 2.0, 3.0
    station, offset = offsets(xy, vertex, line)
    assert station == pytest.approx([-100.0, -60.0, 0.0, 5.0])
    assert offset[1:] == pytest.approx([3.0, 0.0, 0.0])


@pytest.mark.parametrize(("station", "found_m"), [(60, 100.0), (48, 100.0), (70, 110.0)])
def test_a_fix_before_the_first_match_may_lie_forty_eight_stations_back(station, found_m):
    """The first match is abreast of station 60, 48 or 70; the fix before it lies at 100 m, station 20, ten beyond reach of 70."""
    line = np.column_stack([5.0 * np.arange(101.0), np.zeros(101)])
    vertex = np.full(101, np.nan)
    vertex[[station, station + 1]] = 1.0, 2.0
    found, _ = offsets([[100.0, 0.0], [5.0 * station, 0.0], [5.0 * station + 5.0, 0.0]], vertex, line)
    assert found[0] == pytest.approx(found_m, abs=5.01)

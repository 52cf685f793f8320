"""Start states on both sides of each limit, and first fixes where the order of travel must be looked back from."""

from __future__ import annotations

import numpy as np
import pytest
from trace_maker import road, trace_on

from gpsq.geometry.alignment import Abreast
from gpsq.measures import first_fix

HOUR_S, DAY_S = 3600.0, 86_400.0
#: The recordings last 400 s.
LAST_S = 400.0


def state_after(seconds, east_m=0.0):
    """Return the state of a start so many seconds after the last fix, and so far from it."""
    early = trace_on(road())
    late = trace_on(road() - road()[0] + road()[-1] + [east_m, 0.0], start_s=LAST_S + seconds)
    return first_fix.start_states([late, early])[0][1]


@pytest.mark.parametrize(
    ("seconds", "state"),
    [
        (60.0, "hot"), (4 * HOUR_S - 60, "hot"), (4 * HOUR_S + 60, "warm"), (9 * HOUR_S, "warm"), (30 * DAY_S, "warm"),
        (179 * DAY_S, "warm"), (181 * DAY_S, "cold"),
    ],
)  # fmt: skip
def test_the_age_of_the_last_fix_decides(seconds, state):
    """NAVSTAR GPS User Equipment Introduction (1996), 3.5: the ephemeris holds about 4 h, the almanac 180 days."""
    assert state_after(seconds) == state


@pytest.mark.parametrize(("east_m", "state"), [(99_000.0, "hot"), (101_000.0, "cold"), (-101_000.0, "cold")])
def test_beyond_a_hundred_kilometres_a_start_is_cold(east_m, state):
    """The same source: a place known to within 100 km."""
    assert state_after(HOUR_S, east_m) == state


def test_a_recording_without_a_fix_in_between_changes_nothing():
    """Fixed at seven, nothing at eight, started again at nine: the ephemeris of seven still holds."""
    nothing = trace_on(np.empty((0, 2)), points=0, first_record=np.datetime64("2025-06-02T08:00", "ms"))
    again = trace_on(road(), start_s=2 * HOUR_S)
    found = first_fix.start_states([trace_on(road()), nothing, again])
    assert [state for _, state in found] == ["unknown", "hot", "hot"]
    assert found[2][0] == pytest.approx(2 - LAST_S / HOUR_S)


def test_another_devices_fix_says_nothing():
    found = first_fix.start_states([trace_on(road(), device="a"), trace_on(road(), device="b", start_s=HOUR_S)])
    assert [state for _, state in found] == ["unknown", "unknown"]


def test_fixes_before_the_first_match_are_looked_for_behind_it():
    """A start that wandered matches only from 300 m on: its first fixes still lie where they lie, 5 m apart."""
    line = np.column_stack([np.arange(0.0, 2000.0, 5.0), np.zeros(400)])
    vertex = np.where(np.arange(400) >= 60, np.arange(400.0), np.nan)
    place = Abreast(np.where(np.isnan(vertex)[:, None], np.nan, line), vertex, ~np.isnan(vertex))
    station_m, offset_m = first_fix.fix_offsets(line + np.array([0.0, 7.0]), place, line)
    assert station_m[30:] == pytest.approx(5.0 * np.arange(30, 400), abs=0.01)
    assert offset_m[30:] == pytest.approx(7.0, abs=0.01)


@pytest.mark.parametrize(("inside_s", "settled"), [(29, False), (30, True), (31, True)])
def test_a_trace_has_settled_when_it_stays_for_half_a_minute(inside_s, settled):
    """Off for 20 s, near the line for so long, then off again to its end."""
    from gpsq.settings import Settings

    offset_m = np.full(401, 40.0)
    offset_m[20 : 20 + inside_s] = 2.0
    found = first_fix.settle_s(trace_on(road()), offset_m, 15.0, Settings(settle_hold_s=30.0))
    assert (found == 20.0) is settled
    assert bool(np.isnan(found)) is not settled

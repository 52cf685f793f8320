"""Copies of one recording by the hundred: found as comparing every two would find them, in a line a group."""

from __future__ import annotations

import dataclasses
from typing import TYPE_CHECKING

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from trace_maker import road, trace_on

from gpsq.plane import Plane
from gpsq.rides import copies, routes
from gpsq.rides.week_rollover import ROLLOVER_S
from gpsq.settings import Settings

if TYPE_CHECKING:
    from gpsq.model import Trace

ROAD = road(600.0)


def exported(count: int, apart_m: float = 0.3, seed: int = 0) -> list[Trace]:
    """Return one recording as several programmes write it: each rounds in its own way."""
    rng = np.random.default_rng(seed)
    return [
        trace_on(ROAD + rng.uniform(-apart_m / 2, apart_m / 2, ROAD.shape), device=f"copy{k:04d}") for k in range(count)
    ]


def strangers(count: int) -> list[Trace]:
    """Return recordings of different people at one time, 400 m from one another."""
    return [trace_on(np.add(ROAD, [0.0, 400.0 * k]), device=f"person{k:04d}") for k in range(count)]


def test_a_group_of_copies_is_one_line() -> None:
    found = copies.compare(exported(12))
    assert [(c.kind, c.trace, c.other) for c in found] == [("same_recording", k, 0) for k in range(1, 12)]
    (note,) = {c.note for c in found}
    assert note.startswith("copy0001/day0.gpx, copy0002/day0.gpx, ")
    assert (
        " copy0005/day0.gpx and 6 more are the same recording as copy0000/day0.gpx (same times, positions within 0."
        in note
    )


def test_one_copy_is_said_in_the_singular() -> None:
    (found,) = copies.compare(exported(2))
    assert found.note.startswith(
        "copy0001/day0.gpx is the same recording as copy0000/day0.gpx (same times, positions within"
    )


@pytest.mark.parametrize(("traces", "most"), [(exported(150), 150), (strangers(150), 20)])
def test_each_is_compared_with_what_leads_a_group_only(
    traces: list[Trace], most: int, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Work grows with the number of recordings, not with its square: every two of 150 would be 11,175 pairs."""
    pairs: list[tuple[int, int]] = []
    whole, trip = copies._apart_if_same, routes._one_trip
    monkeypatch.setattr(copies, "_apart_if_same", lambda t, i, j: (pairs.append((i, j)), whole(t, i, j))[1])
    monkeypatch.setattr(routes, "_one_trip", lambda t, i, j, *more: (pairs.append((i, j)), trip(t, i, j, *more))[1])
    copies.compare(traces)
    assert len(pairs) <= most
    pairs.clear()
    rides = routes.group_rides(traces, Settings(), [0.0] * len(traces))
    assert len(set(rides)) == (1 if most == 150 else 150)
    assert len(pairs) <= 2 * len(traces)


@settings(max_examples=30, deadline=None)
@given(st.integers(0, 2**32), st.sampled_from([0.05, 0.3, 1.0, 4.0]))
def test_what_every_two_would_show_is_found(seed: int, apart_m: float) -> None:
    rng = np.random.default_rng(seed)
    traces = [*exported(4, apart_m, seed), *exported(2, 0.01, seed + 1), trace_on(ROAD + 30.0, device="other")]
    traces = [traces[k] for k in rng.permutation(len(traces))]
    short = rng.integers(len(traces))
    traces[short] = trace_on(ROAD[: int(len(ROAD) * rng.choice([0.5, 0.95]))], device="short")
    found = {c.trace for c in copies.compare(traces)}
    leaders = set(range(len(traces))) - found
    for j in range(len(traces)):
        same = [i for i in sorted(leaders) if i < j and copies._apart_if_same(traces, i, j) is not None]
        assert (j in found) == bool(same)


@settings(max_examples=50, deadline=None)
@given(st.integers(0, 2**32))
def test_pairs_worth_a_look_are_those_that_every_two_would_give(seed: int) -> None:
    """First places and times drawn so that exchanged coordinates and rolled weeks are met often."""
    rng = np.random.default_rng(seed)
    lon, lat = rng.choice([10.0, 10.4, 50.0, 50.3, 10.99], (2, 9)) + rng.uniform(-0.2, 0.2, (2, 9))
    begin = rng.choice([0.0, ROLLOVER_S, 2 * ROLLOVER_S], 9) + rng.uniform(0, 4000, 9)
    ends = copies._Ends(begin, begin + 1000.0, lon, lat)
    crossed, apart = set(), set()
    for k in range(9):
        for j in range(k + 1, 9):
            near = abs(lon[j] - lat[k]) < 1 and abs(lat[j] - lon[k]) < 1
            if near and (abs(lon[j] - lon[k]) > 1 or abs(lat[j] - lat[k]) > 1):
                crossed.add((k, j))
            turns = round((begin[j] - begin[k]) / ROLLOVER_S)
            if turns and abs(begin[j] - turns * ROLLOVER_S - begin[k]) <= 1000.0:
                apart.add((k, j))
    assert set(ends.crossed()) == crossed
    assert set(ends.weeks_apart()) == apart


def test_untimed_copies_are_known_by_their_bytes() -> None:
    untimed = {"time": np.full(len(ROAD), np.datetime64("NaT", "ms")), "sha256": "ab" * 32}
    found = copies.compare([trace_on(ROAD, device=name, **untimed) for name in "abc"])
    assert [(c.trace, c.other, c.metres) for c in found] == [(1, 0, 0.0), (2, 0, 0.0)]
    assert "(the same content, byte by byte)" in found[0].note


def test_riders_far_apart_at_one_time_are_not_compared_and_those_together_are() -> None:
    here, there = Plane(-28.0, 40.0), Plane(-27.0, 40.0)
    traces = [trace_on(ROAD, device="a"), trace_on(ROAD + 3.0, device="b"), trace_on(ROAD, device="c", plane=there)]
    assert routes.group_rides(traces, Settings(), [0.0] * 3) == (0, 0, 1)
    empty = trace_on(
        ROAD[:0], device="d", plane=here, points=0, first_record=traces[0].time[0], last_record=traces[0].time[-1]
    )
    assert routes.group_rides([*traces[:2], empty], Settings(), [0.0] * 3) == (0, 0, 0)


def test_a_copy_that_has_the_first_second_twice_is_one() -> None:
    """One programme leaves out the second of two fixes within one second; the others stand as they were."""
    whole = trace_on(np.vstack([ROAD[:1], ROAD]), device="whole")
    time = np.concatenate([whole.time[:1], whole.time[:1] + np.timedelta64(500, "ms"), whole.time[1:-1]])
    whole = dataclasses.replace(whole, time=time)
    (found,) = copies.compare([whole, trace_on(ROAD, device="thinned")])
    assert found.kind == "same_recording"

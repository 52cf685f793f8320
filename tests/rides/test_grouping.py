"""Routes and rides are found by index and by a few members of each group: the same as by comparing every two."""

from __future__ import annotations

import dataclasses
import random
import shutil
from itertools import combinations
from typing import TYPE_CHECKING

import numpy as np
import pytest
from hypothesis import given
from hypothesis import settings as given_settings
from hypothesis import strategies as st
from trace_maker import road, trace_on

from gpsq.geometry.cells import cells_of, most_shared
from gpsq.reading import read_folder
from gpsq.rides import passes, routes
from gpsq.rides.arrange import arrange
from gpsq.settings import Settings
from gpsq.simulate import drawn_spec, make_campaign, standard_spec, write

if TYPE_CHECKING:
    from collections.abc import Sequence
    from pathlib import Path

    from gpsq.model import Trace


def by_every_two(traces: Sequence[Trace], settings: Settings) -> set[frozenset[int]]:
    """Return the connected sets of the relation itself: the slow and plain way."""
    shapes = {i: routes.Shape(t, settings) for i, t in enumerate(traces) if t.accepted >= 2}
    home = {i: {i} for i, shape in shapes.items() if shape.extent_m > 0}
    for i, j in combinations(home, 2):
        if home[i] is not home[j] and routes._one_way(shapes[i], shapes[j], settings):
            home[i] |= home[j]
            home.update((k, home[i]) for k in home[j])
    return {frozenset(members) for members in home.values()}


def found(traces: Sequence[Trace], settings: Settings) -> set[frozenset[int]]:
    return {frozenset(route.members) for route in routes.group_routes(traces, settings)}


def simulated(tmp_path: Path, number: int) -> tuple[Trace, ...]:
    return _simulated(tmp_path, number)[0]


def _simulated(tmp_path: Path, number: int) -> tuple[tuple[Trace, ...], dict[str, str]]:
    """Return the traces of a simulated campaign, and which way each recording was truly ridden, by its file."""
    spec = standard_spec(number) if number == 0 else drawn_spec(number)
    campaign = make_campaign(dataclasses.replace(spec, days=min(spec.days, 3)), number)
    write(campaign, tmp_path)
    ways = {r.file: r.ride.plan.direction for r in campaign.recordings}
    return read_folder(tmp_path).traces, ways


@pytest.mark.parametrize("number", range(3))
def test_as_by_every_two_in_any_order(tmp_path: Path, number: int) -> None:
    traces, ways = _simulated(tmp_path, number)
    expected = by_every_two(traces, Settings())
    # by a truth that the code did not make: recordings of one way are together, and none of the other is with them
    assert sorted(sorted({ways[traces[i].file] for i in members}) for members in expected) == [["back"], ["out"]]
    assert found(traces, Settings()) == expected
    rides = routes.group_rides(traces, Settings(), [0.0] * len(traces))
    for seed in range(3):
        order = random.Random(seed).sample(range(len(traces)), len(traces))
        moved = [traces[i] for i in order]
        assert {frozenset(order[k] for k in members) for members in found(moved, Settings())} == expected
        again = routes.group_rides(moved, Settings(), [0.0] * len(traces))
        assert [again[order.index(i)] for i in range(len(traces))] == list(rides)


@pytest.mark.open_data
@pytest.mark.parametrize("site", ["FC", "MC"])
def test_passes_through_a_park_in_any_order(tmp_path: Path, shared: Path, site: str) -> None:
    """Open data of many passes of many devices on one path; see SOURCE.md there."""
    for device in (shared / "data" / "park_passes" / site).iterdir():
        if (device / "pos.gpx").is_file():
            (tmp_path / device.name).mkdir()
            shutil.copy(device / "pos.gpx", tmp_path / device.name)
    settings = Settings()
    traces, _, _ = passes.cut(read_folder(tmp_path).traces, settings, asked=True)
    expected = found(traces, settings)
    for seed in range(2):
        order = random.Random(seed).sample(range(len(traces)), len(traces))
        moved = found([traces[i] for i in order], settings)
        assert {frozenset(order[k] for k in members) for members in moved} == expected


@given(
    st.integers(0, 10_000), st.floats(0.0, 59.0), st.integers(2, 200), st.floats(5.0, 25.0), st.floats(1.0, 30_000.0)
)
@given_settings(max_examples=60, deadline=None)
def test_the_bound_never_rules_out_what_is_near(
    seed: int, off_m: float, places: int, step_m: float, far_m: float
) -> None:
    rng = np.random.default_rng(seed)
    line = np.cumsum(rng.normal(0, 1, (places, 3)), axis=0) * step_m + far_m
    away = rng.normal(0, 1, (places, 3))
    other = line + off_m * away / np.linalg.norm(away, axis=1, keepdims=True)
    assert most_shared(cells_of(line, 60.0), cells_of(other, 60.0)) == 1.0


def test_lines_that_share_nothing_are_never_compared(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    traces = simulated(tmp_path, 0)[:8]
    north = [dataclasses.replace(t, lat_deg=t.lat_deg + 0.2, sha256=t.sha256 + "n") for t in traces]
    pairs = []
    compare = routes._one_way
    monkeypatch.setattr(routes, "_one_way", lambda a, b, s: pairs.append((a, b)) or compare(a, b, s))
    routes.group_routes([*traces, *north], Settings())
    assert pairs
    assert all((a.low <= b.high).all() and (b.low <= a.high).all() for a, b in pairs)


def test_comparisons_grow_with_the_number_of_recordings(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Four times the recordings of the same roads need about four times the comparisons, not sixteen."""
    traces = simulated(tmp_path, 0)
    counted = [0]
    compare = routes._one_way

    def counting(a: routes.Shape, b: routes.Shape, settings: Settings) -> bool:
        counted[0] += 1
        return compare(a, b, settings)

    monkeypatch.setattr(routes, "_one_way", counting)
    numbers = []
    for copies in (1, 4):
        counted[0] = 0
        copied = [(k, t) for k in range(copies) for t in traces]
        many = [dataclasses.replace(t, sha256=f"{t.sha256}{k}", file=f"{k}/{t.file}") for k, t in copied]
        routes.group_routes(many, Settings())
        numbers.append(counted[0])
    assert numbers[1] <= 5 * numbers[0]


def test_a_recording_of_many_passes_is_no_way_with_single_ones() -> None:
    """Each pass lies somewhere along the whole walk; as one way with it, the last would seem to have missed all before."""
    there = road(400.0)
    passes = [trace_on(line, day=0, start_s=1000.0 * k) for k, line in enumerate([there, there[::-1]] * 3)]
    whole = trace_on(np.vstack([there, there[::-1]] * 3), device="whole")
    again = trace_on(np.vstack([there, there[::-1]] * 3) + 2.0, device="again", day=1)
    found = arrange([*passes, whole, again], Settings())
    groups = {frozenset(route.members) for route in found.routes}
    assert frozenset({6, 7}) in groups
    assert not any({6, 7} & group and {*range(6)} & group for group in groups)


def test_a_recording_that_stands_is_on_no_way() -> None:
    """Fixes of one place within 10 m: as a part of a way it would seem to have missed all that comes before."""
    way = [trace_on(road(2000.0), day=day) for day in range(2)]
    stands = trace_on(road(2000.0)[-1] + np.array([[0.0, 0.0], [4.0, 3.0], [1.0, 5.0]]), day=5)
    found = arrange([*way, stands], Settings())
    assert [route.members for route in found.routes] == [(0, 1)]

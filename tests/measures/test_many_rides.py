"""Routes with very many rides: a line for each group of them, and never one that the judged ride has a part in."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import pytest
from trace_maker import smooth_noise, trace_on

from gpsq.centreline.consensus_line import Consensus
from gpsq.measures import route
from gpsq.measures.route import together_left_out
from gpsq.pipeline.stages import analyse_traces
from gpsq.settings import Settings

if TYPE_CHECKING:
    from gpsq.model import Centreline, Trace


@pytest.mark.parametrize("count", [1, 99, 100, 101, 1234])
def test_every_ride_is_left_out_of_its_own_line(count: int) -> None:
    rides = [f"R{k}" for k in range(count)]
    groups = together_left_out([ride for ride in rides for _ in range(2)])
    assert list(groups) == sorted(rides, key=list(groups).index)
    assert set(groups) == set(rides)
    assert all(ride in group for ride, group in groups.items())
    assert len(set(groups.values())) == min(count, 100)
    assert max(map(len, groups.values())) == -(-count // 100)


def seven_rides() -> list[Trace]:
    rng = np.random.default_rng(5)
    road = np.column_stack([np.arange(0.0, 2000.0, 20.0), 80.0 * np.sin(np.arange(100) / 15.0)])
    noise = [np.column_stack([smooth_noise(rng, 100, 2.0) for _ in "xy"]) for _ in range(7)]
    return [trace_on(road + own, day=1 + k, interval_s=4.0) for k, own in enumerate(noise)]


def test_groups_are_left_out_together_and_judge_nearly_alike(monkeypatch: pytest.MonkeyPatch) -> None:
    settings, asked = Settings().with_values(step_m=10.0, resamples=100), []
    each = analyse_traces(seven_rides(), settings)
    right = Consensus.without

    def noted(self: Consensus, *rides: str) -> Centreline:
        asked.append(rides)
        return right(self, *rides)

    monkeypatch.setattr(Consensus, "without", noted)
    monkeypatch.setattr(route, "MOST_LINES", 3)
    grouped = analyse_traces(seven_rides(), settings)
    assert sorted(map(len, asked)) == [2, 2, 3]
    assert len({ride for group in asked for ride in group}) == 7
    for one, other in zip(each.results, grouped.results, strict=True):
        assert one.crosstrack is not None
        assert other.crosstrack is not None
        assert other.crosstrack.rms_m == pytest.approx(one.crosstrack.rms_m, rel=0.25)
        assert other.crosstrack.rms_m != one.crosstrack.rms_m

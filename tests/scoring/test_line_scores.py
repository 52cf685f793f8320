"""Two small campaigns' lines against the floor, and the score itself: a planted mistake must be noticed."""

from __future__ import annotations

import dataclasses

import numpy as np
import pytest
from campaign_matching import route_of_direction
from line_kinds import KINDS, campaign_of_kind
from line_scores import analysed_as_suggested, floor, misses, score_campaign, score_line

from gpsq.simulate import make_campaign, standard_spec


def small(kind: str, seed: int):
    """Return a campaign of a kind on a shorter road, to keep the suite quick."""
    spec = dataclasses.replace(standard_spec(seed), length_m=3800.0, tunnel=False, spur=False, detours=1)
    return make_campaign(KINDS[kind](spec), seed)


#: The way back of "10 s" 6 shares only the first 140 m with the way out.
@pytest.mark.parametrize(("kind", "seed"), [("five days of three", 5), ("10 s", 8), ("10 s", 6)])
def test_a_small_campaign_keeps_the_limits(kind: str, seed: int) -> None:
    assert not misses(score_campaign(kind, small(kind, seed)))


def test_the_floor_is_the_mean_of_the_true_offsets_off_detours_and_faults() -> None:
    campaign = small("five days of three", 5)
    _, count, mean = floor(campaign, "out")
    own = [r for r in campaign.recordings if r.ride.plan.direction == "out" and r.heard.fix_s is not None]
    offset = np.array([r.offsets.offset_m for r in own])
    at = int(np.flatnonzero(count == len(own))[0])
    assert mean[at] == pytest.approx(offset[:, at].mean())
    # a detour or a fault of tens of metres in one of the recordings is no part of it
    assert np.nanmax(np.abs(mean[count >= 10])) < 8.0 < np.nanmax(np.abs(np.nanmean(offset, axis=0)))


def test_planted_mistakes_are_noticed(tmp_path) -> None:
    campaign = small("no detours", 7)
    route = route_of_direction(campaign, analysed_as_suggested(campaign, tmp_path))["out"]
    line = route.centreline
    bump = 15.0 * np.exp(-(((line.along_m - 900.0) / 60.0) ** 2))[:, None]
    zigzag = 1.5 * (np.arange(len(line.xy_m)) % 2)[:, None]
    head = 10.0 * np.exp(-line.along_m / 30.0)[:, None]

    def missed(change: np.ndarray) -> str:
        moved = dataclasses.replace(route, centreline=dataclasses.replace(line, xy_m=line.xy_m + change))
        return " ".join(misses([score_line("line", campaign, "out", moved)]))

    assert missed(np.zeros(2)) == ""
    assert "times the floor" in missed(np.array([4.0, 4.0]))
    assert "m off" in missed(bump)
    assert "length off" in missed(zigzag)
    assert "starts" in missed(head)


def test_spikes_are_planted_and_the_true_offsets_know_nothing_of_them() -> None:
    plain, spiked = make_campaign(KINDS["spikes"](standard_spec(3)), 3), campaign_of_kind("spikes", 3)
    before, after = plain.recordings[0], spiked.recordings[0]
    moved = np.hypot(*(campaign_places(spiked, after) - campaign_places(plain, before)).T)
    assert (moved > 140.0).sum() == 3
    assert np.array_equal(after.offsets.offset_m, before.offsets.offset_m, equal_nan=True)


def campaign_places(campaign, recording):
    return campaign.plane.to_metres(recording.lon_deg, recording.lat_deg)

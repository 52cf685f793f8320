"""Two simulated campaigns through the whole pipeline; `score.py` beside this file runs as many as wanted."""

from __future__ import annotations

import dataclasses
import os

import pytest
from score import campaign_of, score_one

from gpsq.simulate import Campaign, make_campaign, standard_spec

#: More campaigns for a thorough run: GPSQ_CAMPAIGNS=20 pytest tests/scoring
MORE = int(os.environ.get("GPSQ_CAMPAIGNS", "0"))


def _small(seed: int) -> Campaign:
    """A standard campaign on a shorter road, to keep the suite quick."""
    spec = standard_spec(seed)
    return make_campaign(dataclasses.replace(spec, length_m=4500.0, tunnel=False, spur=False, detours=1), seed)


@pytest.mark.parametrize("seed", [3, 4])
def test_a_small_campaign_meets_every_requirement(seed: int) -> None:
    missed = [f"{c.name}: {c.measured}; {c.failures}" for c in score_one(_small(seed)) if not c.passed]
    assert not missed


def test_the_demo_meets_every_requirement() -> None:
    missed = [f"{c.name}: {c.measured}; {c.failures}" for c in score_one(campaign_of("demo", 0)) if not c.passed]
    assert not missed


@pytest.mark.parametrize("seed", range(1, 1 + MORE))
def test_full_campaigns(seed: int) -> None:
    missed = [f"{c.name}: {c.measured}; {c.failures}" for c in score_one(campaign_of("standard", seed)) if not c.passed]
    assert not missed

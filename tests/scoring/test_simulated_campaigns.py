"""Two simulated campaigns through the whole pipeline; `score.py` beside this file runs as many as wanted."""

from __future__ import annotations

import dataclasses
import os

import pytest
from score import campaign_of, score_one

from gpsq.simulate import Campaign, make_campaign, standard_spec

#: More campaigns, of full size, for a thorough run: GPSQ_CAMPAIGNS=20 pytest tests/scoring
MORE = int(os.environ.get("GPSQ_CAMPAIGNS", "0"))


def _small(seed: int) -> Campaign:
    """A standard campaign on a shorter road, to keep the suite quick."""
    spec = standard_spec(seed)
    return make_campaign(dataclasses.replace(spec, length_m=3800.0, tunnel=False, spur=False, detours=1), seed)


def _missed(campaign: Campaign, flagging: bool) -> list[str]:
    checks = score_one(campaign, flagging=flagging)
    return [f"{c.name}: {c.measured}; {c.failures}" for c in checks if not c.passed]


@pytest.mark.parametrize(
    ("kind", "seed"), [("small", 3), ("small", 4), *(("standard", seed) for seed in range(1, 1 + MORE))]
)
def test_a_campaign_meets_every_requirement(kind: str, seed: int) -> None:
    small = kind == "small"
    assert not _missed(_small(seed) if small else campaign_of(kind, seed), flagging=not small)


def test_the_demo_meets_every_requirement() -> None:
    assert not _missed(campaign_of("demo", 0), flagging=True)

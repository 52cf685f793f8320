"""What gpsq says of a lone tester's weeks against what happened, ride by ride."""

from __future__ import annotations

import tempfile
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np
from lone_week import LoneRide, lone_week

from gpsq.pipeline.analysis import analyse

if TYPE_CHECKING:
    from collections.abc import Sequence

    from gpsq.results import TraceResult

#: A figure without "at least" that is further off than this, and not within its own bounds, is wrong and called exact.
EXACT_M = 45.0
#: Bounds of a place are held to within a first fix's own error along the road.
SLACK_M, SLACK_S = 5.0, 1.0
#: A battery that died is found this well.
FOUND_M = 100.0


@dataclass(frozen=True)
class Scored:
    """One recording: what is said of it, and what happened."""

    result: TraceResult
    truth: LoneRide

    @property
    def missed_off_m(self) -> float:
        """Metres said to be missed less those that were."""
        return self.result.first_fix.missed_m - self.truth.missed_m

    @property
    def is_bound(self) -> bool:
        """Whether it is said to be at least so much."""
        return self.result.first_fix.missed_is_minimum

    @property
    def holds(self) -> bool:
        """Whether the bounds of what was missed, or the lower bound that it is, hold what was."""
        fix, true_m = self.result.first_fix, self.truth.missed_m
        if self.is_bound:
            return fix.missed_m <= true_m + 3 * SLACK_M
        return fix.missed_low_m - SLACK_M <= true_m <= fix.missed_high_m + SLACK_M

    @property
    def is_wrong(self) -> bool:
        """Whether it is called exact and is not: far off, and outside its own bounds."""
        return not self.is_bound and abs(self.missed_off_m) > EXACT_M and not self.holds

    @property
    def is_estimated(self) -> bool:
        """Whether a time to first fix is worked out."""
        return bool(np.isfinite(self.result.first_fix.estimate_s))

    @property
    def estimate_off_s(self) -> float:
        """Seconds worked out less those that were."""
        return self.result.first_fix.estimate_s - self.truth.ttff_s

    @property
    def estimate_holds(self) -> bool:
        """Whether the bounds of the time that is worked out hold the true one."""
        fix = self.result.first_fix
        return fix.estimate_low_s - SLACK_S <= self.truth.ttff_s <= fix.estimate_high_s + SLACK_S


def scored_week(seed: int, kind: str = "plain", *, search: str = "usual", named_by_clock: bool = False) -> list[Scored]:
    """Return the recordings of a week, written into a folder of its own and analysed as a person would."""
    week = lone_week(seed, kind, search=search, named_by_clock=named_by_clock)
    with tempfile.TemporaryDirectory() as folder:
        week.write(Path(folder) / "week")
        found = analyse(Path(folder) / "week")
    return [Scored(r, week.truth[t.file]) for t, r in zip(found.traces, found.results, strict=True)]


def missed(rides: Sequence[Scored]) -> tuple[float, float]:
    """Return the median and the 90th percentile of how far off the road missed is, where it is no bound."""
    off = np.abs([r.missed_off_m for r in rides if not r.is_bound])
    return (float(np.median(off)), float(np.percentile(off, 90))) if len(off) else (float("nan"), float("nan"))


def estimated(rides: Sequence[Scored]) -> tuple[float, float]:
    """Return how far off times worked out are in the median, and the share whose bounds hold the true one."""
    own = [r for r in rides if r.is_estimated]
    if not own:
        return float("nan"), float("nan")
    return float(np.median(np.abs([r.estimate_off_s for r in own]))), float(np.mean([r.estimate_holds for r in own]))


def batteries(rides: Sequence[Scored]) -> tuple[int, int, int]:
    """Return how many batteries died, how many of them are found where they did, and how many recordings falsely are."""
    dead = [r for r in rides if r.truth.ended_early_m]
    found = [abs(r.result.ended_early_m - r.truth.ended_early_m) <= FOUND_M for r in dead]
    false = [np.isfinite(r.result.ended_early_m) for r in rides if not r.truth.ended_early_m]
    return len(dead), sum(found), int(sum(false))


def suggestions(rides: Sequence[Scored], what: str) -> list[str]:
    """Return what is suggested of the deviations of the rides with a ``detour`` or an ``excursion``."""
    return [d.suggestion for r in rides if getattr(r.truth, what) for d in r.result.deviations]

"""Count how often gpsq's 95 % intervals hold the truth, and how often it calls a difference that is none.

Run from the top of the repository: ``python tests/validation/interval_coverage.py > coverage.md``.
It makes campaigns of random offsets and waits with a known answer and prints the tables of ``docs/validation.md``.
"""

from __future__ import annotations

import argparse
import sys
from dataclasses import dataclass, field, replace
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).resolve().parents[1] / "support"))

from offset_campaigns import Truth, campaign, left_out_offsets, positions, waits

from gpsq.settings import Settings
from gpsq.summaries.device_figures import summarise
from gpsq.summaries.device_pairs import compare_pairs
from gpsq.summaries.own_error import error_variances

SETTINGS = Settings()
CAMPAIGNS_A_DESIGN = 10
EXTRA_FOR_TRUTH = 150


@dataclass
class Tally:
    """Intervals that held the truth, of how many, and the ratios of figure to truth."""

    held: int = 0
    shown: int = 0
    asked: int = 0
    ratios: list[float] = field(default_factory=list)

    def add(self, interval, truth: float) -> None:
        self.asked += 1
        if truth > 0:
            self.ratios.append(interval.value / truth)
        if np.isfinite(interval.low):
            self.shown += 1
            # A bound that does not exist (the curve never comes down to one half) excludes nothing.
            self.held += interval.low <= truth and not interval.high < truth

    def row(self, *names: object) -> str:
        share = f"{100 * self.held / self.shown:.1f} %" if self.shown else "no interval"
        off = f"{100 * np.median(np.abs(np.array(self.ratios) - 1)):.0f} %" if self.ratios else "–"
        middle = f"{np.median(self.ratios):.3f}" if self.ratios else "–"
        return f"| {' | '.join(map(str, names))} | {self.asked} | {self.shown} | {share} | {middle} | {off} |"


def draw(devices: int, unequal: float, rng: np.random.Generator) -> Truth:
    """Draw the truth of a campaign from the range that published tests of consumer receivers show."""
    return Truth(
        error_m=tuple(np.exp(rng.uniform(np.log(1.5), np.log(8), devices))),
        bias_m=tuple(rng.normal(0, 1, devices)),
        rider_m=float(rng.uniform(0.5, 1.5)),
        reach_m=float(rng.uniform(30, 200)),
        ride_share=float(rng.uniform(0, 0.4)),
        unequal=unequal,
        stations=int(rng.integers(300, 900)),
        ttff_median_s=tuple(np.exp(rng.uniform(np.log(5), np.log(60), devices))),
        ttff_log_sd=float(rng.uniform(0.3, 0.9)),
    )


def one(truth: Truth, rides: int, rng: np.random.Generator):
    """Return the traces, results and routes of one campaign."""
    return campaign(left_out_offsets(positions(truth, rides, rng)), waits(truth, rides, rng))


def rms_by_device(truth: Truth, rides: int, rng: np.random.Generator) -> np.ndarray:
    """Root mean square offset of each device in many campaigns: what the paired difference is the expectation of."""
    found = [
        np.sqrt((left_out_offsets(positions(truth, rides, rng)) ** 2).mean(axis=2)).mean(axis=1)
        for _ in range(EXTRA_FOR_TRUTH)
    ]
    return np.mean(found, axis=0)


def coverage(rides: int, devices: int, unequal: float, campaigns: int, rng: np.random.Generator) -> dict[str, Tally]:
    tallies: dict[str, Tally] = {}
    for _ in range(campaigns // CAMPAIGNS_A_DESIGN):
        truth = draw(devices, unequal, rng)
        rms = rms_by_device(truth, rides, rng) if devices > 1 else np.empty(0)
        for _ in range(CAMPAIGNS_A_DESIGN):
            _count(tallies, truth, rms, one(truth, rides, rng))
    return tallies


def _count(tallies: dict[str, Tally], truth: Truth, rms: np.ndarray, parts) -> None:
    def tally(name: str) -> Tally:
        return tallies.setdefault(name, Tally())

    for summary in summarise(*parts, SETTINGS):
        if summary.route:
            d = int(summary.device.split()[1]) - 1
            tally("TTFF median").add(summary.figures["ttff_median_s"], truth.ttff_median_s[d])
            tally("fixed in 30 s").add(summary.figures["fixed_in_30s"], truth.fixed_share(d, 30))
            tally("repeatability").add(summary.figures["repeatability_m"], truth.repeatability_m[d])
    expected = np.array(truth.ttff_median_s) * np.exp(truth.ttff_log_sd**2 / 2)
    for pair in compare_pairs(*parts, SETTINGS):
        a, b = (int(name.split()[1]) - 1 for name in (pair.first, pair.second))
        of = expected if pair.measure == "ttff_s" else rms
        name = "paired difference, " + ("TTFF" if pair.measure == "ttff_s" else "cross-track RMS")
        tally(name).add(pair.difference, of[a] - of[b])
    for found in error_variances(*parts, SETTINGS):
        if found.route:
            d = int(found.device.split()[1]) - 1
            tally("own error variance (three-cornered hat)").add(found.variance_m2, truth.error_m[d] ** 2)


def false_positives(rides: int, campaigns: int, rng: np.random.Generator) -> dict[str, float]:
    """Share of campaigns with two identical devices in which a difference is called at 5 %."""
    called = {"ttff_s": 0, "xte_rms_m": 0}
    for _ in range(campaigns):
        drawn = draw(1, float(rng.uniform(0, 0.4)), rng)
        twin = replace(drawn, error_m=drawn.error_m * 2, bias_m=drawn.bias_m * 2, ttff_median_s=drawn.ttff_median_s * 2)
        for pair in compare_pairs(*one(twin, rides, rng), SETTINGS):
            called[pair.measure] += pair.p <= 1 - SETTINGS.confidence
    return {measure: count / campaigns for measure, count in called.items()}


def say(line: str) -> None:
    """Write one line at once, so that a long run can be watched."""
    sys.stdout.write(line + "\n")
    sys.stdout.flush()


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--campaigns", type=int, default=200, help="campaigns a setting")
    parser.add_argument("--twins", type=int, default=500, help="campaigns with two identical devices")
    parser.add_argument("--seed", type=int, default=2026)
    wanted = parser.parse_args()
    rng = np.random.default_rng(wanted.seed)
    say("| figure | rides | devices | ride-to-ride | asked | shown | truth held | figure / truth | off by (median) |")
    say("|---|---|---|---|---|---|---|---|---|")
    for unequal, said in ((0.0, "alike"), (0.2, "uneven 20 %"), (0.3, "uneven 30 %")):
        for devices in (1, 3):
            for rides in (3, 5, 10):
                for name, tally in coverage(rides, devices, unequal, wanted.campaigns, rng).items():
                    say(tally.row(name, rides, devices, said))
    say("\n| rides | TTFF called different | cross-track RMS called different |\n|---|---|---|")
    for rides in (3, 4, 5, 6, 7, 8, 10):
        found = false_positives(rides, wanted.twins, rng)
        say(f"| {rides} | {found['ttff_s']:.1%} | {found['xte_rms_m']:.1%} |")


if __name__ == "__main__":
    main()

"""Count how often gpsq's 95 % intervals hold the truth.

Run from the top of the repository: ``python tests/validation/interval_coverage.py > coverage.md``.
It makes campaigns of random offsets and waits with a known answer and prints the tables of ``docs/validation.md``: with 3, 5
and 10 rides, 1 and 3 devices, without and with a receiver error in one recording of ten, and with even and bimodal starts.
The truth of a quantile of the road is its value over many campaigns of as many rides, that of repeatability what the
campaign was made from.
"""

from __future__ import annotations

import argparse
import sys
from dataclasses import dataclass, field
from pathlib import Path

import numpy as np
from scipy.stats import binom, poisson

sys.path.insert(0, str(Path(__file__).resolve().parents[1] / "support"))

from offset_campaigns import Truth, campaign, left_out_offsets, positions, with_fix

from gpsq.settings import Settings
from gpsq.statistics import intervals
from gpsq.summaries.device_figures import summarise
from gpsq.summaries.device_pairs import compare_pairs
from gpsq.summaries.devices import road_within
from gpsq.summaries.own_error import error_variances

SETTINGS = Settings()
CAMPAIGNS_A_DESIGN = 20
FOR_TRUTH = 150
FAULT_SHARE = 0.1
#: Cold starts of the bimodal kind, and very late ones.
COLD_SHARE, COLD_S, LATE_SHARE, LATE_S = 0.4, 60.0, 0.1, 400.0
FAILURES = 0.1


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
        if np.isfinite(interval.low) or np.isfinite(interval.high):
            self.shown += 1
            # A bound that does not exist (the curve never comes down to one half) excludes nothing.
            self.held += not interval.low > truth and not interval.high < truth

    def row(self, *names: object) -> str:
        share = f"{100 * self.held / self.shown:.1f} %" if self.shown else "none shown"
        known = np.array(self.ratios)[np.isfinite(self.ratios)]
        middle = f"{np.median(known):.3f}" if known.size else "–"
        return f"| {' | '.join(map(str, names))} | {self.shown} of {self.asked} | {share} | {middle} |"


def draw(devices: int, rng: np.random.Generator) -> Truth:
    """Draw the truth of a campaign from the range that published tests of consumer receivers show."""
    return Truth(
        error_m=tuple(np.exp(rng.uniform(np.log(1.5), np.log(8), devices))),
        bias_m=tuple(rng.normal(0, 1, devices)),
        rider_m=float(rng.uniform(0.5, 1.5)),
        reach_m=float(rng.uniform(30, 200)),
        ride_share=float(rng.uniform(0, 0.4)),
        unequal=0.2,
        stations=int(rng.integers(300, 900)),
        ttff_median_s=tuple(np.exp(rng.uniform(np.log(5), np.log(60), devices))),
        ttff_log_sd=float(rng.uniform(0.3, 0.9)),
    )


def offsets(truth: Truth, rides: int, faulty: bool, rng: np.random.Generator) -> np.ndarray:
    """Return left-out offsets of a campaign; a fault is 40 to 150 m off for 100 to 300 m."""
    true = positions(truth, rides, rng)
    for device, ride in np.argwhere(rng.uniform(size=true.shape[:2]) < (FAULT_SHARE if faulty else 0.0)):
        width = int(rng.integers(20, 60))
        low = int(rng.integers(0, truth.stations - width))
        true[device, ride, low : low + width] += rng.choice([-1, 1]) * rng.uniform(40, 150) * np.hanning(width)
    return left_out_offsets(true)


def starts(truth: Truth, rides: int, bimodal: bool, rng: np.random.Generator) -> np.ndarray:
    """Return times to first fix (devices, rides); the bimodal kind has cold starts, late ones and failures (inf)."""
    size = (len(truth.ttff_median_s), rides)
    times = np.array(truth.ttff_median_s)[:, None] * np.exp(truth.ttff_log_sd * rng.standard_normal(size))
    if bimodal:
        times += COLD_S * (rng.uniform(size=(1, rides)) < COLD_SHARE)
        times += LATE_S * (rng.uniform(size=size) < LATE_SHARE)
        times[rng.uniform(size=size) < FAILURES] = np.inf
    return times


def one(truth: Truth, rides: int, faulty: bool, bimodal: bool, rng: np.random.Generator):
    """Return the traces, results and routes of one campaign."""
    times = starts(truth, rides, bimodal, rng)
    traces, results, routes = campaign(offsets(truth, rides, faulty, rng), np.where(np.isinf(times), np.nan, times))
    never = np.isinf(times).ravel()
    results = tuple(
        with_fix(r, seconds=np.nan, censored=True, at_least_s=1800.0) if never[r.trace] else r for r in results
    )
    return traces, results, routes


def coverage(rides: int, devices: int, faulty: bool, campaigns: int, rng: np.random.Generator) -> dict[str, Tally]:
    """Count over campaigns of one setting; starts are bimodal where recordings are faulty."""
    tallies: dict[str, Tally] = {}
    for _ in range(campaigns // CAMPAIGNS_A_DESIGN):
        truth = draw(devices, rng)
        many = [offsets(truth, rides, faulty, rng) for _ in range(FOR_TRUTH)]
        waited = starts(truth, 20_000, faulty, rng)
        wanted = [
            {n: float(np.quantile(np.abs(np.array([m[d] for m in many])), q)) for n, q in road_within.SHARES.items()}
            | {"repeatability_m": truth.repeatability_m[d], "ttff_median_s": float(np.median(waited[d]))}
            | {f"fixed_in_{s}s": float(np.mean(waited[d] <= s)) for s in (10, 30, 60)}
            for d in range(devices)
        ]
        for _ in range(CAMPAIGNS_A_DESIGN):
            _count(tallies, truth, wanted, waited, one(truth, rides, faulty, faulty, rng), faulty)
    return tallies


def _count(tallies: dict[str, Tally], truth: Truth, wanted, waited, parts, faulty: bool) -> None:
    def tally(name: str) -> Tally:
        return tallies.setdefault(name, Tally())

    for summary in (s for s in summarise(*parts, SETTINGS) if s.route):
        d = int(summary.device.split()[1]) - 1
        for name, value in wanted[d].items():
            tally(name).add(summary.figures[name], value)
    for pair in compare_pairs(*parts, SETTINGS):
        a, b = (int(name.split()[1]) - 1 for name in (pair.first, pair.second))
        if pair.measure == "ttff_s":
            tally("difference of times").add(pair.difference, _median_difference(waited[a], waited[b]))
        elif pair.measure == "repeatability_m" and not faulty:
            tally("ratio of repeatabilities").add(pair.difference, truth.repeatability_m[a] / truth.repeatability_m[b])
    for found in (v for v in error_variances(*parts, SETTINGS) if v.route and not faulty):
        d = int(found.device.split()[1]) - 1
        tally("own error variance").add(found.variance_m2, truth.error_m[d] ** 2)


def _median_difference(first: np.ndarray, second: np.ndarray) -> float:
    both = np.isinf(first) & np.isinf(second)
    return float(np.median(np.where(both, 0.0, np.where(both, 0.0, first) - np.where(both, 0.0, second))))


def exact() -> None:
    """Say how often Garwood's and Wilson's intervals hold the truth, summed exactly over all that can be seen."""
    say("\n| interval | truth | held on average | at least |\n|---|---|---|---|")
    means = np.linspace(0.05, 40, 2000)
    found = [intervals.rate(k, 1.0) for k in range(120)]
    held = sum(poisson.pmf(k, means) * ((f.low <= means) & (means <= f.high)) for k, f in enumerate(found))
    say(f"| Garwood | 0.05 to 40 errors | {held.mean():.1%} | {held.min():.1%} |")
    for rides in (3, 5, 10):
        found = [intervals.proportion(k, rides) for k in range(rides + 1)]
        for low, high in ((0.0, 1.0), (0.1, 0.9)):
            share = np.linspace(low + 5e-4, high - 5e-4, 1000)
            held = sum(binom.pmf(k, rides, share) * ((f.low <= share) & (share <= f.high)) for k, f in enumerate(found))
            say(f"| Wilson, {rides} rides | {low:g} to {high:g} | {held.mean():.1%} | {held.min():.1%} |")


def say(line: str) -> None:
    """Write one line at once, so that a long run can be watched."""
    sys.stdout.write(line + "\n")
    sys.stdout.flush()


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--campaigns", type=int, default=400, help="campaigns a setting")
    parser.add_argument("--rides", type=int, nargs="*", help="rides instead of 3, 5 and 10")
    parser.add_argument("--seed", type=int, default=2026)
    wanted = parser.parse_args()
    rng = np.random.default_rng(wanted.seed)
    say(
        "| figure | rides | devices | recordings, starts | shown | truth held | figure / truth |\n|---|---|---|---|---|---|---|"
    )
    for faulty in (False, True):
        for devices in (1, 3):
            for rides in wanted.rides or (3, 5, 10):
                for name, tally in coverage(rides, devices, faulty, wanted.campaigns, rng).items():
                    say(tally.row(name, rides, devices, "one fault in ten, bimodal" if faulty else "sound, even"))
    exact()


if __name__ == "__main__":
    main()

"""Count how often two identical devices are called different, or one of them the first; and how chance fares elsewhere.

Run from the top of the repository: ``python tests/validation/identical_devices.py``, or with ``--parts`` and some of *twins*,
*years* and *places*. It prints the tables of ``docs/validation.md`` on differences that are none: twins on the same rides,
twins of two years with and without a device carried along, and places on roads that have none.
"""

from __future__ import annotations

import argparse
import sys
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).resolve().parents[1] / "support"))

from interval_coverage import SETTINGS, draw, one, say
from offset_campaigns import Truth, campaign, left_out_offsets, positions
from scipy.stats import binom

from gpsq.statistics import intervals
from gpsq.summaries.across.bridges import between_all
from gpsq.summaries.across.results_read import Results
from gpsq.summaries.device_pairs import compare_pairs
from gpsq.summaries.hot_spots import search
from gpsq.summaries.ranking import rank_by_repeatability

MEASURES = ("ttff_s", "xte_p68_m", "repeatability_m")
#: The second year's sky is so many times worse.
SKY = 1.4
ROAD = 700


def size_of_sign_test(rides: int) -> float:
    """Return how often an exact sign test of so many rides calls a difference at 5 % where there is none."""
    ranks = intervals.median_ranks(rides)
    return 2 * float(binom.cdf(ranks[0] - 1, rides, 0.5)) if ranks else 0.0


def twins(rides: int, campaigns: int, rng: np.random.Generator) -> str:
    """Return a row: how often each measure is called different at 5 %, and how often one looks first in 95 %."""
    called, first = dict.fromkeys(MEASURES, 0), 0
    for _ in range(campaigns):
        drawn = draw(1, rng)
        twin = replace(drawn, error_m=drawn.error_m * 2, bias_m=drawn.bias_m * 2, ttff_median_s=drawn.ttff_median_s * 2)
        parts = one(twin, rides, False, False, rng)
        for pair in compare_pairs(*parts, SETTINGS):
            if pair.measure in called:
                called[pair.measure] += pair.p <= 0.05
        first += any(p.first_share >= 0.95 for p in rank_by_repeatability(*parts, SETTINGS))
    shares = [f"{called[m] / campaigns:.1%}" for m in MEASURES] + [f"{first / campaigns:.1%}"]
    return " | ".join([shares[0], f"{size_of_sign_test(rides):.1%}", *shares[1:]])


@dataclass
class Bridged:
    """Of how many bridged intervals, and direct ones, the truth was held; and how often a worse device was found."""

    asked: int = 0
    held: int = 0
    direct: int = 0
    found: int = 0
    claimed: int = 0


def year(
    name: str, error_m: dict[str, float], rides: int, sky: float, roads: tuple[Truth, Truth], rng: np.random.Generator
) -> Results:
    """Return what is read of a results folder, a road ridden both ways: the size that 68 % of each track keeps."""
    rows = []
    for route, road in zip("AB", roads, strict=True):
        truth = replace(road, error_m=tuple(sky * e for e in error_m.values()), bias_m=(0.0,) * len(error_m))
        size = np.quantile(np.abs(left_out_offsets(positions(truth, rides, rng))), 0.6827, axis=2)
        rows += [
            {"device": d, "route": route, "ride": f"{route}{r}", "start_state": "hot", "interval_s": "1", "ttff_s": "",
             "censored": "false", "xte_p68_m": f"{size[k, r]:.4f}"}
            for k, d in enumerate(error_m) for r in range(rides)
        ]  # fmt: skip
    return Results(name, (), tuple(rows), {})


def direct(before: Results, after: Results) -> intervals.Interval:
    """Return the interval of the logarithm of new over old as if both skies were one."""
    logs = [
        np.log([float(t["xte_p68_m"]) for t in r.tracks if t["device"] == d])
        for r, d in ((after, "new"), (before, "old"))
    ]
    return intervals.welch_difference(*logs)


def bridged(campaigns: int, carried: int, same_road: bool, least: int, rng: np.random.Generator) -> Bridged:
    """Count for identical devices and one 1.5 times worse, carried along with so many alike, `least` to 10 rides a way."""
    count = Bridged()
    for _ in range(campaigns):
        roads = [(draw(1, rng), draw(1, rng)) for _ in range(2)]
        error = float(roads[0][0].error_m[0])
        refs = {f"ref {k}": error for k in range(carried)}
        years = [int(rng.integers(least, 11)) for _ in range(2)]
        before = year("old", {"old": error, **refs}, years[0], 1.0, roads[0], rng)
        after = year(
            "new", {"new": error, "worse": 1.5 * error, **refs}, years[1], SKY, roads[0] if same_road else roads[1], rng
        )
        pairs = {(b.first, b.second): b.found for b in between_all([before, after], SETTINGS)}
        count.asked += 1
        count.held += pairs["new", "old"].low <= 1 <= pairs["new", "old"].high
        count.found += pairs["old", "worse"].high < 1
        straight = direct(before, after)
        count.direct += straight.low <= 0 <= straight.high
        alone = [
            Results(r.campaign, (), tuple(t for t in r.tracks if t["device"] not in refs), {}) for r in (before, after)
        ]
        count.claimed += sum(
            np.isfinite(b.found.value) for b in between_all(alone, SETTINGS) if "old" in (b.first, b.second)
        )
    return count


def places(campaigns: int, devices: int, rides: int, rng: np.random.Generator) -> tuple[float, float]:
    """Return how often even noise names a place on two ways, and how often 200 m with three times the error are found."""
    named = seen = 0
    for _ in range(campaigns):
        truth = replace(draw(devices, rng), stations=ROAD)
        ways = [
            campaign(left_out_offsets(positions(truth, rides, rng)), route=name, first=devices * rides * k)
            for k, name in enumerate("AB")
        ]
        named += bool(search(*(a + b for a, b in zip(*ways, strict=True)), SETTINGS)[0])
        true = positions(truth, rides, rng)
        low = int(rng.integers(50, ROAD - 100))
        true[:, :, low : low + 40] *= 3
        spots = search(*campaign(left_out_offsets(true)), SETTINGS)[0]
        seen += any(s.from_m < 5 * (low + 40) and s.to_m > 5 * low for s in spots)
    return named / campaigns, seen / campaigns


def say_twins(campaigns: int, rng: np.random.Generator) -> None:
    """Print how often twins are called different."""
    say("| rides | times called different | exact size | errors | repeatability | one looks first in 95 % |")
    say("|---|---|---|---|---|---|")
    for rides in (3, 4, 5, 6, 7, 8, 10):
        say(f"| {rides} | {twins(rides, campaigns, rng)} |")


def say_years(campaigns: int, rng: np.random.Generator) -> None:
    """Print how devices of two years fare by way of one or two carried along."""
    say(
        "| two years | carried along | rides a way | bridged interval holds 1 | direct one | 1.5 times worse found | "
        "claimed without |\n|---|---|---|---|---|---|---|"
    )
    for same in (True, False):
        for carried in (1, 2):
            for least in (8, 10):
                c = bridged(campaigns, carried, same, least, rng)
                shares = " | ".join(f"{n / c.asked:.0%}" for n in (c.held, c.direct, c.found))
                road = "the same road" if same else "another road"
                say(f"| {road} | {carried} | {least if least == 10 else '8 to 10'} | {shares} | {c.claimed} |")


def say_places(campaigns: int, rng: np.random.Generator) -> None:
    """Print how often a place is named where there is none, and found where there is one."""
    say("| places | even noise names one | 200 m with three times the error found |\n|---|---|---|")
    for devices, rides in ((3, 5), (1, 5), (1, 10)):
        named, seen = places(campaigns, devices, rides, rng)
        say(f"| {devices} device{'s' * (devices > 1)}, {rides} rides a way | {named:.0%} | {seen:.0%} |")


PARTS = {"twins": (say_twins, 500), "years": (say_years, 100), "places": (say_places, 100)}


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--parts", nargs="+", choices=list(PARTS), default=list(PARTS))
    parser.add_argument("--campaigns", type=int, help="instead of 500 twins, 100 pairs of years and 100 roads")
    parser.add_argument("--seed", type=int, default=7, help="each part begins with it anew")
    wanted = parser.parse_args()
    for part in wanted.parts:
        table, usual = PARTS[part]
        table(wanted.campaigns or usual, np.random.default_rng(wanted.seed))
        say("")


if __name__ == "__main__":
    main()

"""Count how often two identical devices are called different, or one of them the first; and how chance fares elsewhere.

Run from the top of the repository: ``python tests/validation/identical_devices.py``. It prints the tables of
``docs/validation.md`` on differences that are none: twins on the same rides, twins of two years with and without a device
carried along, and places on roads that have none.
"""

from __future__ import annotations

import argparse
import sys
from dataclasses import replace
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).resolve().parents[1] / "support"))

from interval_coverage import SETTINGS, draw, one, say
from offset_campaigns import Truth, campaign, left_out_offsets, positions

from gpsq.summaries.across.bridges import between_all
from gpsq.summaries.across.results_read import Results
from gpsq.summaries.device_pairs import compare_pairs
from gpsq.summaries.hot_spots import search
from gpsq.summaries.ranking import rank_by_repeatability

MEASURES = ("ttff_s", "xte_p68_m", "repeatability_m")


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
    return " | ".join([f"{called[m] / campaigns:.1%}" for m in MEASURES] + [f"{first / campaigns:.1%}"])


def year(
    name: str, error_m: dict[str, float], rides: int, sky: float, road: Truth, rng: np.random.Generator
) -> Results:
    """Return what is read of a results folder: the size that 68 % of each track keeps."""
    truth = replace(road, error_m=tuple(sky * e for e in error_m.values()), bias_m=(0.0,) * len(error_m))
    offsets = left_out_offsets(positions(truth, rides, rng))
    size = np.quantile(np.abs(offsets), 0.6827, axis=2)
    rows = [
        {"device": d, "route": "A", "ride": f"R{r}", "start_state": "hot", "interval_s": "1", "ttff_s": "", "censored": "false",
         "xte_p68_m": f"{size[k, r]:.4f}"}
        for k, d in enumerate(error_m) for r in range(rides)
    ]  # fmt: skip
    return Results(name, (), tuple(rows), {})


def bridged(campaigns: int, worse: float, same_road: bool, rng: np.random.Generator) -> tuple[float, float]:
    """Return how often the bridged interval holds the truth, and how often it finds a device that is `worse`."""
    held = found = 0
    for _ in range(campaigns):
        roads = [draw(1, rng) for _ in range(2)]
        error = float(roads[0].error_m[0])
        before = year(
            "old", {"old": error, "ref 1": error, "ref 2": error}, int(rng.integers(8, 11)), 1.0, roads[0], rng
        )
        road = roads[0] if same_road else roads[1]
        after = year("new", {"new": worse * error, "ref 1": error, "ref 2": error}, 10, 1.4, road, rng)
        pair = next(b for b in between_all([before, after], SETTINGS) if (b.first, b.second) == ("new", "old"))
        held += pair.found.low <= 1 <= pair.found.high
        found += pair.found.low > 1
    return held / campaigns, found / campaigns


def places(campaigns: int, rng: np.random.Generator) -> tuple[float, float]:
    """Return how often even noise names a place, and how often 200 m with three times the error are found."""
    named = seen = 0
    for _ in range(campaigns):
        truth = replace(draw(3, rng), stations=700)
        true = positions(truth, 5, rng)
        named += bool(search(*campaign(left_out_offsets(true)), SETTINGS)[0])
        low = int(rng.integers(50, 600))
        true[:, :, low : low + 40] *= 3
        spots = search(*campaign(left_out_offsets(true)), SETTINGS)[0]
        seen += any(s.from_m < 5 * (low + 40) and s.to_m > 5 * low for s in spots)
    return named / campaigns, seen / campaigns


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--campaigns", type=int, default=500)
    parser.add_argument("--seed", type=int, default=2026)
    wanted = parser.parse_args()
    rng = np.random.default_rng(wanted.seed)
    say("| rides | times called different | errors | repeatability | one looks first in 95 % |\n|---|---|---|---|---|")
    for rides in (3, 4, 5, 6, 7, 8, 10):
        say(f"| {rides} | {twins(rides, wanted.campaigns, rng)} |")
    few = max(wanted.campaigns // 5, 20)
    say(f"\n| two years, {few} times | bridged interval holds 1 | found 1.5 times worse |\n|---|---|---|")
    for same in (True, False):
        held, found = bridged(few, 1.0, same, rng)[0], bridged(few, 1.5, same, rng)[1]
        say(f"| {'the same road' if same else 'another road'} | {held:.0%} | {found:.0%} |")
    named, seen = places(few, rng)
    say(f"\n| places, {few} campaigns of three devices and five rides | |\n|---|---|")
    say(f"| even noise names a place | {named:.0%} |\n| 200 m with three times the error found | {seen:.0%} |")


if __name__ == "__main__":
    main()

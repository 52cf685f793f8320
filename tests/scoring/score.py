"""Score gpsq against simulated campaigns with a known answer.

    python tests/scoring/score.py --campaigns 20 --seed 1
    python tests/scoring/score.py --kind drawn --campaigns 40 --seed 100
    python tests/scoring/score.py --kind demo

prints one line for each requirement, pooled over the campaigns, and then every failure: which campaign (`--kind` and
seed make it again), which recording, what was expected, what was found. Exit status 1 where a requirement is missed.
"""

from __future__ import annotations

import argparse
import sys
import tempfile
import time
from collections import defaultdict
from pathlib import Path

import numpy as np
from campaign_checks import FALSE_PER_TRACES, Check, check_campaign
from campaign_flagging import check_flagging

from gpsq.pipeline.analysis import analyse
from gpsq.simulate import Campaign, drawn_spec, make_campaign, standard_spec, write
from gpsq.simulate.demo import demo_campaign

KINDS = {"standard": standard_spec, "drawn": drawn_spec}
Scored = list[tuple[str, Check]]


def campaign_of(kind: str, seed: int) -> Campaign:
    return demo_campaign() if kind == "demo" else make_campaign(KINDS[kind](seed), seed)


def score_one(campaign: Campaign, keep: Path | None = None, flagging: bool = True) -> list[Check]:
    """Write a campaign, analyse it as a user would, and check every figure; `keep` is where the files stay."""
    with tempfile.TemporaryDirectory() as scratch:
        folder = keep or Path(scratch)
        write(campaign, folder)
        analysis = analyse(folder)
        found = check_campaign(campaign, analysis)
        return found + (check_flagging(campaign, folder, analysis, analyse) if flagging and not keep else [])


def pooled(scored: Scored) -> list[tuple[str, str, str, bool]]:
    """Return (name, measured, limit, passed) for each requirement over all campaigns."""
    by_name: dict[str, Scored] = defaultdict(list)
    for label, check in scored:
        by_name[check.name].append((label, check))
    rows = []
    for name, checks in by_name.items():
        failed = [label for label, check in checks if not check.passed]
        values = [v for _, check in checks for v in check.values if np.isfinite(v)]
        rows.append((name, f"{_summary(name, checks, values)}", checks[0][1].limit, not failed, failed))
    return rows


def _summary(name: str, checks: Scored, values: list[float]) -> str:
    if name == "false deviations":
        false, traces = (sum(c.values[k] for _, c in checks) for k in (0, 1))
        return f"{false:.0f} in {traces:.0f} traces ({FALSE_PER_TRACES * false / traces:.2f} per 30)"
    if not values:
        return checks[0][1].measured if len(checks) == 1 else ""
    low, middle, p95, high = np.min(values), np.median(values), np.percentile(values, 95), np.max(values)
    return f"median {middle:.3g}, 95 % {p95:.3g}, range {low:.3g} to {high:.3g}"


def _say(line: str) -> None:
    sys.stdout.write(line + "\n")


def table(scored: Scored, seconds: float) -> bool:
    rows = pooled(scored)
    _say(f"{len({label for label, _ in scored})} campaigns in {seconds:.0f} s\n")
    _say("| figure | limit | measured | campaigns that miss it |\n|---|---|---|---|")
    for name, measured, limit, _, failed in rows:
        _say(f"| {name} | {limit} | {measured or 'all'} | {len(failed)} |")
    return all(row[3] for row in rows)


def report(scored: Scored, seconds: float) -> bool:
    rows = pooled(scored)
    campaigns = len({label for label, _ in scored})
    _say(f"{campaigns} campaigns in {seconds:.0f} s")
    for name, measured, limit, passed, failed in rows:
        more = " …" if len(failed) > 8 else ""
        missed = "" if passed else f"  fails in {len(failed)}: {', '.join(failed[:8])}{more}"
        _say(f"  {'pass' if passed else 'FAIL'}  {name:<40} limit {limit:<16} {measured}{missed}")
    _say("\nEvery case:")
    for label, check in scored:
        for line in check.failures:
            _say(f"  {label}  {check.name}{'' if check.passed else ' (FAIL)'}: {line}")
    return all(row[3] for row in rows)


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--kind", choices=["standard", "drawn", "demo"], default="standard")
    parser.add_argument("--campaigns", type=int, default=20)
    parser.add_argument("--seed", type=int, default=1, help="of the first campaign; the others follow")
    parser.add_argument("--table", action="store_true", help="print only a table, as in docs/validation.md")
    parser.add_argument("--keep", type=Path, help="write the campaigns below this folder and leave them there")
    options = parser.parse_args()
    began, scored = time.monotonic(), []
    count = 1 if options.kind == "demo" else options.campaigns
    for seed in range(options.seed, options.seed + count):
        campaign = campaign_of(options.kind, seed)
        label = f"{options.kind} {seed} ({len(campaign.spec.devices)} × {campaign.spec.days} days)"
        folder = options.keep / f"{options.kind}-{seed}" if options.keep else None
        scored += [(label, check) for check in score_one(campaign, folder)]
        sys.stderr.write(f"{label}: {sum(not c.passed for lab, c in scored if lab == label)} missed\n")
    show = table if options.table else report
    return 0 if show(scored, time.monotonic() - began) else 1


if __name__ == "__main__":
    sys.exit(main())

"""Repeatability and each device's own error, from files to figures, against simulated campaigns with a known answer.

Run from the top of the repository: ``python tests/validation/whole_run.py``. The truth of a device is the spread of its
true offsets about their mean at each station, over many further rides on the same roads; its own error is what is left
of it without the rider's line.
"""

from __future__ import annotations

import argparse
import sys
import tempfile
from dataclasses import replace
from pathlib import Path

import numpy as np

from gpsq.pipeline.analysis import analyse
from gpsq.simulate import make_campaign, standard_spec, write

FURTHER_RIDES = 40


def spec_of(seed: int, rides: int, **more: object):
    """Return a campaign of one direction without detours and faults, which have their own tests."""
    plain = {"detours": 0, "faults": 0, "slow_fixes": 0, "late_starts": 0, "never_fixed": 0, "unlogged": 0}
    return replace(standard_spec(seed), days=rides, directions=("out",), **{**plain, **more})


def true_spreads(seed: int, **more: object) -> tuple[dict[str, float], dict[str, float]]:
    """Return each device's true repeatability and its own error without the rider's line, in metres."""
    made = make_campaign(spec_of(seed, FURTHER_RIDES, **more), seed)
    rows: dict[str, list[np.ndarray]] = {}
    for recording in made.recordings:
        rows.setdefault(recording.device, []).append(recording.offsets.offset_m)
    spread = {d: float(np.sqrt(np.nanmean(np.nanvar(np.array(r), axis=0, ddof=1)))) for d, r in rows.items()}
    rider = made.spec.lateral_m
    return spread, {d: float(np.sqrt(max(s**2 - rider**2, 0.0))) for d, s in spread.items()}


def one(seed: int, rides: int) -> list[tuple[float, float, float, float]]:
    """Return for each device: repeatability found and true, own error found and true."""
    with tempfile.TemporaryDirectory() as folder:
        write(make_campaign(spec_of(seed, rides), seed), Path(folder))
        found = analyse(Path(folder))
    spread, own = true_spreads(seed)
    repeat = {s.device: s.figures["repeatability_m"] for s in found.summaries.devices if s.route}
    hats = {v.device: v.sd_m for v in found.summaries.error_variances if v.route}
    return [(repeat[d].value, spread[d], hats.get(d, np.nan), own[d]) for d in spread if d in repeat]


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--campaigns", type=int, default=20)
    wanted = parser.parse_args()
    for rides in (5, 10):
        rows = np.array([row for seed in range(wanted.campaigns) for row in one(seed, rides)])
        for name, found, true in (("repeatability", rows[:, 0], rows[:, 1]), ("own error", rows[:, 2], rows[:, 3])):
            ratio = found / true
            ratio = ratio[np.isfinite(ratio)]
            sys.stdout.write(
                f"| {name} | {rides} | {len(ratio)} of {len(rows)} | {np.median(ratio):.3f} | "
                f"{np.median(np.abs(ratio - 1)):.1%} | {np.quantile(np.abs(ratio - 1), 0.9):.0%} |\n"
            )
            sys.stdout.flush()


if __name__ == "__main__":
    main()

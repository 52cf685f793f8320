"""By how much figures move where a person decides as suggested: on the demo, and on campaigns drawn for it.

Run from the top of the repository: ``python tests/validation/suggested_decisions.py --campaigns 10``. One rule holds
before and after a decision, so a figure may only move by what the centreline moves: a stretch that is decided leaves the line too.
"""

from __future__ import annotations

import argparse
import shutil
import sys
import tempfile
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).resolve().parents[1] / "support"))

from deciding import HEADLINES, before_and_after, moved_m

from gpsq.simulate import make_campaign, standard_spec, write

DEMO = Path(__file__).resolve().parents[2] / "demo_routes"


def drawn(folder: Path, seed: int) -> Path:
    """Write an invented campaign of three devices and five days, with a detour and a fault, and return its folder."""
    write(make_campaign(standard_spec(seed), seed), folder)
    return folder


def row(name: str, folder: Path) -> str:
    """Return how far each column of any device and way moved at most, over how many decisions."""
    before, after = before_and_after(folder)
    moved: dict[str, list[float]] = {}
    for (_, _, column), (old, new) in moved_m(before, after).items():
        moved.setdefault(column, []).append(abs(new - old))
    most = [f"{np.max(moved.get(column, [np.nan])):.2f}" for column in HEADLINES]
    return f"| {name} | {sum(bool(d.flag) for d in after.deviations)} | {' | '.join(most)} |"


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--campaigns", type=int, default=10)
    parser.add_argument("--seed", type=int, default=1)
    wanted = parser.parse_args()
    sys.stdout.write(f"| campaign | decided | {' | '.join(HEADLINES)} |\n|{'---|' * (2 + len(HEADLINES))}\n")
    with tempfile.TemporaryDirectory() as folder:
        sys.stdout.write(row("demo", shutil.copytree(DEMO, Path(folder) / "demo")) + "\n")
        for seed in range(wanted.seed, wanted.seed + wanted.campaigns):
            sys.stdout.write(row(f"drawn, seed {seed}", drawn(Path(folder) / str(seed), seed)) + "\n")
            sys.stdout.flush()


if __name__ == "__main__":
    main()

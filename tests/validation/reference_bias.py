"""A bias that all recordings share, with and without a reference line, from files to figures.

Run from the top of the repository: ``python tests/validation/reference_bias.py``. Every fix of a simulated campaign is
put the same distance to the left of travel; the true roads are its reference lines.
"""

from __future__ import annotations

import argparse
import dataclasses
import sys
import tempfile
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np

from gpsq.pipeline.analysis import analyse
from gpsq.simulate import make_campaign, standard_spec, write
from gpsq.summary_types import Interval

if TYPE_CHECKING:
    from collections.abc import Sequence


#: What is told apart, in the order of the table.
FIGURES = (
    "both centrelines together",
    "each centreline",
    "what the planted bias adds to each centreline",
    "each device, both ways together",
    "each device, without a reference (0 is expected)",
)


def campaign(seed: int, bias_m: float) -> tuple[list[Interval], list[Interval], list[Interval], list[Interval]]:
    """Return the offsets of both centrelines, of each, of each device, and of each device without a reference."""
    spec = dataclasses.replace(standard_spec(seed), common_bias_m=bias_m)
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        write(make_campaign(spec, seed), folder, reference=True)
        found = analyse(folder)
    rows = found.summaries.reference
    both = [r.found.bias_m for r in rows if not r.route and not r.device]
    lines = [r.found.bias_m for r in rows if r.route and not r.device]
    devices = [r.found.bias_m for r in rows if r.device and not r.route]
    without = [s.figures["offset_body_m"] for s in found.summaries.devices if not s.route]
    return both, lines, devices, without


def row(name: str, found: Sequence[Interval], true_m: float) -> str:
    """Return one row of the table in ``docs/validation.md``."""
    value = np.array([f.value for f in found])
    off = np.abs(value - true_m)
    known = [f for f in found if np.isfinite(f.low)]
    held = f"{sum(f.low <= true_m <= f.high for f in known)} of {len(known)}" if known else "–"
    within = f"{int((off <= 0.5).sum())} of {len(off)}"
    return f"| {name} | {np.median(value):.2f} | {off.max():.2f} | {within} | {held} |"


def main(arguments: list[str]) -> None:
    """Print the table."""
    options = argparse.ArgumentParser(description=__doc__)
    options.add_argument("--campaigns", type=int, default=10)
    options.add_argument("--bias", type=float, default=3.0, metavar="METRES")
    chosen = options.parse_args(arguments)
    tables: list[list[Interval]] = [[] for _ in FIGURES]
    for seed in range(1, chosen.campaigns + 1):
        (both, lines, devices, without), (_, plain, *_) = (campaign(seed, bias) for bias in (chosen.bias, 0.0))
        added = [Interval(a.value - b.value) for a, b in zip(lines, plain, strict=True)]
        for table, more in zip(tables, (both, lines, added, devices, without), strict=True):
            table += more
    say = [f"{chosen.campaigns} campaigns, every fix {chosen.bias:g} m to the left", ""]
    say += ["| offset of | found (median), m | off by at most, m | within 0.5 m | interval holds it |"]
    say += ["|---|---|---|---|---|"]
    wanted = [chosen.bias] * (len(FIGURES) - 1) + [0.0]
    say += [row(name, found, true) for name, found, true in zip(FIGURES, tables, wanted, strict=True)]
    sys.stdout.write("\n".join(say) + "\n")


if __name__ == "__main__":
    main(sys.argv[1:])

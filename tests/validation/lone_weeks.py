"""The lone tester's weeks of `docs/validation.md`: ``python tests/validation/lone_weeks.py [FIRST [SEEDS]]``, about 3 s a week."""

from __future__ import annotations

import sys
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np

sys.path.insert(0, str(Path(__file__).resolve().parents[1] / "support"))
sys.path.insert(0, str(Path(__file__).resolve().parents[1] / "scoring"))

import lone_scores
from lone_week import KINDS, SEARCHES

if TYPE_CHECKING:
    from collections.abc import Iterable

HEADS = (
    "week", "recordings", "at least", "off, median", "nine of ten within", "called exact, and wrong", "bounds hold",
    "worked out", "off, median", "bounds hold",
)  # fmt: skip


def row(name: str, rides: list[lone_scores.Scored]) -> str:
    """Return a line of the table."""
    median_m, most_m = lone_scores.missed(rides)
    off_s, holds = lone_scores.estimated(rides)
    share = np.mean([r.holds for r in rides])
    cells = [
        name, len(rides), sum(r.is_bound for r in rides), f"{median_m:.1f} m", f"{most_m:.1f} m",
        sum(r.is_wrong for r in rides), f"{100 * share:.0f} %", sum(r.is_estimated for r in rides), f"{off_s:.1f} s",
        f"{100 * holds:.0f} %",
    ]  # fmt: skip
    return _line(cells)


def _line(cells: Iterable[object]) -> str:
    return "| " + " | ".join(map(str, cells)) + " |\n"


def main(first: int = 100, seeds: int = 6) -> None:
    """Print a line for each kind of week, and what was found of batteries, detours and excursions."""
    tell = sys.stdout.write
    tell(_line(HEADS) + "|---" * len(HEADS) + "|\n")
    everything: list[lone_scores.Scored] = []
    for kind, by_clock in [("plain", False), ("plain", True), *((kind, False) for kind in KINDS[1:])]:
        rides = []
        for seed in range(first, first + seeds):
            search = list(SEARCHES)[seed % len(SEARCHES)]
            rides += lone_scores.scored_week(seed, kind, search=search, named_by_clock=by_clock)
        tell(row(kind + (", clock in the name" if by_clock else ""), rides))
        everything += rides
    tell("died, found, falsely found: {}, {}, {}\n".format(*lone_scores.batteries(everything)))
    for what in ("detour", "excursion"):
        said = lone_scores.suggestions(everything, what)
        tell(f"{what}: {', '.join(f'{said.count(word)} {word}' for word in sorted(set(said)))}\n")


if __name__ == "__main__":
    main(*map(int, sys.argv[1:]))

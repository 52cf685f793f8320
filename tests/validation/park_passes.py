"""Rank the devices of the open passes through a park, site by site, and tell whether the sites differ.

Run from the top of the repository: ``python tests/validation/park_passes.py PATH_OF_park_passes``.
"""

from __future__ import annotations

import shutil
import sys
import tempfile
from dataclasses import replace
from pathlib import Path

from gpsq.pipeline.analysis import analyse
from gpsq.summaries.device_figures import summarise
from gpsq.summaries.ranking import compare_places, rank_by_repeatability

SITES = ("FC", "MC")


def copied(site: Path, folder: Path) -> None:
    """Copy the passes that keep to one path into a folder of each device."""
    for device in site.iterdir():
        (folder / device.name).mkdir()
        shutil.copy(device / "pos.gpx", folder / device.name)


def analysed(site: Path):
    """Return the analysis of the passes that keep to one path."""
    with tempfile.TemporaryDirectory() as folder:
        copied(site, Path(folder))
        return analyse(Path(folder))


def main(path: str) -> None:
    lines = ["| site, way | device | repeatability, m | place (95 %) | first in |", "|---|---|---|---|---|"]
    over_all = []
    for site in SITES:
        found = analysed(Path(path) / site)
        what = (found.traces, found.results, found.routes, found.settings)
        summaries = summarise(*what)
        figure = {(s.device, s.route): s.figures["repeatability_m"] for s in summaries}
        for p in rank_by_repeatability(*what):
            f = figure[p.device, p.route]
            lines.append(
                f"| {site} {p.route} | {p.device} | {f.value:.1f} ({f.low:.1f}–{f.high:.1f}) | "
                f"{p.place} ({p.best}–{p.worst}) | {p.first_share:.0%} |"
            )
        over_all += [replace(s, route=site) for s in summaries if not s.route]
    lines += ["", *(f"- {found.verdict}" for found in compare_places(over_all))]
    sys.stdout.write("\n".join(lines) + "\n")


if __name__ == "__main__":
    main(sys.argv[1])

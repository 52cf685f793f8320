"""A campaign before and after every deviation is decided as suggested."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from gpsq.campaign import flags
from gpsq.model import FLAGS, RECEIVER_ERROR, ROUTE_CHOICE
from gpsq.pipeline.analysis import analyse

if TYPE_CHECKING:
    from pathlib import Path

    from gpsq.results import Analysis

#: The columns that a table of errors shows, in metres.
HEADLINES = ("xte_median_m", "xte_p68_m", "xte_p95_m", "xte_rms_m", "repeatability_m")
DECISIONS = dict(zip((ROUTE_CHOICE, RECEIVER_ERROR), FLAGS, strict=True))


def before_and_after(folder: Path) -> tuple[Analysis, Analysis]:
    """Return the analysis of a folder as it is, and with every suggestion taken as the person's decision."""
    before = analyse(folder)
    chosen: dict[str, list] = {}
    for deviation in before.deviations:
        if deviation.suggestion in DECISIONS:
            chosen.setdefault(DECISIONS[deviation.suggestion], []).append(deviation)
    kept: tuple = ()
    for decision, own in chosen.items():
        kept = tuple(flags.decided(kept, own, before.traces, decision, ""))
    flags.save(folder, kept)
    return before, analyse(folder)


def moved_m(before: Analysis, after: Analysis) -> dict[tuple[str, str, str], tuple[float, float]]:
    """Return by device, route ("" for all) and column the value before and after."""
    later = {(s.device, s.route): s.figures for s in after.summaries.devices}
    return {
        (s.device, s.route, name): (s.figures[name].value, later[s.device, s.route][name].value)
        for s in before.summaries.devices
        for name in HEADLINES
        if np.isfinite(s.figures[name].value)
    }

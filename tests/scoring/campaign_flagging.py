"""What flagging a detour as intentional changes: the errors of that trace by its own stretch, and nothing else."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
from campaign_checks import Check
from campaign_matching import pairs

from gpsq.campaign import flags
from gpsq.model import Flag
from gpsq.simulate.answers import detours_of

if TYPE_CHECKING:
    from collections.abc import Callable
    from pathlib import Path

    from gpsq.model import CrossTrack, Deviation
    from gpsq.results import Analysis
    from gpsq.simulate import Campaign

#: The line itself may move a little when a stretch leaves it.
SAME_SHARE, SAME_M = 0.05, 0.15


def check_flagging(
    campaign: Campaign, folder: Path, before: Analysis, analyse: Callable[[Path], Analysis]
) -> list[Check]:
    """Flag the first planted detour that was found, run again, and compare; no detour found: no check."""
    chosen = _first_found(campaign, before)
    if chosen is None:
        return []
    index, deviation = chosen
    trace, crosstrack = before.traces[index], before.results[index].crosstrack
    flags.save(folder, [_flag(trace.sha256, trace.track, trace.file, deviation)])
    after = analyse(folder)
    wrong = []
    expected = _rms_outside(crosstrack, deviation)
    found = after.results[index].crosstrack
    if found is None or abs(found.rms_m - expected) > SAME_SHARE * expected + SAME_M:
        said = "no figures" if found is None else f"{found.rms_m:.2f} m"
        wrong.append(f"{trace.file}: expected {expected:.2f} m without its stretch, found {said}")
    marked = [v.flag for v in after.results[index].deviations if v.id == deviation.id]
    if marked != ["intentional"]:
        wrong.append(f"{trace.file}: the deviation {deviation.id} carries {marked or 'no mark'} after flagging")
    wrong += _others(before, after, index)
    measured = (
        f"{crosstrack.rms_m:.2f} → {'-' if found is None else format(found.rms_m, '.2f')} m, expected {expected:.2f}"
    )
    return [Check("flagging changes only its own stretch", not wrong, measured, "5 % or 0.15 m", [], wrong)]


def _first_found(campaign: Campaign, analysis: Analysis) -> tuple[int, Deviation] | None:
    held = {file: detour for detour in detours_of(campaign) for file in detour["files"]}
    for p in pairs(campaign, analysis):
        detour = held.get(p.truth.file)
        if detour is None or p.result is None or p.result.crosstrack is None:
            continue
        for deviation in p.result.deviations:
            if deviation.from_m < detour["to_m"] and deviation.to_m > detour["from_m"]:
                return p.result.trace, deviation
    return None


def _flag(sha256: str, track: int, file: str, d: Deviation) -> Flag:
    return Flag(
        sha256, track, d.from_time, d.to_time, d.from_point, d.to_point, "intentional", "a street was closed", file
    )


def _rms_outside(crosstrack: CrossTrack, deviation: Deviation) -> float:
    outside = (crosstrack.along_m < deviation.from_m) | (crosstrack.along_m > deviation.to_m)
    used = crosstrack.offset_m[outside & crosstrack.scored & np.isfinite(crosstrack.offset_m)]
    return float(np.sqrt(np.mean(used**2)))


def _others(before: Analysis, after: Analysis, index: int) -> list[str]:
    wrong = []
    for k, (old, new) in enumerate(zip(before.results, after.results, strict=True)):
        if k == index or old.crosstrack is None:
            continue
        if (
            new.crosstrack is None
            or abs(new.crosstrack.rms_m - old.crosstrack.rms_m) > SAME_SHARE * old.crosstrack.rms_m + SAME_M
        ):
            said = "no figures" if new.crosstrack is None else f"{new.crosstrack.rms_m:.2f} m"
            wrong.append(f"{before.traces[k].file}: {old.crosstrack.rms_m:.2f} m became {said}")
    return wrong

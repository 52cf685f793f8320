"""Score centrelines against the floor: what a plain mean makes of the same recordings that knows every fix's true place.

    python tests/scoring/line_scores.py --campaigns 24 --seed 1

runs campaigns of every kind (`line_kinds.KINDS`, in turn), with deviations flagged as gpsq suggests, and prints one row
for each line, then the figures over all of them as in docs/validation.md. Exit status 1 where a limit is missed.
"""

from __future__ import annotations

import argparse
import sys
import tempfile
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np
from campaign_matching import line_on_road, route_of_direction
from line_kinds import campaign_of_kind, in_turn

from gpsq.campaign import flags
from gpsq.model import Flag
from gpsq.pipeline.analysis import analyse
from gpsq.simulate import write
from gpsq.simulate.answers import undisturbed

if TYPE_CHECKING:
    from gpsq.model import Deviation
    from gpsq.results import Analysis, RouteResult
    from gpsq.simulate import Campaign

#: Limits: of the floor on every line and in the median, metres at most, share of length, metres at the start.
OF_FLOOR, OF_FLOOR_MEDIAN, LARGEST_M, LENGTH_SHARE, START_M = 1.25, 0.97, 12.0, 0.01, 3.0


@dataclass(frozen=True)
class LineScore:
    """One line against the road: RMS, floor, largest offset, length off as a share, offset of its first station."""

    name: str
    rms_m: float
    floor_m: float
    largest_m: float
    length_off: float
    start_m: float

    @property
    def of_floor(self) -> float:
        return self.rms_m / self.floor_m


def floor(campaign: Campaign, direction: str) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Return stations of the road, how many recordings hold each, and the plain mean of their true offsets there.

    Detours and planted faults are left out; nothing else is: the mean knows the road, but no receiver's quality.
    """
    own = [r for r in campaign.recordings if r.ride.plan.direction == direction and r.heard.fix_s is not None]
    offset = np.array([np.where(undisturbed(r), r.offsets.offset_m, np.nan) for r in own])
    count = np.isfinite(offset).sum(axis=0)
    mean = np.divide(np.nansum(offset, axis=0), count, out=np.full(len(count), np.nan), where=count > 0)
    return own[0].offsets.station_m, count, mean


def score_line(name: str, campaign: Campaign, direction: str, route: RouteResult) -> LineScore:
    """Return one line's score, where two recordings hold the road and the line is held up by two.

    Through a tunnel in which nobody has a fix the line leads straight from mouth to mouth, and says that nothing supports it.
    """
    on = line_on_road(campaign, direction, route)
    station, count, mean = floor(campaign, direction)
    held = np.interp(on.station_m, station, (count >= 2).astype(float)) > 0.999
    held &= route.centreline.support >= 2
    offset = on.offset_m[held]
    both = held[1:] & held[:-1]
    ridden_m = np.diff(on.station_m)[both].sum()
    drawn_m = np.hypot(*np.diff(route.centreline.xy_m, axis=0).T)[both].sum()
    first = campaign.plane.to_metres(*route.route.plane.to_degrees(route.centreline.xy_m[:1]))
    start_m = np.hypot(*(campaign.town.roads[direction] - first).T).min()
    rms_m, floor_m = (float(np.sqrt(np.mean(values**2))) for values in (offset, mean[count >= 2]))
    return LineScore(name, rms_m, floor_m, float(np.abs(offset).max()), float(drawn_m / ridden_m - 1.0), float(start_m))


def analysed_as_suggested(campaign: Campaign, folder: Path) -> Analysis:
    """Write a campaign, analyse it, flag what looks like the rider's choice, and analyse again."""
    write(campaign, folder)
    before = analyse(folder)
    chosen = [d for d in before.deviations if d.suggestion == "route choice"]
    if not chosen:
        return before
    flags.save(folder, [_flag(before, d) for d in chosen])
    return analyse(folder)


def _flag(analysis: Analysis, d: Deviation) -> Flag:
    trace = analysis.traces[d.trace]
    stretch = (d.from_time, d.to_time, d.from_point, d.to_point)
    return Flag(trace.sha256, trace.track, *stretch, "intentional", "as suggested", trace.file)


def score_campaign(label: str, campaign: Campaign) -> list[LineScore]:
    with tempfile.TemporaryDirectory() as scratch:
        analysis = analysed_as_suggested(campaign, Path(scratch))
    routes = route_of_direction(campaign, analysis)
    return [score_line(f"{label}, {way}", campaign, way, route) for way, route in routes.items() if route.centreline]


def misses(scores: list[LineScore]) -> list[str]:
    """Return one line for each limit that a line misses."""
    wrong = [f"{s.name}: {s.of_floor:.2f} times the floor" for s in scores if s.of_floor > OF_FLOOR]
    wrong += [f"{s.name}: {s.largest_m:.1f} m off" for s in scores if s.largest_m > LARGEST_M]
    wrong += [f"{s.name}: length off by {s.length_off:+.2%}" for s in scores if abs(s.length_off) > LENGTH_SHARE]
    wrong += [f"{s.name}: starts {s.start_m:.1f} m off" for s in scores if s.start_m > START_M]
    return wrong


def median_missed(scores: list[LineScore]) -> list[str]:
    """Return the line that says so where the lines are worse than the floor's limit in the median."""
    median = float(np.median([s.of_floor for s in scores]))
    return [f"median {median:.3f} times the floor"] if median > OF_FLOOR_MEDIAN else []


def figures(scores: list[LineScore]) -> list[tuple[str, str, str]]:
    """Return (figure, limit, measured) over all lines."""
    rows = (
        ("RMS / floor, median", f"{OF_FLOOR_MEDIAN}", [s.of_floor for s in scores]),
        ("RMS / floor, every line", f"{OF_FLOOR}", [s.of_floor for s in scores]),
        ("largest offset, m", f"{LARGEST_M:.0f}", [s.largest_m for s in scores]),
        ("length off, %", f"{100 * LENGTH_SHARE:.0f}", [100 * s.length_off for s in scores]),
        ("start off, m", f"{START_M:.0f}", [s.start_m for s in scores]),
    )
    return [
        (what, limit, f"median {np.median(v):.2f}, 95 % {np.percentile(v, 95):.2f}, range {min(v):.2f} to {max(v):.2f}")
        for what, limit, v in rows
    ]


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--campaigns", type=int, default=24)
    parser.add_argument("--seed", type=int, default=1, help="of the first campaign; see `line_kinds.in_turn`")
    options = parser.parse_args()
    scores: list[LineScore] = []
    for k in range(options.campaigns):
        kind, seed = in_turn(k, options.seed)
        for score in score_campaign(f"{kind} {seed}", campaign_of_kind(kind, seed)):
            scores.append(score)
            sys.stdout.write(
                f"{score.name:<34} {score.of_floor:5.2f} of {score.floor_m:.2f} m, largest {score.largest_m:4.1f} m, "
                f"length {score.length_off:+.2%}, start {score.start_m:.1f} m\n"
            )
            sys.stdout.flush()
    wrong = misses(scores) + median_missed(scores)
    sys.stdout.write(
        f"\n{len(scores)} lines of {options.campaigns} campaigns\n\n| figure | limit | measured |\n|---|---|---|\n"
    )
    sys.stdout.writelines(f"| {what} | {limit} | {said} |\n" for what, limit, said in figures(scores))
    sys.stdout.writelines(f"\nmissed: {line}" for line in wrong)
    return 1 if wrong else 0


if __name__ == "__main__":
    sys.exit(main())

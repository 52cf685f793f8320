"""How far a line moves when any one device is left out, beside how far the devices' own lines lie apart.

Run from the top of the repository: ``python tests/validation/devices_left_out.py PATH_OF_park_passes``. One row for each
route: over the devices, the metres by which the line moves without one (median along the line, and 95 %), and the same
of the lines that two devices make by themselves. Exit status 1 where leaving one out moves more than two disagree.
"""

from __future__ import annotations

import sys
import tempfile
from dataclasses import replace
from itertools import combinations
from pathlib import Path

import numpy as np
import shapely
from park_passes import SITES, copied

from gpsq.centreline.consensus_line import step_for
from gpsq.measures.route import Member, line_of
from gpsq.reading import read_folder
from gpsq.rides.arrange import arrange
from gpsq.rides.opposite import tails_towards


def distances_m(line_m: np.ndarray, other_m: np.ndarray) -> tuple[float, float]:
    """Return the median and the 95th percentile of the distances of one line's stations from another line."""
    away = shapely.distance(shapely.points(line_m), shapely.LineString(other_m))
    return float(np.median(away)), float(np.percentile(away, 95))


def rows(site: Path) -> list[tuple[str, float, float, float, float, int]]:
    """Return for each route its name and, at most over the devices, the moves (median, 95 %), disagreements, pairs told."""
    with tempfile.TemporaryDirectory() as folder:
        copied(site, Path(folder))
        readings = read_folder(Path(folder))
    settings = readings.campaign.settings
    put = arrange(readings.traces, settings, cut=readings.campaign.cut_passes)
    tails = tails_towards(put.routes, put.traces, put.rides, put.twins, settings.gap_s)
    found = []
    for route, towards in zip(put.routes, tails, strict=True):
        members = [Member(i, put.traces[i], put.rides[i], put.twins.get(i, "")) for i in route.members]
        own = settings.with_values(step_m=step_for(route.xy_m, settings))

        def line(wanted, route=route, members=members, towards=towards, own=own):
            kept = [k for k, m in enumerate(members) if m.trace.device in wanted]
            part = replace(
                route, members=tuple(route.members[k] for k in kept), xy_m=tuple(route.xy_m[k] for k in kept)
            )
            return line_of(part, [members[k] for k in kept], (), own, [t for t in towards if t.device in wanted])

        devices = {m.trace.device for m in members}
        whole, alone = line(devices), {d: line({d}).centreline.xy_m for d in sorted(devices)}
        without = [line(devices - {d}).centreline.xy_m for d in sorted(devices)]
        moves = np.array([distances_m(xy_m, whole.centreline.xy_m) for xy_m in without]).max(axis=0)
        apart = np.array([distances_m(alone[a], alone[b]) for a, b in combinations(sorted(devices), 2)]).max(axis=0)
        name = f"{site.name} {route.name}, {len(devices)} devices"
        found.append((name, *moves.tolist(), *apart.tolist(), len(whole.apart())))
    return found


def main(path: str) -> int:
    too_far = 0
    sys.stdout.write(
        "| site, way | moves by, 95 % | devices disagree by, 95 % | pairs told apart |\n|---|---|---|---|\n"
    )
    for name in SITES:
        for way, move, move_95, apart, apart_95, told in rows(Path(path) / name):
            sys.stdout.write(f"| {way} | {move:.1f} m, {move_95:.1f} | {apart:.1f} m, {apart_95:.1f} | {told} |\n")
            too_far += move > apart or move_95 > apart_95
    return 1 if too_far else 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1]))

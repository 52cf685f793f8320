"""How time and memory of ``gpsq analyse`` grow with many files, many points, many tracks, and tracks of one time.

Run from the top of the repository: ``python tests/validation/huge_inputs.py [KIND...] [--largest SHARE]``. Each kind is
run at an eighth, a quarter, a half and the whole of its size, each run in a process of its own; the exponent is the slope
of the logarithms of processor time and size. ``--largest 0.1`` makes everything a tenth as large, to try it.
"""

from __future__ import annotations

import argparse
import os
import sys
import tempfile
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np
from mutated_recordings import analysed

from gpsq.plane import Plane

if TYPE_CHECKING:
    from collections.abc import Callable

    from gpsq.model import FloatArray

PLANE = Plane(-28.0, 40.0)  # open sea, so that nobody's street is shown
HEAD = '<gpx version="1.1" creator="unit" xmlns="http://www.topografix.com/GPX/1/1">'
START = np.datetime64("2024-05-06T07:00:00", "s")
SHARES = (0.125, 0.25, 0.5, 1.0)
EXPONENT = 1.2


def track(points: int, start: np.datetime64, rng: np.random.Generator, speed_mps: float = 6.0) -> str:
    """Return a track along an invented road, a fix each second, with errors of a metre or two."""
    seconds = np.arange(points)
    along: FloatArray = speed_mps * seconds
    road = np.column_stack([along, 120.0 * np.sin(along / 250.0)]) + rng.normal(0.0, 1.5, (points, 2))
    lon, lat = PLANE.to_degrees(road)
    times = np.datetime_as_string(start + seconds)
    fixes = "".join(
        f'<trkpt lat="{y:.6f}" lon="{x:.6f}"><time>{when}Z</time></trkpt>'
        for x, y, when in zip(lon, lat, times, strict=True)
    )
    return f"<trk><trkseg>{fixes}</trkseg></trk>"


def files(folder: Path, count: int, rng: np.random.Generator) -> None:
    """Many small files: a ride of ten minutes each, two a day, of four devices."""
    for k in range(count):
        day = START + np.timedelta64(43_200 * (k // 4), "s")
        path = folder / f"unit-{k % 4}" / f"{k:05d}.gpx"
        path.parent.mkdir(exist_ok=True)
        path.write_text(f"{HEAD}{track(60, day, rng, 20.0)}</gpx>")


def points(folder: Path, count: int, rng: np.random.Generator) -> None:
    """One recording that never ends: laps of a road an hour long."""
    (folder / "one.gpx").write_text(f"{HEAD}{track(count, START, rng, 0.05)}</gpx>")


def tracks(folder: Path, count: int, rng: np.random.Generator) -> None:
    """Very many tracks in one file, one after the other."""
    with (folder / "all.gpx").open("w") as file:
        file.write(HEAD)
        for k in range(count):
            file.write(track(60, START + np.timedelta64(3600 * k, "s"), rng, 20.0))
        file.write("</gpx>")


def same_time(folder: Path, count: int, rng: np.random.Generator) -> None:
    """Tracks of one time: copies of a ride, a few centimetres apart."""
    with (folder / "all.gpx").open("w") as file:
        file.write(HEAD)
        text = track(60, START, rng, 20.0)
        file.write(text * count)
        file.write("</gpx>")


KINDS: dict[str, tuple[Callable[[Path, int, np.random.Generator], None], int]] = {
    "files": (files, 20_000),
    "points": (points, 1_000_000),
    "tracks": (tracks, 10_000),
    "same_time": (same_time, 2_000),
}


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("kinds", nargs="*", default=list(KINDS))
    parser.add_argument("--largest", type=float, default=1.0)
    wanted = parser.parse_args()
    for kind in wanted.kinds:
        write, whole = KINDS[kind]
        sizes = [max(8, round(whole * wanted.largest * share)) for share in SHARES]
        times_s = []
        for size in sizes:
            with tempfile.TemporaryDirectory() as folder, tempfile.TemporaryDirectory() as remembered:
                os.environ["XDG_CACHE_HOME"] = remembered
                write(Path(folder), size, np.random.default_rng(1))
                run = analysed(Path(folder))
            times_s.append(run.cpu_s)
            lines = len(run.said.splitlines())
            sys.stdout.write(
                f"| {kind} | {size} | {run.cpu_s:.1f} s | {run.memory_mb:.0f} MB | status {run.status}, "
                f"{run.recordings} recordings, {lines} lines said |\n"
            )
            sys.stdout.flush()
        slope = float(np.polyfit(np.log(sizes), np.log(times_s), 1)[0])
        last = float(np.log(times_s[-1] / times_s[-2]) / np.log(sizes[-1] / sizes[-2]))
        verdict = "good" if max(slope, last) <= EXPONENT else "too steep"
        sys.stdout.write(f"| {kind} | exponent {slope:.2f}, of the last doubling {last:.2f}: {verdict} |\n")


if __name__ == "__main__":
    main()

"""Thousands of mutated recordings through the whole analysis, in folders of 50: no traceback, no run away in time or memory.

Run from the top of the repository: ``python tests/validation/mutated_recordings.py PATH`` with a folder of sound
recordings (GPX, NMEA, CSV); tables, compressed files and archives are made of them. Each set of 50 is analysed as it is
and then mutated in several ways; every run is a process of its own, whose processor time and largest memory the system
tells. One folder of five goes through ``gpsq analyse``, the others through ``gpsq flag``, which is the same without the
drawing of results. ``--keep DIR`` keeps the folders of the runs that broke a limit.
"""

from __future__ import annotations

import argparse
import gzip
import io
import json
import multiprocessing
import os
import random
import re
import resource
import shutil
import sys
import tempfile
import traceback
import zipfile
from collections import Counter
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

import gpxpy

from gpsq import cli

if TYPE_CHECKING:
    from collections.abc import Callable

TIMES_UNMUTATED, MEMORY_MB, OF_A_FOLDER = 4.0, 1024.0, 50
#: Bytes from which on a recording is large.
LARGE = 200_000
#: A run that takes as long as this is stopped: it has broken the limit long since.
STOPPED_AFTER_S = 900
ODD_NUMBERS = (
    b"nan", b"inf", b"-0", b"1e308", b"-1e-308", b"1e5", b"", b"0", b"180", b"-180", b"90.0000001", b"1,5", b"0x1F",
    b"999999999999999999999", "٣٫٥".encode(), b"12.5.7", b"--3", b"+51.5",
)  # fmt: skip
ODD_TEXTS = (
    b"\x00", b"\x1b[2J", b"\xff\xfe", b"&", b"<", b">", b"]]>", b"<!--", b"&#0;", b"&nosuch;", b"\r", b"\xe2\x80\xae",
    b"=cmd|' /C calc'!A0", b"</trkseg>", b"<trkseg>", b"<trk>", b"\n\n", b",,,,", b";", b"$GPRMC,", b"*00", b"\"",
    b"1970-01-01T00:00:00Z", b"9999-12-31T23:59:59Z", b"2024-02-30T25:61:61Z",
)  # fmt: skip
NUMBER = re.compile(rb"-?\d+\.\d+|\d+")


# ---- mutations ----


def flipped(data: bytearray, rng: random.Random) -> bytearray:
    for _ in range(rng.randint(1, 40)):
        data[rng.randrange(len(data))] = rng.randrange(256)
    return data


def cut_off(data: bytearray, rng: random.Random) -> bytearray:
    return data[: rng.randrange(len(data))]


def without_a_piece(data: bytearray, rng: random.Random) -> bytearray:
    start = rng.randrange(len(data))
    del data[start : start + rng.choice((1, 7, 300, 20_000))]
    return data


def with_a_piece_again(data: bytearray, rng: random.Random) -> bytearray:
    start, to = rng.randrange(len(data)), rng.randrange(len(data))
    data[to:to] = data[start : start + rng.choice((5, 200, 5000, 60_000))]
    return data


def odd_numbers(data: bytearray, rng: random.Random) -> bytearray:
    found = list(NUMBER.finditer(data))
    for match in sorted(rng.sample(found, min(len(found), rng.randint(1, 12))), key=lambda m: -m.start()):
        data[match.start() : match.end()] = rng.choice(ODD_NUMBERS)
    return data


def other_digits(data: bytearray, rng: random.Random) -> bytearray:
    """Change digits and signs: positions leap, clocks leap, checksums fail."""
    digits = [match.start() for match in re.finditer(rb"[\d.\-:]", data)]
    for place in rng.sample(digits, min(len(digits), rng.randint(1, 60))):
        data[place] = rng.choice(b"0123456789.-")
    return data


def odd_texts(data: bytearray, rng: random.Random) -> bytearray:
    for _ in range(rng.randint(1, 8)):
        to = rng.randrange(len(data))
        data[to:to] = rng.choice(ODD_TEXTS) * rng.choice((1, 1, 1, 50))
    return data


def lines_mixed(data: bytearray, rng: random.Random) -> bytearray:
    parts = re.split(rb"(?<=\n)|(?<=</trkpt>)", bytes(data))
    for _ in range(rng.randint(1, 400)):
        one, other = rng.randrange(len(parts)), rng.randrange(len(parts))
        parts[one], parts[other] = parts[other], parts[one]
    return bytearray(b"".join(parts))


def words_changed(data: bytearray, rng: random.Random) -> bytearray:
    old = rng.choice(
        (b"trkpt", b"lat", b"lon", b"time", b"trkseg", b"gpx", b"Z<", b"T", b",N,", b",A,", b"xmlns", b"\r\n")
    )
    return data.replace(old, rng.choice((b"", b"x", old.upper(), b"wpt", b"lon", b" ")), rng.choice((1, 20, -1)))


MUTATIONS: tuple[Callable[[bytearray, random.Random], bytearray], ...] = (
    flipped, cut_off, without_a_piece, with_a_piece_again, odd_numbers, odd_numbers, other_digits, other_digits,
    odd_texts, lines_mixed, words_changed,
)  # fmt: skip


def mutated(data: bytes, rng: random.Random) -> bytes:
    """Return one to three mutations of a file's content."""
    done = bytearray(data)
    for _ in range(rng.choice((1, 1, 2, 3))):
        if done:
            done = rng.choice(MUTATIONS)(done, rng)
    return bytes(done)


# ---- what is mutated ----


def originals(folder: Path) -> dict[str, bytes]:
    """Return all recordings below a folder, and the same as tables, compressed and in archives, by name."""
    found: dict[str, bytes] = {}
    for number, path in enumerate(sorted(folder.rglob("*"))):
        if path.suffix not in {".gpx", ".nmea"}:
            continue
        name, data = f"{path.parent.name}/{number:03d}-{path.name}", path.read_bytes()
        found[name] = data
        if number % 3 == 0:
            found[f"{name}.gz"] = data
        if number % 5 == 0:
            found[f"{name}.zip"] = data
        if number % 3 == 1 and path.suffix == ".gpx" and (table := as_table(data, number)):
            found[f"{name}.csv"] = table
    return found


def as_table(gpx: bytes, number: int) -> bytes:
    """Return the fixes of a sound GPX file as a table, by commas or with a comma for the decimal point."""
    try:
        points = gpxpy.parse(gpx.decode("utf-8", "replace")).get_points_data()
    except gpxpy.gpx.GPXException:
        return b""
    rows = [(p.point.time.isoformat() if p.point.time else "", p.point.latitude, p.point.longitude) for p in points]
    text = "time,lat,lon\n" + "".join(f"{time},{lat:.7f},{lon:.7f}\n" for time, lat, lon in rows)
    text = text.replace(",", ";").replace(".", ",") if number % 2 else text
    return text.encode() if rows else b""


def packed(name: str, data: bytes) -> bytes:
    if name.endswith(".gz"):
        return gzip.compress(data, mtime=0)
    if name.endswith(".zip"):
        archive = io.BytesIO()
        with zipfile.ZipFile(archive, "w", zipfile.ZIP_DEFLATED) as file:
            file.writestr(Path(name).name.removesuffix(".zip"), data)
        return archive.getvalue()
    return data


def put(folder: Path, files: dict[str, bytes], rng: random.Random | None) -> None:
    """Write files, mutated where there is a `rng`: before they are packed, or after."""
    for name, data in files.items():
        path = folder / name
        path.parent.mkdir(parents=True, exist_ok=True)
        if rng is None:
            path.write_bytes(packed(name, data))
        elif rng.random() < 0.3:
            path.write_bytes(mutated(packed(name, data), rng))
        else:
            path.write_bytes(packed(name, mutated(data, rng)))


# ---- runs ----


@dataclass(frozen=True)
class Run:
    """One run of ``gpsq analyse``: its exit status, processor time, largest memory, and what it said of errors."""

    status: int
    cpu_s: float
    memory_mb: float
    said: str
    recordings: int
    unreadable: int

    def faults(self, unmutated: Run) -> list[str]:
        """Return which limits the run breaks."""
        broken = {
            f"exit status {self.status}": self.status not in (cli.WELL, cli.PARTLY),
            "a traceback": "Traceback" in self.said,
            "a warning of a library": "Warning: " in self.said,
            f"{self.cpu_s:.1f} s for {unmutated.cpu_s:.1f} s": self.cpu_s > TIMES_UNMUTATED * unmutated.cpu_s,
            f"{self.memory_mb:.0f} MB": self.memory_mb > MEMORY_MB,
        }
        return [fault for fault, is_so in broken.items() if is_so]


def analysed(folder: Path, *, written: bool = True) -> Run:
    """Analyse a folder in a process of its own, and write the results or not."""
    from gpsq.output import results_folder  # noqa: F401 - loaded once, not in every process
    from gpsq.pipeline import campaign_run, stages  # noqa: F401

    said = folder / "said.tmp"
    process = multiprocessing.get_context("fork").Process(target=_analyse, args=(folder, said, written))
    process.start()
    assert process.pid is not None
    _, status, used = os.wait4(process.pid, 0)
    code = os.waitstatus_to_exitcode(status)
    run_file = folder / "gpsq-results" / "run.json"
    told = json.loads(run_file.read_text("utf-8")) if run_file.exists() else {}
    text = said.read_text("utf-8", "replace")
    counts = told.get("counts", {"recordings": 0, "unreadable": 0})
    cpu_s, memory_mb = used.ru_utime + used.ru_stime, used.ru_maxrss / 1024.0
    return Run(code, cpu_s, memory_mb, text, counts["recordings"], counts["unreadable"])


def _analyse(folder: Path, said: Path, written: bool) -> None:
    resource.setrlimit(resource.RLIMIT_CPU, (STOPPED_AFTER_S, STOPPED_AFTER_S))
    with said.open("w") as file:
        os.dup2(file.fileno(), 2)
        os.dup2(os.open(os.devnull, os.O_WRONLY), 1)
        try:
            cli.main(["analyse", str(folder)] if written else ["flag", str(folder)])
        except SystemExit as end:
            os._exit(int(end.code or 0))
        except BaseException:
            file.write(traceback.format_exc())
            file.flush()
            os._exit(99)
    os._exit(0)


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("path", type=Path)
    parser.add_argument("--files", type=int, default=5000)
    parser.add_argument("--sets", type=int, default=10, help="different sets of 50 recordings")
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--written", type=int, default=5, help="of so many folders one is written out too, as a report")
    parser.add_argument("--large", type=int, default=2, help="so many sets hold the recordings over 200 kB too")
    parser.add_argument("--keep", type=Path)
    wanted = parser.parse_args()
    everything, counts, worst = originals(wanted.path), Counter[str](), [0.0, 0.0]
    per_set = max(1, wanted.files // OF_A_FOLDER // wanted.sets)
    for set_ in range(wanted.sets):
        rng = random.Random(f"{wanted.seed}-{set_}")
        names = sorted(name for name, data in everything.items() if set_ < wanted.large or len(data) < LARGE)
        files = {name: everything[name] for name in rng.sample(names, OF_A_FOLDER)}
        unmutated = {written: _one(files, None, None, "", counts, written) for written in (True, False)}
        for turn in range(per_set):
            name, written = f"{wanted.seed}-{set_}-{turn}", turn % wanted.written == 0
            run = _one(files, unmutated[written], wanted.keep, name, counts, written)
            worst = [max(worst[0], run.cpu_s / unmutated[written].cpu_s), max(worst[1], run.memory_mb)]
        sys.stdout.write(f"set {set_}: {dict(counts)}, worst {worst[0]:.2f} times, {worst[1]:.0f} MB\n")
        sys.stdout.flush()
    sys.stdout.write(
        f"| {per_set * wanted.sets * OF_A_FOLDER} files | {per_set * wanted.sets} folders | {counts['faults']} faults | "
        f"{worst[0]:.2f} times | {worst[1]:.0f} MB |\n"
    )


def _one(
    files: dict[str, bytes], unmutated: Run | None, keep: Path | None, name: str, counts: Counter[str], written: bool
) -> Run:
    with tempfile.TemporaryDirectory() as folder, tempfile.TemporaryDirectory() as remembered:
        os.environ["XDG_CACHE_HOME"] = remembered
        put(Path(folder), files, random.Random(name) if unmutated else None)
        run = analysed(Path(folder), written=written)
        if unmutated is None:
            return run
        counts.update({f"exit status {run.status}": 1, "recordings": run.recordings, "unreadable": run.unreadable})
        if faults := run.faults(unmutated):
            counts["faults"] += 1
            at = max(run.said.find("Warning: "), run.said.find("Traceback"))
            sys.stdout.write(f"{name}: {'; '.join(faults)}\n{run.said[max(at - 200, 0) :][:3000] if at >= 0 else ''}")
            if keep:
                shutil.copytree(folder, keep / name, dirs_exist_ok=True)
        return run


if __name__ == "__main__":
    main()

"""``gpsq analyse``, ``flag`` and ``publish`` killed at any moment: nothing lost, and nothing left after the next run.

Run from the top of the repository: ``python tests/validation/kills.py [--kills 200] [--seed 1]``. Each run is a process
of its own that is killed (SIGKILL) after a random part of the time that a whole run takes. After each kill the earlier
results or the new ones stand whole, decisions and secret zones are those of before or after; after the next run nothing
is left in the folder that was not there before. Kills of the page have their own test (``tests/web/test_kill.py``).
"""

from __future__ import annotations

import argparse
import json
import multiprocessing
import os
import random
import signal
import sys
import tempfile
import time
from collections import Counter
from pathlib import Path

from gpsq import cli
from gpsq.campaign import flags
from gpsq.privacy import secret
from gpsq.simulate import CampaignSpec, DeviceSpec, make_campaign, write


def run(arguments: list[str]) -> multiprocessing.process.BaseProcess:
    process = multiprocessing.get_context("fork").Process(target=_run, args=(arguments,))
    process.start()
    return process


def _run(arguments: list[str]) -> None:
    nowhere = os.open(os.devnull, os.O_WRONLY)
    os.dup2(nowhere, 1)
    os.dup2(nowhere, 2)
    try:
        cli.main(arguments)
    except SystemExit as end:
        os._exit(int(end.code or 0))


def whole(results: Path) -> bool:
    """Return whether a results folder is absent or holds all that its own list names, and nothing else."""
    if not results.exists():
        return True
    named = set(json.loads((results / "run.json").read_text("utf-8"))["files"])
    return named == {str(path.relative_to(results)) for path in results.rglob("*") if path.is_file()}


def names(folder: Path) -> set[str]:
    return {path.name for path in (*folder.iterdir(), *folder.parent.iterdir())}


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--kills", type=int, default=200)
    parser.add_argument("--seed", type=int, default=1)
    wanted = parser.parse_args()
    rng, counts = random.Random(wanted.seed), Counter[str]()
    device = DeviceSpec("amber", 3.0, interval_s=5)
    spec = CampaignSpec("Kills", 10.0, 50.0, (device,), days=3, length_m=4000.0, directions=("out",), detours=1)
    with tempfile.TemporaryDirectory() as parent, tempfile.TemporaryDirectory() as remembered:
        os.environ["XDG_CACHE_HOME"] = remembered
        folder, out = Path(parent) / "campaign", Path(parent) / "for-all"
        write(make_campaign(spec, 2), folder)
        commands = [
            ["analyse", str(folder)],
            ["publish", str(folder), "--out", str(out)],
            ["flag", str(folder), "R01", "intentional", "--note", "roadworks"],
            ["flag", str(folder), "R01", "clear"],
        ]
        takes_s = []
        for command in commands:
            begun = time.monotonic()
            run(command).join()
            takes_s.append(time.monotonic() - begun)
        before, zones = names(folder), secret.load(folder)
        for _ in range(wanted.kills):
            which = rng.randrange(len(commands))
            recording = rng.choice(sorted(folder.rglob("*.gpx")))
            recording.write_text(recording.read_text("utf-8") + " ", "utf-8")  # so that it must be worked out anew
            process = run(commands[which])
            time.sleep(rng.uniform(0.0, 1.1 * takes_s[which]))
            process.kill()
            process.join()
            counts["killed" if process.exitcode == -signal.SIGKILL else "came to their end"] += 1
            counts["torn results"] += not whole(folder / "gpsq-results") or not whole(out)
            counts["zones lost"] += secret.load(folder) != zones
            counts["damaged decisions"] += bool(flags.load(folder)[1])
            counts["left by kills"] += bool(names(folder) - before)
            run(["flag", str(folder)]).join()
            if names(folder) - before:  # beside the campaign: another folder's results, which their own command clears
                run(["publish", str(folder), "--out", str(out)]).join()
            left = names(folder) - before
            counts["left after the next run"] += bool(left)
            sys.stdout.write(f"{sorted(left)}\n" if left else "")
        sys.stdout.write(f"{dict(counts)}\n")


if __name__ == "__main__":
    main()

"""Killed at any moment: no torn file, and no decision lost that was acknowledged.

Two writers as of two pages and one as of the command line change the same small files side by side and are killed with
SIGKILL, which no program can prepare for; what they had acknowledged before is then looked for on the disk.
"""

from __future__ import annotations

import contextlib
import io
import multiprocessing
import os
import random
import select
import signal
import subprocess
import sys
import time
from concurrent.futures import ProcessPoolExecutor
from pathlib import Path

import httpx
import numpy as np
import pytest

from gpsq.campaign import campaign_file, flags, safe_files, start_log
from gpsq.campaign.start_matching import Recording
from gpsq.model import Flag
from gpsq.web import campaign_edits, dropped_files, start_edits

LONG = bool(os.environ.get("GPSQ_LONG"))
KILLS = 200 if LONG else 20
SERVER_KILLS = 20 if LONG else 2
NAT = np.datetime64("NaT", "ms")

pytestmark = pytest.mark.skipif(os.name != "posix", reason="SIGKILL and fork are ways of posix systems")


def decided(number: int) -> Flag:
    return Flag(sha256="ab", track=1, from_time=NAT, to_time=NAT, from_point=number, to_point=number, flag="error")


def write_for_ever(folder: Path, number: int, acknowledged: int) -> None:
    """Write one decision after the other, and note each in the pipe once its writer says that it is kept."""
    while True:
        kept = decided(number)
        flags.change(folder, lambda earlier, kept=kept: [*earlier, kept])
        os.write(acknowledged, f"flag {number}\n".encode())
        row = {"file": f"{number}.gpx", "device": "", "started": "2024-05-14T07:10:00Z"}
        start_edits.set_starts(folder, [row], [Recording(f"{number}.gpx")])
        os.write(acknowledged, f"start {number}\n".encode())
        campaign_edits.add_place(folder, number % 90, 0, 10 + number // 90)
        os.write(acknowledged, f"place {number}\n".encode())
        dropped_files.store(folder, f"bar/{number}.gpx", io.BytesIO(str(number).encode() * 100))
        os.write(acknowledged, f"file {number}\n".encode())
        number += 1


def begin(folder: Path, number: int) -> tuple[int, int]:
    """Start a writer; return its process and the pipe with what it acknowledged."""
    reading, writing = os.pipe()
    process = os.fork()
    if process == 0:  # pragma: no cover - in the writer
        with contextlib.suppress(BaseException):
            write_for_ever(folder, number, writing)
        os._exit(1)
    os.close(writing)
    return process, reading


def all_of(pipe: int) -> list[tuple[str, int]]:
    with os.fdopen(pipe) as said:
        return [
            (line.split()[0], int(line.split()[1]))
            for line in said.read().splitlines(keepends=True)
            if line[-1] == "\n"
        ]


def kept_in(folder: Path) -> set[tuple[str, int]]:
    """Everything on the disk, by the readers that the analysis uses; whatever is torn fails here."""
    decisions, problems = flags.load(folder)
    assert problems == ()
    told = campaign_file.load(folder)
    log = start_log.load(folder, told)
    assert log.problems == ()
    files = list((folder / "bar").glob("*.gpx"))
    for file in files:
        assert file.read_bytes() == file.stem.encode() * 100
    return {
        *(("flag", f.from_point) for f in decisions),
        *(("start", int(name.removesuffix(".gpx"))) for name in log.entries),
        *(("place", int(p.lat_deg) + 90 * (int(p.radius_m) - 10)) for p in told.private_places),
        *(("file", int(file.stem)) for file in files),
    }


def test_nothing_acknowledged_is_lost_by_kills(tmp_path_factory):
    rng, in_all = random.Random(17), 0
    for round_ in range(KILLS // 10):
        folder, acknowledged = tmp_path_factory.mktemp(f"round{round_}"), set()  # short files: more writes per kill
        for turn in range(10):
            acknowledged |= killed_writers(folder, rng, 3000 * turn)
            assert acknowledged - kept_in(folder) == set()
        in_all += len(acknowledged)
    assert in_all >= KILLS


def killed_writers(folder: Path, rng: random.Random, number: int) -> set[tuple[str, int]]:
    """Let three write and kill them; return what they had acknowledged."""
    writers = [begin(folder, number + 1000 * k) for k in range(3)]
    assert select.select([pipe for _, pipe in writers], [], [], 60)[
        0
    ]  # one at least writes, however slow the machine is
    time.sleep(rng.uniform(0.01, 0.15))
    for process, _ in rng.sample(writers, 3):
        os.kill(process, signal.SIGKILL)
        time.sleep(rng.uniform(0, 0.004))
    said = set()
    for process, pipe in writers:
        assert os.waitstatus_to_exitcode(os.waitpid(process, 0)[1]) == -signal.SIGKILL
        said |= set(all_of(pipe))
    return said


def reaches_the_disk(called: object) -> bool:
    """Whether a function of the interpreter may ask the system for something: all of `os`, `fcntl` and open files."""
    owner = type(getattr(called, "__self__", None)).__module__
    return owner == "_io" or getattr(called, "__module__", "") in {"posix", "fcntl", "io", "_io"}


def killed_at_step(path: Path, text: str, step: int) -> bool:
    """Write a file in a process that is killed before or after one of its calls of the system; False if it came to its end.

    `step` numbers the moments before and after each call; in between nothing changes that another process could see.
    """
    process = os.fork()
    if process == 0:  # pragma: no cover - in the writer
        left = step

        def watch(frame: object, event: str, called: object) -> None:
            nonlocal left
            left -= event in {"c_call", "c_return"} and reaches_the_disk(called)
            if left < 0:
                sys.setprofile(None)
                os.kill(os.getpid(), signal.SIGKILL)

        sys.setprofile(watch)
        safe_files.write_text(path, text)
        os._exit(0)
    return os.waitstatus_to_exitcode(os.waitpid(process, 0)[1]) == -signal.SIGKILL


def left_by_kills(path: Path, old: str, new: str) -> list[str]:
    """Return what a file holds after a kill at each step of its writing, the first to the last, and write it at the end."""
    seen: list[str] = []
    path.write_text(old)
    while killed_at_step(path, new, len(seen)):
        seen.append(path.read_text())
        path.write_text(old)
    return seen


def test_killed_at_any_step_a_file_is_the_old_one_or_the_new_one(tmp_path):
    path, old, new = tmp_path / "flags.csv", "old\n" * 1000, "new\n" * 2000
    # in a small process: one that has run many tests holds much that each of hundreds of forks would copy
    with ProcessPoolExecutor(1, multiprocessing.get_context("spawn")) as small:
        seen = small.submit(left_by_kills, path, old, new).result()
    assert path.read_text() == new
    assert set(seen) == {old, new}
    assert len(seen) > 30  # made, written, flushed, synced, renamed, and the folder synced
    assert seen == sorted(seen, key=[old, new].index)  # once it is the new one it stays so


@contextlib.contextmanager
def server(folder: Path):
    """A page of its own process; gives its address and process."""
    command = [sys.executable, "-m", "gpsq.cli", "serve", str(folder), "--port", "0"]
    with subprocess.Popen(command, stdout=subprocess.PIPE, text=True, start_new_session=True) as process:
        try:
            yield process.stdout.readline().split()[0].rstrip("/"), process
        finally:
            process.kill()


def token_of(address: str) -> str:
    for _ in range(1200):
        with contextlib.suppress(httpx.TransportError):
            return httpx.get(address, timeout=30).text.split('data-token="')[1].split('"')[0]
        time.sleep(0.05)
    raise AssertionError("the page does not answer")


def click_for_ever(address: str, token: str, number: int, said: multiprocessing.connection.Connection) -> None:
    headers = {"origin": address, "x-gpsq-token": token, "accept": "application/json"}
    with contextlib.suppress(httpx.TransportError), httpx.Client(headers=headers, timeout=30) as client:
        while True:
            place = {"lat": str(number % 90), "lon": "0", "radius_m": str(10 + number // 90)}
            if client.post(f"{address}/place", data=place).status_code == 200:
                said.send(("place", number))
            files = {"files": (f"{number}.gpx", str(number).encode() * 100)}
            if (
                client.post(
                    f"{address}/recordings", data={"path": f"bar/{number}.gpx", "more": "1"}, files=files
                ).status_code
                == 200
            ):
                said.send(("file", number))
            number += 1


def test_two_servers_on_one_folder_killed_at_work_lose_no_click(tmp_path):
    rng, acknowledged = random.Random(18), set()
    (tmp_path / "bar").mkdir()
    for turn in range(SERVER_KILLS):
        with server(tmp_path) as (one, first), server(tmp_path) as (two, second):
            tokens = token_of(one), token_of(two)
            assert tokens[0] != tokens[1]
            acknowledged |= clicks_until_killed(
                rng, list(zip((one, two), tokens, (first, second), strict=True)), 1000 * turn
            )
        assert acknowledged - kept_in(tmp_path) == set()
    assert len(acknowledged) >= 2 * SERVER_KILLS


def clicks_until_killed(rng, servers, number):
    ends, clickers = [], []
    for place, (address, token, _) in enumerate(servers):
        ours, theirs = multiprocessing.get_context("fork").Pipe(duplex=False)
        clicker = multiprocessing.get_context("fork").Process(
            target=click_for_ever, args=(address, token, number + 400 * place, theirs)
        )
        clicker.start()
        theirs.close()
        ends.append(ours)
        clickers.append(clicker)
    # killed at any moment after each has acknowledged a click, however slow the machine is
    assert all(ours.poll(60) for ours in ends)
    time.sleep(rng.uniform(0.0, 0.8))
    for *_, process in servers:
        process.kill()
        time.sleep(rng.uniform(0, 0.05))
    said = set()
    for clicker, ours in zip(clickers, ends, strict=True):
        clicker.join(60)
        with contextlib.suppress(EOFError):
            while True:
                said.add(ours.recv())
        ours.close()
    return said


def test_a_killed_server_leaves_no_process_behind(tmp_path):
    with server(tmp_path) as (address, process):
        token_of(address)
        group = os.getpgid(process.pid)
        for _ in range(1200):
            if len(members(group)) > 1:
                break
            time.sleep(0.05)
        assert len(members(group)) > 1
        process.kill()
    for _ in range(1200):
        if not members(group):
            return
        time.sleep(0.05)
    raise AssertionError(f"still there: {members(group)}")


def members(group: int) -> list[str]:
    """Processes of a group, but for those that ended and are only still listed."""
    if not Path("/proc").is_dir():
        pytest.skip("only where processes are listed in /proc")
    found = []
    for status in Path("/proc").glob("[0-9]*/stat"):
        with contextlib.suppress(OSError):
            state, _, its_group = status.read_text().rpartition(")")[2].split()[:3]
            if int(its_group) == group and state != "Z":
                found.append(status.parent.name)
    return found

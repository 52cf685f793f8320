"""Names of folders, files and devices that are no text, turn the direction of writing, or break lines."""

from __future__ import annotations

import io
import os
import sqlite3
import subprocess
import sys
from typing import TYPE_CHECKING

import pandas as pd
import pytest
from small_rides import gpx, write

from gpsq import cli

if TYPE_CHECKING:
    from collections.abc import Sequence
    from pathlib import Path

#: Right-to-left override and isolates (UAX 9), the separators of lines and paragraphs, a control sequence of terminals.
UNFIT = "\u202e\u2066\u2028\u2029\x1b\x85\n"


def run(capfd: pytest.CaptureFixture[str], *arguments: object) -> tuple[int, str, str]:
    with pytest.raises(SystemExit) as ended:
        cli.main([str(a) for a in arguments])
    return int(ended.value.code or 0), *capfd.readouterr()


@pytest.mark.skipif(sys.platform != "linux", reason="other systems take no such names")
def test_a_folder_whose_name_is_no_text_is_analysed_and_published(
    tmp_path: Path, capfd: pytest.CaptureFixture[str]
) -> None:
    folder = tmp_path / os.fsdecode(b"week\xff\nof \xfe")
    write(folder, **{f"r{day}.gpx": gpx(f"2024-05-{day}T07:00:30") for day in (14, 15, 16)})
    status, said, err = run(capfd, "analyse", folder, "--parquet")
    assert (status, err) == (0, "")
    assert "/week\\udcff of \\udcfe/gpsq-results/report.html" in said
    results = folder / "gpsq-results"
    with sqlite3.connect(results / "results.gpkg") as package:
        assert package.execute("select count(*) from tracks").fetchone() == (3,)
    assert len(pd.read_parquet(io.BytesIO((results / "layers/tracks.parquet").read_bytes()))) == 3
    assert run(capfd, "publish", folder, "--out", folder / "out")[0] == 0
    assert run(capfd, "check", folder)[0] == 0
    # Layers among earlier results are Parquet too, and no recordings.
    assert run(capfd, "fleet", folder, "--out", tmp_path / os.fsdecode(b"fleet\xff"))[0] == 0


@pytest.mark.skipif(sys.platform != "linux", reason="other systems take no such names")
def test_parquet_is_read_from_a_folder_whose_name_is_no_text(tmp_path: Path, capfd: pytest.CaptureFixture[str]) -> None:
    folder = tmp_path / os.fsdecode(b"all\xff")
    folder.mkdir()
    time = pd.date_range("2024-05-14T07:00:00Z", periods=30, freq="s")
    ride = {"recording": "mon", "lon_deg": [-3.6 + i * 7e-5 for i in range(30)], "lat_deg": 51.2, "time": time}
    pd.DataFrame(ride).to_parquet(tmp_path / "rides.parquet")
    (tmp_path / "rides.parquet").rename(folder / "rides.parquet")
    status, said, _ = run(capfd, "fleet", folder, "--out", tmp_path / "out")
    assert (status, said.partition(":")[0]) == (0, "1 recordings on 1 routes")


@pytest.mark.parametrize("command", [["analyse"], ["flag"], ["check"], ["publish", "--out", "{}"]])
def test_no_name_breaks_a_line_or_turns_it(
    tmp_path: Path, command: Sequence[str], capfd: pytest.CaptureFixture[str]
) -> None:
    """A name after U+202E reads backwards, with all that follows it on the line; after U+2028 a new line may begin."""
    folder = tmp_path / "rides"
    odd = UNFIT.replace("\n", "") + "xpg."
    write(folder, **{f"{odd}/{odd}{day}.gpx": gpx(f"2024-05-{day}T07:00:30", creator=odd) for day in (14, 15)})
    write(folder, **{f"{odd}.gpx": "<html>", f"{odd}/copy.gpx": gpx("2024-05-14T07:00:30")})
    (folder / "rides.csv").write_text(f"file,device,started\nnone{odd}.gpx,{odd},07:00{odd}\n", "utf-8")
    name, *options = [part.format(tmp_path / f"o{odd}") for part in command]
    status, said, err = run(capfd, name, folder, *options)
    assert status == (cli.WELL if name == "flag" else cli.PARTLY)
    assert said.strip()
    assert [sign for sign in UNFIT[:-1] if sign in said + err] == []


def test_a_stream_that_knows_few_letters_gets_the_others_spelled_out(tmp_path: Path) -> None:
    """As a pipe on a system whose code page has no such letters: the results are said all the same."""
    write(tmp_path, **{"ž.gpx": gpx(), "ł.gpx": "<html>"})
    said = subprocess.run(
        [sys.executable, "-m", "gpsq.cli", "analyse", tmp_path], capture_output=True, check=False, text=True,
        env=os.environ | {"PYTHONIOENCODING": "cp1252"},
    )  # fmt: skip
    assert said.returncode == cli.PARTLY
    assert "Time to first fix" in said.stdout
    assert "\\u0142.gpx: found " in said.stderr
    assert "Traceback" not in said.stderr


def test_who_has_no_home_is_told_nothing_of_it(tmp_path: Path) -> None:
    """Nothing can be kept beside the results: not what was read, not what the library of letters found."""
    write(tmp_path, **{f"{day}.gpx": gpx(f"2024-05-{day}T07:00:30") for day in (14, 15)})
    nowhere = dict.fromkeys(("HOME", "XDG_CACHE_HOME", "XDG_CONFIG_HOME"), os.devnull)
    said = subprocess.run(
        [sys.executable, "-m", "gpsq.cli", "analyse", tmp_path, "-q"], capture_output=True, check=False, text=True,
        env={name: value for name, value in os.environ.items() if name != "MPLCONFIGDIR"} | nowhere,
    )  # fmt: skip
    assert (said.returncode, said.stderr) == (cli.WELL, "")
    assert (tmp_path / "gpsq-results/report.html").is_file()

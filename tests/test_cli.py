"""The command line as a user runs it: what stands on standard output, what on standard error, which exit status."""

from __future__ import annotations

import contextlib
import csv
import io
import json
import os
import shutil
import signal
import subprocess
import sys
import time
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np
import pytest
from small_rides import gpx

from gpsq.cli import main
from gpsq.exceptions import OutputError
from gpsq.simulate import shipped_demo

if TYPE_CHECKING:
    from collections.abc import Callable

LONG = bool(os.environ.get("GPSQ_LONG"))


def in_a_process_of_its_own(*arguments: object) -> subprocess.CompletedProcess[str]:
    command = [sys.executable, "-m", "gpsq.cli", *map(str, arguments)]
    return subprocess.run(command, capture_output=True, text=True, check=False)


def gpsq(*arguments: object) -> subprocess.CompletedProcess[str]:
    """Run the command in this process, which has its libraries loaded."""
    out, err = io.StringIO(), io.StringIO()
    with contextlib.redirect_stdout(out), contextlib.redirect_stderr(err), pytest.raises(SystemExit) as ended:
        main([*map(str, arguments)])
    return subprocess.CompletedProcess(arguments, int(ended.value.code or 0), out.getvalue(), err.getvalue())


def rows(path: Path) -> list[dict[str, str]]:
    with path.open(encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file))


@pytest.fixture(scope="module")
def analysed(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, subprocess.CompletedProcess[str]]:
    """The demo campaign, analysed by the first command of the README."""
    folder = tmp_path_factory.mktemp("demo") / "week"
    return folder, in_a_process_of_its_own("demo", folder)


def test_demo_ends_with_the_table_and_the_report(analysed):
    folder, done = analysed
    lines = done.stdout.splitlines()
    assert done.returncode == 0, done.stderr
    assert lines[0] == "Time to first fix"
    assert lines[1].split()[:2] == ["device", "rides"]
    assert [line.split()[0] for line in lines[3:6]] == ["bag-unit", "bar-unit", "pocket-unit"]
    assert lines[-1] == f"Report: {folder / 'gpsq-results' / 'report.html'}"
    assert (folder / "gpsq-results" / "report.html").is_file()


def test_the_tables_hold_the_known_answers(analysed):
    """truth.json says what was planted; the figures of a fix that shows its evidence are right to a second."""
    folder, _ = analysed
    truth = json.loads((folder / "truth.json").read_text(encoding="utf-8"))
    tracks = {row["file"]: row for row in rows(folder / "gpsq-results" / "tracks.csv")}
    assert len(tracks) == 30
    for known in truth["recordings"]:
        found = tracks[known["file"]]
        if known["ttff_s"] is None or known["evidence"] != "yes":
            assert found["ttff_s"] == ""
        else:
            assert float(found["ttff_s"]) == pytest.approx(known["ttff_s"], abs=1.0)
    assert {row["route"] for row in tracks.values()} == {"A", "B"}


def test_the_readme_shows_what_the_demo_prints(analysed):
    folder, done = analysed
    readme = (Path(__file__).parents[1] / "README.md").read_text(encoding="utf-8")
    shown = readme.split("<!-- demo output -->\n```text\n")[1].split("```\n<!-- end of demo output -->")[0]
    assert shown == done.stdout.replace(str(folder), "gpsq-demo")


def test_the_results_folder_holds_the_files_of_the_contract(analysed):
    folder, _ = analysed
    there = {path.name for path in (folder / "gpsq-results").iterdir()}
    assert there >= {
        "tracks.csv", "deviations.csv", "devices.csv", "set_aside.csv", "centrelines.geojson", "results.gpkg", "report.html",
        "map.html", "run.json",
    }  # fmt: skip


def test_flag_keeps_a_decision_and_the_next_run_honours_it(analysed, tmp_path):
    folder = shutil.copytree(analysed[0], tmp_path / "week")
    before = {row["file"]: row for row in rows(folder / "gpsq-results" / "tracks.csv")}
    listed = gpsq("flag", folder)
    assert listed.returncode == 0
    chosen = [row for row in rows(folder / "gpsq-results" / "deviations.csv") if row["suggestion"] == "route choice"]
    ids = [row["id"] for row in chosen]
    assert len(ids) == 3
    assert all(name in listed.stdout for name in ids)
    done = gpsq("flag", folder, *ids, "intentional", "--note", "street closed", "-q")
    assert (done.returncode, done.stdout, done.stderr) == (0, f"{', '.join(ids)}: intentional\n", "")
    assert gpsq("analyse", folder, "-q").returncode == 0
    after = {row["file"]: row for row in rows(folder / "gpsq-results" / "tracks.csv")}
    for row in chosen:  # what is suggested as a choice of road is out before it is decided, and stays out
        for name in ("xte_median_m", "xte_p95_m", "xte_rms_m"):
            assert abs(float(after[row["file"]][name]) - float(before[row["file"]][name])) < 0.5
    flagged = {row["id"]: (row["flag"], row["note"]) for row in rows(folder / "gpsq-results" / "deviations.csv")}
    assert [flagged[name] for name in ids] == [("intentional", "street closed")] * 3
    gpsq("flag", folder, ids[0], "error", "-q")
    assert gpsq("analyse", folder, "-q").returncode == 0
    against = {row["file"]: row for row in rows(folder / "gpsq-results" / "tracks.csv")}[chosen[0]["file"]]
    assert float(against["xte_rms_m"]) > 3 * float(before[chosen[0]["file"]]["xte_rms_m"])
    cleared = gpsq("flag", folder, ids[0], "clear", "-q")
    assert cleared.stdout == f"{ids[0]}: no longer flagged\n"
    assert len(rows(folder / "flags.csv")) == 2


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (("abc123", "intentional"), "gpsq flag: found the deviation abc123; expected one of "),
        (
            ("intentional",),
            "gpsq flag: found intentional; expected one or more deviations, events or rides, then intentional, error or clear\n",
        ),
        (
            ("abc123", "maybe"),
            "gpsq flag: found abc123 maybe; expected one or more deviations, events or rides, then intentional, error or clear\n",
        ),
    ],
)
def test_a_wrong_decision_is_refused_in_one_line(analysed, words, said):
    done = gpsq("flag", analysed[0], *words, "-q")
    assert done.returncode == 2
    assert done.stdout == ""
    assert done.stderr.startswith(said)
    assert done.stderr.count("\n") == 1


def test_nothing_to_analyse_is_one_line_and_status_2(tmp_path):
    done = in_a_process_of_its_own("analyse", tmp_path)
    assert done.returncode == 2
    assert done.stdout == ""
    assert done.stderr == (
        f"{tmp_path}: found no recording; expected recordings of rides: GPX, NMEA 0183 or CSV, zipped or not\n"
    )
    missing = gpsq("analyse", tmp_path / "nowhere")
    assert missing.returncode == 2
    assert missing.stderr.count("\n") == 1


def test_files_of_other_kinds_are_counted_and_what_is_read_is_named(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    for number in range(12):
        (tmp_path / f"{number}.xyz").write_bytes(b"\x0e\x10\xd9\x07" + bytes(60))
    for name in ("map.png", "cat.JPG", ".hidden", "campaign.toml", "rides.csv"):
        (tmp_path / name).write_bytes(b"")
    done = gpsq("analyse")
    assert (done.returncode, done.stdout) == (2, "")
    assert done.stderr == (
        ".: found 14 files, none of a kind that is read (12 named .xyz, 2 pictures); "
        "expected GPX, NMEA 0183 or CSV, zipped or not: export as GPX\n"
    )
    (tmp_path / "torn.gpx").write_text("<gpx><trk>", encoding="utf-8")
    lost = gpsq("analyse", tmp_path)
    why, in_all = lost.stderr.splitlines()
    assert why.startswith("torn.gpx: found ")
    assert "found 1 file, none of which can be read, and 14 of kinds that are not read (12 named .xyz, 2" in in_all


def a_week(folder: Path, days: int = 4) -> Path:
    """Write rides of one device into a flat folder: they begin at the fix, and nothing tells when they were started."""
    folder.mkdir()
    for day in range(days):
        fixed = f"2024-05-{14 + day}T07:00:30"
        (folder / f"{fixed[:10]}.gpx").write_text(gpx(fixed, n=200), encoding="utf-8")
    return folder


def test_alone_it_works_on_the_folder_one_stands_in_and_says_how_to_give_the_starts(tmp_path, monkeypatch):
    week = a_week(tmp_path / "week")
    monkeypatch.chdir(week)
    done = gpsq("analyse")
    assert done.returncode == 0, done.stderr
    lines = done.stdout.splitlines()
    assert f"Report: {Path('gpsq-results/report.html')}" in lines
    assert "<title>week" in (week / "gpsq-results" / "report.html").read_text(encoding="utf-8")
    assert lines[-1].startswith(
        "No start is known, so no time to first fix is measured: write when you pressed start into rides.csv"
    )
    assert "such as 2024-05-14 hh:mm:ss Z (Z is UTC" in lines[-1]
    (week / "rides.csv").write_text("2024-05-14 07:00:05 Z\n", encoding="utf-8")
    again = gpsq("analyse", week)
    assert "No start is known" not in again.stdout
    waits = {row["file"]: row["ttff_s"] for row in rows(week / "gpsq-results" / "tracks.csv")}
    assert waits["2024-05-14.gpx"] == "25.0"


def test_an_analysis_ends_with_the_three_shortfalls_that_matter_most(tmp_path):
    week = a_week(tmp_path / "a week")
    told = gpsq("analyse", week).stdout.split("\n\n")
    (shown,) = [part.splitlines() for part in told if part.startswith("Where it falls short of a fair test")]
    whole = gpsq("check", week).stdout.split("(docs/protocol.md)\n")[1].splitlines()
    assert shown[1:] == whole[:3]
    assert shown[0] == f"Where it falls short of a fair test ({len(whole) - 3} more: gpsq check '{week}')"


def test_the_report_is_shown_where_that_is_asked_for(tmp_path, monkeypatch):
    shown = []
    monkeypatch.setattr("webbrowser.open", shown.append)
    with contextlib.suppress(SystemExit):
        main(["analyse", str(a_week(tmp_path / "week", days=2)), "--open", "-q"])
    assert shown == [(tmp_path / "week" / "gpsq-results" / "report.html").as_uri()]


@pytest.mark.parametrize(("typed", "offered"), [("gpsq an", {"analyse"}), ("gpsq analyse --op", {"--open"})])
def test_the_shell_completes_commands_and_options(typed, offered):
    """As bash asks: the words so far and the number of the one being typed, in the environment."""
    asked = {"_GPSQ_COMPLETE": "complete_bash", "COMP_WORDS": typed, "COMP_CWORD": str(len(typed.split()) - 1)}
    done = subprocess.run(
        [sys.executable, "-m", "gpsq"], capture_output=True, text=True, env=os.environ | asked, check=False
    )
    assert set(done.stdout.split()) == offered


def test_a_broken_file_does_not_stop_the_rest(tmp_path):
    folder = a_week(tmp_path / "week")
    (folder / "broken.gpx").write_text("<html><body>Please log in</body></html>", encoding="utf-8")
    done = gpsq("analyse", folder)
    assert done.returncode == 1
    assert "broken.gpx" in done.stderr
    assert "Traceback" not in done.stderr
    assert "1 of 5 recordings could not be read." in done.stderr
    assert sorted(r["status"] for r in rows(folder / "gpsq-results" / "tracks.csv")) == [*["scored"] * 4, "unreadable"]


def test_check_speaks_json(analysed):
    file = analysed[0] / "bar-unit" / "2025-09-08-out.gpx"
    done = gpsq("check", file, "--json")
    records = json.loads(done.stdout)
    assert done.returncode == 0
    assert [(r["outcome"], r["start_basis"]) for r in records] == [("ok-warn", "points before fix")]
    assert records[0]["accepted"] + records[0]["rejected"] == records[0]["points"]
    missing = gpsq("check", file.parent / "nothing.gpx")
    assert missing.returncode == 2
    assert missing.stderr.count("\n") == 1


def test_no_colour_and_no_bar_when_not_a_terminal(analysed):
    assert "\x1b" not in analysed[1].stdout + analysed[1].stderr


def test_campaign_mistakes_are_named(analysed, tmp_path):
    folder = shutil.copytree(analysed[0], tmp_path / "week")
    with (folder / "campaign.toml").open("a", encoding="utf-8") as file:
        file.write("\n[settings]\ndeviation_bnd_m = 20\n")
    done = gpsq("analyse", folder, "-q")
    assert done.returncode == 2
    assert "deviation_bnd_m" in done.stderr
    assert done.stderr.count("\n") == 1


def in_a_copy(run: Callable[[], None], killed_after_s: float | None = None) -> float:
    """Do something in a copy of this process, which has its libraries loaded, and kill that; return how long it took."""
    begun, process = time.monotonic(), os.fork()
    if process == 0:  # pragma: no cover - in the copy
        with (
            Path(os.devnull).open("w") as nowhere,
            contextlib.redirect_stdout(nowhere),
            contextlib.suppress(SystemExit),
        ):
            run()
        os._exit(0)
    if killed_after_s is not None:
        time.sleep(killed_after_s)
        os.kill(process, signal.SIGKILL)
    os.waitpid(process, 0)
    return time.monotonic() - begun


@pytest.mark.filterwarnings("ignore:This process .* is multi-threaded:DeprecationWarning")  # Python 3.12 and newer
@pytest.mark.skipif(os.name != "posix", reason="a process is killed by a signal of POSIX systems")
def test_a_killed_run_leaves_earlier_results_whole(tmp_path):
    """Kill runs at random moments of their time: what stands in the results folder is always one whole run."""
    folder = a_week(tmp_path / "week")
    assert gpsq("analyse", folder, "-q").returncode == 0
    results = folder / "gpsq-results"
    whole = {path.relative_to(results) for path in results.rglob("*") if path.is_file()}

    def run(title: int) -> None:  # under another title all is written again
        (folder / "campaign.toml").write_text(f'title = "{title}"\n', encoding="utf-8")
        main(["analyse", str(folder), "-q"])

    lasts_s = in_a_copy(lambda: run(0))
    for number, share in enumerate(np.random.default_rng(1).uniform(0.1, 1.0, 50 if LONG else 4), 1):
        in_a_copy(lambda number=number: run(number), killed_after_s=share * lasts_s)
        there = {path.relative_to(results) for path in results.rglob("*") if path.is_file()}
        assert there == whole
        assert len(rows(results / "tracks.csv")) == 4
        json.loads((results / "run.json").read_text(encoding="utf-8"))
    assert gpsq("analyse", folder, "-q").returncode == 0
    assert [path.name for path in folder.iterdir() if "gpsq-results" in path.name] == ["gpsq-results"]


def test_the_demo_does_not_overwrite(tmp_path):
    shipped_demo.put(tmp_path)
    (tmp_path / "rides.csv").write_text("file,device,started\n", encoding="utf-8")
    shipped_demo.put(tmp_path)
    assert (tmp_path / "rides.csv").read_text(encoding="utf-8") == "file,device,started\n"


def test_a_demo_that_did_not_fit_is_whole_the_next_time(tmp_path, monkeypatch):
    """A file of which half was written would stay as it is, since it is there."""
    copy = shutil.copyfile

    def full(file, target):
        target.write_bytes(file.read_bytes()[:100])
        raise OSError(28, "No space left on device")

    into = []
    monkeypatch.setattr(shutil, "copyfile", lambda file, target: into.append(target.name) or copy(file, target))
    shipped_demo.put(tmp_path / "noted")
    assert into
    assert {name[-5:] for name in into} == {".part"}, "no name stands for half a file"
    shutil.rmtree(tmp_path / "noted")
    monkeypatch.setattr(shutil, "copyfile", full)
    with pytest.raises(OutputError, match="cannot be written: No space left on device"):
        shipped_demo.put(tmp_path)
    monkeypatch.setattr(shutil, "copyfile", copy)
    shipped_demo.put(tmp_path)
    source = next(place for place in shipped_demo.PLACES if place.is_dir())
    there = {path.relative_to(tmp_path): path.read_bytes() for path in tmp_path.rglob("*") if path.is_file()}
    assert there == {path.relative_to(source): path.read_bytes() for path in source.rglob("*") if path.is_file()}


def test_layers_as_geoparquet_when_asked_for(analysed, tmp_path):
    import geopandas

    done = gpsq("analyse", analysed[0], "--out", tmp_path / "results", "--parquet", "-q")
    assert done.returncode == 0, done.stderr
    tracks = geopandas.read_parquet(tmp_path / "results" / "layers" / "tracks.parquet")
    assert tracks.crs.to_epsg() == 4326
    assert len(tracks) == 30
    assert (~tracks.geometry.isna() & ~tracks.geometry.is_empty).sum() == 29  # one never fixed and has no line


def test_an_event_and_a_ride_are_decided_in_one_go_and_the_printed_list_holds(analysed, tmp_path):
    folder = shutil.copytree(analysed[0], tmp_path / "week")
    listed = gpsq("flag", folder, "-q").stdout
    found = rows(folder / "gpsq-results" / "deviations.csv")
    together = [row for row in found if row["suggestion"] == "route choice"]
    (event,) = {row["event"] for row in together}
    (alone,) = [row for row in found if row["event"] != event]
    lines = listed.splitlines()[2:]
    at = next(k for k, line in enumerate(lines) if line.startswith(event))
    assert all(row["id"] in line for row, line in zip(together, lines[at : at + 3], strict=True))
    assert all(line.startswith(" ") for line in lines[at + 1 : at + 3])  # the event is named once

    done = gpsq("flag", folder, event, alone["ride"], "intentional", "-q")
    assert done.stdout == f"{event} (3 deviations), {alone['ride']} (1 deviation): intentional\n"
    assert {row["flag"] for row in rows(folder / "flags.csv")} == {"intentional"}
    assert len(rows(folder / "flags.csv")) == 4
    again = gpsq("flag", folder, "-q").stdout
    assert [line.split()[:2] for line in again.splitlines()] == [line.split()[:2] for line in listed.splitlines()]
    assert gpsq("flag", folder, together[0]["id"], "error", "-q").returncode == 0
    assert sorted(row["flag"] for row in rows(folder / "flags.csv")) == ["error", *["intentional"] * 3]
    assert gpsq("flag", folder, event, "clear", "-q").returncode == 0
    assert len(rows(folder / "flags.csv")) == 1

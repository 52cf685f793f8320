"""The results folder is replaced in one step: whole at any moment, and nothing of a person's is ever deleted."""

from __future__ import annotations

import inspect
import json
import os
import random
import subprocess
import sys
import time
from pathlib import Path
from typing import TYPE_CHECKING

import pytest
from output_sample import sample

from gpsq.exceptions import OutputError
from gpsq.output import folder_swap, run_file
from gpsq.output.results_folder import write_results

if TYPE_CHECKING:
    from collections.abc import Sequence

KILLS = 50 if os.environ.get("GPSQ_LONG") else 20
FILES = 12


def put(target: Path, mark: str) -> None:
    """Write a small results folder whose files all hold `mark`."""
    with folder_swap.replaced(target) as aside:
        for i in range(FILES):
            (aside / f"{i}.txt").write_text(mark)
        names = [f"{i}.txt" for i in range(FILES)] + [run_file.NAME]
        (aside / run_file.NAME).write_text(json.dumps({"gpsq": "0", "files": names, "mark": mark}))


def mark_of(target: Path) -> str:
    """The one mark of a whole results folder; anything less than whole fails."""
    said = json.loads((target / run_file.NAME).read_text())
    assert {(target / f"{i}.txt").read_text() for i in range(FILES)} == {said["mark"]}
    return str(said["mark"])


WRITER = f"""
import json, sys, itertools
from pathlib import Path
from gpsq.output import folder_swap, run_file
FILES = {FILES}
{inspect.getsource(put)}
for n in itertools.count():
    put(Path(sys.argv[1]), f"{{sys.argv[2]}}-{{n}}")
    print(n, flush=True)
"""


def kill_while_writing(target: Path, run: int, rng: random.Random) -> None:
    writer = subprocess.Popen([sys.executable, "-c", WRITER, str(target), str(run)], stdout=subprocess.PIPE)
    assert writer.stdout is not None
    writer.stdout.readline()  # the first folder is in place; from here on it is replaced over and over
    time.sleep(rng.uniform(0.0, 0.03))
    writer.kill()
    writer.wait()
    writer.stdout.close()


def test_results_are_whole_after_a_kill_at_any_moment(tmp_path: Path) -> None:
    target, rng = tmp_path / "results", random.Random(5)
    for run in range(KILLS):
        kill_while_writing(target, run, rng)
        assert mark_of(target).startswith(f"{run}-")
    put(target, "last")
    assert mark_of(target) == "last"
    assert [p.name for p in tmp_path.iterdir()] == ["results"], "leftovers of the killed runs are cleaned"


@pytest.mark.parametrize("run", range(3))
def test_results_are_whole_where_names_cannot_be_exchanged(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, run: int
) -> None:
    """Killed between the two renames, the earlier results have another name; the next run brings them back first."""
    monkeypatch.setattr(folder_swap, "_exchange", lambda *_: False)
    target = tmp_path / "results"
    put(target, "early")
    put(target, "later")
    assert mark_of(target) == "later"
    target.rename(tmp_path / ".results.old-7")
    if run == 0:
        put(target, "next")
        assert mark_of(target) == "next"
    elif run == 1:
        with pytest.raises(ZeroDivisionError), folder_swap.replaced(target):
            raise ZeroDivisionError
        assert mark_of(target) == "later", "a run that fails leaves the results that were moved away"
    else:
        (tmp_path / ".results.new-8").mkdir()
        put(target, "next")
    assert [p.name for p in tmp_path.iterdir()] == ["results"]


def fail_half_way(target: Path) -> None:
    with folder_swap.replaced(target) as aside:
        (aside / "half.txt").write_text("half")
        raise KeyError


def test_a_failing_run_leaves_the_earlier_results(tmp_path: Path) -> None:
    target = tmp_path / "results"
    put(target, "early")
    with pytest.raises(KeyError):
        fail_half_way(target)
    assert mark_of(target) == "early"
    assert [p.name for p in tmp_path.iterdir()] == ["results"]


def test_a_folder_of_others_is_refused(tmp_path: Path) -> None:
    (tmp_path / "holiday.jpg").write_bytes(b"picture")
    with pytest.raises(OutputError, match="found files that gpsq did not write; expected an empty folder"):
        put(tmp_path, "x")
    assert (tmp_path / "holiday.jpg").read_bytes() == b"picture"


@pytest.mark.parametrize("text", ["{}", "[]", "no json", '{"name": "another program"}'])
def test_a_run_json_of_another_program_is_no_leave(tmp_path: Path, text: str) -> None:
    (tmp_path / run_file.NAME).write_text(text)
    with pytest.raises(OutputError, match="did not write"):
        put(tmp_path, "x")


def test_a_file_is_no_folder(tmp_path: Path) -> None:
    target = tmp_path / "results"
    target.write_text("a file")
    with pytest.raises(OutputError, match="found a file; expected a folder"):
        put(target, "x")


def test_a_persons_own_file_in_the_results_is_kept(tmp_path: Path) -> None:
    target = tmp_path / "results"
    put(target, "early")
    (target / "notes" / "of" / "may").mkdir(parents=True)
    (target / "notes" / "of" / "may" / "mine.txt").write_text("my notes")
    put(target, "later")
    assert mark_of(target) == "later"
    assert (target / "notes" / "of" / "may" / "mine.txt").read_text() == "my notes"


def test_a_link_to_a_folder_is_followed(tmp_path: Path) -> None:
    put(tmp_path / "far", "early")
    (tmp_path / "link").symlink_to(tmp_path / "far")
    put(tmp_path / "link", "later")
    assert mark_of(tmp_path / "far") == "later"
    assert (tmp_path / "link").is_symlink()


def test_a_name_with_wildcards_touches_no_other_folder(tmp_path: Path) -> None:
    other = tmp_path / ".ab.new-1"
    other.mkdir()
    put(tmp_path / "[a]*", "x")
    assert other.is_dir()


def test_a_name_is_taken_by_the_letter() -> None:
    assert folder_swap._literal("[a]*?.b") == "[[]a][*][?].b"


def test_two_folders_exchange_their_names(tmp_path: Path) -> None:
    """In one step where the system can (renameat2 and renamex_np), and said where it cannot; nothing is in between."""
    for name in ("one", "other"):
        (tmp_path / name).mkdir()
        (tmp_path / name / "was").write_text(name)
    done = folder_swap._exchange(tmp_path / "one", tmp_path / "other")
    assert done or sys.platform != "linux"
    assert (tmp_path / "one" / "was").read_text() == ("other" if done else "one")
    assert (tmp_path / "other" / "was").read_text() == ("one" if done else "other")
    assert not folder_swap._exchange(tmp_path / "one", tmp_path / "gone")


def test_where_there_is_no_folder_nothing_is_cleared(tmp_path: Path) -> None:
    folder_swap.clear(tmp_path / "gone")
    assert list(tmp_path.iterdir()) == []


LIMITED = """
import resource, signal, sys
from pathlib import Path
sys.path.insert(0, sys.argv[2])
from output_sample import sample
from gpsq.exceptions import OutputError
from gpsq.output.results_folder import write_results
analysis = sample()
signal.signal(signal.SIGXFSZ, signal.SIG_IGN)
resource.setrlimit(resource.RLIMIT_FSIZE, (int(sys.argv[3]), int(sys.argv[3])))
try:
    write_results(analysis, Path(sys.argv[1]))
except OutputError as refused:
    print(refused)
"""


@pytest.mark.skipif(sys.platform == "win32", reason="file size limits are a POSIX facility")
@pytest.mark.parametrize("most_bytes", [2_000, 300_000])
def test_a_full_disk_gives_one_plain_sentence(tmp_path: Path, most_bytes: int) -> None:
    """A limit on the size of files stands in for a full disk: the same system call fails (EFBIG for ENOSPC)."""
    target = tmp_path / "results"
    put(target, "early")
    command = [
        sys.executable,
        "-B",
        "-c",
        LIMITED,
        str(target),
        str(Path(__file__).parents[1] / "support"),
        str(most_bytes),
    ]
    done = subprocess.run(command, capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stderr
    assert done.stdout.count("\n") == 1
    assert "cannot be written" in done.stdout
    assert mark_of(target) == "early"
    assert [p.name for p in tmp_path.iterdir()] == ["results"]


def test_a_place_that_cannot_be_written_gives_one_plain_sentence(tmp_path: Path) -> None:
    (tmp_path / "file").write_text("")
    with pytest.raises(OutputError, match=r"cannot be written: (Not a directory|File exists)$") as refused:
        put(tmp_path / "file" / "results", "x")
    assert "\n" not in str(refused.value)


@pytest.fixture(scope="module")
def results(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, Sequence[Path]]:
    """The sample's results, and what was said to be written."""
    out = tmp_path_factory.mktemp("written") / "one"
    return out, write_results(sample(), out)


def test_the_same_analysis_gives_the_same_bytes(results: tuple[Path, Sequence[Path]], tmp_path: Path) -> None:
    one, first = results
    second = write_results(sample(), tmp_path / "two")
    assert [p.relative_to(one) for p in first] == [p.relative_to(tmp_path / "two") for p in second]
    differing = [a.name for a, b in zip(first, second, strict=True) if a.read_bytes() != b.read_bytes()]
    assert differing == []


def test_run_json_holds_what_a_run_rests_on(results: tuple[Path, Sequence[Path]]) -> None:
    analysis, (out, written) = sample(), results
    said = json.loads((out / "run.json").read_text("utf-8"))
    assert said["settings"]["gap_s"] == {"value": 60.0, "unit": "s"}
    assert said["inputs"] == dict(analysis.inputs)
    assert said["counts"]["recordings"] == len(analysis.traces) + 1
    assert sorted(said["files"]) == sorted(p.relative_to(out).as_posix() for p in written)


def test_a_file_of_the_persons_moves_on_and_ours_of_before_do_not(tmp_path):
    """Theirs: not on the list of what was written. One of a name that is written now gives way; what we wrote is not kept."""
    out = tmp_path / "results"
    for names, text in ((["old.csv", "report.html"], "first"), (["report.html", "notes.txt"], "second")):
        with folder_swap.replaced(out) as aside:
            for name in names:
                (aside / name).write_text(text)
            (aside / "run.json").write_text(f'{{"gpsq": "0", "files": {names!r}}}'.replace("'", '"'))
        if text == "first":
            (out / "mine.txt").write_text("mine")
            (out / "notes.txt").write_text("mine")
    assert {path.name: path.read_text() for path in out.iterdir() if path.name != "run.json"} == {
        "report.html": "second",
        "notes.txt": "second",
        "mine.txt": "mine",
    }
    assert folder_swap.written_names(out) == {"run.json", "report.html", "notes.txt"}
    assert not list(tmp_path.glob(".results*"))

"""What stands in the place of results after a folder was put there, step by step, where names cannot be exchanged or can."""

from __future__ import annotations

import json
import multiprocessing
import os
import sys
from typing import TYPE_CHECKING, Any

import pytest

from gpsq.exceptions import OutputError
from gpsq.output import folder_swap
from gpsq.output.run_file import NAME

if TYPE_CHECKING:
    from collections.abc import Callable
    from pathlib import Path

posix = pytest.mark.skipif(sys.platform == "win32", reason="locks of folders are a way of posix systems")


def results(folder: Path, mark: str, *, listed: tuple[str, ...] = ("a.csv",), others: tuple[str, ...] = ()) -> Path:
    """Make a results folder with files of ours, and others that a person put there."""
    for name in (*listed, *others):
        (folder / name).parent.mkdir(parents=True, exist_ok=True)
        (folder / name).write_text(mark)
    (folder / NAME).write_text(json.dumps({"gpsq": "0", "files": list(listed)}))
    return folder


def marks(folder: Path) -> dict[str, str]:
    files = (path for path in folder.rglob("*") if path.is_file() and path.name != NAME)
    return {path.relative_to(folder).as_posix(): path.read_text() for path in files}


@pytest.mark.parametrize("exchanges", [True, False])
def test_new_results_take_the_name_and_the_old_are_gone(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, exchanges: bool
) -> None:
    if not exchanges:
        monkeypatch.setattr(folder_swap, "_exchange", lambda *_: False)
    out = results(tmp_path / "out", "old", others=("mine.txt", "deep/er/mine.txt"))
    with folder_swap.replaced(out) as aside:
        assert aside == tmp_path / f".out.new-{os.getpid()}"
        assert list(aside.iterdir()) == []
        assert marks(out)["a.csv"] == "old"
        results(aside, "new", listed=("a.csv", "b/c.csv"))
    assert marks(out) == {"a.csv": "new", "b/c.csv": "new", "mine.txt": "old", "deep/er/mine.txt": "old"}
    assert [path.name for path in tmp_path.iterdir()] == ["out"]


def test_the_first_results_need_no_folder_before_them(tmp_path: Path) -> None:
    with folder_swap.replaced(tmp_path / "far" / "away" / "out") as aside:
        results(aside, "new")
    assert marks(tmp_path / "far" / "away" / "out") == {"a.csv": "new"}


def test_an_empty_folder_is_taken(tmp_path: Path) -> None:
    (tmp_path / "out").mkdir()
    with folder_swap.replaced(tmp_path / "out") as aside:
        results(aside, "new")
    assert marks(tmp_path / "out") == {"a.csv": "new"}


def test_what_was_moved_away_comes_back_only_where_there_is_nothing(tmp_path: Path) -> None:
    """Of two that were moved away the first comes back; what a person had in the other moves on into it."""
    results(tmp_path / ".out.old-1", "one")
    results(tmp_path / ".out.old-2", "two", others=("mine.txt",))
    results(tmp_path / ".out.new-3", "three", others=("half.txt",))
    folder_swap.clear(tmp_path)
    assert marks(tmp_path / "out") == {"a.csv": "one", "mine.txt": "two", "half.txt": "three"}
    assert [path.name for path in tmp_path.iterdir()] == ["out"]


def test_what_killed_runs_left_is_known_by_its_whole_name(tmp_path: Path) -> None:
    names = (".out.new-12x", ".out.newer-12", "out.new-12", ".out.new-", "..new-12")
    for name in names:
        (tmp_path / name).mkdir()
    (tmp_path / ".out.new-12").write_text("a file")
    folder_swap.clear(tmp_path)
    assert {path.name for path in tmp_path.iterdir()} == {*names, ".out.new-12"}


def test_a_half_written_folder_without_a_list_goes_with_all_it_holds(tmp_path: Path) -> None:
    (tmp_path / ".out.new-7").mkdir()
    (tmp_path / ".out.new-7" / "half.csv").write_text("half")
    results(tmp_path / "out", "old")
    folder_swap.clear(tmp_path)
    assert marks(tmp_path / "out") == {"a.csv": "old"}
    assert [path.name for path in tmp_path.iterdir()] == ["out"]


def _hold(parent: Path, locked: Any, done: Any) -> None:
    with folder_swap._one_writer(parent):
        locked.set()
        done.wait(60)


@posix
def test_while_a_run_writes_nothing_is_cleared_and_another_waits(tmp_path: Path) -> None:
    results(tmp_path / ".out.new-1", "living")
    fork = multiprocessing.get_context("fork")
    locked, done, second = fork.Event(), fork.Event(), fork.Event()
    writer = fork.Process(target=_hold, args=(tmp_path, locked, done), daemon=True)
    writer.start()
    assert locked.wait(60)
    folder_swap.clear(tmp_path)
    assert marks(tmp_path / ".out.new-1") == {"a.csv": "living"}
    waiting = fork.Process(target=_hold, args=(tmp_path, second, done), daemon=True)
    waiting.start()
    assert not second.wait(0.2)
    done.set()
    assert second.wait(60)
    writer.join()
    waiting.join()
    folder_swap.clear(tmp_path)
    assert list(tmp_path.iterdir()) == []


@pytest.mark.parametrize(
    ("text", "names"),
    [
        ('{"gpsq": "0", "files": ["a.csv", 7, "b/c.csv"]}', {NAME, "a.csv", "b/c.csv"}),
        ('{"gpsq": "0"}', {NAME}),
        ('{"files": ["a.csv"]}', None),
        ('["gpsq"]', None),
        ("no json", None),
    ],
)
def test_what_was_written_is_what_the_run_says(tmp_path: Path, text: str, names: set[str] | None) -> None:
    (tmp_path / NAME).write_text(text)
    assert folder_swap.written_names(tmp_path) == names


def test_where_no_run_says_anything_nothing_was_written(tmp_path: Path) -> None:
    assert folder_swap.written_names(tmp_path) is None
    (tmp_path / "file").write_text("")
    assert folder_swap.written_names(tmp_path / "file") is None


def test_everything_reaches_the_disk_before_it_gets_its_name(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    reached: list[int] = []
    right: Callable[[int], None] = os.fsync
    monkeypatch.setattr(os, "fsync", lambda number: (reached.append(os.fstat(number).st_ino), right(number))[1])
    with folder_swap.replaced(tmp_path / "out") as aside:
        results(aside, "new", listed=("a.csv", "b/c.csv"))
        expected = {path.stat().st_ino for path in [aside, *aside.rglob("*")]}
        assert reached == []
    assert len(expected) == 5
    assert set(reached) == expected


def test_what_the_system_refuses_is_one_line_with_the_name(tmp_path: Path) -> None:
    with pytest.raises(OutputError) as refused, folder_swap.replaced(tmp_path / "out"):
        raise OSError(28, "No space left on device", str(tmp_path / "x.csv"))
    assert str(refused.value) == f"{tmp_path / 'x.csv'}: cannot be written: No space left on device"
    with pytest.raises(OutputError) as unnamed, folder_swap.replaced(tmp_path / "out"):
        raise OSError("odd")
    assert str(unnamed.value) == f"{tmp_path / 'out'}: cannot be written: odd"
    assert list(tmp_path.iterdir()) == []


@posix
def test_where_the_system_exchanges_no_names_it_is_said(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """By the call of Linux, by that of macOS, or not at all: which names they are given, and what they answer."""
    asked: list[tuple[Any, ...]] = []

    class System:
        def __init__(self, call: str, answer: int) -> None:
            setattr(self, call, lambda *given: (asked.append((call, *given)), answer)[1])

    one, other = tmp_path / "one", tmp_path / "other"
    names = os.fsencode(one), os.fsencode(other)
    for call, answer, expected in (
        ("renameat2", 0, True), ("renameat2", -1, False), ("renamex_np", 0, True), ("renamex_np", -1, False), ("other", 0, False)
    ):  # fmt: skip
        monkeypatch.setattr(folder_swap.ctypes, "CDLL", lambda *_, c=call, a=answer, **__: System(c, a))
        assert folder_swap._exchange(one, other) is expected
    linux, mac = ("renameat2", -100, names[0], -100, names[1], 2), ("renamex_np", *names, 2)
    assert asked == [linux, linux, mac, mac]

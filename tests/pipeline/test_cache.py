"""What is unchanged is taken from the cache, and nothing stale ever is; the cache may go at any moment."""

from __future__ import annotations

import os
import pickle
import shutil
import subprocess
import sys
from concurrent.futures import Executor
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np
import pytest
from hypothesis import given
from hypothesis import settings as given_settings
from hypothesis import strategies as st

from gpsq import digests
from gpsq.campaign import flags
from gpsq.pipeline import cache, unchanged
from gpsq.pipeline.analysis import analyse
from gpsq.simulate.shipped_demo import put

if TYPE_CHECKING:
    from gpsq.results import Analysis


@pytest.fixture(autouse=True)
def _own_mark(tmp_path_factory: pytest.TempPathFactory, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("XDG_CACHE_HOME", str(tmp_path_factory.mktemp("user")))


@pytest.fixture
def campaign(tmp_path: Path) -> Path:
    """Three days of the demo, one way."""
    put(tmp_path)
    for file in tmp_path.rglob("*.gpx"):
        if not file.match("*-0[89]-out.gpx") and not file.match("*-10-out.gpx"):
            file.unlink()
    return tmp_path


class Counting(Executor):
    """Does what it is asked, and counts how many files were read and routes analysed."""

    def __init__(self) -> None:
        self.asked: list[str] = []

    def map(self, fn: Any, *iterables: Any, **_: Any) -> Any:
        name = getattr(fn, "func", fn).__name__
        for arguments in zip(*iterables, strict=True):
            self.asked.append(name)
            yield fn(*arguments)

    def taken(self) -> tuple[int, int]:
        found = self.asked.count("read_file"), self.asked.count("analyse_route")
        self.asked.clear()
        return found


def run(folder: Path, executor: Executor | None = None) -> Analysis:
    """Analyse as a new run would."""
    store = cache.beside(folder)
    assert store is not None
    found = analyse(folder, cache=store, executor=executor)
    store.forget_unused()
    return found


def fresh(folder: Path) -> str:
    return digests.digest(analyse(folder))


def test_unchanged_recordings_are_not_read_again(campaign: Path) -> None:
    counting = Counting()
    first = run(campaign, counting)
    assert counting.taken() == (9, 1)
    again = run(campaign, counting)
    assert counting.taken() == (0, 0)
    assert digests.digest(first) == digests.digest(again) == fresh(campaign)


def test_a_changed_recording_is_read_again_and_alone(campaign: Path) -> None:
    counting = Counting()
    run(campaign, counting)
    counting.taken()
    file = next(campaign.rglob("*-09-out.gpx"))
    status = file.stat()
    text = file.read_text(encoding="utf-8")
    place = text.index('lon="') + 8
    file.write_text(text[:place] + ("7" if text[place] != "7" else "6") + text[place + 1 :], encoding="utf-8")
    os.utime(file, ns=(status.st_atime_ns, status.st_mtime_ns))  # the date of a file proves nothing
    assert digests.digest(run(campaign, counting)) == fresh(campaign)
    assert counting.taken() == (1, 1)


@pytest.mark.parametrize(
    ("name", "text"),
    [
        ("campaign.toml", "[settings]\ngap_s = 30\n"),
        ("campaign.toml", 'title = "Another"\n'),
        ("rides.csv", None),
        ("flags.csv", "flag"),
    ],
)
def test_settings_starts_and_decisions_count(campaign: Path, name: str, text: str | None) -> None:
    before = digests.digest(run(campaign))
    if text is None:
        (campaign / name).unlink()
    elif text == "flag":
        analysis = run(campaign)
        trace = analysis.traces[0]
        decision = flags.Flag(
            trace.sha256, trace.track, trace.time[10], trace.time[90], 10, 90, "error", "", trace.file
        )
        flags.change(campaign, lambda kept: (*kept, decision))
    else:
        (campaign / name).write_text(text, encoding="utf-8")
    after = digests.digest(run(campaign))
    assert after == fresh(campaign)
    assert after != before


def test_a_decision_costs_its_own_route_after_an_unchanged_run_too(tmp_path: Path) -> None:
    """What an unchanged run has no use for is needed by the next change: it must not be forgotten."""
    put(tmp_path)
    counting = Counting()
    run(tmp_path, counting)
    analysis = run(tmp_path, counting)
    assert len(analysis.routes) == 2
    counting.asked.clear()
    flags.change(tmp_path, lambda kept: flags.decided(kept, analysis.deviations[:1], analysis.traces, "error", ""))
    after = run(tmp_path, counting)
    assert counting.asked == ["analyse_route"]
    assert digests.digest(after) == fresh(tmp_path)


def test_another_version_of_gpsq_takes_nothing(campaign: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    counting = Counting()
    run(campaign, counting)
    counting.taken()
    monkeypatch.setattr(digests, "code", lambda: "another")
    run(campaign, counting)
    assert counting.taken() == (9, 1)


def test_the_code_counts_to_the_last_letter(tmp_path: Path) -> None:
    """A changed module is another code, whatever its version number says."""
    shutil.copytree(Path(digests.__file__).parent, tmp_path / "gpsq", ignore=shutil.ignore_patterns("__pycache__"))
    ask = "import sys; sys.path.insert(0, '.'); from gpsq import digests; print(digests.code(), digests.__file__)"

    def code() -> list[str]:
        done = subprocess.run([sys.executable, "-c", ask], cwd=tmp_path, capture_output=True, text=True, check=True)
        return done.stdout.split()

    before = code()
    assert before[0] == digests.code()
    with (tmp_path / "gpsq" / "measures" / "first_fix.py").open("a") as file:
        file.write("#\n")
    assert code()[0] != before[0]


def test_recordings_added_before_others_leave_these_alone(campaign: Path) -> None:
    counting = Counting()
    run(campaign, counting)
    counting.taken()
    (campaign / "a-stray.gpx").write_text(
        '<gpx version="1.1" creator="x"><trk><trkseg><trkpt lat="1" lon="1"/><trkpt lat="1.02" lon="1"/>'
        '<trkpt lat="1.03" lon="1"/></trkseg></trk></gpx>'
    )
    found = run(campaign, counting)
    files, routes_anew = counting.taken()
    assert files == 1
    assert routes_anew <= 2
    assert digests.digest(found) == fresh(campaign)


def test_the_cache_may_be_deleted_or_spoilt(campaign: Path) -> None:
    expected = digests.digest(run(campaign))
    for number, answer in enumerate(sorted((campaign / cache.FOLDER).glob("*.answer"))):
        data = answer.read_bytes()
        answer.write_bytes((data[: len(data) // 2], b"", data[:40] + b"?" + data[41:])[number % 3])
    assert digests.digest(run(campaign)) == expected
    shutil.rmtree(campaign / cache.FOLDER)
    assert digests.digest(run(campaign)) == expected


def test_a_campaign_from_another_user_runs_nothing(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """A folder handed on may hold a cache; a pickle in it could run anything, so without this user's mark it is dead."""
    key = digests.digest("anything")
    theirs = cache.Cache(tmp_path / cache.FOLDER, b"?" * 32)
    theirs.put(key, {"an": "answer"})
    assert theirs.get(key) == {"an": "answer"}
    loaded = []
    monkeypatch.setattr(pickle, "loads", loaded.append)
    mine = cache.beside(tmp_path)
    assert mine is not None
    assert mine.get(key) is None
    assert loaded == []


def test_an_answer_is_good_for_its_own_question_alone(tmp_path: Path) -> None:
    store = cache.Cache(tmp_path / cache.FOLDER, b"?" * 32)
    store.put("a" * 64, 1)
    shutil.copy(tmp_path / cache.FOLDER / f"{'a' * 64}.answer", tmp_path / cache.FOLDER / f"{'b' * 64}.answer")
    assert (store.get("a" * 64), store.get("b" * 64)) == (1, None)


def test_no_cache_where_none_can_be(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    with monkeypatch.context() as patch:
        patch.setattr(os, "access", lambda *_: False)  # a folder that may only be read
        assert cache.beside(tmp_path) is None
    (tmp_path / "elsewhere").mkdir()
    (tmp_path / cache.FOLDER).symlink_to(tmp_path / "elsewhere")
    assert cache.beside(tmp_path) is None
    blocked = tmp_path / "file"
    blocked.write_text("")
    monkeypatch.setenv("XDG_CACHE_HOME", str(blocked))
    (tmp_path / "plain").mkdir()
    assert cache.beside(tmp_path / "plain") is None
    store = cache.Cache(blocked / "no-folder", b"?" * 32)
    store.put("a" * 64, 1)
    assert store.get("a" * 64) is None
    store.forget_unused()


def test_one_run_is_kept_and_strangers_are_left(tmp_path: Path) -> None:
    old = cache.Cache(tmp_path / cache.FOLDER, b"?" * 32)
    old.put("a" * 64, 1)
    old.put("b" * 64, 2)
    (old.folder / "mine.txt").write_text("kept")
    new = cache.Cache(old.folder, b"?" * 32)
    assert new.get("b" * 64) == 2
    new.forget_unused()
    assert sorted(path.name for path in old.folder.iterdir()) == [
        ".gitignore", cache.TAG_NAME, f"{'b' * 64}.answer", "mine.txt",
    ]  # fmt: skip


@dataclass(frozen=True)
class Thing:
    """Something with parts."""

    parts: Any


values = st.recursive(
    st.none() | st.booleans() | st.integers(-9, 9) | st.floats() | st.text(max_size=3) | st.binary(max_size=3),
    lambda inner: st.lists(inner, max_size=3).map(tuple) | st.builds(Thing, inner) | st.dictionaries(st.text(), inner),
    max_leaves=6,
)


@given(values, values)
@given_settings(max_examples=200, deadline=None)
def test_digests_tell_values_apart(one: Any, other: Any) -> None:
    assert (digests.digest(one) == digests.digest(other)) == (repr(one) == repr(other))


def test_digests_of_arrays_and_sets() -> None:
    a = np.arange(6.0)
    assert digests.digest(a) == digests.digest(a.copy())
    assert len({digests.digest(x) for x in (a, a[::-1], a.astype(np.float32), a.reshape(2, 3), list(a))}) == 5
    assert digests.digest({"x", "y"}) == digests.digest({"y", "x"}) != digests.digest({"x"})
    assert digests.digest({"x": 1, "y": 2}) == digests.digest({"y": 2, "x": 1})
    assert digests.digest(np.datetime64("NaT", "ms")) != digests.digest(np.datetime64(0, "ms"))
    with pytest.raises(TypeError, match="no digest of a object"):
        digests.digest(object())


def test_results_that_stand_are_not_written_again(tmp_path: Path) -> None:
    store, out, written = cache.Cache(tmp_path / "c", b"?" * 32), tmp_path / "out", []

    def writing() -> list[Path]:
        out.mkdir(exist_ok=True)
        (out / "a.csv").write_text("a")
        written.append(1)
        return [out / "a.csv"]

    def times(what: str, place: cache.Cache | None = store) -> int:
        written.clear()
        unchanged.write(place, what, out, writing)
        return len(written)

    assert (times("x"), times("x"), times("y"), times("y", None)) == (1, 0, 1, 1)
    (out / "a.csv").write_text("b")
    assert (times("y"), times("y")) == (1, 0)
    assert (out / "a.csv").read_text() == "a"
    (out / "a.csv").unlink()
    assert times("y") == 1

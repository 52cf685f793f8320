"""What is unchanged is taken from the cache, and nothing stale ever is; the cache may go at any moment."""

from __future__ import annotations

import builtins
import gc
import io
import json
import multiprocessing
import os
import shutil
import stat
import subprocess
import sys
import time
from concurrent.futures import Executor, ProcessPoolExecutor
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

import by_hand
import numpy as np
import pytest
import three_days
from hypothesis import given
from hypothesis import settings as given_settings
from hypothesis import strategies as st

from gpsq import digests
from gpsq.campaign import flags
from gpsq.measures.route import Measured, Member
from gpsq.model import FirstFix
from gpsq.pipeline import cache, stages
from gpsq.pipeline.analysis import analyse, analyse_readings
from gpsq.pipeline.campaign_run import write_unless_standing
from gpsq.reading import read_folder
from gpsq.simulate import shipped_demo

if TYPE_CHECKING:
    from gpsq.results import Analysis


@pytest.fixture(autouse=True)
def root(tmp_path_factory: pytest.TempPathFactory, monkeypatch: pytest.MonkeyPatch) -> Path:
    """The folder of this user's caches, empty in each test."""
    monkeypatch.setenv("XDG_CACHE_HOME", str(tmp_path_factory.mktemp("user")))
    return Path(os.environ["XDG_CACHE_HOME"]) / "gpsq"


@pytest.fixture
def campaign(tmp_path: Path) -> Path:
    """Three days of the demo, one way."""
    return three_days.put(tmp_path, "*-out.gpx")


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
    with cache.opened(folder) as store:
        assert store is not None
        return analyse(folder, cache=store, executor=executor)


def answers() -> list[Path]:
    """All answers that this user's cache holds."""
    return sorted(Path(os.environ["XDG_CACHE_HOME"]).glob("gpsq/*/*.answer"))


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
        ("flags.csv", "no table of flags\n?\n"),
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
    shipped_demo.put(tmp_path)  # its deviations are on later days
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


def test_the_cache_may_be_deleted_or_spoilt(campaign: Path, root: Path) -> None:
    expected = digests.digest(run(campaign))
    for number, answer in enumerate(answers()):
        data = answer.read_bytes()
        answer.write_bytes((data[: len(data) // 2], b"", data[:40] + b"?" + data[41:])[number % 3])
    counting = Counting()
    assert digests.digest(run(campaign, counting)) == expected
    assert counting.taken() == (9, 1)
    shutil.rmtree(root)
    assert digests.digest(run(campaign)) == expected


def test_nothing_lies_where_others_read(campaign: Path, root: Path) -> None:
    """Answers hold places, and the folder of a campaign is one that people share."""
    old = os.umask(0o002)
    try:
        before = set(campaign.rglob("*"))
        run(campaign)
    finally:
        os.umask(old)
    assert set(campaign.rglob("*")) == before
    assert len(answers()) == 9 + 1 + 2
    assert {stat.S_IMODE(path.stat().st_mode) for path in answers()} == {0o600}
    assert {stat.S_IMODE(path.stat().st_mode) for path in (root, *root.iterdir())} == {0o700}


def opened(folder: Path) -> cache.Cache:
    with cache.opened(folder) as store:
        assert store is not None
        return store


@pytest.fixture
def unread(monkeypatch: pytest.MonkeyPatch) -> None:
    """Any pickle that is opened at all ends the test."""
    monkeypatch.setattr(cache._Unpickler, "load", lambda own: pytest.fail("it was read"))


def others(path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Have a file or folder belong to another user, for whoever asks."""
    own, whose = cache._is_own, path.lstat().st_ino

    def is_own(status: os.stat_result, kind: Any) -> bool:
        values = list(status)
        values[stat.ST_UID] += status.st_ino == whose
        return own(os.stat_result(values), kind)

    monkeypatch.setattr(cache, "_is_own", is_own)


@pytest.mark.usefixtures("unread")
def test_what_another_user_wrote_is_not_read(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """A pickle could run anything."""
    store = opened(tmp_path)
    store.put("a" * 64, 1)
    others(answers()[0], monkeypatch)
    assert store.get("a" * 64) is None


@pytest.mark.usefixtures("unread")
@pytest.mark.parametrize("mode", [0o620, 0o602, 0o666])
def test_what_another_user_could_have_written_is_not_read(tmp_path: Path, mode: int) -> None:
    store = opened(tmp_path)
    store.put("a" * 64, 1)
    answers()[0].chmod(mode)
    assert store.get("a" * 64) is None


@pytest.mark.usefixtures("unread")
def test_what_a_link_leads_to_is_not_read(tmp_path: Path) -> None:
    store = opened(tmp_path)
    store.put("a" * 64, 1)
    answers()[0].rename(tmp_path / "elsewhere")
    (store.folder / f"{'a' * 64}.answer").symlink_to(tmp_path / "elsewhere")
    assert store.get("a" * 64) is None


@pytest.mark.parametrize("which", ["root", "campaign"])
def test_a_folder_that_another_user_could_fill_is_no_cache(tmp_path: Path, root: Path, which: str) -> None:
    store = opened(tmp_path)
    store.put("a" * 64, 1)
    (root if which == "root" else store.folder).chmod(0o777)
    with cache.opened(tmp_path) as again:
        assert again is None


@pytest.mark.parametrize("which", ["root", "campaign"])
def test_a_folder_of_another_user_is_no_cache(
    tmp_path: Path, root: Path, which: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    store = opened(tmp_path)
    store.put("a" * 64, 1)
    others(root if which == "root" else store.folder, monkeypatch)
    with cache.opened(tmp_path) as again:
        assert again is None


def test_an_answer_is_good_for_its_own_question_alone(tmp_path: Path) -> None:
    store = opened(tmp_path)
    store.put("a" * 64, 1)
    shutil.copy(store.folder / f"{'a' * 64}.answer", store.folder / f"{'b' * 64}.answer")
    assert (store.get("a" * 64), store.get("b" * 64)) == (1, None)


def test_no_cache_where_none_can_be(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    def is_none(place: str) -> bool:
        monkeypatch.setenv("XDG_CACHE_HOME", place)
        with cache.opened(tmp_path) as store:
            return store is None

    (tmp_path / "file").write_text("")
    (tmp_path / "linked").mkdir()
    (tmp_path / "linked" / "gpsq").symlink_to(tmp_path)
    assert is_none(str(tmp_path / "file"))
    assert is_none(str(tmp_path / "linked"))
    with monkeypatch.context() as patch:
        patch.setattr(os.path, "expanduser", lambda path: path)  # the user has no home
        assert is_none("")
    store = cache.Cache(tmp_path / "file" / "no-folder")
    store.put("a" * 64, 1)
    assert store.get("a" * 64) is None


def test_each_campaign_has_a_folder_of_its_own_however_it_is_called(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    (tmp_path / "one").mkdir()
    (tmp_path / "two").mkdir()
    monkeypatch.chdir(tmp_path)
    assert opened(Path("one")).folder == opened(tmp_path / "two" / ".." / "one").folder
    assert opened(Path("one")).folder != opened(Path("two")).folder


def test_what_is_given_is_not_kept_again(tmp_path: Path) -> None:
    store = opened(tmp_path)
    large = np.arange(100_000.0)
    store.put("a" * 64, {"large": large, "small": 1}, given=(large,))
    assert answers()[0].stat().st_size < 1_000
    again = store.get("a" * 64, given=(large,))
    assert again["large"] is large
    assert again["small"] == 1


# --- what is swept ------------------------------------------------------------------------------------------------

DAY_S = 86_400


def put(store: cache.Cache, key: str, *, days: float, size: int = 10) -> Path:
    store.put(key * 64, bytes(size))
    path = store.folder / f"{key * 64}.answer"
    os.utime(path, (time.time() - days * DAY_S,) * 2)
    return path


def test_what_is_old_goes_and_what_is_asked_for_stays_young(tmp_path: Path, root: Path) -> None:
    store = opened(tmp_path)
    old, asked, young = (put(store, key, days=days) for key, days in (("a", 91), ("b", 91), ("c", 89)))
    assert store.get("b" * 64) is not None
    (store.folder / "mine.txt").write_text("kept")
    cache.sweep(root)
    assert (old.exists(), asked.exists(), young.exists()) == (False, True, True)
    assert (store.folder / "mine.txt").exists()
    cache.sweep(root, time.time() + 365 * DAY_S)
    assert [path.name for path in store.folder.iterdir()] == ["mine.txt"]
    (store.folder / "mine.txt").unlink()
    cache.sweep(root)
    assert not store.folder.exists()


def test_beyond_the_bound_those_go_that_were_asked_for_longest_ago(
    tmp_path: Path, root: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    (tmp_path / "other").mkdir()
    stores = opened(tmp_path), opened(tmp_path / "other")
    monkeypatch.setattr(cache, "MOST_MB", 2)
    paths = [
        put(stores[k % 2], key, days=days, size=800_000)
        for k, (key, days) in enumerate([("a", 3), ("b", 1), ("c", 4), ("d", 2)])
    ]
    cache.sweep(root)
    assert [path.exists() for path in paths] == [False, True, False, True]


def test_a_run_that_added_something_sweeps(tmp_path: Path) -> None:
    old = put(opened(tmp_path), "a", days=100)
    with cache.opened(tmp_path) as store:
        assert store is not None
        store.get("b" * 64)
    assert old.exists(), "a run that adds nothing need not look"
    with cache.opened(tmp_path) as store:
        assert store is not None
        store.put("b" * 64, 1)
    assert not old.exists()


def test_what_a_killed_run_left_is_swept_but_not_what_another_is_writing(tmp_path: Path, root: Path) -> None:
    store = opened(tmp_path)
    store.put("a" * 64, 1)
    left, writing = store.folder / "begun-left", store.folder / "begun-now"
    left.write_bytes(b"half")
    writing.write_bytes(b"half")
    os.utime(left, (time.time() - 2 * 3_600,) * 2)
    cache.sweep(root)
    assert (left.exists(), writing.exists(), len(answers())) == (False, True, 1)


WRITES = """
import sys, pathlib
from gpsq.pipeline import cache
with cache.opened(pathlib.Path(sys.argv[1])) as store:
    print("ready", flush=True)
    while True:
        for k in range(20):
            store.put(f"{k:064d}", [k] * 50_000)
"""


def test_a_writer_is_killed_and_another_goes_on_reading(tmp_path: Path, root: Path) -> None:
    """At any moment an answer is whole or not there."""
    store = opened(tmp_path)
    for _ in range(3):
        writer = subprocess.Popen([sys.executable, "-c", WRITES, str(tmp_path)], stdout=subprocess.PIPE)
        assert writer.stdout is not None
        assert writer.stdout.readline() == b"ready\n"
        seen, k, until = 0, 0, time.monotonic() + 180
        while seen < 100:
            assert time.monotonic() < until, "nothing was written"
            answer = store.get(f"{k:064d}")
            assert answer is None or answer == [k] * 50_000
            seen, k = seen + (answer is not None), (k + 1) % 20
            cache.sweep(root)
        writer.kill()
        writer.communicate()
    for k in range(20):
        assert store.get(f"{k:064d}") in (None, [k] * 50_000)


def digest_of_a_run(campaign: Path) -> str:
    return digests.digest(run(campaign))


@pytest.mark.filterwarnings("ignore:This process .* is multi-threaded:DeprecationWarning")  # Python 3.12 and newer
def test_two_runs_of_one_campaign_at_a_time(campaign: Path) -> None:
    expected = fresh(campaign)
    copies = multiprocessing.get_context("fork" if os.name == "posix" else "spawn")
    with ProcessPoolExecutor(2, copies) as both:
        runs = [both.submit(digest_of_a_run, campaign) for _ in "ab"]
        assert [one.result() for one in runs] == [expected] * 2
    assert digests.digest(run(campaign)) == expected


def former(campaign: Path) -> Path:
    folder = campaign / ".gpsq-cache"
    folder.mkdir()
    (folder / "CACHEDIR.TAG").write_bytes(cache._FORMER_TAG)
    (folder / ".gitignore").write_text("*")
    (folder / f"{'a' * 64}.answer").write_bytes(b"?")
    (folder / "aside-x1_y").write_bytes(b"?")
    return folder


@pytest.mark.usefixtures("unread")
def test_a_former_cache_in_the_campaign_is_removed(tmp_path: Path) -> None:
    folder = former(tmp_path)
    opened(tmp_path)
    assert not folder.exists()


def test_what_was_not_ours_in_a_former_cache_is_left(tmp_path: Path) -> None:
    folder = former(tmp_path)
    (folder / "mine.gpx").write_text("kept")
    opened(tmp_path)
    assert [path.name for path in folder.iterdir()] == ["mine.gpx"]
    (folder / "mine.gpx").rename(tmp_path / "mine.gpx")
    folder.rmdir()
    former(tmp_path)
    (folder / "CACHEDIR.TAG").write_text("somebody else's")
    opened(tmp_path)
    assert len(list(folder.iterdir())) == 4
    shutil.move(folder, tmp_path / "linked")
    (tmp_path / "linked" / "CACHEDIR.TAG").write_bytes(cache._FORMER_TAG)
    folder.symlink_to(tmp_path / "linked")
    opened(tmp_path)
    assert len(list((tmp_path / "linked").iterdir())) == 4


# --- digests ------------------------------------------------------------------------------------------------------


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


def test_what_lasts_is_looked_at_once_and_forgotten_with_its_end(monkeypatch: pytest.MonkeyPatch) -> None:
    class Held:
        def __init__(self, value: int) -> None:
            self.value = value

    asked: list[Any] = []
    monkeypatch.setattr(digests, "digest", lambda thing: asked.append(thing.value) or f"of {thing.value}")
    one, same, other = Held(1), Held(1), Held(2)
    assert [digests.lasting(thing) for thing in (one, other, one, same, other)] == [
        "of 1",
        "of 2",
        "of 1",
        "of 1",
        "of 2",
    ]
    assert asked == [1, 2, 1]
    held = len(digests._kept)
    del one, other
    gc.collect()
    assert len(digests._kept) == held - 2


def test_results_that_stand_are_not_written_again(tmp_path: Path) -> None:
    store, out, written = opened(tmp_path), tmp_path / "out", []

    def writing() -> list[Path]:
        out.mkdir(exist_ok=True)
        (out / "a.csv").write_text("a")
        written.append(1)
        return [out / "a.csv"]

    def times(what: str, place: cache.Cache | None = store) -> int:
        written.clear()
        write_unless_standing(place, what, out, writing)
        return len(written)

    assert (times("x"), times("x"), times("y"), times("y", None)) == (1, 0, 1, 1)
    (out / "a.csv").write_text("b")
    assert (times("y"), times("y")) == (1, 0)
    assert (out / "a.csv").read_text() == "a"
    (out / "a.csv").unlink()
    assert times("y") == 1


UNCHANGED = """
import sys, pathlib, os
from gpsq.pipeline.campaign_run import analyse_into
folder = pathlib.Path(sys.argv[1])
analyse_into(folder, folder / "gpsq-results")
heavy = ("numba", "scipy", "pandas", "matplotlib", "folium", "shapely")
from multiprocessing import active_children
print(len(active_children()), *(name for name in heavy if name in sys.modules))
"""


def test_an_unchanged_run_loads_nothing_heavy_and_begins_nothing(campaign: Path) -> None:
    def said() -> list[str]:
        command = [sys.executable, "-c", UNCHANGED, str(campaign)]
        return subprocess.run(command, capture_output=True, text=True, check=True).stdout.split()

    first = said()
    assert {"numba", "pandas"} <= set(first)
    assert "folium" not in first  # it makes maps with tiles
    files = {path: path.stat().st_mtime_ns for path in (campaign / "gpsq-results").rglob("*")}
    assert said() == ["0"]
    assert {path: path.stat().st_mtime_ns for path in (campaign / "gpsq-results").rglob("*")} == files


def test_a_reference_line_counts(campaign: Path) -> None:
    trace = analyse(campaign).traces[0]

    def line(off_deg: float) -> None:
        places = [[lon, lat + off_deg] for lon, lat in zip(trace.lon_deg.tolist(), trace.lat_deg.tolist(), strict=True)]
        (campaign / "line.geojson").write_text(json.dumps({"type": "LineString", "coordinates": places}))

    line(0.0)
    with (campaign / "campaign.toml").open("a", encoding="utf-8") as file:
        file.write('\n[reference]\nA = "line.geojson"\n')
    counting = Counting()
    before = run(campaign, counting)
    counting.taken()
    line(2e-5)
    after = run(campaign, counting)
    assert counting.taken() == (0, 0)
    assert digests.digest(after) == fresh(campaign) != digests.digest(before)


def test_no_file_is_opened_once_all_is_read(campaign: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    expected = fresh(campaign)
    readings = read_folder(campaign)
    monkeypatch.setattr(builtins, "open", lambda *_, **__: pytest.fail("a file was opened"))
    monkeypatch.setattr(io, "open", lambda *_, **__: pytest.fail("a file was opened"))
    assert digests.digest(analyse_readings(readings)) == expected


def test_what_was_remembered_of_a_recording_bears_its_present_number() -> None:
    """Recordings that were added come before it: its deviations, and those that a decision made vanish, move with it."""
    of_first = by_hand.FOUND[0]
    remembered = Measured(0, "", FirstFix("log"), deviations=(of_first,), vanished=(of_first,))
    found = stages._renumbered(remembered, Member(7, by_hand.by_hand().traces[0], "ride", ""))
    assert (found.number, [d.trace for d in (*found.deviations, *found.vanished)]) == (7, [7, 7])

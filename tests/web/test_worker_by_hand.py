"""The worker with work by hand: what it does, in which order, what it tells, and what it says when something goes wrong."""

from __future__ import annotations

import signal
import threading
from multiprocessing import Pipe
from pathlib import Path
from types import SimpleNamespace

import pytest

from gpsq.exceptions import InputError
from gpsq.web import worker


class Told:
    """In place of a pipe: what is sent is kept, what is waited for is given."""

    def __init__(self, *waiting):
        self.sent, self.waiting = [], list(waiting)

    def poll(self):
        return bool(self.waiting)

    def recv(self):
        return self.waiting.pop(0)

    def send(self, what):
        self.sent.append(what)


@pytest.fixture
def made(monkeypatch):
    """A worker whose work is done by hand; all that is asked of it is noted."""
    from gpsq.campaign import campaign_file
    from gpsq.output import results_folder
    from gpsq.output.map import page
    from gpsq.pipeline import analysis, check, publish
    from gpsq.simulate import shipped_demo

    own = worker._Worker(Told(), Told())
    own.asked = asked = []
    own.number = 5

    def noted(name, answer=None):
        return lambda *given, **how: asked.append((name, *given, *sorted(how.items()))) or answer

    def analysed(folder, executor, cache=None, on_progress=None):
        asked.append(("analyse", folder, executor.processes, cache.folder.parent.name if cache else None))
        if on_progress:
            on_progress("reading", 1, 2)
        return f"analysis of {folder}"

    monkeypatch.setattr(analysis, "analyse", analysed)
    monkeypatch.setattr(page, "map_page", lambda found: f"map of {found}")
    monkeypatch.setattr(results_folder, "write_results", noted("write"))
    monkeypatch.setattr(publish, "publish", noted("publish", ("published",)))
    monkeypatch.setattr(publish, "preview", noted("preview", ("cut",)))
    monkeypatch.setattr(check, "inspect_paths", noted("check", [{"file": "a.gpx"}]))
    told = SimpleNamespace(settings="settings of the campaign", time_zone="Z")
    monkeypatch.setattr(campaign_file, "load", lambda folder: told if folder.is_absolute() else None)
    monkeypatch.setattr(worker.os, "chdir", noted("chdir"))
    monkeypatch.setattr(shipped_demo, "put", demo)
    return own


def demo(folder: Path):
    for name in (
        "A/2025-09-08-out.gpx",
        "A/2025-09-09-out.gpx",
        "A/2025-09-10-out.gpx",
        "A/2025-09-08-home.gpx",
        "rides.csv",
    ):
        (folder / name).parent.mkdir(exist_ok=True)
        (folder / name).write_text("x")


def test_an_analysis_is_kept_for_what_is_written_of_it(made, tmp_path):
    folder = str(tmp_path)
    assert made.answer("analyse", (folder,)) == ((f"analysis of {folder}", f"map of analysis of {folder}"), "")
    assert made.asked == [("analyse", tmp_path, 1, "gpsq")]
    assert made.pipe.sent == [("progress", "reading", 1, 2), ("progress", "drawing the map", 0, 1)]
    made.pipe.sent.clear()
    assert made.answer("write", (folder, "out")) == (None, "")
    assert made.answer("publish", (folder, "out")) == (["published"], "")
    assert made.answer("preview", (folder,)) == (["cut"], "")
    assert made.asked[1:] == [
        ("write", f"analysis of {folder}", Path("out")), ("publish", f"analysis of {folder}", tmp_path, Path("out")),
        ("preview", f"analysis of {folder}", tmp_path),
    ]  # fmt: skip
    assert made.pipe.sent == [
        ("progress", "writing report and tables", 0, 1), ("progress", "cutting what is private", 0, 1),
        ("progress", "looking what is private", 0, 1),
    ]  # fmt: skip


def test_a_process_that_is_new_makes_the_analysis_first(made, tmp_path):
    assert made.answer("preview", (str(tmp_path),)) == (["cut"], "")
    assert [name for name, *_ in made.asked] == ["analyse", "preview"]
    assert made.asked[1] == ("preview", f"analysis of {tmp_path}", tmp_path)


def test_a_file_is_looked_into_from_its_folder_by_the_campaigns_own_rules(made, tmp_path):
    assert made.answer("read", (str(tmp_path), "A/a.gpx")) == ([{"file": "a.gpx"}], "")
    assert made.asked == [
        ("chdir", str(tmp_path)), ("check", [Path("A/a.gpx")], "settings of the campaign", ("time_zone", "Z")),
    ]  # fmt: skip


def test_it_wakes_once_on_the_whole_demo_and_leaves_nothing_behind(made, monkeypatch):
    """Both directions of it: there is something in them for every figure."""
    from gpsq.output.map import page
    from gpsq.pipeline import analysis

    seen, mapped = [], []
    monkeypatch.setattr(
        analysis, "analyse",
        lambda folder, executor: seen.append((folder, executor.processes, len(list(folder.rglob("*.gpx"))))) or "demo",
    )  # fmt: skip
    monkeypatch.setattr(page, "map_page", mapped.append)
    worker.wake.cache_clear()
    assert [made.answer("wake", ()), made.answer("wake", ())] == [(None, "")] * 2
    ((folder, processes, recordings),) = seen
    assert (processes, recordings, mapped) == (1, 4, ["demo"]), "all that `demo` puts there"
    assert not folder.exists()


@pytest.mark.parametrize(
    ("error", "said"),
    [
        (InputError("a", "b", "c"), "a: found b; expected c"),
        (OSError(28, "No space left", "a.gpx"), "a.gpx: No space left"),
        (OSError("odd"), "A file: odd"),
        (MemoryError(), "These recordings need more memory than this computer has free."),
    ],
)
def test_what_goes_wrong_is_one_line(made, monkeypatch, error, said):
    def fails(folder):
        raise error

    monkeypatch.setattr(made, "_preview", fails)
    assert made.answer("preview", ("f",)) == (None, said)


def test_the_job_that_is_taken_back_ends_and_no_other(made, tmp_path):
    made.cancelling = Told(3, 4, 6)
    assert made.answer("preview", (str(tmp_path),))[1] == ""
    made.cancelling = Told(4, 5, 6)
    assert made.answer("preview", (str(tmp_path),)) == (None, "Cancelled; the earlier results stay.")
    assert made.cancelling.waiting == [6]


def test_it_serves_until_the_other_end_is_gone(monkeypatch):
    ignored = []
    monkeypatch.setattr(worker.signal, "signal", lambda *how: ignored.append(how))
    monkeypatch.setattr(worker._Worker, "answer", lambda own, kind, given: ((own.number, kind, given), ""))
    here, there = Pipe()
    for job in ((1, "read", ("a",)), (2, "write", ())):
        here.send(job)

    def hears_both_and_goes():
        here.recv()
        here.recv()
        here.close()

    threading.Thread(target=hears_both_and_goes, daemon=True).start()
    answers = []
    monkeypatch.setattr(worker._Worker, "_tell", lambda *how: None)
    sends = there.send

    class Counted:
        recv = staticmethod(there.recv)

        @staticmethod
        def send(what):
            answers.append(what)
            sends(what)

    worker.serve_jobs(Counted, Told())
    assert answers == [("done", (1, "read", ("a",)), ""), ("done", (2, "write", ()), "")]
    assert ignored == [(signal.SIGINT, signal.SIG_IGN)]

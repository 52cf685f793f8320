"""What is kept, under which key, and what is made of it: by a cache that is a dictionary, and work that is counted."""

from __future__ import annotations

import stat
from dataclasses import replace
from types import SimpleNamespace

import numpy as np
import pytest
from by_hand import by_hand

from gpsq.campaign import leftovers
from gpsq.campaign.campaign_file import Campaign
from gpsq.exceptions import NothingToAnalyse
from gpsq.measures.route import Member
from gpsq.model import Unreadable
from gpsq.output import folder_swap
from gpsq.pipeline import analysis, cache, remembering, stages
from gpsq.reading import Readings
from gpsq.settings import Settings

HAND = by_hand()


class Kept(dict):
    """A cache in memory, with what was given for each answer."""

    def __init__(self):
        super().__init__()
        self.given = []

    def __bool__(self):
        return True

    def get(self, key, given=()):
        self.given.append(given)
        return super().get(key)

    def put(self, key, answer, given=()):
        self.given.append(given)
        self[key] = answer


# ---- one and many ----
def test_an_answer_is_worked_out_once_for_each_key():
    store, worked = Kept(), []

    def work():
        worked.append(1)
        return f"answer {len(worked)}"

    answers = [
        remembering.remembered(store, key, work, given=("g",)) for key in (lambda: "a", lambda: "a", lambda: "b")
    ]
    assert answers == ["answer 1", "answer 1", "answer 2"]
    assert set(store.given) == {("g",)}
    assert remembering.remembered(None, lambda: pytest.fail("no key is needed"), work) == "answer 3"


def test_of_many_those_alone_are_worked_out_that_are_not_kept_and_all_keep_their_order():
    store, calls = Kept(), []
    store["k2"] = "kept 2"

    def each(work, *columns):
        calls.append(columns)
        return map(work, *columns)

    def run(jobs, store=store):
        return list(remembering.remembered_each(store, lambda a, b: b and f"k{a}", lambda a, b: f"new {a}", jobs, each))

    jobs = [(1, "x"), (2, "x"), (3, ""), (4, "x")]
    assert run(jobs) == ["new 1", "kept 2", "new 3", "new 4"]
    assert calls == [((1, 3, 4), ("x", "", "x"))]
    assert dict(store) == {"k1": "new 1", "k2": "kept 2", "k4": "new 4"}, "without a key nothing is kept"
    assert run([(1, "x"), (3, "")]) == ["new 1", "new 3"]
    assert calls[1:] == [((3,), ("",))]
    assert run([(1, "x")]) == ["new 1"]
    assert len(calls) == 2, "nothing is asked for where all is kept"
    assert run(jobs, None) == ["new 1", "new 2", "new 3", "new 4"]


@pytest.mark.parametrize(("may_change", "kept"), [(True, {"b1": "b"}), (False, {"a1": "a", "b1": "b"})])
def test_what_changed_while_it_was_read_is_not_kept(may_change, kept):
    """The key of `a` is another after it was worked out; that of `b` is the same."""
    store, version = Kept(), {"a": 1, "b": 1}

    def work(name):
        if name == "a":
            version["a"] = 2
        return name

    answers = remembering.remembered_each(
        store, lambda name: f"{name}{version[name]}", work, [("a",), ("b",)], may_change=may_change
    )
    assert list(answers) == ["a", "b"]
    assert dict(store) == kept


def test_a_file_is_known_by_its_bytes_and_how_it_is_read(tmp_path, monkeypatch):
    one, other = tmp_path / "one", tmp_path / "other"
    one.write_text("<gpx/>")
    other.write_text("<gpx/>")
    key = remembering._file_key(one, "UTC")
    assert key == remembering._file_key(other, "UTC") != remembering._file_key(one, "Z")
    other.write_text("<gpx />")
    assert remembering._file_key(other, "UTC") not in {key, ""}
    assert remembering._file_key(tmp_path / "gone") == ""
    monkeypatch.setattr(remembering, "MOST_BYTES", 6)
    assert remembering._file_key(one) != ""
    assert remembering._file_key(other) == "", "what is too large is not read, so it is not known"


def test_a_file_that_is_written_while_it_is_read_is_not_kept(tmp_path):
    (tmp_path / "a").write_text("1")
    (tmp_path / "b").write_text("1")
    store = Kept()

    def read(path, name):
        if name == "a":
            path.write_text("2")
        return [name]

    paths = [tmp_path / "a", tmp_path / "b"]
    assert list(remembering.each_file(store, map, read, paths, ["a", "b"])) == [["a"], ["b"]]
    assert list(store.values()) == [["b"]]


# ---- keys ----
def test_a_route_is_known_by_all_that_counts_on_it_and_by_nothing_else():
    route = HAND.routes[0].route
    members = [Member(k, HAND.traces[k], f"R{k}", "") for k in (0, 1)]
    own, other = HAND.flags[0], replace(HAND.flags[0], sha256="ff" * 32)
    usual = (route, members, (own,), Settings(), ())
    key = remembering.route_key(*usual)
    moved = [replace(m, number=m.number + 5) for m in members]
    assert remembering.route_key(route, moved, (own, other), Settings(), ()) == key
    others = [
        (replace(route, name="x"), *usual[1:]),
        (replace(route, xy_m=tuple(xy + 1.0 for xy in route.xy_m)), *usual[1:]),
        (route, [replace(members[0], ride="x"), members[1]], *usual[2:]),
        (route, [replace(members[0], duplicate_of="x"), members[1]], *usual[2:]),
        (route, [replace(members[0], trace=HAND.traces[3]), members[1]], *usual[2:]),
        (route, members, (), Settings(), ()),
        (route, members, (replace(own, track=1),), Settings(), ()),
        (route, members, (replace(own, flag="intentional"),), Settings(), ()),
        (route, members, (own,), Settings().with_values(gap_s=7.0), ()),
        (*usual[:4], ("a tail",)),
    ]
    keys = [remembering.route_key(*how) for how in others]
    assert keys[5] == keys[6], "a flag on another track is no flag here"
    assert len({key, *keys}) == len(others)


def readings(**more):
    return Readings(**({"folder": "week", "traces": HAND.traces, "unreadable": (), "inputs": {}} | more))


def test_traces_in_order_rest_on_no_decision_and_the_whole_rests_on_everything_but_its_place():
    of_order, of_all = remembering.arranged_key, remembering.analysis_key
    usual = readings()
    decided, elsewhere = readings(flags=HAND.flags), readings(folder="other", others=("a.png",))
    fewer = readings(traces=HAND.traces[:3])
    set_otherwise = readings(campaign=Campaign(settings=Settings().with_values(gap_s=7.0)))
    assert of_order(usual, cut=False) == of_order(decided, cut=False) == of_order(elsewhere, cut=False)
    assert len({of_order(r, cut=cut) for r in (usual, fewer, set_otherwise) for cut in (True, False)}) == 6
    assert of_all(usual, cut_passes=False) == of_all(elsewhere, cut_passes=False)
    several = (usual, decided, fewer, set_otherwise, readings(notes=("n",)))
    assert len({of_all(r, cut_passes=cut) for r in several for cut in (True, False)}) == 10
    assert of_order(usual, cut=False) != of_all(usual, cut_passes=False)


# ---- the analysis ----
@pytest.mark.parametrize(
    ("unreadable", "others", "said"),
    [
        (0, (), "found no recording; expected recordings of rides: GPX, NMEA 0183 or CSV, zipped or not"),
        (0, ("a.jpg",), "found 1 file, none of a kind that is read (1 picture); "
                        "expected GPX, NMEA 0183 or CSV, zipped or not: export as GPX"),
        (0, ("a.jpg", "b.jpg"), "found 2 files, none of a kind that is read (2 pictures); "
                                "expected GPX, NMEA 0183 or CSV, zipped or not: export as GPX"),
        (1, (), "found 1 file, none of which can be read; expected recordings of rides"),
        (2, ("a.jpg",), "found 2 files, none of which can be read, and 1 of kinds that are not read (1 picture); "
                        "expected recordings of rides"),
    ],
)  # fmt: skip
def test_where_there_is_no_recording_it_is_said_what_there_is(unreadable, others, said):
    lost = tuple(Unreadable(f"{k}.gpx", 1, "torn", f"{k}.gpx: torn") for k in range(unreadable))
    with pytest.raises(NothingToAnalyse) as refused:
        analysis.analyse_readings(readings(traces=(), unreadable=lost, others=others))
    assert str(refused.value) == f"week: {said}"
    assert refused.value.lines == tuple(u.message for u in lost)


@pytest.fixture
def staged(monkeypatch):
    """Arranging and analysing by hand: what they are given is noted."""
    from gpsq.rides import arrange

    noted = []
    monkeypatch.setattr(
        arrange, "arrange",
        lambda traces, settings, cut, each: noted.append(("arrange", traces, settings, cut, each)) or "in order",
    )  # fmt: skip

    def analysed(readings, arranged, means):
        noted.append(("analyse", readings, arranged, means))
        return by_hand(folder="elsewhere")

    monkeypatch.setattr(stages, "analysed", analysed)
    return noted


ENGINE = SimpleNamespace(map=map)


def test_what_is_remembered_bears_the_name_of_its_folder_now(staged):
    store, hears = Kept(), (lambda *how: None, lambda found: None)
    how = {"executor": ENGINE, "cache": store, "on_progress": hears[0], "on_measured": hears[1]}
    assert analysis.analyse_readings(readings(), **how).folder == "week"
    (first, order, settings, cut, each), (second, read, arranged, means) = staged
    assert (first, second, arranged) == ("arrange", "analyse", "in order")
    assert (order, settings, cut, each) == (HAND.traces, read.campaign.settings, False, map)
    assert (means.each, means.cache, means.tell, means.measured) == (map, store, *hears)
    assert len(store) == 2
    assert [given == HAND.traces for given in store.given] == [True] * 4, "traces are not kept a second time"
    assert analysis.analyse_readings(readings(folder="moved"), **how).folder == "moved"
    assert len(staged) == 2, "nothing was analysed again"


def test_nobody_hears_where_nobody_listens_and_either_may_ask_to_cut(staged):
    analysis.analyse_readings(readings(), executor=ENGINE)
    assert (staged[1][3].tell, staged[1][3].measured) == (stages.tell_nobody, stages.tell_nobody)
    staged.clear()
    for asked, told in ((True, False), (False, True), (True, True)):
        analysis.analyse_readings(readings(campaign=Campaign(cut_passes=told)), cut_passes=asked, executor=ENGINE)
    assert [given[3] for given in staged if given[0] == "arrange"] == [True] * 3


def test_a_folder_is_put_right_before_it_is_read(tmp_path, monkeypatch):
    noted, told = [], []
    monkeypatch.setattr(leftovers, "sweep", lambda folder: noted.append(("sweep", folder)))
    monkeypatch.setattr(folder_swap, "clear", lambda folder: noted.append(("clear", folder)))

    def read_folder(folder, each, on_progress):
        noted.append(("read", folder, list(each(lambda path: [path], []))))
        if on_progress:
            on_progress(1, 2)
        return readings(folder=str(folder))

    monkeypatch.setattr(analysis, "read_folder", read_folder)
    analysis.read(tmp_path, executor=ENGINE, on_progress=lambda *how: told.append(how))
    assert noted == [("sweep", tmp_path), ("clear", tmp_path), ("read", tmp_path, [])]
    assert told == [("reading", 1, 2)]
    monkeypatch.setattr(analysis, "analyse_readings", lambda readings, **how: (readings.folder, how))
    folder, how = analysis.analyse(str(tmp_path), cut_passes=True, executor=ENGINE)
    assert folder == str(tmp_path)
    usual = {"executor": ENGINE, "cache": None, "on_progress": None}
    assert how == usual | {"cut_passes": True}
    assert analysis.analyse(tmp_path, executor=ENGINE)[1] == usual | {"cut_passes": False}


# ---- the cache ----
def test_folders_and_answers_are_this_users_alone(tmp_path, monkeypatch):
    """Of mode 0700 and 0600 (POSIX): nobody else may so much as pass through."""
    monkeypatch.setenv("XDG_CACHE_HOME", str(tmp_path / "users"))
    with cache.opened(tmp_path) as store:
        assert "k" not in store
        assert store.get("k") is None
        store.put("k", np.arange(3))
        assert "k" in store
        modes = [stat.S_IMODE(p.stat().st_mode) for p in (store.folder.parent, store.folder, *store.folder.iterdir())]
        assert modes == [0o700, 0o700, 0o600]
        assert store.get("k").tolist() == [0, 1, 2]
    root = tmp_path / "users" / "gpsq"
    root.chmod(0o755)
    (root / "mark").write_text("x")
    with cache.opened(tmp_path) as again:
        assert stat.S_IMODE(root.stat().st_mode) == 0o700
        assert not (root / "mark").exists()
        assert again.get("k").tolist() == [0, 1, 2]


def test_an_answer_that_was_cut_off_is_not_read(tmp_path):
    store = cache.Cache(tmp_path)
    store.put("k", "answer")
    (file,) = tmp_path.glob("*.answer")
    whole = file.read_bytes()
    for spoilt in (whole[:-1], whole[:31], b"", whole[:32] + b"\0" + whole[33:]):
        file.write_bytes(spoilt)
        assert store.get("k") is None
    file.write_bytes(whole)
    assert store.get("k") == "answer"

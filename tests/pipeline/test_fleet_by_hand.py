"""A fleet by hand: which files are taken, which recordings are one route, what is done again, and what is said of the rest."""

from __future__ import annotations

import json
import sys
from dataclasses import replace
from pathlib import Path
from types import SimpleNamespace

import numpy as np
import pandas as pd
import pytest
from by_hand import by_hand
from small_rides import gpx, write
from trace_maker import road, trace_on

from gpsq.campaign.campaign_file import Campaign
from gpsq.campaign.start_log import StartEntry
from gpsq.campaign.start_matching import Match, Matches
from gpsq.campaign.start_table import Problem
from gpsq.exceptions import InputError, NothingToAnalyse, OutputError
from gpsq.model import Unreadable
from gpsq.pipeline import fleet, fleet_routes, fleet_source
from gpsq.pipeline.fleet_routes import NO_ROUTE, Sorted
from gpsq.plane import Plane
from gpsq.rides.routes import STANDS_M, Shape

CAMPAIGN = Campaign()


# ---- the files ----
def test_files_are_taken_by_name_and_results_and_reference_lines_are_not_among_them(tmp_path):
    write(tmp_path, **{"a/1.gpx": gpx(), "line.gpx": gpx(), "out/x.gpx": gpx(n=20)})
    write(tmp_path, **{"campaign.toml": '[reference]\nA = "line.gpx"\n'})
    found = fleet_source.files_of(tmp_path, tmp_path / "out")
    assert found.files == {"a/1.gpx": tmp_path / "a/1.gpx"}
    single = fleet_source.files_of(tmp_path / "a/1.gpx", tmp_path / "out")
    assert (single.files, single.notes) == ({"1.gpx": tmp_path / "a/1.gpx"}, ())
    with pytest.raises(
        NothingToAnalyse, match="found nothing of that name; expected a folder of recordings, or a Parquet"
    ):
        fleet_source.files_of(tmp_path / "gone", tmp_path)


@pytest.mark.parametrize(("others", "shown"), [(1, ""), (6, ""), (7, " and 1 more"), (9, " and 3 more")])
def test_beside_parquet_the_others_are_left_out_and_told(tmp_path, others, shown):
    write(tmp_path, **{"a.parquet": "x", "b.parquet": "y"}, **{f"{k}.gpx": f"<gpx>{k}" for k in range(others)})
    found = fleet_source.files_of(tmp_path, tmp_path / "out")
    assert list(found.files) == ["a.parquet", "b.parquet"]
    names = ", ".join(f"{k}.gpx" for k in range(min(others, 6)))
    assert found.notes[-1] == (
        f"Where there are Parquet files (2 here) they alone are taken, so {names}{shown} ({others} named .gpx) was left out: "
        "put recordings of the other kind into a folder of their own, and analyse that too."
    )


def test_parquet_alone_leaves_nothing_out(tmp_path):
    write(tmp_path, **{"a.parquet": "x"})
    assert fleet_source.files_of(tmp_path, tmp_path / "out").notes == ()


def test_what_is_written_beside_and_what_of_it_cannot_be_followed(tmp_path):
    write(tmp_path, **{"campaign.toml": 'time_zone = "Europe/Paris"\n', "flags.csv": "no flags\n?\n"})
    write(tmp_path, **{"rides.csv": "file,started\na.gpx,at noon\nb.gpx,2024-05-14 07:00\n"})
    told = fleet_source.told_beside(tmp_path)
    assert told.campaign.time_zone == "Europe/Paris"
    assert [entry.written for entry in told.log.rows][1:] == ["2024-05-14 07:00"]
    assert told.decisions == ()
    assert ["'at noon'" in line for line in told.problems] == [True, False, False]
    assert "no seconds" in told.problems[1]
    assert told.problems[2].startswith("flags.csv: ")


@pytest.mark.parametrize(
    ("without", "said"),
    [(0, []), (1, ["rides.csv: 1 row names no file, and of a fleet such rows are not used."]),
     (2, ["rides.csv: 2 rows name no file, and of a fleet such rows are not used."])],
)  # fmt: skip
def test_rows_that_mean_no_file_are_told(without, said):
    problem = Problem("gone.gpx", "a recording", "", 1, 2)
    known = [Match(StartEntry("gone.gpx", 1), problem=problem), Match(StartEntry("a.gpx", 2))]
    nameless = [Match(StartEntry("", 3), problem=Problem("nothing", "a file", "", 3, 4))] * without
    first, *rest = fleet_source.meaning_none(Matches((*known, *nameless)))
    assert first.startswith("rides.csv: found gone.gpx")
    assert rest == said


# ---- routes ----
def shape(length_m=2000.0, lat=40.0, extra=0.0):
    return Shape(trace_on(road(length_m) + extra, plane=Plane(-28.0, lat)), CAMPAIGN.settings)


def test_parts_are_numbered_by_their_first_recording_and_keep_their_order():
    """The second road has its second recording before the first one's."""
    sorter = fleet_routes._Sorter(CAMPAIGN)
    roads = {"a": 40.0, "b": 41.0}
    for number, name in enumerate("abba"):
        sorter.add((f"{number}", name, 1), shape(lat=roads[name], extra=0.3 * number))
    assert sorter.parts() == {1: [("0", "a", 1), ("3", "a", 1)], 2: [("1", "b", 1), ("2", "b", 1)]}
    sorter.add(("4", "c", 1), None)
    assert list(sorter.parts().items())[2:] == [(NO_ROUTE, [("4", "c", 1)])]


def test_what_goes_no_way_has_no_shape_and_what_cannot_be_read_has_its_reason(monkeypatch):
    line = np.array([[0.0, 0.0], [1.0, 0.0]])
    goes, stands = trace_on(line * (STANDS_M + 1)), trace_on(line * (STANDS_M - 1), day=1)
    single, never = trace_on(line[:1], day=2), trace_on(line[:0], day=3)
    lost = Unreadable("x.gpx", 2, "torn", "x.gpx: torn")
    monkeypatch.setattr(fleet_routes, "traces_in", lambda *given: [lost, single, never, stands, goes])
    found = fleet_routes._shapes_in(Path("f"), "f", CAMPAIGN)
    assert found[0] == ("x.gpx", 2, "x.gpx: torn")
    assert [(file, track) for file, track, _ in found[1:]] == [(t.file, 1) for t in (single, never, stands, goes)]
    assert [what is not None for _, _, what in found[1:]] == [False, False, False, True]
    assert found[-1][2].extent_m == pytest.approx(STANDS_M + 1, rel=1e-3)


def test_a_file_is_read_by_its_kind_and_cut_where_the_campaign_asks(monkeypatch):
    asked = []
    trace, lost = trace_on(road(100.0)), Unreadable("a.gpx", 1, "torn", "a.gpx: torn")
    strange = Unreadable("notes.txt", 1, "no_recording", "notes.txt: what is it")
    monkeypatch.setattr(
        fleet_routes, "read_parquet", lambda *given, **how: asked.append((*given, *how.values())) or [trace]
    )
    monkeypatch.setattr(
        fleet_routes, "read_file", lambda *given, **how: asked.append((*given, how)) or [lost, trace, strange]
    )
    monkeypatch.setattr(fleet_routes.passes, "cut", lambda traces, settings, asked: ([*traces, f"cut {asked}"], (), ()))
    monkeypatch.setattr(fleet_routes, "may_be_something_else", lambda r: r is strange)
    told = replace(CAMPAIGN, time_zone="Europe/Paris", cut_passes=True)
    assert fleet_routes.traces_in(Path("a.parquet"), "a", told) == [trace]
    assert fleet_routes.traces_in(Path("z.txt"), "z", told) == [trace, "cut True", lost]
    assert asked == [
        (Path("a.parquet"), "a", told.settings),
        (Path("z.txt"), "z", {"settings": told.settings, "time_zone": "Europe/Paris"}),
    ]


def test_each_recording_counts_once_and_what_cannot_be_read_is_kept(monkeypatch):
    """Two files hold a recording of one name: it is whole in neither, so the second is told."""
    held = {
        "1": [("r", 1, None), ("r", 2, None), ("lost", 1, "lost: torn")], "2": [("r", 1, None), ("s", 1, None)],
        "3": [("t", 1, None)],
    }  # fmt: skip
    batches, told = [], []
    monkeypatch.setattr(fleet_routes, "BATCH", 2)
    monkeypatch.setattr(fleet_routes, "_shapes_in", lambda path, name, campaign: held[name])
    each = SimpleNamespace(map=lambda fn, paths, names: batches.append(names) or [*map(fn, paths, names)])
    files = {name: Path(name) for name in held}
    found = fleet_routes.sort_out(files, CAMPAIGN, each, lambda *how: told.append(how))
    assert batches == [["1", "2"], ["3"]]
    assert told == [(1, 3), (2, 3), (3, 3)]
    assert found.parts == {NO_ROUTE: [("1", "r", 1), ("1", "r", 2), ("2", "s", 1), ("3", "t", 1)]}
    twice = "2: found recording r, which 1 has too; expected each whole in one file"
    assert found.unreadable == [("lost", 1, "lost: torn"), ("r", 1, twice)]
    assert found.recordings == 4


# ---- what was done before ----
FOUND = Sorted({1: [("a", "a", 1), ("b", "b", 2)], NO_ROUTE: [("c", "c", 1)]}, [("d\udcff", 1, "d: torn")])


def test_how_they_are_sorted_is_known_again_for_the_same_question_alone(tmp_path):
    (tmp_path / "work").mkdir()
    for file in ("work/sorted.json", "fleet.json"):
        (tmp_path / file).write_text(fleet._as_json("this", FOUND))
        again = fleet._sorted_before(tmp_path, "this")
        assert (again.parts, again.unreadable) == (FOUND.parts, FOUND.unreadable)
        assert fleet._sorted_before(tmp_path, "that") is None
        (tmp_path / file).write_text("{torn")
    assert fleet._sorted_before(tmp_path, "this") is None
    (tmp_path / "fleet.json").write_text(fleet._as_json("this", FOUND))
    assert fleet._sorted_before(tmp_path, "this").parts == FOUND.parts, "a torn one does not hide the other"


def test_what_was_told_is_plain_ascii(tmp_path):
    """A name that is no text is kept too: JSON may write any letter as an escape (RFC 8259, 7)."""
    text = fleet._as_json("é", FOUND)
    assert text.isascii()
    assert json.loads(text)["asked"] == "é"
    assert set(json.loads(text)) == {"gpsq", "asked", "parts", "unreadable"}


def test_only_results_of_a_fleet_are_cleared_away(tmp_path):
    foreign, ours, empty, new = (tmp_path / name for name in ("foreign", "ours", "empty", "new"))
    write(tmp_path, **{"foreign/a.csv": "x", "ours/fleet.json": "{}", "ours/tracks/part=000001/part.parquet": "x"})
    write(tmp_path, **{"ours/notes.txt": "x", "ours/work/000001.done": ""})
    (empty / "work").mkdir(parents=True)
    (empty / "work" / ".sorted.json.abc").write_text("x")
    with pytest.raises(
        OutputError, match="found files that gpsq did not write; expected an empty folder or earlier results"
    ):
        fleet._begin(foreign, "this", FOUND)
    (foreign / "a.csv").rename(foreign / "z.csv")
    with pytest.raises(OutputError):
        fleet._begin(foreign, "this", FOUND)
    assert (foreign / "z.csv").exists()
    for out in (ours, empty, new):
        fleet._begin(out, "this", FOUND)
        assert [p.name for p in (out / "work").iterdir()] == ["sorted.json"]
        assert fleet._sorted_before(out, "this").parts == FOUND.parts
    assert sorted(p.name for p in ours.rglob("*")) == ["notes.txt", "sorted.json", "tracks", "work"]
    (new / "fleet.json").write_text("{}")
    (new / "work" / "sorted.json").unlink()
    fleet._begin(new, "that", FOUND)
    assert not (new / "fleet.json").exists()


def test_at_the_end_it_is_told_what_there_was(tmp_path):
    (tmp_path / "work").mkdir()
    done = fleet._finished(tmp_path, "this", FOUND, ("a note",))
    assert done == fleet.Fleet(3, 1, 1, ("a note",))
    assert fleet._sorted_before(tmp_path, "this").parts == FOUND.parts
    assert not (tmp_path / "work").exists()
    assert fleet._finished(tmp_path, "this", Sorted({1: [], 2: []}), ()).routes == 2


def test_a_file_is_known_by_its_size_and_time(tmp_path):
    (tmp_path / "a").write_text("abc")
    assert fleet._stamp(tmp_path / "a") == (3, (tmp_path / "a").stat().st_mtime_ns)
    assert fleet._stamp(tmp_path / "gone") == (0, 0)


# ---- route by route ----
def test_only_the_routes_that_are_missing_are_analysed_and_counted_from_there():
    told, asked = [], []
    found = Sorted({k: [(f"f{k}", f"r{k}", 1), (f"f{k}", f"r{k}", 2)] for k in (1, 2, 3, 4)})
    files = {f"f{k}": Path(f"p{k}") for k in (1, 2, 3, 4)}
    entries = {"r3": StartEntry("r3", 1)}
    part = SimpleNamespace(is_done=lambda number: number in {1, 4}, analyse=lambda *job: asked.append(job))
    engine = SimpleNamespace(map=map)
    fleet._analyse(found, files, part, entries, engine, lambda *how: told.append(how))
    assert told == [("analysing routes", 2, 4), ("analysing routes", 3, 4), ("analysing routes", 4, 4)]
    assert asked == [
        (2, [Path("p2").absolute()], found.parts[2], {}), (3, [Path("p3").absolute()], found.parts[3], entries),
    ]  # fmt: skip
    part.is_done = lambda number: True
    fleet._analyse(found, files, part, entries, engine, lambda *how: told.append(how))
    assert told[3:] == [("analysing routes", 4, 4)]


def test_a_route_is_done_where_it_is_marked_or_all_is_done(tmp_path):
    part = fleet._Part(tmp_path, CAMPAIGN, ())
    assert part.is_done(7)
    (tmp_path / "work").mkdir()
    assert not part.is_done(7)
    (tmp_path / "work" / "000007.done").touch()
    assert part.is_done(7)


def test_of_the_files_of_a_route_its_own_recordings_are_analysed_in_order(tmp_path, monkeypatch):
    """Both files are read whole; the second track of the second is another route's."""
    line = road(100.0)
    made = [trace_on(line, file=f, track=t, device="", creator=f"maker {f}") for f, t in (("b", 1), ("b", 2), ("a", 1))]
    lost = Unreadable("b", 3, "torn", "b: torn")
    monkeypatch.setattr(fleet, "traces_in", lambda path, name, campaign: [t for t in (*made, lost) if t.file == name])
    asked, wrote = [], []
    monkeypatch.setattr(fleet, "analyse_traces", lambda *given: asked.append(given) or by_hand())
    monkeypatch.setattr(fleet, "summaries", lambda analysis: "summed up")
    monkeypatch.setattr(fleet._Part, "_write", lambda own, number, analysis: wrote.append((number, analysis.summaries)))
    part = fleet._Part(tmp_path, CAMPAIGN, ("a decision",))
    started = made[0].time[0] - np.timedelta64(9, "s")
    entries = {"b": StartEntry("b", 1, device="Bee", started=started)}
    places = [("b", "b", 1), ("a", "a", 1)]
    assert part.analyse(5, [Path("b"), Path("a")], places, entries) == 2
    ((traces, settings, decisions),) = asked
    assert [(t.file, t.track, t.device) for t in traces] == [("a", 1, "maker a"), ("b", 1, "Bee")]
    assert (traces[1].started, traces[1].start_basis) == (started, "log")
    assert (settings, decisions, wrote) == (CAMPAIGN.settings, ("a decision",), [(5, "summed up")])


def test_a_route_is_written_into_its_part_and_marked_last(tmp_path, monkeypatch):
    frame = pd.DataFrame({"route": ["A", None], "ride": ["R1", "R2"], "x": [1, 2]})
    monkeypatch.setattr(fleet.layers, "frames", lambda analysis: {"tracks": frame, "empty": frame[:0]})
    monkeypatch.setattr(fleet.tables, "devices", lambda analysis: frame[["x"]])
    monkeypatch.setattr(fleet.tables, "set_aside", lambda analysis: frame[["x"]][:1])
    monkeypatch.setattr(fleet.layers, "put_parquet", lambda frame, path: path.write_text(frame.to_csv(index=False)))
    (tmp_path / "work").mkdir()
    for _ in range(2):  # again, where it was stopped before the mark
        fleet._Part(tmp_path, CAMPAIGN, ())._write(12, None)
    written = {p.relative_to(tmp_path).as_posix(): p.read_text() for p in tmp_path.rglob("*") if p.is_file()}
    assert written == {
        "tracks/part=000012/part.parquet": "route,ride,x\n12-A,12-R1,1\n,12-R2,2\n",
        "devices/part=000012/part.parquet": "x\n1\n2\n", "set_aside/part=000012/part.parquet": "x\n1\n",
        "work/000012.done": "",
    }  # fmt: skip


# ---- the whole ----
@pytest.fixture
def whole(tmp_path, monkeypatch):
    """A fleet whose sorting and analysing are done by hand; `found` is what the sorting gives."""
    pytest.importorskip("pyarrow", reason="the extra `cluster` is not installed")
    write(tmp_path / "in", **{"a.gpx": gpx()})
    own = SimpleNamespace(
        source=tmp_path / "in", out=tmp_path / "out", found=Sorted({1: [("a.gpx", "a.gpx", 1)]}), asked=[]
    )
    monkeypatch.setattr(fleet, "sort_out", lambda files, *rest: own.asked.append(("sort", list(files))) or own.found)
    monkeypatch.setattr(fleet, "_analyse", lambda *given: own.asked.append(("analyse", given[3])))
    return own


def test_a_run_sorts_once_and_again_only_where_something_changed(whole):
    write(whole.source, **{"rides.csv": "file,started\na.gpx,2024-05-14T07:00:00Z\n,2024-05-14T07:00:00Z\n"})
    (whole.source / "z.gpx").symlink_to("nowhere")
    first = fleet.run(whole.source, whole.out)
    assert (first.recordings, first.unreadable, first.routes) == (1, 1, 1)
    assert "rides.csv: 1 row names no file, and of a fleet such rows are not used." in first.notes
    assert whole.asked[0] == ("sort", ["a.gpx"])
    assert {name: entry.file for name, entry in whole.asked[1][1].items()} == {"a.gpx": "a.gpx"}
    whole.asked.clear()
    assert fleet.run(whole.source, whole.out) == first
    assert [name for name, _ in whole.asked] == ["analyse"]
    whole.asked.clear()
    whole.found = Sorted({1: [("a.gpx", "a.gpx", 1)]})
    (whole.source / "a.gpx").write_text("another")
    assert fleet.run(whole.source, whole.out) == first
    assert [name for name, _ in whole.asked] == ["sort", "analyse"]


def test_nothing_that_can_be_read_is_said_file_by_file_up_to_a_bound(whole):
    whole.found = Sorted({}, [(f"{k}", 1, f"line {k}") for k in range(25)])
    with pytest.raises(NothingToAnalyse, match="found 1 files, none readable; expected recordings of rides") as refused:
        fleet.run(whole.source, whole.out)
    assert refused.value.lines == tuple(f"line {k}" for k in range(20))
    assert not whole.out.exists()


def test_a_full_disk_is_one_line(whole, monkeypatch):
    def full(*given):
        raise OSError(28, "No space left", "tracks/a")

    monkeypatch.setattr(fleet, "_analyse", full)
    with pytest.raises(OutputError, match="tracks/a: cannot be written: No space left"):
        fleet.run(whole.source, whole.out)


def test_without_pyarrow_it_is_said_what_is_missing(whole, monkeypatch):
    monkeypatch.setitem(sys.modules, "pyarrow", None)
    with pytest.raises(
        InputError, match="gpsq fleet: found no package pyarrow; expected Python with the package pyarrow"
    ):
        fleet.run(whole.source, whole.out)


def test_many_small_batches_are_worth_the_cores_where_all_files_together_are(tmp_path, monkeypatch):
    (tmp_path / "a").write_bytes(b"x" * 100)
    monkeypatch.setattr(fleet.executors, "fixes_in", lambda argument: 60_000)
    assert fleet.this_machine([tmp_path / "a"]).worth_a_pool == fleet.executors.WORTH_A_POOL
    assert fleet.this_machine([tmp_path / "a"] * 9).worth_a_pool == 0

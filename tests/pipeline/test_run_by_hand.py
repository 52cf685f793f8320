"""A run into a folder, with every part by hand: in which order, where, and what stands already; and the frames of notebooks."""

from __future__ import annotations

import contextlib
from types import SimpleNamespace

import pytest
from by_hand import by_hand
from second_by_hand import Cores, Second, named

from gpsq.geometry import _compiled, alignment
from gpsq.output import results_folder
from gpsq.output.charts import all_charts
from gpsq.output.tables import layers, tables
from gpsq.pipeline import campaign_run, frames, second_process
from gpsq.summaries import summarise
from gpsq.summaries.flat_rows import flat_row

HAND = by_hand()


@pytest.fixture
def drawn(monkeypatch):
    """What draws and searches, by hand."""
    monkeypatch.setattr(all_charts, "overlays", lambda found, part, parts: tuple("abc"[part::parts]))
    monkeypatch.setattr(results_folder, "report", lambda found, overlays: {"report.html": overlays})
    monkeypatch.setattr(summarise, "places_that_stand_out", lambda found, part, parts: "xyz"[part::parts])
    monkeypatch.setattr(summarise, "devices_compared", lambda found: "compared")
    monkeypatch.setattr(campaign_run, "_kept", [])


def test_beside_a_second_process_the_overlays_are_kept_there_for_the_report(drawn):
    noted = []
    drawing = campaign_run._Drawing(Second(noted, is_there=True), Cores(noted, is_much=False))
    assert drawing.begin_beside_summing_up(HAND) is None, "it searches with the rest"
    assert drawing.begin_report(HAND)() == {"report.html": ("a", "b", "c")}
    assert [name for name, *_ in noted] == ["cores end", "_draw_and_keep", "cores end", "_report"]
    assert noted[1][1:] == (HAND,)
    assert noted[3][1:] == (HAND, None)
    assert campaign_run._kept == []
    assert drawing.begin_report(HAND)() == {"report.html": None}, "the report draws its own where none were drawn"


def test_of_a_large_run_a_copy_for_each_core_draws_its_part_and_its_routes_are_searched_and_another_compares_devices(
    drawn, monkeypatch
):
    noted = []
    monkeypatch.setattr(campaign_run, "SecondProcess", lambda: Second(noted, is_there=True))
    drawing = campaign_run._Drawing(Second(noted, is_there=False), Cores(noted, is_much=True))
    searched, compared = drawing.begin_beside_summing_up(HAND)
    assert (searched(), compared()) == (("x", "y", "z"), "compared")
    begun = [given for given in noted if given != ("cores end",)]
    in_parts = [(what, HAND, part, 2) for what in ("_overlays", "places_that_stand_out") for part in (0, 1)]
    assert begun == [*in_parts, ("devices_compared", HAND)]
    assert drawing.begin_report(HAND)() == {"report.html": ("a", "b", "c")}
    assert drawing.overlays == []


def test_what_was_dealt_out_unevenly_is_whole():
    assert campaign_run.in_turn([(1, 4), (2, 5), (3,)]) == (1, 2, 3, 4, 5)
    assert campaign_run.in_turn([]) == ()


@pytest.fixture
def run(monkeypatch, tmp_path):
    """`analyse_into` with reading, analysing and writing by hand; `own` says what there is, and notes what is asked."""
    own = SimpleNamespace(noted=[], kept={}, much=False, store=True, made=[], out=tmp_path / "out")
    store = SimpleNamespace(get=lambda key: own.kept.get(key), put=lambda key, answer: own.kept.update({key: answer}))

    class Store(SimpleNamespace):
        def __contains__(self, key):
            return key in own.kept

    readings = SimpleNamespace(traces=HAND.traces)
    cores = Cores(own.noted, is_much=False)

    def local(meanwhile):
        assert meanwhile is second_process.load_what_writes
        cores._is_much = own.much
        return cores

    def analysed(given, **how):
        own.how = how
        assert given is readings
        return HAND

    def wrote(analysis, out, **how):
        own.made.append(how | {"drawn": how["drawn"]()})
        out.mkdir(exist_ok=True)
        (out / "a.csv").write_text("a")
        return [out / "a.csv"]

    monkeypatch.setattr(
        campaign_run.cache, "opened", lambda folder: contextlib.nullcontext(Store(**vars(store)) if own.store else None)
    )
    monkeypatch.setattr(campaign_run.executors, "Local", local)
    monkeypatch.setattr(campaign_run, "SecondProcess", lambda: Second(own.noted, is_there=True))
    monkeypatch.setattr(campaign_run, "load_what_draws", named("load_what_draws"))
    monkeypatch.setattr(campaign_run, "read", lambda folder, **how: own.noted.append(("read", how)) or readings)
    monkeypatch.setattr(campaign_run, "analysis_key", lambda readings, cut_passes: f"key {cut_passes}")
    monkeypatch.setattr(campaign_run, "analyse_readings", analysed)
    monkeypatch.setattr(results_folder, "write_results", wrote)
    own.go = lambda **how: campaign_run.analyse_into(tmp_path, own.out, **how)
    own.cores = cores
    return own


def names(own):
    return [name for name, *_ in own.noted]


def test_a_first_run_reads_while_loading_draws_beside_and_writes(run, drawn):
    assert run.go(tiles="t", parquet=True, on_progress=print) is HAND
    assert names(run) == ["read", "load_what_draws", "cores end", "_report", "cores end"]
    reads = run.noted[0][1]
    assert isinstance(reads["executor"], second_process.ReadsWhileLoading)
    assert (reads["executor"].cores, reads["on_progress"]) == (run.cores, print)
    assert run.cores.jobs == [(list(HAND.traces),)]
    assert (run.how["cut_passes"], run.how["executor"], run.how["on_progress"]) == (False, run.cores, print)
    assert run.how["cache"] is reads["cache"]
    assert run.how["on_measured"].__self__.cores is run.cores
    assert run.made == [{"tiles": "t", "parquet": True, "drawn": {"report.html": None}}]


def test_a_run_that_finds_its_analysis_or_has_much_to_do_loads_nothing_aside(run, drawn):
    run.kept["key True"] = "the analysis"
    run.go(cut_passes=True)
    assert "load_what_draws" not in names(run)
    run.noted.clear()
    run.go()
    assert "load_what_draws" in names(run), "of another question it is not"
    run.noted.clear()
    run.much = True
    run.go()
    assert "load_what_draws" not in names(run)
    run.noted.clear()
    run.much, run.store = False, False
    run.go()
    assert "load_what_draws" in names(run), "without a cache nothing is found"


def test_who_is_given_reads_and_analyses(run, drawn):
    given = SimpleNamespace(map=map)
    run.go(executor=given)
    assert (run.noted[0][1]["executor"], run.how["executor"]) == (given, given)


def test_results_are_written_again_for_other_tiles_layers_rides_or_folders_and_where_they_were_changed(run, drawn):
    def times(**how):
        run.made.clear()
        run.go(**how)
        return len(run.made)

    assert [times(), times()] == [1, 0]
    assert [times(tiles="t"), times(tiles="t")] == [1, 0]
    assert [times(parquet=True), times(parquet=True)] == [1, 0]
    assert [times(cut_passes=True), times(cut_passes=True)] == [1, 0]
    (run.out / "a.csv").write_text("changed")
    assert [times(), times()] == [1, 0]
    (run.out / "a.csv").unlink()
    assert times() == 1
    run.out = run.out.with_name("other")
    assert [times(), times()] == [1, 0]
    run.store = False
    assert [times(), times()] == [1, 1]


def test_what_stands_is_known_by_its_bytes(tmp_path):
    (tmp_path / "a").write_text("abc")
    # the SHA-256 of "abc" (FIPS 180-4, example)
    digest = "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad"
    assert campaign_run._standing(tmp_path, ["a", "gone"]) == {"a": digest, "gone": ""}


@pytest.mark.parametrize(("compiles", "is_there"), [(True, True), (True, False), (False, True)])
def test_what_measures_is_woken_and_the_curves_beside_it_where_code_is_compiled(monkeypatch, compiles, is_there):
    """A second process that is not there yet is not begun for it: it would be a copy of all that was read."""
    noted, second = [], []
    monkeypatch.setattr(_compiled, "tell_once", lambda say: noted.append(say) or (lambda: compiles and noted[1:]))
    monkeypatch.setattr(alignment, "wake", lambda: noted.append("awake"))
    campaign_run._load_what_measures(print, Second(second, is_there=is_there))
    assert noted == [print, "awake"]
    assert [name for name, *_ in second] == (["wake"] if compiles and is_there else [])


# ---- frames ----
def test_frames_bear_the_names_of_the_results(monkeypatch):
    for name in ("tracks", "devices", "deviations", "comparisons", "set_aside", "reference"):
        monkeypatch.setattr(tables, name, lambda found, name=name: f"{name} of {found.title}")
    monkeypatch.setattr(layers, "frames", lambda found: {"layer": found.title})
    found = frames.frames(HAND)
    for name in ("tracks", "devices", "deviations", "comparisons", "set_aside", "reference"):
        assert getattr(found, name) == f"{name} of Quay and weir"
    assert (found.layers, found.analysis) == ({"layer": "Quay and weir"}, HAND)
    summed = [name for name in vars(HAND.summaries) if name not in frames.TABLED]
    assert len(summed) >= 10
    for name in summed:
        rows = [flat_row(row) for row in getattr(HAND.summaries, name)]
        frame = getattr(found, name)
        assert len(frame) == len(rows)
        assert list(frame.columns) == list(rows[0] if rows else [])


def test_a_notebook_gives_a_folder_by_its_name(monkeypatch, tmp_path):
    from gpsq.pipeline import analysis

    monkeypatch.setattr(analysis, "analyse", lambda folder: ("analysis of", folder))
    monkeypatch.setattr(frames, "frames", lambda found: ("frames", *found))
    assert frames.analyse(str(tmp_path)) == ("frames", "analysis of", tmp_path)

"""Every command with its work by hand: what it is asked for by which option, what it says where, and with which status it ends."""

from __future__ import annotations

import contextlib
import json
import sys
import webbrowser
from pathlib import Path
from types import SimpleNamespace
from unittest.mock import Mock

import pytest
from by_hand import by_hand

from gpsq import cli
from gpsq.campaign import flags
from gpsq.exceptions import InputError, NothingToAnalyse, OutputError
from gpsq.model import Unreadable
from gpsq.output import closing, terminal
from gpsq.settings import RESULTS

HAND = by_hand()
WELL = by_hand(unreadable=(), notes=())


@pytest.fixture
def run(capsys):
    """Run a command; return status, lines on standard output, lines on standard error."""

    def ran(*arguments):
        with pytest.raises(SystemExit) as ended:
            cli.main([str(argument) for argument in arguments])
        said = capsys.readouterr()
        return ended.value.code, said.out.splitlines(), said.err.splitlines()

    return ran


@pytest.fixture
def noted():
    return []


@pytest.fixture
def campaign(monkeypatch, noted):
    """Analyses by hand: `own.analysis` is what is found; all that is asked is noted."""
    from gpsq.pipeline import analysis, cache, campaign_run
    from gpsq.simulate import shipped_demo

    own = SimpleNamespace(analysis=HAND)

    def into(folder, out, *, say, on_progress, **how):
        say("compiling")
        on_progress("reading", 1, 2)
        noted.append(("into", folder, out, how))
        return own.analysis

    def alone(folder, *, on_progress, **how):
        noted.append(("alone", folder, how))
        return own.analysis

    monkeypatch.setattr(shipped_demo, "put", lambda folder: noted.append(("put", folder)))
    monkeypatch.setattr(campaign_run, "analyse_into", into)
    monkeypatch.setattr(analysis, "analyse", alone)
    monkeypatch.setattr(cache, "opened", lambda folder: contextlib.nullcontext(f"cache of {folder}"))
    monkeypatch.setattr(terminal, "lines", lambda found: iter(["the table"]))
    monkeypatch.setattr(closing, "where_it_falls_short", lambda found: iter(["a shortfall"]))
    monkeypatch.setattr(closing, "row_to_copy", lambda found, log: iter([f"a row for {log}"]))
    return own


ASKED = {"tiles": None, "parquet": False, "cut_passes": False, "executor": None}
LOST = "amber/thu.gpx: found a web page"
NOTE = "Two clocks were set by hand."
COUNT = "1 of 5 recordings could not be read."


def out_of(folder, out):
    return ["the table", "a shortfall", "", f"Report: {out}/report.html", f"a row for {folder / 'rides.csv'}"]


# ---- analyse and demo ----
def test_an_analysis_ends_with_its_report_and_what_is_to_be_known(run, campaign, noted):
    status, out, err = run("analyse", "week")
    assert (status, out) == (1, out_of(Path("week"), f"week/{RESULTS}"))
    assert err == ["compiling", LOST, NOTE, COUNT]
    assert noted == [("into", Path("week"), Path("week") / RESULTS, ASKED)]
    status, out, err = run("analyse", "week", "--quiet")
    assert (status, out, err) == (1, out_of(Path("week"), f"week/{RESULTS}"), [LOST, COUNT])
    campaign.analysis = WELL
    assert run("analyse", "week", "-q")[::2] == (0, [])


def test_options_reach_the_analysis(run, campaign, noted, monkeypatch):
    opened = []
    monkeypatch.setattr(webbrowser, "open", opened.append)
    run("analyse", "--out", "there", "--tiles", "osm", "--parquet", "--cut-passes")
    assert noted == [("into", Path(), Path("there"), ASKED | {"tiles": "osm", "parquet": True, "cut_passes": True})]
    assert opened == []
    run("analyse", "week", "--out", "there", "--open")
    assert opened == [(Path.cwd() / "there" / "report.html").as_uri()]


def test_the_demo_is_put_and_then_analysed(run, campaign, noted):
    status, out, err = run("demo")
    assert noted == [
        ("put", Path("gpsq-demo")),
        ("into", Path("gpsq-demo"), Path("gpsq-demo") / RESULTS, {"executor": None}),
    ]
    assert out[3] == f"Report: gpsq-demo/{RESULTS}/report.html"
    assert (status, err[0]) == (1, "compiling")
    assert run("demo", "elsewhere", "--quiet")[2] == [LOST, COUNT]
    assert noted[2] == ("put", Path("elsewhere"))


def test_a_cluster_is_joined_for_the_run_and_let_go(run, campaign, noted, monkeypatch):
    from gpsq.pipeline import executors

    class Joined(contextlib.nullcontext):
        def __init__(self, address, say):
            super().__init__(f"cluster {address}")
            say("waiting")

        def __exit__(self, *_):
            noted.append("let go")

    monkeypatch.setattr(executors, "Cluster", Joined)
    assert run("analyse", "week", "--cluster", "here:1")[2][0] == "waiting"
    assert noted == [("into", Path("week"), Path("week") / RESULTS, ASKED | {"executor": "cluster here:1"}), "let go"]
    assert run("analyse", "week", "--cluster", "here:1", "-q")[2] == [LOST, COUNT]


# ---- fleet ----
def test_a_fleet_tells_how_many_and_why_not_more(run, monkeypatch, noted):
    from gpsq.pipeline import fleet

    found = fleet.Fleet(7, 2, 3, ("left out",))
    monkeypatch.setattr(
        fleet, "run", lambda source, out, *, executor, on_progress: noted.append((source, out, executor)) or found
    )
    assert run("fleet", "in", "--out", "res") == (
        1, ["7 recordings on 3 routes: res/tracks"],
        ["left out", "2 recordings could not be read; res/fleet.json says why."],
    )  # fmt: skip
    assert noted == [(Path("in"), Path("res"), None)]
    assert run("fleet", "in", "--out", "res", "-q")[2] == ["2 recordings could not be read; res/fleet.json says why."]
    found = fleet.Fleet(7, 1, 3)
    assert run("fleet", "in", "--out", "res")[::2] == (1, ["1 recording could not be read; res/fleet.json says why."])
    found = fleet.Fleet(7, 0, 3)
    assert run("fleet", "in", "--out", "res") == (0, ["7 recordings on 3 routes: res/tracks"], [])


# ---- check ----
@pytest.fixture
def checked(monkeypatch, noted):
    from gpsq.pipeline import check, shortfalls

    own = SimpleNamespace(records=[{"outcome": "ok", "name": "é"}])

    def inspected(paths, settings, *, time_zone, date_order):
        noted.append((paths, time_zone, date_order))
        return own.records

    def short(folders, *, say):
        noted.append(("short", folders))
        say("why not")
        return iter(["it falls short"] if folders else [])

    monkeypatch.setattr(check, "inspect_paths", inspected)
    monkeypatch.setattr(check, "describe", lambda records: f"{len(records)} records\n- a note")
    monkeypatch.setattr(shortfalls, "shortfall_lines", short)
    return own


def test_check_says_what_it_sees_and_of_a_folder_where_it_falls_short(run, checked, noted, tmp_path):
    (tmp_path / "a.gpx").write_text("x")
    assert run("check", tmp_path, tmp_path / "a.gpx", "--zone", "Z", "--date-order", "dmy") == (
        0, ["1 records", "- a note", "it falls short"], ["why not"],
    )  # fmt: skip
    assert noted == [([tmp_path, tmp_path / "a.gpx"], "Z", "dmy"), ("short", [tmp_path])]
    status, out, err = run("check", tmp_path / "a.gpx", "--json")
    assert (status, json.loads("\n".join(out)), err) == (0, checked.records, [])
    assert "é" in "".join(out)
    assert out[1].startswith("  {")


def test_check_ends_by_how_much_could_be_read(run, checked, noted, tmp_path):
    (tmp_path / "a.gpx").write_text("x")
    gone = f"{tmp_path}/gone: found no such file or folder; expected a file or a folder"
    status, _, err = run("check", tmp_path / "gone", tmp_path / "a.gpx", "--json")
    assert (status, err) == (1, [gone])
    assert noted[0][0] == [tmp_path / "a.gpx"]
    checked.records = [{"outcome": "ok"}, {"outcome": "error"}]
    assert run("check", tmp_path / "a.gpx", "--json")[0] == 1
    checked.records = []
    assert run("check", tmp_path / "gone", "--json")[::2] == (2, [gone])
    (tmp_path / "link").symlink_to("nowhere")  # which is told by what reads it
    checked.records = [{"outcome": "ok-warn"}]
    assert run("check", tmp_path / "link", "--json")[::2] == (0, [])


# ---- flag ----
def test_flag_lists_or_decides(run, campaign, noted, tmp_path, monkeypatch):
    monkeypatch.setattr(terminal, "deviation_lines", lambda found: iter(["the list"]))
    monkeypatch.setattr(terminal, "decision_line", lambda chosen, decision: f"{decision} of {', '.join(chosen)}")
    assert run("flag", tmp_path) == (0, ["the list"], [])
    assert noted == [("alone", tmp_path, {"cut_passes": False, "cache": f"cache of {tmp_path}", "executor": None})]
    status, out, err = run("flag", tmp_path, "E77", "d0a", "intentional", "--note", "bridge", "--cut-passes")
    assert (status, out) == (0, ["intentional of E77, d0a"])
    assert err == [f"Run gpsq analyse {tmp_path} to see the figures change."]
    assert noted[1][2]["cut_passes"] is True
    kept, _ = flags.load(tmp_path)
    assert [(f.track, f.flag, f.note) for f in kept] == [(1, "intentional", "bridge"), (2, "intentional", "bridge")]
    assert run("flag", tmp_path, "E77", "clear", "-q")[2] == []
    assert flags.load(tmp_path)[0] == ()
    for words in (["E77"], ["error"], ["E77", "maybe"]):
        said = "expected one or more deviations, events or rides, then intentional, error or clear"
        assert run("flag", tmp_path, *words) == (2, [], [f"gpsq flag: found {' '.join(words)}; {said}"])


# ---- compare, replay, publish, serve ----
def test_compare_tells_what_could_not_be_read(run, monkeypatch, noted):
    from gpsq.output import campaigns_page
    from gpsq.summaries.across import campaigns

    found = SimpleNamespace(problems=("b: found nothing",))
    monkeypatch.setattr(campaigns, "compare_campaigns", lambda results, settings: noted.append(results) or found)
    monkeypatch.setattr(campaigns_page, "write_compared", lambda found, out: noted.append(out))
    monkeypatch.setattr(campaigns_page, "lines", lambda found: iter(["side by side"]))
    assert run("compare", "a", "b") == (
        1, ["side by side", "", "Page: gpsq-compare/compare.html"],
        ["b: found nothing", "1 of 2 folders could not be read."],
    )  # fmt: skip
    assert noted == [[Path("a"), Path("b")], Path("gpsq-compare")]
    assert run("compare", "a", "b", "-q")[2] == ["b: found nothing"]
    found.problems = ()
    assert run("compare", "a", "--out", "c") == (0, ["side by side", "", "Page: c/compare.html"], [])


def test_replay_films_the_ride_that_is_meant(run, campaign, monkeypatch, noted):
    from gpsq.output.overlay import rides
    from gpsq.output.replay import film

    monkeypatch.setattr(film, "ride_named", lambda found, ride: f"the {ride}")
    monkeypatch.setattr(film, "write_film", lambda found, ride, path: noted.append((found, ride, path)))
    monkeypatch.setattr(rides, "slug", lambda ride: ride.replace(" ", "_"))
    assert run("replay", "week", "R01")[:2] == (0, ["Film: replay-the_R01.gif"])
    assert noted[0][2]["cut_passes"] is False
    assert noted[1] == (HAND, "the R01", Path("replay-the_R01.gif"))
    assert run("replay", "week", "R01", "--out", "x.mp4", "--cut-passes")[1] == ["Film: x.mp4"]
    assert noted[2][2]["cut_passes"] is True


def test_publish_says_what_it_hides_and_where_that_is_kept(run, campaign, monkeypatch, noted):
    from gpsq.pipeline import publish

    monkeypatch.setattr(
        publish, "publish", lambda found, folder, out, *, tiles: noted.append((found, folder, out, tiles)) or ("cut",)
    )
    status, out, err = run("publish", "week", "--out", "p", "--tiles", "osm")
    assert (status, out) == (1, ["Published: p/report.html"])
    secret = Path("week") / "gpsq-secret.json"
    assert [line for line in err if line.startswith("What is hidden")] == err[1:2]
    assert (err[0], err[2]) == ("cut", LOST)
    assert str(secret.parent) in err[1]
    assert err[1].endswith(": never publish that file, and do not lose it.")
    assert noted[0][2]["cut_passes"] is False
    assert noted[1] == (HAND, Path("week"), Path("p"), "osm")
    assert run("publish", "week", "--out", "p", "-q")[2] == ["cut", LOST]
    campaign.analysis = WELL
    assert run("publish", "week", "--out", "p", "-q") == (0, ["Published: p/report.html"], ["cut"])


def test_serve_gives_folder_and_port(run, monkeypatch, noted):
    from gpsq.web import serve

    monkeypatch.setattr(
        serve,
        "serve",
        lambda folder, port, *, open_browser, say: noted.append((folder, port, open_browser)) or say("here"),
    )
    assert run("serve") == (0, ["here"], [])
    run("serve", "week", "--port", "5000", "--open")
    assert noted == [(Path("gpsq-campaign"), None, False), (Path("week"), 5000, True)]


@pytest.mark.parametrize(
    "command", [["analyse", "week"], ["flag", "week"], ["replay", "week", "R"], ["publish", "week", "--out", "p"]]
)
def test_progress_is_shown_unless_it_is_not_wanted(run, campaign, monkeypatch, command):
    asked = []

    def progress(*, quiet):
        asked.append(quiet)
        raise OutputError("far enough")

    monkeypatch.setattr(cli, "Progress", progress)
    run(*command)
    run(*command, "--quiet")
    assert asked == [False, True]


# ---- what goes wrong ----
def test_every_refusal_is_plain_lines_and_status_2(run, monkeypatch):
    from gpsq.pipeline import campaign_run

    cases = [
        (NothingToAnalyse("week", "nothing", "rides", ("a: torn", "b: torn")),
         ["a: torn", "b: torn", "week: found nothing; expected rides"]),
        (OutputError("it is full"), ["it is full"]),
        (OSError(13, "Permission denied", "week"), ["week: Permission denied"]),
        (OSError("odd"), ["gpsq: odd"]),
        (InputError("a\x1b", "b", "c"), ["a: found b; expected c"]),
    ]  # fmt: skip
    for error, said in cases:

        def fails(*given, error=error, **how):
            raise error

        monkeypatch.setattr(campaign_run, "analyse_into", fails)
        assert run("analyse", "week") == (2, [], said)


def test_who_stops_it_is_told_that_nothing_is_lost(run, monkeypatch):
    """The status is 128 and the number of SIGINT, 2 (POSIX; common practice of shells)."""
    from gpsq.web import serve

    monkeypatch.setattr(serve, "serve", Mock(side_effect=KeyboardInterrupt))
    assert run("serve") == (130, [], ["stopped; earlier results are whole"])


def test_names_break_no_line_and_a_stream_of_few_letters_spells_the_others_out(run, campaign, monkeypatch):
    campaign.analysis = by_hand(unreadable=(Unreadable("a", 1, "x", "a\x1b[31m: torn"),), notes=())
    assert "\x1b" not in "".join(run("analyse", "week", "-q")[2])
    asked = []
    monkeypatch.setattr(sys, "stdout", SimpleNamespace(reconfigure=lambda **how: asked.append(how)))
    cli._set_up_process()
    assert asked == [{"errors": "backslashreplace"}]
    monkeypatch.setattr(sys, "stdout", SimpleNamespace())
    cli._set_up_process()


def test_the_version_is_that_which_was_installed(run, monkeypatch):
    from gpsq import digests

    monkeypatch.setattr(digests, "version", lambda: "9.8.7")
    assert run("--version") == (0, ["gpsq 9.8.7"], [])
    status, out, err = run()
    assert status == 2
    assert "Not for navigation or safety of life" in "".join([*out, *err])
    assert (cli.WELL, cli.PARTLY, cli.NOTHING) == (0, 1, 2)

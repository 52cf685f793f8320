"""What a run ends with, and what stands beside its tables: closing words, ``run.json``, the shared page, a bar, templates."""

from __future__ import annotations

import base64
import dataclasses
import hashlib
import io
import json
import os
import sys
from importlib.metadata import version
from pathlib import Path

import jinja2
import numpy as np
import pytest
from by_hand import at, by_hand
from lxml import html
from markupsafe import Markup

from gpsq.exceptions import OutputError
from gpsq.output import closing, results_folder, run_file, share, templating
from gpsq.output.progress import Progress


@pytest.fixture(scope="module")
def whole():
    return by_hand()


# ---- run.json ----
def test_run_json_counts_what_was_put_in(whole):
    """Four recordings and one that could not be read; one scored; rides R01, R02 and R03; one of three decided."""
    one = dataclasses.replace(whole.results[1], status="not scored")
    assert run_file.counts(dataclasses.replace(whole, results=(whole.results[0], one, *whole.results[2:]))) == {
        "recordings": 5, "scored": 1, "not_scored": 3, "unreadable": 1, "devices": 2, "rides": 3, "routes": 2,
        "points": 10 + 8 + 17 + 3, "accepted": 6 + 5 + 0 + 3, "deviations": 3, "flagged": 1,
    }  # fmt: skip


def test_run_json_is_what_the_run_rests_on_in_order(whole):
    odd = dataclasses.replace(
        whole, title="Quay\tand\nweir", inputs={"z.gpx": "9", "a\x07.gpx": "1"}, notes=("Über\nalles.",)
    )
    text = run_file.run_text(odd, ["b.csv", "a.csv"])
    said = json.loads(text)
    assert text.endswith("}\n")
    assert text.startswith('{\n "gpsq": ')
    assert "Über alles." in text
    assert list(said) == ["gpsq", "title", "settings", "inputs", "counts", "libraries", "notes", "files"]
    assert (said["gpsq"], said["title"]) == (version("gpsq"), "Quay and weir")
    assert list(said["inputs"].items()) == [("a .gpx", "1"), ("z.gpx", "9")]
    assert said["files"] == ["a.csv", "b.csv"]
    assert said["notes"] == ["Über alles."]
    assert said["libraries"] == {n: version(n) for n in ("numpy", "scipy", "shapely", "pyproj", "numba")}
    assert said["settings"]["step_m"] == {"value": whole.settings.step_m, "unit": "m"}
    assert said["counts"]["points"] == 38
    assert json.loads(run_file.run_text(whole, []))["files"] == []


def test_run_json_holds_no_number_that_is_none(whole):
    """RFC 8259, section 6: numbers that are infinite or none are not permitted."""
    settings = dataclasses.replace(whole.settings)
    object.__setattr__(settings, "gap_s", float("nan"))
    with pytest.raises(ValueError, match="JSON"):
        run_file.run_text(dataclasses.replace(whole, settings=settings), [])


# ---- closing words ----
@pytest.mark.parametrize(
    ("count", "more"),
    [(1, ""), (3, ""), (4, " (1 more: gpsq check 'a week')"), (9, " (6 more: gpsq check 'a week')")],
)
def test_three_shortfalls_are_told_and_how_many_more_there_are(whole, monkeypatch, count, more):
    monkeypatch.setattr(closing, "shortfalls", lambda analysis: [f"short\t{n}" for n in range(count)])
    found = list(closing.where_it_falls_short(dataclasses.replace(whole, folder="a week")))
    assert found == [
        "", f"Where it falls short of a fair test{more}", *(f"- short {n}" for n in range(min(count, 3)))
    ]  # fmt: skip


def test_where_nothing_falls_short_nothing_is_said(whole, monkeypatch):
    monkeypatch.setattr(closing, "shortfalls", lambda analysis: [])
    assert list(closing.where_it_falls_short(whole)) == []


def no_starts(analysis):
    traces = tuple(
        dataclasses.replace(t, started=np.datetime64("NaT", "ms"), start_basis="none") for t in analysis.traces
    )
    return dataclasses.replace(analysis, traces=traces)


def test_where_no_start_is_known_a_row_to_copy_is_given(whole):
    (said,) = closing.row_to_copy(no_starts(whole), Path("week/rides.csv"))
    assert said == (
        "No start is known, so no time to first fix is measured: write when you pressed start into week/rides.csv, a line "
        "for each ride such as 2026-05-04 hh:mm:ss Z (Z is UTC; your own clock has an offset such as +02:00)."
    )
    (zoned,) = closing.row_to_copy(dataclasses.replace(no_starts(whole), time_zone="Europe/Berlin"), Path("rides.csv"))
    assert zoned.endswith("such as 2026-05-04 hh:mm:ss (in Europe/Berlin).")


def test_where_any_start_is_known_no_row_is_given(whole):
    assert list(closing.row_to_copy(whole, Path("rides.csv"))) == []
    one = no_starts(whole)
    known = dataclasses.replace(one.traces[3], started=at("2026-05-06T17:19:00"), start_basis="log")
    assert list(closing.row_to_copy(dataclasses.replace(one, traces=(*one.traces[:3], known)), Path("x"))) == []


def test_where_no_day_is_known_the_row_says_what_belongs_there(whole):
    undated = np.array(["1970-01-01T17:20", "1970-01-01T17:21", "1970-01-01T17:22"], "datetime64[ms]")
    one = no_starts(whole)
    traces = (one.traces[2], one.traces[2], one.traces[2], dataclasses.replace(one.traces[3], time=undated))
    (said,) = closing.row_to_copy(dataclasses.replace(one, traces=traces), Path("rides.csv"))
    assert "such as yyyy-mm-dd hh:mm:ss Z" in said


# ---- report and map on one page ----
POLICY = '<meta http-equiv="Content-Security-Policy" content="{}">'
REPORT = (
    f"<html><head>{POLICY.format('default-src &#39;none&#39;; script-src &#39;sha256-r&#39;; img-src data:')}</head><body>"
    '<h2 id="answer">Answer</h2><a href="map.html">Map</a><a href="map.html#B">B</a><section id="fix"></section>'
    '<section id="fix"></section></body></html>'
)
MAP = (
    f"<html><head>{POLICY.format('default-src &#39;none&#39;; script-src &#39;sha256-m&#39;; img-src data: https://tiles.example')}"
    '</head><body><a href="report.html">Report & all</a><div id="map"></div></body></html>'
)


def test_the_shared_page_holds_the_map_in_a_frame_before_the_first_part():
    page = share.shared_page(REPORT, MAP)
    tree = html.fromstring(page)
    assert [a.get("href") for a in tree.iter("a")] == ["#map", "#map"]
    order = [node.get("id") for node in tree.iter("h2", "section")]
    assert order == ["answer", "map", "h-map", "fix", "fix"]
    (frame,) = tree.iter("iframe")
    assert (frame.get("class"), frame.get("title")) == ("map", "Map of the recordings")
    inner = html.fromstring(frame.get("srcdoc"))
    (link,) = inner.iter("a")
    assert (link.get("href"), link.get("target"), link.text) == ("#answer", "_parent", "Report & all")
    assert tree.xpath("//section[@id='map']/@aria-labelledby") == ["h-map"]


def test_the_shared_page_allows_the_scripts_and_pictures_of_both_and_nothing_else():
    tree = html.fromstring(share.shared_page(REPORT, MAP))
    (policy,) = tree.xpath("//meta/@content")
    assert policy == ("default-src 'none'; script-src 'sha256-r' 'sha256-m'; img-src data: https://tiles.example")


# ---- templates ----
def test_text_is_escaped_in_templates_and_what_is_our_own_is_not(monkeypatch):
    text = "{% if yes %}\n  {% if yes %}\n<p>{{ text }}|{{ own | own }}|{{ n }}</p>\n{% endif %}\n{% endif %}"
    monkeypatch.setattr(templating, "template_text", lambda name: text)
    templating._environment.cache_clear()
    try:
        said = templating.render("x", yes=True, text="<i>{{`$\x07", own=Markup("<b>"), n=7)
        assert said == "<p>&lt;i&gt;&#123;&#123;&#96;&#36; |<b>|7</p>\n"
        with pytest.raises(jinja2.UndefinedError):
            templating.render("x", yes=True, text="")
        assert templating.loaded("x") is templating.loaded("x")
    finally:
        templating._environment.cache_clear()


def test_a_policy_names_its_scripts_by_their_digest():
    """Content Security Policy Level 3 (W3C): 'sha256-' and the base64 of the SHA-256 of the script's text."""
    digests = [base64.b64encode(hashlib.sha256(text).digest()).decode() for text in (b"one()", b"other()")]
    assert templating.policy_of("one()", "other()") == (
        f"default-src 'none'; script-src 'sha256-{digests[0]}' 'sha256-{digests[1]}'; style-src 'unsafe-inline'; "
        "img-src data:; base-uri 'none'; form-action 'none'"
    )


# ---- a bar ----
class Terminal(io.StringIO):
    def isatty(self):
        return True


@pytest.mark.parametrize(
    ("stream", "quiet", "drawn"),
    [(Terminal, False, True), (Terminal, True, False), (io.StringIO, False, False)],
)
def test_a_bar_is_drawn_on_a_terminal_alone_and_taken_away(monkeypatch, stream, quiet, drawn):
    monkeypatch.setattr(sys, "stderr", stream())
    monkeypatch.setenv("TERM", "xterm")
    monkeypatch.setenv("COLUMNS", "100")
    bar = Progress(quiet=quiet)
    with bar as tell:
        for done in (1, 2):
            tell("reading", done, 4)
        tell("drawing", 1, 3)
        tell("drawing", 3, 3)
        text = sys.stderr.getvalue()
        if drawn:
            assert [(t.description, t.completed, t.total) for t in bar.bar.tasks] == [
                ("reading", 2, 4),
                ("drawing", 3, 3),
            ]
            assert bar.bar.live.is_started
            assert not bar.bar.live.auto_refresh  # what is not told is not drawn, and no thread draws it
    assert ("reading" in text) is drawn
    assert ("50%" in text) is ("100%" in text) is drawn
    if drawn:
        assert not bar.bar.live.is_started
        assert "\x1b[2K" in sys.stderr.getvalue()[len(text) :]  # ECMA-48, 8.3.41: its line is erased when all is done
    else:
        assert text == ""


# ---- the folder of results ----
def test_a_file_whose_name_is_no_text_is_written_by_way_of_one_that_is(tmp_path):
    strange = tmp_path / os.fsdecode(b"r\xff.gpkg")
    with results_folder._spelled(strange) as spelled:
        assert spelled != strange
        spelled.name.encode("utf-8", "surrogateescape")
        spelled.write_text("written")
    assert strange.read_text() == "written"
    assert not spelled.parent.exists()
    with results_folder._spelled(tmp_path / "plain.gpkg") as same:
        assert same == tmp_path / "plain.gpkg"


def test_a_full_disk_is_called_by_its_name(tmp_path, monkeypatch, whole):
    """The library tells which statement failed; with under 128 KiB left it is the disk."""
    import sqlite3

    from gpsq.output.tables import layers

    def failing(*_):
        raise sqlite3.OperationalError("disk I/O error")

    monkeypatch.setattr(layers, "write_geopackage", failing)
    for free, said in ((2**17 - 1, "No space left on device"), (2**17, "disk I/O error")):
        monkeypatch.setattr(results_folder.shutil, "disk_usage", lambda _, f=free: type("Use", (), {"free": f})())
        with pytest.raises(OutputError) as refused:
            results_folder._geopackage(whole, tmp_path / "results.gpkg")
        assert str(refused.value) == f"results.gpkg: cannot be written: {said}"


ALWAYS = {
    "tracks.csv", "deviations.csv", "devices.csv", "comparisons.csv", "set_aside.csv", "centrelines.geojson",
    "centrelines.gpx", "map.html", "reference.csv", "results.gpkg", "report.html", "pictures/a.svg", "run.json",
}  # fmt: skip


def test_all_files_of_the_results_are_written_and_named(tmp_path, whole):
    drawn = {"report.html": REPORT, "pictures/a.svg": b"<svg/>"}
    written = results_folder.write_results(whole, tmp_path / "out", drawn=lambda: drawn)
    names = [path.relative_to(tmp_path / "out").as_posix() for path in written]
    assert names == sorted(names)
    assert {n for n in names if not n.startswith("styles/")} == ALWAYS
    assert "styles/tracks.sld" in names
    assert all(path.is_file() for path in written)
    assert json.loads((tmp_path / "out" / "run.json").read_text())["files"] == names
    assert (tmp_path / "out" / "report.html").read_text() == REPORT
    assert (tmp_path / "out" / "pictures" / "a.svg").read_bytes() == b"<svg/>"
    heads = {
        name: (tmp_path / "out" / name).read_text().split(",")[:3] for name in ALWAYS if name.endswith(".csv")
    }  # fmt: skip
    assert heads == {
        "tracks.csv": ["file", "track", "sha256"], "deviations.csv": ["id", "event", "file"],
        "devices.csv": ["device", "route", "rides"], "comparisons.csv": ["measure", "first", "second"],
        "set_aside.csv": ["file", "track", "reason"], "reference.csv": ["route", "device", "reference"],
    }  # fmt: skip


def test_published_results_have_a_page_to_share_and_layers_where_asked(tmp_path, whole):
    published = dataclasses.replace(whole, published=True, summaries=dataclasses.replace(whole.summaries, reference=()))
    written = results_folder.write_results(
        published, tmp_path / "out", parquet=True, drawn=lambda: {"report.html": REPORT}
    )
    names = {path.relative_to(tmp_path / "out").as_posix() for path in written}
    assert "share.html" in names
    assert "reference.csv" not in names
    assert {n for n in names if n.startswith("layers/")} >= {"layers/tracks.parquet", "layers/centrelines.parquet"}
    (frame,) = html.fromstring((tmp_path / "out" / "share.html").read_text()).iter("iframe")
    assert "gpsq-data" in frame.get("srcdoc")

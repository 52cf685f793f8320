"""The one table of columns: what is entered there is found wherever figures are kept or shown, and in the documentation."""

from __future__ import annotations

import csv
import io
import re
import sqlite3
from contextlib import closing
from dataclasses import replace
from pathlib import Path

import geopandas
import pytest
from output_sample import sample

from gpsq.output import terminal
from gpsq.output.report.page import report_page
from gpsq.output.tables import columns, layers, tables
from gpsq.output.tables.column import Column, bounds, said, saying, with_bounds
from gpsq.output.wording import GAP
from gpsq.pipeline.frames import frames
from gpsq.summary_types import Interval
from gpsq.web import page_data

DOCUMENTATION = Path(__file__).parents[2] / "docs" / "report.md"


def undocumented(text: str) -> set[tuple[str, str]]:
    """Return file and column of each line of the table of columns that the documentation does not have as it is."""
    lines = set(text.splitlines())
    wanted = [(file, line) for file in columns.FILES for line in columns.as_markdown(file).splitlines()[2:]]
    return {(file, line.split("`")[1]) for file, line in wanted if line not in lines}


def test_the_documentation_has_every_column_as_the_table_says_it() -> None:
    assert undocumented(DOCUMENTATION.read_text("utf-8")) == set()


def test_the_documentation_tells_of_no_column_that_there_is_not() -> None:
    text = DOCUMENTATION.read_text("utf-8")
    told = set(re.findall(r"^\| `(\w+)` \| \w* ?\| ", text, re.MULTILINE))
    assert told == {column.name for file in columns.FILES for column in columns.of_file(file)}


@pytest.fixture
def wobble(monkeypatch):
    """Enter one figure of a device and one of a recording into the table, and nowhere else."""
    found = with_bounds(
        Column(
            "wobble_m", "2", "how much it wobbles", "wobble_m", "m", "wobble of the line", "wobble",
            ("errors", "route", "terminal interval"),
        )
    )  # fmt: skip
    of_recording = Column("xte_before_m", "2", "error before settling", "result.crosstrack.before_settling_rms_m", "m")
    monkeypatch.setattr(columns, "DEVICES", (*columns.DEVICES, *found))
    monkeypatch.setattr(columns, "TRACKS", (*columns.TRACKS, of_recording))
    whole = sample()
    devices = tuple(
        replace(s, figures={**s.figures, "wobble_m": Interval(7.25, 6.5, 8.5)}) for s in whole.summaries.devices
    )
    results = tuple(
        replace(r, crosstrack=r.crosstrack and replace(r.crosstrack, before_settling_rms_m=3.25)) for r in whole.results
    )
    return replace(whole, results=results, summaries=replace(whole.summaries, devices=devices))


def test_a_figure_of_a_device_is_in_the_csv_with_its_bounds(wobble):
    rows = list(csv.DictReader(io.StringIO(tables.csv_text(tables.devices(wobble)))))
    assert {(row["wobble_m"], row["wobble_low_m"], row["wobble_high_m"]) for row in rows} == {("7.25", "6.5", "8.5")}


def test_it_is_in_the_report_over_all_routes_and_by_route(wobble):
    text = report_page(wobble, ()).replace(GAP, " ")
    assert text.count('<th scope="col">wobble of the line</th>') == 1  # one route has summaries: none by route
    assert text.count('<div>7.2 m<span class="bounds">6.5 m to 8.5 m</span>') == len(wobble.summaries.devices) // 2


def test_it_is_on_the_page_and_told_from_the_run_before(wobble):
    before = {key: "6.0 m" if key[1] == "wobble_m" else said for key, said in page_data.figures(wobble).items()}
    table = page_data.of_analysis(wobble, before)["errors"]
    place = table["heads"].index("wobble of the line")
    cells = [cells[place] for _, _, cells in table["rows"]]
    assert {(c.value.replace(GAP, " "), c.before) for c in cells} == {("7.2 m", "6.0 m")}


def test_it_is_on_the_terminal_and_in_the_frames(wobble):
    said = "\n".join(terminal.lines(wobble))
    assert "  wobble\n" in said
    assert "7.2 m (6.5 m to 8.5 m)\n" in said
    assert frames(wobble).devices["wobble_low_m"].eq(6.5).all()


def test_a_figure_of_a_recording_is_in_csv_and_layer_with_its_meaning(wobble, tmp_path):
    rows = list(csv.DictReader(io.StringIO(tables.csv_text(tables.tracks(wobble)))))
    assert {row["xte_before_m"] for row in rows} == {"3.25", ""}
    layers.write_geopackage(wobble, tmp_path / "r.gpkg")
    assert geopandas.read_file(tmp_path / "r.gpkg", layer="tracks")["xte_before_m"].eq(3.25).sum() > 0
    with closing(sqlite3.connect(tmp_path / "r.gpkg")) as base:
        said = base.execute("SELECT table_name, description FROM gpkg_data_columns WHERE column_name = 'xte_before_m'")
        assert said.fetchall() == [("tracks", "error before settling")]
    pytest.importorskip("pyarrow", reason="GeoParquet is an option that needs pyarrow")
    layers.write_geoparquet(wobble, tmp_path)
    assert "xte_before_m" in geopandas.read_parquet(tmp_path / "tracks.parquet").columns


@pytest.mark.parametrize(
    ("figure", "shown"),
    [
        (Interval(float("nan"), method="none: no ride was scored; more of it"), "no ride was scored"),
        (Interval(3.0, method="range 1.0–5.0 of 3 rides; no interval"), "range 1.0–5.0 of 3 rides"),
        (Interval(3.0, method="jackknife; said"), ""),
        (Interval(3.0, 1.0, 5.0, "range 2 to 4"), "1.0 m to 5.0 m"),
    ],
)
def test_below_a_figure_stand_its_bounds_its_range_or_why_it_is_unknown(figure, shown):
    assert bounds(Column("x_m", "2", "", "x_m", "m"), figure).replace(GAP, " ") == shown


@pytest.mark.parametrize(
    ("unit", "shown"),
    [
        ("m", "23 m"),
        ("s", "23 s"),
        ("km", "23.5 km"),
        ("ratio", "23.457"),
        ("share", "2346 %"),
        ("count", "23"),
        ("", "23"),
    ],
)
def test_a_figure_is_said_in_its_unit(unit, shown):
    assert saying(Column("x", "2", "", "x", unit))(23.457).replace(GAP, " ") == shown


@pytest.mark.parametrize(
    ("value", "shown"), [(99.4, "99"), (99.6, "100"), (123.4, "123"), (1234.6, "1235"), (0.456, "0.46")]
)
def test_a_number_without_unit_has_two_figures_that_count_or_all_of_a_hundred_and_more(value, shown):
    assert saying(Column("x", "2", "", "x", ""))(value) == shown


@pytest.mark.parametrize(
    ("figure", "shown"),
    [
        (Interval(0.04, at_least=True), "unknown"),  # "at least nothing" tells nothing
        (Interval(0.04), "0.0 m"),
        (Interval(7.5, at_least=True), f"≥{GAP}7.5 m"),
        (Interval(float("nan"), at_least=True), "unknown"),
    ],
)
def test_a_bound_that_says_nothing_is_no_figure(figure, shown):
    assert said(Column("missed_median_m", "2", "", "", "m"), figure).replace(GAP, " ") == shown.replace(GAP, " ")


def test_a_kilometre_has_a_thousand_metres():
    assert saying(Column("x", "2", "", "x", "km"))(0.9).replace(GAP, " ") == "900 m"


def test_columns_are_chosen_by_where_they_are_shown():
    """Of the report's tables each has its own, and the terminal a choice of both."""
    named = {part: [c.name for c in columns.shown(part)] for part in ("fix", "errors", "state")}
    assert named["state"] == [
        "fixed_in_10s", "fixed_in_30s", "fixed_in_60s", "ttff_never", "ttff_median_s",
    ]  # fmt: skip
    assert not set(named["fix"]) & set(named["errors"])
    assert [c.name for c in columns.shown("fix", "errors")] == [
        c.name for c in columns.DEVICES if c.name in named["fix"] + named["errors"]
    ]


def test_the_documentation_is_found_wanting(wobble):
    missing = undocumented(DOCUMENTATION.read_text("utf-8"))
    assert missing == {
        ("devices", "wobble_m"), ("devices", "wobble_low_m"), ("devices", "wobble_high_m"), ("tracks", "xte_before_m"),
    }  # fmt: skip


def test_no_figure_is_computed_that_has_no_column():
    """A figure that a stage makes and the table does not know would be nowhere."""
    from gpsq.settings import Settings
    from gpsq.summaries.device_figures import summarise

    whole = sample()
    (first, *_) = summarise(whole.traces, whole.results, whole.routes, Settings())
    assert set(first.figures) == {c.name for c in columns.DEVICES if c.name == c.source}
